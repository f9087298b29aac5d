"""The command's own door: arguments, help, products, streams; the journeys behind it are tested elsewhere."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from setout import run
from setout._version import __version__
from setout.cli import command as cli
from setout.cli.summary import plan_lines
from setout.errors import Fault, Interrupted, PlanFaults, SetoutError
from setout.model import Finding
from setout.tables import catalogue
from setout.write.folder import OutputFolder
from write import sample_planting


@pytest.fixture(autouse=True)
def _as_it_was(monkeypatch):
    """Leave the signals and hooks of the test process alone."""
    monkeypatch.setattr(cli.signal, "signal", lambda *_: None)
    monkeypatch.setattr(sys, "unraisablehook", sys.unraisablehook)


def ran(capsys, *args: str) -> tuple[int, str, str]:
    try:
        code = cli.main(list(args))
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 0
    said = capsys.readouterr()
    return code, said.out, said.err


def test_help_and_version(capsys):
    for args in ((), ("--help",)):
        code, out, err = ran(capsys, *args)
        assert (code, err) == (0, "")
        for command in ("demo", "new", "plan", "packet", "check", "plants"):
            assert f"\n    {command}" in out
        assert "buried utilities" in out
    assert ran(capsys, "--version") == (0, f"setout {__version__}\n", "")


@pytest.mark.parametrize("command", ["demo", "new", "plan", "packet", "check", "plants"])
def test_help_of_every_command(capsys, command):
    code, out, err = ran(capsys, command, "--help")
    assert (code, err) == (0, "")
    assert out.startswith(f"usage: setout {command}")


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (["plan"], "PLAN"),
        (["packet"], "PLAN"),
        (["check", "plan.toml"], "--trees"),
        (["new"], "DIR"),
        (["new", "x"], "--boundary"),
        (["paln", "plan.toml"], "'paln'"),
        (["plan", "plan.toml", "--ot", "x"], "--ot"),
        (["plan", "plan.toml", "--only"], "--only"),
        (["new", "x", "--boundary", "b.gpkg", "--units", "imperial"], "imperial"),
        (["plan", "a.toml", "b.toml"], "b.toml"),
    ],
)
def test_arguments_that_are_wrong(capsys, args, said):
    code, out, err = ran(capsys, *args)
    assert (code, out) == (2, "")
    assert err.startswith("usage: setout")
    assert said in err.splitlines()[-1]


@pytest.mark.parametrize("product", ["maps", "Map", ""])
def test_unknown_product(capsys, tmp_path, product):
    code, out, err = ran(capsys, "plan", str(tmp_path / "plan.toml"), "--only", "map", product)
    assert (code, out) == (2, "")
    assert "is no product; choose from geopackage, map, terrain, report, packet" in err
    assert list(tmp_path.iterdir()) == []


def test_missing_plan(capsys, tmp_path):
    for args in (["plan", "x.toml"], ["packet", "x.toml"], ["check", "x.toml", "--trees", "t.gpkg"]):
        code, out, err = ran(capsys, args[0], str(tmp_path / args[1]), *args[2:], "--quiet")
        assert (code, out) == (2, "")
        assert err == f'setout: {tmp_path / "x.toml"}: there is no such plan file; check the path, or write one with "setout new"\n'


def raising(monkeypatch, error: BaseException):
    def fail(*_args, **_named):
        raise error

    monkeypatch.setattr(run, "plan", fail)


@pytest.mark.parametrize(
    ("error", "code", "lines"),
    [
        (SetoutError("a", "b", "c"), 2, ["setout: b: a; c"]),
        (PlanFaults((Fault("a", "b", "c"), Fault("d", "e", "f"))), 2, ["setout: b: a; c", "setout: e: d; f"]),
        (Interrupted("no room", "out", "free some"), 3, ["setout: out: no room; free some"]),
        (KeyboardInterrupt(), 3, ["setout: interrupted; earlier results are as they were"]),
        (
            SetoutError("two\nlines \x1b[31m and \x9b1m a\ttab", "b\r", "c"),
            2,
            ["setout: b\\r: two\\nlines \\x1b[31m and \\x9b1m a\\ttab; c"],
        ),
    ],
)
def test_errors_become_lines_and_codes(capsys, monkeypatch, error, code, lines):
    raising(monkeypatch, error)
    assert ran(capsys, "plan", "x", "--quiet") == (code, "", "\n".join(lines) + "\n")


def test_what_nobody_expected_becomes_words(capsys, monkeypatch):
    raising(monkeypatch, ZeroDivisionError("float\ndivision"))
    code, out, err = ran(capsys, "plan", "x")
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert "ZeroDivisionError: float division" in err
    assert "nothing was written" in err
    monkeypatch.setenv("SETOUT_TRACEBACK", "1")
    assert "Traceback" in ran(capsys, "plan", "x")[2]


@pytest.mark.parametrize(
    ("late", "code", "said"),
    [
        (KeyboardInterrupt(), 3, "setout: interrupted; the results are written"),
        (ZeroDivisionError("x"), 3, "the results are written; please report it"),
    ],
)
def test_what_comes_after_the_results_are_in_place_says_so(capsys, monkeypatch, tmp_path, late, code, said):
    def plan(*_args, placed, **_how):
        with OutputFolder(tmp_path / "out", placed=placed) as out:
            (out.path / "run.json").write_text("{}")
        raise late

    monkeypatch.setattr(run, "plan", plan)
    found, out, err = ran(capsys, "plan", "x", "--quiet")
    assert (found, out) == (code, "")
    assert said in err


def test_plants(capsys):
    code, out, err = ran(capsys, "plants", "APPLE")
    assert (code, err) == (0, "")
    assert "apple, semi-dwarf" in out
    assert "pecan" not in out
    code, out, _ = ran(capsys, "plants", "--json")
    assert (code, len(json.loads(out))) == (0, len(catalogue.entries()))
    code, out, err = ran(capsys, "plants", "zzzz")
    assert (code, out) == (2, "")
    assert 'no plant has "zzzz" in its name' in err


@pytest.mark.parametrize(
    ("products", "told", "untold"),
    [
        (("geopackage", "map", "terrain", "report", "packet"), "open map.html or report.html there", "README"),
        (("packet",), "open packet/README.txt there", "map.html"),
        (("geopackage", "report"), "open report.html there", "map.html"),
        (("terrain",), "Results in x.", "open "),
    ],
)
def test_only_files_that_were_written_are_shown_the_way_to(products, told, untold) -> None:
    last = next(line for line in plan_lines(sample_planting.planting(), Path("x"), products) if line.startswith("Results in"))
    assert told in last
    assert untold not in last


def test_a_name_does_not_command_the_terminal() -> None:
    """ESC (ECMA-48) in a name of the plan is shown as what it is."""
    plan = sample_planting.planting()
    blocks = (replace(plan.site.blocks[0], name="A\x1b[2J"), *plan.site.blocks[1:])
    shown = "\n".join(plan_lines(replace(plan, site=replace(plan.site, name="\x1b]0;x\x07", blocks=blocks)), Path("x"), ()))
    assert "\x1b" not in shown
    assert r"A\x1b[2J" in shown


def test_what_is_wrong_with_the_whole_set_out_is_told_before_single_trees(capsys, monkeypatch) -> None:
    """Three hundred trees that stand in a road because the set-out is shifted: the shift is the first line."""
    road = [Finding("setback", "stop", f"tree A-{k} stands too near", "1 ft", "9 ft", "move it", f"A-{k}") for k in range(300)]
    lost = [Finding("missing", "stop", f"tree B-{k} is missing", "", "", "plant it", f"B-{k}") for k in range(3)]
    whole = Finding("systematic_shift", "warn", "the whole set-out lies 9 ft to the N", "9 ft", "none", "measure again")
    monkeypatch.setattr(run, "check", lambda *_, **__: run.Judged(300, (*road, *lost, whole)))
    code, out, _ = ran(capsys, "check", "plan.toml", "--trees", "back.csv")
    lines = out.splitlines()
    assert code == 1
    assert lines[0] == "The set-out as a whole:"
    assert "the whole set-out lies 9 ft to the N" in lines[1]
    assert "303 fall short: 300 inside a setback, 3 missing" in lines[2]
    assert "300 inside a setback; the first: tree A-0 stands too near: 1 ft (required 9 ft); first A-0, A-1, A-2 ..." in lines[3]
    assert "3 missing; the first: tree B-0 is missing; first B-0, B-1, B-2; plant it" in lines[4]
    assert len(lines) == 5
