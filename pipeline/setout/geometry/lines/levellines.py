"""Lines that keep, or steadily lose, height on a surface, and how steep a line runs over the ground.

Heights are smoothed before a line is traced, so that roughness of a cell or two does not make it wriggle; how much a
finished line rises and falls is measured on the heights as they are.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import asin, atan2, cos, hypot, pi, sin

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
HeightAt = Callable[[Floats, Floats], Floats]
"""Takes x and y [m], gives heights [m], NaN where there is none."""

FACE = 0.85
"""A face is where ground is at least this share as steep as at its steepest place."""
LEVEL = 1e-4
"""Ground less steep than this (rise over run) has no direction of its own."""
ONCE_ROUND, PASSES = 2 * pi + 0.6, 4.0
"""A level line that has turned so far [rad] has gone round; it closes where it passes its start within so many steps."""
MOST_TURNED = pi / 2
"""How far a falling line turns on either side of its start at most [rad]; prolonged, it then never meets itself."""
STEEPEST_TURN = 0.8
"""Sine of the greatest angle between a falling line and the level: beyond it ground is too flat for the fall wanted."""


@dataclass(frozen=True, slots=True)
class Surface:
    """Smoothed heights and their slope over a grid.

    Attributes
    ----------
    x0, y0, cell : first column, first row, distance between them [m]
    z, gx, gy : (rows, columns) smoothed heights [m] and their slope along x and y, rise over run
    found, finer : heights as they were found, NaN for none, over a grid from the same corner this many times finer
    """

    x0: float
    y0: float
    cell: float
    z: Floats
    gx: Floats
    gy: Floats
    found: Floats
    finer: int

    def at(self, x: float, y: float) -> tuple[float, float, float]:
        """Return height and slope at a point, bilinear; NaN outside."""
        u, v = (x - self.x0) / self.cell, (y - self.y0) / self.cell
        rows, cols = self.z.shape
        i, j = int(v), int(u)
        if not (0 <= u < cols - 1 and 0 <= v < rows - 1):
            return float("nan"), float("nan"), float("nan")
        p, q = u - j, v - i
        a, b, c, d = (1 - p) * (1 - q), p * (1 - q), (1 - p) * q, p * q
        k, z, gx, gy = i * cols + j, self.z.item, self.gx.item, self.gy.item
        return (
            a * z(k) + b * z(k + 1) + c * z(k + cols) + d * z(k + cols + 1),
            a * gx(k) + b * gx(k + 1) + c * gx(k + cols) + d * gx(k + cols + 1),
            a * gy(k) + b * gy(k + 1) + c * gy(k + cols) + d * gy(k + cols + 1),
        )

    def heights(self, x: Floats, y: Floats) -> Floats:
        """Return smoothed heights at points, bilinear; beyond the grid those of its edge."""
        from scipy import ndimage

        at = [(y - self.y0) / self.cell, (x - self.x0) / self.cell]
        return np.asarray(ndimage.map_coordinates(self.z, at, order=1, mode="nearest"), float)

    def as_found(self, x: Floats, y: Floats) -> Floats:
        """Return heights at points as they were found, bilinear; NaN where one of the four beside a point has none."""
        u, v = ((np.asarray(c, float) - c0) * (self.finer / self.cell) for c, c0 in ((x, self.x0), (y, self.y0)))
        rows, cols = self.found.shape
        j, i = np.clip(u.astype(np.int64), 0, cols - 2), np.clip(v.astype(np.int64), 0, rows - 2)
        p, q = u - j, v - i
        z = self.found
        low = z[i, j] * (1 - p) + z[i, j + 1] * p
        high = z[i + 1, j] * (1 - p) + z[i + 1, j + 1] * p
        return np.asarray(low * (1 - q) + high * q, float)

    def nodes(self, rows: slice, cols: slice) -> tuple[Floats, Floats]:
        """Return x and y of the grid points of some rows and columns, row after row."""
        x = self.x0 + self.cell * np.arange(self.z.shape[1])[cols]
        y = self.y0 + self.cell * np.arange(self.z.shape[0])[rows]
        return np.tile(x, len(y)), np.repeat(y, len(x))


def surface(height_at: HeightAt, bounds: Sequence[float], cell: float, smooth: float, finer: int = 1) -> Surface | None:
    """Smooth the heights over a box.

    Parameters
    ----------
    height_at : callable
        Heights.
    bounds : Sequence of float
        The box: least x, least y, greatest x, greatest y [m].
    cell : float
        Distance of the points that heights are smoothed for [m].
    smooth : float
        Standard deviation of the Gaussian weights [m].
    finer : int
        How many times closer heights are looked up.

    Returns
    -------
    Surface or None
        Gaps are filled from what lies round them; None where there is no height at all.

    Examples
    --------
    >>> plane = surface(lambda x, y: 0.1 * x, (0, 0, 100, 100), 5.0, 10.0)
    >>> [round(part, 3) + 0.0 for part in plane.at(50.0, 50.0)]
    [5.0, 0.1, 0.0]
    """
    from scipy import ndimage

    low_x, low_y, high_x, high_y = bounds
    close = cell / finer
    x = low_x + close * np.arange(finer * np.ceil((high_x - low_x) / cell) + 1)
    y = low_y + close * np.arange(finer * np.ceil((high_y - low_y) / cell) + 1)
    found = z = np.asarray(height_at(np.tile(x, len(y)), np.repeat(y, len(x))), float).reshape(len(y), len(x))
    known = np.isfinite(z)
    if not known.any():
        return None
    if not known.all():
        nearest = ndimage.distance_transform_edt(~known, return_distances=False, return_indices=True)
        z = z[tuple(nearest)]
    middle = float(z.mean())
    # beyond the box the ground is taken to go on as it came, so that lines meet the edge at their own angle
    wide = max(int(np.ceil(3 * smooth / close)), 1)
    wide = min(wide, min(z.shape) - 1)
    padded = np.pad(z - middle, wide, mode="reflect", reflect_type="odd") if wide > 0 else z - middle
    padded = ndimage.gaussian_filter(padded, smooth / close, truncate=3.0)
    z = padded[wide : padded.shape[0] - wide, wide : padded.shape[1] - wide][::finer, ::finer] + middle
    gy, gx = np.gradient(z, cell)
    return Surface(float(x[0]), float(y[0]), cell, z, gx, gy, found, finer)


def steep_faces(ground: Surface, area: BaseGeometry, across: float, most: int) -> Floats:
    """Return places on the steep faces of an area, spread over them.

    Parameters
    ----------
    ground : Surface
        Smoothed heights.
    area : BaseGeometry
        Where to look.
    across : float
        How wide a face is: slopes are averaged over as much [m].
    most : int
        How many places at most.

    Returns
    -------
    (n, 2) ndarray
        Places [m]; the first is the one nearest to the area's middle, each next one furthest from those before.

    Examples
    --------
    >>> hump = surface(lambda x, y: np.where(x < 50, 0.02 * x, 1 + 0.2 * (x - 50)), (0, 0, 100, 100), 5.0, 5.0)
    >>> steep_faces(hump, shapely.box(0, 0, 90, 100), 10.0, 2).tolist()
    [[60.0, 50.0], [85.0, 5.0]]
    """
    from scipy import ndimage

    size = max(round(across / ground.cell), 1)
    rows, cols = (
        slice(max(int((low - start) / ground.cell) - size, 0), max(int((high - start) / ground.cell) + size + 2, 0))
        for low, high, start in ((area.bounds[1], area.bounds[3], ground.y0), (area.bounds[0], area.bounds[2], ground.x0))
    )
    slope = ndimage.uniform_filter(np.hypot(ground.gx[rows, cols], ground.gy[rows, cols]), size)
    x, y = ground.nodes(rows, cols)
    inside = np.flatnonzero(shapely.contains_xy(area, x, y))
    if not len(inside):
        return shapely.get_coordinates(shapely.point_on_surface(area))
    steep = np.round(slope.ravel()[inside], 6)
    best = inside[steep >= FACE * steep.max()]
    places = np.column_stack([x[best], y[best]])
    middle = shapely.get_coordinates(shapely.centroid(area))[0]
    chosen = [int(np.argmin(np.round(np.hypot(*(places - middle).T), 6)))]
    away = np.full(len(places), np.inf)
    while len(chosen) < min(most, len(places)):
        away = np.minimum(away, np.hypot(*(places - places[chosen[-1]]).T))
        chosen.append(int(np.argmax(np.round(away, 6))))
    return places[chosen]


def traced(ground: Surface, box: Sequence[float], start: tuple[float, float], fall: float) -> Floats:
    """Trace the line through a point that keeps its height or falls steadily, with higher ground on its left.

    Parameters
    ----------
    ground : Surface
        Smoothed heights; vertices come as far apart as its cells.
    box : Sequence of float
        Where the line is wanted: least x, least y, greatest x, greatest y [m].
    start : tuple of float
        The point [m].
    fall : float
        Fall along the line, rise over run; 0 for level. A line that falls does not close: it ends where it has turned by
        a right angle from the point.

    Returns
    -------
    (n, 2) ndarray
        Vertices; the last is the first where the line closes.

    Examples
    --------
    >>> cone = surface(lambda x, y: -0.1 * np.hypot(x, y), (-100, -100, 100, 100), 2.0, 4.0)
    >>> ring = traced(cone, (-90, -90, 90, 90), (50.0, 0.0), 0.0)
    >>> bool(np.abs(np.hypot(*ring.T) - 50).max() < 0.1), ring[0].tolist() == ring[-1].tolist()
    (True, True)
    """
    onward, closes = _one_way(ground, box, start, (fall, ground.cell))
    if closes:
        return np.array([start, *onward, start])
    back, _ = _one_way(ground, box, start, (fall, -ground.cell))
    return np.array([*reversed(back), start, *onward])


def _one_way(
    ground: Surface, box: Sequence[float], start: tuple[float, float], way_of: tuple[float, float]
) -> tuple[list[tuple[float, float]], bool]:
    """Trace until the line leaves the box, closes, or there is no slope left; a falling one until it has turned round."""
    fall, step = way_of
    low_x, low_y, high_x, high_y = box
    out: list[tuple[float, float]] = []
    x, y = start
    level, *_ = ground.at(x, y)
    most = int(8 * (high_x - low_x + high_y - low_y) / abs(step)) + 8
    turned, heading = 0.0, None
    for count in range(1, most):
        way = _way(ground, x, y, fall)
        if way is None:
            break
        half = _way(ground, x + way[0] * step / 2, y + way[1] * step / 2, fall)
        if half is None:
            break
        x, y = x + half[0] * step, y + half[1] * step
        if heading is not None:
            turned += atan2(heading[0] * half[1] - heading[1] * half[0], heading[0] * half[0] + heading[1] * half[1])
        heading = half
        if fall == 0:
            x, y = _levelled(ground, x, y, level, abs(step))
        if not (low_x <= x <= high_x and low_y <= y <= high_y):
            break
        if count > 4 and hypot(x - start[0], y - start[1]) < 0.75 * abs(step):
            return out, fall == 0
        if fall and abs(turned) > MOST_TURNED:
            break
        out.append((x, y))
        if not fall and abs(turned) > ONCE_ROUND:
            return _once_round(out, start, abs(step))
    return out, False


def _once_round(line: list[tuple[float, float]], start: tuple[float, float], step: float) -> tuple[list[tuple[float, float]], bool]:
    """Return a line that has gone round past its start without meeting it, up to where it passes it, and whether it closes there."""
    away = [hypot(x - start[0], y - start[1]) for x, y in line]
    half = len(line) // 2
    last = half + min(range(len(line) - half), key=lambda k: away[half + k])
    return line[:last], away[last] < PASSES * step


def _way(ground: Surface, x: float, y: float, fall: float) -> tuple[float, float] | None:
    """Return the direction of a line at a point, higher ground on its left; None on level ground or outside."""
    _, gx, gy = ground.at(x, y)
    slope = hypot(gx, gy)
    if not slope >= LEVEL:
        return None
    up_x, up_y = gx / slope, gy / slope
    angle = asin(min(fall / slope, STEEPEST_TURN))
    return up_y * cos(angle) - up_x * sin(angle), -up_x * cos(angle) - up_y * sin(angle)


def _levelled(ground: Surface, x: float, y: float, level: float, step: float) -> tuple[float, float]:
    """Move a point back to its height, by no more than a fifth of a step."""
    z, gx, gy = ground.at(x, y)
    slope = hypot(gx, gy)
    if not slope >= LEVEL:
        return x, y
    off = max(-0.2 * step, min(0.2 * step, (level - z) / slope))
    return x + off * gx / slope, y + off * gy / slope


def fair(xy: Floats, spread: float, step: float) -> Floats:
    """Smooth a line along its length.

    Parameters
    ----------
    xy : (n, 2) ndarray
        Vertices about a step apart [m]; closed where the last is the first.
    spread : float
        Standard deviation of the Gaussian weights along the line [m].
    step : float
        Distance of the vertices [m].

    Returns
    -------
    (n, 2) ndarray
        Vertices; the two ends of an open line stay.

    Examples
    --------
    >>> fair(np.array([[0, 0], [1, 1], [2, -1], [3, 1], [4, 0.0]]), 2.0, 1.0)[[0, -1]].tolist()
    [[0.0, 0.0], [4.0, 0.0]]
    """
    from scipy import ndimage

    if spread <= 0 or len(xy) < 4:
        return xy
    closed = bool(np.hypot(*(xy[0] - xy[-1])) < 1e-6)
    sigma = spread / step
    if closed:
        out = ndimage.gaussian_filter1d(xy[:-1], sigma, axis=0, mode="wrap")
        return np.vstack([out, out[:1]])
    wide = min(int(np.ceil(4 * sigma)), len(xy) - 1)
    padded = np.concatenate([2 * xy[0] - xy[wide:0:-1], xy, 2 * xy[-1] - xy[-2 : -wide - 2 : -1]])
    out = np.asarray(ndimage.gaussian_filter1d(padded, sigma, axis=0)[wide : wide + len(xy)], float)
    out[[0, -1]] = xy[[0, -1]]
    return out


def too_steep(z: Floats, spacing: float, stretch: float, most: float) -> Bools:
    """Tell where a line rises or falls too much over a stretch.

    Every stretch that is as long as that and up to twice as long is looked at (a longer one consists of such), and a line
    shorter than that from end to end. Of one that is too steep, the middle is told.

    Parameters
    ----------
    z : (n,) ndarray
        Heights at places that lie evenly along the line [m]; NaN counts as too steep.
    spacing : float
        Distance from one to the next [m].
    stretch : float
        Length of the shortest stretch that counts [m].
    most : float
        Greatest rise over run.

    Returns
    -------
    (n,) ndarray of bool
        True in the middle of what is too steep.

    Examples
    --------
    >>> too_steep(np.array([0, 0, 0, 0, 1, 2, 3, 3.0]), 10.0, 20.0, 0.06).astype(int).tolist()
    [0, 0, 0, 1, 1, 1, 1, 0]
    """
    size = len(z)
    bad = ~np.isfinite(z)
    shortest = min(int(np.ceil(stretch / spacing - 1e-9)), size - 1)
    if shortest < 1:
        return bad
    if not bad.any() and float(z.max() - z.min()) <= most * shortest * spacing:
        return bad  # less between the lowest and the highest place than any stretch may rise
    for lag in range(shortest, min(2 * shortest, size - 1) + 1):
        rise = np.abs(z[lag:] - z[:-lag])
        over = np.flatnonzero(rise > most * lag * spacing)
        bad[over + lag // 2] = True
        bad[over + (lag + 1) // 2] = True
    return bad


def gentle_runs(z: Floats, spacing: float, stretch: float, most: float) -> list[tuple[int, int]]:
    """Return the longest runs of a line on which nothing is too steep.

    Parameters
    ----------
    z : (n,) ndarray
        Heights at places that lie evenly along the line [m].
    spacing, stretch, most : float
        As for :func:`too_steep`.

    Returns
    -------
    list of tuple
        First and last place of every run of two places and more, in order.

    Examples
    --------
    >>> gentle_runs(np.array([0, 0, 0, 0, 1, 2, 3, 3.0]), 10.0, 20.0, 0.06)
    [(0, 2)]
    """
    todo, done = [(0, len(z) - 1)], []
    while todo:
        first, last = todo.pop()
        if last - first < 1:
            continue
        bad = too_steep(z[first : last + 1], spacing, stretch, most)
        if not bad.any():
            done.append((first, last))
            continue
        edge = np.flatnonzero(np.diff(np.concatenate([[True], bad, [True]]).astype(np.int8)))
        todo += [(first + int(a), first + int(b) - 1) for a, b in zip(edge[::2], edge[1::2], strict=True)]
    return sorted(done)
