"""Cutting curved paths by an area: where they cross its edges, and what of them lies inside."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from setout.geometry.lines.curves import ROUNDING, Path, Stretch, path_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LONGEST_PART = 25.0
"""Parts that a path is cut in are no longer than this [m], so that their boxes hold little but themselves."""


class Edges:
    """Straight pieces that others are tried against.

    Parameters
    ----------
    a, b : (n, 2) ndarray
        Their ends [m].

    Examples
    --------
    >>> fence = Edges(np.array([[0, 0.0], [5, 0]]), np.array([[0, 9.0], [5, 9]]))
    >>> [part.tolist() for part in fence.crossings(np.array([[-5, 3.0]]), np.array([[15, 3.0]]))]
    [[0, 0], [0, 1], [0.25, 0.5]]
    """

    def __init__(self, a: Floats, b: Floats) -> None:
        self._a, self._b = a, b
        self._tree = shapely.STRtree(np.asarray(shapely.linestrings(np.stack([a, b], axis=1)), object))

    def crossings(self, a: Floats, b: Floats) -> tuple[Ints, Ints, Floats]:
        """Return which pieces, from a to b, cross which edges, and at what share of their length."""
        part, edge = self._tree.query(shapely.linestrings(np.stack([a, b], axis=1)))
        p, r = a[part], b[part] - a[part]
        q, w = self._a[edge], self._b[edge] - self._a[edge]
        det = r[:, 0] * w[:, 1] - r[:, 1] * w[:, 0]
        with np.errstate(divide="ignore", invalid="ignore"):
            t = ((q[:, 0] - p[:, 0]) * w[:, 1] - (q[:, 1] - p[:, 1]) * w[:, 0]) / det
            u = ((q[:, 0] - p[:, 0]) * r[:, 1] - (q[:, 1] - p[:, 1]) * r[:, 0]) / det
            on = (t >= -ROUNDING) & (t <= 1 + ROUNDING) & (u >= -ROUNDING) & (u <= 1 + ROUNDING)
        order = np.lexsort((t[on], part[on]))
        return part[on][order].astype(np.int64), edge[on][order].astype(np.int64), np.clip(t[on][order], 0.0, 1.0)


class Blade:
    """An area that paths are cut by.

    Parameters
    ----------
    area : BaseGeometry
        Polygon or multipolygon [m].
    """

    def __init__(self, area: BaseGeometry) -> None:
        self.area = area
        xy, ring = shapely.get_coordinates(shapely.get_rings(shapely.get_parts(area)), return_index=True)
        same = ring[1:] == ring[:-1]
        self.edges = Edges(xy[:-1][same], xy[1:][same])
        shapely.prepare(self.area)


def cut(paths: Sequence[Path], blade: Blade) -> Iterator[tuple[int, Stretch]]:
    """Cut paths by an area: what of them lies inside.

    Parameters
    ----------
    paths : Sequence of Path
        The paths.
    blade : Blade
        The area.

    Yields
    ------
    tuple
        Index of the path, and a stretch of it; stretches of one path in order along it. A closed path that is cut comes
        back open, beginning in the first gap.

    Examples
    --------
    >>> line = path_of(np.array([[-5, 1], [15, 1.0]]))
    >>> area = Blade(shapely.Polygon([(0, 0), (4, 0), (4, 3), (6, 3), (6, 0), (9, 0), (9, 5), (0, 5)]))
    >>> [(part.low, part.high) for _, part in cut([line], area)]
    [(5.0, 9.0), (11.0, 14.0)]
    """
    if not paths:
        return
    owner, s, low, high = _parts(paths)
    part, _, share = blade.edges.crossings(low, high)
    ends = np.array([path.length for path in paths])
    which = np.concatenate([owner[part], np.arange(len(paths)), np.arange(len(paths))])
    where = np.concatenate([s[part, 0] + share * (s[part, 1] - s[part, 0]), np.zeros(len(paths)), ends])
    order = np.lexsort((where, which))
    which, where = which[order], where[order]
    inner = np.flatnonzero((which[1:] == which[:-1]) & (where[1:] - where[:-1] > 1e-6))
    of, lo, hi = which[inner], where[inner], where[inner + 1]
    middle = (lo + hi) / 2
    middles = [paths[k].points(middle[of == k]) for k in np.unique(of).tolist()]  # of is in order
    inside = shapely.contains_xy(blade.area, *np.concatenate(middles).T)
    of, lo, hi = of[inside], lo[inside], hi[inside]
    for k in np.unique(of):
        own = of == k
        yield from ((int(k), stretch) for stretch in _stretches(paths[k], lo[own], hi[own]))


def _parts(paths: Sequence[Path]) -> tuple[Ints, Floats, Floats, Floats]:
    """Return the parts of paths, long ones cut up: owner, lengths at both ends, and the two ends."""
    owners, lengths, ends = [], [], []
    for k, path in enumerate(paths):
        s, xy = np.asarray(path.s), path.xy
        if len(s) == 2 or float((s[1:] - s[:-1]).max()) > LONGEST_PART:
            more = np.arange(LONGEST_PART, s[-1], LONGEST_PART)
            s = np.unique(np.concatenate([s, more]))
            xy = path.points(s)
        lengths.append(np.column_stack([s[:-1], s[1:]]))
        owners.append(np.full(len(s) - 1, k))
        ends.append(xy)
    return (
        np.concatenate(owners),
        np.concatenate(lengths),
        np.concatenate([xy[:-1] for xy in ends]),
        np.concatenate([xy[1:] for xy in ends]),
    )


def _stretches(path: Path, low: Floats, high: Floats) -> list[Stretch]:
    """Join intervals that touch; open a closed path in its first gap."""
    starts = np.append(True, low[1:] - high[:-1] > 1e-6)
    low, high = low[starts], high[np.append(np.flatnonzero(starts)[1:] - 1, len(high) - 1)]
    total = path.length
    whole = len(low) == 1 and low[0] < 1e-6 and high[0] > total - 1e-6
    if not path.closed:
        return [Stretch(path, float(a), float(b)) for a, b in zip(low, high, strict=True)]
    if whole:
        return [Stretch(path, 0.0, total)]
    gap_low, gap_high = high[0], low[1] if len(low) > 1 else low[0] + total
    start = ((gap_low + gap_high) / 2) % total
    s = np.asarray(path.s[:-1])
    turned = np.concatenate([[0.0], np.sort((s - start) % total), [total]])
    opened = path_of(path.points((turned + start) % total))
    if opened is None:
        return []
    opened = Path(opened.x, opened.y, opened.s, closed=False)
    a, b = (low - start) % total, (high - start) % total
    order = np.argsort(a)
    a, b = a[order], b[order]
    wraps = b < a  # an interval over the old start comes whole again
    joined = [(float(p), float(q if not w else q + total)) for p, q, w in zip(a, b, wraps, strict=True)]
    merged: list[list[float]] = []
    for p, q in joined:
        if merged and p - merged[-1][1] < 1e-5:
            merged[-1][1] = q
        else:
            merged.append([p, q])
    return [Stretch(opened, p, min(q, opened.length)) for p, q in merged]
