"""The lie of the demo property's land: an invented lake bench, as a formula.

Places are in international feet from the property's own corner mark, x east, y north; heights are metres above the
survey's datum, as public lidar has them. From the lake in the west the ground climbs a beach, a low terrace, a bluff
too steep to farm, a wide bench that was a shore once, a hillside and a ridge. A spring-fed creek has cut a ravine
along the south of it. All of it is smooth but for the water's edge, for water is level.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Pair = tuple[float, float]

FOOT: Final = 0.3048
"""The international foot [m]."""
LAKE_M: Final = 181.4
"""Height of the lake [m]."""
BLUFF_M: Final = 8.6
"""Rise of the bluff between the low terrace and the bench [m]."""
BLUFF_FT: Final = 124.0
"""Width of the bluff from its foot to its crest [ft]."""


def shore_x(y: Floats) -> Floats:
    """Return where the water's edge runs.

    >>> 40 < float(shore_x(np.array([450.0]))[0]) < 160
    True
    """
    return 96.0 + 34.0 * np.sin(y / 165.0 + 0.4) + 11.0 * np.sin(y / 57.0)


def bluff_x(y: Floats) -> Floats:
    """Return where the foot of the bluff runs: an older shore, cut back where the creek comes out."""
    return 352.0 + 38.0 * np.sin(y / 236.0 + 2.6) + 9.0 * np.sin(y / 83.0) + 130.0 * np.exp(-(((y - 62.0) / 74.0) ** 2))


def creek_y(x: Floats) -> Floats:
    """Return where the creek runs.

    >>> float(creek_y(np.array([0.0]))[0])
    74.0
    """
    return 74.0 + 22.0 * np.sin(x / 176.0) + 13.0 * np.sin(x / 61.0)


def heights(x: Floats, y: Floats) -> Floats:
    """Return the height of the ground.

    The bluff is far steeper than a tractor may work, the bench above it is not:

    >>> x, y = bluff_x(np.full(3, 700.0)) + np.array([-60.0, 62.0, 400.0]), np.full(3, 700.0)
    >>> rise = heights(x + 1.0, y) - heights(x - 1.0, y)
    >>> [bool(slope > 0.15) for slope in rise / (2.0 * FOOT)]
    [False, True, False]
    """
    inland = x - shore_x(y)
    beach = 1.2 * _ramp(inland, 0.0, 55.0) + FOOT * 0.013 * _beyond(inland, 60.0)
    bluff = BLUFF_M * _ramp(x - bluff_x(y), 0.0, BLUFF_FT)
    bench = FOOT * 0.014 * _beyond(x - bluff_x(y), BLUFF_FT + 20.0)
    uphill = x - 1150.0 - 62.0 * np.sin(y / 214.0 + 0.9)
    hill = FOOT * (0.078 * _beyond(uphill, 0.0) - 0.068 * _beyond(uphill, 500.0))
    swell = _knoll(x, y, (1840.0, 250.0), (190.0, 210.0), 2.6) + _knoll(x, y, (1490.0, 760.0), (150.0, 130.0), 1.5)
    ripple = 0.16 * np.sin(x / 71.0 + 0.6) * np.sin(y / 64.0) + 0.09 * np.sin((x + 1.7 * y) / 47.0)
    dry = beach + bluff + bench + hill + swell + ripple * _ramp(inland, 40.0, 160.0)
    floor = 0.2 + FOOT * (0.030 * _beyond(inland, 0.0) + 0.11 * _beyond(inland, 1080.0))
    ravine = floor + FOOT * 0.42 * _beyond(np.abs(y - creek_y(x)), 4.0, 3.0)
    result: Floats = LAKE_M + np.where(inland > 0.0, np.maximum(_lower(dry, ravine), 0.0), 0.0)
    return result


def _ramp(value: Floats, start: float, end: float) -> Floats:
    """Climb smoothly from 0 at start to 1 at end."""
    t = np.clip((value - start) / (end - start), 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


def _beyond(value: Floats, start: float, corner: float = 20.0) -> Floats:
    """Return how far value lies beyond start, with a corner rounded over so much [ft]."""
    return corner * np.logaddexp(0.0, (value - start) / corner)


def _lower(one: Floats, other: Floats, edge: float = 0.35) -> Floats:
    """Return the lower of two heights, their edge rounded over so much [m]."""
    return -edge * np.logaddexp(-one / edge, -other / edge)


def _knoll(x: Floats, y: Floats, centre: Pair, spread: Pair, height: float) -> Floats:
    """Return a rounded rise of so much height [m]."""
    return height * np.exp(-0.5 * (((x - centre[0]) / spread[0]) ** 2 + ((y - centre[1]) / spread[1]) ** 2))
