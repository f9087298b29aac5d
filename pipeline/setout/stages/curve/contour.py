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

from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from setout.errors import SetoutError
from setout.geometry.beside import Rule, next_line, resampled, within
from setout.geometry.curves import Blade, Spots, Stretch, cut, path_of
from setout.geometry.levellines import HeightAt, Surface, fair, gentle_runs, steep_faces, surface, too_steep, traced
from setout.nouns import Block, Bools, Floats, Pattern
from setout.stages.curve.common import Curved, Line, end_m, line_of, numbered, planted_ground, said, trees_along
from setout.stages.curve.falls import doubts, gentle_parts

STRETCH_M = 30.0
"""The fall of a row is held to its limit over any stretch as long as this [m], and of a shorter row from end to end."""
LOOKED_AT_M = 2.0
"""Heights along a row are looked up this far apart [m]."""
LEVEL_M = 0.3
"""A block with less between its lowest and its highest ground has no contour to follow [m]."""
FEWEST = 3
"""Rows with fewer trees are left out."""
WIDEST = 1.5
"""Rows open to no more than so many row distances, whatever the pattern's greatest row distance."""
KEPT_BY = 0.8
"""Rows are placed to keep to this share of the greatest fall on smoothed ground; its roughness takes the rest."""
STARTS, STARTS_FROM = 4, 60.0
"""So many baselines are tried on an area of more than so many square row distances, and the longest is taken."""
HALVED_FROM = 20.0
"""An area of more than so many square row distances on which no row comes about is tried again in two halves."""
LASTING_M = 30.0
"""A fall over the limit for this long ends the rows beyond it too; a shorter one only interrupts its own row [m]."""
MOST_BASELINES = 600
"""So many baselines are laid at most."""
CLOSER_M = 0.02
"""By how much rows may come nearer to each other than their least distance where a line bends between its vertices [m]."""
ROUND = 1 / np.cos(np.pi / 64)
"""By how much arcs of 16 chords a quarter are drawn larger, so that they hold the circle."""


@dataclass(frozen=True, slots=True)
class Terms:
    """What a block's contour rows keep to.

    Attributes
    ----------
    pattern : step, row distances, headland, fall
    height_at : elevations [m]
    ground : smoothed heights
    bounded : the least fall is asked for
    """

    pattern: Pattern
    height_at: HeightAt
    ground: Surface
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


@dataclass(frozen=True, slots=True)
class Seen:
    """Places along one level, and whether the rows beyond end there."""

    xy: Floats
    ended: Bools

    def ends(self, xy: Floats, distance: float) -> Bools:
        """Tell which points lie beyond an end: whose nearest place, within a distance [m], is one."""
        if not self.ended.any():
            return np.zeros(len(xy), bool)
        from scipy.spatial import cKDTree

        away, nearest = cKDTree(self.xy).query(xy, distance_upper_bound=distance)
        return np.asarray(np.isfinite(away) & self.ended[np.minimum(nearest, len(self.ended) - 1)], bool)


@dataclass(frozen=True, slots=True)
class Set:
    """Rows of one baseline: their trees, the pieces of line that they take up, ends included, and places along these."""

    rows: list[Line]
    taken: list[shapely.LineString]
    places: Spots


def contour_rows(block: Block, ground_to_plant: BaseGeometry, height_at: HeightAt | None, units: str) -> Curved:
    """Set out rows along the contour.

    Row 1 is the lowest by its trees' mean elevation; every row is walked with the higher ground on the left hand, so that
    with a least fall all rows fall the way they are walked. The fall is measured on the elevations as they are: over every
    stretch of 30 m and more, and over a shorter row from end to end.

    Parameters
    ----------
    block : Block
        Its pattern has the range of row distances and of the fall.
    ground_to_plant : BaseGeometry
        Usable ground [m in the frame].
    height_at : callable or None
        Elevations.
    units : str
        "us" or "si", for what people read.

    Returns
    -------
    Curved
        Trees in walking order.

    Raises
    ------
    SetoutError
        There is no DEM, the ground is level, or the pattern has several lines in a row.
    """
    pattern, ground = block.pattern, planted_ground(block, ground_to_plant)
    terms = _terms(block, ground, height_at, units)
    spots = Spots(pattern.nearest_m)
    rows: list[Line] = []
    rest: BaseGeometry = ground
    for bounded in (True, False) if pattern.fall[0] > 0 else (False,):
        found, rest = _covered(replace(terms, bounded=bounded), rest, spots)
        rows += found
    heights = [float(np.round(np.nanmean(terms.height_at(row.x, row.y)), 3)) for row in rows]
    order = sorted(range(len(rows)), key=lambda k: (heights[k], round(rows[k].x[0], 3), round(rows[k].y[0], 3)))
    done = [rows[k] for k in order]
    return numbered(done, pattern.step_m, doubts(block, done, terms.height_at, units))


