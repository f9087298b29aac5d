"""What grows at every tree, as one flat table of plants over all blocks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from setout.model.base import Ints
from setout.model.system import Block, Plant
from setout.model.trees import Trees


@dataclass(frozen=True, slots=True)
class Kinds:
    """Plants of all blocks one after the other, and which of them every tree is.

    Attributes
    ----------
    plants : the plants; the last stands for trees that no plant was named for
    block : index of the block that names each plant; -1 for the last
    of : per tree, index into plants
    """

    plants: tuple[Plant, ...]
    block: tuple[int, ...]
    of: Ints

    def each(self, fact: Callable[[Plant], Any]) -> NDArray[Any]:
        """Return a fact of its plant for every tree."""
        return np.array([fact(plant) for plant in self.plants])[self.of]


def kinds_of(blocks: Sequence[Block], trees: Trees) -> Kinds:
    """Look up the plant of every tree.

    >>> from setout.model import Pattern
    >>> block = Block("A", None, Pattern("square", 5.0, 5.0), 0.0, (Plant("apple"), Plant("plum")))
    >>> one, xy = np.ones(3, np.int32), np.zeros(3)
    >>> kinds_of([block], Trees(0 * one, one, one, xy, xy, np.array([1, 0, -1], np.int32))).of.tolist()
    [1, 0, 2]
    """
    plants = [plant for block in blocks for plant in block.plants]
    owner = [index for index, block in enumerate(blocks) for _ in block.plants]
    start = np.cumsum([0, *(len(block.plants) for block in blocks)])
    named = (trees.block >= 0) & (trees.plant >= 0)
    of = np.where(named, start[np.maximum(trees.block, 0)] + trees.plant, len(plants))
    return Kinds((*plants, Plant("")), (*owner, -1), of.astype(np.int64))
