"""A property with every planting system on it, as survey files and a plan file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import rasterio
import shapely

from onfile import write_plan

EPSG = 32610
EAST, NORTH, PITCH = 635_000.0, 4_895_000.0, 76.0
COLUMNS, LINES = 6, 4
SHAPE = np.array([(0, 0), (58, 3), (61, 40), (50, 60), (6, 56)])
"""Ground of one block, from the corner of its square [m]."""
APPLES = [
    {"plant": "apple, semi-dwarf", "variety": "Jonathan"},
    {"plant": "apple, semi-dwarf", "variety": "Grimes Golden", "role": "pollinizer"},
]
GRAPES = [{"plant": "table grape, trellis", "variety": "Concord"}]
TRELLIS = {"post": "24 ft", "end": "4 ft", "anchor": "6 ft", "wires": 3}
# distances, sizes of beds and of pairs: common practice, as check values; no product data
SYSTEMS: dict[str, dict[str, Any]] = {
    "offset": {
        "pattern": "offset",
        "step": "16 ft",
        "row_distance": "12 ft",
        "spread": "15 ft",
        "direction": "north-south",
        "plants": APPLES,
        "pollinizer": {"every_tree": 3, "every_row": 3},
    },
    "square": {"pattern": "square", "step": "30 ft", "direction": "best", "plants": [{"plant": "Asian persimmon, standard"}]},
    "equilateral": {
        "pattern": "offset",
        "step": "16 ft",
        "spread": "15 ft",
        "direction": "N 20 E",
        "plants": [{"plant": "jujube, small tree"}],
    },
    "wide": {
        "pattern": "square",
        "step": "20 ft",
        "direction": "N 8 W",
        "plants": [
            {"plant": "tart cherry", "variety": "Montmorency"},
            {"plant": "peach", "variety": "Elberta", "role": "filler", "remove_year": 12},
        ],
    },
    "quincunx": {
        "pattern": "quincunx",
        "step": "28 ft",
        "direction": "east-west",
        "plants": [{"plant": "quince"}, {"plant": "peach", "role": "filler", "remove_year": 10}],
    },
    "hedgerow": {
        "pattern": "hedgerow",
        "step": "5 ft",
        "row_distance": "14 ft",
        "direction": "N 5 E",
        "headland": "12 ft",
        "held_to": "6 ft",
        "plants_by": "rows",
        "plants": [{"plant": "apple, dwarf", "variety": "Golden Russet", "share": 2}, {"plant": "apple, dwarf", "variety": "Wealthy"}],
    },
    "double": {
        "pattern": "hedgerow",
        "step": "4 ft",
        "row_distance": "16 ft",
        "lines": 2,
        "line_distance": "3 ft",
        "direction": "north-south",
        "held_to": "5 ft",
        "plants": [{"plant": "lemon, dwarf"}],
    },
    "dwarfhedge": {
        "pattern": "hedgerow",
        "step": "3 ft",
        "row_distance": "14 ft",
        "direction": "N 41 E",
        "plants": [{"plant": "olive, hedgerow"}],
    },
    "vines": {"pattern": "trellis", "step": "8 ft", "row_distance": "10 ft", "direction": "N 30 W", "trellis": TRELLIS, "plants": GRAPES},
    "beds": {
        "pattern": "bed",
        "step": "5 ft",
        "row_distance": "10 ft",
        "direction": "north-south",
        "bed": {"length": "10 ft", "width": "6 ft", "gap": "3 ft", "mulch": "3 in"},
        "plants": [{"plant": "blackberry, erect"}],
    },
    "contour": {
        "pattern": "contour rows",
        "step": "12 ft",
        "row_distance": "16 ft",
        "row_distance_max": "26 ft",
        "fall": {"most": "2 %"},
        "plants": [{"plant": "hazelnut", "variety": "a"}, {"plant": "hazelnut", "variety": "b"}],
    },
    "guided": {
        "pattern": "rectangular",
        "step": "12 ft",
        "row_distance": "18 ft",
        "direction": "guide:survey/features.gpkg:terrace",
        "plants": [{"plant": "peach", "variety": "Elberta"}],
    },
    "bentvines": {
        "pattern": "trellis",
        "step": "8 ft",
        "row_distance": "10 ft",
        "direction": "guide:survey/features.gpkg:bank",
        "trellis": TRELLIS,
        "plants": GRAPES,
    },
    "pairs": {
        "pattern": "rectangular",
        "step": "18 ft",
        "row_distance": "20 ft",
        "direction": "longest side",
        "pair": {"distance": "2 ft", "axis": "north-south"},
        "plants": [
            {"plant": "European pear, semi-dwarf", "variety": "Bartlett"},
            {"plant": "European pear, semi-dwarf", "variety": "Bosc"},
        ],
    },
    "small": {"pattern": "square", "step": "6 ft", "held_to": "6 ft", "direction": "N 12 E", "plants": [{"plant": "lemon, dwarf"}]},
    "counted": {
        "pattern": "rectangular",
        "step": "16 ft",
        "row_distance": "20 ft",
        "direction": "N 3 E",
        "plants": [
            {"plant": "sweet cherry, standard", "variety": "Black Tartarian", "count": 41},
            {"plant": "sweet cherry, standard", "variety": "Emperor Francis", "count": 13},
            {"plant": "sweet cherry, standard", "variety": "Van"},
        ],
    },
}
"""Blocks with ground of their own, in the order of the squares, and of the plan file."""
DRAWN: dict[str, dict[str, Any]] = {
    "hide": {
        "pattern": "screen",
        "line": "survey/features.gpkg:roadside",
        "purpose": "hide",
        "step": "10 ft",
        "plants": [{"plant": "fig, standard"}],
    },
    "shade": {
        "pattern": "screen",
        "line": "survey/features.gpkg:yard_edge",
        "purpose": "shade",
        "yard": "survey/features.gpkg:yard",
        "step": "10 ft",
        "lines": 2,
        "line_distance": "6 ft",
        "plants": [{"plant": "fig, standard"}],
    },
    "single": {"pattern": "points", "points": "survey/features.gpkg:single", "plants": [{"plant": "pecan", "variety": "x"}]},
}
WELL_M, LINE_M = 12.0, 24.0


def corner(number: int) -> np.ndarray:
    """Return the corner of a square of the property, in the survey's plane."""
    line, column = divmod(number, COLUMNS)
    return np.array([EAST + column * PITCH, NORTH + line * PITCH])


