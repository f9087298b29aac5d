"""A water shortage in words: as grave in the plan as in the check, and told in a line where thousands of trees share it."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely

from onfile import write_plan
from setout.cli import command
from setout.model import Finding
from setout.stages import water
from setout.words.findings import all_told
from setout.words.grouped import kinds_of, stops_of, stops_said
from watered import orchard


@pytest.fixture
def dry(tmp_path: Path) -> Path:
    """A square of 100 m whose only water point gives less than the emitters of one tree."""
    field = gpd.GeoDataFrame(geometry=[shapely.box(500_000, 4_900_000, 500_100, 4_900_100)], crs=32610)
    field.to_file(tmp_path / "field.gpkg")
    riser = gpd.GeoDataFrame({"name": ["w1"]}, geometry=[shapely.Point(500_050, 4_900_050)], crs=32610)
    riser.to_file(tmp_path / "riser.gpkg")
    water = {
        "points": "riser.gpkg",
        "pressure": "150 kPa",
        "flow": "3 l/h",
        "eto": "3 mm/day",
        "kc": 0.9,
        "emitter": {"flow": "4 l/h", "at": "100 kPa", "per_tree": 2},
    }
    block = {"name": "A", "pattern": "square", "step": "5 m", "direction": "north-south", "spread": "4 m", "height": "4 m"}
    return write_plan(tmp_path, {"site": {"boundary": "field.gpkg"}, "water": water, "block": [block]})


def ran(monkeypatch: Any, capsys: Any, *args: str) -> tuple[int, list[str]]:
    monkeypatch.setattr(command.signal, "signal", lambda *_: None)
    monkeypatch.setattr(sys, "unraisablehook", sys.unraisablehook)
    code = command.main([*args, "--quiet"])
    return code, capsys.readouterr().out.splitlines()


def test_plan_and_check_say_the_same_of_the_same_trees(dry: Path, monkeypatch: Any, capsys: Any) -> None:
    out = dry.parent / "out"
    code, lines = ran(monkeypatch, capsys, "plan", str(dry), "--out", str(out), "--only", "geopackage", "report")
    trees, found = (gpd.read_file(out / "plan.gpkg", layer=name) for name in ("trees", "findings"))
    number = len(trees)
    assert number > 300
    assert code == 0
    assert f"to be put right before planting: {number} not watered" in lines[0]
    assert sum(line.startswith("  stop:") for line in lines) == 1
    # the layer has a row a tree, each at its tree, and the trees name the finding
    own = found[found.code == "not_watered"]
    assert (own.severity == "stop").all()
    assert sorted(own.tree_id) == sorted(trees.tree_id)
    at = trees.set_index("tree_id").geometry.loc[own.tree_id]
    assert shapely.distance(np.array(own.geometry), shapely.force_2d(np.array(at))).max() < 1e-6
    assert (trees.findings == "not_watered").all()
    report = (out / "report.html").read_text(encoding="utf-8")
    assert f"To be put right before planting: {number} not watered" in report
    assert "No finding stops this plan" not in report
    assert f"Stop ({number})" in report

    code, said = ran(monkeypatch, capsys, "check", str(dry), "--trees", f"{out / 'plan.gpkg'}:trees")
    assert code == 1
    assert f"{number} fall short: {number} not watered" in said[0]
    assert len(said) < 12
    assert [line[:7] for line in said if "not watered" in line][1:] == ["  stop:"]
    assert lines[0].split("planting: ")[1] == said[0].split("short: ")[1]
    _, told = ran(monkeypatch, capsys, "plan", str(dry), "--out", str(out), "--only", "report", "--json")
    assert json.loads("\n".join(told))["stops"] == {"not_watered": number}


def test_hours_that_run_out_are_as_grave_in_both() -> None:
    emitter = {"flow": "12 l/h", "at": "100 kPa", "per_tree": 2}
    plan = orchard([(-45.0, 0.0, 300.0, 800.0)], eto="8 mm/day", hours_per_day=10, emitter=emitter)
    trees, short = plan.trees, np.flatnonzero(~plan.trees.watered.astype(bool))
    planned = [f for f in plan.findings if f.code == "not_watered"]
    assert sorted(k for f in planned for k in f.trees.tolist()) == short.tolist()
    found = water.coverage(plan.irrigation, trees, trees.x, trees.y)
    ids = plan.trees.ids.tolist()
    checked = water.uncovered(plan.irrigation, found, ids, (trees.x, trees.y))
    assert sorted(f.tree_id for f in checked) == sorted(ids[k] for k in short)
    assert {f.severity for f in (*planned, *checked)} == {"stop"}
    assert stops_of(planned) == stops_of(checked) == {"not_watered": len(short)}
    # each reason is a line, with the number of its trees
    reasons = plan.trees.reason_index[short]
    assert sorted(k.count for k in kinds_of(all_told(checked, "us"))) == sorted(np.bincount(reasons)[np.unique(reasons)].tolist())
    assert sorted(f.count for f in planned) == sorted(k.count for k in kinds_of(all_told(checked, "us")))


def test_trees_beyond_reach_are_told_where_no_emitter_is_named() -> None:
    plan = orchard([(-45.0, 0.0, 150.0, 9000.0)], emitter=None, max_run="60 m", beyond_reach="plant")
    far = ~plan.irrigation.watered & plan.irrigation.known
    assert far.any()
    (told,) = [f for f in plan.findings if f.code == "not_watered"]
    assert (told.severity, told.count) == ("stop", int(far.sum()))


def test_like_findings_are_one_line_with_the_worst_and_the_first() -> None:
    close = [
        Finding("too_close", "stop", f"tree A-1-{k} stands close", f"{k} ft", "16 ft", "move it", f"A-1-{k}", by=16.0 - k)
        for k in (9, 4, 7, 12, 11)
    ]
    well = Finding("setback", "stop", "tree B-1-1 stands too near: well", "3 ft", "50 ft", "move it", "B-1-1", by=47.0)
    blocks = [Finding("canopy_overlap", "warn", f"block {b}: canopies overlap", remedy="prune") for b in "ABC"]
    kinds = kinds_of([*close, well, *blocks])
    assert [k.count for k in kinds] == [5, 1, 1, 1, 1]
    assert kinds[0].line == (
        "5 too close; the worst: tree A-1-4 stands close: 4 ft (required 16 ft); first A-1-9, A-1-4, A-1-7 ...; move it"
    )
    assert kinds[1].line == "tree B-1-1 stands too near: well: 3 ft (required 50 ft); move it"
    assert stops_said([*close, well, *blocks]) == "5 too close, 1 inside a setback"
    # of many blocks alike the first are named
    (many,) = kinds_of([Finding("canopy_overlap", "warn", f"block {b}: canopies overlap", remedy="prune") for b in "ABCDEFG"])
    assert many.line == "7 canopy overlap; the first: block A: canopies overlap; first block A, block B, block C ...; prune"
