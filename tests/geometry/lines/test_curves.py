"""Paths, parallels, braids and level lines against GEOS (through shapely), against brute force and against closed forms."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from invented import field
from setout.geometry.lines.beside import Rule, next_line, resampled
from setout.geometry.lines.curves import Path, Spots, Stretch, leave, path_of, set_along, walked
from setout.geometry.lines.levellines import fair, gentle_runs, steep_faces, surface, too_steep, traced
from setout.geometry.lines.measured import Base
from setout.geometry.lines.parallels import distance_grid, drawn, exact, prolonged
from setout.geometry.lines.pathcut import Blade, cut
from setout.geometry.rows.braid import braided

SEEDS = st.integers(0, 400)
QUICK = settings(max_examples=25, deadline=None, derandomize=True)


def wander(seed: int, size: int = 14, turn: float = 0.9) -> Path:
    """A path that bends at random."""
    rng = np.random.default_rng(seed)
    heading = rng.uniform(0, 2 * np.pi) + np.cumsum(rng.uniform(-turn, turn, size))
    leg = rng.uniform(0.4, 30.0, size)
    xy = np.cumsum(np.column_stack([leg * np.cos(heading), leg * np.sin(heading)]), axis=0)
    path = path_of(xy - xy.mean(axis=0))
    assert path is not None
    return path


@QUICK
@given(SEEDS, st.floats(1.0, 12.0))
def test_next_point_is_the_first_at_a_straight_step(seed: int, step: float) -> None:
    """GEOS: what lies within the step of a point, up to its next one, is the whole path between them."""
    path = wander(seed)
    places = walked(Stretch(path, 0.0, path.length), 0.0, step)
    line = shapely.LineString(path.xy)
    for (s, x, y), (t, u, v) in pairwise(places):
        assert np.hypot(u - x, v - y) >= step - 1e-9
        if path.at(s)[:2] != (x, y) or t - s > 3 * step:
            continue
        between = path.points(np.linspace(s, t, 200)[1:-1])
        first = np.hypot(between[:, 0] - x, between[:, 1] - y).max() <= step + 1e-9
        slid = any(np.hypot(u - a, v - b) < step + 1e-6 for _, a, b in places[: places.index((s, x, y))])
        assert first or slid
    xy = np.array(places)[:, 1:]
    assert shapely.distance(line, shapely.points(xy)).max() < 1e-9
    if len(xy) > 1:
        apart = np.hypot(*(xy[:, None] - xy).T)[np.triu_indices(len(xy), 1)]
        assert apart.min() >= step - 1e-5


def test_where_a_path_leaves_a_circle_is_where_geos_crosses_it() -> None:
    path = wander(7, turn=0.4)
    x, y, part = path.at(3.0)
    s, _ = leave(path, 3.0, part, (x, y), 20.0)
    line = shapely.LineString(path.xy)
    circle = shapely.Point(x, y).buffer(20.0, quad_segs=4000).exterior
    crossings = [shapely.line_locate_point(line, p) for p in shapely.get_parts(shapely.intersection(line, circle))]
    assert s == pytest.approx(min(c for c in crossings if c > 3.0), abs=1e-5)


@QUICK
@given(SEEDS, st.floats(2.0, 9.0))
def test_straight_stretches_hold_as_many_as_fit_in_their_middle(seed: int, step: float) -> None:
    rng = np.random.default_rng(seed)
    path = path_of(np.array([[0.0, 0.0], rng.uniform(20, 90, 2)]))
    low, high = np.sort(rng.uniform(0, path.length, 2))
    places = set_along(Stretch(path, low, high), step)
    assert len(places) == int((high - low) / step + 1e-9) + 1
    assert places[0][0] - low == pytest.approx(high - places[-1][0], abs=0.05)


@QUICK
@given(SEEDS)
def test_cut_leaves_what_geos_leaves(seed: int) -> None:
    area, path = field(seed, 160.0), wander(seed + 1)
    stretches = [stretch for _, stretch in cut([path], Blade(area))]
    whole = shapely.intersection(shapely.LineString(path.xy), area)
    assert sum(s.room for s in stretches) == pytest.approx(whole.length, abs=1e-5)
    for stretch in stretches:
        assert shapely.distance(area, shapely.LineString(stretch.path.part(stretch.low, stretch.high))) == 0
        xy = stretch.path.points(np.linspace(stretch.low, stretch.high, 50))
        assert shapely.distance(area, shapely.points(xy)).max() < 1e-6


def test_a_closed_path_is_opened_in_its_gap() -> None:
    ring = path_of(shapely.get_coordinates(shapely.box(-10, -10, 10, 10).exterior))
    assert ring.closed
    area = shapely.box(-20, -20, 20, 20).difference(shapely.box(-4, 5, 4, 15))
    (stretch,) = [s for _, s in cut([ring], Blade(area))]
    assert not stretch.path.closed
    assert stretch.room == pytest.approx(72.0)
    (whole,) = [s for _, s in cut([ring], Blade(shapely.box(-20, -20, 20, 20)))]
    assert whole.path.closed
    assert whole.room == pytest.approx(80.0)


@QUICK
@given(SEEDS, st.floats(1.0, 9.0))
def test_spots_see_what_brute_force_sees(seed: int, distance: float) -> None:
    rng = np.random.default_rng(seed)
    spots, xy = Spots(distance), rng.uniform(-20, 20, (25, 2))
    for x, y in xy.tolist():
        spots.add(x, y)
    for x, y in rng.uniform(-22, 22, (40, 2)).tolist():
        assert (spots.near(x, y) is not None) == bool((np.hypot(*(xy - (x, y)).T) < distance - 1e-6).any())


@QUICK
@given(SEEDS)
def test_parallels_lie_at_their_true_distance(seed: int) -> None:
    """shapely.distance from the base line, which knows nothing of grids; none of the parallel strays beyond 0.5 mm."""
    path = wander(seed, turn=0.5)
    line = prolonged(path.xy, 500.0)
    area = field(seed, 200.0)
    grid = distance_grid(Base(line), area, 3.0)
    levels = [-30.0, -4.0, 0.0, 7.5, 22.0]
    for k, parallel in exact(grid, levels):
        xy = parallel.points(np.linspace(0, parallel.length, 400))
        corner = np.diff(parallel.xy, axis=0)
        away = shapely.distance(shapely.LineString(line), shapely.points(xy))
        assert np.abs(away - abs(levels[k])).max() < (0.012 if len(corner) > 1 else 5e-4)


def test_parallels_of_an_arc_are_arcs() -> None:
    """Closed form: a parallel of a circle of radius r is a circle of radius r - d on its left when it runs anticlockwise."""
    angle = np.linspace(0, 2 * np.pi, 721)
    ring = 50 * np.column_stack([np.cos(angle), np.sin(angle)])
    ring[-1] = ring[0]
    grid = distance_grid(Base(ring), shapely.box(-80, -80, 80, 80), 2.5)
    radii = {}
    for k, path in exact(grid, [20.0, -15.0]):
        assert path.closed
        radii[k] = np.hypot(path.x, path.y)
    assert np.abs(radii[0] - 30).max() < 2e-3  # the ring has 720 sides
    assert np.abs(radii[1] - 65).max() < 2e-3


def test_parallels_run_the_way_of_their_base_line() -> None:
    grid = distance_grid(Base(np.array([[-90.0, 3], [90, -3]])), shapely.box(-40, -40, 40, 40), 4.0)
    for draw in (drawn, exact):
        assert all(path.x[-1] > path.x[0] for _, path in draw(grid, [-20.0, 0.0, 20.0]))


def test_a_prolonged_horseshoe_ends_where_its_ends_meet() -> None:
    line = np.array([[-20.0, 40], [-30, 0], [30, 0], [20, 40]])
    longer = prolonged(line, 500.0)
    assert longer[0] == pytest.approx([0.0, 120.0], abs=1e-6)
    assert longer[-1] == pytest.approx([0.0, 120.0], abs=1e-6)


def test_braid_follows_the_inner_line_round_a_bend() -> None:
    """On arcs of radius 19 and 21 m a step of 3 m: the inner line holds as many chords of 3 m as fit, the outer as many."""
    angle = np.linspace(0, np.pi, 2000)
    paths = [path_of(r * np.column_stack([-np.cos(angle), np.sin(angle)])) for r in (21.0, 19.0)]
    lines = [[Stretch(p, 0.0, p.length)] for p in paths]
    outer, inner = braided(lines, 3.0, Spots(2.5), lambda x, y: -np.arctan2(y, x))
    most = int(np.pi / (2 * np.arcsin(1.5 / 19))) + 1
    assert len(inner) in (most, most - 1)
    assert abs(len(outer) - len(inner)) <= 1
    xy = np.array([p[2:] for p in outer + inner])
    assert np.hypot(*(xy[:, None] - xy).T)[np.triu_indices(len(xy), 1)].min() >= 2.5 - 1e-5


@QUICK
@given(SEEDS, st.floats(0.02, 0.3))
def test_gentle_runs_hold_to_every_stretch(seed: int, most: float) -> None:
    """Brute force over all pairs of places at least the stretch apart."""
    rng = np.random.default_rng(seed)
    z = np.cumsum(rng.normal(0, 0.25, 80))
    z[rng.integers(0, 80, 2)] = np.nan
    runs = gentle_runs(z, 2.0, 20.0, most)
    for a, b in runs:
        part = z[a : b + 1]
        i, j = np.triu_indices(len(part), 1)
        length = 2.0 * (j - i)
        counts = length >= min(20.0, 2.0 * (len(part) - 1)) - 1e-9
        assert np.isfinite(part).all()
        assert (np.abs(part[j] - part[i])[counts] <= most * length[counts] + 1e-12).all()
    assert all(b < c for (_, b), (c, _) in pairwise(runs))


def test_a_steady_slope_is_too_steep_throughout() -> None:
    slope = 0.05 * 2.0 * np.arange(100)
    assert gentle_runs(slope, 2.0, 30.0, 0.06) == [(0, 99)]
    assert gentle_runs(slope, 2.0, 30.0, 0.04) == []
    assert too_steep(slope, 2.0, 30.0, 0.04)[8:-8].all()


def test_level_lines_of_a_plane_and_a_cone() -> None:
    """Closed forms: on a plane a line that falls by f where the ground is g steep is at asin(f / g) to the level."""
    plane = surface(lambda x, y: 0.06 * x + 0.08 * y, (-60, -60, 60, 60), 2.0, 6.0)
    box = (-50, -50, 50, 50)
    for fall in (0.0, 0.01):
        line = traced(plane, box, (0.0, 0.0), fall)
        way = line[-1] - line[0]
        level = np.array([0.08, -0.06]) / 0.1  # higher ground on the left
        downhill = np.array([-0.06, -0.08]) / 0.1
        angle = np.arcsin(fall / 0.1)
        assert way / np.hypot(*way) == pytest.approx(level * np.cos(angle) + downhill * np.sin(angle), abs=1e-6)
    cone = surface(lambda x, y: 30 - 0.1 * np.hypot(x, y), (-60, -60, 60, 60), 1.0, 2.0)
    ring = traced(cone, box, (0.0, 35.0), 0.0)
    assert np.hypot(*ring.T) == pytest.approx(35.0, abs=0.1)
    assert shapely.is_ccw(shapely.LinearRing(ring))


def test_steep_faces_lie_on_the_steepest_ground() -> None:
    hump = surface(lambda x, y: 10 * np.exp(-(x**2) / 800), (-80, -80, 80, 80), 2.0, 3.0)
    places = steep_faces(hump, shapely.box(-70, -70, 70, 70), 6.0, 5)
    assert len(places) == 5
    # the steepest part of exp(-x2 / 2 s2) is at |x| = s = 20 m
    assert np.abs(np.abs(places[:, 0]) - 20).max() < 13


def test_next_line_takes_the_least_gap_that_its_fall_allows() -> None:
    """On a plane the least gap everywhere; where the slope halves along the line, what the fall asks for.

    With heights h(x) = (0.12 - 0.0003 x) 6 at the least gap and 1 mm/m allowed, the line is 0.72 - 0.001 x high, and so
    (0.72 - 0.001 x) / (0.12 - 0.0003 x) away: 7.6 m at x = 150."""
    plane = surface(lambda x, y: 0.1 * y, (-20, -20, 220, 80), 2.0, 2.0)
    rule = Rule(6.0, 9.0, (-0.004, 0.004), 2.0, (0, -10, 200, 60))
    line = resampled(np.array([[0.0, 0.0], [200.0, 0.0]]), rule)
    flat = next_line(plane, line, 1, np.ones(len(line), bool), rule)
    assert flat[:, 1] == pytest.approx(6.0, abs=2e-3)
    fan = surface(lambda x, y: (0.12 - 0.0003 * x) * y, (-20, -20, 220, 80), 2.0, 2.0)
    rule = replace(rule, rates=(-0.001, 0.001))
    bent = next_line(fan, line, 1, (line[:, 0] >= 0) & (line[:, 0] <= 200), rule)
    assert np.interp(150.0, bent[:, 0], bent[:, 1]) == pytest.approx(0.57 / 0.075, abs=0.1)
    assert bent[:, 1].min() >= 6.0
    assert bent[:, 1].max() <= 9.0 + 1e-6
    below = next_line(fan, line, -1, np.ones(len(line), bool), rule)
    assert below[:, 1].max() <= -6.0
    assert np.interp(150.0, below[:, 0], below[:, 1]) == pytest.approx(-0.57 / 0.075, abs=0.1)


@QUICK
@given(SEEDS)
def test_no_next_line_is_nearer_than_the_least_gap(seed: int) -> None:
    """To 1 % of it, which is what straight parts of 2 m make of the tightest bends."""
    rng = np.random.default_rng(seed)
    ax, ay, px, py = rng.uniform(30, 90, 2).tolist() + rng.uniform(0, 6, 2).tolist()
    ground = surface(lambda x, y: 0.05 * y + 1.5 * np.sin(x / ax * 3 + px) * np.cos(y / ay * 3 + py), (-30, -30, 230, 130), 2.5, 5.0)
    rule = Rule(5.0, 7.5, (-0.02, 0.02), 2.0, (0, 0, 200, 100))
    line = fair(traced(ground, rule.box, (100.0, 50.0), 0.0), 5.0, 2.5)
    line = resampled(line, rule)
    for side in (1, -1):
        now = line
        for _ in range(5):
            after = next_line(ground, now, side, np.ones(len(now), bool), rule)
            if after is None:
                break
            assert shapely.distance(shapely.LineString(now), shapely.LineString(after)) >= 0.99 * 5.0
            now = after
