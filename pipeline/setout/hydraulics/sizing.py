"""Inside diameters: the least pipe that holds pressures and velocities of a network within their limits.

Groups of pipes share one diameter each (one kind of lateral, one stretch of a manifold); none is wider than one that
feeds it. From the least diameters that
keep to the velocity, the one whose widening brings the starved end most head for its pipe is widened, until all limits
hold; then whatever can be narrowed again is. Few groups are searched to the end.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from setout.errors import SetoutError
from setout.hydraulics.friction import Pipes
from setout.hydraulics.limits import Limits, Standing, standing
from setout.hydraulics.network import PipeTree, Solved, solve, tree_paths
from setout.hydraulics.paths import Paths
from setout.units import KPA_PER_M

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

WORTH_TRYING: Final = 64
"""Sets of diameters that are still tried one by one."""


@dataclass(frozen=True, slots=True)
class Sized:
    """Diameters found, or why there are none.

    Attributes
    ----------
    inside_mm : (g,) diameter of each group [mm]; None where no set of diameters holds the limits
    solved : the network with these diameters, or with the widest where there is none
    reason : empty, or the limit that cannot be held: ``pressure``, ``spread`` or ``velocity``
    told : empty, or that in words, with figures
    remedy : what would mend it
    lowest_kpa : pressure of the lowest emitter [kPa]
    flow_ratio : least share that an emitter gives of what it would at the highest pressure of its subunit
    climb_m : how far the lowest emitter lies above its source [m]
    friction_m : (g,) loss on the way to it in each group, widest pipes [m]
    """

    inside_mm: Floats | None
    solved: Solved
    reason: str
    told: str
    remedy: str
    lowest_kpa: float
    flow_ratio: float
    climb_m: float
    friction_m: Floats


@dataclass(frozen=True, slots=True)
class _Look:
    solved: Solved
    stands: Standing

    @property
    def holds(self) -> bool:
        return not self.stands.broken


def size(
    tree: PipeTree,
    source_head_m: Floats | float,
    group: Ints,
    diameters_mm: Floats | list[float],
    limits: Limits,
    subunit: Ints | None = None,
) -> Sized:
    """Choose an inside diameter for every group of pipes.

    Parameters
    ----------
    tree : PipeTree
        The network; diameters of pipes that are in a group are not looked at.
    source_head_m : float or (r,) array_like
        Head at the roots [m].
    group : (n,) ndarray
        Group of each node's pipe, 0 to g - 1; -1 for pipes that keep the tree's diameter, and for roots.
    diameters_mm : list of float
        Real inside diameters that there are [mm].
    limits : Limits
        What has to hold.
    subunit : (n,) ndarray, optional
        Emitters whose pressures are compared with each other, by number; -1 for none. All together when absent.

    Returns
    -------
    Sized
        Diameters by group, or the reason why no set of them holds the limits, and what would mend it.

    Raises
    ------
    SetoutError
        As :func:`setout.hydraulics.network.solve`; no diameters to choose from.
    """
    choice = np.unique(np.asarray(diameters_mm, float))
    if not choice.size:
        raise SetoutError("there are no pipe sizes to choose from", "pipe sizes", "list inside diameters")
    of = np.asarray(group, np.int64)
    search = _Search(tree, source_head_m, of, choice, limits, subunit, tree_paths(tree), _feeds(tree.parent, of))
    groups = search.groups
    widest = np.full(groups, choice.size - 1)
    look = search.look(widest)
    if not groups or look.stands.broken in {"pressure", "velocity"}:
        return search.result(widest, look)
    sizes, found = search.widen(search.by_velocity(look))
    if not found.holds:
        sizes, found = widest, look
    if not found.holds:
        return search.result(widest, look)
    sizes, found = search.narrow(sizes, found)
    sizes, found = search.exhaust(sizes, found)
    return search.result(sizes, found)


@dataclass(frozen=True, slots=True)
class _Search:
    """A network whose groups are given diameters; sizes are places in the list of diameters."""

    tree: PipeTree
    source: Floats | float
    group: Ints
    choice: Floats
    limits: Limits
    subunit: Ints | None
    paths: Paths
    feeds: Ints
    """(f, 2) groups that feed groups: no pipe is wider than the one it hangs from."""

    @property
    def groups(self) -> int:
        """Return how many groups there are."""
        return int(self.group.max(initial=-1)) + 1

    @property
    def length_m(self) -> Floats:
        """Return the pipe in each group [m]."""
        inside = self.group >= 0
        return np.bincount(self.group[inside], np.asarray(self.tree.length_m)[inside], self.groups).astype(float)

    def telescoped(self, sizes: Ints) -> Ints:
        """Return the sizes with every group at least as wide as those that it feeds."""
        sizes = sizes.copy()
        for _ in range(self.groups):
            np.maximum.at(sizes, self.feeds[:, 0], sizes[self.feeds[:, 1]])
        return sizes

    def cost(self, sizes: Ints) -> float:
        """Return length times diameter: what the pipe of a set weighs and costs, roughly."""
        return float((self.length_m * self.choice[sizes]).sum())

    def with_sizes(self, sizes: Ints) -> PipeTree:
        """Return the network with these diameters."""
        inside = np.where(self.group >= 0, self.choice[sizes][self.group] if self.groups else 0.0, self.tree.inside_mm)
        return replace(self.tree, inside_mm=inside)

    def look(self, sizes: Ints) -> _Look:
        """Solve the network with these diameters and hold it against its limits."""
        tree = self.with_sizes(sizes)
        solved = solve(tree, self.source, self.paths)
        return _Look(solved, standing(tree, solved, self.limits, self.subunit, self.group >= 0))

    def by_velocity(self, look: _Look) -> Ints:
        """Return the least sizes that keep to the velocity at the flows of a solved network."""
        area = np.pi / 4 * (self.choice / 1000) ** 2 * self.limits.velocity_ms * 3.6e6
        most = np.zeros(self.groups)
        inside = self.group >= 0
        np.maximum.at(most, self.group[inside], look.solved.flow_lph[inside])
        # Narrower pipes lower all flows a little: one part in ten less is let through here, and looked at again later.
        return self.telescoped(np.minimum(np.searchsorted(area, 0.9 * most), self.choice.size - 1))

    def widen(self, sizes: Ints) -> tuple[Ints, _Look]:
        """Widen one group after the other until all limits hold or nothing helps."""
        look = self.look(sizes)
        while not look.holds:
            if look.stands.fast.any():
                step = np.unique(self.group[look.stands.fast])
                step = step[sizes[step] < self.choice.size - 1]
            else:
                step = self.best_step(sizes, look)
            if not step.size:
                break
            sizes = sizes.copy()
            sizes[step] += 1
            sizes = self.telescoped(sizes)
            look = self.look(sizes)
        return sizes, look

    def best_step(self, sizes: Ints, look: _Look) -> Ints:
        """Return the group whose widening gives the lowest emitter most head for its pipe."""
        open_groups = np.flatnonzero(sizes < self.choice.size - 1)
        if not open_groups.size:
            return open_groups
        wider = sizes.copy()
        wider[open_groups] += 1
        gain = self.losses(sizes, look)[0] - self.losses(wider, look)[0]
        price = self.length_m * (self.choice[wider] - self.choice[sizes])
        worth = np.where(price > 0, gain / np.where(price > 0, price, 1.0), 0.0)
        best = int(worth.argmax())
        return np.array([best]) if worth[best] > 0 else np.zeros(0, np.int64)

    def losses(self, sizes: Ints, look: _Look) -> tuple[Floats, float]:
        """Return the loss [m] in each group on the way to the lowest emitter at the flows there are, and in no group."""
        way, node = [], look.stands.lowest
        while self.tree.parent[node] >= 0:
            way.append(node)
            node = int(self.tree.parent[node])
        nodes = np.array(way, np.int64)
        inside = self.with_sizes(sizes).inside_mm[nodes]
        pipes = Pipes.of(np.asarray(self.tree.length_m)[nodes], inside, self.tree.friction.at(nodes))
        loss = pipes.loss_and_slope(look.solved.flow_lph[nodes])[0]
        of = self.group[nodes]
        return np.bincount(of[of >= 0], loss[of >= 0], self.groups).astype(float), float(loss[of < 0].sum())

    def narrow(self, sizes: Ints, look: _Look) -> tuple[Ints, _Look]:
        """Narrow every group as far as the limits hold, those first that save most."""
        tried = True
        while tried:
            tried = False
            saving = self.length_m * (self.choice[sizes] - self.choice[np.maximum(sizes - 1, 0)])
            for one in np.argsort(-saving, kind="stable").tolist():
                if sizes[one] == 0:
                    continue
                narrower = sizes.copy()
                narrower[one] -= 1
                if np.any(self.telescoped(narrower) != narrower):
                    continue
                if (found := self.look(narrower)).holds:
                    sizes, look, tried = narrower, found, True
        return sizes, look

    def exhaust(self, sizes: Ints, look: _Look) -> tuple[Ints, _Look]:
        """Try every cheaper set, the cheapest first, where there are few."""
        if self.choice.size**self.groups > 4096:
            return sizes, look
        least = self.by_velocity(look)
        sets = np.array(list(product(*(range(low, self.choice.size) for low in least.tolist()))), np.int64)
        sets = sets[np.all(sets[:, self.feeds[:, 0]] >= sets[:, self.feeds[:, 1]], axis=1)]
        costs = (self.choice[sets] * self.length_m).sum(axis=1)
        cheaper = np.flatnonzero(costs < self.cost(sizes) - 1e-9)
        if cheaper.size > WORTH_TRYING:
            return sizes, look
        for one in cheaper[np.argsort(costs[cheaper], kind="stable")]:
            if (found := self.look(sets[one])).holds:
                return sets[one], found
        return sizes, look

    def result(self, sizes: Ints, look: _Look) -> Sized:
        """Say what was found, or why nothing was."""
        stands = look.stands
        lost, climb, reason = np.zeros(self.groups), 0.0, ("", "", "")
        if stands.lowest >= 0:
            lost, fixed = self.losses(sizes, look)
            root = int(self.paths.order[self.paths.root[np.flatnonzero(self.paths.order == stands.lowest)[0]]])
            climb = float(self.tree.z_m[stands.lowest] - self.tree.z_m[root])
        else:
            fixed = 0.0
        if stands.broken:
            reason = _why(stands, self.limits, climb, float(lost.sum()) + fixed)
        inside = None if stands.broken else self.choice[sizes]
        lowest = float(self.limits.least_kpa - stands.want_m * KPA_PER_M)
        return Sized(inside, look.solved, *reason, lowest, stands.flow_ratio, climb, lost)


def _feeds(parent: Ints, group: Ints) -> Ints:
    """Return which group feeds which; not where two feed each other, as kinds of pipe laid turn and turn about do."""
    node = np.flatnonzero(parent >= 0)
    pairs = np.column_stack([group[parent[node]], group[node]])
    pairs = np.unique(pairs[(pairs >= 0).all(axis=1) & (pairs[:, 0] != pairs[:, 1])], axis=0)
    both = {tuple(pair) for pair in pairs.tolist()}
    kept = [pair for pair in pairs.tolist() if (pair[1], pair[0]) not in both]
    return np.array(kept, np.int64).reshape(-1, 2)


def _why(stands: Standing, limits: Limits, climb: float, friction: float) -> tuple[str, str, str]:
    """Return the limit that the widest pipes break, that in words, and what would mend it."""
    if stands.broken == "pressure":
        want = stands.want_m * KPA_PER_M
        told = (
            f"with the widest pipes the lowest emitter has {limits.least_kpa - want:.0f} kPa of {limits.least_kpa:.0f}: "
            f"{climb * KPA_PER_M:.0f} kPa go into climbing {climb:.1f} m, {friction * KPA_PER_M:.0f} kPa into friction"
        )
        if friction > stands.want_m:
            return "pressure", told, f"fewer emitters at a time, wider pipes, or {want:.0f} kPa more at the source"
        return "pressure", told, f"{want:.0f} kPa more at the source, or a source higher up"
    if stands.broken == "velocity":
        told = f"with the widest pipes water still runs at {stands.velocity_ms:.2f} m/s, the limit is {limits.velocity_ms:.2f}"
        return "velocity", told, "fewer emitters at a time, or wider pipes"
    told = (
        f"with the widest pipes an emitter gives {stands.flow_ratio:.0%} of what the best fed gives, "
        f"{limits.flow_ratio:.0%} is the least; {friction:.1f} m of head go into friction, the ground rises {climb:.1f} m"
    )
    if friction > abs(climb):
        return "spread", told, "shorter laterals, feed them from their middle, or fewer emitters at a time"
    return ("spread", told, "pressure-compensating emitters, laterals along the contour, or a pressure regulator at each lateral")
