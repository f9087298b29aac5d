"""Work of `batch` that dies as a process does for which memory runs out; a module, so that other processes can import it."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

from setout.run import Done


def work(path: str) -> Done:
    """Kill the process where the folder's name says so; else plan nothing."""
    name = Path(path).parent.name
    if name.startswith("killed"):
        time.sleep(0.2)
        os.kill(os.getpid(), signal.SIGKILL)
    time.sleep(0.1)
    return Done(path, "", 7, 1.0)
