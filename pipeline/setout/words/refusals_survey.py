"""Refusals of survey, staking and field return in words."""

from __future__ import annotations

from typing import Final

from setout.model import Figure
from setout.words.refused import Refused

_LAYER: Final[dict[str, Figure]] = {"source": "site.gpkg:risers"}
_CELL: Final[dict[str, Figure]] = {"source": "site.gpkg:risers", "column": "pressure", "feature": 3}
_AT: Final = "{source}: {column}, feature {feature}"
_SHADE: Final = "[[shade[{table}]: ]]"

REFUSALS: Final[dict[str, Refused]] = {
    "crs_nowhere": Refused(
        "the CRS {crs} has no place on the earth", "site.boundary", "give site.crs a mapped CRS", example={"crs": "unknown"}
    ),
    "boundary_too_wide": Refused(
        "the boundary is {across_km:,.0f} km across, which no property is",
        "site.boundary",
        "check its coordinates, its unit and its CRS; across the 180th meridian longitudes go on, 179.99, 180.01",
        example={"across_km": 1200.0},
    ),
    "boundary_crosses": Refused(
        "the boundary crosses itself ({reason}) at {x:.3f}, {y:.3f}: which ground is inside is in doubt",
        "{source}",
        "put its corners in order",
        example={**_LAYER, "reason": "self-intersection", "x": 1.0, "y": 2.0},
    ),
    "boundary_empty": Refused(
        "the boundary encloses no area", "{source}", "give at least three corners that are not in line", example=_LAYER
    ),
    "layer_not_on_site": Refused(
        "some coordinates cannot be brought to the site ({crs})", "{source}", "check its CRS", example={**_LAYER, "crs": "WGS 84"}
    ),
    "area_without_polygons": Refused(
        "an area needs polygons, and there are none",
        "{source}",
        "name a layer of polygons; a setback keeps clear of points and lines",
        example=_LAYER,
    ),
    "guide_without_lines": Refused("a guide needs lines, and there are none", "{source}", "name a layer of lines", example=_LAYER),
    "trees_without_points": Refused("single trees need points, and there are none", "{source}", "name a layer of points", example=_LAYER),
    "water_points_not_points": Refused("water points must be points", "{source}", "give the layer of the risers or valves", example=_LAYER),
    "column_unread": Refused(
        "{said}",
        _AT,
        "[[{hint}, or ]]name the column with its unit, such as {such}",
        example={**_CELL, "said": "30 has no unit", "hint": "write it with its unit", "such": "pressure_psi"},
    ),
    "column_not_above_zero": Refused(
        "{value} is not a {quantity} above zero", _AT, "correct it or leave it empty", example={**_CELL, "value": "-3", "quantity": "flow"}
    ),
    "nothing_has_height": Refused(
        "nothing there has a height, so its shade cannot be known",
        _SHADE + "{source}",
        'write height = "20 ft" in its [[shade]] table, or give the layer a column height_ft or height_m',
        example={**_LAYER, "table": 1},
    ),
    "nothing_has_spread": Refused(
        "a tree's shade needs its spread, and no point there has one",
        _SHADE + "{source}",
        'write spread = "30 ft" in its [[shade]] table, or give the layer a column spread_ft or spread_m',
        example={**_LAYER, "table": 1},
    ),
    "size_unread": Refused(
        "{said}",
        _SHADE + _AT,
        "[[{hint}]][[name the column with its unit, such as {such}]]",
        example={**_CELL, "table": 1, "said": "30 has no unit", "hint": None, "such": "height_ft"},
    ),
    "size_not_above_zero": Refused(
        "{value} is not a {quantity} above zero",
        _SHADE + _AT,
        "correct it or leave it empty",
        example={**_CELL, "table": 1, "value": "-3", "quantity": "height"},
    ),
    "size_beyond_sense": Refused(
        "{value} is no {quantity}: nothing on a farm is larger than 1 km",
        _SHADE + _AT,
        "look at its number and its unit",
        example={**_CELL, "table": 1, "value": "5000", "quantity": "height"},
    ),
    "position_not_in_crs": Refused(
        "position {n} ({x}, {y}) is not in its coordinate system",
        "{source}",
        "mend the position, or say the file's right coordinate system",
        example={**_LAYER, "n": 1, "x": 1e9, "y": 2.0},
    ),
    "positions_far": Refused(
        "the positions lie {away_km:,.0f} km from the property",
        "{source}",
        "look whether latitude and longitude, or easting and northing, are exchanged, and say the file's right coordinate system",
        example={**_LAYER, "away_km": 5200.0},
    ),
    "monuments_alone": Refused("holds monuments alone", "{source}", "give the positions of the trees", example=_LAYER),
    "stake_points_uneven": Refused("lengths differ: {lengths:list}", "stake-out points", example={"lengths": ("tree_id 1", "lon 2")}),
    "stake_points_not_finite": Refused("{column} holds a value that is not finite", "stake-out points", example={"column": "northing"}),
    "not_a_plane_crs": Refused('"{crs}" is not a plane CRS', "stake-out", "give a projected CRS", example={"crs": "WGS 84"}),
}
