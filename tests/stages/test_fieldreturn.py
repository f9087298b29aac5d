"""Back from the field: what was put into invented surveys is found again.

Shift, turn, noise, missing, swapped, doubled and extra trees are put in by this file's own few lines of numpy; the turn
is the rotation matrix of any textbook, clockwise as bearings go.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from setout.model.asbuilt import DOUBLED, EXTRA, IN_PLACE, MISPLACED, SWAPPED, FieldPoints
from setout.stages.fieldreturn import Planned, doubts, match
from setout.words.asbuilt import STATUS_WORDS
from setout.words.findings import told

STEP = 2.0


def layout(columns=100, rows=80, step=STEP, slant=0.3):
    x, y = (v.ravel().astype(float) * step for v in np.meshgrid(np.arange(columns), np.arange(rows)))
    kept = x + slant * y < 1.05 * x.max()
    x, y = x[kept], y[kept]
    n = len(x)
    ids = np.array([f"A-{k:05d}" for k in range(n)])
    return Planned(ids, x, y, np.zeros(n, np.int64), np.arange(n) % 2, ("A",))


def turned(x, y, about, shift, degrees):
    a = math.radians(degrees)
    dx, dy = x - about[0], y - about[1]
    return (about[0] + math.cos(a) * dx + math.sin(a) * dy + shift[0], about[1] - math.sin(a) * dx + math.cos(a) * dy + shift[1])


def points(x, y, own):
    return FieldPoints(np.full(len(x), "", object), np.asarray(x), np.asarray(y), np.asarray(own, np.int64))


def surveyed(planned, seed, *, shift, degrees, noise, named, missing=60, extra=25, swaps=15, doubles=12):
    """Return a survey with faults, and the faults: missing places, pairs swapped, numbers of extra and doubled trees."""
    rng = np.random.default_rng(seed)
    n = len(planned.x)
    about = planned.x.mean(), planned.y.mean()
    x, y = turned(planned.x, planned.y, about, shift, degrees)
    x, y = x + rng.normal(0, noise, n), y + rng.normal(0, noise, n)
    gone = rng.choice(n, missing, replace=False)
    there = np.setdiff1d(np.arange(n), gone)
    own = np.arange(n)
    first = np.sort(rng.choice(there[:-1][np.diff(there) == 1], swaps, replace=False)).astype(np.int64)
    first = first[np.append(True, np.diff(first) > 1)[: len(first)]]
    own[first], own[first + 1] = first + 1, first
    inner = (planned.x < 0.6 * planned.x.max()) & (planned.y < 0.6 * planned.y.max())
    clear = there[inner[there] & ~np.isin(there, np.concatenate([gone, gone - 1, first, first + 1]))]
    beside = rng.choice(clear, extra, replace=False)
    ex, ey = turned(planned.x[beside] + STEP / 2, planned.y[beside] + STEP / 2, about, shift, degrees)
    double = rng.choice(np.setdiff1d(clear, beside), doubles, replace=False)
    dx, dy = x[double] + 0.15, y[double] - 0.1
    names = np.concatenate([own[there], np.full(extra + doubles, -1)]) if named else np.full(len(there) + extra + doubles, -1)
    made = points(np.concatenate([x[there], ex, dx]), np.concatenate([y[there], ey, dy]), names)
    numbers = len(there) + np.arange(extra + doubles)
    return made, set(gone.tolist()), set(first.tolist()), set(numbers.tolist())


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize(("shift", "degrees"), [((0.0, 0.0), 0.0), ((1.3, -0.7), 0.4), ((-9.1, 6.2), -2.5)])
def test_named_trees_shift_turn_missing_extra_and_swapped_are_all_found(seed, shift, degrees):
    """0.3 m in each coordinate on a 2 m step: the shift to 1 cm, the turn to 0.01 deg, every missing and extra tree."""
    planned = layout()
    survey, gone, swapped, more = surveyed(planned, seed, shift=shift, degrees=degrees, noise=0.3, named=True)
    built = match(planned, survey)
    set_up = built.set_up
    assert math.hypot(set_up.shift_x - shift[0], set_up.shift_y - shift[1]) < 0.01
    assert abs(set_up.turn_deg - degrees) < 0.01
    assert set_up.by_names
    assert set(built.missing.tolist()) == gone
    assert set(np.flatnonzero(np.isin(built.status, (EXTRA, DOUBLED))).tolist()) == more
    away = np.flatnonzero(np.isin(built.status, (SWAPPED, MISPLACED)))
    found = {min(int(built.place[k]), int(survey.own[k])) for k in away.tolist() if built.status[k] == SWAPPED}
    assert len(found ^ swapped) <= 1  # a swapped tree over 0.75 m towards its own place cannot be told (1 in 100 at 0.3 m)


def nearest_places(planned, survey, numbers, shift, degrees):
    x, y = turned(planned.x, planned.y, (planned.x.mean(), planned.y.mean()), shift, degrees)
    return sorted(int(np.argmin(np.hypot(x - survey.x[k], y - survey.y[k]))) for k in numbers)


@pytest.mark.parametrize("seed", [7])
@pytest.mark.parametrize(("shift", "degrees"), [((0.0, 0.0), 0.0), ((1.3, -0.7), 0.4), ((-9.1, 6.2), -2.5), ((14.0, 33.0), 4.0)])
def test_trees_without_names_are_found_by_the_pattern_of_them_all(seed, shift, degrees):
    """0.3 m from a tree's place in the root mean square, as receivers state it; without names two trees that are each
    nearer to the other's place could not be told."""
    planned = layout()
    noise = 0.3 / math.sqrt(2)
    survey, gone, _, more = surveyed(planned, seed, shift=shift, degrees=degrees, noise=noise, named=False, swaps=0)
    built = match(planned, survey)
    set_up = built.set_up
    assert not set_up.by_names
    assert math.hypot(set_up.shift_x - shift[0], set_up.shift_y - shift[1]) < 0.01
    assert abs(set_up.turn_deg - degrees) < 0.01
    assert set(built.missing.tolist()) == gone
    found = np.flatnonzero(np.isin(built.status, (EXTRA, DOUBLED)))
    assert len(found) == len(more)
    # which of two that stand at one place is the double cannot be told: both are nearest to it
    assert nearest_places(planned, survey, found, shift, degrees) == nearest_places(planned, survey, sorted(more), shift, degrees)
    assert set_up.scatter_m == pytest.approx(noise, rel=0.1)


