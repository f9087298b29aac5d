"""How far points lie from a line, on which side, and where on it they are nearest."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

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
