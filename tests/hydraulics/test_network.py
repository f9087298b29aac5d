"""The solver: balance of water and of head, monotony, starved and dry networks, refusals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from piped import comb, random_tree, shuffled
from setout.errors import SetoutError
from setout.hydraulics.emitters import Emitters
from setout.hydraulics.friction import Friction, Pipes
from setout.hydraulics.network import PipeTree, Solved, solve, tree_paths
from setout.units import KPA_PER_M

seeds = st.integers(0, 2**32 - 1)


def held(tree: PipeTree, head: np.ndarray | float, found: Solved) -> None:
    """Check everything that must hold of a solved network, with no help from the solver."""
    n = tree.parent.size
    pipe = np.flatnonzero(tree.parent >= 0)
    for values in (found.head_m, found.pressure_kpa, found.emitted_lph, found.flow_lph, found.velocity_ms):
        assert np.isfinite(values).all()
    # what comes in by a pipe goes out by its emitter and its children
    out = found.emitted_lph + np.bincount(tree.parent[pipe], found.flow_lph[pipe], n)
    assert np.abs(found.flow_lph - out).max() <= 1e-6 * max(found.flow_lph.max(), 1e-9)
    # the loss of each pipe is that of its flow, the flow of each emitter that of its pressure
    pipes = Pipes.of(tree.length_m[pipe], tree.inside_mm[pipe], tree.friction.at(pipe))
    lost = found.head_m[tree.parent[pipe]] - found.head_m[pipe]
    assert np.abs(lost - pipes.loss_and_slope(found.flow_lph[pipe])[0]).max(initial=0) < 1e-8
    pressure = found.head_m - tree.z_m
    assert found.pressure_kpa == pytest.approx(pressure * KPA_PER_M)
    assert np.all(found.emitted_lph >= tree.emitters.flow(pressure - 1.1e-6) - 1e-9)
    assert np.all(found.emitted_lph <= tree.emitters.flow(pressure + 1.1e-6) + 1e-9)
    assert found.head_m[tree.parent < 0] == pytest.approx(np.broadcast_to(head, (n - pipe.size,)))
    emits = np.broadcast_to(tree.emitters.k, (n,)) > 0
    assert np.array_equal(found.dry, emits & (found.emitted_lph == 0))
    assert np.all(pressure[found.dry] <= 1.1e-6)
    assert not np.any(found.dry[pressure > 1.1e-6])


@given(seeds, st.integers(2, 120))
@settings(max_examples=150, deadline=None)
def test_any_network_comes_to_rest(seed: int, nodes: int) -> None:
    tree, head = random_tree(np.random.default_rng(seed), max(nodes, 3))
    held(tree, head, solve(tree, head))


@given(seeds, st.floats(0.01, 20.0))
@settings(max_examples=80, deadline=None)
def test_more_head_at_the_source_never_lowers_a_flow(seed: int, more: float) -> None:
    tree, head = random_tree(np.random.default_rng(seed))
    low, high = solve(tree, head), solve(tree, head + more)
    assert np.all(high.head_m >= low.head_m - 1e-5)
    assert np.all(high.emitted_lph >= low.emitted_lph - 1e-4 * (1 + low.emitted_lph))


@given(seeds, st.integers(1, 40))
@settings(max_examples=40, deadline=None)
def test_a_longer_lateral_has_no_more_pressure_at_its_end(seed: int, more: int) -> None:
    rng = np.random.default_rng(seed)
    k, x, inside = rng.uniform(0.5, 3), float(rng.choice([0.2, 0.5, 1.0])), float(rng.choice([13.6, 16.0, 20.8]))

    def end(outlets: int) -> float:
        n = np.arange(outlets + 1)
        tree = PipeTree(n - 1, (n > 0) * 3.0, np.full(n.size, inside), n * 0.0, Emitters((n > 0) * k, x))
        return float(solve(tree, 15.0).head_m[-1])

    outlets = int(rng.integers(1, 60))
    assert end(outlets + more) <= end(outlets) + 1e-6


@given(seeds)
@settings(max_examples=40, deadline=None)
def test_one_more_emitter_never_gives_the_others_more(seed: int) -> None:
    rng = np.random.default_rng(seed)
    tree, head = random_tree(rng)
    added = int(rng.integers(tree.parent.size))
    k = np.array(tree.emitters.k, float)
    if k[added] > 0:
        return
    k[added] = 5.0
    before, after = solve(tree, head), solve(replace(tree, emitters=replace(tree.emitters, k=k)), head)
    others = np.arange(k.size) != added
    assert np.all(after.emitted_lph[others] <= before.emitted_lph[others] + 1e-4 * (1 + before.emitted_lph[others]))


@pytest.mark.parametrize("x", [0.0, 0.1, 0.5, 1.0])
def test_numbering_of_nodes_is_of_no_matter(x: float) -> None:
    tree = comb(12, 30, rng=np.random.default_rng(4), exponent=x, rough=0.3)
    other, to = shuffled(tree, np.random.default_rng(5))
    assert solve(other, 35.0).head_m[to] == pytest.approx(solve(tree, 35.0).head_m, abs=1e-6)


@pytest.mark.parametrize("outlets", [100, 20_000])
def test_a_very_long_lateral_against_a_march_from_its_end(outlets: int) -> None:
    """From the end's pressure every flow and loss up to the inlet follows, outlet by outlet, without a solver."""
    inside, k = 2.0 * outlets**0.5, 0.3
    n = np.arange(outlets + 1)
    tree = PipeTree(n - 1, (n > 0) * 0.5, np.full(n.size, inside), n * 0.0, Emitters((n > 0) * k))
    found = solve(tree, 30.0)
    factor = float(Pipes.of(0.5, inside, Friction()).factor)
    head, flow = float(found.head_m[-1]), 0.0
    for _ in range(outlets):
        flow += k * head**0.5
        head += factor * flow**1.852
    assert head == pytest.approx(30.0, rel=1e-9)
    assert found.flow_lph[0] == pytest.approx(flow, rel=1e-9)


