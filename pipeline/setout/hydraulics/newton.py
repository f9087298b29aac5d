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

from setout.errors import Refusal
from setout.hydraulics.emitters import LOWEST_HEAD, Emitters, Outlets
from setout.hydraulics.friction import Friction, Pipes
from setout.hydraulics.paths import Paths

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CLOSE: Final = 1e-8
"""Error [m] of heads at which the steps end."""
LEAST_SLOPE: Final = 1e-12
"""Least gain of loss by flow [m per l/h] that a step reckons with; it shapes the way, not the end."""
SUM_PASSES: Final = 6
"""Steps in which flows of pipes are sums of what emitters give; where it takes more, those of the straight lines serve."""
ROUNDING: Final = 1e-6
"""Error [m] of heads that is rounding only, once steps no longer better it."""
FIRST_PASSES: Final = 50
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
    residual_m : largest difference between heads that fit the emitters and heads that fit the pipes [m]
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
    spots : (m,) nodes that may have emitters; all of them where most have
    emitters : their laws
    """

    paths: Paths
    pipes: Pipes
    z: Floats
    source: Floats
    spots: Ints | slice
    emitters: Emitters

    @classmethod
    def of(cls, paths: Paths, pipe: tuple[Floats, Floats, Floats], source: Floats, emitters: Emitters, friction: Friction) -> Work:
        """Make a network ready from length, inside diameter and elevation of its nodes, all in working order."""
        length, inside, z = pipe
        own = np.broadcast_to(np.asarray(emitters.k, float), z.shape) > 0
        spots: Ints | slice = slice(None) if 2 * np.count_nonzero(own) > z.size else np.flatnonzero(own)
        return cls(paths, Pipes.of(length, inside, friction), z, source, spots, emitters.at(spots))

    def run(self) -> State:
        """Step until the losses of all pipes are those of their flows.

        Raises
        ------
        Refusal
            No state is found in which they are.
        """
        full = np.maximum((self.source - self.z)[self.spots], 0.1)
        start = State(self.source, self.z, self.z, 0.8 * full, 0, np.inf)
        found = self.steps(start, LOWEST_HEAD, FIRST_PASSES)
        if not found.at_rest:
            found = self.shorten(start, max(float(full.max(initial=0.0)), 1.0))
        if not found.at_rest:
            raise Refusal("network_unsettled", off_m=found.residual_m)
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
        return State(good.head, good.emitted, good.flow, good.working, passes, good.residual_m if ramp <= LOWEST_HEAD else np.inf)

    def steps(self, start: State, ramp: float, most: int) -> State:
        """Take up to so many steps with one ramp."""
        z = self.z[self.spots]
        outlets = Outlets.of(self.emitters, z.shape, ramp)
        working = start.working
        emitted, gain = outlets.flow_and_slope(working)
        drawn = emitted
        flow = start.flow if start.passes else self.paths.gather(self.spread(emitted))
        if start.passes:
            drawn = start.emitted[self.spots]
        state, before = start, np.inf
        slope, base = self.lost(flow)
        for passes in range(1, most + 1):
            more = emitted + gain * (base[self.spots] - z - working) - drawn
            head = base + self.linear(slope, self.spread(more), self.spread(gain))
            pressure = head[self.spots] - z
            lined = emitted + gain * (pressure - working)
            nearer = _nearer(outlets, working, pressure, emitted, lined)
            settled, working = nearer is pressure, nearer
            emitted, gain = outlets.flow_and_slope(working)
            drawn, given = emitted, self.spread(emitted)
            flow = self.paths.gather(given)
            slope, base = self.lost(flow)
            off = float(np.abs(head - base).max(initial=0.0)) if settled else np.inf
            state = State(base, given, flow, working, passes, off)
            if off < CLOSE or (off > 0.5 * before and off < ROUNDING):
                return state
            before = off
            if passes > SUM_PASSES or ramp > LOWEST_HEAD:
                drawn = lined
                flow = self.paths.gather(self.spread(lined))
                slope, base = self.lost(flow)
        return state

    def lost(self, flow: Floats) -> tuple[Floats, Floats]:
        """Return the slope of the loss of each pipe at some flows, and the heads that these losses leave [m]."""
        loss, slope = self.pipes.loss_and_slope(flow)
        head = self.source.copy()
        for tier in self.paths.tiers:
            passed = np.cumsum(loss[tier.start : tier.stop])
            begin = head[tier.top] + np.append(0.0, passed[tier.head[1:] - 1])
            head[tier.start : tier.stop] = np.repeat(begin, tier.length) - passed
        return np.maximum(slope, LEAST_SLOPE, out=slope), head

    def spread(self, at_spots: Floats) -> Floats:
        """Return values of the nodes with emitters for all nodes, 0 elsewhere."""
        if isinstance(self.spots, slice):
            return at_spots
        values = np.zeros_like(self.z)
        values[self.spots] = at_spots
        return values

    def linear(self, slope: Floats, outlet: Floats, gain: Floats) -> Floats:
        """Return by how much heads change when emitters' flows change by outlet + gain times that.

        Parameters
        ----------
        slope : (n,) ndarray
            What the loss of each pipe gains by flow [m per l/h], above 0.
        outlet, gain : (n,) ndarray
            Of each node [l/h], [l/h per m].

        Returns
        -------
        (n,) ndarray
            Change of head [m]; none at roots.
        """
        from scipy.linalg.lapack import dpttrf, dpttrs

        through = 1.0 / slope
        gain, outlet = gain.copy(), outlet.copy()  # to which runs add what hangs from a node
        answers = []
        for tier in reversed(self.paths.tiers):
            at = slice(tier.start, tier.stop)
            own = through[at]
            beyond = np.append(own[1:], 0.0)
            beyond[tier.head + tier.length - 1] = 0.0
            known = np.zeros((own.size, 2), order="F")
            known[:, 0] = -outlet[at]
            known[tier.head, 1] = own[tier.head]
            main, side, _ = dpttrf(own + beyond + gain[at], -beyond[: max(own.size - 1, 1)], 1, 1)
            found, _ = dpttrs(main, side, known, 1)
            answers.append(found)
            np.add.at(outlet, tier.top, np.add.reduceat(outlet[at] + gain[at] * found[:, 0], tier.head))
            np.add.at(gain, tier.top, np.add.reduceat(gain[at] * found[:, 1], tier.head))
        change = np.zeros_like(slope)
        for tier in self.paths.tiers:
            found = answers.pop()
            change[tier.start : tier.stop] = found[:, 0] + np.repeat(change[tier.top], tier.length) * found[:, 1]
        return change


def _nearer(outlets: Outlets, was: Floats, to: Floats, flow: Floats, line: Floats) -> Floats:
    """Return the head at which to take the emitters' law next; the very array ``to`` where that is as good as any.

    The straight line was met at a head and a flow. Going down, where the law bends away from its line, the point of the
    law that has that flow is nearer than the one that has that head; no step takes off more than nine tenths of a flow.
    """
    steep = to < 0.7 * was
    if not steep.any():
        return to
    steep &= ((was > outlets.ramp) | (to > 0)) & (outlets.k > 0)
    if not steep.any():
        return to
    nearer = np.where(steep, np.maximum(to, outlets.head(np.maximum(line, 0.1 * flow))), to)
    return nearer if np.any(nearer > to + CLOSE) else to
