"""Light of trees: pairs by hand, what always holds, hedges, fillers, unknown sizes, screens and directions."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from orchard import EQUINOX, SEASON, block_of, lattice, path_at, plant_of, trees_at
from setout.geometry.sky.skyline import Bodies
from setout.model import Block, Light, Pair, Pattern, Rows
from setout.model.shade import LightPlan, Shade
from setout.stages.light import Sky, directions, light_findings, others_of, screen_findings, screen_shades, trees_light
from setout.stages.light.canopies import bodies_of, canopies_of, views_of
from setout.stages.light.turned import patch
from setout.words.findings import told

NOTHING = others_of(Shade(), lambda x, y: np.zeros(len(x)))
QUICK = settings(max_examples=15, deadline=None, derandomize=True)
PATH = path_at()
COARSE = path_at(40.0, (date(2026, 4, 21), date(2026, 6, 21), date(2026, 9, 21)), minutes=20.0)
SIZES = st.tuples(st.floats(1.5, 6.0), st.floats(1.5, 8.0))


def light_of(block: Block, trees: Any, z: Any = None, path: Any = PATH, others: Bodies = NOTHING, year: int | None = None) -> Light:
    z = np.zeros(len(trees)) if z is None else z
    return trees_light([block], trees, z, Sky(path, None, others), year)


def test_two_trees_at_equinox_on_the_equator_by_hand() -> None:
    """The sun goes from due east through the zenith to due west, 15 degrees an hour. Two balls 4 m through, 5 m apart.

    One east of the other loses the end of the afternoon. From its five points the other's upper tangent stands, in
    the sun's plane, at asin(2/4), asin(2/6), twice asin(sqrt(3)/5), and asin(2/sqrt(26)) - atan(1/5): 30, 19.47, 20.27,
    20.27 and 11.78 degrees; 1.357 h as a mean. One north of the other is shaded by it not at all.
    """
    angles = np.degrees([np.arcsin(1 / 2), np.arcsin(1 / 3), *[np.arcsin(np.sqrt(3) / 5)] * 2, np.arcsin(2 / np.sqrt(26)) - np.arctan(0.2)])
    lost = float(angles.mean() / 15.0)
    assert lost == pytest.approx(1.357, abs=1e-3)
    path, block = path_at(0.0, EQUINOX, minutes=1.0), block_of([plant_of(4.0, 4.0)])
    east_west = light_of(block, trees_at([0.0, 5.0], [0.0, 0.0]), path=path)
    west, east = 0, 1
    assert east_west.sun_am_h[east] == pytest.approx(6.0, abs=0.02)
    assert east_west.sun_pm_h[east] == pytest.approx(6.0 - lost, abs=0.03)
    assert east_west.sun_am_h[west] == pytest.approx(6.0 - lost, abs=0.03)
    assert east_west.sun_pm_h[west] == pytest.approx(6.0, abs=0.02)
    north_south = light_of(block, trees_at([0.0, 0.0], [0.0, 5.0]), path=path)
    assert north_south.sun_am_h == pytest.approx([6.0, 6.0], abs=0.02)
    assert north_south.sun_pm_h == pytest.approx([6.0, 6.0], abs=0.02)
    assert east_west.open_h == pytest.approx([12.0, 12.0], abs=0.03)


@pytest.mark.parametrize("latitude", [40.0, -33.0])
def test_partners_two_feet_apart(latitude: float) -> None:
    """A north-south pair shares morning and afternoon; of an east-west one each partner has its own half of the day."""
    path = path_at(latitude, EQUINOX, minutes=4.0)
    block = block_of([plant_of(4.5, 4.5)], step=9.0, rows=9.0, pair=Pair(0.61))
    for x, y in (([0.0, 0.0], [0.305, -0.305]), ([0.305, -0.305], [0.0, 0.0])):
        light = light_of(block, trees_at(x, y, partner=[1, 0]), path=path)
        if x == [0.0, 0.0]:
            assert light.sun_am_h == pytest.approx(light.sun_pm_h, abs=0.15)
            south, north = (1, 0) if latitude > 0 else (0, 1)
            assert light.sun_h[south] > light.sun_h[north] + 1.0
        else:
            assert light.sun_am_h[0] > light.sun_pm_h[0] + 2.0
            assert light.sun_pm_h[1] > light.sun_am_h[1] + 2.0
            assert light.sun_h[0] == pytest.approx(light.sun_h[1], abs=0.15)


def cloud(seed: int, many: int = 14) -> tuple[Any, Any]:
    return tuple(np.random.default_rng(seed).uniform(0, 22, (2, many)))


@QUICK
@given(st.integers(0, 10_000), SIZES, SIZES)
def test_another_tree_never_gives_more_sun(seed: int, own: Any, new: Any) -> None:
    x, y = cloud(seed)
    block, plant = block_of([plant_of(*own), plant_of(*new)]), np.zeros(14, int)
    plant[-1] = 1
    with_it = light_of(block, trees_at(x, y, plant), path=COARSE)
    without = light_of(block, trees_at(x[:-1], y[:-1]), path=COARSE)
    assert (with_it.sun_h[:-1] <= without.sun_h + 1e-5).all()


@QUICK
@given(st.integers(0, 10_000), SIZES, st.floats(0.1, 5.0))
def test_a_taller_tree_never_gives_its_neighbours_more(seed: int, own: Any, more: float) -> None:
    x, y = cloud(seed)
    plant = np.zeros(14, int)
    plant[-1] = 1
    low = block_of([plant_of(*own), plant_of(4.0, 3.0)])
    tall = block_of([plant_of(*own), plant_of(4.0, 3.0 + more)])
    lower, higher = (light_of(b, trees_at(x, y, plant), path=COARSE) for b in (low, tall))
    assert (higher.sun_h[:-1] <= lower.sun_h[:-1] + 1e-5).all()


@settings(max_examples=8, deadline=None, derandomize=True)
@given(st.floats(2.5, 6.0), st.floats(1.03, 2.0), st.floats(0.0, 179.0), st.booleans())
def test_a_wider_step_never_gives_less_sun(step: float, wider: float, bearing: float, offset: bool) -> None:
    median = []
    for one in (step, step * wider):
        x, y = lattice(11, 11, one, one * (0.866 if offset else 1.0), 0.5 if offset else 0.0, bearing)
        median.append(np.median(light_of(block_of([plant_of(4.5, 4.5)]), trees_at(x, y), path=COARSE).sun_h))
    assert median[1] >= median[0] - 0.02


@QUICK
@given(st.integers(0, 10_000), SIZES, st.floats(-60.0, 60.0))
def test_halves_make_the_day_and_no_day_is_longer_than_the_sun_s(seed: int, size: Any, latitude: float) -> None:
    x, y = cloud(seed)
    path = path_at(latitude, SEASON[::3], minutes=20.0)
    light = light_of(block_of([plant_of(*size)]), trees_at(x, y), path=path)
    assert light.sun_am_h + light.sun_pm_h == pytest.approx(light.sun_h, abs=1e-5)
    assert (light.day_am_h <= light.days.am_h[:, None] + 1e-4).all()
    assert (light.day_pm_h <= light.days.pm_h[:, None] + 1e-4).all()
    assert (light.sun_h <= light.open_h + 1e-4).all()
    assert light.open_h == pytest.approx(np.full(14, (light.days.am_h + light.days.pm_h).mean()), abs=1e-6)


@QUICK
@given(st.integers(0, 10_000), st.floats(4.0, 9.0))
def test_a_building_never_gives_more_sun(seed: int, height: float) -> None:
    x, y = cloud(seed)
    shade = Shade(np.array([shapely.box(24, 4, 32, 16)], object), np.array([height]), np.array([np.nan]))
    barn = others_of(shade, lambda x, y: np.zeros(len(x)))
    block = block_of([plant_of(3.0, 3.0)])
    free, beside = (light_of(block, trees_at(x, y), path=COARSE), light_of(block, trees_at(x, y), path=COARSE, others=barn))
    assert (beside.sun_h <= free.sun_h + 1e-5).all()
    assert (beside.sun_am_h < free.sun_am_h - 0.01).any()  # it stands to the east


@pytest.mark.parametrize(("bearing", "by_hand"), [(0.0, 12 * 2 / np.pi), (90.0, 0.0), (45.0, 12 * 2 / np.pi / np.sqrt(2))])
def test_a_wall_alone_at_equinox_on_the_equator_by_hand(bearing: float, by_hand: float) -> None:
    """The sun goes from due east through the zenith to due west. A side that faces it has the cosine of its altitude, 6 x 2 / pi
    hours in the morning, and the other the afternoon; along the row it meets neither side; aslant by the cosine of 45 degrees."""
    x, y = lattice(1, 30, 1.2, 4.0, bearing=bearing)
    block = block_of([plant_of(1.6, 2.5)], "hedgerow", 1.2, 4.0)
    light = light_of(block, trees_at(x, y), path=path_at(0.0, EQUINOX, minutes=2.0))
    assert light.sun_h == pytest.approx(np.full(30, by_hand), abs=0.05)
    assert light.sun_am_h == pytest.approx(light.sun_pm_h, abs=0.03)
    assert light.wall.all()


def test_the_next_row_shades_a_row_that_is_a_wall() -> None:
    block = block_of([plant_of(1.6, 2.5)], "hedgerow", 1.2, 4.0)
    x, y = lattice(3, 30, 1.2, 4.0)
    rows = light_of(block, trees_at(x, y, row=np.repeat([1, 2, 3], 30)))
    west, middle, east = rows.sun_h.reshape(3, 30).mean(axis=1)
    assert middle < west - 1.0
    assert west == pytest.approx(east, abs=0.1)
    assert (rows.sun_h <= rows.open_h).all()


@pytest.mark.parametrize("kind", ["hedgerow", "trellis", "screen"])
def test_no_wall_sees_through_itself(kind: str) -> None:
    """Both sides together are lit one at a time: a wall alone never has more than the day."""
    x, y = lattice(1, 20, 1.2, 4.0, bearing=30.0)
    light = light_of(block_of([plant_of(1.6, 2.5)], kind, 1.2, 4.0), trees_at(x, y))
    assert light.wall.all()
    assert (light.sun_h < light.open_h - 2.0).all()
    assert (light.sun_h > 5.0).all()


def test_a_hedge_falls_short_below_three_hours_square_to_its_sides() -> None:
    x, y = lattice(9, 40, 1.2, 2.6, bearing=90.0)
    block = block_of([plant_of(1.6, 3.0)], "hedgerow", 1.2, 2.6)
    trees = trees_at(x, y, row=np.repeat(np.arange(1, 10), 40))
    light = light_of(block, trees)
    (finding,) = light_findings([block], trees, light)
    assert (finding.code, finding.figures["wanted_h"]) == ("sun_short", 3.0)
    assert (finding.figures["dark"], finding.figures["known"]) == ((light.sun_h < 3.0).sum(), 360)
    assert "how squarely" in told(finding, "us").message


def test_plants_of_a_hedge_that_do_not_touch_are_single_canopies() -> None:
    x, y = lattice(1, 10, 2.5, 4.0)
    apart = canopies_of([block_of([plant_of(1.6, 2.5)], "hedgerow", 2.5, 4.0)], trees_at(x, y), None)
    assert not apart.wall.any()


def test_lines_of_one_hedge_are_one_hedge() -> None:
    x, y = lattice(6, 20, 1.2, 0.0)
    x += np.repeat([0.0, 0.9, 4.5, 5.4, 9.0, 9.9], 20)
    block = block_of([plant_of(1.6, 2.5)], "hedgerow", 1.2, 4.5, lines=2, line_distance_m=0.9)
    hedge = canopies_of([block], trees_at(x, y, row=np.repeat(np.arange(1, 7), 20)), None).hedge.reshape(6, 20)
    assert [len(set(row)) for row in hedge.tolist()] == [1] * 6
    assert [int(row[0]) for row in hedge] == [0, 0, 1, 1, 2, 2]


def test_fillers_cast_no_shade_on_the_full_grown_planting_and_do_before_they_go() -> None:
    x, y = lattice(9, 9, 4.0, 4.0)
    plant = (np.arange(81) // 9 + np.arange(81) % 9) % 2
    stays, goes = plant_of(6.0, 6.0, years_to_full_size=10.0), plant_of(4.0, 4.0, years_to_full_size=4.0, remove_year=8)
    block = block_of([stays, goes], step=4.0, rows=4.0)
    trees = trees_at(x, y, plant)
    grown, alone = light_of(block, trees), light_of(block, trees_at(x[plant == 0], y[plant == 0]))
    assert grown.sun_h[plant == 0] == pytest.approx(alone.sun_h, abs=0.02)
    # a filler is judged in its last year, seven years after planting, beside neighbours of that age
    last = light_of(block, trees, year=7)
    assert grown.sun_h[plant == 1] == pytest.approx(last.sun_h[plant == 1], abs=1e-5)
    big = light_of(block_of([stays, replace(goes, remove_year=0)], step=4.0, rows=4.0), trees)
    assert grown.sun_h[40 + 1] > big.sun_h[40 + 1] + 0.5
    short = replace(grown, sun_h=np.where(plant == 1, 5.0, 9.0))
    (said,) = light_findings([block], trees, short)
    assert "40 of 81 trees (40 of them fillers, in the last year in which they stand) get less than 6 h" in told(said, "us").message
    young, old = light_of(block, trees, year=5), light_of(block, trees, year=9)
    assert np.isnan(old.sun_h[plant == 1]).all()
    assert not np.isnan(young.sun_h).any()
    assert young.year == 5


def test_the_light_of_a_filler_is_unknown_where_its_growth_is_and_that_of_the_others_is_not() -> None:
    x, y = lattice(5, 5, 4.0, 4.0)
    plant = np.arange(25) % 2
    block = block_of([plant_of(4.0, 4.0, years_to_full_size=9.0), plant_of(3.0, 3.0, remove_year=8)], step=4.0, rows=4.0)
    trees = trees_at(x, y, plant)
    light = light_of(block, trees, path=COARSE)
    assert (np.isnan(light.sun_h) == (plant == 1)).all()
    (finding,) = (f for f in light_findings([block], trees, light) if f.code == "light_unknown")
    assert "growth up to the year in which they come out" in told(finding, "us").message


def test_young_trees_have_more_sun_than_old_ones() -> None:
    x, y = lattice(9, 9, 4.5, 4.5)
    block = block_of([plant_of(4.5, 4.5, years_to_full_size=8.0)], step=4.5, rows=4.5)
    middle = [light_of(block, trees_at(x, y), path=COARSE, year=year).sun_h[40] for year in (1, 3, 5, 8, None)]
    assert all(two < one for one, two in pairwise(middle))


def test_unknown_sizes_are_null_and_say_so() -> None:
    x, y = lattice(3, 3, 4.0, 4.0)
    block = block_of([plant_of(3.0, 3.0), plant_of(float("nan"), 3.0)])
    trees = trees_at(x, y, np.arange(9) % 2)
    light = light_of(block, trees)
    assert np.isnan(light.sun_h).tolist() == (np.arange(9) % 2 == 1).tolist()
    (finding,) = light_findings([block], trees, light)
    assert finding.code == "light_unknown"
    assert (finding.figures["sizes"], finding.figures["trees"]) == (("spread",), 4)


def test_dark_trees_are_found_with_the_figure_and_a_remedy() -> None:
    x, y = lattice(11, 11, 2.0, 2.0)
    block = block_of([plant_of(4.5, 5.0)], step=2.0, rows=2.0)
    trees = trees_at(x, y)
    light = light_of(block, trees)
    (finding,) = light_findings([block], trees, light)
    dark = light.sun_h < 6.0
    assert finding.code == "sun_short"
    assert (finding.figures["dark"], finding.figures["known"]) == (dark.sum(), 121)
    assert finding.figures["least_h"] == light.sun_h.min()
    assert finding.geometry is not None
    assert shapely.get_num_geometries(finding.geometry) == dark.sum()
    assert not list(light_findings([block], trees, replace(light, sun_h=np.full(121, 6.0))))


# ---------------------------------------------------------------------------------------------- screens


def screen_of(where: float, height: float, purpose: str = "shade") -> tuple[Block, Any]:
    """A screen of 12 plants along x = where, its yard between 0 and 20 m."""
    pattern = Pattern("screen", 3.0, 3.0)
    line = shapely.LineString([(where, -18.0), (where, 18.0)])
    block = Block("S", None, pattern, "guide", (plant_of(4.0, height),), line=line, purpose=purpose, yard=shapely.box(0, -10, 20, 10))
    return block, trees_at(np.full(13, where), np.arange(13) * 3.0 - 18.0)


def test_a_screen_to_the_west_shades_the_afternoon_and_one_to_the_east_the_morning() -> None:
    for where, afternoon in ((-3.0, True), (23.0, False)):
        block, trees = screen_of(where, 8.0)
        (shade,) = screen_shades([block], trees, np.zeros(13), PATH)
        more, less = (shade.pm_h, shade.am_h) if afternoon else (shade.am_h, shade.pm_h)
        assert (more > 1.0).all()
        assert less == pytest.approx(np.zeros(7), abs=0.05)
        assert shade.month.tolist() == [4, 5, 6, 7, 8, 9, 10]
        assert (shade.pm_h <= shade.sun_pm_h + 1e-6).all()
        found = list(screen_findings([block], [shade], 40.0))
        assert [f.code for f in found] == ([] if afternoon else ["screen_no_shade"])


def test_shade_of_a_screen_grows_with_its_height_and_falls_with_its_distance() -> None:
    hours = [float(screen_shades([b], t, np.zeros(13), COARSE)[0].pm_h.mean()) for b, t in (screen_of(-3.0, h) for h in (2.0, 4.0, 8.0))]
    assert hours[0] < hours[1] < hours[2]
    far = [float(screen_shades([b], t, np.zeros(13), COARSE)[0].pm_h.mean()) for b, t in (screen_of(x, 6.0) for x in (-2.0, -8.0, -16.0))]
    assert far[0] > far[1] > far[2]


def test_shade_of_a_long_screen_by_hand() -> None:
    """At the equator on the equinox, a wall 200 m long and h high at the yard's west edge: a place at x is shaded while
    the sun is lower than atan(h / x); the mean over a yard 20 m wide, at 15 degrees an hour, is worked as an integral."""
    pattern = Pattern("screen", 3.0, 3.0)
    y = np.arange(-99.0, 100.0, 3.0)
    block = Block("S", None, pattern, "guide", (plant_of(3.0, 6.0),), yard=shapely.box(1.5, -5, 21.5, 5))
    (shade,) = screen_shades([block], trees_at(np.zeros(len(y)), y), np.zeros(len(y)), path_at(0.0, EQUINOX, minutes=2.0))
    # the wall is 3 m wide: its near face stands at the yard's edge
    x = np.linspace(0.0, 20.0, 20_001)[1:]
    by_hand = np.degrees(np.arctan(6.0 / x)).mean() / 15.0
    assert float(shade.pm_h[0]) == pytest.approx(by_hand, rel=0.02)


# ------------------------------------------------------------------------------------------- directions


def rows_along(bearing: float) -> Rows:
    one, none = np.zeros(1), np.zeros(1, np.int64)
    return Rows(none, none + 1, one, one, one, one, none + 1, np.array([bearing]))


def test_directions_of_pairs_tell_both_partners() -> None:
    block = block_of([plant_of(4.5, 4.5)], step=9.0, rows=9.0, pair=Pair(0.61, 0.0))
    found = {d.bearing_deg: d for d in directions([block], rows_along(0.0), PATH)}
    assert [d.planned for d in found.values()] == [True, False]
    north, south = found[0.0].sides
    east, west = found[90.0].sides
    assert {(side.part, side.bearing_deg) for side in (north, east, south, west)} == {("partner", way) for way in (0.0, 90.0, 180.0, 270.0)}
    assert (north.bearing_deg, east.bearing_deg) == (0.0, 90.0)
    assert north.am_h == pytest.approx(north.pm_h, abs=0.15)
    assert south.am_h == pytest.approx(south.pm_h, abs=0.15)
    assert east.am_h > east.pm_h + 2.0
    assert west.pm_h > west.am_h + 2.0


@pytest.mark.parametrize("kind", ["square", "quincunx"])
def test_directions_are_told_without_the_fillers_that_come_out(kind: str) -> None:
    """A block with fillers is, when these are out, the same as one of what stays: a diamond, or the square of a quincunx."""
    stays, goes = plant_of(7.0, 7.0, years_to_full_size=10.0), plant_of(5.0, 5.0, years_to_full_size=4.0, remove_year=8)
    shift, rows = (0.5, 4.5) if kind == "quincunx" else (0.0, 6.0)
    step = 9.0 if kind == "quincunx" else 6.0
    block = block_of([stays, goes], kind, step, rows, shift=shift)
    found = directions([block], rows_along(0.0), COARSE)[0]
    x, y = lattice(13, 13, 9.0, 9.0) if kind == "quincunx" else lattice(13, 13, 6.0 * np.sqrt(2), 6.0 * np.sqrt(2), bearing=45.0)
    alone = light_of(block_of([stays]), trees_at(x, y), path=COARSE)
    assert found.sides[0].am_h + found.sides[0].pm_h == pytest.approx(float(alone.sun_h[84]), abs=0.1)


def test_directions_of_hedges_tell_both_sides() -> None:
    block = block_of([plant_of(1.5, 2.5)], "hedgerow", 1.0, 4.0)
    found = {d.bearing_deg: d for d in directions([block], rows_along(40.0), PATH)}
    assert set(found) == {0.0, 90.0, 40.0}
    west, east = found[0.0].sides
    assert west.am_h < 0.3 < west.pm_h
    assert east.pm_h < 0.3 < east.am_h
    north, south = found[90.0].sides
    assert south.am_h + south.pm_h > north.am_h + north.pm_h + 2.0
    assert found[0.0].hedge_h > found[90.0].hedge_h


def test_directions_are_left_out_where_growth_is_not_known() -> None:
    block = block_of([plant_of(4.0, 4.0)])
    assert len(directions([block], rows_along(0.0), PATH)) == 2
    assert directions([block], rows_along(0.0), PATH, year=3) == ()


def test_the_patch_is_the_block_s_own_pattern() -> None:
    block = block_of([plant_of(4.0, 4.0)], "offset", 5.0, 4.33, shift=0.5)
    trees = patch(block, 30.0)
    far = np.sort(np.hypot(trees.x, trees.y))
    assert far[0] == 0.0
    assert far[1:7] == pytest.approx(np.full(6, 5.0), abs=0.01)
    views, own = views_of(trees, canopies_of([block], trees, None), np.zeros(len(trees)))
    assert len(own) == len(trees) == len(bodies_of([block], trees, canopies_of([block], trees, None), np.zeros(len(trees))))
    assert views.z.shape == (len(trees), 5)


def test_seasons_of_both_hemispheres_and_of_the_plan() -> None:
    assert [day.month for day in LightPlan().days_at(-20.0)] == [10, 11, 12, 1, 2, 3, 4]
    assert {day.day for day in LightPlan().days_at(50.0)} == {21}
    days = (date(2026, 5, 1), date(2026, 8, 2))
    assert LightPlan(days=days).days_at(50.0) == days


@pytest.mark.parametrize("bearing", [20.0, 40.0, 130.0])
def test_the_direction_of_the_plan_is_marked_as_planned(bearing: float) -> None:
    block = block_of([plant_of(1.5, 2.5)], "hedgerow", 1.0, 4.0)
    assert [d.bearing_deg for d in directions([block], rows_along(bearing), PATH) if d.planned] == [bearing]


@pytest.mark.parametrize(("bearing", "usual"), [(179.9, 0.0), (90.1, 90.0)])
def test_rows_that_all_but_run_north_or_east_are_no_third_direction(bearing: float, usual: float) -> None:
    block = block_of([plant_of(1.5, 2.5)], "hedgerow", 1.0, 4.0)
    found = directions([block], rows_along(bearing), PATH)
    assert [(d.bearing_deg, d.planned) for d in found] == [(0.0, usual == 0.0), (90.0, usual == 90.0)]
