"""Hours of pruning: what a plant takes in a year, by habit, size and pruning load.

The figures are in ``labour.csv`` beside this module. They are rules of thumb from memory, and say so: a grower who has
counted hours gives a table of the same columns instead. Between a plant that keeps its room and one of which all comes off
hours follow the load in a straight line, which is the simplest that can be said of them.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Final

from setout.units import FOOT

HABITS: Final = ("tree", "shrub", "vine", "cane")
_COLUMNS: Final = ("hours_at_0_pct", "hours_at_100_pct")


@dataclass(frozen=True, slots=True)
class Rate:
    """Hours that one plant takes in a year.

    Attributes
    ----------
    habit, size : tree, shrub, vine or cane; a word for the size
    height_max_m : tallest plant that it holds for [m]; inf for any
    bare_h, full_h : at a pruning load of 0 and of 1 [h/year]
    source : where the figures come from
    """

    habit: str
    size: str
    height_max_m: float
    bare_h: float
    full_h: float
    source: str

    def hours(self, canopies: float, load: float) -> float:
        """Return the hours of some canopies whose pruning loads add up to a load.

        >>> Rate("tree", "any", math.inf, 0.25, 1.25, "").hours(10, 5.0)
        7.5
        """
        return self.bare_h * canopies + (self.full_h - self.bare_h) * load


@lru_cache(maxsize=1)
def rates() -> tuple[Rate, ...]:
    """Return the rates that hold where the grower gives none.

    Returns
    -------
    tuple of Rate
        One a row of the table.
    """
    return parse(resources.files("setout.tables").joinpath("labour.csv").read_text(encoding="utf-8"))


def parse(text: str) -> tuple[Rate, ...]:
    r"""Read a table of rates.

    Parameters
    ----------
    text : str
        CSV with the columns habit, size, height_max_ft (empty for any), hours_at_0_pct, hours_at_100_pct (hours a plant
        and year where nothing has to come off, and where everything would have to; not below 0) and source.

    Returns
    -------
    tuple of Rate
        In the order of the table.

    Raises
    ------
    ValueError
        A column is missing, or figures are none; a line for each says which row and what to write.

    Examples
    --------
    >>> parse("habit,size,height_max_ft,hours_at_0_pct,hours_at_100_pct,source\ntree,any,,0.2,1,own")[0].full_h
    1.0
    >>> parse("habit,size\ntree,any")
    Traceback (most recent call last):
    ValueError: the table of rates lacks the column "height_max_ft"; its columns are habit, height_max_ft, hours_at_0_pct, hours_at_100_pct
    """
    lines = text.splitlines()
    # spreadsheets of many countries write semicolons
    table = csv.DictReader(lines, delimiter=max(",;\t", key=lines[0].count) if lines else ",")
    needed = ("habit", "height_max_ft", *_COLUMNS)
    missing = [name for name in needed if name not in (table.fieldnames or ())]
    if missing:
        raise ValueError(f'the table of rates lacks the column "{missing[0]}"; its columns are {", ".join(needed)}')
    found, faults = [], []
    for row in table:
        try:
            found.append(_rate(row, table.line_num))
        except ValueError as error:
            faults.append(str(error))
    if faults or not found:
        raise ValueError("\n".join(faults) or "the table of rates has no line; add one for each habit and size")
    return tuple(found)


def _rate(row: dict[str, str | None], number: int) -> Rate:
    habit = (row["habit"] or "").strip().lower()
    if habit not in HABITS:
        raise ValueError(f'line {number}: "{row["habit"]}" is no habit; write one of {", ".join(HABITS)}')
    tallest = _figure(row, "height_max_ft", number) * FOOT if (row["height_max_ft"] or "").strip() else math.inf
    bare, full = (_figure(row, name, number) for name in _COLUMNS)
    source = (row.get("source") or "grower's own").strip()
    return Rate(habit, (row.get("size") or "any").strip(), tallest, bare, full, source)


def _figure(row: dict[str, str | None], name: str, number: int) -> float:
    text = (row[name] or "").strip()
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and value >= 0):
        raise ValueError(f'line {number}: {name} = "{text}" is no number of 0 or more; write such as 0.25')
    return value


def rate_for(habit: str, height_m: float, own: Sequence[Rate] = ()) -> Rate | None:
    """Find the rate of a plant: the grower's own where it has one, else that of the table.

    Parameters
    ----------
    habit : str
        Tree, shrub, vine or cane.
    height_m : float
        Height it is kept at [m]; NaN unknown.
    own : Sequence of Rate
        The grower's rates.

    Returns
    -------
    Rate or None
        The row of the smallest size that holds the plant; None where the height is unknown and the rates differ by it.

    Examples
    --------
    >>> rate_for("tree", 4.5).size, rate_for("vine", float("nan")).size, rate_for("tree", float("nan"))
    ('medium', 'any', None)
    """
    for table in (own, rates()):
        of_habit = sorted((rate for rate in table if rate.habit == habit), key=lambda rate: rate.height_max_m)
        if len(of_habit) == 1 and math.isinf(of_habit[0].height_max_m):
            return of_habit[0]
        for rate in of_habit:
            if height_m <= rate.height_max_m + 1e-9:
                return rate
        if of_habit and math.isnan(height_m):
            return None
    return None
