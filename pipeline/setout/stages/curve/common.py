"""What guide rows, contour rows and screens share: the value they return, and trees along the stretches of a row."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from setout.errors import Refusal
from setout.geometry.lines.curves import Path, Spots, Stretch, path_of, set_along
from setout.geometry.lines.pathcut import Blade, cut
from setout.geometry.rows.braid import braided
from setout.model import Block, Finding, Floats, Ints, Pattern

ARCS_M = 0.006
"""How far the arcs of the ground's polygons may lie beyond the exact setback [m]."""
PASSED = 2.0
"""Two trees of a row more than so many steps apart leave ground between them that is not planted."""
ABOUT = 1.6
"""Trees of the row before are looked for within this many row distances."""


@dataclass(frozen=True, slots=True)
class Curved:
    """Rows that are not straight, as planted.

    Attributes
    ----------
    x, y : trees [m in the frame], in walking order
    row, position : numbers from 1
    piece : number of the piece of row: another one wherever ground between two trees is not planted
    row_line : the line of every row by its number, from its first tree to its last
    row_path : the same lines with what is kept free at both ends for posts and anchors; empty where there are none
    findings : what there is to say about them
    """

    x: Floats
    y: Floats
    row: Ints
    position: Ints
    piece: Ints
    row_line: dict[int, shapely.LineString] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    row_path: dict[int, shapely.LineString] = field(default_factory=dict)

    def __len__(self) -> int:
        """Return the number of trees."""
        return int(self.x.size)


@dataclass(frozen=True, slots=True)
class Line:
    """One row: its trees along a path, and the path.

    Attributes
    ----------
    path : its path
    s : lengths along the path [m], rising
    x, y : trees [m in the frame]
    """

    path: Path
    s: Floats
    x: Floats
    y: Floats

    def part(self, first: int, last: int) -> Line:
        """Return some of its trees as a row of their own."""
        return Line(self.path, self.s[first:last], self.x[first:last], self.y[first:last])

    def moved(self, dx: float, dy: float) -> Line:
        """Return the row somewhere else."""
        path = Path([x + dx for x in self.path.x], [y + dy for y in self.path.y], self.path.s, self.path.closed)
        return Line(path, self.s, self.x + dx, self.y + dy)

    def beyond(self, ends: float) -> Floats:
        """Return the vertices of the row's line with so much more at both ends [m], as far as its path goes."""
        return self.path.part(max(float(self.s[0]) - ends, 0.0), min(float(self.s[-1]) + ends, self.path.length))

    def drawn(self, step: float) -> Floats:
        """Return the vertices of the row's line; that of a single tree is a step long."""
        low, high = float(self.s[0]), float(self.s[-1])
        if high - low < 1e-6:
            low, high = max(low - step / 2, 0.0), min(high + step / 2, self.path.length)
        xy = self.path.part(low, high)
        # the first and the last tree stand on the line to the last digit
        if len(self.s) > 1:
            xy[0], xy[-1] = (self.x[0], self.y[0]), (self.x[-1], self.y[-1])
        return xy


def ends_apart_m(pattern: Pattern) -> float:
    """Return how far the last trees of two rows on one line stand apart [m]: a row distance, or what posts and anchors take."""
    return max(pattern.row_distance_m, 2 * pattern.row_end_m)


def planted_ground(block: Block, ground: BaseGeometry) -> BaseGeometry:
    """Return the ground that a row's line may lie on: what is left inside what the pattern needs on both sides."""
    beside = block.pattern.clearance_m
    join: Literal["round", "mitre"] = "round" if beside else "mitre"  # of a few millimetres no corner is worth an arc
    kept = shapely.buffer(ground, -(beside + ARCS_M), quad_segs=32, join_style=join)
    if kept.is_empty:
        raise Refusal("block_without_ground", block=block.name)
    return shapely.normalize(kept)


def end_m(pattern: Pattern) -> float:
    """Return how much of every piece of a row is kept free at both ends [m]: headland, and post and anchor."""
    return pattern.headland_m + pattern.row_end_m


def trees_along(stretch: Stretch, pattern: Pattern, spots: Spots, before: Line | None, apart: float) -> list[tuple[float, float, float]]:
    """Set the trees of one piece of a row."""
    inner = shortened(stretch, pattern)
    if inner.room < 0:
        return []
    anchor = None
    if before is not None and pattern.shift:
        anchor = _between(inner, before, pattern.step_m, apart)
    placed = set_along(inner, pattern.step_m, spots, anchor)
    for _, x, y in placed:
        spots.add(x, y)
    return placed


