"""Account: what a planting asks a grower to buy, counted from what was set out.

The order lists plants, the materials what holds, guards and feeds them. Quantities come from the finished trees and
works; what geometry cannot tell (how long a stake is, how much wire the knots take) comes from
:class:`setout.model.buying.Allowances`, which are common practice where a grower sets none.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil, isfinite, pi
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from setout.model import Block, Bools, Floats, MaterialLine, OrderLine, Plant, Rows, Trees, Works
from setout.model.buying import COMMON_PRACTICE, HELIX, Allowances, Piece, line_of


def order_of(blocks: Sequence[Block], trees: Trees, spares: float = 0.05) -> list[OrderLine]:
    """List the plants to order, a line for every plant of every block.

    >>> from setout.model import Pattern
    >>> block = Block("A", None, Pattern("square", 5.0, 5.0), 0.0, (Plant("pear, dwarf", "B"),))
    >>> one = np.zeros(21, np.int32)
    >>> (line,) = order_of([block], Trees(one, one + 1, one, one * 1.0, one * 1.0, one))
    >>> line.species, line.size_class, line.trees, line.spares
    ('pear', 'dwarf', 21, 2)
    """
    lines = []
    for index, block in enumerate(blocks):
        own = trees.plant[trees.block == index]
        counts = np.bincount(own[own >= 0], minlength=len(block.plants)).tolist()
        for plant, count in zip(block.plants, counts, strict=True):
            if plant.name and count:
                lines.append(_order_line(plant, block.name, count, spares))
    return lines


def _order_line(plant: Plant, block: str, count: int, spares: float) -> OrderLine:
    species, _, size_class = plant.name.partition(", ")
    beside = ceil(round(count * spares, 6))
    return OrderLine(
        plant.species or species, plant.name, plant.variety, plant.role, size_class, block, count, beside, plant.remove_year or 0
    )


def materials_of(
    blocks: Sequence[Block], trees: Trees, rows: Rows, works: Works, allowances: Allowances = COMMON_PRACTICE
) -> list[MaterialLine]:
    """List the materials of a planting, a line for every item of every block."""
    bought = _Buying(allowances)
    lines: list[MaterialLine] = []
    for index, block in enumerate(blocks):
        lines += bought.for_trees(block, trees.plant[trees.block == index])
        lines += bought.for_rows(block, index, rows, works)
        lines += bought.for_beds(block, works.bed[works.bed_block == index])
    return lines


def stretches_of(posts: Floats, end: Bools) -> Floats:
    """Return how long the wires of every stretch of posts are, along its posts.

    >>> posts = np.array([[0, 0], [3, 4], [3, 14], [50, 0], [50, 7]], float)
    >>> stretches_of(posts, np.array([True, False, True, True, True])).tolist()
    [15.0, 7.0]
    """
    along = np.cumsum(np.hypot(*np.diff(posts, axis=0, prepend=posts[:1]).T))
    return np.asarray(along[end][1::2] - along[end][::2])


@dataclass(frozen=True, slots=True)
class _Buying:
    """How materials are allowed for."""

    allow: Allowances

    def for_trees(self, block: Block, plant: NDArray[np.int32]) -> Iterator[MaterialLine]:
        """Yield what every tree of a block gets; a plant without a name may be anything, and gets nothing."""
        allow = self.allow
        counts = np.bincount(plant[plant >= 0], minlength=len(block.plants)).tolist()
        wooden = sum(n for p, n in zip(block.plants, counts, strict=True) if p.name and p.habit == "tree")
        yield from _each("tree_stake", allow.stake, wooden * allow.stakes_per_tree, block, trees=wooden)
        yield from _each("trunk_guard", allow.guard, wooden * allow.guards_per_tree, block, trees=wooden)
        if allow.tree_mulch and block.pattern.bed is None:
            every = sum(counts)
            volume = every * pi / 4 * allow.ring_m**2 * allow.ring_depth_m
            across, deep = allow.ring_m, allow.ring_depth_m
            yield from _volume("mulch", volume, block, "tree_mulch", across_m=across, deep_m=deep, plants=every)

    def for_rows(self, block: Block, index: int, rows: Rows, works: Works) -> Iterator[MaterialLine]:
        """Yield posts, anchors and wire of a block's rows."""
        allow, count = self.allow, int((rows.block == index).sum())
        mine = works.post_block == index
        end, posts = works.post_end[mine], np.column_stack([works.post_x, works.post_y])[mine]
        ends = int(end.sum())
        yield from _each("end_post", allow.end_post, ends, block, rows=count)
        yield from _each("line_post", allow.line_post, len(end) - ends, block, rows=count)
        trellis = block.pattern.trellis
        if trellis is not None and trellis.anchor_m > 0:
            yield from self._anchors(stretches_of(posts, end), block, count)
        length = works.wire_m.get(index, 0.0) * (1 + allow.tying)
        if length > 0:
            wires = trellis.wires if trellis is not None else None
            yield line_of("wire", length, block.name, kind=allow.wire, rows=count, wires=wires, tying=allow.tying or None)

    def for_beds(self, block: Block, beds: NDArray[np.object_]) -> Iterator[MaterialLine]:
        """Yield mulch, soil and edging of a block's raised beds."""
        bed, allow = block.pattern.bed, self.allow
        if bed is None or not len(beds):
            return
        area = float(shapely.area(beds).sum())
        yield from _volume("mulch", area * bed.mulch_m, block, "bed_mulch", deep_m=bed.mulch_m, beds=len(beds))
        yield from _volume("bed_soil", area * allow.bed_soil_m, block, deep_m=allow.bed_soil_m, beds=len(beds))
        if allow.edging:
            edge = float(shapely.length(beds).sum())
            yield line_of("bed_edging", edge, block.name, long_m=bed.length_m, wide_m=bed.width_m, beds=len(beds))

    def _anchors(self, lengths: Floats, block: Block, rows: int) -> Iterator[MaterialLine]:
        """Yield two anchors for every stretch of wire, with a helix as wide as the stretch's length [m] asks for."""
        allow, low = self.allow, 0.0
        for high, helix in HELIX:
            own = lengths[(lengths > low) & (lengths <= high)]
            if len(own):
                yield line_of(
                    "anchor",
                    2.0 * len(own),
                    block.name,
                    rows=rows,
                    long_m=allow.anchor.length_m,
                    shaft_m=allow.anchor.thick_m or None,
                    helix_m=helix,
                    to_m=high if isfinite(high) else None,
                    over_m=None if isfinite(high) else low,
                    braced_m=allow.braced_m if (own > allow.braced_m).any() else None,
                )
            low = high


def _each(item: str, piece: Piece, number: int, block: Block, **figures: Any) -> Iterator[MaterialLine]:
    if number:
        yield line_of(item, float(number), block.name, "", long_m=piece.length_m, thick_m=piece.thick_m or None, **figures)


def _volume(item: str, volume: float, block: Block, words: str = "", **figures: Any) -> Iterator[MaterialLine]:
    if volume > 0:
        yield line_of(item, volume, block.name, words, **figures)
