"""How evenly emitters give: emission uniformity and its class."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

CLASSES: Final = ((90.0, "excellent"), (80.0, "good"), (70.0, "fair"), (0.0, "poor"))
"""Emission uniformity [%] from which each class holds (usual practice; the steps of ASAE EP458 are of this kind)."""


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