def ground_of(number: int) -> shapely.Polygon:
    return shapely.Polygon(SHAPE + corner(number))


def bend(number: int) -> np.ndarray:
    """Return an arc through a square, of 90 m radius."""
    angle = np.linspace(-0.55, 0.55, 80)
    return corner(number) + [30.0, -60.0] + 90 * np.column_stack([np.sin(angle), np.cos(angle)])


def features() -> dict[str, tuple[list[Any], dict[str, list[Any]]]]:
    names = list(SYSTEMS)
    at = {name: corner(k) for k, name in enumerate(names)}

    def free(x: float, y: float) -> tuple[float, float]:
        """Return a place in the first squares without a block."""
        east, north = corner(len(names))
        return float(east) + x, float(north) + y

    yard = shapely.box(*free(80, 10), *free(110, 40))
    return {
        "blocks": ([ground_of(k) for k in range(len(names))], {"name": names}),
        "pond": ([shapely.Point(at["offset"] + [38, 30]).buffer(6)], {}),
        "well": ([shapely.Point(at["hedgerow"] + [25, 30])], {}),
        "terrace": ([shapely.LineString(bend(names.index("guided")))], {}),
        "bank": ([shapely.LineString(bend(names.index("bentvines")))], {}),
        "yard": ([yard], {}),
        "yard_edge": ([shapely.LineString([free(75, 5), free(77, 45)])], {}),
        "roadside": ([shapely.LineString([free(0, 60), free(55, 62)])], {}),
        "single": ([shapely.Point(free(*xy)) for xy in ((5, 5), (30, 8), (12, 33))], {"note": ["a", "b", "c"]}),
    }


def boundary() -> shapely.Polygon:
    return shapely.box(EAST - 20, NORTH - 20, EAST + COLUMNS * PITCH + 10, NORTH + LINES * PITCH + 10)


def height(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return the height of the ground [m]: at most a tenth steep."""
    return 300 + 0.05 * (x - EAST) + 2.5 * np.sin((x - EAST) / 60) * np.cos((y - NORTH) / 50)


def write(folder: Path) -> Path:
    """Write survey files and plan file; return the plan file."""
    survey = folder / "survey"
    survey.mkdir(parents=True)
    gpd.GeoDataFrame(geometry=[boundary()], crs=EPSG).to_file(survey / "boundary.gpkg")
    for layer, (geometry, columns) in features().items():
        gpd.GeoDataFrame(columns, geometry=geometry, crs=EPSG).to_file(survey / "features.gpkg", layer=layer)
    west, south, east, north = boundary().buffer(30).bounds
    columns, lines = int((east - west) / 2), int((north - south) / 2)
    x, y = np.meshgrid(west + 2 * np.arange(columns) + 1, north - 2 * np.arange(lines) - 1)
    with rasterio.open(
        survey / "dem.tif",
        "w",
        driver="GTiff",
        width=columns,
        height=lines,
        count=1,
        dtype="float32",
        crs=f"EPSG:{EPSG}",
        transform=rasterio.Affine(2, 0, west, 0, -2, north),
        nodata=-9999.0,
    ) as raster:
        raster.write(height(x, y).astype("float32"), 1)
        raster.set_band_unit(1, "metre")
    blocks = [{"name": name, "area": f"survey/features.gpkg:blocks[name={name}]", **table} for name, table in SYSTEMS.items()]
    blocks += [{"name": name, **table} for name, table in DRAWN.items()]
    return write_plan(
        folder,
        {
            "name": "Mixed farm",
            "site": {"boundary": "survey/boundary.gpkg", "dem": "survey/dem.tif"},
            "ground": {"max_slope": "30 %"},
            "setback": [{"from": "boundary", "distance": f"{LINE_M} m"}, {"from": "survey/features.gpkg:well", "distance": f"{WELL_M} m"}],
            "no_plant": [{"from": "survey/features.gpkg:pond"}],
            "block": blocks,
        },
    )
