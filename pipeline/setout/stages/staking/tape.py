"""How a block is set out by tape: a baseline, offsets, rows from it, and checks; all in the site's ground-true frame."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from setout.model.staking import Diagonal, Row, TapePlan, Tie

if TYPE_CHECKING:
    from setout.model import Floats, Ints, Pattern, Planting, Trees

ROWS_TRIED: Final = 15
"""Rows that are tried as baseline."""
SAME_PLACE_M: Final = 0.02
NEAR: Final = 40
"""Monuments, nearest to the block, that are tried as ends of a reference line."""


def tape_plan(planting: Planting, block: int) -> TapePlan | None:
    """Work out how a block is set out by tape."""
    trees = planting.trees
    mine = np.flatnonzero(trees.block == block)
    if len(mine) < 2:
        return None
    xy = np.column_stack([trees.x, trees.y])
    ends = _row_ends(trees.row, trees.position, mine)
    lengths = {r: float(np.hypot(*(xy[last] - xy[first]))) for r, (first, last, _) in ends.items()}
    pattern = planting.site.blocks[block].pattern
    aside = _aside_m(pattern)
    bent = _bent(trees, aside, mine, ends)
    base, a, b = _base(planting.site.monuments, xy, ends, lengths, bent)
    if lengths[base] <= 0:
        return None
    p, q = xy[ends[base][0]], xy[ends[base][1]]
    along = (q - p) / lengths[base]
    left = np.array([-along[1], along[0]])
    broken = _broken(planting, block, mine) - bent
    rows = tuple(
        Row(
            r,
            n,
            float((xy[i] - p) @ left),
            float((xy[j] - p) @ left),
            float((xy[i] - p) @ along),
            float((xy[j] - p) @ along),
            r not in broken,
        )
        for r, (i, j, n) in sorted(ends.items())
    )
    ids = planting.trees.ids
    tied = [_tie(str(ids[n]), xy[n], planting.site.monuments, a, b) for n in ends[base][:2]]
    slope = trees.known("slope_pct")[mine] / 100
    known = slope[np.isfinite(slope)]
    spots = planting.site.monuments
    named = a >= 0
    return TapePlan(
        block,
        base,
        f"BM{a + 1}" if named else "",
        f"BM{b + 1}" if named else "",
        _pair(spots, a),
        _pair(spots, b),
        float(np.hypot(*(spots[b] - spots[a]))) if named else math.nan,
        tied[0],
        tied[1],
        lengths[base],
        _bearing(q - p),
        rows,
        _diagonals(ids, xy, ends, base),
        all(_runs_with(r, bent, aside) for r in rows),
        float(known.max()) if known.size else math.nan,
        float(np.median(known)) if known.size else math.nan,
        aside,
        steps_along(pattern),
    )


def _row_ends(row: NDArray[np.int32], position: NDArray[np.int32], mine: Ints) -> dict[int, tuple[int, int, int]]:
    """Return first tree, last tree and count of every row of a block."""
    order = mine[np.lexsort((position[mine], row[mine]))]
    numbers, start, count = np.unique(row[order], return_index=True, return_counts=True)
    return {int(r): (int(order[s]), int(order[s + c - 1]), int(c)) for r, s, c in zip(numbers, start, count, strict=True)}


def _runs_with(row: Row, bent: set[int], aside: float) -> bool:
    return row.row not in bent and abs(row.offset_m - row.offset_last_m) < 0.02 + aside


def _aside_m(pattern: Pattern) -> float:
    """Return how far plants of one row stand aside of each other [m]: partners of a pair, lines of a hedge or bed."""
    pair = pattern.pair.distance_m if pattern.pair is not None else 0.0
    return pair + (pattern.lines - 1) * pattern.line_distance_m


def _bent(trees: Trees, aside: float, mine: Ints, ends: dict[int, tuple[int, int, int]]) -> set[int]:
    """Return the rows of a block that leave the straight line from their first tree to their last by more than 5 cm."""
    x, y, row = trees.x[mine], trees.y[mine], trees.row[mine]
    numbers = np.array(sorted(ends))
    at = np.searchsorted(numbers, row)
    first, last = (np.array([ends[int(r)][k] for r in numbers]) for k in (0, 1))
    way = np.column_stack([trees.x[last] - trees.x[first], trees.y[last] - trees.y[first]])
    way = way / np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-9)[:, None]
    off = np.abs(way[at, 0] * (y - trees.y[first][at]) - way[at, 1] * (x - trees.x[first][at]))
    return set(row[off > 0.05 + aside].tolist())


def steps_along(pattern: Pattern) -> tuple[float, ...]:
    """Return the distances from plant to plant along a row [m]: in a bed, and from the last of a bed to the next.

    Lines of plants are staggered by half a step but in beds; partners of a pair are one.

    >>> from setout.model import Bed, Pattern
    >>> steps_along(Pattern("bed", 5.0, 10.0, bed=Bed(10.0, 6.0, 3.0, 0.1))), steps_along(Pattern("square", 6.0, 6.0))
    ((5.0, 8.0), (6.0,))
    """
    if pattern.bed is not None:
        each = max(math.floor(pattern.bed.length_m / pattern.step_m + 1e-9), 1)
        across = pattern.bed.length_m + pattern.bed.gap_m - (each - 1) * pattern.step_m
        return (pattern.step_m, across) if each > 1 else (across,)
    return (pattern.step_m / 2,) if pattern.lines > 1 else (pattern.step_m,)


def _broken(planting: Planting, block: int, mine: Ints) -> set[int]:
    """Return the rows of a block in which trees stand further from each other than the pattern has it."""
    trees, pattern = planting.trees, planting.site.blocks[block].pattern
    order = mine[np.lexsort((trees.position[mine], trees.row[mine]))]
    found = set[int]()
    for row in np.split(order, np.flatnonzero(np.diff(trees.row[order])) + 1):
        part = row[::2] if pattern.pair is not None else row
        xy = np.column_stack([trees.x[part], trees.y[part]])
        # the row runs from its first tree to the last of the same line, which is one of the last few
        if not any(_follows(pattern, xy, end) for end in xy[-pattern.lines :]):
            found.add(int(trees.row[row[0]]))
    return found


def _follows(pattern: Pattern, xy: Floats, end: Floats) -> bool:
    """Tell whether trees follow each other by the pattern's steps along the way from the first of them to an end."""
    way = end - xy[0]
    along = np.sort(xy @ way / max(float(np.hypot(*way)), 1e-9))
    gap = np.diff(along)
    # lines that stand abreast are one place along the row
    gap = gap[gap > SAME_PLACE_M] if pattern.lines > 1 else gap
    off = np.abs(gap[:, None] - np.array(steps_along(pattern))).min(axis=1)
    return bool((off <= SAME_PLACE_M).all())


