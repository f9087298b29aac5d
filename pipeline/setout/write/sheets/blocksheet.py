"""A sheet for each block: how it is set out by tape, and its rows by offset from the baseline."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from setout.units import FOOT, show_length
from setout.write import palette
from setout.write.systemwords import short_words
from setout.write.wording import bearing_text

from .backdrop import Backdrop
from .furniture import LEAD, Column, Title, frame_line
from .gridticks import draw_ticks
from .layout import Box, Layout, View, fitting
from .pen import CAP, Ink, Pen, Type
from .places import Places
from .tape import RIGHT_ANGLE, SLOPES, Row, TapePlan, Tie, aside_m, tape_on_slope
from .treemarks import Marks

if TYPE_CHECKING:
    from setout.nouns import Planting

BASE: Final = Ink("#9a1b2f", 0.5)
TIE: Final = Ink("#0f4b9f", 0.3, dash=(1.8, 0.9))
WIDE: Final = 19.8
"""Width of a table's column over the size of its text."""
CARE: Final = 2000
"""Ordinary care in taping: off by at most one part in so many (common practice)."""
ROWS_HEAD: Final = ("row", "offset", "first at", "last at", "trees")


@dataclass(frozen=True, slots=True)
class BlockPage:
    """What a block's sheet is drawn from."""

    planting: Planting
    layout: Layout
    tape: TapePlan
    marks: Marks
    title: Title


def exact(metres: float, units: str) -> str:
    """Write a length as a tape is read: feet to the hundredth, or metres to the centimetre.

    >>> exact(4.8768, "us"), exact(12.3456, "si"), exact(-0.001, "si")
    ('16.00 ft', '12.35 m', '0.00 m')
    """
    value = metres / FOOT if units == "us" else metres
    return f"{value + 0.0 if abs(value) >= 0.005 else 0.0:,.2f} {'ft' if units == 'us' else 'm'}"


def degrees(angle: float) -> str:
    """Write an angle in degrees, minutes and seconds.

    >>> print(degrees(45.5), degrees(359.99999))
    45° 30' 00" 0° 00' 00"
    """
    seconds = round(angle * 3600) % (360 * 3600)
    return f"{seconds // 3600}° {seconds // 60 % 60:02d}' {seconds % 60:02d}\""


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
    """Draw a block's sheet; return how many of its rows found room in the table.

    Parameters
    ----------
    pen : Pen
        On the block's page.
    page : BlockPage
        What it says.
    backdrop : Backdrop
        North up.
    view : View
        Of the block.

    Returns
    -------
    int
        Rows listed; the rest goes onto further sheets.
    """
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
    for dx, dy in (
        (2, 1.5),
        (-2 - wide, 1.5),
        (2, -1.5 - tall),
        (-2 - wide, -1.5 - tall),
        (-wide / 2, 3.0),
        (-wide / 2, -3.0 - tall),
    ):
        if places.take(at[0] + dx - 0.3, at[1] + dy - 0.3, wide + 0.6, tall + 0.6):
            pen.text(at[0] + dx, at[1] + dy, words, kind)
            return


def rows_beside(pen: Pen, page: BlockPage) -> int:
    """Return how many rows find room beside the steps on a block's first sheet."""
    size = page.layout.type_mm
    deep, columns = _table_size(_table_box(page, _steps_set(pen, page)[1]), size)
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


def _table_size(box: Box, size: float) -> tuple[int, int]:
    """Return how many lines deep and columns wide a table of rows can be."""
    step = LEAD * size
    return max(0, int((box.height - 3.4 * step) / step)), max(1, int((box.width + 4) / (size * WIDE + 4)))


def _write_panel(pen: Pen, page: BlockPage) -> int:
    """Write how the block is set out, step by step, then its rows as far as they find room."""
    placed, y = _steps_set(pen, page)
    for item in placed:
        pen.text(*item)
    return rows_table(pen, _table_box(page, y), page, 0)


