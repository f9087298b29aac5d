"""Lines parallel to a line, at true nearest distance on both sides of it.

A parallel is a level line of the signed distance to the base line (positive on its left). The distance is laid over a
grid, the level lines are drawn through it, and then every vertex is moved to the exact distance and vertices are put in
until no part strays. What is left of a bend's inside is what is really that far from the whole base line, so parallels of
distances a and b are nowhere nearer to each other than b - a.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from setout.geometry.curves import Path, path_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

EXACT = 3e-4
"""How far a parallel may stray from its distance [m]."""
FINEST = 0.02
"""Shortest part that is still halved to follow a bend [m]."""

FEW_PARTS = 500
"""Of a line of no more parts than this, every part is tried for every point."""
MANY_EVEN = 200
"""Of a line of more parts than this, all about as long, the parts at the nearest vertices are tried."""
ELEMENTS = 1 << 15
"""Pairs of a point and a part that are tried at a time: as many as stay in a processor's own memory."""


class Base:
    """A line that others run parallel to.

    Parameters
    ----------
    xy : (n, 2) ndarray
        Vertices [m], no two in a row the same.

    Examples
    --------
    >>> base = Base(np.array([[0, 0], [10, 0], [10, 10.0]]))
    >>> base.signed(np.array([[5, 2], [5, -3], [13, -4.0]]))[0].tolist()
    [2.0, -3.0, -5.0]
    """

    def __init__(self, xy: Floats) -> None:
        self.xy = xy
        self._a, self._leg = xy[:-1], np.diff(xy, axis=0)
        self._length = np.hypot(*self._leg.T)
        self._closed = bool(np.hypot(*(xy[0] - xy[-1])) < 1e-6)
        self._tree: shapely.STRtree | None = None
        self._longest = float(self._length.max())
        self._even = len(self._a) > MANY_EVEN and self._longest <= 2 * float(np.median(self._length))
        if len(self._a) > FEW_PARTS and not self._even:
            self._tree = shapely.STRtree(np.asarray(shapely.linestrings(np.stack([xy[:-1], xy[1:]], axis=1)), object))

    def signed(self, points: Floats) -> tuple[Floats, Floats]:
        """Return the distance of points from the line [m], positive on its left, and their nearest points on it."""
        if not len(points):
            return np.empty(0), np.empty((0, 2))
        distance, nearest, part, t = self._apart(points)
        side = self._side(points, part)
        # at a vertex two parts are equally near: the one that sees the point more squarely tells its side
        size = len(self._a)
        for at_end, step in ((t >= 1.0, 1), (t <= 0.0, -1)):
            beside = part + step
            if self._closed:
                beside %= size
            known = at_end & (beside >= 0) & (beside < size)
            other = self._side(points, np.where(known, beside, part))
            side = np.where(known & (np.abs(other) > np.abs(side)), other, side)
        return np.where(side < 0, -distance, distance), nearest

    def apart(self, points: Floats) -> tuple[Floats, Floats]:
        """Return the distance of points from the line [m], and their nearest points on it."""
        return self._apart(points)[:2]

    def _apart(self, points: Floats) -> tuple[Floats, Floats, Ints, Floats]:
        """Return distance and nearest point of every point, its nearest part, and the share of the part up to there."""
        part = self._nearest(points)
        t = self._share(points, part)
        nearest = self._a[part] + t[:, None] * self._leg[part]
        off = points - nearest
        return np.hypot(off[:, 0], off[:, 1]), nearest, part, t

    def _nearest(self, points: Floats) -> Ints:
        """Return the nearest part of every point."""
        if self._even and len(points) > 1:
            return self._nearest_vertices(points)
        if self._tree is None:
            return self._each_tried(points)
        part = np.empty(len(points), np.int64)
        found = self._tree.query_nearest(shapely.points(points), all_matches=False)
        part[found[0]] = found[1]
        return part

    def _nearest_vertices(self, points: Floats) -> Ints:
        """Return the nearest parts by the vertices nearest to points; where that is not sure, each is tried.

        A part that is nearer than the one found has an end within sqrt(d^2 + (l / 2)^2), of d the distance found and l the
        length of the longest part. So where the third vertex lies further away, it is one of the parts at the first two.
        """
        from scipy.spatial import cKDTree

        size = len(self._a)
        away, vertex = cKDTree(self.xy[:-1] if self._closed else self.xy).query(points, k=3)
        parts = np.concatenate([vertex[:, :2] - 1, vertex[:, :2]], axis=1)
        parts = parts % size if self._closed else np.clip(parts, 0, size - 1)
        leg, off = self._leg[parts], points[:, None, :] - self._a[parts]
        t = np.clip((off * leg).sum(axis=2) / self._length[parts] ** 2, 0.0, 1.0)
        square = ((off - t[:, :, None] * leg) ** 2).sum(axis=2)
        rows, best = np.arange(len(points)), square.argmin(axis=1)
        part: Ints = parts[rows, best]
        unsure = np.flatnonzero(away[:, 2] ** 2 < square[rows, best] + self._longest**2 / 4)
        if len(unsure):
            part[unsure] = self._each_tried(points[unsure])
        return part

    def _each_tried(self, points: Floats) -> Ints:
        """Return the nearest parts, of all of them: few take less time than looking them up."""
        part = np.empty(len(points), np.int64)
        # |p - a - t w|^2 less |p|^2, which is the same for all parts: |a|^2 - 2 p.a + t (t - 2 u) |w|^2, u = (p - a).w / |w|^2
        middle = self.xy.mean(axis=0)
        a, square = self._a - middle, self._length**2
        share = (self._leg / square[:, None]).T
        begins, twice, own = np.einsum("ij,ji->i", a, share), -2 * a.T, np.einsum("ij,ij->i", a, a)
        many = max(ELEMENTS // len(a), 1)
        for first in range(0, len(points), many):
            near = points[first : first + many] - middle
            along = near @ share
            along -= begins
            t = np.minimum(np.maximum(along, 0.0), 1.0)
            along *= -2.0
            along += t
            along *= t
            along *= square
            along += near @ twice
            along += own
            part[first : first + many] = along.argmin(axis=1)
        return part

    def _share(self, points: Floats, part: Ints) -> Floats:
        leg = self._leg[part]
        along: Floats = np.einsum("ij,ij->i", points - self._a[part], leg) / self._length[part] ** 2
        return np.clip(along, 0.0, 1.0)

    def _side(self, points: Floats, part: Ints) -> Floats:
        leg, off = self._leg[part], points - self._a[part]
        across: Floats = (leg[:, 0] * off[:, 1] - leg[:, 1] * off[:, 0]) / self._length[part]
        return across

    def normal(self, points: Floats) -> Floats:
        """Return the unit normals to the left of the parts nearest to points on the line."""
        part = self._nearest(points)
        leg = self._leg[part] / self._length[part][:, None]
        return np.column_stack([-leg[:, 1], leg[:, 0]])


def prolonged(xy: Floats, reach: float) -> Floats:
    """Prolong a line straight at both ends; where it would meet itself it ends there.

    Parameters
    ----------
    xy : (n, 2) ndarray
        Vertices [m]; a closed line is returned as it is.
    reach : float
        By how much [m].

    Returns
    -------
    (n + 2, 2) ndarray
        Vertices.

    Examples
    --------
    >>> prolonged(np.array([[0, 0], [3, 4.0]]), 5.0).tolist()
    [[-3.0, -4.0], [0.0, 0.0], [3.0, 4.0], [6.0, 8.0]]
    """
    if len(xy) > 3 and np.hypot(*(xy[0] - xy[-1])) < 1e-6:
        return xy
    ends = [_beyond(xy[::-1], reach), _beyond(xy, reach)]
    line = shapely.LineString(xy)
    ends = [_until(end, line) for end in ends]
    before, after = ends
    if shapely.crosses(before, after):
        meeting = shapely.intersection(before, after)
        ends = [shapely.LineString([end.coords[0], shapely.get_coordinates(meeting)[0]]) for end in ends]
    return np.vstack([ends[0].coords[-1], xy, ends[1].coords[-1]])


def _beyond(xy: Floats, reach: float) -> shapely.LineString:
    """Return the straight piece beyond the last vertex, in the direction of the last half metre or more."""
    back = np.hypot(*(xy - xy[-1]).T)
    far = np.flatnonzero(back >= min(0.5, float(back.max())) - 1e-12)
    way = xy[-1] - xy[far[-1]]
    return shapely.LineString([xy[-1], xy[-1] + way / np.hypot(*way) * reach])


def _until(end: shapely.LineString, line: shapely.LineString) -> shapely.LineString:
    """Cut a prolongation where it first meets the line again."""
    start = shapely.Point(end.coords[0])
    met = shapely.get_coordinates(shapely.intersection(end, line))
    away = np.hypot(*(met - np.array(start.coords[0])).T) if len(met) else np.empty(0)
    if not (away > 1e-6).any():
        return end
    return shapely.LineString([end.coords[0], met[np.flatnonzero(away > 1e-6)[np.argmin(away[away > 1e-6])]]])


@dataclass(frozen=True, slots=True)
class DistanceGrid:
    """Signed distance to a base line over a grid.

    Attributes
    ----------
    base : the line
    x, y : coordinates of the columns and rows [m]
    distance : (rows, columns) [m], positive to the left of the line; NaN where it was not measured
    """

    base: Base
    x: Floats
    y: Floats
    distance: Floats

    @property
    def cell(self) -> float:
        """Return the distance from column to column [m]."""
        return float(self.x[1] - self.x[0])

    @property
    def span(self) -> tuple[float, float]:
        """Return the least and the greatest distance [m]."""
        return float(np.nanmin(self.distance)), float(np.nanmax(self.distance))


def distance_grid(base: Base, area: BaseGeometry, cell: float) -> DistanceGrid:
    """Measure the distance to a line over an area.

    Parameters
    ----------
    base : Base
        The line.
    area : BaseGeometry
        Where parallels are wanted.
    cell : float
        Distance of the points that are measured [m].

    Returns
    -------
    DistanceGrid
        Measured in the area and for two cells round it.
    """
    low_x, low_y, high_x, high_y = area.bounds
    x = low_x + cell * np.arange(-2, np.ceil((high_x - low_x) / cell) + 3)
    y = low_y + cell * np.arange(-2, np.ceil((high_y - low_y) / cell) + 3)
    grid = np.column_stack([np.tile(x, len(y)), np.repeat(y, len(x))])
    distance = np.full(len(grid), np.nan)
    near = _near_area(area, x, y, cell).ravel()
    distance[near] = base.signed(grid[near])[0]
    return DistanceGrid(base, x, y, distance.reshape(len(y), len(x)))


def _near_area(area: BaseGeometry, x: Floats, y: Floats, cell: float) -> NDArray[np.bool_]:
    """Tell which points of a grid lie in an area or within two cells of it: marked by its points and edges, and widened."""
    from scipy.ndimage import binary_dilation

    shapely.prepare(area)
    columns, rows = np.meshgrid(x, y)
    marked = shapely.contains_xy(area, columns, rows)
    edge = shapely.get_coordinates(shapely.segmentize(area, cell))
    marked[np.rint((edge[:, 1] - y[0]) / cell).astype(int), np.rint((edge[:, 0] - x[0]) / cell).astype(int)] = True
    return np.asarray(binary_dilation(marked, np.ones((3, 3), bool), iterations=2), bool)


def drawn(grid: DistanceGrid, levels: Sequence[float]) -> list[tuple[int, Path]]:
    """Draw parallels as fine as the grid, for counting and comparing.

    Parameters
    ----------
    grid : DistanceGrid
        Distances.
    levels : Sequence of float
        Distances of the parallels, negative to the right of the base line [m].

    Returns
    -------
    list of tuple
        Index of the level, and a path that runs the base line's way.
    """
    from contourpy import contour_generator

    known = np.ma.masked_invalid(grid.distance)
    generator = contour_generator(grid.x, grid.y, known, name="serial", line_type="Separate")
    out = []
    for k, level in enumerate(levels):
        for xy in generator.lines(float(level)):
            path = path_of(np.asarray(xy, float)) if len(xy) > 1 else None
            if path is not None:
                out.append((k, path))
    return out


def exact(grid: DistanceGrid, levels: Sequence[float], stray: float = EXACT) -> list[tuple[int, Path]]:
    """Draw parallels exactly.

    Parameters
    ----------
    grid : DistanceGrid
        Distances.
    levels : Sequence of float
        Distances of the parallels, negative to the right of the base line [m].
    stray : float
        How far they may stray from their distance [m].

    Returns
    -------
    list of tuple
        Index of the level, and a path that runs the base line's way; no point of it strays further, except within
        ``FINEST`` of a corner.

    Examples
    --------
    >>> grid = distance_grid(Base(np.array([[-50, 0], [0, 0], [0, 50.0]])), shapely.box(-20, -20, 20, 20), 1.0)
    >>> [(k, round(path.length, 1)) for k, path in exact(grid, [4.0])]
    [(0, 36.0)]
    """
    rough = drawn(grid, levels)
    if not rough:
        return []
    xy = np.concatenate([path.xy for _, path in rough])
    owner = np.repeat(np.arange(len(rough)), [len(path.x) for _, path in rough])
    level = np.asarray(levels, float)[[k for k, _ in rough]]
    found = grid.base.signed(xy)
    xy = _moved(grid.base, xy, level[owner], found)
    owner, xy = _unbroken(owner, xy, np.abs(found[0] - level[owner]) > 1.5 * grid.cell)
    # where a parallel is straight it needs no vertex in every cell
    owner, xy = _thinned(owner, xy, stray / 4)
    xy = _moved(grid.base, xy, level[owner // BREAKS])
    owner, xy = _refined(grid.base, owner, xy, level, stray)
    return [(rough[int(owner[first]) // BREAKS][0], path) for first, path in _simplified(owner, xy, stray / 2)]


BREAKS = 1_000_000
"""A path that is broken is counted on within its own number times this."""


def _unbroken(owner: Ints, xy: Floats, astray: NDArray[np.bool_]) -> tuple[Ints, Floats]:
    """Leave out vertices where the grid jumps between sides of a base line that ends; what is left is several paths."""
    breaks = np.cumsum(astray)
    keep = ~astray
    return (owner * BREAKS + breaks % BREAKS)[keep], xy[keep]


def _moved(base: Base, xy: Floats, level: Floats, found: tuple[Floats, Floats] | None = None) -> Floats:
    """Move points to their distance from the base line, straight away from it; found is their distance, where it is known."""
    distance, nearest = base.signed(xy) if found is None else found
    away = np.abs(distance) > 1e-6
    out = nearest.copy()
    out[away] += (xy[away] - nearest[away]) * (level[away] / distance[away])[:, None]
    on = ~away & (level != 0)
    if on.any():
        out[on] += base.normal(nearest[on]) * level[on][:, None]
    return out


def _refined(base: Base, owner: Ints, xy: Floats, level: Floats, stray: float) -> tuple[Ints, Floats]:
    """Halve the parts that stray, until none does."""
    open_parts = np.ones(len(xy), bool)
    for _ in range(12):
        part = np.flatnonzero((owner[1:] == owner[:-1]) & open_parts[:-1])
        part = part[np.hypot(*(xy[part + 1] - xy[part]).T) > FINEST]
        middle = (xy[part] + xy[part + 1]) / 2
        wanted = level[owner[part] // BREAKS]
        strays = np.abs(base.signed(middle)[0] - wanted) > stray / 2
        part, middle, wanted = part[strays], middle[strays], wanted[strays]
        if not len(part):
            break
        open_parts = np.zeros(len(xy), bool)
        open_parts[part] = True
        middle = _moved(base, middle, wanted)
        xy = np.insert(xy, part + 1, middle, axis=0)
        new_owner = np.insert(owner, part + 1, owner[part])
        open_parts = np.insert(open_parts, part + 1, True)
        owner = new_owner
    return owner, xy


def _thinned(owner: Ints, xy: Floats, tolerance: float) -> tuple[Ints, Floats]:
    """Leave out the vertices of paths that lie on the straight between others."""
    _, number, count = np.unique(owner, return_inverse=True, return_counts=True)
    many = count[number] > 1
    names, number = np.unique(owner[many], return_inverse=True)
    if not len(names):
        return owner[many], xy[many]
    lines = shapely.linestrings(xy[many], indices=number)
    kept, index = shapely.get_coordinates(
        shapely.simplify(lines, tolerance, preserve_topology=False), return_index=True
    )
    return names[index], kept


def _simplified(owner: Ints, xy: Floats, tolerance: float) -> list[tuple[int, Path]]:
    """Return the paths with the vertices that they need, each with the index of its first vertex."""
    first = np.flatnonzero(np.append(True, owner[1:] != owner[:-1]))
    last = np.append(first[1:], len(owner))
    out = []
    for a, b in zip(first, last, strict=True):
        if b - a < 2:
            continue
        line = shapely.simplify(shapely.LineString(xy[a:b]), tolerance, preserve_topology=False)
        path = path_of(shapely.get_coordinates(line))
        if path is not None:
            out.append((int(a), path))
    return out
