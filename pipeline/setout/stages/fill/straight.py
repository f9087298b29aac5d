"""Straight rows: lay them over a block's ground, cut each once, set plants along what is left.

Rows run in the block's direction; the place of the rows and the phase of the plants along them are searched, so that
at least as many trees stand as an unsearched grid gives. Cells that are too steep (or that no water reaches) take
single positions out; everything else cuts the row lines themselves, exactly.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely.geometry.base import BaseGeometry

from setout.geometry.rows import direction as ways
from setout.geometry.rows.lattice import Lattice, Layout, Placed, place
from setout.geometry.rows.rowcut import Cutters
from setout.model import Block, Bools, Floats, Ints, Pattern
from setout.model.system import LONGEST_SIDE
from setout.stages.fill.ends import LONGER, Allowed, ends_allowed

TRIED_ON_CELLS = 12
"""How many of the best layouts are counted again with single cells (slope) taken out."""
UNDER_M = 0.5
"""How close the places under a bed are looked at [m]."""
TRIED_TREES = 150_000
"""Fewer of them are tried the more trees they hold: this many trees in all."""


@dataclass(frozen=True, slots=True)
class Row:
    """Positions on straight rows, in walking order.

    Attributes
    ----------
    u, v : along the rows and to their left [m]
    row, position : numbers from 1
    piece : number of the piece of row: another one wherever ground is not planted between two positions
    bearing : of the rows [deg], in [0, 180)
    """

    u: Floats
    v: Floats
    row: Ints
    position: Ints
    piece: Ints
    bearing: float

    def to_xy(self, u: Floats, v: Floats) -> tuple[Floats, Floats]:
        """Take coordinates along the rows to the frame [m]."""
        angle = np.radians(self.bearing)
        sin, cos = np.sin(angle), np.cos(angle)
        return sin * u - cos * v, cos * u + sin * v


def lattice_of(pattern: Pattern) -> Lattice:
    """Return the bare geometry of a pattern: of beds and pairs the lattice of their middles.

    >>> double = Pattern("hedgerow", 1.2, 4.0, lines=2, line_distance_m=0.9)
    >>> lattice_of(double).lines(0.0, 0.0, 5.0)[0].round(1).tolist()
    [0.0, 0.9, 4.0, 4.9]
    """
    if pattern.bed is not None:
        along = pattern.bed.length_m + pattern.bed.gap_m
        return Lattice(along, pattern.row_distance_m, 0.0, pattern.alley_every, pattern.alley_width_m, pattern.free_rows)
    if pattern.lines > 1:
        width = (pattern.lines - 1) * pattern.line_distance_m
        return Lattice(pattern.step_m, pattern.line_distance_m, 0.5, pattern.lines, pattern.row_distance_m - width)
    return Lattice(pattern.step_m, pattern.row_distance_m, pattern.shift, pattern.alley_every, pattern.alley_width_m, pattern.free_rows)


def lay(block: Block, area: BaseGeometry, cutters: Cutters, allowed: Allowed | None) -> Row:
    """Lay the rows of a block and number their positions.

    Row 1 is on the left hand of someone who looks along the rows' bearing; position 1 is where they stand.
    """
    placed, bearing = _one_way(*_search(block, area, cutters, allowed))
    order = np.lexsort((placed.u, -placed.v))
    u, v, line, piece = placed.u[order], placed.v[order], placed.line[order], placed.piece[order]
    size = len(u)
    new = np.append(True, line[1:] != line[:-1])[:size]
    first = np.flatnonzero(new)
    count = np.diff(np.append(first, size))
    row = np.repeat(np.arange(1, len(first) + 1), count)
    new[1:] |= (piece[1:] != piece[:-1]) | (np.diff(u) > LONGER * lattice_of(block.pattern).step)
    return Row(u, v, row, np.arange(size) - np.repeat(first, count) + 1, np.cumsum(new), bearing)


def _search(block: Block, area: BaseGeometry, cutters: Cutters, allowed: Allowed | None) -> tuple[Placed, float]:
    lattice = lattice_of(block.pattern)
    if block.direction == "best":
        layouts = ways.layouts_any_way(lattice, cutters, area)
    else:
        along = ways.longest_side(area) if block.direction == LONGEST_SIDE else float(block.direction)
        layouts = ways.layouts_along(lattice, cutters, along)
    if allowed is None:
        return _placed(lattice, cutters, layouts[0]), layouts[0].bearing
    tries = max(1, min(TRIED_ON_CELLS, TRIED_TREES // max(layouts[0].count, 1)))
    best: tuple[Placed, float] | None = None
    for layout in _unlike(layouts, tries):
        placed = _placed(lattice, cutters, layout)
        keep = _allowed_under(block.pattern, placed, layout.bearing, allowed)
        placed = placed.some(keep)
        if best is None or len(placed.u) > len(best[0].u):
            best = placed, layout.bearing
        if keep.all():
            break
    assert best is not None
    return best


def _allowed_under(pattern: Pattern, placed: Placed, bearing: float, allowed: Allowed) -> Bools:
    """Tell which positions may be planted, everywhere under what stands there."""
    rows = Row(placed.u, placed.v, placed.line, placed.line, placed.piece, bearing)
    x, y = rows.to_xy(placed.u, placed.v)
    keep = np.array(allowed(x, y), bool)
    if pattern.bed is not None:
        half_l, half_w = pattern.bed.length_m / 2, pattern.bed.width_m / 2
        for du in np.linspace(-half_l, half_l, int(np.ceil(2 * half_l / UNDER_M)) + 1):
            for dv in np.linspace(-half_w, half_w, int(np.ceil(2 * half_w / UNDER_M)) + 1):
                keep &= allowed(*rows.to_xy(placed.u + du, placed.v + dv))
    if pattern.pair is not None:
        angle, half = np.radians(pattern.pair.axis_deg), pattern.pair.distance_m / 2
        for side in (-half, half):
            keep &= allowed(x + side * np.sin(angle), y + side * np.cos(angle))
    if pattern.trellis is not None:
        order = np.lexsort((placed.u, placed.line))
        order = order[keep[order]]
        u, v, line = placed.u[order], placed.v[order], placed.line[order]
        keep[order] = ends_allowed(pattern.trellis, u, line, lambda far, k: rows.to_xy(far, v[k]), allowed)
    return keep


def _one_way(placed: Placed, bearing: float) -> tuple[Placed, float]:
    """Return the same trees with the bearing of their rows in [0, 180)."""
    bearing %= 360.0
    if bearing < 180.0:
        return placed, bearing
    return Placed(-placed.u, -placed.v, -placed.line, placed.piece), bearing - 180.0


def _unlike(layouts: Sequence[Layout], number: int) -> list[Layout]:
    """Return the first layouts that differ from each other in more than their rank."""
    seen: dict[tuple[float, float], Layout] = {}
    for layout in layouts:
        seen.setdefault((round(layout.bearing, 2), round(layout.first, 2)), layout)
        if len(seen) == number:
            break
    return list(seen.values())


def _placed(lattice: Lattice, cutters: Cutters, layout: Layout) -> Placed:
    return place(lattice, ways.lines_along(cutters, layout.bearing), layout)[0]
