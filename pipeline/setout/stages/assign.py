"""Assign: which plant stands at which position.

A block's plants are dealt out along its walking order: by share, each spread evenly; in whole rows by turns; or as
pollinizers at every k-th tree of every k-th row. Counts are exact (largest remainders, or as the plan file gives
them). Temporary fillers take every second position, and pairs the same plant on the north of every position.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import cos, isfinite, nan, radians, sin
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from setout.geometry.rows.dealing import counts_of, dealt, turns
from setout.model import Block, Bools, Dealing, Finding, Floats, Ints, Plant, Trees

FILLER: Final = "filler"
"""Role of a plant that comes out again when the permanent trees need its room."""
ON_LATTICE: Final = 0.2
"""How far, in half steps, a position may lie off its row's lattice and still be counted on it."""


@dataclass(frozen=True, slots=True)
class _Walk:
    """Positions of one block as a crew walks them: row numbers, and place in the frame [m]."""

    row: NDArray[np.int32]
    x: Floats
    y: Floats

    def of(self, where: Bools | Ints) -> _Walk:
        return _Walk(self.row[where], self.x[where], self.y[where])

    def rows(self) -> tuple[Ints, Ints, Ints]:
        """Return the first position of every row, how many it has, and of every position the index of its row."""
        _, first, index, count = np.unique(self.row, return_index=True, return_inverse=True, return_counts=True)
        return first, count, index

    def along(self, bearing: float) -> Floats:
        """Return how far along the rows' direction every position is [m], from the first position.

        The direction is that of the longest row; where no row has two trees, the bearing [deg], else zeros.
        """
        first, count, _ = self.rows()
        last = first + count - 1
        dx, dy = self.x[last] - self.x[first], self.y[last] - self.y[first]
        length = np.hypot(dx, dy)
        best = int(np.argmax(length))
        if length[best] > 0:
            east, north = float(dx[best] / length[best]), float(dy[best] / length[best])
        else:
            east, north = (sin(radians(bearing)), cos(radians(bearing))) if isfinite(bearing) else (0.0, 0.0)
        along: Floats = (self.x - self.x[0]) * east + (self.y - self.y[0]) * north
        return along


def assign(trees: Trees, blocks: Sequence[Block]) -> tuple[Trees, tuple[Finding, ...]]:
    """Give every position of every block its plant."""
    plant = np.full(len(trees), -1, np.int32)
    findings: list[Finding] = []
    for index, block in enumerate(blocks):
        own = np.flatnonzero(trees.block == index)
        if not block.plants or not len(own):
            continue
        walk = _Walk(trees.row[own], trees.x[own], trees.y[own])
        for share in _parts(trees, own, walk, block):
            plants = [block.plants[p] for p in share.plants]
            got = _deal(walk.of(share.where), plants, share.dealing)
            plant[own[share.where]] = np.append(share.plants, -1)[got]
            findings += _counted(block, plants, len(share.where))
        findings += _left_out(block, plant[own])
        if block.dealing.way == "every" and block.pattern.pair is not None:
            findings.append(Finding("pairs_by_share", "note", figures={"block": block.name}, geometry=block.area))
    return replace(trees, plant=plant), tuple(findings)


@dataclass(frozen=True, slots=True)
class _Part:
    """Some positions of a block (indices into its walk), the plants they take and how those are dealt out."""

    where: Ints
    plants: list[int]
    dealing: Dealing


def _parts(trees: Trees, own: Ints, walk: _Walk, block: Block) -> list[_Part]:
    """Split a block's positions where different plants have different places."""
    every = list(range(len(block.plants)))
    paired = trees.partner[own] if len(trees.partner) == len(trees) else np.full(len(own), -1, np.int32)
    if (paired >= 0).any():
        second = _second_of_pair(own, paired, walk)
        by = Dealing() if block.dealing.way == "every" else block.dealing
        return [_Part(np.flatnonzero(~second), every[:1], Dealing()), _Part(np.flatnonzero(second), every[1:] or every, by)]
    fillers = [p for p in every if block.plants[p].role == FILLER]
    if not fillers or len(fillers) == len(every):
        return [_Part(np.arange(len(own)), every, block.dealing)]
    between = _filler_places(walk, block)
    return [
        _Part(np.flatnonzero(~between), [p for p in every if p not in fillers], block.dealing),
        _Part(np.flatnonzero(between), fillers, Dealing()),
    ]


