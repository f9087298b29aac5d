"""What plants use of the reference: crop coefficient by month, and the ground that draws water."""

from __future__ import annotations

from typing import Final

import numpy as np

from setout.model import Floats
from setout.model.need import CanopyFactor
from setout.tables.crops import DAYS, Coefficients, Season

FULL_COVER: Final = 0.85
"""Share of shaded ground from which an orchard uses as much as a full cover (Keller and Karmeli 1974)."""


def kc_by_day(kc: Coefficients, season: Season) -> Floats:
    """Return the crop coefficient of every day of a common year.

    >>> from setout.tables.crops import coefficients_of, season_of
    >>> daily = kc_by_day(coefficients_of("apple", 0.95), season_of("deciduous", 38.0, (3, 1)))
    >>> daily[[0, 60, 200]].tolist(), round(float(daily[59 + 240 - 1]), 2)
    ([0.0, 0.45, 0.95], 0.7)
    """
    ends = np.cumsum([season.ini, season.dev, season.mid, season.late])
    day = np.arange(1, ends[-1] + 1)
    inside = np.interp(day, [0, *ends], [kc.ini, kc.ini, kc.mid, kc.mid, kc.end])
    year = np.full(365, kc.ini if season.evergreen else 0.0)
    year[(season.start + day[:365] - 1) % 365] = inside[:365]
    return year


def kc_by_month(kc: Coefficients, season: Season) -> tuple[float, ...]:
    """Return the mean crop coefficient of the months, January to December."""
    parts = np.split(kc_by_day(kc, season), np.cumsum(DAYS)[:-1])
    return tuple(float(part.mean()) for part in parts)


def canopy_factor(shaded: float, method: CanopyFactor = "keller-karmeli") -> float:
    """Return the share of the use of a full cover that plants of a smaller cover have.

    >>> round(canopy_factor(0.5), 2), canopy_factor(0.4, "fereres"), canopy_factor(0.4, "canopy")
    (0.59, 0.8, 0.4)
    """
    by = {"keller-karmeli": 1 / FULL_COVER, "fereres": 2.0, "canopy": 1.0}[method]
    return float(np.minimum(shaded * by, 1.0))


def drawing_m2(canopy_m2: float, ground_m2: float, method: CanopyFactor) -> float:
    """Return the ground that is reckoned to draw water for one plant.

    >>> drawing_m2(8.5, 20.0, "keller-karmeli"), drawing_m2(8.5, float("nan"), "keller-karmeli")
    (10.0, 10.0)
    """
    if not np.isfinite(ground_m2):
        return float(canopy_m2 * canopy_factor(0.5, method) / 0.5)
    if not ground_m2 > 0:
        return float("nan")
    return ground_m2 * canopy_factor(canopy_m2 / ground_m2, method)


def gross(net: float, efficiency: float, leaching: float = 0.0) -> float:
    """Return what has to be given for a net need: net / (efficiency x (1 - leaching fraction)) (FAO Paper 29).

    >>> round(gross(91.2, 0.9), 2), round(gross(90.0, 0.9, 0.1), 2)
    (101.33, 111.11)
    """
    return net / (efficiency * (1 - leaching))
