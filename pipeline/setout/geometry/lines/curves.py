r"""Points along curved lines: each exactly one step, in a straight line, from the one before it.

A *path* is a polyline with its length counted along it. The next point is where the path first leaves the circle of one
step round the last point, so that a bend never brings two neighbours nearer than the step::

            .-''''-.
           /   p----+\ q      q = first point of the path at the step's straight distance from p
    ------+----'      \
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from functools import cached_property
from math import floor, hypot, sqrt

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

ROUNDING = 1e-9
"""By how much a distance may fall short [m]: float rounding, nothing else."""
UNEVEN = 0.02
"""By how much what is left over at the two ends of a stretch may differ [m]."""

RIGHT_ANGLE = 1.57
"""A right angle, or a little less [rad]."""


@dataclass(frozen=True)
class Path:
    """A polyline.

    Attributes
    ----------
    x, y : vertices [m], no two in a row the same
    s : length along it up to each vertex [m]
    closed : the last vertex is the first one again, and no end is meant
    """

    x: list[float]
    y: list[float]
    s: list[float]
    closed: bool = False

    @property
    def length(self) -> float:
        """Return the length [m]."""
        return self.s[-1]

    @cached_property
    def _arrays(self) -> tuple[Floats, Floats, Floats]:
        """Return lengths and coordinates as arrays: lists are what single look-ups are quick in."""
        return np.array(self.s), np.array(self.x), np.array(self.y)

    @property
    def xy(self) -> Floats:
        """Return the vertices as an (n, 2) array."""
        return np.column_stack(self._arrays[1:])

    def at(self, s: float, first: int = 0) -> tuple[float, float, int]:
        """Return the point at a length, and the index of its part; the search begins at part ``first``."""
        s_all, last = self.s, len(self.s) - 2
        if first == 0:
            first = min(max(bisect_right(s_all, s) - 1, 0), last)
        while first < last and s_all[first + 1] <= s:
            first += 1
        t = (s - s_all[first]) / (s_all[first + 1] - s_all[first])
        x, y = self.x, self.y
        return x[first] + t * (x[first + 1] - x[first]), y[first] + t * (y[first + 1] - y[first]), first

    def points(self, s: Floats) -> Floats:
        """Return the points at some lengths, (n, 2)."""
        at, x, y = self._arrays
        out = np.empty((len(s), 2))
        out[:, 0], out[:, 1] = np.interp(s, at, x), np.interp(s, at, y)
        return out

    def part(self, low: float, high: float) -> Floats:
        """Return the vertices from one length to another, the two ends included, (n, 2)."""
        s = self._arrays[0]
        inner = s[(s > low + 1e-7) & (s < high - 1e-7)]
        return self.points(np.concatenate([[low], inner, [high]]))

    @cached_property
    def _headings(self) -> Floats:
        """Return the direction of every part [rad], turn added to turn."""
        _, x, y = self._arrays
        dx, dy = np.diff(x), np.diff(y)
        turn = np.arctan2(dx[:-1] * dy[1:] - dy[:-1] * dx[1:], dx[:-1] * dx[1:] + dy[:-1] * dy[1:])
        return np.concatenate([[0.0], np.cumsum(turn)])

    def onward(self, low: float, high: float) -> bool:
        """Tell whether all parts between two lengths head within a right angle, so that what lies further on lies further off."""
        first, last = max(bisect_right(self.s, low) - 1, 0), bisect_right(self.s, high)
        own = self._headings[first:last]
        return bool(len(own) < 2 or own.max() - own.min() <= RIGHT_ANGLE)

    def reversed(self) -> Path:
        """Return the same polyline the other way."""
        total = self.s[-1]
        return Path(self.x[::-1], self.y[::-1], [total - s for s in self.s[::-1]], self.closed)


def path_of(xy: Floats) -> Path | None:
    """Return a path through some vertices, repeated ones left out.

    Parameters
    ----------
    xy : (n, 2) ndarray
        Vertices [m]; a line whose last vertex is its first is closed.

    Returns
    -------
    Path or None
        None where all vertices are one.

    Examples
    --------
    >>> path = path_of(np.array([[0, 0], [3, 4], [3, 4], [3, 14.0]]))
    >>> path.length, path.at(10.0)
    (15.0, (3.0, 9.0, 1))
    """
    xy = np.asarray(xy, float)
    leg = np.hypot(*np.diff(xy, axis=0).T)
    keep = np.append(True, leg > 1e-7)
    xy, leg = xy[keep], leg[keep[1:]]
    if len(xy) < 2:
        return None
    closed = len(xy) > 3 and bool(np.hypot(*(xy[0] - xy[-1])) < 1e-6)
    if closed:
        xy[-1] = xy[0]
        leg[-1] = np.hypot(*(xy[-1] - xy[-2]))
    return Path(xy[:, 0].tolist(), xy[:, 1].tolist(), np.concatenate([[0.0], np.cumsum(leg)]).tolist(), closed)


class Spots:
    """Points that others keep a distance from, in square cells twice as wide as that distance.

    Parameters
    ----------
    distance : float
        What is kept [m].

    Examples
    --------
    >>> spots = Spots(2.0)
    >>> spots.add(0.0, 0.0)
    >>> spots.near(1.0, 1.0), spots.near(0.0, 2.0)
    ((0.0, 0.0), None)
    """

    def __init__(self, distance: float) -> None:
        self.distance = distance
        self._limit = (distance - 1e-6) ** 2
        self._scale = 0.5 / distance
        self._cells: dict[tuple[int, int], list[tuple[float, float]]] = {}

    def add(self, x: float, y: float) -> None:
        """Take one point up."""
        self._cells.setdefault((floor(x * self._scale), floor(y * self._scale)), []).append((x, y))

    def drop(self, x: float, y: float) -> None:
        """Let go of a point that was taken up."""
        self._cells[floor(x * self._scale), floor(y * self._scale)].remove((x, y))

    def near(self, x: float, y: float) -> tuple[float, float] | None:
        """Return a point that stands too near, if there is one."""
        # of cells twice as wide as the distance, it reaches into two each way
        i, j = floor(x * self._scale - 0.5), floor(y * self._scale - 0.5)
        cells, limit = self._cells, self._limit
        for cell in ((i, j), (i, j + 1), (i + 1, j), (i + 1, j + 1)):
            if cell in cells:
                for px, py in cells[cell]:
                    if (px - x) * (px - x) + (py - y) * (py - y) < limit:
                        return px, py
        return None


def leave(path: Path, s: float, part: int, centre: tuple[float, float], radius: float) -> tuple[float, int]:
    """Return where a path next leaves a circle that it is in.

    Parameters
    ----------
    path : Path
        The path.
    s, part : float, int
        Where it is now: length along it [m], index of its part.
    centre, radius : tuple of float, float
        The circle [m].

    Returns
    -------
    tuple
        Length along the path [m], inf where it stays inside to its end; index of the part.

    Examples
    --------
    >>> bend = path_of(np.array([[0, 0], [10, 0], [10, 10.0]]))
    >>> s, part = leave(bend, 8.0, 0, (8.0, 0.0), 4.0)
    >>> round(s, 4), part
    (13.4641, 1)
    """
    x, y, lengths = path.x, path.y, path.s
    cx, cy = centre
    limit = radius * radius
    for k in range(part, len(x) - 1):
        dx, dy = x[k + 1] - cx, y[k + 1] - cy
        if dx * dx + dy * dy < limit:
            continue
        length = lengths[k + 1] - lengths[k]
        ux, uy = (x[k + 1] - x[k]) / length, (y[k + 1] - y[k]) / length
        ox, oy = x[k] - cx, y[k] - cy
        along = ox * ux + oy * uy
        inside = along * along - (ox * ox + oy * oy - limit)
        out = lengths[k] - along + sqrt(max(inside, 0.0))
        if out >= s - ROUNDING:
            return max(out, s), k
    return float("inf"), part


@dataclass(frozen=True, slots=True)
class Stretch:
    """What is left of a path: from one length to another [m]."""

    path: Path
    low: float
    high: float

    @property
    def room(self) -> float:
        """Return its length [m]."""
        return self.high - self.low


def walked(stretch: Stretch, first: float, step: float, spots: Spots | None = None) -> list[tuple[float, float, float]]:
    """Set points from a place on a stretch to its end, each at the first place that is far enough from those before.

    Parameters
    ----------
    stretch : Stretch
        Where points may be.
    first : float
        Where the first one would be [m along the path].
    step : float
        Straight distance between neighbours [m].
    spots : Spots, optional
        What points keep clear of beside each other.

    Returns
    -------
    list of tuple
        Length along the path, x and y [m].

    Examples
    --------
    >>> bend = path_of(np.array([[0, 0], [10, 0], [10, 10.0]]))
    >>> [tuple(round(v, 3) for v in place) for place in walked(Stretch(bend, 0.0, 20.0), 0.0, 6.0)]
    [(0.0, 0.0, 0.0), (6.0, 6.0, 0.0), (14.472, 10.0, 4.472)]
    """
    path, high = stretch.path, stretch.high + ROUNDING
    # on a path that keeps its heading, a step from the last point is more than a step from those before
    bent = not path.onward(stretch.low, stretch.high) or (spots is not None and spots.distance > step)
    out: list[tuple[float, float, float]] = []
    own = Spots(spots.distance if spots is not None else step)
    s, part = first, 0
    while s <= high:
        px, py, part = path.at(s, part)
        near = spots.near(px, py) if spots is not None else None
        if near is None and bent:
            near = own.near(px, py)
        if near is not None:
            s, part = leave(path, s, part, near, own.distance)
            continue
        out.append((s, px, py))
        if bent:
            own.add(px, py)
        s, part = leave(path, s, part, (px, py), step)
    return out


def set_along(stretch: Stretch, step: float, spots: Spots | None = None, anchor: float | None = None) -> list[tuple[float, float, float]]:
    """Set as many points along a stretch as the walk gives, in its middle or lined up with a place on it.

    Parameters
    ----------
    stretch : Stretch
        Where points may be.
    step : float
        Straight distance between neighbours [m].
    spots : Spots, optional
        What they keep clear of; where something is in the way, a point slides on to the first free place.
    anchor : float, optional
        A place where a point is wanted [m along the path]; without it, what is left over is shared by both ends.

    Returns
    -------
    list of tuple
        Length along the path, x and y [m], in walking order; none where nothing is left of it.

    Examples
    --------
    >>> straight = path_of(np.array([[0, 0], [20, 0.0]]))
    >>> [x for _, x, _ in set_along(Stretch(straight, 0.0, 20.0), 6.0)]
    [1.0, 7.0, 13.0, 19.0]
    >>> [x for _, x, _ in set_along(Stretch(straight, 0.0, 20.0), 6.0, anchor=9.0)]
    [3.0, 9.0, 15.0]
    """
    if stretch.room < -ROUNDING:
        return []
    if stretch.path.closed and stretch.room >= stretch.path.length - ROUNDING:
        return _round_and_round(stretch, step, spots)
    from_end = walked(stretch, stretch.low, step, spots)
    if anchor is not None and stretch.low <= anchor <= stretch.high:
        lined_up = _both_ways(stretch, anchor, step, spots)
        return lined_up if len(lined_up) >= len(from_end) - 1 else from_end
    if not from_end:
        return []
    best = from_end
    for _ in range(2):
        slack = (stretch.high - best[-1][0]) - (best[0][0] - stretch.low)
        if abs(slack) < UNEVEN:
            break
        moved = walked(stretch, best[0][0] + slack / 2, step, spots)
        if len(moved) < len(best):
            break
        best = moved
    return best


def _both_ways(stretch: Stretch, anchor: float, step: float, spots: Spots | None) -> list[tuple[float, float, float]]:
    """Walk from a place to both ends."""
    onward = walked(stretch, anchor, step, spots)
    if not onward:
        return []
    total = stretch.path.length
    back = Stretch(stretch.path.reversed(), total - stretch.high, total - stretch.low)
    s0, x0, y0 = onward[0]
    first, _ = leave(back.path, total - s0, 0, (x0, y0), step)
    before = walked(back, first, step, spots) if first <= back.high + ROUNDING else []
    limit = step - 1e-6
    clear = [p for p in before if all(hypot(p[1] - x, p[2] - y) >= limit for _, x, y in onward[:2])]
    return [(total - s, x, y) for s, x, y in reversed(clear)] + onward


def _round_and_round(stretch: Stretch, step: float, spots: Spots | None) -> list[tuple[float, float, float]]:
    """Set points round a whole closed path: the last keeps its step to the first too."""
    out = walked(stretch, stretch.low, step, spots)
    while len(out) > 1 and hypot(out[-1][1] - out[0][1], out[-1][2] - out[0][2]) < step - 1e-6:
        out.pop()
    return out
