"""Rows parallel to a surveyed guide line, on both sides of it, as far as the ground goes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from setout.errors import Refusal
from setout.geometry.lines.curves import Path, Spots, Stretch
from setout.geometry.lines.measured import Base
from setout.geometry.lines.parallels import DistanceGrid, distance_grid, drawn, exact, prolonged
from setout.geometry.lines.pathcut import Blade, cut
from setout.geometry.rows.abreast import set_abreast
from setout.geometry.rows.lattice import Lattice
from setout.model import Block, Finding, Floats, Pattern
from setout.stages.curve.common import Curved, Line, braided_along, end_m, line_of, numbered, planted_ground, shortened, trees_along

TRIES = ((40.0, 16), (80.0, 8), (float("inf"), 1))
"""Up to so many rows, so many places of the rows across the guide line are compared: of many rows, few trees hang on it."""
LONGER = 1.02
"""A step longer than this share of the one asked for, and shorter than two, was stretched by a bend."""
STRETCHED = 0.1
"""Where more than this share of the steps is stretched, a finding says so."""
OUTSIDE = 2.0
"""A guide line further off the ground than so many row distances is no line along its edge."""
ALONGSIDE = 0.5
"""Where less than this share of the trees stands alongside the guide line itself, a finding says so."""


def guide_rows(block: Block, ground_to_plant: BaseGeometry) -> Curved:
    """Set out rows parallel to a guide line.

    The guide is prolonged straight at both ends so that rows reach the ground's edge. Rows lie at multiples of the row
    distance from each other, at the place across the guide, of several that are tried, where most trees fit. Row 1 is on
    the left hand of someone who walks along the guide towards the east (north, where it runs north-south).
    """
    pattern, ground = block.pattern, planted_ground(block, ground_to_plant)
    line, findings = guide_line(block)
    _near_enough(block, line, ground)
    low_x, low_y, high_x, high_y = ground.bounds
    across = float(np.hypot(high_x - low_x, high_y - low_y))
    away = float(shapely.distance(shapely.LineString(line), ground))
    base = Base(prolonged(line, 2 * across + away))
    grid = distance_grid(base, ground, min(max(pattern.row_distance_m / 2, across / 800), across / 8))
    blade = Blade(ground)
    levels = _family(pattern, grid, best_place(pattern, grid, blade))
    rows = _planted(pattern, exact(grid, levels), blade, base)
    doubts = (*findings, *_outside(block, line, away), *_short_guide(block, base, rows), *_stretched(block, rows))
    return numbered(rows, pattern, ground_to_plant, doubts)


def guide_line(block: Block) -> tuple[Floats, tuple[Finding, ...]]:
    """Return a block's line as one run of vertices, towards the east, and what joining it took."""
    lines = [] if block.line is None else _lines_of(block.line)
    if not lines:
        raise Refusal("guide_missing", block=block.name)
    xy, gap = _joined(lines)
    closed = len(xy) > 3 and np.hypot(*(xy[0] - xy[-1])) < 1e-6
    if closed:
        if not shapely.is_ccw(shapely.LinearRing(xy)):
            xy = xy[::-1]
    else:
        dx, dy = np.round(xy[-1] - xy[0], 6)
        if dx < 0 or (dx == 0 and dy < 0):
            xy = xy[::-1]
    if gap < 0.01:
        return xy, ()
    return xy, (Finding("guide_joined", "note", figures={"block": block.name, "gap_m": gap}, geometry=shapely.LineString(xy)),)


def _lines_of(geometry: BaseGeometry) -> list[BaseGeometry]:
    """Return the lines of a geometry, the boundaries of its polygons among them."""
    parts = [shapely.boundary(p) if shapely.get_dimensions(p) == 2 else p for p in shapely.get_parts(geometry)]
    lines = [line for line in shapely.get_parts(parts) if shapely.get_dimensions(line) == 1 and line.length > 1e-6]
    merged = shapely.normalize(shapely.line_merge(shapely.MultiLineString(lines)))
    return [line for line in shapely.get_parts(merged) if line.length > 0]


