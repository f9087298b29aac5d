"""How tall the rows of a block may grow beside each other."""

from __future__ import annotations

import math
from typing import Final

ROWS_TO_HEIGHT: Final = {"north-south": 1.3, "east-west": 1.5}
"""Least distance between rows over the height of their trees (R. Perry, J. Hull and J. Clements, Apple Scion/Rootstock
Selection and Planning, Michigan State University)."""


def height_between(row_distance_m: float, bearing_deg: float) -> tuple[float, str]:
    """Return how tall trees may grow in rows beside each other.

    Rows 16 ft apart:

    >>> [(round(height_between(16 * 0.3048, at)[0] / 0.3048, 1), height_between(16, at)[1]) for at in (170, 80)]
    [(12.3, 'north-south'), (10.7, 'east-west')]
    """
    turned = abs(math.sin(math.radians(bearing_deg))) > math.sqrt(0.5)
    way = "east-west" if turned else "north-south"
    return row_distance_m / ROWS_TO_HEIGHT[way], way
