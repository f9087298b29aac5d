"""What stands at the positions of a row: single trees, pairs, beds with their plants, vines with their posts."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import shapely

from setout.model import Bools, Floats, Geometries, Ints, Pair, Pattern
from setout.stages.fill.straight import Row


def no_geometry() -> Geometries:
    """Return an empty array of geometries."""
    return np.empty(0, object)


@dataclass(frozen=True, slots=True)
class Laid:
    """One block as planted.

    Attributes
    ----------
    x, y : trees [m in the frame], in walking order
    row, position : numbers from 1
    piece : number of the piece of row, in walking order: another one wherever ground between two trees is not planted
    partner : index of the other tree of the pair, counted in this block; -1 for none
    bearing : of its rows [deg]; NaN where they are not straight
    row_line : how rows that are not straight run, by row number, at least from their first tree to their last
    row_path : the same lines with what is kept free at their ends for posts and anchors
    beds, bed_row : beds and the numbers of their rows
    post_x, post_y, post_row, post_end : posts, the numbers of their rows, and which are end posts
    wire_m : wire along its rows [m]
    """

    x: Floats
    y: Floats
    row: Ints
    position: Ints
    piece: Ints
    partner: Ints
    bearing: float
    row_line: dict[int, shapely.LineString] = field(default_factory=dict)
    beds: Geometries = field(default_factory=no_geometry)
    bed_row: Ints = field(default_factory=lambda: np.empty(0, np.int64))
    post_x: Floats = field(default_factory=lambda: np.empty(0))
    post_y: Floats = field(default_factory=lambda: np.empty(0))
    post_row: Ints = field(default_factory=lambda: np.empty(0, np.int64))
    post_end: Bools = field(default_factory=lambda: np.empty(0, bool))
    wire_m: float = 0.0
    row_path: dict[int, shapely.LineString] = field(default_factory=dict)


def planted(pattern: Pattern, rows: Row) -> Laid:
    """Set what a pattern has at every position of its straight rows."""
    if pattern.bed is not None:
        return _beds(pattern, rows)
    x, y = rows.to_xy(rows.u, rows.v)
    alone = np.full(len(x), -1)
    laid = Laid(x, y, rows.row, rows.position, rows.piece, alone, rows.bearing)
    if pattern.pair is not None:
        return paired(laid, pattern.pair)
    return laid


def paired(laid: Laid, pair: Pair) -> Laid:
    """Set two partners at every position, half their distance to both sides of it along the pair's axis."""
    angle = np.radians(pair.axis_deg)
    dx, dy = np.sin(angle) * pair.distance_m / 2, np.cos(angle) * pair.distance_m / 2
    x = np.column_stack([laid.x + dx, laid.x - dx]).ravel()
    y = np.column_stack([laid.y + dy, laid.y - dy]).ravel()
    size = len(laid.x)
    partner = np.arange(2 * size) ^ 1
    row = np.repeat(laid.row, 2)
    position = np.column_stack([2 * laid.position - 1, 2 * laid.position]).ravel()
    return Laid(x, y, row, position, np.repeat(laid.piece, 2), partner, laid.bearing, laid.row_line)


def _beds(pattern: Pattern, rows: Row) -> Laid:
    """Draw a bed at every position and set its plants: lines of them, evenly from end to end."""
    bed = pattern.bed
    assert bed is not None
    per_line = max(int(np.floor(bed.length_m / pattern.step_m + 1e-9)), 1)
    along = (np.arange(per_line) - (per_line - 1) / 2) * pattern.step_m
    across = (np.arange(pattern.lines) - (pattern.lines - 1) / 2) * pattern.line_distance_m
    # plants are counted line by line inside a bed, the left line first
    off_u, off_v = np.tile(along, pattern.lines), np.repeat(across[::-1], per_line)
    u = (rows.u[:, None] + off_u).ravel()
    v = (rows.v[:, None] + off_v).ravel()
    x, y = rows.to_xy(u, v)
    each = per_line * pattern.lines
    row = np.repeat(rows.row, each)
    position = ((rows.position[:, None] - 1) * each + np.arange(1, each + 1)).ravel()
    half_l, half_w = bed.length_m / 2, bed.width_m / 2
    corner_u = rows.u[:, None] + np.array([-half_l, half_l, half_l, -half_l, -half_l])
    corner_v = rows.v[:, None] + np.array([-half_w, -half_w, half_w, half_w, -half_w])
    ring = np.stack(rows.to_xy(corner_u, corner_v), axis=-1)
    beds = np.asarray(shapely.polygons(ring), object) if len(ring) else no_geometry()
    piece = np.repeat(rows.piece, each)
    return Laid(x, y, row, position, piece, np.full(len(x), -1), rows.bearing, {}, beds, rows.row)
