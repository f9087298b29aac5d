import json
import shutil
import sqlite3
import struct
import subprocess
import zipfile
from contextlib import closing

import numpy as np
import pyogrio
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS
from shapely import affinity

from setout.errors import SetoutError
from setout.read.vector import files
from survey_reading import LONLAT, SQUARE, boundary, codes, features, write

NY = CRS.from_epsg(2263)
WGS84 = CRS.from_epsg(4326)
HOLED = SQUARE.difference(affinity.scale(SQUARE, 0.2, 0.2))
EAST = affinity.translate(SQUARE, 1000, 0)
KIND = ["road", "farm track", "road"]
SHAPES = [SQUARE, EAST, HOLED]


# Formats ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["b.gpkg", "b.shp", "b.fgb", "b.shp.zip"])
def test_formats_in_their_own_crs(tmp_path, name):
    kwargs = {"driver": "ESRI Shapefile"} if name.endswith("zip") else {}
    write(tmp_path / name, SHAPES, kind="Polygon", kind_=KIND, **kwargs)
    layer = features(name, tmp_path)
    assert layer.crs.equals(NY, ignore_axis_order=True) or layer.crs.name == NY.name.replace("/ ", "")
    order = np.argsort([shapely.get_num_interior_rings(g) * 10 + g.centroid.x / 1e6 for g in layer.geometry])
    if name != "b.fgb":  # FlatGeobuf sorts features along a curve when it is written
        assert order.tolist() == [0, 1, 2]
        assert layer.columns["kind_"].tolist() == KIND
    assert all(a.equals(b) for a, b in zip(layer.geometry[order], SHAPES, strict=True))
    assert layer.source == name
    assert boundary(name, tmp_path).geometry.size == 3
    assert boundary(f"{name}[kind_=farm track]", tmp_path).geometry.size == 1


@pytest.mark.parametrize("name", ["b.geojson", "b.kml", "b.geojsonl", "b.json"])
def test_formats_in_wgs84(tmp_path, name):
    driver = {"json": "GeoJSON", "geojsonl": "GeoJSONSeq", "kml": "LIBKML"}.get(name.split(".")[1])
    write(tmp_path / name, [LONLAT], crs="EPSG:4326", driver=driver, Name=["field"])
    for crs in (None, NY, CRS.from_epsg(26918)):
        layer = boundary(name, tmp_path, crs=crs, unit="ft" if crs else None)
        assert layer.crs.to_epsg() == 4326
        assert layer.geometry[0].equals_exact(LONLAT, 1e-9)
        assert layer.columns["Name"].tolist() == ["field"]
        assert codes(layer) == []


def test_kmz_and_rings_of_kml(tmp_path):
    ring = " ".join(f"{x},{y},0" for x, y in LONLAT.exterior.coords)
    for tag in ("LineString", "LinearRing"):
        text = (
            '<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><name>n</name>'
            f"<{tag}><coordinates>{ring}</coordinates></{tag}></Placemark></Document></kml>"
        )
        (tmp_path / "b.kml").write_text(text)
        assert boundary("b.kml", tmp_path).geometry[0].equals(LONLAT)
        with zipfile.ZipFile(tmp_path / "b.kmz", "w") as archive:
            archive.writestr("doc.kml", text)
        assert boundary("b.kmz", tmp_path).geometry[0].equals(LONLAT)


def test_kml_folders_are_layers(tmp_path):
    ring = " ".join(f"{x},{y}" for x, y in LONLAT.exterior.coords)
    outer = f"<outerBoundaryIs><LinearRing><coordinates>{ring}</coordinates></LinearRing></outerBoundaryIs>"
    polygon = f"<Placemark><Polygon>{outer}</Polygon></Placemark>"
    point = "<Placemark><Point><coordinates>-73.985,40.745</coordinates></Point></Placemark>"
    folder = "<Folder><name>{}</name>{}</Folder>".format
    (tmp_path / "b.kml").write_text(
        '<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document>'
        f"{folder('lot', polygon)}{folder('wells', point * 2)}</Document></kml>"
    )
    assert files.list_layers(tmp_path / "b.kml") == [("lot", "Polygon", 1), ("wells", "Point", 2)]
    assert boundary("b.kml", tmp_path).geometry.size == 1
    assert features("b.kml:wells", tmp_path).geometry.size == 2
    with pytest.raises(SetoutError, match="2 layers"):
        features("b.kml", tmp_path)


