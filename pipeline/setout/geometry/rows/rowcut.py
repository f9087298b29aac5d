r"""Cutting parallel lines by ground, each once and in closed form.

All lines run along u and are told apart by their v; a *cutter* is a polygon, or a capsule (all points within r of a
segment; a disc when the segment is a point). A line meets a capsule in one interval, so no buffer polygon is needed:

          ___________________
         /                   \        r = radius
    ----(--a-------------b----)----   the line's interval is the hull of its intervals
         \___________________/        with the two end discs and the two long sides

Intervals are the one currency: ``(line, lo, hi)``, sorted by line and lo, closed at both ends.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

TOUCH = 5e-7
"""How far beyond a limit a point still counts as on it [m]: rounding of coordinates, far below any survey."""
NEAR = 1e-9
"""A place this near to an end of a piece lies in it [m]."""


@dataclass(frozen=True, slots=True)
class Intervals:
    """Pieces of lines: index of the line, start and end along it, sorted by line and start."""

    line: Ints
    lo: Floats
    hi: Floats


@dataclass(frozen=True, slots=True)
class Cutters:
    """What lines are cut by, in one coordinate pair.

    Attributes
    ----------
    ground : polygon edges (n, 4) x0, y0, x1, y1; lines are kept inside (even-odd)
    holes : polygon edges (n, 4) of closed areas that lines are kept out of
    hole_group : which area each of those edges belongs to (n,)
    capsules : (n, 5) ax, ay, bx, by, r; lines are kept out of their open inside
    discs : (n, 3) x, y, r; lines are kept inside their union; None where there is no such limit
    reach : polygon edges (n, 4) and their group (n,): lines are kept inside the union of these areas, or None
    end_gap : length taken off both ends of every piece of the ground [m]
    piece_gap : length taken off both ends of every piece that is left in the end [m]
    """

    ground: Floats
    holes: Floats
    hole_group: Ints
    capsules: Floats
    discs: Floats | None = None
    reach: tuple[Floats, Ints] | None = None
    end_gap: float = 0.0
    piece_gap: float = 0.0


def edges_of(geometry: NDArray[np.object_]) -> tuple[Floats, Ints]:
    """Take polygons or lines apart into their edges.

    Parameters
    ----------
    geometry : ndarray of shapely geometries
        Polygons, lines or their multiparts.

    Returns
    -------
    edges : (n, 4) ndarray
        x0, y0, x1, y1; edges without length are left out.
    group : (n,) ndarray
        Index of the geometry that each edge is of.

    Examples
    --------
    >>> edges_of(np.array([shapely.box(0, 0, 2, 1)]))[0].shape
    (4, 4)
    """
    parts, of_part = shapely.get_parts(geometry, return_index=True)
    rings = shapely.get_type_id(parts) == shapely.GeometryType.POLYGON
    exploded, of_ring = shapely.get_rings(parts[rings], return_index=True)
    lines = np.concatenate([exploded, parts[~rings]])
    owner = np.concatenate([of_part[rings][of_ring], of_part[~rings]])
    xy, of_line = shapely.get_coordinates(lines, return_index=True)
    if len(xy) < 2:
        return np.empty((0, 4)), np.empty(0, np.int64)
    same = of_line[1:] == of_line[:-1]
    long = np.any(xy[1:] != xy[:-1], axis=1)
    keep = same & long
    return np.hstack([xy[:-1][keep], xy[1:][keep]]), owner[of_line[:-1][keep]].astype(np.int64)


def capsules_of(geometry: NDArray[np.object_], radius: Floats | float) -> Floats:
    """Return the capsules of all points within a radius of points, lines and polygon outlines.

    Parameters
    ----------
    geometry : ndarray of shapely geometries
        Points, lines, polygons or their multiparts.
    radius : float or (n,) ndarray
        Radius of each geometry, in its own unit.

    Returns
    -------
    (m, 5) ndarray
        ax, ay, bx, by, r.

    Examples
    --------
    >>> capsules_of(np.array([shapely.Point(1, 2)]), 3.0)
    array([[1., 2., 1., 2., 3.]])
    """
    radii = np.broadcast_to(np.asarray(radius, float), (len(geometry),))
    dimension = shapely.get_dimensions(geometry)
    xy, of = shapely.get_coordinates(geometry[dimension == 0], return_index=True)
    points = np.column_stack([xy, xy, radii[dimension == 0][of]]) if len(xy) else np.empty((0, 5))
    edges, group = edges_of(geometry[dimension > 0])
    return np.vstack([points, np.column_stack([edges, radii[dimension > 0][group]])])


def turned(cutters: Cutters, cos: float, sin: float) -> Cutters:
    """Turn cutters so that lines along the unit vector (cos, sin) run along u.

    Parameters
    ----------
    cutters : Cutters
        In x and y.
    cos, sin : float
        The lines' direction in x and y.

    Returns
    -------
    Cutters
        The same in u = cos x + sin y and v = cos y - sin x.
    """

    def turn(array: Floats, pairs: int) -> Floats:
        out = array.copy()
        for k in range(0, 2 * pairs, 2):
            out[:, k] = cos * array[:, k] + sin * array[:, k + 1]
            out[:, k + 1] = cos * array[:, k + 1] - sin * array[:, k]
        return out

    return Cutters(
        turn(cutters.ground, 2),
        turn(cutters.holes, 2),
        cutters.hole_group,
        turn(cutters.capsules, 2),
        None if cutters.discs is None else turn(cutters.discs, 1),
        None if cutters.reach is None else (turn(cutters.reach[0], 2), cutters.reach[1]),
        cutters.end_gap,
        cutters.piece_gap,
    )


def cut(lines_v: Floats, cutters: Cutters) -> Intervals:
    """Cut lines by all cutters at once.

    Parameters
    ----------
    lines_v : (n,) ndarray
        Where the lines run, ascending.
    cutters : Cutters
        In the lines' own coordinates (:func:`turned`).

    Returns
    -------
    Intervals
        What is left of the lines.

    Examples
    --------
    >>> field, _ = edges_of(np.array([shapely.box(0, 0, 10, 4)]))
    >>> well = capsules_of(np.array([shapely.Point(5, 2)]), 1.0)
    >>> none = np.empty((0, 4)), np.empty(0, np.int64)
    >>> left = cut(np.array([2.0, 3.5]), Cutters(field, *none, well))
    >>> left.line, left.lo.round(3), left.hi.round(3)
    (array([0, 0, 1]), array([0., 6., 0.]), array([ 4., 10., 10.]))
    """
    base = _shortened(_polygon_pieces(lines_v, cutters.ground, None), cutters.end_gap)
    out = [_capsule_pieces(lines_v, cutters.capsules, TOUCH), _polygon_pieces(lines_v, cutters.holes, cutters.hole_group)]
    allowed = []
    if cutters.discs is not None:
        discs = cutters.discs
        allowed.append(_capsule_pieces(lines_v, np.column_stack([discs[:, :2], discs]), -TOUCH))
    if cutters.reach is not None:
        allowed.append(_polygon_pieces(lines_v, *cutters.reach))
    return _shortened(_sweep(base, out, allowed), cutters.piece_gap)


def left_at(u: Floats, lines_v: Floats, cutters: Cutters) -> Bools:
    """Tell which places are left of the lines that they lie on, one on each: what :func:`cut` would keep, without its sorting.

    Parameters
    ----------
    u, lines_v : (n,) ndarray
        Places along lines, and where the lines run, ascending.
    cutters : Cutters
        In the lines' own coordinates.

    Returns
    -------
    (n,) ndarray of bool
        True where :func:`cut` leaves the place.

    Examples
    --------
    >>> field, _ = edges_of(np.array([shapely.box(0, 0, 10, 4)]))
    >>> well = capsules_of(np.array([shapely.Point(5, 2)]), 1.0)
    >>> none = np.empty((0, 4)), np.empty(0, np.int64)
    >>> left_at(np.array([4.5, 4.0, 12.0]), np.array([2.0, 2.0, 3.5]), Cutters(field, *none, well)).tolist()
    [False, True, False]
    """
    if cutters.piece_gap:
        pieces = cut(lines_v, cutters)
        return _inside(u, pieces, NEAR)
    keep = _inside(u, _shortened(_polygon_pieces(lines_v, cutters.ground, None), cutters.end_gap), NEAR)
    keep &= ~_inside(u, _capsule_pieces(lines_v, cutters.capsules, TOUCH), -NEAR)
    keep &= ~_inside(u, _polygon_pieces(lines_v, cutters.holes, cutters.hole_group), -NEAR)
    if cutters.discs is not None:
        discs = cutters.discs
        keep &= _inside(u, _capsule_pieces(lines_v, np.column_stack([discs[:, :2], discs]), -TOUCH), NEAR)
    if cutters.reach is not None:
        keep &= _inside(u, _polygon_pieces(lines_v, *cutters.reach), NEAR)
    return keep


def _inside(u: Floats, pieces: Intervals, slack: float) -> Bools:
    """Tell which places, one on each line, lie in a piece of their line that is longer by so much at both ends."""
    out = np.zeros(len(u), bool)
    at = u[pieces.line]
    out[pieces.line[(at >= pieces.lo - slack) & (at <= pieces.hi + slack)]] = True
    return out


def _shortened(pieces: Intervals, gap: float) -> Intervals:
    """Take a length off both ends of every piece."""
    if not gap:
        return pieces
    lo, hi = pieces.lo + gap, pieces.hi - gap
    keep = hi >= lo
    return Intervals(pieces.line[keep], lo[keep], hi[keep])


def _runs(first: Ints, last: Ints) -> tuple[Ints, Ints]:
    """Return, for ranges first..last-1, the owner of every element and the element, flattened."""
    count = np.maximum(last - first, 0)
    owner = np.repeat(np.arange(len(first)), count)
    start = np.cumsum(count) - count
    return owner, np.arange(len(owner)) - start[owner] + first[owner]


def _polygon_pieces(lines_v: Floats, edges: Floats, group: Ints | None) -> Intervals:
    """Return the pieces of lines inside areas, even-odd in each group; an edge holds its lower end, not its upper."""
    low, high = np.minimum(edges[:, 1], edges[:, 3]), np.maximum(edges[:, 1], edges[:, 3])
    owner, line = _runs(np.searchsorted(lines_v, low), np.searchsorted(lines_v, high))
    u0, v0, u1, v1 = edges.T
    slope = (u1 - u0) / np.where(v1 == v0, 1.0, v1 - v0)
    u = u0[owner] + (lines_v[line] - v0[owner]) * slope[owner]
    order = np.lexsort((u, line)) if group is None else np.lexsort((u, group[owner], line))
    u, line = u[order], line[order]
    return Intervals(line[::2], u[::2], u[1::2])


def _capsule_pieces(lines_v: Floats, capsules: Floats, slack: float) -> Intervals:
    """Return the interval of every line with every capsule that it meets, the radius taken smaller by slack."""
    ua, va, ub, vb = capsules[:, :4].T
    radius = np.maximum(capsules[:, 4] - slack, 0.0)
    owner, line = _runs(
        np.searchsorted(lines_v, np.minimum(va, vb) - radius, "right"), np.searchsorted(lines_v, np.maximum(va, vb) + radius, "left")
    )
    v, r = lines_v[line], radius[owner]
    lo, hi = np.full(len(v), np.inf), np.full(len(v), -np.inf)
    with np.errstate(invalid="ignore", divide="ignore"):
        for u_end, v_end in ((ua, va), (ub, vb)):
            half = np.sqrt(r * r - (v - v_end[owner]) ** 2)
            lo, hi = np.fmin(lo, u_end[owner] - half), np.fmax(hi, u_end[owner] + half)
        du, dv = (ub - ua)[owner], (vb - va)[owner]
        length = np.hypot(du, dv)
        for side in (-1.0, 1.0):
            off_u, off_v = -side * r * dv / length, side * r * du / length
            share = (v - va[owner] - off_v) / dv
            u = np.where((share >= 0) & (share <= 1), ua[owner] + off_u + share * du, np.nan)
            lo, hi = np.fmin(lo, u), np.fmax(hi, u)
    keep = hi > lo
    return Intervals(line[keep], lo[keep], hi[keep])


def _sweep(base: Intervals, out: list[Intervals], allowed: list[Intervals]) -> Intervals:
    """Return base without every interval of out, and inside the union of each member of allowed."""
    layers = [base, *out, *allowed]
    line = np.concatenate([p.line for p in layers for _ in range(2)])
    u = np.concatenate([end for p in layers for end in (p.lo, p.hi)])
    step = np.concatenate([np.repeat([1, -1], len(p.line)) for p in layers]).astype(np.int32)
    layer = np.concatenate([np.full(2 * len(p.line), k, np.int8) for k, p in enumerate(layers)])
    # where ends meet, ground opens before it closes and a cutter closes before it opens: a point that just touches stays
    cutter = (layer >= 1) & (layer <= len(out))
    order = np.lexsort((np.where(cutter, step, -step), u, line))
    line, u, step, layer = line[order], u[order], step[order], layer[order]
    cutter = cutter[order]
    free = np.cumsum(np.where(layer == 0, step, 0)) > 0
    free &= np.cumsum(np.where(cutter, step, 0)) == 0
    for k in range(len(allowed)):
        free &= np.cumsum(np.where(layer == len(out) + 1 + k, step, 0)) > 0
    if not len(free):
        return Intervals(np.empty(0, np.int64), np.empty(0), np.empty(0))
    free[-1] = False
    was_free = np.concatenate([[False], free[:-1]])
    begins, ends = np.flatnonzero(free & ~was_free), np.flatnonzero(~free & was_free)
    return Intervals(line[begins].astype(np.int64), u[begins], u[ends])
