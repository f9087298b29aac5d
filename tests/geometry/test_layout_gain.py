"""Trees that the search fits: more than the plain grid of the same spacing, close to the bound that nothing can pass.

The fields are invented, of 1 to 40 acres and the same every time; spacing 16 ft. Sources beside the checks.
"""

from __future__ import annotations

import statistics

import numpy as np
import pytest
import shapely

from benchmarks.fields import EQUILATERAL, STEP, Field, convex, irregular, most_points
from benchmarks.layout import OFFSET, SETS, best, gain, share_of_bound
from setout.geometry.rows.direction import layouts_along, layouts_any_way
from setout.geometry.rows.lattice import Lattice

# Most circles of unit area in a square of area n, n = 1 to 70: OEIS A337020 (Y.-P. Lu, 2020), after E. Specht's
# collection of packings in a square (packomania.com) and P. G. Szabo et al., New Approaches to Circle Packing in a Square
# (Springer, 2007). Proved to a(n) = 30 and for 36; the rest are the best known.
CIRCLES = [
    0,
    1,
    1,
    2,
    3,
    4,
    4,
    5,
    5,
    6,
    8,
    9,
    9,
    9,
    10,
    11,
    12,
    13,
    13,
    15,
    16,
    16,
    16,
    18,
    18,
    20,
    20,
    21,
    22,
    22,
    24,
    25,
    25,
    25,
    27,
    27,
    28,
    30,
    30,
    31,
    31,
    33,
    33,
    34,
    35,
    36,
    36,
    38,
    39,
    39,
    40,
    41,
    42,
    42,
    43,
    44,
    44,
    46,
    46,
    47,
    48,
    49,
    50,
    52,
    52,
    53,
    53,
    54,
    55,
    56,
]

# Greatest least distance of n points in the unit square, same collection; n: d.
FARTHEST = {
    2: 1.414213562,
    3: 1.035276180,
    4: 1.0,
    5: 0.707106781,
    6: 0.600925213,
    7: 0.535898385,
    8: 0.517638090,
    9: 0.5,
    10: 0.421279544,
    13: 0.366096008,
    16: 0.333333333,
    20: 0.286611652,
    25: 0.25,
    30: 0.224502965,
}


@pytest.mark.parametrize(
    ("kind", "cut", "least"),
    [
        ("square", False, 0.02),
        ("square", True, 0.02),
        ("offset", False, 0.02),
        ("offset", True, 0.02),
        ("free rows", False, 0.04),
        ("free rows", True, 0.06),
    ],
)
def test_search_gains_trees_over_the_plain_grid(kind: str, cut: bool, least: float) -> None:
    lattice, offset = SETS[kind]
    found = [gain(irregular(seed, cut=cut), lattice, offset=offset) for seed in range(20)]
    assert min(found) >= 0, f"fewer trees than the plain grid on field {int(np.argmin(found))}"
    assert statistics.median(found) >= least


@pytest.mark.parametrize("half", [0, 1])
def test_convex_fields_come_close_to_the_bound(half: int) -> None:
    # Groemer (1960), Oler (1961): see most_points
    for seed in range(10 * half, 10 * half + 10):
        field = convex(seed, 5.0, 40.0)
        share = share_of_bound(field)
        assert (0.965 if field.acres >= 10 else 0.955) <= share <= 1.0, f"{field.name}, {field.acres:.1f} acres: {share:.4f}"


@pytest.mark.parametrize("cut", [False, True])
def test_no_field_holds_more_than_the_bound_of_its_hull(cut: bool) -> None:
    for seed in range(20):
        field = irregular(seed, cut=cut)
        assert layouts_along(OFFSET, field.cutters(), 0.0)[0].count <= most_points(field.area, STEP)


@pytest.mark.parametrize("k", [2, 3, 5, 8, 20])
def test_equilateral_triangles_meet_the_bound(k: int) -> None:
    # equality of the Groemer-Oler bound: a triangle of side k - 1 steps holds k (k + 1) / 2
    side = (k - 1) * STEP
    triangle = Field("triangle", shapely.Polygon([(0, 0), (side, 0), (side / 2, side * EQUILATERAL)]))
    triangle = Field("triangle", shapely.affinity.rotate(triangle.area, 31.0, origin=(0, 0)))
    assert most_points(triangle.area, STEP) == pytest.approx(k * (k + 1) / 2, abs=1e-6)
    assert best(OFFSET, triangle).count == k * (k + 1) // 2


def squares(side: float, distance: float) -> int:
    """Count points in a square: the square set-out, the equilateral offset, offsets with rows spread over the height."""
    shape = shapely.affinity.rotate(shapely.box(0, 0, side, side), 12.0, origin=(0, 0))
    cutters = Field("square", shape).cutters()
    counts = [
        layouts_any_way(lattice, cutters, shape)[0].count
        for lattice in (Lattice(distance, distance), Lattice(distance, distance * EQUILATERAL, 0.5))
    ]
    for rows in range(2, int(2 * side / distance) + 2):
        apart = side / (rows - 1) * (1 - 1e-12)
        if 0.5 * distance <= apart < EQUILATERAL * distance:
            # the nearest neighbour is in the next row, half a step along
            stretched = Lattice(2 * (distance**2 - apart**2) ** 0.5, apart, 0.5)
            counts.append(layouts_along(stretched, cutters, 78.0)[0].count)
    return max(counts)


def test_small_squares_hold_nearly_as_many_as_are_known() -> None:
    diameter = 100 * 2 / np.pi**0.5  # of a circle of unit area, 100 to the unit of length
    published, ours = 0, 0
    for area, most in enumerate(CIRCLES, 1):
        side = 100 * area**0.5 - diameter
        if side <= 0 or area % 3:  # every third: time
            continue
        count = squares(side, diameter)
        assert count <= most, f"{count} circles in a square of area {area}, where {most} are the best known"
        published, ours = published + most, ours + count
    assert ours >= 0.95 * published


@pytest.mark.parametrize("n", sorted(FARTHEST))
def test_no_lattice_beats_the_best_known_spread_of_points(n: int) -> None:
    assert squares(100.0, 100 * FARTHEST[n] * (1 + 1e-6)) < n
    if n in (4, 9, 16, 25):
        # square lattices are the best packings here
        assert squares(100.0, 100 * FARTHEST[n] * (1 - 1e-8)) == n
