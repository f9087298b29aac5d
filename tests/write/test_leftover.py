"""Lists of moves that setout did not make, beside or inside the output folder: nothing of them is followed."""

from __future__ import annotations

import json
import os
import shutil
import warnings

import pytest

from farm import snapshot
from setout.errors import SetAside, SetoutError
from setout.write.folder import OutputFolder

NAMES = [
    "../victim.txt",
    "packet/../../victim.txt",
    "packet/gpx/block-/../../../../victim.txt",
    "packet/gpx/block-a/b.gpx",
    "..",
    "",
    ".",
    "/",
    "notes.txt",
    "plan.toml",
    "run.json/",
    "./run.json",
    "packet",
    "PLAN.GPKG\n",
    "packet\\..\\..\\victim.txt",
    "packet/gpx/block-\0.gpx",
    "packet/gpx/block-" + "a" * 300 + "/x.gpx",
]


@pytest.fixture
def place(tmp_path):
    """A folder with an output folder of an earlier run, a file of the user's beside it and one outside."""
    (tmp_path / "outside").mkdir()
    (tmp_path / "outside" / "stakeout.csv").write_text("not yours")
    work = tmp_path / "work"
    with OutputFolder(work / "out") as staging:
        (staging.path / "run.json").write_text("old")
    (work / "victim.txt").write_text("mine")
    (work / "out" / "notes.txt").write_text("mine")
    return work


def plant(place, new=(), gone=(), where="beside", **files):
    """Leave what a killed run would have left."""
    left = place / ".out.setout-abcd1234" if where == "beside" else place / "out" / ".setout-abcd1234"
    for name in ("new", "old"):
        (left / name).mkdir(parents=True)
    (left / "moves.json").write_text(json.dumps({"new": [*new], "gone": [*gone]}))
    for name, text in files.items():
        (left / name).write_text(text)
    return left


def run_again(place):
    """Let the next run do its work, and return what was set aside."""
    with pytest.warns(SetAside) as told, OutputFolder(place / "out") as staging:
        (staging.path / "run.json").write_text("new")
    assert (place / "out" / "run.json").read_text() == "new"
    assert (place / "out" / "notes.txt").read_text() == "mine"
    assert (place / "victim.txt").read_text() == "mine"
    assert {p.name: p.read_text() for p in (place.parent / "outside").iterdir()} == {"stakeout.csv": "not yours"}
    with warnings.catch_warnings(action="error"), OutputFolder(place / "out") as staging:  # nothing is told twice
        (staging.path / "run.json").write_text("new")
    (text,) = {str(t.message) for t in told}
    return text


@pytest.mark.parametrize("name", [*NAMES, "absolute"])
@pytest.mark.parametrize("where", ["beside", "inside"])
def test_only_names_that_setout_writes(place, name, where):
    name = str(place / "victim.txt") if name == "absolute" else name
    left = plant(place, gone=[name], where=where)
    assert "which is no file that setout writes" in run_again(place)
    assert not left.exists()
    left = plant(place, new=[name], where=where)
    if name == "notes.txt":
        (left / "new" / name).write_text("theirs")
    shutil.rmtree(next(left.parent.glob("*set-aside*")))
    assert "no file that setout writes" in run_again(place)


def test_links_among_the_folders_are_not_followed(place):
    """Whether they lie in the output folder or among what is to be moved."""
    outside = place.parent / "outside"
    (place / "out" / "packet").symlink_to(outside)
    plant(place, gone=["packet/stakeout.csv"])
    assert "packet is a link" in run_again(place)
    left = plant(place, new=["packet/stakeout.csv"])
    (left / "new" / "packet").mkdir()
    (left / "new" / "packet" / "stakeout.csv").write_text("theirs")
    shutil.rmtree(next(place.glob("*set-aside*")))
    assert "packet is a link" in run_again(place)
    (place / "out" / "packet").unlink()
    for part in ("new", "old", "new/packet", "old/packet"):
        shutil.rmtree(next(place.glob("*set-aside*")))
        left = plant(place, new=["packet/stakeout.csv"])
        (left / part).rmdir() if (left / part).is_dir() else None
        (left / part).symlink_to(outside)
        assert "is a link" in (text := run_again(place)) or "is no folder" in text


