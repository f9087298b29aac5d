"""How far a pipe with equal outlets can go."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from setout.hydraulics.emitters import Emitters
from setout.hydraulics.friction import Friction
from setout.hydraulics.limits import Limits, standing
from setout.hydraulics.network import PipeTree, solve
from setout.units import KPA_PER_M


@dataclass(frozen=True, slots=True)
class LongestLateral:
    """How far a lateral of equal outlets can go.

    Attributes
    ----------
    outlets : emitters on it; 0 where not even one holds
    length_m : pipe from its inlet to the last emitter [m]
    limited_by : what a further emitter would break: ``pressure``, ``spread`` or ``velocity``; empty where ``most`` is met
    """

    outlets: int
    length_m: float
    limited_by: str


@dataclass(frozen=True, slots=True)
class Lateral:
    """A lateral of equal outlets.

    Attributes
    ----------
    spacing_m : level distance between outlets, and from the inlet to the first [m]
    inside_mm : inside diameter [mm]
    rise : slope of the ground in the direction of flow, rise over run
    emitters : the law of one outlet
    friction : how the pipe loses head
    """

    spacing_m: float
    inside_mm: float
    rise: float
    emitters: Emitters
    friction: Friction

    @property
    def slant_m(self) -> float:
        """Return the pipe from one outlet to the next [m]."""
        return self.spacing_m * float(np.hypot(1.0, self.rise))

    def tree(self, outlets: int) -> PipeTree:
        """Return the lateral with so many outlets as a network, its inlet first and at elevation 0."""
        n = np.arange(outlets + 1)
        k = np.where(n > 0, np.asarray(self.emitters.k, float), 0.0)
        return PipeTree(
            n - 1,
            np.where(n > 0, self.slant_m, 0.0),
            np.full(n.size, self.inside_mm),
            np.asarray(n * self.spacing_m * self.rise, float),
            replace(self.emitters, k=k),
            self.friction,
        )


def longest_lateral(lateral: Lateral, inlet_kpa: float, limits: Limits, most: int = 4096) -> LongestLateral:
    """Find the longest lateral of equal outlets that holds its limits.

    Parameters
    ----------
    lateral : Lateral
        Pipe, outlets and slope.
    inlet_kpa : float
        Pressure at its inlet [kPa].
    limits : Limits
        What has to hold.
    most : int
        Outlets to look at at the most.

    Returns
    -------
    LongestLateral
        Outlets and length. Where longer ones would hold again, as may be downhill, the first limit counts.

    Examples
    --------
    >>> dripper = Emitters.rated(4.0, 100.0, 0.5)
    >>> longest_lateral(Lateral(1.0, 16.0, 0.0, dripper, Friction()), 120.0, Limits(least_kpa=80.0)).limited_by
    'spread'
    """
    low, high, broken = 0, 1, ""
    while low < most:
        if broken := _broken(lateral, high, inlet_kpa, limits):
            break
        low, high = high, min(2 * high, most)
    while broken and high - low > 1:
        middle = (low + high) // 2
        if found := _broken(lateral, middle, inlet_kpa, limits):
            high, broken = middle, found
        else:
            low = middle
    return LongestLateral(low, low * lateral.slant_m, broken)


def _broken(lateral: Lateral, outlets: int, inlet_kpa: float, limits: Limits) -> str:
    tree = lateral.tree(outlets)
    return standing(tree, solve(tree, inlet_kpa / KPA_PER_M), limits).broken
