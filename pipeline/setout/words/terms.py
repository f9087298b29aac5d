"""What codes are called: one word or phrase for each, wherever a reader meets it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

TERMS: Final[Mapping[str, str]] = {
    # why ground is taken out
    "no_elevation": "no elevation",
    "slope": "slope",
    "above_pressure": "too high for water pressure",
    "beyond_reach": "beyond reach of water",
    "outside_blocks": "outside every block",
    "too_narrow": "too narrow",
    "too_small": "too small",
    # what becomes of ground
    "gap_planted": "it may be planted all the same, as the plan file says",
    "gap_left": "nothing is planted there",
    "trees_dry": "its trees are told as dry",
    "not_planted": "it is not planted",
    # why cold air harms a plant
    "tender": "tender",
    "half-hardy": "half-hardy",
    "bloom at risk": "bloom at risk",
    "early_bloom": "early bloom",
    # light
    "spread": "spread",
    "height": "height",
    "counted_on_wall": "counted by how squarely it meets the two sides of the hedge",
    "terrain_in_sun": "the terrain takes most of it",
    "canopies_in_sun": "canopies and what stands round them take the rest",
    "north_and_south": "north and south of each other",
    "east_and_west": "east and west of each other",
    "crowns_fill_room": "reckoned for crowns that fill their room, as the plants' sizes are not known",
    "shades_in_morning": "it shades it in the morning instead",
    # work of the year
    "pruning": "pruning",
    "thinning": "thinning",
    "mulching": "mulching",
    "watering_checks": "watering checks",
    # plants, of their figures
    "plant": "[[{plant}||the plant]][[ ({variety})]]",
    "plant_cut": "[[{plant}||the plant]][[ ({variety})]]: {n} of {asked}",
}


def called(code: str) -> str:
    """Return what a code is called; a name that the user gave as it is.

    >>> called("too_narrow"), called("power line")
    ('too narrow', 'power line')
    """
    return TERMS.get(code, code)
