"""Screens: one or more staggered lines of plants along a line."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from setout.errors import Refusal
from setout.geometry.lines import overlay
from setout.geometry.lines.curves import Path, Spots, Stretch, path_of
from setout.geometry.lines.measured import Base
from setout.geometry.lines.parallels import distance_grid, exact, prolonged
from setout.geometry.lines.pathcut import Blade, cut
from setout.model import Block, Finding, Floats, Pattern
from setout.stages.curve.common import Curved, Line, braided_along, line_of, numbered, planted_ground, trees_along

SLACK_M = 0.01
"""By how much a gap may pass the step without being told [m]."""


def screen_rows(block: Block, ground_to_plant: BaseGeometry) -> Curved:
    """Set out a screen: plants along its line, or along lines beside each other with the line in their middle.

    The lines are its rows, the left one first, walked the way the line was drawn; plants of neighbouring lines stand
    between each other.
    """
    ground = planted_ground(block, ground_to_plant)
    parts = screen_lines(block)
    spots = Spots(_nearest(block.pattern))
    placed: list[list[Line]] = [[] for _ in range(block.pattern.lines)]
    for part in parts:
        tracks = [_stretches(block, part, track, ground) for track in range(block.pattern.lines)]
        if len(tracks) > 1:
            for line, own in zip(placed, braided_along(tracks, block.pattern, spots, shapely.LineString(part)), strict=True):
                line += own
            continue
        for stretch in tracks[0]:
            plants = trees_along(stretch, block.pattern, spots, None, block.pattern.step_m)
            placed[0] += [line_of(stretch.path, plants)] if plants else []
    lines = [_one_line(own) for own in placed if own]
    if not lines:
        raise Refusal("screen_off_ground", block=block.name)
    report = screen_report(block, *_all(lines), block.height_m)
    return numbered(lines, block.pattern, ground_to_plant, report)


def _nearest(pattern: Pattern) -> float:
    """Return how near plants of a screen may come to each other [m]: a step, or the slant between staggered lines."""
    slant = float(np.hypot(pattern.step_m / 2, pattern.line_distance_m)) if pattern.lines > 1 else pattern.step_m
    return min(pattern.step_m, slant)


def screen_lines(block: Block) -> list[Floats]:
    """Return the parts of a screen's line, each as vertices [m in the frame]."""
    line = block.line
    if line is not None and not line.is_empty and shapely.get_dimensions(line) == 2:
        line = shapely.boundary(line)
    merged = None if line is None or line.is_empty else shapely.line_merge(line)
    parts = [] if merged is None else [shapely.get_coordinates(p) for p in shapely.get_parts(merged) if p.length > 1e-6]
    if not parts:
        raise Refusal("screen_without_line", block=block.name)
    return sorted(parts, key=lambda xy: xy.round(4).tolist())


def _stretches(block: Block, xy: Floats, track: int, ground: BaseGeometry) -> list[Stretch]:
    """Return what one of a screen's lines has of the ground, beside one part of the line."""
    pattern = block.pattern
    off = ((pattern.lines - 1) / 2 - track) * pattern.line_distance_m
    if abs(off) < 1e-9:
        path = path_of(xy)
        return [stretch for _, stretch in cut([path], Blade(ground))] if path is not None else []
    wide = 2 * abs(off) + pattern.line_distance_m
    closed = np.hypot(*(xy[0] - xy[-1])) < 1e-6
    beside = shapely.buffer(shapely.LineString(xy), wide, quad_segs=16, cap_style="flat")
    strip = overlay.intersection(ground, beside)
    if strip.is_empty or strip.area <= 0:
        return []
    base = Base(xy if closed else prolonged(xy, 4 * wide))
    grid = distance_grid(base, beside, abs(off) / 2)
    paths = [path for _, path in exact(grid, [off])]
    found = [stretch for _, stretch in cut(paths, Blade(strip))]
    line = shapely.LineString(xy)
    return sorted(found, key=lambda s: float(shapely.line_locate_point(line, shapely.Point(*s.path.at(s.low)[:2]))))


