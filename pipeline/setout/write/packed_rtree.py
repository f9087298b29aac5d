"""A spatial index laid down whole: the nodes of an SQLite R*Tree, packed along a Hilbert curve.

Inserting box by box costs more than writing the features themselves; sorting them along a space-filling curve and
cutting the order into full nodes gives the same index in one pass (Kamel and Faloutsos 1993, "On packing R-trees").
The node format is the one that SQLite documents at the head of its rtree.c: a 2-byte depth (in the root only), a
2-byte count of cells, then cells of an 8-byte id and four 32-bit coordinates (minx, maxx, miny, maxy), big-endian.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterator

CELLS: Final = 51
"""Cells a node: the most that SQLite allows (RTREE_MAXCELLS), and what a page of 4096 bytes gives."""
NODE: Final = np.dtype(
    [("depth", ">u2"), ("count", ">u2"), ("cell", [("id", ">i8"), ("box", ">f4", 4)], CELLS)]
)
"""One node as it lies in the file, 1228 bytes."""

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


def hilbert(x: NDArray[np.uint32], y: NDArray[np.uint32], bits: int = 16) -> NDArray[np.uint32]:
    """Return the distance along the Hilbert curve of cells of a square grid.

    The bit-by-bit walk of Hilbert's curve with turning quadrants (Skilling 2004, "Programming the Hilbert curve").

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
    x, y = x.copy(), y.copy()
    distance = np.zeros_like(x)
    for level in range(bits - 1, -1, -1):
        rx, ry = (x >> level) & 1, (y >> level) & 1
        distance = (distance << 2) | ((3 * rx) ^ ry)
        mask = np.uint32((1 << level) - 1)
        flip = np.where((ry == 0) & (rx == 1), mask, np.uint32(0))
        x, y = (x & mask) ^ flip, (y & mask) ^ flip
        turn = np.where(ry == 0, x ^ y, np.uint32(0))
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
    x = boxes[:, 0].astype(np.float64) + boxes[:, 1]
    y = boxes[:, 2].astype(np.float64) + boxes[:, 3]
    side = max(np.ptp(x), np.ptp(y)) or 1.0
    x = ((x - x.min()) * (65535 / side)).astype(np.uint32)
    y = ((y - y.min()) * (65535 / side)).astype(np.uint32)
    return np.argsort(hilbert(x, y), kind="stable")


def nodes(ids: NDArray[np.int64], boxes: Boxes) -> Iterator[tuple[int, NDArray[Any], NDArray[np.int64]]]:
    """Pack boxes, in the order given, into the nodes of a tree.

    Parameters
    ----------
    ids : array
        The id of each box, in packing order.
    boxes : array, shape (n, 4)
        minx, maxx, miny, maxy.

    Yields
    ------
    tuple
        Number of the first node of a run, the run's nodes (dtype ``NODE``), and the node above each (0 for the root).
        Nodes come in order of their number, the root first.
    """
    levels = [(ids, boxes)]
    counts = [max(1, -(-len(ids) // CELLS))]
    while counts[-1] > 1:
        starts = np.arange(0, len(levels[-1][0]), CELLS)
        below = levels[-1][1]
        bounds = np.empty((len(starts), 4), np.float32)
        bounds[:, 0::2] = np.minimum.reduceat(below[:, 0::2], starts)
        bounds[:, 1::2] = np.maximum.reduceat(below[:, 1::2], starts)
        levels.append((np.arange(len(starts)), bounds))
        counts.append(-(-len(starts) // CELLS))
    first = 1
    depth = len(levels) - 1
    for level in range(depth, -1, -1):
        children, bounds = levels[level]
        if level:
            children = children + first + counts[level]
        above = first - counts[level + 1] if level < depth else 0
        for start in range(0, counts[level], 1024):
            stop = min(counts[level], start + 1024)
            cells = slice(start * CELLS, stop * CELLS)
            run = _run(children[cells], bounds[cells], stop - start)
            parents = np.arange(start, stop) // CELLS + above if level < depth else np.zeros(1, np.int64)
            if level == depth:
                run["depth"] = depth
            yield first + start, run, parents
        first += counts[level]


def _run(children: NDArray[np.int64], bounds: Boxes, count: int) -> NDArray[Any]:
    run = np.zeros(count, NODE)
    cells = np.zeros(count * CELLS, NODE["cell"].base)
    cells["id"][: len(children)], cells["box"][: len(children)] = children, bounds
    run["cell"] = cells.reshape(count, CELLS)
    run["count"] = CELLS
    if count:
        run["count"][-1] = len(children) - (count - 1) * CELLS
    return run


def fill(db: sqlite3.Connection, name: str, ids: NDArray[np.int64], boxes: Boxes) -> None:
    """Fill a new, empty R-tree of a database.

    Parameters
    ----------
    db : Connection
        The database; a transaction may be open.
    name : str
        Name of the virtual table, made with the columns id, minx, maxx, miny, maxy.
    ids : array
        Row ids, rising.
    boxes : array, shape (n, 4)
        minx, maxx, miny, maxy of each.
    """
    along = order(boxes)
    packed = ids[along]
    first_leaf, level = 1, -(-len(ids) // CELLS)
    while level > 1:  # leaves come last, after every node above them
        level = -(-level // CELLS)
        first_leaf += level
    leaf_of = np.empty(len(ids), np.int64)
    leaf_of[along] = np.arange(len(ids)) // CELLS + first_leaf
    db.execute(f'DELETE FROM "{name}_node"')
    for first, run, parents in nodes(packed, boxes[along]):
        numbers = range(first, first + len(run))
        db.executemany(
            f'INSERT INTO "{name}_node" VALUES (?, ?)',
            zip(numbers, run.view(f"V{NODE.itemsize}").tolist(), strict=True),
        )
        if first > 1:
            db.executemany(
                f'INSERT INTO "{name}_parent" VALUES (?, ?)', zip(numbers, parents.tolist(), strict=True)
            )
    for start in range(0, len(ids), 50_000):
        part = slice(start, start + 50_000)
        rows = zip(ids[part].tolist(), leaf_of[part].tolist(), strict=True)
        db.executemany(f'INSERT INTO "{name}_rowid" VALUES (?, ?)', rows)
