"""A survey of the planted trees fed back: what was put wrong is what is found, whatever file it comes in."""

from __future__ import annotations

import csv
import json
import math
import re
import sqlite3

import geopandas as gpd
import numpy as np
import pytest
import shapely

import setout
from command import cold
from farm import EPSG, Farm, write_survey
from setout.errors import SetoutError
from setout.read import plan_file, reference
from setout.read.survey import read_survey
from setout.read.vector.fieldpoints import read_field
from setout.run import plan_site
from setout.run.fieldreturn import field_of, planned_of
from setout.stages.fieldreturn import match
from setout.stages.staking import stake_set
from setout.words.findings import told


@pytest.fixture(scope="module")
def planned(tmp_path_factory):
    folder = tmp_path_factory.mktemp("field")
    write_survey(folder / "sound")
    farm = Farm(folder / "farm", folder / "sound")
    path = farm.write()
    setout.plan(path, products=("geopackage", "packet"))
    return path, gpd.read_file(path.parent / "out" / "plan.gpkg", layer="trees")


@pytest.fixture(scope="module")
def planting(planned):
    return plan_site(plan_file.read_plan_file(planned[0]), read_survey(plan_file.read_plan_file(planned[0]), planned[0].parent))


def turned(x, y, about, degrees):
    a = math.radians(degrees)
    dx, dy = x - about[0], y - about[1]
    return about[0] + math.cos(a) * dx + math.sin(a) * dy, about[1] - math.sin(a) * dx + math.cos(a) * dy


def pnezd(path, names, x, y):
    path.write_text("".join(f"{p},{n:.4f},{e:.4f},100,tree\r\n" for p, e, n in zip(names, x, y, strict=True)))
    return str(path)


@pytest.mark.parametrize(
    "file", ["plan.gpkg:trees", "packet/points.csv", "packet/stakeout.csv", "packet/trees.gpx", "packet/trees.geojson[kind=tree]"]
)
def test_every_file_of_the_packet_read_back_stands_as_planned(planned, planting, file):
    path, trees = planned
    stakes, plane = stake_set(planting), planting.site.frame.plane_crs
    x, y = trees["easting"], trees["northing"]
    read = read_field(reference.parse(f"out/{file}", path.parent), plane, (x.min(), y.min(), x.max(), y.max()))
    built = match(planned_of(planting, stakes), field_of(planting, stakes, read).points)
    assert built.place.tolist() == list(range(len(trees)))
    assert built.counts["in_place"] == len(trees)
    assert not built.set_up.systematic
    assert built.set_up.by_names


def test_a_set_out_with_faults_is_found_out(planned, tmp_path):
    path, trees = planned
    rng = np.random.default_rng(9)
    x, y = trees.geometry.x.to_numpy(), trees.geometry.y.to_numpy()
    corner = (510_120.0, 4_990_000.0)  # a corner of the farm's field
    x, y = turned(x, y, corner, 0.6)
    x, y = x + rng.normal(0, 0.03, len(x)), y + rng.normal(0, 0.03, len(y))
    names = trees["tree_id"].tolist()
    kept = [k for k in range(len(names)) if k not in (10, 60)]
    names[20], names[21] = names[21], names[20]
    file = pnezd(
        tmp_path / "field.txt",
        [*(names[k] for k in kept), "spare", "twice"],
        [*x[kept], x[30] + 2.4, x[40] + 0.5],
        [*y[kept], y[30] + 2.4, y[40] + 0.5],
    )
    judged = setout.check(path, file, out=tmp_path / "back")
    codes = [f.code for f in judged.findings]
    found = {code: {f.tree_id for f in judged.findings if f.code == code} for code in codes}
    assert found["missing"] == {trees["tree_id"][10], trees["tree_id"][60]}
    assert found["extra"] == {"spare"}
    assert found["doubled"] == {"twice"}
    assert found["swapped"] == {trees["tree_id"][20], trees["tree_id"][21]}
    assert judged.built.set_up.turn_deg == pytest.approx(0.6, abs=0.02)
    (whole,) = [f for f in judged.findings if f.code == "systematic_shift"]
    assert re.search("turns about monument BM[0-9]", told(whole, "us").message)
    layers = dict(gpd.list_layers(tmp_path / "back" / "asbuilt.gpkg").to_numpy().tolist())
    assert {"asbuilt", "places", "offsets", "findings", "set_up"} <= set(layers)
    built = gpd.read_file(tmp_path / "back" / "asbuilt.gpkg", layer="asbuilt")
    assert len(built) == judged.trees == len(kept) + 2
    assert built.crs.to_epsg() == EPSG
    np.testing.assert_allclose(built.geometry.x[: len(kept)], x[kept], atol=1e-3)
    mine = built.iloc[: len(kept)]
    off = np.hypot(x[kept] - trees.geometry.x.to_numpy()[kept], y[kept] - trees.geometry.y.to_numpy()[kept])
    np.testing.assert_allclose(mine["offset_m"], off, rtol=2e-4, atol=1e-3)  # on the ground, against the grid
    assert mine["tree_id"].tolist() == [trees["tree_id"][k] for k in kept]
    places = gpd.read_file(tmp_path / "back" / "asbuilt.gpkg", layer="places")
    assert set(places.loc[places["status"] == "missing", "tree_id"]) == found["missing"]
    with sqlite3.connect(tmp_path / "back" / "asbuilt.gpkg") as base:
        assert base.execute("SELECT count(*) FROM layer_styles").fetchone()[0] >= 4


