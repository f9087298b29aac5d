"""Pressure and flow at every node of a network of pipes without loops, fed at its roots.

Newton's method on both laws at once, the loss of every pipe and the flow of every emitter. In a tree each step is
solved exactly and in linear time: a run of pipes with its outlets is a tridiagonal system, and what hangs from a node
answers to that node's head with one straight line, flow = a + b head. Tiers of runs are worked from outside in, then
heads follow from the roots outwards.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from setout.errors import SetoutError
from setout.hydraulics.emitters import Emitters
from setout.hydraulics.friction import Friction, Pipes, velocity_ms
from setout.hydraulics.paths import Paths, paths_of
from setout.units import KPA_PER_M

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class PipeTree:
    """Pipes without loops. Node i hangs from node ``parent[i]`` by pipe i; roots have fixed head and no pipe.

    Attributes
    ----------
    parent : (n,) node that each node hangs from; -1 at roots; any order
    length_m : (n,) true length of each node's pipe [m], on the slope; of no meaning at roots
    inside_mm : (n,) inside diameter of each node's pipe [mm]; of no meaning at roots
    z_m : (n,) elevation [m]
    emitters : what is emitted at each node, as arrays of n or numbers for all; k = 0 where nothing is
    friction : how pipes lose head, as arrays of n or numbers for all
    """

    parent: Ints
    length_m: Floats
    inside_mm: Floats
    z_m: Floats
    emitters: Emitters
    friction: Friction = field(default_factory=Friction)


@dataclass(frozen=True, slots=True)
class Solved:
    """The steady state of a network, by node in the order of the tree that was given.

    Attributes
    ----------
    head_m : (n,) elevation plus pressure head [m]
    pressure_kpa : (n,) [kPa]; negative at a dry node: so much is wanting for water to reach it
    emitted_lph : (n,) flow out at each node [l/h]
    flow_lph : (n,) flow through each node's pipe [l/h]; at roots what the source gives
    velocity_ms : (n,) in each node's pipe [m/s]; 0 at roots
    dry : (n,) an emitter stands here and the pressure is not above zero: nothing comes out
    passes : Newton steps taken
    residual_m : largest error left in the loss of any pipe [m]
    """

    head_m: Floats
    pressure_kpa: Floats
    emitted_lph: Floats
    flow_lph: Floats
    velocity_ms: Floats
    dry: Bools
    passes: int
    residual_m: float


CLOSE: Final = 1e-9
"""Error [m] in the loss of pipes at which the steps end."""
CLOSE_ENOUGH: Final = 1e-5
"""Error [m] that is accepted when no step betters it any more."""
MOST_PASSES: Final = 60


def solve(tree: PipeTree, source_head_m: ArrayLike, paths: Paths | None = None) -> Solved:
    """Find the pressure and the flow at every node.

    Parameters
    ----------
    tree : PipeTree
        Pipes, emitters and elevations.
    source_head_m : float or (r,) array_like
        Head at the roots [m], elevation plus pressure head, in the order in which the roots stand in the tree.
    paths : Paths, optional
        Working order of ``tree.parent``, where it is known from an earlier call.

    Returns
    -------
    Solved
        Heads, pressures, flows. Dry nodes give nothing and pass the water on.

    Raises
    ------
    SetoutError
        Arrays of unequal length, a number that is none or out of range, pipes in a ring, or a network that does not
        come to rest.
    """
    paths = paths or tree_paths(tree)
    work = _Work.of(tree, np.broadcast_to(np.asarray(source_head_m, float), (paths.roots,)), paths)
    return work.result(*work.run())


def tree_paths(tree: PipeTree) -> Paths:
    """Return the working order of a tree, to be used again while its parents stay what they are.

    Parameters
    ----------
    tree : PipeTree
        The tree.

    Returns
    -------
    Paths
        For :func:`solve`.

    Raises
    ------
    SetoutError
        Pipes in a ring, or a parent that there is not.
    """
    try:
        return paths_of(tree.parent)
    except ValueError as fault:
        raise SetoutError(str(fault), "network of pipes", "give every pipe the one it is fed from") from None


@dataclass(frozen=True, slots=True)
class _Work:
    """A tree in working order, ready for Newton steps."""

    paths: Paths
    pipes: Pipes
    emitters: Emitters
    inside_mm: Floats
    z: Floats
    source: Floats

    @classmethod
    def of(cls, tree: PipeTree, source: Floats, paths: Paths) -> _Work:
        n, order = tree.parent.size, paths.order

        def placed(values: ArrayLike) -> Floats:
            given = np.asarray(values, float)
            return given[order] if given.shape == (n,) else given

        f, e = tree.friction, tree.emitters
        friction = Friction(
            f.law, placed(f.roughness_c), placed(f.roughness_mm), placed(f.minor_share), placed(f.minor_k), f.viscosity
        )
        length, inside = placed(tree.length_m).copy(), placed(tree.inside_mm).copy()
        length[: paths.roots], inside[: paths.roots] = 0.0, 1000.0
        emitters = Emitters(placed(e.k), placed(e.exponent), placed(e.least_m), placed(e.most_m))
        return cls(paths, Pipes.of(length, inside, friction), emitters, inside, placed(tree.z_m), source[paths.root])

    def run(self) -> tuple[Floats, Floats, Floats, int, float]:
        """Take Newton steps until the losses of all pipes are those of their flows."""
        roots = self.paths.roots
        head = self.source.copy()
        emitted, gain = self.emitters.flow_and_slope(np.maximum(head - self.z, 0.1) * 0.8)
        flow = self.paths.gather(emitted)
        worst, passes = np.inf, 0
        for _ in range(MOST_PASSES):
            passes += 1
            loss, slope = self.pipes.loss_and_slope(flow)
            flow, head = self.step(loss - slope * flow, slope, emitted - gain * head, gain)
            emitted, gain = self.emitters.flow_and_slope(head - self.z)
            flow = self.paths.gather(emitted)
            loss, _ = self.pipes.loss_and_slope(flow)
            off = np.abs(head[self.paths.parent] - head - loss)[roots:]
            worst = float(off.max(initial=0.0))
            if worst < CLOSE:
                break
        return head, emitted, flow, passes, worst

    def step(self, fixed: Floats, slope: Floats, outlet: Floats, gain: Floats) -> tuple[Floats, Floats]:
        """Solve the network with straight lines for laws: loss = fixed + slope Q, emitted = outlet + gain H."""
        from scipy.linalg.lapack import dgtsv

        head, flow = self.source.copy(), np.zeros_like(fixed)
        gain, outlet = gain.copy(), outlet.copy()
        answers = []
        for tier in reversed(self.paths.tiers):
            at = slice(tier.start, tier.stop)
            size = 2 * (tier.stop - tier.start)
            below, main, above = np.ones(size - 1), np.empty(size), np.full(size - 1, -1.0)
            main[0::2], main[1::2] = -slope[at], -gain[at]
            below[2 * tier.head[1:] - 1] = above[2 * tier.head[1:] - 1] = 0.0
            known = np.zeros((size, 2), order="F")
            known[0::2, 0], known[1::2, 0] = fixed[at], outlet[at]
            known[2 * tier.head, 1] = -1.0
            found = dgtsv(below, main, above, known)[3]
            answers.append(found)
            np.add.at(outlet, tier.top, found[2 * tier.head, 0])
            np.add.at(gain, tier.top, found[2 * tier.head, 1])
        for tier in self.paths.tiers:
            at, found = slice(tier.start, tier.stop), answers.pop()
            top = head[tier.top][tier.run]
            flow[at] = found[0::2, 0] + top * found[0::2, 1]
            head[at] = found[1::2, 0] + top * found[1::2, 1]
        return flow, head

    def result(self, head: Floats, emitted: Floats, flow: Floats, passes: int, residual: float) -> Solved:
        """Put everything back into the tree's own order."""
        order = self.paths.order
        back = np.empty_like(order)
        back[order] = np.arange(order.size)
        speed = velocity_ms(flow, self.inside_mm)
        speed[: self.paths.roots] = 0.0
        pressure = head - self.z
        dry = (pressure <= 0) & (np.broadcast_to(self.emitters.k, pressure.shape) > 0)
        return Solved(
            head[back], pressure[back] * KPA_PER_M, emitted[back], flow[back], speed[back], dry[back], passes, residual
        )
