"""How finished contour rows fall and how far apart they lie, measured on their trees."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely

from setout.geometry.lines.pathcut import Edges
from setout.model import Block, Finding, Floats
from setout.stages.curve.common import Line

REACH = 2.2
"""A neighbouring row is looked for within so many row distances; further off there is none."""


def gentle_parts(row: Line, z: Floats, lengths: tuple[float, float], most: float) -> list[tuple[int, int]]:
    """Cut a row where its trees show more fall than allowed.

    >>> from setout.geometry.lines.curves import path_of
    >>> x = 5.0 * np.arange(9)
    >>> row = Line(path_of(np.array([[0, 0], [40, 0]])), x, x, 0 * x)
    >>> gentle_parts(row, np.where(x < 18, 0.0, 1.0), (20.0, 8.0), 0.04)
    [(0, 3), (4, 9)]
    """
    x, y = row.x, row.y
    run = np.append(0.0, np.cumsum(np.hypot(np.diff(x), np.diff(y))))
    todo: list[tuple[int, int]] = [(0, len(x))]
    done: list[tuple[int, int]] = []
    while todo:
        a, b = todo.pop()
        if b - a < 2:
            done += [(a, b)] if b > a else []
            continue
        worst = _worst(run[a:b], z[a:b], lengths[0], most)
        if worst is None:
            done.append((a, b))
            continue
        first = last = a + worst
        while first > a and last < b - 1 and np.hypot(x[last + 1] - x[first - 1], y[last + 1] - y[first - 1]) < lengths[1] - 1e-6:
            first, last = (first - 1, last) if run[a + worst] - run[first] <= run[last] - run[a + worst] else (first, last + 1)
        todo += [(a, first), (last + 1, b)]
    return sorted(done)


def _worst(run: Floats, z: Floats, stretch: float, most: float) -> int | None:
    """Return the tree at the sharpest change within the stretch that falls most, if that is too much."""
    blank = np.flatnonzero(~np.isfinite(z))
    if len(blank):
        return int(blank[0])
    if float(z.max() - z.min()) <= most * min(stretch, float(run[-1] - run[0])):
        return None
    length = run[None, :] - run[:, None]
    counts = length >= min(stretch, float(run[-1] - run[0])) - 1e-9
    over = np.where(counts, np.abs(z[None, :] - z[:, None]) / np.where(counts, length, 1.0), 0.0)
    ends = divmod(int(np.argmax(over)), len(run))
    if over[ends] <= most:
        return None
    i, j = sorted(ends)
    leg = i + int(np.argmax(np.abs(np.diff(z[i : j + 1])) / np.diff(run[i : j + 1])))
    middle = (run[i] + run[j]) / 2
    return leg if abs(run[leg] - middle) <= abs(run[leg + 1] - middle) else leg + 1


def doubts(block: Block, planted: Sequence[tuple[Line, Floats]]) -> tuple[Finding, ...]:
    """Say what finished contour rows do not keep to."""
    pattern, found = block.pattern, []
    least, rows = pattern.fall[0], [row for row, _ in planted]
    if least > 0:
        level = [row for row, z in planted if mean_fall(row, z) < least]
        if level:
            lowest = min(mean_fall(row, z) for row, z in planted)
            found.append(
                Finding(
                    "row_fall_small",
                    "warn",
                    figures={"block": block.name, "n": len(level), "of": len(rows), "lowest": lowest, "least": least},
                    geometry=shapely.multilinestrings([shapely.LineString(row.drawn(pattern.step_m)) for row in level]),
                )
            )
    found += _wide(block, rows)
    if pattern.alley_every:
        found.append(Finding("alley_left_out", "warn", figures={"block": block.name, "every": pattern.alley_every}))
    return tuple(found)


def mean_fall(row: Line, z: Floats) -> float:
    """Return the mean fall of a row."""
    return float(abs(z[-1] - z[0]) / max(row.s[-1] - row.s[0], 1e-9))


def _wide(block: Block, rows: Sequence[Line]) -> list[Finding]:
    """Say how much of the rows has its neighbour further away than the greatest row distance."""
    pattern = block.pattern
    if not np.isfinite(pattern.row_distance_max_m) or len(rows) < 2:
        return []
    gaps = row_gaps(rows, max(REACH * pattern.row_distance_m, 1.1 * pattern.row_distance_max_m))
    wide = gaps > pattern.row_distance_max_m * 1.001
    if not wide.any():
        return []
    figures: dict[str, Any] = {
        "block": block.name,
        "share": float(wide.mean()),
        "widest_m": float(gaps.max()),
        "greatest_m": pattern.row_distance_max_m,
    }
    return [Finding("rows_wide", "note", figures=figures)]


def row_gaps(rows: Sequence[Line], reach: float) -> Floats:
    """Measure the distance from every tree, square to its row, to the next row on either side."""
    many = [row for row in rows if len(row.s) > 1]
    trees = [np.column_stack([row.x, row.y]) for row in many]
    sizes = [len(tree) for tree in trees]
    own = np.repeat(np.arange(len(many)), sizes)
    way = np.concatenate([np.gradient(tree, axis=0) for tree in trees])
    way /= np.hypot(*way.T)[:, None]
    tree = np.concatenate(trees)
    square = reach * np.column_stack([-way[:, 1], way[:, 0]])
    within = own[1:] == own[:-1]
    a, leg = tree[:-1][within], (tree[1:] - tree[:-1])[within]
    # a hair longer than the row, so that what stands square to its very end still meets it
    edges, owner = Edges(a - 0.01 * leg, a + 1.01 * leg), own[:-1][within]
    gaps = []
    for side in (1.0, -1.0):
        ray, edge, share = edges.crossings(tree, tree + side * square)
        other = own[ray] != owner[edge]
        nearest = np.full(len(tree), np.inf)
        np.minimum.at(nearest, ray[other], share[other] * reach)
        gaps.append(nearest[np.isfinite(nearest)])
    return np.concatenate(gaps)
