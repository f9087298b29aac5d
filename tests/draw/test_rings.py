"""Outlines for drawing stay as close to the true ones as they promise, also where they are long and jagged."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from setout.draw.rings import PIECE, lines_of, rings_of


def stairs(steps: int) -> shapely.Polygon:
    """Ground bounded by the stairs of raster cells 1 m wide, along a diagonal."""
    x = np.repeat(np.arange(steps + 1.0), 2)[1:]
    y = np.repeat(np.arange(steps + 1.0), 2)[:-1]
    return shapely.Polygon(np.column_stack([np.append(x, 0), np.append(y, steps)]))


@pytest.mark.parametrize("steps", [50, 5000])
@pytest.mark.parametrize("tolerance", [0.15, 0.8])
def test_drawn_within_the_tolerance(steps: int, tolerance: float) -> None:
    area = stairs(steps)
    points, lengths = rings_of(area, tolerance)
    drawn = shapely.linestrings(points)
    assert shapely.hausdorff_distance(drawn, area.exterior) <= tolerance + 1e-9
    assert lengths.tolist() == [len(points)]
    assert (points[0] == points[-1]).all()


def test_stairs_become_a_slope_and_keep_one_point_a_piece() -> None:
    steps = 20 * PIECE
    points, _ = rings_of(stairs(steps), 0.8)
    assert len(points) < 3 * 2 * steps / PIECE + 10


def test_parts_holes_and_lines_keep_their_order() -> None:
    holed = shapely.box(0, 0, 9, 9) - shapely.box(1, 1, 2, 2) - shapely.box(4, 4, 6, 6)
    lines, hole = lines_of(shapely.MultiPolygon([holed, shapely.box(20, 0, 21, 1)]))
    assert hole.tolist() == [False, True, True, False]
    assert [line.length for line in lines] == pytest.approx([36, *sorted([4, 8], key=lambda v: v != lines[1].length), 4])
    _, lengths = rings_of(shapely.MultiLineString([[(0, 0), (1, 1)], [(2, 2), (3, 3), (4, 2)]]))
    assert lengths.tolist() == [2, 3]


def test_nothing_gives_nothing() -> None:
    for empty in (shapely.Polygon(), shapely.MultiPolygon(), shapely.Point(1, 1)):
        points, lengths = rings_of(empty, 0.1, 100)
        assert points.shape == (0, 2)
        assert lengths.size == 0


def test_long_pieces_are_cut() -> None:
    points, _ = rings_of(shapely.LineString([(0, 0), (1000, 0)]), longest=400)
    assert np.diff(points[:, 0]).max() <= 400
