"""The order in which a tree of pipes is worked: unbranched runs of pipes, the outermost first.

Every node but a root lies on one run: it goes on from a node to the branch that holds more than half of what is beyond.
So there are at most log2(n) + 1 tiers of runs one upon another, whatever the shape, and a whole tier is worked at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

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
    run : (stop - start,) which run each node is on
    """

    start: int
    stop: int
    head: Ints
    top: Ints
    run: Ints


@dataclass(frozen=True, slots=True)
class Paths:
    """A forest put into working order: roots first, then tier upon tier, each run from its head outwards.

    Attributes
    ----------
    order : (n,) node at each place of the working order
    roots : number of roots
    parent : (n,) parent's place of each place; roots their own
    root : (n,) number of the root each place hangs from, counted in the order of the nodes
    tiers : from the roots outwards
    """

    order: Ints
    roots: int
    parent: Ints
    root: Ints
    tiers: tuple[Tier, ...]

    def gather(self, at_place: Floats) -> Floats:
        """Return for every place what it and everything beyond it have together."""
        total = np.array(at_place, float)
        for tier in reversed(self.tiers):
            part = total[tier.start : tier.stop]
            beyond = np.zeros(part.size + 1)
            beyond[:-1] = np.cumsum(part[::-1])[::-1]
            last = np.append(tier.head[1:], part.size)
            part[:] = beyond[:-1] - beyond[last][tier.run]
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
    ValueError
        A parent that there is not, or nodes that hang from each other in a ring.
    """
    parent = np.asarray(parent, np.int64)
    n = parent.size
    if np.any((parent < -1) | (parent >= n)):
        raise ValueError("a pipe hangs from a node that there is not")
    nodes = np.arange(n)
    is_root = parent < 0
    up = np.where(is_root, nodes, parent)
    size = _count_beyond(up, is_root)
    light = is_root | is_root[up] | (2 * size <= size[up])
    head, steps = _follow(np.where(light, nodes, up))
    tier = _tiers_of(up, light, head, is_root)
    order = np.lexsort((steps, head, tier))
    place = np.empty(n, np.int64)
    place[order] = nodes
    roots = int(is_root.sum())
    top_root, _ = _follow(up)
    number = np.cumsum(is_root) - 1
    return Paths(order, roots, place[up[order]], number[top_root[order]], _cut_tiers(order, place, up, light, tier))


def _count_beyond(up: Ints, is_root: Bools) -> Ints:
    """Return how many nodes hang from each, itself among them, by doubling the distance looked back."""
    n = up.size
    size, reach, going = np.ones(n, np.int64), up.copy(), ~is_root
    for _ in range(n.bit_length() + 1):
        if not going.any():
            return size
        size = size + np.bincount(reach[going], weights=size[going], minlength=n).astype(np.int64)
        going = going & going[reach]
        reach = reach[reach]
    raise ValueError("pipes hang from each other in a ring")


def _follow(up: Ints) -> tuple[Ints, Ints]:
    """Return where the way up ends from each node, and in how many steps."""
    steps = (up != np.arange(up.size)).astype(np.int64)
    while True:
        further = up[up]
        if np.array_equal(further, up):
            return up, steps
        steps, up = steps + steps[up], further


def _tiers_of(up: Ints, light: Bools, head: Ints, is_root: Bools) -> Ints:
    """Return the tier of each node: how many runs lie between it and its root; -1 at roots."""
    tier = np.full(up.size, -1)
    heads = np.flatnonzero(light & ~is_root)
    on_run = up[heads]
    waiting = np.arange(heads.size)
    level = 0
    known = np.full(up.size, -1)
    while waiting.size:
        above = head[on_run[waiting]]
        ready = is_root[above] | (known[above] >= 0) & (known[above] < level)
        known[heads[waiting[ready]]] = level
        waiting, level = waiting[~ready], level + 1
    tier = known[head]
    return np.where(is_root, -1, tier)


def _cut_tiers(order: Ints, place: Ints, up: Ints, light: Bools, tier: Ints) -> tuple[Tier, ...]:
    sorted_tier, first = tier[order], light[order]
    found = []
    edges = np.searchsorted(sorted_tier, np.arange(sorted_tier[-1] + 2)) if order.size else np.zeros(1, int)
    for start, stop in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        here = first[start:stop]
        head = np.flatnonzero(here)
        found.append(Tier(start, stop, head, place[up[order[start + head]]], np.cumsum(here) - 1))
    return tuple(found)
