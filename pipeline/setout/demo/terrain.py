"""The lie of the demo property's land: an invented valley, as a formula.

Everything is in US survey feet from the property's own corner mark: x east, y north, heights above the
survey's datum. The creek runs east along the valley floor; north of it the ground climbs a bank too steep to
farm, then a shelf, then a rounded hill; south of it the ground rises gently. All of it is smooth.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Pair = tuple[float, float]

FLOOR_FT: Final = 512.0
"""Height of the creek at the corner mark's meridian [ftUS]."""
BANK_FT: Final = 24.0
"""Rise of the bank north of the creek [ftUS]."""


def creek_y(x: Floats) -> Floats:
    """Return where the creek runs.

    Parameters
    ----------
    x : Floats
        Distances east of the corner mark [ftUS].

    Returns
    -------
    Floats
        Distances north of the corner mark [ftUS].

    Examples
    --------
    >>> float(creek_y(np.array([0.0]))[0])
    360.0
    """
    return 360.0 - 0.12 * x + 38.0 * np.sin(x / 150.0) + 14.0 * np.sin(x / 61.0)


def heights(x: Floats, y: Floats) -> Floats:
    """Return the height of the ground.

    Parameters
    ----------
    x, y : Floats
        Distances east and north of the corner mark [ftUS]; shapes that broadcast together.

    Returns
    -------
    Floats
        Heights [ftUS], unrounded.

    Examples
    --------
    The bank is far steeper than a tractor may work, the shelf above it is not:

    >>> x, y = np.full(3, 700.0), creek_y(np.full(3, 700.0)) + np.array([20.0, 70.0, 300.0])
    >>> rise = heights(x, y + 1.0) - heights(x, y - 1.0)
    >>> [bool(slope > 0.15) for slope in rise / 2.0]
    [False, True, False]
    """
    north = y - creek_y(x)
    channel = -3.0 * np.exp(-((north / 9.0) ** 2))
    bank = BANK_FT * _ramp(north, 30.0, 135.0)
    south = 0.055 * _beyond(-north, 40.0)
    shelf = 0.022 * _beyond(north, 100.0)
    hill = _knoll(x, y, (330.0, 1010.0), (240.0, 200.0), 48.0)
    rise = _knoll(x, y, (1330.0, 1120.0), (300.0, 190.0), 26.0)
    draw = -13.0 * np.exp(-(((x - 830.0 - 0.25 * (y - 900.0)) / 62.0) ** 2)) * _ramp(y, 820.0, 1150.0)
    ripple = 0.9 * np.sin(x / 43.0 + 0.6) * np.sin(y / 51.0) + 0.5 * np.sin((x + y) / 29.0)
    result: Floats = FLOOR_FT - 0.011 * x + channel + bank + south + shelf + hill + rise + draw + ripple
    return result


def _ramp(value: Floats, start: float, end: float) -> Floats:
    """Climb smoothly from 0 at start to 1 at end."""
    t = np.clip((value - start) / (end - start), 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


def _beyond(value: Floats, start: float) -> Floats:
    """Return how far value lies beyond start, with a rounded corner 20 ft wide."""
    return 20.0 * np.logaddexp(0.0, (value - start) / 20.0)


def _knoll(x: Floats, y: Floats, centre: Pair, spread: Pair, height: float) -> Floats:
    """Return a rounded hill."""
    return height * np.exp(-0.5 * (((x - centre[0]) / spread[0]) ** 2 + ((y - centre[1]) / spread[1]) ** 2))
