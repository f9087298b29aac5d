"""Light on some trees of a planting, where all would be more than is asked."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from setout.nouns import Block, Floats, Ints, Trees
from setout.stages.light.canopies import bodies_of, canopies_of, together, views_of
from setout.stages.light.hours import hours_on
from setout.stages.light.trees import Sky


def light_on(blocks: Sequence[Block], trees: Trees, z: Floats, sky: Sky, which: Ints) -> Floats:
    """Return the direct sun of some trees, all the others standing round them.

    Parameters
    ----------
    blocks : Sequence of Block
        Patterns and plants.
    trees : Trees
        All positions.
    z : (n,) ndarray
        Height of the ground at every tree [m].
    sky : Sky
        Sun, terrain and what stands round the planting.
    which : (m,) ndarray of int
        The trees that are asked for.

    Returns
    -------
    (m,) ndarray
        Hours a day at full size, mean of the days [h], as :func:`trees_light` gives them; NaN for unknown sizes.
    """
    canopies = canopies_of(blocks, trees, None)
    views, own = views_of(trees, canopies, z)
    bodies = together(bodies_of(blocks, trees, canopies, z), sky.others)
    out = np.full(len(which), np.nan)
    place = np.minimum(np.searchsorted(own, which), max(len(own) - 1, 0))
    known = np.flatnonzero(own[place] == which) if len(own) else np.empty(0, np.int64)
    if len(known):
        morning, afternoon = hours_on(views.take(place[known]), bodies, sky.path, sky.horizon)
        out[known] = (morning + afternoon).mean(axis=0, dtype=float)
    return out