def test_zip_with_shapefiles_in_folders(tmp_path):
    write(tmp_path / "lots.shp", [SQUARE])
    write(tmp_path / "wells.shp", [SQUARE.centroid], kind="Point")
    with zipfile.ZipFile(tmp_path / "county data.zip", "w") as archive:
        for file in [*tmp_path.glob("lots.*"), *tmp_path.glob("wells.*")]:
            archive.write(file, f"export 2024/deep (1)/{file.name}")
        archive.writestr("__MACOSX/export/._lots.shp", "x")
        archive.writestr("readme.txt", "hello")
    assert files.list_layers(tmp_path / "county data.zip") == [("lots", "Polygon", 1), ("wells", "Point", 1)]
    assert boundary("county data.zip", tmp_path).geometry[0].equals(SQUARE)
    assert features("county data.zip:wells", tmp_path).geometry.size == 1


def test_legacy_geojson_says_its_crs(tmp_path):
    feature = {"type": "Feature", "properties": {}, "geometry": shapely.geometry.mapping(SQUARE)}
    plain = {"type": "FeatureCollection", "features": [feature]}
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::2263"}}
    (tmp_path / "b.geojson").write_text(json.dumps({"crs": crs, **plain}))
    (tmp_path / "c.geojson").write_text(json.dumps(plain))
    layer = boundary("b.geojson", tmp_path)
    assert layer.crs.to_epsg() == 2263
    assert layer.geometry[0].equals(SQUARE)
    with pytest.raises(SetoutError, match="no degrees"):
        boundary("c.geojson", tmp_path)
    told = boundary("c.geojson", tmp_path, crs=NY)
    assert told.crs == NY
    assert codes(told) == ["crs_from_plan"]


def test_z_and_m_are_dropped(tmp_path):
    write(tmp_path / "p.gpkg", [shapely.Point(987000, 212000, 5)], kind="Point Z")
    assert not shapely.has_z(features("p.gpkg", tmp_path).geometry).any()


def curved(tmp_path, kind="CURVEPOLYGON"):
    """Write a GeoPackage with a disc of 1,000 m radius as one circular string (OGC 12-128, WKB of ISO 19125)."""
    path = tmp_path / "arc.gpkg"
    pyogrio.raw.write(
        path,
        geometry=shapely.to_wkb([shapely.box(0, 0, 1, 1)]),
        field_data=[],
        fields=[],
        geometry_type="Polygon",
        crs="EPSG:32633",
        SPATIAL_INDEX="NO",
    )
    x, y, r = 500000.0, 5000000.0, 1000.0
    arc = struct.pack("<BII", 1, 8, 5) + struct.pack("<10d", x + r, y, x, y + r, x - r, y, x, y - r, x + r, y)
    wkb = struct.pack("<BII", 1, 10, 1) + arc
    blob = b"GP\0\1" + struct.pack("<i", 32633) + wkb
    with sqlite3.connect(path) as db:
        db.execute("UPDATE arc SET geom = ?", (blob,))
        db.execute("UPDATE gpkg_geometry_columns SET geometry_type_name = ?", (kind,))
    db.close()
    return path


@pytest.mark.parametrize("kind", ["CURVEPOLYGON", "GEOMETRY", "SURFACE"])
def test_arcs_are_flattened_within_a_centimetre(tmp_path, kind):
    curved(tmp_path, kind)
    (disc,) = boundary("arc.gpkg", tmp_path).geometry
    xy = np.array(disc.exterior.coords)
    centre = np.array([500000, 5000000])
    assert np.hypot(*(xy - centre).T) == pytest.approx(1000, abs=1e-6)
    assert 1000 - np.hypot(*((xy[1:] + xy[:-1]) / 2 - centre).T).min() < 0.01


# Layers -------------------------------------------------------------------------------------------------------------