def steps(planting: Planting, tape: TapePlan) -> Iterator[tuple[str, str]]:
    """Yield the steps of setting out a block by tape: heading and words."""
    units = planting.site.units
    pattern = planting.site.blocks[tape.block].pattern

    def far(metres: float) -> str:
        return exact(metres, units)

    yield "All distances are level.", _level(tape, units)
    yield from _references(tape, units)
    three, four, five = (show_length(side, units) for side in RIGHT_ANGLE[units])
    square = f"{three} along the line, {four} square to it: the third side must measure {five}."
    yield "Right angles, 3-4-5.", f"{square} Do it at every offset, with the largest triangle that fits."
    ends = f"From {tape.first.tree_id} to {tape.last.tree_id} it must measure {far(tape.base_m)}"
    run = f"and run {bearing_text(tape.bearing_deg)} from true north"
    yield "Check the baseline.", f"{ends}, {run}. If not, go back to step 2."
    yield "Rows.", _rows_words(planting, tape)
    step = f"From the first tree of a row, step {far(pattern.step_m)}"
    care = "measure on along one tape held from the first tree, not from tree to tree"
    yield "Trees.", f"{_sentence(short_words(pattern, units))} {step}; {care}."
    if tape.diagonals:
        said = "; ".join(f"{d.start} to {d.end}: {far(d.distance_m)}" for d in tape.diagonals)
        wrong = "If one is long and the other short, the corners are not square."
        yield "Check the diagonals.", f"True level distances: {said}. {wrong}"


def _references(tape: TapePlan, units: str) -> Iterator[tuple[str, str]]:
    """Yield the steps from two monuments to both ends of the baseline."""

    def far(metres: float) -> str:
        return exact(metres, units)

    if not tape.a:
        none = "The boundary has no two corners to tape from"
        yield (
            "Reference.",
            f"{none}: set the first and last tree of the baseline from their coordinates (stakeout.csv).",
        )
        return
    found = f"Find both boundary corners and measure between them: {far(tape.a_to_b_m)}."
    off = f"Stop if that is off by more than {far(max(tape.a_to_b_m / CARE, 0.03))} (1 in {CARE:,}, common practice)"
    yield f"Reference line {tape.a} to {tape.b}.", f"{found} {off}: one is not the corner that was surveyed."
    first, last = tape.first, tape.last
    taped = f"First tree {first.tree_id}: {_offset(tape, first, units)}. Last tree {last.tree_id}: {_offset(tape, last, units)}."
    turned = (
        f"Or with an instrument over {tape.a}, zero on {tape.b}, turn right: {degrees(first.angle_deg)} and"
        f" {far(first.from_a_m)} to the first, {degrees(last.angle_deg)} and {far(last.from_a_m)} to the last."
    )
    yield f"Both ends of the baseline, row {tape.base_row}.", f"{taped} {turned}"


def _sentence(words: str) -> str:
    words = words.strip().rstrip(".")
    return f"{words[:1].upper()}{words[1:]}." if words else ""


def _level(tape: TapePlan, units: str) -> str:
    length = 100 * FOOT if units == "us" else 50.0
    table = ", ".join(f"{s:.0%}: {exact(tape_on_slope(length, s), units)}" for s in SLOPES)
    words = f"Hold the tape level, or lay it on the slope and pull more: for {show_length(length, units)} level it reads, by slope, {table}."
    if math.isfinite(tape.median_slope):
        words += f" This block: middle slope {tape.median_slope:.0%}, steepest {tape.max_slope:.0%}."
    return words


def _offset(tape: TapePlan, tie: Tie, units: str) -> str:
    along, off = tie.along_m, tie.offset_m
    side = "left" if off >= 0 else "right"
    before = f"{exact(-along, units)} back beyond {tape.a}" if along < 0 else f"{exact(along, units)} from {tape.a}"
    check = f"{exact(tie.from_a_m, units)} from {tape.a} and {exact(tie.from_b_m, units)} from {tape.b}"
    return f"{before} on the line to {tape.b}, then {exact(abs(off), units)} square to the {side} (check: {check})"


