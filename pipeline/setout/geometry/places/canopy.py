"""Discs that share a plane: how far each reaches before it meets another, and how far two overlap.

The room of a disc is what is nearer to its middle than to any other middle (it is bounded by the bisectors), no
further from the middle than its radius and, where it has an axis, no further to the side of it than its half width::

          . '|' .
        '    |    :            u(t) = 1 / reach in direction t
       |   o-|----:---- o        = max(1 / radius, 2 (dx sin t + dy cos t) / d2 over the other middles,
        .    |    :                    |side of t| / half width)
          ' .|. '

so that all directions of many discs are maxima of sums of products. The area is half the sum of reach squared over
equal angles: exact for a whole disc, within half a per cent of the room for one cut to a square (the corners), and
within one per cent of the disc for one cut to a sliver.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

DIRECTIONS: Final = 72
"""Directions round a disc's middle, 5 degrees apart."""
CHUNK: Final = 4096
"""Discs worked on at a time: small enough that products of them stay in the cache of the processor."""
FIRST_NEIGHBOURS: Final = 8
"""Neighbours looked at first; twice as many each time that is not enough."""


@dataclass(frozen=True, slots=True)
class Discs:
    """Discs in a plane; every array has one entry a disc.

    Attributes
    ----------
    x, y : middles [m]
    radius : reach where nothing is in the way [m]; NaN unknown: it has no room but bounds that of others
    half_width : reach to the side of its axis [m]; inf for no such limit
    axis : bearing of its axis [rad], clockwise from the y axis
    group : discs of one group do not bound each other; -1 for none
    partner : index of the one other disc that does not bound it; -1 for none
    until : when it goes; what goes sooner does not bound what stays longer
    """

    x: Floats
    y: Floats
    radius: Floats
    half_width: Floats
    axis: Floats
    group: Ints
    partner: Ints
    until: Floats


def plain_discs(x: Floats, y: Floats, radius: Floats) -> Discs:
    """Return discs with nothing but place and radius.

    Parameters
    ----------
    x, y, radius : (n,) ndarrays
        Middles and radii [m].

    Returns
    -------
    Discs
        All bound each other.
    """
    size = len(x)
    none = np.full(size, -1)
    return Discs(x, y, radius, np.full(size, np.inf), np.zeros(size), none, none, np.full(size, np.inf))


def index_of(x: Floats, y: Floats) -> Any:
    """Return a search index over points.

    Parameters
    ----------
    x, y : (n,) ndarrays
        Points [m].

    Returns
    -------
    scipy.spatial.cKDTree
        Index in the order of the points.
    """
    from scipy.spatial import cKDTree

    return cKDTree(np.column_stack([x, y]), balanced_tree=False, compact_nodes=False)


def room_area(discs: Discs, index: Any | None = None) -> Floats:
    """Return the area of the room of every disc.

    Parameters
    ----------
    discs : Discs
        All discs.
    index : cKDTree, optional
        Index over their middles, where there is one already.

    Returns
    -------
    (n,) ndarray
        Area [m2]; NaN where the radius is unknown.

    Examples
    --------
    Two discs of radius 1 that just touch keep their whole area:

    >>> discs = plain_discs(np.array([0.0, 2.0]), np.zeros(2), np.ones(2))
    >>> (room_area(discs) / np.pi).round(6).tolist()
    [1.0, 1.0]
    """
    size = len(discs.x)
    index = index_of(discs.x, discs.y) if index is None else index
    area = np.empty(size)
    for first in range(0, size, CHUNK):
        own = np.arange(first, min(first + CHUNK, size))
        area[own] = area_within(inverse_reach(discs, own, index))
    return area


