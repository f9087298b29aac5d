"""Walking over a DEM that may be larger than memory: chunks of rows with one cell of border all round."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from setout.geometry.cellsize import CellSize, Window
from setout.geometry.relief import Heights, differences, neighbourhoods
from setout.nouns import Elevations, RasterGrid

STRIP = 512
"""Rows read at a time, counted from the grid's first: whole blocks of most files."""
_CACHE_CELLS = 1 << 16


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


def chunks(elevations: Elevations, window: Window, cells: int = _CACHE_CELLS) -> Iterator[Chunk]:
    """Walk over a window of a DEM; every row is read once.

    Parameters
    ----------
    elevations : Elevations
        The DEM.
    window : (int, int, int, int)
        (row0, row1, col0, col1), inside its grid and not empty.
    cells : int
        Cells in a chunk, about; few enough for the processor's cache.

    Yields
    ------
    Chunk
        From the first row to the last.
    """
    grid, (row0, row1, col0, col1) = elevations.grid, window
    step = max(1, cells // (col1 - col0))
    held = np.full((1 if row0 == 0 else 0, col1 - col0 + 2), np.nan, np.float32)
    done = row0
    first, last = max(row0 - 1, 0), min(row1 + 1, grid.height)
    for top in range(first // STRIP * STRIP, last, STRIP):
        a, b = max(top, first), min(top + STRIP, last)
        rows = _read_wide(elevations, a, b, col0, col1)
        if b == last and row1 == grid.height:
            rows = np.vstack([rows, np.full((1, rows.shape[1]), np.nan, np.float32)])
        # `held` begins with row done - 1 of the grid, and `rows` follows on it
        have = len(held)
        ready = have + len(rows) - 2
        for k in range(0, ready, step):
            n = min(step, ready - k)
            z = rows[k - have : k - have + n + 2] if k >= have else np.vstack([held[k:], rows[: k + n + 2 - have]])
            at = done + k
            yield Chunk(at, at + n, z, (at == 0, at + n == grid.height, col0 == 0, col1 == grid.width))
        done += max(ready, 0)
        held = np.vstack([held, rows[-2:]])[-2:]


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
    dzdx, dzdy = gradients(chunk, size, blank)
    np.multiply(dzdx, dzdx, out=dzdx)
    np.multiply(dzdy, dzdy, out=dzdy)
    return np.add(dzdx, dzdy, out=dzdx)


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
        row, col = np.nonzero((np.isnan(across) | np.isnan(down)) & ~blank[1:-1, 1:-1])
        filled = differences(neighbourhoods(chunk.z, row, col, chunk.sides))
        across[row, col], down[row, col] = filled[0][0, 0], filled[1][0, 0]
        none = blank[1:-1, 1:-1]
        across[none] = np.nan
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
        self.out = np.full((rows, cols), np.nan, np.float32)
        self.line = np.zeros(cols * step)

    def add(self, row0: int, z: Heights) -> None:
        """Take in rows of heights, row0 counted from the first row of the window."""
        step, (rows, cols) = self.step, self.out.shape
        if step == 1:
            self.out[row0 : row0 + len(z)] = z
            return
        for k in range(row0, min(row0 + len(z), rows * step)):
            self.line += z[k - row0, : cols * step]
            if k % step == step - 1:
                self.out[k // step] = self.line.reshape(cols, step).sum(axis=1) / step**2
                self.line[:] = 0.0

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
    return RasterGrid(
        grid.crs, (a * step, b * step, x, d * step, e * step, y), (col1 - col0) // step, (row1 - row0) // step
    )  # fmt: skip
