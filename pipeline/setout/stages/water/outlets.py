"""Outlets along the rows: where the emitters of each tree stand, and pieces of row that one lateral can follow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from setout.geometry.lines.detour import Obstacles, sees
from setout.model import Emitter, Floats, Ints, Pattern, Rows, Trees

GAP_M = 50.0
"""Widest gap in a row that a lateral runs through [m]; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Positions:
    """Trees as pipes see them.

    Attributes
    ----------
    trees : positions in walking order
    rows : their rows
    z : elevation [m]; NaN unknown
    point : water point that serves each; -1 for none
    patterns : of the blocks, by index
    emitters : per block, emitters at every tree, or at every two that share
    """

    trees: Trees
    rows: Rows
    z: Floats
    point: Ints
    patterns: Sequence[Pattern]
    emitters: Sequence[int]


@dataclass(frozen=True, slots=True)
class Outlets:
    """Emitters along the rows, in the order in which laterals pass them; arrays of one entry an outlet.

    Attributes
    ----------
    x, y, z : where the emitters stand; between two trees that share them
    tree : first tree of each
    count : trees that it waters
    emitters : emitters there
    piece : piece of row that it is on; pieces are numbered from 0 in order
    of_tree : per tree, its outlet; -1 for none
    """

    x: Floats
    y: Floats
    z: Floats
    tree: Ints
    count: Ints
    emitters: Floats
    piece: Ints
    of_tree: Ints


@dataclass(frozen=True, slots=True)
class Pieces:
    """Pieces of row; one entry a piece.

    Attributes
    ----------
    start, stop : its outlets
    block, row, strand : where it is; a bed with several lines of plants has a strand for each
    point : water point that serves it
    """

    start: Ints
    stop: Ints
    block: Ints
    row: Ints
    strand: Ints
    point: Ints

    def __len__(self) -> int:
        """Return the number of pieces."""
        return int(self.start.size)


def outlets_of(positions: Positions, emitter: Emitter, barriers: BaseGeometry | None) -> tuple[Outlets, Pieces]:
    """Set the outlets of all served trees and cut the rows into pieces.

    A row is cut where the water point changes, where a barrier crosses it, and at gaps wider than :data:`GAP_M`.
    """
    trees, point = positions.trees, positions.point
    strand = _strands(positions)
    order = np.flatnonzero(point >= 0)
    if strand.any():
        along = _along(positions)
        order = order[np.lexsort((along[order], strand[order], trees.row[order], trees.block[order]))]
    with_partner = _led(trees, point)
    order = order[with_partner[order] != -2]
    second = with_partner[order]
    xy, z = _middle(positions, order, second)
    apart = _differs(trees.block[order]) | _differs(trees.row[order]) | _differs(strand[order]) | _differs(point[order])
    apart = _cut(xy, apart, barriers)
    piece = np.cumsum(apart) - 1
    first = order
    count = 1 + (second >= 0).astype(np.int64)
    if emitter.trees_per_emitter == 2:
        lead = _leaders(piece, count)
        member = np.cumsum(lead) - 1
        count = np.bincount(member, weights=count).astype(np.int64)
        weight = np.bincount(member).astype(float)
        xy = np.column_stack([np.bincount(member, weights=axis) / weight for axis in xy.T])
        z = np.bincount(member, weights=z) / weight
        # on a curved row the way from one shared place to the next is none of those from tree to tree
        first, piece = order[lead], np.cumsum(_cut(xy, _differs(piece[lead]), barriers)) - 1
        count_at = np.ones(len(first), np.int64)
    else:
        member = np.arange(len(order))
        count_at = count
    of_tree = np.full(len(trees), -1, np.int64)
    of_tree[order] = member
    paired = second >= 0
    of_tree[second[paired]] = member[paired]
    emitters = count_at * np.array(positions.emitters, float)[trees.block[first]]
    outlets = Outlets(xy[:, 0], xy[:, 1], z, first, count, emitters, piece, of_tree)
    return outlets, _pieces(outlets, positions, strand)


def _cut(xy: Floats, apart: NDArray[np.bool_], barriers: BaseGeometry | None) -> NDArray[np.bool_]:
    """Return where pieces begin: where they did, beyond wide gaps, and beyond what no pipe crosses."""
    out = apart.copy()
    step = np.diff(xy, axis=0)
    out[1:] |= np.hypot(step[:, 0], step[:, 1]) > GAP_M
    if barriers is not None:
        ask = np.flatnonzero(~out[1:])
        clear = sees(Obstacles(barriers, np.empty((0, 2))), *xy[ask].T, *xy[ask + 1].T)
        out[1 + ask[~clear]] = True
    return out


def _differs(values: NDArray[np.integer]) -> NDArray[np.bool_]:
    """Tell which entries differ from the one before; the first does."""
    out = np.ones(len(values), bool)
    out[1:] = values[1:] != values[:-1]
    return out


