"""run.json tells what was read: hashes from before anything was used, and what changed while the plan was made."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import pytest
import shapely

from farm import FIELD, Farm, write_survey, write_vector
from setout import run
from setout.run import order


@pytest.fixture
def farm(tmp_path: Path) -> Farm:
    write_survey(tmp_path / "sound")
    return Farm(tmp_path / "farm", tmp_path / "sound")


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def record(farm: Farm) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((farm.folder / "out" / "run.json").read_text(encoding="utf-8"))
    return found


def test_inputs_that_stay_as_they_are(farm: Farm) -> None:
    path = farm.write()
    planting = run.plan(path, products=())
    told = record(farm)
    names = ["plan.toml", "survey/dem.tif", "survey/features.gpkg", "survey/field.gpkg"]
    assert told["inputs"] == {name: digest(farm.folder / name) for name in names}
    assert told["inputs_changed"] == []
    assert "input_changed" not in {finding.code for finding in planting.findings}


def test_a_file_that_changes_meanwhile_has_the_hash_of_what_was_read(farm: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another boundary and another plan file are written as soon as the survey has been read."""
    path = farm.write()
    before = {name: digest(farm.folder / name) for name in ("plan.toml", "survey/field.gpkg")}
    read = order.read_survey

    def disturbed(*args: Any) -> Any:
        surveyed = read(*args)
        (farm.survey / "field.gpkg").unlink()
        write_vector(farm.survey / "field.gpkg", [FIELD.buffer(-20)])
        path.write_text(path.read_text(encoding="utf-8") + "# later\n", encoding="utf-8")
        return surveyed

    monkeypatch.setattr(order, "read_survey", disturbed)
    planting = run.plan(path, products=())
    told = record(farm)
    assert {name: told["inputs"][name] for name in before} == before
    assert told["inputs_changed"] == ["plan.toml", "survey/field.gpkg"]
    (finding,) = [finding for finding in planting.findings if finding.code == "input_changed"]
    assert finding.severity == "warn"
    assert finding.figures["files"] == ("plan.toml", "survey/field.gpkg")
    assert "input_changed" in {one["code"] for one in told["findings"]}


def test_a_file_that_is_touched_but_holds_the_same_has_not_changed(farm: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    read = order.read_survey

    def touched(*args: Any) -> Any:
        surveyed = read(*args)
        (farm.survey / "dem.tif").touch()
        return surveyed

    monkeypatch.setattr(order, "read_survey", touched)
    run.plan(farm.write(), products=())
    assert record(farm)["inputs_changed"] == []


def test_all_parts_of_a_shapefile_are_inputs(farm: Farm) -> None:
    write_vector(farm.survey / "lot.shp", [shapely.affinity.scale(FIELD, 0.9, 0.9)], name=["lot"])
    run.plan(farm.write(site={**farm.sections["site"], "boundary": "survey/lot.shp"}), products=())
    names = {f"survey/lot{end}" for end in (".shp", ".shx", ".dbf", ".prj", ".cpg")}
    assert names <= set(record(farm)["inputs"])
