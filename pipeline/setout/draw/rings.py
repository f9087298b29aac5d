"""Outlines for drawing: every ring of a shape as a line, made coarser one by one.

Drawings fill by the even-odd rule, so that rings need not stay valid together; that makes this fast where a
simplification that keeps polygons valid takes minutes, on the stairs of raster cells.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

PIECE: Final = 400
"""Points to a piece of a long line."""


def lines_of(geometry: BaseGeometry) -> tuple[NDArray[np.object_], NDArray[np.bool_]]:
    """Return the rings of a geometry's polygons, or its lines, as lines, and which are holes of the one before.

    >>> lines, hole = lines_of(shapely.box(0, 0, 9, 9) - shapely.box(3, 3, 6, 6))
    >>> lines.size, hole.tolist()
    (2, [False, True])
    """
    parts = np.asarray(shapely.get_parts(geometry), object)
    kinds = shapely.get_type_id(parts)
    lines: list[NDArray[np.object_]] = [parts[kinds == shapely.GeometryType.LINESTRING]]
    holes = [np.zeros(lines[0].size, bool)]
    polygons = parts[kinds == shapely.GeometryType.POLYGON]
    if polygons.size:
        rings, owner = shapely.get_rings(polygons, return_index=True)
        xy, index = shapely.get_coordinates(rings, return_index=True)
        lines.append(np.asarray(shapely.linestrings(xy, indices=index), object))
        holes.append(np.concatenate([[False], owner[1:] == owner[:-1]]) if owner.size else np.zeros(0, bool))
    return np.concatenate(lines), np.concatenate(holes)


def rings_of(geometry: BaseGeometry, tolerance: float = 0.0, longest: float = np.inf) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Return all points of a geometry's rings or lines, and how many each has.

    >>> points, lengths = rings_of(shapely.box(0, 0, 9, 9) - shapely.box(3, 3, 6, 6))
    >>> points.shape, lengths.tolist()
    ((10, 2), [5, -5])
    >>> rings_of(shapely.box(0, 0, 9, 9) - shapely.box(3, 3, 3.1, 3.1), tolerance=0.5)[1].tolist()
    [5]
    >>> rings_of(shapely.box(0, 0, 0.1, 0.1), tolerance=0.5, longest=400.0)[1].tolist()
    [5]
    """
    lines, hole = lines_of(geometry)
    if tolerance > 0:
        thin = _simplified(lines, tolerance)
        # a shape smaller than the tolerance is drawn as it is, and only its holes are left out
        lines = np.where((shapely.length(thin) == 0) & ~hole, lines, thin)
    kept = (shapely.get_num_coordinates(lines) > 3) | ~hole
    lines, hole = lines[kept], hole[kept]
    if np.isfinite(longest):
        lines = shapely.segmentize(lines, longest)
    lengths = shapely.get_num_coordinates(lines).astype(np.int64)
    return shapely.get_coordinates(lines), np.where(hole, -lengths, lengths)


def _simplified(lines: NDArray[np.object_], tolerance: float) -> NDArray[np.object_]:
    """Make lines coarser (Douglas-Peucker); long ones piece by piece, whose time would else grow with the square."""
    out = lines.copy()
    long = shapely.get_num_coordinates(lines) > 2 * PIECE
    out[~long] = shapely.simplify(lines[~long], tolerance, preserve_topology=False)
    for at in np.flatnonzero(long):
        xy = shapely.get_coordinates(lines[at])
        start = np.arange(0, len(xy) - 1, PIECE)
        end = np.minimum(start + PIECE, len(xy) - 1)
        index = np.concatenate([np.arange(a, b + 1) for a, b in zip(start, end, strict=True)])
        piece = np.repeat(np.arange(start.size), end - start + 1)
        pieces = shapely.simplify(shapely.linestrings(xy[index], indices=piece), tolerance, preserve_topology=False)
        thin, owner = shapely.get_coordinates(pieces, return_index=True)
        again = np.concatenate([[False], owner[1:] != owner[:-1]])
        out[at] = shapely.linestrings(thin[~again])
    return out


def points_left(shapes: Sequence[BaseGeometry], tolerance: float) -> int:
    """Return how many points the outlines of shapes have when drawn to a tolerance.

    >>> points_left([shapely.LineString([(0, 0), (1, 0.1), (2, 0)])], 0.2)
    2
    """
    return sum(len(rings_of(shape, tolerance)[0]) for shape in shapes)
