"""Terrain rasters and the map's picture: GDAL's own report, gdaldem, and positions to a tenth of a pixel."""

from __future__ import annotations

import json
import subprocess

import numpy as np
import pytest
import rasterio
from affine import Affine
from pyproj import CRS
from rasterio.io import MemoryFile

from dem_in_memory import UTM13 as UTM
from dem_in_memory import Memory, hills, site_on, survey
from setout.geometry.cells import cellmask
from setout.model import Frame, Ground, transformer
from setout.write import terrain


def smooth(rows, cols):
    return hills(rows, cols, rough=0.0)


def ground_on(elevations, rows, cols):
    return survey(site_on(elevations, rows, cols), elevations, allow_blank=True)


def gdalinfo(path):
    return json.loads(subprocess.run(["gdalinfo", "-json", path], check=True, capture_output=True, text=True).stdout)


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    folder = tmp_path_factory.mktemp("terrain")
    z = smooth(700, 620)
    z[300:330, 200:260] = np.nan
    elevations = Memory(z)
    ground = ground_on(elevations, (40, 640), (30, 590))
    terrain.write_terrain(ground, folder)
    return folder, elevations, ground


def test_only_the_two_files_are_left(written):
    assert sorted(path.name for path in written[0].iterdir()) == ["hillshade.tif", "slope.tif"]


@pytest.mark.parametrize(
    ("name", "kind", "nodata", "band"), [("slope", "Float32", -9999, "slope_pct"), ("hillshade", "Byte", 0, "hillshade")]
)
def test_cloud_optimized_by_gdal(written, name, kind, nodata, band):
    """What GDAL's own tool says: layout, blocks, overviews, nodata, name and unit of the band."""
    info = gdalinfo(written[0] / f"{name}.tif")
    assert info["metadata"]["IMAGE_STRUCTURE"]["LAYOUT"] == "COG"
    (found,) = info["bands"]
    assert (found["type"], found["noDataValue"], found["description"]) == (kind, nodata, band)
    assert found["block"] == [512, 512]
    assert found["overviews"]
    assert 'ID["EPSG",32613]' in info["coordinateSystem"]["wkt"]


def test_on_the_dems_own_cells(written):
    folder, elevations, ground = written
    row0, row1, col0, col1 = ground.window
    with rasterio.open(folder / "slope.tif") as file:
        row, col = elevations.grid.cell_of(np.array(file.transform.c), np.array(file.transform.f))
        assert (row, col) == (row0 - terrain.MARGIN_CELLS, col0 - terrain.MARGIN_CELLS)
        assert file.shape == (row1 - row0 + 2 * terrain.MARGIN_CELLS, col1 - col0 + 2 * terrain.MARGIN_CELLS)
        assert file.res == (1.0, 1.0)


@pytest.mark.parametrize("mode", ["slope", "hillshade"])
def test_values_by_gdaldem(written, tmp_path, mode):
    folder, elevations, _ = written
    path, out = tmp_path / "z.tif", tmp_path / "out.tif"
    z = np.where(np.isnan(elevations.z), -9999, elevations.z - 190).astype("float32")
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=z.shape[1],
        height=z.shape[0],
        count=1,
        dtype="float32",
        nodata=-9999,
        crs="EPSG:32613",
        transform=Affine(*elevations.grid.transform),
    ) as file:
        file.write(z, 1)
    subprocess.run(["gdaldem", mode, path, out, "-compute_edges", "-q", *(["-p"] if mode == "slope" else [])], check=True)
    with rasterio.open(folder / f"{mode}.tif") as ours, rasterio.open(out) as theirs:
        row, col = theirs.index(ours.transform.c + 0.5, ours.transform.f - 0.5)
        truth = theirs.read(1)[row : row + ours.height, col : col + ours.width]
        found = ours.read(1)
        np.testing.assert_array_equal(found == ours.nodata, truth == theirs.nodata)
        known = found != ours.nodata
        assert known.sum() == known.size - 30 * 60
        assert np.abs(found[known].astype(float) - truth[known]).max() <= (1e-3 if mode == "slope" else 1)


def test_slopes_over_the_limit_are_the_steep_cells(written):
    folder, _, ground = written
    row0, row1, col0, col1 = ground.window
    margin = terrain.MARGIN_CELLS
    with rasterio.open(folder / "slope.tif") as file:
        slope = file.read(1)[margin:-margin, margin:-margin]
    steep = cellmask.unpack(ground.steep, col1 - col0)
    assert steep.shape == slope.shape == (row1 - row0, col1 - col0)
    sure = np.abs(slope - 15) > 1e-4
    np.testing.assert_array_equal((slope > 15)[sure], steep[sure])


def test_same_bytes_again(written, tmp_path):
    folder, _, ground = written
    terrain.write_terrain(ground, tmp_path)
    for name in ("slope.tif", "hillshade.tif"):
        assert (tmp_path / name).read_bytes() == (folder / name).read_bytes()


def test_large_ground_is_shaded_from_means(tmp_path, monkeypatch):
    elevations = Memory(smooth(400, 500))
    ground = ground_on(elevations, (20, 380), (20, 480))
    monkeypatch.setattr(terrain, "SHADE_CELLS", 25_000)
    terrain.write_terrain(ground, tmp_path)
    with rasterio.open(tmp_path / "hillshade.tif") as shade, rasterio.open(tmp_path / "slope.tif") as slope:
        assert slope.res == (1.0, 1.0)
        step = shade.res[0]
        assert step == np.ceil(step) > 1
        assert shade.width * shade.height <= 25_000
        assert (shade.transform.c, shade.transform.f) == (slope.transform.c, slope.transform.f)
        assert 60 < shade.read(1).mean() < 240