@pytest.fixture
def survey(tmp_path):
    path = tmp_path / "survey.gpkg"
    write(path, [SQUARE], layer="lot", kind_=["lot"])
    write(path, [SQUARE.exterior], kind="LineString", layer="road", append=True, kind_=["road"])
    write(path, [SQUARE.centroid] * 2, kind="Point", layer="well", append=True, depth=[3.5, 7.0], ok=[True, False], n=[1, 2])
    with sqlite3.connect(path) as db:
        db.execute("CREATE TABLE layer_styles (id INTEGER PRIMARY KEY, styleQML TEXT)")
        db.execute("INSERT INTO gpkg_contents(table_name, data_type, identifier) VALUES ('layer_styles', 'attributes', 's')")
    db.close()
    return tmp_path


def test_layers_are_listed_without_tables(survey):
    assert files.list_layers(survey / "survey.gpkg") == [("lot", "Polygon", 1), ("road", "LineString", 1), ("well", "Point", 2)]


def test_which_layer_is_meant(survey):
    assert boundary("survey.gpkg", survey).geometry[0].geom_type == "Polygon"  # the only one with polygons
    with pytest.raises(SetoutError, match=r"holds 3 layers: lot \(1 Polygon\), road"):
        features("survey.gpkg", survey)
    write(survey / "survey.gpkg", [EAST], layer="survey", append=True)
    assert features("survey.gpkg", survey).geometry[0].equals(EAST)  # named as the file
    write(survey / "survey.gpkg", [EAST], layer="lot 2", append=True)
    assert boundary("survey.gpkg", survey).geometry[0].equals(EAST)
    assert features("survey.gpkg:ROAD", survey).geometry.size == 1
    with pytest.raises(SetoutError, match='did you mean "road"'):
        features("survey.gpkg:roads", survey)


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("well[depth=7]", 1),
        ("well[depth=7.0]", 1),
        ("well[ok=true]", 1),
        ("well[ok=0]", 1),
        ("well[n=2]", 1),
        ("well[N=2]", 1),
        ("road[kind_=road]", 1),
    ],
)
def test_filters(survey, text, number):
    assert features(f"survey.gpkg:{text}", survey).geometry.size == number


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("well[dept=7]", 'did you mean "depth"'),
        ("well[depth=8]", "no feature has"),
        ("well[depth=deep]", "no feature has"),
        ("road[kind_=roda]", 'did you mean "road"'),
    ],
)
def test_filters_that_find_nothing(survey, text, why):
    with pytest.raises(SetoutError, match=why):
        features(f"survey.gpkg:{text}", survey)


# Text ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("encoding", "cpg"), [("UTF-8", "keep"), ("ISO-8859-1", "keep"), ("ISO-8859-1", "drop"), ("UTF-8", "drop"), ("ISO-8859-1", "wrong")]
)
def test_text_of_shapefiles(tmp_path, encoding, cpg):
    write(tmp_path / "b.shp", [SQUARE], encoding=encoding, owner=["Pärnu Õunaaed"])
    if cpg == "drop":
        (tmp_path / "b.cpg").unlink()
        data = bytearray((tmp_path / "b.dbf").read_bytes())
        data[29] = 0  # the language driver of the header says nothing either
        (tmp_path / "b.dbf").write_bytes(bytes(data))
    if cpg == "wrong":
        (tmp_path / "b.cpg").write_text("UTF-8")
    assert features("b.shp", tmp_path).columns["owner"].tolist() == ["Pärnu Õunaaed"]


# Bad input ----------------------------------------------------------------------------------------------------------


def refused(why, text, base, **kwargs):
    for read in (boundary, features):
        with pytest.raises(SetoutError, match=why or None) as caught:
            read(text, base, **kwargs)
        (fault,) = caught.value.faults
        assert fault.where
        assert fault.remedy


def test_missing_empty_and_folder(tmp_path):
    write(tmp_path / "bounds.gpkg", [SQUARE])
    refused('did you mean "bounds.gpkg"', "bound.gpkg", tmp_path)
    refused("there is no folder", "nowhere/b.gpkg", tmp_path)
    (tmp_path / "e.gpkg").touch()
    refused("is empty", "e.gpkg", tmp_path)
    (tmp_path / "d").mkdir()
    refused("is a folder", "d", tmp_path)
    for end in ("gpkg", "shp", "geojson", "kml", "fgb", "dxf", "gpx", "csv", "txt", "zip"):
        (tmp_path / f"x.{end}").touch()
        refused("empty", f"x.{end}", tmp_path, crs=NY)


