"""Polygons around areas: buffers true to a stated tolerance, and what is wide enough."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from setout.geometry.lines import overlay
from setout.geometry.lines.overlay import polygonal

ARC_TOLERANCE = 0.005
"""How far a drawn arc may lie off the true circle [m]."""


def arc_segments(radius: float, tolerance: float = ARC_TOLERANCE) -> int:
    """Return how many segments a quarter circle needs.

    Parameters
    ----------
    radius : float
        Radius of the arc.
    tolerance : float
        Greatest distance between chord and arc, in the same unit.

    Returns
    -------
    int
        Segments a quarter, at least 4.

    Examples
    --------
    >>> arc_segments(30.0), arc_segments(0.0)
    (44, 4)
    """
    if radius <= tolerance:
        return 4
    return max(4, int(np.ceil(np.pi / (4 * np.arccos(1 - tolerance / radius)))))


def around(geometry: NDArray[np.object_], distance: float) -> BaseGeometry:
    """Return everything within a distance of some geometries, as one polygon whose arcs lie just inside the true ones.

    Parameters
    ----------
    geometry : ndarray of shapely geometries
        What is kept clear of.
    distance : float
        Clear distance; 0 gives the areas themselves.

    Returns
    -------
    BaseGeometry
        Polygon or multipolygon, possibly empty.

    Examples
    --------
    >>> round(around(np.array([shapely.Point(0, 0)]), 10.0).area, 1)
    314.0
    """
    if not len(geometry):
        return shapely.MultiPolygon()
    if distance <= 0:
        return polygonal(overlay.union(geometry[shapely.get_dimensions(geometry) == 2]))
    return overlay.union(shapely.buffer(geometry, distance, quad_segs=arc_segments(distance)))


def discs_around(x: NDArray[np.float64], y: NDArray[np.float64], radius: float) -> BaseGeometry:
    """Return the union of discs, as one polygon whose arcs lie just outside the true ones.

    Parameters
    ----------
    x, y : (n,) ndarrays
        Centres.
    radius : float
        Radius of every disc.

    Returns
    -------
    BaseGeometry
        Polygon or multipolygon.

    Examples
    --------
    >>> round(discs_around(np.zeros(1), np.zeros(1), 10.0).area, 1)
    314.3
    """
    quarter = arc_segments(radius)
    outer = radius / np.cos(np.pi / (4 * quarter))
    return overlay.union(shapely.buffer(shapely.points(x, y), outer, quad_segs=quarter))


def without_narrow(geometry: BaseGeometry, width: float) -> BaseGeometry:
    """Return the part of an area in which a disc of a given diameter fits, its corners kept.

    The opening of the area by the disc, grown back by a quarter of the width inside the area, so that square corners
    (0.21 of the width away from the disc) stay.

    Parameters
    ----------
    geometry : BaseGeometry
        Polygon or multipolygon.
    width : float
        Least width.

    Returns
    -------
    BaseGeometry
        Polygon or multipolygon, possibly empty.

    Examples
    --------
    >>> neck = shapely.union_all([shapely.box(0, 0, 10, 10), shapely.box(10, 4, 30, 5)])
    >>> round(without_narrow(neck, 2.0).area, 1), without_narrow(shapely.box(0, 0, 10, 10), 2.0).area
    (100.6, 100.0)
    """
    radius = width / 2
    core = shapely.buffer(geometry, -radius * (1 - 1e-6), quad_segs=8)
    grown = shapely.buffer(core, radius * 1.5, quad_segs=8)
    return overlay.intersection(geometry, grown)
