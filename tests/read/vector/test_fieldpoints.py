"""Surveyed positions in every form that crews hand over: PNEZD, tables, GPX, GeoPackage; any CRS; names or none."""

from __future__ import annotations

import geopandas as gpd
import gpxpy
import gpxpy.gpx
import numpy as np
import pytest
import shapely
from pyproj import CRS, Transformer

from setout.errors import SetoutError
from setout.read import reference
from setout.read.vector.fieldpoints import read_field

PLANE = CRS.from_epsg(26910)
EAST, NORTH = np.array([510_010.0, 510_020.0, 510_030.5]), np.array([4_990_010.0, 4_990_030.25, 4_990_020.0])
BOX = (510_000.0, 4_990_000.0, 510_120.0, 4_990_090.0)
NAMES = ["A-1-1", "A-1-2", "B-2-1"]


def read(folder, name):
    return read_field(reference.parse(name, folder), PLANE, BOX)


def written(folder, name, text):
    (folder / name).write_text(text, encoding="utf-8")
    return read(folder, name)


def plane(found):
    if found.crs == PLANE:
        return found.x, found.y
    return Transformer.from_crs(found.crs, PLANE, always_xy=True).transform(found.x, found.y)


def assert_the_same(found, atol=1e-3):
    x, y = plane(found)
    np.testing.assert_allclose(x, EAST, atol=atol)
    np.testing.assert_allclose(y, NORTH, atol=atol)


@pytest.mark.parametrize("suffix", ["csv", "txt"])
@pytest.mark.parametrize("sign", [",", ";", "\t"])
def test_pnezd_without_a_header(tmp_path, suffix, sign):
    rows = zip(NAMES, NORTH, EAST, strict=True)
    text = "".join(sign.join((p, f"{n}", f"{e}", "101.5", "apple")) + "\r\n" for p, n, e in rows)
    found = written(tmp_path, f"field.{suffix}", text)
    assert_the_same(found)
    assert [names[0] for names in found.names] == NAMES
    assert found.findings == ()


def test_easting_before_northing_is_seen_and_told(tmp_path):
    text = "".join(f"{p},{e},{n},101.5,apple\n" for p, n, e in zip(NAMES, NORTH, EAST, strict=True))
    found = written(tmp_path, "field.csv", text)
    assert_the_same(found)
    assert [f.code for f in found.findings] == ["easting_first"]


def test_latitude_and_longitude_without_a_header(tmp_path):
    lon, lat = Transformer.from_crs(PLANE, 4326, always_xy=True).transform(EAST, NORTH)
    text = "".join(f"{p},{b:.9f},{a:.9f},0,\n" for p, a, b in zip(NAMES, lon, lat, strict=True))
    assert_the_same(written(tmp_path, "field.csv", text))


@pytest.mark.parametrize("head", ["Point,Northing,Easting,Elevation,Description", "id;easting_m;northing_m"])
def test_a_table_with_a_header(tmp_path, head):
    lines = [head]
    for p, n, e in zip(NAMES, NORTH, EAST, strict=True):
        lines.append(f"{p},{n},{e},1,apple" if "," in head else f"{p};{e};{n}")
    found = written(tmp_path, "field.csv", "\n".join(lines) + "\n")
    assert_the_same(found)
    assert [names[0] for names in found.names] == NAMES


def test_whole_numbers_are_names_without_a_decimal_point(tmp_path):
    found = written(
        tmp_path,
        "f.csv",
        "point,northing,easting\n" + "".join(f"{k},{n},{e}\n" for k, (n, e) in enumerate(zip(NORTH, EAST, strict=True), 7)),
    )
    assert found.names == [("7",), ("8",), ("9",)]


def test_gpx_waypoints_with_a_track_beside_them(tmp_path):
    lon, lat = Transformer.from_crs(PLANE, 4326, always_xy=True).transform(EAST, NORTH)
    gpx = gpxpy.gpx.GPX()
    gpx.waypoints = [gpxpy.gpx.GPXWaypoint(b, a, name=p) for a, b, p in zip(lon, lat, NAMES, strict=True)]
    segment = gpxpy.gpx.GPXTrackSegment([gpxpy.gpx.GPXTrackPoint(45.0, -123.0), gpxpy.gpx.GPXTrackPoint(45.1, -123.0)])
    gpx.tracks = [gpxpy.gpx.GPXTrack()]
    gpx.tracks[0].segments = [segment]
    found = written(tmp_path, "walk.gpx", gpx.to_xml())
    assert_the_same(found)
    assert [names[0] for names in found.names] == NAMES


@pytest.mark.parametrize("epsg", [26910, 4326, 3857, 2269])
def test_a_geopackage_in_any_coordinate_system(tmp_path, epsg):
    points = gpd.GeoSeries(shapely.points(EAST, NORTH), crs=26910).to_crs(epsg)
    gpd.GeoDataFrame({"tree_id": NAMES, "block": ["A", "A", "B"]}, geometry=points).to_file(tmp_path / "f.gpkg")
    found = read(tmp_path, "f.gpkg")
    assert_the_same(found)
    assert found.block == ["A", "A", "B"]


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("f.csv", "", "the file is empty"),
        ("f.csv", "A,4990010,510010,1,x\nB,49x0,510010,1,x\n", '"49x0" is no coordinate'),
        ("f.csv", "A,4990010,510010,1,x\nB\n", '"" is no coordinate'),
        ("f.csv", "A,4990010,510010\nB,nan,510010\n", '"nan" is no coordinate'),
        ("f.csv", "name,colour\nA,red\n", "no coordinate columns"),
        ("f.gpx", "<gpx>", "no GPX that can be read"),
    ],
)
def test_what_cannot_be_read_is_named(tmp_path, name, text, said):
    with pytest.raises(SetoutError, match=said):
        written(tmp_path, name, text)


def test_lines_are_no_positions(tmp_path):
    gpd.GeoDataFrame(geometry=[shapely.LineString([(510_000, 4_990_000), (510_010, 4_990_000)])], crs=26910).to_file(tmp_path / "f.gpkg")
    with pytest.raises(SetoutError, match="the positions are not points"):
        read(tmp_path, "f.gpkg")


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(SetoutError, match=r"nowhere\.csv"):
        read(tmp_path, "nowhere.csv")
