"""A pen on paper: lines, shapes and texts in millimetres from the lower left corner of the page.

Drawing goes into the page as PDF operators (ISO 32000-1, chapter 8), many at once, so that a hundred thousand trees
cost seconds; fonts, pages and the file are reportlab's.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from setout.draw.carried import FONT, carried
from setout.model import Floats

MM: Final = 72 / 25.4
"""Points of 1/72 in a millimetre."""
FONTS: Final = {False: ("SetoutSans", "FiraSansCondensed-Regular.ttf"), True: ("SetoutSans-Bold", "FiraSansCondensed-SemiBold.ttf")}
LACKING: Final = "?"
"""What stands for a letter that the fonts lack."""
CAP: Final = 0.7
"""Height of capitals and figures over the size of the font."""


@dataclass(frozen=True, slots=True)
class Ink:
    """How something is drawn: stroke and fill colour (hex, "" for none), width [mm], dashes [mm]."""

    stroke: str = ""
    width: float = 0.18
    fill: str = ""
    dash: tuple[float, ...] = ()

    def operators(self) -> str:
        """Return the operators that set it."""
        parts = [f"{_rgb(self.fill)} rg"] if self.fill else []
        if self.stroke:
            dashes = " ".join(f"{d:g}" for d in self.dash)
            parts.append(f"{_rgb(self.stroke)} RG {self.width:g} w [{dashes}] 0 d")
        return " ".join(parts)

    @property
    def paint(self) -> str:
        """Return the operator that paints a path, by the even-odd rule."""
        return ("B*" if self.stroke else "f*") if self.fill else "S"


@dataclass(frozen=True, slots=True)
class Type:
    """How a text is set: size [mm], bold, colour, where its anchor is (l, m, r), angle [deg], white round it [mm]."""

    size: float = 2.3
    bold: bool = False
    colour: str = "#22312e"
    at: str = "l"
    angle: float = 0.0
    halo: float = 0.0


def _rgb(colour: str) -> str:
    return " ".join(f"{int(colour[i : i + 2], 16) / 255:.3g}" for i in (1, 3, 5))


class Pen:
    """Draws pages into one PDF; every position is in millimetres."""

    def __init__(self, path: Path, title: str) -> None:
        from reportlab.pdfbase import pdfmetrics
        from reportlab.pdfbase.ttfonts import TTFont
        from reportlab.pdfgen.canvas import Canvas

        self._fonts: dict[bool, Any] = {}
        for bold, (name, file) in FONTS.items():
            self._fonts[bold] = TTFont(name, BytesIO(carried(FONT, file)))
            pdfmetrics.registerFont(self._fonts[bold])
        self._canvas: Any = Canvas(str(path), pageCompression=1, invariant=1, initialFontName=FONTS[False][0])
        self._canvas.setTitle(title)
        self._canvas.setAuthor("setout")
        self._canvas.setSubject("plan sheets")
        self._canvas.setViewerPreference("PrintScaling", "None")
        self._known = {bold: set(font.face.charToGlyph) for bold, font in self._fonts.items()}
        self.pages = 0
        self.lacking: set[str] = set()

    @contextmanager
    def page(self, width: float, height: float, name: str = "") -> Iterator[None]:
        """Draw one page of this width and height [mm]; the name goes into the outline."""
        canvas = self._canvas
        canvas.setPageSize((width * MM, height * MM))
        canvas.scale(MM, MM)
        canvas.addLiteral("1 J 1 j")
        self.pages += 1
        if name:
            canvas.bookmarkPage(f"sheet{self.pages}")
            canvas.addOutlineEntry(name, f"sheet{self.pages}")
        yield
        canvas.showPage()

    def save(self) -> None:
        """Finish the file."""
        from reportlab import rl_config

        # text encoding of compressed pages makes them a quarter larger, and takes half of the time
        before, rl_config.useA85 = rl_config.useA85, 0
        try:
            self._canvas.save()
        finally:
            rl_config.useA85 = before

    @contextmanager
    def clipped(self, left: float, bottom: float, width: float, height: float) -> Iterator[None]:
        """Draw inside a rectangle only."""
        self._canvas.saveState()
        self._canvas.addLiteral(f"{left:.3f} {bottom:.3f} {width:.3f} {height:.3f} re W n")
        yield
        self._canvas.restoreState()

    def paths(self, lines: Iterable[NDArray[np.float64]], ink: Ink, *, close: bool = False) -> None:
        """Draw lines or rings, each an (n, 2) array, as one path; filled rings follow the even-odd rule."""
        text = "\n".join(_path(line, close=close or bool(ink.fill)) for line in lines if len(line) > 1)
        if text:
            self._canvas.addLiteral(f"{ink.operators()}\n{text}\n{ink.paint}")

    def hatched(self, rings: Sequence[NDArray[np.float64]], ink: Ink, angle: float, gap: float) -> None:
        """Draw parallel lines inside rings, ``gap`` [mm] apart, at an angle [deg] to the horizontal."""
        rings = [ring for ring in rings if len(ring) > 2]
        if not rings:
            return
        points = np.concatenate(rings)
        turn = np.radians(angle)
        along, across = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
        low, high = (points @ across).min(), (points @ across).max()
        ends = (points @ along).min(), (points @ along).max()
        levels = np.arange(np.floor(low / gap) * gap, high + gap, gap)[:4000]
        self._canvas.saveState()
        self._canvas.addLiteral("\n".join(_path(ring, close=True) for ring in rings) + "\nW* n")
        self.paths((np.array([ends[0] * along + v * across, ends[1] * along + v * across]) for v in levels), ink)
        self._canvas.restoreState()

    def line(self, x0: float, y0: float, x1: float, y1: float, ink: Ink) -> None:
        """Draw one straight line."""
        self._canvas.addLiteral(f"{ink.operators()} {x0:.3f} {y0:.3f} m {x1:.3f} {y1:.3f} l S")

    def box(self, left: float, bottom: float, width: float, height: float, ink: Ink) -> None:
        """Draw a rectangle."""
        self._canvas.addLiteral(f"{ink.operators()} {left:.3f} {bottom:.3f} {width:.3f} {height:.3f} re {ink.paint}")

    def dots(self, xy: Floats, diameter: float, colour: str) -> None:
        """Draw round dots: lines of no length with round caps (ISO 32000-1, 8.5.3.2)."""
        if len(xy):
            points = xy.tolist()
            text = "\n".join([f"{x:.3f} {y:.3f} m {x:.3f} {y:.3f} l" for x, y in points])
            self._canvas.addLiteral(f"{Ink(colour, diameter).operators()}\n{text}\nS")

    def stamps(self, xy: Floats, corners: Sequence[tuple[float, float]], ink: Ink) -> None:
        """Draw one closed shape, its corners [mm] about the middle, at many places."""
        if not len(xy):
            return
        shape = np.asarray(corners, float)
        points = (xy[:, None, :] + shape[None]).reshape(len(xy), -1).tolist()
        form = " ".join(["%.3f %.3f m"] + ["%.3f %.3f l"] * (len(shape) - 1) + ["h"])
        self._canvas.addLiteral(f"{ink.operators()}\n" + "\n".join([form % tuple(p) for p in points]) + f"\n{ink.paint}")

    def text(self, x: float, y: float, words: str, kind: Type) -> None:
        """Set one line of text with its baseline at ``y``."""
        words = self.sayable(words, bold=kind.bold)
        canvas = self._canvas
        canvas.setFont(FONTS[kind.bold][0], kind.size)
        back = {"l": 0.0, "m": 0.5, "r": 1.0}[kind.at] * self.width_of(words, kind.size, bold=kind.bold)
        if kind.angle:
            canvas.saveState()
            canvas.translate(x, y)
            canvas.rotate(kind.angle)
            x = y = 0.0
        if kind.halo:
            canvas.addLiteral(f"{Ink('#ffffff', 2 * kind.halo).operators()}")
            canvas.drawString(x - back, y, words, mode=1)
        canvas.addLiteral(f"{_rgb(kind.colour)} rg")
        canvas.drawString(x - back, y, words, mode=0 if kind.halo else None)
        if kind.angle:
            canvas.restoreState()

    def texts(self, places: Iterable[tuple[float, float, str]], kind: Type) -> None:
        """Set many short texts of one kind, left-aligned and upright."""
        canvas = self._canvas
        canvas.addLiteral(f"{_rgb(kind.colour)} rg")
        run = canvas.beginText()
        run.setFont(FONTS[kind.bold][0], kind.size)
        for x, y, words in places:
            run.setTextOrigin(x, y)
            run.textOut(words)
        canvas.drawText(run)

    def width_of(self, words: str, size: float, *, bold: bool = False) -> float:
        """Return the width of a text [mm]."""
        return float(self._fonts[bold].stringWidth(words, size))

    def wrapped(self, words: str, size: float, width: float, *, bold: bool = False) -> list[str]:
        """Break a text into lines of a width [mm]."""
        from reportlab.lib.utils import simpleSplit

        return [str(line) for line in simpleSplit(self.sayable(words, bold=bold), FONTS[bold][0], size, width)]

    def cut(self, words: str, size: float, width: float, *, bold: bool = False) -> str:
        """Shorten a text to a width [mm], with an ellipsis."""
        words = self.sayable(words, bold=bold)
        if self.width_of(words, size, bold=bold) <= width:
            return words
        while words and self.width_of(words + "…", size, bold=bold) > width:
            words = words[:-1]
        return words.rstrip() + "…"

    def sayable(self, words: str, *, bold: bool = False) -> str:
        """Return a text with what the font lacks replaced; what was lacking is kept in mind."""
        if words.isascii() and words.isprintable():
            return words
        out = []
        for letter in words:
            if letter.isspace():
                out.append(" ")
            elif ord(letter) in self._known[bold]:
                out.append(letter)
            else:
                self.lacking.add(letter)
                out.append(LACKING)
        return "".join(out)


def _path(line: NDArray[np.float64], *, close: bool) -> str:
    points = line.tolist()
    if close and len(points) > 2 and points[0] == points[-1]:
        points = points[:-1]
    first, rest = points[0], points[1:]
    text = f"{first[0]:.3f} {first[1]:.3f} m " + " ".join([f"{x:.3f} {y:.3f} l" for x, y in rest])
    return text + " h" if close else text
