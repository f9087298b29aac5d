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
    """Set out a block whose rows are not straight.

    Parameters
    ----------
    block : Block
        Pattern "screen", or direction "guide" or "contour".
    ground_to_plant : BaseGeometry
        Its usable ground as polygons in the frame, every exclusion out of it; headlands and what a bed or a pair needs on
        both sides of the row are taken off here.
    height_at : callable or None
        Takes x and y [m in the frame] and gives elevations [m], NaN where there is none; None without a DEM.
    units : str
        "us" or "si", for what people read.

    Returns
    -------
    Curved
        Trees in walking order. Row 1 is the lowest of contour rows, the leftmost of guide rows and screens for someone who
        walks along them; contour rows are walked with the higher ground on the left hand.

    Raises
    ------
    SetoutError
        The block's rows cannot be laid: what, where, and what mends it.
    """
    where = f"block {block.name}"
    if block.pattern.bed is not None:
        raise SetoutError(
            "raised beds are rectangles in straight rows; its rows are to bend", where,
            'give it a straight direction, such as direction = "longest side"',
        )  # fmt: skip
    if ground_to_plant.is_empty:
        raise SetoutError("none of its ground is left to plant", where, "give it more ground or shorter setbacks")
    if block.pattern.kind == "screen":
        return screen_rows(block, ground_to_plant, units)
    if block.direction == "guide":
        return guide_rows(block, ground_to_plant, units)
    return contour_rows(block, ground_to_plant, height_at, units)
