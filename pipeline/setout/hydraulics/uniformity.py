"""How evenly emitters give: emission uniformity and its class, spread of pressure and of flow."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

CLASSES: Final = ((90.0, "excellent"), (80.0, "good"), (70.0, "fair"), (0.0, "poor"))
"""Emission uniformity [%] from which each class holds (usual practice; the steps of ASAE EP458 are of this kind)."""
VARIATION_CLASSES: Final = ((0.05, "excellent"), (0.07, "average"), (0.11, "marginal"), (0.15, "poor"), (np.inf, "unacceptable"))
"""Coefficient of manufacturing variation of point emitters up to which each class holds (ASAE EP405.1, table 1; from memory)."""


def emission_uniformity(flow_lph: ArrayLike, variation: float = 0.0, per_plant: float = 1.0) -> float:
    """Return the design emission uniformity EU of emitters [%].

    EU = 100 (1 - 1.27 Cv / sqrt(n)) q_least / q_mean (Keller and Karmeli 1974; NRCS National Engineering Handbook,
    part 623, chapter 7; ASAE EP405.1).

    Parameters
    ----------
    flow_lph : (m,) array_like
        Flow of each emitter [l/h]; emitters of different kinds as shares of their rated flow.
    variation : float
        Coefficient of manufacturing variation Cv.
    per_plant : float
        Emitters n that a plant draws from.

    Returns
    -------
    float
        EU [%]; NaN where there are no emitters or none gives anything.

    Examples
    --------
    >>> round(emission_uniformity([0.92, 1.08], variation=0.05, per_plant=4), 1)
    89.1
    """
    flow = np.asarray(flow_lph, float)
    mean = float(flow.mean()) if flow.size else 0.0
    if mean <= 0:
        return float("nan")
    made = max(0.0, 100.0 * (1.0 - 1.27 * variation / per_plant**0.5))
    return float(made * flow.min() / mean)


def class_of(uniformity: float) -> str:
    """Return the word for an emission uniformity [%]; empty for NaN.

    >>> [class_of(eu) for eu in (95, 84.3, 71, 20, float("nan"))]
    ['excellent', 'good', 'fair', 'poor', '']
    """
    return next((word for least, word in CLASSES if uniformity >= least), "")


def variation_class(variation: float) -> str:
    """Return the word for a coefficient of manufacturing variation of point emitters.

    >>> [variation_class(cv) for cv in (0.03, 0.06, 0.2)]
    ['excellent', 'average', 'unacceptable']
    """
    return next(word for most, word in VARIATION_CLASSES if variation <= most)


def spread(values: ArrayLike) -> float:
    """Return by how much the least of some pressures or flows falls short of the greatest, as a share of it.

    >>> round(spread([8.0, 10.0]), 3)
    0.2
    """
    given = np.asarray(values, float)
    most = float(given.max(initial=0.0))
    return 1.0 - float(given.min()) / most if most > 0 else 0.0


def statistical_spread(flow_lph: ArrayLike, variation: float = 0.0) -> float:
    """Return the coefficient of variation of emitters' flows, manufacture and hydraulics together.

    The two are independent, so their squares add (Bralts, Wu and Gitlin 1981); statistical uniformity is 100 (1 - V).

    Parameters
    ----------
    flow_lph : (m,) array_like
        Flow of each emitter as reckoned for perfect emitters [l/h].
    variation : float
        Coefficient of manufacturing variation.

    Returns
    -------
    float
        Standard deviation over mean; NaN where nothing is given.

    Examples
    --------
    >>> statistical_spread([3.0, 3.0], 0.05)
    0.05
    """
    flow = np.asarray(flow_lph, float)
    if not flow.size or flow.mean() <= 0:
        return float("nan")
    return float(np.hypot(flow.std() / flow.mean(), variation))


def flow_share(pressure_share: ArrayLike, exponent: ArrayLike) -> Floats:
    """Return the share of its flow that an emitter gives at a share of its pressure: p^x.

    >>> flow_share(0.9, [0.5, 0.0, 1.0]).round(3)
    array([0.949, 1.   , 0.9  ])
    """
    return np.asarray(np.asarray(pressure_share, float) ** np.asarray(exponent, float))
