"""Rows that follow the level: baselines on the steepest faces, and row after row beside each as long as the fall allows.

The rule is that of NRCS Conservation Practice Standard 331 (Contour Orchards and Other Perennial Crops): rows follow a
baseline on the contour; where a row reaches the greatest grade, a new baseline is set for the ground beyond. A baseline is
laid on the steepest face, where level lines lie closest (the Penn State Tree Fruit Production Guide, too, begins a layout
on the contour at the steepest point of the field). Every next row lies one row distance from the one before wherever its
fall then stays within the limit, and further away, up to the greatest row distance, where that keeps it level enough. Between
the rows of two baselines the gap opens from one row distance to two, where the next short row comes in; where it closes,
a row ends.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from setout.errors import Refusal
from setout.geometry.lines import overlay
from setout.geometry.lines.beside import Rule, next_line, resampled, within
from setout.geometry.lines.curves import Spots
from setout.geometry.lines.levellines import HeightAt, surface
from setout.geometry.lines.pathcut import Blade
from setout.model import Block, Floats, Pattern
from setout.stages.curve.baseline import STRETCH_M, Terms, baseline_of
from setout.stages.curve.common import Curved, Line, end_m, ends_apart_m, numbered, planted_ground
from setout.stages.curve.falls import doubts, gentle_parts
from setout.stages.curve.level import FEWEST, Places, Seen, Set, one_level

LOOKED_UP_M, MOST_ACROSS = 1.5, 3000.0
"""Elevations are looked up about this far apart [m], but no more than so many of them from corner to corner."""
LEVEL_M = 0.3
"""A block with less between its lowest and its highest ground has no contour to follow [m]."""
WIDEST = 1.5
"""Rows open to no more than so many row distances, whatever the pattern's greatest row distance."""
HALVED_FROM = 20.0
"""An area of more than so many square row distances on which no row comes about is tried again in two halves."""
SMALL, SLANTS, BENT = 6.0, np.radians([-30.0, -15.0, 0.0, 15.0, 30.0]), 0.95
"""On ground less than so many of the shortest rows across, it is looked at these angles to the level [rad] whether that row,
bent by so much, might have room."""
MOST_BASELINES = 600
"""So many baselines are laid at most."""
CLOSER_M = 0.02
"""By how much rows may come nearer to each other than their least distance where a line bends between its vertices [m]."""
STRAIGHT_M = 0.002
"""Lines that rows take up lose vertices that lie so near to the straight between others [m], and what is kept from them grows."""
ROUND = 1 / np.cos(np.pi / 64)
"""By how much arcs of 16 chords a quarter are drawn larger, so that they hold the circle."""


def contour_rows(block: Block, ground_to_plant: BaseGeometry, height_at: HeightAt | None) -> Curved:
    """Set out rows along the contour.

    Row 1 is the lowest by its trees' mean elevation; every row is walked with the higher ground on the left hand, so that
    with a least fall all rows fall the way they are walked. The fall is measured on the elevations as they are: over every
    stretch of 30 m and more, and over a shorter row from end to end.
    """
    pattern, ground = block.pattern, planted_ground(block, ground_to_plant)
    # all is laid from the ground's own corner, so that the same ground elsewhere has the same rows
    corner = np.round(ground.bounds[:2], 3)
    here = None if height_at is None else _from(height_at, corner)
    ground = shapely.normalize(shapely.set_precision(shapely.transform(ground, lambda xy: xy - corner), 1e-6))
    terms, here = _terms(block, ground, here)
    spots = Spots(pattern.nearest_m)
    rows: list[Line] = []
    rest: BaseGeometry = ground
    for bounded in (True, False) if pattern.fall[0] > 0 else (False,):
        found, rest = _covered(replace(terms, bounded=bounded), rest, spots)
        rows += found
    checked = _checked(pattern, rows, here)
    mean = [float(np.round(z.mean(), 3)) for _, z in checked]
    order = sorted(range(len(mean)), key=lambda k: (mean[k], *np.round([checked[k][0].x[0], checked[k][0].y[0]], 3)))
    done = [(checked[k][0].moved(*corner.tolist()), checked[k][1]) for k in order]
    return numbered([row for row, _ in done], pattern, ground_to_plant, doubts(block, done))


