"""Shortest ways around obstacles that may not be crossed.

A shortest way bends only at corners of obstacles. Obstacles are drawn a few millimetres wide and the corners are taken
a little further out, so that a way may pass an obstacle's end but never through it, at a joint neither.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from setout.geometry.lines import overlay

Floats = NDArray[np.float64]

LITTLE = 0.02
"""How much wider than drawn an area opens a wall [m]."""
MANY_CORNERS = 200
"""Corners beyond which ways keep a little off winding obstacles: each is looked at from each other."""
COARSER_M = (0.1, 0.5, 2.0)
"""How far off at most, tried in turn [m]."""
SKIN = 0.004
"""Half the drawn width of a line that may not be crossed [m]; corners are passed at twice this."""


@dataclass(frozen=True, slots=True)
class Obstacles:
    """What may not be crossed, and the corners that a way can bend at."""

    shape: BaseGeometry
    corners: Floats


def obstacles_of(geometry: NDArray[np.object_], openings: NDArray[np.object_], opening_width: float) -> Obstacles | None:
    """Draw obstacles, leave the openings free, and find the corners.

    Parameters
    ----------
    geometry : ndarray of shapely geometries
        Lines or polygons that may not be crossed.
    openings : ndarray of shapely geometries
        Where they may be crossed all the same; areas as they are drawn.
    opening_width : float
        Width of an opening given as a point or a line [m].

    Returns
    -------
    Obstacles or None
        None where nothing is in the way.
    """
    if not len(geometry):
        return None
    shape = overlay.union(shapely.buffer(geometry, SKIN, quad_segs=1, join_style="mitre"))
    wide = overlay.union(shapely.buffer(geometry, 2 * SKIN, quad_segs=1, join_style="mitre"))
    gap = None
    if len(openings):
        gap = overlay.union(opened(openings, opening_width))
        shape, wide = overlay.difference(shape, gap), overlay.difference(wide, shapely.buffer(gap, -SKIN))
    if shape.is_empty:
        return None
    shapely.prepare(shape)
    return Obstacles(shape, _fewer(_convex_corners(wide), shape, gap))


def _fewer(corners: Floats, shape: BaseGeometry, gap: BaseGeometry | None) -> Floats:
    """Return corners of a line drawn a little round the obstacles instead, where theirs are very many; those at openings stay."""
    for away in COARSER_M:
        if len(corners) <= MANY_CORNERS:
            break
        round_ = shapely.simplify(shapely.buffer(shape, away + 2 * SKIN, join_style="mitre"), away)
        coarse = _convex_corners(round_)
        if gap is not None:
            near = shapely.dwithin(gap, shapely.points(corners), 2 * max(COARSER_M))
            coarse = np.vstack([coarse, corners[near]])
        corners = coarse if len(coarse) < len(corners) else corners
    return corners


def opened(openings: NDArray[np.object_], width: float) -> NDArray[np.object_]:
    """Return what openings let through: points and lines of a width [m], areas as they are drawn and a little wider.

    So an area drawn as long as its wall is thick goes through, although moved to another plane their edges part a little.
    """
    wide = np.where(shapely.get_dimensions(openings) == 2, LITTLE, width / 2)
    return np.asarray(shapely.buffer(openings, wide), object)


def _convex_corners(area: BaseGeometry) -> Floats:
    """Return the corners that stick out of an area: only there a shortest way around it bends."""
    found = []
    for polygon in shapely.get_parts(shapely.orient_polygons(area)):
        for ring in shapely.get_rings(polygon):
            xy = shapely.get_coordinates(ring)[:-1]
            before, after = xy - np.roll(xy, 1, axis=0), np.roll(xy, -1, axis=0) - xy
            found.append(xy[before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0] > 0])
    return np.vstack(found) if found else np.empty((0, 2))


def sees(obstacles: Obstacles, x0: Floats, y0: Floats, x1: Floats, y1: Floats) -> NDArray[np.bool_]:
    """Tell which straight ways are free.

    Parameters
    ----------
    obstacles : Obstacles
        What may not be crossed.
    x0, y0, x1, y1 : (n,) ndarrays
        Ends of the ways.

    Returns
    -------
    (n,) ndarray of bool
        True where nothing is in the way.
    """
    lines = shapely.linestrings(np.stack([np.column_stack([x0, y0]), np.column_stack([x1, y1])], axis=1))
    return ~np.asarray(shapely.intersects(obstacles.shape, lines), bool)


def ways_from(obstacles: Obstacles, x: float, y: float, longest: float) -> tuple[Floats, Floats]:
    """Find the corners that can be reached from a place, and the length of the shortest way to each.

    Dijkstra's method over the corners in sight of each other.

    Parameters
    ----------
    obstacles : Obstacles
        What may not be crossed.
    x, y : float
        The place.
    longest : float
        Ways longer than this are not followed.

    Returns
    -------
    corners : (m, 2) ndarray
        The place itself first, then the corners reached.
    length : (m,) ndarray
        Length of the shortest way to each.

    Examples
    --------
    >>> wall = obstacles_of(np.array([shapely.LineString([(5, -3), (5, 3)])]), np.empty(0, object), 1.0)
    >>> corners, length = ways_from(wall, 0.0, 0.0, 20.0)
    >>> bool(abs(length[1] - np.hypot(5, 3)) < 0.02)
    True
    """
    near = obstacles.corners
    near = near[np.hypot(near[:, 0] - x, near[:, 1] - y) < longest]
    nodes = np.vstack([[[x, y]], near])
    length = np.full(len(nodes), np.inf)
    length[0] = 0.0
    done = np.zeros(len(nodes), bool)
    queue = [(0.0, 0)]
    while queue:
        so_far, node = heapq.heappop(queue)
        if done[node]:
            continue
        done[node] = True
        total = so_far + np.hypot(*(nodes - nodes[node]).T)
        better = np.flatnonzero(~done & (total < length - 1e-9) & (total <= longest))
        if not len(better):
            continue
        start = np.broadcast_to(nodes[node], (len(better), 2))
        free = better[sees(obstacles, start[:, 0], start[:, 1], nodes[better, 0], nodes[better, 1])]
        length[free] = total[free]
        for other in free:
            heapq.heappush(queue, (float(length[other]), int(other)))
    reached = np.isfinite(length)
    return nodes[reached], length[reached]


def in_sight(obstacles: Obstacles, x: float, y: float, disc: BaseGeometry, radius: float) -> BaseGeometry:
    """Return the part of a disc that its centre sees past the obstacles.

    Parameters
    ----------
    obstacles : Obstacles
        What may not be looked through.
    x, y : float
        Centre of the disc.
    disc : BaseGeometry
        The disc.
    radius : float
        Its radius.

    Returns
    -------
    BaseGeometry
        The disc less the shadow of every obstacle edge.

    Examples
    --------
    A long wall close by hides all but half of the disc:

    >>> wall = obstacles_of(np.array([shapely.LineString([(-50, 1), (50, 1)])]), np.empty(0, object), 1.0)
    >>> seen = in_sight(wall, 0.0, 0.0, shapely.Point(0, 0).buffer(10.0), 10.0)
    >>> round(seen.bounds[3], 3)
    0.996
    """
    edges = shapely.get_parts(shapely.boundary(overlay.intersection(obstacles.shape, disc)))
    if not len(edges):
        return disc
    shadows = [overlay.intersection(obstacles.shape, disc)]
    for line in edges:
        xy = shapely.get_coordinates(line)
        ray = xy - (x, y)
        way = ray / np.maximum(np.hypot(ray[:, 0], ray[:, 1]), 1e-9)[:, None]
        # a shadow goes out by way of its middle: straight from end to end that of a wide edge would miss the disc's rim
        between = way[:-1] + way[1:]
        between /= np.maximum(np.hypot(between[:, 0], between[:, 1]), 1e-12)[:, None]
        far, middle = (np.array([x, y]) + 3 * radius * part for part in (way, between))
        shade = np.stack([xy[:-1], xy[1:], far[1:], middle, far[:-1]], axis=1)
        shadows.append(overlay.union(np.asarray(shapely.make_valid(shapely.polygons(shade)), object)))
    return overlay.difference(disc, overlay.union(shadows))