def _axes(positions: Positions) -> tuple[Floats, Floats]:
    """Return the unit vector along every tree's row."""
    trees, rows = positions.trees, positions.rows
    most = int(rows.row.max(initial=0)) + 1
    key = rows.block * most + rows.row
    order = np.argsort(key)
    at = order[np.searchsorted(key[order], trees.block.astype(np.int64) * most + trees.row)]
    angle = np.radians(rows.bearing_deg[at])
    return np.sin(angle), np.cos(angle)


def _along(positions: Positions) -> Floats:
    """Return how far along its row each plant of a bed stands [m]; elsewhere the number of its position."""
    trees = positions.trees
    ux, uy = _axes(positions)
    return np.where(_in_lines(positions), trees.x * ux + trees.y * uy, trees.position.astype(float))


def _in_lines(positions: Positions) -> NDArray[np.bool_]:
    """Tell which trees stand in beds with several lines of plants."""
    return np.array([p.bed is not None and p.lines > 1 for p in positions.patterns])[positions.trees.block]


def _strands(positions: Positions) -> Ints:
    """Return the line of each plant in beds with several lines, from 0 on the left; 0 elsewhere."""
    trees = positions.trees
    own = np.flatnonzero(_in_lines(positions))
    strand = np.zeros(len(trees), np.int64)
    if not len(own):
        return strand
    ux, uy = _axes(positions)
    across = trees.x[own] * uy[own] - trees.y[own] * ux[own]
    first = np.flatnonzero(_differs(trees.block[own]) | _differs(trees.row[own]))
    least = np.repeat(np.minimum.reduceat(across, first), np.diff(np.append(first, len(own))))
    step = np.array([max(p.line_distance_m, 1e-3) for p in positions.patterns])[trees.block[own]]
    strand[own] = np.round((across - least) / step).astype(np.int64)
    return strand


def _led(trees: Trees, point: Ints) -> Ints:
    """Return per tree the partner whose emitters stand with its own; -1 for none, -2 for the one that is led."""
    out = np.full(len(trees), -1, np.int64)
    if len(trees.partner):
        partner = trees.partner.astype(np.int64)
        own = np.arange(len(trees))
        both = (partner >= 0) & (point >= 0)
        both[both] = point[partner[both]] == point[both]
        out[both & (own < partner)] = partner[both & (own < partner)]
        out[both & (own > partner)] = -2
    return out


def _middle(positions: Positions, first: Ints, second: Ints) -> tuple[Floats, Floats]:
    """Return where emitters stand: at the tree, or between two partners."""
    trees, z = positions.trees, positions.z
    other = np.where(second >= 0, second, first)
    x, y = (trees.x[first] + trees.x[other]) / 2, (trees.y[first] + trees.y[other]) / 2
    return np.column_stack([x, y]), (z[first] + z[other]) / 2


def _leaders(piece: Ints, count: Ints) -> NDArray[np.bool_]:
    """Tell which outlets begin a group that shares one emitter: every second single tree of a piece, and every pair."""
    new = _differs(piece) | (count > 1)
    new[1:] |= count[:-1] > 1
    start = np.maximum.accumulate(np.where(new, np.arange(len(piece)), 0))
    return np.asarray((np.arange(len(piece)) - start) % 2 == 0, bool)


def _pieces(outlets: Outlets, positions: Positions, strand: Ints) -> Pieces:
    start = np.flatnonzero(_differs(outlets.piece)) if len(outlets.piece) else np.empty(0, np.int64)
    stop = np.append(start[1:], len(outlets.piece)) if len(start) else start
    tree = outlets.tree[start]
    return Pieces(
        start,
        stop.astype(np.int64),
        positions.trees.block[tree].astype(np.int64),
        positions.trees.row[tree].astype(np.int64),
        strand[tree],
        positions.point[tree],
    )


def shortened(outlets: Outlets, pieces: Pieces, most: Ints) -> tuple[Outlets, Pieces]:
    """Cut pieces into equal parts of at most so many outlets each."""
    size = pieces.stop - pieces.start
    parts = np.maximum(-(-size // np.maximum(most, 1)), 1)
    if (parts == 1).all():
        return outlets, pieces
    of = np.repeat(np.arange(len(pieces)), parts)
    number = np.arange(len(of)) - np.repeat(np.cumsum(parts) - parts, parts)
    start = pieces.start[of] + size[of] * number // parts[of]
    stop = pieces.start[of] + size[of] * (number + 1) // parts[of]
    piece = np.repeat(np.arange(len(of)), stop - start)
    cut = Pieces(start, stop, pieces.block[of], pieces.row[of], pieces.strand[of], pieces.point[of])
    return replace(outlets, piece=piece), cut
