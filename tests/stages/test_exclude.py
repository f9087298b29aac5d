"""What a block's plants keep clear of, when their sizes are known and when they are not."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from pyproj import CRS

from invented import Property, field, objects, plan_of
from setout.geometry.cells import cellmask
from setout.geometry.lines import overlay
from setout.stages import exclude
from setout.stages.exclude.cells import without_cells

LINE = shapely.LineString([(-90, 5), (90, 12)])


def planned(**block: Any) -> Any:
    prop = Property(field(4, 150.0), {"line": objects(LINE)}, {})
    limit = [{"from": "line", "within": "20 ft", "height": "15 ft", "why": "overhead line"}]
    named = {"name": "A", "pattern": "square", "step": "16 ft", "direction": "north-south"} | block
    return plan_of(prop.survey(CRS.from_epsg(32610)), named, height_limit=limit)


def gap(plan: Any) -> float:
    return float(shapely.distance(plan.site.height_limits[0].geometry[0], shapely.points(plan.trees.x, plan.trees.y)).min())


def test_tall_plants_keep_off_ground_with_a_height_limit() -> None:
    assert gap(planned(height="18 ft")) >= 20 * 0.3048 - 1e-6


def test_low_plants_may_stand_there() -> None:
    assert gap(planned(height="14 ft")) < 3.0


def test_plants_of_unknown_height_keep_off_and_the_plan_says_so() -> None:
    plan = planned()
    assert gap(plan) >= 20 * 0.3048 - 1e-6
    assert [f.code for f in plan.findings if f.code == "height_unknown"] == ["height_unknown"]


@pytest.mark.parametrize(("held_to", "near"), [("14 ft", True), ("16 ft", False)])
def test_plants_held_low_count_as_low(held_to: str, near: bool) -> None:
    plan = planned(plants=[{"plant": "apple, standard"}], held_to=held_to)
    assert (gap(plan) < 3.0) is near
    assert np.isclose(plan.site.blocks[0].height_m, float(held_to.split(maxsplit=1)[0]) * 0.3048)


def test_a_tall_screen_takes_no_ground_from_a_low_block() -> None:
    """The screen keeps its own plants off the height limit; the account and the low block's ground are not the screen's."""
    row = shapely.LineString([(-60, -40), (60, -40)])
    prop = Property(field(4, 150.0), {"line": objects(LINE), "row": objects(row)}, {})
    limit = [{"from": "line", "within": "20 ft", "height": "15 ft", "why": "overhead line"}]
    low = {"name": "A", "pattern": "square", "step": "16 ft", "direction": "north-south", "height": "10 ft"}
    screen = {"name": "S", "pattern": "screen", "line": "row", "step": "10 ft", "height": "30 ft"}
    survey = prop.survey(CRS.from_epsg(32610))
    alone, both = (plan_of(survey, blocks, height_limit=limit) for blocks in (low, [low, screen]))
    assert [r.reason for r in both.usable.account] == [r.reason for r in alone.usable.account]
    assert np.isclose(both.usable.account[-1].remaining_m2, alone.usable.account[-1].remaining_m2)
    assert gap(both) < 3.0


def test_ground_cut_in_cells_is_sound_when_it_is_drawn_in_the_frame_again() -> None:
    """Straight edges of the frame are bent among the cells by microns: a cell's corner a hair inside comes to lie outside."""

    def bend(x: np.ndarray) -> np.ndarray:
        return 1e-6 * x * (100 - x) / 2500

    taken = np.zeros((45, 104), bool)
    taken[5, 50:53] = True
    reason = exclude.CellReason(exclude.SLOPE, "dem.tif", cellmask.pack(taken))
    cells = exclude.Cells((reason,), (0, 45, 0, 104), lambda x, y: (x, y + bend(x)), lambda u, v: (u, v - bend(np.asarray(u))))
    land = shapely.box(0, 5 - 1e-9, 100, 40)
    pieces, (found,) = without_cells(land, land, cells)
    assert shapely.is_valid(np.array(pieces, object)).all()
    assert shapely.area(np.array(pieces, object)).sum() == pytest.approx(100 * 35 - 3, abs=1e-3)
    assert sum(e.newly_m2 for e in found) == pytest.approx(3, abs=1e-3)


def test_overlays_go_on_where_an_area_crosses_itself_by_a_rounding() -> None:
    hole = [(50, 4 - 1e-6), (53, 4 - 1e-6), (53, 6), (50, 6)]
    crossed = shapely.Polygon([(0, 4), (100, 4), (100, 40), (0, 40)], [hole])
    half = shapely.box(-1, -1, 51, 60)
    assert overlay.intersection(crossed, half).area == pytest.approx(51 * 36 - 2, abs=1e-3)
    assert overlay.difference(crossed, half).area == pytest.approx(49 * 36 - 4, abs=1e-3)
    assert overlay.union([crossed, half]).area == pytest.approx(52 * 61 + 49 * 36 - 4, abs=1e-3)
