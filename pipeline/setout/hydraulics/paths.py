"""The order in which a tree of pipes is worked: unbranched runs of pipes, the outermost first.

Every node but a root lies on one run: it goes on from a node to the branch that holds more than half of what is beyond.
So there are at most log2(n) + 1 tiers of runs one upon another, whatever the shape, and a whole tier is worked at once.
Nodes that follow each other in the given order without a branch are taken together, as one block, so that a tree given
pipe after pipe costs little to put in order; any order is right.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from setout.errors import Refusal

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Tier:
    """Runs that spring from runs of lower tiers only; its nodes are neighbours in the working order.

    Attributes
    ----------
    start, stop : its nodes in the working order
    head : (r,) first node of each run, from start
    top : (r,) node that each run springs from, in the working order
    length : (r,) nodes on each run
    """

    start: int
    stop: int
    head: Ints
    top: Ints
    length: Ints

    @property
    def run(self) -> Ints:
        """Return which run each node is on."""
        return np.repeat(np.arange(self.head.size), self.length)


@dataclass(frozen=True, slots=True)
class Paths:
    """A forest put into working order: roots first, then tier upon tier, each run from its head outwards.

    Attributes
    ----------
    order : (n,) node at each place of the working order
    place : (n,) place of each node
    roots : number of roots
    parent : (n,) parent's place of each place; roots their own
    root : (n,) number of the root each place hangs from, counted in the order of the nodes
    tiers : from the roots outwards
    """

    order: Ints
    place: Ints
    roots: int
    parent: Ints
    root: Ints
    tiers: tuple[Tier, ...]

    def gather(self, at_place: Floats) -> Floats:
        """Return for every place what it and everything beyond it have together."""
        total = np.array(at_place, float)
        for tier in reversed(self.tiers):
            part = total[tier.start : tier.stop]
            passed = np.cumsum(part)
            part += np.repeat(passed[tier.head + tier.length - 1], tier.length)
            part -= passed
            np.add.at(total, tier.top, part[tier.head])
        return total


def paths_of(parent: Ints) -> Paths:
    """Put a forest into working order.

    Parameters
    ----------
    parent : (n,) ndarray
        Node that each node hangs from, -1 at roots; no rings.

    Returns
    -------
    Paths
        The order and its runs.

    Raises
    ------
    Refusal
        A parent that there is not, or nodes that hang from each other in a ring.

    Examples
    --------
    A root, a run of four and a branch of one from its beginning.

    >>> [tier.length.tolist() for tier in paths_of(np.array([-1, 0, 1, 2, 3, 1])).tiers]
    [[4], [1]]
    """
    parent = np.asarray(parent, np.int64)
    n = parent.size
    if n and (parent.min() < -1 or parent.max() >= n):
        raise Refusal("pipe_from_nowhere")
    is_root = parent < 0
    first, up = _blocks(parent, is_root)
    length = np.diff(first, append=n)
    root = is_root[first]
    beyond = _beyond(up, root, length)
    light = root | root[up] | (2 * beyond <= beyond[up] - length[up] + 1)
    head, steps = _follow(np.where(light, np.arange(up.size), up))
    tier = _tiers_of(up, light, head, root)
    order = np.lexsort((steps, head, tier))
    start = np.cumsum(length[order]) - length[order]
    at = np.empty_like(start)
    at[order] = start
    parents = np.arange(n) - 1
    parents[at] = np.where(root, at, at[up] + length[up] - 1)
    number = (np.cumsum(root) - 1)[_follow(up)[0]]
    nodes = np.arange(n)
    return Paths(
        nodes + np.repeat(first[order] - start, length[order]),
        nodes + np.repeat(at - first, length),
        int(root.sum()),
        parents,
        np.repeat(number[order], length[order]),
        _cut_tiers(tier[order], light[order], np.append(start, n), parents),
    )


def _blocks(parent: Ints, is_root: Bools) -> tuple[Ints, Ints]:
    """Return the first nodes of blocks without branches, and the block that each hangs from; roots from themselves."""
    n = parent.size
    children = np.bincount(parent[~is_root], minlength=n)
    joined = np.zeros(n, bool)
    joined[1:] = (parent[1:] == np.arange(n - 1)) & (children[:-1] == 1) & ~is_root[:-1]
    first = np.flatnonzero(~joined)
    block = np.cumsum(~joined) - 1
    return first, np.where(is_root[first], np.arange(first.size), block[parent[first]])


def _beyond(up: Ints, is_root: Bools, length: Ints) -> Ints:
    """Return how many nodes hang from each block, its own among them, by doubling the distance looked back."""
    size, reach, going = length.astype(np.int64), up.copy(), ~is_root
    for _ in range(up.size.bit_length() + 1):
        if not going.any():
            return size
        size = size + np.bincount(reach[going], weights=size[going], minlength=up.size).astype(np.int64)
        going = going & going[reach]
        reach = reach[reach]
    raise Refusal("pipes_in_a_ring")


def _follow(up: Ints) -> tuple[Ints, Ints]:
    """Return where the way up ends from each block, and in how many steps."""
    steps = (up != np.arange(up.size)).astype(np.int64)
    while True:
        further = up[up]
        if np.array_equal(further, up):
            return up, steps
        steps, up = steps + steps[up], further


def _tiers_of(up: Ints, light: Bools, head: Ints, is_root: Bools) -> Ints:
    """Return the tier of each block: how many runs lie between it and its root; -1 at roots."""
    heads = np.flatnonzero(light & ~is_root)
    above = head[up[heads]]
    known = np.full(up.size, -1)
    waiting = np.ones(heads.size, bool)
    level = 0
    while waiting.any():
        ready = waiting & (is_root[above] | ((known[above] >= 0) & (known[above] < level)))
        known[heads[ready]] = level
        waiting, level = waiting & ~ready, level + 1
    return known[head]


def _cut_tiers(tier: Ints, light: Bools, start: Ints, parents: Ints) -> tuple[Tier, ...]:
    """Return the tiers of blocks in working order, which begin at some places."""
    found = []
    edges = np.searchsorted(tier, np.arange(tier[-1] + 2)) if tier.size else np.zeros(1, np.int64)
    for low, high in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        heads = start[low:high][light[low:high]]
        first, last = int(start[low]), int(start[high])
        found.append(Tier(first, last, heads - first, parents[heads], np.diff(heads, append=last)))
    return tuple(found)
