"""Ours against the plain script, in one sitting on the same property: ratios of CPU seconds, never absolute times.

``python tests/benchmarks/ratios.py --acres 100 1000 [--rounds 3] [--no-union] [--ours-only] [--folder F] [--json F]``

Each run is a fresh process, ours and theirs in turn; times start after imports; the median of the rounds counts. The plain
script is run in two ways: *packed* (the steep polygons are packed into one multipolygon, as a careful user may) and
*unioned*. Ours writes the GeoPackage and run.json only, as the plain script has no map, rasters, report or packet.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import statistics
import subprocess
import sys
import tempfile
from itertools import pairwise
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from benchmarks import blocks

HERE = Path(__file__).parent
COUNTERPARTS: tuple[tuple[str, tuple[str, ...], tuple[str, ...]], ...] = (
    ("read", ("read the plan file", "read the survey", "survey"), ("read",)),
    ("steep ground", ("terrain",), ("slope",)),
    ("usable ground", ("reach", "exclude"), ("polygonise", "union", "buffers", "difference", "reach")),
    ("placing", ("fill", "assign"), ("square grid", "square join", "offset grid", "offset join")),
    ("look-ups, check", ("look at every tree", "check"), ("nearest water", "nearest tree")),
    ("room of trees", ("room",), ()),
    ("contours", ("contours",), ()),
    ("write", ("write plan.gpkg",), ("write",)),
)
"""What is compared: a name, our stages, the plain script's steps."""

Run = dict[str, Any]


def run_once(script: str, *arguments: str) -> Run:
    """Run a script in a fresh process and return what it prints."""
    environment = os.environ | {"PYTHONHASHSEED": "0"}
    done = subprocess.run([sys.executable, str(HERE / script), *arguments], check=False, capture_output=True, text=True, env=environment)
    if done.returncode:
        sys.exit(f"{script} {' '.join(arguments)} failed:\n{done.stderr}")
    result: Run = json.loads(done.stdout.strip().splitlines()[-1])
    return result


def middle(runs: list[Run]) -> Run:
    """Return the run of median CPU time, with the medians of its steps."""
    runs = sorted(runs, key=lambda run: run["cpu_s"])
    steps = {name: statistics.median(run["steps"].get(name, 0.0) for run in runs) for name in runs[0]["steps"]}
    return runs[len(runs) // 2] | {"cpu_s": statistics.median(run["cpu_s"] for run in runs), "steps": steps}


def compare(block: Path, scratch: Path, rounds: int, ways: list[str]) -> dict[str, Run]:
    """Run all ways in turn."""
    runs: dict[str, list[Run]] = {way: [] for way in ways}
    for _ in range(rounds):
        for way in ways:
            if way == "ours":
                runs[way].append(run_once("our_run.py", str(block), str(scratch / way)))
            else:
                flags = ["--union"] if way == "unioned" else []
                runs[way].append(run_once("plain_script.py", str(block), str(scratch / way), *flags))
    return {way: middle(found) for way, found in runs.items()}


def seconds(run: Run, steps: tuple[str, ...]) -> float:
    """Add up steps."""
    return float(sum(run["steps"].get(name, 0.0) for name in steps))


def exponent(small: float, large: float, acres: tuple[float, float]) -> float | None:
    """Return the power of the acres with which a cost grows; None where it is too small to say."""
    if min(small, large) < 0.02:
        return None
    return math.log(large / small) / math.log(acres[1] / acres[0])


def table(results: dict[float, dict[str, Run]]) -> list[str]:
    """Lay the ratios out."""
    lines = []
    for acres, found in results.items():
        ours = found["ours"]
        lines += ["", f"{acres:g} acres: {ours['trees']:,} trees; ours {ours['cpu_s']:.2f} CPU s, {memory(ours)}"]
        plain = {way: run for way, run in found.items() if way != "ours"}
        for way, run in plain.items():
            lines.append(
                f"  {way}: {run['cpu_s']:.2f} CPU s = {run['cpu_s'] / ours['cpu_s']:.2f} x ours, {memory(run)}; "
                f"trees {ours['trees'] / run['trees'] - 1:+.2%}, usable ground {ours['usable_acres'] / run['usable_acres'] - 1:+.3%}"
            )
        lines.append(f"  {'':<17}{'ours':>8}" + "".join(f"{way:>10}{'ratio':>8}" for way in plain))
        for name, stages, steps in COUNTERPARTS:
            own = seconds(ours, stages)
            row = f"  {name:<17}{own:8.3f}"
            for run in plain.values():
                theirs = seconds(run, steps)
                row += f"{theirs:10.3f}{theirs / own if own else math.inf:8.2f}" if steps else f"{'-':>10}{'-':>8}"
            lines.append(row)
        named = {stage for _, stages, _ in COUNTERPARTS for stage in stages}
        other = ours["cpu_s"] - seconds(ours, tuple(named))
        lines.append(f"  {'all else':<17}{other:8.3f}" + f"{'-':>10}{'-':>8}" * len(plain))
    return lines


def memory(run: Run) -> str:
    """Say how much memory a run took above its start, in all and a tree."""
    return f"+{run['memory_mb']:.0f} MB ({run['memory_mb'] * 2**20 / run['trees']:.0f} bytes a tree)"


def growth(results: dict[float, dict[str, Run]]) -> list[str]:
    """Lay the growth exponents out."""
    sizes, lines = sorted(results), []
    for small, large in pairwise(sizes):
        lines += ["", f"growth {small:g} to {large:g} acres: cost ~ acres to the power of"]
        for way in results[small].keys() & results[large].keys():
            one, other = results[small][way], results[large][way]
            steps = COUNTERPARTS if way == "ours" else ()
            parts = [(name, seconds(one, own), seconds(other, own)) for name, own, _ in steps]
            shown = [(name, exponent(a, b, (small, large))) for name, a, b in [("total", one["cpu_s"], other["cpu_s"]), *parts]]
            lines.append(f"  {way:<8}" + ", ".join(f"{name} {value:.2f}" for name, value in shown if value is not None))
    return lines


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--acres", type=float, nargs="+", default=[100.0, 1000.0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--no-union", action="store_true", help="leave out the plain script's slow way")
    parser.add_argument("--ours-only", action="store_true")
    parser.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()) / "setout-benchmarks", help="where properties are kept")
    parser.add_argument("--json", type=Path)
    options = parser.parse_args()
    ways = ["ours"] + ([] if options.ours_only else ["packed"] if options.no_union else ["packed", "unioned"])
    results: dict[float, dict[str, Run]] = {}
    with tempfile.TemporaryDirectory() as scratch:
        for acres in sorted(options.acres):
            block = blocks.make(options.folder, acres, options.seed, lambda line: sys.stdout.write(line + "\n"))
            results[acres] = compare(block, Path(scratch), options.rounds, ways)
    sys.stdout.write("\n".join([*table(results), *growth(results), ""]))
    if options.json:
        options.json.write_text(json.dumps(results, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
