"""The plan file's table of what a grower buys by: sizes of stakes and posts, shares of spares and waste, mulch."""

from __future__ import annotations

from typing import Annotated, Any, Self

from pydantic import BeforeValidator, Field, model_validator

from setout.model.buying import COMMON_PRACTICE, Allowances, Piece
from setout.planfile.quantities import Distance, Label, Length, Section, Written
from setout.units import quantity


def _share(value: object) -> object:
    """Read a share as the number or as a percentage."""
    if isinstance(value, str):
        return quantity(value, "slope") if value.rstrip().endswith("%") else value
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value


Share = Annotated[float, BeforeValidator(_share), Field(ge=0, le=1), Written("share")]
Each = Annotated[int, Field(ge=0, le=20)]


class PieceSection(Section):
    """A stake, guard, post or anchor."""

    length: Distance
    """Its length."""
    thick: Length = 0.0
    """Its thickness. Absent: not said."""

    def value(self) -> Piece:
        """Return the piece [m]."""
        return Piece(self.length, self.thick)


class MaterialsSection(Section):
    """What geometry cannot tell of what there is to buy. Defaults are common practice."""

    spares: Share = COMMON_PRACTICE.spares
    """Plants to order beside, for those that do not take: a share, `0.05` or `"5 %"`."""
    stakes_per_tree: Each = COMMON_PRACTICE.stakes_per_tree
    """Stakes at a tree; shrubs, vines and canes get none."""
    guards_per_tree: Each = COMMON_PRACTICE.guards_per_tree
    """Trunk guards at a tree."""
    stake: PieceSection | None = None
    """A stake. Absent: 6 ft long, 2 in thick."""
    guard: PieceSection | None = None
    """A trunk guard. Absent: 2 ft long."""
    end_post: PieceSection | None = None
    """An end post. Absent: 10 ft long, 5 in thick."""
    line_post: PieceSection | None = None
    """A line post. Absent: 8 ft long, 3.5 in thick."""
    anchor: PieceSection | None = None
    """An earth anchor, by its shaft; how wide its helix is goes by the length of the row. Absent: 40 in long, 5/8 in thick."""
    braced: Distance = COMMON_PRACTICE.braced_m
    """Rows longer than this want braced ends instead of anchors. Absent: 600 ft."""
    wire: Label = COMMON_PRACTICE.wire
    """Kind of wire."""
    tying: Share = COMMON_PRACTICE.tying
    """Wire for knots, strainers and waste, as a share."""
    mulch_ring: Distance | None = None
    """A ring of mulch round every tree: its diameter. Absent: no mulch, but on beds."""
    mulch_depth: Distance | None = None
    """Depth of that ring. Absent: 3 in."""
    bed_soil: Length = COMMON_PRACTICE.bed_soil_m
    """Depth of soil brought in for raised beds; `0 ft` where they are drawn up from their ground. Absent: 8 in."""
    edging: bool = COMMON_PRACTICE.edging
    """Whether beds are edged."""

    @model_validator(mode="after")
    def _mulch_has_a_ring(self) -> Self:
        if self.mulch_depth is not None and self.mulch_ring is None:
            raise ValueError('mulch_depth is for rings of mulch round every tree; add mulch_ring = "3 ft", or leave it out')
        if self.mulch_depth is not None and self.mulch_ring is not None and self.mulch_depth > self.mulch_ring:
            raise ValueError('mulch_depth is more than mulch_ring; write a depth such as mulch_depth = "3 in"')
        return self

    def value(self) -> Allowances:
        """Return the allowances [m]."""
        pieces: dict[str, Any] = {
            name: piece.value()
            for name in ("stake", "guard", "end_post", "line_post", "anchor")
            if (piece := getattr(self, name)) is not None
        }
        if self.mulch_ring is not None:
            pieces |= {"tree_mulch": True, "ring_m": self.mulch_ring}
        if self.mulch_depth is not None:
            pieces["ring_depth_m"] = self.mulch_depth
        return Allowances(
            spares=self.spares,
            stakes_per_tree=self.stakes_per_tree,
            guards_per_tree=self.guards_per_tree,
            braced_m=self.braced,
            wire=self.wire,
            tying=self.tying,
            bed_soil_m=self.bed_soil,
            edging=self.edging,
            **pieces,
        )
