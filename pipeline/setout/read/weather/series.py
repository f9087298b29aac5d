"""Values of a climate file over time: what cannot be, gaps that are bridged, and months that are missing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Final

import numpy as np

from setout.errors import Fault
from setout.model import Bools, Finding, Floats, Ints
from setout.model.need import MONTHS
from setout.read.weather.columns import Column, shown
from setout.read.weather.dates import When

BRIDGED: Final = 5
"""Days in a row that are filled in between their neighbours."""
FEW: Final = 0.02
"""Share of days with values that cannot be that are taken for gaps; more of them are a wrong unit or column."""
THIN: Final = 0.7
"""Share of days that a column has to have to be used."""
LEAST_DAYS: Final = 20
"""Days that a calendar month has to have."""
PAIRS: Final = (("tmin_c", "tmax_c"), ("rh_min", "rh_max"))


@dataclass(slots=True)
class Series:
    """Values by quantity over steps in order, NaN where there is none; what was doubted and refused."""

    where: str
    whens: list[When]
    lines: list[int]
    values: dict[str, Floats]
    columns: Mapping[str, Column]
    findings: list[Finding] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)

    @property
    def daily(self) -> bool:
        """Return whether the steps are days."""
        return any(day for _, _, day in self.whens)

    def month(self) -> Ints:
        """Return the months of all steps."""
        return np.array([month for _, month, _ in self.whens], np.int64)

    def keep(self, wanted: Bools) -> None:
        """Leave out all other steps."""
        self.whens = [when for when, stays in zip(self.whens, wanted, strict=True) if stays]
        self.lines = [line for line, stays in zip(self.lines, wanted, strict=True) if stays]
        self.values = {key: values[wanted] for key, values in self.values.items()}


def in_order(series: Series) -> None:
    """Sort the steps, and refuse one that is there twice."""
    order = sorted(range(len(series.whens)), key=lambda k: series.whens[k])
    series.whens = [series.whens[k] for k in order]
    series.lines = [series.lines[k] for k in order]
    series.values = {key: values[order] for key, values in series.values.items()}
    twice = [k for k in range(1, len(order)) if series.whens[k] == series.whens[k - 1]]
    if twice:
        said = told(series.whens[twice[0]])
        what = f"{said} is there twice" + (f", and {len(twice) - 1} more" if len(twice) > 1 else "")
        remedy = "leave one row for each day or month; hours have to be put together by day"
        series.faults.append(Fault(what, f"{series.where}: line {series.lines[twice[0]]}", remedy))


def told(when: When) -> str:
    """Return a day or month for people.

    >>> told((2024, 7, 31)), told((0, 7, 0)), told((2024, 7, 0))
    ('2024-07-31', 'July', 'July 2024')
    """
    year, month, day = when
    if day:
        return f"{year:04d}-{month:02d}-{day:02d}"
    return f"{MONTHS[month - 1]} {year}" if year else MONTHS[month - 1]


def refuse_impossible(series: Series, texts: Mapping[str, Sequence[str]]) -> None:
    """Take values that cannot be for gaps where they are few days; refuse them where they are many, or months."""
    for key, column in series.columns.items():
        quantity, values = column.quantity, series.values[key]
        high = quantity.most / 5 if key == "rain_mm" and series.daily else quantity.most
        with np.errstate(invalid="ignore"):
            wrong = (values < quantity.least) | (values > high)
        at = int(np.argmax(wrong))
        what = f"{column.name} = {shown(texts[key][at])} cannot be: it is not between {quantity.least:g} and {high:g} {quantity.si}"
        _judge(series, (key,), wrong, what, f"look at its unit; call the column {quantity.usual}")
    for least, most in PAIRS:
        if least in series.values and most in series.values:
            with np.errstate(invalid="ignore"):
                wrong = series.values[most] < series.values[least]
            at = int(np.argmax(wrong))
            names = [f"{series.columns[key].name} = {shown(texts[key][at])}" for key in (most, least)]
            remedy = "look at both; the columns may be swapped, or one of them in another unit"
            _judge(series, (least, most), wrong, f"{names[0]} is below {names[1]}", remedy)
    for key in ("rh_min", "rh_max", "rh_mean"):
        if key in series.values:
            series.values[key] = np.minimum(series.values[key], 100.0)


def _judge(series: Series, keys: tuple[str, ...], wrong: Bools, what: str, remedy: str) -> None:
    if not wrong.any():
        return
    at, count = int(np.argmax(wrong)), int(wrong.sum())
    place = f"{series.where}: line {series.lines[at]}"
    if series.daily and count <= max(FEW * len(wrong), 1):
        more = f", and {count - 1} more days have such" if count > 1 else ""
        message = f"{place}: {what}{more}: taken for {'gaps' if count > 1 else 'a gap'}"
        series.findings.append(Finding("climate_impossible", "warn", message, remedy=remedy))
        for key in keys:
            series.values[key] = np.where(wrong, np.nan, series.values[key])
        return
    more = f", and {count - 1} more of {len(wrong)} rows are so" if count > 1 else ""
    series.faults.append(Fault(what + more, place, remedy))


def bridge(series: Series) -> None:
    """Fill gaps of few days, leave out longer ones and thin columns, and say so; refuse missing months."""
    if series.daily:
        _fill_calendar(series)
        _drop_thin(series)
        _bridge_days(series)
    else:
        _drop_incomplete(series)
    _months_there(series)


def _fill_calendar(series: Series) -> None:
    """Put in the days that have no row."""
    days = np.array([date(*when).toordinal() for when in series.whens])
    if days[-1] - days[0] > 200 * 366:
        series.faults.append(Fault("its dates span more than 200 years", series.where, "look at the years"))
        return
    whole = np.arange(days[0], days[-1] + 1)
    at = days - days[0]
    for key, values in series.values.items():
        filled = np.full(len(whole), np.nan)
        filled[at] = values
        series.values[key] = filled
    lines = np.zeros(len(whole), np.int64)
    lines[at] = series.lines
    series.lines = lines.tolist()
    series.whens = [(d.year, d.month, d.day) for d in map(date.fromordinal, whole.tolist())]


def _drop_thin(series: Series) -> None:
    """Leave out columns that have too few values."""
    for key in list(series.values):
        share = float(np.isfinite(series.values[key]).mean())
        if share < THIN:
            name = series.columns[key].name
            what = f'{series.where}: the column "{name}" has values on {share:.0%} of the days only and is left out'
            series.findings.append(Finding("climate_thin", "warn", what, remedy="fill the column, or take a station near that has it"))
            del series.values[key]


def _bridge_days(series: Series) -> None:
    size = len(series.whens)
    day, month = np.arange(size), series.month()
    lost = np.zeros(size, bool)
    bridged = np.zeros(size, bool)
    for key, values in series.values.items():
        blank = ~np.isfinite(values)
        if not blank.any():
            continue
        run = _run_length(blank)
        short = blank & (run <= BRIDGED)
        lost |= blank & ~short
        bridged |= short
        if key == "rain_mm":
            mean = {m: float(np.nanmean(values[month == m])) for m in np.unique(month) if np.isfinite(values[month == m]).any()}
            filled = np.array([mean.get(int(m), 0.0) for m in month])
        else:
            filled = np.interp(day, day[~blank], values[~blank])
        series.values[key] = np.where(blank, filled, values)
    bridged &= ~lost
    if bridged.any():
        first = told(series.whens[int(np.argmax(bridged))])
        what = f"{series.where}: {int(bridged.sum())} days with gaps were filled in, the first {first}"
        how = "between the days around, rain by the month's mean"
        series.findings.append(Finding("climate_gaps", "note", f"{what}: {how}", remedy="none needed for a few days"))
    if lost.any():
        first = told(series.whens[int(np.argmax(lost))])
        what = f"{series.where}: {int(lost.sum())} days are missing in gaps of more than {BRIDGED} days, the first {first}"
        how, remedy = "months are means of the other days", "fill the gap from a station near"
        series.findings.append(Finding("climate_gaps", "warn", f"{what}: {how}", remedy=remedy))
        series.keep(~lost)


def _run_length(blank: Bools) -> Ints:
    """Return for every gap day how long its gap is.

    >>> _run_length(np.array([True, True, False, True])).tolist()
    [2, 2, 0, 1]
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[0], blank.astype(np.int8), [0]])))
    length = np.zeros(len(blank), np.int64)
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        length[start:end] = end - start
    return length


