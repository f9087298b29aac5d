"""Plan files as growers get them wrong, run as a user runs them: the steps, names and sizes that only the ground shows to be wrong."""

from __future__ import annotations

import csv
import re
import sqlite3
from contextlib import closing

import pytest

from farm import FEATURES, FIELD, write_vector


def test_ten_faults_at_once(farm, refused):
    farm.sections["units"] = "imperial"
    farm.sections["site"]["dem_unit"] = "metre"
    farm.sections["ground"]["max_slop"] = "15 %"
    farm.sections["setback"][0]["distance"] = 15
    farm.sections["setback"][1]["from"] = "survey/features.gpkg:raod"
    farm.sections["setback"][2]["distance"] = "-1 m"
    farm.sections["no_plant"][0]["from"] = "survey/pond.gpkg"
    farm.sections["water"]["points"] = "survey/features.gpkg:riser[name=high]"
    farm.sections["block"][0]["pattern"] = "ofset"
    farm.sections["block"][0]["plants"] = [{"plant": "aple, dwarf"}]
    farm.sections["block"][1]["step"] = "5"
    (farm.survey / "dem.tif").write_bytes(b"")
    lines = refused(
        "units",
        "ground.max_slop",
        "setback[1].distance",
        "setback[2].from",
        "setback[3].distance",
        "no_plant[1].from",
        "water.points",
        "block[1].pattern",
        "block[1].plants[1].plant",
        "block[2].step",
        "site.dem",
    )
    assert len(lines) == 11


def test_step_larger_than_the_field(farm, refused):
    farm.sections["block"][0]["step"] = "500 m"
    farm.sections["block"][1]["step"] = "90 km"
    assert len(refused("block A: the step 1640.4 ft is larger", "355.5 ft across", "block B: the step")) == 2


@pytest.mark.parametrize(("step", "count"), [("1 mm", "2,668,"), ("0.2 in", "103,")])
def test_step_that_would_fill_the_memory(farm, refused, step, count):
    """One acre at 0.2 in holds 6,272,640 in2 / 0.04 in2 = 156.8 million trees."""
    farm.block["step"] = step
    assert len(refused("block A: a step of", f"about {count}", "20,000,000 are the most", "check the unit")) == 1


def test_forty_acres_at_an_inch(farm, refused):
    """40 acres x 6,272,640 in2 an acre: 250 million trees, less the ground that setbacks take."""
    import shapely

    side = (40 * 4046.8564224) ** 0.5
    x, y = FIELD.bounds[:2]
    farm.vector("field.gpkg", [shapely.box(x, y, x + side, y + side)])
    block = {"name": "A", "pattern": "square", "step": "1 in", "direction": "best"}
    farm.sections = {"site": {"boundary": "survey/field.gpkg"}, "block": [block]}
    (line,) = refused("20,000,000 are the most")
    count = int(line.split("about ")[1].split(" trees")[0].replace(",", ""))
    grid = 0.9996**2  # UTM's scale near its meridian (Snyder, USGS PP 1395, p. 57): the frame measures on the ground
    assert count == pytest.approx(40 * 6_272_640 / grid, rel=3e-5)


def test_a_headland_longer_than_one_blocks_rows_is_said(farm, warm):
    farm.block["headland"] = "100 m"
    ran = warm("plan", farm.write(), "--quiet", "--only", "packet")
    assert (ran.code, ran.err) == (0, "")
    assert "A: 0 trees" in ran.out
    assert "stop: block A: no tree fits on its ground" in ran.out