def _base(
    monuments: Floats, xy: Floats, ends: dict[int, tuple[int, int, int]], lengths: dict[int, float], bent: set[int]
) -> tuple[int, int, int]:
    """Return the row that serves best as baseline, and the two monuments to set it from; -1 where there are no two.

    A long row near a line between neighbouring corners costs least: what counts is how far has to be taped.
    """
    longest = max(lengths.values())
    long = [r for r in sorted(ends) if lengths[r] >= longest / 2]
    # of rows that bend the straight line from first to last; a short straight row among them would carry errors far
    fit = [r for r in long if r not in bent] or long
    if len(monuments) < 2:
        return max(fit, key=lambda r: (round(lengths[r], 3), -r)), -1, -1
    tried = sorted({fit[round(k)] for k in np.linspace(0, len(fit) - 1, min(len(fit), ROWS_TRIED))})
    best: tuple[float, int, int, int] | None = None
    for r in tried:
        p, q = xy[ends[r][0]], xy[ends[r][1]]
        cost, a, b = _reference(monuments, p, q)
        cost += 0.4 * (longest - lengths[r])
        if best is None or cost < best[0] - 1e-6:
            best = cost, r, a, b
    assert best is not None
    return best[1:]


def _reference(monuments: Floats, p: Floats, q: Floats) -> tuple[float, int, int]:
    """Return the two monuments whose line lies best for offsets to both ends of a baseline, and what that costs [m].

    Offsets count once, distance beyond the line's ends twice, and a tenth of the line itself; a line that does not
    join neighbouring corners may cross the property without sight, and costs more.
    """
    tried = np.sort(np.argsort(np.hypot(*(monuments - (p + q) / 2).T), kind="stable")[:NEAR])
    i, j = (g.ravel() for g in np.meshgrid(tried, tried, indexing="ij"))
    line = monuments[j] - monuments[i]
    length = np.hypot(line[:, 0], line[:, 1])
    kept = length > 1.0
    i, j, line, length = i[kept], j[kept], line[kept], length[kept]
    if not len(i):
        return math.inf, -1, -1
    u = line / length[:, None]
    apart = np.abs(i - j)
    cost = 0.1 * length + np.where((apart == 1) | (apart == len(monuments) - 1), 0.0, 0.15 * length)
    cost += 2 * np.maximum(0.0, np.hypot(*(q - p)) / 2 - length)
    for point in (p, q):
        d = point - monuments[i]
        along = (d * u).sum(axis=1)
        cost += np.abs(u[:, 0] * d[:, 1] - u[:, 1] * d[:, 0]) + 2 * (np.maximum(0, -along) + np.maximum(0, along - length))
    # walk the line the way the baseline runs
    cost += np.where(line @ (q - p) >= 0, 0.0, 0.5)
    at = int(np.argmin(np.round(cost, 6)))
    return float(cost[at]), int(i[at]), int(j[at])


def _tie(tree_id: str, at: Floats, monuments: Floats, a: int, b: int) -> Tie:
    if a < 0:
        return Tie(tree_id, float(at[0]), float(at[1]), *[math.nan] * 5)
    line = monuments[b] - monuments[a]
    u, d = line / np.hypot(*line), at - monuments[a]
    return Tie(
        tree_id,
        float(at[0]),
        float(at[1]),
        float(d @ u),
        float(u[0] * d[1] - u[1] * d[0]),
        float(np.hypot(*d)),
        float(np.hypot(*(at - monuments[b]))),
        (_bearing(d) - _bearing(line)) % 360,
    )


def _pair(spots: Floats, at: int) -> tuple[float, float]:
    return (float(spots[at, 0]), float(spots[at, 1])) if at >= 0 else (math.nan, math.nan)


def _bearing(way: Floats) -> float:
    return math.degrees(math.atan2(float(way[0]), float(way[1]))) % 360


def _diagonals(ids: NDArray[np.str_], xy: Floats, ends: dict[int, tuple[int, int, int]], base: int) -> tuple[Diagonal, ...]:
    """Return both diagonals between the base row and the row farthest from it that is at least half as long."""
    i, j, _ = ends[base]
    long = float(np.hypot(*(xy[j] - xy[i])))
    mid = (xy[i] + xy[j]) / 2
    others = [r for r, (k, m, n) in ends.items() if r != base and n > 1 and float(np.hypot(*(xy[m] - xy[k]))) >= long / 2]
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
