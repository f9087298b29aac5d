"""The plan file's reference, its schema and the keys that the command shows: one source, which is the model."""

from __future__ import annotations

import json
import tomllib
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest

from setout import units
from setout.errors import SetoutError
from setout.planfile import Plan, keys, parse_plan
from setout.planfile.faults import model_in
from setout.planfile.schema import plan_schema, quantity_pattern
from setout.run.newplan import write_new_plan
from setout.words.keys import reference
from test_planfile import SOUND

ROOT = Path(__file__).resolve().parents[1]
DEMO = tomllib.loads((ROOT / "data" / "plan.toml").read_text(encoding="utf-8"))


def test_the_reference_is_that_of_the_model() -> None:
    page = ROOT / "pipeline" / "setout" / "planfile" / "REFERENCE.md"
    again = "write it again: setout keys --markdown > pipeline/setout/planfile/REFERENCE.md"
    assert page.read_text(encoding="utf-8") == reference(), again


def test_every_key_says_what_it_is_and_what_holds_without_it() -> None:
    for key in keys.every_key():
        assert key.meaning, key.path
        assert key.kind, key.path
        assert key.absent, key.path


def test_what_holds_without_a_quantity_is_what_the_model_takes() -> None:
    """The words of a default are read with its unit and held against the default itself."""
    said = {key.path: key.absent for key in keys.every_key()}
    looked_at = 0

    def look(model: Any, prefix: str) -> None:
        nonlocal looked_at
        for name, field in model.model_fields.items():
            path, how = f"{prefix}{field.alias or name}", keys.how_written(field)
            inner = model_in(field.annotation)
            if inner is not None:
                look(inner, f"{path}.")
            elif isinstance(field.default, float) and field.default == field.default and how in (*units.KINDS, "slope"):
                value = 0.0 if said[path] in ("0", "not said") else units.quantity(said[path], how)
                assert value == pytest.approx(field.default), path
                looked_at += 1

    look(Plan, "")
    assert looked_at > 12


# ---------------------------------------------------------------------------------------------- the schema


@pytest.fixture(scope="module")
def schema() -> Any:
    jsonschema = pytest.importorskip("jsonschema", reason='pip install -e ".[test]"')
    made = plan_schema()
    jsonschema.Draft202012Validator.check_schema(made)
    return jsonschema.Draft202012Validator(made)


@pytest.mark.parametrize("plan", [DEMO, SOUND], ids=["demo", "sound"])
def test_sound_plans_fit_the_schema(schema: Any, plan: dict[str, Any]) -> None:
    assert [f"{list(e.path)}: {e.message}" for e in schema.iter_errors(plan)] == []


MORE = """
[site]
boundary = "b.gpkg"
dem = "d.tif"
start = [241261.37, 2068400.0]
elevation = "-12 ft"
[water]
points = ["a.gpkg", "b.gpkg:riser[kind=old|new]"]
emitter = { flow = "4 l/h", at = "1 bar", range = ["10 psi", "45 psi"] }
lateral = { diameter = "16 mm" }
eto = { jan = "0.05 in/day", Feb = "0.1 in/day", march = "2 mm/day", apr = "2 mm/d", may = "3 mm/day", jun = "7 mm/day", \
jul = "7 mm/day", aug = "7 mm/day", "Sept." = "6 mm/day", oct = "3 mm/day", nov = "1 mm/day", dec = "1 mm/day" }
kc = 0.95
leaf_out = "15 March"
[light]
days = [2026-06-21, "09-22"]
season = ["April", 10]
[materials]
spares = "5 %"
tying = 0.1
[sheets]
scale = "1 in = 40 ft"
paper = "a3"
[[block]]
name = 7
pattern = "offset"
step = "5 ft 6 in"
row_distance = "equilateral"
direction = "n 20 e"
[prices]
wire = "0.12 per ft"
work = "25 / h"
"""


def test_every_way_of_writing_fits_the_schema_and_the_reader(schema: Any) -> None:
    plan = tomllib.loads(MORE)
    parse_plan(plan, "plan.toml")
    assert [f"{list(e.path)}: {e.message}" for e in schema.iter_errors(plan)] == []


BROKEN: dict[str, Any] = {
    "block.0.step": "18",
    "block.0.step ": 18,
    "block.0.step  ": "18 psi",
    "block.0.pattern": "ofset",
    "block.0.stp": "18 ft",
    "ground.max_slope": "15",
    "water.points": 7,
    "water.efficiency": 1.5,
    "site.unit": "cubits",
    "block.0.direction": "north",
    "block": {},
    "setback.0.from": None,
}


@pytest.mark.parametrize("path", BROKEN)
def test_broken_plans_do_not_fit_the_schema(schema: Any, path: str) -> None:
    plan: Any = deepcopy(SOUND)
    *way, last = path.strip().split(".")
    place = plan
    for part in way:
        place = place[int(part)] if part.isdigit() else place[part]
    place[last] = BROKEN[path]
    if BROKEN[path] is None:
        del place[last]
    assert not schema.is_valid(plan)


@pytest.mark.parametrize("kind", [*units.KINDS, "slope"])
def test_every_unit_that_is_read_fits_the_pattern_of_its_kind(kind: str) -> None:
    import re

    for name in units.KINDS["angle" if kind == "slope" else kind]:
        for text in (f"1.5 {name}", f"1{name.upper()}"):
            units.quantity(text, kind)
            assert re.search(quantity_pattern(kind), text), text
    assert re.search(quantity_pattern(kind), "1.5") is None


def test_a_new_plan_has_its_schema_beside_it(schema: Any, tmp_path: Path) -> None:
    field = '{"type":"Polygon","coordinates":[[[-122.0,45.0],[-121.999,45.0],[-121.999,45.001],[-122.0,45.0]]]}'
    (tmp_path / "field.geojson").write_text(field)
    path = write_new_plan(tmp_path / "new", boundary=tmp_path / "field.geojson")
    text = path.read_text(encoding="utf-8")
    assert text.splitlines()[0] == "#:schema ./plan.schema.json"
    assert json.loads((path.parent / "plan.schema.json").read_text(encoding="utf-8")) == plan_schema()
    assert schema.is_valid(tomllib.loads(text))


def test_a_schema_that_is_there_is_left_and_none_stays_without_a_plan(tmp_path: Path) -> None:
    (tmp_path / "plan.schema.json").write_text("mine")
    (tmp_path / "field.geojson").write_text('{"type":"Polygon","coordinates":[[[0,45],[0.001,45],[0.001,45.001],[0,45]]]}')
    write_new_plan(tmp_path, boundary=tmp_path / "field.geojson")
    assert (tmp_path / "plan.schema.json").read_text() == "mine"
    with pytest.raises(SetoutError):
        write_new_plan(tmp_path / "none", boundary=tmp_path / "gone.geojson")
    assert not (tmp_path / "none").exists()


# --------------------------------------------------------------------------------------------- the command


def test_keys_shows_those_with_a_word(capsys: pytest.CaptureFixture[str]) -> None:
    from setout.cli import main

    assert main(["keys", "trellis.post"]) == 0
    shown = capsys.readouterr().out
    assert shown.startswith("block.trellis.post (length; when absent: 24 ft)\n  Longest distance")
    assert main(["keys", "max_slope", "--json"]) == 0
    (record,) = json.loads(capsys.readouterr().out)
    assert (record["path"], record["kind"], record["absent"]) == ("ground.max_slope", "slope", "no limit")
    assert main(["keys", "--schema"]) == 0
    assert json.loads(capsys.readouterr().out) == plan_schema()
    assert main(["keys", "no such word"]) == 2
