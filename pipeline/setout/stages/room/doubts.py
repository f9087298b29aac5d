"""What there is to say about the room within a block: one finding for each block and respect."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from setout.model import Block, BlockRoom, Finding, Floats, Ints
from setout.model.system import HEDGES, IN_ROWS
from setout.stages.room.sizes import Sizes
from setout.stages.room.summary import ROWS_TO_HEIGHT, height_between
from setout.stages.room.years import first_meeting, temporary
from setout.units import FOOT

OVERLAP_ALLOWED = 0.05
"""Share of its spread by which an orchard canopy may reach into its neighbour's without a finding."""
WORKING_WIDTH_M = 8 * FOOT
"""Clear alley that a small tractor with its tools needs [m] (common practice, from memory)."""
BY_HAND = frozenset({"bed", "points"})
"""Patterns that no tractor passes through."""
TOUCH_M = 0.01
"""Gaps and heights are not told apart more finely than this [m]."""


def doubts(
    blocks: Sequence[Block], sizes: Sizes, overlap: Floats, owned: Sequence[Ints], summaries: Sequence[BlockRoom]
) -> Iterator[Finding]:
    """Say what a block's own spacing leads to."""
    for block, own, summary in zip(blocks, owned, summaries, strict=True):
        if not len(own):
            continue
        if block.pattern.kind in HEDGES:
            yield from _hedge(block, sizes, overlap, own)
        elif block.pattern.kind not in IN_ROWS:
            yield from _orchard(block, sizes, overlap, own)
        yield from _alley(block, summary, sizes, own)
        yield from _height(block, sizes, own)
        yield from _fillers(block, sizes, own)


def _orchard(block: Block, sizes: Sizes, overlap: Floats, own: Ints) -> Iterator[Finding]:
    with np.errstate(invalid="ignore"):
        deep = own[overlap[own] > OVERLAP_ALLOWED * sizes.spread[own]]
    if not len(deep):
        return
    share = overlap[deep] / sizes.spread[deep]
    worst = deep[np.argmax(overlap[deep])]
    yield Finding(
        "canopy_overlap",
        "warn",
        figures={
            "block": block.name,
            "n": len(deep),
            "of": len(own),
            "typical_m": float(np.median(overlap[deep])),
            "typical_share": float(np.median(share)),
            "worst_m": float(overlap[worst]),
            "worst_share": float(share[overlap[deep].argmax()]),
            "allowed_share": OVERLAP_ALLOWED,
        },
        geometry=_at(sizes, worst),
    )


def _hedge(block: Block, sizes: Sizes, overlap: Floats, own: Ints) -> Iterator[Finding]:
    known = own[np.isfinite(sizes.spread[own]) & np.isfinite(sizes.near_m[own])]
    if not len(known):
        return
    closed = overlap[known] > 0
    if np.count_nonzero(closed) * 2 >= len(known):
        yield Finding(
            "hedge_overlap",
            "note",
            figures={"block": block.name, "pattern": block.pattern.kind, "overlap_m": float(np.median(overlap[known][closed]))},
            geometry=_at(sizes, known[0]),
        )
        return
    gap = float(np.median(sizes.near_m[known] - sizes.spread[known]))
    if gap <= TOUCH_M:
        return
    yield Finding(
        "hedge_open", "warn", figures={"block": block.name, "pattern": block.pattern.kind, "gap_m": gap}, geometry=_at(sizes, known[0])
    )


def _alley(block: Block, summary: BlockRoom, sizes: Sizes, own: Ints) -> Iterator[Finding]:
    clear = summary.clear_alley_m
    # beds are worked by hand, from the path between them
    if block.pattern.kind in BY_HAND or not clear < WORKING_WIDTH_M - TOUCH_M or _rows(sizes, own) < 2:
        return
    rowed = block.pattern.kind in IN_ROWS or block.pattern.alley_every > 0
    left = clear if clear > TOUCH_M else None
    yield Finding(
        "alley_narrow",
        "warn" if rowed and clear <= TOUCH_M else "note",
        figures={"block": block.name, "left_m": left, "clear_m": max(clear, 0.0), "needed_m": WORKING_WIDTH_M},
        geometry=_at(sizes, own[0]),
    )


def _height(block: Block, sizes: Sizes, own: Ints) -> Iterator[Finding]:
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
        figures={"block": block.name, "tall_m": tallest, "apart_m": apart, "way": way, "times": ROWS_TO_HEIGHT[way], "limit_m": limit},
        geometry=_at(sizes, own[0]),
    )


def _fillers(block: Block, sizes: Sizes, own: Ints) -> Iterator[Finding]:
    """Say so where fillers stay until their neighbours have grown into them."""
    if not temporary(sizes, own).any():
        return
    leave = float(np.min(sizes.discs.until[own]))
    if np.isnan(sizes.spread[own[temporary(sizes, own)]]).any():
        yield Finding("filler_growth_unknown", "note", figures={"block": block.name})
    met = first_meeting(sizes, own)
    # a calendar year cannot be held against years since planting
    if met is None or leave > 1000 or leave <= met:
        return
    yield Finding(
        "fillers_late",
        "warn",
        figures={"block": block.name, "leave_year": int(leave), "met_year": met},
        geometry=_at(sizes, own[temporary(sizes, own)][0]),
    )


def _rows(sizes: Sizes, own: Ints) -> int:
    """Return how many rows some trees stand in."""
    return len(np.unique(sizes.trees.row[own]))


def _at(sizes: Sizes, tree: int) -> shapely.Point:
    return shapely.Point(sizes.trees.x[tree], sizes.trees.y[tree])
