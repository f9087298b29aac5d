"""Hollows and ways down: where something that flows downhill stands, and how much ground drains through each place.

A priority flood (Barnes, Lehman and Mulla 2014, Computers & Geosciences 62, 117-127) lets water in from the rim of the
known ground and raises every cell to the lowest level at which it could run off; what was raised is a hollow, and by
how much its depth. Every cell then drains to its steepest lower neighbour on the raised surface (O'Callaghan and Mark
1984), on level parts to the cell that it was flooded from.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

ROUND: Final = ((-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1))
"""The eight neighbours of a cell, as rows and columns."""


@dataclass(frozen=True, slots=True)
class Drainage:
    """How a grid of heights drains; arrays of the grid's shape.

    Attributes
    ----------
    level : lowest height at which each cell runs off [m]; NaN where the ground is not known
    to : flat index of the cell that each drains to; -1 for those that drain off the known ground
    through : cells that drain through each, itself counted
    """

    level: Floats
    to: Ints
    through: Ints


def drainage(z: NDArray[np.floating]) -> Drainage:
    """Find the level at which each cell runs off, and where to.

    Parameters
    ----------
    z : (rows, cols) ndarray
        Heights [m]; NaN where there is none: ground runs off there, and over the grid's rim.

    Returns
    -------
    Drainage
        Levels, ways and sums.

    Examples
    --------
    >>> pit = np.array([[3.0, 3, 3, 3], [3, 1, 2, 3], [3, 3, 3, 2.5]])
    >>> found = drainage(pit)
    >>> found.level[1].tolist(), int(found.through.max())
    ([3.0, 2.5, 2.5, 3.0], 12)
    """
    rows, cols = z.shape
    wide = cols + 2
    ground = np.full((rows + 2, wide), np.nan)
    ground[1:-1, 1:-1] = z
    height = ground.ravel().tolist()
    steps = [row * wide + col for row, col in ROUND]
    far = [float(np.hypot(row, col)) for row, col in ROUND]
    level, parent, order = _flooded(ground, height, steps)
    to = list(parent)
    through = [1] * len(height)
    for cell in order:
        best, own = 0.0, level[cell]
        for step, length in zip(steps, far, strict=True):
            drop = (own - level[cell + step]) / length
            if drop > best:
                best, to[cell] = drop, cell + step
    for cell in reversed(order):
        if to[cell] >= 0:
            through[to[cell]] += through[cell]
    inner = np.s_[1:-1, 1:-1]
    target = np.array(to, np.int64).reshape(ground.shape)[inner]
    flat = np.where(target >= 0, (target // wide - 1) * cols + target % wide - 1, -1)
    known = ~np.isnan(z)
    filled = np.array(level).reshape(ground.shape)[inner]
    counted = np.array(through, np.int64).reshape(ground.shape)[inner]
    return Drainage(np.where(known, filled, np.nan), np.where(known, flat, -1), np.where(known, counted, 0))


def _flooded(ground: Floats, height: list[float], steps: list[int]) -> tuple[list[float], list[int], list[int]]:
    """Flood a grid from its rim; return levels (NaN outside), the cells that each was flooded from, and the order."""
    known = ~np.isnan(ground)
    rim = np.zeros_like(known)
    padded = np.pad(known, 1)
    for row, col in ROUND:
        rim |= known & ~padded[1 + row : 1 + row + known.shape[0], 1 + col : 1 + col + known.shape[1]]
    seen = (~known).ravel().tolist()
    level, parent, order = list(height), [-1] * len(height), []
    heap = [(height[cell], cell) for cell in np.flatnonzero(rim).tolist()]
    for _, cell in heap:
        seen[cell] = True
    heapq.heapify(heap)
    while heap:
        own, cell = heapq.heappop(heap)
        order.append(cell)
        for step in steps:
            other = cell + step
            if not seen[other]:
                seen[other] = True
                parent[other] = cell
                raised = max(own, height[other])
                level[other] = raised
                heapq.heappush(heap, (raised, other))
    return level, parent, order


def ways_down(found: Drainage, least: int) -> list[list[int]]:
    """Follow the ways along which much ground drains, each from its head to the rim or to where it joins another.

    Parameters
    ----------
    found : Drainage
        From :func:`drainage`.
    least : int
        Cells that drain through a way, at least.

    Returns
    -------
    list of list of int
        Flat indices of cells, downhill, longest ways first.
    """
    to, through = found.to.ravel(), found.through.ravel()
    large = np.flatnonzero(through >= least)
    fed = np.zeros(len(to), bool)
    targets = to[large]
    fed[targets[targets >= 0]] = True
    heads = large[~fed[large]]
    ways, taken = [], np.zeros(len(to), bool)
    # heads with the most cells below them first, so that the main way is one line
    for head in heads[np.argsort(through[heads], kind="stable")]:
        way = [int(head)]
        while not taken[way[-1]] and to[way[-1]] >= 0:
            taken[way[-1]] = True
            way.append(int(to[way[-1]]))
        taken[way[-1]] = True
        if len(way) > 1:
            ways.append(way)
    return sorted(ways, key=lambda way: (-len(way), way[0]))
