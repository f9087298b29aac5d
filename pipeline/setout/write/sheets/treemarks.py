"""Trees on a tile: marks at their places, numbers beside them, names of rows at the rows' ends."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from setout.draw import palette
from setout.draw.pen import CAP, Ink, Pen, Type
from setout.words import plan
from setout.words.systems import FILLER
from setout.write.sheets.layout import turned
from setout.write.sheets.places import Places
from setout.write.sheets.tiles import Tile

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from setout.model import Floats, Ints, Planting, Rows

DOT: Final = 1.1
"""Diameter of a tree's mark [mm]; its middle is where the stake goes."""
NUMBER: Final = Type(1.94)
"""Numbers of trees: 5.5 points."""
ROW_NAME: Final = Type(2.3, bold=True, halo=0.3)
"""Names of rows: 6.5 points."""
NAME_GAPS: Final = (DOT / 2 + 1.7, DOT / 2 + 3.0, DOT / 2 + 4.3)
"""From the last tree of a row to the row's name [mm]: the first that is free."""
ELSEWHERE: Final = "#b9bdb5"
DARK: Final = 0.52
"""Lightness that no mark on paper exceeds, 0 to 1 (weights of ITU-R BT.601)."""
FORMS: Final = (
    None,
    ((-1, -1), (1, -1), (1, 1), (-1, 1)),
    ((-1.25, -0.7), (1.25, -0.7), (0, 1.4)),
    ((-1.3, 0), (0, -1.3), (1.3, 0), (0, 1.3)),
    (
        (-1.15, -0.35),
        (-0.35, -0.35),
        (-0.35, -1.15),
        (0.35, -1.15),
        (0.35, -0.35),
        (1.15, -0.35),
        (1.15, 0.35),
        (0.35, 0.35),
        (0.35, 1.15),
        (-0.35, 1.15),
        (-0.35, 0.35),
        (-1.15, 0.35),
    ),
    ((-1.25, 0.7), (1.25, 0.7), (0, -1.4)),
    ((-1.2, -1), (1.2, 1), (1.2, -1), (-1.2, 1)),
    ((-1.2, -0.5), (0, -1.25), (1.2, -0.5), (1.2, 0.5), (0, 1.25), (-1.2, 0.5)),
)
"""Shapes of marks, corners in radii; None is a round dot. Each comes filled and hollow: sixteen plants differ by shape."""
EVERY: Final = (1, 2, 5, 10, 20, 50)
ENOUGH: Final = 0.97
"""Share of the numbers that has to find room; else only every second, fifth ... is written."""