def _drop_incomplete(series: Series) -> None:
    """Leave out months that lack a value of a column."""
    whole = np.all([np.isfinite(values) for values in series.values.values()], axis=0)
    if whole.all():
        return
    at = int(np.argmin(whole))
    lacks = [series.columns[key].name for key, values in series.values.items() if not np.isfinite(values[at])]
    what = f"{series.where}: line {series.lines[at]}: {told(series.whens[at])} has no {', '.join(lacks)} and is left out"
    count = int((~whole).sum())
    more = f", and {count - 1} more months" if count > 1 else ""
    remedy = "fill it in, or leave the column out"
    series.findings.append(Finding("climate_gaps", "warn", what + more, remedy=remedy))
    series.keep(whole)


def _months_there(series: Series) -> None:
    """Refuse a file in which a month of the year is missing, or has too few days."""
    count = np.bincount(series.month(), minlength=13)[1:]
    needed = LEAST_DAYS if series.daily else 1
    missing = [MONTHS[k] for k in range(12) if count[k] < needed]
    if not missing:
        return
    left = next((f.message.partition(": ")[2] for f in series.findings if f.code == "climate_gaps"), "")
    what = f"{'months are' if len(missing) > 1 else 'a month is'} missing: {', '.join(missing)}"
    if series.daily:
        what += f" ({needed} days are needed)"
    remedy = "give all twelve months, if need be as means of earlier years" + (f"; {left}" if left else "")
    series.faults.append(Fault(what, series.where, remedy))
