"""What a grower buys beside plants, and what geometry cannot tell of it: sizes and shares."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from setout.model.base import Figure
from setout.model.planting import MaterialLine
from setout.units import FOOT


@dataclass(frozen=True, slots=True)
class Material:
    """What is bought: the name it is listed and priced under, and the unit it is counted in."""

    name: str
    unit: str


MATERIALS: Final[Mapping[str, Material]] = {
    "tree_stake": Material("tree stake", "each"),
    "trunk_guard": Material("trunk guard", "each"),
    "mulch": Material("mulch", "m3"),
    "end_post": Material("end post", "each"),
    "line_post": Material("line post", "each"),
    "anchor": Material("anchor", "each"),
    "wire": Material("wire", "m"),
    "bed_soil": Material("bed soil", "m3"),
    "bed_edging": Material("bed edging", "m"),
    "pipe_main": Material("pipe, main", "m"),
    "pipe_manifold": Material("pipe, manifold", "m"),
    "pipe_lateral": Material("pipe, lateral", "m"),
    "pipe_ring": Material("pipe, ring round the trunk", "m"),
    "drip_emitter": Material("drip emitter", "each"),
    "ring_emitter": Material("emitter in a ring round the trunk", "each"),
    "micro_sprinkler": Material("micro-sprinkler", "each"),
    "valve": Material("valve, electric", "each"),
    "pressure_regulator": Material("pressure regulator", "each"),
    "take_off": Material("take-off, manifold to lateral", "each"),
    "flush_end": Material("flush end", "each"),
    "flush_valve": Material("flush valve", "each"),
    "backflow_preventer": Material("backflow preventer", "each"),
    "filter": Material("filter", "each"),
    "relief_valve": Material("pressure relief and air valve", "each"),
}
"""Every material by its code."""


def line_of(item: str, quantity: float, block: str = "", words: str = "", **figures: Figure) -> MaterialLine:
    """Return a line of the materials, in the unit that the item is counted in.

    >>> line_of("wire", 30.48, "A", rows=2).unit
    'm'
    """
    return MaterialLine(item, quantity, MATERIALS[item].unit, block, words, figures)


INCH: Final = FOOT / 12


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece to buy: length and thickness [m]; 0 for a thickness that does not matter."""

    length_m: float
    thick_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Allowances:
    """What geometry cannot tell of the materials; every default is common practice, for the grower to set.

    Posts and anchors follow P. Domoto, Constructing a Vineyard Trellis (Iowa State University, 2002): end posts 5 in x
    10 ft, line posts 3-4 in x 8 ft, earth anchors with a shaft of 5/8 in x 40 in (1/2 x 36 in at the least) in rows up to
    600 ft, braced ends in longer ones; how wide the anchor's helix has to be is in :data:`HELIX`. Mulch is
    no deeper than 3 in (University of Florida IFAS, Best mulch management). The others are from memory.

    Attributes
    ----------
    spares : share of plants to order beside, for those that do not take
    stakes_per_tree, guards_per_tree : for plants that grow as a tree
    stake, guard, end_post, line_post, anchor : their sizes
    braced_m : rows longer than this want braced ends instead of anchors [m]
    wire : kind of wire
    tying : share of wire for knots, strainers and waste
    tree_mulch : whether every tree gets mulch of its own; those in beds have the bed's
    ring_m, ring_depth_m : diameter and depth of that mulch [m]
    bed_soil_m : depth of soil brought in for a bed [m]; 0 where a bed is drawn up from the ground it lies on
    edging : whether beds are edged
    """

    spares: float = 0.05
    stakes_per_tree: int = 1
    guards_per_tree: int = 1
    stake: Piece = Piece(6 * FOOT, 2 * INCH)
    guard: Piece = Piece(2 * FOOT)
    end_post: Piece = Piece(10 * FOOT, 5 * INCH)
    line_post: Piece = Piece(8 * FOOT, 3.5 * INCH)
    anchor: Piece = Piece(40 * INCH, INCH * 5 / 8)
    braced_m: float = 600 * FOOT
    wire: str = "12.5 gauge (2.5 mm), high-tensile, galvanised"
    tying: float = 0.05
    tree_mulch: bool = False
    ring_m: float = 3 * FOOT
    ring_depth_m: float = 3 * INCH
    bed_soil_m: float = 8 * INCH
    edging: bool = True


HELIX: Final = ((250 * FOOT, 4 * INCH), (float("inf"), 6 * INCH))
"""How long a row may be for an earth anchor, and how wide that anchor's helix is [m]: 4 in to about 250 ft, 6 in to 600 ft,
less in lighter, sandy soils (P. Domoto, as above); what is longer is braced."""
COMMON_PRACTICE: Final = Allowances()
"""The allowances where a grower sets none."""
