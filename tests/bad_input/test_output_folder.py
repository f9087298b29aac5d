"""Output folders that cannot take the results, places that commands are started from, streams that are closed."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from bad import proper
from command import CLEAN, cold
from farm import Farm, snapshot


@pytest.mark.parametrize("out", ["plan.toml", "plan.toml/results", "survey/dem.tif"])
def test_a_file_is_no_folder(farm, warm, out):
    path = farm.write()
    before = snapshot(farm.folder)
    (line,) = proper(warm("plan", path, "--out", farm.folder / out, "--quiet"))
    assert "is not a folder" in line
    assert "--out" in line
    assert snapshot(farm.folder) == before


def test_a_folder_that_may_not_be_written(farm, warm):
    """/proc takes no files from anyone, root included."""
    (line,) = proper(warm("plan", farm.write(), "--out", "/proc/setout-results", "--quiet"))
    assert "/proc/setout-results: cannot write there" in line


def test_no_room_left(farm):
    """A file that may grow no further is what a full disk is: the system refuses to write (EFBIG, as ENOSPC)."""
    program = (
        "import resource, signal, sys; signal.signal(signal.SIGXFSZ, signal.SIG_IGN);"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (60_000, 60_000));"
        "from setout.cli.command import main; sys.exit(main(sys.argv[1:]))"
    )
    path = farm.write()
    before = snapshot(farm.folder)
    done = subprocess.run(
        [sys.executable, "-c", program, "plan", str(path), "--quiet"], env=CLEAN, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout) == (3, ""), done.stderr
    assert "no room left" in done.stderr
    assert "earlier results are untouched" in done.stderr
    assert "Traceback" not in done.stderr
    assert snapshot(farm.folder) == before


def test_folders_that_are_missing_are_made(farm, warm):
    ran = warm("plan", farm.write(), "--out", farm.folder / "a" / "b" / "c", "--quiet", "--only", "packet")
    assert (ran.code, ran.err) == (0, "")
    assert (farm.folder / "a" / "b" / "c" / "packet" / "stakeout.csv").is_file()


def test_a_folder_that_holds_other_things_keeps_them(farm, warm):
    before = snapshot(farm.survey)
    ran = warm("plan", farm.write(), "--out", farm.survey, "--quiet", "--only", "packet")
    assert (ran.code, ran.err) == (0, "")
    after = snapshot(farm.survey)
    assert {name: after[name] for name in before} == before


def test_two_runs_at_once_into_one_folder(farm):
    """Each is whole; what stands there in the end is all of one run."""
    path = farm.write()
    command = [sys.executable, "-m", "setout", "plan", str(path), "--quiet", "--only", "geopackage", "packet"]
    runs = [subprocess.Popen(command, env=CLEAN, stdout=subprocess.PIPE, stderr=subprocess.PIPE) for _ in range(2)]
    said = [run.communicate() for run in runs]
    assert [run.returncode for run in runs] == [0, 0], said
    assert [err for _, err in said] == [b"", b""]
    out = farm.folder / "out"
    assert sorted(p.name for p in farm.folder.iterdir()) == ["out", "plan.toml", "survey"]
    assert sorted(p.name for p in out.iterdir() if p.name.startswith(".")) == []
    import geopandas as gpd

    with (out / "packet" / "stakeout.csv").open(encoding="utf-8-sig") as file:
        staked = sum(line.partition(",")[2].count(",") > 0 for line in file)
    trees = len(gpd.read_file(out / "plan.gpkg", layer="trees"))
    assert trees == json.loads((out / "run.json").read_text())["trees"]
    assert staked >= trees > 200


@pytest.mark.parametrize("name", ["with spaces", "Gänse & Söhne 🍎", "semi;colon#hash%20", "-dash"])
def test_folders_with_odd_names(sound, tmp_path, warm, name):
    farm = Farm(tmp_path / name, sound)
    farm.write()
    ran = warm("plan", "plan.toml", "--quiet", "--only", "geopackage", "terrain", "packet", cwd=farm.folder)
    assert (ran.code, ran.err) == (0, "")
    ran = warm("check", "plan.toml", "--trees", "out/plan.gpkg:trees", "--quiet", cwd=farm.folder)
    assert (ran.code, ran.err) == (0, "")


def test_paths_count_from_the_plan_file(farm, warm):
    farm.write()
    elsewhere = farm.folder / "plans"
    elsewhere.mkdir()
    text = (farm.folder / "plan.toml").read_text().replace("survey/", "../survey/")
    (elsewhere / "north.toml").write_text(text)
    ran = warm("plan", os.path.relpath(elsewhere / "north.toml", "/"), "--quiet", "--only", "packet", cwd=Path("/"))
    assert (ran.code, ran.err) == (0, "")
    assert (elsewhere / "out" / "packet").is_dir()


def test_a_home_folder_is_not_needed(farm):
    ran = cold("plan", farm.write(), "--quiet", "--only", "map", env={k: CLEAN[k] for k in ("PATH", "PYTHONPATH")})
    assert (ran.code, ran.err) == (0, "")


def test_a_terminal_that_cannot_show_a_name(farm):
    farm.sections["name"] = "Gänse 🍎"
    environment = {**CLEAN, "PYTHONIOENCODING": "ascii", "LC_ALL": "C"}
    ran = cold("plan", farm.write(), "--quiet", "--only", "packet", env=environment)
    assert (ran.code, ran.err) == (0, "")
    assert r"G\xe4nse \U0001f34e" in ran.out


@pytest.mark.parametrize("closed", ["stdout", "stderr", "both"])
def test_nobody_listens(farm, closed):
    """As in ``setout plan x | head -0``: the results are written all the same."""
    read, write = os.pipe()
    os.close(read)
    streams = {"stdout": subprocess.DEVNULL, "stderr": subprocess.PIPE}
    streams |= {name: write for name in ("stdout", "stderr") if closed in (name, "both")}
    command = [sys.executable, "-m", "setout", "plan", str(farm.write()), "--only", "packet"]
    before = snapshot(farm.folder / "out")
    done = subprocess.run(command, env=CLEAN, check=False, **streams)
    os.close(write)
    assert done.returncode == 0
    assert b"Traceback" not in (done.stderr or b"")
    assert b"BrokenPipe" not in (done.stderr or b"")
    assert snapshot(farm.folder / "out")["run.json"] != before["run.json"]
