"""Tables of time: how the plants grow year by year, and the year's work month by month."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from setout.layers import CONTRACTS
from setout.layers.columns import texts
from setout.layers.data import LayerData
from setout.model import Planting
from setout.words.terms import TERMS


def year_layers(planting: Planting) -> Iterator[LayerData]:
    """Yield the tables growth and work."""
    grown = planting.growth
    if grown:
        yield LayerData(
            CONTRACTS["growth"],
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
    months = [(line, month, hours) for line in planting.work for month, hours in enumerate(line.by_month, 1)]
    if months:
        yield LayerData(
            CONTRACTS["work"],
            {
                "block": texts([line.block for line, _, _ in months]),
                "job": texts([TERMS[line.job] for line, _, _ in months]),
                "month": np.array([month for _, month, _ in months], np.int64),
                "hours": np.array([hours for _, _, hours in months], float),
                "source": texts(["; ".join(line.sources) for line, _, _ in months]),
            },
        )
