"""Ground size of cells against geodesics, and gradients on turned, mirrored and sheared rasters."""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import CRS, Geod, Transformer

from setout.geometry.cells import relief
from setout.geometry.cells.cellsize import cell_size
from setout.model import RasterGrid

GEOD = Geod(ellps="GRS80")


def sides_by_geodesic(grid, row, col):
    """Return width and height of a cell by geodesics between points 20 cells apart [m]."""
    x, y = grid.corner(np.array([row, row, row - 10, row + 10.0]), np.array([col - 10, col + 10.0, col, col]))
    lon, lat = Transformer.from_crs(grid.crs, grid.crs.geodetic_crs, always_xy=True).transform(x, y)
    return GEOD.inv(lon[0], lat[0], lon[1], lat[1])[2] / 20, GEOD.inv(lon[2], lat[2], lon[3], lat[3])[2] / 20


@pytest.mark.parametrize(
    ("code", "transform"),
    [
        (4269, (1 / 3 / 3600, 0, -105.5, 0, -1 / 3 / 3600, 40.4)),
        (4269, (0.00275, 0, 17.0, 0, -0.00211, -33.5)),
        (4171, (1 / 3600, 0, 6.0, 0, 1 / 3600, 60.0)),  # south up
        (3857, (1.0, 0, -11.7e6, 0, -1.0, 4.9e6)),
        (3857, (0.8, 0.6, -11.7e6, 0.6, -0.8, 8.4e6)),  # turned
        (5070, (30.0, 0, -1.9e6, 0, -30.0, 2.6e6)),  # equal area: 1 % out at this corner of the country
    ],
)
def test_ground_size_by_geodesics(code, transform):
    grid = RasterGrid(CRS.from_epsg(code), transform, 200, 200)
    size = cell_size(grid, (0, 200, 0, 200))
    assert size.on_ellipsoid
    assert (size.width_m, size.height_m) == pytest.approx(sides_by_geodesic(grid, 100.5, 100.0), rel=2e-6)


@pytest.mark.parametrize("code", [26913, 2056, 2263, 6559, 5514, 27700, 31370])
def test_plane_crs_keep_their_nominal_size(code):
    """UTM, Swiss, two feet, Krovak, British and Belgian grids within their areas: off by less than 0.2 %."""
    crs = CRS.from_epsg(code)
    west, south, east, north = crs.area_of_use.bounds
    x, y = Transformer.from_crs(CRS.from_epsg(4326), crs, always_xy=True).transform((west + east) / 2, (south + north) / 2)
    unit = {2263: 1200 / 3937, 6559: 0.3048}.get(code, 1.0)
    size = cell_size(RasterGrid(crs, (3.0, 0, x, 0, -3.0, y), 90, 60), (0, 60, 0, 90))
    assert not size.on_ellipsoid
    assert size.width_m == pytest.approx(3 * unit, rel=1e-12)
    assert size.east_col == pytest.approx(np.float32(1 / (8 * 3 * unit)), rel=1e-7)
    assert abs(size.scale - 1) < 0.002


def test_size_on_degrees_changes_with_latitude():
    grid = RasterGrid(CRS.from_epsg(4326), (0.001, 0, 10.0, 0, -0.001, 60.0), 50, 5000)
    size = cell_size(grid, (0, 5000, 0, 50))
    assert size.east_col[-1] / size.east_col[0] == pytest.approx(np.cos(np.radians(60)) / np.cos(np.radians(55)), rel=1e-3)


@pytest.mark.parametrize(
    "transform",
    [
        (2.0, 0, 5e5, 0, -2.0, 4.4e6),
        (2.0, 0, 5e5, 0, 2.0, 4.4e6),  # south up
        (-2.0, 0, 5e5, 0, -2.0, 4.4e6),  # mirrored
        (1.6, 1.2, 5e5, 1.2, -1.6, 4.4e6),  # turned by 36.87 deg
        (0.0, 2.0, 5e5, 3.0, 0.0, 4.4e6),  # on its side, oblong
        (2.0, 0.5, 5e5, 0.1, -1.5, 4.4e6),  # sheared
    ],
)
def test_plane_on_any_lattice(transform):
    """A plane rising 0.10 towards east and 0.05 towards south is 11.180 % and faces 296.565 deg on every lattice."""
    grid = RasterGrid(CRS.from_epsg(32613), transform, 9, 7)
    row, col = np.mgrid[:7, :9] + 0.5
    x, y = grid.corner(row, col)
    z = (100 + 0.10 * (x - 5e5) - 0.05 * (y - 4.4e6)).astype(np.float32)
    across, down = relief.differences(z)
    dzdx, dzdy = (p.astype(float) for p in cell_size(grid, (1, 6, 1, 8)).gradient(across, down, 1))
    np.testing.assert_allclose(100 * relief.slope(dzdx, dzdy), 11.180, atol=2e-3)
    np.testing.assert_allclose(relief.aspect(dzdx, dzdy), 296.565, atol=1e-2)