def _from(height_at: HeightAt, corner: Floats) -> HeightAt:
    """Return what gives heights at places counted from a corner."""
    return lambda x, y: np.asarray(height_at(np.asarray(x) + corner[0], np.asarray(y) + corner[1]), float)


def _checked(pattern: Pattern, rows: Sequence[Line], height_at: HeightAt) -> list[tuple[Line, Floats]]:
    """Hold the finished rows to the elevations at their very trees; return what stands, with these elevations."""
    if not rows:
        return []
    sizes = np.array([len(row.s) for row in rows])
    z = np.asarray(height_at(np.concatenate([r.x for r in rows]), np.concatenate([r.y for r in rows])), float)
    out = []
    for row, own in zip(rows, np.split(z, np.cumsum(sizes)[:-1]), strict=True):
        parts = gentle_parts(row, own, (STRETCH_M, ends_apart_m(pattern)), pattern.fall[1])
        out += [(row.part(a, b), own[a:b]) for a, b in parts if b - a >= FEWEST]
    return out


def _terms(block: Block, ground: BaseGeometry, height_at: HeightAt | None) -> tuple[Terms, HeightAt]:
    """Smooth the heights, and refuse what has no contour; return the heights too, which then are there."""
    pattern = block.pattern
    if height_at is None:
        raise Refusal("contour_without_dem", block=block.name)
    if pattern.lines > 1:
        raise Refusal("contour_lines", block=block.name, lines=pattern.lines)
    low_x, low_y, high_x, high_y = ground.bounds
    distance = pattern.row_distance_m
    margin = 4 * distance
    box = (low_x - margin, low_y - margin, high_x + margin, high_y + margin)
    cell = float(np.clip(distance / 2, 1.0, 5.0))
    across = float(np.hypot(high_x - low_x, high_y - low_y))
    finer = max(round(cell / max(LOOKED_UP_M, across / MOST_ACROSS)), 1)
    smooth = surface(height_at, box, cell, max(distance, 2 * cell), finer)
    z = smooth.as_found(*_spread(ground, cell)) if smooth is not None else np.empty(0)
    if smooth is None or not np.isfinite(z).any():
        raise Refusal("contour_off_dem", block=block.name)
    relief = float(np.nanmax(z) - np.nanmin(z))
    if relief < LEVEL_M:
        raise Refusal("contour_on_level", block=block.name, relief_m=relief)
    shapely.prepare(ground)
    return Terms(pattern, smooth, ground, bounded=False), height_at


def _spread(area: BaseGeometry, cell: float) -> tuple[Floats, Floats]:
    """Return points spread over an area, its vertices among them."""
    low_x, low_y, high_x, high_y = area.bounds
    cell = max(cell, float(np.hypot(high_x - low_x, high_y - low_y)) / 300)
    x, y = np.meshgrid(np.arange(low_x, high_x, cell), np.arange(low_y, high_y, cell))
    inside = shapely.contains_xy(area, x, y)
    corners = shapely.get_coordinates(area)
    return np.concatenate([x[inside], corners[:, 0]]), np.concatenate([y[inside], corners[:, 1]])


def _covered(terms: Terms, ground: BaseGeometry, spots: Spots) -> tuple[list[Line], BaseGeometry]:
    """Lay baseline after baseline over what is left, until no row fits; return the rows and what is left."""
    rows: list[Line] = []
    left: list[BaseGeometry] = []
    distance = terms.pattern.row_distance_m
    todo = _worthwhile(terms, ground)
    for _ in range(MOST_BASELINES):
        if not todo:
            break
        area = todo.pop(0)
        found = _one_baseline(terms, area, spots)
        if not found.rows:
            halves = _worthwhile(terms, _halved(area)) if area.area > HALVED_FROM * distance**2 else []
            todo += halves
            left += [] if halves else [area]
            continue
        rows += found.rows
        drawn = shapely.simplify(shapely.multilinestrings(found.taken), STRAIGHT_M)
        around = shapely.buffer(drawn, distance * ROUND + STRAIGHT_M, quad_segs=16)
        shapely.prepare(around)
        touched = [other for other in todo if shapely.intersects(around, other)]
        todo = [other for other in todo if not shapely.intersects(around, other)]
        left = [overlay.difference(other, around) for other in left]
        for other in (area, *touched):
            todo += _worthwhile(terms, overlay.difference(other, around))
    return rows, overlay.union(np.array([*left, *todo], object))