def _terms(block: Block, ground: BaseGeometry, height_at: HeightAt | None, units: str) -> Terms:
    """Smooth the heights, and refuse what has no contour."""
    pattern, where = block.pattern, f"block {block.name}"
    if height_at is None:
        raise SetoutError(
            "contour rows need elevations, and there is no DEM", where,
            'add dem = ["..."] to [site], or give a straight direction',
        )  # fmt: skip
    if pattern.lines > 1:
        raise SetoutError(
            f"contour rows have one line of trees, not {pattern.lines}", where,
            "write lines = 1, or give it a straight direction or a guide line",
        )  # fmt: skip
    low_x, low_y, high_x, high_y = ground.bounds
    distance = pattern.row_distance_m
    margin = 4 * distance
    box = (low_x - margin, low_y - margin, high_x + margin, high_y + margin)
    cell = float(np.clip(distance / 2, 1.0, 5.0))
    smooth = surface(height_at, box, cell, max(distance, 2 * cell))
    x, y = _spread(ground, cell)
    z = np.asarray(height_at(x, y), float)
    if smooth is None or not np.isfinite(z).any():
        raise SetoutError(
            "contour rows need elevations, and the DEM has none on its ground", where,
            "give a DEM that covers the block, or a straight direction",
        )  # fmt: skip
    relief = float(np.nanmax(z) - np.nanmin(z))
    if relief < LEVEL_M:
        raise SetoutError(
            f"its ground is level (within {said(relief, units)}): there is no contour to follow", where,
            'give it a straight direction, such as direction = "longest side"',
        )  # fmt: skip
    return Terms(pattern, height_at, smooth, bounded=False)


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
    todo = _worthwhile(terms.pattern, ground)
    for _ in range(MOST_BASELINES):
        if not todo:
            break
        area = todo.pop(0)
        found = _one_baseline(terms, area, spots)
        if not found.rows:
            halves = _worthwhile(terms.pattern, _halved(area)) if area.area > HALVED_FROM * distance**2 else []
            todo += halves
            left += [] if halves else [area]
            continue
        rows += found.rows
        around = shapely.buffer(shapely.multilinestrings(found.taken), distance * ROUND, quad_segs=16)
        todo += _worthwhile(terms.pattern, shapely.difference(area, around))
    return rows, shapely.union_all(np.array([*left, *todo], object))


def _halved(area: BaseGeometry) -> BaseGeometry:
    """Cut an area in two across its longer extent."""
    low_x, low_y, high_x, high_y = area.bounds
    x, y = (low_x + high_x) / 2, (low_y + high_y) / 2
    wide = high_x - low_x >= high_y - low_y
    one = shapely.box(low_x, low_y, x, high_y) if wide else shapely.box(low_x, low_y, high_x, y)
    other = shapely.box(x, low_y, high_x, high_y) if wide else shapely.box(low_x, y, high_x, high_y)
    return shapely.MultiPolygon(
        [part for half in (one, other) for part in shapely.get_parts(shapely.intersection(area, half))
         if shapely.get_dimensions(part) == 2]
    )  # fmt: skip


def _worthwhile(pattern: Pattern, ground: BaseGeometry) -> list[BaseGeometry]:
    """Return the parts of some ground in which the shortest row might lie, the largest first."""
    length = (FEWEST - 1) * pattern.step_m + 2 * end_m(pattern)
    parts = [p for p in shapely.get_parts(shapely.normalize(ground)) if shapely.get_dimensions(p) == 2]
    kept = []
    for part in parts:
        low_x, low_y, high_x, high_y = part.bounds
        long_enough = np.hypot(high_x - low_x, high_y - low_y) >= length
        if long_enough and part.area >= 0.1 * length * pattern.row_distance_m:
            kept.append(part)
    return sorted(kept, key=lambda p: (-round(p.area, 3), tuple(np.round(p.bounds, 3))))


def _one_baseline(terms: Terms, area: BaseGeometry, spots: Spots) -> Set:
    """Lay a baseline on the steepest face of an area, and row after row beside it, on both sides."""
    pattern, distance = terms.pattern, terms.pattern.row_distance_m
    low_x, low_y, high_x, high_y = area.bounds
    margin = 2 * distance
    rule = Rule(
        distance, min(pattern.row_distance_max_m, WIDEST * distance), terms.rates, min(distance / 3, 2.5),
        (low_x - margin, low_y - margin, high_x + margin, high_y + margin),
    )  # fmt: skip
    baseline = resampled(_baseline(terms, area), rule)
    blade = Blade(area)
    around = shapely.buffer(area, distance, quad_segs=2)
    shapely.prepare(around)
    out = Set([], [], Spots(distance - CLOSER_M))
    first = _one_level(terms, baseline, blade, Seen(np.empty((0, 2)), np.empty(0, bool)), (spots, out))
    for side in (1, -1):
        line: Floats | None = baseline
        seen = first
        while line is not None and within(line, rule.box):
            counts = shapely.contains_xy(around, line[:, 0], line[:, 1])
            line = next_line(terms.ground, line, side, counts, rule)
            if line is None:
                break
            seen = _one_level(terms, line, blade, seen, (spots, out))
            if len(seen.ended) and seen.ended.all():
                break
    return out


