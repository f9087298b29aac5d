"""Manifolds: which pieces of row hang on one, and where it crosses them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from shapely.geometry.base import BaseGeometry

from setout.geometry.lines.detour import Obstacles, sees
from setout.model import Floats, Ints
from setout.stages.water.outlets import Outlets, Pieces

ROW_END_M = 1.0
"""How far before the first tree of a row the manifold along row heads runs at most [m]; common practice, no source."""
WIDE_M = 60.0
"""Longest way from row to row that a manifold takes [m]: further off a main is laid of its own; no source."""
LITTLE_M = 0.01
"""How far from the last outlet of its row a tee stands where something is in the way beyond it [m]: as good as at it."""
SCRAP_OUTLETS = 8
"""Most outlets of a line that is hung on another one; no source."""
ROWS_BETWEEN = 3
"""Rows without trees that a manifold passes; no source."""


@dataclass(frozen=True, slots=True)
class Chain:
    """Pieces of row on one manifold line, in order, and where the line crosses each.

    Attributes
    ----------
    piece : the pieces
    split : per piece, outlets on its first side; the rest is on the other
    x, y : the tee on each piece [m in the frame]
    """

    piece: Ints
    split: Ints
    x: Floats
    y: Floats


@dataclass(frozen=True, slots=True)
class Ground:
    """What manifolds are laid on.

    Attributes
    ----------
    outlets, pieces : the rows
    axis : per block, the unit vector along its rows
    spacing_m : per block, the usual distance of outlets [m]
    side_m : per block, the longest side of a lateral that friction allows [m]
    px, py : water points [m in the frame]
    barriers : what no pipe crosses
    """

    outlets: Outlets
    pieces: Pieces
    axis: Floats
    spacing_m: Floats
    side_m: Floats
    px: Floats
    py: Floats
    barriers: BaseGeometry | None


def chains_of(ground: Ground) -> list[Chain]:
    """Gather pieces of neighbouring rows on manifolds and choose where each crosses."""
    out: list[Chain] = []
    for members in _linked(ground):
        out += _cut(ground, _placed(ground, np.array(members, np.int64)))
    return _gathered(ground, out)


def _gathered(ground: Ground, chains: list[Chain]) -> list[Chain]:
    """Hang the few trees of a scrap on the nearest end of another line, rather than give them a main and a valve."""
    pieces = ground.pieces
    size = pieces.stop - pieces.start
    lines = [(int(pieces.block[c.piece[0]]), int(pieces.point[c.piece[0]])) for c in chains]
    kept = dict(enumerate(chains))
    for k in range(len(chains)):
        chain = kept[k]  # others may hang on it already
        if size[chain.piece].sum() > SCRAP_OUTLETS:
            continue
        best: tuple[float, int, bool] | None = None
        for other in [j for j in kept if j != k and lines[j] == lines[k]]:
            for at_end in (True, False):
                end = kept[other].x[-1 if at_end else 0], kept[other].y[-1 if at_end else 0]
                away = float(np.hypot(chain.x[0] - end[0], chain.y[0] - end[1]))
                if 0.05 < away <= WIDE_M and (best is None or away < best[0]) and _free(ground, chain, end):
                    best = away, other, at_end
        if best is not None:
            kept[best[1]] = _tied(kept[best[1]], kept.pop(k), at_end=best[2])
    return list(kept.values())


def _free(ground: Ground, chain: Chain, end: tuple[float, float]) -> bool:
    """Tell whether nothing lies between a place and the first tee of a line."""
    if ground.barriers is None:
        return True
    ends = (np.array([v], float) for v in (*end, chain.x[0], chain.y[0]))
    return bool(sees(Obstacles(ground.barriers, np.empty((0, 2))), *ends)[0])


def _tied(line: Chain, scrap: Chain, *, at_end: bool) -> Chain:
    """Lengthen a line by a scrap, from its last tee on or from its first one back."""
    parts = [line, scrap] if at_end else [_turned(scrap), line]
    return Chain(*(np.concatenate([getattr(p, name) for p in parts]) for name in ("piece", "split", "x", "y")))


def _turned(chain: Chain) -> Chain:
    return Chain(chain.piece[::-1], chain.split[::-1], chain.x[::-1], chain.y[::-1])


def _linked(ground: Ground) -> list[list[int]]:
    """Link pieces of one block and water point from row to row by how much they lie side by side."""
    outlets, pieces = ground.outlets, ground.pieces
    ux, uy = ground.axis[pieces.block].T
    ends = [outlets.x[k] * ux + outlets.y[k] * uy for k in (pieces.start, pieces.stop - 1)]
    # rows that end a step from each other still lie side by side
    step = ground.spacing_m[pieces.block]
    low, high = (np.minimum(*ends) - step).tolist(), (np.maximum(*ends) + step).tolist()
    line = list(zip(pieces.block.tolist(), pieces.point.tolist(), pieces.row.tolist(), pieces.strand.tolist(), strict=True))
    chains: list[list[int]] = []
    open_: dict[tuple[int, int], list[int]] = {}
    for group in _by_line(line):
        block, point, row, _ = line[group[0]]
        able = [c for c in open_.get((block, point), []) if row - line[chains[c][-1]][2] <= ROWS_BETWEEN]
        pairs = sorted(
            ((min(high[k], high[last]) - max(low[k], low[last]), -c, k) for c in able for last in (chains[c][-1],) for k in group),
            reverse=True,
        )
        taken: set[int] = set()
        used: set[int] = set()
        for beside, c, k in pairs:
            if beside <= 0 or k in taken or -c in used:
                continue
            chains[-c].append(k)
            taken.add(k)
            used.add(-c)
        for k in group:
            if k not in taken:
                able.append(len(chains))
                chains.append([k])
        open_[block, point] = able
    return chains


def _by_line(line: Sequence[tuple[int, int, int, int]]) -> Iterator[list[int]]:
    """Yield the pieces of each line of plants that one water point serves."""
    groups: dict[tuple[int, int, int, int], list[int]] = {}
    for k, key in enumerate(line):
        groups.setdefault(key, []).append(k)
    for key in sorted(groups):
        yield groups[key]


def _placed(ground: Ground, piece: Ints) -> Chain:
    """Choose where a manifold crosses its pieces: at one end of the rows, at the other, in the middle, or by the water.

    Of the lines on which no lateral is longer than friction allows, the one with the least pipe; where there is none,
    the one with the shortest laterals.
    """
    outlets, pieces = ground.outlets, ground.pieces
    start, stop = pieces.start[piece], pieces.stop[piece]
    block, point = int(pieces.block[piece[0]]), int(pieces.point[piece[0]])
    ux, uy = ground.axis[block]
    along = [outlets.x[a:b] * ux + outlets.y[a:b] * uy for a, b in zip(start.tolist(), stop.tolist(), strict=True)]
    middle = float(np.median([(u[0] + u[-1]) / 2 for u in along]))
    near = float(ground.px[point] * ux + ground.py[point] * uy)
    splits = [*_ends(ground, piece), _crossing(along, middle), _crossing(along, near)]
    best: tuple[tuple[float, ...], Chain] | None = None
    for split in splits:
        chain = Chain(piece, split, *_tees(ground, piece, split))
        sides = [max(abs(u[max(c - 1, 0)] - u[0]), abs(u[-1] - u[min(c, len(u) - 1)])) for u, c in zip(along, split.tolist(), strict=True)]
        over = max(0.0, float(max(sides)) - float(ground.side_m[block]))
        pipe = float(np.hypot(np.diff(chain.x), np.diff(chain.y)).sum())
        pipe += float(np.hypot(chain.x - ground.px[point], chain.y - ground.py[point]).min())
        cost = (round(over, 3), round(pipe, 3))
        if best is None or cost < best[0]:
            best = cost, chain
    assert best is not None
    return best[1]


def _ends(ground: Ground, piece: Ints) -> tuple[Ints, Ints]:
    """Return how many outlets lie on the first side of each piece where a manifold runs along one end of them, or the other."""
    return np.zeros(len(piece), np.int64), (ground.pieces.stop - ground.pieces.start)[piece]


def at_ends(ground: Ground, chain: Chain) -> Iterator[list[Chain]]:
    """Yield a line laid anew along the first ends of its pieces, and along their last."""
    for split in _ends(ground, chain.piece):
        yield list(_cut(ground, Chain(chain.piece, split, *_tees(ground, chain.piece, split))))


def _crossing(along: Sequence[Floats], at: float) -> Ints:
    """Return how many outlets of each piece lie on its first side of a place along the rows."""
    out = []
    for u in along:
        rising = u[-1] >= u[0]
        out.append(int(((u < at) if rising else (u > at)).sum()))
    return np.array(out, np.int64)


def _tees(ground: Ground, piece: Ints, split: Ints) -> tuple[Floats, Floats]:
    """Return where a manifold meets its pieces: between two outlets, or a little before the first or after the last."""
    outlets, pieces = ground.outlets, ground.pieces
    start, stop = pieces.start[piece], pieces.stop[piece]
    before, after = np.maximum(start + split - 1, start), np.minimum(start + split, stop - 1)
    xy = np.column_stack([outlets.x, outlets.y])
    tee = (xy[before] + xy[after]) / 2
    inner = np.where(split == 0, np.minimum(start + 1, stop - 1), np.maximum(stop - 2, start))
    way = xy[before] - xy[inner]
    axis = ground.axis[pieces.block[piece]] * np.where(split == 0, -1.0, 1.0)[:, None]
    length = np.hypot(*way.T)
    way = np.where(length[:, None] > 0, way / np.maximum(length, 1e-9)[:, None], axis)
    out = np.where(length > 0, np.minimum(length / 2, ROW_END_M), ROW_END_M)
    end = before == after
    if ground.barriers is not None and end.any():
        out[end] = _clear(ground.barriers, tee[end], way[end], out[end])
    tee[end] += (way * out[:, None])[end]
    return tee[:, 0], tee[:, 1]


def _clear(barriers: BaseGeometry, at: Floats, way: Floats, out: Floats) -> Floats:
    """Return how far tees may stand off the last outlets of their rows: no barrier between, else a little back along the row."""
    found = np.zeros(len(out))
    open_ = np.arange(len(out))
    for far in (out, np.full(len(out), LITTLE_M), np.full(len(out), -LITTLE_M)):
        to = at[open_] + way[open_] * far[open_, None]
        clear = sees(Obstacles(barriers, np.empty((0, 2))), *at[open_].T, *to.T)
        found[open_[clear]] = far[open_[clear]]
        open_ = open_[~clear]
    return found


def _cut(ground: Ground, chain: Chain) -> Iterator[Chain]:
    """Cut a manifold where a barrier lies across it, or where the next row is far."""
    x, y = chain.x, chain.y
    broken = np.hypot(np.diff(x), np.diff(y)) > WIDE_M
    if ground.barriers is not None and len(x) > 1:
        broken |= ~sees(Obstacles(ground.barriers, np.empty((0, 2))), x[:-1], y[:-1], x[1:], y[1:])
    for part in np.split(np.arange(len(x)), np.flatnonzero(broken) + 1):
        yield Chain(chain.piece[part], chain.split[part], x[part], y[part])
