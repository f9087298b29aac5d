"""What there is to say about the room within a block: one finding for each block and respect."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from setout.model import Block, BlockRoom, Finding, Floats, Ints, Site
from setout.model.system import HEDGES, IN_ROWS
from setout.stages.room.sizes import Sizes
from setout.stages.room.summary import ROWS_TO_HEIGHT, height_between
from setout.stages.room.years import first_meeting, temporary
from setout.units import FOOT, show_length

OVERLAP_ALLOWED = 0.05
"""Share of its spread by which an orchard canopy may reach into its neighbour's without a finding."""
WORKING_WIDTH_M = 8 * FOOT
"""Clear alley that a small tractor with its tools needs [m] (common practice, from memory)."""
BY_HAND = frozenset({"bed", "points"})
"""Patterns that no tractor passes through."""
TOUCH_M = 0.01
"""Gaps and heights are not told apart more finely than this [m]."""


def doubts(site: Site, sizes: Sizes, overlap: Floats, owned: Sequence[Ints], summaries: Sequence[BlockRoom]) -> Iterator[Finding]:
    """Say what a block's own spacing leads to."""
    for block, own, summary in zip(site.blocks, owned, summaries, strict=True):
        if not len(own):
            continue
        if block.pattern.kind in HEDGES:
            yield from _hedge(site, block, sizes, overlap, own)
        elif block.pattern.kind not in IN_ROWS:
            yield from _orchard(site, block, sizes, overlap, own)
        yield from _alley(site, block, summary, sizes, own)
        yield from _height(site, block, sizes, own)
        yield from _fillers(block, sizes, own)


def _orchard(site: Site, block: Block, sizes: Sizes, overlap: Floats, own: Ints) -> Iterator[Finding]:
    with np.errstate(invalid="ignore"):
        deep = own[overlap[own] > OVERLAP_ALLOWED * sizes.spread[own]]
    if not len(deep):
        return
    share = overlap[deep] / sizes.spread[deep]
    worst = deep[np.argmax(overlap[deep])]
    typical, most = (show_length(float(v), site.units, 1) for v in (np.median(overlap[deep]), overlap[worst]))
    yield Finding(
        "canopy_overlap",
        "warn",
        f"block {block.name}: {len(deep):,} of {len(own):,} canopies will reach into a neighbour's, typically by {typical} "
        f"({100 * np.median(share):.0f} % of the spread), at worst by {most} ({100 * share[overlap[deep].argmax()]:.0f} %)",
        f"{typical} typical, {most} worst",
        f"at most {100 * OVERLAP_ALLOWED:.0f} % of the spread",
        "widen the step or the rows, take a smaller size class, or keep the plants smaller (held_to) and count on the pruning",
        geometry=_at(sizes, worst),
    )


def _hedge(site: Site, block: Block, sizes: Sizes, overlap: Floats, own: Ints) -> Iterator[Finding]:
    known = own[np.isfinite(sizes.spread[own]) & np.isfinite(sizes.near_m[own])]
    if not len(known):
        return
    closed = overlap[known] > 0
    if np.count_nonzero(closed) * 2 >= len(known):
        by = show_length(float(np.median(overlap[known][closed])), site.units, 1)
        yield Finding(
            "hedge_overlap",
            "note",
            f"block {block.name}: canopies along the row will grow into each other by {by}, as a {block.pattern.kind} should",
            by,
            geometry=_at(sizes, known[0]),
        )
        return
    gap = float(np.median(sizes.near_m[known] - sizes.spread[known]))
    if gap <= TOUCH_M:
        return
    yield Finding(
        "hedge_open",
        "warn",
        f"block {block.name}: the {block.pattern.kind} will not close: gaps of {show_length(gap, site.units, 1)} stay between grown plants",
        show_length(gap, site.units, 1),
        "no gap",
        "shorten the step, or take a wider plant",
        geometry=_at(sizes, known[0]),
    )


def _alley(site: Site, block: Block, summary: BlockRoom, sizes: Sizes, own: Ints) -> Iterator[Finding]:
    clear = summary.clear_alley_m
    # beds are worked by hand, from the path between them
    if block.pattern.kind in BY_HAND or not clear < WORKING_WIDTH_M - TOUCH_M or _rows(sizes, own) < 2:
        return
    rowed = block.pattern.kind in IN_ROWS or block.pattern.alley_every > 0
    left = f"only {show_length(clear, site.units, 1)}" if clear > TOUCH_M else "nothing"
    yield Finding(
        "alley_narrow",
        "warn" if rowed and clear <= TOUCH_M else "note",
        f"block {block.name}: between the canopies of two rows {left} stays clear at maturity",
        show_length(max(clear, 0.0), site.units, 1),
        f"{show_length(WORKING_WIDTH_M, site.units)} for a small tractor",
        "widen the rows or add an alley where machines are to pass, or keep the plants narrower",
        geometry=_at(sizes, own[0]),
    )


def _height(site: Site, block: Block, sizes: Sizes, own: Ints) -> Iterator[Finding]:
    """Hold a hedgerow's height against its row distance."""
    if block.pattern.kind != "hedgerow" or _rows(sizes, own) < 2:
        return
    tallest, apart = float(np.nanmax(sizes.height[own], initial=0.0)), block.pattern.row_distance_m
    limit, way = height_between(apart, float(np.degrees(np.median(sizes.discs.axis[own]))))
    if tallest <= limit + TOUCH_M:
        return
    yield Finding(
        "hedgerow_tall",
        "warn",
        f"block {block.name}: the hedgerow grows {show_length(tallest, site.units)} tall in rows {show_length(apart, site.units)} "
        f"apart; rows that run {way} want {ROWS_TO_HEIGHT[way]:g} times the height (Michigan State University, on apples), so "
        f"{show_length(limit, site.units)} at the most",
        show_length(tallest, site.units),
        show_length(limit, site.units),
        "keep it lower, or widen the rows",
        geometry=_at(sizes, own[0]),
    )


def _fillers(block: Block, sizes: Sizes, own: Ints) -> Iterator[Finding]:
    """Say so where fillers stay until their neighbours have grown into them."""
    if not temporary(sizes, own).any():
        return
    leave = float(np.min(sizes.discs.until[own]))
    if np.isnan(sizes.spread[own[temporary(sizes, own)]]).any():
        yield Finding(
            "filler_growth_unknown",
            "note",
            f"block {block.name}: how large its fillers are when they come out is not known, nor the room that they have until then",
            remedy="give the plant years_to_full_size, or pairs of year and spread as its growth",
        )
    met = first_meeting(sizes, own)
    # a calendar year cannot be held against years since planting
    if met is None or leave > 1000 or leave <= met:
        return
    yield Finding(
        "fillers_late",
        "warn",
        f"block {block.name}: the fillers come out in year {leave:.0f}, but reach their neighbours in year {met}",
        f"year {leave:.0f}",
        f"year {met} or before",
        "take them out earlier, or keep them small",
        geometry=_at(sizes, own[temporary(sizes, own)][0]),
    )


def _rows(sizes: Sizes, own: Ints) -> int:
    """Return how many rows some trees stand in."""
    return len(np.unique(sizes.trees.row[own]))


def _at(sizes: Sizes, tree: int) -> shapely.Point:
    return shapely.Point(sizes.trees.x[tree], sizes.trees.y[tree])
