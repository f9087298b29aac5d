"""A stopwatch for the stages."""

from __future__ import annotations

import gc
import resource
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from setout.progress import Say, counted, silent


@dataclass
class Steps:
    """A stopwatch for the stages: seconds of wall and processor, and peak memory of the process, per stage.

    Attributes
    ----------
    names : stages to come, in order; some may be left out
    say : hears of each stage, and of all together
    log : of each stage that is done, what it took
    """

    names: tuple[str, ...] = ()
    say: Say = silent
    log: list[dict[str, Any]] = field(default_factory=list)

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        """Time one stage and say that it begins and ends."""
        if self.names:
            self.say("stages", self.names.index(name), len(self.names))
        wall, cpu = time.perf_counter(), time.process_time()
        with counted(name, 1, self.say):
            yield
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        self.log.append(
            {
                "stage": name,
                "wall_s": round(time.perf_counter() - wall, 4),
                "cpu_s": round(time.process_time() - cpu, 4),
                "peak_memory_mb": round(peak / (1024**2 if sys.platform == "darwin" else 1024), 1),
            }
        )

    def done(self) -> None:
        """Say that there is no more to come."""
        self.say("stages", len(self.names), len(self.names))


Placed = Callable[[], None]
"""Called when results have been put in place: what is interrupted afterwards can say so."""


@contextmanager
def undisturbed() -> Iterator[None]:
    """Keep what is loaded already out of the rounds of the garbage collector: a tenth of a second each with our libraries."""
    if gc.get_freeze_count():  # whoever calls us has done so
        yield
        return
    gc.freeze()
    try:
        yield
    finally:
        gc.unfreeze()