def test_a_link_instead_of_a_file_is_not_moved(place):
    left = plant(place, new=["map.html"])
    (left / "new" / "map.html").symlink_to(place.parent / "outside" / "stakeout.csv")
    assert "is no plain file" in run_again(place)
    assert not os.path.lexists(place / "out" / "map.html")


def test_a_lock_that_is_a_link_makes_no_file_elsewhere(place):
    left = plant(place)
    (left / "lock").symlink_to(place.parent / "outside" / "made")
    with pytest.warns(SetAside, match="was left alone"), OutputFolder(place / "out") as staging:
        (staging.path / "run.json").write_text("new")
    assert not (place.parent / "outside" / "made").exists()


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "null",
        "[]",
        "{}",
        '{"new": 1, "gone": []}',
        '{"new": [], "gone": [1]}',
        '{"new": [["run.json"]], "gone": []}',
        "[" * 200_000,
        '{"new": ' * 100_000,
        "9" * 5000,
        "\udcff",
        "x" * (17 << 20),
        '{"new": [], "gone": ["packet/gpx/block-\\ud800.gpx/"]}',
    ],
    ids=range(14),
)
def test_a_damaged_list_is_set_aside_in_words(place, text):
    left = plant(place)
    (left / "moves.json").write_bytes(text.encode(errors="surrogateescape"))
    (left / "old" / "map.html").write_text("the only copy")
    told = run_again(place)
    assert str(left / "moves.json") in told
    assert "a killed run's list of moves was not followed" in told
    assert "then delete" in told
    (aside,) = place.glob(".out.set-aside-*")
    assert (aside / "old" / "map.html").read_text() == "the only copy"


def test_a_list_that_is_no_file(place):
    for make in (lambda p: p.mkdir(), os.mkfifo, lambda p: p.symlink_to(place.parent / "outside" / "stakeout.csv")):
        left = plant(place)
        (left / "moves.json").unlink()
        make(left / "moves.json")
        assert "no plain file" in run_again(place)
        shutil.rmtree(next(place.glob("*set-aside*")))


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root gives files away")
@pytest.mark.parametrize("part", ["", "moves.json"])
def test_somebody_elses_list(place, part):
    left = plant(place, gone=["run.json"])
    os.chown(left / part, 12345, 12345)
    with pytest.warns(SetAside), OutputFolder(place / "out") as staging:  # noqa: PT031
        assert (place / "out" / "run.json").read_text() == "old"
        (staging.path / "map.html").write_text("new")
    if not part:
        assert left.exists()


def test_folders_of_other_output_folders_are_left_alone(tmp_path):
    """Of one whose name has a star in it, and of one that is called after this one."""
    for name in (".ab.setout-abcd1234", ".a*b.setout-x.setout-abcd1234"):
        (tmp_path / name).mkdir()
    with OutputFolder(tmp_path / "a*b") as staging:
        (staging.path / "run.json").write_text("new")
    assert len(list(tmp_path.iterdir())) == 3


def test_results_are_not_written_through_a_link(place):
    (place / "out" / "packet").symlink_to(place.parent / "outside")
    before = snapshot(place.parent)
    with pytest.raises(SetoutError, match=r"packet is a link.*move it away"), OutputFolder(place / "out") as staging:  # noqa: PT012
        (staging.path / "packet").mkdir()
        (staging.path / "packet" / "stakeout.csv").write_text("new")
    assert snapshot(place.parent) == before
    with OutputFolder(place / "out") as staging:  # nothing is taken out of it either
        (staging.path / "run.json").write_text("new")
    assert (place.parent / "outside" / "stakeout.csv").read_text() == "not yours"


def test_a_file_that_is_a_link_is_replaced_and_not_written_through(place):
    (place / "out" / "map.html").symlink_to(place.parent / "outside" / "stakeout.csv")
    with OutputFolder(place / "out") as staging:
        (staging.path / "map.html").write_text("new")
    assert (place / "out" / "map.html").read_text() == "new"
    assert (place.parent / "outside" / "stakeout.csv").read_text() == "not yours"


def test_a_file_of_no_product_is_a_mistake_of_ours(place):
    with pytest.raises(RuntimeError, match=r"new\.txt is not among FILES"), OutputFolder(place / "out") as staging:
        (staging.path / "new.txt").write_text("new")
