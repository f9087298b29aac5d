"""How ground is divided among sheets: a regular grid, turned to the rows where that takes fewer sheets."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from setout.model import Floats, Ints, Planting
from setout.write.sheets.layout import Box, View, turned

OVERLAP: Final = 7.0
"""Ground beyond a sheet's own that it shows on every side [mm of paper]."""
SHIFTS: Final = 8
"""Places of the grid that are tried along each side of a tile."""
FEWER: Final = 0.92
"""Sheets are turned where they are then at most this share of those with north up."""


@dataclass(frozen=True, slots=True)
class Tile:
    """One sheet's ground.

    Attributes
    ----------
    number : from 1, in reading order
    view : the ground it shows, its overlap included
    trees : indices of the trees that are its own: each tree is one tile's own
    beside : number of the tile to the left, right, below and above; 0 for none
    core : the part of the frame on paper that is its own
    """

    number: int
    view: View
    trees: Ints
    beside: tuple[int, int, int, int]
    core: Box


def tiles_of(planting: Planting, box: Box, scale: float) -> list[Tile]:
    """Divide the trees among sheets."""
    xy = np.column_stack([planting.trees.x, planting.trees.y])
    if not len(xy):
        return []
    size = np.array([box.width - 2 * OVERLAP, box.height - 2 * OVERLAP]) * scale / 1000
    best = _placed(xy, 0.0, size)
    for turn in _turns(planting):
        other = _placed(xy, turn, size)
        limit = FEWER * best[0] if best[1] == 0.0 else best[0] - 0.5
        if other[0] <= limit:
            best = other
    _, turn, start = best
    cells = np.floor((turned(xy, turn) - start) / size).astype(np.int64)
    return _numbered(cells, turn, start, size, View(box, scale, turn, 0.0, 0.0))


def _numbered(cells: Ints, turn: float, start: Floats, size: Floats, blank: View) -> list[Tile]:
    wide = int(cells[:, 0].max()) + 2
    code = (cells[:, 1].max() - cells[:, 1]) * wide + cells[:, 0]
    order = np.argsort(code, kind="stable")
    codes, first = np.unique(code[order], return_index=True)
    number = {int(c): n for n, c in enumerate(codes.tolist(), 1)}
    box = blank.box
    core = Box(box.left + OVERLAP, box.bottom + OVERLAP, box.width - 2 * OVERLAP, box.height - 2 * OVERLAP)
    out = []
    for c, members in zip(codes.tolist(), np.split(order, first[1:]), strict=True):
        middle = start + (cells[members[0]] + 0.5) * size
        column = c % wide
        left = number.get(c - 1, 0) if column else 0
        beside = (left, number.get(c + 1, 0), number.get(c + wide, 0), number.get(c - wide, 0))
        view = View(box, blank.scale, turn, float(middle[0]), float(middle[1]))
        out.append(Tile(number[c], view, np.sort(members), beside, core))
    return out


def _turns(planting: Planting) -> list[float]:
    """Return the angles at which rows of the larger blocks lie along a side of the paper [rad], at most 45 deg off."""
    rows = planting.rows
    weights: dict[int, float] = {}
    for bearing, trees in zip(rows.bearing_deg.tolist(), rows.trees.tolist(), strict=True):
        if math.isfinite(bearing):
            along = (90.0 - bearing) % 90.0
            turn = round((along - 90.0 if along > 45.0 else along) * 10)
            weights[turn] = weights.get(turn, 0.0) + trees
    heavy = sorted(weights, key=lambda t: -weights[t])[:3]
    sides = [t / 10 for t in heavy] + [t / 10 + (90 if t < 0 else -90) for t in heavy] + [90.0]
    return [math.radians(t) for t in sides if t]


def _placed(xy: Floats, turn: float, size: Floats) -> tuple[int, float, Floats]:
    """Return the fewest tiles at an angle, the angle, and the corner from which the grid starts."""
    uv = turned(xy, turn)
    low = uv.min(axis=0)
    # trees close together count as one: tiles are much larger than a hundredth of themselves
    fine = size / (SHIFTS * 12)
    coarse = np.unique(np.floor((uv - low) / fine).astype(np.int64), axis=0)
    best: tuple[int, Floats] | None = None
    span = coarse.max(axis=0) + 1
    per = SHIFTS * 12
    middle = ((-(-span // per)) * per - span) // 2
    for i in range(SHIFTS):
        for j in range(SHIFTS):
            shift = (middle + np.array([i, j]) * 12) % per
            cells = (coarse + shift) // per
            count = len(np.unique(cells[:, 0] * 1_000_003 + cells[:, 1]))
            if best is None or count < best[0]:
                best = count, low - shift * fine
    assert best is not None
    return best[0], turn, best[1]
