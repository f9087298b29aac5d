"""Each plant in the year in which it is judged: those that stay at full size among their like, fillers before they go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from setout.geometry.places.growth import judged_in, leaves_of
from setout.model import Block, Bools, Floats, Ints, Rows, Trees
from setout.stages.room.sizes import Sizes, load_of, overlap_of, sizes_of


@dataclass(frozen=True, slots=True)
class Judged:
    """Room of every tree in the year in which it is judged; one entry a tree in each array, NaN where a size is unknown.

    Attributes
    ----------
    full : all trees at full size together, which never stand so where there are fillers
    sizes : the same with spread, natural spread and nearest neighbour as they are in each tree's own year
    near_m : distance to the nearest neighbour then [m]; NaN for none
    overlap_m, load, room_m : as the package's docstring has them [m], [1], [m]
    """

    full: Sizes
    sizes: Sizes
    near_m: Floats
    overlap_m: Floats
    load: Floats
    room_m: Floats


def judged_of(blocks: Sequence[Block], trees: Trees, rows: Rows, nearest_m: Floats) -> Judged:
    """Measure every tree among those that stand in its year."""
    full = sizes_of(blocks, trees, rows)
    last = full.kinds.each(judged_in).astype(float)
    if np.isinf(last).all():
        # the partner in a pair is no neighbour, which the distance to the nearest tree does not know
        near = np.where((full.discs.partner < 0) & np.isfinite(nearest_m), nearest_m, full.near_m)
        return Judged(full, full, _known(near), overlap_of(full), *load_of(full))
    until = full.kinds.each(leaves_of).astype(float)
    out = {name: np.full(len(trees), np.nan) for name in ("overlap", "load", "room", "spread", "natural", "near_m")}
    near = np.full(len(trees), -1)
    for year in np.unique(last).tolist():
        stands = np.flatnonzero((until > year) | np.isinf(until))
        then = sizes_of(blocks, _some(trees, stands), rows, year)
        load, room = load_of(then)
        found = {
            "overlap": overlap_of(then),
            "load": load,
            "room": room,
            "spread": then.spread,
            "natural": then.natural,
            "near_m": then.near_m,
        }
        mine = last[stands] == year
        for name, values in found.items():
            out[name][stands[mine]] = values[mine]
        near[stands[mine]] = np.where(then.near[mine] >= 0, stands[then.near[mine]], -1)
    sizes = replace(full, spread=out["spread"], natural=out["natural"], near_m=out["near_m"], near=near)
    return Judged(full, sizes, _known(out["near_m"]), out["overlap"], out["load"], out["room"])


def _known(near_m: Floats) -> Floats:
    return np.where(np.isfinite(near_m) & (near_m > 0), near_m, np.nan)


def _some(trees: Trees, which: Ints) -> Trees:
    """Return some of the trees; a partner that is not among them is none."""
    place = np.full(len(trees), -1, np.int32)
    place[which] = np.arange(len(which), dtype=np.int32)
    partner = trees.partner
    if partner.size:
        partner = np.where(partner[which] >= 0, place[partner[which]], -1).astype(np.int32)
    return Trees(trees.block[which], trees.row[which], trees.position[which], trees.x[which], trees.y[which], trees.plant[which], partner)


def staying(sizes: Sizes, own: Ints) -> Ints:
    """Return those of some trees that stay; all of them where none does."""
    stays: Bools = np.isinf(sizes.discs.until[own])
    return own[stays] if stays.any() else own