def _baseline(terms: Terms, area: BaseGeometry) -> Floats:
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
    allowed = 0.4 * (min(terms.most, 1.0) - aim)
    for spread in (8 * distance, 4 * distance, 2 * distance, distance):
        smoother = fair(line, spread, ground.cell)
        if _keeps(ground, smoother, aim, allowed, area):
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
    pieces = [p for p in shapely.get_parts(shapely.intersection(ray, area)) if p.length > 0]
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


def _keeps(ground: Surface, line: Floats, aim: float, allowed: float, area: BaseGeometry) -> bool:
    """Tell whether a smoothed line, where it passes an area, falls as it should."""
    low_x, low_y, high_x, high_y = area.bounds
    x, y = line.T
    inside = (x >= low_x) & (x <= high_x) & (y >= low_y) & (y <= high_y)
    if not inside.any():
        return False
    s = np.append(0.0, np.cumsum(np.hypot(*np.diff(line, axis=0).T)))
    even = np.arange(0.0, s[-1], LOOKED_AT_M)
    ex, ey = np.interp(even, s, x), np.interp(even, s, y)
    z = np.array([ground.at(px, py)[0] for px, py in zip(ex, ey, strict=True)])
    near = np.interp(even, s, inside.astype(float)) > 0
    z = np.where(near, z + aim * even, np.nan)
    bad = too_steep(np.where(np.isfinite(z), z, 0.0), LOOKED_AT_M, STRETCH_M, allowed)
    return not bool((bad & near & np.isfinite(z)).any())


def _one_level(terms: Terms, line: Floats, blade: Blade, before: Seen, into: tuple[Spots, Set]) -> Seen:
    """Plant what may be planted along one line; return what was seen along it."""
    path = path_of(line)
    seen: list[Seen] = []
    spots, out = into
    planted: list[Floats] = []
    for _, stretch in cut([path], blade) if path is not None else ():
        count = max(int(np.ceil(stretch.room / LOOKED_AT_M)), 1)
        s, spacing = np.linspace(stretch.low, stretch.high, count + 1), stretch.room / count
        xy = stretch.path.points(s)
        z = np.asarray(terms.height_at(xy[:, 0], xy[:, 1]), float)
        ended = before.ends(xy, WIDEST * 1.2 * terms.pattern.row_distance_m)
        ended |= np.fromiter((out.places.near(px, py) is not None for px, py in xy.tolist()), bool, len(xy))
        runs = gentle_runs(np.where(ended, np.nan, z), spacing, STRETCH_M, 0.98 * terms.most)
        shut = np.ones(len(s), bool)
        for (a, b), (low, high) in zip(runs, _apart(runs, s, terms.pattern.row_distance_m), strict=True):
            shut[a : b + 1] = False
            falls = abs(z[b] - z[a]) >= terms.least * (s[b] - s[a])
            if falls and _plant(terms, Stretch(stretch.path, low, high), spots, out):
                planted.append(xy[a : b + 1])
        seen.append(Seen(xy, _lasting(shut, ended, spacing)))
    for px, py in np.concatenate([np.empty((0, 2)), *planted]).tolist():
        out.places.add(px, py)
    none = [Seen(np.empty((0, 2)), np.empty(0, bool))]
    return Seen(np.concatenate([p.xy for p in seen or none]), np.concatenate([p.ended for p in seen or none]))


def _apart(runs: list[tuple[int, int]], s: Floats, distance: float) -> list[tuple[float, float]]:
    """Return where runs of one line begin and end, so that the ends of two rows keep the distance of rows."""
    low, high = s[[a for a, _ in runs]], s[[b for _, b in runs]]
    short = np.maximum(distance - (low[1:] - high[:-1]), 0.0) / 2
    low[1:] += short
    high[:-1] -= short
    return list(zip(low.tolist(), high.tolist(), strict=True))


def _lasting(shut: Bools, ended: Bools, spacing: float) -> Bools:
    """Tell which places end the rows beyond: those of stretches that stay shut for long, or that an earlier row ended."""
    out = np.zeros(len(shut), bool)
    edge = np.flatnonzero(np.diff(np.concatenate([[False], shut, [False]]).astype(np.int8)))
    for a, b in zip(edge[::2], edge[1::2], strict=True):
        out[a:b] = (b - a) * spacing >= LASTING_M or ended[a:b].any()
    return out


def _plant(terms: Terms, stretch: Stretch, spots: Spots, out: Set) -> bool:
    """Set the trees of one run, check their fall tree by tree, and keep what is long enough; tell whether anything is."""
    pattern = terms.pattern
    placed = trees_along(stretch, pattern, spots, None, pattern.row_distance_m)
    parts = [
        p
        for p in gentle_parts(placed, terms.height_at, (STRETCH_M, pattern.row_distance_m), terms.most)
        if len(p) >= FEWEST
    ]
    for tree in set(placed).difference(*parts):
        spots.drop(*tree[1:])
    if not parts:
        return False
    out.rows.extend(line_of(stretch.path, part) for part in parts)
    out.taken.append(shapely.LineString(stretch.path.part(stretch.low, stretch.high)))
    return True
