"""The table of what plants need by month."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from setout.layers import CONTRACTS
from setout.layers.columns import texts
from setout.layers.data import LayerData
from setout.model import Planting
from setout.model.need import MONTHS
from setout.tables.crops import DAYS


def need_layer(planting: Planting) -> Iterator[LayerData]:
    """Yield the table water_need, where need by month is known."""
    need = planting.need
    known = [one for one in need.classes if one.lpd_by_month] if need is not None else []
    if need is None or not known:
        return
    blocks = planting.site.blocks
    rain = need.rain_mm or (float("nan"),) * 12
    yield LayerData(
        CONTRACTS["water_need"],
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
