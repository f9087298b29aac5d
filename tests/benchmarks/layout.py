"""Trees that the layout search gains over a plain grid, and what a search costs.

``python tests/benchmarks/layout.py [--json FILE]``: twenty irregular fields of 1 to 40 acres (plain, and with a road and
discs cut out), convex fields against the Groemer-Oler bound, and layouts per CPU second on 40 acres.
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np

if __package__ in (None, ""):
    sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2] / "pipeline")]

import shapely

from benchmarks.fields import ACRE, EQUILATERAL, STEP, Field, convex, irregular, most_points, plain_grid
from setout.geometry.rows.direction import layouts_any_way, lines_along
from setout.geometry.rows.lattice import Lattice, Layout, count_layouts, place, span_v

SQUARE = Lattice(STEP, STEP)
OFFSET = Lattice(STEP, STEP * EQUILATERAL, 0.5)
FREE = Lattice(STEP, STEP, free=True)
SETS = {"square": (SQUARE, False), "offset": (OFFSET, True), "free rows": (FREE, False)}


def best(lattice: Lattice, field: Field) -> Layout:
    """Return the layout that ``direction = "best"`` takes."""
    return layouts_any_way(lattice, field.cutters(), field.area)[0]


def gain(field: Field, lattice: Lattice, *, offset: bool) -> float:
    """Return the trees that a search gains over the plain grid, as a share."""
    plain = plain_grid(field, STEP, offset=offset)
    return best(lattice, field).count / plain - 1


def gains(*, cut: bool, seeds: range = range(20)) -> dict[str, list[float]]:
    """Return the gain on every irregular field for every set-out."""
    fields = [irregular(seed, cut=cut) for seed in seeds]
    return {name: [gain(f, lattice, offset=offset) for f in fields] for name, (lattice, offset) in SETS.items()}


def share_of_bound(field: Field) -> float:
    """Return the trees of the best equilateral offset as a share of the most that can stand on a convex field."""
    return best(OFFSET, field).count / np.floor(most_points(field.area, STEP))


def cost(acres: float = 40.0) -> dict[str, dict[str, float]]:
    """Measure layouts per CPU second, CPU seconds of a whole search, and that counts are what is then placed."""
    found = {}
    shape = irregular(3).area
    scale = (acres * ACRE / shape.area) ** 0.5
    area = shapely.segmentize(shapely.affinity.scale(shape, scale, scale), shape.length * scale / 1500)
    field = Field("40 acres", area)
    cutters = field.cutters()
    for name, (lattice, _) in SETS.items():
        layouts_any_way(lattice, cutters, area)
        clock = time.process_time()
        ranked = layouts_any_way(lattice, cutters, area)
        search = time.process_time() - clock
        along = lines_along(cutters, 30.0)
        firsts = span_v(along)[0] + np.arange(16) / 16 * lattice.period
        clock, rounds = time.process_time(), 40
        for _ in range(rounds):
            count_layouts(lattice, along, firsts, 30.0)
        counted = time.process_time() - clock
        placed, _ = place(lattice, lines_along(cutters, ranked[0].bearing), ranked[0])
        found[name] = {
            "layouts_per_cpu_s": 16 * rounds / counted,
            "search_cpu_s": search,
            "layouts_searched": len(ranked),
            "edges": len(cutters.ground),
            "trees": ranked[0].count,
            "placed_less_counted": len(placed.u) - ranked[0].count,
        }
    return found


def measure() -> dict[str, Any]:
    """Measure everything."""
    report: dict[str, Any] = {"plain": gains(cut=False), "cut": gains(cut=True)}
    fields = [irregular(seed) for seed in range(20)]
    report["acres"] = [f.acres for f in fields]
    blocks = [convex(seed, 5.0, 40.0) for seed in range(20)]
    report["bound"] = sorted((f.acres, share_of_bound(f)) for f in blocks)
    report["cost"] = cost()
    return report


def show(report: dict[str, Any]) -> str:
    """Lay the figures out as tables."""
    lines = ["gain over the plain grid, 20 fields [%]", f"{'':<12}{'plain: median':>16}{'least':>8}{'cut: median':>16}{'least':>8}"]
    for name in SETS:
        row = [f(report[kind][name]) * 100 for kind in ("plain", "cut") for f in (statistics.median, min)]
        lines.append(f"{name:<12}{row[0]:16.2f}{row[1]:8.2f}{row[2]:16.2f}{row[3]:8.2f}")
    lines += ["", f"{'field':>5}{'acres':>8}" + "".join(f"{kind + ' ' + name:>18}" for kind in ("plain", "cut") for name in SETS)]
    for k, acres in enumerate(report["acres"]):
        row = "".join(f"{report[kind][name][k] * 100:18.2f}" for kind in ("plain", "cut") for name in SETS)
        lines.append(f"{k:>5}{acres:8.2f}" + row)
    lines += ["", "share of the Groemer-Oler bound, convex fields: acres share"]
    lines += [f"{acres:8.2f}{share:8.4f}" for acres, share in report["bound"]]
    lines += ["", "search of 40 acres"]
    for name, row in report["cost"].items():
        lines.append(f"{name:<12}" + "  ".join(f"{key} {value:.4g}" for key, value in row.items()))
    return "\n".join(lines)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", type=Path)
    options = parser.parse_args()
    report = measure()
    sys.stdout.write(show(report) + "\n")
    if options.json:
        options.json.write_text(json.dumps(report, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
