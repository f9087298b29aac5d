"""Reading a CSV of plants, with the columns of ``plants.csv``."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from typing import Any, Final

from setout.errors import Fault
from setout.tables.entry import FIGURES, SOURCES, Figure
from setout.tables.rows import Given, checked_name, checked_text, checked_word, fault_of, limited, near_names, ordered
from setout.units import FOOT

NAMES: Final = ("name", "species", "size_class", "class_note", *SOURCES)
"""Columns that are no figures."""
_NUMBER: Final = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?")


def given_in_csv(text: str, where: str) -> Iterator[tuple[int, Given]]:
    r"""Read the lines of a CSV of plants.

    Parameters
    ----------
    text : str
        The file: comma, semicolon or tab between columns, the first line names them; empty cells say nothing, lines
        that begin with # are comments.
    where : str
        The file, for messages.

    Yields
    ------
    tuple
        Line number and what it says; faults of the header come alone.

    Examples
    --------
    >>> [(line, given.name, given.values) for line, given in given_in_csv("name,kc_mid\nfig,0.8", "own.csv")]
    [(2, 'fig', {'kc_mid': 0.8})]
    """
    lines = text.removeprefix("\ufeff").splitlines(keepends=True)
    first = next((k for k, line in enumerate(lines) if line.strip() and not line.startswith("#")), None)
    if first is None:
        remedy = "name the columns in the first line, such as name,spread_min_ft,spread_max_ft"
        yield 1, Given(faults=[Fault("holds no line", where, remedy)])
        return
    separator = max(",;\t", key=lines[first].count)
    reader = csv.reader(lines[first:], delimiter=separator, strict=True)
    try:
        header = [cell.strip().casefold() for cell in next(reader)]
        faults = list(_header_faults(header, f"{where}: line {first + 1}"))
        if faults:
            yield first + 1, Given(faults=faults)
            return
        for cells in reader:
            if any(cell.strip() for cell in cells) and not cells[0].startswith("#"):
                line = first + reader.line_num
                yield line, _given_in_line(header, cells, f"{where}: line {line}")
    except csv.Error as error:
        place = f"{where}: line {first + reader.line_num}"
        yield first + reader.line_num, Given(faults=[Fault(f"is not CSV: {error}", place, "look at its quotes")])


def _columns() -> dict[str, tuple[Figure, str, float]]:
    """Return for every column of a figure: the figure, which end of its range, and the factor into SI."""
    lengths, found = {"_ft": FOOT, "_m": 1.0}, dict[str, tuple[Figure, str, float]]()
    suffixes = {"range": lengths, "length": lengths, "hours": {"_h": 1.0}}
    for figure in FIGURES:
        for end in ("_min", "_max") if figure.is_range else ("",):
            for suffix, factor in suffixes.get(figure.kind, {"": 1.0}).items():
                found[f"{figure.column or figure.key}{end}{suffix}"] = figure, end, factor
    return found


COLUMNS: Final = _columns()
"""Columns of a CSV that are figures: the figure, which end of a range, and the factor into SI."""


def _header_faults(header: list[str], where: str) -> Iterator[Fault]:
    for number, name in enumerate(header, 1):
        if name not in COLUMNS and name not in NAMES:
            what = f'"{name}" is no column of a plant' if name else f"column {number} has no name"
            stem = re.sub(r"_(min|max)?_?(ft|m|h)?$", "", name)
            stems = [column for column in COLUMNS if stem and column.startswith(f"{stem}_")]
            remedy = f"write {', '.join(stems)}" if stems else near_names(name, (*NAMES, *COLUMNS), "columns are")
            yield Fault(what, where, remedy)
        elif header.index(name) < number - 1:
            yield Fault(f'the column "{name}" is there twice', where, "leave one")
        other = f"{name[:-3]}_m" if name.endswith("_ft") else ""
        if other and other in header:
            yield Fault(f'"{name}" and "{other}" give the same figure', where, "leave one")
    if "name" not in header and "species" not in header:
        yield Fault("there is no column for the plant's name", where, "add a column name, or species and size_class")
    if "name" in header and "species" in header:
        yield Fault("there are columns name and species", where, "leave one")


def _given_in_line(header: list[str], cells: list[str], where: str) -> Given:
    """Read one line: its name, its texts and its figures, with every fault."""
    given, ends = Given(), dict[str, Any]()
    if any(cell.strip() for cell in cells[len(header) :]):
        what = f"has {len(cells)} cells, the first line names {len(header)}"
        return Given(faults=[Fault(what, where, "put texts with a separator in quotes")])
    row = {name: cell.strip() for name, cell in zip(header, cells, strict=False)}
    for name, cell in row.items():
        try:
            if cell and name in COLUMNS:
                ends[name] = _from_cell(name, cell)
            elif cell and name in SOURCES:
                given.sources[name] = checked_text(cell)
        except ValueError as error:
            given.faults.append(fault_of(error, f"{where}, column {name}"))
    species, size_class = row.get("species", ""), row.get("size_class", "")
    full = f"{species}, {size_class}" if size_class else species
    try:
        given.name, given.note = checked_name(row.get("name", full)), checked_text(row.get("class_note", ""))
    except ValueError as error:
        given.faults.append(fault_of(error, f"{where}, column {'name' if 'name' in row else 'species'}"))
    if not given.faults:
        _put_together(given, ends, where)
    return given


def _put_together(given: Given, ends: dict[str, Any], where: str) -> None:
    """Make ranges of their two ends."""
    columns = {(COLUMNS[name][0].field, COLUMNS[name][1]): name for name in ends}
    for (field, end), name in columns.items():
        figure, other = COLUMNS[name][0], columns.get((field, "_max" if end == "_min" else "_min"))
        if not figure.is_range:
            given.values[field] = ends[name]
        elif other is None:
            partner = name.replace("_min", "_max") if end == "_min" else name.replace("_max", "_min")
            what = f"stands without {partner}"
            given.faults.append(Fault(what, f"{where}, column {name}", "give both ends of a range, the same twice for one figure"))
        elif end == "_min":
            try:
                given.values[field] = ordered(figure, ends[name], ends[other])
            except ValueError as error:
                given.faults.append(fault_of(error, f"{where}, column {name}"))


def _from_cell(name: str, cell: str) -> Any:
    """Read one cell of a figure: a word, or a number in the unit of its column."""
    figure, _, factor = COLUMNS[name]
    if figure.kind in ("word", "text"):
        return checked_word(figure, cell)
    if not _NUMBER.fullmatch(cell):
        raise ValueError(f'"{cell}" is not a number; write digits with a point, the unit is in the name of the column')
    return limited(figure, float(cell) * factor, cell)
