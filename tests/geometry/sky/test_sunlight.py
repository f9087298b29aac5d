"""Skylines against rays cast one by one, and against shadows worked by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from orchard import EQUINOX, block_of, by_rays, lattice, parts, path_at, plant_of, trees_at
from rays import Box, directions, halves, lit, meets_box
from setout.geometry.sky.skyline import Bodies, Views, azimuths_of, lowest_between
from setout.geometry.sky.sunlight import sunlight

MEAN, WORST = 0.0025, 0.015
"""Errors allowed against exact rays, as shares of sun hours."""


def eye_at(x: float, y: float, z: float) -> Views:
    one, none, zero = np.array([0.0]), np.array([-1]), np.zeros((1, 1))
    return Views(np.array([x]), np.array([y]), one, none, one, none, zero, zero, np.array([[z]]))


def wall_of(x: float, y: float, top: float, half_length: float, half_width: float, bearing: float) -> Bodies:
    values = (x, y, 0.0, top, np.nan, half_length, half_width, np.radians(bearing))
    return Bodies(*(np.array([v]) for v in values), np.array([-1]), np.array([-1]))


def crown_of(x: float, y: float, top: float, radius: float) -> Bodies:
    values = (x, y, 0.0, top, radius, np.nan, np.nan, np.nan)
    return Bodies(*(np.array([v]) for v in values), np.array([-1]), np.array([-1]))


def test_a_long_wall_to_the_west_takes_the_sun_that_is_lower_than_its_top() -> None:
    """By hand, at the equator on the equinox: the sun goes through the zenith, so from 10 m the top of a 10 m wall
    stands at 45 degrees, three of the six hours of the afternoon."""
    path = path_at(0.0, EQUINOX, minutes=1.0)
    am, pm = sunlight(eye_at(0, 0, 0), wall_of(-10.0, 0.0, 10.0, 500.0, 0.0, 0.0), path)
    assert float(am[0, 0]) == pytest.approx(6.0, abs=0.02)
    assert float(pm[0, 0]) == pytest.approx(3.0, abs=0.03)


def test_a_wall_s_shadow_ends_at_its_height_over_the_tangent() -> None:
    """Shadow = h / tan(altitude): at 40 N on 21 December noon (26.56 deg) a wall of 10 throws 20.0."""
    path = path_at(40.0, (EQUINOX[0].replace(month=12, day=21),), minutes=2.0)
    noon = np.argmax(path.altitude_deg)
    long = 10.0 / np.tan(np.radians(path.altitude_deg[noon]))
    assert long == pytest.approx(20.0, abs=0.02)
    wall = wall_of(0.0, 0.0, 10.0, 500.0, 0.0, 90.0)
    one = replace(path, **{name: getattr(path, name)[[noon]] for name in ("day", "altitude_deg", "azimuth_deg", "hours", "morning")})
    for far, sunny in ((long - 0.05, False), (long + 0.05, True)):
        am, pm = sunlight(eye_at(0.0, far, 0.0), wall, one)
        assert (float((am + pm)[0, 0]) > 0) == sunny


def test_a_lone_tree_s_shadow_is_the_tangent_to_its_crown() -> None:
    """By hand: a ball of radius 2 on the ground, the sun at 45 deg: its shadow ends at 2 (1 + sqrt 2) from the trunk,
    where the ray touches the ball; at the ball's own height it would be 4."""
    path = path_at(0.0, EQUINOX, minutes=0.5)
    third = np.argmin(np.abs(path.altitude_deg - 45.0) + 90 * path.morning)
    one = replace(path, **{name: getattr(path, name)[[third]] for name in ("day", "altitude_deg", "azimuth_deg", "hours", "morning")})
    edge = 2.0 * (1.0 + np.sqrt(2.0))
    for far, sunny in ((edge - 0.06, False), (edge + 0.06, True)):
        am, pm = sunlight(eye_at(far, 0.0, 0.0), crown_of(0.0, 0.0, 4.0, 2.0), one)
        assert (float((am + pm)[0, 0]) > 0) == sunny


def errors(views: Any, bodies: Any, path: Any, which: Any, **more: Any) -> Any:
    am, pm = sunlight(views, bodies, path)
    exact = np.sum(by_rays(views, bodies, path, which, **more), axis=0).mean(axis=0)
    return ((am + pm).mean(axis=0)[which] - exact) / exact


@pytest.mark.parametrize(
    ("step", "spread", "height", "bearing"), [(4.88, 4.5, 4.6, 0.0), (4.88, 3.6, 4.0, 33.0), (2.44, 4.5, 4.6, 90.0), (9.14, 8.0, 9.0, 12.0)]
)
def test_canopies_in_a_block_against_rays(step: float, spread: float, height: float, bearing: float) -> None:
    """True ellipsoids, nothing filled below: points at half the height and above see the same."""
    x, y = lattice(17, 17, step, step * 0.866, 0.5, bearing)
    z = 0.08 * x - 0.05 * y + 0.4 * np.sin(x / 17)
    views, bodies = parts(block_of([plant_of(spread, height)], step=step), trees_at(x, y), z)
    which = [0, 8, 40, 144, 145, 200, 271, 288]
    error = errors(views, bodies, path_at(), which, filled=step < 3)
    assert abs(error.mean()) <= MEAN
    assert np.abs(error).max() <= WORST


