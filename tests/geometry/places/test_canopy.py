"""Room and overlap of discs against closed forms, and against other libraries' Voronoi cells and buffers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from setout.geometry.places import canopy
from setout.geometry.places.canopy import CHUNK, deepest_overlap, index_of, nearest_other, plain_discs, room_area


def square(count: int, step: float, turn: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    along = (np.arange(count) - count // 2) * step
    x, y = (values.ravel() for values in np.meshgrid(along, along))
    return x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)


def circle_in_square(radius: float, side: float) -> float:
    """Area of a circle cut by the four sides of a square about its middle: circular segments are taken off."""
    half = side / 2
    if half >= radius:
        return np.pi * radius**2
    if half <= radius / np.sqrt(2):
        return side**2
    return np.pi * radius**2 - 4 * (radius**2 * np.arccos(half / radius) - half * np.sqrt(radius**2 - half**2))


@pytest.mark.parametrize("turn", [0.0, 0.2, 0.7])
@pytest.mark.parametrize("step", [30.0, 20.0, 16.0, 15.0, 14.0, 12.0, 11.0, 10.0, 8.0, 5.0, 2.0])
def test_square_lattice_in_closed_form(step: float, turn: float) -> None:
    x, y = square(21, step, turn)
    area = room_area(plain_discs(x, y, np.full(len(x), 7.5)))[len(x) // 2]
    assert area == pytest.approx(circle_in_square(7.5, step), rel=0.005)
    if step >= 15:
        assert area == pytest.approx(np.pi * 7.5**2, rel=1e-6)


def test_hexagonal_lattice_in_closed_form() -> None:
    # cells of an equilateral set-out that lie whole within the canopy have the area of the lattice's cell
    row, number = (values.ravel() for values in np.mgrid[-8:9, -8:9])
    x, y = (number + row % 2 / 2) * 8.0, row * 8.0 * np.sqrt(3) / 2
    area = room_area(plain_discs(x, y, np.full(len(x), 7.5)))[len(x) // 2]
    assert area == pytest.approx(64 * np.sqrt(3) / 2, rel=0.005)


def voronoi_in_circles(x: np.ndarray, y: np.ndarray, radius: np.ndarray) -> np.ndarray:
    """Return the areas by GEOS: Voronoi cells, cut with buffers."""
    points = shapely.points(x, y)
    frame = shapely.box(x.min() - 100, y.min() - 100, x.max() + 100, y.max() + 100)
    cells = shapely.get_parts(shapely.voronoi_polygons(shapely.multipoints(points), extend_to=frame))
    tree = shapely.STRtree(cells)
    of = tree.query(points, "within")
    cell = np.empty(len(x), object)
    cell[of[0]] = cells[of[1]]
    return shapely.area(shapely.intersection(cell, shapely.buffer(points, radius, quad_segs=64)))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_any_points_against_the_voronoi_cells_of_geos(seed: int) -> None:
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, 60, (2, 250))
    radius = rng.uniform(1, 9, 250)
    expected = voronoi_in_circles(x, y, radius)
    measured = room_area(plain_discs(x, y, radius))
    # narrow random cells are harder than a lattice's: one in twenty may be off by 3 % of the disc, none by more than 6 %
    off = np.abs(measured - expected) / (np.pi * radius**2)
    assert np.quantile(off, 0.95) < 0.03
    assert off.max() < 0.06
    assert measured.sum() == pytest.approx(expected.sum(), rel=0.005)


def test_more_discs_than_one_chunk() -> None:
    x, y = square(69, 8.0)
    assert len(x) > CHUNK
    area = room_area(plain_discs(x, y, np.full(len(x), 7.5)))
    inside = (np.abs(x) < 250) & (np.abs(y) < 250)
    assert area[inside] == pytest.approx(area[len(x) // 2], rel=1e-5)


def test_far_rows_of_close_plants_bound_the_room() -> None:
    # ever more neighbours have to be looked at until the next row, 12 away, is reached past plants 0.25 apart
    row, number = (values.ravel() for values in np.mgrid[-1:2, -80:81])
    x, y = number * 0.25, row * 12.0
    area = room_area(plain_discs(x, y, np.full(len(x), 7.5)))[len(x) // 2]
    # a sliver, along which few directions run: right to one per cent of the disc
    assert area / (np.pi * 7.5**2) == pytest.approx(0.25 * 12.0 / (np.pi * 7.5**2), abs=0.01)
    hedge = replace(plain_discs(x, y, np.full(len(x), 7.5)), group=row)
    # as near to the middle as to a line 12 away is a parabola: y = (144 - x2) / 24
    side = np.linspace(-8, 8, 400)
    bend = (144 - side**2) / 24
    lens = shapely.Polygon(np.vstack([np.column_stack([side, bend]), np.column_stack([side, -bend])[::-1]]))
    expected = lens.intersection(shapely.Point(0, 0).buffer(7.5, quad_segs=64)).area
    assert room_area(hedge)[len(x) // 2] == pytest.approx(expected, rel=0.005)


@pytest.mark.parametrize("bearing", [0.0, 30.0, 115.0])
def test_half_width_cuts_to_both_sides_of_the_axis(bearing: float) -> None:
    one = plain_discs(np.zeros(1), np.zeros(1), np.full(1, 5.0))
    one = replace(one, half_width=np.full(1, 2.0), axis=np.radians([bearing]))
    # circle less two segments beyond 2 m from its middle
    expected = np.pi * 25 - 2 * (25 * np.arccos(0.4) - 2 * np.sqrt(21))
    assert room_area(one)[0] == pytest.approx(expected, rel=0.005)


def test_partners_groups_and_those_that_go_sooner_do_not_bound() -> None:
    x, y = np.array([0.0, 2.0]), np.zeros(2)
    plain = plain_discs(x, y, np.full(2, 3.0))
    whole, cut = np.pi * 9, np.pi * 9 - (9 * np.arccos(1 / 3) - np.sqrt(8))
    assert room_area(plain) == pytest.approx(cut, rel=0.005)
    assert room_area(replace(plain, partner=np.array([1, 0]))) == pytest.approx(whole)
    assert room_area(replace(plain, group=np.array([4, 4]))) == pytest.approx(whole)
    assert room_area(replace(plain, group=np.array([4, 5]))) == pytest.approx(cut, rel=0.005)
    fillers = room_area(replace(plain, until=np.array([np.inf, 8.0])))
    assert fillers[0] == pytest.approx(whole)
    assert fillers[1] == pytest.approx(cut, rel=0.005)


def test_unknown_radius_has_no_room_but_bounds_others() -> None:
    area = room_area(plain_discs(np.array([0.0, 2.0]), np.zeros(2), np.array([3.0, np.nan])))
    assert area[0] < np.pi * 9 * 0.9
    assert np.isnan(area[1])


def test_two_discs_in_one_place_do_not_divide_by_nothing() -> None:
    assert room_area(plain_discs(np.zeros(2), np.zeros(2), np.ones(2))) == pytest.approx(np.pi)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.floats(0.3, 0.999))
def test_room_never_grows_when_points_draw_together(seed: int, shrink: float) -> None:
    x, y = np.random.default_rng(seed).uniform(0, 30, (2, 40))
    wide = room_area(plain_discs(x, y, np.full(40, 5.0)))
    close = room_area(plain_discs(x * shrink, y * shrink, np.full(40, 5.0)))
    assert (close <= wide * (1 + 1e-5)).all()


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6))
def test_overlap_and_nearest_against_all_pairs(seed: int) -> None:
    rng = np.random.default_rng(seed)
    size = int(rng.integers(1, 60))
    x, y = rng.uniform(0, 30, (2, size))
    radius = np.where(rng.random(size) < 0.1, np.nan, rng.choice([1.0, 2.0, 8.0], size))
    until = rng.choice([np.inf, 5.0, 9.0], size)
    partner = np.full(size, -1)
    pairs = size // 4
    partner[: 2 * pairs] = np.arange(2 * pairs) ^ 1
    discs = replace(plain_discs(x, y, radius), partner=partner, until=until)
    far = np.hypot(x[:, None] - x, y[:, None] - y)
    other = ~np.eye(size, dtype=bool) & (np.arange(size) != partner[:, None])
    counts = other & (until >= until[:, None]) & np.isfinite(radius)
    expected = np.where(counts, radius[:, None] + np.nan_to_num(radius) - far, -np.inf).max(axis=1)
    index = index_of(x, y)
    measured = deepest_overlap(discs, radius, index)
    known = np.isfinite(radius)
    assert np.isnan(measured[~known]).all()
    # a gap is only known to be one where no far disc could reach: compare where canopies overlap
    assert np.maximum(measured[known], 0) == pytest.approx(np.maximum(expected[known], 0))
    near_m, near = nearest_other(discs, index)
    told = deepest_overlap(discs, radius, index, (near_m, near))
    assert np.maximum(told[known], 0) == pytest.approx(np.maximum(expected[known], 0))
    assert near_m == pytest.approx(np.where(other, far, np.inf).min(axis=1))
    found = near >= 0
    assert far[np.flatnonzero(found), near[found]] == pytest.approx(near_m[found])


def test_area_within_a_smaller_radius() -> None:
    x, y = square(9, 8.0)
    discs = plain_discs(x, y, np.full(81, 7.5))
    inverse = canopy.inverse_reach(discs, np.array([40]), index_of(x, y))
    for radius in (1.0, 4.0, 5.0, 7.5, 20.0):
        assert canopy.area_within(inverse, radius)[0] == pytest.approx(circle_in_square(min(radius, 7.5), 8.0), rel=0.005)
    assert canopy.area_within(inverse, 0.0)[0] == 0.0
