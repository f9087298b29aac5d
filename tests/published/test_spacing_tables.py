"""Counts and distances of set-outs against printed tables.

Each row names the page the figure stands on. "exact" rows are arithmetic (43,560 square feet to the acre).
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy.spatial import cKDTree

from setout.geometry.rows.direction import layouts_along, lines_along
from setout.geometry.rows.lattice import Lattice, place
from setout.geometry.rows.rowcut import TOUCH, Cutters, edges_of
from setout.planfile import parse_plan
from setout.units import FOOT

SQUARE_FEET_PER_ACRE = 43560.0


def density(pattern: str, step: float, rows: float | None = None) -> float:
    """Return trees per acre in the middle of a large block set out by the tool [1/acre]."""
    block = {"name": "A", "pattern": pattern, "step": f"{step} ft"} | ({"row_distance": f"{rows} ft"} if rows else {})
    shape = parse_plan({"site": {"boundary": "b"}, "block": [block]}, "plan").block[0].to_pattern()
    lattice = Lattice(shape.step_m, shape.row_distance_m, shape.shift)
    # a window of whole periods, half open, in a block far larger
    wide, high = 40 * shape.step_m, 40 * shape.row_distance_m
    field = shapely.box(-10 * shape.step_m, -10 * shape.row_distance_m, wide + 10 * shape.step_m, high + 10 * shape.row_distance_m)
    edges = edges_of(np.array([field]))[0]
    cutters = Cutters(edges, np.empty((0, 4)), np.empty(0, np.int64), np.empty((0, 5)))
    layout = layouts_along(lattice, cutters, 90.0)[0]
    placed, _ = place(lattice, lines_along(cutters, 90.0), layout)
    x, y = placed.u, placed.v
    u0, v0 = 1e-6 + x.min() + 2 * shape.step_m, 1e-6 + y.min() + 2 * shape.row_distance_m
    inside = (x >= u0) & (x < u0 + 30 * shape.step_m) & (y >= v0) & (y < v0 + 30 * shape.row_distance_m)
    acres = 900 * shape.step_m * shape.row_distance_m / (SQUARE_FEET_PER_ACRE * FOOT**2)
    return float(inside.sum() / acres)


@pytest.mark.parametrize(
    ("pattern", "step", "rows", "printed", "tolerance"),
    [
        ("square", 20, None, 108.9, 0.05),  # Kains, Five Acres and Independence, note to table 17
        ("square", 40, None, 27, 0.5),
        ("square", 30, None, 48, 0.5),
        ("square", 80, None, 7, 0.5),  # NCAT/ATTRA, pecan spacing note
        ("rectangular", 12, 20, 182, 0.6),
        ("square", 14, None, 222, 0.5),  # Georgia Muscadine Production Guide, section 11
        ("rectangular", 16, 22, 124, 0.5),
        ("rectangular", 8, 12, 454, 0.5),
        ("square", 18, None, 134, 0.6),
        ("rectangular", 18, 24, 101, 0.5),  # grower pages (low authority)
        ("rectangular", 4, 12, 907.5, 1),
        ("rectangular", 4, 10, 1089, 1),
        ("rectangular", 5, 12, 726, 1),
        ("rectangular", 8, 14, 388.9, 1),  # blueberry culture page, grovida.us
        ("square", 16, None, 170.16, 0.01),
        ("offset", 16, None, 196.48, 0.01),  # 43,560 / (0.866 s^2): exact
        ("offset", 20, None, 125.75, 0.01),
        ("offset", 30, None, 55.89, 0.01),
        ("offset", 40, None, 31.44, 0.01),
    ],
)
def test_trees_per_acre(pattern: str, step: float, rows: float | None, printed: float, tolerance: float) -> None:
    assert density(pattern, step, rows) == pytest.approx(printed, abs=tolerance)


@pytest.mark.parametrize("step", [12.0, 16.0, 25.0])
def test_equilateral_holds_15_percent_more_than_square(step: float) -> None:
    """Nursery guide and an old note on orange culture print "add 15 %"; exact 2 / sqrt(3)."""
    assert density("offset", step) / density("square", step) == pytest.approx(1.1547, abs=0.005)


def test_quincunx_is_twice_the_square() -> None:
    """One more plant at every cell's middle: old Canadian apple text (homegardening.ca)."""
    assert density("quincunx", 24.0) == pytest.approx(2 * density("square", 24.0), rel=1e-9)


