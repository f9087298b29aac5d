"""Between a site's frame and the cells of a raster: exactly, or by a polynomial for very many points."""

from __future__ import annotations

import numpy as np

from setout.geometry.cells.cellsize import Window, cell_size
from setout.geometry.places import polymap
from setout.model import Floats, Frame, Ground, Ints, RasterGrid

NEAR_M = 1e-4
"""Largest error of points mapped by a polynomial [m]; which cell holds a point is exact all the same."""
RETURN_M = 1e-6
"""How far a point may come back from where it was [m]: a change of datum without heights can miss it by a millimetre,
and ground cut in a DEM of another datum would lie beside its own outline."""


def exact_cells(frame: Frame, grid: RasterGrid) -> polymap.Mapping:
    """Return the mapping from (x, y) in a frame [m] to fractional (column, row) of a grid."""

    def to_cell(x: Floats, y: Floats) -> tuple[Floats, Floats]:
        row, col = grid.cell_of(*frame.to(grid.crs, x, y))
        return col, row

    return to_cell


def exact_frame(frame: Frame, grid: RasterGrid) -> polymap.Mapping:
    """Return the mapping from fractional (column, row) of a grid to (x, y) in a frame [m]."""

    def to_frame(col: Floats, row: Floats) -> tuple[Floats, Floats]:
        return frame.of(grid.crs, *grid.corner(row, col))

    return to_frame


def to_cells(frame: Frame, grid: RasterGrid, window: Window) -> polymap.PolyMap:
    """Return the mapping from a frame to a grid, fast over a window of it.

    Parameters
    ----------
    frame : Frame
        The site's frame.
    grid : RasterGrid
        The raster.
    window : (int, int, int, int)
        (row0, row1, col0, col1), not empty.

    Returns
    -------
    PolyMap
        Takes (x, y) [m], gives fractional (column, row), true to :data:`NEAR_M`.
    """
    exact = exact_cells(frame, grid)
    x, y = exact_frame(frame, grid)(*_rim(window))
    box = (float(x.min()), float(y.min()), float(x.max()), float(y.max()))
    if not np.isfinite(box).all():
        return polymap.exactly(exact)
    return polymap.over(exact, box, NEAR_M / metres_per_cell(grid, window))


def to_frame(frame: Frame, grid: RasterGrid, window: Window) -> polymap.PolyMap:
    """Return the mapping from a grid to a frame, fast over a window of the grid.

    Parameters
    ----------
    frame : Frame
        The site's frame.
    grid : RasterGrid
        The raster.
    window : (int, int, int, int)
        (row0, row1, col0, col1), not empty.

    Returns
    -------
    PolyMap
        Takes fractional (column, row), gives (x, y) [m], true to :data:`NEAR_M`: the way back from :func:`to_cells`.
    """
    row0, row1, col0, col1 = window
    box = (float(col0), float(row0), float(col1), float(row1))
    there, back = exact_frame(frame, grid), exact_cells(frame, grid)
    col, row = _rim(window)
    again = np.array(back(*there(col, row))) - (col, row)
    if not np.abs(again).max() * metres_per_cell(grid, window) > RETURN_M:
        return polymap.over(there, box, NEAR_M)

    def returning(col: Floats, row: Floats) -> tuple[Floats, Floats]:
        found_col, found_row = back(*there(col, row))
        return there(2 * col - found_col, 2 * row - found_row)

    return polymap.over(returning, box, NEAR_M)


def metres_per_cell(grid: RasterGrid, window: Window) -> float:
    """Return the shorter side of a cell in the middle of a window [m]."""
    middle = (window[0] + window[1]) // 2
    size = cell_size(grid, (middle, middle + 1, window[2], window[3]))
    return min(size.width_m, size.height_m)


def _rim(window: Window) -> tuple[Floats, Floats]:
    """Return (column, row) of points round a window."""
    row0, row1, col0, col1 = window
    along = np.linspace(0.0, 1.0, 9)
    rows, cols = row0 + along * (row1 - row0), col0 + along * (col1 - col0)
    return (
        np.concatenate([cols, cols, np.full(9, col0), np.full(9, col1)]),
        np.concatenate([np.full(9, row0), np.full(9, row1), rows, rows]),
    )


def cells_at(ground: Ground, x: Floats, y: Floats, mapping: polymap.PolyMap | None = None) -> tuple[Ints, Ints]:
    """Return the cell of the DEM's grid that holds each point.

    Parameters
    ----------
    ground : Ground
        With a DEM.
    x, y : (n,) ndarray
        Points in the frame [m].
    mapping : PolyMap, optional
        From :func:`to_cells`; laid over the window where many points make it worth while.

    Returns
    -------
    row, col : (n,) ndarray of int
        Exact, and possibly outside the grid.
    """
    assert ground.elevations is not None
    grid = ground.elevations.grid
    if mapping is None:
        many = np.size(x) >= polymap.FEW
        mapping = to_cells(ground.frame, grid, ground.window) if many else polymap.exactly(exact_cells(ground.frame, grid))
    return polymap.cells(mapping, np.asarray(x, float), np.asarray(y, float))
