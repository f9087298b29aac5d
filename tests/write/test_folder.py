"""All or nothing: killed, failed, full and forbidden runs leave the earlier result as it was."""

from __future__ import annotations

import errno
import os
import resource
import signal
import sqlite3
import subprocess
import sys
import textwrap
import warnings
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from pyproj import CRS

from setout.errors import Interrupted, SetoutError
from setout.layers import CONTRACTS
from setout.layers.columns import Points
from setout.layers.data import LayerData
from setout.write import folder as commit
from setout.write.folder import OutputFolder, check_writable
from setout.write.geopackage.writer import write
from setout.write.products import MANAGED, managed_by

PIPELINE = Path(__file__).resolve().parents[2] / "pipeline"


def contents(folder):
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def fill(path, text, names=("plan.gpkg", "map.html", "packet/stakeout.csv")):
    for name in names:
        (path / name).parent.mkdir(exist_ok=True)
        (path / name).write_text(f"{text} {name}")


@pytest.fixture
def out(tmp_path):
    """An output folder with an earlier result and files of the user's own."""
    folder = tmp_path / "out"
    with OutputFolder(folder) as staging:
        fill(staging.path, "old", ("plan.gpkg", "map.html", "packet/stakeout.csv", "terrain/slope.tif"))
    (folder / "packet" / "crew notes.txt").write_text("gate code")
    (folder / "photo.jpg").write_bytes(b"\xff\xd8")
    return folder


def start(code, folder):
    """Run code in a child that opens the output folder; wait until it says that it is inside."""
    script = textwrap.dedent(code)
    child = subprocess.Popen(
        [sys.executable, "-c", script, folder], stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": str(PIPELINE)}
    )
    assert child.stdout.readline() == "inside\n"
    return child


WAITING = """
    import sys, time
    from pathlib import Path
    from setout.write.folder import OutputFolder
    with OutputFolder(Path(sys.argv[1])) as out:
        (out.path / "plan.gpkg").write_text("half")
        print("inside", flush=True)
        time.sleep(60)
"""


def test_the_new_result_replaces_the_old_and_foreign_files_stay(out):
    with OutputFolder(out) as staging:
        fill(staging.path, "new")
        assert (out / "plan.gpkg").read_text() == "old plan.gpkg"
    assert contents(out) == {
        "plan.gpkg": b"new plan.gpkg",
        "map.html": b"new map.html",
        "packet/stakeout.csv": b"new packet/stakeout.csv",
        "packet/crew notes.txt": b"gate code",
        "photo.jpg": b"\xff\xd8",
    }
    assert not (out / "terrain").exists()  # of the old result; the new one has no terrain
    assert [p.name for p in out.parent.iterdir()] == ["out"]


def test_a_folder_inside_folders_that_do_not_exist_is_made(tmp_path):
    with OutputFolder(tmp_path / "a" / "b" / "out") as staging:
        fill(staging.path, "new", ("run.json",))
    assert contents(tmp_path) == {"a/b/out/run.json": b"new run.json"}


def test_what_a_database_program_left_is_not_played_back_into_the_new_plan(out):
    (out / "plan.gpkg-journal").write_bytes(b"old pages")
    (out / "plan.gpkg-wal").write_bytes(b"old pages")
    with OutputFolder(out) as staging:
        fill(staging.path, "new")
    assert not (out / "plan.gpkg-journal").exists()
    assert not (out / "plan.gpkg-wal").exists()


def test_a_run_that_writes_only_the_packet_leaves_the_rest(out):
    before = contents(out)
    with OutputFolder(out, managed_by(["packet"])) as staging:
        fill(staging.path, "new", ("packet/trees.gpx",))
    before.pop("packet/stakeout.csv")
    assert contents(out) == {**before, "packet/trees.gpx": b"new packet/trees.gpx"}