@pytest.mark.parametrize("named", [True, False])
def test_a_wide_row_and_a_close_step_are_matched_too(named):
    """A hedge: 0.9 m in the row, rows 4 m apart, half of the step a lattice away."""
    rng = np.random.default_rng(4)
    x, y = (v.ravel() for v in np.meshgrid(np.arange(90) * 0.9, np.arange(14) * 4.0))
    n = len(x)
    planned = Planned(np.arange(n).astype(str), x, y, np.zeros(n, np.int64), np.zeros(n, np.int64), ("A",))
    tx, ty = turned(x, y, (x.mean(), y.mean()), (1.7, -1.1), 0.7)
    built = match(planned, points(tx + rng.normal(0, 0.05, n), ty + rng.normal(0, 0.05, n), np.arange(n) if named else np.full(n, -1)))
    assert built.place.tolist() == list(range(n))
    assert built.set_up.turn_deg == pytest.approx(0.7, abs=0.01)


def test_a_wrong_control_point_shows_as_a_turn_about_the_right_one():
    """Set up on BM2 with the backsight 0.5 m aside in 200 m: a turn of 0.143 deg about BM2."""
    planned = layout(60, 50)
    monuments = np.array([[-20.0, -20.0], [150.0, -30.0], [140.0, 130.0]])
    x, y = turned(planned.x, planned.y, tuple(monuments[1]), (0.0, 0.0), math.degrees(math.atan2(0.5, 200.0)))
    rng = np.random.default_rng(1)
    built = match(planned, points(x + rng.normal(0, 0.03, len(x)), y + rng.normal(0, 0.03, len(x)), np.arange(len(x))))
    assert math.hypot(built.set_up.pivot_x - 150.0, built.set_up.pivot_y + 30.0) < 2.0
    (shift,) = [f for f in doubts(planned, built, monuments) if f.code == "systematic_shift"]
    assert (shift.figures["pivot"], shift.figures["sense"]) == ("BM2", "clockwise")
    assert "turns about monument BM2" in told(shift, "us").message
    assert built.set_up.turn_deg == pytest.approx(0.1432, abs=0.002)


def test_a_plan_without_fault_gives_no_finding():
    planned = layout(30, 20)
    built = match(planned, points(planned.x, planned.y, np.arange(len(planned.x))))
    assert (built.status == IN_PLACE).all()
    assert not built.set_up.systematic
    assert doubts(planned, built, np.empty((0, 2))) == ()


def test_chance_is_no_shift():
    planned, rng = layout(30, 20), np.random.default_rng(2)
    n = len(planned.x)
    built = match(planned, points(planned.x + rng.normal(0, 0.3, n), planned.y + rng.normal(0, 0.3, n), np.arange(n)))
    assert not built.set_up.systematic