def braided_along(lines: Sequence[Sequence[Stretch]], pattern: Pattern, spots: Spots, base: shapely.LineString) -> list[list[Line]]:
    """Set the trees of lines side by side that belong to one row, each line's in the gaps of its neighbours."""

    def along(x: float, y: float) -> float:
        return float(shapely.line_locate_point(base, shapely.Point(x, y)))

    inner = [[p for piece in line if (p := shortened(piece, pattern)).room >= 0] for line in lines]
    ordered = [sorted(line, key=lambda p: round(along(*p.path.at(p.low)[:2]), 4)) for line in inner]
    out: list[list[Line]] = []
    for line, places in zip(ordered, braided(ordered, pattern.step_m, spots, along), strict=True):
        by_path: dict[int, tuple[Path, list[tuple[float, float, float]]]] = {}
        for number, s, x, y in places:
            path = line[number].path
            by_path.setdefault(id(path), (path, []))[1].append((s, x, y))
        out.append([line_of(path, sorted(placed)) for path, placed in by_path.values()])
    return out


def shortened(piece: Stretch, pattern: Pattern) -> Stretch:
    """Take what is kept free at both ends off a piece; a closed line has no ends, unless posts stand at them."""
    whole = piece.path.closed and piece.room >= piece.path.length - 1e-6 and not pattern.row_end_m
    ends = 0.0 if whole else end_m(pattern)
    return Stretch(piece.path, piece.low + ends, piece.high - ends)


def _between(stretch: Stretch, before: Line, step: float, apart: float) -> float | None:
    """Return the place on a stretch abreast of the middle between two trees of the line before."""
    middle = (stretch.low + stretch.high) / 2
    mx, my, _ = stretch.path.at(middle)
    away = np.hypot(before.x - mx, before.y - my)
    k = int(np.argmin(away))
    if away[k] > np.hypot(ABOUT * apart, step):
        return None
    nearby = [j for j in (k - 1, k + 1) if 0 <= j < len(before.x)]
    legs = {j: float(np.hypot(before.x[j] - before.x[k], before.y[j] - before.y[k])) for j in nearby}
    beside = [j for j in nearby if legs[j] < 1.05 * step]
    line = shapely.LineString(stretch.path.xy)
    if beside:
        j = min(beside, key=lambda j: float(away[j]))
        at = shapely.Point((before.x[j] + before.x[k]) / 2, (before.y[j] + before.y[k]) / 2)
        return float(shapely.line_locate_point(line, at))
    return float(shapely.line_locate_point(line, shapely.Point(before.x[k], before.y[k]))) + step / 2


def numbered(rows: list[Line], pattern: Pattern, ground: BaseGeometry, findings: tuple[Finding, ...] = ()) -> Curved:
    """Number rows in the order given, the positions along them, and the pieces that ground not planted parts them in."""
    if not rows:
        none, counts = np.empty(0), np.empty(0, np.int64)
        return Curved(none, none, counts, counts, counts, {}, findings)
    sizes = np.array([len(row.s) for row in rows])
    position = np.arange(sizes.sum()) - np.repeat(np.cumsum(sizes) - sizes, sizes) + 1
    lines = {k: shapely.LineString(row.drawn(pattern.step_m)) for k, row in enumerate(rows, 1)}
    paths = {k: shapely.LineString(row.beyond(pattern.row_end_m)) for k, row in enumerate(rows, 1) if pattern.row_end_m}
    return Curved(
        np.concatenate([row.x for row in rows]),
        np.concatenate([row.y for row in rows]),
        np.repeat(np.arange(1, len(rows) + 1), sizes),
        position,
        _pieces(rows, pattern.step_m, ground),
        lines,
        findings,
        paths,
    )


def _pieces(rows: Sequence[Line], step: float, ground: BaseGeometry) -> Ints:
    """Number the pieces of rows: a new one where the line leaves the ground between two trees, or passes a tree's place."""
    new = [np.append(True, np.hypot(np.diff(row.x), np.diff(row.y)) > PASSED * step) for row in rows]
    paths = {
        k: Path(path.x, path.y, path.s, closed=False)
        for k, row in enumerate(rows)
        if len(row.s) > 1 and (path := path_of(row.path.part(float(row.s[0]), float(row.s[-1])))) is not None
    }
    owner = list(paths)
    for number, stretch in cut(list(paths.values()), Blade(ground)):
        row = rows[owner[number]]
        # the first tree from where the ground begins again is the first of its piece
        first = int(np.searchsorted(row.s - row.s[0], stretch.low - 1e-6))
        new[owner[number]][first : first + 1] = True
    return np.cumsum(np.concatenate(new))


def line_of(path: Path, placed: list[tuple[float, float, float]]) -> Line:
    """Return a row from its trees along a path."""
    s, x, y = np.array(placed, float).reshape(-1, 3).T
    return Line(path, s, x, y)
