"""The GeoPackage writer, judged by SQLite, by GDAL of three ages and by GDAL's validator."""

from __future__ import annotations

import errno
import importlib.util
import sqlite3
import subprocess

import fiona
import geopandas
import numpy as np
import pyogrio
import pytest
import shapely
from pyproj import CRS, Transformer

from setout.errors import SetoutError
from setout.layers import CONTRACTS
from setout.layers.columns import Chunked, Points
from setout.layers.data import LayerData
from setout.write.geopackage import writer
from write.gpkg_sample import FEET, small_layers, sound, tree_layer, written

SIZES = (0, 1, 51, 52, 2601, 2602, 60_000)
"""Around one node, one level and one chunk of the writer (51 cells a node, 50,000 rows a chunk)."""


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    return written(tmp_path_factory.mktemp("gpkg"), [*small_layers(), tree_layer(60_000)])


@pytest.fixture(scope="module")
def validator(testdata):
    spec = importlib.util.spec_from_file_location("validate_gpkg", testdata("gdal-utils", "osgeo_utils/samples/validate_gpkg.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return lambda path: module.check(str(path), abort_at_first_error=False)


@pytest.mark.parametrize("n", SIZES)
def test_sqlite_and_the_validator_find_nothing_wrong(tmp_path, validator, n):
    path = written(tmp_path, [tree_layer(n)])
    assert sound(path)
    assert validator(path) == []
    assert len(geopandas.read_file(path, layer="trees")) == n


def test_every_layer_is_valid(plan, validator):
    assert sound(plan)
    assert validator(plan) == []


def test_an_older_gdal_reads_all_layers_without_a_warning(plan):
    done = subprocess.run(["ogrinfo", "-ro", "-so", "-al", plan], capture_output=True, text=True, check=True)
    assert done.stderr == ""
    assert "Warning" not in done.stdout
    for text in ("Layer name: trees", "Feature Count: 60000", "3D Point", "Layer name: land_account", 'ID["EPSG",2269]'):
        assert text in done.stdout


@pytest.mark.parametrize("reader", ["pyogrio", "fiona"])
def test_values_come_back(plan, reader):
    layer = tree_layer(60_000)
    frame = geopandas.read_file(plan, layer="trees", engine=reader)
    assert frame.crs == FEET
    every = slice(0, layer.rows)
    for name in ("tree_id", "block", "variety", "water_reason"):
        expected = [text or None for text in layer.columns[name][every].tolist()]
        assert frame[name].astype(object).where(frame[name].notna(), None).tolist() == expected
    assert frame["tree_id"].is_unique
    for name in ("easting", "northing", "elevation_m", "nearest_m"):
        np.testing.assert_array_equal(frame[name].to_numpy(float), layer.columns[name])
    run = frame["run_m"].to_numpy(float)
    assert set(run[np.isfinite(run)]) == {30.0}
    np.testing.assert_array_equal(np.isnan(run), np.isinf(layer.columns["run_m"]))
    assert frame["watered"].isna().sum() == np.isnan(layer.columns["watered"]).sum()
    assert (frame["watered"] == True).sum() == (layer.columns["watered"] == 1).sum()  # noqa: E712
    np.testing.assert_array_equal(frame.geometry.x, layer.geometry.x)
    np.testing.assert_array_equal(shapely.get_z(frame.geometry.to_numpy()), layer.geometry.z)
    assert list(frame.columns) == [*CONTRACTS["trees"].names, "geometry"]
    assert frame["zone"].isna().all()


def test_stored_types_are_those_of_the_contract(plan):
    db = sqlite3.connect(plan)
    found = {}
    for column in CONTRACTS["trees"].columns:
        found[column.name] = {r[0] for r in db.execute(f'SELECT DISTINCT typeof("{column.name}") FROM trees')}
    db.close()
    assert found["tree_id"] == {"text"}
    assert found["row"] == {"integer"}
    assert found["nearest_m"] == {"real", "null"}
    assert found["watered"] == {"integer", "null"}
    assert found["sun_h"] == {"null"}


@pytest.mark.parametrize("reader", ["pyogrio", "fiona", "ogrinfo"])
def test_a_box_finds_what_brute_force_finds(plan, reader):
    layer = tree_layer(60_000)
    x, y = layer.geometry.x, layer.geometry.y
    rng = np.random.default_rng(3)
    for _ in range(3 if reader == "ogrinfo" else 12):
        cx, cy, wx, wy = rng.uniform(x.min(), x.max()), rng.uniform(y.min(), y.max()), *rng.uniform(5, 400, 2)
        box = (cx - wx, cy - wy, cx + wx, cy + wy)
        inside = (x >= box[0]) & (x <= box[2]) & (y >= box[1]) & (y <= box[3])
        expected = set(np.flatnonzero(inside) + 1)
        if reader == "pyogrio":
            found = set(pyogrio.read_dataframe(plan, layer="trees", bbox=box, fid_as_index=True).index)
        elif reader == "fiona":
            with fiona.open(plan, layer="trees") as source:
                found = {int(key) for key in source.keys(bbox=box)}
        else:
            out = subprocess.run(
                ["ogrinfo", "-ro", "-geom=NO", "-spat", *map(str, box), plan, "trees"], capture_output=True, text=True, check=True
            ).stdout
            found = {int(line.split(":")[1]) for line in out.splitlines() if line.startswith("OGRFeature(trees)")}
        assert found == expected


def test_the_index_itself_is_asked_and_holds_every_tree(plan):
    db = sqlite3.connect(plan)
    n = db.execute("SELECT count(*) FROM rtree_trees_geom").fetchone()[0]
    low = db.execute(
        "SELECT count(*) FROM trees t JOIN rtree_trees_geom r ON r.id = t.fid "
        "WHERE r.minx <= t.easting AND t.easting <= r.maxx AND r.miny <= t.northing AND t.northing <= r.maxy"
    ).fetchone()[0]
    db.close()
    assert n == low == 60_000


@pytest.mark.parametrize("engine", ["pyogrio", "fiona"])
@pytest.mark.parametrize("n", [1, 51, 3000])
def test_it_can_be_edited_afterwards(tmp_path, engine, n):
    path = written(tmp_path, [tree_layer(n)])
    more = geopandas.read_file(path, layer="trees").iloc[:1].copy()
    more["geometry"] = [shapely.Point(7_500_000, 600_000, 3)]
    more["tree_id"] = "new"
    more.to_file(path, layer="trees", engine=engine, mode="a")
    assert sound(path)
    box = (7_499_999, 599_999, 7_500_001, 600_001)
    assert geopandas.read_file(path, layer="trees", bbox=box)["tree_id"].tolist() == ["new"]
    ids = pyogrio.read_dataframe(path, layer="trees", fid_as_index=True).index
    assert sorted(ids) == list(range(1, n + 2))


def test_features_can_be_deleted_and_moved(tmp_path):
    path = written(tmp_path, [tree_layer(3000)])
    for sql in ("DELETE FROM trees WHERE fid % 2 = 0", "UPDATE trees SET geom = (SELECT geom FROM trees WHERE fid = 2999) WHERE fid = 1"):
        done = subprocess.run(["ogrinfo", "-q", path, "-sql", sql], capture_output=True, text=True, check=True)
        assert done.stderr == ""
    assert sound(path)
    frame = geopandas.read_file(path, layer="trees", fid_as_index=True)
    assert frame.index.tolist() == list(range(1, 3000, 2))
    x, y = frame.geometry[2999].x, frame.geometry[2999].y
    box = (x - 1, y - 1, x + 1, y + 1)
    assert set(geopandas.read_file(path, layer="trees", bbox=box, fid_as_index=True).index) == {1, 2999}


def test_polygons_are_all_multipolygons_and_keep_their_area(plan):
    frame = geopandas.read_file(plan, layer="exclusions")
    original = small_layers()[1].geometry
    assert set(frame.geometry.dropna().geom_type) == {"MultiPolygon"}
    np.testing.assert_allclose(frame.area[:2], shapely.area(original)[:2], rtol=0, atol=0)
    assert frame.geometry[2] is None
    assert frame["source"].isna().all()


def test_lines_points_and_whole_site_findings_come_back(plan):
    rows = geopandas.read_file(plan, layer="rows")
    assert rows.geometry.to_wkt().tolist()[1] == "MULTILINESTRING ((7600010 650020, 7600000 650020))"
    assert shapely.get_num_geometries(rows.geometry).tolist() == [2, 1]
    findings = geopandas.read_file(plan, layer="findings")
    assert [g.geom_type if g else None for g in findings.geometry] == ["Point", "Polygon", None]
    assert len(findings["message"][0]) == 5000
    assert len(geopandas.read_file(plan, layer="findings", bbox=(7_600_099, 650_099, 7_600_101, 650_101))) == 2


def test_tables_come_back_as_tables(plan):
    account = pyogrio.read_dataframe(plan, layer="land_account")
    assert not isinstance(account, geopandas.GeoDataFrame)
    assert account["reason"].tolist() == ["gross", "slope", "net"]
    assert account["alone_m2"].isna().tolist() == [True, False, True]


def test_two_writes_are_the_same_byte_for_byte(tmp_path):
    one = written(tmp_path, [*small_layers(), tree_layer(5000)], name="one.gpkg")
    two = written(tmp_path, [*small_layers(), tree_layer(5000)], name="two.gpkg")
    assert one.read_bytes() == two.read_bytes()


def test_a_row_too_long_for_a_page_is_written_all_the_same(tmp_path, validator):
    layer = tree_layer(60_000)
    texts = np.array(["short"] * 60_000, object)
    texts[59_999] = "x" * 9000
    path = written(tmp_path, [LayerData(layer.contract, {**layer.columns, "water_reason": texts}, layer.geometry)])
    assert sound(path)
    assert validator(path) == []
    db = sqlite3.connect(path)
    assert db.execute("SELECT length(water_reason) FROM trees WHERE fid = 60000").fetchone() == (9000,)
    assert db.execute("SELECT count(*), count(DISTINCT tree_id) FROM trees").fetchone() == (60_000, 60_000)
    db.close()


@pytest.mark.parametrize(("z", "flag", "kind"), [(None, 2, "Point"), (np.nan, 2, "Point"), (5.0, 1, "Point Z")])
def test_unknown_elevation_is_no_elevation(tmp_path, z, flag, kind):
    layer = tree_layer(200, z=False)
    heights = None if z is None else np.full(200, z)
    path = written(tmp_path, [LayerData(layer.contract, layer.columns, Points(layer.geometry.x, layer.geometry.y, heights))])
    db = sqlite3.connect(path)
    assert db.execute("SELECT z FROM gpkg_geometry_columns").fetchone() == (flag,)
    db.close()
    shapes = geopandas.read_file(path, layer="trees").geometry.to_numpy()
    assert shapely.has_z(shapes).all() == (kind == "Point Z")


def test_some_known_elevations(tmp_path, validator):
    layer = tree_layer(200, z=False)
    heights = np.where(np.arange(200) % 3 == 0, np.nan, 12.5)
    path = written(tmp_path, [LayerData(layer.contract, layer.columns, Points(layer.geometry.x, layer.geometry.y, heights))])
    assert sound(path)
    assert validator(path) == []
    shapes = geopandas.read_file(path, layer="trees").geometry.to_numpy()
    np.testing.assert_array_equal(shapely.get_x(shapes), layer.geometry.x)
    assert (np.isnan(shapely.get_z(shapes)) == np.isnan(heights)).all()


CUSTOM = CRS.from_proj4("+proj=tmerc +lat_0=45.1 +lon_0=-122.7 +k=1.00004 +ellps=GRS80 +units=us-ft +no_defs")


@pytest.mark.parametrize(
    "crs",
    [
        FEET,
        CRS.from_epsg(32610),
        CRS.from_epsg(4326),
        CRS.from_epsg(2263),
        CRS.from_epsg(5514),
        CRS.from_epsg(2193),
        CUSTOM,
        CRS.from_string("ESRI:102008"),
        CRS.from_wkt(FEET.to_wkt("WKT1_ESRI")),
    ],
    ids=lambda crs: crs.name,
)
def test_the_crs_comes_back(tmp_path, validator, crs):
    path = written(tmp_path, [tree_layer(20)], crs)
    assert validator(path) == []
    for engine in ("pyogrio", "fiona"):
        back = geopandas.read_file(path, layer="trees", engine=engine).crs
        assert back.to_epsg() == crs.to_epsg()
        x, y = (7_600_016.0, 650_016.0) if crs.is_projected else (-122.7, 45.1)
        there = Transformer.from_crs(crs, back, always_xy=True).transform(x, y)
        assert there == pytest.approx((x, y), abs=1e-6 if crs.is_projected else 1e-11)


def test_of_a_compound_crs_the_horizontal_part(tmp_path):
    path = written(tmp_path, [tree_layer(3)], CRS.from_string("EPSG:2269+5703"))
    assert geopandas.read_file(path, layer="trees").crs == FEET


def test_a_near_match_of_another_foot_gets_no_code(tmp_path):
    """EPSG:2223 is Arizona Central in international feet; it stands for no zone in US survey feet."""
    ours = CRS.from_proj4("+proj=tmerc +lat_0=31 +lon_0=-111.9 +k=0.9999 +x_0=213360 +y_0=0 +datum=NAD83 +units=us-ft +no_defs")
    path = written(tmp_path, [tree_layer(3)], ours)
    db = sqlite3.connect(path)
    assert db.execute("SELECT srs_id, organization FROM gpkg_spatial_ref_sys WHERE srs_id > 4326").fetchall() == [(100_000, "NONE")]
    db.close()
    assert geopandas.read_file(path, layer="trees").crs.axis_info[0].unit_conversion_factor == pytest.approx(1200 / 3937, rel=1e-12)


def test_chunks_are_asked_for_in_order_and_never_whole(tmp_path):
    asked = []

    def make(part: slice) -> np.ndarray:
        asked.append((part.start, part.stop))
        return np.full(part.stop - part.start, 7.0)

    layer = tree_layer(120_000)
    columns = {**layer.columns, "slope_pct": Chunked(120_000, make)}
    written(tmp_path, [LayerData(layer.contract, columns, layer.geometry)])
    assert asked[:3] == [(0, 50_000), (50_000, 100_000), (100_000, 120_000)]
    assert all(stop - start == 1 for start, stop in asked[3:])  # the few that are read back


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"row": np.array(["1"])}, 'column "row" is <U1 where the contract says int'),
        ({"colour": np.array([1.0])}, 'column "colour" is not in the contract'),
        ({"tree_id": None}, 'column "tree_id" is null'),
        ({"lon": np.array([1.0, 2.0])}, 'column "lon" has 2 rows where the layer has 1'),
    ],
)
def test_a_broken_contract_is_refused(change, match):
    layer = tree_layer(1)
    with pytest.raises(SetoutError, match=match):
        LayerData(layer.contract, {**layer.columns, **change}, layer.geometry)


def test_geometry_of_another_kind_is_refused():
    point = np.array([shapely.Point(0, 0)], object)
    with pytest.raises(SetoutError, match="geometry is Point, not LINESTRING"):
        LayerData(CONTRACTS["contours"], {"elevation_m": np.array([1.0])}, point)
    with pytest.raises(SetoutError, match="geometry is NoneType, not LINESTRING"):
        LayerData(CONTRACTS["contours"], {"elevation_m": np.array([1.0])})


def test_a_coordinate_that_is_not_finite_is_refused(tmp_path):
    layer = tree_layer(5)
    x = layer.geometry.x.copy()
    x[3] = np.nan
    with pytest.raises(SetoutError, match="not finite"):
        written(tmp_path, [LayerData(layer.contract, layer.columns, Points(x, layer.geometry.y))])


def test_an_existing_file_is_never_written_over(plan):
    with pytest.raises(FileExistsError):
        writer.write(plan, [], FEET)


def test_a_missing_folder_is_an_os_error(tmp_path):
    with pytest.raises(OSError, match="unable to open") as caught:
        writer.write(tmp_path / "no" / "plan.gpkg", [], FEET)
    assert caught.value.errno != errno.ENOSPC
