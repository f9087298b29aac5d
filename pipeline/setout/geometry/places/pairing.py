"""Pairs of points of two sets, one to one, nearest on the whole, none farther apart than allowed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
NEIGHBOURS = 8
"""Places that are looked at for every point."""


@dataclass(frozen=True, slots=True)
class Places:
    """Places that points may be given to: where they are, and how far a point may be from each [m]."""

    x: Floats
    y: Floats
    within: Floats


def pair(places: Places, x: Floats, y: Floats, own: Ints | None = None, bonus: float = 0.0) -> Ints:
    """Give points to places, one to one, so that the sum of squared distances is least.

    A point stays without a place where its distance is more than the place allows. What is nearest for one point and
    wanted by no other is given at once; the others are a least-cost assignment (Jonker and Volgenant, "A shortest
    augmenting path algorithm for dense and sparse linear assignment problems", Computing 38, 1987, as scipy has it).

    Parameters
    ----------
    places : Places
        Where points may go.
    x, y : (n,) ndarrays
        Points [m].
    own : (n,) ndarray, optional
        The place that each point says it has; -1 for none.
    bonus : float
        Square of the place's allowed distance, as a share, that is taken off the cost of a point's own place.

    Returns
    -------
    (n,) ndarray
        Index of the place; -1 for none.

    Examples
    --------
    >>> at = Places(np.array([0.0, 2.0]), np.zeros(2), np.array([1.5, 1.5]))
    >>> pair(at, np.array([0.9, 1.2, 9.0]), np.zeros(3)).tolist()
    [0, 1, -1]
    >>> pair(at, np.array([1.1, 2.4]), np.zeros(2)).tolist()
    [0, 1]
    """
    out = np.full(len(x), -1, np.int64)
    if not len(x) or not len(places.x):
        return out
    point, place, square = _candidates(places, x, y)
    wanted = np.bincount(place, minlength=len(places.x))
    choices = np.bincount(point, minlength=len(x))
    alone = (choices[point] == 1) & (wanted[place] == 1)
    out[point[alone]] = place[alone]
    rest = ~alone
    if rest.any():
        point, place, square = point[rest], place[rest], square[rest]
        allowed = places.within[place] ** 2
        said = own[point] == place if own is not None else np.zeros(len(point), bool)
        cost = square - np.where(said, bonus * allowed, 0.0)
        chosen_point, chosen_place = _assigned(point, place, cost, allowed)
        out[chosen_point] = chosen_place
    return out


def _candidates(places: Places, x: Floats, y: Floats) -> tuple[Ints, Ints, Floats]:
    """Return every point with every place that allows it, and the square of their distance."""
    from scipy.spatial import cKDTree

    tree = cKDTree(np.column_stack([places.x, places.y]))
    count = min(NEIGHBOURS, len(places.x))
    far = float(places.within.max())
    distance, index = tree.query(np.column_stack([x, y]), k=list(range(1, count + 1)), distance_upper_bound=far * (1 + 1e-12))
    point = np.repeat(np.arange(len(x)), count)
    place, distance = index.ravel().astype(np.int64), distance.ravel()
    kept = np.isfinite(distance)
    point, place, distance = point[kept], place[kept], distance[kept]
    kept = distance <= places.within[place]
    return point[kept], place[kept], distance[kept] ** 2


def _assigned(point: Ints, place: Ints, cost: Floats, allowed: Floats) -> tuple[Ints, Ints]:
    """Solve what is left: every point takes a place, or stays without one at the cost of the farthest it may be."""
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import min_weight_full_bipartite_matching

    points, row = np.unique(point, return_inverse=True)
    spots, column = np.unique(place, return_inverse=True)
    most = np.zeros(len(points))
    np.maximum.at(most, row, allowed)
    each = np.arange(len(points))
    rows, columns = np.concatenate([row, each]), np.concatenate([column, len(spots) + each])
    costs = np.concatenate([cost, most])
    costs = costs - costs.min() + 1.0  # a cost of 0 would count as no edge; every point has one, so the best stays the best
    shape = (len(points), len(spots) + len(points))
    at, to = min_weight_full_bipartite_matching(csr_array((costs, (rows, columns)), shape=shape).tocsr())
    given = to < len(spots)
    return points[at[given]], spots[to[given]]
