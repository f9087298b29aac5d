"""Points near each other and near legs of lines, found through square bins instead of a tree of objects.

Points are sorted once by the bin that they lie in, row of bins after row; the points of neighbouring bins of a row then
follow on each other, so that every search is a few runs of consecutive points.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CROWD = 64
"""Points in three neighbouring bins from which on bins no longer help."""
AT_ONCE = 500_000
"""Pairs looked at together: what bounds the memory."""
MOST_BINS = 4_000_000


@dataclass(frozen=True, slots=True)
class Bins:
    """Points sorted into square bins.

    Attributes
    ----------
    x, y : the points' coordinates in the order of the bins
    order : their places in the arrays that were given
    start : where each bin begins among them; one more at the end
    origin : least x and y
    side : of a bin
    wide, high : bins along x and along y
    """

    x: Floats
    y: Floats
    order: Ints
    start: Ints
    origin: tuple[float, float]
    side: float
    wide: int
    high: int


def bins_of(x: Floats, y: Floats, side: float) -> Bins:
    """Sort points into bins.

    Parameters
    ----------
    x, y : (n,) ndarrays
        At least one point.
    side : float
        Of a bin; taken larger where there would be very many.

    Returns
    -------
    Bins
        The points in their order.
    """
    x0, y0 = float(x.min()), float(y.min())
    side = max(side, (float(np.ptp(x)) * float(np.ptp(y)) / MOST_BINS) ** 0.5, float(np.ptp(x)) / 1e6, float(np.ptp(y)) / 1e6)
    col, row = ((x - x0) / side).astype(np.int64), ((y - y0) / side).astype(np.int64)
    wide, high = int(col.max()) + 1, int(row.max()) + 1
    key = row * wide + col
    order = np.argsort(key, kind="stable")
    start = np.append(0, np.cumsum(np.bincount(key, minlength=wide * high)))
    return Bins(x[order], y[order], order, start, (x0, y0), side, wide, high)


def _runs(first: Ints, last: Ints) -> tuple[Ints, Ints]:
    """Return, for ranges first..last-1, the owner of every element and the element, flattened."""
    count = np.maximum(last - first, 0)
    owner = np.repeat(np.arange(len(first)), count)
    return owner, np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count) + np.repeat(first, count)


def _span(bins: Bins, low: Floats, high: Floats, axis: int) -> tuple[Ints, Ints]:
    """Return the first bin and the one after the last along an axis that a stretch meets."""
    origin, most = bins.origin[axis], (bins.wide, bins.high)[axis]
    first = np.clip(np.floor((low - origin) / bins.side), 0, most).astype(np.int64)
    return first, np.clip(np.floor((high - origin) / bins.side) + 1, 0, most).astype(np.int64)


def near_legs(bins: Bins, legs: Floats, distance: float) -> tuple[Ints, Floats]:
    """Find the points nearer than a distance to any leg, and how far they are from the nearest.

    Parameters
    ----------
    bins : Bins
        The points.
    legs : (m, 4) ndarray
        x0, y0, x1, y1 of straight legs; both ends alike for a point.
    distance : float
        Points at exactly this distance are left out.

    Returns
    -------
    point : (k,) ndarray
        The points, ascending, as they were given to :func:`bins_of`.
    away : (k,) ndarray
        Distance of each to the nearest leg.

    Examples
    --------
    >>> points = bins_of(np.array([0.0, 5.0, 9.0]), np.array([1.0, 3.0, 0.0]), 4.0)
    >>> near_legs(points, np.array([[0.0, 0.0, 6.0, 0.0]]), 3.5)
    (array([0, 1, 2]), array([1., 3., 3.]))
    """
    legs = _cut_short(legs, 4 * max(distance, bins.side))
    ax, ay, bx, by = legs.T
    col0, col1 = _span(bins, np.minimum(ax, bx) - distance, np.maximum(ax, bx) + distance, 0)
    row0, row1 = _span(bins, np.minimum(ay, by) - distance, np.maximum(ay, by) + distance, 1)
    leg, row = _runs(row0, np.where(col1 > col0, row1, row0))
    first, last = bins.start[row * bins.wide + col0[leg]], bins.start[row * bins.wide + col1[leg]]
    nearest = np.full(len(bins.x), np.inf)
    total = np.cumsum(last - first)
    ends = [*np.searchsorted(total, np.arange(AT_ONCE, total[-1] if len(total) else 0, AT_ONCE)), len(total)]
    for start, stop in zip([0, *ends], ends, strict=False):
        run, k = _runs(first[start:stop], last[start:stop])
        away = _distance(bins.x[k], bins.y[k], legs[leg[start:stop][run]])
        close = away < distance
        np.minimum.at(nearest, k[close], away[close])
    found = np.flatnonzero(np.isfinite(nearest))
    found = found[np.argsort(bins.order[found])]
    return bins.order[found], nearest[found]


def in_boxes(bins: Bins, boxes: Floats) -> tuple[Ints, Ints]:
    """Find the points in the bins that boxes meet: those in the boxes, and some around them.

    Parameters
    ----------
    bins : Bins
        The points.
    boxes : (m, 4) ndarray
        Least x and y, most x and y.

    Returns
    -------
    box, point : (k,) ndarrays
        Pairs; points as they were given to :func:`bins_of`.

    Examples
    --------
    >>> points = bins_of(np.array([0.0, 5.0, 9.0]), np.array([1.0, 3.0, 0.0]), 2.0)
    >>> in_boxes(points, np.array([[4.0, 2.0, 6.0, 4.0]]))
    (array([0]), array([1]))
    """
    col0, col1 = _span(bins, boxes[:, 0], boxes[:, 2], 0)
    row0, row1 = _span(bins, boxes[:, 1], boxes[:, 3], 1)
    box, row = _runs(row0, np.where(col1 > col0, row1, row0))
    run, k = _runs(bins.start[row * bins.wide + col0[box]], bins.start[row * bins.wide + col1[box]])
    return box[run], bins.order[k]


def _cut_short(legs: Floats, longest: float) -> Floats:
    """Cut long legs into pieces, whose boxes are small."""
    length = np.hypot(legs[:, 2] - legs[:, 0], legs[:, 3] - legs[:, 1])
    pieces = np.maximum(np.ceil(length / longest), 1).astype(np.int64)
    if not len(legs) or pieces.max() == 1:
        return legs
    leg, k = _runs(np.zeros(len(legs), np.int64), pieces)
    start, step = legs[leg, :2], (legs[leg, 2:] - legs[leg, :2]) / pieces[leg][:, None]
    end = np.where((k + 1 == pieces[leg])[:, None], legs[leg, 2:], start + step * (k + 1)[:, None])
    return np.hstack([start + step * k[:, None], end])


def _distance(x: Floats, y: Floats, legs: Floats) -> Floats:
    """Return the distance of each point from its leg."""
    along_x, along_y = legs[:, 2] - legs[:, 0], legs[:, 3] - legs[:, 1]
    x, y = x - legs[:, 0], y - legs[:, 1]
    squared = along_x**2 + along_y**2
    share = np.clip((x * along_x + y * along_y) / np.where(squared == 0, 1.0, squared), 0.0, 1.0)
    out: Floats = np.hypot(x - share * along_x, y - share * along_y)
    return out


def nearest_distance(x: Floats, y: Floats, expected: float) -> Floats:
    """Return the distance from every point to its nearest other point.

    Parameters
    ----------
    x, y : (n,) ndarrays
        Points.
    expected : float
        About how far most points are from their nearest; it decides the speed, never the result.

    Returns
    -------
    (n,) ndarray
        Distance; inf for a point alone, 0 for points that lie on each other.

    Examples
    --------
    >>> nearest_distance(np.array([0.0, 3.0, 3.0]), np.array([0.0, 0.0, 4.0]), 3.0)
    array([3., 3., 4.])
    """
    size = len(x)
    if size < 2:
        return np.full(size, np.inf)
    squared = np.full(size, np.inf)
    side = 1.001 * expected if np.isfinite(expected) and expected > 0 else 1.0
    bins = bins_of(x, y, side)
    if _pair_up(bins, squared):
        out = np.empty(size)
        out[bins.order] = np.sqrt(squared)
        alone = np.flatnonzero(out > bins.side)  # a nearer one may lie beyond the neighbouring bins
    else:
        out, alone = np.full(size, np.inf), np.arange(size)
    if len(alone):
        from scipy.spatial import cKDTree

        xy = np.column_stack([x, y])
        tree = cKDTree(xy, balanced_tree=False, compact_nodes=False)
        out[alone] = tree.query(xy[alone], k=2)[0][:, 1]
    return out


def _pair_up(bins: Bins, squared: Floats) -> bool:
    """Take in the distances of all pairs in neighbouring bins; False, nothing done, where points are too crowded."""
    counts = np.diff(bins.start).reshape(bins.high, bins.wide)
    row_of_three = counts.copy()
    row_of_three[:, 1:] += counts[:, :-1]
    row_of_three[:, :-1] += counts[:, 1:]
    if row_of_three.max() > CROWD:
        return False
    for start in range(0, len(bins.x), AT_ONCE // 4):
        own = np.arange(start, min(start + AT_ONCE // 4, len(bins.x)))
        row, col = np.divmod(np.searchsorted(bins.start, own, "right") - 1, bins.wide)
        left, right = np.maximum(col - 1, 0), np.minimum(col + 2, bins.wide)
        _take_in(bins, squared, own, (own + 1, bins.start[row * bins.wide + right]))
        above = row + 1 < bins.high
        next_row = (row[above] + 1) * bins.wide
        _take_in(bins, squared, own[above], (bins.start[next_row + left[above]], bins.start[next_row + right[above]]))
    return True


def _take_in(bins: Bins, squared: Floats, own: Ints, others: tuple[Ints, Ints]) -> None:
    """Take in the distances of points and the runs of others that each may be near to."""
    first, last = others
    for k in range(int((last - first).max(initial=0))):
        some = first + k < last
        one, other = own[some], first[some] + k
        away = (bins.x[one] - bins.x[other]) ** 2 + (bins.y[one] - bins.y[other]) ** 2
        squared[one] = np.minimum(squared[one], away)
        np.minimum.at(squared, other, away)
