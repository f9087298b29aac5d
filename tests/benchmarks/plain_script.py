"""The straightforward way with general tools, as a yardstick: raster slope, polygons, buffers, overlay, point grids, joins.

``python tests/benchmarks/plain_script.py BLOCK OUT [--union]`` prints its figures as JSON. It is careful where care is free
(projected coordinates, spatial indexes, a fast writer) and plain elsewhere. With ``--union`` the steep polygons are unioned
before they are taken off; without, they are packed into one multipolygon, which a user may who knows that they never overlap.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio
import shapely
from rasterio import features
from shapely.geometry import shape

sys.path.insert(0, str(Path(__file__).parents[1]))

from benchmarks.blocks import ACRE, EDGE, REACH, SETBACK, SLOPE, STEP
from benchmarks.meter import Meter


def steep_polygons(slope: Path) -> list[shapely.Geometry]:
    """Outline the cells that are steeper than the limit."""
    with rasterio.open(slope) as source:
        steep = source.read(1) > SLOPE
        outlines = features.shapes(steep.astype(np.uint8), mask=steep, transform=source.transform)
        return [shape(outline) for outline, _ in outlines]


def point_grid(boundary: gpd.GeoDataFrame, *, offset: bool) -> gpd.GeoDataFrame:
    """Lay points over the bounding box."""
    low_x, low_y, high_x, high_y = boundary.total_bounds
    apart = STEP * 3**0.5 / 2 if offset else STEP
    x, y = np.meshgrid(np.arange(low_x, high_x + STEP, STEP), np.arange(low_y, high_y + apart, apart))
    if offset:
        x[1::2] += STEP / 2
    return gpd.GeoDataFrame(geometry=gpd.points_from_xy(x.ravel(), y.ravel()), crs=boundary.crs)


def usable_ground(
    meter: Meter, boundary: gpd.GeoDataFrame, things: dict[str, gpd.GeoDataFrame], risers: gpd.GeoDataFrame, steep: shapely.Geometry
) -> gpd.GeoDataFrame:
    """Take setbacks and steep ground off the property and keep what the risers reach."""
    with meter.step("buffers"):
        clear = pd.concat([things[name].buffer(distance) for name, distance in SETBACK.items()]).union_all()
    with meter.step("difference"):
        left = boundary.geometry.union_all().buffer(-EDGE).difference(clear).difference(steep)
    with meter.step("reach"):
        left = left.intersection(risers.buffer(REACH).union_all())
        parts = gpd.GeoDataFrame(geometry=[left], crs=boundary.crs).explode(index_parts=False, ignore_index=True)
        parts = parts[parts.geom_type == "Polygon"]
        parts["part"] = np.arange(len(parts))
    return parts


def run(block: Path, out: Path, *, union: bool) -> dict[str, object]:
    """Plan a property the plain way."""
    out.mkdir(parents=True, exist_ok=True)
    (out / "plan.gpkg").unlink(missing_ok=True)
    meter = Meter()
    with meter.step("read"):
        boundary = gpd.read_file(block / "site.gpkg", layer="boundary")
        things = {name: gpd.read_file(block / "site.gpkg", layer=name) for name in SETBACK}
        risers = gpd.read_file(block / "site.gpkg", layer="risers")
    with meter.step("slope"):
        command = ["gdaldem", "slope", "-q", "-p", "-compute_edges", "-co", "COMPRESS=DEFLATE", "-co", "TILED=YES"]
        subprocess.run([*command, str(block / "dem.tif"), str(out / "slope.tif")], check=True)
    with meter.step("polygonise"):
        outlines = steep_polygons(out / "slope.tif")
        table = gpd.GeoDataFrame(geometry=outlines, crs=boundary.crs)
    with meter.step("union"):
        steep = table.geometry.union_all() if union else shapely.multipolygons(table.geometry.to_numpy())
    parts = usable_ground(meter, boundary, things, risers, steep)
    found = []
    for offset in (False, True):
        with meter.step("offset grid" if offset else "square grid"):
            grid = point_grid(boundary, offset=offset)
        with meter.step("offset join" if offset else "square join"):
            found.append(gpd.sjoin(grid, parts, predicate="within", how="inner").drop(columns="index_right"))
    trees = max(found, key=len).reset_index(drop=True)
    trees["tree_id"] = np.arange(len(trees))
    candidates = len(grid)
    del grid, found
    with meter.step("nearest water"):
        trees = gpd.sjoin_nearest(trees, risers, distance_col="water_m").drop_duplicates("tree_id").drop(columns="index_right")
    with meter.step("nearest tree"):
        own = trees[["tree_id", "geometry"]]
        pairs = gpd.sjoin_nearest(own, own, distance_col="nearest_m", exclusive=True)
        trees["nearest_m"] = pairs.groupby("tree_id_left")["nearest_m"].min().reindex(trees["tree_id"]).to_numpy()
    with meter.step("write"):
        trees.to_file(out / "plan.gpkg", layer="trees", driver="GPKG", engine="pyogrio")
        parts.to_file(out / "plan.gpkg", layer="usable", driver="GPKG", engine="pyogrio")
    return meter.total() | {
        "trees": len(trees),
        "candidates": candidates,
        "steep_polygons": len(outlines),
        "usable_parts": len(parts),
        "usable_acres": round(float(parts.area.sum()) / ACRE, 3),
    }


def main() -> None:
    """Run once and print JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("block", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--union", action="store_true")
    options = parser.parse_args()
    sys.stdout.write(json.dumps(run(options.block, options.out, union=options.union)) + "\n")


if __name__ == "__main__":
    main()
