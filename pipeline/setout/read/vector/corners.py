"""A CSV of corners or other points: columns by trade name, units in the names, decimal point or comma."""

from __future__ import annotations

import csv
import io
import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from pyproj import CRS
from shapely.geometry import Polygon

from setout.errors import SetoutError
from setout.read.deed.angles import coordinate
from setout.read.found import Found, objects, text_of

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

WGS84 = CRS.from_epsg(4326)
EAST: Final = frozenset({"easting", "east", "e", "x", "x coord", "xcoord", "point x", "coord x"})
NORTH: Final = frozenset({"northing", "north", "n", "y", "y coord", "ycoord", "point y", "coord y"})
LON: Final = frozenset({"lon", "long", "longitude", "lng"})
LAT: Final = frozenset({"lat", "latitude"})
ORDER: Final = frozenset({"order", "seq", "sequence"})
UNITS: Final = {
    "us survey ft": "US survey ft",
    "us survey feet": "US survey ft",
    "us survey foot": "US survey ft",
    "usft": "US survey ft",
    "us ft": "US survey ft",
    "ftus": "US survey ft",
    "survey ft": "US survey ft",
    "international ft": "ft",
    "international foot": "ft",
    "international feet": "ft",
    "ft": "ft",
    "feet": "ft",
    "foot": "ft",
    "ift": "ft",
    "m": "m",
    "metres": "m",
    "meters": "m",
    "metre": "m",
    "meter": "m",
    "deg": "",
    "degrees": "",
    "dd": "",
}
HOW: Final = "name the columns easting and northing, or lon and lat, in the first line"


@dataclass(frozen=True, slots=True)
class Table:
    """A CSV as text: header, rows with their line numbers, delimiter."""

    header: list[str]
    rows: list[list[str]]
    lines: list[int]
    delimiter: str


def read(path: Path, source: str, crs: CRS | None) -> tuple[Found, str | None]:
    """Read the rows of a CSV as points.

    With both kinds of columns, easting and northing are taken when the plan file names a plane CRS, else
    lon and lat.
    """
    table = _table(text_of(path, source), source)
    names = [_named(name) for name in table.header]
    x, y = _coordinate_columns(names, table, source, plane=crs is not None and not crs.is_geographic)
    degrees = names[x][0] in LON
    if names[x][1] != names[y][1]:
        raise SetoutError(f'the columns "{table.header[x]}" and "{table.header[y]}" are in two units', source, "give both in one unit")
    if not table.rows:
        raise SetoutError("holds no corners below its first line", source, HOW)
    geographic = degrees or (crs is not None and crs.is_geographic)
    xs, ys = (_numbers(table, i, source, degrees=geographic) for i in (x, y))
    columns = {name: _column(table, i) for i, name in enumerate(table.header) if i not in {x, y}}
    own = None
    if degrees:
        own = crs if crs is not None and crs.is_geographic else WGS84
    found = Found(np.asarray(shapely.points(xs, ys), object), columns, own, standard=degrees)
    return found, names[x][1] or None


def ring(found: Found, source: str) -> Found:
    """Join corners into a polygon, by their column order if there is one, else as they stand."""
    xy = shapely.get_coordinates(found.geometry)
    order = next((v for k, v in found.columns.items() if _named(k)[0] in ORDER), None)
    if order is not None:
        if order.dtype.kind not in "if" or len(np.unique(order)) != len(order):
            raise SetoutError("its column of order holds doubles or no numbers", source, "number the corners 1, 2, 3 ...")
        xy = xy[np.argsort(order, kind="stable")]
    if len(xy) > 1 and bool((xy[0] == xy[-1]).all()):
        xy = xy[:-1]
    if len(np.unique(xy, axis=0)) < 3:
        raise SetoutError(f"holds {len(xy)} corners; a boundary has three or more", source, "add the missing corners")
    columns = {"corners": np.array([len(xy)])}
    return Found(objects([Polygon(xy)]), columns, found.crs, found.standard, found.findings)


