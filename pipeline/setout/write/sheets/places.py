"""Where labels may stand so that none covers another: a fine grid of taken ground on the map's frame."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from setout.model import Floats
from setout.write.sheets.layout import Box

CELL: Final = 0.2
"""Side of a cell [mm]."""


class Places:
    """Ground on paper that labels have taken; a cell that a label touches is its own."""

    def __init__(self, box: Box) -> None:
        self.box = box
        self._taken: NDArray[np.bool_] = np.zeros((math.ceil(box.height / CELL), math.ceil(box.width / CELL)), bool)

    def copy(self) -> Places:
        """Return places of its own in the same state."""
        other = Places(self.box)
        other._taken[:] = self._taken
        return other

    def adopt(self, other: Places) -> None:
        """Take over the state of another."""
        self._taken[:] = other._taken

    def take_points(self, xy: Floats, radius: float) -> None:
        """Keep squares about points clear of labels."""
        at = np.asarray(xy, float).reshape(-1, 2) - (self.box.left, self.box.bottom)
        low, high = (np.floor((at + side * radius) / CELL).astype(np.int64) for side in (-1, 1))
        for dj in range(math.ceil(2 * radius / CELL) + 1):
            for di in range(math.ceil(2 * radius / CELL) + 1):
                i, j = low[:, 0] + di, low[:, 1] + dj
                inside = (i >= 0) & (j >= 0) & (i < self._taken.shape[1]) & (j < self._taken.shape[0])
                inside &= (i <= high[:, 0]) & (j <= high[:, 1])
                self._taken[j[inside], i[inside]] = True

    def take(self, x: float, y: float, width: float, height: float) -> bool:
        """Take an upright box with its lower left corner at x, y; False where it is not free or leaves the frame."""
        i0, j0 = math.floor((x - self.box.left) / CELL), math.floor((y - self.box.bottom) / CELL)
        i1, j1 = math.ceil((x + width - self.box.left) / CELL), math.ceil((y + height - self.box.bottom) / CELL)
        if i0 < 0 or j0 < 0 or i1 > self._taken.shape[1] or j1 > self._taken.shape[0]:
            return False
        part = self._taken[j0:j1, i0:i1]
        if part.any():
            return False
        part[:] = True
        return True

    def take_turned(self, x: float, y: float, width: float, height: float, angle: float) -> bool:
        """Take a box turned about its lower left corner by an angle [deg]; False where that cannot be."""
        if not angle:
            return self.take(x, y, width, height)
        turn = math.radians(angle)
        steps_a, steps_b = (np.linspace(0, side, math.ceil(side / (CELL / 2)) + 1) for side in (width, height))
        a, b = (grid.ravel() for grid in np.meshgrid(steps_a, steps_b))
        px = x + a * math.cos(turn) - b * math.sin(turn) - self.box.left
        py = y + a * math.sin(turn) + b * math.cos(turn) - self.box.bottom
        i, j = np.floor(px / CELL).astype(np.int64), np.floor(py / CELL).astype(np.int64)
        if i.min() < 0 or j.min() < 0 or i.max() >= self._taken.shape[1] or j.max() >= self._taken.shape[0]:
            return False
        if self._taken[j, i].any():
            return False
        self._taken[j, i] = True
        return True
