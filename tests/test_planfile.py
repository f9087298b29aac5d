"""The plan file's model: what is refused, with key, value, rule and remedy, and that all of it is told at once."""

from __future__ import annotations

from copy import deepcopy
from typing import Any

import pytest

from setout.errors import PlanFaults
from setout.planfile import parse_plan

SOUND: dict[str, Any] = {
    "site": {"boundary": "b.gpkg"},
    "ground": {"max_slope": "15 %"},
    "setback": [{"from": "boundary", "distance": "15 ft"}],
    "height_limit": [{"from": "f.gpkg:line", "within": "20 ft", "height": "15 ft"}],
    "water": {"points": "f.gpkg:riser"},
    "block": [
        {"name": "A", "area": "b.gpkg:A", "pattern": "square", "step": "16 ft", "plants": [{"plant": "almond"}]},
        {"name": "B", "area": "b.gpkg:B", "pattern": "offset", "step": "16 ft", "spread": "12 ft", "height": "12 ft"},
    ],
}
GONE = object()


def faults(*changes: tuple[str, object]) -> list[str]:
    """Return the faults of a sound plan with some keys changed; "block.0.step" is a path, GONE takes the key away."""
    mapping = deepcopy(SOUND)
    for path, value in changes:
        *way, last = path.split(".")
        place: Any = mapping
        for part in way:
            place = place[int(part)] if part.isdigit() else place.setdefault(part, {})
        if value is GONE:
            del place[last]
        else:
            place[last] = value
    try:
        parse_plan(mapping, "plan.toml")
    except PlanFaults as error:
        return [str(fault) for fault in error.faults]
    return []


def test_the_sound_plan_is_sound():
    assert faults() == []


CASES: dict[str, tuple[object, list[str]]] = {
    "block.0.step": ("-5 m", ['block[1].step: "-5 m" must be more than 0', '"16 ft"']),
    "setback.0.distance": (15, ["setback[1].distance: 15 has no unit", '"16 ft"']),
    "setback.0.distance ": ("15", ['"15" has no unit']),
    "block.0.step ": ("5 psi", ['"5 psi"', "psi", "no length"]),
    "block.0.step  ": ("five metres", ['"five metres" is not a length']),
    "block.0.step   ": ("1e999 m", ['"1e999 m" is not a finite length']),
    "block.0.step    ": ("nan m", ['"nan m" is not a length']),
    "block.0.step     ": (True, ["True is not a length"]),
    "block.0.step      ": (["16 ft"], ["is not a length"]),
    "ground.max_slop": ("15 %", ["ground.max_slop: unknown key", 'did you mean "max_slope"?']),
    "grond": ({"max_slope": "15 %"}, ["grond: unknown key", 'did you mean "ground"?']),
    "zzz": (1, ["zzz: unknown key", "known keys here: name, units, site"]),
    "block.0.plants.0.plnt": ("almond", ["block[1].plants[1].plnt: unknown key", 'did you mean "plant"?']),
    "block.0.pattern": ("ofset", ['"ofset" is not known', "quincunx", 'did you mean "offset"?']),
    "units": ("imperial", ['"imperial" is not known', "us, si"]),
    "ground.max_slope": (15, ["15 has no unit", '"15 %"']),
    "ground.max_slope ": ("95 deg", ["below 90 deg"]),
    "ground.max_slope  ": ("0 %", ["must be more than 0"]),
    "site.dem_unit": ("cubits", ['"cubits" is no unit of length', "US survey ft"]),
    "site.boundary": (7, ["7 is not a text", "quotes"]),
    "site.boundary ": (["a.gpkg"], ["a list of 1 is not a text"]),
    "site.boundary  ": (GONE, ["site.boundary: this key is missing", "property line"]),
    "site": (GONE, ["site: this key is missing", "[site]"]),
    "block": (GONE, ["block: this key is missing", "[[block]]"]),
    "block ": ([], ["block: is empty", "[[block]]"]),
    "block  ": ({"name": "A"}, ["two brackets", "several"]),
    "setback": ("none", ['"none" is not a list', "[[setback]]"]),
    "site.dem": ([1], ["site.dem[1]: 1 is not a text"]),
    "site.start": (["a", 1], ["site.start", "[easting, northing]"]),
    "block.0.name": ("   ", ["block[1].name: is blank"]),
    "block.0.name ": ("", ["block[1].name: is empty"]),
    "block.0.name  ": ("x" * 300, ["has 300 characters", "keep it to 40"]),
    "block.0.name   ": ("a\nb", ["control character U+000A"]),
    "block.0.name    ": ("\u202eabc", ["control character U+202E"]),
    "name": ("y" * 3000, ["has 3000 characters"]),
    "setback.0.why": ("a\tb", ["setback[1].why", "U+0009"]),
    "block.0.direction": ("nort-south", ['"nort-south" is not a direction', 'did you mean "north-south"?']),
    "block.0.direction ": (20, ["20 is not a direction", '"N 20 E"']),
    "block.0.direction  ": ("N 100 E", ['"N 100 E" is not a direction']),
    "block.0.alley": ({"every": 0, "width": "30 ft"}, ["alley.every: 0 must be at least 1"]),
    "block.0.alley ": ({"every": 4, "width": "3 m"}, ["alley.width is less than the row distance"]),
    "block.0.alley  ": ("20 ft", ['"20 ft" is not a table', "every, width"]),
    "block.0.alley   ": ({"every": 2.5, "width": "30 ft"}, ["alley.every", "whole number"]),
    "block.0.plants": (["apple, dwarf"], ["plants[1]", '"apple, dwarf" is not a table', "plant, variety"]),
    "block.0.plants ": ({"plant": "almond"}, ["is not a list", "brackets"]),
    "block.0.plants  ": ([{"plant": "aple, dwarf"}], ['"aple, dwarf" is not in the catalogue', 'did you mean "apple, dwarf"?']),
    "block.0.plants.0.share": (0, ["share", "must be more than 0"]),
    "block.0.plants.0.share ": (float("nan"), ["nan is not a finite number"]),
    "block.0.plants.0.share  ": (1e308, ["must be at most 1,000,000"]),
    "block.0.plants.0.share   ": ("8", ['"8" is no share', 'or "80 %"']),
    "block.0.plants.0.share    ": ("80 %", ["add up to 80 %, not 100 %", "mend them"]),
    "block.0.fall": ({"most": "2 %"}, ["fall belongs to rows on the contour", "leave it out"]),
    "block.0.line": ("survey/features.gpkg:road", ['line belongs to pattern = "screen"', "leave it out"]),
    "water.efficiency": (1.5, ["water.efficiency: 1.5 must be at most 1"]),
    "block.1.name": ("A", ['named "A", "A"', "differs"]),
    "block.1.name ": ("a", ['named "A", "a"', "letter case"]),
}


