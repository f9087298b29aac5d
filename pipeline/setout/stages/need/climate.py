"""The climate of the site by month: reference evapotranspiration and rain, from the plan file or a climate file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from setout.model import Finding, Floats, Ints, NeedSettings, Weather
from setout.model.need import MONTHS
from setout.stages.need.reference import HARGREAVES_SAMANI, reference_of
from setout.tables.crops import DAYS, warm_days

MUCH: Final = 12.0
"""Monthly mean reference evapotranspiration that only the hottest deserts reach [mm/day] (common knowledge)."""


@dataclass(frozen=True, slots=True)
class Climate:
    """What the need is reckoned from.

    Attributes
    ----------
    eto_mm : by month [mm/day]; empty where only a peak is known
    rain_mm : by month [mm]; empty where none is known
    peak_mm : greatest reference evapotranspiration [mm/day]; NaN where nothing is known
    method, taken : codes of how it was had, and of what was taken where it was not measured
    warm : first day of the year that is warm enough for leaves, and how many there are; None where temperatures do not tell
    findings : what was taken
    """

    eto_mm: tuple[float, ...]
    rain_mm: tuple[float, ...]
    peak_mm: float
    method: str
    taken: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    warm: tuple[int, int] | None = None


def climate_of(weather: Weather | None, settings: NeedSettings, latitude: float, elevation: float) -> Climate:
    """Return the climate by month; what the plan file gives goes before the climate file."""
    eto, findings = np.asarray(settings.eto_mm, float), list(weather.findings if weather is not None else ())
    method, taken = "by_plan", tuple[str, ...]()
    if not eto.size and weather is not None:
        found = reference_of(weather, latitude, elevation)
        eto, method, taken = monthly_mean(found.eto_mm, weather.month), found.method, found.taken
        if taken or method == HARGREAVES_SAMANI:
            findings.append(Finding("need_weather_taken", "note", figures={"source": weather.source, "method": method, "taken": taken}))
    if not np.isfinite(eto).any():
        findings.append(Finding("need_no_weather", "note"))
        return Climate((), (), float("nan"), "", findings=tuple(findings))
    peak = float(np.nanmax(eto))
    if peak > MUCH:
        findings.append(Finding("need_much_eto", "warn", figures={"eto_mm": peak, "much_mm": MUCH}))
    findings += _gaps(eto)
    by_month = tuple(eto.tolist()) if eto.size == 12 and np.isfinite(eto).all() else ()
    return Climate(by_month, _rain(weather, settings), peak, method, taken, tuple(findings), _warm(weather))


def _warm(weather: Weather | None) -> tuple[int, int] | None:
    """Return the warm season, where the climate file has the temperatures of all months."""
    if weather is None or weather.tmin_c is None or weather.tmax_c is None:
        return None
    mean = monthly_mean((weather.tmin_c + weather.tmax_c) / 2, weather.month)
    return warm_days(mean.tolist()) if np.isfinite(mean).all() else None


def _gaps(eto: Floats) -> list[Finding]:
    """Tell of months that nothing is known of."""
    if eto.size == 1:
        return [Finding("need_peak_only", "note")]
    missing = tuple(MONTHS[k] for k in range(12) if not np.isfinite(eto[k]))
    return [Finding("need_month_missing", "warn", figures={"months": missing})] if missing else []


def _rain(weather: Weather | None, settings: NeedSettings) -> tuple[float, ...]:
    if settings.rain_mm:
        return settings.rain_mm
    if weather is None or weather.rain_mm is None:
        return ()
    mean = monthly_mean(weather.rain_mm, weather.month)
    mean = mean * np.asarray(DAYS) if weather.step == "day" else mean
    return tuple(mean.tolist()) if np.isfinite(mean).all() else ()


def monthly_mean(values: Floats, month: Ints) -> Floats:
    """Return the means of the calendar months.

    >>> monthly_mean(np.array([1.0, 3.0, 5.0]), np.array([1, 1, 2]))[:3].tolist()
    [2.0, 5.0, nan]
    """
    count = np.bincount(month - 1, minlength=12)[:12].astype(float)
    total = np.bincount(month - 1, weights=values, minlength=12)[:12]
    return np.asarray(np.divide(total, count, out=np.full(12, np.nan), where=count > 0))