def test_a_mixed_block_at_random_places_against_rays() -> None:
    rng = np.random.default_rng(3)
    x, y = lattice(13, 13, 5.0, 5.0) + rng.normal(0, 0.35, (2, 169))
    plants = [plant_of(4.5, 4.6), plant_of(3.0, 2.5), plant_of(6.0, 8.0)]
    trees = trees_at(x, y, rng.integers(0, 3, 169))
    views, bodies = parts(block_of(plants), trees, rng.normal(0, 0.4, 169))
    error = errors(views, bodies, path_at(), rng.choice(169, 20, replace=False))
    assert abs(error.mean()) <= MEAN
    assert np.abs(error).max() <= WORST


def test_hedges_against_rays() -> None:
    """Rows of touching plants are walls: boxes of their own for the rays, one for each row."""
    x, y = lattice(7, 40, 1.2, 4.0, bearing=20.0)
    trees = trees_at(x, y, row=np.arange(280) // 40 + 1)
    views, bodies = parts(block_of([plant_of(1.5, 2.6)], "hedgerow", 1.2, 4.0), trees)
    path = path_at()
    am, pm = sunlight(views, bodies, path)
    boxes = []
    for row in range(7):
        own = slice(row * 40, row * 40 + 40)
        boxes.append(Box(x[own].mean(), y[own].mean(), 0.0, 2.6, 20 * 1.2, 0.75, 20.0))
    way = directions(path.altitude_deg, path.azimuth_deg)
    for k in (5 * 40 + 20, 3 * 40 + 20, 3 * 40 + 2):
        share = np.zeros(len(path.day))
        for side in (110.0, 290.0):
            normal = np.array([np.sin(np.radians(side)), np.cos(np.radians(side)), 0.0])
            for height in 2.6 * np.arange(0.1, 1.0, 0.2):
                eye = np.array([x[k], y[k], height]) + 0.751 * normal
                # the hedge itself is among the boxes; each side counts by the cosine of the sun's angle with it
                share += lit(eye, path, None, boxes) * np.maximum(way @ normal, 0.0) / 10
        exact = np.sum(halves(path, share), axis=0).mean()
        assert float((am + pm)[:, k].mean()) == pytest.approx(exact, rel=WORST)


def test_pairs_of_one_offset_taken_together_are_as_each_alone() -> None:
    x, y = lattice(20, 20, 4.0, 4.0, 0.5, 15.0)
    rng = np.random.default_rng(1)
    trees = trees_at(x, y, rng.integers(0, 2, 400))
    views, bodies = parts(block_of([plant_of(4.4, 4.0), plant_of(3.0, 5.0)]), trees, 0.1 * x)
    path = path_at()
    together, alone = sunlight(views, bodies, path, company=8), sunlight(views, bodies, path, company=10**9)
    for one, other in zip(together, alone, strict=True):
        # rounding may take a position of the sun to the other side of a crown's edge
        assert np.abs(one - other).mean() < 1e-3
        assert np.quantile(np.abs(one - other), 0.999) < 0.04


def test_light_does_not_depend_on_the_order_of_the_trees() -> None:
    rng = np.random.default_rng(5)
    x, y = lattice(9, 9, 4.0, 4.0)
    order = rng.permutation(81)
    path = path_at()
    first = np.sum(sunlight(*parts(block_of([plant_of(4.0, 4.0)]), trees_at(x, y)), path), axis=0)
    second = np.sum(sunlight(*parts(block_of([plant_of(4.0, 4.0)]), trees_at(x[order], y[order])), path), axis=0)
    assert np.abs(first[:, order] - second).max() < 0.2
    assert np.abs(first[:, order] - second).mean() < 1e-3


def test_runs_of_azimuths_go_round_north() -> None:
    path = path_at(-35.0)
    ways, slot = azimuths_of(path)
    assert {1, 2, 357, 358} <= set(ways.degree.tolist())
    assert np.abs((ways.degree[slot] - path.azimuth_deg + 180) % 360 - 180).max() <= 0.5
    first, last = ways.between(np.array([350.0]), np.array([370.0]))
    found = sorted({int(ways.degree[k % len(ways)]) for k in range(int(first[0]), int(last[0]))})
    assert found == [k for k in (*range(11), *range(350, 360)) if k in ways.degree]
    sky = np.zeros((len(ways), 1), np.float32)
    sky[ways.degree == 3] = -1.0
    assert lowest_between(sky, first, last, np.zeros(1, np.int64)).tolist() == [-1.0]


def test_the_ray_that_the_boxes_are_held_to_is_right_itself() -> None:
    way = directions(np.array([45.0, 44.0, 46.0]), np.array([270.0, 270.0, 270.0]))
    hit = meets_box(np.zeros(3), way, Box(-10.0, 0.0, 0.0, 10.0, 50.0, 0.0001, 0.0))
    assert hit.tolist()[1:] == [True, False]
