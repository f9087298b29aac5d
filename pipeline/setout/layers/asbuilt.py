"""The layers and tables of asbuilt.gpkg: what came back from the field."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

import numpy as np
import shapely

from setout.layers.columns import Coded, Points, Segments, texts
from setout.layers.contract import Column, LayerContract, must
from setout.layers.data import LayerData
from setout.layers.findings import FINDINGS
from setout.model import WGS84, Floats, Ints
from setout.model.asbuilt import Return
from setout.words.asbuilt import PLACE_WORDS, STATUS_WORDS, bearing, figures
from setout.words.findings import all_told

_ASBUILT: Final = (
    LayerContract(
        "asbuilt",
        "POINT",
        (
            must("tree_id", "text", "", "planned tree at whose place it stands, else its name in the field"),
            Column("field_id", "text", "", "its name in the surveyed file"),
            must("status", "text", "", "in place, off its place, swapped, at another's place, doubled, extra or not judged"),
            Column("block", "text", "", "name of the block"),
            Column("row", "int", "", "row number of the planned tree; null without one"),
            Column("position", "int", "", "number in the row of the planned tree; null without one"),
            Column("plant", "text", "", "what is planned there"),
            Column("variety", "text", "", "variety planned there"),
            Column("role", "text", "", "role planned there"),
            Column("offset_m", "real", "m", "from the planned place to where it stands"),
            Column("direction_deg", "real", "deg", "bearing of that offset from true north, clockwise"),
            Column("east_m", "real", "m", "its part to the east"),
            Column("north_m", "real", "m", "its part to the north"),
            Column("own_offset_m", "real", "m", "what is left of it without shift and turn of the whole set-out"),
            Column("own_direction_deg", "real", "deg", "bearing of what is left"),
            must("easting", "real", "unit of the plane CRS", "easting where it stands"),
            must("northing", "real", "unit of the plane CRS", "northing where it stands"),
            Column("lon", "real", "deg", "longitude, WGS 84"),
            Column("lat", "real", "deg", "latitude, WGS 84"),
            Column("nearest_m", "real", "m", "distance to the true nearest neighbour"),
            Column("crowding", "real", "", "spread / distance to the nearest neighbour, the partner of its pair aside"),
            Column("overlap_m", "real", "m", "how far its mature canopy reaches into the neighbour that it overlaps most"),
            Column("room_m", "real", "m", "diameter of the circle as large as its room"),
            Column("slope_pct", "real", "%", "slope of its cell"),
            Column("run_m", "real", "m", "pipe run from the water point"),
            Column("pressure_kpa", "real", "kPa", "static pressure where it stands"),
            Column("sun_h", "real", "h", "direct sun hours where it stands"),
            Column("sun_planned_h", "real", "h", "direct sun hours where it is planned"),
            Column("findings", "text", "", "codes of the findings that name it, separated by blanks"),
        ),
        "Trees as they stand",
    ),
    LayerContract(
        "places",
        "POINT",
        (
            must("tree_id", "text", "", "block-row-position"),
            must("block", "text", "", "name of the block"),
            must("status", "text", "", "planted, missing, not surveyed or not judged"),
        ),
        "Planned places",
    ),
    LayerContract(
        "offsets",
        "LINESTRING",
        (
            must("tree_id", "text", "", "the tree"),
            must("offset_m", "real", "m", "from the planned place to where it stands"),
            must("direction_deg", "real", "deg", "bearing from true north, clockwise"),
        ),
        "Offsets",
    ),
    LayerContract(
        "set_up",
        None,
        (
            must("figure", "text", "", "what is told"),
            Column("value", "real", "as unit says", "how much; null where it cannot be known"),
            Column("unit", "text", "", "its unit"),
            Column("said", "text", "", "in words"),
        ),
        "The set-out as a whole",
    ),
)
ASBUILT: Final[Mapping[str, LayerContract]] = {contract.name: contract for contract in _ASBUILT}
"""Layers of what came back from the field, written to a file of their own."""
SEEN = ("nearest_m", "crowding", "overlap_m", "room_m", "slope_pct", "run_m", "pressure_kpa", "sun_h")


def asbuilt_layers(back: Return) -> Iterator[LayerData]:
    """Yield the layers, in the order in which they are written."""
    frame, built, planned = back.planting.site.frame, back.built, back.planting.trees
    yield _trees(back)
    status = np.full(len(planned), 0, np.int32)
    status[built.missing] = 1
    names = [block.name for block in back.planting.site.blocks]
    status[np.isin(planned.block, [names.index(name) for name in built.unsurveyed])] = 2
    if built.set_up.coarse:
        empty = np.ones(len(planned), bool)
        empty[built.place[built.place >= 0]] = False
        status[empty & (status == 0)] = 3
    x, y = frame.to(frame.survey_crs, planned.x, planned.y)
    columns: dict[str, Any] = {
        "tree_id": texts(map(str, back.planting.trees.ids)),
        "block": Coded(names, planned.block),
        "status": Coded(list(PLACE_WORDS), status),
    }
    yield LayerData(ASBUILT["places"], columns, Points(x, y))
    held = np.flatnonzero(built.place >= 0)
    at = built.place[held]
    x1, y1 = frame.to(frame.survey_crs, built.points.x[held], built.points.y[held])
    columns = {
        "tree_id": texts([back.labels[k] for k in held.tolist()]),
        "offset_m": np.hypot(built.off_x, built.off_y)[held],
        "direction_deg": bearing(built.off_x, built.off_y)[held],
    }
    yield LayerData(ASBUILT["offsets"], columns, Segments(x[at], y[at], x1, y1))
    yield _findings(back)
    rows = figures(back)
    columns = {
        "figure": texts([row[0] for row in rows]),
        "value": np.array([row[1] for row in rows], float),
        "unit": texts([row[2] for row in rows]),
        "said": texts([row[3] for row in rows]),
    }
    yield LayerData(ASBUILT["set_up"], columns)


def _trees(back: Return) -> LayerData:
    built, frame, site = back.built, back.planting.site.frame, back.planting.site
    points, place, size = built.points, built.place, len(back.built.points)
    held = place >= 0
    planned, ids = back.planting.trees, back.labels
    names = [block.name for block in site.blocks]
    block = np.full(size, -1, np.int32)
    block[back.order] = back.true.trees.block
    kinds = [(b, p) for b, one in enumerate(site.blocks) for p in range(len(one.plants))]
    code = np.full(size, -1, np.int32)
    for number, (b, p) in enumerate(kinds):
        code[held & (planned.block[place] == b) & (planned.plant[place] == p)] = number
    plants = [site.blocks[b].plants[p] for b, p in kinds]
    x, y = frame.to(frame.survey_crs, points.x, points.y)
    lon, lat = frame.to(WGS84, points.x, points.y)
    east, north = frame.to(frame.plane_crs, points.x, points.y)
    columns: dict[str, Any] = {
        "tree_id": texts(map(str, ids)),
        "field_id": texts(map(str, points.name)),
        "status": Coded(list(STATUS_WORDS), built.status),
        "block": Coded(names, block),
        "row": np.where(held, planned.row[place], np.nan),
        "position": np.where(held, planned.position[place], np.nan),
        "plant": Coded([p.name for p in plants], code),
        "variety": Coded([p.variety for p in plants], code),
        "role": Coded([p.role for p in plants], code),
        "offset_m": np.hypot(built.off_x, built.off_y),
        "direction_deg": bearing(built.off_x, built.off_y),
        "east_m": built.off_x,
        "north_m": built.off_y,
        "own_offset_m": np.hypot(built.own_x, built.own_y),
        "own_direction_deg": bearing(built.own_x, built.own_y),
        "easting": east,
        "northing": north,
        "lon": lon,
        "lat": lat,
    }
    for name in SEEN:
        values = getattr(back.true.trees, name)
        columns[name] = None if values is None else _spread(np.asarray(values, float), back.order, size)
    planned_sun = back.planting.trees.sun_h
    columns["sun_planned_h"] = None if planned_sun is None else np.where(held, np.asarray(planned_sun, float)[place], np.nan)
    codes = np.full(size, "", object)
    codes[back.order] = back.true.trees.findings
    columns["findings"] = codes
    return LayerData(ASBUILT["asbuilt"], columns, Points(x, y))


def _spread(values: Floats, order: Ints, size: int) -> Floats:
    """Bring values of the true trees back to the order of the surveyed file."""
    out = np.full(size, np.nan)
    out[order] = values
    return out


def _findings(back: Return) -> LayerData:
    frame = back.planting.site.frame
    found = all_told(back.true.findings, back.planting.site.units)
    shapes = np.empty(len(found), object)
    shapes[:] = [finding.geometry for finding in found]
    out = shapely.transform(shapes, lambda xy: np.column_stack(frame.to(frame.survey_crs, xy[:, 0], xy[:, 1])))
    names = ("code", "severity", "tree_id", "message", "measured", "required", "remedy")
    columns = {name: texts([getattr(finding, name) for finding in found]) for name in names}
    return LayerData(FINDINGS, columns, out)
