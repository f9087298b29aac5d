"""Year by year: how canopies grow, when they meet, and how much ground they cover."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

import numpy as np

from setout.geometry.places.canopy import area_within, index_of, inverse_reach, plain_discs
from setout.geometry.places.growth import cell_m2, plant_spread_at, years_of
from setout.model import Block, Bools, Floats, Ints
from setout.stages.room.sizes import Sizes

LAST_YEAR: Final = 60
"""Canopies that have not met by then are not said to meet."""
SAMPLE: Final = 2048
"""Trees of a block, evenly along the walk, whose rooms stand for all in the cover by year."""


def meet_year(sizes: Sizes, own: Ints) -> int | None:
    """Return the year in which the canopies of a block's typical tree and its nearest neighbour meet."""
    met = _first_year(sizes, own, sizes.near, sizes.near_m)
    gone = float(np.min(sizes.discs.until[own], initial=np.inf))
    if np.isinf(gone) or (met is not None and met < gone):
        return met
    stays = own[np.isinf(sizes.discs.until[own])]
    if len(stays) < 2:
        return None
    # once the fillers are out, the neighbour is the nearest of those that stay
    tree = index_of(sizes.trees.x[stays], sizes.trees.y[stays])
    far, other = tree.query(np.column_stack([sizes.trees.x[stays], sizes.trees.y[stays]]), k=[2])
    near, near_m = sizes.near.copy(), sizes.near_m.copy()
    near[stays], near_m[stays] = stays[other[:, 0]], far[:, 0]
    return _first_year(sizes, stays, near, near_m)


def _first_year(sizes: Sizes, own: Ints, near: Ints, near_m: Floats) -> int | None:
    own = own[near[own] >= 0]
    if not len(own):
        return None

    def met(year: int) -> bool:
        spread = np.array([plant_spread_at(replace(p, remove_year=0), year) for p in sizes.kinds.plants])
        both = (spread[sizes.kinds.of[own]] + spread[sizes.kinds.of[near[own]]]) / 2
        return bool(np.count_nonzero(both >= near_m[own]) * 2 >= len(own))

    if not met(LAST_YEAR):
        return None
    low, high = 0, LAST_YEAR
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if met(middle) else (middle, high)
    return high


def cover_by_year(sizes: Sizes, own: Ints, block: Block, ground_m2: float) -> tuple[tuple[int, float], ...]:
    """Return the share of a block's ground that is under canopy, year by year.

    Of each canopy counts what lies in its own room, so that ground under two is counted once.
    """
    ground = ground_m2 if np.isfinite(ground_m2) else len(own) * cell_m2(block.pattern)
    grown = [years_of(p) for p in block.plants]
    known = len(grown) > 0 and np.isfinite(grown).all() and np.isfinite(sizes.spread[own]).all()
    if not (known and len(own) and ground > 0):
        return ()
    years = range(1, int(min(np.ceil(max(grown)) + 5, LAST_YEAR)) + 1)
    cover: list[tuple[int, float]] = []
    alive, rooms = np.empty(0, bool), (np.empty(0, np.int64), np.empty((0, 1), np.float32))
    for year in years:
        stands = sizes.discs.until[own] > year
        if not np.array_equal(stands, alive):
            alive, rooms = stands, _sampled_rooms(sizes, own[stands])
        spread = np.array([plant_spread_at(p, year) for p in sizes.kinds.plants])[sizes.kinds.of[rooms[0]]]
        area = area_within(rooms[1], spread / 2) if len(rooms[0]) else np.zeros(1)
        cover.append((year, float(min(1.0, area.mean() * alive.sum() / ground))))
    return tuple(cover)


def _sampled_rooms(sizes: Sizes, stands: Ints) -> tuple[Ints, Any]:
    """Return some of the trees that stand, and one over the reach of their rooms at full size."""
    x, y = sizes.trees.x[stands], sizes.trees.y[stands]
    discs = plain_discs(x, y, sizes.spread[stands] / 2)
    picked = np.unique(np.linspace(0, len(stands) - 1, min(SAMPLE, len(stands))).astype(np.int64))
    if not len(picked):
        return stands, np.empty((0, 1), np.float32)
    return stands[picked], inverse_reach(discs, picked, index_of(x, y))


def temporary(sizes: Sizes, own: Ints) -> Bools:
    """Tell which of some trees come out again."""
    return np.isfinite(sizes.discs.until[own])


def first_meeting(sizes: Sizes, own: Ints) -> int | None:
    """Return the year in which the fillers of a block and their nearest neighbours meet, were they left in."""
    return _first_year(sizes, own[temporary(sizes, own)], sizes.near, sizes.near_m)
