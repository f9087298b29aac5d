"""Materials to buy."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from setout.layers.columns import texts
from setout.layers.contract import Column, LayerContract, must
from setout.layers.data import LayerData, layer_of
from setout.model import Planting
from setout.words.materials import all_bought

MATERIALS: Final = LayerContract(
    "materials",
    None,
    (
        must("item", "text", "", "what it is"),
        Column("size", "text", "", "its size, with unit"),
        must("quantity", "real", "as unit says", "how much"),
        must("unit", "text", "", "unit of the quantity"),
        Column("where", "text", "", "what it is for"),
        Column("shown", "text", "", "the quantity as people buy it"),
    ),
    "Materials",
)


def materials_layer(planting: Planting) -> Iterator[LayerData]:
    """Yield the materials of each block."""
    lines = planting.materials
    said = all_bought(lines, planting.site.units)
    yield layer_of(
        MATERIALS,
        None,
        **{name: texts([getattr(line, name) for line in said]) for name in ("item", "size", "where", "shown")},
        unit=texts([line.unit for line in lines]),
        quantity=np.array([line.quantity for line in lines], float),
    )
