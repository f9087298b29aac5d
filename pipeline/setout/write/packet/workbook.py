"""Lists on file: each as a CSV, and all of them as the sheets of one spreadsheet.

Text is written as text whatever it begins with: no cell of the spreadsheet is a formula, and a CSV's cells have an
apostrophe before what a spreadsheet would run.
"""

from __future__ import annotations

import csv
import re
import textwrap
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

from setout.words.plan import CAUTIONS, no_formula

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from setout.model.staking import StakeSet
    from setout.write.packet.lists import Field, List, Value

FORMATS: Final = {"text": "@", "count": "#,##0", "one": "#,##0.0", "two": "#,##0.00"}
LONGEST: Final = 32_000
"""Letters that one cell may hold (32,767 in Office Open XML, ECMA-376)."""
UNITS: Final = ("cu_yd", "acres", "ha", "m3", "ft", "m", "h", "psi", "kpa", "gpm", "lph", "deg")
LINE_PT, TITLE_PT, MOST_PT = 15.0, 24.0, 409.0
"""Height of a line of text, of a title, and the most that a row may have (Excel's limit) [points]."""
INK, ACCENT, SOFT, LINE = "#22312E", "#0F5F5A", "#F6F3EB", "#DDD7C9"


def write_csv(path: Path, one: List) -> None:
    """Write a list as CSV with a header."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow([field.name for field in one.fields])
        for row in one.rows:
            writer.writerow([_plain(value, field) for value, field in zip(row, one.fields, strict=True)])


def _plain(value: Value, field: Field) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return no_formula(_cell(value))
    return f"{value:.0f}" if field.kind == "count" else f"{value:.3f}"


def write_workbook(path: Path, lists: Sequence[List], stakes: StakeSet) -> None:
    """Write lists as the sheets of one spreadsheet (Office Open XML), after a sheet that says what has to be known."""
    from xlsxwriter import Workbook

    safe = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    book = Workbook(str(path), safe)
    # a fixed date: the same plan gives the same file
    book.set_properties({"title": _cell(stakes.name), "created": datetime(2000, 1, 1, tzinfo=UTC)})
    look = {
        "title": book.add_format({"bold": True, "font_size": 16, "font_color": INK}),
        "note": book.add_format({"italic": True, "font_color": "#5A6864"}),
        "bold": book.add_format({"bold": True, "font_color": INK, "valign": "top"}),
        "wrap": book.add_format({"text_wrap": True, "valign": "top"}),
        "head": book.add_format({"bold": True, "font_color": "#FFFFFF", "bg_color": ACCENT, "text_wrap": True, "valign": "top"}),
        **{
            kind: book.add_format({"num_format": shown, "valign": "top", "bottom": 1, "bottom_color": LINE, "text_wrap": kind == "text"})
            for kind, shown in FORMATS.items()
        },
    }
    _first_sheet(book.add_worksheet("Read first"), lists, stakes, look)
    for one in lists:
        _sheet(book.add_worksheet(one.title), one, stakes, look)
    book.close()


def _first_sheet(sheet: Any, lists: Sequence[List], stakes: StakeSet, look: dict[str, Any]) -> None:
    sheet.hide_gridlines(2)
    sheet.set_column(0, 0, 24)
    sheet.set_column(1, 1, 100)
    sheet.write_string(0, 0, _cell(stakes.name), look["title"])
    sheet.set_row(0, TITLE_PT)
    facts = [
        ("Trees", f"{len(stakes.trees):,} in {len(stakes.blocks)} blocks"),
        ("Plane CRS", stakes.crs_label),
        ("Unit", f"{stakes.unit} = {stakes.size!r} m"),
        ("Grid to ground", f"ground distance = grid distance x {stakes.factor:.8f}"),
        ("Sheets", "; ".join(one.title for one in lists)),
        *CAUTIONS,
    ]
    for row, (name, text) in enumerate(facts, 2):
        sheet.write_string(row, 0, _cell(name), look["bold"])
        sheet.write_string(row, 1, _cell(text), look["wrap"])
        sheet.set_row(row, _height([(_cell(name), 24), (_cell(text), 100)]))
    _paper(sheet, "Read first", stakes)


def _sheet(sheet: Any, one: List, stakes: StakeSet, look: dict[str, Any]) -> None:
    sheet.hide_gridlines(2)
    sheet.write_string(0, 0, _cell(f"{stakes.name}: {one.title}"), look["title"])
    sheet.set_row(0, TITLE_PT)
    sheet.write_string(1, 0, _cell(one.note), look["note"])
    sheet.set_row(3, _height([(_heading(field.name), field.width) for field in one.fields]))
    for column, field in enumerate(one.fields):
        sheet.set_column(column, column, field.width)
        sheet.write_string(3, column, _heading(field.name), look["head"])
    for number, row in enumerate(one.rows, 4):
        for column, (value, field) in enumerate(zip(row, one.fields, strict=True)):
            if value is None:
                sheet.write_blank(number, column, None, look[field.kind])
            elif isinstance(value, str):
                sheet.write_string(number, column, _cell(value), look["text"])
            else:
                sheet.write_number(number, column, value, look[field.kind])
        said = [(_cell(v), field.width) for v, field in zip(row, one.fields, strict=True) if isinstance(v, str)]
        sheet.set_row(number, _height(said))
    sheet.freeze_panes(4, 1)
    if one.rows:
        sheet.autofilter(3, 0, 3 + len(one.rows), len(one.fields) - 1)
    sheet.repeat_rows(3)
    _paper(sheet, one.title, stakes)


def _height(cells: Sequence[tuple[str, int]]) -> float:
    """Return the height of a row that shows all of its texts, each wrapped in a column so many letters wide [points].

    A row without a height of its own is left to the program, and not all fit it to its texts.

    >>> _height([("a word", 14)]), _height([("word " * 10, 14), ("", 5)]), _height([("x" * 30, 14)])
    (15.0, 75.0, 45.0)
    """
    # a column's width counts digits: words of wide letters take a little more
    lines = max((len(textwrap.wrap(text, max(width - 1, 1))) for text, width in cells), default=1)
    return min(max(lines, 1) * LINE_PT, MOST_PT)


def _paper(sheet: Any, title: str, stakes: StakeSet) -> None:
    sheet.set_landscape()
    sheet.set_paper(1 if stakes.unit != "metre" else 9)  # Letter, A4
    sheet.fit_to_pages(1, 0)
    sheet.set_footer(f"&L{title}&RPage &P of &N")


def _heading(name: str) -> str:
    """Return a column's name as people read it, its unit in brackets.

    >>> _heading("length_ft"), _heading("to_order"), _heading("hours_peak_h"), _heading("volume_cu_yd")
    ('Length [ft]', 'To order', 'Hours peak [h]', 'Volume [cu yd]')
    """
    unit = next((unit for unit in UNITS if name.endswith(f"_{unit}")), "")
    if unit:
        return f"{name.removesuffix(f'_{unit}').replace('_', ' ').capitalize()} [{unit.replace('_', ' ')}]"
    return name.replace("_", " ").capitalize()


def _cell(text: str) -> str:
    """Return a text on one line, without signs that XML has no place for."""
    clean = re.sub(r"[^\x20-\x7e\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", " ", text)
    return " ".join(clean.split())[:LONGEST]
