"""Coordinates of very many points in another system, fast and with a stated error.

A smooth mapping of the plane is close to bilinear over a small patch. The mapping is worked out exactly at the corners
of square patches, the patches halved until twice the largest error found at their centres and sides is below a
tolerance, and points are then interpolated. Whoever asks in which cell a point lies gets the exact answer: points
nearer to a cell's side than the error are mapped exactly.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mapping = Callable[[Floats, Floats], tuple[Floats, Floats]]
Box = tuple[float, float, float, float]

FEW = 20_000
"""Fewer points than this are mapped exactly: laying patches would cost as much."""
_CHUNK = 1 << 16
_MOST_NODES = 250_000


@dataclass(frozen=True, slots=True)
class PatchMap:
    """A mapping worked out patch by patch.

    Attributes
    ----------
    exact : the mapping itself, (x, y) to (u, v), arrays in and out
    x0, y0, step : lower corner of the first patch and side of the patches, in the unit of x and y
    shape : number of patches along y and along x; (0, 0) when every point is mapped exactly
    terms : per patch the factors of 1, s, t and s t for u, then for v, with s and t from 0 to 1 across the patch
    error : bound of the error of u and v
    """

    exact: Mapping
    x0: float
    y0: float
    step: float
    shape: tuple[int, int]
    terms: Floats
    error: float

    def __call__(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Return the mapped coordinates, within :attr:`error`; points outside the patches are mapped exactly."""
        x, y = np.asarray(x, float), np.asarray(y, float)
        if not self.terms.size:
            u, v = self.exact(x, y)
            return np.asarray(u, float), np.asarray(v, float)
        u, v = np.empty(x.shape), np.empty(x.shape)
        flat = x.ravel(), y.ravel(), u.reshape(-1), v.reshape(-1)
        for k in range(0, x.size, _CHUNK):
            self._chunk(*(part[k : k + _CHUNK] for part in flat))
        return u, v

    def _chunk(self, x: Floats, y: Floats, u: Floats, v: Floats) -> None:
        s, t = (x - self.x0) / self.step, (y - self.y0) / self.step
        inside = (s >= 0) & (t >= 0) & (s < self.shape[1]) & (t < self.shape[0])
        whole = bool(inside.all())
        if not whole:
            s, t = np.where(inside, s, 0.0), np.where(inside, t, 0.0)
        i, j = t.astype(np.int64), s.astype(np.int64)
        s -= j
        t -= i
        a, b, c, d, e, f, g, h = self.terms[i * self.shape[1] + j].T
        u[:] = a + b * s + (c + d * s) * t
        v[:] = e + f * s + (g + h * s) * t
        if not whole:
            u[~inside], v[~inside] = self.exact(x[~inside], y[~inside])


def exactly(exact: Mapping) -> PatchMap:
    """Return a mapping that maps every point exactly."""
    return PatchMap(exact, 0.0, 0.0, 1.0, (0, 0), np.empty((0, 8)), 0.0)


def over(exact: Mapping, box: Box, tolerance: float, step: float) -> PatchMap:
    """Lay patches over a box.

    Parameters
    ----------
    exact : Mapping
        The mapping, smooth over the box.
    box : (float, float, float, float)
        x and y least, x and y most.
    tolerance : float
        Largest error allowed, in the unit of u and v.
    step : float
        Side of the patches to begin with, in the unit of x and y.

    Returns
    -------
    PatchMap
        One that maps exactly where patches do not pay or the mapping is not finite.

    Examples
    --------
    >>> square = over(lambda x, y: (x * x, x * y), (0.0, 0.0, 10.0, 10.0), 1e-3, 8.0)
    >>> u, v = square(np.array([3.3]), np.array([7.7]))
    >>> bool(abs(u[0] - 3.3**2) < 1e-3), round(float(v[0]), 9), square.error < 1e-3
    (True, 25.41, True)
    """
    x0, y0, x1, y1 = box
    while True:
        cols, rows = (int(np.ceil((high - low) / step + 1e-9)) or 1 for low, high in ((x0, x1), (y0, y1)))
        if 4 * rows * cols > _MOST_NODES:
            return exactly(exact)
        # every patch's corners, the middles of its sides and its centre
        x, y = x0 + step / 2 * np.arange(2 * cols + 1), y0 + step / 2 * np.arange(2 * rows + 1)
        u, v = (np.asarray(p, float).reshape(len(y), len(x)) for p in exact(*(p.ravel() for p in np.meshgrid(x, y))))
        if not (np.isfinite(u).all() and np.isfinite(v).all()):
            return exactly(exact)
        error = 2 * max(_worst(u), _worst(v))
        if error <= tolerance:
            terms = np.column_stack([_bilinear(u), _bilinear(v)])
            return PatchMap(exact, x0, y0, step, (rows, cols), terms, error)
        step /= 2


def _worst(u: Floats) -> float:
    """Return the largest error of bilinear interpolation at the middles of sides and the centres."""
    nodes = u[::2, ::2]
    sides = np.abs((nodes[:, 1:] + nodes[:, :-1]) / 2 - u[::2, 1::2]).max()
    ends = np.abs((nodes[1:] + nodes[:-1]) / 2 - u[1::2, ::2]).max()
    middle = (nodes[1:, 1:] + nodes[1:, :-1] + nodes[:-1, 1:] + nodes[:-1, :-1]) / 4
    return float(max(sides, ends, np.abs(middle - u[1::2, 1::2]).max()))


def _bilinear(u: Floats) -> Floats:
    a, b, c, d = u[:-2:2, :-2:2], u[:-2:2, 2::2], u[2::2, :-2:2], u[2::2, 2::2]
    return np.stack([a, b - a, c - a, d - b - c + a], axis=-1).reshape(-1, 4)


def cells(mapping: PatchMap, x: Floats, y: Floats) -> tuple[Ints, Ints]:
    """Return the whole numbers below the mapped coordinates, as if every point had been mapped exactly.

    Parameters
    ----------
    mapping : PatchMap
        To cell coordinates, (x, y) to (column, row).
    x, y : (n,) ndarray
        Points.

    Returns
    -------
    row, col : (n,) ndarray of int
        The cell that holds each point; a side belongs to the cell at its higher row or column. -1 where the mapping
        is not finite.

    Examples
    --------
    >>> [part.tolist() for part in cells(exactly(lambda x, y: (x, y)), np.array([2.0, 1.9]), np.array([0.5, 1.0]))]
    [[0, 1], [2, 1]]
    """
    u, v = mapping(x, y)
    if mapping.error > 0:
        near = np.abs(u - np.rint(u)) <= mapping.error
        near |= np.abs(v - np.rint(v)) <= mapping.error
        if near.any():
            u[near], v[near] = mapping.exact(np.asarray(x, float)[near], np.asarray(y, float)[near])
    known = np.isfinite(u) & np.isfinite(v)
    if not known.all():
        u, v = np.where(known, u, -1.0), np.where(known, v, -1.0)
    return np.floor(v).astype(np.int64), np.floor(u).astype(np.int64)
