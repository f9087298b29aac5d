"""Many plans at once: the same results as one by one, faults kept apart, a cluster where there is one."""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path

import pytest

import setout
from command import cold
from farm import Farm, write_survey
from setout.errors import SetoutError
from setout.run import batch


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


def test_a_cluster_that_does_not_answer_is_a_fault() -> None:
    ran = cold("batch", "plan.toml", "--scheduler", "nowhere")
    assert ran.code == 2
    assert "Traceback" not in ran.err
    assert "--scheduler" in ran.err


def test_a_dask_cluster_gives_what_this_machine_gives(farms: list[Path]) -> None:
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, protocol="tcp", dashboard_address=None
    ) as cluster:
        there = batch(farms, scheduler=cluster.scheduler_address)
    assert [d.trees is None for d in there] == [False, False, True]
    assert [d.trees for d in there] == [d.trees for d in batch(farms)]
