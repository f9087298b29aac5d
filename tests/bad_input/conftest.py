"""What the tests of bad input share: one warm process, one sound survey, and a farm with an earlier result."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from bad import proper
from command import Warm
from farm import Farm, snapshot, write_survey


@pytest.fixture(scope="session")
def warm() -> Iterator[Warm]:
    """Return what runs the command."""
    process = Warm()
    yield process
    process.close()


@pytest.fixture(scope="session")
def sound(tmp_path_factory, warm) -> Path:
    """Return a folder with the sound farm's survey and the results of planning it."""
    folder = tmp_path_factory.mktemp("sound")
    write_survey(folder)
    farm = Farm(tmp_path_factory.mktemp("made"), folder)
    ran = warm("plan", farm.write(), "--quiet")
    assert (ran.code, ran.err) == (0, "")
    shutil.move(farm.folder / "out", folder / "out")
    return folder


@pytest.fixture
def farm(tmp_path, sound) -> Farm:
    """Return a sound farm with an earlier result, to be spoiled."""
    return Farm(tmp_path / "farm", sound)


@pytest.fixture
def refused(warm, farm) -> Callable[..., list[str]]:
    """Return what plans the farm and checks that it is refused as it has to be; it returns the lines on stderr."""

    def plan(*said: str, code: int = 2, **how: object) -> list[str]:
        path = how.pop("path", None) or farm.write()
        before = snapshot(farm.folder)
        ran = warm("plan", path, "--quiet", **how)
        lines = proper(ran, code)
        for text in said:
            assert text in ran.err
        assert snapshot(farm.folder) == before
        return lines

    return plan
