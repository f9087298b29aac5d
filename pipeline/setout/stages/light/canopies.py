"""From plants and rows to bodies that throw shade, and to the points that light is looked for at."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from setout.geometry.places.growth import judged_in, plant_height_at, plant_spread_at
from setout.geometry.sky.skyline import Bodies, Floats, Ints, Views
from setout.model import Block, Bools, Plant, Trees
from setout.model.kinds import kinds_of

WALLS: Final = frozenset({"hedgerow", "trellis", "screen"})
"""Patterns whose plants grow into one wall along the row."""
TRELLIS_M: Final = 1.2
"""Width of the leaves on a trellis [m] (common practice: 3 to 5 ft)."""
PIECE_M: Final = 6.0
"""Longest piece of a wall with one height and one direction [m]."""
BEND: Final = 1.6
"""A distance of more than so many steps parts a wall."""
POINTS: Final = ((0.0, 0.0, 0.75), (0.5, 0.0, 0.5), (-0.5, 0.0, 0.5), (0.0, 0.5, 0.5), (0.0, -0.5, 0.5))
"""Points of a canopy: east and north of the trunk in radii, and height in heights."""
SIDE_HEIGHTS: Final = (0.1, 0.3, 0.5, 0.7, 0.9)
"""Heights of the points on both sides of a wall, in heights."""
OWN_SIDE: Final = 0.8
"""Points of partners come no nearer to the plane between them than this share of its distance from the trunk."""


@dataclass(frozen=True, slots=True)
class Canopies:
    """Sizes of every tree.

    Attributes
    ----------
    spread, height : as they stand [m]; NaN unknown
    wall : grows into one wall with its row
    half_width : of that wall [m]
    gone : has come out by then, or is not there at full size
    hedge : number that all trees of one hedge share; -1 for trees that stand alone
    """

    spread: Floats
    height: Floats
    wall: Bools
    half_width: Floats
    gone: Bools
    hedge: Ints

    @property
    def known(self) -> Bools:
        """Return which trees have both sizes."""
        return np.isfinite(self.spread) & np.isfinite(self.height)


def canopies_of(blocks: Sequence[Block], trees: Trees, year: int | None) -> Canopies:
    """Look up the size of every tree."""
    kinds = kinds_of(blocks, trees)

    def spread_of(plant: Plant) -> float:
        return plant.spread_m if year is None else plant_spread_at(replace(plant, remove_year=0), year)

    def height_of(plant: Plant) -> float:
        return plant.height_m if year is None else plant_height_at(replace(plant, remove_year=0), year)

    def is_gone(plant: Plant) -> bool:
        return plant.remove_year > 0 and (year is None or plant.remove_year <= year)

    spread, height = kinds.each(spread_of).astype(float), kinds.each(height_of).astype(float)
    kind = np.array([b.pattern.kind for b in blocks] or [""])[np.maximum(trees.block, 0)]
    step = np.array([b.pattern.step_m for b in blocks] or [0.0])[np.maximum(trees.block, 0)]
    habit = kinds.each(lambda plant: plant.habit)
    with np.errstate(invalid="ignore"):
        touching = (spread >= step) | (habit == "vine")
    wall = np.isin(kind, list(WALLS)) & touching & (trees.block >= 0) & np.isfinite(spread)
    half = np.where(kind == "trellis", np.minimum(spread, TRELLIS_M), spread) / 2
    return Canopies(spread, height, wall, half, kinds.each(is_gone).astype(bool), _hedges(blocks, trees, wall))


def stands_of(blocks: Sequence[Block], trees: Trees, year: int | None) -> Iterator[tuple[Canopies, Bools]]:
    """Yield the canopies among which trees are judged, and which trees they are."""
    full = canopies_of(blocks, trees, year)
    if year is not None:
        yield full, ~full.gone
        return
    last = kinds_of(blocks, trees).each(judged_in).astype(float)
    yield full, np.isinf(last)
    for one in np.unique(last[np.isfinite(last)]).tolist():
        then, mine = canopies_of(blocks, trees, int(one)), last == one
        spread, height = (np.where(mine | np.isfinite(by), by, at) for by, at in ((then.spread, full.spread), (then.height, full.height)))
        yield replace(then, spread=spread, height=height), mine


def _hedges(blocks: Sequence[Block], trees: Trees, wall: Bools) -> Ints:
    """Number the hedges: a row, or the rows of several lines that stand nearer to each other than to the next hedge."""
    out = np.full(len(trees), -1, np.int64)
    number = 0
    for index, block in enumerate(blocks):
        own = np.flatnonzero(wall & (trees.block == index))
        if not len(own):
            continue
        rows, place = np.unique(trees.row[own], return_inverse=True)
        group = np.arange(len(rows))
        if block.pattern.lines > 1:
            group = _lines_together(block, trees.x[own], trees.y[own], place.ravel(), len(rows))
        out[own] = number + group[place.ravel()]
        number += int(group.max()) + 1
    return out


def _lines_together(block: Block, x: Floats, y: Floats, row: Ints, rows: int) -> Ints:
    """Number the hedges of a block whose hedges have several lines, by where their rows lie across."""
    longest = int(np.argmax(np.bincount(row)))
    xs, ys = x[row == longest], y[row == longest]
    way = np.array([xs[-1] - xs[0], ys[-1] - ys[0]])
    way = way / max(float(np.hypot(*way)), 1e-9)
    count = np.bincount(row, minlength=rows)
    side = (np.bincount(row, x, rows) * way[1] - np.bincount(row, y, rows) * way[0]) / count
    order = np.argsort(side, kind="stable")
    pattern = block.pattern
    wide = np.inf if pattern.kind == "screen" else pattern.row_distance_m - (pattern.lines - 1) * pattern.line_distance_m
    new = np.diff(side[order]) > (pattern.line_distance_m + wide) / 2
    group = np.empty(rows, np.int64)
    group[order] = np.concatenate([[0], np.cumsum(new)])
    return group


def bodies_of(blocks: Sequence[Block], trees: Trees, canopies: Canopies, z: Floats) -> Bodies:
    """Return what the planting throws shade with: a crown for each tree, pieces of wall for each hedge."""
    there = canopies.known & ~canopies.gone
    alone = np.flatnonzero(there & ~canopies.wall)
    none = np.full(len(alone), np.nan)
    crowns = Bodies(
        trees.x[alone],
        trees.y[alone],
        z[alone],
        z[alone] + canopies.height[alone],
        canopies.spread[alone] / 2,
        none,
        none,
        none,
        alone,
        np.full(len(alone), -1),
    )
    return together(crowns, _walls(blocks, trees, canopies, z, np.flatnonzero(there & canopies.wall)))


def together(*parts: Bodies) -> Bodies:
    """Return several bodies one after the other."""
    return Bodies(*(np.concatenate([getattr(part, name) for part in parts]) for name in Bodies.__slots__))


def _walls(blocks: Sequence[Block], trees: Trees, canopies: Canopies, z: Floats, own: Ints) -> Bodies:
    """Cut the rows of hedges into pieces with one height and one direction."""
    empty, whole = np.empty(0), np.empty(0, np.int64)
    if not len(own):
        return Bodies(*(empty,) * 8, whole, whole)
    step = np.array([b.pattern.step_m for b in blocks])[trees.block[own]]
    most = np.maximum(np.floor(PIECE_M / np.maximum(step, 1e-6)), 1).astype(np.int64)
    far = np.hypot(np.diff(trees.x[own]), np.diff(trees.y[own])) > BEND * step[1:]
    other = (np.diff(trees.block[own]) != 0) | (np.diff(trees.row[own]) != 0) | (np.diff(own) != 1)
    run = np.concatenate([[0], np.cumsum(far | other)])
    first_of_run = np.searchsorted(run, run)
    place = np.arange(len(own)) - first_of_run
    piece = np.cumsum(np.concatenate([[True], (np.diff(run) != 0) | (place[1:] % most[1:] == 0)])) - 1
    begin = np.searchsorted(piece, np.arange(piece[-1] + 1))
    end = np.append(begin[1:], len(own)) - 1
    count = end - begin + 1
    # a single plant takes its direction from its neighbours in the run
    before, behind = np.maximum(begin - 1, first_of_run[begin]), np.minimum(end + 1, len(own) - 1)
    behind = np.where(run[behind] == run[end], behind, end)
    x, y = trees.x[own], trees.y[own]
    axis = np.arctan2(x[behind] - x[before], y[behind] - y[before])

    def mean(values: Floats) -> Floats:
        return np.add.reduceat(values, begin) / count

    long = np.hypot(x[end] - x[begin], y[end] - y[begin]) + step[begin]
    foot, tall = mean(z[own]), mean(canopies.height[own])
    return Bodies(
        mean(x),
        mean(y),
        foot,
        foot + tall,
        np.full(len(begin), np.nan),
        long / 2,
        mean(canopies.half_width[own]),
        axis,
        np.full(len(begin), -1),
        canopies.hedge[own[begin]],
    )


def views_of(trees: Trees, canopies: Canopies, z: Floats) -> tuple[Views, Ints]:
    """Return the points of every tree whose size is known."""
    own = np.flatnonzero(canopies.known & (canopies.height > 0))
    radius = np.where(canopies.wall, canopies.half_width, canopies.spread / 2)[own]
    east, north, up = (np.array(column) for column in zip(*POINTS, strict=True))
    dx, dy = radius[:, None] * east, radius[:, None] * north
    if trees.partner.size:
        other = trees.partner[own]
        paired = np.flatnonzero((other >= 0) & ~canopies.wall[own])
        towards = np.column_stack([trees.x[other] - trees.x[own], trees.y[other] - trees.y[own]])[paired]
        apart = np.maximum(np.hypot(*towards.T), 1e-9)
        ux, uy = (np.round(part / apart, 6)[:, None] for part in towards.T)
        # the dividing plane of two partners lies by their radii; unknown ones count as equal
        share = radius[paired] / (radius[paired] + np.nan_to_num(canopies.spread[other[paired]] / 2, nan=1.0))
        share = np.where(np.isfinite(canopies.spread[other[paired]]), share, 0.5)
        over = dx[paired] * ux + dy[paired] * uy - OWN_SIDE * (share * apart)[:, None]
        over = np.round(np.maximum(over, 0.0), 6)
        dx[paired] -= over * ux
        dy[paired] -= over * uy
    height = z[own, None] + canopies.height[own, None] * up
    views = Views(trees.x[own], trees.y[own], z[own], own, radius, canopies.hedge[own], dx, dy, height)
    return _with_sides(views, trees, canopies), own


def _with_sides(views: Views, trees: Trees, canopies: Canopies) -> Views:
    """Put the points of walls on their two sides; each side sees its own half of the sky."""
    wall = canopies.wall[views.tree]
    if not wall.any():
        return views
    many = 2 * len(SIDE_HEIGHTS)
    spare = np.full((len(wall), many - views.z.shape[1]), np.nan)
    dx, dy, z = (np.hstack([part, spare]) for part in (views.dx, views.dy, views.z))
    facing = np.full(z.shape, np.nan)
    # sides that differ by less than a degree are looked at together
    bearing = np.round(np.degrees(_bearing_of(trees, views.tree[wall])))[:, None] % 180.0
    facing[wall] = np.hstack([bearing + side for side in (90.0, 270.0) for _ in SIDE_HEIGHTS])
    angle = np.radians(facing[wall])
    dx[wall], dy[wall] = (views.radius[wall, None] * way(angle) for way in (np.sin, np.cos))
    tall = canopies.height[views.tree[wall], None]
    z[wall] = views.foot[wall, None] + tall * np.tile(SIDE_HEIGHTS, 2)
    return replace(views, dx=dx, dy=dy, z=z, facing=facing)


def _bearing_of(trees: Trees, which: Ints) -> Floats:
    """Return the bearing of the row at some trees, from the tree before to the tree behind [rad]."""
    every = np.arange(len(trees))
    before, behind = np.maximum(every - 1, 0), np.minimum(every + 1, len(trees) - 1)
    for step in (before, behind):
        other = (trees.block[step] != trees.block) | (trees.row[step] != trees.row)
        step[other] = every[other]
    dx, dy = trees.x[behind] - trees.x[before], trees.y[behind] - trees.y[before]
    return np.asarray(np.arctan2(dx, dy)[which])
