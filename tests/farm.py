"""A small sound property on disk, for tests that spoil one thing of it."""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Mapping
from copy import deepcopy
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import rasterio
import shapely

from onfile import write_plan

EPSG = 26910
EAST, NORTH = 510_000.0, 4_990_000.0
FIELD = shapely.box(EAST, NORTH, EAST + 120, NORTH + 90)
FEATURES: dict[str, tuple[list[Any], dict[str, list[Any]]]] = {
    "road": ([shapely.LineString([(EAST - 5, NORTH + 45), (EAST + 125, NORTH + 45)])], {"kind": ["lane"]}),
    "well": ([shapely.Point(EAST + 20, NORTH + 20)], {}),
    "pond": ([shapely.box(EAST + 90, NORTH + 60, EAST + 100, NORTH + 70)], {}),
    "line": ([shapely.LineString([(EAST + 60, NORTH - 5), (EAST + 60, NORTH + 95)])], {}),
    "riser": ([shapely.Point(EAST + 40, NORTH + 30)], {"name": ["low"], "pressure_psi": [45.0]}),
    "blocks": (
        [shapely.box(EAST, NORTH, EAST + 60, NORTH + 90), shapely.box(EAST + 60, NORTH, EAST + 120, NORTH + 90)],
        {"name": ["west", "east"]},
    ),
}
SECTIONS: dict[str, Any] = {
    "name": "Small farm",
    "site": {"boundary": "survey/field.gpkg", "dem": "survey/dem.tif"},
    "ground": {"max_slope": "30 %"},
    "setback": [
        {"from": "boundary", "distance": "4 m"},
        {"from": "survey/features.gpkg:road[kind=lane]", "distance": "5 m", "measured_to": "canopy", "why": "lane"},
        {"from": "survey/features.gpkg:well", "distance": "15 m", "why": "well"},
    ],
    "no_plant": [{"from": "survey/features.gpkg:pond", "why": "pond"}],
    "height_limit": [{"from": "survey/features.gpkg:line", "within": "6 m", "height": "3 m", "why": "power line"}],
    "water": {"points": "survey/features.gpkg:riser", "max_run": "150 m", "min_pressure": "12 psi"},
    "block": [
        {
            "name": "A",
            "area": "survey/features.gpkg:blocks[name=west]",
            "pattern": "square",
            "step": "5 m",
            "direction": "north-south",
            "plants": [{"plant": "apple, semi-dwarf"}],
        },
        {
            "name": "B",
            "area": "survey/features.gpkg:blocks[name=east]",
            "pattern": "offset",
            "step": "5 m",
            "direction": "longest side",
            "headland": "4 m",
            "spread": "4 m",
            "height": "4 m",
        },
    ],
}
"""A plan in which everything that can be wrong is right."""


def write_vector(path: Path, geometry: list[Any], layer: str | None = None, crs: Any = EPSG, **columns: Any) -> Path:
    """Write features to a file of the kind that its name says."""
    data = gpd.GeoDataFrame(columns, geometry=geometry, crs=crs)
    data.to_file(path, **({"layer": layer} if layer else {}))
    return path


def write_dem(path: Path, z: np.ndarray | None = None, east: float = EAST, north: float = NORTH, **how: Any) -> Path:
    """Write a DEM of 4 m cells over the field, or one that is laid elsewhere."""
    row, col = np.mgrid[0:35, 0:45]
    z = 100 + 0.1 * col + 2 * np.sin(row / 6) if z is None else z
    profile = {
        "driver": "GTiff",
        "height": z.shape[0],
        "width": z.shape[1],
        "count": 1,
        "dtype": "float32",
        "crs": f"EPSG:{EPSG}",
        "nodata": -9999.0,
        "transform": rasterio.Affine(4, 0, east - 30, 0, -4, north + 115),
    }
    with rasterio.open(path, "w", **{**profile, **how}) as raster:
        raster.write(z.astype(profile["dtype"]), 1)
        raster.set_band_unit(1, "metre")
    return path


def write_survey(folder: Path) -> None:
    """Write the survey files of the farm."""
    survey = folder / "survey"
    survey.mkdir(parents=True)
    write_vector(survey / "field.gpkg", [FIELD])
    for layer, (geometry, columns) in FEATURES.items():
        write_vector(survey / "features.gpkg", geometry, layer, **columns)
    write_dem(survey / "dem.tif")


class Farm:
    """A copy of the farm that a test may spoil."""

    def __init__(self, folder: Path, sound: Path) -> None:
        self.folder = folder
        self.survey = folder / "survey"
        shutil.copytree(sound, folder, dirs_exist_ok=True)
        self.sections = deepcopy(SECTIONS)

    @property
    def block(self) -> dict[str, Any]:
        """Return the first block's table."""
        first: dict[str, Any] = self.sections["block"][0]
        return first

    def write(self, **sections: Any) -> Path:
        """Write the plan file: its sections as they now are, or with some of them other, or None for none."""
        now = {**self.sections, **sections}
        return write_plan(self.folder, {key: value for key, value in now.items() if value is not None})

    def vector(self, name: str, geometry: list[Any], layer: str | None = None, **how: Any) -> str:
        """Write a survey file and return how the plan file names it."""
        (self.survey / name).unlink(missing_ok=True)
        write_vector(self.survey / name, geometry, layer, **how)
        return f"survey/{name}"

    def dem(self, z: np.ndarray | None = None, **how: Any) -> None:
        """Write another DEM in place of the sound one."""
        (self.survey / "dem.tif").unlink()
        write_dem(self.survey / "dem.tif", z, **how)


def snapshot(folder: Path) -> Mapping[str, str]:
    """Return what a folder holds: every path, with a digest of every file."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else "folder"
        for path in sorted(folder.rglob("*"))
    }
