from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from setout.errors import SetoutError
from setout.read.reference import did_you_mean, parse

BASE = Path("/plans/here")


@pytest.mark.parametrize(
    ("text", "path", "layer", "where"),
    [
        ("survey/a.gpkg", "/plans/here/survey/a.gpkg", None, None),
        ("survey/a.gpkg:road", "/plans/here/survey/a.gpkg", "road", None),
        (" a.gpkg : road ", "/plans/here/a.gpkg", "road", None),
        ("a.gpkg:road[kind=farm track]", "/plans/here/a.gpkg", "road", ("kind", "farm track")),
        ("a.shp[kind = 'a=b']", "/plans/here/a.shp", None, ("kind", "a=b")),
        ("/data/a.gpkg:x:y", "/data/a.gpkg", "x:y", None),
        ("C:/data/a.gpkg", "C:/data/a.gpkg", None, None),
        (r"C:\data\a.gpkg:road", r"C:\data\a.gpkg", "road", None),
        ("../a.gpkg", "/plans/here/../a.gpkg", None, None),
    ],
)
def test_parts(text, path, layer, where):
    found = parse(text, BASE)
    assert (found.path, found.layer, found.where, found.text) == (Path(path), layer, where, text)


@pytest.mark.parametrize("text", ["", "  ", "a.gpkg[road]", "a.gpkg[=x]", "a.gpkg[kind=]", ":road", "https://x.org/a.gpkg"])
def test_no_reference(text):
    with pytest.raises(SetoutError):
        parse(text, BASE)


@pytest.mark.parametrize("name", ["9:30 walk.gpx", "plot [old].shp", "plot[a=b].shp"])
def test_a_file_that_exists_wins_over_the_signs_in_its_name(tmp_path, name):
    (tmp_path / name).touch()
    assert parse(name, tmp_path).path == tmp_path / name
    assert parse(f"{name}:north", tmp_path).layer == "north"
    found = parse(f"{name}:north[kind=road]", tmp_path)
    assert (found.path, found.layer, found.where) == (tmp_path / name, "north", ("kind", "road"))


@given(
    st.text(st.characters(codec="ascii", exclude_characters=":[]=\0"), min_size=1).filter(lambda s: s.strip() and "/" not in s),
    st.sampled_from([None, "road", "a b"]),
    st.sampled_from([None, ("kind", "x y")]),
)
def test_round_trip(name, layer, where):
    name = f"{name.strip()}.gpkg"
    text = name + (f":{layer}" if layer else "") + (f"[{where[0]}={where[1]}]" if where else "")
    found = parse(text, BASE)
    assert (found.layer, found.where) == (layer, where)


def test_did_you_mean_ignores_case_and_shows_what_there_is():
    assert did_you_mean("ROAD", ["road", "well"]).startswith('did you mean "road"?')
    assert did_you_mean("zzz", ["road", "well"]) == "there are: road, well"
    assert did_you_mean("zzz", []) == "there are none"
    assert "and 8 more" in did_you_mean("zzz", [f"layer{i}" for i in range(20)])
