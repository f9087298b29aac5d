"""The working order: every node once, parents first, few tiers, whatever the shape and the numbering."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from setout.errors import Refusal
from setout.hydraulics.paths import paths_of


@given(st.integers(1, 80), st.integers(0, 2**32 - 1))
def test_the_order_is_one(nodes: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    parent = np.array([-1] + [int(rng.integers(-1, i)) for i in range(1, nodes)])
    to = rng.permutation(nodes)
    old = np.argsort(to)
    parent = np.where(parent[old] < 0, -1, to[parent[old]])
    paths = paths_of(parent)
    assert np.array_equal(np.sort(paths.order), np.arange(nodes))
    assert np.array_equal(paths.order[paths.place], np.arange(nodes))
    up = np.where(parent < 0, np.arange(nodes), parent)
    assert np.array_equal(paths.order[paths.parent], up[paths.order])
    assert np.all(paths.parent[paths.roots :] < np.arange(paths.roots, nodes))
    assert len(paths.tiers) <= np.log2(nodes) + 1
    assert paths.roots + sum(tier.stop - tier.start for tier in paths.tiers) == nodes
    # what is beyond each node, counted by walking up from every node
    count = np.zeros(nodes, int)
    for node in range(nodes):
        at, roots = node, 0
        while True:
            count[at] += 1
            if parent[at] < 0:
                break
            at, roots = parent[at], roots + 1
        assert np.flatnonzero(parent < 0)[paths.root[paths.place[node]]] == at
    assert paths.gather(np.ones(nodes)) == pytest.approx(count[paths.order])


@pytest.mark.parametrize("parent", [[1, 0], [-1, 2, 3, 1], [-1, 0, 2]])
def test_rings_are_refused(parent: list[int]) -> None:
    with pytest.raises(Refusal, match="ring"):
        paths_of(np.array(parent))


def test_a_parent_that_there_is_not_is_refused() -> None:
    with pytest.raises(Refusal, match="nowhere"):
        paths_of(np.array([-1, 7]))


def test_one_long_lateral_is_one_tier() -> None:
    assert len(paths_of(np.arange(-1, 100_000)).tiers) == 1
