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

from setout.geometry.lines.curves import Path, path_of
from setout.geometry.lines.measured import Base

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

EXACT = 3e-4
"""How far a parallel may stray from its distance [m]."""
FINEST = 0.02
"""Shortest part that is still halved to follow a bend [m]."""


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
    kept, index = shapely.get_coordinates(shapely.simplify(lines, tolerance, preserve_topology=False), return_index=True)
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