def test_positions_without_names_are_told_by_their_pattern(planned, tmp_path):
    path, trees = planned
    points = gpd.GeoSeries(shapely.points(trees.geometry.x + 0.4, trees.geometry.y - 0.3), crs=EPSG).to_crs(4326)
    gpd.GeoDataFrame(geometry=points).to_file(tmp_path / "bare.gpkg")
    judged = setout.check(path, str(tmp_path / "bare.gpkg"))
    assert not judged.built.set_up.by_names
    assert judged.counts["in place"] == len(trees)
    assert (judged.built.set_up.shift_x, judged.built.set_up.shift_y) == pytest.approx((0.4, -0.3), abs=0.01)
    assert "systematic_shift" in [f.code for f in judged.findings]


def test_true_positions_are_held_to_setbacks_and_room(planned, tmp_path):
    """The lane has a setback of 5 m and half a canopy; a tree moved onto it, and one 3 m from its neighbour on a 5 m step."""
    path, trees = planned
    x, y = trees.geometry.x.to_numpy(copy=True), trees.geometry.y.to_numpy(copy=True)
    near = int(np.argmin(np.abs(y - 4_990_045.0)))
    y[near] = y[near] + math.copysign(1.5, 4_990_045.0 - y[near])
    beside = next(
        k
        for k in range(len(x) - 1)
        if trees["block"][k] == "A" and trees["block"][k + 1] == "A" and abs(y[k + 1] - y[k]) == pytest.approx(5, abs=0.1)
    )
    y[beside + 1] += math.copysign(1.6, y[beside] - y[beside + 1])
    judged = setout.check(path, pnezd(tmp_path / "f.txt", trees["tree_id"], x, y))
    found = {(f.code, f.tree_id) for f in judged.findings}
    assert ("setback", trees["tree_id"][near]) in found
    assert ("too_close", trees["tree_id"][beside + 1]) in found
    assert judged.short > 0


def test_surveyed_monuments_are_compared_and_are_no_trees(planned, tmp_path):
    path, trees = planned
    rows = list(csv.reader((path.parent / "out" / "packet" / "stakeout.csv").open(encoding="utf-8")))
    rows[1][2] = f"{float(rows[1][2]) + 0.5:.4f}"
    (tmp_path / "f.csv").write_text("\n".join(",".join(row) for row in rows) + "\n")
    judged = setout.check(path, str(tmp_path / "f.csv"))
    assert judged.trees == len(trees)
    (off,) = [f for f in judged.findings if f.code == "monument_off"]
    assert told(off, "us").message.startswith("monument BM2 was surveyed")


def test_the_command_says_it_writes_it_and_leaves_with_one(planned, tmp_path):
    path, trees = planned
    file = pnezd(tmp_path / "f.txt", trees["tree_id"][1:], trees.geometry.x[1:], trees.geometry.y[1:])
    ran = cold("check", path, "--trees", file, "--out", tmp_path / "back", "--quiet")
    assert ran.code == 1
    assert f"tree {trees['tree_id'][0]} is missing" in ran.out
    assert "call 811" in ran.out or "Have buried utilities located" in ran.out
    assert sorted(p.name for p in (tmp_path / "back").iterdir()) == ["asbuilt.gpkg", "asbuilt.html", "asbuilt_map.html"]
    told = json.loads(cold("check", path, "--trees", file, "--quiet", "--json").out)
    assert told["short"] == told["counts"]["missing"] == 1
    assert told["set_up"]["by_names"] is True


def test_the_page_takes_text_for_text_and_asks_for_nothing(planned, tmp_path):
    path, trees = planned
    bad = '</td><script>window.broken=1</script>"'
    names = [*trees["tree_id"], bad]
    frame = gpd.GeoDataFrame({"name": names}, geometry=[*trees.geometry.force_2d(), shapely.Point(510_110.0, 4_990_045.0)], crs=EPSG)
    frame.to_file(tmp_path / "f.gpkg")
    setout.check(path, str(tmp_path / "f.gpkg"), out=tmp_path / "back")
    page = (tmp_path / "back" / "asbuilt.html").read_text(encoding="utf-8")
    assert "<script" not in page
    assert "window.broken=1" in page
    assert not re.search(r"""(src|href)=["'](?!data:)""", page)
    assert "aria-label" in page


def test_positions_of_another_place_are_refused(planned, tmp_path):
    """A sign that was lost puts a farm on another continent, and no shift of a set-out is so large."""
    path, trees = planned
    world = trees.to_crs(4326).geometry
    file = tmp_path / "south.csv"
    rows = zip(trees["tree_id"], world.x, -world.y, strict=True)
    file.write_text("name,lon,lat\n" + "".join(f"{name},{lon:.8f},{lat:.8f}\n" for name, lon, lat in rows))
    with pytest.raises(SetoutError, match=r"km from the property.*coordinate system"):
        setout.check(path, str(file))


def test_what_was_there_before_stays_when_nothing_can_be_read(planned, tmp_path):
    path, _ = planned
    (tmp_path / "back").mkdir()
    (tmp_path / "back" / "plan.gpkg").write_text("the plan's own")
    (tmp_path / "empty.csv").write_text("")
    ran = cold("check", path, "--trees", tmp_path / "empty.csv", "--out", tmp_path / "back", "--quiet")
    assert ran.code == 2
    assert "the file is empty" in ran.err
    assert [p.name for p in (tmp_path / "back").iterdir()] == ["plan.gpkg"]
