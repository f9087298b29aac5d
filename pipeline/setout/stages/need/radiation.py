"""Sun and radiation by day of the year, as FAO Irrigation and Drainage Paper 56, chapter 3, reckons them."""

from __future__ import annotations

from typing import Final

import numpy as np

from setout.model import Floats

SOLAR_CONSTANT: Final = 0.0820
"""Of the sun [MJ/m2/min] (FAO-56 eq. 21)."""
STEFAN_BOLTZMANN: Final = 4.903e-9
"""[MJ/K4/m2/day] (FAO-56 eq. 39)."""
ALBEDO: Final = 0.23
"""Of the reference grass (FAO-56 eq. 38)."""
INTERIOR: Final = 0.16
"""Adjustment coefficient of radiation from temperatures for interior locations (FAO-56 eq. 50); 0.19 on coasts."""


def middle_day(month: Floats) -> Floats:
    """Return the day of the year that stands for a month (FAO-56 table 2.5, J = integer(30.4 M - 15)).

    >>> middle_day(np.array([1.0, 4.0, 12.0])).tolist()
    [15.0, 106.0, 349.0]
    """
    return np.floor(30.4 * np.asarray(month, float) - 15)


def sunset_angle(latitude: float, day: Floats) -> Floats:
    """Return the sunset hour angle [rad] (FAO-56 eq. 25); 0 where the sun does not rise, pi where it does not set."""
    turn = -np.tan(np.radians(latitude)) * np.tan(declination(day))
    return np.asarray(np.arccos(np.clip(turn, -1.0, 1.0)))


def declination(day: Floats) -> Floats:
    """Return the solar declination [rad] on a day of the year (FAO-56 eq. 24).

    >>> round(float(declination(np.array(246.0))), 3)
    0.12
    """
    return np.asarray(0.409 * np.sin(2 * np.pi / 365 * np.asarray(day, float) - 1.39))


def sun_distance(day: Floats) -> Floats:
    """Return the inverse relative distance from earth to sun (FAO-56 eq. 23)."""
    return np.asarray(1 + 0.033 * np.cos(2 * np.pi / 365 * np.asarray(day, float)))


def extraterrestrial(latitude: float, day: Floats) -> Floats:
    """Return the radiation that comes in above the atmosphere.

    >>> round(float(extraterrestrial(-20.0, np.array(246.0))), 1)
    32.2
    """
    phi, delta, sunset = np.radians(latitude), declination(day), sunset_angle(latitude, day)
    daily = sunset * np.sin(phi) * np.sin(delta) + np.cos(phi) * np.cos(delta) * np.sin(sunset)
    return np.asarray(np.maximum(24 * 60 / np.pi * SOLAR_CONSTANT * sun_distance(day) * daily, 0.0))


def daylight_hours(latitude: float, day: Floats) -> Floats:
    """Return the length of the day [h] (FAO-56 eq. 34).

    >>> round(float(daylight_hours(-20.0, np.array(246.0))), 1)
    11.7
    """
    return np.asarray(24 / np.pi * sunset_angle(latitude, day))


def solar_from_sunshine(hours: Floats, daylight: Floats, ra: Floats) -> Floats:
    """Return solar radiation [MJ/m2/day] from hours of bright sunshine (FAO-56 eq. 35, a 0.25, b 0.50)."""
    share = np.clip(np.divide(hours, daylight, out=np.zeros_like(np.asarray(ra, float)), where=daylight > 0), 0.0, 1.0)
    return np.asarray((0.25 + 0.50 * share) * ra)


def solar_from_temperature(tmin: Floats, tmax: Floats, ra: Floats, adjust: float = INTERIOR) -> Floats:
    """Return solar radiation [MJ/m2/day] from the range of temperature [deg C] (FAO-56 eq. 50)."""
    return np.asarray(adjust * np.sqrt(np.maximum(tmax - tmin, 0.0)) * ra)


def clear_sky(elevation: float, ra: Floats) -> Floats:
    """Return solar radiation under a clear sky [MJ/m2/day] at an elevation [m] (FAO-56 eq. 37)."""
    return np.asarray((0.75 + 2e-5 * elevation) * ra)


def net_longwave(tmin: Floats, tmax: Floats, ea: Floats, cloudiness: Floats) -> Floats:
    """Return net outgoing longwave radiation.

    >>> values = (np.array(v) for v in (19.1, 25.1, 2.1, 14.5 / 18.8))
    >>> round(float(net_longwave(*values)), 1)
    3.5
    """
    fourth = ((tmax + 273.16) ** 4 + (tmin + 273.16) ** 4) / 2
    cloud = np.clip(1.35 * np.minimum(cloudiness, 1.0) - 0.35, 0.05, 1.0)
    return np.asarray(STEFAN_BOLTZMANN * fourth * (0.34 - 0.14 * np.sqrt(ea)) * cloud)
