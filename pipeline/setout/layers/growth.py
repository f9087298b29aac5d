"""How the plants grow, year by year."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from setout.layers.columns import texts
from setout.layers.contract import Column, LayerContract, must
from setout.layers.data import LayerData
from setout.model import Planting

GROWTH: Final = LayerContract(
    "growth",
    None,
    (
        must("block", "text", "", "name of the block"),
        must("plant", "text", "", "catalogue name: species, size class"),
        must("year", "int", "", "years after planting"),
        must("trees", "int", "", "how many stand in that year"),
        Column("spread_m", "real", "m", "canopy diameter, as it is kept"),
        Column("height_m", "real", "m", "height, as it is kept"),
        Column("clear_alley_m", "real", "m", "clear width between the canopies of two rows"),
        Column("cover", "real", "", "share of the block's ground under canopy"),
        Column("need_lpd", "real", "l/day", "water that one of them needs at that year's peak"),
    ),
    "Growth by year",
)


def growth_layer(planting: Planting) -> Iterator[LayerData]:
    """Yield the years of every plant, where sizes are known."""
    grown = planting.growth
    if grown:
        yield LayerData(
            GROWTH,
            {
                "block": texts([line.block for line in grown]),
                "plant": texts([line.plant for line in grown]),
                "year": np.array([line.year for line in grown], np.int64),
                "trees": np.array([line.trees for line in grown], np.int64),
                **{
                    name: np.array([getattr(line, name) for line in grown], float)
                    for name in ("spread_m", "height_m", "clear_alley_m", "cover", "need_lpd")
                },
            },
        )
