"""The land's own horizon at the site, from its DEM as far as that goes."""

from __future__ import annotations

from typing import Final

import numpy as np

from setout.geometry.cells import gridmap
from setout.geometry.cells.cellsize import Window
from setout.geometry.cells.strips import overview
from setout.geometry.sky.horizon import MOST_PLACES, NEAR, TerrainHorizon, terrain_horizon
from setout.geometry.sky.skyline import Singles
from setout.model import Floats, Ground, Site

FARTHEST_M: Final = 3000.0
"""How far beyond the site to look."""
MOST_READ: Final = 8_000_000
"""Cells to read beside twice as many as the site has."""
MOST_HEIGHTS: Final = 1_500_000
"""Heights to hold, as means of square groups of cells."""
FINEST_M: Final = 5.0
"""Finest cells that the horizon is found on [m]."""


def land_horizon(ground: Ground, site: Site, eye_m: float) -> TerrainHorizon | None:
    """Find how high the land stands round every place of the site."""
    if ground.elevations is None:
        return None
    cell_m = gridmap.metres_per_cell(ground.elevations.grid, ground.window)
    heights = _Heights(ground, _around(ground, cell_m))
    west, south, east, north = site.boundary.bounds
    side = max(FINEST_M, heights.cell_m, float(np.sqrt((east - west) * (north - south) / MOST_PLACES)))
    row0, row1, col0, col1 = heights.window
    across = cell_m * max(row1 - row0, col1 - col0)
    farthest = max(min(FARTHEST_M, across), NEAR * side)
    return terrain_horizon(heights, (west, south, east, north), cell=side, farthest=farthest, eye_m=eye_m)


def _around(ground: Ground, cell_m: float) -> Window:
    """Return as much of the DEM round the site as may be read."""
    assert ground.elevations is not None
    grid = ground.elevations.grid
    row0, row1, col0, col1 = ground.window
    most = MOST_READ + 3 * (row1 - row0) * (col1 - col0)
    wide = int(FARTHEST_M / cell_m) + 1
    while True:
        window = (max(row0 - wide, 0), min(row1 + wide, grid.height), max(col0 - wide, 0), min(col1 + wide, grid.width))
        if (window[1] - window[0]) * (window[3] - window[2]) <= most or wide < 2:
            return window
        wide = wide * 9 // 10


class _Heights:
    """Heights of the DEM in the frame, as means over cells of any size."""

    def __init__(self, ground: Ground, window: Window) -> None:
        assert ground.elevations is not None
        if window == ground.window and ground.overview is not None:
            z, self.step = ground.overview, ground.overview_step
        else:
            z, self.step = overview(ground.elevations, window, MOST_HEIGHTS)
        self.window = window
        self.mapping = gridmap.to_cells(ground.frame, ground.elevations.grid, window)
        self.cell_m = self.step * gridmap.metres_per_cell(ground.elevations.grid, window)
        self.levels = [z]
        while min(self.levels[-1].shape) >= 8:
            self.levels.append(_halved(self.levels[-1]))

    def __call__(self, x: Floats, y: Floats, side: float) -> Singles:
        """Return heights at places, as means over about a square of that side; NaN beyond the DEM."""
        from scipy.ndimage import map_coordinates

        level = min(max(int(np.log2(max(side / self.cell_m, 1.0)) + 0.5), 0), len(self.levels) - 1)
        z, step = self.levels[level], self.step * 2**level
        col, row = self.mapping(x.ravel(), y.ravel())
        at = np.array([(row - self.window[0]) / step - 0.5, (col - self.window[2]) / step - 0.5])
        # half a cell beyond the middles of the outermost cells is theirs still
        inside = np.all((at >= -0.5) & (at <= np.array(z.shape)[:, None] - 0.5), axis=0)
        out = np.full(x.size, np.nan, np.float32)
        out[inside] = map_coordinates(z, at[:, inside], order=1, mode="nearest")
        return out.reshape(x.shape)


def _halved(z: Singles) -> Singles:
    """Return means of two by two heights; of those that are known."""
    rows, cols = z.shape[0] // 2 * 2, z.shape[1] // 2 * 2
    four = z[:rows, :cols].reshape(rows // 2, 2, cols // 2, 2)
    known = np.isfinite(four).sum(axis=(1, 3))
    with np.errstate(invalid="ignore", divide="ignore"):
        out: Singles = (np.nansum(four, axis=(1, 3)) / np.where(known, known, np.nan)).astype(np.float32)
    return out
