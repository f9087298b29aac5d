"""Which way the rows of a block bend."""

from __future__ import annotations

from shapely.geometry.base import BaseGeometry

from setout.errors import SetoutError
from setout.geometry.lines.levellines import HeightAt
from setout.model import Block
from setout.stages.curve.common import Curved
from setout.stages.curve.contour import contour_rows
from setout.stages.curve.guide import guide_rows
from setout.stages.curve.screen import screen_rows


def rows_along(block: Block, ground_to_plant: BaseGeometry, height_at: HeightAt | None, units: str) -> Curved:
    """Set out a block whose rows are not straight."""
    where = f"block {block.name}"
    if block.pattern.bed is not None:
        raise SetoutError(
            "raised beds are rectangles in straight rows; its rows are to bend",
            where,
            'give it a straight direction, such as direction = "longest side"',
        )
    if ground_to_plant.is_empty:
        raise SetoutError("none of its ground is left to plant", where, "give it more ground or shorter setbacks")
    if block.pattern.kind == "screen":
        return screen_rows(block, ground_to_plant, units)
    if block.direction == "guide":
        return guide_rows(block, ground_to_plant, units)
    return contour_rows(block, ground_to_plant, height_at, units)
