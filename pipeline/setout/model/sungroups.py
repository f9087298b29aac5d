"""Trees whose light is told apart: those that stay, both partners of pairs, and fillers, which are judged in another year."""

from __future__ import annotations

from typing import Final

import numpy as np

from setout.model import Block, Floats, Ints, Trees

STAY: Final = "trees that stay"
LIGHTER: Final = "lighter partners"
DARKER: Final = "darker partners"
FILLERS: Final = "fillers"


def sun_groups(block: Block, trees: Trees, own: Ints, sun_h: Floats) -> dict[str, Ints]:
    """Return the trees of a block whose light is known by what is told of them apart.

    >>> from setout.model import Pattern, Plant
    >>> block = Block("A", None, Pattern("square", 5.0, 5.0), 0.0, (Plant("apple"), Plant("peach", remove_year=9)))
    >>> one, xy = np.ones(3, np.int32), np.zeros(3)
    >>> trees = Trees(0 * one, one, one, xy, xy, np.array([0, 1, 0], np.int32))
    >>> {k: v.tolist() for k, v in sun_groups(block, trees, np.arange(3), np.array([7.0, 8.0, np.nan])).items()}
    {'trees that stay': [0], 'fillers': [1]}
    """
    own = own[np.isfinite(sun_h[own])]
    leaves = np.array([*(plant.remove_year > 0 for plant in block.plants), False])[trees.plant[own]]
    stay, fillers = own[~leaves], own[leaves]
    partner = trees.partner[stay] if trees.partner.size else np.full(len(stay), -1)
    paired = (partner >= 0) & np.isfinite(sun_h[partner])
    here, there = stay[paired], partner[paired]
    darker = (sun_h[here] < sun_h[there]) | ((sun_h[here] == sun_h[there]) & (here < there))
    found = {STAY: stay[~paired], LIGHTER: here[~darker], DARKER: here[darker], FILLERS: fillers}
    return {name: which for name, which in found.items() if len(which)}
