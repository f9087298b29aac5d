"""Trees, one row each: the widest layer there is."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from setout.layers.columns import Chunked, Coded, Points, several
from setout.layers.contract import Column, LayerContract, must
from setout.layers.data import LayerData, layer_of
from setout.model import WGS84, Floats, Planting
from setout.model.irrigation import REASONS
from setout.words.terms import TERMS

TREES: Final = LayerContract(
    "trees",
    "POINT Z",
    (
        must("tree_id", "text", "", "block-row-position: unique, and the same whenever the plan is made again"),
        must("block", "text", "", "name of the block"),
        must("row", "int", "", "row number in the block, from 1, as a crew walks"),
        must("position", "int", "", "number in the row, from 1, as a crew walks"),
        Column("plant", "text", "", "catalogue name: species, size class"),
        Column("variety", "text", "", "variety, where the plan names one"),
        Column("role", "text", "", "what the tree is there for, such as pollinizer"),
        must("easting", "real", "unit of the plane CRS", "easting in the survey's plane CRS"),
        must("northing", "real", "unit of the plane CRS", "northing in the survey's plane CRS"),
        Column("lon", "real", "deg", "longitude, WGS 84"),
        Column("lat", "real", "deg", "latitude, WGS 84"),
        Column("elevation_m", "real", "m", "ground elevation from the DEM"),
        Column("slope_pct", "real", "%", "slope of the tree's cell (Horn)"),
        Column("nearest_m", "real", "m", "distance to the true nearest neighbour"),
        Column("spread_m", "real", "m", "mature canopy diameter"),
        Column("height_m", "real", "m", "mature height"),
        Column("crowding", "real", "", "spread / distance to the nearest neighbour, the partner of its pair aside"),
        Column("overlap_m", "real", "m", "how far its mature canopy reaches into the neighbour that it overlaps most; 0 for none"),
        Column(
            "room_m", "real", "m", "diameter of the circle as large as its room: the ground under its canopy that is nearer to no neighbour"
        ),
        Column("pruning_load", "real", "", "share of the natural canopy that has to come off each year"),
        Column("pollinizer_m", "real", "m", "distance to the nearest pollinizer"),
        Column("water_point", "text", "", "water point that serves the tree"),
        Column("zone", "text", "", "zone that waters the tree"),
        Column("run_m", "real", "m", "pipe run from the water point"),
        Column("pressure_kpa", "real", "kPa", "pressure at the tree's emitters; where none are planned, the static pressure"),
        Column("flow_lph", "real", "l/h", "flow that the tree's emitters give"),
        Column("need_lpd", "real", "l/day", "water that the tree needs at the peak"),
        Column("watered", "bool", "", "whether its need at the peak is met within the hours allowed"),
        Column("water_reason", "text", "", "why it is, is not, or why that is unknown"),
        Column("sun_h", "real", "h", "direct sun hours; of a hedge by how squarely the sun meets its sides"),
        Column("sun_am_h", "real", "h", "direct sun hours before solar noon"),
        Column("sun_pm_h", "real", "h", "direct sun hours after solar noon"),
        Column("sun_open_h", "real", "h", "direct sun hours with the terrain alone in the way"),
        Column("findings", "text", "", "codes of the findings that name the tree, separated by blanks"),
    ),
    "Trees",
)


FACTS = (
    "elevation_m",
    "slope_pct",
    "nearest_m",
    "crowding",
    "overlap_m",
    "room_m",
    "pruning_load",
    "pollinizer_m",
    "run_m",
    "pressure_kpa",
    "flow_lph",
    "need_lpd",
    "sun_h",
    "sun_am_h",
    "sun_pm_h",
    "sun_open_h",
)


def trees_layer(planting: Planting) -> Iterator[LayerData]:
    """Yield the trees; columns of texts and places are made as they are written."""
    trees, site = planting.trees, planting.site
    frame, size = site.frame, len(trees)
    names = [block.name for block in site.blocks]

    def places(part: slice) -> dict[str, Floats]:
        own = trees.x[part], trees.y[part]
        x, y = frame.to(frame.survey_crs, *own)
        lon, lat = frame.to(WGS84, *own)
        east, north = (x, y) if frame.plane_crs == frame.survey_crs else frame.to(frame.plane_crs, *own)
        return {"x": x, "y": y, "easting": east, "northing": north, "lon": lon, "lat": lat}

    at = several(size, ("x", "y", "easting", "northing", "lon", "lat"), places)
    kinds = [(b, p) for b, block in enumerate(site.blocks) for p in range(len(block.plants))]
    code = np.full(size, -1, np.int32)
    for number, (b, p) in enumerate(kinds):
        code[(trees.block == b) & (trees.plant == p)] = number
    plants = [site.blocks[b].plants[p] for b, p in kinds]
    columns: dict[str, Any] = {
        "tree_id": trees.ids,
        "block": Coded(names, trees.block),
        "row": trees.row,
        "position": trees.position,
        "plant": Coded([p.name for p in plants], code),
        "variety": Coded([p.variety for p in plants], code),
        "role": Coded([p.role for p in plants], code),
        **{name: at[name] for name in ("easting", "northing", "lon", "lat")},
        **{name: getattr(trees, name) for name in FACTS},
        "spread_m": _by_code(np.array([p.spread_m for p in plants]), code),
        "height_m": _by_code(np.array([p.height_m for p in plants]), code),
        "findings": trees.findings,
    }
    if site.water is not None and trees.water_index is not None:
        columns["water_point"] = Coded(site.water.points.name, trees.water_index)
    columns |= _water_columns(planting)
    yield layer_of(TREES, Points(at["x"], at["y"], trees.elevation_m), **columns)


def _by_code(values: Floats, code: NDArray[np.int32]) -> Chunked | None:
    """Return a value of every tree's plant; None where no plant has one."""
    if not np.isfinite(values).any():
        return None
    table = np.append(values, np.nan)
    return Chunked(len(code), lambda part: table[code[part]])


def _water_columns(planting: Planting) -> dict[str, Any]:
    """Return the columns of trees that come from the irrigation as they are written: zone, watered, water_reason."""
    trees, irrigation = planting.trees, planting.irrigation
    out: dict[str, Any] = {}
    if irrigation is None:
        return out
    if trees.zone_index is not None:
        out["zone"] = Coded([zone.name for zone in irrigation.zones], trees.zone_index)
    if trees.watered is not None:
        out["watered"] = trees.watered
    if trees.reason_index is not None and (trees.reason_index >= 0).any():
        out["water_reason"] = Coded([TERMS[reason] for reason in REASONS], trees.reason_index)
    return out
