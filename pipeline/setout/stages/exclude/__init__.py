"""Exclude: what is taken out of the ground and why, and the account from gross to net.

Two things come out of here and must agree: the *cutters* that cut a block's rows in closed form (no polygon overlay,
exact), and the *polygons* of excluded and usable ground for the layers, the map and the land account.
"""

from setout.stages.exclude.blocks import block_areas
from setout.stages.exclude.cells import NO_ELEVATION, SLOPE, TOO_HIGH, CellReason, Cells
from setout.stages.exclude.cutters import cutters_of
from setout.stages.exclude.ground import NO_BLOCK, TOO_NARROW, TOO_SMALL, Limits, usable_ground

__all__ = [
    "NO_BLOCK",
    "NO_ELEVATION",
    "SLOPE",
    "TOO_HIGH",
    "TOO_NARROW",
    "TOO_SMALL",
    "CellReason",
    "Cells",
    "Limits",
    "block_areas",
    "cutters_of",
    "usable_ground",
]
