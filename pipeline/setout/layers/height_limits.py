"""Ground on which plants stay low."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from setout.layers.contract import Column, LayerContract, must
from setout.layers.data import LayerData, layer_of
from setout.layers.places import Outer
from setout.model import Planting

HEIGHT_LIMITS: Final = LayerContract(
    "height_limits",
    "MULTIPOLYGON",
    (
        must("reason", "text", "", "why mature height is capped"),
        Column("source", "text", "", "where the features come from"),
        Column("within_m", "real", "m", "distance from the features"),
        must("height_m", "real", "m", "greatest mature height allowed"),
    ),
    "Height limits",
)


def height_limits_layer(planting: Planting, outer: Outer) -> Iterator[LayerData]:
    """Yield the ground within each height limit."""
    site, usable = planting.site, planting.usable
    yield layer_of(
        HEIGHT_LIMITS,
        outer([e.geometry for e in usable.height_limits]),
        reason=[e.reason for e in usable.height_limits],
        source=[e.source for e in usable.height_limits],
        within_m=[limit.within_m for limit in site.height_limits],
        height_m=[limit.height_m for limit in site.height_limits],
    )