@pytest.mark.parametrize("error", [ValueError("fault"), KeyboardInterrupt(), SetoutError("fault")])
def test_a_failed_run_leaves_the_old_result_and_its_error_comes_through(out, error):
    before = contents(out)
    with pytest.raises(type(error)) as caught, OutputFolder(out) as staging:  # noqa: PT012
        fill(staging.path, "new")
        raise error
    assert caught.value is error
    assert contents(out) == before
    assert [p.name for p in out.parent.iterdir()] == ["out"]


def test_kill_9_in_the_middle_leaves_the_old_result_and_the_next_run_clears_up(out):
    before = contents(out)
    child = start(WAITING, out)
    child.send_signal(signal.SIGKILL)
    child.wait()
    assert contents(out) == before
    assert len(list(out.parent.iterdir())) == 2
    with OutputFolder(out) as staging:
        fill(staging.path, "new")
    assert [p.name for p in out.parent.iterdir()] == ["out"]
    assert (out / "plan.gpkg").read_text() == "new plan.gpkg"


def test_a_killed_first_run_leaves_nothing_in_place(tmp_path):
    child = start(WAITING, tmp_path / "out")
    child.kill()
    child.wait()
    assert not (tmp_path / "out").exists()


def test_a_run_that_is_alive_is_left_alone(out):
    child = start(WAITING, out)
    try:
        with OutputFolder(out) as staging:
            fill(staging.path, "new")
        left = [p for p in out.parent.iterdir() if p != out]
        assert len(left) == 1
        assert (left[0] / "new" / "plan.gpkg").read_text() == "half"
    finally:
        child.kill()
        child.wait()


def test_ctrl_c_clears_up_and_comes_through(out):
    before = contents(out)
    child = start(WAITING, out)
    child.send_signal(signal.SIGINT)
    assert child.wait() == -signal.SIGINT
    assert contents(out) == before
    assert [p.name for p in out.parent.iterdir()] == ["out"]


@pytest.mark.parametrize("moves", range(1, 6))
def test_killed_between_two_renames_every_file_is_there_and_the_next_run_ends_it(out, moves, monkeypatch):
    """The process is made to die after so many renames of the change of places."""
    before = contents(out)
    code = f"""
        import os, sys
        from pathlib import Path
        from setout.write import folder as commit
        replace, count = Path.replace, [0]
        def dying(self, target):
            placing = ".setout-" in str(self) and str(target).startswith(sys.argv[1] + "/")
            if placing or ".setout-" in str(target) and "old" in str(target):
                count[0] += 1
                if count[0] > {moves}:
                    os.kill(os.getpid(), 9)
            return replace(self, target)
        Path.replace = dying
        with commit.OutputFolder(Path(sys.argv[1])) as out:
            for name in ("plan.gpkg", "map.html", "packet/stakeout.csv"):
                (out.path / name).parent.mkdir(exist_ok=True)
                (out.path / name).write_text("new " + name)
            print("inside", flush=True)
    """
    child = start(code, out)
    code = child.wait()
    after = contents(out)
    new = {name: f"new {name}".encode() for name in ("plan.gpkg", "map.html", "packet/stakeout.csv")}
    if code == 0:
        assert moves >= 4
    else:
        assert code == -signal.SIGKILL
    for name, data in before.items():
        if name != "terrain/slope.tif":
            assert after[name] in (data, new.get(name))
    with OutputFolder(out):
        pass  # the next run, which here writes nothing of its own and so takes everything managed away
    assert set(contents(out)) == {"packet/crew notes.txt", "photo.jpg"}
    assert [p.name for p in out.parent.iterdir()] == ["out"]