def test_printed_40_by_40_count_that_does_not_hold() -> None:
    """apples.extension.org prints 40 trees to the acre at 40 x 40 ft; the arithmetic gives 27.2."""
    assert density("square", 40.0) == pytest.approx(27.225, abs=0.01)


def pattern_of(pattern: str, step: float, rows: float | None = None) -> object:
    block = {"name": "A", "pattern": pattern, "step": f"{step} ft"} | ({"row_distance": f"{rows} ft"} if rows else {})
    return parse_plan({"site": {"boundary": "b"}, "block": [block]}, "plan").block[0].to_pattern()


@pytest.mark.parametrize(("step", "rows", "tolerance"), [(17, 14.7, 0.05), (16, 13.856, 0.001), (20, 17.321, 0.001), (30, 25.981, 0.001)])
def test_equilateral_row_distance(step: float, rows: float, tolerance: float) -> None:
    """17 ft: Torrens, orchard patterns page; the others s sqrt(3) / 2."""
    assert pattern_of("offset", step).row_distance_m / FOOT == pytest.approx(rows, abs=tolerance)


@pytest.mark.parametrize(
    ("pattern", "step", "rows", "nearest", "tolerance"),
    [
        ("offset", 20, 15, 18.028, 0.001),
        ("offset", 16, 12, 14.422, 0.001),
        ("offset", 20, 17.3205, 20.0, 0.001),
        ("offset", 16, 14, 16.0, 0.001),  # its diagonal is 16.125, so the step stays the nearest
        ("quincunx", 24, None, 16.97, 0.01),
        ("quincunx", 30, None, 21.25, 0.05),
        ("quincunx", 40, None, 28.28, 0.01),
        ("square", 30, None, 30.0, 1e-9),
        ("rectangular", 16, 12, 12.0, 1e-9),
    ],
)
def test_true_nearest_distance(pattern: str, step: float, rows: float | None, nearest: float, tolerance: float) -> None:
    """Offset diagonals sqrt((s/2)^2 + r^2). Quincunx: 24 ft Torrens (16.97); 30 ft homegardendesign.info prints 21.25, exact 21.213;
    40 ft is printed "about 27" elsewhere, which does not hold: 28.28."""
    shape = pattern_of(pattern, step, rows)
    assert shape.nearest_m / FOOT == pytest.approx(nearest, abs=tolerance)
    field = shapely.box(0, 0, 100, 100)
    cutters = Cutters(edges_of(np.array([field]))[0], np.empty((0, 4)), np.empty(0, np.int64), np.empty((0, 5)))
    lattice = Lattice(shape.step_m, shape.row_distance_m, shape.shift)
    placed, _ = place(lattice, lines_along(cutters, 30.0), layouts_along(lattice, cutters, 30.0)[0])
    measured = cKDTree(np.column_stack([placed.u, placed.v])).query(np.column_stack([placed.u, placed.v]), k=2)[0][:, 1]
    assert measured.min() / FOOT == pytest.approx(nearest, abs=tolerance)


def ten_acres(lattice: Lattice, margin: float) -> int:
    """Count trees in a square of 660 x 660 ft (10.000 acres), a margin kept on all sides [ft]."""
    field = shapely.buffer(shapely.box(margin, margin, 660 - margin, 660 - margin), TOUCH, join_style="mitre")
    cutters = Cutters(edges_of(np.array([field]))[0], np.empty((0, 4)), np.empty(0, np.int64), np.empty((0, 5)))
    return layouts_along(lattice, cutters, 0.0)[0].count


def test_square_lattice_in_ten_acres() -> None:
    """(floor((W - 2 b) / s) + 1)^2: exact."""
    assert ten_acres(Lattice(20.0, 20.0), 10.0) == 33**2
    assert ten_acres(Lattice(20.0, 20.0), 0.0) == 34**2


def test_triangular_lattice_in_ten_acres() -> None:
    """20 rows of 34 and 19 of 33: exact."""
    assert ten_acres(Lattice(20.0, 20.0 * np.sqrt(3) / 2, 0.5), 0.0) == 20 * 34 + 19 * 33 == 1307
