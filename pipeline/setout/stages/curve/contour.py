"""Rows that follow the level: baselines on the steepest faces, and rows parallel to each as long as their fall allows.

The rule is that of NRCS Conservation Practice Standard 331 (Contour Orchards and Other Perennial Crops): rows are laid
parallel to a baseline on the contour; where a row reaches the greatest grade, a new baseline is set for the ground beyond.
The first baseline is on the steepest face, where level lines lie closest (the Penn State Tree Fruit Production Guide, too,
begins a layout on the contour at the steepest point of the field). So rows lie exactly one row distance apart within the reach of a baseline; between two such sets the gap opens from one
row distance to two, where the next short row comes in, and rows end where it closes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from setout.errors import SetoutError
from setout.geometry.curves import Blade, Spots, Stretch, cut
from setout.geometry.levellines import HeightAt, Surface, fair, gentle_runs, steepest, surface, too_steep, traced
from setout.geometry.parallels import Base, distance_grid, exact, prolonged
from setout.nouns import Block, Bools, Floats, Pattern
from setout.stages.curve.common import Curved, Line, end_m, line_of, numbered, planted_ground, said, trees_along
from setout.stages.curve.falls import doubts, gentle_parts
from setout.stages.curve.guide import best_place

STRETCH_M = 30.0
"""The fall of a row is held to its limit over any stretch as long as this [m], and of a shorter row from end to end."""
LOOKED_AT_M = 2.0
"""Heights along a row are looked up this far apart [m]."""
LEVEL_M = 0.3
"""A block with less between its lowest and its highest ground has no contour to follow [m]."""
FEWEST = 3
"""Rows with fewer trees are left out."""
TRIES = 8
"""Places of the rows across a baseline that are compared."""
LASTING_M = 30.0
"""A fall over the limit for this long ends the rows beyond it too; a shorter one only interrupts its own row [m]."""
MOST_BASELINES = 600
"""So many baselines are laid at most."""
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
    """Rows of one baseline: their trees, and the pieces of line that they take up, ends included."""

    rows: list[Line]
    taken: list[shapely.LineString]


def contour_rows(
    block: Block, ground_to_plant: BaseGeometry, height_at: HeightAt | None, units: str
) -> Curved:
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
    todo = _worthwhile(terms.pattern, ground)
    for _ in range(MOST_BASELINES):
        if not todo:
            break
        area = todo.pop(0)
        found = _one_baseline(terms, area, spots)
        if not found.rows:
            left.append(area)
            continue
        rows += found.rows
        around = shapely.buffer(
            shapely.multilinestrings(found.taken), terms.pattern.row_distance_m * ROUND, quad_segs=16
        )
        todo += _worthwhile(terms.pattern, shapely.difference(area, around))
    return rows, shapely.multipolygons([*left, *todo])


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
    """Lay a baseline through the steepest face of an area, and rows parallel to it as far as their fall allows."""
    pattern, distance = terms.pattern, terms.pattern.row_distance_m
    base = Base(_baseline(terms, area))
    low_x, low_y, high_x, high_y = area.bounds
    across = float(np.hypot(high_x - low_x, high_y - low_y))
    cell = min(max(distance / 2, across / 800), max(across / 8, 0.5))
    grid = distance_grid(base, area.bounds, cell)
    blade = Blade(area)
    first = best_place(pattern, grid, blade, TRIES)
    low, high = grid.span
    numbers = np.arange(np.ceil((low - first) / distance), np.floor((high - first) / distance) + 1)
    levels = first + distance * numbers
    paths = exact(grid, levels.tolist())
    pieces: dict[int, list[Stretch]] = {}
    for k, stretch in cut([path for _, path in paths], blade):
        pieces.setdefault(paths[k][0], []).append(stretch)
    return _outward(terms, pieces, int(np.argmin(np.abs(levels))), spots)


def _baseline(terms: Terms, area: BaseGeometry) -> Floats:
    """Trace a baseline, made as fair as its fall allows, and prolong it beyond the area."""
    ground, distance = terms.ground, terms.pattern.row_distance_m
    aim = terms.aim if terms.bounded else 0.0
    start = steepest(ground, area, 4 * distance)
    step = ground.cell
    line = traced(ground, start, aim, step, distance)
    low_x, low_y, high_x, high_y = area.bounds
    reach = 2 * float(np.hypot(high_x - low_x, high_y - low_y)) + 20 * distance
    if len(line) < 2:  # no slope at all: straight along the area
        corner = np.array([[low_x, (low_y + high_y) / 2], [high_x, (low_y + high_y) / 2]])
        return prolonged(corner, reach)
    allowed = 0.4 * (min(terms.most, 1.0) - aim)
    for spread in (8 * distance, 4 * distance, 2 * distance, distance):
        smoother = fair(line, spread, step)
        if _keeps(ground, smoother, aim, allowed, area):
            line = smoother
            break
    keep = np.append(True, np.hypot(*np.diff(line, axis=0).T) > 1e-6)
    return prolonged(line[keep], reach)


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


def _outward(terms: Terms, pieces: Mapping[int, Sequence[Stretch]], middle: int, spots: Spots) -> Set:
    """Take rows in turn from the baseline to both sides; where the fall passes the limit for long, the next ones end too."""
    out = Set([], [])
    for side, first in ((1, middle), (-1, middle - 1)):
        before = Seen(np.empty((0, 2)), np.empty(0, bool))
        for level in sorted((k for k in pieces if (k - first) * side >= 0), key=lambda k: k * side):
            before = _one_level(terms, pieces[level], before, spots, out)
    return out


def _one_level(terms: Terms, pieces: Sequence[Stretch], before: Seen, spots: Spots, out: Set) -> Seen:
    """Plant what may be planted of one level; return what was seen along it."""
    seen: list[Seen] = []
    for stretch in sorted(pieces, key=lambda p: tuple(np.round(p.path.at(p.low)[:2], 4))):
        count = max(int(np.ceil(stretch.room / LOOKED_AT_M)), 1)
        s, spacing = np.linspace(stretch.low, stretch.high, count + 1), stretch.room / count
        xy = stretch.path.points(s)
        z = np.asarray(terms.height_at(xy[:, 0], xy[:, 1]), float)
        ended = before.ends(xy, 1.5 * terms.pattern.row_distance_m)
        runs = gentle_runs(np.where(ended, np.nan, z), spacing, STRETCH_M, 0.98 * terms.most)
        shut = np.ones(len(s), bool)
        for a, b in runs:
            shut[a : b + 1] = False
            if abs(z[b] - z[a]) >= terms.least * (s[b] - s[a]):
                _plant(terms, Stretch(stretch.path, float(s[a]), float(s[b])), spots, out)
        seen.append(Seen(xy, _lasting(shut, ended, spacing)))
    return Seen(np.concatenate([part.xy for part in seen]), np.concatenate([part.ended for part in seen]))


def _lasting(shut: Bools, ended: Bools, spacing: float) -> Bools:
    """Tell which places end the rows beyond: those of stretches that stay shut for long, or that an earlier row ended."""
    out = np.zeros(len(shut), bool)
    edge = np.flatnonzero(np.diff(np.concatenate([[False], shut, [False]]).astype(np.int8)))
    for a, b in zip(edge[::2], edge[1::2], strict=True):
        out[a:b] = (b - a) * spacing >= LASTING_M or ended[a:b].any()
    return out


def _plant(terms: Terms, stretch: Stretch, spots: Spots, out: Set) -> None:
    """Set the trees of one run, check their fall tree by tree, and keep what is long enough."""
    pattern = terms.pattern
    placed = trees_along(stretch, pattern, spots, None, pattern.row_distance_m)
    kept: list[Line] = []
    for part in gentle_parts(placed, terms.height_at, STRETCH_M, terms.most):
        if len(part) >= FEWEST:
            kept.append(line_of(stretch.path, part))
        else:
            for _, x, y in part:
                spots.drop(x, y)
    if kept:
        out.rows.extend(kept)
        out.taken.append(shapely.LineString(stretch.path.part(stretch.low, stretch.high)))
