"""Climate files: CSV of days or months with temperatures, humidity, wind, radiation and rain, or with ETo itself."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from setout.errors import Fault, SetoutError
from setout.model import Finding, Floats, Weather
from setout.read.weather.columns import Column, Header, header_of, plain_name, shown
from setout.read.weather.dates import is_when, whens_of
from setout.read.weather.series import Series, bridge, in_order, refuse_impossible
from setout.tables.crops import DAYS

MISSING: Final = frozenset({"", "-", "--", "---", "na", "n/a", "nan", "null", "none", "m", "*", "?"})
"""Cells that say that nothing was measured."""
NO_VALUE: Final = frozenset({-99.0, -99.9, -999.0, -999.9, -9999.0, -99999.0, -6999.0, 9999.0, 99999.0})
"""Numbers that stations write where nothing was measured."""
MOST_BYTES: Final = 100_000_000
_NUMBER: Final = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d{1,3})?")
_SHOWN_FAULTS: Final = 5


@dataclass(frozen=True, slots=True)
class _Mean:
    """What the mean or the greatest month of a quantity is held to, because another unit would give such values."""

    key: str
    of: str
    least: float
    most: float
    said: str


_PLAUSIBLE: Final = (
    _Mean("tmax_c", "greatest", 8.0, 52.0, "the mean highest temperature of the warmest month"),
    _Mean("wind_m_s", "mean", 0.0, 15.0, "mean wind"),
    _Mean("solar_mj", "mean", 3.0, 32.0, "mean solar radiation"),
    _Mean("rh_max", "mean", 5.0, 100.0, "mean highest humidity"),
    _Mean("rh_mean", "mean", 5.0, 100.0, "mean humidity"),
    _Mean("eto_mm", "greatest", 1.0, 20.0, "reference evapotranspiration of the greatest month"),
)
"""Bounds of this project: wider than any place where trees are planted."""


def read_climate(path: Path) -> Weather:
    """Read a climate file."""
    return parse_climate(_text(path), path.name)


def _text(path: Path) -> str:
    try:
        if path.stat().st_size > MOST_BYTES:
            remedy = "give the days or months of the site only"
            raise SetoutError(f"is larger than {MOST_BYTES // 1_000_000} MB", path.name, remedy)
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        remedy = 'save it as CSV with the encoding UTF-8; spreadsheets call it "CSV UTF-8"'
        raise SetoutError("is not text in UTF-8", path.name, remedy) from None
    except FileNotFoundError:
        raise SetoutError(f"there is no file {path}", path.name, "paths count from the plan file's folder") from None
    except OSError as error:
        raise SetoutError(f"cannot be read ({error.strerror})", path.name, "check the path and its permissions") from None


def parse_climate(text: str, where: str) -> Weather:
    r"""Read the text of a climate file.

    >>> rows = "\n".join(f"{m},{20 + m},{8 + m}" for m in range(1, 13))
    >>> weather = parse_climate("month,tmax_c,tmin_c\n" + rows, "c.csv")
    >>> weather.step, len(weather), weather.tmax_c[:2].tolist()
    ('month', 12, [21.0, 22.0])
    """
    header, rows = _table(text, where)
    whens, faults = whens_of(rows, header.when, where)
    _refuse((*header.faults, *faults))
    known = [(when, line, cells) for when, (line, cells) in zip(whens, rows, strict=True) if when is not None]
    columns = {column.quantity.key: column for column in header.columns}
    series = Series(where, [when for when, _, _ in known], [line for _, line, _ in known], {}, columns)
    texts = {key: [_cell(cells, column.number) for _, _, cells in known] for key, column in columns.items()}
    for key, column in columns.items():
        series.values[key] = _values(series, column, texts[key])
    _refuse(series.faults)
    if len({bool(day) for _, _, day in series.whens}) > 1:
        raise SetoutError("some rows are days and some are months", where, "write either days or months")
    refuse_impossible(series, texts)
    in_order(series)
    _refuse(series.faults)
    bridge(series)
    _refuse(series.faults)
    return _weather(series, header)


def _refuse(faults: Sequence[Fault]) -> None:
    if faults:
        raise SetoutError("", faults=tuple(faults))


def _cell(cells: Sequence[str], number: int) -> str:
    return cells[number].strip() if number < len(cells) else ""


def _table(text: str, where: str) -> tuple[Header, list[tuple[int, list[str]]]]:
    """Return the header and the rows with their line numbers."""
    lines = [(k, line) for k, line in enumerate(text.removeprefix("\ufeff").splitlines(), 1)]
    lines = [(k, line) for k, line in lines if line.strip(" ,;\t") and not line.lstrip().startswith("#")]
    example = "name the columns in the first line, such as date,tmax_f,tmin_f,rain_in"
    if not lines:
        raise SetoutError("holds no line", where, example)
    separator = max(",;\t", key=lines[0][1].count)
    rows = []
    for number, line in lines:
        try:
            rows.append((number, next(csv.reader([line], delimiter=separator, strict=True))))
        except csv.Error as error:
            raise SetoutError(f"is not CSV: {error}", f"{where}: line {number}", "look at its quotes") from None
    if sum(bool(_NUMBER.fullmatch(cell.strip())) for cell in rows[0][1]) > len(rows[0][1]) / 2:
        raise SetoutError("the first line holds numbers, not the names of columns", f"{where}: line {rows[0][0]}", example)
    units = rows[1][1] if len(rows) > 1 and _is_units(rows[1][1]) else None
    header = header_of(rows[0][1], units, f"{where}: line {rows[0][0]}")
    body = rows[2:] if units is not None else rows[1:]
    if not body:
        raise SetoutError("holds no row under the names of its columns", where, "add a row for each day or month")
    _complete(header, where)
    return header, body


def _is_units(cells: Sequence[str]) -> bool:
    """Tell whether a row holds units: words and no number, no date."""
    said = [cell for cell in cells if cell.strip()]
    return bool(said) and not any(_NUMBER.fullmatch(cell.strip()) or is_when(cell) for cell in said)


def _complete(header: Header, where: str) -> None:
    """Refuse a file that reference evapotranspiration cannot be had from."""
    keys = {column.quantity.key for column in header.columns}
    if header.faults or "eto_mm" in keys or {"tmax_c", "tmin_c"} <= keys:
        return
    named = ", ".join(f'"{name}"' for name in header.others[:8]) or "none other"
    what = "there is neither ETo nor the highest and lowest temperature"
    remedy = f"add columns tmax_c and tmin_c (or tmax_f and tmin_f), or eto_mm_day; columns that were not understood: {named}"
    raise SetoutError(what, where, remedy)


def _values(series: Series, column: Column, texts: Sequence[str]) -> Floats:
    """Return a column in SI, a rate or a sum by step as :class:`Weather` has it; NaN where nothing was measured."""
    factor, offset = column.unit
    raw, wrong = np.full(len(texts), np.nan), []
    for k, text in enumerate(texts):
        try:
            raw[k] = number_of(text, trace=column.quantity.key == "rain_mm")
        except ValueError as error:
            place = f"{series.where}: line {series.lines[k]}"
            remedy = "write digits with a point, or leave the cell empty"
            wrong.append(Fault(f"{shown(column.name)}: {error}", place, remedy))
    series.faults += wrong[:_SHOWN_FAULTS]
    if len(wrong) > _SHOWN_FAULTS:
        what = f"{len(wrong) - _SHOWN_FAULTS} more cells of the column {shown(column.name)} are no numbers"
        series.faults.append(Fault(what, series.where, "mend them alike"))
    values = raw * factor + offset
    days = np.array([DAYS[month - 1] for _, month, _ in series.whens], float)
    if column.quantity.key == "eto_mm" and not series.daily and column.per != "day":
        return np.asarray(values / days)
    if column.quantity.key == "rain_mm" and not series.daily and column.per == "day":
        return np.asarray(values * days)
    return values


def number_of(text: str, *, trace: bool = False) -> float:
    """Read a cell.

    >>> number_of("12,5"), number_of("-9999"), number_of("T", trace=True)
    (12.5, nan, 0.0)
    """
    plain = text.strip().casefold()
    if trace and plain in ("t", "tr", "trace"):
        return 0.0
    if plain in MISSING:
        return float("nan")
    plain = plain.replace(",", ".") if plain.count(",") == 1 and "." not in plain else plain
    if not _NUMBER.fullmatch(plain):
        raise ValueError(f'"{shown(text)}" is not a number')
    value = float(plain)
    if not math.isfinite(value):
        raise ValueError(f'"{shown(text)}" is not a finite number')
    return float("nan") if value in NO_VALUE else value


def _weather(series: Series, header: Header) -> Weather:
    values = series.values
    if "eto_mm" not in values and not {"tmax_c", "tmin_c"} <= set(values):
        raise SetoutError("there are too few days with the highest and lowest temperature", series.where, "fill them from a station near")
    _refuse(_implausible(series))
    year, month, day = (np.array(part, np.int64) for part in zip(*series.whens, strict=True))
    findings = [*series.findings, *_said(series, header)]
    height = series.columns["wind_m_s"].height_m if "wind_m_s" in values else 0.0
    daily = series.daily
    return Weather(
        series.where,
        "day" if daily else "month",
        year,
        month,
        day if daily else np.full(len(month), 15),
        wind_height_m=height or 2.0,
        findings=tuple(findings),
        **_by_field(values),
    )


def _by_field(values: Mapping[str, Floats]) -> dict[str, Floats]:
    return {key: np.ascontiguousarray(column) for key, column in values.items()}


def _implausible(series: Series) -> list[Fault]:
    """Refuse quantities whose means belong to another unit."""
    faults, month = [], series.month()
    for bound in _PLAUSIBLE:
        if bound.key not in series.values:
            continue
        values, column = series.values[bound.key], series.columns[bound.key]
        means = [float(values[month == m].mean()) for m in np.unique(month)]
        mean = max(means) if bound.of == "greatest" else float(values.mean())
        if not bound.least <= mean <= bound.most:
            what = f"{bound.said} is {mean:.3g} {column.quantity.si}, and should be {bound.least:g} to {bound.most:g}"
            per = " (eto_mm is the sum of a month, eto_mm_day a rate)" if bound.key == "eto_mm" and not series.daily else ""
            remedy = f"look at the unit of the column {shown(column.name)}; call it {column.quantity.usual}{per}"
            faults.append(Fault(what, series.where, remedy))
    return faults


def _said(series: Series, header: Header) -> list[Finding]:
    """Tell what was taken, and what was not read."""
    findings = []
    wind = series.columns.get("wind_m_s")
    if "wind_m_s" in series.values and wind is not None and not wind.height_m:
        what = f"{series.where}: the height of the wind gauge is not said and taken as 2 m"
        remedy = f"put it into the name of the column, such as {plain_name(wind.name)}_10m"
        findings.append(Finding("climate_wind_height", "note", what, remedy=remedy))
    rain = series.values.get("rain_mm")
    year = float(rain.mean()) * (365 if series.daily else 12) if rain is not None else 500.0
    if not 60 <= year <= 5000:
        place = "a desert" if year < 60 else "the wettest coasts"
        what = f"{series.where}: rain of {year:,.0f} mm a year is that of {place}, or in another unit than its column says"
        findings.append(Finding("climate_odd_rain", "warn", what, remedy="look at the unit of the column: rain_in or rain_mm"))
    if header.others:
        what = f"{series.where}: columns that are not read: {', '.join(header.others[:12])}"
        remedy = "none needed, unless one of them is temperature, humidity, wind, radiation, rain or ETo"
        findings.append(Finding("climate_not_read", "note", what, remedy=remedy))
    return findings