def test_trees_of_one_kind_that_changed_places_need_their_tags_changed_alone():
    planned = layout(20, 20)
    own = np.arange(len(planned.x))
    own[[10, 11]], own[[50, 52]] = own[[11, 10]], own[[52, 50]]
    built = match(planned, points(planned.x, planned.y, own))
    found = {f.tree_id: f for f in doubts(planned, built, np.empty((0, 2))) if f.code == "swapped"}
    assert {name: f.severity for name, f in found.items()} == {"A-00010": "stop", "A-00011": "stop", "A-00050": "note", "A-00052": "note"}


def test_blocks_that_nobody_surveyed_are_named_once_and_not_tree_by_tree():
    a, b = layout(20, 20), layout(20, 10)
    planned = Planned(
        np.concatenate([a.tree_id, np.char.replace(b.tree_id, "A", "B")]),
        np.concatenate([a.x, b.x + 100]),
        np.concatenate([a.y, b.y]),
        np.repeat([0, 1], [len(a.x), len(b.x)]),
        np.concatenate([a.kind, b.kind]),
        ("A", "B"),
    )
    built = match(planned, points(a.x, a.y, np.arange(len(a.x))))
    assert built.unsurveyed == ("B",)
    assert [f.code for f in doubts(planned, built, np.empty((0, 2)))] == ["not_surveyed"]
    assert built.counts["not_surveyed"] == len(b.x)


def test_a_part_that_fits_anywhere_is_said_to_be_unsure():
    planned = layout(60, 60, slant=0.0)
    inner = np.flatnonzero((planned.x > 40) & (planned.x < 80) & (planned.y > 40) & (planned.y < 80))
    built = match(planned, points(planned.x[inner], planned.y[inner], np.full(len(inner), -1)))
    assert built.place.tolist() == inner.tolist()  # the least shift
    assert "set_up_unsure" in [f.code for f in doubts(planned, built, np.empty((0, 2)))]


def test_names_that_belong_to_another_plan_are_not_believed():
    planned, rng = layout(40, 40), np.random.default_rng(3)
    own = rng.permutation(len(planned.x))
    built = match(planned, points(planned.x + 0.4, planned.y, own))
    assert not built.set_up.by_names
    assert built.set_up.shift_x == pytest.approx(0.4, abs=1e-6)
    assert len(built.missing) == 0


@pytest.mark.parametrize("count", [1, 2])
def test_one_or_two_trees_are_matched_and_give_no_turn(count):
    planned = layout(10, 10)
    built = match(planned, points(planned.x[:count] + 0.1, planned.y[:count], np.arange(count)))
    assert built.place.tolist() == list(range(count))
    assert not built.set_up.turned
    assert len(built.missing) == len(planned.x) - count


def test_far_positions_are_extra_and_bend_nothing():
    planned = layout(40, 40)
    n = len(planned.x)
    survey = points(np.append(planned.x, [5e6, -3e5]), np.append(planned.y, [1e6, 0.0]), np.append(np.arange(n), [-1, -1]))
    built = match(planned, survey)
    assert built.status[-2:].tolist() == [EXTRA, EXTRA]
    assert math.hypot(built.set_up.shift_x, built.set_up.shift_y) < 1e-6


FOOT = 0.3048
RIGHT, COARSE = 16 * FOOT, "survey_coarse"


@pytest.fixture(scope="module")
def orchard():
    return layout(95, 90, RIGHT, slant=0.4)


def verdict(planned, noise, *, shift=(0.0, 0.0), degrees=0.0, scale=1.0, named=True, seed=0):
    """Survey every tree with some noise in each coordinate; return what is made of it and the codes of its findings."""
    rng, n = np.random.default_rng(seed), len(planned.x)
    about = planned.x.mean(), planned.y.mean()
    x, y = turned(about[0] + scale * (planned.x - about[0]), about[1] + scale * (planned.y - about[1]), about, shift, degrees)
    own = np.arange(n) if named else np.full(n, -1)
    built = match(planned, points(x + rng.normal(0, noise, n), y + rng.normal(0, noise, n), own))
    return built, doubts(planned, built, np.empty((0, 2)))