@pytest.mark.parametrize("end", ["gpkg", "shp", "geojson", "kml", "fgb", "dxf", "gpx", "csv", "zip", "xyz"])
def test_a_text_under_another_name(tmp_path, end):
    (tmp_path / f"b.{end}").write_text("this is no survey file\n" * 10)
    if end == "shp":
        for other in ("dbf", "shx"):
            (tmp_path / f"b.{other}").write_text("x")
    refused("", f"b.{end}", tmp_path, crs=NY, unit="ft")


@pytest.mark.parametrize("share", [0.95, 0.6, 0.3, 0.05])
def test_a_geopackage_cut_short(tmp_path, share):
    write(tmp_path / "b.gpkg", SHAPES * 200)
    data = (tmp_path / "b.gpkg").read_bytes()
    (tmp_path / "b.gpkg").write_bytes(data[: int(len(data) * share)])
    refused("cut short", "b.gpkg", tmp_path)


@pytest.mark.parametrize("name", ["b.shp", "b.fgb", "b.geojson", "b.kml", "b.shp.zip"])
@pytest.mark.parametrize("share", [0.9, 0.4])
def test_other_files_cut_short(tmp_path, name, share):
    geographic = name.endswith(("json", "kml"))
    write(
        tmp_path / name,
        [LONLAT] * 300 if geographic else SHAPES * 100,
        crs="EPSG:4326" if geographic else "EPSG:2263",
        driver={"zip": "ESRI Shapefile", "kml": "LIBKML"}.get(name.split(".")[-1]),
    )
    data = (tmp_path / name).read_bytes()
    (tmp_path / name).write_bytes(data[: int(len(data) * share)])
    refused("", name, tmp_path)


def test_a_geopackage_with_broken_pages(tmp_path):
    write(tmp_path / "b.gpkg", SHAPES * 2000)
    data = bytearray((tmp_path / "b.gpkg").read_bytes())
    data[4096 * 30 : 4096 * 60] = b"\xff" * (4096 * 30)
    (tmp_path / "b.gpkg").write_bytes(bytes(data))
    refused("damaged|cannot be read|broken", "b.gpkg", tmp_path)


@pytest.mark.parametrize(("part", "why"), [("shx", "b.shx"), ("dbf", "b.dbf"), ("prj", "does not say its CRS")])
def test_a_shapefile_without_a_part(tmp_path, part, why):
    write(tmp_path / "b.shp", [SQUARE])
    (tmp_path / f"b.{part}").unlink()
    refused(why, "b.shp", tmp_path)
    assert not (tmp_path / "b.shx").exists() or part != "shx"  # nothing is written beside the survey
    with zipfile.ZipFile(tmp_path / "b.zip", "w") as archive:
        for file in tmp_path.glob("b.???"):
            if file.suffix != ".zip":
                archive.write(file, f"x/{file.name}")
    refused(why, "b.zip", tmp_path)
    if part == "prj":
        assert boundary("b.shp", tmp_path, crs=NY).geometry[0].equals(SQUARE)
        assert boundary("b.zip", tmp_path, crs=NY).crs == NY
        feet = boundary("b.shp", tmp_path, crs=NY, unit="US survey ft")
        assert feet.geometry[0].equals(SQUARE)
    if part == "shx":
        refused("part of a Shapefile", "b.dbf", tmp_path)


def test_zip_without_a_survey(tmp_path):
    with zipfile.ZipFile(tmp_path / "z.zip", "w") as archive:
        archive.writestr("photo.jpg", "x")
    refused("holds no Shapefile", "z.zip", tmp_path)


