"""What stands beside the map on every sheet: north, scale bar, key, legend, cautions and title block."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from setout.draw import palette
from setout.draw.pen import CAP, Ink, Pen, Type
from setout.units import FOOT
from setout.write.sheets.backdrop import BOUNDARY, CLEAR_TINT, Seen
from setout.write.sheets.beware import INKS, WORDS
from setout.write.sheets.layout import Box, Layout, View, round_length, scale_words
from setout.write.sheets.treemarks import DOT, ELSEWHERE, Marks

if TYPE_CHECKING:
    from setout.model import Ints, Planting

RULE: Final = Ink(palette.INK, 0.25)
HAIR: Final = Ink("#b9bfba", 0.15)
LEAD: Final = 1.32
"""Distance from line to line over the size of the font."""
CAUTIONS: Final = (
    (
        "Before any digging",
        "have buried lines located and marked (US: call 811); private lines often are not: ask the owner. Dig by hand near marks.",
    ),
    ("Overhead lines", "keep booms, ladders, masts and pipe well clear; the line's owner sets the distance and what may grow."),
    ("Slopes", "come from a height model and miss banks and holes: walk the ground before a tractor works there."),
    ("Wells, septic, water", "setbacks follow the plan file, not the law: check code and permits."),
    (
        "Not a survey",
        "lines follow survey files; licensed practice and local codes come first. Check two monuments before the first stake.",
    ),
)
"""Cautions on every sheet, as short as they can be said."""


@dataclass(frozen=True, slots=True)
class Title:
    """What a title block says.

    Attributes
    ----------
    name : of the sheet, such as "Tile 3"
    about : what is on it
    number, count : of the sheet, and of all sheets
    """

    name: str
    about: str
    number: int
    count: int


class Column:
    """The column on the right of a sheet, filled from the top down; the title block and cautions stand at its foot."""

    def __init__(self, pen: Pen, layout: Layout) -> None:
        self.pen, self.layout = pen, layout
        self.box = layout.column
        self.size = layout.type_mm
        self.y = self.box.top
        self.foot = self.box.bottom

    @property
    def left(self) -> float:
        """Return how much height is left [mm]."""
        return self.y - self.foot

    def heading(self, words: str) -> None:
        """Write a heading under a thin rule."""
        self.y -= 2.2 + CAP * self.size
        self.pen.text(self.box.left, self.y, words, Type(self.size, bold=True))
        self.pen.line(self.box.left, self.y - 1.2, self.box.right, self.y - 1.2, HAIR)
        self.y -= 1.6

    def lines(self, lines: Sequence[str], *, colour: str = palette.INK, bold: bool = False) -> None:
        """Write lines, broken to the column's width, as long as there is room."""
        for words in lines:
            for line in self.pen.wrapped(words, self.size, self.box.width, bold=bold):
                if self.left < LEAD * self.size:
                    return
                self.y -= LEAD * self.size
                self.pen.text(self.box.left, self.y, line, Type(self.size, bold=bold, colour=colour))
        self.y -= 0.8

    def title_block(self, planting: Planting, title: Title, view: View | None) -> None:
        """Write the title block at the foot."""
        pen, box, size = self.pen, self.box, self.size
        frame = planting.site.frame
        code = frame.plane_crs.to_authority(min_confidence=100)
        system = f"{frame.plane_crs.name}" + (f" ({':'.join(code)})" if code else "")
        small = ["no map on this sheet"]
        if view is not None:
            small = [
                f"{scale_words(view.scale, planting.site.units)} on {self.layout.paper}",
                f"Ticks: {system}, {frame.plane_crs.axis_info[0].unit_name}",
                "Print at 100 % and measure the bar before use",
            ]
        lines = [line for words in small for line in pen.wrapped(words, size * 0.92, box.width - 4)]
        name = pen.wrapped(planting.site.name or "Planting plan", size * 1.25, box.width - 4, bold=True)[:2]
        about = pen.wrapped(title.about, size, box.width - 4)[:2]
        tall = 2.5 + len(name) * size * 1.6 + size * 2.5 + len(about) * LEAD * size + len(lines) * LEAD * size * 0.92 + 2.5
        pen.box(box.left, box.bottom, box.width, tall, RULE)
        y, x = box.bottom + tall - 1.5, box.left + 2
        for line in name:
            y -= size * 1.55
            pen.text(x, y, line, Type(size * 1.25, bold=True))
        y -= size * 1.95
        number = f"{title.number} / {title.count}"
        pen.text(box.right - 2, y, number, Type(size * 1.6, bold=True, at="r"))
        room = box.width - 7 - pen.width_of(number, size * 1.6, bold=True)
        pen.text(x, y, pen.cut(title.name, size * 1.6, room, bold=True), Type(size * 1.6, bold=True, colour=palette.SCREEN))
        y -= size * 0.5
        for line in about:
            y -= LEAD * size
            pen.text(x, y, line, Type(size))
        for line in lines:
            y -= LEAD * size * 0.92
            pen.text(x, y, line, Type(size * 0.92, colour=palette.MUTED))
        self.foot = box.bottom + tall + 2.0

    def cautions(self) -> None:
        """Write the cautions above the title block."""
        pen, size = self.pen, self.size * 0.9
        rows: list[tuple[str, str]] = []
        for head, words in CAUTIONS:
            lines = pen.wrapped(f"{head}: {words}", size, self.box.width - 4)
            rows += [(head if n == 0 else "", line) for n, line in enumerate(lines)]
        tall = len(rows) * LEAD * size + 2.6 + LEAD * size
        pen.box(self.box.left, self.foot, self.box.width, tall, Ink(palette.ATTENTION, 0.3, "#fdf6f2"))
        y = self.foot + tall - 0.8 - size
        pen.text(self.box.left + 2, y, "Caution", Type(size * 1.1, bold=True, colour=palette.ATTENTION))
        for head, line in rows:
            y -= LEAD * size
            if head and line.startswith(head):
                pen.text(self.box.left + 2, y, head, Type(size, bold=True))
                after = self.box.left + 2 + pen.width_of(head, size, bold=True)
                pen.text(after, y, line[len(head) :], Type(size))
            else:
                pen.text(self.box.left + 2, y, line, Type(size))
        self.foot += tall + 2.0

    def north_and_bar(self, view: View, units: str) -> None:
        """Draw the north arrow, and a scale bar with its length on paper."""
        pen, box = self.pen, self.box
        tall = 15.0
        middle = np.array([box.left + 6.5, self.y - 7.6])
        way = np.array([math.sin(view.turn), math.cos(view.turn)])
        across = np.array([way[1], -way[0]])
        tip, tail = middle + 5.2 * way, middle - 5.2 * way
        pen.paths([np.array([tip, tail + 2.4 * across, middle - 3 * way])], Ink(palette.INK, 0.2, palette.INK), close=True)
        pen.paths([np.array([tip, tail - 2.4 * across, middle - 3 * way])], Ink(palette.INK, 0.2, "#ffffff"), close=True)
        at = middle + 6.9 * way
        pen.text(float(at[0]), float(at[1]) - 0.8, "N", Type(2.4, bold=True, at="m"))
        left, room = box.left + 17, box.width - 25
        length, unit = round_length(room / view.per_m, units)
        size = FOOT if unit == "ft" else 1.0
        bar, y = length * view.per_m, self.y - 8.0
        for n in range(4):
            pen.box(left + n * bar / 4, y, bar / 4, 1.5, Ink(palette.INK, 0.18, palette.INK if n % 2 == 0 else "#ffffff"))
        for share in (0.0, 0.5, 1.0):
            words = f"{length / size * share:g}" + (f" {unit}" if share == 1 else "")
            pen.text(left + share * bar, y + 2.3, words, Type(self.size * 0.95, at="m"))
        said = f"{bar / 25.4:.2f} in" if units == "us" else f"{bar:.1f} mm"
        pen.text(left, y - 1.2 - CAP * self.size, f"this bar is {said} on paper", Type(self.size * 0.9, colour=palette.MUTED))
        self.y -= tall + 1

    def legend(self, marks: Marks, codes: Ints, seen: Seen, *, tiles: bool = False, head: str = "Legend") -> None:
        """List what is drawn and how, as far as there is room."""
        self.heading(head)
        entries = list(_entries(marks, codes, seen, tiles=tiles))
        step = LEAD * self.size * 1.06
        for n, (words, kind, what) in enumerate(entries):
            self.y -= step
            if self.left < step and n < len(entries) - 1:
                said = f"and {len(entries) - n} more: see the index sheet"
                self.pen.text(self.box.left, self.y, said, Type(self.size, colour=palette.MUTED))
                break
            self._swatch(kind, what, marks)
            self.pen.text(self.box.left + 9, self.y, self.pen.cut(words, self.size, self.box.width - 9), Type(self.size))
        self.y -= 1.5

    def _swatch(self, kind: str, what: Any, marks: Marks) -> None:
        pen, x, y = self.pen, self.box.left, self.y + CAP * self.size / 2
        middle = np.array([[x + 3.5, y]])
        if kind == "plant":
            marks.stamp(pen, what, middle, 1.6)
        elif kind == "other":
            pen.dots(middle, DOT * 0.8, ELSEWHERE)
        elif kind == "posts":
            pen.box(x + 1.4, y - 0.6, 1.2, 1.2, Ink(fill=palette.POST))
            pen.box(x + 4.6, y - 0.35, 0.7, 0.7, Ink(fill=palette.POST))
        elif kind == "water":
            pen.stamps(middle - (0, 0.4), ((-1.4, -0.8), (1.4, -0.8), (0, 1.7)), Ink(palette.WATER, 0.3, "#ffffff"))
        elif kind == "line":
            pen.line(x, y, x + 7, y, what)
        else:
            pen.box(x, y - 1.1, 7, 2.2, what)
            if kind == "hatch":
                ring = np.array([[x, y - 1.1], [x + 7, y - 1.1], [x + 7, y + 1.1], [x, y + 1.1]])
                pen.hatched([ring], Ink(what.stroke, 0.09), 45.0, 1.4)


