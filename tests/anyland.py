"""Random land to plan on: boundaries, blocks, features and DEMs, as surveys have them and worse.

Everything lies in a local plane round the origin [m]; the same generator state gives the same land.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from pyproj import CRS, Transformer
from shapely.affinity import rotate, translate

from invented import Sheet, field, hills, objects

Rng = np.random.Generator
Geometry = shapely.Geometry
SLIPS = (0.0, 0.0, 1e-9, 1e-7, 1e-5, 1e-4, 1e-3, 0.01, 0.2)
"""How far edges that should be one lie apart [m]: not at all, by rounding, by drawing."""


def slip(rng: Rng) -> float:
    """Return a small distance of either sign [m]."""
    return float(rng.choice(SLIPS) * rng.choice([-1, 1]))


def pick(rng: Rng, items: Sequence[Any]) -> Any:
    return items[int(rng.integers(len(items)))]


def rectangle(rng: Rng, wide: float, high: float) -> Geometry:
    return shapely.box(-wide / 2, -high / 2, wide / 2, high / 2)


def convex(rng: Rng, size: float) -> Geometry:
    return shapely.convex_hull(shapely.MultiPoint(rng.uniform(-size / 2, size / 2, (12, 2))))


def ell(rng: Rng, size: float) -> Geometry:
    """Return an L, its notch cut to whole metres."""
    notch = np.round(rng.uniform(0.2, 0.6, 2) * size)
    return rectangle(rng, size, size) - shapely.box(size / 2 - notch[0], size / 2 - notch[1], size, size)


def necked(rng: Rng, size: float) -> Geometry:
    """Return two fields joined by a narrow neck."""
    wide = float(pick(rng, [0.01, 0.5, 3.0, 12.0]))
    west, east = shapely.box(-size / 2, -size / 3, -10, size / 3), shapely.box(10, -size / 4, size / 2, size / 3)
    return shapely.union_all([west, east, shapely.box(-11, 0, 11, wide)])


def parcels(rng: Rng, size: float) -> Geometry:
    """Return two parcels: apart by a road, side by side but for a slip, or touching at a corner."""
    west = shapely.box(-size / 2, -size / 3, 0, size / 3)
    gap, up = pick(rng, [(8.0, 0.0), (slip(rng), 7.0), (0.0, size * 2 / 3)])
    return shapely.union_all([west, shapely.box(gap, -size / 3 + up, size / 2, size / 3 + up)])


def boundary(rng: Rng, size: float) -> Geometry:
    """Return the land of a property."""
    kind = pick(rng, ["rectangle", "convex", "concave", "holed", "ell", "necked", "parcels"])
    if kind in ("concave", "holed"):
        land = field(int(rng.integers(10_000)), size, hole=kind == "holed")
    elif kind == "rectangle":
        land = rectangle(rng, size, size * rng.uniform(0.5, 1.0))
    else:
        land = {"convex": convex, "ell": ell, "necked": necked, "parcels": parcels}[kind](rng, size)
    if rng.random() < 0.3:
        land = spiked(rng, land)
    if rng.random() < 0.5:
        land = stitched(rng, land)
    return land


def spiked(rng: Rng, land: Geometry) -> Geometry:
    """Add a sliver that sticks out of the land, or cut one into it."""
    x, y = shapely.get_coordinates(land.representative_point())[0]
    wide, angle = float(pick(rng, [1e-4, 0.01, 0.4, 2.0])), rng.uniform(0, 360)
    spike = rotate(shapely.Polygon([(x, y), (x + 400, y), (x + 400, y + wide)]), angle, origin=(x, y))
    near = land.buffer(15)
    made = land | (spike & near) if rng.random() < 0.5 else land - (spike - land.buffer(-25))
    return shapely.MultiPolygon([p for p in shapely.get_parts(made) if p.geom_type == "Polygon" and p.area > 1])


def stitched(rng: Rng, land: Geometry) -> Geometry:
    """Put more corners on the outlines: in line, nearly in line, and the same corner twice or nearly so."""
    out = []
    for part in shapely.get_parts(land):
        rings = [_stitched(rng, shapely.get_coordinates(ring)) for ring in shapely.get_rings(part)]
        polygon = shapely.Polygon(rings[0], rings[1:])
        out.append(polygon if polygon.is_valid else part)
    made = shapely.union_all(out)
    return made if made.is_valid and abs(made.area - land.area) < 1 else land


def _stitched(rng: Rng, xy: np.ndarray) -> np.ndarray:
    out = [xy[0]]
    for one, other in pairwise(xy):
        if rng.random() < 0.4:
            middle = one + (other - one) * rng.uniform(0.1, 0.9)
            out.append(middle + rng.choice([0, 0, 1e-9, 1e-6, 1e-4]) * rng.normal(size=2))
        if rng.random() < 0.2:
            out.append(other + rng.choice([0, 1e-9, 1e-7, 1e-4, 1e-3]) * rng.normal(size=2))
        out.append(other)
    return np.array(out)


def blocks(rng: Rng, land: Geometry, count: int) -> list[Geometry | None]:
    """Return the areas of blocks: None takes what is left."""
    kind = pick(rng, ["random", "strips", "grid", "cut", "whole", "inset", "copies"])
    low_x, low_y, high_x, high_y = land.bounds
    if count == 1:
        return [pick(rng, [None, land, shapely.box(*land.bounds), _random_box(rng, land), land.buffer(slip(rng))])]
    if kind == "strips":
        edges = np.linspace(low_x, high_x, count + 1)
        areas = [shapely.box(a + slip(rng), low_y, b + slip(rng), high_y) for a, b in pairwise(edges)]
    elif kind == "grid":
        x, y = (low_x + high_x) / 2, (low_y + high_y) / 2
        quarters = [(low_x, low_y, x, y), (x, low_y, high_x, y), (x, y, high_x, high_y), (low_x, y, x, high_y)]
        areas = [shapely.box(*quarters[k % 4]).buffer(slip(rng), join_style="mitre") for k in range(min(count, 4))]
    elif kind == "cut":
        x = rng.uniform(low_x + 30, high_x - 30)
        west = shapely.box(low_x - 50, low_y - 50, x, high_y + 50)
        areas = [land & west, land - translate(west, slip(rng))]
    elif kind == "whole":
        areas = [land, *(_random_box(rng, land) for _ in range(count - 1))]
    elif kind == "inset":
        inner = land.buffer(-float(pick(rng, [4.572, 5.0, 8.0])), join_style=pick(rng, ["mitre", "round"]))
        areas = [inner & shapely.box(low_x, low_y, 0, high_y), inner & shapely.box(0, low_y, high_x, high_y)]
    else:
        areas = [_random_box(rng, land) for _ in range(count)]
        if kind == "copies":
            areas[-1] = translate(areas[0], slip(rng), slip(rng))
    kept: list[Geometry | None] = []
    left = land.buffer(0)
    for area in areas:
        if (left & area).area > 400 or rng.random() < 0.02:
            kept.append(area)
            left = left - area
    if len(kept) < count and left.area > 400 and rng.random() < 0.6:
        kept.append(None)
    return kept or [None]


def _random_box(rng: Rng, land: Geometry) -> Geometry:
    """Return a rectangle, level or turned, that lies on the land for the most part."""
    low_x, low_y, high_x, high_y = land.bounds
    for _ in range(20):
        wide, high = rng.uniform(30, 110, 2)
        x, y = (rng.uniform(low_x - 15, max(high_x - wide, low_x) + 15), rng.uniform(low_y, max(high_y - high, low_y) + 15))
        box = shapely.box(x, y, x + wide, y + high)
        box = rotate(box, rng.uniform(0, 90)) if rng.random() < 0.5 else box
        if (box & land).area > 0.4 * box.area:
            return box
    return shapely.box(*land.bounds)


def features(rng: Rng, land: Geometry, areas: Sequence[Geometry | None]) -> dict[str, np.ndarray]:
    """Return what lies on the land, by name: lines, points, areas, and some that run along boundary and blocks."""
    drawn = [a for a in areas if a is not None] or [land]
    low_x, low_y, high_x, high_y = land.bounds
    bends = int(rng.integers(2, 8))
    across = np.linspace(low_x - 10, high_x + 10, bends)
    road = shapely.LineString(np.column_stack([across, rng.uniform(low_y, high_y, bends)]))
    edge = shapely.get_coordinates(shapely.get_exterior_ring(shapely.get_parts(pick(rng, drawn))[0]))
    start = int(rng.integers(len(edge) - 1))
    fence = shapely.LineString(edge[start : start + 2] + slip(rng))
    inside = shapely.get_coordinates(land.representative_point())[0]
    wells = [shapely.Point(inside + rng.uniform(-40, 40, 2)), shapely.Point(edge[start] + slip(rng))]
    barn = rotate(shapely.box(0, 0, *rng.uniform(6, 20, 2)), rng.uniform(0, 90) * rng.integers(2))
    barn = translate(barn, *(inside + rng.uniform(-50, 50, 2)))
    pond = shapely.Point(inside + rng.uniform(-60, 60, 2)).buffer(rng.uniform(3, 18), quad_segs=int(rng.integers(1, 12)))
    corner = shapely.Point(edge[start]).buffer(float(pick(rng, [2.0, 6.0])), quad_segs=3)
    bow = translate(shapely.Polygon([(0, 0), (9, 9), (9, 0), (0, 9)]), *inside)
    yard = shapely.box(edge[start][0], edge[start][1] - 12, edge[start][0] + 9, edge[start][1])
    return {
        "road": objects(road),
        "fence": objects(fence),
        "well": objects(*wells),
        "barn": objects(barn, translate(barn, slip(rng), 0)),
        "pond": objects(pond, *([corner] if rng.random() < 0.4 else [])),
        "yard": objects(yard, *([bow] if rng.random() < 0.2 else [])),
        "line": objects(rotate(road, rng.uniform(20, 160))),
    }


def dem(rng: Rng, lon: float, lat: float, crs: CRS, reach: float) -> Any:
    """Return a DEM over a square of some reach round a place [m]: its cells turned, scaled and off the metre, with gaps; or none."""
    if rng.random() < 0.15:
        return None
    cell = float(pick(rng, [1.0, 2.0, 3.048, 5.0, 10.0]))
    size = int(2 * reach / cell) + 4
    kind = pick(rng, ["hills", "hills", "plane", "steps", "level"])
    row, col = np.mgrid[0:size, 0:size]
    z = {
        "hills": lambda: hills(int(rng.integers(10_000)), size, cell, float(rng.uniform(0.05, 0.5))),
        "plane": lambda: 80 + rng.uniform(-0.2, 0.2) * cell * col + rng.uniform(-0.2, 0.2) * cell * row,
        "steps": lambda: 120 + 2.0 * (col * cell // 25) + 0.03 * row,
        "level": lambda: np.full((size, size), -3.0),
    }[kind]()
    if rng.random() < 0.4:
        for _ in range(int(rng.integers(1, 5))):
            i, j = rng.integers(0, size, 2)
            z[i : i + int(rng.integers(1, size // 3)), j : j + int(rng.integers(1, size // 3))] = np.nan
    own = crs if rng.random() < 0.6 else CRS.from_epsg(4326)
    x, y = Transformer.from_crs(4326, own, always_xy=True).transform(lon, lat)
    if own.is_geographic:
        step = np.array([cell / (111_320 * np.cos(np.radians(lat))), -cell / 111_320])
    else:
        step = np.array([cell, -cell]) / own.axis_info[0].unit_conversion_factor
    turn = np.radians(rng.uniform(-30, 30)) if rng.random() < 0.3 and not own.is_geographic else 0.0
    a, b, d, e = step[0] * np.cos(turn), step[0] * np.sin(turn), step[1] * -np.sin(turn), step[1] * np.cos(turn)
    at = size / 2 + rng.uniform(-3, 3, 2) + (rng.uniform(-0.4, 0.4, 2) * size if rng.random() < 0.15 else 0)
    return Sheet(z, (a, b, float(x - a * at[0] - b * at[1]), d, e, float(y - d * at[0] - e * at[1])), own)
