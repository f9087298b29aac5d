"""What a direction does: the same block with its rows north-south, east-west and as planned."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from setout.geometry.sky.skyline import Bodies, Views
from setout.geometry.sky.sun import SunPath
from setout.model import Block, DirectionLight, Floats, Pair, Rows, SideLight, Trees
from setout.model.light import Part
from setout.stages.light.canopies import bodies_of, canopies_of, views_of
from setout.stages.light.hours import hours_on

ROUND: Final = 4
"""Rows and steps of the block that stand round its middle on every side, at least."""
REACH: Final = 6.0
"""The block is this many heights wide on every side of its middle."""
MOST_ROUND: Final = 40
NEAR_DEG: Final = 5.0
"""Bearings closer than this are the same direction."""
FACE_M: Final = 0.02
"""Sides of a hedge are looked at from this far in front of it [m]."""
Turned = Literal["rows", "pairs", "hedges"]


def directions(blocks: Sequence[Block], rows: Rows, path: SunPath, year: int | None = None) -> tuple[DirectionLight, ...]:
    """Return what north-south does against east-west to every block whose size is known."""
    out: list[DirectionLight] = []
    for index, block in enumerate(blocks):
        if block.pattern.kind in ("points", "screen") or not (np.isfinite(block.spread_m) and np.isfinite(block.height_m)):
            continue
        own = rows.bearing_deg[rows.block == index]
        if not len(own):
            continue
        pair = block.pattern.pair
        planned = (float(np.median(own)) if pair is None else pair.axis_deg) % 180.0
        for bearing in _bearings(planned):
            kind, sides, whole = sides_of(block, bearing, path, year)
            if sides:
                out.append(DirectionLight(index, kind, bearing, _apart(bearing, planned) < NEAR_DEG, sides, whole))
    return tuple(out)


def _bearings(planned: float) -> list[float]:
    """Return north-south, east-west, and the planned bearing where it is neither."""
    usual = [0.0, 90.0]
    return usual if min(_apart(planned, b) for b in usual) < NEAR_DEG else [*usual, planned]


def _apart(one: float, two: float) -> float:
    return abs((one - two + 90.0) % 180.0 - 90.0)


def sides_of(block: Block, bearing: float, path: SunPath, year: int | None) -> tuple[Turned, tuple[SideLight, ...], float]:
    """Return what one direction gives to the middle of a block."""
    pair = block.pattern.pair
    turned = block
    if pair is not None:
        turned = replace(block, pattern=replace(block.pattern, pair=Pair(pair.distance_m, bearing)))
        trees = patch(turned, block.direction if isinstance(block.direction, float) else 0.0)
    else:
        trees = patch(block, bearing)
    middle = int(np.argmin(np.round(np.hypot(trees.x, trees.y), 6)))
    trees = replace(trees, plant=_widest(block, trees, middle))
    canopies = canopies_of([turned], trees, year)
    flat = np.zeros(len(trees))
    bodies = bodies_of([turned], trees, canopies, flat)
    views, own = views_of(trees, canopies, flat)
    if middle not in own:
        return "rows", (), float("nan")
    place_of = {int(k): place for place, k in enumerate(own)}
    if canopies.wall[middle]:
        faces = _faces(trees, canopies.height[middle], canopies.half_width[middle], bearing, bodies, path)
        whole = _light("hedge", views.take([place_of[middle]]), bodies, path)
        return "hedges", faces, whole.am_h + whole.pm_h
    if pair is None:
        return "rows", (_light("tree", views.take([place_of[middle]]), bodies, path),), float("nan")
    both = (middle, int(trees.partner[middle]))
    ahead = sorted(both, key=lambda k: -(trees.x[k] * np.sin(np.radians(bearing)) + trees.y[k] * np.cos(np.radians(bearing))))
    bearings = (bearing, bearing + 180.0)
    partners = tuple(_light("partner", views.take([place_of[k]]), bodies, path, way) for way, k in zip(bearings, ahead, strict=True))
    return "pairs", partners, float("nan")


def _widest(block: Block, trees: Trees, middle: int) -> NDArray[np.int32]:
    """Return what grows at every position of a patch: the widest plant that stays, the widest filler at every second place."""
    by_width = sorted(range(len(block.plants)), key=lambda k: -np.nan_to_num(block.plants[k].spread_m))
    stays = [k for k in by_width if not block.plants[k].remove_year]
    leaves = [k for k in by_width if block.plants[k].remove_year]
    out = np.full(len(trees), (stays or leaves)[0], np.int32)
    if stays and leaves:
        row, place = trees.row - trees.row[middle], trees.position - trees.position[middle]
        shifted = 2 if block.pattern.shift else 1
        between = row if block.pattern.kind == "quincunx" else place + row // shifted
        out[between % 2 == 1] = leaves[0]
    return out


def _light(part: Part, views: Views, bodies: Bodies, path: SunPath, bearing: float = np.nan) -> SideLight:
    morning, afternoon = hours_on(views, bodies, path)
    return SideLight(part, float(morning.mean()), float(afternoon.mean()), bearing % 360.0)


def _faces(trees: Trees, height: float, half_width: float, bearing: float, bodies: Bodies, path: SunPath) -> tuple[SideLight, ...]:
    """Return the light of both sides of the middle hedge, at half its height; the hedge itself is in the way."""
    out = []
    for side in (bearing - 90.0, bearing + 90.0):
        reach = half_width + FACE_M
        middle = int(np.argmin(np.round(np.hypot(trees.x, trees.y), 6)))
        x = trees.x[[middle]] + reach * np.sin(np.radians(side))
        y = trees.y[[middle]] + reach * np.cos(np.radians(side))
        none, zero = np.array([-1]), np.zeros((1, 1))
        views = Views(x, y, np.zeros(1), none, np.zeros(1), none, zero, zero, np.full((1, 1), height / 2))
        out.append(_light("side", views, bodies, path, side))
    return tuple(out)


def patch(block: Block, bearing: float) -> Trees:
    """Return a piece of a block's pattern on level ground, with a tree or pair at its middle."""
    pattern = block.pattern
    height = block.height_m if np.isfinite(block.height_m) else 0.0
    step = pattern.step_m
    if pattern.bed is not None:
        step = pattern.bed.length_m + pattern.bed.gap_m if pattern.step_m >= pattern.bed.length_m else pattern.step_m
    many = [int(np.clip(np.ceil(REACH * height / max(d, 0.1)), ROUND, MOST_ROUND)) for d in (step, pattern.row_distance_m)]
    place, row = (k.ravel() for k in np.meshgrid(np.arange(-many[0], many[0] + 1), np.arange(-many[1], many[1] + 1)))
    along = ((place + (row % 2) * pattern.shift) * step).astype(float)
    across = (row * pattern.row_distance_m).astype(float)
    x, y = _turn(along, across, bearing)
    number = np.arange(len(x))
    partner = np.full(len(x), -1)
    if pattern.pair is not None:
        far, axis = pattern.pair.distance_m / 2, np.radians(pattern.pair.axis_deg)
        east, north = far * np.sin(axis), far * np.cos(axis)
        x = np.column_stack([x + east, x - east]).ravel()
        y = np.column_stack([y + north, y - north]).ravel()
        row, place = np.repeat(row, 2), np.arange(2 * len(place))
        number = np.arange(len(x))
        partner = number ^ 1
    return Trees(
        np.zeros(len(x), np.int32),
        (row - row.min() + 1).astype(np.int32),
        (place - place.min() + 1).astype(np.int32),
        x,
        y,
        np.zeros(len(x), np.int32),
        partner.astype(np.int32),
    )


def _turn(along: Floats, across: Floats, bearing: float) -> tuple[Floats, Floats]:
    angle = np.radians(bearing)
    return along * np.sin(angle) + across * np.cos(angle), along * np.cos(angle) - across * np.sin(angle)
