"""The command in processes of its own: cold as a user starts it, or forked from one that has its libraries loaded.

A forked run differs from a cold one only in what is imported already. Runs can be told to send themselves a signal at
a given call, so that a test of being interrupted in the middle of a stage does not depend on how fast the machine is.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

PIPELINE = Path(__file__).resolve().parents[1] / "pipeline"
CLEAN = {k: v for k, v in os.environ.items() if not k.startswith(("PYTEST", "SETOUT", "COV"))} | {
    "PYTHONPATH": str(PIPELINE),
    "PYTHONDONTWRITEBYTECODE": "1",
}


@dataclass(frozen=True, slots=True)
class Ran:
    """What a finished run left: exit code (as a shell gives it), stdout and stderr."""

    code: int
    out: str
    err: str


def cold(*args: str | Path, cwd: Path | None = None, env: Mapping[str, str] | None = None, **more: Any) -> Ran:
    """Run the command as a user starts it."""
    done = subprocess.run(
        [sys.executable, "-m", "setout", *map(str, args)],
        cwd=cwd,
        env=dict(CLEAN if env is None else env),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        check=False,
        timeout=120,
        **more,
    )
    return Ran(done.returncode, done.stdout.decode(), done.stderr.decode())


class Warm:
    """A process with the libraries loaded, which forks one process for every run of the command."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, str(Path(__file__))], env=CLEAN, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )

    def __call__(self, *args: str | Path, cwd: Path | None = None, at: tuple[str, int, str] | None = None, **env: str) -> Ran:
        """Run the command; ``at`` is (part of "path.py:function", number of its call, name of a signal)."""
        with tempfile.TemporaryDirectory() as scratch:
            said = [Path(scratch, name) for name in ("out", "err")]
            order = {"args": [*map(str, args)], "cwd": str(cwd or scratch), "env": env, "at": at, "said": [*map(str, said)]}
            assert self._process.stdin is not None
            assert self._process.stdout is not None
            self._process.stdin.write(json.dumps(order) + "\n")
            self._process.stdin.flush()
            code = int(self._process.stdout.readline())
            return Ran(code, *(path.read_bytes().decode() for path in said))

    def close(self) -> None:
        """End the process."""
        assert self._process.stdin is not None
        self._process.stdin.close()
        self._process.wait()


def _serve() -> None:
    """Load the libraries; then fork for every line on stdin and answer with its exit code."""
    import ezdxf
    import geopandas
    import gpxpy
    import rasterio.warp
    import scipy.spatial

    import setout.layers
    import setout.write.map.page  # noqa: F401 - loaded for the runs to come

    assert ezdxf
    assert geopandas
    assert gpxpy
    assert rasterio.warp
    assert scipy.spatial
    for line in sys.stdin:
        order = json.loads(line)
        child = os.fork()
        if child == 0:
            _run(order)
        code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        print(code, flush=True)  # noqa: T201 - the answer


def _run(order: dict[str, Any]) -> None:
    """Be the command: end the process with its exit code."""
    import runpy

    for number, name in ((1, order["said"][0]), (2, order["said"][1])):
        os.dup2(os.open(name, os.O_WRONLY | os.O_CREAT, 0o600), number)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    os.chdir(order["cwd"])
    os.environ.update(order["env"])
    sys.argv = ["setout", *order["args"]]
    if order["at"]:
        _signal_at(*order["at"])
    code: Any = 0
    try:
        runpy.run_module("setout", run_name="__main__", alter_sys=True)
    except SystemExit as end:
        code = end.code
    finally:
        sys.setprofile(None)
        sys.stdout.flush()
        sys.stderr.flush()
    os._exit(code if isinstance(code, int) else 0 if code is None else 1)


def _signal_at(part: str, number: int, name: str) -> None:
    """Send this process a signal at the so-many-th call of a function of a module."""
    left = number

    def count(frame: Any, event: str, _argument: Any) -> None:
        nonlocal left
        if event == "call" and part in f"{frame.f_code.co_filename}:{frame.f_code.co_name}":
            left -= 1
            if left == 0:
                os.kill(os.getpid(), signal.Signals[name])

    sys.setprofile(count)


if __name__ == "__main__":
    _serve()
