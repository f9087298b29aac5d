"""How big the cells of a raster are on the ground, so that heights in metres give true slopes.

On a plane CRS the cell's nominal size is taken, as GIS tools do, unless the projection's scale at the site is off by more
than :data:`SCALE_LIMIT` (EPSG:3857, equal-area projections of a continent); then, and always on degrees, the size on
the ellipsoid is taken, row by row. Rotated and south-up rasters differ only in the directions of their axes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from setout.model import Floats, RasterGrid, transformer
from setout.units import FOOT, US_SURVEY_FOOT

SCALE_LIMIT = 0.002
"""Departure of a projection's scale from 1 up to which the nominal cell size stands for the ground."""
Window = tuple[int, int, int, int]


@dataclass(frozen=True, slots=True)
class CellSize:
    """What turns height differences between cells into gradients towards the east and south of the grid's CRS.

    Attributes
    ----------
    row0 : the row of the grid that the arrays begin with
    east_col, east_row : (rows,) 1/8 of the east gradient per difference along columns and along rows [1/m]
    south_col, south_row : the same for the gradient towards south
    upright : columns run east or west and rows south or north: the mixed terms are zero
    width_m, height_m : ground size of a cell in the middle [m]
    scale : ground size over nominal size in the middle; NaN on degrees
    on_ellipsoid : whether the size on the ellipsoid was taken, not the nominal one
    """

    row0: int
    east_col: NDArray[np.float32]
    east_row: NDArray[np.float32]
    south_col: NDArray[np.float32]
    south_row: NDArray[np.float32]
    upright: bool
    width_m: float
    height_m: float
    scale: float
    on_ellipsoid: bool

    def gradient(
        self, across: NDArray[np.float32], down: NDArray[np.float32], row: int | NDArray[np.int64]
    ) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Turn height differences into gradients, in the arrays given where that is possible.

        Parameters
        ----------
        across, down : ndarray of float32
            From :func:`setout.geometry.cells.relief.differences`.
        row : int or (n,) ndarray of int
            Row of the grid of the first line of the arrays, or of each of their entries.

        Returns
        -------
        dzdx, dzdy : ndarray of float32
            Rise over run towards east and towards south.
        """
        if isinstance(row, np.ndarray):
            pick = (row - self.row0,)
            ec, er, sc, sr = (part[pick] for part in (self.east_col, self.east_row, self.south_col, self.south_row))
        else:
            lines = slice(row - self.row0, row - self.row0 + across.shape[0])
            ec, er, sc, sr = (part[lines, None] for part in (self.east_col, self.east_row, self.south_col, self.south_row))
        if self.upright:
            np.multiply(across, ec, out=across)
            np.multiply(down, sr, out=down)
            return across, down
        return across * ec + down * er, across * sc + down * sr


def cell_size(grid: RasterGrid, window: Window) -> CellSize:
    """Work out the size of a raster's cells over a window.

    Parameters
    ----------
    grid : RasterGrid
        The raster.
    window : (int, int, int, int)
        (row0, row1, col0, col1), not empty.

    Returns
    -------
    CellSize
        Factors for every row of the window.

    Examples
    --------
    >>> utm = RasterGrid(CRS.from_epsg(32613), (2.0, 0.0, 5e5, 0.0, -2.0, 4.4e6), 100, 100)
    >>> size = cell_size(utm, (0, 100, 0, 100))
    >>> float(size.east_col[0]), size.upright, size.on_ellipsoid, size.width_m
    (0.0625, True, False, 2.0)
    >>> web = RasterGrid(CRS.from_epsg(3857), (2.0, 0.0, 0.0, 0.0, -2.0, 8399738.0), 100, 100)   # latitude 60
    >>> round(cell_size(web, (0, 100, 0, 100)).width_m, 3)
    1.003
    """
    row0, row1, col0, col1 = window
    rows: Floats = np.arange(row0, row1, dtype=float) + 0.5
    middle = np.full(rows.shape, (col0 + col1) / 2)
    axes = np.array(grid.transform, float)[[0, 1, 3, 4]].reshape(2, 2)
    nominal = unit_m(grid.crs)
    ground = _ground_per_unit(grid, *grid.corner(rows, middle))
    turn = len(rows) // 2
    scale, on_ellipsoid = np.nan, True
    if nominal is not None:
        corners = grid.corner(np.array([row0, row0, row1, row1, rows[turn]], float), np.array([col0, col1, col0, col1, middle[0]], float))
        sides = np.linalg.norm(_ground_per_unit(grid, *corners), axis=1) / nominal  # ground over nominal, both axes
        scale = float(np.sqrt(abs(np.linalg.det(ground[turn])))) / nominal
        on_ellipsoid = bool(np.abs(sides - 1).max() > SCALE_LIMIT) if np.isfinite(sides).all() else False
    if not on_ellipsoid:
        assert nominal is not None
        ground = np.broadcast_to(nominal * np.eye(2), (len(rows), 2, 2))
    cells = ground @ axes
    upright = bool(np.abs(cells[:, [0, 1], [1, 0]]).max() < 1e-6 * np.abs(cells[:, [0, 1], [0, 1]]).max())
    inverse = np.linalg.inv(cells) / 8
    size = np.linalg.norm(cells[turn], axis=0)
    east_col, east_row = inverse[:, 0, 0].astype(np.float32), inverse[:, 1, 0].astype(np.float32)
    south_col, south_row = (-inverse[:, 0, 1]).astype(np.float32), (-inverse[:, 1, 1]).astype(np.float32)
    return CellSize(row0, east_col, east_row, south_col, south_row, upright, float(size[0]), float(size[1]), scale, on_ellipsoid)


def unit_m(crs: CRS) -> float | None:
    """Return the length of a plane CRS's unit [m], exact for both feet; None for degrees.

    >>> unit_m(CRS.from_epsg(2263)) == 1200 / 3937, unit_m(CRS.from_epsg(4326))
    (True, None)
    """
    if crs.is_geographic or not crs.axis_info:
        return None
    factor = float(crs.axis_info[0].unit_conversion_factor)
    return next((exact for exact in (FOOT, US_SURVEY_FOOT, 1.0) if abs(factor / exact - 1) < 1e-9), factor)


def _ground_per_unit(grid: RasterGrid, x: Floats, y: Floats) -> Floats:
    """Return, for each place, how far on the ellipsoid a step of one unit along x and along y leads [m].

    Matrices (n, 2, 2), the steps as columns in metres east and north, turned so that a step along y leads north: the
    CRS's own north, not the true one.
    """
    geographic = grid.crs.geodetic_crs
    assert geographic is not None
    geographic = geographic.to_2d()
    ellipsoid = geographic.ellipsoid
    assert ellipsoid is not None
    a, f = ellipsoid.semi_major_metre, 1 / ellipsoid.inverse_flattening if ellipsoid.inverse_flattening else 0.0
    radian = geographic.axis_info[0].unit_conversion_factor
    lonlat = transformer(grid.crs, geographic)
    step = 100.0 / (unit_m(grid.crs) or 111_000.0 * radian / np.radians(1))
    lat = np.asarray(lonlat.transform(x, y)[1]) * radian
    w = 1 - f * (2 - f) * np.sin(lat) ** 2
    north_m, east_m = a * (1 - f) ** 2 / w**1.5, a / np.sqrt(w) * np.cos(lat)
    out = np.empty((len(x), 2, 2))
    for axis, (dx, dy) in enumerate(((step, 0.0), (0.0, step))):
        ahead, behind = lonlat.transform(x + dx, y + dy), lonlat.transform(x - dx, y - dy)
        out[:, 0, axis] = (ahead[0] - behind[0]) * radian * east_m / (2 * step)
        out[:, 1, axis] = (ahead[1] - behind[1]) * radian * north_m / (2 * step)
    turn = np.arctan2(out[:, 0, 1], out[:, 1, 1])
    back = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]).transpose(2, 0, 1)
    return np.asarray(back @ out)