def test_layers_without_features_or_geometry(tmp_path):
    write(tmp_path / "n.gpkg", [None, None], kind="Polygon", name=["a", "b"])
    refused("none of its features has a geometry", "n.gpkg", tmp_path)
    write(tmp_path / "h.gpkg", [SQUARE, None, shapely.Polygon()], name=["a", "b", "c"])
    layer = features("h.gpkg", tmp_path)
    assert layer.columns["name"].tolist() == ["a"]
    assert codes(layer) == ["feature_empty"]
    assert "2 of 3" in layer.findings[0].message
    write(tmp_path / "e.gpkg", [SQUARE])
    with sqlite3.connect(tmp_path / "e.gpkg") as db:
        for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            db.execute(f'DROP TRIGGER "{name}"')
        db.execute("DELETE FROM e")
    db.close()
    refused("no features", "e.gpkg", tmp_path)


@pytest.mark.filterwarnings("ignore:invalid value encountered in linearrings")
@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -float("inf")])
@pytest.mark.parametrize("name", ["b.gpkg", "b.fgb", "b.shp"])
def test_coordinates_that_are_no_numbers(tmp_path, name, bad):
    ring = [(987000, 212000), (987600, bad), (987600, 212500), (987000, 212500)]
    if name == "b.shp":  # which refuses to be written so
        write(tmp_path / name, [SQUARE, shapely.Polygon([(x, 212345.5 if y == bad or y != y else y) for x, y in ring])])
        data = (tmp_path / name).read_bytes()
        (tmp_path / name).write_bytes(data.replace(struct.pack("<d", 212345.5), struct.pack("<d", bad)))
    else:
        write(tmp_path / name, [SQUARE, shapely.Polygon(ring)])
    with pytest.raises(SetoutError, match="coordinate"):
        boundary(name, tmp_path)


@pytest.mark.parametrize(
    ("shape", "why"),
    [
        (shapely.LineString([(987000, 212000), (987600, 212000), (987600, 212500)]), "open between"),
        (shapely.Point(987000, 212000), "holds 1 points"),
        (shapely.Polygon([(987000, 212000), (987600, 212000), (987300, 212000)]), "encloses no area"),
        (shapely.Polygon([(987000, 212000)] * 4), "encloses no area"),
    ],
)
def test_what_is_no_boundary(tmp_path, shape, why):
    write(tmp_path / "b.gpkg", [shape], kind=shape.geom_type)
    with pytest.raises(SetoutError, match=why):
        boundary("b.gpkg", tmp_path)


def test_a_boundary_that_crosses_itself_is_left_to_the_survey_stage(tmp_path):
    bow = shapely.Polygon([(987000, 212000), (987600, 212500), (987600, 212000), (987000, 212500)])
    write(tmp_path / "b.gpkg", [bow])
    (shape,) = boundary("b.gpkg", tmp_path).geometry
    assert not shape.is_valid
    assert shape.equals_exact(bow, 0)


def test_closed_lines_and_company(tmp_path):
    write(tmp_path / "b.gpkg", [SQUARE.exterior], kind="LineString", name=["lot"])
    layer = boundary("b.gpkg", tmp_path)
    assert layer.geometry[0].equals(SQUARE)
    assert layer.columns["name"].tolist() == ["lot"]
    write(tmp_path / "m.gpkg", [SQUARE, SQUARE.exterior, SQUARE.centroid], kind="Unknown", name=["a", "b", "c"])
    layer = boundary("m.gpkg", tmp_path)
    assert layer.columns["name"].tolist() == ["a"]
    assert codes(layer) == ["boundary_left_out"]
    write(tmp_path / "g.gpkg", [shapely.GeometryCollection([SQUARE, EAST])], kind="GeometryCollection", name=["a"])
    assert boundary("g.gpkg", tmp_path).columns["name"].tolist() == ["a", "a"]


def test_the_plan_contradicts_the_file(tmp_path):
    write(tmp_path / "b.gpkg", [SQUARE])
    for layer in (boundary("b.gpkg", tmp_path, crs=CRS.from_epsg(26918)), features("b.gpkg", tmp_path, crs=CRS.from_epsg(26918))):
        assert layer.crs.to_epsg() == 2263
        assert codes(layer) == ["crs_own"]
    assert codes(boundary("b.gpkg", tmp_path, crs=NY, unit="ft")) == []  # a file with a CRS says its unit with it