def test_degrees_and_turned_rasters_keep_their_lattice(tmp_path):
    for number, (transform, code) in enumerate([((1e-5, 0, -105.0, 0, -1e-5, 39.75), 4326), ((1.6, 1.2, 5e5, 1.2, -1.6, 4.4e6), 32613)]):
        folder = tmp_path / str(number)
        folder.mkdir()
        elevations = Memory(smooth(120, 120), transform, CRS.from_epsg(code))
        terrain.write_terrain(ground_on(elevations, (30, 90), (30, 90)), folder)
        with rasterio.open(folder / "slope.tif") as file:
            assert file.crs.to_epsg() == code
            np.testing.assert_allclose(np.take(tuple(file.transform), [0, 1, 3, 4]), np.take(transform, [0, 1, 3, 4]), rtol=1e-12)
            assert np.isfinite(file.read(1)).all()


def test_no_dem_writes_nothing(tmp_path):
    frame = Frame(UTM, UTM, UTM, -105.0, 39.7, 0.0, 1.0)
    none = np.empty((0, 0), np.uint8)
    terrain.write_terrain(Ground(None, frame, (0, 0, 0, 0), none, none, 0.15), tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_no_room_is_said_before_anything_is_written(tmp_path, monkeypatch):
    import errno
    import shutil
    from types import SimpleNamespace

    ground = ground_on(Memory(smooth(60, 60)), (5, 50), (5, 50))
    monkeypatch.setattr(shutil, "disk_usage", lambda _: SimpleNamespace(free=100))
    with pytest.raises(OSError, match="needs") as caught:
        terrain.write_terrain(ground, tmp_path)
    assert caught.value.errno == errno.ENOSPC
    assert list(tmp_path.iterdir()) == []


# ---------------------------------------------------------------- the picture


def picture(ground, **options):
    png, bounds = terrain.hillshade_picture(ground, **options)
    assert png.startswith(b"\x89PNG")
    with MemoryFile(png) as memory, memory.open() as file:
        return file.read(1), file.read(2), bounds


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
def test_picture_lies_where_the_ground_is():
    """Knolls 2.5 degrees off the zone's middle show where pyproj puts them, to less than half a cell.

    Each is a cone lit from the north-west; between its bright and its dark side, across the light, lies its top.
    """
    x0, y0 = transformer(CRS.from_epsg(4326), UTM).transform(-102.5, 47.0)
    elevations = Memory(np.zeros((1000, 1000)), (1.0, 0, round(x0), 0, -1.0, round(y0)))
    tops = [(120, 130), (150, 870), (860, 140), (880, 900), (500, 480)]
    row, col = np.mgrid[:1000, :1000] + 0.5
    for r, c in tops:
        elevations.z += np.maximum(0, 10 - 0.4 * np.hypot(row - r, col - c)).astype(np.float32)
    ground = ground_on(elevations, (2, 998), (2, 998))
    grey, alpha, (south, west, north, east) = picture(ground)
    assert grey.shape == alpha.shape
    height, width = grey.shape
    assert max(grey.shape) <= 1600
    level = np.bincount(grey[alpha == 255]).argmax()
    for r, c in tops:
        lon, lat = transformer(UTM, CRS.from_epsg(4326)).transform(*elevations.grid.corner(np.array(r + 0.0), np.array(c + 0.0)))
        mercator = transformer(CRS.from_epsg(4326), CRS.from_epsg(3857))
        (left, right, x), (bottom, top, y) = mercator.transform([west, east, lon], [south, north, lat])
        px, py = (x - left) / (right - left) * width, (top - y) / (top - bottom) * height
        per_cell = width / 1000
        span = int(30 * per_cell)
        j, i = int(px), int(py)
        part = grey[i - span : i + span, j - span : j + span].astype(int)
        changed = np.abs(part - level) > 4
        rows, cols = np.nonzero(changed)
        middle = (cols.min() + cols.max() + 1) / 2 + j - span, (rows.min() + rows.max() + 1) / 2 + i - span
        assert middle == pytest.approx((px, py), abs=1.5 * per_cell)


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
def test_picture_is_clear_where_there_is_no_ground():
    z = smooth(300, 300)
    z[100:200, 100:200] = np.nan
    grey, alpha, _ = picture(ground_on(Memory(z), (5, 295), (5, 295)))
    height, width = alpha.shape
    assert alpha[height // 2, width // 2] == 0
    assert alpha[height // 5, width // 5] == 255
    assert 0.1 < (alpha == 0).mean() < 0.2
    assert (grey[alpha == 0] == 0).all()


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
@pytest.mark.parametrize("most", [1600, 200])
def test_picture_is_no_larger_than_asked_and_the_same_again(most):
    ground = ground_on(Memory(smooth(900, 700)), (5, 895), (5, 695))
    png, bounds = terrain.hillshade_picture(ground, most)
    grey, _, _ = picture(ground, max_pixels=most)
    assert max(grey.shape) <= most
    assert terrain.hillshade_picture(ground, most) == (png, bounds)


@pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
def test_coarse_dem_is_not_blown_up():
    grey, _, _ = picture(ground_on(Memory(smooth(30, 30), (30.0, 0, 5e5, 0, -30.0, 4.4e6)), (5, 25), (5, 25)))
    assert max(grey.shape) <= 100


def test_overview_is_read_where_the_ground_has_none():
    from dataclasses import replace

    ground = ground_on(Memory(smooth(300, 200)), (5, 295), (5, 195))
    assert terrain.hillshade_picture(replace(ground, overview=None)) == terrain.hillshade_picture(ground)