def _one_line(pieces: list[Line]) -> Line:
    """Join the pieces of a line to one row; where they lie on different paths, straight from end to end."""
    if len({id(piece.path) for piece in pieces}) == 1:
        return Line(pieces[0].path, *(np.concatenate([getattr(p, name) for p in pieces]) for name in ("s", "x", "y")))
    drawn = [piece.path.part(float(piece.s[0]), float(piece.s[-1])) for piece in pieces]
    joined = path_of(np.concatenate(drawn))
    if joined is None:
        return pieces[0]
    s, start = [], 0.0
    for k, piece in enumerate(pieces):
        start += float(np.hypot(*(drawn[k][0] - drawn[k - 1][-1]))) if k else 0.0
        s.append(start + piece.s - piece.s[0])
        start += float(piece.s[-1] - piece.s[0])
    return Line(joined, np.concatenate(s), np.concatenate([p.x for p in pieces]), np.concatenate([p.y for p in pieces]))


def _all(lines: list[Line]) -> tuple[Floats, Floats]:
    return np.concatenate([line.x for line in lines]), np.concatenate([line.y for line in lines])


def screen_report(block: Block, x: Floats, y: Floats, height_m: float) -> tuple[Finding, ...]:
    """Say how much of its line a screen covers, and where a gap is wider than the step.

    >>> from setout.model import Pattern
    >>> line = shapely.LineString([(0, 0), (30, 0)])
    >>> block = Block("S", None, Pattern("screen", 3.0, 3.0), "guide", (), line=line)
    >>> x = np.array([0.0, 3, 6, 9, 18, 21, 24, 27, 30])
    >>> length, gap = screen_report(block, x, 0 * x, 4.0)
    >>> length.figures["covered_m"], length.figures["line_m"], gap.figures["gap_m"]
    (21.0, 30.0, 9.0)
    """
    step, covered, total = block.pattern.step_m, 0.0, 0.0
    gaps: list[tuple[float, Floats]] = []
    parts = screen_lines(block)
    lines = [shapely.LineString(part) for part in parts]
    plants = np.asarray(shapely.points(x, y), object)
    nearest = np.argmin(np.array([shapely.distance(line, plants) for line in lines]), axis=0)
    for k, (xy, line) in enumerate(zip(parts, lines, strict=True)):
        place = np.sort(shapely.line_locate_point(line, plants[nearest == k]))
        total += line.length
        path = path_of(xy)
        if path is None:
            continue
        ends = _gaps(path, place, step)
        gaps += [(float(b - a), path.part(float(a), float(b))) for a, b in ends]
        covered += line.length - sum(b - a for a, b in ends)
    what: dict[str, Any] = {"block": block.name, "purpose": block.purpose}
    length: dict[str, Any] = {"plants": len(x), "height_m": height_m, "covered_m": covered, "line_m": total}
    found = [Finding("screen_length", "note", figures={**what, **length}, geometry=shapely.multilinestrings(lines))]
    for wide, where in gaps:
        gap = {**what, "gap_m": wide, "step_m": step}
        found.append(Finding("screen_gap", "warn", figures=gap, geometry=shapely.LineString(where)))
    return tuple(found)


def _gaps(path: Path, place: Floats, step: float) -> list[tuple[float, float]]:
    """Return the pieces of a line between neighbouring plants that stand further apart than the step, its ends included."""
    if not len(place):
        return [(0.0, path.length)]
    if path.closed:
        low, high = place, np.append(place[1:], place[0] + path.length)
        low, high = low[high <= path.length], high[high <= path.length]
    else:
        low, high = np.concatenate([[0.0], place]), np.concatenate([place, [path.length]])
    straight = np.hypot(*(path.points(high) - path.points(low)).T)
    wide = straight > step + SLACK_M
    return [(float(a), float(b)) for a, b in zip(low[wide], high[wide], strict=True)]