def _halved(area: BaseGeometry) -> BaseGeometry:
    """Cut an area in two across its longer extent."""
    low_x, low_y, high_x, high_y = area.bounds
    x, y = (low_x + high_x) / 2, (low_y + high_y) / 2
    wide = high_x - low_x >= high_y - low_y
    one = shapely.box(low_x, low_y, x, high_y) if wide else shapely.box(low_x, low_y, high_x, y)
    other = shapely.box(x, low_y, high_x, high_y) if wide else shapely.box(low_x, y, high_x, high_y)
    return shapely.MultiPolygon([part for half in (one, other) for part in shapely.get_parts(overlay.intersection(area, half))])


def _worthwhile(terms: Terms, ground: BaseGeometry) -> list[BaseGeometry]:
    """Return the parts of some ground in which the shortest row might lie, the largest first."""
    pattern = terms.pattern
    length = (FEWEST - 1) * pattern.step_m + 2 * end_m(pattern)
    parts = shapely.get_parts(shapely.normalize(ground))
    kept = [p for p in parts if p.area >= 0.1 * length * pattern.row_distance_m and _long_enough(terms, p, length)]
    return sorted(kept, key=lambda p: (-round(p.area, 3), tuple(np.round(p.bounds, 3))))


def _long_enough(terms: Terms, part: BaseGeometry, length: float) -> bool:
    """Tell whether a part is as long as a row; a small one, about the way in which its level lines run."""
    low_x, low_y, high_x, high_y = part.bounds
    across = float(np.hypot(high_x - low_x, high_y - low_y))
    if across < length or across > SMALL * length:
        return across >= length
    _, gx, gy = terms.ground.at((low_x + high_x) / 2, (low_y + high_y) / 2)
    level = np.arctan2(-gx, gy) + SLANTS if np.hypot(gx, gy) > 0 else np.linspace(0, np.pi, 12)
    places = shapely.get_coordinates(part) @ np.stack([np.cos(level), np.sin(level)])
    return bool(np.ptp(places, axis=0).max() >= BENT * length)


def _one_baseline(terms: Terms, area: BaseGeometry, spots: Spots) -> Set:
    """Lay a baseline on the steepest face of an area, and row after row beside it, on both sides."""
    pattern, distance = terms.pattern, terms.pattern.row_distance_m
    low_x, low_y, high_x, high_y = area.bounds
    margin = 2 * distance
    rule = Rule(
        distance,
        min(pattern.row_distance_max_m, WIDEST * distance),
        terms.rates,
        min(distance / 3, 2.5),
        (low_x - margin, low_y - margin, high_x + margin, high_y + margin),
    )
    baseline = resampled(baseline_of(terms, area), rule)
    blade = Blade(area)
    out = Set([], [], Places(distance - CLOSER_M))
    first = one_level(terms, baseline, blade, Seen(np.empty((0, 2)), np.empty(0, bool)), (spots, out))
    for side in (1, -1):
        line: Floats | None = baseline
        seen = first
        while line is not None and within(line, rule.box):
            counts = np.asarray(shapely.dwithin(area, shapely.points(line), distance), bool)
            line = next_line(terms.ground, line, side, counts, rule)
            if line is None:
                break
            seen = one_level(terms, line, blade, seen, (spots, out))
            # the area is in one piece, so that nothing of it lies beyond a line across it that does not meet it
            if not seen.met or (len(seen.ended) and seen.ended.all()):
                break
    return out
