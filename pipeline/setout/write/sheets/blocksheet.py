"""A sheet for each block: how it is set out by tape, and its rows by offset from the baseline."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from setout.draw import palette
from setout.draw.pen import CAP, Ink, Pen, Type
from setout.model.staking import Row, TapePlan
from setout.units import FOOT
from setout.words.plan import bearing_text
from setout.words.tape import exact, steps
from setout.write.sheets.backdrop import Backdrop
from setout.write.sheets.furniture import LEAD, Column, Title, frame_line
from setout.write.sheets.gridticks import draw_ticks
from setout.write.sheets.layout import Box, Layout, View, fitting
from setout.write.sheets.places import Places
from setout.write.sheets.treemarks import Marks

if TYPE_CHECKING:
    from setout.model import Planting

BASE: Final = Ink("#9a1b2f", 0.5)
TIE: Final = Ink("#0f4b9f", 0.3, dash=(1.8, 0.9))
STOPS: Final = (2.2, 7.8, 12.1, 16.4, 19.6)
"""Right edges of a table's figures over the size of its text."""
TWO_OFFSETS: Final = 2.4
"""Room that the offsets of a row's two ends need beside that of one."""
GAP_MM: Final = 4.0
"""Between two columns of a table."""
ROWS_HEAD: Final = ("row", "offset", "first at", "last at", "trees")


@dataclass(frozen=True, slots=True)
class BlockPage:
    """What a block's sheet is drawn from."""

    planting: Planting
    layout: Layout
    tape: TapePlan
    marks: Marks
    title: Title


def block_view(page: BlockPage) -> View:
    """Return the view of a block with its trees and, where near, the two monuments."""
    planting, tape = page.planting, page.tape
    mine = planting.trees.block == tape.block
    xy = np.column_stack([planting.trees.x[mine], planting.trees.y[mine]])
    if tape.a:
        spots = np.array([tape.a_xy, tape.b_xy])
        with_spots = np.concatenate([xy, spots])
        size, wider = np.ptp(xy, axis=0).max(), np.ptp(with_spots, axis=0).max()
        if wider <= 2.2 * max(size, 1.0):
            xy = with_spots
    return fitting(page.layout.frame, xy, 0.0, planting.site.units)


def draw_block(pen: Pen, page: BlockPage, backdrop: Backdrop, view: View) -> int:
    """Draw a block's sheet; return how many of its rows found room in the table."""
    planting, tape, box = page.planting, page.tape, view.box
    trees = planting.trees
    mine = np.flatnonzero(trees.block == tape.block)
    page_xy = view.of_frame(np.column_stack([trees.x[mine], trees.y[mine]]))
    places = Places(box)
    with pen.clipped(box.left, box.bottom, box.width, box.height):
        backdrop.draw(pen, view)
        size = min(1.1, max(0.35, 0.3 * planting.site.blocks[tape.block].pattern.nearest_m * view.per_m))
        for code in np.unique(page.marks.code[mine]):
            page.marks.stamp(pen, int(code), page_xy[page.marks.code[mine] == code], size)
        _draw_tape(pen, tape, view, places)
        backdrop.name_things(pen, view, places)
    draw_ticks(pen, planting.site.frame, view)
    frame_line(pen, box)
    column = Column(pen, page.layout)
    column.title_block(planting, page.title, view)
    column.cautions()
    column.north_and_bar(view, planting.site.units)
    column.legend(page.marks, np.unique(page.marks.code[mine]), backdrop.seen(view))
    return _write_panel(pen, page)


def _draw_tape(pen: Pen, tape: TapePlan, view: View, places: Places) -> None:
    """Draw the baseline, the reference line with its offsets, the diagonals and their names."""
    ends = view.of_frame(np.array([[tape.first.x, tape.first.y], [tape.last.x, tape.last.y]]))
    pen.paths([ends], BASE)
    marked = [(ends[0], tape.first.tree_id, BASE.stroke), (ends[1], tape.last.tree_id, BASE.stroke)]
    if tape.a:
        a, b = (np.array(v) for v in (tape.a_xy, tape.b_xy))
        way = (b - a) / tape.a_to_b_m
        spots = view.of_frame(np.array([a, b]))
        pen.paths([spots], TIE)
        for tie, end in ((tape.first, ends[0]), (tape.last, ends[1])):
            foot = view.of_frame((a + tie.along_m * way)[None])[0]
            pen.paths([np.array([foot, end])], TIE)
        pen.stamps(spots, ((-1.4, -1.1), (1.4, -1.1), (0.0, 1.7)), Ink(TIE.stroke, 0.4, "#ffffff"))
        marked += [(spots[0], tape.a, TIE.stroke), (spots[1], tape.b, TIE.stroke)]
    for at, words, colour in marked:
        _name_at(pen, places, at, words, Type(2.5, bold=True, colour=colour, halo=0.5))


def _name_at(pen: Pen, places: Places, at: np.ndarray, words: str, kind: Type) -> None:
    words = pen.cut(words, kind.size, 40, bold=True)
    wide, tall = pen.width_of(words, kind.size, bold=True), CAP * kind.size
    for dx, dy in ((2, 1.5), (-2 - wide, 1.5), (2, -1.5 - tall), (-2 - wide, -1.5 - tall), (-wide / 2, 3.0), (-wide / 2, -3.0 - tall)):
        if places.take(at[0] + dx - 0.3, at[1] + dy - 0.3, wide + 0.6, tall + 0.6):
            pen.text(at[0] + dx, at[1] + dy, words, kind)
            return