def test_one_emitter_by_hand() -> None:
    # k sqrt(h) through a pipe without loss: 4 l/h at 4 m
    tree = PipeTree(np.array([-1, 0]), np.zeros(2), np.full(2, 1e3), np.array([0.0, 6.0]), Emitters(np.array([0, 2.0])))
    found = solve(tree, 10.0)
    assert found.emitted_lph == pytest.approx([0, 4.0], rel=1e-6)
    assert found.flow_lph == pytest.approx([4.0, 4.0], rel=1e-6)
    assert found.velocity_ms[0] == 0


def test_constant_flow_is_a_sum_by_hand() -> None:
    # x = 0: flows are known before, heads are sums of losses along the lateral
    n = np.arange(21)
    tree = PipeTree(n - 1, (n > 0) * 5.0, np.full(21, 13.6), -0.05 * n, Emitters((n > 0) * 8.0, 0.0))
    found = solve(tree, 12.0)
    flow = 8.0 * np.arange(20, 0, -1)
    assert found.flow_lph[1:] == pytest.approx(flow, rel=1e-12)
    lost = Pipes.of(np.full(20, 5.0), np.full(20, 13.6), Friction()).loss_and_slope(flow)[0]
    assert found.head_m[1:] == pytest.approx(12.0 - np.cumsum(lost), abs=1e-6)


def test_a_lateral_uphill_is_dry_at_its_end_and_says_so() -> None:
    n = np.arange(41)
    tree = PipeTree(n - 1, (n > 0) * 5.0, np.full(41, 16.0), 0.3 * n, Emitters((n > 0) * 1.2))
    found = solve(tree, 6.0)
    held(tree, 6.0, found)
    assert found.dry[21:].all()
    assert not found.dry[1:10].any()
    assert found.pressure_kpa[40] < 0


def test_no_pressure_at_all_gives_nothing() -> None:
    tree = comb(4, 10)
    found = solve(tree, -3.0)
    assert np.all(found.emitted_lph == 0)
    assert np.all(found.flow_lph == 0)
    assert found.dry.sum() == 40


def test_a_known_working_order_saves_nothing_but_time() -> None:
    tree = comb(6, 10)
    assert np.array_equal(solve(tree, 20.0, tree_paths(tree)).head_m, solve(tree, 20.0).head_m)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"inside_mm": 0.0}, "pipe_inside_mm"),
        ({"inside_mm": np.nan}, "pipe_inside_mm"),
        ({"length_m": -1.0}, "pipe_length_m"),
        ({"z_m": np.inf}, "node_elevation_m"),
    ],
)
def test_numbers_that_no_pipe_has_are_refused(change: dict[str, float], words: str) -> None:
    tree = comb(2, 3)
    ((name, value),) = change.items()
    values = np.array(getattr(tree, name))
    values[2] = value
    with pytest.raises(SetoutError, match=words):
        solve(replace(tree, **{name: values}), 20.0)


@pytest.mark.parametrize("emitters", [Emitters(np.full(3, -1.0)), Emitters(1.0, 1.5), Emitters(np.full(3, np.nan)), Emitters(np.ones(5))])
def test_emitters_that_there_are_not_are_refused(emitters: Emitters) -> None:
    tree = PipeTree(np.array([-1, 0, 1]), np.ones(3), np.full(3, 16.0), np.zeros(3), emitters)
    with pytest.raises(SetoutError, match="emitter"):
        solve(tree, 20.0)


def test_rings_and_wrong_heads_are_refused() -> None:
    tree = comb(2, 3)
    with pytest.raises(SetoutError, match="ring"):
        solve(replace(tree, parent=np.roll(np.arange(tree.parent.size), 1)), 20.0)
    for head in (np.nan, np.array([1.0, 2.0])):
        with pytest.raises(SetoutError, match="head"):
            solve(tree, head)
