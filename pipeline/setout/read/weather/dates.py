"""When the rows of a climate file are: dates, months by name or number, days of the year."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from datetime import date, timedelta
from itertools import pairwise
from typing import Final

from setout.errors import Fault
from setout.planfile.need import month_of
from setout.read.weather.columns import shown

When = tuple[int, int, int]
"""Year (0 unsaid), month, day (0 for a whole month)."""
_DATES: Final = (
    (re.compile(r"(?P<y>\d{4})[-/.](?P<m>\d{1,2})[-/.](?P<d>\d{1,2})"), "year, month, day"),
    (re.compile(r"(?P<y>\d{4})(?P<m>\d{2})(?P<d>\d{2})"), "year, month, day"),
    (re.compile(r"(?P<m>\d{1,2})[-/.](?P<d>\d{1,2})[-/.](?P<y>\d{4})"), "month, day, year"),
    (re.compile(r"(?P<d>\d{1,2})[-/.](?P<m>\d{1,2})[-/.](?P<y>\d{4})"), "day, month, year"),
    (re.compile(r"(?P<y>\d{4})[-/.](?P<m>\d{1,2})"), "year, month"),
)
"""Ways in which a date may be written."""


def is_when(cell: str) -> bool:
    """Tell whether a cell looks like a date, a month or a number of one."""
    text = cell.strip()
    return month_of(text) is not None or bool(re.match(r"\d", text))


def whens_of(rows: Sequence[tuple[int, Sequence[str]]], when: Mapping[str, int], where: str) -> tuple[list[When | None], list[Fault]]:
    """Read when every row is.

    >>> whens_of([(2, ["Jan"]), (3, ["2"])], {"month": 0}, "c.csv")[0]
    [(0, 1, 0), (0, 2, 0)]
    >>> whens_of([(2, ["7/31/2024"]), (3, ["8/1/2024"])], {"date": 0}, "c.csv")[0]
    [(2024, 7, 31), (2024, 8, 1)]
    """
    if "date" in when:
        return _by_date(rows, when["date"], where)
    read: Callable[[Callable[[str], str]], When]
    if "doy" in when and "year" in when:
        read = _from_day_of_year
    elif "month" in when and ("day" not in when or "year" in when):
        read = _from_parts
    else:
        remedy = "add a column date (2024-07-31), or month, or year and month, or year and doy"
        return [], [Fault("there is no column that says when", where, remedy)]
    found, faults = list[When | None](), list[Fault]()
    for line, cells in rows:

        def cell(word: str, cells: Sequence[str] = cells) -> str:
            return cells[when[word]].strip() if word in when and when[word] < len(cells) else ""

        try:
            found.append(read(cell))
        except ValueError as error:
            found.append(None)
            faults.append(Fault(str(error), f"{where}: line {line}", "write year and day as numbers, months by number or name"))
    return found, faults


def _from_parts(cell: Callable[[str], str]) -> When:
    text = cell("month")
    month = month_of(text) or _whole(text, "month")
    year = _whole(cell("year"), "year") if cell("year") else 0
    day = _whole(cell("day"), "day") if cell("day") else 0
    return _checked(year, month, day)


def _from_day_of_year(cell: Callable[[str], str]) -> When:
    year, number = _whole(cell("year"), "year"), _whole(cell("doy"), "day of the year")
    if not (1 <= number <= 366 and 1 <= year <= 9998):
        raise ValueError(f"day {number} of the year {year} is no day")
    found = date(year, 1, 1) + timedelta(days=number - 1)
    if found.year != year:
        raise ValueError(f"day {number} of the year {year} is no day")
    return found.year, found.month, found.day


def _whole(text: str, word: str) -> int:
    if not re.fullmatch(r"\d{1,4}(\.0*)?", text):
        raise ValueError(f'"{shown(text)}" is no {word}')
    return int(float(text))


def _checked(year: int, month: int, day: int) -> When:
    """Refuse a day that is in no calendar."""
    try:
        date(year or 2000, month, day or 1)
    except ValueError:
        said = "-".join(str(part) for part in (year, month, day) if part)
        raise ValueError(f'"{said}" is no day or month of the calendar') from None
    return year, month, day


def _by_date(rows: Sequence[tuple[int, Sequence[str]]], column: int, where: str) -> tuple[list[When | None], list[Fault]]:
    """Read dates in the one way that fits all of them."""
    texts = [cells[column].strip() if column < len(cells) else "" for _, cells in rows]
    hours = next((k for k, text in enumerate(texts) if re.search(r"\d[T ]+\d{1,2}:\d\d", text)), None)
    if hours is not None and any(not re.search(r"[T ]0?0:00", text) for text in texts if text):
        what = f'"{shown(texts[hours])}" is an hour, and need is reckoned from days or months'
        remedy = "sum or average the hours by day: highest and lowest temperature, mean wind, sums of radiation and rain"
        return [], [Fault(what, f"{where}: line {rows[hours][0]}", remedy)]
    texts = [re.sub(r"[T ]+0?0:00.*$", "", text) for text in texts]
    ways = [found for pattern, _ in _DATES if (found := _all_read(pattern, texts)) is not None]
    if ways:
        # 3/4/2024 is read as the way that makes days follow each other
        best_way: list[When | None] = [*min(ways, key=_jumps)]
        return best_way, []
    best = max((pattern for pattern, _ in _DATES), key=lambda p: sum(_one(p, text) is not None for text in texts))
    wrong = [k for k, text in enumerate(texts) if _one(best, text) is None]
    remedy = "write all dates the one way, such as 2024-07-31"
    faults = [Fault(f'"{shown(texts[k])}" is no date like the others', f"{where}: line {rows[k][0]}", remedy) for k in wrong[:5]]
    if len(wrong) > 5:
        faults.append(Fault(f"{len(wrong) - 5} more dates cannot be read", where, remedy))
    return [], faults


def _one(pattern: re.Pattern[str], text: str) -> When | None:
    found = pattern.fullmatch(text)
    if found is None:
        return None
    parts = found.groupdict()
    try:
        return _checked(int(parts["y"]), int(parts["m"]), int(parts.get("d") or 0))
    except ValueError:
        return None


def _all_read(pattern: re.Pattern[str], texts: Sequence[str]) -> list[When] | None:
    found = [_one(pattern, text) for text in texts]
    return [one for one in found if one is not None] if None not in found else None


def _jumps(days: Sequence[When]) -> int:
    """Return how often a date is not the day after the one before."""
    whole = [date(year, month, day or 1) for year, month, day in days]
    return sum(b - a != timedelta(days=1) for a, b in pairwise(whole))
