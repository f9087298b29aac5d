"""The check of finished positions: trees put by hand just inside and just outside of what each rule allows.

Distances are worked out by hand on axes-parallel features; tolerances are those that DEVELOPERS.md promises: 1 mm
between trees, 1 cm to features.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely

from dem_in_memory import UTM13, frame_at
from orchard import plant_of
from setout.model import Block, Pair, Pattern, Site, Trees
from setout.model.site import HeightLimit, NoPlant, Setback, Water, WaterPoints
from setout.stages.check import Checks, Positions, check, nearest_neighbour
from setout.words.findings import all_told

FRAME = frame_at(-105.0, 39.75, UTM13)
FIELD = shapely.box(0, 0, 200, 100)
SQUARE = Pattern("square", 5.0, 5.0)


def block(name: str, *spreads: float, area: Any = FIELD, height: float = 4.0) -> Block:
    return Block(name, area, SQUARE, 0.0, tuple(plant_of(spread, height) for spread in spreads))


ONE = (block("A", 4.0),)


def found(xy: Any, of: Any = 0, *, blocks: Any = ONE, share: float = 0.0, facts: Any = None, **site: Any) -> list[Any]:
    """Return code, tree, measured and required of every finding on trees T0, T1, and so on."""
    x, y = np.array(xy, float).reshape(-1, 2).T
    n = len(x)
    apart = np.hypot(x[:, None] - x, y[:, None] - y) + np.where(np.eye(n) > 0, np.inf, 0.0)
    known = {"apart_m": apart.min(axis=1), "slope_pct": np.zeros(n), "run_m": np.zeros(n), "pressure_kpa": np.full(n, 400.0)}
    known |= {name: np.asarray(values, float) for name, values in (facts or {}).items()}
    ids = np.array([f"T{k}" for k in range(n)])
    own, ones = np.broadcast_to(np.asarray(of, np.int64), n).copy(), np.ones(n, np.int32)
    columns = Trees(own.astype(np.int32), ones, np.arange(n, dtype=np.int32), x, y, 0 * ones, **known)
    trees = Positions(ids, own, x, y, columns)
    place = Site("field", "si", FRAME, FIELD, blocks=blocks, **site)
    areas = np.array([b.area for b in blocks], object)
    findings = all_told(check(place, trees, Checks(0.15, share), areas), "si")
    assert all(
        f.severity == "stop" and f.remedy and f.geometry.equals(shapely.Point(x[int(f.tree_id[1:])], y[int(f.tree_id[1:])]))
        for f in findings
    )
    return [(f.code, f.tree_id, f.measured, f.required) for f in findings]


def test_trees_are_inside_the_boundary_and_their_block_to_a_centimetre() -> None:
    west = shapely.box(0, 0, 50, 100)
    one = (block("A", 4.0, area=west),)
    assert found([(-0.008, 50), (20, 50)], blocks=one) == []
    beyond = found([(-0.012, 50), (20, 50)], blocks=one)  # told once, not of its block as well
    assert beyond == [("outside_boundary", "T0", "0.012 m beyond", "0.000 m beyond")]
    assert found([(50.5, 50), (20, 50)], blocks=one) == [("outside_block", "T0", "0.500 m beyond", "0.000 m beyond")]


@pytest.mark.parametrize(("share", "least"), [(0.0, 5.0), (0.2, 4.0)])
def test_neighbours_of_a_block_keep_its_distance_to_a_millimetre(share: float, least: float) -> None:
    assert found([(20, 50), (20 + least - 0.0008, 50)], share=share) == []
    near = found([(20, 50), (20 + least - 0.002, 50)], share=share)
    assert near == [("too_close", f"T{k}", f"{least - 0.002:.3f} m", "5.000 m") for k in (0, 1)]


@pytest.mark.parametrize(("share", "least"), [(0.0, 7.0), (0.2, 5.6)])
def test_trees_of_two_blocks_keep_half_of_both_widest_spreads(share: float, least: float) -> None:
    """Plants of 8 and 4 m in one block and of 6 m in the other: full-grown canopies just touch at 4 + 3 = 7 m."""
    two = (block("A", 8.0, 4.0), block("B", 6.0))
    assert found([(20, 50), (20 + least - 0.0008, 50)], [0, 1], blocks=two, share=share) == []
    near = found([(20, 50), (20 + least - 0.002, 50)], [0, 1], blocks=two, share=share)
    assert near == [("too_close_to_block", "T1", f"{least - 0.002:.3f} m", "7.000 m")]
    # where the step asks for more than the spreads, the step counts
    small = (block("A", 1.0), block("B", 2.0))
    assert codes_of(found([(20, 50), (24.99, 50)], [0, 1], blocks=small)) == ["too_close_to_block"]
    assert found([(20, 50), (25.0, 50)], [0, 1], blocks=small) == []


def codes_of(findings: list[Any]) -> list[str]:
    return [code for code, *_ in findings]


FEATURES = {
    "a point": (shapely.Point(100, 50), (100, 50)),
    "a line": (shapely.LineString([(100, 0), (100, 100)]), (100, 50)),
    "a polygon": (shapely.box(80, 20, 100, 80), (100, 50)),
}


@pytest.mark.parametrize("feature", FEATURES)
@pytest.mark.parametrize(("measured_to", "least"), [("trunk", 3.0), ("canopy", 7.0)])
def test_setbacks_are_kept_to_a_centimetre(feature: str, measured_to: Any, least: float) -> None:
    """3 m clear; measured to the canopy half of the widest spread, 4 m, comes on top."""
    shape, (x, y) = FEATURES[feature]
    setback = Setback("ditch", "features", 3.0, measured_to, np.array([shape], object))
    both = (block("A", 8.0, 4.0),)
    assert found([(x + least - 0.008, y)], blocks=both, setbacks=(setback,)) == []
    near = found([(x + least - 0.012, y)], blocks=both, setbacks=(setback,))
    assert near == [("setback", "T0", f"{least - 0.012:.3f} m", f"{least:.3f} m")]


def test_a_tree_inside_a_feature_has_no_distance_to_it() -> None:
    setback = Setback("house", "features", 0.5, "trunk", np.array([shapely.box(80, 20, 100, 80)], object))
    assert found([(90, 50)], setbacks=(setback,)) == [("setback", "T0", "0.000 m", "0.500 m")]


def test_nothing_stands_more_than_a_centimetre_inside_ground_kept_free() -> None:
    free = NoPlant("yard", "features", np.array([shapely.box(80, 20, 100, 80)], object))
    assert found([(99.992, 50), (100.5, 60)], no_plant=(free,)) == []
    assert found([(99.988, 50), (90, 50)], no_plant=(free,)) == [
        ("no_plant", "T0", "0.012 m inside", "0.000 m inside"),
        ("no_plant", "T1", "10.000 m inside", "0.000 m inside"),
    ]


def test_only_what_grows_too_tall_is_kept_from_a_power_line() -> None:
    limit = HeightLimit("power line", "features", 6.0, 4.0, np.array([shapely.LineString([(100, 0), (100, 100)])], object))
    high = (block("A", 4.0, height=4.1), block("B", 4.0, height=4.0))
    trees, of = [(105.98, 20), (105.995, 40), (101, 60)], [0, 0, 1]
    assert found(trees, of, blocks=high, height_limits=(limit,)) == [("height_limit", "T0", "4.100 m high", "4.000 m high")]


def test_slope_reach_and_pressure_are_held_to_their_limits() -> None:
    one, none = np.zeros(1), np.empty(0, object)
    water = Water(WaterPoints(("w",), one, one, one, one, one), none, 120.0, 100.0, "riser")
    facts = {"slope_pct": [15.009, 15.011, 3.0, 3.0], "run_m": [1.0, 1.0, np.nan, 1.0], "pressure_kpa": [100.0, 101.0, np.nan, 99.9]}
    trees = [(20, 20), (20, 40), (20, 60), (20, 80)]
    short = found(trees, facts=facts, water=water)
    assert [(code, tree) for code, tree, *_ in short] == [("too_steep", "T1"), ("beyond_reach", "T2"), ("low_pressure", "T3")]
    assert short[0][2:] == ("15.01 %", "15.00 %")
    assert short[1][2:] == ("", "120.000 m run")


def test_partners_of_a_pair_are_no_neighbours_also_beside_another_block() -> None:
    """Pairs 1 m wide on 5 m; a tree of block B 3 m from one of them is too near to block A, the partners are not."""
    pairs = Block("A", FIELD, Pattern("square", 5.0, 5.0, pair=Pair(1.0, 0.0)), 0.0, (plant_of(1.0, 4.0),))
    x, y = np.array([20.0, 20.0, 25.0, 25.0, 28.0]), np.array([50.0, 51.0, 50.0, 51.0, 50.0])
    ones, own = np.ones(5, np.int32), np.array([0, 0, 0, 0, 1])
    apart = np.array([5.0, 5.0, 3.0, np.hypot(3, 1), 3.0])
    columns = Trees(own.astype(np.int32), ones, ones, x, y, 0 * ones, apart_m=apart, slope_pct=np.zeros(5))
    trees = Positions(np.array([f"T{k}" for k in range(5)]), own, x, y, columns, np.array([1, 0, 3, 2, -1], np.int32))
    site = Site("field", "si", FRAME, FIELD, blocks=(pairs, block("B", 1.0)))
    found = all_told(check(site, trees, Checks(0.15), np.array([FIELD, FIELD], object)), "si")
    assert [(f.code, f.tree_id, f.measured) for f in found] == [("too_close_to_block", "T4", "3.000 m")]


def test_every_two_blocks_are_compared_also_after_two_that_lie_far_apart() -> None:
    three = (block("A", 4.0), block("B", 4.0), block("C", 4.0))
    near = found([(20, 50), (150, 50), (24, 50)], [0, 1, 2], blocks=three)
    assert near == [("too_close_to_block", "T2", "4.000 m", "5.000 m")]


def test_the_widest_canopies_are_looked_for_as_far_as_they_reach() -> None:
    """3 m and half the spread: a tree 8 m wide 6.9 m from the ditch is too near, one 2 m wide at 4.1 m is not."""
    ditch = Setback("ditch", "features", 3.0, "canopy", np.array([shapely.LineString([(100, 0), (100, 100)])], object))
    two = (block("A", 8.0), block("B", 2.0))
    short = found([(106.9, 50), (104.1, 80), (103.9, 20)], [0, 1, 1], blocks=two, setbacks=(ditch,))
    assert short == [("setback", "T0", "6.900 m", "7.000 m"), ("setback", "T2", "3.900 m", "4.000 m")]


@pytest.mark.parametrize(("x", "nearest"), [([], []), ([7.0], [np.inf]), ([7.0, 10.0], [3.0, 3.0]), ([1.0, 3.0, 7.0], [2.0, 2.0, 4.0])])
def test_few_trees_have_the_neighbours_that_there_are(x: list[float], nearest: list[float]) -> None:
    all_of_them, apart = nearest_neighbour(np.array(x), np.zeros(len(x)))
    assert all_of_them.tolist() == apart.tolist() == nearest


@pytest.mark.parametrize("turned", [False, True])
def test_long_blocks_are_compared_where_they_meet(turned: bool) -> None:
    """The first tree of the eastern block stands 4 m from the last of the western one, the others far away."""
    xy = np.array([(30.0, 50.0), (90.0, 50.0), (26.0, 50.0), (6.0, 50.0)])
    two = (block("A", 4.0), block("B", 4.0))
    near = found(xy[:, ::-1] if turned else xy, [0, 0, 1, 1], blocks=two)
    assert near == [("too_close_to_block", "T2", "4.000 m", "5.000 m")]


def test_a_setback_of_less_than_a_metre_is_kept_too() -> None:
    kerb = Setback("kerb", "features", 0.5, "trunk", np.array([shapely.LineString([(100, 0), (100, 100)])], object))
    short = found([(100.3, 50), (100.495, 20)], setbacks=(kerb,))
    assert short == [("setback", "T0", "0.300 m", "0.500 m")]
