"""Trees in rows on open ground, for tests of what a spacing means."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from setout.model import Block, Pattern, Plant, Rows, Site, Trees
from setout.stages.room import Room, room_of
from setout.units import FOOT


def feet(value: float) -> float:
    return value * FOOT


def plant(spread: float, height: float = 12.0, natural: float | None = None, **facts: Any) -> Plant:
    """Return a plant of sizes in feet that is full-grown at eight years unless told otherwise."""
    wide = spread if natural is None else natural
    facts = {"name": "plum", "species": "plum", "years_to_full_size": 8.0} | facts
    return Plant(spread_m=feet(spread), height_m=feet(height), natural_spread_m=feet(wide), natural_height_m=feet(height), **facts)


def block_of(pattern: Pattern, *plants: Plant, name: str = "A", **more: Any) -> Block:
    return Block(name, None, pattern, 0.0, plants, **more)


def rowed(pattern: Pattern, rows: int = 15, per_row: int = 15, at: tuple[float, float] = (0.0, 0.0)) -> np.ndarray:
    """Return (n, 4) east, north, row, position of rows that run north, the first in the west."""
    row, number = (values.ravel() for values in np.mgrid[:rows, :per_row])
    east = at[0] + row * pattern.row_distance_m
    if pattern.alley_every:
        east = east + row // pattern.alley_every * (pattern.alley_width_m - pattern.row_distance_m)
    north = at[1] + (number + row % 2 * pattern.shift) * pattern.step_m
    return np.column_stack([east, north, row + 1, number + 1])


def trees_of(*blocks: np.ndarray, kind: Any = None) -> Trees:
    """Return the trees of blocks given as (n, 4) or, with a partner's index in the block, (n, 5) arrays."""
    sizes = [len(b) for b in blocks]
    starts = np.cumsum([0, *sizes[:-1]])
    whole = np.concatenate([b[:, :4] for b in blocks])
    partner = np.concatenate(
        [
            np.where(b[:, 4] >= 0, b[:, 4] + first, -1) if b.shape[1] > 4 else np.full(len(b), -1)
            for b, first in zip(blocks, starts, strict=True)
        ]
    )
    block = np.repeat(np.arange(len(blocks)), sizes)
    plants = np.zeros(len(whole)) if kind is None else np.asarray(kind)
    return Trees(
        block.astype(np.int32),
        whole[:, 2].astype(np.int32),
        whole[:, 3].astype(np.int32),
        whole[:, 0],
        whole[:, 1],
        plants.astype(np.int32),
        partner.astype(np.int32),
    )


def rows_of(trees: Trees) -> Rows:
    """Return the rows of trees in walking order, all of them due north."""
    new = np.append(True, (np.diff(trees.row) != 0) | (np.diff(trees.block) != 0))
    first = np.flatnonzero(new)
    last = np.append(first[1:], len(trees)) - 1
    return Rows(
        trees.block[first].astype(np.int64),
        trees.row[first].astype(np.int64),
        trees.x[first],
        trees.y[first],
        trees.x[last],
        trees.y[last],
        last - first + 1,
        np.zeros(len(first)),
    )


def nearest_of(trees: Trees) -> np.ndarray:
    """Return the distance to the nearest other tree, by all pairs."""
    out = np.full(len(trees), np.nan)
    for k in range(len(trees)):
        far = np.hypot(trees.x - trees.x[k], trees.y - trees.y[k])
        far[k] = np.inf
        if len(far) > 1:
            out[k] = far.min()
    return out


def site_of(*blocks: Block, boundary: Any = None, **more: Any) -> Site:
    wide = shapely.box(-2000, -2000, 4000, 4000) if boundary is None else boundary
    return Site("Test", "us", None, wide, blocks=blocks, **more)  # type: ignore[arg-type]


def room(blocks: tuple[Block, ...], trees: Trees, site: Site | None = None, **more: Any) -> Room:
    return room_of(site or site_of(*blocks), trees, nearest_of(trees), rows_of(trees), **more)


def middle(trees: Trees, block: int = 0) -> int:
    """Return the tree nearest to the middle of a block."""
    own = np.flatnonzero(trees.block == block)
    x, y = trees.x[own], trees.y[own]
    return int(own[np.argmin(np.hypot(x - (x.min() + x.max()) / 2, y - (y.min() + y.max()) / 2))])
