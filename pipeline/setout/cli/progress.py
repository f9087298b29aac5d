"""How far work is, shown on a terminal as bars for what takes more than a moment; by rich, loaded when that is so."""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, TextIO

from setout.cli.summary import one_line
from setout.progress import Say, silent

if TYPE_CHECKING:
    from rich.progress import Progress, TaskID

AFTER_S = 2.0
"""What takes less is not worth a bar [s]."""


@contextmanager
def listening(*, quiet: bool) -> Iterator[Say]:
    """Yield what hears how far work is: it shows that on a terminal, and is silent elsewhere."""
    if quiet or sys.stderr is None or not sys.stderr.isatty():
        yield silent
        return
    bars = Bars(sys.stderr)
    try:
        yield bars
    finally:
        bars.close()


class Bars:
    """A bar with the share done for every step that has begun and not ended, on a terminal, once work has lasted a while."""

    def __init__(self, terminal: TextIO, after_s: float = AFTER_S) -> None:
        self.terminal = terminal
        self.open: dict[str, tuple[int, int]] = {}
        self.shown: dict[str, TaskID] = {}
        self.progress: Progress | None = None
        self.lock = threading.Lock()
        self.timer = threading.Timer(after_s, self._appear)
        self.timer.daemon = True
        self.timer.start()

    def __call__(self, step: str, done: int, of: int) -> None:
        """Hear how far a step is."""
        with self.lock:
            self.open[step] = done, of
            if done >= of:
                del self.open[step]
            if self.progress is not None:
                self._show(self.progress, step)

    def _appear(self) -> None:
        """Show what is going on."""
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

        columns = (TextColumn("{task.description}", markup=False), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
        console = Console(file=self.terminal)
        with self.lock, suppress(OSError):  # the terminal may be gone
            if not self.timer.finished.is_set():
                self.progress = Progress(*columns, console=console, transient=True, redirect_stdout=False, refresh_per_second=4)
                for step in self.open:
                    self._show(self.progress, step)
                self.progress.start()

    def _show(self, progress: Progress, step: str) -> None:
        if step not in self.open:
            if step in self.shown:
                progress.remove_task(self.shown.pop(step))
            return
        done, of = self.open[step]
        if step not in self.shown:
            self.shown[step] = progress.add_task(one_line(step), total=of)
        progress.update(self.shown[step], completed=done, total=of)

    def close(self) -> None:
        """Take the bars away."""
        self.timer.cancel()
        with self.lock, suppress(OSError):
            if self.progress is not None:
                self.progress.stop()
