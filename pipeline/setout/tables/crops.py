"""Crop coefficients and growing seasons: how much of the reference a plant uses, and when.

The figures are in ``crop_coefficients.csv`` and ``growing_seasons.csv`` beside this module: FAO Irrigation and Drainage
Paper 56 (Allen, Pereira, Raes and Smith 1998), Tables 12 and 11. Which season of Table 11 holds where is not said there
for every latitude; the bounds at 30 and 42 degrees are this project's own.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib import resources
from typing import Any, Final

EVERGREEN: Final = frozenset({"loquat", "feijoa"})
"""Species that keep their leaves and have no row in FAO-56 Table 12."""
OWN: Final = "yours"
DAYS: Final = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
"""Days of the months in a common year."""


@dataclass(frozen=True, slots=True)
class Coefficients:
    """Crop coefficients of one crop.

    Attributes
    ----------
    crop : row of FAO-56 Table 12
    ini, mid, end : at the start of the season, in mid-season, at its end
    leaves : which season of ``growing_seasons.csv`` holds
    source : where the figures come from
    """

    crop: str
    ini: float
    mid: float
    end: float
    leaves: str
    source: str


@dataclass(frozen=True, slots=True)
class Season:
    """A growing season as FAO-56 divides it.

    Attributes
    ----------
    start : day of the year on which it starts, 0 for 1 January
    ini, dev, mid, late : lengths of its stages [days]
    evergreen : the coefficient outside the season is that of its start; else there are no leaves, and it is 0
    source : where the lengths come from
    """

    start: int
    ini: int
    dev: int
    mid: int
    late: int
    evergreen: bool
    source: str


@lru_cache(maxsize=2)
def _table(name: str) -> tuple[dict[str, str], ...]:
    text = resources.files("setout.tables").joinpath(name).read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


def _coefficients(row: dict[str, str]) -> Coefficients:
    ini, mid, end = (float(row[name]) for name in ("kc_ini", "kc_mid", "kc_end"))
    return Coefficients(row["crop"], ini, mid, end, row["leaves"], row["source"])


def coefficients_of(species: str, kc_mid: float, *, grass: bool = False, frost: bool = True) -> Coefficients | None:
    """Find the crop coefficients of a plant.

    Parameters
    ----------
    species : str
        As the catalogue names it.
    kc_mid : float
        Coefficient in mid-season that the plant has in the catalogue, or that the grower gave; NaN unknown.
    grass : bool
        The ground between the trees is covered with growing plants.
    frost : bool
        Winters bring killing frost.

    Returns
    -------
    Coefficients or None
        The row of FAO-56 Table 12, scaled where the grower's own mid-season figure is another than the table's; of a
        species without a row the grower's figure all season; None where neither is known.

    Examples
    --------
    >>> found = coefficients_of("apple", 0.95)
    >>> found.ini, found.mid, found.end
    (0.45, 0.95, 0.7)
    >>> coefficients_of("apple", 0.95, grass=True).mid, coefficients_of("fig", 0.8).source
    (1.2, 'yours, the same all season')
    >>> coefficients_of("fig", float("nan")) is None
    True
    """
    rows = [row for row in _table("crop_coefficients.csv") if species in row["species"].split(";")]
    if not rows:
        if kc_mid != kc_mid:
            return None
        leaves = "evergreen" if species in EVERGREEN else "deciduous"
        return Coefficients(species, kc_mid, kc_mid, kc_mid, leaves, f"{OWN}, the same all season")
    ground, winter = "grass" if grass else "bare", "frost" if frost else "mild"
    found = next(_coefficients(r) for r in rows if r["ground"] in (ground, "any") and r["winter"] in (winter, "any"))
    plain = _coefficients(rows[0])
    if kc_mid == kc_mid and abs(kc_mid - plain.mid) > 1e-9:
        return scaled(found, kc_mid)
    return found


def scaled(table: Coefficients, kc_mid: float) -> Coefficients:
    """Return coefficients whose mid-season figure is another; the others keep their proportion to it.

    Parameters
    ----------
    table : Coefficients
        As they stand in the table.
    kc_mid : float
        The grower's figure.

    Returns
    -------
    Coefficients
        All three multiplied alike.

    Examples
    --------
    >>> round(scaled(coefficients_of("apple", 0.95), 1.9).ini, 3)
    0.9
    """
    by = kc_mid / table.mid
    said = f"{OWN} in mid-season, other stages in proportion to {table.source}"
    return replace(table, ini=table.ini * by, mid=kc_mid, end=table.end * by, source=said)


def season_of(leaves: str, latitude: float, leaf_out: tuple[int, int] | None = None) -> Season:
    """Return the growing season.

    Parameters
    ----------
    leaves : str
        Of :class:`Coefficients`.
    latitude : float
        Where it grows [deg]; south of the equator seasons start half a year later.
    leaf_out : tuple of int, optional
        Month and day in which plants that lose their leaves get them again; the table's when absent.

    Returns
    -------
    Season
        Its start and stages.

    Examples
    --------
    >>> season_of("deciduous", 38.0).start, season_of("deciduous", -38.0).start, season_of("deciduous", 38.0, (4, 1)).start
    (59, 243, 90)
    """
    away = min(abs(latitude), 89.999)
    row: Any = next(
        r for r in _table("growing_seasons.csv")
        if r["leaves"] == leaves and float(r["latitude_from"]) <= away < float(r["latitude_to"])
    )  # fmt: skip
    evergreen = leaves in ("evergreen", "olive")
    month, day = int(row["month"]), 1
    if latitude < 0:
        month = (month + 5) % 12 + 1
    if leaf_out is not None and not evergreen:
        month, day = leaf_out
    ini, dev, mid, late = (int(row[name]) for name in ("ini", "dev", "mid", "late"))
    return Season(sum(DAYS[: month - 1]) + day - 1, ini, dev, mid, late, evergreen, row["source"])
