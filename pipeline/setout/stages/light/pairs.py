"""Which way the partners of pairs are set: the way that gives the darker of the two more light."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from setout.geometry.sky.sun import SunPath
from setout.model import Block, Finding, Pair, Plant
from setout.stages.light.turned import sides_of

AXES: Final = (0.0, 90.0)
"""Bearings from one partner to the other that are weighed [deg]; the first where both give the same."""
WAYS: Final = ("north_and_south", "east_and_west")
"""What they are called."""
ALIKE_H: Final = 0.05
"""Hours that differ by less are told as the same [h]."""


@dataclass(frozen=True, slots=True)
class PairAxis:
    """Light of the darker partner of a pair by axis.

    Attributes
    ----------
    block : index of the block in the site
    axis_deg : the axis that gives it more [deg]
    darker_h : direct sun of the darker partner for each of :data:`AXES`, mean of the days [h]
    sized : whether the plants' sizes are known; else crowns that fill their room are reckoned
    """

    block: int
    axis_deg: float
    darker_h: tuple[float, ...]
    sized: bool


def pair_axes(blocks: Sequence[Block], path: SunPath) -> tuple[PairAxis, ...]:
    """Choose the axis of every block whose pairs have none."""
    out = []
    for index, block in enumerate(blocks):
        pair = block.pattern.pair
        if pair is None or np.isfinite(pair.axis_deg):
            continue
        sized = bool(np.isfinite(block.spread_m) and np.isfinite(block.height_m))
        crowns = _as_crowns(block, sized=sized)
        darker = tuple(min(side.am_h + side.pm_h for side in sides_of(crowns, axis, path, None)[1]) for axis in AXES)
        best = AXES[0] if darker[0] >= darker[1] - ALIKE_H else AXES[1]
        out.append(PairAxis(index, best, darker, sized))
    return tuple(out)


def _as_crowns(block: Block, *, sized: bool) -> Block:
    """Return a block with a crown for every partner; those of unknown size fill the room between positions."""
    pattern = replace(block.pattern, kind="rectangular", lines=1)
    plants = block.plants
    if not sized:
        size = pattern.nearest_m
        plants = (Plant("", spread_m=size, height_m=size, natural_spread_m=size, natural_height_m=size),)
    return replace(block, pattern=pattern, plants=plants)


def with_axes(blocks: Sequence[Block], axes: Sequence[PairAxis]) -> tuple[Block, ...]:
    """Return the blocks with the axes that were chosen."""
    out = list(blocks)
    for one in axes:
        pattern = out[one.block].pattern
        assert pattern.pair is not None
        pair = Pair(pattern.pair.distance_m, one.axis_deg)
        out[one.block] = replace(out[one.block], pattern=replace(pattern, pair=pair))
    return tuple(out)


def axis_findings(blocks: Sequence[Block], axes: Sequence[PairAxis]) -> Iterator[Finding]:
    """Yield which axis was chosen for pairs that had none, and what the darker partner has under both."""
    for one in axes:
        chosen = AXES.index(one.axis_deg)
        yield Finding(
            "pair_axis",
            "note",
            geometry=blocks[one.block].area,
            figures={
                "block": blocks[one.block].name,
                "axis": WAYS[chosen],
                "darker_h": one.darker_h[chosen],
                "other_axis": WAYS[1 - chosen],
                "other_darker_h": one.darker_h[1 - chosen],
                "crowns": None if one.sized else "crowns_fill_room",
            },
        )