def test_moves_cut_short_are_brought_to_their_end_at_the_next_start(out, monkeypatch):
    real = commit._move

    class Killed(BaseException):
        pass

    def cut(staging, folder, new, gone):
        real(staging, folder, new[:1], [])
        raise Killed

    monkeypatch.setattr(commit, "_move", cut)
    monkeypatch.setattr(OutputFolder, "_clear", lambda self: os.close(self._lock))  # the dead clear nothing
    with pytest.raises(Killed), OutputFolder(out) as staging:
        fill(staging.path, "new")
    monkeypatch.undo()
    state = contents(out)
    assert sorted(v.split()[0] for k, v in state.items() if k in MANAGED) == [b"new", b"old", b"old", b"old"]
    with pytest.raises(ValueError, match="no result"), OutputFolder(out):
        raise ValueError("no result")
    assert contents(out) == {
        "plan.gpkg": b"new plan.gpkg",
        "map.html": b"new map.html",
        "packet/stakeout.csv": b"new packet/stakeout.csv",
        "packet/crew notes.txt": b"gate code",
        "photo.jpg": b"\xff\xd8",
    }


def test_a_rename_that_fails_is_undone(out, monkeypatch):
    before = contents(out)
    real = Path.replace

    def failing(self, target):
        if str(target) == str(out / "plan.gpkg") and "new" in str(self):
            raise OSError(errno.EACCES, "Permission denied")
        return real(self, target)

    monkeypatch.setattr(Path, "replace", failing)
    with pytest.raises(SetoutError, match="cannot write there") as caught, OutputFolder(out) as staging:
        fill(staging.path, "new")
    assert caught.value.exit_code == 2
    assert contents(out) == before


def test_a_rename_that_fails_and_cannot_be_undone_is_brought_to_its_end_by_the_next_run(out, monkeypatch):
    """As where a share drops out in the middle: what was taken out of the folder is not cleared away."""

    def failing(*_):
        raise OSError(errno.EIO, "Input/output error")

    real = commit._move

    def cut(staging, folder, new, gone):
        real(staging, folder, new[:1], gone)
        failing()

    monkeypatch.setattr(commit, "_move", cut)
    monkeypatch.setattr(commit, "_undo", failing)
    with pytest.raises(SetoutError, match="cannot write there"), OutputFolder(out) as staging:
        fill(staging.path, "new")
    monkeypatch.undo()
    (left,) = out.parent.glob(".out.setout-*")
    assert (left / "old" / "terrain" / "slope.tif").read_text() == "old terrain/slope.tif"
    with pytest.raises(ValueError, match="no result"), OutputFolder(out):
        raise ValueError("no result")
    assert {k: v.split()[0] for k, v in contents(out).items() if k in MANAGED} == {
        "plan.gpkg": b"new",
        "map.html": b"new",
        "packet/stakeout.csv": b"new",
    }
    assert [p.name for p in out.parent.iterdir()] == ["out"]


def test_killed_while_it_cleared_up_after_another(out, monkeypatch):
    """What is left of a killed run whose moves are done is no damaged list."""
    left = out.parent / ".out.setout-abcd1234"
    left.mkdir()
    (left / "moves.json").write_text('{"new": ["plan.gpkg"], "gone": []}')
    before = contents(out)
    with pytest.raises(ValueError, match="no result"), warnings.catch_warnings(action="error"), OutputFolder(out):
        raise ValueError("no result")
    assert contents(out) == before
    assert [p.name for p in out.parent.iterdir()] == ["out"]


def test_a_folder_where_a_file_belongs_is_refused(out):
    (out / "run.json").mkdir()
    before = contents(out)
    with pytest.raises(SetoutError, match=r"run\.json is a folder where a file is"), OutputFolder(out) as staging:
        fill(staging.path, "new", ("run.json", "plan.gpkg"))
    assert contents(out) == before


@pytest.mark.parametrize("place", ["file/out", "file", "/proc/setout", "/proc/self/out"])
def test_a_place_that_cannot_be_written_is_refused_before_any_work(tmp_path, place):
    (tmp_path / "file").write_text("")
    with pytest.raises(SetoutError) as caught:
        check_writable(tmp_path / place)
    assert caught.value.exit_code == 2
    assert "choose another folder with --out" in str(caught.value)
    with pytest.raises(SetoutError), OutputFolder(tmp_path / place):
        pass
    assert contents(tmp_path) == {"file": b""}