def looks_like(text: str) -> bool:
    r"""Tell whether a text is a table of coordinates, by its first line.

    >>> looks_like("point;easting;northing\n1;5,0;7,0"), looks_like("S 68-05-35 W 472.68")
    (True, False)
    """
    rows = [line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")]
    if not rows:
        return False
    names = {_named(name)[0] for name in next(csv.reader([rows[0]], delimiter=_delimiter(rows[0])))}
    return bool(names & (EAST | LON) and names & (NORTH | LAT))


def _table(text: str, source: str) -> Table:
    numbered = [(i, line) for i, line in enumerate(text.splitlines(), 1) if line.strip() and not line.lstrip().startswith("#")]
    if not numbered:
        raise SetoutError("the file is empty", source, HOW)
    delimiter = _delimiter(numbered[0][1])
    try:
        lined = io.StringIO("\n".join(line for _, line in numbered))
        rows = [[cell.strip() for cell in row] for row in csv.reader(lined, delimiter=delimiter, strict=True)]
    except csv.Error as error:
        raise SetoutError(f"is no table: {error}", source, HOW) from None
    header = rows[0]
    if sum(_is_number(cell) for cell in header) >= 2:
        raise SetoutError(
            f'its first line "{numbered[0][1][:60]}" is data: which column is which cannot be told',
            source,
            'write a first line such as "point,northing,easting,elevation,description"',
        )
    lines = [i for i, _ in numbered[1:]]
    if len(lines) != len(rows) - 1:  # a quoted cell runs over several lines
        lines = list(range(2, len(rows) + 1))
    for row, line in zip(rows[1:], lines, strict=True):
        if len(row) > len(header) and any(row[len(header) :]):
            raise SetoutError(
                f"has {len(row)} values under {len(header)} columns",
                f"{source}: line {line}",
                'with decimal commas, separate columns by ";"',
            )
    full = [row + [""] * (len(header) - len(row)) for row in rows[1:]]
    kept = [(row, line) for row, line in zip(full, lines, strict=True) if any(row)]
    return Table(header, [row for row, _ in kept], [line for _, line in kept], delimiter)


def _delimiter(line: str) -> str:
    bare = re.sub(r'"[^"]*"', "", line)
    return max(";\t,|", key=lambda sign: (bare.count(sign), -";\t,|".index(sign)))


def _named(name: str) -> tuple[str, str]:
    """Return a column's name without unit, in small letters, and the unit ("" if none)."""
    words = re.sub(r"[\s_()\[\].-]+", " ", name.lower()).strip()
    for suffix in sorted(UNITS, key=len, reverse=True):
        if words.endswith(" " + suffix):
            return words[: -len(suffix)].strip(), UNITS[suffix]
    return words, ""


def _coordinate_columns(names: list[tuple[str, str]], table: Table, source: str, *, plane: bool) -> tuple[int, int]:
    pairs = [(LON, LAT), (EAST, NORTH)]
    for first, second in reversed(pairs) if plane else pairs:
        x = [i for i, (name, _) in enumerate(names) if name in first]
        y = [i for i, (name, _) in enumerate(names) if name in second]
        if len(x) > 1 or len(y) > 1:
            shown = ", ".join(table.header[i] for i in x + y)
            raise SetoutError(f"more than one pair of coordinate columns: {shown}", source, "leave one pair")
        if x and y:
            return x[0], y[0]
    raise SetoutError(f'no coordinate columns among "{", ".join(table.header)}"', source, HOW)


def _numbers(table: Table, i: int, source: str, *, degrees: bool) -> NDArray[np.float64]:
    out = np.empty(len(table.rows))
    for k, (row, line) in enumerate(zip(table.rows, table.lines, strict=True)):
        at = f"{source}: line {line}"
        try:
            out[k] = _number(row[i], table.delimiter) if not degrees else _degrees(row[i], table.delimiter)
        except ValueError:
            raise SetoutError(f'{table.header[i]} = "{row[i]}" is no number', at, "mend the value") from None
        if not math.isfinite(out[k]):
            raise SetoutError(f'{table.header[i]} = "{row[i]}" is not finite', at, "mend the value")
    return out


def _degrees(text: str, delimiter: str) -> float:
    try:
        return _number(text, delimiter)
    except ValueError:
        return coordinate(text)


def _number(text: str, delimiter: str) -> float:
    """Read a number with decimal point, or comma where that does not separate columns; thousands marks go.

    >>> _number("987,000.25", ","), _number("1.234,5", ";"), _number("12,5", ";")
    (987000.25, 1234.5, 12.5)
    """
    if re.fullmatch(r"[-+]?\d{1,3}(,\d{3})+\.\d+", text):
        return float(text.replace(",", ""))
    if delimiter != "," and re.fullmatch(r"[-+]?\d{1,3}(\.\d{3})+,\d+|[-+]?\d+,\d+", text):
        return float(text.replace(".", "").replace(",", "."))
    if "_" in text:
        raise ValueError(text)
    return float(text)


def _is_number(text: str) -> bool:
    try:
        _number(text, ";")
    except ValueError:
        return False
    return True


def _column(table: Table, i: int) -> NDArray[Any]:
    """Return a column as numbers where every cell is one (empty: NaN), else as text."""
    cells = [row[i] for row in table.rows]
    # A leading zero is part of a name ("007"), not of a number.
    plain = all(not c or (_is_number(c) and not re.match(r"[-+]?0\d", c)) for c in cells)
    if not plain or not any(cells):
        return objects([c or None for c in cells])
    values = np.array([_number(c, table.delimiter) if c else math.nan for c in cells])
    whole = np.isfinite(values).all() and all(re.fullmatch(r"[-+]?\d{1,15}", c) for c in cells)
    return values.astype(np.int64) if whole else values
