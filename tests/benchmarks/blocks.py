"""Invented properties of any size for timing: survey files, a DEM drawn strip by strip, and a plan file.

``python tests/benchmarks/blocks.py --acres 100 FOLDER`` writes ``site.gpkg`` (boundary with a pond as its hole, roads,
streams, powerline, wells, buildings, risers), ``dem.tif`` (1 m cells, tiled, deflate, about a fifth of the ground steeper
than 15 %, no elevation beyond 30 m outside the boundary) and ``plan.toml``. Same seed, same property.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

ACRE = 4046.8564224
CRS = "EPSG:32615"
CORNER = (500_000.0, 4_500_000.0)
NODATA = -9999.0
STRIP = 512
SETBACK = {"roads": 10.0, "streams": 30.0, "powerline": 15.0, "wells": 30.0, "buildings": 12.0}
EDGE = 6.0
REACH = 90.0
SLOPE = 15.0
STEP = 16 * 0.3048

Floats = NDArray[np.float64]
Heights = NDArray[np.float32]


# ---------------------------------------------------------------- the ground
@dataclass(frozen=True, slots=True)
class Octave:
    """Noise of one wavelength: random values on knots that many cells apart, with cubic B-splines between them."""

    wavelength: float
    amplitude: float
    folded: bool = False


HILLS = (
    Octave(700, 46.0),
    Octave(330, 20.0, folded=True),
    Octave(150, 7.5),
    Octave(70, 2.6, folded=True),
    Octave(32, 0.8),
    Octave(13, 0.12),
)
ROUGHNESS = Octave(2.0, 0.06)


def _weights(position: Floats) -> tuple[NDArray[np.int64], Heights]:
    """Return the first of the four knots around each position, and their cubic B-spline weights."""
    knot = np.floor(position).astype(np.int64)
    t = position - knot
    weights = np.stack([(1 - t) ** 3, 3 * t**3 - 6 * t**2 + 4, 1 + 3 * t + 3 * t**2 - 3 * t**3, t**3]) / 6
    return knot, weights.astype(np.float32)


def noise(octave: Octave, key: tuple[int, int], rows: tuple[int, int], columns: int) -> Heights:
    """Draw rows of an octave; every row of knots has its own stream of random numbers, so strips fit together."""
    seed, number = key
    row_knot, row_weight = _weights(np.arange(*rows) / octave.wavelength)
    col_knot, col_weight = _weights(np.arange(columns) / octave.wavelength)
    first, across = int(row_knot[0]), int(col_knot[-1]) + 4
    knots = np.stack(
        [
            np.random.Generator(np.random.Philox(key=[seed, number], counter=[0, 0, 0, r])).standard_normal(across, np.float32)
            for r in range(first, int(row_knot[-1]) + 4)
        ]
    )
    lines = sum(row_weight[k][:, None] * knots[row_knot - first + k] for k in range(4))
    height: Heights = lines[:, col_knot] * col_weight[0]
    for k in range(1, 4):
        height += lines[:, col_knot + k] * col_weight[k]
    if octave.folded:
        np.abs(height, out=height)
    height *= np.float32(octave.amplitude)
    return height


def _hills(seed: int, rows: tuple[int, int], columns: int) -> Heights:
    height = noise(HILLS[0], (seed, 0), rows, columns)
    for number, octave in enumerate(HILLS[1:], 1):
        height += noise(octave, (seed, number), rows, columns)
    return height


def steepness(seed: int, size: tuple[int, int], share: float = 0.2, limit: float = SLOPE / 100) -> float:
    """Return the factor on the hills with which a share of the ground is steeper than the limit, from samples of it."""
    rows, columns = size
    slopes = []
    for start in np.linspace(0, max(rows - 9, 0), 24).astype(int):
        down, across = np.gradient(_hills(seed, (int(start), int(start) + 8), columns))
        slopes.append(np.hypot(down, across)[1:-1].ravel())
    return float(limit / np.quantile(np.concatenate(slopes), 1 - share))


def draw_dem(path: Path, boundary: shapely.Polygon, seed: int, cell: float = 1.0, margin: float = 30.0) -> tuple[int, int]:
    """Write the DEM strip by strip and return its rows and columns."""
    import rasterio
    from rasterio.features import geometry_mask
    from rasterio.transform import from_origin
    from rasterio.windows import Window

    low_x, low_y, high_x, high_y = boundary.bounds
    left, top = np.floor(low_x - margin - 5 * cell), np.ceil(high_y + margin + 5 * cell)
    columns, rows = (int(np.ceil((high_x + margin + 5 * cell - left) / cell)), int(np.ceil((top - low_y + margin + 5 * cell) / cell)))
    factor = np.float32(steepness(seed, (rows, columns)))
    known = shapely.buffer(shapely.Polygon(boundary.exterior), margin, quad_segs=4)
    profile: dict[str, Any] = {
        "driver": "GTiff",
        "height": rows,
        "width": columns,
        "count": 1,
        "dtype": "float32",
        "crs": CRS,
        "nodata": NODATA,
        "transform": from_origin(left, top, cell, cell),
        "tiled": True,
        "blockxsize": STRIP,
        "blockysize": STRIP,
        "compress": "deflate",
        "predictor": 3,
        "num_threads": 2,
        "bigtiff": "if_safer",
    }
    with rasterio.open(path, "w", **profile) as target:
        for first in range(0, rows, STRIP):
            last = min(first + STRIP, rows)
            height = _hills(seed, (first, last), columns) * factor
            height += noise(ROUGHNESS, (seed, 99), (first, last), columns) + np.float32(400)
            beyond = geometry_mask([known], height.shape, from_origin(left, top - first * cell, cell, cell))
            height[beyond] = NODATA
            target.write(height, 1, window=Window(0, first, columns, last - first))
    return rows, columns


# ---------------------------------------------------------------- the survey
def draw_boundary(acres: float, rng: np.random.Generator) -> shapely.Polygon:
    """Draw a parcel: a long lot with a bite out of one side, a winding river front, a pond in it, turned at random."""
    share = np.linspace(0, 1, 120)
    front = 0.05 * sum(rng.normal() / k * np.sin(2 * np.pi * k * share + rng.uniform(0, 6)) for k in range(1, 9))
    jitter = rng.normal(0, 0.02, (6, 2))
    corners = np.array([[1.58, 0.95], [1.02, 1.02], [1.0, 0.7], [0.62, 0.66], [0.58, 1.0], [0.04, 0.92]]) + jitter
    lot = shapely.Polygon(np.vstack([np.column_stack([1.6 * share, np.asarray(front)]), corners]))
    turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    reach = 0.07 + 0.012 * np.cos(3 * turn + rng.uniform(0, 6)) + 0.006 * np.cos(5 * turn)
    pond = shapely.Polygon(np.column_stack([0.3 + 1.4 * reach * np.cos(turn), 0.35 + reach * np.sin(turn)]))
    shape = shapely.difference(shapely.make_valid(lot), pond)
    shape = max(shapely.get_parts(shape), key=lambda part: part.area)
    scale = (acres * ACRE / shape.area) ** 0.5
    shape = shapely.affinity.rotate(shapely.affinity.scale(shape, scale, scale, origin=(0, 0)), float(rng.uniform(10, 20)))
    low_x, low_y, _, _ = shape.bounds
    return shapely.affinity.translate(shape, CORNER[0] - low_x, CORNER[1] - low_y)


def _spots(area: shapely.Polygon, number: int, rng: np.random.Generator) -> Floats:
    """Draw places inside the boundary."""
    low, high = np.array(area.bounds[:2]), np.array(area.bounds[2:])
    found = np.empty((0, 2))
    while len(found) < number:
        tried = rng.uniform(low, high, (4 * number + 16, 2))
        found = np.vstack([found, tried[shapely.contains_xy(area, tried)]])
    return found[:number]


def _ways(area: shapely.Polygon, number: int, length: float, swing: float, rng: np.random.Generator) -> list[shapely.LineString]:
    """Draw winding lines of a length, each through a place inside the boundary."""
    share = np.linspace(-0.5, 0.5, 100)
    found = []
    for spot in _spots(area, number, rng):
        heading = rng.uniform(0, np.pi)
        along, across = np.array([np.cos(heading), np.sin(heading)]), np.array([-np.sin(heading), np.cos(heading)])
        sway = swing * sum(rng.normal() / k**1.5 * np.sin(np.pi * k * (share + 0.5)) for k in range(1, 10))
        found.append(shapely.LineString(spot + length * share[:, None] * along + length * np.asarray(sway)[:, None] * across))
    return found


def _barns(area: shapely.Polygon, number: int, rng: np.random.Generator) -> list[shapely.Polygon]:
    found = []
    for x, y in _spots(area, number, rng):
        wide, deep = rng.uniform(7, 16), rng.uniform(4, 9)
        found.append(shapely.affinity.rotate(shapely.box(x - wide, y - deep, x + wide, y + deep), float(rng.uniform(0, 180))))
    return found


def _risers(area: shapely.Polygon, rng: np.random.Generator) -> Floats:
    """Set risers every 64 m along mains 140 m apart, give or take 2 m."""
    low_x, low_y, high_x, high_y = area.bounds
    half = np.hypot(high_x - low_x, high_y - low_y) / 2
    along, across = np.meshgrid(np.arange(-half, half, 64.0), np.arange(-half, half, 140.0) + rng.uniform(0, 70))
    heading = rng.uniform(0, np.pi)
    turn = np.array([[np.cos(heading), np.sin(heading)], [-np.sin(heading), np.cos(heading)]])
    spots = np.column_stack([along.ravel(), across.ravel()]) @ turn + [(low_x + high_x) / 2, (low_y + high_y) / 2]
    spots += rng.normal(0, 2, spots.shape)
    return spots[shapely.contains_xy(area, spots)]


def draw_survey(path: Path, acres: float, seed: int) -> shapely.Polygon:
    """Write the survey's layers and return the boundary."""
    import geopandas as gpd

    rng = np.random.default_rng([seed, int(acres * 100)])
    area = draw_boundary(acres, rng)
    low_x, low_y, high_x, high_y = area.bounds
    number, length = max(1, round(acres / 80)), min(900.0, 1.1 * area.area**0.5)
    large = acres >= 40
    lines = rng.uniform(0.1, 0.9, (max(1, number // 20) if large else 0, 2))
    risers = _risers(area, rng)
    layers: dict[str, tuple[Any, dict[str, Any]]] = {
        "boundary": ([area], {"name": ["property"]}),
        "roads": (_ways(area, number, length, 0.03, rng), {"surface": ["gravel"] * number}),
        "streams": (_ways(area, max(1, number // 2) if large else 0, 1.2 * length, 0.08, rng), {}),
        "powerline": (
            [shapely.LineString([(low_x, low_y + a * (high_y - low_y)), (high_x, low_y + b * (high_y - low_y))]) for a, b in lines],
            {},
        ),
        "wells": (shapely.points(_spots(area, number, rng)), {}),
        "buildings": (_barns(area, 2 * number, rng), {}),
        "risers": (
            shapely.points(risers),
            {
                "name": [f"R{k}" for k in range(1, len(risers) + 1)],
                "pressure_kpa": np.round(rng.uniform(220, 320, len(risers)), 1),
                "flow_lps": np.round(rng.uniform(2.5, 6.0, len(risers)), 2),
            },
        ),
    }
    path.unlink(missing_ok=True)
    for name, (geometry, columns) in layers.items():
        frame = gpd.GeoDataFrame({"number": np.arange(len(geometry)), **columns}, geometry=list(geometry), crs=CRS)
        kind = {"roads": "LineString", "streams": "LineString", "powerline": "LineString"}.get(name)
        frame.to_file(path, layer=name, driver="GPKG", engine="pyogrio", geometry_type=kind)
    return area


PLAN = """name = "Invented property of {acres:g} acres"
units = "us"

[site]
boundary = "site.gpkg:boundary"
dem = ["dem.tif"]

[ground]
max_slope = "{slope:g} %"

[[setback]]
from = "boundary"
distance = "{edge:g} m"
{setbacks}
[water]
points = "site.gpkg:risers"
max_run = "{reach:g} m"

[[block]]
name = "A"
pattern = "offset"
step = "16 ft"
row_distance = "equilateral"
direction = "north-south"
"""


def write_plan(path: Path, acres: float) -> None:
    """Write the plan file: the same limits as the plain script's."""
    empty = () if acres >= 40 else ("streams", "powerline")
    setbacks = "".join(
        f'\n[[setback]]\nfrom = "site.gpkg:{name}"\ndistance = "{distance:g} m"\n'
        for name, distance in SETBACK.items()
        if name not in empty
    )
    path.write_text(PLAN.format(acres=acres, slope=SLOPE, edge=EDGE, reach=REACH, setbacks=setbacks), encoding="utf-8")


def make(folder: Path, acres: float, seed: int = 1, say: Callable[[str], object] | None = None) -> Path:
    """Write a property, unless the folder holds it already, and return its folder."""
    block = folder / f"{acres:g}_acres_seed_{seed}"
    done = block / "plan.toml"
    if done.exists():
        return block
    block.mkdir(parents=True, exist_ok=True)
    area = draw_survey(block / "site.gpkg", acres, seed)
    rows, columns = draw_dem(block / "dem.tif", area, seed)
    write_plan(done, acres)
    if say is not None:
        box = shapely.box(*area.bounds).area / area.area
        say(f"{block.name}: {area.area / ACRE:.1f} acres, box {box:.2f} times that, DEM {rows} x {columns} cells")
    return block


def main() -> None:
    """Write one property."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--acres", type=float, required=True)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("folder", type=Path)
    options = parser.parse_args()
    make(options.folder, options.acres, options.seed, lambda line: sys.stdout.write(line + "\n"))


if __name__ == "__main__":
    main()