def _joined(lines: Sequence[BaseGeometry]) -> tuple[Floats, float]:
    """Join lines end to nearest end, beginning with the longest; return the vertices and the widest gap."""
    todo = sorted((shapely.get_coordinates(line) for line in lines), key=lambda xy: (-_length(xy), xy.tolist()))
    done, widest = todo.pop(0), 0.0
    while todo:
        ways = []
        for k, xy in enumerate(todo):
            for way in (xy, xy[::-1]):
                ways.append((float(np.hypot(*(way[0] - done[-1]))), k, True, way))
                ways.append((float(np.hypot(*(way[-1] - done[0]))), k, False, way))
        gap, k, after, way = min(ways, key=lambda w: (round(w[0], 6), w[1], w[2]))
        done = np.vstack([done, way] if after else [way, done])
        widest = max(widest, gap)
        todo.pop(k)
    keep = np.append(True, np.hypot(*np.diff(done, axis=0).T) > 1e-6)
    return done[keep], widest


def _length(xy: Floats) -> float:
    return float(np.round(np.hypot(*np.diff(xy, axis=0).T).sum(), 6))


def _near_enough(block: Block, line: Floats, ground: BaseGeometry) -> None:
    """Refuse a guide line that lies further from the ground than the ground is wide."""
    low_x, low_y, high_x, high_y = ground.bounds
    across = float(np.hypot(high_x - low_x, high_y - low_y))
    away = float(shapely.distance(shapely.LineString(line), ground))
    if away > across / 2:
        raise Refusal("guide_far", block=block.name, away_m=away, across_m=across)


def _outside(block: Block, line: Floats, away: float) -> tuple[Finding, ...]:
    """Say so where the guide line lies off the block, further than a line along its edge would."""
    if away <= OUTSIDE * block.pattern.row_distance_m:
        return ()
    return (Finding("guide_outside", "warn", figures={"block": block.name, "away_m": away}, geometry=shapely.LineString(line)),)


def best_place(pattern: Pattern, grid: DistanceGrid, blade: Blade) -> float:
    """Return the place of the first row across a base line at which most trees fit."""
    period = _lattice(pattern).period
    best, place = -1, 0.0
    ends = 2 * end_m(pattern)
    low, high = grid.span
    rows = (high - low) / pattern.row_distance_m
    tries = next(number for most, number in TRIES if rows < most)
    if tries == 1:
        return 0.0
    for first in np.arange(tries) * period / tries:
        levels = _family(pattern, grid, float(first))
        paths = [path for _, path in drawn(grid, levels)]
        room = np.array([stretch.room for _, stretch in cut(paths, blade)]) - ends
        count = int((np.floor(room[room >= 0] / pattern.step_m + 1e-6) + 1).sum())
        if count > best:
            best, place = count, float(first)
    return place


def _lattice(pattern: Pattern) -> Lattice:
    return Lattice(pattern.step_m, pattern.row_distance_m, 0.0, pattern.alley_every, pattern.alley_width_m)


def _family(pattern: Pattern, grid: DistanceGrid, first: float) -> list[float]:
    """Return the distances of all lines of trees from the base line, row after row and left to right."""
    low, high = grid.span
    half = (pattern.lines - 1) / 2 * pattern.line_distance_m
    rows = _lattice(pattern).lines(first, low - half, high + half)[0][::-1]
    levels: list[float] = (rows[:, None] + half - np.arange(pattern.lines) * pattern.line_distance_m).ravel().tolist()
    return levels


