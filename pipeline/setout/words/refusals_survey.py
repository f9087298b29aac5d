"""Refusals of survey, staking and field return in words."""

from __future__ import annotations

from typing import Final

from setout.words.refused import Refused

REFUSALS: Final[dict[str, Refused]] = {
    "stake_points_uneven": Refused("lengths differ: {lengths:list}", "stake-out points", example={"lengths": ("tree_id 1", "lon 2")}),
    "stake_points_not_finite": Refused("{column} holds a value that is not finite", "stake-out points", example={"column": "northing"}),
    "not_a_plane_crs": Refused('"{crs}" is not a plane CRS', "stake-out", "give a projected CRS", example={"crs": "WGS 84"}),
}