def area_within(inverse: NDArray[np.float32], radius: float | Floats | None = None) -> Floats:
    """Return the area of rooms from their inverse reach, as far as a smaller radius.

    Parameters
    ----------
    inverse : (n, DIRECTIONS) ndarray
        One over the reach in each direction [1/m].
    radius : float or (n,) ndarray, optional
        Smaller radius [m]; as far as the rooms go when absent.

    Returns
    -------
    (n,) ndarray
        Area [m2].
    """
    if radius is not None:
        with np.errstate(divide="ignore"):
            least = np.broadcast_to(1.0 / np.asarray(radius, np.float64), (len(inverse),)).astype(np.float32)
        inverse = np.maximum(inverse, least[:, None])
    reach = np.reciprocal(inverse)
    area: Floats = np.pi / inverse.shape[1] * np.einsum("ij,ij->i", reach, reach).astype(np.float64)
    return area


def inverse_reach(discs: Discs, own: Ints, index: Any) -> NDArray[np.float32]:
    """Return one over the reach of some discs in every direction.

    A neighbour further away than twice the greatest reach found so far cannot bound a room, so each disc looks at as
    many of its nearest neighbours as that takes and no more.

    Parameters
    ----------
    discs : Discs
        All discs.
    own : (m,) ndarray of int
        Which of them.
    index : cKDTree
        Index over the middles of all.

    Returns
    -------
    (m, DIRECTIONS) ndarray
        One over the reach [1/m].
    """
    way = _ways()
    inverse = _alone(discs, own, way)
    widest = float(np.nanmax(discs.radius[own], initial=0.0))
    xy = np.column_stack([discs.x[own], discs.y[own]])
    left = np.flatnonzero(np.isfinite(discs.radius[own]))
    seen, wanted = 0, min(FIRST_NEIGHBOURS + 1, len(discs.x))
    while left.size and wanted > seen:
        far, other = index.query(xy[left], k=np.arange(seen + 1, wanted + 1), distance_upper_bound=2 * widest, workers=-1)
        any_near = np.isfinite(far[:, 0])
        left, far, other = left[any_near], far[any_near], other[any_near]
        part = inverse[left]
        for k in range(far.shape[1]):
            np.maximum(part, _bisector(discs, own[left], far[:, k], other[:, k]) @ way, out=part)
        inverse[left] = part
        left = left[np.isfinite(far[:, -1]) & (far[:, -1] * part.min(axis=1, initial=np.inf) < 2.0)]
        seen, wanted = wanted, min(2 * wanted, len(discs.x))
    return inverse


def _ways() -> NDArray[np.float32]:
    """Return unit vectors of the directions, (2, DIRECTIONS)."""
    angle = np.arange(DIRECTIONS) * (2 * np.pi / DIRECTIONS)
    return np.array([np.sin(angle), np.cos(angle)], np.float32)


