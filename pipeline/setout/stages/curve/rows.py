"""Which way the rows of a block bend."""

from __future__ import annotations

from shapely.geometry.base import BaseGeometry

from setout.errors import Refusal
from setout.geometry.lines.levellines import HeightAt
from setout.model import Block
from setout.stages.curve.common import Curved
from setout.stages.curve.contour import contour_rows
from setout.stages.curve.guide import guide_rows
from setout.stages.curve.screen import screen_rows


def rows_along(block: Block, ground_to_plant: BaseGeometry, height_at: HeightAt | None) -> Curved:
    """Set out a block whose rows are not straight."""
    if block.pattern.bed is not None:
        raise Refusal("beds_bent", block=block.name)
    if ground_to_plant.is_empty:
        raise Refusal("block_without_ground", block=block.name)
    if block.pattern.kind == "screen":
        return screen_rows(block, ground_to_plant)
    if block.direction == "guide":
        return guide_rows(block, ground_to_plant)
    return contour_rows(block, ground_to_plant, height_at)
