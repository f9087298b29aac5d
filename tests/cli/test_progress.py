"""How far work is: what listeners hear, and what a terminal shows of it."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import pytest

import setout
from command import cold
from farm import Farm, write_survey
from setout.cli.progress import Bars, listening
from setout.progress import silent


class Recorder:
    """Keeps what it hears, by step."""

    def __init__(self) -> None:
        self.heard: dict[str, list[tuple[int, int]]] = {}

    def __call__(self, step: str, done: int, of: int) -> None:
        self.heard.setdefault(step, []).append((done, of))

    def check(self, step: str) -> None:
        """Look whether a step goes from nothing to all, in one direction, of one number."""
        done = [d for d, _ in self.heard[step]]
        (of,) = {o for _, o in self.heard[step]}
        assert (done[0], done[-1]) == (0, of), step
        assert done == sorted(done), step


class Terminal(io.StringIO):
    """Takes what a terminal would show."""

    def isatty(self) -> bool:
        return True


@pytest.fixture
def farm(tmp_path: Path) -> Farm:
    write_survey(tmp_path / "sound")
    farm = Farm(tmp_path / "farm", tmp_path / "sound")
    farm.block["step"] = "6 m"
    farm.block.update(spread="4 m", height="4 m")
    return farm


@pytest.mark.parametrize("verb", ["plan", "check", "compare"])
def test_every_step_goes_from_nothing_to_all(farm: Farm, verb: str) -> None:
    path, recorder = farm.write(), Recorder()
    if verb == "check":
        setout.plan(path, products=("geopackage",))
        setout.check(path, f"{farm.folder}/out/plan.gpkg:trees", say=recorder)
    elif verb == "compare":
        setout.compare(path, steps=["5 m", "7 m"], say=recorder)
    else:
        setout.plan(path, say=recorder)
    for step in recorder.heard:
        recorder.check(step)
    parts = {"check": {"trees in the light"}, "compare": {"options"}}.get(verb, {"trees in the light", "files of the packet", "tiles"})
    assert parts | {"stages", "terrain"} <= set(recorder.heard)
    assert all(len(recorder.heard[step]) > 2 for step in parts & {"files of the packet", "options"})


def test_a_stage_that_is_announced_to_nobody_is_an_error() -> None:
    """What comes next must be in the list that the share is of."""
    from setout.run.steps import Steps

    with pytest.raises(ValueError, match="not in tuple"), Steps(("read", "write")).step("fly"):
        pass


def test_a_pipe_gets_no_progress(farm: Farm) -> None:
    assert cold("plan", farm.write(), "--only", "geopackage").err == ""


@pytest.mark.parametrize(("terminal", "quiet"), [(True, True), (False, False)])
def test_only_a_terminal_that_wants_it_hears(monkeypatch: pytest.MonkeyPatch, *, terminal: bool, quiet: bool) -> None:
    monkeypatch.setattr(sys, "stderr", Terminal() if terminal else io.StringIO())
    with listening(quiet=quiet) as say:
        assert say is silent


def shown(after_s: float, monkeypatch: pytest.MonkeyPatch) -> str:
    """Return what a terminal takes of a step of 8 parts, told as 2, 5 and 8 of them are done."""
    monkeypatch.setenv("TERM", "xterm")
    terminal = Terminal()
    bars = Bars(terminal, after_s)
    bars("ti\x1bles [bold]", 2, 8)
    if after_s == 0:
        bars.timer.join()
    bars("ti\x1bles [bold]", 5, 8)
    if bars.progress is not None:
        bars.progress.refresh()
    bars("ti\x1bles [bold]", 8, 8)
    bars.close()
    return terminal.getvalue()


def test_what_takes_long_is_shown_with_the_share_done(monkeypatch: pytest.MonkeyPatch) -> None:
    text = shown(0, monkeypatch)
    assert "2/8" in text
    assert "5/8" in text
    assert r"ti\x1bles [bold]" in text
    assert text.endswith("\x1b[2K\x1b[?25h") or "\x1b[?25h" in text  # the cursor is shown again (DEC private mode 25, reset and set)


def test_what_is_done_at_once_is_not_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    assert shown(60, monkeypatch) == ""
