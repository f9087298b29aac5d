"""Every block after the other, each apart from the trees of those before it; then all in walking order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from setout.geometry.rows.direction import lines_along
from setout.geometry.rows.rowcut import Cutters, capsules_of, left_at
from setout.model import Block, Bools, Finding, Floats, Ints, Pattern, Rows, Trees, Works
from setout.stages.fill.ends import Allowed, Along, ends_allowed
from setout.stages.fill.lines import rows_of
from setout.stages.fill.straight import Row, lay
from setout.stages.fill.systems import Laid, paired, planted
from setout.stages.fill.trellis import trellised


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
    """Rows, trees and works of the whole site, and what there is to say about them."""

    rows: Rows
    trees: Trees
    works: Works
    findings: tuple[Finding, ...]


def fill(beds: Sequence[Bed], allowed: Allowed | None, curved: Mapping[int, Laid] | None = None) -> Filled:
    """Plant every block, one after the other; each keeps its distance from the trees of those before it.

    Screens and single trees stand where they were drawn and go first, the others follow in the order given.
    """
    laid_by: dict[int, Laid] = {}
    findings: list[Finding] = []
    # what stands where it was drawn, a screen or a single tree, goes first: the others make room for it
    drawn_first = sorted(range(len(beds)), key=lambda k: (not beds[k].block.stands_where_drawn, k))
    for index in drawn_first:
        bed, done = beds[index], [(beds[k].block, laid) for k, laid in laid_by.items()]
        if curved and index in curved:
            laid = _bent(bed, done, curved[index], allowed)
        elif bed.block.points is not None:
            laid, said = _single(bed, done, allowed)
            findings += said
        else:
            laid = _straight(bed.block.pattern, lay(bed.block, bed.area, _apart(bed, done), allowed))
        laid_by[index] = laid
        if not len(laid.x):
            findings.append(Finding("block_empty", "stop", figures={"block": bed.block.name}, geometry=bed.area))
    return Filled(*_numbered([(bed.block, laid_by[k]) for k, bed in enumerate(beds)]), tuple(findings))


def _straight(pattern: Pattern, rows: Row) -> Laid:
    """Plant straight rows, and set their posts where they have any."""
    laid = planted(pattern, rows)
    if pattern.trellis is None:
        return laid
    return trellised(pattern.trellis, laid, rows.u, lambda far, k: rows.to_xy(far, rows.v[k]))


def _bent(bed: Bed, done: Sequence[tuple[Block, Laid]], laid: Laid, allowed: Allowed | None) -> Laid:
    """Take of rows that are not straight what may stand, and set their posts where they have any."""
    keep = _clear_of(bed, done, laid, allowed) & _lawful(bed.cutters, laid.x, laid.y)
    trellis = bed.block.pattern.trellis
    if trellis is None or not len(laid.x):
        return _kept(laid, keep)

    def may_stand(x: Floats, y: Floats) -> Bools:
        lawful = _lawful(bed.cutters, x, y)
        return lawful if allowed is None else lawful & allowed(x, y)

    own = np.flatnonzero(keep)
    if len(own):
        u, along = _along_paths(laid, own)
        keep[own] = ends_allowed(trellis, u, laid.row[own], along, may_stand)
    laid = _kept(laid, keep)
    return trellised(trellis, laid, *_along_paths(laid, np.arange(len(laid.x)))) if len(laid.x) else laid


def _along_paths(laid: Laid, own: Ints) -> tuple[Floats, Along]:
    """Return how far along its path each of some trees stands [m], and what gives places along these paths."""
    paths = np.array([laid.row_path[row] for row in laid.row[own].tolist()], object)
    u = shapely.line_locate_point(paths, shapely.points(laid.x[own], laid.y[own]))

    def along(far: Floats, k: Ints) -> tuple[Floats, Floats]:
        low = np.clip(far, 0.0, shapely.length(paths[k]))  # a hair beyond the path's end is its end
        xy = shapely.get_coordinates(shapely.line_interpolate_point(paths[k], low))
        return xy[:, 0], xy[:, 1]

    return u, along


def _apart(bed: Bed, done: Sequence[tuple[Block, Laid]]) -> Cutters:
    """Add the trees of earlier blocks that stand near to the cutters of a block."""
    discs = []
    shapely.prepare(bed.area)
    for block, laid in done:
        if not len(laid.x):
            continue
        gap = bed.block.apart_m(block) + bed.block.pattern.clearance_m
        low_x, low_y, high_x, high_y = bed.area.bounds
        near = (laid.x > low_x - gap) & (laid.x < high_x + gap) & (laid.y > low_y - gap) & (laid.y < high_y + gap)
        trees = np.asarray(shapely.points(laid.x[near], laid.y[near]), object)
        discs.append(capsules_of(trees[shapely.dwithin(bed.area, trees, gap)], gap))
    return replace(bed.cutters, capsules=np.vstack([bed.cutters.capsules, *discs])) if discs else bed.cutters


def _clear_of(bed: Bed, done: Sequence[tuple[Block, Laid]], laid: Laid, allowed: Allowed | None) -> Bools:
    """Tell which positions are far enough from the trees of earlier blocks, and on ground that may be planted."""
    from scipy.spatial import cKDTree

    keep = np.ones(len(laid.x), bool) if allowed is None else np.array(allowed(laid.x, laid.y), bool)
    for block, other in done:
        apart = bed.block.apart_m(block)
        near = _beside(other, laid, apart) if len(other.x) and len(laid.x) else np.empty((0, 2))
        if len(near):
            away = cKDTree(near).query(np.column_stack([laid.x, laid.y]), distance_upper_bound=apart + 1.0)[0]
            keep &= away >= apart - 1e-9
    return keep


def _beside(other: Laid, laid: Laid, apart: float) -> Floats:
    """Return the trees of one block in the box round those of another, wider by so much [m] on every side."""
    x, y, wide = other.x, other.y, apart + 1e-6
    inside = (x >= laid.x.min() - wide) & (x <= laid.x.max() + wide)
    inside &= (y >= laid.y.min() - wide) & (y <= laid.y.max() + wide)
    return np.column_stack([x[inside], y[inside]])


def _kept(laid: Laid, keep: Bools) -> Laid:
    """Return some of the trees, rows, positions and pieces of rows counted anew; of a pair both or none."""
    paired_off = laid.partner >= 0
    keep = keep & (~paired_off | keep[laid.partner])
    if keep.all():
        return laid
    x, y = laid.x[keep], laid.y[keep]
    left, row = np.unique(laid.row[keep], return_inverse=True)
    first = np.flatnonzero(np.append(True, row[1:] != row[:-1])[: len(row)])
    count = np.diff(np.append(first, len(row)))
    position = np.arange(len(row)) - np.repeat(first, count) + 1
    number = np.cumsum(keep) - 1
    partner = np.where(laid.partner[keep] >= 0, number[laid.partner[keep]], -1)
    # where trees are gone between two that stay, the row's line is parted too
    was = np.flatnonzero(keep)
    parted = np.append(True, (np.diff(was) > 1) | (np.diff(laid.piece[keep]) != 0))[: len(was)]
    lines = {new: laid.row_line[old] for new, old in enumerate(left.tolist(), 1) if old in laid.row_line}
    paths = {new: laid.row_path[old] for new, old in enumerate(left.tolist(), 1) if old in laid.row_path}
    return replace(laid, x=x, y=y, row=row + 1, position=position, piece=np.cumsum(parted), partner=partner, row_line=lines, row_path=paths)


def _single(bed: Bed, done: Sequence[tuple[Block, Laid]], allowed: Allowed | None) -> tuple[Laid, list[Finding]]:
    """Take positions that were given one by one, as far as the ground may be planted there."""
    block = bed.block
    assert block.points is not None
    x, y = block.points.T
    size = len(x)
    number, one = np.arange(1, size + 1), np.ones(size, np.int64)
    laid = Laid(x, y, number, one, number, -one, float("nan"))
    keep = _clear_of(bed, done, laid, allowed) & _lawful(bed.cutters, x, y)
    out = _kept(laid, keep)
    if block.pattern.pair is not None:
        out = paired(out, block.pattern.pair)
    said = [
        Finding("point_dropped", "warn", figures={"block": block.name, "point": k + 1, "points": size}, geometry=shapely.Point(x[k], y[k]))
        for k in np.flatnonzero(~keep).tolist()
    ]
    return out, said


def _lawful(cutters: Cutters, x: Floats, y: Floats) -> Bools:
    """Tell which positions nothing cuts out: a line through each, cut as rows are."""
    along = lines_along(cutters, 90.0)
    order = np.argsort(y, kind="stable")
    keep = np.empty(len(x), bool)
    keep[order] = left_at(x[order], y[order], along)
    return keep


def _numbered(done: Sequence[tuple[Block, Laid]]) -> tuple[Rows, Trees, Works]:
    """Put rows, trees and works of all blocks together."""
    sizes = [len(laid.x) for _, laid in done]
    start = np.cumsum([0, *sizes[:-1]])
    index = np.repeat(np.arange(len(done)), sizes)
    laid_all = [laid for _, laid in done]
    partner = np.concatenate([np.where(part.partner >= 0, part.partner + first, -1) for part, first in zip(laid_all, start, strict=True)])
    trees = Trees(
        index.astype(np.int32),
        np.concatenate([part.row for part in laid_all]).astype(np.int32),
        np.concatenate([part.position for part in laid_all]).astype(np.int32),
        np.concatenate([part.x for part in laid_all]),
        np.concatenate([part.y for part in laid_all]),
        np.zeros(len(index), np.int32),
        partner.astype(np.int32),
    )
    works = Works(
        np.concatenate([part.beds for part in laid_all]),
        np.repeat(np.arange(len(done)), [len(part.beds) for part in laid_all]),
        np.concatenate([part.bed_row for part in laid_all]).astype(np.int64),
        np.concatenate([part.post_x for part in laid_all]),
        np.concatenate([part.post_y for part in laid_all]),
        np.repeat(np.arange(len(done)), [len(part.post_x) for part in laid_all]),
        np.concatenate([part.post_row for part in laid_all]).astype(np.int64),
        np.concatenate([part.post_end for part in laid_all]),
        {k: part.wire_m for k, part in enumerate(laid_all) if part.wire_m},
    )
    return rows_of(laid_all, trees), trees, works
