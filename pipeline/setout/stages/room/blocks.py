"""Room of every tree, summed up by block, with what there is to say about it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from setout.geometry.places.growth import kept_of
from setout.model import BlockRoom, Finding, Floats, Ints, Pattern, Plant, Rows, Site, Trees
from setout.stages.room.around import around
from setout.stages.room.doubts import doubts
from setout.stages.room.sizes import Sizes
from setout.stages.room.standing import judged_of, staying
from setout.stages.room.years import cover_by_year, meet_year
from setout.tables.labour import Rate, rate_for
from setout.units import FOOT

VINE_WALL_M = 3 * FOOT
"""Width of a row of trellised vines across the row [m]; their spread is along the wires (from memory)."""


@dataclass(frozen=True, slots=True)
class Room:
    """What room the trees have; one entry a tree in each array, NaN where a size is unknown.

    Attributes
    ----------
    crowding : spread over the distance to the nearest neighbour that is not the partner
    overlap_m : how far the canopy reaches into the neighbour that it overlaps most [m]; 0 for none
    pruning_load : share of the free-grown canopy that has to come off
    room_m : diameter of the circle with the area of its room [m]
    blocks : one summary for each of the site's blocks, in their order
    findings : what falls short or should be known
    """

    crowding: Floats
    overlap_m: Floats
    pruning_load: Floats
    room_m: Floats
    blocks: tuple[BlockRoom, ...]
    findings: tuple[Finding, ...]


def room_of(
    site: Site, trees: Trees, nearest_m: Floats, rows: Rows, *, ground_m2: Sequence[float] | None = None, rates: Sequence[Rate] = ()
) -> Room:
    """Measure the room of every tree, and sum up what each block's spacing asks."""
    if not any(np.isfinite(kept_of(plant)) for block in site.blocks for plant in block.plants):
        return _unsized(site, trees, nearest_m)
    judged = judged_of(site.blocks, trees, rows, nearest_m)
    near, overlap, load, room_m = judged.near_m, judged.overlap_m, judged.load, judged.room_m
    crowding = judged.sizes.spread / near
    owned = _by_block(trees, len(site.blocks))
    summaries = []
    for index, block in enumerate(site.blocks):
        own, stay = owned[index], staying(judged.full, owned[index])
        ground = float(ground_m2[index]) if ground_m2 is not None else float("nan")
        hours, sources = hours_of(judged.full, load, own, rates)
        summaries.append(
            BlockRoom(
                index,
                len(own),
                _middle(near[stay]),
                _middle(judged.sizes.spread[stay]),
                _middle(crowding[stay]),
                _middle(overlap[stay][overlap[stay] > OVERLAPS_M]) if np.isfinite(overlap[stay]).any() else float("nan"),
                float(np.mean(overlap[stay] > OVERLAPS_M)) if len(own) else 0.0,
                _middle(room_m[stay]),
                _middle(load[stay]),
                hours,
                clear_alley_m(block.pattern, [p for p in block.plants if not p.remove_year] or block.plants),
                meet_year(judged.full, own),
                cover_by_year(judged.full, own, block, ground),
                sources,
            )
        )
    found = (*doubts(site.blocks, judged.sizes, overlap, owned, summaries), *around(site, judged.sizes, judged.full))
    return Room(crowding, overlap, load, room_m, tuple(summaries), found)


OVERLAPS_M = 1e-3
"""Canopies that reach into each other by less than this just touch [m]."""


def _unsized(site: Site, trees: Trees, nearest_m: Floats) -> Room:
    """Return the room of trees none of whose sizes is known: only their distances are."""
    nan = float("nan")
    unknown = np.full(len(trees), nan)
    blocks = tuple(
        BlockRoom(index, len(own), _middle(nearest_m[own]), nan, nan, nan, 0.0, nan, nan, nan, nan, None, ())
        for index, own in enumerate(_by_block(trees, len(site.blocks)))
    )
    return Room(unknown, unknown, unknown, unknown, blocks, ())


def _by_block(trees: Trees, blocks: int) -> list[Ints]:
    """Return the trees of every block."""
    order = np.argsort(trees.block, kind="stable")
    ends = np.searchsorted(trees.block[order], np.arange(blocks + 1))
    return [order[first:end] for first, end in pairwise(ends)]


def _middle(values: Floats) -> float:
    """Return the median of what is known; NaN for nothing."""
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else float("nan")


def hours_of(sizes: Sizes, load: Floats, own: Ints, rates: Sequence[Rate]) -> tuple[float, tuple[str, ...]]:
    """Return the hours of pruning that some trees take in a year at their mature size, and where the rates are from."""
    own = own[np.isinf(sizes.discs.until[own])]
    kind, number = sizes.kinds.of[own], len(sizes.kinds.plants)
    weight = np.where(sizes.discs.partner[own] >= 0, 0.5, 1.0)
    canopies = np.bincount(kind, weight, minlength=number).tolist()
    loads = np.bincount(kind, weight * load[own], minlength=number).tolist()
    hours, sources = 0.0, set[str]()
    for plant, count, total in zip(sizes.kinds.plants, canopies, loads, strict=True):
        if not count:
            continue
        rate = rate_for(plant.habit, plant.height_m, rates)
        if rate is None or np.isnan(total):
            return float("nan"), ()
        hours += rate.hours(count, total)
        sources.add(rate.source.partition(":")[0])
    return hours, tuple(sorted(sources))


def clear_alley_m(pattern: Pattern, plants: Sequence[Plant]) -> float:
    """Return the clear width between the canopies of two rows at maturity.

    The gap between row lines (the alley where the pattern has one) less half a spread on both sides; from a bed, its
    edge where that is further out. Trellised vines hang in a narrow wall.

    >>> clear_alley_m(Pattern("hedgerow", 1.0, 6.0), [Plant("apple", spread_m=2.0)])
    4.0
    >>> clear_alley_m(Pattern("square", 5.0, 5.0, alley_every=4, alley_width_m=7.0), [Plant("plum", spread_m=4.5)])
    2.5
    """
    if pattern.kind in {"screen", "points"} or not plants:
        return float("nan")
    trellised = pattern.kind == "trellis"
    widths = [min(p.spread_m, VINE_WALL_M) if trellised and p.habit == "vine" else p.spread_m for p in plants]
    if not all(np.isfinite(width) for width in widths):
        return float("nan")
    gap = pattern.alley_width_m if pattern.alley_every else pattern.row_distance_m
    wide = max(widths) + (pattern.lines - 1) * (pattern.line_distance_m if pattern.lines > 1 else 0.0)
    return gap - max(wide, pattern.bed.width_m if pattern.bed is not None else 0.0)
