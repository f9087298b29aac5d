"""The days that light is reckoned for, as people read them."""

from __future__ import annotations

import numpy as np

from setout.geometry.sky.sun import SunPath
from setout.model import SunDays


def sun_days(path: SunPath) -> SunDays:
    """Return the days of a path of the sun, with the lengths of their halves."""
    morning, afternoon = path.by_half()
    months = np.array([day.month for day in path.dates], np.int64)
    return SunDays(tuple(day.isoformat() for day in path.dates), months, morning, afternoon)