def _entries(marks: Marks, codes: Ints, seen: Seen, *, tiles: bool) -> Iterator[tuple[str, str, Any]]:
    """Yield the words of a legend, with what draws each."""
    for n in codes.tolist():
        yield marks.labels[n], "plant", n
    if tiles:
        yield "tree of another sheet (overlap)", "other", 0
    if seen.posts:
        yield "trellis posts: end, line", "posts", 0
    if seen.beds:
        yield "raised bed", "box", Ink(palette.BED_EDGE, 0.15, "#efe3d4")
    for kind, words in WORDS.items():
        if kind in seen.kinds:
            yield words, "line", INKS[kind]
    yield "property boundary", "line", BOUNDARY
    for reason in seen.reasons:
        ink = Ink(reason.ink.stroke, 0.22, CLEAR_TINT, reason.ink.dash)
        yield f"clear: {reason.name}", "box" if reason.hatch is None else "hatch", ink
    if seen.limits:
        yield "height of plants limited here", "box", Ink(palette.HEIGHT, 0.2, "#ffffff", (1.4, 1.4))
    if seen.water:
        yield "water point", "water", 0


def frame_line(pen: Pen, box: Box) -> None:
    """Draw the map's frame."""
    pen.box(box.left, box.bottom, box.width, box.height, RULE)
