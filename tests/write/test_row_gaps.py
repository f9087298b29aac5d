"""A row that nothing is planted in for a while: every product draws and counts its pieces, and none the gap."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import ezdxf
import geopandas
import numpy as np
import pytest
import shapely

from setout.layers import plan_layers
from setout.model import BlockRoom
from setout.stages import compare
from setout.stages.staking import stake_set
from setout.units import FOOT
from setout.write.geopackage import writer
from setout.write.map.outlines import Drawer
from setout.write.packet import lists, workorder
from setout.write.packet.dxf import write_dxf
from setout.write.report import picture
from setout.write.sheets.backdrop import Backdrop
from write.sample_planting import planting

GAP = 9.0


@pytest.fixture(scope="module")
def parted() -> Any:
    """Row 2 of the first block has a gap of 9 m in its middle."""
    plan = planting()
    line = plan.rows.line.copy()
    whole = shapely.get_coordinates(line[1])
    middle, way = whole.mean(axis=0), np.diff(whole, axis=0)[0] / shapely.length(line[1])
    line[1] = shapely.MultiLineString([[whole[0], middle - way * GAP / 2], [middle + way * GAP / 2, whole[1]]])
    return replace(plan, rows=replace(plan.rows, line=line))


def test_the_layer_has_one_row_with_two_pieces(parted: Any, tmp_path: Any) -> None:
    writer.write(tmp_path / "plan.gpkg", plan_layers(parted), parted.site.frame.survey_crs)
    rows = geopandas.read_file(tmp_path / "plan.gpkg", layer="rows")
    assert rows.row_id.is_unique
    assert set(rows.geom_type) == {"MultiLineString"}
    assert shapely.get_num_geometries(rows.geometry).tolist() == [1, 2] + [1] * (len(rows) - 2)
    ends = np.hypot(parted.rows.x1 - parted.rows.x0, parted.rows.y1 - parted.rows.y0)
    np.testing.assert_allclose(ends - rows.length_m, [0, GAP] + [0] * (len(rows) - 2), atol=1e-9)
    # the layer is in survey feet on the plane, whose scale is 1 to 0.1 %
    np.testing.assert_allclose(shapely.length(rows.geometry) / rows.length_m, 1 / FOOT, rtol=1e-3)


def test_lists_and_work_count_the_pieces(parted: Any) -> None:
    stakes, whole = stake_set(parted), planting()
    rows, before = (lists.rows_list(plan, stakes).rows for plan in (parted, whole))
    assert (before[1][6] - rows[1][6]) * FOOT == pytest.approx(GAP)
    rip, was = (next(j.quantity for j in workorder.work_order(plan, stakes) if j.job == "rip") for plan in (parted, whole))
    assert was - rip == pytest.approx(GAP)


def test_compare_counts_pipe_along_the_pieces(parted: Any) -> None:
    block, whole = parted.site.blocks[0], planting()
    room = BlockRoom(0, 9, 1.5, 1.2, 0.8, 0.0, 0.0, 1.5, 0.0, 12.0, 1.8, None, ())
    pipe, was = (compare.outcome_of("a", "", block, room, plan.rows, {}).pipe_m for plan in (parted, whole))
    assert was - pipe == pytest.approx(GAP)


def test_drawings_leave_the_gap_open(parted: Any, tmp_path: Any) -> None:
    write_dxf(tmp_path / "a.dxf", stake_set(parted), parted)
    pieces = len(parted.rows.row) + 1
    assert len(ezdxf.readfile(tmp_path / "a.dxf").query('LWPOLYLINE[layer=="ROW"]')) == pieces
    ((_, layer),) = Drawer(parted).rows()
    assert len(layer.data["lengths"]) == pieces == max(layer.data["of"]) + 2
    gap = shapely.LineString(
        [shapely.get_coordinates(part)[k] for part, k in zip(shapely.get_parts(parted.rows.line[1]), (1, 0), strict=True)]
    )
    drawn = Backdrop(parted, 0.0)._rows.within(gap.bounds)
    assert shapely.length(shapely.intersection(drawn, shapely.buffer(gap, 0.01))).sum() < 0.03
    svg = picture.plan_picture(parted)
    paths = [d for d in re.findall(r'<path d="([^"]+)" fill="none"[^>]*stroke-width="0.7"', svg) if d.count("M") > 1]
    assert pieces in [d.count("M") for d in paths]
