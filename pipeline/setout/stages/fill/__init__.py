"""Fill: rows over a block's ground, plants along the rows, and what belongs to them."""

from setout.stages.fill.blocks import Bed, Filled, fill
from setout.stages.fill.ends import Allowed
from setout.stages.fill.straight import lattice_of
from setout.stages.fill.systems import Laid, paired

__all__ = ["Allowed", "Bed", "Filled", "Laid", "fill", "lattice_of", "paired"]
