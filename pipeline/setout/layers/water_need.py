"""What plants need by month."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from setout.layers.columns import texts
from setout.layers.contract import Column, LayerContract, must
from setout.layers.data import LayerData
from setout.model import Planting
from setout.model.need import MONTHS
from setout.tables.crops import DAYS

WATER_NEED: Final = LayerContract(
    "water_need",
    None,
    (
        must("block", "text", "", "name of the block"),
        must("plant", "text", "", "catalogue name: species, size class"),
        Column("variety", "text", "", "variety"),
        must("month", "int", "", "month, 1 to 12"),
        must("trees", "int", "", "how many there are"),
        Column("eto_mm", "real", "mm", "reference evapotranspiration of the month"),
        Column("rain_mm", "real", "mm", "rain of the month"),
        Column("kc", "real", "", "crop coefficient, mean of the month"),
        Column("need_lpd", "real", "l/day", "water that one needs at full size, less effective rain"),
        Column("dry_need_lpd", "real", "l/day", "the same if no rain falls; the greatest is the peak"),
    ),
    "Water need by month",
)


def water_need_layer(planting: Planting) -> Iterator[LayerData]:
    """Yield the table water_need, where need by month is known."""
    need = planting.need
    known = [one for one in need.classes if one.lpd_by_month] if need is not None else []
    if need is None or not known:
        return
    blocks = planting.site.blocks
    rain = need.rain_mm or (float("nan"),) * 12
    yield LayerData(
        WATER_NEED,
        {
            "block": texts(blocks[one.block].name for one in known for _ in MONTHS),
            "plant": texts(blocks[one.block].plants[one.plant].name for one in known for _ in MONTHS),
            "variety": texts(blocks[one.block].plants[one.plant].variety for one in known for _ in MONTHS),
            "month": np.tile(np.arange(1, 13), len(known)),
            "trees": np.repeat(np.array([one.trees for one in known], np.int64), 12),
            "eto_mm": np.tile(np.array(need.eto_mm) * DAYS, len(known)),
            "rain_mm": np.tile(np.array(rain, float), len(known)),
            "kc": np.array([one.kc_by_month for one in known], float).ravel(),
            "need_lpd": np.array([one.lpd_by_month for one in known], float).ravel(),
            "dry_need_lpd": np.array([one.dry_lpd_by_month for one in known], float).ravel(),
        },
    )
