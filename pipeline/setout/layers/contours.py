"""Level lines."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from shapely.geometry.base import BaseGeometry

from setout.layers.contract import LayerContract, must
from setout.layers.data import LayerData, layer_of
from setout.layers.places import Outer

CONTOURS: Final = LayerContract("contours", "LINESTRING", (must("elevation_m", "real", "m", "elevation of the line"),), "Contours")


def contours_layer(contours: Sequence[tuple[float, BaseGeometry]], outer: Outer) -> Iterator[LayerData]:
    """Yield the level lines, if there are any."""
    if contours:
        yield layer_of(CONTOURS, outer([line for _, line in contours]), elevation_m=[z for z, _ in contours])
