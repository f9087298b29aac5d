"""How the map lets canopies grow: the figures of the growth curve, once for every kind of plant as it is kept."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from setout.geometry.places.growth import kept_of, leaves_of, natural_of, plant_spread_at, years_of

if TYPE_CHECKING:
    from setout.model import Ints, Plant, Planting

BEYOND: Final = 5
"""Years after the slowest plant's year of full size to which the map's years go."""
MOST_YEARS: Final = 60

Growth = tuple[float, float, float, float, tuple[tuple[float, float], ...]]
"""What makes one plant grow as another: spread left alone and as kept [m], years, when it comes out, own pairs."""


def growth_classes(planting: Planting) -> tuple[Ints, tuple[Plant | None, ...]]:
    """Return the growth of every tree."""
    blocks, trees = planting.site.blocks, planting.trees
    width = max((len(b.plants) for b in blocks), default=0) + 1  # the last column is for no plant
    place: dict[str, int] = {}  # by their text: NaN is not equal to itself
    rows: list[Plant | None] = [None]
    table = np.zeros((max(len(blocks), 1), width), np.int64)
    for i, block in enumerate(blocks):
        for j, plant in enumerate(block.plants):
            table[i, j] = place.setdefault(repr(_growth(plant)), len(rows))
            if table[i, j] == len(rows):
                rows.append(plant)
    return table[trees.block, trees.plant], tuple(rows)


def _growth(plant: Plant) -> Growth:
    return natural_of(plant), kept_of(plant), float(years_of(plant)), float(leaves_of(plant)), plant.growth


def growth_options(planting: Planting) -> dict[str, Any]:
    """Return what the page's script needs to draw any year, as plain data."""
    kinds = growth_classes(planting)[1]
    known = [p for p in kinds if p is not None and np.isfinite(years_of(p)) and np.isfinite(plant_spread_at(p, 0))]
    ends = [years_of(p) + BEYOND for p in known] + [leaves_of(p) + 2 for p in known if leaves_of(p) < MOST_YEARS]
    last = int(min(np.ceil(max(ends)), MOST_YEARS)) if ends else 0
    return {"table": [_by_year(plant, last) for plant in kinds], "year": last}


def _by_year(plant: Plant | None, last: int) -> list[float | None]:
    if plant is None:
        return [None] * (last + 1)
    spreads = [plant_spread_at(plant, year) for year in range(last + 1)]
    return [round(s, 4) if np.isfinite(s) else None for s in spreads]
