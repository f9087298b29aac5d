"""CPU seconds and peak memory of steps, measured inside the process that does them."""

from __future__ import annotations

import os
import resource
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path


def cpu_s() -> float:
    """Return user and system seconds of this process, its threads and its finished children."""
    used = os.times()
    return used.user + used.system + used.children_user + used.children_system


def _status(key: str) -> float:
    for line in Path("/proc/self/status").read_text(encoding="ascii").splitlines():
        if line.startswith(key + ":"):
            return int(line.split()[1]) / 1024
    return 0.0


def peak_mb() -> float:
    """Return the peak memory of this process [MB]."""
    return _status("VmHWM") or resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (2**20 if sys.platform == "darwin" else 1024)


class Meter:
    """Steps with their CPU seconds; memory counts from where the meter was made."""

    def __init__(self) -> None:
        with suppress(OSError):
            Path("/proc/self/clear_refs").write_text("5", encoding="ascii")  # the peak starts again at what is held now
        self.steps: dict[str, float] = {}
        self.before_mb = peak_mb()
        self.started = cpu_s()

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        """Measure one step."""
        before = cpu_s()
        yield
        self.steps[name] = round(cpu_s() - before, 4)

    def total(self) -> dict[str, object]:
        """Return CPU seconds since the start, memory above the start, and that of the largest child [MB]."""
        return {
            "cpu_s": round(cpu_s() - self.started, 4),
            "memory_mb": round(peak_mb() - self.before_mb, 1),
            "child_mb": round(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024, 1),
            "steps": self.steps,
        }
