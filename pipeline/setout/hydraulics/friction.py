"""Loss of head in pipes, and velocity.

Formulas: Hazen-Williams, h = 10.667 L Q^1.852 / (C^1.852 d^4.871) in metres and cubic metres a second, which is
h = 4.727 L Q^1.852 / (C^1.852 d^4.871) in feet and cubic feet a second (EPANET 2.2 User Manual, EPA/600/R-20/133,
table 3.1), carried over exactly. Darcy-Weisbach with the friction factor of Swamee and Jain (1976) and a cubic between
laminar and turbulent flow (Dunlop 1991, as in the same manual, section 12.1), or of Churchill (1977) for all flow.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from setout.units import FOOT

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Law = Literal["hazen-williams", "swamee-jain", "churchill"]

GRAVITY: Final = 32.2 * FOOT
"""Gravity [m/s2] as the handbooks round it, 32.2 ft/s2."""
VISCOSITY: Final = 1.1e-5 * FOOT**2
"""Kinematic viscosity of water at 20 degrees C [m2/s], 1.1e-5 ft2/s as in the EPANET manual."""
M3S_PER_LPH: Final = 1.0 / 3.6e6
EXPONENT: Final = 1.852
"""Exponent of flow in the Hazen-Williams formula."""
_DIAMETER: Final = 4.871
HAZEN_WILLIAMS: Final = 4.727 * FOOT ** (_DIAMETER - 3 * EXPONENT)
"""Factor of the Hazen-Williams formula in SI: 10.667."""


@dataclass(frozen=True, slots=True)
class Friction:
    """How pipes lose head. Arrays are one value a pipe, numbers hold for all.

    Attributes
    ----------
    law : Hazen-Williams, or Darcy-Weisbach with a friction factor of Swamee-Jain or Churchill
    roughness_c : Hazen-Williams C
    roughness_mm : height of the wall's roughness for Darcy-Weisbach [mm]; 0.0015 for plastic
    minor_share : loss in fittings as a share of the pipe's friction, as if it were longer
    minor_k : loss in fittings as velocity heads
    viscosity : kinematic [m2/s]
    """

    law: Law = "hazen-williams"
    roughness_c: ArrayLike = 140.0
    roughness_mm: ArrayLike = 0.0015
    minor_share: ArrayLike = 0.0
    minor_k: ArrayLike = 0.0
    viscosity: float = VISCOSITY

    def at(self, pipes: Ints) -> Friction:
        """Return the settings of some pipes, or in another order."""
        c, wall, share, k = (
            np.asarray(value, float)[pipes] if np.ndim(value) else value
            for value in (self.roughness_c, self.roughness_mm, self.minor_share, self.minor_k)
        )
        return Friction(self.law, c, wall, share, k, self.viscosity)


@dataclass(frozen=True, slots=True)
class Pipes:
    """Pipes made ready for many flows: what does not depend on the flow, reckoned once.

    Attributes
    ----------
    law : as of :class:`Friction`
    factor : (n,) loss [m] is factor times flow [l/h] to the power 1.852, or factor times f times flow squared
    minor : (n,) loss in fittings [m] is this times flow [l/h] squared; None for no such loss
    reynolds : (n,) Reynolds number of a flow of 1 l/h, for Darcy-Weisbach
    rough : (n,) roughness over inside diameter, for Darcy-Weisbach
    """

    law: Law
    factor: Floats
    minor: Floats | None
    reynolds: Floats
    rough: Floats

    @classmethod
    def of(cls, length_m: ArrayLike, inside_mm: ArrayLike, friction: Friction) -> Pipes:
        """Make pipes ready.

        Parameters
        ----------
        length_m, inside_mm : (n,) array_like
            True length [m] and inside diameter [mm].
        friction : Friction
            How they lose head.

        Returns
        -------
        Pipes
            Arrays of n.
        """
        length, d = np.broadcast_arrays(np.asarray(length_m, float), np.asarray(inside_mm, float) / 1000)
        longer = length * (1 + np.asarray(friction.minor_share, float))
        fittings = np.asarray(friction.minor_k, float)
        velocity_head = 8 / (GRAVITY * math.pi**2) * M3S_PER_LPH**2 / (d * d) ** 2
        minor = velocity_head * fittings if np.any(fittings) else None
        if friction.law == "hazen-williams":
            c = np.asarray(friction.roughness_c, float)
            factor = HAZEN_WILLIAMS * longer * (M3S_PER_LPH / c) ** EXPONENT / d**_DIAMETER
            return cls(friction.law, factor, minor, np.ones(1), np.zeros(1))
        factor = velocity_head * longer / d
        reynolds = 4 * M3S_PER_LPH / (math.pi * d * friction.viscosity)
        rough = np.asarray(friction.roughness_mm, float) / 1000 / d
        return cls(friction.law, factor, minor, reynolds, rough)

    def loss_and_slope(self, flow_lph: Floats) -> tuple[Floats, Floats]:
        """Return the loss of head [m] at a flow [l/h] and what it gains by flow [m per l/h].

        Parameters
        ----------
        flow_lph : (n,) ndarray
            Flow; negative where it runs backwards.

        Returns
        -------
        loss, slope : (n,) ndarray
            The loss has the sign of the flow; the slope is never negative.
        """
        size = np.abs(flow_lph)
        if self.law == "hazen-williams":
            per_flow = self.factor * size ** (EXPONENT - 1)
            slope = EXPONENT * per_flow
        else:
            f, bend = friction_factor(self.law, self.reynolds * size, self.rough)
            per_flow = self.factor * f * np.maximum(size, 1 / self.reynolds)
            slope = per_flow * (2 + bend)
        if self.minor is None:
            return per_flow * flow_lph, slope
        minor = self.minor * size
        return (per_flow + minor) * flow_lph, slope + 2 * minor


def friction_factor(law: Law, reynolds: Floats, rough: Floats) -> tuple[Floats, Floats]:
    """Return the Darcy-Weisbach friction factor and the share by which it grows per share of Reynolds number.

    Parameters
    ----------
    law : {"swamee-jain", "churchill"}
        64 / Re up to 2000, the formula of Swamee and Jain from 4000 and a cubic between; or Churchill's one formula.
    reynolds : (n,) ndarray
        Reynolds number; below 1 the factor is that of 1.
    rough : (n,) ndarray
        Height of roughness over inside diameter.

    Returns
    -------
    f, bend : (n,) ndarray
        Factor, and d ln f / d ln Re.
    """
    re = np.maximum(reynolds, 1.0)
    laminar = 64 / re
    if law == "churchill":
        f, bend = _churchill(re, rough)
        return np.where(re < 100, laminar, f), np.where(re < 100, -1.0, bend)
    f, bend = _swamee_jain(re, rough)
    if np.any(re < 4000):
        between, between_bend = _dunlop(re, rough)
        f = np.where(re < 2000, laminar, np.where(re < 4000, between, f))
        bend = np.where(re < 2000, -1.0, np.where(re < 4000, between_bend, bend))
    return f, bend


def _swamee_jain(re: Floats, rough: Floats) -> tuple[Floats, Floats]:
    viscous = 5.74 / re**0.9
    inner = rough / 3.7 + viscous
    log = np.log(inner)
    return 0.25 * (math.log(10) / log) ** 2, 2 * 0.9 * viscous / (inner * log)


def _dunlop(re: Floats, rough: Floats) -> tuple[Floats, Floats]:
    r = re / 2000
    y2 = rough / 3.7 + 5.74 / 4000**0.9
    y3 = -2 / math.log(10) * np.log(y2)
    fa = y3**-2
    fb = fa * (2 - 0.00514215 / (y2 * y3))
    x1, x2 = 7 * fa - fb, 0.128 - 17 * fa + 2.5 * fb
    x3, x4 = -0.128 + 13 * fa - 2 * fb, 0.032 - 3 * fa + 0.5 * fb
    f = x1 + r * (x2 + r * (x3 + r * x4))
    return f, r * (x2 + r * (2 * x3 + 3 * r * x4)) / f


def _churchill(re: Floats, rough: Floats) -> tuple[Floats, Floats]:
    viscous = (7 / re) ** 0.9
    inner = viscous + 0.27 * rough
    log = -np.log(inner)
    a, b = (2.457 * log) ** 16, (37530 / re) ** 16
    laminar, turbulent = (8 / re) ** 12, (a + b) ** -1.5
    turn = (16 * a / log * 0.9 * viscous / inner - 16 * b) / (a + b)
    total = laminar + turbulent
    return 8 * total ** (1 / 12), (-12 * laminar - 1.5 * turn * turbulent) / (12 * total)


def velocity_ms(flow_lph: ArrayLike, inside_mm: ArrayLike) -> Floats:
    """Return the velocity [m/s] of a flow [l/h] in a pipe of some inside diameter [mm].

    >>> round(float(velocity_ms(3600.0, 1000.0 * (4 / 3.141592653589793) ** 0.5)), 6)
    0.001
    """
    d = np.asarray(inside_mm, float) / 1000
    return np.asarray(flow_lph, float) * M3S_PER_LPH / (math.pi / 4 * d**2)


def loss_m(flow_lph: ArrayLike, length_m: ArrayLike, inside_mm: ArrayLike, friction: Friction | None = None) -> Floats:
    """Return the loss of head [m] of pipes that carry one flow from end to end.

    Parameters
    ----------
    flow_lph, length_m, inside_mm : array_like
        Flow [l/h], length [m], inside diameter [mm].
    friction : Friction, optional
        How they lose head; Hazen-Williams with C = 140 when absent.

    Returns
    -------
    ndarray
        Loss [m].
    """
    flow = np.asarray(flow_lph, float)
    return Pipes.of(length_m, inside_mm, friction or Friction()).loss_and_slope(flow)[0]
