"""How the map lets canopies grow: the figures of the growth curve, once for every kind of plant as it is kept."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from setout.geometry.growth import REACHED, kept_of, leaves_of, natural_of

if TYPE_CHECKING:
    from setout.nouns import Ints, Plant, Planting

BEYOND: Final = 5
"""Years after the slowest plant's year of full size to which the map's years go."""
MOST_YEARS: Final = 60

Growth = tuple[float, float, float, float]
"""Spread left alone [m], spread as kept [m], years to full size, year in which it comes out; NaN unknown, inf never."""


def growth_classes(planting: Planting) -> tuple[Ints, tuple[Growth, ...]]:
    """Return the growth of every tree.

    Parameters
    ----------
    planting : Planting
        The finished plan.

    Returns
    -------
    (n,) ndarray of int
        Index into the table.
    tuple of Growth
        The table; its first entry is for positions without a plant.
    """
    unknown: Growth = (float("nan"), float("nan"), float("nan"), float("inf"))
    blocks, trees = planting.site.blocks, planting.trees
    width = max((len(b.plants) for b in blocks), default=0) + 1  # the last column is for no plant
    place: dict[str, int] = {repr(unknown): 0}  # by their text: NaN is not equal to itself
    rows = [unknown]
    table = np.zeros((max(len(blocks), 1), width), np.int64)
    for i, block in enumerate(blocks):
        for j, plant in enumerate(block.plants):
            row = _growth(plant)
            table[i, j] = place.setdefault(repr(row), len(rows))
            if len(place) > len(rows):
                rows.append(row)
    return table[trees.block, trees.plant], tuple(rows)


def _growth(plant: Plant) -> Growth:
    return natural_of(plant), kept_of(plant), float(plant.years_to_full_size), float(leaves_of(plant))


def growth_options(planting: Planting) -> dict[str, Any]:
    """Return what the page's script needs to draw any year, as plain data: None for what is unknown or never comes.

    Parameters
    ----------
    planting : Planting
        The finished plan.

    Returns
    -------
    dict
        ``table`` of growth by class, ``reached`` share of full size in the year of full size, and the last ``year`` to
        offer; 0 where no plant's growth is known.
    """
    rows = growth_classes(planting)[1]
    known = [row for row in rows if np.isfinite(row[:3]).all()]
    ends = [row[2] + BEYOND for row in known] + [row[3] + 2 for row in known if row[3] < MOST_YEARS]
    return {
        "table": [[round(v, 4) if np.isfinite(v) else None for v in row] for row in rows],
        "reached": REACHED,
        "year": int(min(np.ceil(max(ends)), MOST_YEARS)) if ends else 0,
    }