def _planted(pattern: Pattern, paths: Sequence[tuple[int, Path]], blade: Blade, base: Base) -> list[Line]:
    """Set trees along all rows, from the first to the last."""
    spots, rows = Spots(pattern.nearest_m), []
    pieces: dict[int, list[Stretch]] = {}
    for owner, stretch in cut([path for _, path in paths], blade):
        pieces.setdefault(owner, []).append(stretch)
    order = sorted(pieces, key=lambda k: (paths[k][0], _begin(pieces[k][0])))
    if pattern.lines > 1:
        tracks: dict[int, list[Stretch]] = {}
        for k in order:
            tracks.setdefault(paths[k][0], []).extend(pieces[k])
        line = shapely.LineString(base.xy)
        for row in sorted({level // pattern.lines for level in tracks}):
            own = [tracks.get(row * pattern.lines + track, []) for track in range(pattern.lines)]
            rows += [one for lines in braided_along(own, pattern, spots, line) for one in lines]
        return rows
    if not pattern.shift:
        return _abreast(pattern, [pieces[k] for k in order], spots)
    before: dict[int, list[Line]] = {}
    for k in order:
        level = paths[k][0]
        placed: list[tuple[float, float, float]] = []
        for stretch in pieces[k]:
            beside = _beside(stretch, before.get(level - 1, []))
            placed += trees_along(stretch, pattern, spots, beside, pattern.row_distance_m)
        if placed:
            rows.append(line_of(pieces[k][0].path, placed))
            before.setdefault(level, []).append(rows[-1])
    return rows


def _abreast(pattern: Pattern, rows: Sequence[list[Stretch]], spots: Spots) -> list[Line]:
    """Set trees along rows that do not hang on each other."""
    inner = [(k, part) for k, pieces in enumerate(rows) for p in pieces if (part := shortened(p, pattern)).room >= 0]
    placed: list[list[Floats]] = [[] for _ in rows]
    for (k, _), own in zip(inner, set_abreast([part for _, part in inner], pattern.step_m, spots), strict=True):
        placed[k].append(own)
    path = [pieces[0].path for pieces in rows]
    return [Line(path[k], *np.concatenate(own).T) for k, own in enumerate(placed) if sum(map(len, own))]


def _begin(stretch: Stretch) -> tuple[float, float]:
    x, y, _ = stretch.path.at(stretch.low)
    return round(x, 4), round(y, 4)


def _beside(stretch: Stretch, rows: Sequence[Line]) -> Line | None:
    """Return the row, of those before, that comes nearest to the middle of a stretch."""
    x, y, _ = stretch.path.at((stretch.low + stretch.high) / 2)
    return min(rows, key=lambda row: float(np.hypot(row.x - x, row.y - y).min()), default=None)


def _short_guide(block: Block, base: Base, rows: Sequence[Line]) -> tuple[Finding, ...]:
    """Say so where most trees stand beyond the ends of the guide line."""
    if not rows or np.hypot(*(base.xy[0] - base.xy[-1])) < 1e-6:
        return ()
    xy = np.concatenate([np.column_stack([row.x, row.y]) for row in rows])
    _, nearest = base.signed(xy)
    guide = shapely.LineString(base.xy[1:-1])
    beyond = float((shapely.distance(guide, shapely.points(nearest)) > 1e-3).mean())
    if beyond <= 1 - ALONGSIDE:
        return ()
    return (Finding("guide_short", "note", figures={"block": block.name, "share": beyond}, geometry=guide),)


def _stretched(block: Block, rows: Sequence[Line]) -> tuple[Finding, ...]:
    """Say so where bends bring shifted rows out of step, so that trees stand further apart along them than asked."""
    pattern = block.pattern
    if pattern.nearest_m <= pattern.row_distance_m + 1e-9 or not rows:
        return ()
    steps = np.concatenate([np.hypot(np.diff(row.x), np.diff(row.y)) for row in rows])
    steps = steps[steps < 2 * pattern.step_m]
    share = float((steps > LONGER * pattern.step_m).mean()) if len(steps) else 0.0
    if share <= STRETCHED:
        return ()
    figures: dict[str, Any] = {"block": block.name, "share": share, "mean_m": float(steps.mean()), "step_m": pattern.step_m}
    return (Finding("steps_stretched", "note", figures=figures),)
