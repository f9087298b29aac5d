"""Light on some trees of a planting, where all would be more than is asked."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from setout.model import Block, Bools, Floats, Ints, Trees
from setout.stages.light.canopies import bodies_of, stands_of, together, views_of
from setout.stages.light.hours import hours_on
from setout.stages.light.trees import Sky


def light_on(blocks: Sequence[Block], trees: Trees, z: Floats, sky: Sky, which: Ints) -> tuple[Floats, Bools]:
    """Return the direct sun of some trees, all the others standing round them."""
    out = np.full(len(trees), np.nan)
    asked, wall = np.zeros(len(trees), bool), np.zeros(len(trees), bool)
    asked[which] = True
    for canopies, judged in stands_of(blocks, trees, None):
        if not (asked & judged).any():
            continue
        wall |= asked & judged & canopies.wall
        views, own = views_of(trees, canopies, z)
        mine = (asked & judged)[own]
        if mine.any():
            bodies = together(bodies_of(blocks, trees, canopies, z), sky.others)
            morning, afternoon = hours_on(views.take(mine), bodies, sky.path, sky.horizon)
            out[own[mine]] = (morning + afternoon).mean(axis=0, dtype=float)
    return out, wall
