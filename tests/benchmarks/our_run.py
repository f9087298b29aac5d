"""One run of ``setout.run.plan`` with the GeoPackage alone, measured after imports: prints JSON.

``python tests/benchmarks/our_run.py BLOCK OUT``
"""

from __future__ import annotations

import argparse
import importlib
import json
import pkgutil
import sys
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2] / "pipeline")]

import setout  # noqa: E402
from benchmarks.blocks import ACRE  # noqa: E402
from benchmarks.meter import Meter  # noqa: E402

ALWAYS = (
    "numpy",
    "scipy.spatial",
    "scipy.ndimage",
    "shapely",
    "pyproj",
    "rasterio",
    "rasterio.features",
    "fiona",
    "pyogrio",
    "geopandas",
    "contourpy",
)


def import_all() -> None:
    """Import what the run would import on its way."""
    for name in ALWAYS:
        importlib.import_module(name)
    for module in pkgutil.walk_packages(setout.__path__, "setout."):
        if not module.name.endswith("__main__"):
            importlib.import_module(module.name)


def run(block: Path, out: Path) -> dict[str, object]:
    """Plan a property with all stages and the GeoPackage."""
    from setout.run import plan

    meter = Meter()
    planting = plan(block / "plan.toml", out, products=("geopackage",))
    total = meter.total()
    stages = json.loads((out / "run.json").read_text(encoding="utf-8"))["stages"]
    steps: dict[str, float] = {}
    for stage in stages:
        steps[stage["stage"]] = steps.get(stage["stage"], 0.0) + stage["cpu_s"]
    account = planting.usable.account
    return total | {"steps": steps, "trees": len(planting.trees), "usable_acres": round(float(account[-1].remaining_m2) / ACRE, 3)}


def main() -> None:
    """Run once and print JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("block", type=Path)
    parser.add_argument("out", type=Path)
    options = parser.parse_args()
    import_all()
    sys.stdout.write(json.dumps(run(options.block, options.out)) + "\n")


if __name__ == "__main__":
    main()
