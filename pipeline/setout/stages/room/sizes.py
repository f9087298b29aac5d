"""Per tree: sizes, room, overlap and pruning load (defined in the package's docstring)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from setout.geometry.places.canopy import Discs, deepest_overlap, index_of, nearest_other, room_area
from setout.geometry.places.growth import grown_share, kept_of, leaves_of, natural_of
from setout.model import Block, Floats, Ints, Plant, Rows, Trees
from setout.model.kinds import Kinds, kinds_of
from setout.model.system import IN_ROWS

VINE_LOAD: Final = 0.9
"""Share of a vine's one-year-old wood that comes off: "more than 90 %" of a mature vine's in a normal year (M. Smith, 2023
Grape Pruning Primer, Ohio State University, 15 March 2023, ohiograpeweb.cfaes.ohio-state.edu)."""
CANE_LOAD: Final = 0.5
"""Share of the canes that comes off: those that have fruited, one of the two ages that stand (Ohio State University
Extension, fact sheets HYG-1421 and HYG-1431: canes live two years; the share is reckoned from that)."""
ROUNDING_M: Final = 1e-6
"""Overlaps below this are rounding [m]."""
NO_LOAD: Final = 1e-5
"""Loads below this are rounding [1]."""


@dataclass(frozen=True, slots=True)
class Sizes:
    """Trees with all that this stage looks at.

    Attributes
    ----------
    trees, kinds : positions, and what grows at each
    discs : their canopies as geometry
    index : search index over the positions
    spread, natural, height : mature size as kept, where left alone, and mature height [m]; NaN unknown
    near_m, near : distance [m] and index of the nearest tree that is not the partner; inf and -1 for none
    """

    trees: Trees
    kinds: Kinds
    discs: Discs
    index: Any
    spread: Floats
    natural: Floats
    height: Floats
    near_m: Floats
    near: Ints


def sizes_of(blocks: Sequence[Block], trees: Trees, rows: Rows, year: float = np.inf) -> Sizes:
    """Look up and measure what everything else here rests on."""
    kinds = kinds_of(blocks, trees)
    natural = kinds.each(lambda plant: natural_of(plant) * _grown(plant, year)).astype(float)
    spread = np.minimum(natural, kinds.each(kept_of).astype(float))
    in_row = np.array([b.pattern.kind in IN_ROWS for b in blocks] or [False])[np.maximum(trees.block, 0)]
    in_row &= trees.block >= 0
    partner = trees.partner if trees.partner.size else np.full(len(trees), -1)
    group, axis = _row_of_tree(blocks, trees, rows)
    discs = Discs(
        trees.x,
        trees.y,
        np.where(in_row, natural, spread) / 2,
        np.where(in_row, spread / 2, np.inf),
        axis,
        np.where(in_row, group, -1),
        partner.astype(np.int64),
        kinds.each(leaves_of).astype(float),
    )
    index = index_of(trees.x, trees.y)
    near_m, near = nearest_other(discs, index)
    height = kinds.each(lambda plant: plant.height_m).astype(float)
    return Sizes(trees, kinds, discs, index, spread, natural, height, near_m, near)


def _grown(plant: Plant, year: float) -> float:
    """Return how much of its natural size a plant has by a year; all of it where that is unknown of one that stays."""
    share = 1.0 if np.isinf(year) else grown_share(plant, year)
    return share if np.isfinite(share) or plant.remove_year else 1.0


def overlap_of(sizes: Sizes) -> Floats:
    """Return the depth of each canopy's deepest overlap [m]; 0 for none, NaN where its spread is unknown."""
    depth = deepest_overlap(sizes.discs, sizes.spread / 2, sizes.index, (sizes.near_m, sizes.near))
    return np.where(np.isnan(depth), np.nan, np.where(depth > ROUNDING_M, depth, 0.0))


def load_of(sizes: Sizes) -> tuple[Floats, Floats]:
    """Return the pruning load [1] and the diameter of the room [m] of every tree; NaN where the spread is unknown."""
    area = room_area(sizes.discs, sizes.index)
    with np.errstate(invalid="ignore", divide="ignore"):
        load = 1.0 - area / (np.pi / 4 * sizes.natural**2)
    load = np.where(load < NO_LOAD, 0.0, load)
    habit = sizes.kinds.each(lambda plant: plant.habit)
    load = np.where(habit == "vine", VINE_LOAD, np.where(habit == "cane", CANE_LOAD, load))
    return load, np.sqrt(4 / np.pi * area)


def _row_of_tree(blocks: Sequence[Block], trees: Trees, rows: Rows) -> tuple[Ints, Floats]:
    """Return for every tree a number that all trees of its row share, and the row's bearing there [rad]."""
    hedge = _hedge_of_row(blocks, rows)
    wide = int(max(trees.row.max(initial=0), rows.row.max(initial=0))) + 1
    key_of_row = rows.block * wide + rows.row
    order = np.argsort(key_of_row, kind="stable")
    key = trees.block.astype(np.int64) * wide + trees.row
    if not len(order):
        return key, np.zeros(len(trees))
    place = np.minimum(np.searchsorted(key_of_row[order], key), len(order) - 1)
    found = key_of_row[order][place] == key
    group = np.where(found, hedge[order][place], -1 - key)
    axis = np.where(found, np.radians(rows.bearing_deg[order][place]), 0.0)
    return np.where(found, group, -1), _along_bends(blocks, trees, axis)


def _along_bends(blocks: Sequence[Block], trees: Trees, axis: Floats) -> Floats:
    """Give trees of rows that are not straight the bearing from the tree before to the tree behind."""
    bent = [b.line is not None or b.direction in {"contour", "guide"} for b in blocks]
    single = [b.pattern.lines == 1 and b.pattern.pair is None and b.pattern.bed is None for b in blocks]
    take = np.array([a and b for a, b in zip(bent, single, strict=True)] or [False])[np.maximum(trees.block, 0)]
    if not take.any():
        return axis
    size = len(trees)
    before, behind = np.maximum(np.arange(size) - 1, 0), np.minimum(np.arange(size) + 1, size - 1)
    for step in (before, behind):
        other = (trees.block[step] != trees.block) | (trees.row[step] != trees.row)
        step[other] = np.arange(size)[other]
    dx, dy = trees.x[behind] - trees.x[before], trees.y[behind] - trees.y[before]
    return np.where(take & (np.hypot(dx, dy) > 0), np.arctan2(dx, dy), axis)


def _hedge_of_row(blocks: Sequence[Block], rows: Rows) -> Ints:
    """Number the rows so that the lines of one double hedge share a number."""
    number = np.arange(len(rows.row))
    for index, block in enumerate(blocks):
        pattern = block.pattern
        if pattern.lines < 2 or pattern.bed is not None:
            continue
        own = np.flatnonzero(rows.block == index)
        own = own[np.argsort(rows.row[own], kind="stable")]
        angle = np.radians(rows.bearing_deg[own])
        side = rows.x0[own] * np.cos(angle) - rows.y0[own] * np.sin(angle)
        between = pattern.row_distance_m - (pattern.lines - 1) * pattern.line_distance_m
        new = np.abs(np.diff(side)) > (pattern.line_distance_m + between) / 2
        if len(own):
            number[own] = own[0] + np.cumsum(np.append(0, new))
    return number
