"""Where things lie on a sheet, and how ground becomes paper."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from setout.model import Floats, Planting
from setout.model.sheet import PAPERS
from setout.units import FOOT

SCALES: Final = {
    "us": (120, 240, 360, 480, 600, 720, 1200, 2400, 3600, 4800, 6000, 12000, 24000, 60000),
    "si": (100, 200, 250, 300, 400, 500, 1000, 1250, 2000, 2500, 3000, 4000, 5000, 10000, 20000, 30000, 50000),
}
"""Scales that rules for reading plans are made for: the engineer's (10 to 60 ft to the inch) and metric triangular rules."""
TREE_GAP: Final = 5.0
"""Least distance on paper between most neighbouring trees [mm], so that each has room for its number."""
CLOSE: Final = 30
"""Share of the trees that may stand closer than that on paper [%]; of those only some have their number."""
MARGIN: Final = 8.0
"""Clear edge of the paper, in which no printer is asked to print [mm]."""
GUTTER: Final = 5.0
"""Between the map's frame and what stands beside it, where coordinates of ticks are written [mm]."""


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle on paper [mm]."""

    left: float
    bottom: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """Return its right edge."""
        return self.left + self.width

    @property
    def top(self) -> float:
        """Return its upper edge."""
        return self.bottom + self.height


@dataclass(frozen=True, slots=True)
class Layout:
    """A sheet: its paper, the map's frame, the column on the right, and a panel between them for words."""

    paper: str
    width: float
    height: float
    frame: Box
    column: Box
    panel: Box

    @property
    def small(self) -> bool:
        """Tell whether the paper is as small as a letter."""
        return self.width < 350

    @property
    def type_mm(self) -> float:
        """Return the size of ordinary text [mm]: 6.5 points on small paper, else 7.5."""
        return (6.5 if self.small else 7.5) / 72 * 25.4


def layout_of(paper: str, panel: float = 0.0) -> Layout:
    """Lay out a sheet."""
    width, height = PAPERS[paper]
    column = 52.0 if width < 350 else 66.0 if width < 600 else 84.0
    beside = Box(width - MARGIN - column, MARGIN, column, height - 2 * MARGIN)
    left, bottom = MARGIN + GUTTER, MARGIN + GUTTER
    room = beside.left - GUTTER - left
    words = round(room * panel)
    gap = GUTTER if panel else 0.0
    frame = Box(left, bottom, room - words - gap, height - MARGIN - GUTTER - bottom)
    return Layout(paper, width, height, frame, beside, Box(frame.right + gap, MARGIN, words, height - 2 * MARGIN))


@dataclass(frozen=True, slots=True)
class View:
    """Ground on paper: turned by ``turn`` and scaled about the middle of the frame.

    Attributes
    ----------
    box : the frame on paper [mm]
    scale : ground over paper
    turn : angle from the frame's east to the paper's right, counter-clockwise [rad]
    u, v : ground at the middle of the box, in turned coordinates [m]
    """

    box: Box
    scale: float
    turn: float
    u: float
    v: float

    @property
    def per_m(self) -> float:
        """Return millimetres of paper for a metre of ground."""
        return 1000.0 / self.scale

    def turned(self, xy: Floats) -> NDArray[np.float64]:
        """Take positions in the frame to turned coordinates [m]."""
        return turned(xy, self.turn)

    def page(self, uv: Floats) -> NDArray[np.float64]:
        """Take turned coordinates [m] to paper [mm]."""
        middle = np.array([self.box.left + self.box.width / 2, self.box.bottom + self.box.height / 2])
        return np.asarray((np.asarray(uv, float) - (self.u, self.v)) * self.per_m + middle)

    def of_frame(self, xy: Floats) -> NDArray[np.float64]:
        """Take positions in the frame [m] to paper [mm]."""
        return self.page(self.turned(xy))

    def to_frame(self, page: Floats) -> NDArray[np.float64]:
        """Take places on paper [mm] to the frame [m]."""
        middle = np.array([self.box.left + self.box.width / 2, self.box.bottom + self.box.height / 2])
        uv = (np.asarray(page, float) - middle) / self.per_m + (self.u, self.v)
        return turned(uv, -self.turn)

    def extent(self, grow: float = 0.0) -> tuple[float, float, float, float]:
        """Return the ground shown, in turned coordinates [m]: u0, v0, u1, v1, grown by so many millimetres of paper."""
        half = np.array([self.box.width / 2 + grow, self.box.height / 2 + grow]) / self.per_m
        return self.u - half[0], self.v - half[1], self.u + half[0], self.v + half[1]