@pytest.mark.parametrize("noise", [0.02, 0.3, 1.0, 4.0])
@pytest.mark.parametrize(
    ("shift", "degrees"), [((0.0, 0.0), 0.0), ((4.17 * FOOT, 0.0), 0.0), ((0.0, 0.0), 1.0)], ids=["right", "shifted", "turned"]
)
def test_the_verdict_on_the_whole_holds_whatever_the_noise_of_named_trees(orchard, noise, shift, degrees):
    """Names win: a shift of 4.17 ft is found to its error, a turn too, none is made up, and no tree is called missing."""
    built, found = verdict(orchard, noise, shift=shift, degrees=degrees)
    set_up, codes = built.set_up, [f.code for f in found]
    assert set_up.by_names
    assert set_up.scatter_m == pytest.approx(noise, rel=0.05)
    error = noise / math.sqrt(len(orchard.x))
    assert math.hypot(set_up.shift_x - shift[0], set_up.shift_y - shift[1]) < 4 * error
    assert abs(set_up.turn_deg - degrees) < 4 * set_up.turn_sd_deg
    assert (set_up.shifted, set_up.turned, set_up.scaled) == (shift[0] > 0, degrees > 0, False)
    assert ("systematic_shift" in codes) == set_up.systematic
    assert len(built.missing) == 0
    assert built.place.tolist() == list(range(len(orchard.x)))
    if noise >= 1.0:  # beyond a fifth of the step nearness decides nothing
        assert codes[0] == COARSE
        assert set(built.counts) - {"missing", "not_surveyed"} <= {"not_judged", "off_place"}
        assert built.counts.get("off_place", 0) <= 3  # beyond five standard deviations
        assert {f.code for f in found} <= {COARSE, "systematic_shift", "off_place"}
    else:
        assert COARSE not in codes
    if set_up.systematic:
        (said,) = [told(f, "us").message for f in found if f.code == "systematic_shift"]
        assert ("turned" in said) == (degrees > 0)
        assert degrees > 0 or "4.17 ft" in said or noise > 0.3


def test_trees_without_names_and_with_4_m_of_noise_are_not_judged_and_no_cause_is_made_up(orchard):
    built, found = verdict(orchard, 4.0, named=False, shift=(1.3, 0.0))
    assert [f.code for f in found] == [COARSE]
    assert "without names" in told(found[0], "us").message
    assert built.counts == {"not_judged": len(orchard.x), "missing": 0, "not_surveyed": 0}
    assert not built.set_up.systematic
    assert math.isinf(built.set_up.shift_sd_m)


def test_grid_distances_taken_for_ground_show_as_a_scale(orchard):
    """1.0004, the scale of many a state plane on high ground: 12 cm at 300 m."""
    built, found = verdict(orchard, 0.02, scale=1.0004)
    assert built.set_up.scale == pytest.approx(1.0004, abs=4 * built.set_up.scale_sd)
    assert built.set_up.scale_sd == pytest.approx(
        0.02 / math.sqrt(np.var(orchard.x) + np.var(orchard.y)) / math.sqrt(len(orchard.x)), rel=0.1
    )
    (scale,) = [f for f in found if f.code == "scale_off"]
    assert "1.00040" in told(scale, "us").message
    assert not built.set_up.turned


def test_names_of_another_plan_are_not_believed_for_all_their_scatter(orchard):
    own = np.random.default_rng(5).permutation(len(orchard.x))
    built = match(orchard, points(orchard.x, orchard.y, own))
    assert not built.set_up.by_names


@pytest.mark.parametrize("count", [2, 3])
def test_few_named_trees_are_their_own_however_far_the_whole_was_set_out(count):
    """Two names are enough for a shift of two steps and more; the places beside would be nearer."""
    planned = layout(10, 10)
    own = np.array([0, 7, 40])[:count]
    built = match(planned, points(planned.x[own] + 5.0, planned.y[own] - 3.0, own))
    assert built.set_up.by_names
    assert built.place.tolist() == own.tolist()
    assert (built.set_up.shift_x, built.set_up.shift_y) == pytest.approx((5.0, -3.0), abs=1e-6)
    assert built.set_up.pairs == count
    assert built.status.tolist() == [IN_PLACE] * count


def test_three_trees_without_names_are_enough_for_a_shift():
    """Three trees of a triangle that fits one way alone, set out farther off than any of them is looked for at its place."""
    x, y = np.array([0.0, 9.0, 4.0]), np.array([0.0, 2.0, 17.0])
    planned = Planned(np.array(["A-1", "A-2", "A-3"]), x, y, np.zeros(3, np.int64), np.zeros(3, np.int64), ("A",))
    built = match(planned, points(x + 9.0, y - 4.0, np.full(3, -1)))
    assert built.place.tolist() == [0, 1, 2]
    assert (built.set_up.shift_x, built.set_up.shift_y) == pytest.approx((9.0, -4.0), abs=1e-6)
    assert built.set_up.shifted


def test_the_first_tree_of_the_plan_can_be_one_that_changed_places():
    planned = layout(10, 10)
    n = len(planned.x)
    own = np.arange(n)
    own[[0, 1]] = 1, 0
    built = match(planned, points(planned.x, planned.y, own))
    assert built.status[:2].tolist() == [SWAPPED, SWAPPED]
    assert built.counts[STATUS_WORDS[SWAPPED]] == 2