def test_names_with_odd_signs_give_unique_ids_and_rows_that_stay_rows(farm, warm):
    farm.sections["name"] = '<script>alert(1)</script> & "Söhne" 🍎'
    farm.block["name"] = '=1+1;"<b>'
    farm.sections["block"][1]["name"] = "../../etc 🍎"
    ran = warm("plan", farm.write(), "--quiet")
    assert (ran.code, ran.err) == (0, "")
    out = farm.folder / "out"
    with (out / "packet" / "stakeout.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.reader(file))
    assert len({len(row) for row in rows if row}) == 1
    assert not any(cell.startswith(("=", "@", "+1")) for row in rows for cell in row)
    for page in ("map.html", "report.html"):
        assert "<script>alert(1)" not in (out / page).read_text(encoding="utf-8")
    assert sorted(path.name for path in farm.folder.iterdir()) == ["out", "plan.toml", "survey"]


@pytest.mark.parametrize("names", [("A-1", "A"), ("1", "1-1"), ("A-01-1", "A")])
def test_names_with_dashes_give_unique_ids(farm, warm, names):
    import geopandas as gpd

    for block, name in zip(farm.sections["block"], names, strict=True):
        block["name"] = name
    ran = warm("plan", farm.write(), "--quiet", "--only", "geopackage")
    assert (ran.code, ran.err) == (0, "")
    ids = gpd.read_file(farm.folder / "out" / "plan.gpkg", layer="trees")["tree_id"]
    assert ids.is_unique
    assert len(ids) > 200


def test_very_many_rows(farm, warm):
    """60 m of ground across rows 3 cm apart: two thousand rows, each a single line of wide steps."""
    farm.sections["block"] = [{**farm.block, "pattern": "rectangular", "step": "50 m", "row_distance": "3 cm"}]
    farm.sections["block"][0].pop("plants")
    for key in ("height_limit", "water", "setback", "no_plant"):
        farm.sections[key] = None
    ran = warm("plan", farm.write(), "--quiet", "--only", "packet")
    assert (ran.code, ran.err) == (0, "")
    rows = int(re.search(r"in ([\d,]+) rows", ran.out)[1].replace(",", ""))
    # 60 m of grid are 60.02 m of ground; grid north is 0.09 deg off, which adds 90 m x sin(0.09 deg) = 0.14 m
    assert 60.02 / 0.03 <= rows <= (60.02 + 0.15) / 0.03 + 1


def test_names_from_survey_files_are_shown_on_one_line(farm, warm):
    """Control characters and signs that turn a line come in attributes and layers; no file of the results has any."""
    odd = "lo\x1b]0;x\x07w\x9b2J\r\n=1+1\t\u202egpj.exe"
    riser, _ = FEATURES["riser"]
    farm.sections["water"]["points"] = "survey/riser.gpkg"
    write_vector(farm.survey / "riser.gpkg", riser, "riser", name=[odd], pressure_psi=[45.0])
    ran = warm("plan", farm.write(), "--quiet")
    assert (ran.code, ran.err) == (0, "")
    seen = 0
    for file in (farm.folder / "out").rglob("*"):
        if file.suffix in {".html", ".csv", ".json", ".txt", ".inp", ".kml", ".gpx", ".geojson", ".dxf"}:
            text = file.read_bytes().decode()
            seen += "gpj.exe" in text
            assert not re.search("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069]", text), file
    assert seen
    with closing(sqlite3.connect(farm.folder / "out" / "plan.gpkg")) as plan:
        assert plan.execute("SELECT DISTINCT name FROM water_points").fetchall() == [("lo ]0;x w 2J =1+1 gpj.exe",)]


def test_no_cell_of_a_csv_runs_wherever_it_is_parted(farm, warm):
    """At commas, or at semicolons as spreadsheets do where the comma is the decimal sign; wide signs count too."""
    farm.block["name"] = "A;=1+1"
    farm.block["plants"] = [{"plant": "apple, semi-dwarf", "variety": "\uff1d1+1;@x"}]
    farm.sections["option"] = [{"block": "A;=1+1", "name": "x; +1", "step": "6 m"}]
    path = farm.write()
    for command in ("plan", "compare"):
        assert warm(command, path, "--quiet").code == 0
    files = list((farm.folder / "out").rglob("*.csv"))
    assert len(files) > 6
    for file in files:
        text = file.read_text(encoding="utf-8-sig")
        for sign in ",;\t":
            for row in csv.reader(text.splitlines(), delimiter=sign):
                for cell in row:
                    assert not re.match("\\s*([=+@\uff1d\uff0b\uff0d\uff20]|-(?![\\d.]))", cell), (file, sign, cell)
