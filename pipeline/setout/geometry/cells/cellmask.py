"""Cells of a raster that are so or not so, one bit each, and the cells inside a polygon by scan lines.

A packed mask of (rows, cols) cells is an array (rows, ceil(cols / 8)) of bytes, the first cell in the highest bit. A
cell (i, j) covers rows [i, i + 1) and columns [j, j + 1): its upper and left sides belong to it, the others do not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from setout.geometry.cells import gridmap
from setout.geometry.lines import overlay
from setout.model import Bools, Floats, Ground, Ints

Packed = NDArray[np.uint8]

FEW_CELLS = 10_000
_RUNS = 1024
"""Runs of cells counted at once."""


def pack(mask: Bools) -> Packed:
    """Pack a mask, eight cells of a row a byte.

    >>> pack(np.array([[True, False, False, True, False, False, False, False, True]])).tolist()
    [[144, 128]]
    """
    return np.packbits(mask, axis=1)


def unpack(packed: Packed, width: int) -> Bools:
    """Return a packed mask as an array of bool.

    Parameters
    ----------
    packed : (rows, ceil(width / 8)) ndarray of uint8
        The mask.
    width : int
        Number of columns.

    Returns
    -------
    (rows, width) ndarray of bool
        The cells.

    Examples
    --------
    >>> unpack(np.array([[144, 128]], np.uint8), 9).astype(int).tolist()
    [[1, 0, 0, 1, 0, 0, 0, 0, 1]]
    """
    return np.unpackbits(packed, axis=1, count=width).view(np.bool_)


def look_up(packed: Packed, row: Ints, col: Ints) -> Bools:
    """Return whether cells are set.

    Parameters
    ----------
    packed : ndarray of uint8
        The mask.
    row, col : (n,) ndarray of int
        Cells, all inside the mask.

    Returns
    -------
    (n,) ndarray of bool
        True where the cell is set.

    Examples
    --------
    >>> look_up(np.array([[144, 128]], np.uint8), np.array([0, 0]), np.array([8, 1])).tolist()
    [True, False]
    """
    byte = packed[row, col >> 3]
    bit = (7 - (col & 7)).astype(np.uint8)
    found: Bools = ((byte >> bit) & 1).astype(np.bool_)
    return found


def part(packed: Packed, window: tuple[int, int, int, int]) -> Bools:
    """Return the cells of a window (row0, row1, col0, col1) of a packed mask.

    >>> part(np.array([[144, 128]], np.uint8), (0, 1, 3, 9)).astype(int).tolist()
    [[1, 0, 0, 0, 0, 1]]
    """
    row0, row1, col0, col1 = window
    first = col0 >> 3
    bits = np.unpackbits(packed[row0:row1, first : -(-col1 // 8)], axis=1).astype(np.bool_)
    cells: Bools = bits[:, col0 - 8 * first : col1 - 8 * first]
    return cells


@dataclass(frozen=True, slots=True)
class Spans:
    """Runs of cells inside a polygon: row, first column and column after the last one, sorted by row and column."""

    row: Ints
    first: Ints
    stop: Ints

    @property
    def cells(self) -> int:
        """Return the number of cells."""
        return int((self.stop - self.first).sum())


def spans_inside(polygon: BaseGeometry) -> Spans:
    """Find the cells whose centre lies inside a polygon.

    Every row of cells is cut once, along the line through its centres, by the even-odd rule.

    Parameters
    ----------
    polygon : BaseGeometry
        Polygon or multipolygon in cell coordinates, x = column, y = row.

    Returns
    -------
    Spans
        The cells, row by row.

    Examples
    --------
    >>> spans_inside(shapely.box(0.4, 0, 3, 1.2))
    Spans(row=array([0]), first=array([0]), stop=array([3]))
    """
    rings = shapely.get_rings(shapely.get_parts(polygon))
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    same = ring[1:] == ring[:-1]
    a, b = xy[:-1][same], xy[1:][same]
    low, high = np.minimum(a[:, 1], b[:, 1]), np.maximum(a[:, 1], b[:, 1])
    # the edge meets the centre lines y = row + 0.5 with low <= y < high
    row0, row1 = np.ceil(low - 0.5).astype(np.int64), np.ceil(high - 0.5).astype(np.int64)
    times = row1 - row0
    edge = np.repeat(np.arange(len(times)), times)
    row = np.arange(len(edge)) - np.repeat(np.cumsum(times) - times, times) + row0[edge]
    share = (row + 0.5 - a[edge, 1]) / (b[edge, 1] - a[edge, 1])
    x = a[edge, 0] + share * (b[edge, 0] - a[edge, 0])
    order = np.lexsort((x, row))
    row, x = row[order], x[order]
    col = np.ceil(x - 0.5).astype(np.int64)
    first, stop = col[0::2], col[1::2]
    some = stop > first
    return Spans(row[0::2][some], first[some], stop[some])


def clip(spans: Spans, window: tuple[int, int, int, int]) -> Spans:
    """Keep the cells inside a window (row0, row1, col0, col1).

    >>> clip(Spans(np.array([0, 5]), np.array([2, 2]), np.array([9, 9])), (0, 3, 4, 6))
    Spans(row=array([0]), first=array([4]), stop=array([6]))
    """
    row0, row1, col0, col1 = window
    first, stop = np.maximum(spans.first, col0), np.minimum(spans.stop, col1)
    keep = (spans.row >= row0) & (spans.row < row1) & (stop > first)
    return Spans(spans.row[keep], first[keep], stop[keep])


def count(packed: Packed, spans: Spans) -> int:
    """Count the set cells among some runs of cells.

    Parameters
    ----------
    packed : (rows, bytes) ndarray of uint8
        The mask.
    spans : Spans
        Runs of cells inside the mask.

    Returns
    -------
    int
        How many of their cells are set.

    Examples
    --------
    >>> count(np.array([[144, 128]], np.uint8), Spans(np.array([0]), np.array([1]), np.array([9])))
    2
    """
    wide, total = packed.shape[1], 0
    for k in range(0, len(spans.row), _RUNS):
        row, first, stop = (part[k : k + _RUNS] for part in (spans.row, spans.first, spans.stop))
        top = row[0]
        bytes_ = packed[top : row[-1] + 1].ravel()
        if not bytes_.any():
            continue
        running = np.zeros(len(bytes_) + 1, np.int64)
        np.cumsum(np.bitwise_count(bytes_), out=running[1:])
        begin, end = (row - top) * wide + (first >> 3), (row - top) * wide + (stop + 7 >> 3)
        before = np.bitwise_count(bytes_[begin] >> (8 - (first & 7)).astype(np.uint8))
        after = np.bitwise_count(bytes_[end - 1] & ((1 << (-stop & 7)) - 1).astype(np.uint8))
        total += int((running[end] - running[begin]).sum()) - int(before.sum(dtype=np.int64)) - int(after.sum(dtype=np.int64))
    return total


def share(polygon: BaseGeometry, packed: Packed, window: tuple[int, int, int, int]) -> float:
    """Return the share of a polygon's area whose cells are set, or lie beyond the mask.

    Exact over few cells; over more than :data:`FEW_CELLS` a cell counts as a whole where its centre is inside.

    Parameters
    ----------
    polygon : BaseGeometry
        Polygon or multipolygon in cell coordinates, x = column, y = row.
    packed : ndarray of uint8
        The mask.
    window : (int, int, int, int)
        (row0, row1, col0, col1) of the mask.

    Returns
    -------
    float
        0 to 1.

    Examples
    --------
    >>> round(share(shapely.box(0.5, 0, 4, 1), np.array([[128]], np.uint8), (0, 1, 0, 3)), 6)
    0.428571
    """
    row0, row1, col0, col1 = window
    low_col, low_row, high_col, high_row = polygon.bounds
    if low_col >= col0 and low_row >= row0 and high_col <= col1 and high_row <= row1 and not packed.any():
        return 0.0
    if (row1 - row0) * (col1 - col0) <= FEW_CELLS:
        row, col = np.nonzero(~unpack(packed, col1 - col0))
        free = shapely.box(col + col0, row + row0, col + col0 + 1, row + row0 + 1)
        return float(1 - shapely.area(overlay.intersection(free, polygon)).sum() / polygon.area)
    spans = spans_inside(polygon)
    inside = clip(spans, window)
    moved = Spans(inside.row - row0, inside.first - col0, inside.stop - col0)
    return (spans.cells - inside.cells + count(packed, moved)) / spans.cells


def bits_at(ground: Ground, packed: Packed, row: Ints, col: Ints, *, outside: bool) -> Bools:
    """Look up a packed mask over the site's window for cells of the DEM's grid.

    Parameters
    ----------
    ground : Ground
        With a DEM.
    packed : ndarray of uint8
        Like ``ground.steep``.
    row, col : (n,) ndarray of int
        Cells of the grid.
    outside : bool
        What holds beyond the window.

    Returns
    -------
    (n,) ndarray of bool
        The bits.
    """
    row0, row1, col0, col1 = ground.window
    inside = (row >= row0) & (row < row1) & (col >= col0) & (col < col1)
    if inside.all():
        return look_up(packed, row - row0, col - col0)
    out = np.full(row.shape, outside)
    out[inside] = look_up(packed, row[inside] - row0, col[inside] - col0)
    return out


class MaskedCells:
    """Tells for positions whether the cell that each stands on is free of every one of some masks.

    Parameters
    ----------
    ground : Ground
        With a DEM.
    masks : Sequence of packed bits
        Like ``ground.steep``. Beyond the window a position is free only where ground without elevation may be planted.
    """

    def __init__(self, ground: Ground, masks: Sequence[Packed]) -> None:
        assert ground.elevations is not None
        self._ground = ground
        self._taken = np.bitwise_or.reduce(np.stack(masks)) if len(masks) > 1 else masks[0]
        self._mapping = gridmap.to_cells(ground.frame, ground.elevations.grid, ground.window)

    def __call__(self, x: Floats, y: Floats) -> Bools:
        """Return which of the positions (x, y) [m in the frame] are free."""
        row, col = gridmap.cells_at(self._ground, x, y, self._mapping)
        return ~bits_at(self._ground, self._taken, row, col, outside=not self._ground.allow_blank)