def _second_of_pair(own: Ints, partner: NDArray[np.int32], walk: _Walk) -> Bools:
    """Tell which trees are the southern of a pair; of a pair due east and west, the second in walking order."""
    second = np.zeros(len(own), bool)
    one = np.flatnonzero(partner >= 0)
    other = np.searchsorted(own, partner[one])
    dx, dy = walk.x[other] - walk.x[one], walk.y[other] - walk.y[one]
    east, north = abs(dx[0]), abs(dy[0])
    second[one] = dy > 0 if north > 1e-3 * east else other < one
    return second


def _bearing(block: Block) -> float:
    return nan if isinstance(block.direction, str) else float(block.direction)


def _filler_places(walk: _Walk, block: Block) -> Bools:
    """Tell which positions of a block are for fillers: the middles of a quincunx, else every second one in the row.

    The permanent trees keep the larger half, so that on even ground they stand in a square (quincunx) or a
    diamond (each row moved one position against the next).
    """
    first, _, row = walk.rows()
    halves = 2 * walk.along(_bearing(block)) / block.pattern.step_m
    number = np.rint(halves).astype(np.int64)
    on_lattice = bool((np.abs(halves - number) < ON_LATTICE).all())
    shift = 1 if block.pattern.shift or block.pattern.lines > 1 else 0
    if block.pattern.kind == "quincunx":
        parity = number % 2 if on_lattice else row % 2
    elif on_lattice:
        parity = (number // 2 + row // (1 + shift)) % 2
    else:
        parity = (np.arange(len(row)) - first[row] + row) % 2
    odd = int(parity.sum())
    larger = 1 if 2 * odd > len(parity) else 0 if 2 * odd < len(parity) else int(parity[0])
    between: Bools = parity != larger
    return between


def allotted(plants: Sequence[Plant], size: int) -> NDArray[np.int64]:
    """Return how many positions each plant gets: its count, or its share of what the counts leave.

    >>> main, other = Plant("apple, dwarf", share=3), Plant("pear, dwarf", share=1)
    >>> allotted([main, other, Plant("quince", share=5, count=True)], 25)
    array([15,  5,  5])
    """
    asked = np.array([round(p.share) if p.count else 0 for p in plants], np.int64)
    by_count = np.array([p.count for p in plants])
    if asked.sum() > size:
        return counts_of(asked.tolist(), size)
    shares = np.array([0.0 if p.count else p.share for p in plants])
    if by_count.all() or not shares.sum():
        return asked
    return asked + counts_of(shares.tolist(), size - int(asked.sum()))


def _deal(walk: _Walk, plants: Sequence[Plant], dealing: Dealing) -> NDArray[np.int32]:
    """Return for every position of a walk the index of its plant; -1 for none."""
    if dealing.way == "rows" and len(plants) > 1:
        return _by_rows(walk, plants)
    if dealing.way == "every" and len(plants) > 1:
        return _by_every(walk, plants, dealing)
    return _first(dealt(allotted(plants, len(walk.x))), len(walk.x))


def _first(kinds: NDArray[np.int32], size: int) -> NDArray[np.int32]:
    """Plant the first positions of the walk and leave the rest open."""
    return np.append(kinds, np.full(size - len(kinds), -1)).astype(np.int32)


def _by_rows(walk: _Walk, plants: Sequence[Plant]) -> NDArray[np.int32]:
    """Deal whole rows by turns; plants with a count stand together behind them, in the last rows."""
    size = len(walk.x)
    counted = [k for k, p in enumerate(plants) if p.count]
    shared = [k for k, p in enumerate(plants) if not p.count]
    counts = allotted(plants, size)
    together = np.repeat(np.array(counted, np.int32), counts[counted])
    free = size - len(together)
    if not shared or not free:
        return _first(together, size)
    _, _, row = walk.of(np.arange(free)).rows()
    kinds = np.array(shared, np.int32)[turns([plants[k].share for k in shared], int(row[-1]) + 1)[row]]
    return np.append(kinds, together).astype(np.int32)


def _by_every(walk: _Walk, plants: Sequence[Plant], dealing: Dealing) -> NDArray[np.int32]:
    """Give the second plant each k-th tree of each m-th row, and deal the others to the rest by share."""
    size = len(walk.x)
    out = np.full(size, -1, np.int32)
    chosen = _every_kth(walk, dealing.every_tree, dealing.every_row)
    others = [k for k in range(len(plants)) if k != 1]
    promised = sum(round(plants[k].share) for k in others if plants[k].count)
    wanted = min(int(chosen.sum()), max(size - promised, 0))
    if plants[1].count:
        wanted = int(allotted(plants, size)[1])
    chosen = _exactly(chosen, wanted)
    out[chosen] = 1
    rest = np.flatnonzero(~chosen)
    got = _first(dealt(allotted([plants[k] for k in others], len(rest))), len(rest))
    out[rest] = np.append(np.array(others), -1)[got]
    return out


def _every_kth(walk: _Walk, k: int, m: int) -> Bools:
    """Choose each k-th position of each m-th row, neighbouring chosen rows staggered by half of k.

    The first chosen row is the middle one of the first m, and the first chosen position the middle one of the first
    k, so that the edges are served like the inside. Every chosen row has at least one.
    """
    k, m = max(k, 1), max(m, 1)
    first, count, row = walk.rows()
    along = walk.along(nan)
    gaps = np.diff(along)[np.diff(row) == 0]
    step = float(np.median(np.abs(gaps))) if len(gaps) else 1.0
    start = min((m + 1) // 2, len(first)) - 1
    turn, off = np.divmod(np.arange(len(first)) - start, m)
    # rows begin where the ground lets them: the phase of a row is that of its place on the ground
    begun = np.rint((along[first] - along[first[0]]) / max(step, 1e-9)).astype(np.int64)
    phase = ((k - 1) // 2 + turn % 2 * (k // 2) - begun) % k
    phase = np.where(phase < count, phase, (count - 1) // 2)
    rank = np.arange(len(row)) - first[row]
    chosen: Bools = (off == 0)[row] & (turn >= 0)[row] & (rank >= phase[row]) & ((rank - phase[row]) % k == 0)
    return chosen


def _exactly(chosen: Bools, number: int) -> Bools:
    """Choose an exact number of positions: thinned evenly among the chosen, or others added evenly between them."""
    have = int(chosen.sum())
    pool = np.flatnonzero(chosen if number < have else ~chosen)
    pick = number if number < have else number - have
    out = np.zeros(len(chosen), bool) if number < have else chosen.copy()
    out[pool[(2 * np.arange(pick, dtype=np.int64) + 1) * len(pool) // (2 * max(pick, 1))]] = True
    return out


def _counted(block: Block, plants: Sequence[Plant], size: int) -> list[Finding]:
    """Say where counts and positions do not meet."""
    asked = sum(round(p.share) for p in plants if p.count)
    figures: dict[str, Any] = {"block": block.name, "asked": asked, "positions": size}
    if asked > size:
        got = allotted(plants, size).tolist()
        figures["cut"] = tuple({**_called(p), "n": n, "asked": round(p.share)} for p, n in zip(plants, got, strict=True) if p.count)
        return [Finding("counts_over_positions", "stop", figures=figures, geometry=block.area)]
    if plants and all(p.count for p in plants) and asked < size:
        return [Finding("positions_left_over", "warn", figures={**figures, "left": size - asked}, geometry=block.area)]
    return []


def _called(plant: Plant) -> dict[str, Any]:
    return {"plant": plant.name, "variety": plant.variety}


def _left_out(block: Block, got: NDArray[np.int32]) -> list[Finding]:
    """Say which plants get no tree, and where a way of dealing has nothing to deal."""
    counts = np.bincount(got[got >= 0], minlength=len(block.plants)).tolist()
    none = tuple(_called(p) for p, n in zip(block.plants, counts, strict=True) if not n and p.share > 0)
    fillers = sum(p.role == FILLER for p in block.plants)
    found: dict[str, dict[str, Any]] = {}
    if none:
        found["plant_without_tree"] = {"plants": none, "positions": len(got)}
    if block.dealing.way == "every" and len(block.plants) < 2:
        found["no_second_plant"] = {
            "every_tree": block.dealing.every_tree,
            "every_row": block.dealing.every_row,
            "plants": len(block.plants),
        }
    if fillers and fillers == len(block.plants):
        found["only_fillers"] = {}
    return [Finding(code, "warn", figures={"block": block.name, **of}, geometry=block.area) for code, of in found.items()]