def test_undefined_crs_of_a_geopackage_is_none(tmp_path):
    with pytest.warns(UserWarning, match="'crs' was not provided"):
        write(tmp_path / "b.gpkg", [SQUARE], crs=None)
    refused("does not say its CRS", "b.gpkg", tmp_path)
    assert boundary("b.gpkg", tmp_path, crs=NY).crs == NY


def test_inputs_are_never_changed(tmp_path):
    write(tmp_path / "b.shp", [SQUARE])
    write(tmp_path / "b.gpkg", [SQUARE])
    before = {p.name: (p.stat().st_mtime_ns, p.read_bytes()) for p in tmp_path.iterdir()}
    for name in ("b.shp", "b.gpkg"):
        boundary(name, tmp_path)
        files.list_layers(tmp_path / name)
    assert {p.name: (p.stat().st_mtime_ns, p.read_bytes()) for p in tmp_path.iterdir()} == before


def test_read_only_folders_do(tmp_path):
    folder = tmp_path / "ro"
    folder.mkdir()
    write(tmp_path / "b.gpkg", [SQUARE])
    shutil.move(tmp_path / "b.gpkg", folder / "b.gpkg")
    (folder / "b.gpkg").chmod(0o444)
    folder.chmod(0o555)
    try:
        assert boundary("b.gpkg", folder).geometry.size == 1
    finally:
        folder.chmod(0o755)


# Properties ---------------------------------------------------------------------------------------------------------


@st.composite
def star(draw):
    """A simple ring around a centre on Long Island [US survey ft]."""
    x, y = draw(st.floats(900000, 1100000)), draw(st.floats(150000, 250000))
    radii = draw(st.lists(st.floats(50, 500), min_size=3, max_size=15))
    turn = np.linspace(0, 2 * np.pi, len(radii), endpoint=False)
    return shapely.Polygon(np.column_stack([x + radii * np.cos(turn), y + radii * np.sin(turn)]))


@given(st.lists(star(), min_size=1, max_size=4), st.sampled_from(["gpkg", "shp"]), st.booleans())
@settings(max_examples=25, deadline=None)
def test_any_polygons_come_back_as_written(tmp_path_factory, shapes, end, as_lines):
    folder = tmp_path_factory.mktemp("round")
    shapes = [affinity.translate(s, 0, 1200 * i - s.centroid.y + 150000) for i, s in enumerate(shapes)]  # side by side
    written = [s.exterior for s in shapes] if as_lines else shapes
    write(
        folder / f"b.{end}", [shapely.LineString(w) for w in written] if as_lines else written, kind="LineString" if as_lines else "Polygon"
    )
    layer = boundary(f"b.{end}", folder)
    assert codes(layer) == []
    assert all(g.symmetric_difference(s).area < 1e-6 for g, s in zip(layer.geometry, shapes, strict=True))
    assert layer.crs.to_epsg() == 2263


def test_a_large_layer_keeps_its_order(tmp_path):
    rng = np.random.default_rng(1)
    points = shapely.points(rng.uniform((980000, 200000), (990000, 210000), (20000, 2)))
    write(tmp_path / "p.gpkg", list(points), kind="Point", n=list(range(20000)))
    layer = features("p.gpkg", tmp_path)
    assert (layer.columns["n"] == np.arange(20000)).all()
    assert shapely.equals_exact(layer.geometry, points, 0).all()


def test_a_geopackage_with_a_log_in_a_place_that_takes_no_files(tmp_path):
    """As programs leave it that were ended while they had it open, on a disc or a share that may only be read."""
    place = tmp_path / "disc"
    place.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "tmpfs", place], capture_output=True, check=False).returncode == 0
    if not mounted:
        pytest.skip("no permission to mount")
    try:
        write(place / "b.gpkg", [SQUARE])
        with closing(sqlite3.connect(place / "b.gpkg")) as database:
            assert database.execute("PRAGMA journal_mode = wal").fetchone() == ("wal",)
        subprocess.run(["mount", "-o", "remount,ro", place], check=True)
        assert features("b.gpkg", place).geometry[0].equals(SQUARE)
    finally:
        subprocess.run(["umount", place], check=True)
