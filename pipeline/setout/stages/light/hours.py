"""Hours of direct sun on canopies: crowns by the clock, walls by how squarely the sun meets their sides."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from setout.geometry.sky.skyline import Bodies, Singles, Views
from setout.geometry.sky.sun import SunPath
from setout.geometry.sky.sunlight import Horizon, sunlight


def hours_on(
    views: Views, bodies: Bodies, path: SunPath, horizon: Horizon | None = None, more: Callable[[int], None] | None = None
) -> tuple[Singles, Singles]:
    """Return the hours of direct sun on canopies; ``more`` hears how many have been done since."""
    morning, afternoon = sunlight(views, bodies, path, horizon, more=more)
    if views.facing is not None:
        sides = np.where(np.isfinite(views.facing[:, 0]), np.float32(2.0), np.float32(1.0))
        morning, afternoon = morning * sides, afternoon * sides
    return morning, afternoon