def _alone(discs: Discs, own: Ints, way: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return one over the reach of discs that have the plane to themselves."""
    out = np.repeat((1.0 / discs.radius[own]).astype(np.float32)[:, None], way.shape[1], axis=1)
    narrow = np.flatnonzero(np.isfinite(discs.half_width[own]))
    if narrow.size:
        axis = discs.axis[own[narrow]]
        side = np.column_stack([np.cos(axis), -np.sin(axis)]) / discs.half_width[own[narrow], None]
        out[narrow] = np.maximum(out[narrow], np.abs(side.astype(np.float32) @ way))
    return out


def _bisector(discs: Discs, own: Ints, far: Floats, other: Ints) -> NDArray[np.float32]:
    """Return the vectors whose product with a direction is one over the way to the bisector; 0 where none bounds."""
    there = np.minimum(other, len(discs.x) - 1)
    bounds = np.isfinite(far) & (far > 0) & (there != own) & (there != discs.partner[own])
    bounds &= (discs.group[own] < 0) | (discs.group[there] != discs.group[own])
    bounds &= discs.until[there] >= discs.until[own]
    over = np.where(bounds, 2.0 / np.where(bounds, far, 1.0) ** 2, 0.0)
    dx, dy = discs.x[there] - discs.x[own], discs.y[there] - discs.y[own]
    return np.column_stack([dx * over, dy * over]).astype(np.float32)


def nearest_other(discs: Discs, index: Any) -> tuple[Floats, Ints]:
    """Find the nearest other disc of each that is not its partner.

    Parameters
    ----------
    discs : Discs
        All discs.
    index : cKDTree
        Index over their middles.

    Returns
    -------
    tuple of (n,) ndarrays
        Distance of middles [m], inf for none, and index of the other, -1 for none.

    Examples
    --------
    >>> discs = plain_discs(np.array([0.0, 3.0, 4.0]), np.zeros(3), np.ones(3))
    >>> far, other = nearest_other(discs, index_of(discs.x, discs.y))
    >>> far.tolist(), other.tolist()
    ([3.0, 1.0, 1.0], [1, 2, 1])
    """
    size = len(discs.x)
    if not size:
        return np.empty(0), np.empty(0, np.int64)
    take = min(3 if (discs.partner >= 0).any() else 2, size)
    far, other = index.query(np.column_stack([discs.x, discs.y]), k=np.arange(1, take + 1), workers=-1)
    usable = (other != np.arange(size)[:, None]) & (other != discs.partner[:, None])
    column = np.argmax(usable, axis=1)
    there = np.arange(size), column
    found = usable[there]
    return np.where(found, far[there], np.inf), np.where(found, other[there], -1)


def deepest_overlap(discs: Discs, radius: Floats, index: Any, near: tuple[Floats, Ints] | None = None) -> Floats:
    """Return how far each disc reaches into the one that it overlaps most.

    Half the sum of two diameters less the distance of their middles; partners, and what goes sooner, do not count.

    Parameters
    ----------
    discs : Discs
        All discs.
    radius : (n,) ndarray
        Radii to judge by [m]; NaN unknown.
    index : cKDTree
        Index over their middles.
    near : tuple of (n,) ndarrays, optional
        Distance [m] and index of the nearest other, from :func:`nearest_other`: none overlaps a disc deeper than a
        nearest one of the greatest radius, which saves the search.

    Returns
    -------
    (n,) ndarray
        Depth [m], below 0 where a gap is left, -inf without a neighbour, NaN where the own radius is unknown.

    Examples
    --------
    >>> discs = plain_discs(np.array([0.0, 4.0, 10.0]), np.zeros(3), np.ones(3))
    >>> deepest_overlap(discs, np.array([2.5, 2.5, 3.0]), index_of(discs.x, discs.y)).tolist()
    [1.0, 1.0, -0.5]
    """
    depth = np.where(np.isfinite(radius), -np.inf, np.nan)
    widest = float(np.nanmax(radius, initial=0.0))
    known = np.nan_to_num(radius, nan=-np.inf)
    open_ = np.isfinite(radius)
    if near is not None:
        far, other = near
        sure = open_ & (other >= 0) & (radius[other] == widest) & (discs.until[other] >= discs.until)
        depth[sure] = radius[sure] + widest - far[sure]
        open_ &= ~sure
    for first in range(0, len(radius), CHUNK):
        left = first + np.flatnonzero(open_[first : first + CHUNK])
        seen, wanted = 0, min(3, len(radius))
        while left.size and wanted > seen:
            xy = np.column_stack([discs.x[left], discs.y[left]])
            far, other = index.query(xy, k=np.arange(seen + 1, wanted + 1), workers=-1)
            mine = left[:, None]
            counts = (other != mine) & (other != discs.partner[mine]) & (discs.until[other] >= discs.until[mine])
            reach = np.where(counts, radius[mine] + known[other] - far, -np.inf)
            depth[left] = np.maximum(depth[left], reach.max(axis=1))
            left = left[radius[left] + widest - far[:, -1] > depth[left]]
            seen, wanted = wanted, min(2 * wanted, len(radius))
    return depth