@pytest.mark.parametrize("key", CASES)
def test_refused(key):
    value, said = CASES[key]
    (line,) = faults((key.strip(), value))
    assert line.startswith("plan.toml")
    assert "; " in line
    assert "Input should" not in line
    for text in said:
        assert text in line


def test_two_blocks_without_area():
    (line,) = faults(("block.0.area", GONE), ("block.1.area", GONE))
    assert "blocks A, B name no area" in line


def test_a_canopy_setback_needs_spreads():
    (line,) = faults(("setback.0.measured_to", "canopy"), ("block.1.spread", GONE))
    assert "measured to the canopy" in line
    assert "block B has no spread" in line


def test_ten_faults_at_once():
    found = faults(
        ("grond", {}),
        ("units", "imperial"),
        ("site.dem_unit", "cubits"),
        ("ground.max_slope", 15),
        ("setback.0.distance", "15"),
        ("height_limit.0.within", "-1 m"),
        ("water.efficiency", 0),
        ("block.0.pattern", "ofset"),
        ("block.0.plants.0.plant", "aplle"),
        ("block.1.step", "16"),
    )
    assert len(found) == 10
    assert len({line.split(": ")[1] for line in found}) == 10


def test_all_faults_of_one_block_at_once():
    found = faults(("block.0.row_distance", "20 ft"), ("block.0.lines", 2), ("block.0.points", "p.gpkg"))
    assert len(found) == 4
    for text in ("row_distance = step", "lines needs line_distance", "one line in a row", 'points belongs to pattern = "points"'):
        assert sum(text in line for line in found) == 1


def test_names_that_only_look_odd_are_taken():
    odd = ['🍎 <b>"x"&amp;</b>', "a/../b", '=cmd()";--', "O'Brien", "Ñandú 2", "x" * 40, " A1 "]
    for name in odd:
        assert faults(("block.0.name", name)) == []
    mapping = {**SOUND, "block": [{**SOUND["block"][0], "name": " A1 "}]}
    assert parse_plan(mapping, "").block[0].name == "A1"
    assert parse_plan({**SOUND, "block": [{**SOUND["block"][0], "name": 7}]}, "").block[0].name == "7"
