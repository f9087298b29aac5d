"""Ctrl-C and polite kills in the middle of every stage: exit code 3, one line, and earlier results byte for byte as they were."""

from __future__ import annotations

import pytest

from farm import snapshot

# part of a module's path, and which of the calls into it the signal comes with
PLACES = [
    ("read/plan_file", 1),
    ("tables/catalogue", 3),
    ("read/vector/ogr", 5),
    ("read/raster", 5),
    ("stages/survey", 10),
    ("stages/terrain", 10),
    ("stages/reach", 4),
    ("stages/exclude", 25),
    ("stages/fill", 10),
    ("geometry/rows/rowcut", 10),
    ("stages/assign", 3),
    ("stages/check", 10),
    ("write/geopackage", 30),
    ("write/terrain", 5),
    ("write/map/page", 3),
    ("layers/columns", 3),
    ("write/report/picture", 5),
    ("write/report/page", 3),
    ("write/packet/stakeout", 5),
    ("write/folder", 5),
]


@pytest.mark.parametrize("number", range(len(PLACES)), ids=[place for place, _ in PLACES])
def test_in_every_stage(farm, warm, number):
    place, call = PLACES[number]
    farm.block["step"] = "6 m"
    path = farm.write()
    before = snapshot(farm.folder)
    ran = warm("plan", path, "--quiet", at=(place, call, ("SIGINT", "SIGTERM")[number % 2]))
    assert (ran.code, ran.out, ran.err) == (3, "", "setout: interrupted; earlier results are as they were\n")
    assert snapshot(farm.folder) == before


def test_the_line_of_a_terminal_goes_down(farm, warm):
    path = farm.write()
    before = snapshot(farm.folder)
    ran = warm("plan", path, "--quiet", at=("stages/fill", 1, "SIGHUP"))
    assert (ran.code, ran.err) == (3, "setout: interrupted; earlier results are as they were\n")
    assert snapshot(farm.folder) == before


def test_while_the_summary_is_shown(farm, warm):
    """The results are in place by then, and the message says so."""
    farm.block["step"] = "6 m"
    path = farm.write()
    before = snapshot(farm.folder / "out")
    ran = warm("plan", path, "--quiet", at=("setout/cli", 25, "SIGINT"))
    assert (ran.code, ran.err) == (3, "setout: interrupted; the results are written\n")
    after = snapshot(farm.folder / "out")
    assert set(after) == set(before)
    assert after["packet/stakeout.csv"] != before["packet/stakeout.csv"]


def test_while_the_files_change_places(farm, warm):
    """Signals wait for the renames to be done: the new results are there, whole, and the message says so."""
    farm.block["step"] = "6 m"
    path = farm.write()
    before = snapshot(farm.folder / "out")
    ran = warm("plan", path, "--quiet", at=("write/folder.py:_move", 1, "SIGTERM"))
    assert (ran.code, ran.err) == (3, "setout: interrupted; the results are written\n")
    after = snapshot(farm.folder / "out")
    assert set(after) == set(before)
    assert after["packet/stakeout.csv"] != before["packet/stakeout.csv"]
    assert sorted(p.name for p in farm.folder.iterdir()) == ["out", "plan.toml", "survey"]


@pytest.mark.parametrize("place", [("write/folder.py:_clear", 1), ("write/folder.py:__exit__", 1), ("run/steps.py:undisturbed", 2)])
def test_after_the_files_have_changed_places(farm, warm, place):
    """In clearing up, or on the way back: the message says what is there, the new results or the earlier ones."""
    farm.block["step"] = "6 m"
    path = farm.write()
    before = snapshot(farm.folder / "out")
    ran = warm("plan", path, "--quiet", at=(*place, "SIGTERM"))
    after = snapshot(farm.folder / "out")
    new = after["packet/stakeout.csv"] != before["packet/stakeout.csv"]
    said = "the results are written" if new else "earlier results are as they were"
    assert (ran.code, ran.err) == (3, f"setout: interrupted; {said}\n")
    assert new == (place[0] != "write/folder.py:__exit__")
    assert set(after) == set(before)


def test_a_hard_kill_and_the_run_after_it(farm, warm):
    """SIGKILL leaves earlier results as they were; the next run clears away what it left."""
    path = farm.write()
    before = snapshot(farm.folder / "out")
    ran = warm("plan", path, "--quiet", at=("layers/columns", 3, "SIGKILL"))
    assert ran.code == -9
    assert snapshot(farm.folder / "out") == before
    ran = warm("plan", path, "--quiet")
    assert (ran.code, ran.err) == (0, "")
    assert sorted(p.name for p in farm.folder.iterdir()) == ["out", "plan.toml", "survey"]
    assert set(snapshot(farm.folder / "out")) == set(before)


@pytest.mark.parametrize("command", ["check", "new", "demo"])
def test_other_commands(farm, warm, tmp_path, command):
    path = farm.write()
    args = {
        "check": ["check", path, "--trees", f"{farm.folder}/out/plan.gpkg:trees", "--quiet"],
        "new": ["new", tmp_path / "new", "--boundary", farm.survey / "field.gpkg", "--dem", farm.survey / "dem.tif"],
        "demo": ["demo", tmp_path / "demo", "--quiet"],
    }[command]
    before = snapshot(farm.folder)
    ran = warm(*args, at=({"check": "stages/terrain", "new": "run/newplan/look", "demo": "demo/terrain"}[command], 2, "SIGINT"))
    assert (ran.code, ran.out, ran.err) == (3, "", "setout: interrupted; earlier results are as they were\n")
    assert snapshot(farm.folder) == before


def test_a_list_of_moves_from_elsewhere(farm, warm):
    """One that came with the survey is not followed; the plan is made, and a line says what was set aside."""
    path = farm.write()
    left = farm.folder / ".out.setout-abcd1234"
    (left / "new").mkdir(parents=True)
    (left / "old").mkdir()
    (left / "moves.json").write_text('{"new": [], "gone": ["../survey/dem.tif"]}')
    ran = warm("plan", path, "--quiet", "--only", "packet")
    assert ran.code == 0
    (line,) = ran.err.splitlines()
    assert line.startswith(f"setout: note: {left}/moves.json: a killed run's list of moves was not followed: it names ")
    assert (farm.survey / "dem.tif").is_file()
