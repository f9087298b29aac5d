"""Outlines of raster cells, traced on whole arrays.

Every corner of an outline has one horizontal and one vertical side. Read row by row, corners pair up along their
horizontal sides, first with second, third with fourth; read column by column they pair up along their vertical sides
in the same way. Following the two pairings in turn walks round each outline once:

    row by row     1---2     3---4          a vertex where two set cells touch only at their corners
    column by col. |   |     |   |          counts as two corners

Such a vertex belongs to one corner of each of the two cells where they are of different patches, and to one corner of
each of the two gaps where they are of the same patch: so no ring meets itself. Rings keep their cells on one side, so
an outer ring and a hole turn opposite ways.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

_CORNERS = np.array([1 if code.bit_count() in (1, 3) else 2 if code in (6, 9) else 0 for code in range(16)], np.uint8)
"""Corners at a vertex by which of its cells are set: 1 upper left, 2 upper right, 4 lower left, 8 lower right."""


def cell_polygons(mask: NDArray[np.bool_], row0: int = 0, col0: int = 0) -> NDArray[np.object_]:
    """Return the outlines of the set cells of a mask, in cell coordinates (x = column, y = row).

    Cells that touch at a side are one polygon; polygons touch each other at corners at most, so together they are a
    valid multipolygon.

    Parameters
    ----------
    mask : (rows, cols) ndarray of bool
        Cells to outline.
    row0, col0 : int
        Cell coordinates of the mask's first cell.

    Returns
    -------
    ndarray of shapely polygons
        One per connected patch of cells, patches in the order of their first cell.

    Examples
    --------
    >>> [p.wkt for p in cell_polygons(np.array([[True, True]]), 5, 7)]
    ['POLYGON ((7 5, 9 5, 9 6, 7 6, 7 5))']
    """
    from scipy.ndimage import label

    rows = np.flatnonzero(mask.any(axis=1))
    if not len(rows):
        return np.empty(0, object)
    top, bottom = int(rows[0]), int(rows[-1]) + 1
    mask = mask[top:bottom]
    row, col, code, across = _corners(mask)
    patches, _ = label(mask)
    along = _partners(row, col, code, patches)
    order, ring_start = _walk(across, along, code)
    points = np.column_stack([order, across[order]]).ravel()
    x, y = col[points], row[points]
    starts = 2 * ring_start[:-1]
    owner, outer = _owners(patches, x, y, starts)
    return _assemble(x + col0, y + (row0 + top), np.append(starts, len(points)), owner, outer)


def _corners(mask: NDArray[np.bool_]) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.uint8], NDArray[np.int64]]:
    """Return row, column and code of every corner, row by row, and each corner's partner along its horizontal side."""
    cells = np.pad(mask.view(np.uint8), 1)
    code = cells[:-1, :-1] + 2 * cells[:-1, 1:] + 4 * cells[1:, :-1] + 8 * cells[1:, 1:]
    number = _CORNERS[code]
    at = np.flatnonzero(number)
    at = np.repeat(at, number.ravel()[at])
    row, col = np.divmod(at, code.shape[1])
    return row, col, code.ravel()[at], np.arange(len(at)) ^ 1


def _partners(row: NDArray[np.int64], col: NDArray[np.int64], code: NDArray[np.uint8], patches: NDArray[np.int32]) -> NDArray[np.int64]:
    """Return each corner's partner along its vertical side."""
    second = np.zeros(len(row), np.int64)
    second[1:] = (row[1:] == row[:-1]) & (col[1:] == col[:-1])
    # of two corners at one vertex the first has its side to the left, the second to the right; the cell above the
    # vertex is the left one in code 9 and the right one in code 6
    crossed = code == 6
    double = np.flatnonzero(crossed | (code == 9))
    if len(double):
        below, right = row[double], col[double]
        left_of = np.where(code[double] == 9, right - 1, right)
        crossed[double] ^= patches[below - 1, left_of] == patches[below, 2 * right - 1 - left_of]
    lower = np.where(crossed, 1 - second, second)
    height = int(row.max()) + 1
    order = np.argsort((col * height + row) * 2 + lower, kind="stable")
    partner = np.empty(len(row), np.int64)
    partner[order] = order[np.arange(len(order)) ^ 1]
    return partner


def _walk(across: NDArray[np.int64], along: NDArray[np.int64], code: NDArray[np.uint8]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the corners that begin a horizontal side, ring after ring, and where each ring starts among them."""
    size = len(across)
    even = np.arange(size) % 2 == 0
    # left end (even): the side runs to the right of the vertex; cells are below it where code has 8 and not 2
    left = np.flatnonzero(even)
    below = (code[left] & 8 > 0) & (code[left] & 2 == 0)
    begins = np.where(below, left, left + 1)
    follow = along[across].tolist()
    seen = bytearray(size)
    order: list[int] = []
    starts = [0]
    for first in begins.tolist():
        if seen[first]:
            continue
        corner = first
        while not seen[corner]:
            seen[corner] = 1
            order.append(corner)
            corner = follow[corner]
        starts.append(len(order))
    return np.array(order, np.int64), np.array(starts, np.int64)


def _owners(
    patches: NDArray[np.int32], x: NDArray[np.int64], y: NDArray[np.int64], starts: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Return for every ring the patch of cells that it bounds, and whether it is the patch's outer ring."""
    after = np.arange(1, len(x) + 1)
    ends = np.append(starts[1:], len(x)) - 1
    after[ends] = starts
    area = np.add.reduceat(x * y[after] - x[after] * y, starts)
    outer = area > 0
    # rings begin with a side that has its cell below (outer: to the right) or above (to the left)
    right = x[after[starts]] > x[starts]
    cell_row = np.where(right, y[starts], y[starts] - 1)
    cell_col = np.minimum(x[starts], x[after[starts]])
    return patches[cell_row, cell_col].astype(np.int64), outer


def _assemble(
    x: NDArray[np.int64], y: NDArray[np.int64], bounds: NDArray[np.int64], owner: NDArray[np.int64], outer: NDArray[np.bool_]
) -> NDArray[np.object_]:
    """Build the polygons, every ring closed, the outer ring of each patch before its holes."""
    ring_order = np.lexsort((~outer, owner))
    length = np.diff(bounds)[ring_order] + 1
    ends = np.concatenate([[0], np.cumsum(length)])
    place = np.arange(ends[-1]) - np.repeat(ends[:-1], length)
    size = np.repeat(length - 1, length)
    source = np.repeat(bounds[:-1][ring_order], length) + np.where(place == size, 0, place)
    xy = np.column_stack([x[source], y[source]]).astype(float)
    owners = owner[ring_order]
    polygon_ends = np.append(np.flatnonzero(np.append(True, owners[1:] != owners[:-1])), len(owners))
    out: NDArray[np.object_] = shapely.from_ragged_array(shapely.GeometryType.POLYGON, xy, (ends, polygon_ends))
    return out
