"""What every layer that setout writes holds: its columns, their units and meaning, and its kind of geometry.

Lengths are metres, areas square metres, pressures kilopascals, flows litres per hour; the unit is in each
column's name. A contract says what a layer *may* hold; a column that a plan gives no input for is null.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from .errors import Fault, SetoutError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sized

Kind = Literal["text", "int", "real", "bool"]
GeometryKind = Literal["POINT Z", "POINT", "LINESTRING", "MULTIPOLYGON", "GEOMETRY"]

DTYPES: Final[Mapping[str, str]] = {"text": "OUT", "int": "iuf", "real": "fiu", "bool": "bf"}
"""numpy dtype kinds that may fill a column of each kind; NaN in a float array stands for null."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a layer.

    Attributes
    ----------
    name : the column's name, its unit as suffix
    kind : text, int, real or bool
    unit : unit of the values; empty for text, counts and ratios
    meaning : what it says, in the words of the glossary
    required : every row has a value; other columns may be absent or null
    """

    name: str
    kind: Kind
    unit: str
    meaning: str
    required: bool = False


@dataclass(frozen=True, slots=True)
class LayerContract:
    """One layer: its name, kind of geometry (None for a table) and columns in the order they are written."""

    name: str
    geometry: GeometryKind | None
    columns: tuple[Column, ...]
    title: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        """Return the column names in order.

        >>> CONTRACTS["land_account"].names
        ('step', 'reason', 'alone_m2', 'newly_m2', 'remaining_m2')
        """
        return tuple(column.name for column in self.columns)


def _must(name: str, kind: Kind, unit: str, meaning: str) -> Column:
    return Column(name, kind, unit, meaning, required=True)


_TREES: Final = (
    _must("tree_id", "text", "", "block-row-position: unique, and the same whenever the plan is made again"),
    _must("block", "text", "", "name of the block"),
    _must("row", "int", "", "row number in the block, from 1, as a crew walks"),
    _must("position", "int", "", "number in the row, from 1, as a crew walks"),
    Column("plant", "text", "", "catalogue name: species, size class"),
    Column("variety", "text", "", "variety, where the plan names one"),
    Column("role", "text", "", "what the tree is there for, such as pollinizer"),
    _must("easting", "real", "unit of the plane CRS", "easting in the survey's plane CRS"),
    _must("northing", "real", "unit of the plane CRS", "northing in the survey's plane CRS"),
    Column("lon", "real", "deg", "longitude, WGS 84"),
    Column("lat", "real", "deg", "latitude, WGS 84"),
    Column("elevation_m", "real", "m", "ground elevation from the DEM"),
    Column("slope_pct", "real", "%", "slope of the tree's cell (Horn)"),
    Column("nearest_m", "real", "m", "distance to the true nearest neighbour"),
    Column("spread_m", "real", "m", "mature canopy diameter"),
    Column("height_m", "real", "m", "mature height"),
    Column("crowding", "real", "", "spread / distance to the nearest neighbour, the partner of its pair aside"),
    Column(
        "overlap_m",
        "real",
        "m",
        "how far its mature canopy reaches into the neighbour that it overlaps most; 0 for none",
    ),
    Column(
        "room_m",
        "real",
        "m",
        "diameter of the circle as large as its room: the ground under its canopy that is nearer to no neighbour",
    ),
    Column("pruning_load", "real", "", "share of the natural canopy that has to come off each year"),
    Column("pollinizer_m", "real", "m", "distance to the nearest pollinizer"),
    Column("water_point", "text", "", "water point that serves the tree"),
    Column("zone", "text", "", "zone that waters the tree"),
    Column("run_m", "real", "m", "pipe run from the water point"),
    Column(
        "pressure_kpa", "real", "kPa", "pressure at the tree's emitters; where none are planned, the static pressure"
    ),
    Column("flow_lph", "real", "l/h", "flow that the tree's emitters give"),
    Column("need_lpd", "real", "l/day", "water that the tree needs at the peak"),
    Column("watered", "bool", "", "whether its need at the peak is met within the hours allowed"),
    Column("water_reason", "text", "", "why it is, is not, or why that is unknown"),
    Column("sun_h", "real", "h", "direct sun hours"),
    Column("sun_am_h", "real", "h", "direct sun hours before solar noon"),
    Column("sun_pm_h", "real", "h", "direct sun hours after solar noon"),
    Column("sun_open_h", "real", "h", "direct sun hours with the terrain alone in the way"),
    Column("findings", "text", "", "codes of the findings that name the tree, separated by blanks"),
)

_PIPE: Final = (
    Column("diameter_mm", "real", "mm", "inside diameter"),
    Column("flow_lph", "real", "l/h", "flow at its head"),
    Column("inlet_kpa", "real", "kPa", "pressure at its head"),
    Column("end_kpa", "real", "kPa", "lowest pressure along it"),
    Column("velocity_m_s", "real", "m/s", "highest velocity in it"),
)

_LAYERS: Final = (
    LayerContract(
        "boundary",
        "MULTIPOLYGON",
        (
            Column("name", "text", "", "name of the plan"),
            _must("area_m2", "real", "m2", "area on the ground"),
        ),
        "Property boundary",
    ),
    LayerContract(
        "exclusions",
        "MULTIPOLYGON",
        (
            _must("reason", "text", "", "why nothing is planted here, as the plan file words it"),
            Column("source", "text", "", "where the features come from"),
            Column("distance_m", "real", "m", "clear distance"),
            Column("alone_m2", "real", "m2", "ground that this reason takes alone"),
            Column("newly_m2", "real", "m2", "ground that no earlier reason had taken"),
        ),
        "Ground kept clear",
    ),
    LayerContract(
        "height_limits",
        "MULTIPOLYGON",
        (
            _must("reason", "text", "", "why mature height is capped"),
            Column("source", "text", "", "where the features come from"),
            Column("within_m", "real", "m", "distance from the features"),
            _must("height_m", "real", "m", "greatest mature height allowed"),
        ),
        "Height limits",
    ),
    LayerContract(
        "reach",
        "MULTIPOLYGON",
        (
            _must("water_point", "text", "", "water point that can serve this ground"),
            Column("max_run_m", "real", "m", "longest pipe run allowed"),
            Column("area_m2", "real", "m2", "area on the ground"),
        ),
        "Reach of water",
    ),
    LayerContract(
        "usable",
        "MULTIPOLYGON",
        (
            Column("block", "text", "", "block that plants this ground; null where none does"),
            _must("area_m2", "real", "m2", "area on the ground"),
        ),
        "Usable ground",
    ),
    LayerContract(
        "rows",
        "LINESTRING",
        (
            _must("row_id", "text", "", "block-row"),
            _must("block", "text", "", "name of the block"),
            _must("row", "int", "", "row number in the block, from 1"),
            _must("bearing_deg", "real", "deg", "bearing from true north, clockwise, 0 to 180"),
            _must("length_m", "real", "m", "from the first tree to the last"),
            _must("trees", "int", "", "trees in the row"),
        ),
        "Rows",
    ),
    LayerContract("trees", "POINT Z", _TREES, "Trees"),
    LayerContract(
        "beds",
        "MULTIPOLYGON",
        (
            _must("bed_id", "text", "", "block-row-number"),
            _must("block", "text", "", "name of the block"),
            _must("row", "int", "", "row number in the block, from 1"),
            _must("area_m2", "real", "m2", "area on the ground"),
            _must("plants", "int", "", "plants in it"),
            Column("mulch_m3", "real", "m3", "mulch to the depth the plan asks"),
        ),
        "Raised beds",
    ),
    LayerContract(
        "posts",
        "POINT",
        (
            _must("post_id", "text", "", "block-row-number"),
            _must("block", "text", "", "name of the block"),
            _must("row", "int", "", "row number in the block, from 1"),
            _must("kind", "text", "", "end or line"),
        ),
        "Trellis posts",
    ),
    LayerContract(
        "screens",
        "LINESTRING",
        (
            _must("block", "text", "", "name of the block"),
            Column("purpose", "text", "", "hide or shade"),
            _must("row", "int", "", "line of the screen, from 1"),
            _must("length_m", "real", "m", "from the first plant to the last"),
            _must("trees", "int", "", "plants in the line"),
            Column("height_m", "real", "m", "mature height of its tallest plant"),
            Column("yard_m", "real", "m", "distance from the yard that it serves"),
        ),
        "Screens",
    ),
    LayerContract(
        "laterals",
        "LINESTRING",
        (
            _must("lateral_id", "text", "", "block-row-number"),
            Column("block", "text", "", "name of the block"),
            Column("zone", "text", "", "zone it belongs to"),
            Column("row_id", "text", "", "row it runs along"),
            Column("length_m", "real", "m", "length on the slope"),
            Column("trees", "int", "", "trees it waters"),
            Column("emitters", "int", "", "emitters on it"),
            *_PIPE,
        ),
        "Laterals",
    ),
    LayerContract(
        "manifolds",
        "LINESTRING",
        (
            _must("manifold_id", "text", "", "valve-number; a main that feeds several valves is there for each"),
            Column("kind", "text", "", "main, from the water point to the valve, or manifold, beyond it"),
            Column("valve", "text", "", "valve that opens it, or that it feeds"),
            Column("zone", "text", "", "zone it belongs to"),
            Column("water_point", "text", "", "water point that feeds it"),
            Column("length_m", "real", "m", "length on the slope"),
            *_PIPE,
        ),
        "Manifolds",
    ),
    LayerContract(
        "water_points",
        "POINT",
        (
            _must("name", "text", "", "name of the water point"),
            Column("elevation_m", "real", "m", "ground elevation"),
            Column("pressure_kpa", "real", "kPa", "static pressure there"),
            Column("flow_lph", "real", "l/h", "flow it can give"),
            Column("trees", "int", "", "trees it serves"),
            Column("zone", "text", "", "zones it feeds, separated by blanks"),
        ),
        "Water points",
    ),
    LayerContract(
        "findings",
        "GEOMETRY",
        (
            _must("code", "text", "", "stable short word"),
            _must("severity", "text", "", "note, warn or stop"),
            Column("tree_id", "text", "", "the tree at fault, if one is"),
            _must("message", "text", "", "what and where, in plain words"),
            Column("measured", "text", "", "the figure found, with its unit"),
            Column("required", "text", "", "the figure asked for, with its unit"),
            Column("remedy", "text", "", "what mends it"),
        ),
        "Findings",
    ),
    LayerContract(
        "contours",
        "LINESTRING",
        (_must("elevation_m", "real", "m", "elevation of the line"),),
        "Contours",
    ),
    LayerContract(
        "growth",
        None,
        (
            _must("block", "text", "", "name of the block"),
            _must("plant", "text", "", "catalogue name: species, size class"),
            _must("year", "int", "", "years after planting"),
            _must("trees", "int", "", "how many stand in that year"),
            Column("spread_m", "real", "m", "canopy diameter, as it is kept"),
            Column("height_m", "real", "m", "height, as it is kept"),
            Column("clear_alley_m", "real", "m", "clear width between the canopies of two rows"),
            Column("cover", "real", "", "share of the block's ground under canopy"),
            Column("need_lpd", "real", "l/day", "water that one of them needs at that year's peak"),
        ),
        "Growth by year",
    ),
    LayerContract(
        "water_need",
        None,
        (
            _must("block", "text", "", "name of the block"),
            _must("plant", "text", "", "catalogue name: species, size class"),
            Column("variety", "text", "", "variety"),
            _must("month", "int", "", "month, 1 to 12"),
            _must("trees", "int", "", "how many there are"),
            Column("eto_mm", "real", "mm", "reference evapotranspiration of the month"),
            Column("rain_mm", "real", "mm", "rain of the month"),
            Column("kc", "real", "", "crop coefficient, mean of the month"),
            Column("need_lpd", "real", "l/day", "water that one needs at full size, less effective rain"),
            Column("dry_need_lpd", "real", "l/day", "the same if no rain falls; the greatest is the peak"),
        ),
        "Water need by month",
    ),
    LayerContract(
        "work",
        None,
        (
            _must("block", "text", "", "name of the block"),
            _must("job", "text", "", "pruning, thinning, mulching or watering checks"),
            _must("month", "int", "", "month, 1 to 12"),
            Column("hours", "real", "h", "hours of the job in that month, at maturity"),
            Column("source", "text", "", "where the rates come from"),
        ),
        "Work by month",
    ),
    LayerContract(
        "land_account",
        None,
        (
            _must("step", "int", "", "order in which ground was taken, from 0"),
            _must("reason", "text", "", "gross, then one reason a row, then net"),
            Column("alone_m2", "real", "m2", "ground that this reason takes alone"),
            Column("newly_m2", "real", "m2", "ground that no earlier reason had taken"),
            _must("remaining_m2", "real", "m2", "ground left after this step"),
        ),
        "Land account",
    ),
    LayerContract(
        "zones",
        None,
        (
            _must("zone", "text", "", "name of the zone"),
            Column("water_point", "text", "", "water point that feeds it"),
            Column("valve", "text", "", "valves that open it, separated by blanks"),
            Column("block", "text", "", "blocks that it waters, separated by semicolons"),
            Column("rows", "int", "", "rows watered at once"),
            Column("trees", "int", "", "trees watered at once"),
            Column("flow_lph", "real", "l/h", "flow it draws"),
            Column("pressure_kpa", "real", "kPa", "pressure behind its valve; the greatest of several"),
            Column("least_kpa", "real", "kPa", "lowest pressure at its emitters"),
            Column("most_kpa", "real", "kPa", "highest pressure at its emitters"),
            Column("uniformity", "real", "", "emission uniformity, 0 to 1"),
            Column("uniformity_class", "text", "", "its class"),
            Column("start_h", "real", "h", "hours after the beginning of watering when it starts"),
            Column("hours_h", "real", "h/day", "hours on each day of watering, at the peak"),
            Column("hours_needed_h", "real", "h/day", "hours that would meet all its trees' need"),
            Column("days_per_week", "int", "", "days of watering a week"),
        ),
        "Zones",
    ),
    LayerContract(
        "order",
        None,
        (
            _must("plant", "text", "", "catalogue name: species, size class"),
            Column("variety", "text", "", "variety, where the plan names one"),
            Column("role", "text", "", "what it is there for"),
            Column("block", "text", "", "block it is for"),
            _must("trees", "int", "", "plants that the plan sets, without spares"),
            Column("species", "text", "", "species alone"),
            Column("size_class", "text", "", "size class alone"),
            Column("spares", "int", "", "plants to order beside them"),
            Column("note", "text", "", "such as the year in which a filler comes out"),
        ),
        "Plants to order",
    ),
    LayerContract(
        "materials",
        None,
        (
            _must("item", "text", "", "what it is"),
            Column("size", "text", "", "its size, with unit"),
            _must("quantity", "real", "as unit says", "how much"),
            _must("unit", "text", "", "unit of the quantity"),
            Column("where", "text", "", "what it is for"),
            Column("shown", "text", "", "the quantity as people buy it"),
        ),
        "Materials",
    ),
)

CONTRACTS: Final[Mapping[str, LayerContract]] = {contract.name: contract for contract in _LAYERS}
"""Every layer by name, in the order in which they are written."""

_ASBUILT: Final = (
    LayerContract(
        "asbuilt",
        "POINT",
        (
            _must("tree_id", "text", "", "planned tree at whose place it stands, else its name in the field"),
            Column("field_id", "text", "", "its name in the surveyed file"),
            _must("status", "text", "", "in place, off its place, swapped, at another's place, doubled or extra"),
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
            _must("easting", "real", "unit of the plane CRS", "easting where it stands"),
            _must("northing", "real", "unit of the plane CRS", "northing where it stands"),
            Column("lon", "real", "deg", "longitude, WGS 84"),
            Column("lat", "real", "deg", "latitude, WGS 84"),
            Column("nearest_m", "real", "m", "distance to the true nearest neighbour"),
            Column("crowding", "real", "", "spread / distance to the nearest neighbour, the partner of its pair aside"),
            Column(
                "overlap_m", "real", "m", "how far its mature canopy reaches into the neighbour that it overlaps most"
            ),
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
            _must("tree_id", "text", "", "block-row-position"),
            _must("block", "text", "", "name of the block"),
            _must("status", "text", "", "planted, missing or not surveyed"),
        ),
        "Planned places",
    ),
    LayerContract(
        "offsets",
        "LINESTRING",
        (
            _must("tree_id", "text", "", "the tree"),
            _must("offset_m", "real", "m", "from the planned place to where it stands"),
            _must("direction_deg", "real", "deg", "bearing from true north, clockwise"),
        ),
        "Offsets",
    ),
    LayerContract(
        "set_up",
        None,
        (
            _must("figure", "text", "", "what is told"),
            Column("value", "real", "as unit says", "how much; null where it cannot be known"),
            Column("unit", "text", "", "its unit"),
            Column("said", "text", "", "in words"),
        ),
        "The set-out as a whole",
    ),
)
ASBUILT: Final[Mapping[str, LayerContract]] = {contract.name: contract for contract in _ASBUILT}
"""Layers of what came back from the field, written to a file of their own."""


def check(contract: LayerContract, columns: Mapping[str, Sized | None], rows: int | None = None) -> None:
    """Check that columns keep a layer's contract; every fault is reported together.

    Parameters
    ----------
    contract : LayerContract
        What the layer promises.
    columns : Mapping
        Arrays by column name, all of one length; None for a column that is null throughout. Values that are
        no numpy array (made chunk by chunk) are judged by their length alone.
    rows : int, optional
        Length that all have to have; the length of the first when absent.

    Raises
    ------
    SetoutError
        Columns missing, not in the contract, of the wrong dtype or of unequal length.

    Examples
    --------
    >>> import numpy as np
    >>> check(CONTRACTS["contours"], {"elevation_m": np.array([100.0, 101.0])})
    >>> check(CONTRACTS["contours"], {"height": np.array([1.0])})
    Traceback (most recent call last):
    setout.errors.SetoutError: contours: column "height" is not in the contract; columns are elevation_m
    contours: column "elevation_m" is missing; give a value for every row
    """
    known = {column.name: column for column in contract.columns}
    faults = [
        Fault(f'column "{name}" is not in the contract', contract.name, f"columns are {', '.join(known)}")
        for name in columns
        if name not in known
    ]
    for column in contract.columns:
        values = columns.get(column.name)
        if values is None:
            if column.required and rows != 0:
                what = "is null" if column.name in columns else "is missing"
                faults.append(Fault(f'column "{column.name}" {what}', contract.name, "give a value for every row"))
            continue
        rows = len(values) if rows is None else rows
        fault = _column_fault(column, values, rows)
        if fault:
            faults.append(Fault(f'column "{column.name}" {fault}', contract.name))
    if faults:
        raise SetoutError("", faults=tuple(faults))


def _column_fault(column: Column, values: Sized, rows: int) -> str:
    if len(values) != rows:
        return f"has {len(values)} rows where the layer has {rows}"
    if not isinstance(values, np.ndarray):
        return ""
    if values.ndim != 1:
        return f"has {values.ndim} dimensions instead of one"
    if values.dtype.kind not in DTYPES[column.kind]:
        return f"is {values.dtype} where the contract says {column.kind}"
    return ""
