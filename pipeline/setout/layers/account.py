"""The land account."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from setout.layers.contract import Column, LayerContract, must
from setout.layers.data import LayerData, layer_of
from setout.model import Planting

LAND_ACCOUNT: Final = LayerContract(
    "land_account",
    None,
    (
        must("step", "int", "", "order in which ground was taken, from 0"),
        must("reason", "text", "", "gross, then one reason a row, then net"),
        Column("alone_m2", "real", "m2", "ground that this reason takes alone"),
        Column("newly_m2", "real", "m2", "ground that no earlier reason had taken"),
        must("remaining_m2", "real", "m2", "ground left after this step"),
    ),
    "Land account",
)


def account_layer(planting: Planting) -> Iterator[LayerData]:
    """Yield what each step took from the land, and what it left."""
    account = planting.usable.account
    yield layer_of(
        LAND_ACCOUNT,
        None,
        step=np.array([row.step for row in account], np.int64),
        reason=[row.reason for row in account],
        alone_m2=[row.alone_m2 for row in account],
        newly_m2=[row.newly_m2 for row in account],
        remaining_m2=[row.remaining_m2 for row in account],
    )
