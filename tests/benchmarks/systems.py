"""A plan with six blocks of different patterns against one offset block on the same property: CPU time per tree.

``python tests/benchmarks/systems.py --acres 1000 [--contour] [--rounds 1] [--folder F] [--json F]``

The property of ``blocks.py`` is divided into six strips of like width: an offset, a double hedgerow, a trellis, raised beds,
rows along a guide line, and pairs; with ``--contour``, contour rows in place of the pairs. Each run is a fresh process,
times start after imports. Both runs write the GeoPackage and run.json only.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import shapely

sys.path.insert(0, str(Path(__file__).parents[1]))

from benchmarks import blocks
from benchmarks.ratios import run_once

PATTERNS: dict[str, str] = {
    "offset": 'pattern = "offset"\nstep = "16 ft"\ndirection = "north-south"',
    "hedge": 'pattern = "hedgerow"\nstep = "4 ft"\nrow_distance = "16 ft"\nlines = 2\nline_distance = "3 ft"\ndirection = "north-south"',
    "vines": 'pattern = "trellis"\nstep = "8 ft"\nrow_distance = "10 ft"\ndirection = "N 20 E"',
    "beds": 'pattern = "bed"\nstep = "6 ft"\nrow_distance = "8 ft"\ndirection = "north-south"\nbed = { length = "12 ft", width = "4 ft" }',
    "guide": 'pattern = "rectangular"\nstep = "14 ft"\nrow_distance = "18 ft"\ndirection = "guide:strips.gpkg:guide"',
    "pairs": 'pattern = "rectangular"\nstep = "18 ft"\nrow_distance = "20 ft"\ndirection = "longest side"\npair = { distance = "2 ft" }',
}
CONTOUR = 'pattern = "contour rows"\nstep = "14 ft"\nrow_distance = "16 ft"\nrow_distance_max = "28 ft"\nfall = { most = "4 %" }'


def make_strips(block: Path, *, contour: bool = False) -> Path:
    """Write the strips, the guide line and the plan file with six blocks beside a property's own; return the folder."""
    import geopandas as gpd

    area = gpd.read_file(block / "site.gpkg", layer="boundary").geometry.iloc[0]
    low_x, low_y, high_x, high_y = area.bounds
    edges = np.linspace(low_x, high_x, len(PATTERNS) + 1)
    strips = [shapely.box(a, low_y, b, high_y) for a, b in pairwise(edges)]
    where = list(PATTERNS).index("guide")
    x = np.linspace(edges[where], edges[where + 1], 60)
    wave = (low_y + high_y) / 2 + 0.06 * (high_y - low_y) * np.sin((x - x[0]) / (x[-1] - x[0]) * 4)
    gpd.GeoDataFrame({"name": list(PATTERNS)}, geometry=strips, crs=blocks.CRS).to_file(block / "strips.gpkg", layer="strips")
    guide = [shapely.LineString(np.column_stack([x, wave]))]
    gpd.GeoDataFrame(geometry=guide, crs=blocks.CRS).to_file(block / "strips.gpkg", layer="guide")
    folder = block.with_name(block.name + "_systems")
    folder.mkdir(exist_ok=True)
    for name in ("site.gpkg", "dem.tif", "strips.gpkg"):
        (folder / name).unlink(missing_ok=True)
        (folder / name).symlink_to(block.resolve() / name)
    head = (block / "plan.toml").read_text(encoding="utf-8").partition("[[block]]")[0]
    patterns = PATTERNS | ({"pairs": CONTOUR} if contour else {})
    tables = [f'[[block]]\nname = "{name}"\narea = "strips.gpkg:strips[name={name}]"\n{text}\n' for name, text in patterns.items()]
    (folder / "plan.toml").write_text(head + "\n".join(tables), encoding="utf-8")
    return folder


def per_tree(run: dict[str, Any]) -> float:
    """Return the CPU time per tree [us]."""
    return 1e6 * float(run["cpu_s"]) / int(run["trees"])


def compare(block: Path, rounds: int, *, contour: bool = False) -> dict[str, Any]:
    """Run both plans in turn and return their medians and the ratio of time per tree."""
    folder = make_strips(block, contour=contour)
    found: dict[str, list[dict[str, Any]]] = {"one": [], "six": []}
    with tempfile.TemporaryDirectory() as scratch:
        for _ in range(rounds):
            for name, where in (("one", block), ("six", folder)):
                found[name].append(run_once("our_run.py", str(where), f"{scratch}/{name}"))
    middle = {name: sorted(runs, key=per_tree)[len(runs) // 2] for name, runs in found.items()}
    return middle | {
        "us_per_tree": {k: round(per_tree(v), 2) for k, v in middle.items()},
        "ratio": round(per_tree(middle["six"]) / per_tree(middle["one"]), 3),
    }


def main() -> None:
    """Compare and print JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--acres", type=float, default=1000.0)
    parser.add_argument("--contour", action="store_true")
    parser.add_argument("--rounds", type=int, default=1)
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--json", type=Path)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        found = compare(blocks.make(options.folder or Path(scratch), options.acres), options.rounds, contour=options.contour)
    text = json.dumps(found, indent=1)
    sys.stdout.write(text + "\n")
    if options.json:
        options.json.write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
