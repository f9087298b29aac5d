"""The property boundary."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from setout.layers.contract import Column, LayerContract, must
from setout.layers.data import LayerData, layer_of
from setout.layers.places import Outer
from setout.model import Planting

BOUNDARY: Final = LayerContract(
    "boundary",
    "MULTIPOLYGON",
    (Column("name", "text", "", "name of the plan"), must("area_m2", "real", "m2", "area on the ground")),
    "Property boundary",
)


def boundary_layer(planting: Planting, outer: Outer) -> Iterator[LayerData]:
    """Yield the boundary."""
    site = planting.site
    yield layer_of(BOUNDARY, outer([site.boundary]), name=[site.name], area_m2=[site.boundary.area])
