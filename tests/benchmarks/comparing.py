"""Twelve options against one plan, on the same ground: a ratio of CPU seconds.

``python tests/benchmarks/comparing.py [--acres 100] [--folder F]``: a block of semi-dwarf apples on invented ground, with
terrain, light and growth; the plan writes all it writes for a grower. The goal is less than 4.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2] / "pipeline")]

import setout  # noqa: E402
from benchmarks import blocks  # noqa: E402

STEPS = ("6 ft", "8 ft", "9 ft", "10 ft", "11 ft", "12 ft", "13 ft", "14 ft", "15 ft", "18 ft", "20 ft", "24 ft")
PLANTS = 'plants = [{ plant = "apple, semi-dwarf" }]\n'


def cpu(work: object, *args: object, **more: object) -> float:
    """Return the CPU seconds that a call takes."""
    start = time.process_time()
    work(*args, **more)  # type: ignore[operator]
    return time.process_time() - start


def main() -> None:
    """Measure once, after a run that loads the libraries."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--acres", type=float, default=100.0)
    parser.add_argument("--folder", type=Path, default=None)
    options = parser.parse_args()
    folder = options.folder or Path(tempfile.mkdtemp())
    for acres in (10.0, options.acres):
        block = blocks.make(folder, acres)
        plan = block / "compared.toml"
        plan.write_text((block / "plan.toml").read_text(encoding="utf-8") + PLANTS, encoding="utf-8")
        one = cpu(setout.plan, plan, block / "out")
        several = cpu(setout.compare, plan, block / "side", steps=STEPS)
    sys.stdout.write(f"{options.acres:g} acres: one plan {one:.2f} CPU s, 12 options {several:.2f} = {several / one:.2f} x\n")


if __name__ == "__main__":
    main()
