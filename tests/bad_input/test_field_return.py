"""Files that a field survey cannot be: each is refused by name, nothing is written."""

from __future__ import annotations

import geopandas as gpd
import pytest
import shapely

from bad import proper
from farm import EAST, EPSG, NORTH, snapshot


def checked(warm, farm, file, *more):
    path = farm.write()
    before = snapshot(farm.folder)
    ran = warm("check", path, "--trees", str(file), "--quiet", *more)
    assert snapshot(farm.folder) == before
    return ran


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("f.csv", "", "the file is empty"),
        ("f.csv", "A,1,2\nB,x,3\n", '"x" is no coordinate'),
        ("f.csv", "point,colour\nA,red\n", "no coordinate columns"),
        ("f.txt", "the trees are fine\n", ""),
        ("f.gpx", '<?xml version="1.0"?><gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x"></gpx>', "no waypoint"),
        ("f.gpx", "<gpx", "no GPX that can be read"),
        ("f.geojson", '{"type": "FeatureCollection", "features": []}', "f.geojson"),
        ("f.gpkg", "not a database", "f.gpkg"),
        ("f.csv", "BM1,4990000,510000,,boundary corner\n", "monuments alone"),
    ],
)
def test_files_that_are_no_survey_are_refused(warm, farm, name, text, said):
    (farm.folder / name).write_text(text, encoding="utf-8")
    ran = checked(warm, farm, farm.folder / name)
    proper(ran)
    assert said in ran.err


@pytest.mark.parametrize("name", ["nowhere.csv", "survey/features.gpkg:no such layer", "survey/features.gpkg:road"])
def test_a_reference_to_nothing_or_to_lines_is_refused(warm, farm, name):
    proper(checked(warm, farm, farm.folder / name))


def test_an_output_folder_that_is_a_file_is_refused_before_any_work(warm, farm):
    (farm.folder / "back").write_text("a note")
    ran = checked(warm, farm, farm.folder / "out" / "plan.gpkg:trees", "--out", farm.folder / "back")
    proper(ran)


def test_trees_of_another_property_are_extra_and_nothing_is_missing_tree_by_tree(warm, farm):
    points = [shapely.Point(EAST + 50_000 + 5 * k, NORTH) for k in range(20)]
    gpd.GeoDataFrame({"name": [f"T{k}" for k in range(20)]}, geometry=points, crs=EPSG).to_file(farm.folder / "f.gpkg")
    ran = checked(warm, farm, farm.folder / "f.gpkg")
    assert ran.code == 1
    assert "Traceback" not in ran.err


def test_one_point_is_judged(warm, farm):
    (farm.folder / "f.csv").write_text(f"point,northing,easting\nX,{NORTH + 40},{EAST + 30}\n")
    ran = checked(warm, farm, farm.folder / "f.csv")
    assert ran.code == 1
    assert "1 trees looked at" in ran.out


def test_many_positions_in_one_place_are_doubles_and_no_crash(warm, farm):
    (farm.folder / "f.csv").write_text("point,northing,easting\n" + f"X,{NORTH + 40},{EAST + 30}\n" * 50)
    ran = checked(warm, farm, farm.folder / "f.csv")
    assert ran.code == 1
    assert (ran.err, "Traceback" in ran.out) == ("", False)
