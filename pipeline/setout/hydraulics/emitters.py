"""Flow of emitters by pressure: q = k h^x, and emitters that hold their flow over a range of pressure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from setout.units import KPA_PER_M

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

LOWEST_HEAD: Final = 1e-3
"""Head [m] below which the law is a straight line from zero: 1 mm of water, so that its slope stays finite."""
BELOW_RANGE: Final = 0.5
"""Exponent of an emitter under the least pressure that it is made for: it acts as a plain opening."""


@dataclass(frozen=True, slots=True)
class Emitters:
    """The emission law of every node, as arrays of one length or single numbers for all.

    Between the least and the most head q = k h^x; below the least head it falls from there as the square root of
    head; above the most it rises no more.

    Attributes
    ----------
    k : flow at 1 m of head [l/h per m^x]; 0 where nothing is emitted
    exponent : x, 0 for constant flow to 1 for laminar flow
    least_m : head below which a pressure-compensating emitter no longer holds its flow [m]; 0 for none
    most_m : head above which the flow rises no more [m]; infinity for none
    """

    k: ArrayLike
    exponent: ArrayLike = 0.5
    least_m: ArrayLike = 0.0
    most_m: ArrayLike = np.inf

    @classmethod
    def rated(
        cls, flow_lph: ArrayLike, at_kpa: ArrayLike, exponent: ArrayLike = 0.5, least_kpa: ArrayLike = 0.0, most_kpa: ArrayLike = np.inf
    ) -> Emitters:
        """Make the law of emitters from their flow [l/h] at a pressure [kPa], exponent and range of pressure [kPa].

        >>> float(Emitters.rated(4.0, 100.0, 0.5).flow(100.0 / KPA_PER_M).round(6))
        4.0
        """
        head = np.asarray(at_kpa, float) / KPA_PER_M
        k = np.asarray(flow_lph, float) / head ** np.asarray(exponent, float)
        return cls(k, exponent, np.asarray(least_kpa, float) / KPA_PER_M, np.asarray(most_kpa, float) / KPA_PER_M)

    def flow(self, head_m: ArrayLike) -> Floats:
        """Return the flow [l/h] at a pressure head [m]; 0 at none and below.

        >>> Emitters(2.0, 0.5).flow([-1.0, 0.0, 4.0, 9.0])
        array([0., 0., 4., 6.])
        """
        return self.flow_and_slope(head_m)[0]

    def flow_and_slope(self, head_m: ArrayLike) -> tuple[Floats, Floats]:
        """Return the flow [l/h] at a pressure head [m], and what it gains by head [l/h per m].

        Parameters
        ----------
        head_m : (n,) array_like
            Pressure head [m].

        Returns
        -------
        flow, slope : (n,) ndarray
            0 and 0 where the head is 0 or less.
        """
        return Outlets.of(self, np.shape(head_m)).flow_and_slope(np.asarray(head_m, float))

    def at(self, nodes: Ints | slice) -> Emitters:
        """Return the emitters of some nodes, or in another order."""
        k, x, least, most = (
            np.asarray(value, float)[nodes] if np.ndim(value) else value for value in (self.k, self.exponent, self.least_m, self.most_m)
        )
        return Emitters(k, x, least, most)


@dataclass(frozen=True, slots=True)
class Outlets:
    """Emitters made ready for many pressures: what does not depend on the pressure, reckoned once.

    Attributes
    ----------
    k, x : (n,) the law between the least and the most head
    least : (n,) head from which the law holds [m], at least the ramp
    most : (n,) head above which the flow rises no more [m]
    compensating : (n,) there is a range, below which the flow falls as the square root of head
    at_least, at_ramp : (n,) flow at the least head and at the head of the ramp [l/h]
    ramp : head [m] up to which the flow is a straight line from zero
    unbounded : no emitter has a least or most head
    square_root : every exponent is 0.5
    """

    k: Floats
    x: Floats
    least: Floats
    most: Floats
    compensating: Bools
    at_least: Floats
    at_ramp: Floats
    ramp: float
    unbounded: bool
    square_root: bool

    @classmethod
    def of(cls, emitters: Emitters, shape: tuple[int, ...], ramp: float = LOWEST_HEAD) -> Outlets:
        """Make emitters ready, as arrays of some shape."""
        k, x, least, most = (
            np.broadcast_to(np.asarray(value, float), shape) for value in (emitters.k, emitters.exponent, emitters.least_m, emitters.most_m)
        )
        square_root = bool(np.all(np.asarray(emitters.exponent) == 0.5))
        unbounded = bool(np.all(np.asarray(emitters.least_m) <= ramp) and np.all(np.asarray(emitters.most_m) == np.inf))
        least = np.maximum(least, ramp)
        at_least = k * (ramp**0.5 if unbounded and square_root else least**x)
        if unbounded:
            return cls(k, x, least, most, np.zeros(shape, bool), at_least, at_least, ramp, unbounded, square_root)
        compensating = least > ramp
        at_ramp = np.where(compensating, at_least * (ramp / least) ** BELOW_RANGE, at_least)
        most = np.maximum(most, least)
        return cls(k, x, least, most, compensating, at_least, at_ramp, ramp, unbounded, square_root)

    def flow_and_slope(self, head: Floats) -> tuple[Floats, Floats]:
        """Return the flow [l/h] at a pressure head [m], and what it gains by head [l/h per m].

        Where the law has a corner the slope is that of the lower side, which is the steeper.
        """
        held = np.maximum(head, self.least)
        if not self.unbounded:
            held = np.minimum(held, self.most)
        flow = self.k * (np.sqrt(held) if self.square_root else held**self.x)
        slope = (0.5 if self.square_root else self.x) * flow / held
        if not self.unbounded:
            slope = np.where(head < self.most, slope, 0.0)
        if not self.unbounded and np.any(below := (head <= self.least) & self.compensating):
            part = np.maximum(head, self.ramp)
            flow = np.where(below, self.at_least * (part / self.least) ** BELOW_RANGE, flow)
            slope = np.where(below, BELOW_RANGE * flow / part, slope)
        if head.size and head.min() <= self.ramp:
            low = head <= self.ramp
            steep = np.where(head >= 0, self.at_ramp / self.ramp, 0.0)
            flow, slope = np.where(low, steep * np.maximum(head, 0.0), flow), np.where(low, steep, slope)
        return flow, slope

    def head(self, flow: Floats) -> Floats:
        """Return the lowest pressure head [m] at which a flow [l/h] comes out; the most where none is enough."""
        with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
            head = self.least * (flow / self.at_least) ** (1 / self.x)
            head = np.where((flow <= self.at_least) & self.compensating, self.least * (flow / self.at_least) ** 2, head)
            head = np.where(flow <= self.at_ramp, self.ramp * flow / self.at_ramp, head)
        head = np.where((self.x == 0) & (flow >= self.at_least), self.least, head)
        return np.where(flow > 0, np.minimum(head, self.most), 0.0)
