"""Reference evapotranspiration from weather: FAO-56 Penman-Monteith, or Hargreaves-Samani from temperatures alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from setout.errors import Refusal
from setout.model import Floats, Ints, Weather
from setout.stages.need import radiation

USUAL_WIND: Final = 2.0
"""Wind speed where none was measured [m/s] (FAO-56, chapter 3, missing wind speed data)."""
BY_FILE: Final = "by_file"
HARGREAVES_SAMANI: Final = "hargreaves_samani"
PENMAN_MONTEITH: Final = "penman_monteith"
"""How reference evapotranspiration is had, as :data:`setout.words.terms.TERMS` has it."""


@dataclass(frozen=True, slots=True)
class Reference:
    """Reference evapotranspiration of every step of a climate file [mm/day], and codes of how it was had, with what taken."""

    eto_mm: Floats
    method: str
    taken: tuple[str, ...] = ()


def pressure_at(elevation: float) -> float:
    """Return atmospheric pressure [kPa] at an elevation [m] (FAO-56 eq. 7).

    >>> round(pressure_at(1800.0), 1)
    81.8
    """
    return float(101.3 * ((293 - 0.0065 * elevation) / 293) ** 5.26)


def psychrometric(pressure_kpa: float) -> float:
    """Return the psychrometric constant [kPa/deg C] (FAO-56 eq. 8).

    >>> round(psychrometric(81.8), 3)
    0.054
    """
    return 0.000665 * pressure_kpa


def saturation(temperature: Floats) -> Floats:
    """Return saturation vapour pressure [kPa] at a temperature [deg C] (FAO-56 eq. 11).

    >>> round(float(saturation(np.array(24.5))), 3)
    3.075
    """
    return np.asarray(0.6108 * np.exp(17.27 * temperature / (temperature + 237.3)))


def slope_of_saturation(temperature: Floats) -> Floats:
    """Return the slope of the saturation vapour pressure curve [kPa/deg C] (FAO-56 eq. 13)."""
    return np.asarray(4098 * saturation(temperature) / (temperature + 237.3) ** 2)


def wind_at_2m(speed: Floats, height: float) -> Floats:
    """Return wind speed at 2 m from that at another height [m] over grass (FAO-56 eq. 47).

    >>> round(float(wind_at_2m(np.array(3.2), 10.0)), 1), float(wind_at_2m(np.array(3.2), 2.0))
    (2.4, 3.2)
    """
    return np.asarray(speed if height == 2.0 else speed * 4.87 / np.log(67.8 * height - 5.42))


def vapour_pressure(weather: Weather) -> tuple[Floats, str]:
    """Return actual vapour pressure [kPa] from what was measured, the best first, and what that is."""
    tmin, tmax = _temperatures(weather)
    if weather.tdew_c is not None:
        return saturation(weather.tdew_c), "dew_point"
    low, high = saturation(tmin), saturation(tmax)
    if weather.rh_max is not None and weather.rh_min is not None:
        return (low * weather.rh_max + high * weather.rh_min) / 200, "humidity"
    if weather.rh_max is not None:
        return low * weather.rh_max / 100, "greatest_humidity"
    if weather.rh_mean is not None:
        return weather.rh_mean / 100 * (low + high) / 2, "mean_humidity"
    return low, ""


def soil_heat(weather: Weather) -> Floats:
    """Return soil heat flux [MJ/m2/day]: 0 by day, by month from the months around (FAO-56 eqs. 42 to 44)."""
    tmin, tmax = _temperatures(weather)
    mean, size = (tmin + tmax) / 2, len(weather)
    if weather.step == "day" or size < 2:
        return np.zeros(size)
    order = np.arange(size)
    number = weather.year.astype(np.int64) * 12 + weather.month
    whole_year = size == 12 and np.array_equal(np.sort(weather.month), np.arange(1, 13))
    before, after = (order - 1) % size, (order + 1) % size
    follows = (number - number[before] == 1) | whole_year
    goes_on = (number[after] - number == 1) | whole_year
    both, one = 0.07 * (mean[after] - mean[before]), 0.14 * (mean - mean[before])
    return np.where(follows & goes_on, both, np.where(follows, one, 0.0))


def penman_monteith(temperature: Floats, energy: Floats, wind: Floats, deficit: Floats, gamma: float) -> Floats:
    """Return reference evapotranspiration by the FAO Penman-Monteith equation."""
    slope = slope_of_saturation(temperature)
    top = 0.408 * slope * energy + gamma * 900 / (temperature + 273) * wind * deficit
    return np.asarray(np.maximum(top / (slope + gamma * (1 + 0.34 * wind)), 0.0))


def hargreaves_samani(tmin: Floats, tmax: Floats, ra: Floats) -> Floats:
    """Return reference evapotranspiration from temperatures alone.

    >>> round(float(hargreaves_samani(np.array(14.8), np.array(26.6), np.array(40.55))), 1)
    5.0
    """
    mean = (tmin + tmax) / 2
    return np.asarray(np.maximum(0.0023 * (mean + 17.8) * np.sqrt(np.maximum(tmax - tmin, 0.0)) * 0.408 * ra, 0.0))


def reference_of(weather: Weather, latitude: float, elevation: float) -> Reference:
    """Return reference evapotranspiration for every day or month of a climate file."""
    if weather.eto_mm is not None:
        return Reference(weather.eto_mm, BY_FILE)
    tmin, tmax = _temperatures(weather)
    day = day_of_year(weather)
    ra = radiation.extraterrestrial(latitude, day)
    ea, moist = vapour_pressure(weather)
    sunny = weather.solar_mj is not None or weather.sunshine_h is not None
    if not (moist or sunny or weather.wind_m_s is not None):
        return Reference(hargreaves_samani(tmin, tmax, ra), HARGREAVES_SAMANI)
    taken = []
    if weather.solar_mj is not None:
        rs = weather.solar_mj
    elif weather.sunshine_h is not None:
        rs = radiation.solar_from_sunshine(weather.sunshine_h, radiation.daylight_hours(latitude, day), ra)
    else:
        rs = radiation.solar_from_temperature(tmin, tmax, ra)
        taken.append("radiation_by_range")
    if not moist:
        taken.append("lowest_as_dew_point")
    wind = np.full(len(weather), USUAL_WIND)
    if weather.wind_m_s is not None:
        wind = wind_at_2m(weather.wind_m_s, weather.wind_height_m)
    else:
        taken.append("usual_wind")
    clear = radiation.clear_sky(elevation, ra)
    rs = np.minimum(rs, clear) if weather.solar_mj is None else rs
    share = np.divide(rs, clear, out=np.full(len(weather), 0.5), where=clear > 0.05)
    net = (1 - radiation.ALBEDO) * rs - radiation.net_longwave(tmin, tmax, ea, share)
    deficit = np.maximum((saturation(tmin) + saturation(tmax)) / 2 - ea, 0.0)
    gamma = psychrometric(pressure_at(elevation))
    eto = penman_monteith((tmin + tmax) / 2, net - soil_heat(weather), wind, deficit, gamma)
    return Reference(eto, PENMAN_MONTEITH, tuple(taken))


def day_of_year(weather: Weather) -> Floats:
    """Return the day of the year of every step; of a month the day that stands for it (FAO-56 table 2.5)."""
    if weather.step == "month":
        return radiation.middle_day(weather.month.astype(float))
    year = np.where(weather.year > 0, weather.year, 2001).astype(np.int64)
    date = (year - 1970).astype("datetime64[Y]").astype("datetime64[M]") + (weather.month - 1).astype("timedelta64[M]")
    days: Ints = (date.astype("datetime64[D]") - (year - 1970).astype("datetime64[Y]").astype("datetime64[D]")).astype(np.int64)
    return (days + weather.day).astype(float)


def _temperatures(weather: Weather) -> tuple[Floats, Floats]:
    if weather.tmin_c is None or weather.tmax_c is None:
        raise Refusal("weather_without_temperatures", file=weather.source)
    return weather.tmin_c, weather.tmax_c
