"""A small planting as layers, for the tests of the GeoPackage writer."""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING

import numpy as np
import shapely
from pyproj import CRS

from setout.layers import CONTRACTS
from setout.layers.columns import Coded, Points, WalkIds
from setout.layers.data import LayerData
from setout.write.geopackage.writer import write

if TYPE_CHECKING:
    from pathlib import Path

FEET = CRS.from_epsg(2269)


def tree_layer(n: int, *, seed: int = 1, z: bool = True) -> LayerData:
    """Trees on a square lattice of 16 ft in state-plane feet, some columns filled, some null."""
    rng = np.random.default_rng(seed)
    side = max(1, int(n**0.5))
    i = np.arange(n)
    row, position, code = i // side + 1, i % side + 1, (i // side) % 3
    x, y = 7_600_000 + 16.0 * position, 650_000 + 16.0 * row
    height = 200 + rng.random(n)
    nearest = np.where(rng.random(n) < 0.1, np.nan, 4.8768)
    columns = {
        "tree_id": WalkIds(("A", "B", "Höhe 3"), code, row, position),
        "block": Coded(("A", "B", "Höhe 3"), code),
        "row": row,
        "position": position,
        "variety": Coded(("", "pollinizer B"), rng.integers(-1, 2, n)),
        "easting": x,
        "northing": y,
        "elevation_m": height,
        "nearest_m": nearest,
        "run_m": np.where(rng.random(n) < 0.1, np.inf, 30.0),
        "watered": np.where(rng.random(n) < 0.2, np.nan, rng.integers(0, 2, n)).astype(float),
        "water_reason": np.array(["" if k % 7 else f"run {k} ft, {'x' * (k % 90)}" for k in range(n)], object),
    }
    return LayerData(CONTRACTS["trees"], columns, Points(x, y, height if z else None))


def small_layers() -> list[LayerData]:
    """One layer of every kind of geometry, and a table."""
    rows = (
        [[(7_600_000, 650_000), (7_600_000, 650_004)], [(7_600_000, 650_010), (7_600_000, 650_016)]],
        [[(7_600_010, 650_020), (7_600_000, 650_020)]],
    )
    square, other = (shapely.box(7_600_000, 650_000, 7_601_000, 651_000), shapely.box(7_602_000, 650_000, 7_602_500, 650_500))
    holed = square.difference(square.centroid.buffer(100))
    polygons = np.array([holed, shapely.union(square, other), None], object)
    line = np.array([shapely.LineString([(7_600_000, 650_000), (7_600_500, 650_400), (7_601_000, 650_100)])], object)
    mixed = np.array([shapely.Point(7_600_100, 650_100), square, None], object)
    empty = np.array(["", "", ""], object)
    return [
        LayerData(CONTRACTS["boundary"], {"name": np.array(["Wren Hill"]), "area_m2": np.array([92903.04])}, polygons[:1]),
        LayerData(
            CONTRACTS["exclusions"],
            {
                "reason": np.array(["well", "slope", '<&> "quoted"'], object),
                "source": empty,
                "distance_m": np.array([15.24, np.nan, 3.0]),
                "alone_m2": np.array([1.0, 2.0, 3.0]),
                "newly_m2": None,
            },
            polygons,
        ),
        LayerData(
            CONTRACTS["rows"],
            {
                "row_id": np.array(["A-1", "A-2"]),
                "block": np.array(["A", "B"]),
                "row": np.array([1, 2]),
                "bearing_deg": np.array([0.0, 90.0]),
                "length_m": np.array([10.0, 20.0]),
                "trees": np.array([3, 5]),
            },
            np.array([shapely.MultiLineString(pieces) for pieces in rows], object),
        ),
        LayerData(
            CONTRACTS["water_points"],
            {"name": np.array(["well 1"]), "pressure_kpa": np.array([310.0])},
            Points(np.array([7_600_500.0]), np.array([650_500.0])),
        ),
        LayerData(
            CONTRACTS["findings"],
            {
                "code": np.array(["dem_gap", "slope", "note"], object),
                "severity": np.array(["warn", "stop", "note"], object),
                "message": np.array(["x" * 5000, "b", "c"], object),
            },
            mixed,
        ),
        LayerData(CONTRACTS["contours"], {"elevation_m": np.array([200.0])}, line),
        LayerData(
            CONTRACTS["land_account"],
            {
                "step": np.array([0, 1, 2]),
                "reason": np.array(["gross", "slope", "net"]),
                "alone_m2": np.array([np.nan, 5.0, np.nan]),
                "newly_m2": np.array([np.nan, 5.0, np.nan]),
                "remaining_m2": np.array([100.0, 95.0, 95.0]),
            },
        ),
    ]


def written(folder: Path, layers: list[LayerData], crs: CRS = FEET, name: str = "plan.gpkg") -> Path:
    """Write layers and return the path."""
    path = folder / name
    write(path, layers, crs)
    return path


def sound(path: Path) -> bool:
    """Say whether SQLite finds nothing wrong with a file, its R-trees included."""
    with sqlite3.connect(path) as db:
        trees = [r[0] for r in db.execute("SELECT name FROM sqlite_master WHERE sql LIKE 'CREATE VIRTUAL TABLE%'")]
        checks = [db.execute("SELECT rtreecheck(?)", (name,)).fetchone()[0] for name in trees]
        checks.append(db.execute("PRAGMA integrity_check").fetchone()[0])
    db.close()
    return checks == ["ok"] * len(checks)
