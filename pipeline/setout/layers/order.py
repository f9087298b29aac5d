"""Plants to order."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from setout.layers.columns import texts
from setout.layers.contract import Column, LayerContract, must
from setout.layers.data import LayerData, layer_of
from setout.model import Planting
from setout.words.systems import order_note

ORDER: Final = LayerContract(
    "order",
    None,
    (
        must("plant", "text", "", "catalogue name: species, size class"),
        Column("variety", "text", "", "variety, where the plan names one"),
        Column("role", "text", "", "what it is there for"),
        Column("block", "text", "", "block it is for"),
        must("trees", "int", "", "plants that the plan sets, without spares"),
        Column("species", "text", "", "species alone"),
        Column("size_class", "text", "", "size class alone"),
        Column("spares", "int", "", "plants to order beside them"),
        Column("note", "text", "", "such as the year in which a filler comes out"),
    ),
    "Plants to order",
)


def order_layer(planting: Planting) -> Iterator[LayerData]:
    """Yield the plants to order, spares beside them."""
    lines = planting.order
    names = ("species", "plant", "variety", "role", "size_class", "block")
    yield layer_of(
        ORDER,
        None,
        **{name: texts([getattr(line, name) for line in lines]) for name in names},
        note=texts([order_note(line) for line in lines]),
        trees=np.array([line.trees for line in lines], np.int64),
        spares=np.array([line.spares for line in lines], np.int64),
    )
