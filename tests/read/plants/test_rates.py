"""The grower's own hours of pruning, and what a grower buys by, from plan file to report and layers."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import shapely
from pyproj import CRS

from invented import Property, field, plan_of
from setout.errors import PlanFaults
from setout.planfile import parse_plan
from setout.read.plan_file import read_plan_file
from setout.run import plan_site
from setout.words.materials import bought

FOOT = 0.3048
HEADER = "habit,size,height_max_ft,hours_at_0_pct,hours_at_100_pct,source\n"
SITE = {"boundary": "boundary"}


def written(folder: Path, rates: str | bytes, more: str = "") -> Path:
    (folder / "hours.csv").write_bytes(rates if isinstance(rates, bytes) else rates.encode())
    plan = folder / "plan.toml"
    (folder / "b.geojson").write_text("{}")
    plan.write_text(
        f'labour = "hours.csv"\n{more}\n[site]\nboundary = "b.geojson"\n[[block]]\nname = "A"\npattern = "square"\nstep = "16 ft"\n'
    )
    return plan


def test_own_hours_replace_those_from_memory(tmp_path: Path) -> None:
    """Every tree takes two hours whatever its load: twice the trees."""
    plan = read_plan_file(written(tmp_path, HEADER.replace(",", ";") + "tree;any;;2;2;counted in 2024\n"))
    block = {"name": "A", "pattern": "square", "step": "16 ft", "plants": [{"plant": "apple, semi-dwarf"}]}
    mapping = {"site": SITE, "block": [block]}
    survey = Property(field(3, 150.0), {}, {}).survey(CRS.from_epsg(32610))
    own = plan_site(parse_plan(mapping, "plan.toml", None, plan.rates), survey)
    usual = plan_site(parse_plan(mapping, "plan.toml"), survey)
    assert own.rooms[0].hours_per_year == pytest.approx(2 * len(own.trees))
    assert own.rooms[0].hours_sources == ("counted in 2024",)
    assert usual.rooms[0].hours_sources == ("from memory",)


@pytest.mark.parametrize(
    ("rates", "what", "remedy"),
    [
        ("habit,size\ntree,any\n", 'lacks the column "height_max_ft"', "its columns are habit"),
        (HEADER + "bush,any,,1,1,x\ntree,any,,1,much,x\n", 'line 2: "bush" is no habit', "write one of tree"),
        (HEADER, "has no line", "add one for each habit"),
        (b"habit,\xff\n", "not text in UTF-8", "CSV UTF-8"),
    ],
)
def test_hours_that_cannot_be_used_are_faults_with_a_remedy(tmp_path: Path, rates: Any, what: str, remedy: str) -> None:
    with pytest.raises(PlanFaults) as caught:
        read_plan_file(written(tmp_path, rates))
    found = [fault for fault in caught.value.faults if "hours.csv" in fault.where]
    assert what in found[0].what
    assert remedy in found[0].remedy
    assert len(found) == (2 if "bush" in str(rates) else 1)


def test_hours_that_are_not_there(tmp_path: Path) -> None:
    plan = written(tmp_path, HEADER)
    (tmp_path / "hours.csv").unlink()
    with pytest.raises(PlanFaults, match="there is no file"):
        read_plan_file(plan)


def test_what_a_grower_buys_by() -> None:
    """Hand: 10 % of n spares; two stakes a tree; a ring 4 ft across and 6 in deep is 4 pi / 2 = 6.283 cubic feet."""
    block = {"name": "A", "pattern": "square", "step": "16 ft", "plants": [{"plant": "apple, semi-dwarf"}]}
    materials = {
        "spares": "10 %",
        "stakes_per_tree": 2,
        "guards_per_tree": 0,
        "mulch_ring": "4 ft",
        "mulch_depth": "6 in",
        "stake": {"length": "7 ft", "thick": "3 in"},
    }
    survey = Property(shapely.box(-40, -40, 40, 40), {}, {}).survey(CRS.from_epsg(32610))
    plan = plan_of(survey, block, materials=materials)
    trees = len(plan.trees)
    (line,) = plan.order
    assert line.spares == -(-trees // 10)
    by_item = {m.item: m for m in plan.materials}
    size = {m.item: bought(m, "us").size for m in plan.materials}
    assert set(by_item) == {"tree_stake", "mulch"}
    assert by_item["tree_stake"].quantity == 2 * trees
    assert size["tree_stake"] == "7 ft long, 3 in thick"
    assert by_item["mulch"].quantity == pytest.approx(trees * 6.28319 * FOOT**3, rel=1e-5)
    assert size["mulch"] == "4 ft across, 6 in deep, clear of the stem"


@pytest.mark.parametrize(
    ("materials", "what"),
    [
        ({"spares": 1.5}, "must be at most 1"),
        ({"spares": "120 %"}, "must be at most 1"),
        ({"stakes_per_tree": -1}, "at least 0"),
        ({"mulch_depth": "3 in"}, "is for rings of mulch"),
        ({"mulch_ring": "3 ft", "mulch_depth": "4 ft"}, "is more than mulch_ring"),
        ({"stake": {"thick": "2 in"}}, "missing"),
        ({"tyling": 0.1}, 'did you mean "tying"'),
        ({"mulch_ring": 3}, "no unit"),
    ],
)
def test_what_cannot_be_bought_is_a_fault(materials: dict[str, Any], what: str) -> None:
    with pytest.raises(PlanFaults) as caught:
        parse_plan({"site": SITE, "block": [{"name": "A", "pattern": "square", "step": "5 m"}], "materials": materials}, "p")
    assert any(what in str(fault) or what in fault.what + fault.remedy for fault in caught.value.faults)
    assert all(fault.remedy and "materials" in fault.where for fault in caught.value.faults)
