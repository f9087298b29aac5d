"""The lines of rows: they end where trees end, and begin again where trees do."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from setout.geometry.lines.curves import path_of
from setout.model import Floats, Geometries, Ints, Rows, Trees
from setout.stages.fill.systems import Laid

LONE_M = 0.01
"""How long the line of a single tree is drawn [m]: a line at all, and none that leaves the tree's ground."""


def rows_of(laid: Sequence[Laid], trees: Trees) -> Rows:
    """Draw the rows of all blocks, each piece from its first tree to its last.

    Lines of straight rows run along the bearing of their block, in the middle of beds, pairs and lines of plants.
    """
    first = _begins(trees.block, trees.row)
    piece = _begins(trees.block, trees.row, np.concatenate([part.piece for part in laid]))
    of = np.searchsorted(first, piece, side="right") - 1
    count = np.diff(np.append(first, len(trees)))
    block, row = trees.block[first].astype(np.int64), trees.row[first].astype(np.int64)
    bearing = np.array([part.bearing for part in laid])[block]
    last = first + count - 1
    drawn = np.degrees(np.arctan2(trees.x[last] - trees.x[first], trees.y[last] - trees.y[first])) % 180.0
    bearing = np.where(np.isfinite(bearing), bearing, drawn)
    lines = np.asarray(shapely.linestrings(_straight(trees, piece, bearing[of])), object)
    stop = np.append(piece[1:], len(trees))
    bent = np.array([bool(part.row_line) for part in laid])[block]
    for number in np.flatnonzero(bent).tolist():
        own = slice(*np.searchsorted(of, [number, number + 1]))
        carrier = laid[block[number]].row_line[int(row[number])]
        lines[own] = _along(carrier, trees, piece[own], stop[own])
    joined: Geometries = np.asarray(shapely.multilinestrings(lines, indices=of), object)
    low = shapely.get_coordinates(shapely.get_point(shapely.get_geometry(joined, 0), 0))
    high = shapely.get_coordinates(shapely.get_point(shapely.get_geometry(joined, -1), -1))
    return Rows(block, row, low[:, 0], low[:, 1], high[:, 0], high[:, 1], count, bearing, joined)


def _begins(*numbers: NDArray[np.integer]) -> Ints:
    """Return where any of some numbers is another one than before."""
    new = np.ones(len(numbers[0]), bool)
    new[1:] = np.any([values[1:] != values[:-1] for values in numbers], axis=0)
    return np.flatnonzero(new)


def _straight(trees: Trees, piece: Ints, bearing: Floats) -> Floats:
    """Return both ends (n, 2, 2) of straight pieces that begin at some trees, by the bearing of each [deg]."""
    angle = np.radians(bearing)
    size = np.diff(np.append(piece, len(trees)))
    sin, cos = np.sin(angle), np.cos(angle)
    s, c = np.repeat(sin, size), np.repeat(cos, size)
    along, across = trees.x * s + trees.y * c, trees.x * c - trees.y * s
    ends = [np.minimum.reduceat(along, piece), np.maximum.reduceat(along, piece)] if len(piece) else [along, along]
    sides = [np.minimum.reduceat(across, piece), np.maximum.reduceat(across, piece)] if len(piece) else [across, across]
    more = np.where(ends[1] - ends[0] < LONE_M, LONE_M / 2, 0.0)
    middle = (sides[0] + sides[1]) / 2
    return np.stack([np.column_stack([u * sin + middle * cos, u * cos - middle * sin]) for u in (ends[0] - more, ends[1] + more)], axis=1)


def _along(carrier: shapely.LineString, trees: Trees, first: Ints, stop: Ints) -> list[shapely.LineString]:
    """Return the pieces of a row that is not straight, by their first trees and those after their last."""
    path = path_of(shapely.get_coordinates(carrier))
    assert path is not None
    own = slice(first[0], stop[-1])
    at = shapely.line_locate_point(carrier, shapely.points(trees.x[own], trees.y[own]))
    low, high = np.minimum.reduceat(at, first - first[0]), np.maximum.reduceat(at, first - first[0])
    more = np.where(high - low < LONE_M, LONE_M / 2, 0.0)
    low, high = np.maximum(low - more, 0.0), np.minimum(high + more, path.length)
    return [shapely.LineString(path.part(a, b)) for a, b in zip(low.tolist(), high.tolist(), strict=True)]
