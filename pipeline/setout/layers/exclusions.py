"""Ground kept clear, by reason."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from setout.layers.contract import Column, LayerContract, must
from setout.layers.data import LayerData, layer_of
from setout.layers.places import Outer
from setout.model import Planting

EXCLUSIONS: Final = LayerContract(
    "exclusions",
    "MULTIPOLYGON",
    (
        must("reason", "text", "", "why nothing is planted here, as the plan file words it"),
        Column("source", "text", "", "where the features come from"),
        Column("distance_m", "real", "m", "clear distance"),
        Column("alone_m2", "real", "m2", "ground that this reason takes alone"),
        Column("newly_m2", "real", "m2", "ground that no earlier reason had taken"),
    ),
    "Ground kept clear",
)


def exclusions_layer(planting: Planting, outer: Outer) -> Iterator[LayerData]:
    """Yield the ground taken out for each reason."""
    exclusions = planting.usable.exclusions
    yield layer_of(
        EXCLUSIONS,
        outer([e.geometry for e in exclusions], [e.whole_cells for e in exclusions]),
        reason=[e.reason for e in exclusions],
        source=[e.source for e in exclusions],
        distance_m=[e.distance_m for e in exclusions],
        alone_m2=[e.alone_m2 for e in exclusions],
        newly_m2=[e.newly_m2 for e in exclusions],
    )
