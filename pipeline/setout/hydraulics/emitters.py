"""Flow of emitters by pressure: q = k h^x, and emitters that hold their flow over a range of pressure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from setout.units import KPA_PER_M

Floats = NDArray[np.float64]

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
        cls, flow_lph: ArrayLike, at_kpa: ArrayLike, exponent: ArrayLike = 0.5,
        least_kpa: ArrayLike = 0.0, most_kpa: ArrayLike = np.inf,
    ) -> Emitters:  # fmt: skip
        """Make the law of emitters from their flow [l/h] at a pressure [kPa], exponent and range of pressure [kPa].

        >>> Emitters.rated(4.0, 100.0, 0.5).flow(100.0 / KPA_PER_M).round(6)
        array(4.)
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
        h = np.asarray(head_m, float)
        k, x = np.asarray(self.k, float), np.asarray(self.exponent, float)
        least, most = np.asarray(self.least_m, float), np.asarray(self.most_m, float)
        held = np.clip(h, np.maximum(least, LOWEST_HEAD), most)
        flow = k * (np.sqrt(held) if np.all(x == 0.5) else held**x)
        slope = np.where(h < most, x * flow / held, 0.0)
        if np.any(below := h < least):
            part = np.sqrt(np.clip(h, LOWEST_HEAD, None) / np.maximum(least, LOWEST_HEAD))
            flow = np.where(below, flow * part, flow)
            slope = np.where(below, BELOW_RANGE * flow / np.clip(h, LOWEST_HEAD, None), slope)
        if np.any(low := h < LOWEST_HEAD):
            steep = np.where(h > 0, flow / LOWEST_HEAD, 0.0)
            flow, slope = np.where(low, steep * h, flow), np.where(low, steep, slope)
        return np.asarray(flow), np.asarray(slope)
