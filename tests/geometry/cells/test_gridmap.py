"""Between a frame and the cells of a DEM in another datum: there and back to the same place."""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import CRS, Transformer
from pyproj.crs import ProjectedCRS
from pyproj.crs.coordinate_operation import TransverseMercatorConversion

from setout.geometry.cells import gridmap
from setout.model import Frame, RasterGrid


@pytest.mark.parametrize(
    ("survey", "dem", "lon", "lat"),
    [
        (31467, 25832, 9.05, 48.5),  # DHDN and ETRS89, seven parameters: 0.8 mm off on the way back
        (27700, 32630, -2.5, 52.0),  # OSGB36 and WGS 84
        (25832, 25832, 9.05, 48.5),
        (26912, 4269, -112.0, 34.5),
    ],
)
def test_there_and_back(survey: int, dem: int, lon: float, lat: float) -> None:
    """The way from cells to the frame undoes the way from the frame to cells, which pyproj alone says."""
    own, crs = CRS.from_epsg(survey), CRS.from_epsg(dem)
    local = ProjectedCRS(TransverseMercatorConversion(lat, lon), geodetic_crs=own.geodetic_crs)
    frame, truth = Frame(local, own, own, lon, lat, 0.0, 1.0), Transformer.from_crs(local, crs, always_xy=True)
    x0, y0 = truth.transform(0.0, 0.0)
    cell = 1e-5 if crs.is_geographic else 1.0
    grid = RasterGrid(crs, (cell, 0.0, x0 - 300 * cell, 0.0, -cell, y0 + 250 * cell), 600, 500)
    mapping = gridmap.to_frame(frame, grid, (10, 490, 20, 580))
    rng = np.random.default_rng(4)
    col, row = rng.uniform(20, 580, 300), rng.uniform(10, 490, 300)
    x, y = mapping(col, row)
    there_row, there_col = grid.cell_of(*truth.transform(x, y))
    off = np.hypot(there_col - col, there_row - row)
    assert off.max() < 1e-6 + 2 * mapping.error
    assert mapping.error <= gridmap.NEAR_M
    x, y = mapping.exact(col, row)
    there_row, there_col = grid.cell_of(*truth.transform(x, y))
    assert np.hypot(there_col - col, there_row - row).max() < 2e-6
