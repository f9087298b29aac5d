"""How a block is set out by tape: a baseline, offsets, rows from it, and checks; all in the site's ground-true frame."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from setout.units import FOOT

if TYPE_CHECKING:
    from setout.nouns import Floats, Ints, Planting

RIGHT_ANGLE: Final = {"us": (30 * FOOT, 40 * FOOT, 50 * FOOT), "si": (9.0, 12.0, 15.0)}
"""Sides of a right triangle, three, four and five parts [m] (Euclid, Elements I.47 and I.48: 3^2 + 4^2 = 5^2)."""
SLOPES: Final = (0.05, 0.10, 0.15, 0.20, 0.25)
NEAR: Final = 40
"""Monuments, nearest to the block, that are tried as ends of a reference line."""


@dataclass(frozen=True, slots=True)
class Tie:
    """Where a tree lies by tape from two monuments.

    Attributes
    ----------
    tree_id : the tree
    x, y : its place in the frame [m]
    along_m : along the line from the first monument to the second [m]; below 0 before it
    offset_m : at right angles to that line [m]; above 0 to the left as one walks it
    from_a_m, from_b_m : straight distances to the two monuments [m]
    angle_deg : angle at the first monument from the second to the tree, clockwise [deg]
    """

    tree_id: str
    x: float
    y: float
    along_m: float
    offset_m: float
    from_a_m: float
    from_b_m: float
    angle_deg: float


@dataclass(frozen=True, slots=True)
class Row:
    """One row by tape from the baseline: offset of its first and last tree, how far along each stands [m], trees."""

    row: int
    trees: int
    offset_m: float
    offset_last_m: float
    first_m: float
    last_m: float


@dataclass(frozen=True, slots=True)
class Diagonal:
    """A check across the block: from one tree to another, level distance [m]."""

    start: str
    end: str
    distance_m: float


@dataclass(frozen=True, slots=True)
class TapePlan:
    """How one block is set out by tape.

    Attributes
    ----------
    block : index of the block
    base_row : number of the row that serves as baseline
    a, b : names of the two monuments; empty where the boundary has fewer than two
    a_xy, b_xy : their places in the frame [m]
    a_to_b_m : distance between them [m]
    first, last : first and last tree of the base row
    base_m : length of the baseline, first tree to last [m]
    bearing_deg : its bearing from true north [deg], from first to last
    rows : every row by offset and distance along the baseline
    diagonals : checks, true distances between trees
    straight : whether all rows are straight and run with the baseline
    max_slope, median_slope : of the block's trees, rise over run; NaN unknown
    """

    block: int
    base_row: int
    a: str
    b: str
    a_xy: tuple[float, float]
    b_xy: tuple[float, float]
    a_to_b_m: float
    first: Tie
    last: Tie
    base_m: float
    bearing_deg: float
    rows: tuple[Row, ...]
    diagonals: tuple[Diagonal, ...]
    straight: bool
    max_slope: float
    median_slope: float


def tape_plan(planting: Planting, block: int) -> TapePlan | None:
    """Work out how a block is set out by tape.

    Parameters
    ----------
    planting : Planting
        The finished plan.
    block : int
        Index of the block.

    Returns
    -------
    TapePlan or None
        None where the block has fewer than two trees in different places.
    """
    trees = planting.trees
    mine = np.flatnonzero(trees.block == block)
    if len(mine) < 2:
        return None
    xy = np.column_stack([trees.x, trees.y])
    ends = _row_ends(trees.row, trees.position, mine)
    lengths = {r: float(np.hypot(*(xy[last] - xy[first]))) for r, (first, last, _) in ends.items()}
    bent = {r for b, r in planting.works.row_line if b == block}
    base = max(ends, key=lambda r: (r not in bent, round(lengths[r], 3), -r))
    if lengths[base] <= 0:
        return None
    p, q = xy[ends[base][0]], xy[ends[base][1]]
    along = (q - p) / lengths[base]
    left = np.array([-along[1], along[0]])
    rows = tuple(
        Row(
            r,
            n,
            float((xy[i] - p) @ left),
            float((xy[j] - p) @ left),
            float((xy[i] - p) @ along),
            float((xy[j] - p) @ along),
        )
        for r, (i, j, n) in sorted(ends.items())
    )
    a, b = _reference(planting.site.monuments, p, q)
    ids = planting.facts["tree_id"]
    tied = [_tie(str(ids[n]), xy[n], planting.site.monuments, a, b) for n in ends[base][:2]]
    slope = np.asarray(planting.facts.get("slope_pct", np.full(len(trees), np.nan)), float)[mine] / 100
    known = slope[np.isfinite(slope)]
    spots = planting.site.monuments
    named = a >= 0
    return TapePlan(
        block, base, f"BM{a + 1}" if named else "", f"BM{b + 1}" if named else "",
        _pair(spots, a), _pair(spots, b), float(np.hypot(*(spots[b] - spots[a]))) if named else math.nan,
        tied[0], tied[1], lengths[base], _bearing(q - p),
        rows, _diagonals(ids, xy, ends, base), all(_runs_with(r, bent) for r in rows),
        float(known.max()) if known.size else math.nan, float(np.median(known)) if known.size else math.nan,
    )  # fmt: skip


def tape_on_slope(level_m: float, slope: float) -> float:
    """Return what a tape laid on even ground of a slope reads for a level distance (Pythagoras).

    Parameters
    ----------
    level_m : float
        Level distance [m].
    slope : float
        Rise over run.

    Returns
    -------
    float
        Distance along the ground [m].

    Examples
    --------
    >>> round(tape_on_slope(100.0, 0.10), 3), round(tape_on_slope(100.0, 0.75), 3)
    (100.499, 125.0)
    """
    return level_m * math.hypot(1.0, slope)


def _row_ends(row: NDArray[np.int32], position: NDArray[np.int32], mine: Ints) -> dict[int, tuple[int, int, int]]:
    """Return first tree, last tree and count of every row of a block."""
    order = mine[np.lexsort((position[mine], row[mine]))]
    numbers, start, count = np.unique(row[order], return_index=True, return_counts=True)
    return {
        int(r): (int(order[s]), int(order[s + c - 1]), int(c)) for r, s, c in zip(numbers, start, count, strict=True)
    }


def _runs_with(row: Row, bent: set[int]) -> bool:
    return row.row not in bent and abs(row.offset_m - row.offset_last_m) < 0.02


def _reference(monuments: Floats, p: Floats, q: Floats) -> tuple[int, int]:
    """Return the two monuments whose line lies best for offsets to both ends of a baseline; -1 where there are no two.

    Short offsets count most, then that they meet the line between the monuments; a line shorter than half the
    baseline would have to be drawn out too far.
    """
    if len(monuments) < 2:
        return -1, -1
    near = np.hypot(*(monuments - (p + q) / 2).T)
    tried = np.argsort(near, kind="stable")[:NEAR]
    best, found = math.inf, (-1, -1)
    base = float(np.hypot(*(q - p)))
    for i in tried.tolist():
        for j in tried.tolist():
            line = monuments[j] - monuments[i]
            length = float(np.hypot(*line))
            if i == j or length < 1.0:
                continue
            u = line / length
            cost = 0.5 * max(0.0, base / 2 - length) * 4
            for point in (p, q):
                along, off = (
                    float((point - monuments[i]) @ u),
                    abs(float(u[0] * (point - monuments[i])[1] - u[1] * (point - monuments[i])[0])),
                )
                cost += off + 2 * (max(0.0, -along) + max(0.0, along - length))
            # walk the line the way the baseline runs
            cost += 0.0 if float(line @ (q - p)) >= 0 else 0.5
            if cost < best - 1e-6:
                best, found = cost, (i, j)
    return found


def _tie(tree_id: str, at: Floats, monuments: Floats, a: int, b: int) -> Tie:
    if a < 0:
        return Tie(tree_id, float(at[0]), float(at[1]), *[math.nan] * 5)
    line = monuments[b] - monuments[a]
    u, d = line / np.hypot(*line), at - monuments[a]
    return Tie(
        tree_id, float(at[0]), float(at[1]), float(d @ u), float(u[0] * d[1] - u[1] * d[0]),
        float(np.hypot(*d)), float(np.hypot(*(at - monuments[b]))),
        (_bearing(d) - _bearing(line)) % 360,
    )  # fmt: skip


def _pair(spots: Floats, at: int) -> tuple[float, float]:
    return (float(spots[at, 0]), float(spots[at, 1])) if at >= 0 else (math.nan, math.nan)


def _bearing(way: Floats) -> float:
    return math.degrees(math.atan2(float(way[0]), float(way[1]))) % 360


def _diagonals(
    ids: NDArray[np.str_], xy: Floats, ends: dict[int, tuple[int, int, int]], base: int
) -> tuple[Diagonal, ...]:
    """Return both diagonals between the base row and the row farthest from it that is at least half as long."""
    i, j, _ = ends[base]
    long = float(np.hypot(*(xy[j] - xy[i])))
    mid = (xy[i] + xy[j]) / 2
    others = [
        r for r, (k, m, n) in ends.items() if r != base and n > 1 and float(np.hypot(*(xy[m] - xy[k]))) >= long / 2
    ]
    others = others or [r for r in ends if r != base]
    if not others:
        return ()
    far = max(others, key=lambda r: (round(float(np.hypot(*((xy[ends[r][0]] + xy[ends[r][1]]) / 2 - mid))), 3), -r))
    k, m, _ = ends[far]
    # the far row may be numbered the other way: a diagonal crosses
    if float((xy[m] - xy[k]) @ (xy[j] - xy[i])) < 0:
        k, m = m, k
    pairs = [(i, m)] if k == m else [(i, m), (j, k)]
    return tuple(Diagonal(str(ids[s]), str(ids[e]), float(np.hypot(*(xy[e] - xy[s])))) for s, e in pairs)
