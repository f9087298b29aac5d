"""Which days light is reckoned for."""

from __future__ import annotations

from datetime import date

from setout.geometry.sun import SunPath
from setout.nouns import SunDays
from setout.nouns.shade import LightPlan

YEAR = 2026
"""The sun's way on a day of the calendar differs by a quarter of a degree from year to year; this one stands for all."""
NORTH, SOUTH = (4, 10), (10, 4)
"""First and last month of the growing season where the plan does not say (common practice)."""


def season_days(wanted: LightPlan, latitude: float) -> tuple[date, ...]:
    """Return the days: those the plan names, or the 21st of each month of the growing season.

    Parameters
    ----------
    wanted : LightPlan
        What the plan file says.
    latitude : float
        North positive [deg].

    Returns
    -------
    tuple of date
        In the order of the season.

    Examples
    --------
    >>> [day.month for day in season_days(LightPlan(), 40.0)]
    [4, 5, 6, 7, 8, 9, 10]
    >>> [day.month for day in season_days(LightPlan(season=(11, 2)), -30.0)]
    [11, 12, 1, 2]
    """
    if wanted.days:
        return wanted.days
    first, last = wanted.season or (NORTH if latitude >= 0 else SOUTH)
    return tuple(date(YEAR, (first + k - 1) % 12 + 1, 21) for k in range((last - first) % 12 + 1))


def sun_days(path: SunPath) -> SunDays:
    """Return the days of a path of the sun, with the lengths of their halves.

    Parameters
    ----------
    path : SunPath
        Positions.

    Returns
    -------
    SunDays
        Dates, months and hours.
    """
    import numpy as np

    morning, afternoon = path.by_half()
    months = np.array([day.month for day in path.dates], np.int64)
    return SunDays(tuple(day.isoformat() for day in path.dates), months, morning, afternoon)
