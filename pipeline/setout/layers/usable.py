"""Ground left to plant."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import shapely

from setout.layers.contract import Column, LayerContract, must
from setout.layers.data import LayerData, layer_of
from setout.layers.places import Outer
from setout.model import Planting

USABLE: Final = LayerContract(
    "usable",
    "MULTIPOLYGON",
    (
        Column("block", "text", "", "block that plants this ground; null where none does"),
        must("area_m2", "real", "m2", "area on the ground"),
    ),
    "Usable ground",
)


def usable_layer(planting: Planting, outer: Outer) -> Iterator[LayerData]:
    """Yield the usable ground of every block."""
    usable = planting.usable
    yield layer_of(USABLE, outer(usable.geometry), block=list(usable.block), area_m2=shapely.area(usable.geometry))