def turned(xy: Floats, turn: float) -> NDArray[np.float64]:
    """Turn positions about the origin, so that what lay at an angle ``turn`` [rad] lies to the right.

    >>> turned(np.array([[0.0, 2.0]]), math.pi / 2).round(9).tolist()
    [[2.0, 0.0]]
    """
    c, s = math.cos(turn), math.sin(turn)
    points = np.asarray(xy, float).reshape(-1, 2)
    return np.column_stack([points[:, 0] * c + points[:, 1] * s, points[:, 1] * c - points[:, 0] * s])


def fitting(box: Box, around: shapely.Geometry | Floats, turn: float, units: str = "") -> View:
    """Return the view at the largest usual scale that shows everything; at any scale where no units are given."""
    xy = around if isinstance(around, np.ndarray) else shapely.get_coordinates(around)
    uv = turned(xy, turn)
    low, high = uv.min(axis=0), uv.max(axis=0)
    space = 12.0 if units else 3.0
    need = max(float(high[0] - low[0]) / (box.width - space), float(high[1] - low[1]) / (box.height - space), 0.001) * 1000
    usual = [s for s in SCALES[units] if s >= need] if units else [need]
    scale = float(usual[0]) if usual else float(10 ** math.ceil(math.log10(need)))
    middle = (low + high) / 2
    return View(box, scale, turn, float(middle[0]), float(middle[1]))


def scale_for(planting: Planting, box: Box) -> float:
    """Return the scale of the tiles: as the plan file asks, else the smallest at which tree numbers stay readable.

    A planting that fits on one sheet at a larger scale gets that.
    """
    if planting.sheets.scale is not None:
        return planting.sheets.scale
    nearest = planting.trees.known("nearest_m")
    nearest = nearest[np.isfinite(nearest) & (nearest > 0)]
    apart = float(np.percentile(nearest, CLOSE)) if nearest.size else 5.0
    usual = SCALES[planting.site.units]
    fine = [s for s in usual if apart / s * 1000 >= TREE_GAP]
    small = float(fine[-1] if fine else usual[0])
    if not len(planting.trees):
        return small
    whole = fitting(Box(0, 0, box.width - 8, box.height - 8), planting.site.boundary, 0.0, planting.site.units).scale
    return min(small, max(whole, float(usual[0])))


def scale_words(scale: float, units: str) -> str:
    """Write a scale for people.

    >>> scale_words(480.0, "us"), scale_words(500.0, "si"), scale_words(500.0, "us")
    ('1 in = 40 ft (1:480)', '1:500', '1:500 (1 in = 41.67 ft)')
    """
    ratio = f"1:{scale:g}"
    if units != "us":
        return ratio
    feet = scale / 12
    if abs(feet - round(feet)) < 1e-6:
        return f"1 in = {feet:.0f} ft ({ratio})"
    return f"{ratio} (1 in = {feet:.2f} ft)"


def round_length(most_m: float, units: str) -> tuple[float, str]:
    """Return the largest of 1, 2, 5 times a power of ten that is no longer than ``most_m``: in metres, and its unit.

    >>> round_length(30.0, "si"), [round(v, 3) for v in round_length(30.0, "us")[:1]]
    ((20.0, 'm'), [15.24])
    """
    unit, name = (FOOT, "ft") if units == "us" else (1.0, "m")
    most = most_m / unit
    ten = 10.0 ** math.floor(math.log10(most))
    return ten * (5 if most / ten >= 5 else 2 if most / ten >= 2 else 1) * unit, name
