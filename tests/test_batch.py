"""Many plans at once: the same results as one by one, faults kept apart, a cluster where there is one."""

from __future__ import annotations

import hashlib
import json
import shutil
import signal
import sys
from pathlib import Path

import pytest

import deadly
import setout
from command import cold
from farm import Farm, write_survey
from setout.errors import SetoutError
from setout.run import Done, batch
from setout.run.batch import plan_one


@pytest.fixture(scope="module")
def farms(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    folder = tmp_path_factory.mktemp("farms")
    write_survey(folder / "sound")
    plans = []
    for name, step in (("one", "5 m"), ("two", "6 m"), ("broken", "5")):
        farm = Farm(folder / name, folder / "sound")
        farm.block["step"] = step
        plans.append(farm.write())
    return plans


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_the_command_plans_each_and_names_what_cannot_be_planned(farms: list[Path]) -> None:
    ran = cold("batch", *farms, "--json")
    assert ran.code == 2
    told = json.loads(ran.out)
    assert [t["trees"] is None for t in told] == [False, False, True]
    assert "has no unit" in told[2]["faults"][0]
    assert str(farms[2]) in ran.err
    for path, said in zip(farms[:2], told, strict=False):
        there = digest(path.parent / "out" / "plan.gpkg")
        alone = setout.plan(path, path.parent / "alone", products=("geopackage",))
        assert said["trees"] == len(alone.trees)
        assert said["net_m2"] == pytest.approx(alone.usable.account[-1].remaining_m2)
        assert digest(path.parent / "alone" / "plan.gpkg") == there
    assert not (farms[2].parent / "out").exists()


def test_areas_are_told_in_the_units_of_each_plan(farms: list[Path]) -> None:
    text = farms[0].read_text(encoding="utf-8")
    assert text.count('units = "us"') <= 1
    metric = farms[0].parents[1] / "metric" / "plan.toml"
    shutil.copytree(farms[0].parent, metric.parent, ignore=shutil.ignore_patterns("out", "alone"))
    metric.write_text('units = "si"\n' + text.replace('units = "us"\n', ""), encoding="utf-8")
    ran = cold("batch", farms[0], metric)
    assert ran.code == 0
    assert [line.split("; results")[0].rsplit(" ", 1)[1] for line in ran.out.splitlines()[:2]] == ["acres", "ha"]


def test_plans_that_share_a_folder_of_results_are_refused(farms: list[Path]) -> None:
    other = farms[0].with_name("other.toml")
    shutil.copy(farms[0], other)
    with pytest.raises(SetoutError, match="share the folder of results"):
        batch([farms[0], other])


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="processes cannot be killed so")
def test_a_property_that_is_killed_does_not_hold_up_the_others(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two of nine are killed, among others at work; those are done, and each is accounted for in its place."""
    monkeypatch.setattr(sys.modules["setout.run.batch"], "plan_one", deadly.work)
    names = ["a", "killed", "b", "c", "d", "killed too", "e", "f", "g"]
    said: list[tuple[str, int, int]] = []
    done = batch([tmp_path / name / "plan.toml" for name in names], workers=3, say=lambda *heard: said.append(heard))
    assert [Path(one.plan).parent.name for one in done] == names
    assert [one.lost for one in done] == [name.startswith("killed") for name in names]
    assert [one.trees for one in done] == [None if name.startswith("killed") else 7 for name in names]
    (fault,) = done[1].faults
    assert "SIGKILL" in fault.what
    assert "memory" in fault.what
    assert fault.remedy
    assert said == [("properties", done, len(names)) for done in range(len(names) + 1)]


@pytest.mark.parametrize(("error", "lost"), [(MemoryError(), True), (RuntimeError("odd"), False)])
def test_whatever_goes_wrong_is_of_its_own_property(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: Exception, *, lost: bool
) -> None:
    import setout.run.order

    def fail(*_args: object, **_named: object) -> None:
        raise error

    monkeypatch.setattr(setout.run.order, "plan", fail)
    done = plan_one(str(tmp_path / "plan.toml"))
    assert done.lost == lost
    assert done.trees is None
    assert str(error) in done.faults[0].what


@pytest.mark.parametrize(("ends", "code"), [("done", 0), ("done refused", 2), ("done refused lost", 3)])
def test_exit_codes(ends: str, code: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    from setout import run
    from setout.cli import command
    from setout.errors import Fault

    ways = {
        "done": Done("a/plan.toml", "a/out", 7, 1.0),
        "refused": Done("b/plan.toml", "b/out", None, 0.0, faults=(Fault("x", "y", "z"),)),
        "lost": Done("c/plan.toml", "c/out", None, 0.0, faults=(Fault("k", "l", "m"),), lost=True),
    }
    monkeypatch.setattr(run, "batch", lambda *_args, **_named: tuple(ways[end] for end in ends.split()))
    assert command.main(["batch", "a", "b", "c", "--json"]) == code
    assert [one["lost"] for one in json.loads(capsys.readouterr().out)] == [end == "lost" for end in ends.split()]


def test_a_cluster_that_does_not_answer_is_a_fault() -> None:
    ran = cold("batch", "plan.toml", "--scheduler", "nowhere")
    assert ran.code == 2
    assert "Traceback" not in ran.err
    assert "--scheduler" in ran.err


def test_a_dask_cluster_gives_what_this_machine_gives(farms: list[Path]) -> None:
    from distributed import LocalCluster

    with LocalCluster(n_workers=1, threads_per_worker=1, processes=False, protocol="tcp", dashboard_address=None) as cluster:
        there = batch(farms, scheduler=cluster.scheduler_address)
    assert [d.trees is None for d in there] == [False, False, True]
    assert [d.trees for d in there] == [d.trees for d in batch(farms)]
