"""Coordinates of very many points in another system, fast and with a stated error.

A smooth mapping of the plane is close to a polynomial of low degree over a property. The polynomial is fitted to exact
values, its degree raised until twice the largest error found at other places is below a tolerance, and points are then
worked out from it. Whoever asks in which cell a point lies gets the exact answer: points nearer to a cell's side than
the error are mapped exactly.
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

FEW = 5_000
"""Fewer points than this are mapped exactly: fitting a polynomial would cost as much."""
_CHUNK = 1 << 13
_DEGREES = range(2, 9)
_LOOKS = 25


@dataclass(frozen=True, slots=True)
class PolyMap:
    """A mapping worked out as a polynomial over a box.

    Attributes
    ----------
    exact : the mapping itself, (x, y) to (u, v), arrays in and out
    box : x and y least, x and y most
    terms : (2, n + 1, n + 1) factors of t^i s^j of u and of v, with s and t from -1 to 1 across the box and i + j at most
        the degree n; empty where every point is mapped exactly
    error : bound of the error of u and v
    """

    exact: Mapping
    box: Box
    terms: Floats
    error: float

    def __call__(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Return the mapped coordinates, within :attr:`error`; points outside the box are mapped exactly."""
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
        s, t = _across(self.box, x, y)
        for terms, out in zip(self.terms, (u, v), strict=True):
            _horner(terms, s, t, out)
        if max(s.max(), t.max()) > 1 or min(s.min(), t.min()) < -1:
            outside = (np.abs(s) > 1) | (np.abs(t) > 1)
            u[outside], v[outside] = self.exact(x[outside], y[outside])


def _across(box: Box, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Return where points are across a box, from -1 to 1."""
    x0, y0, x1, y1 = box
    return (x - (x0 + x1) / 2) / ((x1 - x0) / 2), (y - (y0 + y1) / 2) / ((y1 - y0) / 2)


def _horner(terms: Floats, s: Floats, t: Floats, out: Floats) -> None:
    """Work out a polynomial in s and t into an array."""
    degree = len(terms) - 1
    inner = np.empty(len(s))
    out[:] = terms[degree, 0]
    for i in range(degree - 1, -1, -1):
        np.multiply(s, terms[i, degree - i], out=inner)
        for j in range(degree - i - 1, 0, -1):
            inner += terms[i, j]
            inner *= s
        out *= t
        out += inner
        out += terms[i, 0]


def exactly(exact: Mapping) -> PolyMap:
    """Return a mapping that maps every point exactly."""
    return PolyMap(exact, (0.0, 0.0, 1.0, 1.0), np.empty((2, 0, 0)), 0.0)


def over(exact: Mapping, box: Box, tolerance: float) -> PolyMap:
    """Fit a polynomial over a box.

    Parameters
    ----------
    exact : Mapping
        The mapping, smooth over the box.
    box : (float, float, float, float)
        x and y least, x and y most.
    tolerance : float
        Largest error allowed, in the unit of u and v.

    Returns
    -------
    PolyMap
        One that maps exactly where no polynomial keeps the tolerance, the box has no area or the mapping is not finite.

    Examples
    --------
    >>> square = over(lambda x, y: (x * x, x * y), (0.0, 0.0, 10.0, 10.0), 1e-9)
    >>> u, v = square(np.array([3.3]), np.array([7.7]))
    >>> round(float(u[0]), 9), round(float(v[0]), 9), square.error < 1e-9
    (10.89, 25.41, True)
    """
    x0, y0, x1, y1 = box
    if not (x1 > x0 and y1 > y0 and np.isfinite(box).all()):
        return exactly(exact)
    looks = [part.ravel() for part in np.meshgrid(np.linspace(x0, x1, _LOOKS), np.linspace(y0, y1, _LOOKS))]
    truth = [np.asarray(part, float) for part in exact(*looks)]
    nodes = np.cos(np.pi * (np.arange(_DEGREES[-1] + 3) + 0.5) / (_DEGREES[-1] + 3))
    s, t = (part.ravel() for part in np.meshgrid(nodes, nodes))
    values = [np.asarray(p, float) for p in exact((x0 + x1) / 2 + s * (x1 - x0) / 2, (y0 + y1) / 2 + t * (y1 - y0) / 2)]
    if not all(np.isfinite(part).all() for part in (*truth, *values)):
        return exactly(exact)
    across = _across(box, *looks)
    found = np.empty(len(looks[0]))
    for degree in _DEGREES:
        powers = [(i, j) for i in range(degree + 1) for j in range(degree + 1 - i)]
        basis = np.column_stack([t**i * s**j for i, j in powers])
        terms, worst = np.zeros((2, degree + 1, degree + 1)), 0.0
        for k, (value, known) in enumerate(zip(values, truth, strict=True)):
            fitted = np.linalg.lstsq(basis, value, rcond=None)[0]
            for (i, j), factor in zip(powers, fitted, strict=True):
                terms[k, i, j] = factor
            _horner(terms[k], *across, found)
            worst = max(worst, float(np.abs(found - known).max()))
        if 2 * worst <= tolerance:
            return PolyMap(exact, box, terms, 2 * worst)
    return exactly(exact)


def cells(mapping: PolyMap, x: Floats, y: Floats) -> tuple[Ints, Ints]:
    """Return the whole numbers below the mapped coordinates, as if every point had been mapped exactly.

    Parameters
    ----------
    mapping : PolyMap
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
