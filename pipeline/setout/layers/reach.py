"""How far the water goes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
import shapely

from setout.layers.contract import Column, LayerContract, must
from setout.layers.data import LayerData, layer_of
from setout.layers.places import Outer
from setout.model import Planting

REACH: Final = LayerContract(
    "reach",
    "MULTIPOLYGON",
    (
        must("water_point", "text", "", "water point that can serve this ground"),
        Column("max_run_m", "real", "m", "longest pipe run allowed"),
        Column("area_m2", "real", "m2", "area on the ground"),
    ),
    "Reach of water",
)


def reach_layer(planting: Planting, outer: Outer) -> Iterator[LayerData]:
    """Yield the ground that each water point reaches, where it was reckoned."""
    reach, water = planting.reach, planting.site.water
    if water is not None and reach is not None and not shapely.is_empty(reach.areas).all():
        points = water.points
        yield layer_of(
            REACH,
            outer(reach.areas),
            water_point=list(points.name),
            max_run_m=np.full(len(points.name), reach.max_run_m if np.isfinite(reach.max_run_m) else np.nan),
            area_m2=shapely.area(reach.areas),
        )