@dataclass(frozen=True, slots=True)
class Marks:
    """The look of every plant: colour and shape by its place in :func:`wording.plant_kinds`."""

    code: Ints
    labels: tuple[str, ...]
    fillers: frozenset[int]

    @classmethod
    def of(cls, planting: Planting) -> Marks:
        """Return the looks of a plan's plants."""
        kinds = plan.plant_kinds(planting.site)
        place = {kind: n for n, kind in enumerate(kinds)}
        trees, code = planting.trees, np.zeros(len(planting.trees), np.int64)
        for i, block in enumerate(planting.site.blocks):
            for j, plant in enumerate(block.plants):
                code[(trees.block == i) & (trees.plant == j)] = place[plant.name, plant.variety, plant.role]
        fillers = frozenset(n for n, kind in enumerate(kinds) if kind[2] == FILLER)
        labels = plan.short_labels(kinds) or ["tree"]
        roles = [kind[2] for kind in kinds] or [""]
        return cls(code, tuple(f"{a} ({r})" if r else a for a, r in zip(labels, roles, strict=True)), fillers)

    def stamp(self, pen: Pen, code: int, xy: Floats, size: float = DOT) -> None:
        """Draw marks of one plant: colour and shape together, so that a grey print tells them apart."""
        colour, r = on_paper(palette.tree_colour(code)), size / 2
        corners = FORMS[code % 4 + 4 * (code // 8 % 2)]
        hollow = code in self.fillers or code // 4 % 2 == 1
        if corners is None:
            pen.dots(xy, size, colour)
            if hollow:
                pen.dots(xy, size * 0.55, "#ffffff")
        else:
            shape = [(x * r, y * r) for x, y in corners]
            pen.stamps(xy, shape, Ink(colour, 0.24, "#ffffff") if hollow else Ink(fill=colour))


def on_paper(colour: str) -> str:
    """Return a colour dark enough to be seen on white paper, of the same hue.

    >>> on_paper("#0f4b9f"), on_paper("#aed59c")
    ('#0f4b9f', '#76906a')
    """
    parts = [int(colour[i : i + 2], 16) for i in (1, 3, 5)]
    light = (0.299 * parts[0] + 0.587 * parts[1] + 0.114 * parts[2]) / 255
    keep = min(1.0, DARK / light)
    return "#" + "".join(f"{int(part * keep):02x}" for part in parts)


@dataclass(frozen=True, slots=True)
class Shown:
    """What of the labels found room on a tile.

    Attributes
    ----------
    every : by name of the block, of how many trees one has its number
    numbers_left, names_left : numbers and row names that found no room
    """

    every: dict[str, int]
    numbers_left: int
    names_left: int


def draw_elsewhere(pen: Pen, tile: Tile, uv: Floats, seen: Ints) -> None:
    """Draw pale marks for trees in the overlap, which are another sheet's own: of those that the tile's view shows."""
    others = np.setdiff1d(seen, tile.trees, assume_unique=True)
    pen.dots(tile.view.page(uv[others]), DOT * 0.8, ELSEWHERE)


def draw_trees(pen: Pen, marks: Marks, tile: Tile, page: Floats) -> None:
    """Draw the marks of a tile's own trees; ``page`` are their places on paper."""
    codes = marks.code[tile.trees]
    for code in np.unique(codes):
        marks.stamp(pen, int(code), page[codes == code])


def draw_labels(pen: Pen, planting: Planting, tile: Tile, page: Floats, places: Places, heavy: BaseGeometry | None = None) -> Shown:
    """Write row names and tree numbers where there is room."""
    trees, mine = planting.trees, tile.trees
    block, row, position = trees.block[mine], trees.row[mine], trees.position[mine]
    places.take_points(page, DOT / 2 + 0.05)
    order = np.lexsort((position, row, block))
    cuts = np.flatnonzero((np.diff(block[order]) != 0) | (np.diff(row[order]) != 0)) + 1
    runs = np.split(order, cuts)
    steps = _directions(planting, tile, runs, page)
    names_left, ends = 0, np.zeros(len(mine), bool)
    for run, step in zip(runs, steps, strict=True):
        name = str(planting.trees.ids[mine[run[0]]]).rsplit("-", 1)[0]
        names_left += _row_name(pen, places, page[run[[0, -1]]], step, name)
        ends[run[[0, -1]]] = True
    side = np.empty((len(mine), 2))
    for run, step in zip(runs, steps, strict=True):
        side[run] = step
    every, left = {}, 0
    for b in np.unique(block):
        own = order[block[order] == b]
        chosen, k, missed = _numbers(places, page, position, side, ends, own)
        _write(pen, chosen, heavy)
        every[planting.site.blocks[int(b)].name] = k
        left += missed
    return Shown(every, left, names_left)


def _directions(planting: Planting, tile: Tile, runs: list[Ints], page: Floats) -> list[NDArray[np.float64]]:
    """Return the way each row runs on paper, as a unit vector; of single trees, the way their row runs."""
    out = []
    for run in runs:
        step = page[run[-1]] - page[run[0]]
        length = math.hypot(*step)
        if length < 0.5:
            tree = tile.trees[run[0]]
            bearing = _bearing(planting.rows, int(planting.trees.block[tree]), int(planting.trees.row[tree]))
            step, length = turned(np.array([[math.sin(bearing), math.cos(bearing)]]), tile.view.turn)[0], 1.0
        out.append(np.asarray(step / length, float))
    return out


def _bearing(rows: Rows, block: int, row: int) -> float:
    """Return the bearing of a row [rad], rows being in walking order; 0 where it has none."""
    first, last = np.searchsorted(rows.block, [block, block + 1])
    at = first + int(np.searchsorted(rows.row[first:last], row))
    known = at < last and rows.row[at] == row and math.isfinite(rows.bearing_deg[at])
    return math.radians(float(rows.bearing_deg[at])) if known else 0.0


def _row_name(pen: Pen, places: Places, ends: Floats, step: Floats, name: str) -> int:
    """Write a row's name along it beyond its ends; return 1 where neither end has room."""
    angle = math.degrees(math.atan2(step[1], step[0]))
    upright = angle - 180 if angle > 90.01 else angle + 180 if angle < -89.99 else angle
    name = pen.cut(name, ROW_NAME.size, 30, bold=True)
    wide, tall = pen.width_of(name, ROW_NAME.size, bold=True), CAP * ROW_NAME.size
    turn = math.radians(upright)
    along, across = np.array([math.cos(turn), math.sin(turn)]), np.array([-math.sin(turn), math.cos(turn)])
    written = 0
    for end, way in ((ends[0], -step), (ends[1], step)):
        ahead = float(way @ along) > 0
        # an end post may stand where the name would: then farther out
        for gap in NAME_GAPS:
            start = end + along * (gap if ahead else -gap - wide) - across * tall / 2
            corner = start - along * 0.25 - across * 0.2
            if places.take_turned(float(corner[0]), float(corner[1]), wide + 0.5, tall + 0.4, upright):
                kind = Type(ROW_NAME.size, bold=True, angle=upright, halo=ROW_NAME.halo)
                pen.text(float(start[0]), float(start[1]), name, kind)
                written += 1
                break
    return 0 if written else 1


def _numbers(
    places: Places, page: Floats, position: NDArray[np.int32], side: Floats, ends: NDArray[np.bool_], own: Ints
) -> tuple[list[tuple[float, float, str]], int, int]:
    """Find room for the numbers of one block's trees: of all of them, or of every second, fifth ...

    Row ends come first, then round numbers, then the rest, so that what is left out is what can best be counted to.
    """
    rank = np.where(ends[own], 0, np.where(position[own] % 10 == 0, 1, np.where(position[own] % 5 == 0, 2, 3)))
    own = own[np.argsort(rank, kind="stable")]
    result: tuple[list[tuple[float, float, str]], int, int] = ([], 1, len(own))
    for k, turn in ((k, turn) for k in EVERY for turn in (False, True)):
        asked = own[(position[own] % k == 0) | ends[own]] if k > 1 else own
        trial = places.copy()
        # beside the row, or where rows are close, in the row between trees
        ways = side[:, ::-1] if turn else side
        spots = (_spot(trial, page[n], ways[n], str(position[n])) for n in asked.tolist())
        chosen = [spot for spot in spots if spot is not None]
        result = chosen, k, len(asked) - len(chosen)
        if len(chosen) >= ENOUGH * len(asked) or (k == EVERY[-1] and turn):
            places.adopt(trial)
            break
    return result


def _write(pen: Pen, chosen: list[tuple[float, float, str]], heavy: BaseGeometry | None) -> None:
    """Write numbers; those on a heavy line with white round them."""
    if heavy is None or heavy.is_empty or not chosen:
        pen.texts(chosen, NUMBER)
        return
    spots = np.array([(x + 1.0, y + 0.7) for x, y, _ in chosen])
    crossed = np.asarray(shapely.dwithin(shapely.points(spots), heavy, 1.6), bool)
    pen.texts([item for item, on in zip(chosen, crossed, strict=True) if not on], NUMBER)
    for (x, y, words), on in zip(chosen, crossed, strict=True):
        if on:
            pen.text(x, y, words, replace(NUMBER, halo=0.45))


WIDTHS: Final = 0.53
"""Width of the widest figure over the size of the font."""


def _spot(places: Places, at: Floats, step: Floats, words: str) -> tuple[float, float, str] | None:
    """Return where a number stands beside a tree, across its row; None without room."""
    wide, tall, gap = len(words) * WIDTHS * NUMBER.size, CAP * NUMBER.size, DOT / 2 + 0.4
    right, above = (gap, -tall / 2), (-wide / 2, gap)
    left, below = (-gap - wide, -tall / 2), (-wide / 2, -gap - tall)
    steep = abs(step[1]) > abs(step[0])
    for dx, dy in (right, left) if steep else (above, below):
        x, y = float(at[0]) + dx, float(at[1]) + dy
        if places.take(x - 0.1, y - 0.1, wide + 0.2, tall + 0.2):
            return x, y, words
    return None
