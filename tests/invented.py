"""Invented properties in memory, for tests of whole plans: no file, no reader."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from pyproj import CRS, Transformer

from setout.model import Planting, RasterGrid, Survey, VectorLayer
from setout.planfile import parse_plan
from setout.run import plan_site

UTM10 = CRS.from_epsg(26910)


class Sheet:
    """A DEM given as an array of heights [m], NaN for none."""

    def __init__(self, z: np.ndarray, transform: tuple[float, ...], crs: CRS, source: str = "sheet.tif") -> None:
        self.z, self.source = z.astype(np.float32), source
        self.grid = RasterGrid(crs, transform, z.shape[1], z.shape[0])

    def read(self, row0: int, row1: int, col0: int, col1: int) -> np.ndarray:
        """Return a window."""
        return self.z[row0:row1, col0:col1].copy()


def hills(seed: int, size: int = 400, cell: float = 1.0, steep: float = 0.2, limit: float = 0.15) -> np.ndarray:
    """Return heights [m] of smooth hills of which a given share is steeper than a limit (rise over run)."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:size, 0:size] * cell
    z = np.zeros((size, size))
    for _ in range(14):
        wave = rng.uniform(60, 400)
        way, phase = rng.uniform(0, 2 * np.pi, 2)
        z += wave**1.3 * np.sin(2 * np.pi * (x * np.cos(way) + y * np.sin(way)) / wave + phase)
    gy, gx = np.gradient(z, cell)
    return 150 + z * limit / np.quantile(np.hypot(gx, gy), 1 - steep)


def field(seed: int, size_m: float = 300.0, hole: bool = True) -> shapely.Geometry:
    """Return an irregular polygon round the origin, concave, with a hole if asked."""
    rng = np.random.default_rng(seed)
    corners = 14
    angle = np.sort((np.arange(corners) + rng.uniform(-0.35, 0.35, corners)) * 2 * np.pi / corners)
    radius = size_m / 2 * rng.uniform(0.55, 1.0, corners)
    area = shapely.Polygon(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]))
    if hole:
        pond = shapely.Point(rng.uniform(-0.12, 0.12, 2) * size_m).buffer(0.05 * size_m, quad_segs=3)
        area = area.difference(pond)
    return area


@dataclass
class Property:
    """Survey layers round a place, all in one local metric plane, that can be delivered in any CRS."""

    boundary: shapely.Geometry
    layers: Mapping[str, np.ndarray]
    columns: Mapping[str, Mapping[str, np.ndarray]]
    lon: float = -121.3
    lat: float = 44.2
    turn_deg: float = 0.0

    def survey(self, crs: CRS, dem: Any = None) -> Survey:
        """Return the survey in a CRS, the plane laid true to ground at the place and turned."""
        local = CRS.from_proj4(f"+proj=tmerc +lat_0={self.lat} +lon_0={self.lon} +k=1 +datum=WGS84 +units=m")
        geographic = crs.geodetic_crs
        # same datum on both sides: a place is the same place in every CRS tried
        local = CRS.from_json_dict({**local.to_json_dict(), "base_crs": geographic.to_json_dict()})
        step = Transformer.from_crs(local, crs, always_xy=True)
        angle = np.radians(self.turn_deg)

        def move(xy: np.ndarray) -> np.ndarray:
            x = np.cos(angle) * xy[:, 0] + np.sin(angle) * xy[:, 1]
            y = np.cos(angle) * xy[:, 1] - np.sin(angle) * xy[:, 0]
            return np.column_stack(step.transform(x, y))

        def layer(name: str, geometry: np.ndarray) -> VectorLayer:
            return VectorLayer(name, shapely.transform(geometry, move), self.columns.get(name, {}), crs)

        made = {name: layer(name, geometry) for name, geometry in self.layers.items()}
        return Survey(layer("boundary", np.array([self.boundary], object)), made, dem)


def objects(*items: Any) -> np.ndarray:
    """Return geometries as an object array."""
    out = np.empty(len(items), object)
    out[:] = items
    return out


def plan_of(survey: Survey, block: Mapping[str, Any] | Sequence[Mapping[str, Any]], **sections: Any) -> Planting:
    """Plan a survey with one block or several and any other sections."""
    blocks = [block] if isinstance(block, Mapping) else list(block)
    mapping = {"name": "test", "site": {"boundary": "boundary"}, "block": blocks, **sections}
    return plan_site(parse_plan(mapping, "plan.toml"), survey)


def nearest_by_block(planting: Planting, measure: Callable[[np.ndarray], np.ndarray]) -> dict[str, float]:
    """Return the least of a measure of the trees of each block."""
    xy = np.column_stack([planting.trees.x, planting.trees.y])
    return {block.name: float(measure(xy[planting.trees.block == k]).min(initial=np.inf)) for k, block in enumerate(planting.site.blocks)}
