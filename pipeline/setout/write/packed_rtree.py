"""A spatial index laid down whole: the nodes of an SQLite R*Tree, packed along a Hilbert curve.

Inserting box by box costs more than writing the features themselves; sorting them along a space-filling
curve and cutting the order into full nodes gives the same index in one pass (Kamel and Faloutsos 1993, "On
packing R-trees"). The node format is the one that SQLite documents at the head of its rtree.c: a 2-byte
depth (in the root only), a 2-byte count of cells, then cells of an 8-byte id and four 32-bit coordinates
(minx, maxx, miny, maxy), big-endian.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Iterator

CELLS: Final = 51
"""Cells a node: the most that SQLite allows (RTREE_MAXCELLS), and what a page of 4096 bytes gives."""
NODE: Final = np.dtype([("depth", ">u2"), ("count", ">u2"), ("cell", [("id", ">i8"), ("box", ">f4", 4)], CELLS)])
"""One node as it lies in the file, 1228 bytes."""

_ROWS: Final = 50_000

Boxes = NDArray[np.float32]


def outward(boxes: NDArray[np.float64]) -> Boxes:
    """Round boxes to 32 bits so that each still holds what it held.

    Parameters
    ----------
    boxes : array, shape (n, 4)
        minx, miny, maxx, maxy.

    Returns
    -------
    array, shape (n, 4)
        minx, maxx, miny, maxy; lower ones rounded down, upper ones up.

    Examples
    --------
    >>> import numpy as np
    >>> outward(np.array([[7600000.3, 0.0, 7600000.3, 1.0]])).tolist()
    [[7600000.0, 7600000.5, 0.0, 1.0]]
    """
    exact = boxes[:, [0, 2, 1, 3]]
    rounded = exact.astype(np.float32)
    low, high = rounded[:, 0::2], rounded[:, 1::2]
    np.copyto(low, np.nextafter(low, np.float32(-np.inf)), where=low > exact[:, 0::2])
    np.copyto(high, np.nextafter(high, np.float32(np.inf)), where=high < exact[:, 1::2])
    return rounded


def hilbert(x: NDArray[Any], y: NDArray[Any], bits: int = 16) -> NDArray[Any]:
    """Return the distance along the Hilbert curve of cells of a square grid.

    The bit-by-bit walk of Hilbert's curve with turning quadrants (Skilling 2004, "Programming the Hilbert
    curve").

    Parameters
    ----------
    x, y : array
        Column and row of the cell, 0 to 2**bits - 1.
    bits : int
        Levels of the curve, at most 16.

    Returns
    -------
    array
        Distance in cells, from 0.

    Examples
    --------
    >>> import numpy as np
    >>> hilbert(np.array([0, 0, 1, 1], np.uint32), np.array([0, 1, 1, 0], np.uint32), bits=1).tolist()
    [0, 1, 2, 3]
    """
    distance = np.zeros_like(x)
    for level in range(bits - 1, -1, -1):
        rx, ry = (x >> level) & 1, (y >> level) & 1
        distance = (distance << 2) | ((3 * rx) ^ ry)
        mask = (1 << level) - 1
        flip = rx * (1 - ry) * mask  # the lower right quadrant is walked backwards
        x, y = (x & mask) ^ flip, (y & mask) ^ flip
        turn = (x ^ y) * (1 - ry)  # both lower quadrants are walked with x and y exchanged
        x, y = x ^ turn, y ^ turn
    return distance


def order(boxes: Boxes) -> NDArray[np.intp]:
    """Return the order of boxes along a Hilbert curve through their middles.

    Parameters
    ----------
    boxes : array, shape (n, 4)
        minx, maxx, miny, maxy, finite.

    Returns
    -------
    array
        Indices; equal places keep their order.
    """
    if not len(boxes):
        return np.empty(0, np.intp)
    low = boxes[:, 0::2].min(axis=0).astype(np.float64)
    side = float((boxes[:, 1::2].max(axis=0) - low).max()) or 1.0
    distance = np.empty(len(boxes), np.uint32)
    for start in range(0, len(boxes), _ROWS):
        part = boxes[start : start + _ROWS].astype(np.float64)
        middle = (part[:, 0::2] + part[:, 1::2]) / 2 - low
        cell = (middle * (65535 / side)).astype(np.uint32)
        distance[start : start + _ROWS] = hilbert(cell[:, 0], cell[:, 1])
    return np.argsort(distance, kind="stable")


@dataclass(frozen=True, slots=True)
class PackedTree:
    """A tree laid down whole.

    Attributes
    ----------
    ids : id of each box, in packing order
    boxes : every box, by its place in the order that along names
    along : where each id's box lies in boxes
    first_leaf : number of the first leaf node
    """

    ids: NDArray[np.int64]
    boxes: Boxes
    along: NDArray[np.intp]
    first_leaf: int

    def leaf_of(self) -> NDArray[np.int32]:
        """Return the number of the leaf that holds each box, in the order of boxes."""
        leaf = np.empty(len(self.along), np.int32)
        leaf[self.along] = np.arange(len(self.along)) // CELLS + self.first_leaf
        return leaf

    def nodes(self) -> Iterator[tuple[int, NDArray[Any], NDArray[np.int64]]]:
        """Yield the nodes in order of their number, the root first.

        Yields
        ------
        tuple
            Number of the first node of a run, the run's nodes (dtype ``NODE``), and the node above each (0
            above the root).
        """
        levels = self._levels()
        first = 1
        for level in range(len(levels), -1, -1):
            count = -(-(len(levels[level - 1]) if level else max(1, len(self.ids))) // CELLS)
            above = first - (-(-len(levels[level]) // CELLS)) if level < len(levels) else 0
            for start in range(0, count, 1024):
                stop = min(count, start + 1024)
                cells = slice(start * CELLS, stop * CELLS)
                if level:
                    bounds = levels[level - 1][cells]
                    children = np.arange(cells.start, cells.start + len(bounds)) + first + count
                else:
                    children, bounds = self.ids[cells], self.boxes[self.along[cells]]
                run = _run(children, bounds, stop - start)
                if level == len(levels):
                    run["depth"] = level
                yield first + start, run, np.arange(start, stop) // CELLS + above
            first += count

    def _levels(self) -> list[Boxes]:
        """Return the bounds of the nodes of each level under the root, leaves first."""
        levels: list[Boxes] = []
        if len(self.ids) <= CELLS:
            return levels
        step = CELLS * 1024
        parts = (self.boxes[self.along[start : start + step]] for start in range(0, len(self.ids), step))
        levels.append(np.concatenate([_bounds(part) for part in parts]))
        while len(levels[-1]) > CELLS:
            levels.append(_bounds(levels[-1]))
        return levels


def pack(ids: NDArray[np.int64], boxes: Boxes) -> PackedTree:
    """Pack boxes into a tree.

    Parameters
    ----------
    ids : array
        Id of each box.
    boxes : array, shape (n, 4)
        minx, maxx, miny, maxy, finite.

    Returns
    -------
    PackedTree
        The tree.
    """
    along = order(boxes)
    first_leaf, level = 1, -(-len(ids) // CELLS)
    while level > 1:  # leaves come last, after every node above them
        level = -(-level // CELLS)
        first_leaf += level
    return PackedTree(ids[along], boxes, along, first_leaf)


def _bounds(boxes: Boxes) -> Boxes:
    """Return the bounds of each full node's worth of boxes."""
    starts = np.arange(0, len(boxes), CELLS)
    bounds = np.empty((len(starts), 4), np.float32)
    bounds[:, 0::2] = np.minimum.reduceat(boxes[:, 0::2], starts)
    bounds[:, 1::2] = np.maximum.reduceat(boxes[:, 1::2], starts)
    return bounds


def _run(children: NDArray[np.int64], bounds: Boxes, count: int) -> NDArray[Any]:
    run = np.zeros(count, NODE)
    cells = np.zeros(count * CELLS, NODE["cell"].base)
    cells["id"][: len(children)], cells["box"][: len(children)] = children, bounds
    run["cell"] = cells.reshape(count, CELLS)
    run["count"] = CELLS
    run["count"][-1] = len(children) - (count - 1) * CELLS
    return run
