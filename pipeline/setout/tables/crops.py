"""Crop coefficients and growing seasons: how much of the reference a plant uses, and when.

The figures are in ``crop_coefficients.csv`` and ``growing_seasons.csv`` beside this module: FAO Irrigation and Drainage
Paper 56 (Allen, Pereira, Raes and Smith 1998), Tables 12 and 11. When plants that lose their leaves have them is not in a
table: the grower says when they come into leaf, or the temperatures of a climate file tell it.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib import resources
from typing import Final

import numpy as np

EVERGREEN: Final = frozenset({"loquat", "feijoa"})
"""Species that keep their leaves and have no row in FAO-56 Table 12."""
OWN: Final = "yours"
WARM_C: Final = 10.0
"""Mean temperature from which on fruit plants are in leaf [deg C]: the 50 F that degree days of vines and orchards are counted
from (Amerine and Winkler 1944), and the 10 C that bounds the growing season of trees in the classes of Koppen (from memory)."""
LENGTH_TAKEN: Final = ", from your leaf-out"
"""How the source of a season ends whose start is the grower's and whose length is the table's."""
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


def season_of(leaves: str, latitude: float, leaf_out: tuple[int, int] | None = None, warm: tuple[int, int] | None = None) -> Season | None:
    """Return the growing season.

    Plants that lose their leaves have them from leaf-out to the end of the warm season. How that time parts into stages is in
    Table 11, whose rows for one crop are of seasons of several lengths: between these the stages run straight, so that no
    figure jumps from one place to the next; shorter and longer seasons are cut in proportion.

    Parameters
    ----------
    leaves : str
        Of :class:`Coefficients`.
    latitude : float
        Where it grows [deg]; plants that keep their leaves start half a year later south of the equator.
    leaf_out : tuple of int, optional
        Month and day in which plants that lose their leaves get them again.
    warm : tuple of int, optional
        First day of the year that is warm enough for leaves, 0 for 1 January, and how many there are.

    Returns
    -------
    Season or None
        Its start and stages; with leaf-out alone as long as the middle row of the table, and None for plants that lose their
        leaves where neither is known.

    Examples
    --------
    >>> season_of("deciduous", 38.0, (4, 1)).start, season_of("deciduous", 38.0, warm=(100, 200)).start
    (90, 100)
    >>> season_of("deciduous", 38.0) is None, season_of("olive", -38.0).start
    (True, 243)
    """
    rows = [row for row in _table("growing_seasons.csv") if row["leaves"] == leaves]
    middle = rows[len(rows) // 2]
    if leaves in ("evergreen", "olive"):
        month = int(middle["month"])
        month = (month + 5) % 12 + 1 if latitude < 0 else month
        return Season(sum(DAYS[: month - 1]), *_printed(middle), evergreen=True, source=middle["source"])
    if leaf_out is None and warm is None:
        return None
    start = warm[0] if warm is not None else 0
    if leaf_out is not None:
        start = sum(DAYS[: leaf_out[0] - 1]) + leaf_out[1] - 1
    if warm is None:
        return Season(start, *_printed(middle), evergreen=False, source=f"{middle['source']}{LENGTH_TAKEN}")
    long = (warm[0] + warm[1] - start - 1) % 365 + 1
    said = "from your leaf-out" if leaf_out is not None else f"from {WARM_C:g} C in spring"
    crop = middle["source"].rpartition(",")[0]
    return Season(start, *_stages(rows, long), evergreen=False, source=f"{crop}, {said} to {WARM_C:g} C in autumn")


def _printed(row: dict[str, str]) -> tuple[int, int, int, int]:
    """Return the lengths of the stages as a row has them [days]."""
    ini, dev, mid, late = (int(row[name]) for name in ("ini", "dev", "mid", "late"))
    return ini, dev, mid, late


def _stages(rows: list[dict[str, str]], long: int) -> tuple[int, int, int, int]:
    """Return the stages of a season of some length, between those of the table [days]."""
    printed = sorted((_printed(row) for row in rows), key=sum)
    totals = [sum(stages) for stages in printed]
    ends = [np.interp(long, totals, [sum(stages[: k + 1]) for stages in printed]) for k in range(4)]
    a, b, c, d = (round(float(end) * long / float(ends[-1])) for end in ends)
    return a, b - a, c - b, d - c


def warm_days(mean_c: Sequence[float]) -> tuple[int, int] | None:
    """Return the warm season of monthly mean temperatures.

    The longest time of the year with a mean of at least :data:`WARM_C`, between the middles of months on straight lines.

    Parameters
    ----------
    mean_c : Sequence of float
        January to December [deg C].

    Returns
    -------
    tuple of int or None
        First day of the year, 0 for 1 January, and how many days; None where every day is warm, or none.

    Examples
    --------
    >>> warm_days([0, 2, 5, 10, 15, 20, 22, 21, 17, 10, 5, 1])
    (105, 184)
    >>> warm_days([25.0] * 12) is None
    True
    """
    middles = np.cumsum((0, *DAYS[:-1])) + np.array(DAYS) / 2
    warm = np.interp(np.arange(365) + 0.5, middles, mean_c, period=365) >= WARM_C
    if warm.all() or not warm.any():
        return None
    first = int(np.argmin(warm))  # a cold day to begin with
    turned = np.concatenate([[0], np.roll(warm, -first).astype(np.int8), [0]])
    begins, ends = np.flatnonzero(np.diff(turned) == 1), np.flatnonzero(np.diff(turned) == -1)
    best = int(np.argmax(ends - begins))
    return (int(begins[best]) + first) % 365, int(ends[best] - begins[best])
