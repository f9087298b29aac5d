"""Fill: lay a block's rows over its ground, cut each once, and set plants along what is left.

Rows run in the block's direction; the place of the rows and the phase of the plants along them are searched, so that
at least as many trees stand as an unsearched grid gives. Cells that are too steep (or that no water reaches) take
single positions out; everything else cuts the row lines themselves, exactly.

Row 1 is on the left hand of someone who looks along the block's bearing; position 1 is where they stand.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from setout.geometry import direction as ways
from setout.geometry.lattice import Lattice, Layout, Placed, place
from setout.geometry.rowcut import Cutters, capsules_of
from setout.nouns import Block, Bools, Finding, Floats, Pattern, Rows, Trees

Allowed = Callable[[Floats, Floats], Bools]
"""Tells for positions (x, y) [m in the frame] which of them may be planted."""

TRIED_ON_CELLS = 12
"""How many of the best layouts are counted again with single cells (slope) taken out."""


@dataclass(frozen=True, slots=True)
class Bed:
    """The ground that one block is laid over.

    Attributes
    ----------
    block : what is planted
    area : its polygon in the frame
    cutters : everything that cuts its rows, in the frame
    """

    block: Block
    area: BaseGeometry
    cutters: Cutters


@dataclass(frozen=True, slots=True)
class Filled:
    """Rows and trees of the whole site, and what there is to say about them."""

    rows: Rows
    trees: Trees
    findings: tuple[Finding, ...]


def fill(beds: Sequence[Bed], allowed: Allowed | None) -> Filled:
    """Plant every block, one after the other; each keeps its distance from the trees of those before it.

    Parameters
    ----------
    beds : Sequence of Bed
        The blocks with their ground, in the order of the plan file.
    allowed : callable or None
        Cell-wise limits; None for none.

    Returns
    -------
    Filled
        Trees in walking order: by block, row and position.
    """
    done: list[tuple[Block, Placed, float]] = []
    findings: list[Finding] = []
    for bed in beds:
        cutters = _apart(bed, done)
        placed, bearing = _one_way(*_lay(bed, cutters, allowed))
        done.append((bed.block, placed, bearing))
        findings += _findings(bed, placed)
    return Filled(*_number(done), tuple(findings))


def lattice_of(pattern: Pattern) -> Lattice:
    """Return the bare geometry of a pattern.

    Parameters
    ----------
    pattern : Pattern
        How a block is set out.

    Returns
    -------
    Lattice
        The same without the words [m].
    """
    return Lattice(
        pattern.step_m,
        pattern.row_distance_m,
        pattern.shift,
        pattern.alley_every,
        pattern.alley_width_m,
        pattern.free_rows,
    )


def apart_m(one: Block, other: Block) -> float:
    """Return the distance that trees of two blocks keep [m].

    Half the sum of the two blocks' own nearest distances, or half the sum of their mature spreads where that is more
    (the centre distance at which two full-grown canopies just touch).

    Parameters
    ----------
    one, other : Block
        The two blocks.

    Returns
    -------
    float
        Least distance between their trees [m].

    Examples
    --------
    >>> wide, close = Pattern("square", 9.0, 9.0), Pattern("square", 5.0, 5.0)
    >>> apart_m(Block("A", None, wide, 0.0, ()), Block("B", None, close, 0.0, ()))
    7.0
    """
    steps = (one.pattern.nearest_m + other.pattern.nearest_m) / 2
    spreads = (one.spread_m + other.spread_m) / 2
    return max(steps, spreads) if np.isfinite(spreads) else steps


def _apart(bed: Bed, done: Sequence[tuple[Block, Placed, float]]) -> Cutters:
    """Add the trees of earlier blocks that stand near to the cutters of a block."""
    discs = []
    for block, placed, bearing in done:
        if not len(placed.u):
            continue
        gap = apart_m(bed.block, block)
        x, y = _to_xy(placed, bearing)
        low_x, low_y, high_x, high_y = bed.area.bounds
        near = (x > low_x - gap) & (x < high_x + gap) & (y > low_y - gap) & (y < high_y + gap)
        trees = np.asarray(shapely.points(x[near], y[near]), object)
        shapely.prepare(bed.area)
        trees = trees[shapely.dwithin(bed.area, trees, gap)]
        discs.append(capsules_of(trees, gap))
    return replace(bed.cutters, capsules=np.vstack([bed.cutters.capsules, *discs])) if discs else bed.cutters


def _lay(bed: Bed, cutters: Cutters, allowed: Allowed | None) -> tuple[Placed, float]:
    """Return the trees of one block and the bearing of its rows."""
    lattice = lattice_of(bed.block.pattern)
    wanted = bed.block.direction
    if wanted == "best":
        layouts = ways.layouts_any_way(lattice, cutters, bed.area)
    else:
        bearing = ways.longest_side(bed.area) if wanted == "longest side" else float(wanted)
        layouts = ways.layouts_along(lattice, cutters, bearing)
    if allowed is None:
        return _placed(lattice, cutters, layouts[0]), layouts[0].bearing
    tries = max(1, min(TRIED_ON_CELLS, 150_000 // max(layouts[0].count, 1)))
    best: tuple[Placed, float] | None = None
    for layout in _unlike(layouts, tries):
        placed = _placed(lattice, cutters, layout)
        keep = allowed(*_to_xy(placed, layout.bearing))
        placed = Placed(placed.u[keep], placed.v[keep], placed.line[keep])
        if best is None or len(placed.u) > len(best[0].u):
            best = placed, layout.bearing
        if keep.all():
            break
    assert best is not None
    return best


def _one_way(placed: Placed, bearing: float) -> tuple[Placed, float]:
    """Return the same trees with the bearing of their rows in [0, 180)."""
    bearing %= 360.0
    if bearing < 180.0:
        return placed, bearing
    return Placed(-placed.u, -placed.v, -placed.line), bearing - 180.0


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


def _to_xy(placed: Placed, bearing: float) -> tuple[Floats, Floats]:
    angle = np.radians(bearing)
    sin, cos = np.sin(angle), np.cos(angle)
    return sin * placed.u - cos * placed.v, cos * placed.u + sin * placed.v


def _number(done: Sequence[tuple[Block, Placed, float]]) -> tuple[Rows, Trees]:
    """Number rows and positions from 1 and put everything in walking order."""
    trees, rows = [], []
    for index, (block, placed, bearing) in enumerate(done):
        order = np.lexsort((placed.u, -placed.v))
        placed = Placed(placed.u[order], placed.v[order], placed.line[order])
        size = len(placed.u)
        first = np.flatnonzero(np.append(True, placed.line[1:] != placed.line[:-1])[:size])
        count = np.diff(np.append(first, size))
        row = np.repeat(np.arange(1, len(first) + 1), count)
        position = np.arange(size) - np.repeat(first, count) + 1
        x, y = _to_xy(placed, bearing)
        trees.append((np.full(size, index), row, position, x, y))
        # a row of one tree is drawn a step long
        half = np.where(count == 1, block.pattern.step_m / 2, 0.0)
        last = first + count - 1
        starts = _to_xy(Placed(placed.u[first] - half, placed.v[first], first), bearing)
        ends = _to_xy(Placed(placed.u[last] + half, placed.v[last], last), bearing)
        rows.append(
            (
                np.full(len(first), index),
                np.arange(1, len(first) + 1),
                *starts,
                *ends,
                count,
                np.full(len(first), bearing),
            )
        )
    block_, row_, position_, x_, y_ = (np.concatenate(part) for part in zip(*trees, strict=True))
    r = [np.concatenate(part) for part in zip(*rows, strict=True)]
    return (
        Rows(r[0].astype(np.int64), r[1].astype(np.int64), r[2], r[3], r[4], r[5], r[6].astype(np.int64), r[7].astype(float)),
        Trees(
            block_.astype(np.int32), row_.astype(np.int32), position_.astype(np.int32), x_, y_,
            np.zeros(len(x_), np.int32),
        ),
    )  # fmt: skip


def _findings(bed: Bed, placed: Placed) -> list[Finding]:
    """Say so where nothing stands on a block's ground."""
    if len(placed.u):
        return []
    return [
        Finding(
            "block_empty", "stop", f"block {bed.block.name}: no tree fits on its ground", "0 trees", "at least 1",
            "give it more ground, a smaller step, or a shorter setback", geometry=bed.area,
        )
    ]  # fmt: skip
