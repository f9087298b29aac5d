"""Newton's method for pipes and emitters together, on networks without loops.

Both laws, the loss of every pipe and the flow of every emitter, are taken as straight lines at once (the gradient
method of Todini and Pilati 1988, with emitters as outlets whose flow answers to head). In a tree each such step is
solved exactly and in linear time: a run of pipes with its outlets is a tridiagonal system, and what hangs from a node
answers to that node's head with one straight line, flow = a + b head. Tiers of runs are worked from outside in, then
heads follow from the roots outwards.

Where much of a network is starved of pressure, steps may chase each other. Then emitters that let go gradually, by a
long straight ramp from zero head, are solved first, and the ramp is shortened little by little to its own millimetre.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from setout.errors import SetoutError
from setout.hydraulics.emitters import LOWEST_HEAD, Emitters, Outlets
from setout.hydraulics.friction import Friction, Pipes
from setout.hydraulics.paths import Paths

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CLOSE: Final = 1e-9
"""Error [m] in the loss of every pipe at which the steps end."""
ROUNDING: Final = 1e-6
"""Error [m] that is rounding only, once steps no longer better it."""
FIRST_PASSES: Final = 25
RAMP_PASSES: Final = 15
LONG_PASSES: Final = 40
SHORTEN: Final = 4.0
"""By how much a ramp is shortened at a time, at first."""


@dataclass(frozen=True, slots=True)
class State:
    """Where the steps stand, in working order.

    Attributes
    ----------
    head : (n,) elevation plus pressure head [m]
    emitted, flow : (n,) out of each node and through each pipe [l/h]
    working : (m,) pressure head at which the emitters' law was taken last [m]
    passes : steps taken
    residual_m : largest error in the loss of a pipe [m]
    """

    head: Floats
    emitted: Floats
    flow: Floats
    working: Floats
    passes: int
    residual_m: float

    @property
    def at_rest(self) -> bool:
        """Return whether the state fits both laws."""
        return self.residual_m < ROUNDING


@dataclass(frozen=True, slots=True)
class Work:
    """A network in working order, ready for steps.

    Attributes
    ----------
    paths : the working order
    pipes : the pipe of each node; those of roots have no length
    z, source : (n,) elevation of each node, and head of the root it hangs from [m]
    spots : (m,) nodes that have emitters
    emitters : their laws
    """

    paths: Paths
    pipes: Pipes
    z: Floats
    source: Floats
    spots: Ints
    emitters: Emitters

    @classmethod
    def of(
        cls, paths: Paths, pipe: tuple[Floats, Floats, Floats], source: Floats, emitters: Emitters, friction: Friction
    ) -> Work:
        """Make a network ready from length, inside diameter and elevation of its nodes, all in working order."""
        length, inside, z = pipe
        spots = np.flatnonzero(np.broadcast_to(np.asarray(emitters.k, float), z.shape) > 0)
        return cls(paths, Pipes.of(length, inside, friction), z, source, spots, emitters.at(spots))

    def run(self) -> State:
        """Step until the losses of all pipes are those of their flows.

        Raises
        ------
        SetoutError
            No state is found in which they are.
        """
        full = np.maximum((self.source - self.z)[self.spots], 0.1)
        start = State(self.source, self.z, self.z, 0.8 * full, 0, np.inf)
        found = self.steps(start, LOWEST_HEAD, FIRST_PASSES)
        if not found.at_rest:
            found = self.shorten(start, max(float(full.max(initial=0.0)), 1.0))
        if not found.at_rest:
            raise SetoutError(
                f"pressures in the network of pipes do not settle (off by {found.residual_m:.3g} m)",
                "network of pipes",
                "look for pipes or emitters of unlikely size",
            )
        return found

    def shorten(self, start: State, ramp: float) -> State:
        """Solve with a long ramp, and shorten it as fast as the steps follow."""
        good = self.steps(start, ramp, LONG_PASSES)
        by, passes = SHORTEN, good.passes
        while ramp > LOWEST_HEAD and by > 1.005:
            shorter = max(ramp / by, LOWEST_HEAD)
            found = self.steps(good, shorter, RAMP_PASSES)
            passes += found.passes
            if found.at_rest:
                good, ramp, by = found, shorter, min(by * by, SHORTEN)
            else:
                by = by**0.5
        return State(
            good.head, good.emitted, good.flow, good.working, passes, good.residual_m if ramp <= LOWEST_HEAD else np.inf
        )

    def steps(self, start: State, ramp: float, most: int) -> State:
        """Take up to so many steps with one ramp."""
        outlets = Outlets.of(self.emitters, self.spots.shape, ramp)
        z, parent, first = self.z[self.spots], self.paths.parent, self.paths.roots
        working = start.working
        emitted, gain = outlets.flow_and_slope(working)
        flow = start.flow if start.passes else self.paths.gather(self.spread(emitted))
        state, before = start, np.inf
        for passes in range(1, most + 1):
            loss, slope = self.pipes.loss_and_slope(flow)
            line = emitted - gain * (working + z)
            flow, head = self.linear(loss - slope * flow, slope, self.spread(line), self.spread(gain))
            pressure = head[self.spots] - z
            true = self.spread(outlets.flow_and_slope(pressure)[0])
            through = self.paths.gather(true)
            off = np.abs(head[parent] - head - self.pipes.loss_and_slope(through)[0])[first:]
            state = State(head, true, through, pressure, passes, float(off.max(initial=0.0)))
            if state.residual_m < CLOSE or (state.residual_m > 0.5 * before and state.at_rest):
                return state
            before = state.residual_m
            working = _nearer(outlets, working, pressure, emitted, emitted + gain * (pressure - working))
            emitted, gain = outlets.flow_and_slope(working)
        return state

    def spread(self, at_spots: Floats) -> Floats:
        """Return values of the nodes with emitters for all nodes, 0 elsewhere."""
        if at_spots.size == self.z.size:
            return at_spots
        values = np.zeros_like(self.z)
        values[self.spots] = at_spots
        return values

    def linear(self, fixed: Floats, slope: Floats, outlet: Floats, gain: Floats) -> tuple[Floats, Floats]:
        """Solve the network with straight lines for laws: loss = fixed + slope Q, emitted = outlet + gain H.

        Parameters
        ----------
        fixed, slope : (n,) ndarray
            Of pipes [m], [m per l/h].
        outlet, gain : (n,) ndarray
            Of emitters [l/h], [l/h per m].

        Returns
        -------
        flow, head : (n,) ndarray
            Through pipes [l/h], at nodes [m].
        """
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
            found = dgtsv(below, main, above, known, 1, 1, 1, 1)[3]
            answers.append(found)
            np.add.at(outlet, tier.top, found[2 * tier.head, 0])
            np.add.at(gain, tier.top, found[2 * tier.head, 1])
        for tier in self.paths.tiers:
            at, found = slice(tier.start, tier.stop), answers.pop()
            top = head[tier.top][tier.run]
            flow[at] = found[0::2, 0] + top * found[0::2, 1]
            head[at] = found[1::2, 0] + top * found[1::2, 1]
        return flow, head


def _nearer(outlets: Outlets, was: Floats, to: Floats, flow: Floats, line: Floats) -> Floats:
    """Return the head at which to take the emitters' law next.

    The straight line was met at a head and a flow. Going down, where the law bends away from its line, the point of the
    law that has that flow is nearer than the one that has that head; no step takes off more than nine tenths of a flow.
    """
    steep = (to < 0.7 * was) & ~((was <= outlets.ramp) & (to <= 0))
    if not steep.any():
        return to
    return np.where(steep, np.maximum(to, outlets.head(np.maximum(line, 0.1 * flow))), to)