def rows_beside(pen: Pen, page: BlockPage) -> int:
    """Return how many rows find room beside the steps on a block's first sheet."""
    size = page.layout.type_mm
    deep, columns = _table_size(_table_box(page, _steps_set(pen, page)[1]), size, page.tape)
    return deep * columns


def _steps_set(pen: Pen, page: BlockPage) -> tuple[list[tuple[float, float, str, Type]], float]:
    """Return the lines of the steps, placed, and where they end."""
    box, size = page.layout.panel, page.layout.type_mm
    y = box.top - 1.3 * size
    out = [(box.left, y, "How to set it out by tape", Type(size * 1.5, bold=True))]
    y -= 1.2
    for number, (head, words) in enumerate(steps(page.planting, page.tape), 1):
        y -= size * 1.75
        out.append((box.left, y, str(number), Type(size, bold=True, colour=palette.SCREEN)))
        out.append((box.left + 4, y, head, Type(size, bold=True)))
        for line in pen.wrapped(words, size, box.width - 4):
            y -= LEAD * size
            out.append((box.left + 4, y, line, Type(size)))
    return out, y


def _table_box(page: BlockPage, y: float) -> Box:
    box = page.layout.panel
    return Box(box.left, box.bottom, box.width, y - 2 - box.bottom)


def _table_size(box: Box, size: float, tape: TapePlan) -> tuple[int, int]:
    """Return how many lines deep and columns wide a table of rows can be."""
    step = LEAD * size
    return max(0, int((box.height - 3.4 * step) / step)), max(1, int((box.width + GAP_MM) / _column_mm(size, tape)))


def _column_mm(size: float, tape: TapePlan) -> float:
    """Return the width of a column of the table, with the gap to the next."""
    return size * (_stops(tape)[-1] + 0.2) + GAP_MM


def _write_panel(pen: Pen, page: BlockPage) -> int:
    """Write how the block is set out, step by step, then its rows as far as they find room."""
    placed, y = _steps_set(pen, page)
    for item in placed:
        pen.text(*item)
    return rows_table(pen, _table_box(page, y), page, 0)


def rows_table(pen: Pen, box: Box, page: BlockPage, start: int) -> int:
    """Write rows by offset from the baseline in as many columns as fit."""
    size = page.layout.type_mm
    unit = "ft" if page.planting.site.units == "us" else "m"
    deep, columns = _table_size(box, size, page.tape)
    rows = page.tape.rows[start : start + deep * columns]
    if not rows:
        return 0
    y = box.top - LEAD * size
    pen.text(box.left, y, f"Rows from the baseline [{unit}]", Type(size, bold=True))
    # columns are filled evenly, so that a short table stays short
    deep = min(deep, math.ceil(len(rows) / columns))
    for c in range(math.ceil(len(rows) / deep)):
        part = rows[c * deep : (c + 1) * deep]
        _rows_column(pen, box.left + c * _column_mm(size, page.tape), y - LEAD * size * 1.15, part, size, page)
    return len(rows)


def _stops(tape: TapePlan) -> tuple[float, ...]:
    """Return the right edges of the table's figures: wider where rows have an offset at either end."""
    more = 0.0 if all(_one_offset(row) for row in tape.rows) else TWO_OFFSETS
    return (STOPS[0], *(stop + more for stop in STOPS[1:]))


def _one_offset(row: Row) -> bool:
    return abs(row.offset_m - row.offset_last_m) < 0.02


def _rows_column(pen: Pen, x: float, y: float, rows: tuple[Row, ...], size: float, page: BlockPage) -> None:
    per = FOOT if page.planting.site.units == "us" else 1.0
    stops = [x + size * k for k in _stops(page.tape)]
    for stop, head in zip(stops, ROWS_HEAD, strict=True):
        pen.text(stop, y, head, Type(size * 0.92, colour=palette.MUTED, at="r"))
    pen.line(x, y - 0.8, stops[-1], y - 0.8, Ink("#b9bfba", 0.15))
    for row in rows:
        y -= LEAD * size
        off = f"{row.offset_m / per:+,.2f}" if _one_offset(row) else f"{row.offset_m / per:+,.1f} / {row.offset_last_m / per:+,.1f}"
        cells = (str(row.row), off, f"{row.first_m / per:,.2f}", f"{row.last_m / per:,.2f}", str(row.trees))
        for stop, words in zip(stops, cells, strict=True):
            plain = words if words not in ("+0.00", "-0.00") else "0.00"
            pen.text(stop, y, plain, Type(size * 0.95, at="r"))
        if page.tape.straight and not row.whole:
            pen.text(stops[-1], y, "*", Type(size * 0.95))


def _whole_box(layout: Layout) -> Box:
    return Box(layout.frame.left, layout.column.bottom, layout.column.left - 6 - layout.frame.left, layout.column.height)


def draw_rows(pen: Pen, page: BlockPage, start: int) -> int:
    """Draw a further sheet of a block's rows; return how many it lists."""
    column = Column(pen, page.layout)
    column.title_block(page.planting, page.title, None)
    column.cautions()
    column.heading("Baseline")
    tape, units = page.tape, page.planting.site.units
    ends = f"Row {tape.base_row}, from {tape.first.tree_id} to {tape.last.tree_id}"
    column.lines([f"{ends}: {exact(tape.base_m, units)}, {bearing_text(tape.bearing_deg)}. How it is set: the block's first sheet."])
    return rows_table(pen, _whole_box(page.layout), page, start)


def rows_room(layout: Layout, tape: TapePlan) -> int:
    """Return how many rows of a block a further sheet lists."""
    deep, columns = _table_size(_whole_box(layout), layout.type_mm, tape)
    return max(1, deep * columns)
