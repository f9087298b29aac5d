"""Effective rain: the part of a month's rain that plants use."""

from __future__ import annotations

from typing import Final

from setout.model.need import RainMethod

INCH_MM: Final = 25.4


def effective_rain(rain_mm: float, use_mm: float, method: RainMethod = "scs", depth_mm: float = 75.0) -> float:
    """Return the effective rain of a month.

    >>> round(effective_rain(100.0, 150.0), 1), round(effective_rain(100.0, 150.0, "fao"), 1)
    (73.3, 56.0)
    >>> effective_rain(100.0, 30.0) <= 30.0, effective_rain(100.0, 150.0, "none")
    (True, 0.0)
    """
    if method == "none" or rain_mm <= 0 or use_mm <= 0:
        return 0.0
    if method == "fao":
        found = 0.6 * rain_mm - 10 if rain_mm <= 70 else 0.8 * rain_mm - 24
    else:
        rain, use = rain_mm / INCH_MM, use_mm / INCH_MM
        found = storage_factor(depth_mm) * (0.70917 * rain**0.82416 - 0.11556) * 10 ** (0.02426 * use) * INCH_MM
    return min(max(found, 0.0), rain_mm, use_mm)


def storage_factor(depth_mm: float) -> float:
    """Return the soil water storage factor of the SCS method for a net depth of application [mm].

    >>> round(storage_factor(75.0), 2), round(storage_factor(175.0), 2)
    (1.0, 1.07)
    """
    d = depth_mm / INCH_MM
    return 0.531747 + 0.295164 * d - 0.057697 * d**2 + 0.003804 * d**3