def _rows_words(planting: Planting, tape: TapePlan) -> str:
    units = planting.site.units
    pattern = planting.site.blocks[tape.block].pattern
    if not tape.straight:
        return (
            "Rows bend or run several ways: set first and last trees by the table, each by offset from the baseline, and"
            " stake what lies between from coordinates (stakeout.csv). The tape only checks."
        )
    words = f"Set the first tree of every row by the table: distance along the baseline from {tape.first.tree_id}, then the offset square to it"
    words += (
        f" (+ left, - right, looking to {tape.last.tree_id}). Rows lie {exact(pattern.row_distance_m, units)} apart"
    )
    if pattern.alley_every:
        words += f", with an alley of {exact(pattern.alley_width_m, units)} after every {pattern.alley_every}"
    if pattern.shift:
        words += f"; every second row is shifted by {exact(pattern.shift * pattern.step_m, units)}"
    words += ". Set last trees the same way and sight between them"
    aside = aside_m(planting, tape.block)
    return words + (
        f". Plants of one row stand up to {exact(aside, units)} aside of each other: the table is of its first and last plant."
        if aside
        else "."
    )


def rows_table(pen: Pen, box: Box, page: BlockPage, start: int) -> int:
    """Write rows by offset from the baseline in as many columns as fit.

    Parameters
    ----------
    pen : Pen
        Draws.
    box : Box
        Where the table may stand.
    page : BlockPage
        What it says.
    start : int
        Rows that are listed already.

    Returns
    -------
    int
        Rows listed here.
    """
    size = page.layout.type_mm
    unit = "ft" if page.planting.site.units == "us" else "m"
    deep, columns = _table_size(box, size)
    rows = page.tape.rows[start : start + deep * columns]
    if not rows:
        return 0
    y = box.top - LEAD * size
    pen.text(box.left, y, f"Rows from the baseline [{unit}]", Type(size, bold=True))
    # columns are filled evenly, so that a short table stays short
    deep = min(deep, math.ceil(len(rows) / columns))
    for c in range(math.ceil(len(rows) / deep)):
        part = rows[c * deep : (c + 1) * deep]
        _rows_column(pen, box.left + c * (size * WIDE + 4), y - LEAD * size * 1.15, part, size, unit)
    return len(rows)


def _rows_column(pen: Pen, x: float, y: float, rows: tuple[Row, ...], size: float, unit: str) -> None:
    per = FOOT if unit == "ft" else 1.0
    stops = [x + size * k for k in (2.2, 7.8, 12.1, 16.4, 19.6)]
    for stop, head in zip(stops, ROWS_HEAD, strict=True):
        pen.text(stop, y, head, Type(size * 0.92, colour=palette.MUTED, at="r"))
    pen.line(x, y - 0.8, stops[-1], y - 0.8, Ink("#b9bfba", 0.15))
    for row in rows:
        y -= LEAD * size
        same = abs(row.offset_m - row.offset_last_m) < 0.02
        off = f"{row.offset_m / per:+,.2f}" if same else f"{row.offset_m / per:+,.1f} / {row.offset_last_m / per:+,.1f}"
        cells = (str(row.row), off, f"{row.first_m / per:,.2f}", f"{row.last_m / per:,.2f}", str(row.trees))
        for stop, words in zip(stops, cells, strict=True):
            plain = words if words not in ("+0.00", "-0.00") else "0.00"
            pen.text(stop, y, plain, Type(size * 0.95, at="r"))


def _whole_box(layout: Layout) -> Box:
    return Box(
        layout.frame.left, layout.column.bottom, layout.column.left - 6 - layout.frame.left, layout.column.height
    )


def draw_rows(pen: Pen, page: BlockPage, start: int) -> int:
    """Draw a further sheet of a block's rows; return how many it lists."""
    column = Column(pen, page.layout)
    column.title_block(page.planting, page.title, None)
    column.cautions()
    column.heading("Baseline")
    tape, units = page.tape, page.planting.site.units
    ends = f"Row {tape.base_row}, from {tape.first.tree_id} to {tape.last.tree_id}"
    column.lines(
        [
            f"{ends}: {exact(tape.base_m, units)}, {bearing_text(tape.bearing_deg)}. How it is set: the block's first sheet."
        ]
    )
    return rows_table(pen, _whole_box(page.layout), page, start)


def rows_room(layout: Layout) -> int:
    """Return how many rows a further sheet lists."""
    deep, columns = _table_size(_whole_box(layout), layout.type_mm)
    return max(1, deep * columns)
