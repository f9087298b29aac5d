"""Pipe sizes: limits hold, against a search of every set, and against a lateral solved outlet by outlet."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from piped import comb
from setout.errors import SetoutError
from setout.hydraulics.emitters import Emitters
from setout.hydraulics.friction import Friction
from setout.hydraulics.lateral import Lateral, longest_lateral
from setout.hydraulics.limits import Limits, standing
from setout.hydraulics.network import PipeTree, solve
from setout.hydraulics.sizing import size

PIPES = [13.6, 16.0, 20.8, 26.0, 35.0, 52.0]


def grouped(tree: PipeTree, reaches: int) -> np.ndarray:
    """Put all laterals into group 0 and the manifold into so many reaches."""
    manifold = np.flatnonzero((np.asarray(tree.emitters.k) == 0) & (tree.parent >= 0))
    group = np.where(tree.parent < 0, -1, 0)
    group[manifold] = 1 + np.arange(manifold.size) * reaches // manifold.size
    return group


def unlike(tree: PipeTree, head: float, limits: Limits) -> dict[str, bool]:
    """Say which limits hold, reckoned straight from a solved network of plain emitters."""
    found = solve(tree, head)
    p = found.pressure_kpa[np.asarray(tree.emitters.k) > 0]
    return {
        "least": bool(p.min() >= limits.least_kpa * (1 - 1e-9)),
        "fast": bool(found.velocity_ms.max() <= limits.velocity_ms * (1 + 1e-9)),
        "spread": bool((p.max() - p.min()) / p.max() <= limits.spread * (1 + 1e-9)),
    }


@pytest.mark.parametrize(("slope", "across"), [(0.0, 0.0), (0.0, 0.02), (0.0, -0.02), (0.01, 0.01)])
@pytest.mark.parametrize("head", [14.0, 25.0])
def test_the_least_pipe_of_all_sets(slope: float, across: float, head: float) -> None:
    tree = comb(8, 20, slope=slope, across=across, k=2.0)
    group, limits = grouped(tree, 2), Limits(least_kpa=70.0)
    length = np.bincount(group[1:], tree.length_m[1:])
    best = np.inf
    for sizes in product(PIPES, repeat=3):
        inside = np.array(sizes)
        if inside[0] > inside[2] or inside[2] > inside[1] or inside[0] > inside[1]:
            continue  # laterals hang from both reaches of the manifold, the second reach from the first
        if float((length * inside).sum()) < best and all(
            unlike(replace(tree, inside_mm=np.where(group < 0, 1.0, inside[group])), head, limits).values()
        ):
            best = float((length * inside).sum())
    found = size(tree, head, group, PIPES, limits)
    assert found.reason == ""
    assert found.inside_mm is not None
    assert float((length * found.inside_mm).sum()) == pytest.approx(best)
    assert all(unlike(replace(tree, inside_mm=np.where(group < 0, 1.0, found.inside_mm[group])), head, limits).values())


def test_many_reaches_hold_the_limits_and_none_can_be_narrower() -> None:
    tree = comb(40, 40, across=0.005, k=1.5)
    group, limits = grouped(tree, 8), Limits(least_kpa=80.0)
    pipes = [*PIPES, 77.0, 102.0]
    found = size(tree, 22.0, group, pipes, limits)
    assert found.inside_mm is not None
    inside = found.inside_mm
    assert all(unlike(replace(tree, inside_mm=np.where(group < 0, 1.0, inside[group])), 22.0, limits).values())
    assert found.lowest_kpa >= 80.0
    assert np.all(np.diff(inside[1:]) <= 0)
    assert inside[0] <= inside[-1]
    for one in range(9):
        narrower = [p for p in pipes if p < inside[one]]
        below = inside[0] if one else 0.0  # none may be narrower than what it feeds
        below = max(below, inside[one + 1]) if 0 < one < 8 else below
        if narrower and narrower[-1] >= below:
            other = inside.copy()
            other[one] = narrower[-1]
            assert not all(unlike(replace(tree, inside_mm=np.where(group < 0, 1.0, other[group])), 22.0, limits).values())


def test_too_little_pressure_is_told_with_what_mends_it() -> None:
    tree = comb(8, 20, across=0.2)
    found = size(tree, 10.0, grouped(tree, 1), PIPES, Limits(least_kpa=100.0))
    assert found.inside_mm is None
    assert found.reason == "pressure"
    assert "climbing" in found.told
    assert "kPa more at the source" in found.remedy
    assert found.climb_m == pytest.approx(0.2 * 20)


def test_a_fall_that_no_pipe_evens_out_is_told() -> None:
    tree = comb(8, 20, slope=0.1)
    found = size(tree, 20.0, grouped(tree, 1), [52.0], Limits(least_kpa=20.0))
    assert found.inside_mm is None
    assert found.reason == "spread"
    assert "compensating" in found.remedy


def test_compensating_emitters_need_no_even_pressure() -> None:
    tree = comb(8, 20, slope=0.05)
    emitters = Emitters.rated(np.where(np.asarray(tree.emitters.k) > 0, 4.0, 0.0), 100.0, 0.0, 50.0, 400.0)
    found = size(replace(tree, emitters=emitters), 25.0, grouped(tree, 1), PIPES, Limits(least_kpa=50.0))
    assert found.reason == ""
    assert found.flow_ratio == pytest.approx(1.0)


def test_velocity_alone_can_be_what_fails() -> None:
    tree = comb(2, 60, k=20.0, step_m=0.1)
    found = size(tree, 30.0, grouped(tree, 1), [16.0, 20.8], Limits())
    assert found.reason == "velocity"
    assert found.inside_mm is None


def test_subunits_are_compared_by_themselves() -> None:
    tree = comb(8, 20, across=0.15)
    group, limits = grouped(tree, 1), Limits(least_kpa=20.0)
    own = np.where(np.asarray(tree.emitters.k) > 0, 0, -1)
    whole = size(tree, 12.0, group, PIPES, limits)
    y = np.round(tree.z_m / 0.15 / 5).astype(int)
    parts = size(tree, 12.0, group, PIPES, limits, np.where(own < 0, -1, y))
    assert whole.reason == "spread"
    assert parts.reason == ""


def test_no_pipes_to_choose_from() -> None:
    tree = comb(2, 3)
    with pytest.raises(SetoutError, match="no pipe sizes"):
        size(tree, 10.0, grouped(tree, 1), [], Limits())


@pytest.mark.parametrize("rise", [0.0, 0.01, -0.01])
def test_longest_lateral(rise: float) -> None:
    lateral = Lateral(1.0, 13.6, rise, Emitters.rated(4.0, 100.0), Friction(roughness_c=150))
    limits = Limits(least_kpa=60.0)
    found = longest_lateral(lateral, 110.0, limits)

    def holds(outlets: int) -> bool:
        tree = lateral.tree(outlets)
        return standing(tree, solve(tree, 110.0 / 9.80665), limits).broken == ""

    assert found.outlets > 20
    assert holds(found.outlets)
    assert not holds(found.outlets + 1)
    assert found.length_m == pytest.approx(found.outlets * np.hypot(1, rise))
    assert found.limited_by in {"spread", "pressure"}


def test_a_thicker_lateral_goes_further_and_a_steeper_one_less_far() -> None:
    dripper, limits = Emitters.rated(4.0, 100.0), Limits(least_kpa=60.0)
    lengths = [longest_lateral(Lateral(1.0, d, 0.0, dripper, Friction()), 110.0, limits).length_m for d in PIPES[:4]]
    assert lengths == sorted(lengths)
    steep = [longest_lateral(Lateral(1.0, 16.0, s, dripper, Friction()), 110.0, limits).length_m for s in (0, 0.01, 0.03)]
    assert steep == sorted(steep, reverse=True)
