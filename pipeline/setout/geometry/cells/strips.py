"""Walking over a DEM that may be larger than memory: chunks of rows with one cell of border all round."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from setout.geometry.cells.cellsize import CellSize, Window
from setout.geometry.cells.relief import Heights, Work, differences, neighbourhoods
from setout.model import Elevations, RasterGrid

STRIP = 512
"""Rows read at a time, counted from the grid's first: whole blocks of most files."""
ROWS = 128
"""Rows in a chunk."""
_CELLS = 48_000
"""Cells worked on at a time, in whole rows: their arrays stay in the processor's cache, and are contiguous (cutting the
columns too made the arithmetic take twice as long)."""


@dataclass(frozen=True, slots=True)
class Chunk:
    """Some rows of a window.

    Attributes
    ----------
    row0, row1 : its rows in the grid
    z : (row1 - row0 + 2, cols + 2) heights with one cell of border [m], NaN where there is none
    sides : whether the border lies beyond the raster: above, below, left, right
    """

    row0: int
    row1: int
    z: Heights
    sides: tuple[bool, bool, bool, bool]

    @property
    def heights(self) -> Heights:
        """Return the heights of the chunk's own cells [m]."""
        return self.z[1:-1, 1:-1]


def chunks(elevations: Elevations, window: Window, rows: int = ROWS) -> Iterator[Chunk]:
    """Walk over a window of a DEM; every row is read once.

    Parameters
    ----------
    elevations : Elevations
        The DEM.
    window : (int, int, int, int)
        (row0, row1, col0, col1), inside its grid and not empty.
    rows : int
        Most rows in a chunk.

    Yields
    ------
    Chunk
        From the first row to the last.
    """
    grid, (row0, row1, col0, col1) = elevations.grid, window
    held = np.full((1 if row0 == 0 else 0, col1 - col0 + 2), np.nan, np.float32)
    done = row0
    first, last = max(row0 - 1, 0), min(row1 + 1, grid.height)
    for top in range(first // STRIP * STRIP, last, STRIP):
        a, b = max(top, first), min(top + STRIP, last)
        lines = _read_wide(elevations, a, b, col0, col1)
        if b == last and row1 == grid.height:
            lines = np.vstack([lines, np.full((1, lines.shape[1]), np.nan, np.float32)])
        # `held` begins with row done - 1 of the grid, and `lines` follow on it
        have = len(held)
        ready = have + len(lines) - 2
        for k in range(0, ready, rows):
            n = min(rows, ready - k)
            z = lines[k - have : k - have + n + 2] if k >= have else np.vstack([held[k:], lines[: k + n + 2 - have]])
            at = done + k
            yield Chunk(at, at + n, z, (at == 0, at + n == grid.height, col0 == 0, col1 == grid.width))
        done += max(ready, 0)
        held = np.vstack([held, lines[-2:]])[-2:]


def _read_wide(elevations: Elevations, row0: int, row1: int, col0: int, col1: int) -> Heights:
    """Read rows with one more column on either side, NaN beyond the raster."""
    width = elevations.grid.width
    z = elevations.read(row0, row1, max(col0 - 1, 0), min(col1 + 1, width))
    if col0 > 0 and col1 < width:
        return z
    return np.pad(z, ((0, 0), (int(col0 == 0), int(col1 == width))), constant_values=np.nan)


def squared_slopes(chunk: Chunk, size: CellSize, blank: NDArray[np.bool_]) -> Heights:
    """Return the squared slope of a chunk's cells.

    Parameters
    ----------
    chunk : Chunk
        Heights with their border.
    size : CellSize
        Of the same grid.
    blank : (rows + 2, cols + 2) ndarray of bool
        Where ``chunk.z`` is NaN.

    Returns
    -------
    (rows, cols) ndarray of float32
        Rise over run, squared; NaN where the cell has no height.
    """
    rows, cols = (n - 2 for n in chunk.z.shape)
    squared = np.empty((rows, cols), np.float32)
    step = max(4, _CELLS // cols)
    work = Work(min(rows, step), cols)
    for top in range(0, rows, step):
        across, down = differences(chunk.z[top : top + step + 2], work)
        _squared(*size.gradient(across, down, chunk.row0 + top), squared[top : top + step])
    if blank.any():
        row, col = _unfinished(squared, blank)
        if row.size:
            across, down = differences(neighbourhoods(chunk.z, row, col, chunk.sides))
            squared[row, col] = _squared(*size.gradient(across[0, 0], down[0, 0], chunk.row0 + row))
        np.copyto(squared, np.float32(np.nan), where=blank[1:-1, 1:-1])  # the middle has no weight of its own
    return squared


def _squared(dzdx: Heights, dzdy: Heights, out: Heights | None = None) -> Heights:
    np.multiply(dzdx, dzdx, out=dzdx)
    np.multiply(dzdy, dzdy, out=dzdy)
    return np.add(dzdx, dzdy, out=out)


def _unfinished(values: Heights, blank: NDArray[np.bool_]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return row and column of the cells that have a height but not all their neighbours."""
    wanting = np.isnan(values)
    wanting &= ~blank[1:-1, 1:-1]
    row, col = np.divmod(np.flatnonzero(wanting), values.shape[1])
    return row, col


def gradients(chunk: Chunk, size: CellSize, blank: NDArray[np.bool_]) -> tuple[Heights, Heights]:
    """Return the gradients of a chunk's cells towards the grid's east and south.

    Parameters
    ----------
    chunk : Chunk
        Heights with their border.
    size : CellSize
        Of the same grid.
    blank : (rows + 2, cols + 2) ndarray of bool
        Where ``chunk.z`` is NaN.

    Returns
    -------
    dzdx, dzdy : (rows, cols) ndarray of float32
        Rise over run; NaN where the cell has no height.
    """
    across, down = differences(chunk.z)
    if blank.any():
        row, col = _unfinished(across + down, blank)
        filled = differences(neighbourhoods(chunk.z, row, col, chunk.sides))
        across[row, col], down[row, col] = filled[0][0, 0], filled[1][0, 0]
        across[blank[1:-1, 1:-1]] = down[blank[1:-1, 1:-1]] = np.nan
    return size.gradient(across, down, chunk.row0)


def overview(elevations: Elevations, window: Window, most: int) -> tuple[Heights, int]:
    """Return the heights of a window as means of square groups of cells.

    Parameters
    ----------
    elevations : Elevations
        The DEM.
    window : (int, int, int, int)
        (row0, row1, col0, col1), inside its grid and not empty.
    most : int
        Most heights to return.

    Returns
    -------
    heights : (rows, cols) ndarray of float32
        Means [m]; NaN where any cell of a group has none. Cells left over at the end are left out.
    step : int
        Cells along a group's side.
    """
    row0, row1, col0, col1 = window
    step = group_step(window, most)
    groups = Groups(step, (row1 - row0) // step, (col1 - col0) // step)
    for chunk in chunks(elevations, window):
        groups.add(chunk.row0 - row0, chunk.heights)
    return groups.means(), step


def group_step(window: Window, most: int) -> int:
    """Return how many cells along a side to put together so that at most so many groups are left.

    >>> group_step((0, 3000, 0, 4000), 1_000_000), group_step((0, 10, 0, 10), 1_000_000)
    (4, 1)
    """
    row0, row1, col0, col1 = window
    rows, cols = row1 - row0, col1 - col0
    step = max(1, int(np.sqrt(rows * cols / most)))
    while (rows // step) * (cols // step) > most:
        step += 1
    return min(step, rows, cols)


class Groups:
    """Means of square groups of cells, taken in row by row."""

    def __init__(self, step: int, rows: int, cols: int) -> None:
        self.step = step
        self.out = np.empty((rows, cols), np.float32)
        self.held = np.empty((0, cols * step), np.float32)

    def add(self, row0: int, z: Heights) -> None:
        """Take in rows of heights, row0 counted from the first row of the window; rows come in order."""
        step, (rows, cols) = self.step, self.out.shape
        z = z[: rows * step - row0, : cols * step]
        if step == 1:
            self.out[row0 : row0 + len(z)] = z
            return
        missing = -row0 % step
        if missing:
            self.held = np.vstack([self.held, z[:missing]])
            if len(self.held) < step:
                return
            self._put(row0 // step, self.held)
            row0, z = row0 + missing, z[missing:]
        whole = len(z) // step * step
        self._put(row0 // step, z[:whole])
        self.held = z[whole:].copy()

    def _put(self, group: int, z: Heights) -> None:
        """Take the means of whole groups of rows."""
        step, n = self.step, len(z) // self.step
        lines = z[0::step] + z[1::step]
        for k in range(2, step):
            lines += z[k::step]
        sums = lines[:, 0::step] + lines[:, 1::step]
        for k in range(2, step):
            sums += lines[:, k::step]
        np.multiply(sums, np.float32(1 / step**2), out=self.out[group : group + n])

    def means(self) -> Heights:
        """Return the means, NaN where any cell has none."""
        return self.out


def grid_of(grid: RasterGrid, window: Window, step: int = 1) -> RasterGrid:
    """Return the grid of a window, or of its groups of cells.

    Parameters
    ----------
    grid : RasterGrid
        The raster.
    window : (int, int, int, int)
        (row0, row1, col0, col1).
    step : int
        Cells along a group's side.

    Returns
    -------
    RasterGrid
        Cells left over at the end are left out.
    """
    row0, row1, col0, col1 = window
    a, b, c, d, e, f = grid.transform
    x, y = a * col0 + b * row0 + c, d * col0 + e * row0 + f
    return RasterGrid(grid.crs, (a * step, b * step, x, d * step, e * step, y), (col1 - col0) // step, (row1 - row0) // step)
