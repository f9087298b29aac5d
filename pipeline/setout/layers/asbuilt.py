"""The layers and tables of asbuilt.gpkg: what came back from the field."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from setout.layers.contract import Column, LayerContract, must

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
