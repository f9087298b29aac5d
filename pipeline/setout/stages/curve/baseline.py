"""Baselines: lines on the level, or falling steadily, that the rows of an area are laid beside."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from setout.geometry.lines import overlay
from setout.geometry.lines.levellines import Surface, fair, steep_faces, too_steep, traced
from setout.model import Floats, Pattern

STRETCH_M = 30.0
"""The fall of a row is held to its limit over any stretch as long as this [m], and of a shorter row from end to end."""
LOOKED_AT_M = 2.0
"""Heights along a row are looked up this far apart [m]."""
KEPT_BY = 0.8
"""Rows are placed to keep to this share of the greatest fall on smoothed ground; its roughness takes the rest."""
BASELINE_KEPT_BY = 0.4
"""A baseline is made as fair as keeps it to this share of the greatest fall."""
STARTS, STARTS_FROM = 8, 60.0
"""So many baselines are tried on an area of more than so many square row distances, and the longest is taken."""


@dataclass(frozen=True, slots=True)
class Terms:
    """What a block's contour rows keep to.

    Attributes
    ----------
    pattern : step, row distances, headland, fall
    ground : elevations, as they are and smoothed
    whole : all the ground that the block's row lines may lie on
    bounded : the least fall is asked for
    """

    pattern: Pattern
    ground: Surface
    whole: BaseGeometry
    bounded: bool

    @property
    def most(self) -> float:
        """Return the greatest fall, rise over run."""
        return self.pattern.fall[1]

    @property
    def least(self) -> float:
        """Return the least fall that is asked for, rise over run."""
        return self.pattern.fall[0] if self.bounded else 0.0

    @property
    def rates(self) -> tuple[float, float]:
        """Return the least and the greatest change of height along a row that its place is chosen by."""
        most = KEPT_BY * min(self.most, 1.0)
        return (-most, -min(self.least, most)) if self.least else (-most, most)

    @property
    def aim(self) -> float:
        """Return the fall of a baseline: level, or somewhat more than the least fall."""
        least, most = self.pattern.fall
        return (least + min(most, 3 * least)) / 2


def baseline_of(terms: Terms, area: BaseGeometry) -> Floats:
    """Trace a baseline from a steep face, the longest of several that are tried, and make it as fair as its fall allows."""
    ground, distance = terms.ground, terms.pattern.row_distance_m
    aim = terms.aim if terms.bounded else 0.0
    low_x, low_y, high_x, high_y = area.bounds
    margin = 3.5 * distance
    box = (low_x - margin, low_y - margin, high_x + margin, high_y + margin)
    tries = STARTS if area.area > STARTS_FROM * distance**2 else 1
    lines = []
    shapely.prepare(area)
    for start in steep_faces(ground, area, 4 * distance, tries):
        line = traced(ground, box, _fitted(terms, area, (float(start[0]), float(start[1]))), aim)
        lines.append((int(shapely.contains_xy(area, line[:, 0], line[:, 1]).sum()), line))
    line = max(lines, key=lambda found: found[0])[1]
    if len(line) < 2:  # no slope at all: straight along the area
        return np.array([[low_x, (low_y + high_y) / 2], [high_x, (low_y + high_y) / 2]])
    allowed = BASELINE_KEPT_BY * (min(terms.most, 1.0) - aim)
    for spread in (8 * distance, 4 * distance, 2 * distance, distance):
        smoother = fair(line, spread, ground.cell)
        if _keeps(terms, smoother, aim, allowed, area):
            return smoother
    return line


def _fitted(terms: Terms, area: BaseGeometry, start: tuple[float, float]) -> tuple[float, float]:
    """Move a baseline's start up or down its slope, so that rows at the least distance share what is left over."""
    distance = terms.pattern.row_distance_m
    _, gx, gy = terms.ground.at(*start)
    slope = float(np.hypot(gx, gy))
    if not slope > 0:
        return start
    way = np.array([gx, gy]) / slope
    low_x, low_y, high_x, high_y = area.bounds
    far = float(np.hypot(high_x - low_x, high_y - low_y))
    here = np.array(start)
    ray = shapely.LineString([here - far * way, here + far * way])
    # no grid for a line: rows would hang on which of its nodes is nearest
    pieces = [p for p in shapely.get_parts(overlay.intersection(ray, area, None)) if p.length > 0]
    own = min(pieces, key=lambda p: float(shapely.distance(p, shapely.Point(start))), default=None)
    if own is None:
        return start
    ends = np.sort((shapely.get_coordinates(own) - here) @ way)
    room = float(ends[-1] - ends[0])
    spare = room - np.floor(room / distance) * distance
    first = float(ends[0]) + spare / 2
    off = first + np.round(-first / distance) * distance
    off = float(np.clip(off, ends[0], ends[-1]))
    return float(here[0] + off * way[0]), float(here[1] + off * way[1])


def _keeps(terms: Terms, line: Floats, aim: float, allowed: float, area: BaseGeometry) -> bool:
    """Tell whether a smoothed line, where it passes an area, falls as it should."""
    low_x, low_y, high_x, high_y = area.bounds
    s = np.append(0.0, np.cumsum(np.hypot(*np.diff(line, axis=0).T)))
    even = np.arange(0.0, s[-1], LOOKED_AT_M)
    x, y = np.interp(even, s, line[:, 0]), np.interp(even, s, line[:, 1])
    inside = (x >= low_x) & (x <= high_x) & (y >= low_y) & (y <= high_y)
    z = terms.ground.heights(x, y) + aim * even
    edge = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(np.int8)))
    pieces = list(zip(edge[::2], edge[1::2], strict=True))
    return bool(pieces) and not any(too_steep(z[a:b], LOOKED_AT_M, STRETCH_M, allowed).any() for a, b in pieces)
