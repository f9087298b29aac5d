"""Row cutting against shapely: what is left of a line is what the geometry library leaves of it."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from setout.geometry.rows.rowcut import TOUCH, Cutters, capsules_of, cut, edges_of, left_at, turned

NO_HOLES = np.empty((0, 4)), np.empty(0, np.int64)


def ground_of(area: shapely.Geometry) -> np.ndarray:
    return edges_of(np.array([area]))[0]


def random_area(rng: np.random.Generator) -> shapely.Geometry:
    angle = np.sort(rng.uniform(0, 2 * np.pi, 25))
    radius = 80 * (0.6 + 0.5 * rng.random(25))
    outer = shapely.Polygon(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])).buffer(0)
    hole = shapely.Point(rng.uniform(-20, 20, 2)).buffer(rng.uniform(3, 15), quad_segs=4)
    return outer.difference(hole)


@pytest.mark.parametrize("seed", range(12))
def test_pieces_are_what_shapely_leaves(seed: int) -> None:
    rng = np.random.default_rng(seed)
    area = random_area(rng)
    road = shapely.LineString(np.column_stack([np.linspace(-90, 90, 9), rng.uniform(-40, 40, 9)]))
    well = shapely.Point(rng.uniform(-40, 40, 2))
    house = shapely.box(*rng.uniform(-30, 0, 2), *rng.uniform(5, 30, 2))
    pond = shapely.Point(rng.uniform(-50, 50, 2)).buffer(12, quad_segs=5)
    risers = rng.uniform(-70, 70, (6, 2))
    features = np.array([road, well, house])
    holes, group = edges_of(np.array([house, pond]))
    cutters = Cutters(
        ground_of(area), holes, group, capsules_of(features, np.array([6.0, 9.0, 4.0])), np.column_stack([risers, np.full(6, 45.0)])
    )
    lines_v = np.linspace(-79.3, 79.7, 41)
    pieces = cut(lines_v, cutters)
    # arcs of 512 segments a quarter are within 0.05 mm of the circle at these radii
    blocked = shapely.union_all([road.buffer(6, 512), well.buffer(9, 512), house.buffer(4, 512), pond])
    reach = shapely.union_all([shapely.Point(p).buffer(45, 512) for p in risers])
    free = area.difference(blocked).intersection(reach)
    for k, v in enumerate(lines_v):
        left = shapely.intersection(shapely.LineString([(-200, v), (200, v)]), free)
        own = pieces.line == k
        assert (pieces.hi - pieces.lo)[own].sum() == pytest.approx(left.length, abs=0.02)
    for k in range(len(pieces.line)):
        middle = shapely.Point((pieces.lo[k] + pieces.hi[k]) / 2, lines_v[pieces.line[k]])
        assert free.distance(middle) < 1e-3


@given(st.integers(0, 10_000), st.floats(0, np.pi))
@settings(max_examples=60, deadline=None)
def test_no_point_of_a_piece_is_nearer_than_the_radius(seed: int, angle: float) -> None:
    rng = np.random.default_rng(seed)
    segments = rng.uniform(-50, 50, (15, 4))
    radius = rng.uniform(0.5, 12, 15)
    features = shapely.linestrings(segments.reshape(15, 2, 2))
    area = shapely.box(-60, -60, 60, 60)
    cutters = turned(Cutters(ground_of(area), *NO_HOLES, capsules_of(features, radius)), np.cos(angle), np.sin(angle))
    lines_v = np.linspace(-80, 80, 23)
    pieces = cut(lines_v, cutters)
    for end in (pieces.lo, pieces.hi, pieces.lo + rng.random(len(pieces.lo)) * (pieces.hi - pieces.lo)):
        u, v = end, lines_v[pieces.line]
        xy = np.column_stack([np.cos(angle) * u - np.sin(angle) * v, np.sin(angle) * u + np.cos(angle) * v])
        gap = shapely.distance(features[:, None], shapely.points(xy)[None, :]) - radius[:, None]
        assert gap.min(initial=0.0) > -1e-6
    # and where a piece ends inside the ground, it ends at a feature: no lawful ground is lost
    inside = (
        np.abs(
            np.column_stack(
                [
                    np.cos(angle) * pieces.hi - np.sin(angle) * lines_v[pieces.line],
                    np.sin(angle) * pieces.hi + np.cos(angle) * lines_v[pieces.line],
                ]
            )
        ).max(axis=1)
        < 59.999
    )
    if inside.any():
        u, v = pieces.hi[inside], lines_v[pieces.line][inside]
        xy = np.column_stack([np.cos(angle) * u - np.sin(angle) * v, np.sin(angle) * u + np.cos(angle) * v])
        gap = (shapely.distance(features[:, None], shapely.points(xy)[None, :]) - radius[:, None]).min(axis=0)
        assert np.abs(gap).max() < 2 * TOUCH + 1e-9


def test_end_gap_keeps_headland_at_both_ends() -> None:
    pieces = cut(np.array([1.0]), Cutters(ground_of(shapely.box(0, 0, 50, 2)), *NO_HOLES, np.empty((0, 5)), end_gap=7.0))
    assert pieces.lo.tolist() == [7.0]
    assert pieces.hi.tolist() == [43.0]


def test_overlapping_areas_kept_out_do_not_cancel_each_other() -> None:
    holes, group = edges_of(np.array([shapely.box(2, -1, 6, 5), shapely.box(4, -1, 8, 5)]))
    pieces = cut(np.array([1.0]), Cutters(ground_of(shapely.box(0, 0, 10, 2)), holes, group, np.empty((0, 5))))
    np.testing.assert_allclose(np.column_stack([pieces.lo, pieces.hi]), [[0, 2], [8, 10]])


def test_a_line_that_just_touches_a_disc_is_not_cut() -> None:
    disc = capsules_of(np.array([shapely.Point(5, 3)]), 2.0)
    pieces = cut(np.array([1.0]), Cutters(ground_of(shapely.box(0, 0, 10, 2)), *NO_HOLES, disc))
    np.testing.assert_allclose([pieces.lo[0], pieces.hi[-1]], [0, 10])
    assert (pieces.hi - pieces.lo).sum() == pytest.approx(10.0, abs=1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_places_left_are_those_that_lie_in_a_piece_left(seed: int) -> None:
    """One line through each place, cut as a whole, is the reference."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(-5.0, 65.0, (2, 900))
    y = np.sort(y)
    ground = shapely.difference(shapely.box(0, 0, 60, 60), shapely.Point(30, 30).buffer(9))
    edges, _ = edges_of(np.array([ground]))
    spots = shapely.points(rng.uniform(0, 60, (8, 2)))
    holes, group = edges_of(np.array([shapely.box(5, 5, 20, 9), shapely.box(15, 7, 25, 22)]))
    reach = edges_of(np.array([shapely.Point(20, 30).buffer(30), shapely.Point(45, 30).buffer(24)]))
    gap = 3.0 if seed % 2 else 0.0
    cutters = Cutters(edges, holes, group, capsules_of(np.asarray(spots, object), 4.0), None, reach, gap, gap if seed > 3 else 0.0)
    pieces = cut(y, cutters)
    wanted = np.zeros(len(x), bool)
    wanted[pieces.line[(x[pieces.line] >= pieces.lo) & (x[pieces.line] <= pieces.hi)]] = True
    found = left_at(x, y, cutters)
    assert found.tolist() == wanted.tolist()
    assert 0 < found.sum() < len(x)