def test_checking_leaves_no_trace(tmp_path):
    check_writable(tmp_path / "a" / "b")
    assert list(tmp_path.iterdir()) == []


@pytest.fixture
def tiny(tmp_path):
    """A file system of 400 kB; where it may not be mounted, a limit on file size stands for it."""
    place = tmp_path / "tiny"
    place.mkdir()
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=400k", "tmpfs", place], capture_output=True, check=False).returncode == 0:
        yield place
        subprocess.run(["umount", place], check=True)
        return
    before, handler = resource.getrlimit(resource.RLIMIT_FSIZE), signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (400_000, before[1]))
    yield place
    resource.setrlimit(resource.RLIMIT_FSIZE, before)
    signal.signal(signal.SIGXFSZ, handler)


def big_layer(n=20_000):
    numbers = np.arange(1, n + 1)
    columns = {
        "tree_id": np.array([f"A-1-{k}" for k in numbers]),
        "block": np.full(n, "A"),
        "row": np.ones(n, int),
        "position": numbers,
        "easting": numbers * 5.0,
        "northing": numbers * 0.0,
    }
    return LayerData(CONTRACTS["trees"], columns, Points(numbers * 5.0, numbers * 0.0))


def as_bytes(folder):
    (folder / "map.html").write_bytes(b"x" * 1_000_000)


def as_geopackage(folder):
    write(folder / "plan.gpkg", [big_layer()], CRS.from_epsg(32610))


def as_statements(folder):
    with closing(sqlite3.connect(folder / "plan.gpkg")) as db, db:
        db.execute("CREATE TABLE t (a)")
        db.executemany("INSERT INTO t VALUES (?)", [("x" * 1000,)] * 1000)


@pytest.mark.parametrize("work", [as_bytes, as_geopackage, as_statements])
def test_a_full_disk_is_an_interruption_and_leaves_the_old_result(tiny, work):
    out = tiny / "out"
    with OutputFolder(out) as staging:
        fill(staging.path, "old")
    before = contents(tiny)
    with pytest.raises(Interrupted, match="no room left") as caught, OutputFolder(out) as staging:
        work(staging.path)
    assert caught.value.exit_code == 3
    assert contents(tiny) == before
    assert [p.name for p in tiny.iterdir()] == ["out"]


def test_a_full_disk_of_a_library_that_hides_the_number(out):
    before = contents(out)
    with pytest.raises(Interrupted), OutputFolder(out):
        raise RuntimeError("write failed: No space left on device")
    assert contents(out) == before


def test_an_output_folder_that_is_a_file_system_of_its_own(tmp_path):
    place = tmp_path / "own"
    place.mkdir()
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", place], capture_output=True, check=False).returncode:
        pytest.skip("no permission to mount")
    try:
        with OutputFolder(place) as staging:
            fill(staging.path, "new")
            assert place in staging.path.parents
        assert set(contents(place)) == {"plan.gpkg", "map.html", "packet/stakeout.csv"}
    finally:
        subprocess.run(["umount", place], check=True)


def test_a_link_to_a_folder_is_followed(tmp_path, out):
    link = tmp_path / "link"
    link.symlink_to(out, target_is_directory=True)
    with OutputFolder(link) as staging:
        fill(staging.path, "new")
    assert link.is_symlink()
    assert (out / "plan.gpkg").read_text() == "new plan.gpkg"


def test_names_with_wildcards_clear_only_their_own(tmp_path):
    child = start(WAITING, tmp_path / "o[ab]*t")
    child.kill()
    child.wait()
    other = tmp_path / ".oat.setout-x"
    other.mkdir()
    with OutputFolder(tmp_path / "o[ab]*t") as staging:
        fill(staging.path, "new", ("run.json",))
    assert sorted(p.name for p in tmp_path.iterdir()) == [".oat.setout-x", "o[ab]*t"]
