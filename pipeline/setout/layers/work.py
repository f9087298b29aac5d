"""The year's work, month by month."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from setout.layers.columns import texts
from setout.layers.contract import Column, LayerContract, must
from setout.layers.data import LayerData
from setout.model import Planting
from setout.words.terms import TERMS

WORK: Final = LayerContract(
    "work",
    None,
    (
        must("block", "text", "", "name of the block"),
        must("job", "text", "", "pruning, thinning, mulching or watering checks"),
        must("month", "int", "", "month, 1 to 12"),
        Column("hours", "real", "h", "hours of the job in that month, at maturity"),
        Column("source", "text", "", "where the rates come from"),
    ),
    "Work by month",
)


def work_layer(planting: Planting) -> Iterator[LayerData]:
    """Yield the hours of every job, where they are known."""
    months = [(line, month, hours) for line in planting.work for month, hours in enumerate(line.by_month, 1)]
    if months:
        yield LayerData(
            WORK,
            {
                "block": texts([line.block for line, _, _ in months]),
                "job": texts([TERMS[line.job] for line, _, _ in months]),
                "month": np.array([month for _, month, _ in months], np.int64),
                "hours": np.array([hours for _, _, hours in months], float),
                "source": texts(["; ".join(line.sources) for line, _, _ in months]),
            },
        )
