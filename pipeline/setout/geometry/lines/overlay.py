"""Union, intersection and difference of areas, all with one precision.

Corners that an overlay makes lie on one grid (snap rounding; Hobby, Computational Geometry 13, 1999), so that edges which
differ by rounding alone fall together instead of leaving slivers of no width. Areas that were moved to another plane may
cross themselves by such a rounding: they are mended with :func:`sound` where they are moved.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, TypeVar, cast

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.errors import GEOSException
from shapely.geometry.base import BaseGeometry

Geometries = NDArray[np.object_]
Shape = TypeVar("Shape", bound=BaseGeometry | Geometries)

GRID = 2.0**-26
"""Side of the grid, in the coordinates' own unit; of a metre 15 millionths of a millimetre.

Above the rounding of a property's coordinates (some 1e-9 m), and far below what still counts as on a line
(``rowcut.TOUCH``), so that a row that just fits keeps its last tree.
"""


def union(geometries: Geometries | Sequence[BaseGeometry]) -> BaseGeometry:
    """Return geometries as one.

    Parameters
    ----------
    geometries : sequence of shapely geometries
        Any number of them.

    Returns
    -------
    BaseGeometry
        Their union; an area without extent for none.

    Examples
    --------
    >>> union([shapely.box(0, 0, 1, 1), shapely.box(1, 0, 2, 1)]).area
    2.0
    """
    # merged by twos, which a grid would not allow: ten times as fast for thousands of discs
    parts = np.asarray(geometries, object)
    if not len(parts):
        return shapely.MultiPolygon()
    try:
        whole: BaseGeometry = shapely.union_all(parts)
    except GEOSException:
        whole = shapely.union_all(sound(parts))
    return whole


def intersection(one: Shape, other: BaseGeometry | Geometries, grid: float | None = GRID) -> Shape:
    """Return the part of areas or lines that lies in others, or of each of several in each of others.

    Parameters
    ----------
    one, other : BaseGeometry or ndarray of shapely geometries
        They are broadcast; the second has areas.
    grid : float, optional
        Side of the grid; None for cells, whose corners are whole numbers already: a third of the time.

    Returns
    -------
    BaseGeometry or ndarray
        Areas of areas, lines of lines: where they only touch nothing is left.

    Examples
    --------
    >>> intersection(shapely.box(0, 0, 2, 2), shapely.box(1, 1 + 1e-10, 3, 3)).area
    1.0
    >>> intersection(shapely.box(0, 0, 2, 2), shapely.box(2, 0, 4, 2)).is_empty
    True
    """
    return _overlaid(shapely.intersection, one, other, grid)


def difference(one: Shape, other: BaseGeometry | Geometries, grid: float | None = GRID) -> Shape:
    """Return areas or lines less other areas.

    Parameters
    ----------
    one, other : BaseGeometry or ndarray of shapely geometries
        They are broadcast; the second has areas.
    grid : float, optional
        Side of the grid; None for cells, whose corners are whole numbers already: a third of the time.

    Returns
    -------
    BaseGeometry or ndarray
        What is left of the first: areas of areas, lines of lines.

    Examples
    --------
    >>> difference(shapely.box(0, 0, 2, 2), shapely.box(1e-10, -1, 2, 3)).is_empty
    True
    """
    return _overlaid(shapely.difference, one, other, grid)


def _overlaid(work: Callable[..., Any], one: Shape, other: BaseGeometry | Geometries, grid: float | None) -> Shape:
    """Do an overlay on the grid; where areas cross themselves so that it cannot be done, with these mended."""
    try:
        found = work(one, other, grid_size=grid)
    except GEOSException:
        found = work(sound(one), sound(other), grid_size=GRID)
    dimension = np.broadcast_to(shapely.get_dimensions(cast(Any, one)), np.shape(found))
    mixed = shapely.get_type_id(found) == shapely.GeometryType.GEOMETRYCOLLECTION
    odd = mixed | (shapely.get_dimensions(found) != dimension)
    if np.ndim(found):
        found[odd] = [_only(g, int(d)) for g, d in zip(found[odd], dimension[odd], strict=True)]
    elif odd:
        found = _only(found, int(dimension))
    return cast(Shape, found)


def _only(geometry: BaseGeometry, dimension: int) -> BaseGeometry:
    """Return the areas (2) or the lines (1) of what an overlay left."""
    if dimension == 2:
        return polygonal(geometry)
    parts = shapely.get_parts(geometry)
    return shapely.MultiLineString(list(shapely.get_parts(parts[shapely.get_dimensions(parts) == dimension])))


def sound(geometry: Shape) -> Shape:
    """Mend areas that cross themselves by a rounding, as those do that were moved to another plane.

    Parameters
    ----------
    geometry : BaseGeometry or ndarray of shapely geometries
        Anything.

    Returns
    -------
    BaseGeometry or ndarray
        The same where nothing is to be mended; lines and points as they are.

    Examples
    --------
    >>> crossed = shapely.Polygon([(0, 0), (4, 0), (4, 4), (2, -1e-12), (0, 4)])
    >>> crossed.is_valid, sound(crossed).is_valid, round(sound(crossed).area, 6)
    (False, True, 8.0)
    """
    array = np.atleast_1d(np.asarray(geometry, object))
    broken = ~shapely.is_valid(array) & (shapely.get_dimensions(array) == 2)
    if not broken.any():
        return geometry
    array = array.copy()
    mended = shapely.make_valid(array[broken], method="structure", keep_collapsed=False)
    array[broken] = [polygonal(one) for one in mended]
    return cast(Shape, array if isinstance(geometry, np.ndarray) else array.item())


def polygonal(geometry: BaseGeometry) -> BaseGeometry:
    """Return the polygons in a geometry and nothing else.

    Parameters
    ----------
    geometry : BaseGeometry
        Anything, such as the result of an overlay.

    Returns
    -------
    BaseGeometry
        Polygon or multipolygon, possibly empty.

    Examples
    --------
    >>> polygonal(shapely.GeometryCollection([shapely.Point(0, 0), shapely.box(0, 0, 1, 1)])).area
    1.0
    """
    if geometry.geom_type in ("Polygon", "MultiPolygon"):
        return geometry
    parts = shapely.get_parts(geometry)
    parts = parts[shapely.get_dimensions(parts) == 2]
    if not len(parts):
        return shapely.MultiPolygon()
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(list(shapely.get_parts(parts)))


def parts_of(geometry: BaseGeometry) -> NDArray[np.object_]:
    """Return the single polygons of a geometry.

    Parameters
    ----------
    geometry : BaseGeometry
        Anything.

    Returns
    -------
    ndarray of shapely polygons
        Non-empty ones only.

    Examples
    --------
    >>> len(parts_of(shapely.MultiPolygon()))
    0
    """
    parts = shapely.get_parts(polygonal(geometry))
    kept: NDArray[np.object_] = parts[~shapely.is_empty(parts)]
    return kept
