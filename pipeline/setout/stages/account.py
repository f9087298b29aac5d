"""Account: what a planting asks a grower to buy, counted from what was set out.

The order lists plants, the materials what holds, guards and feeds them. Quantities come from the finished trees and
works; what geometry cannot tell (how long a stake is, how much wire the knots take) comes from
:class:`setout.model.buying.Allowances`, which are common practice where a grower sets none.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil, isfinite, pi
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from setout.model import Block, Bools, Floats, MaterialLine, OrderLine, Plant, Rows, Trees, Works
from setout.model.buying import COMMON_PRACTICE, HELIX, INCH, Allowances, Piece, line_of
from setout.units import FOOT, show_length

CUBIC_YARD: Final = (3 * FOOT) ** 3
"""Cubic yard [m3], exact."""
CALENDAR: Final = 1000
"""A year to remove fillers above this is a year of the calendar, below it one of the planting's life."""


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
    return OrderLine(plant.species or species, plant.name, plant.variety, plant.role, size_class, block, count, beside, _note(plant))


def _note(plant: Plant) -> str:
    if not plant.remove_year:
        return ""
    year = f"{plant.remove_year}" if plant.remove_year > CALENDAR else f"year {plant.remove_year}"
    return f"{plant.role or 'temporary'}: out in {year}"


def materials_of(
    blocks: Sequence[Block], trees: Trees, rows: Rows, works: Works, allowances: Allowances = COMMON_PRACTICE, units: str = "us"
) -> list[MaterialLine]:
    """List the materials of a planting, a line for every item of every block."""
    bought = _Buying(allowances, units)
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
    """How materials are said and allowed for."""

    allow: Allowances
    units: str

    def for_trees(self, block: Block, plant: NDArray[np.int32]) -> Iterator[MaterialLine]:
        """Yield what every tree of a block gets; a plant without a name may be anything, and gets nothing."""
        allow = self.allow
        counts = np.bincount(plant[plant >= 0], minlength=len(block.plants)).tolist()
        wooden = sum(n for p, n in zip(block.plants, counts, strict=True) if p.name and p.habit == "tree")
        where = f"block {block.name}: {wooden:,} trees"
        yield from self._each("tree stake", allow.stake, wooden * allow.stakes_per_tree, where)
        yield from self._each("trunk guard", allow.guard, wooden * allow.guards_per_tree, where)
        if allow.tree_mulch and block.pattern.bed is None:
            every = sum(counts)
            size = f"{self._say(allow.ring_m)} across, {self._deep(allow.ring_depth_m)} deep, clear of the stem"
            volume = every * pi / 4 * allow.ring_m**2 * allow.ring_depth_m
            yield from self._volume("mulch", size, volume, f"block {block.name}: {every:,} plants")

    def for_rows(self, block: Block, index: int, rows: Rows, works: Works) -> Iterator[MaterialLine]:
        """Yield posts, anchors and wire of a block's rows."""
        allow, own = self.allow, rows.block == index
        mine = works.post_block == index
        end, posts = works.post_end[mine], np.column_stack([works.post_x, works.post_y])[mine]
        ends = int(end.sum())
        where = f"block {block.name}: {int(own.sum()):,} rows"
        yield from self._each("end post", allow.end_post, ends, where)
        yield from self._each("line post", allow.line_post, len(end) - ends, where)
        trellis = block.pattern.trellis
        if trellis is not None and trellis.anchor_m > 0:
            yield from self._anchors(stretches_of(posts, end), where)
        length = works.wire_m.get(index, 0.0) * (1 + allow.tying)
        if length > 0:
            strands = f", {trellis.wires} wires" if trellis is not None else ""
            tying = f", with {allow.tying:.0%} for tying" if allow.tying else ""
            yield line_of("wire", allow.wire, length, where + strands + tying, self._long(length))

    def for_beds(self, block: Block, beds: NDArray[np.object_]) -> Iterator[MaterialLine]:
        """Yield mulch, soil and edging of a block's raised beds."""
        bed, allow = block.pattern.bed, self.allow
        if bed is None or not len(beds):
            return
        area = float(shapely.area(beds).sum())
        where = f"block {block.name}: {len(beds):,} beds"
        yield from self._volume("mulch", f"{self._deep(bed.mulch_m)} deep", area * bed.mulch_m, where)
        yield from self._volume("bed soil", f"{self._deep(allow.bed_soil_m)} deep", area * allow.bed_soil_m, where)
        if allow.edging:
            edge = float(shapely.length(beds).sum())
            size = f"round beds of {self._say(bed.length_m)} x {self._say(bed.width_m)}"
            yield line_of("bed edging", size, edge, where, self._long(edge))

    def _anchors(self, lengths: Floats, where: str) -> Iterator[MaterialLine]:
        """Yield two anchors for every stretch of wire, with a helix as wide as the stretch's length [m] asks for."""
        allow, low = self.allow, 0.0
        length, shaft = self._say(allow.anchor.length_m), self._fine(allow.anchor.thick_m)
        thick = f", shaft {shaft}" if allow.anchor.thick_m else ""
        for high, helix in HELIX:
            own = lengths[(lengths > low) & (lengths <= high)]
            reach = f"to {self._say(high)}" if isfinite(high) else f"over {self._say(low)}"
            note = f", in rows {reach} (less far in sandy ground)"
            if (own > allow.braced_m).any():
                note += f"; brace the ends of rows over {self._say(allow.braced_m)}"
            if len(own):
                size = f"{length} long{thick}, helix {self._fine(helix)}"
                yield line_of("anchor", size, 2.0 * len(own), where + note, f"{2 * len(own):,}")
            low = high

    def _each(self, item: str, piece: Piece, number: int, where: str) -> Iterator[MaterialLine]:
        if number:
            thick = f", {self._deep(piece.thick_m)} thick" if piece.thick_m else ""
            size = f"{self._say(piece.length_m)} long{thick}"
            yield line_of(item, size, float(number), where, f"{number:,}")

    def _volume(self, item: str, size: str, volume: float, where: str) -> Iterator[MaterialLine]:
        if volume > 0:
            us = self.units == "us"
            shown = f"{volume / CUBIC_YARD:,.1f} cu yd" if us else f"{volume:,.1f} m3"
            yield line_of(item, size, volume, where, shown)

    def _say(self, length: float) -> str:
        return show_length(length, self.units)

    def _deep(self, depth: float) -> str:
        """Say a depth in inches or centimetres."""
        value, unit = (depth / INCH, "in") if self.units == "us" else (depth * 100, "cm")
        return f"{value:.1f}".removesuffix(".0") + f" {unit}"

    def _fine(self, size: float) -> str:
        """Say the size of ironwork in inches or millimetres."""
        return f"{size / INCH:.4g} in" if self.units == "us" else f"{size * 1000:.0f} mm"

    def _long(self, length: float) -> str:
        """Say a length to buy, whole feet or metres."""
        return f"{ceil(round(length / FOOT, 3)):,} ft" if self.units == "us" else f"{ceil(round(length, 3)):,} m"
