"""Plan files as people's editors leave them, and the faults of a plan file and its files together."""

from __future__ import annotations

import sys

import pytest

from setout.errors import PlanFaults, SetoutError
from setout.read.plan_file import read_plan_file, references

PLAN = """name = "Gänseacker"
[site]
boundary = "field.geojson"
[[block]]
name = "A"
pattern = "square"
step = "5 m"
"""
RING = "[[[-122.0,45.0],[-121.999,45.0],[-121.999,45.001],[-122.0,45.0]]]"
FIELD = '{"type":"Polygon","coordinates":' + RING + "}"


@pytest.fixture
def written(tmp_path):
    """Return what writes a plan file beside a sound boundary."""
    (tmp_path / "field.geojson").write_text(FIELD)

    def write(data: bytes):
        path = tmp_path / "plan.toml"
        path.write_bytes(data)
        return path

    return write


def fault_of(path):
    with pytest.raises(SetoutError) as caught:
        read_plan_file(path)
    (fault,) = caught.value.faults
    assert fault.remedy
    assert str(path) in fault.where
    return str(fault)


@pytest.mark.parametrize(
    "change",
    [
        lambda text: b"\xef\xbb\xbf" + text.encode(),
        lambda text: text.replace("\n", "\r\n").encode(),
        lambda text: text.replace("\n", "\r").encode(),
        lambda text: text.replace(" = ", "\t=\t").replace("step", "\tstep").encode(),
        lambda text: text.rstrip("\n").encode(),
    ],
    ids=["byte order mark", "Windows line ends", "old Mac line ends", "tabs", "no last line end"],
)
def test_dialects_of_editors(written, change):
    plan = read_plan_file(written(change(PLAN)))
    assert (plan.name, plan.block[0].step) == ("Gänseacker", 5.0)


def test_a_plan_without_a_name_has_its_files(written):
    path = written(PLAN.split("\n", 1)[1].encode())
    assert read_plan_file(path.rename(path.with_name("north_field.toml"))).name == "north field"


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (PLAN.encode("latin-1"), ["not text in UTF-8 (line 1)", "save it with the encoding UTF-8"]),
        (PLAN.encode("utf-16"), ["not text in UTF-8"]),
        (b"SQLite format 3\0\xff\xfe", ["not text in UTF-8"]),
        (b"", ["is empty", "setout new"]),
        (b" \n\t\n", ["is empty", "setout new"]),
        (PLAN.replace('"A"', "“A”").encode(), ["line 5", "straight quotes"]),
        (PLAN.replace('"A"', '"A').encode(), ["line 5", 'look at "name = "A"', "double quotes"]),
        (PLAN.replace("[site]", "[site]\n[site]").encode(), ["twice", "two brackets"]),
        (PLAN.replace("field.geojson", "survey\\zield.geojson").encode(), ["not TOML", 'folders with "/"']),
        (PLAN.replace("name =", "na\0me =").encode(), ["not TOML"]),
        (b"x = " + b"9" * 5000, ["cannot be read as TOML"]),
        (b"x = " + b"[" * 5000 + b"]" * 5000, ["cannot be read as TOML"]),
    ],
)
def test_what_is_no_plan_file(written, data, said):
    text = fault_of(written(data))
    for part in said:
        assert part in text


def test_folder_and_missing_file(tmp_path):
    assert "is a folder" in fault_of(tmp_path)
    assert "there is no such plan file" in fault_of(tmp_path / "plan.toml")


@pytest.mark.skipif(sys.platform == "win32", reason="permissions")
def test_a_plan_file_that_may_not_be_read(written, monkeypatch):
    from pathlib import Path

    path = written(PLAN.encode())

    def refuse(*_args, **_named):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_text", refuse)
    assert "Permission denied" in fault_of(path)


@pytest.mark.parametrize("name", ["survey\\\\field.geojson", "survey\\field.geojson"])
def test_backslashes_between_folders(written, name):
    """In double quotes TOML 1.0 reads \\f as a form feed."""
    with pytest.raises(PlanFaults) as caught:
        read_plan_file(written(PLAN.replace("field.geojson", name).encode()))
    (fault,) = caught.value.faults
    assert fault.remedy == 'write folders with "/", such as "survey/boundary.gpkg"'


def test_faults_of_the_plan_and_of_the_files_it_names_together(written, tmp_path):
    (tmp_path / "empty.gpkg").write_bytes(b"")
    (tmp_path / "notes.gpkg").write_text("not a database")
    (tmp_path / "dem.tif").write_text("no raster")
    text = """units = "imperial"
[site]
boundary = "field.geojson"
dem = ["dem.tif", "gone.tif"]
[ground]
max_slope = 15
[[setback]]
from = "empty.gpkg:road"
distance = "15"
[[no_plant]]
from = "notes.gpkg"
[water]
points = "riser.gpkg"
[[block]]
name = "A"
pattern = "ofset"
step = "-5 m"
"""
    with pytest.raises(PlanFaults) as caught:
        read_plan_file(written(text.encode()))
    lines = [str(fault) for fault in caught.value.faults]
    for part in (
        "units",
        "max_slope",
        "setback[1].distance",
        "block[1].pattern",
        "block[1].step",
        "gone.tif",
        "riser.gpkg",
        "empty.gpkg",
        "notes.gpkg",
        "dem.tif",
    ):
        assert any(part in line for line in lines), part
    assert len(lines) == 10
    assert all(fault.remedy for fault in caught.value.faults)


def test_references_survive_whatever_stands_in_the_file():
    mapping = {
        "site": {"boundary": "b", "dem": ["d", 3]},
        "setback": [{"from": "boundary"}, 7, {"from": "r"}],
        "no_plant": "x",
        "water": [],
        "block": [{"area": 5}, {"direction": "guide:g:h", "line": "l"}],
    }
    assert list(references(mapping)) == [
        ("site.boundary", "b"),
        ("site.dem[1]", "d"),
        ("setback[2].from", "r"),
        ("block[2].line", "l"),
        ("block[2].direction", "g:h"),
    ]
    assert list(references({"site": 1, "block": {"area": "b"}})) == []
