"""How a block is planted: pattern, plants, and what belongs to a row, a bed or a position."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from setout.model.base import Floats

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

LONGEST_SIDE: Final = "longest side"
"""Direction of a block whose rows run along the longest side of its ground, as a plan file writes it."""
CONTOUR_ROWS: Final = "contour rows"
"""Pattern whose rows follow the level, as a plan file writes it."""
IN_ROWS: Final = frozenset({"hedgerow", "screen", "trellis", "bed"})
"""Patterns whose plants are meant to grow into each other along the row."""
IN_GRID: Final = frozenset({"square", "rectangular", CONTOUR_ROWS})
"""Patterns whose positions stand at the corners of rectangles."""
HEDGES: Final = frozenset({"hedgerow", "screen"})
"""Those of them that make one wall of leaves."""


@dataclass(frozen=True, slots=True)
class Trellis:
    """Posts and wires along a row of vines or canes.

    Attributes
    ----------
    post_m : longest distance from post to post [m]
    end_m : distance from an end post to the first vine [m]
    anchor_m : room for the anchor beyond an end post [m]
    wires : wires, one above the other
    """

    post_m: float
    end_m: float
    anchor_m: float
    wires: int


@dataclass(frozen=True, slots=True)
class Bed:
    """A raised bed: length along the row, width across, gap to the next bed in the row, depth of mulch [m]."""

    length_m: float
    width_m: float
    gap_m: float
    mulch_m: float


@dataclass(frozen=True, slots=True)
class Pair:
    """Two partners at one position: how far apart [m], and the bearing from one to the other [deg]; NaN: the light chooses."""

    distance_m: float
    axis_deg: float = float("nan")


@dataclass(frozen=True, slots=True)
class Pattern:
    """How a block is set out.

    Attributes
    ----------
    kind : square, rectangular, offset, quincunx, hedgerow, trellis, bed, contour rows, screen or points
    step_m : distance in the row [m]
    row_distance_m : distance between row lines [m]; of contour rows the least
    shift : how far every second row is shifted along, as a share of the step (0 or 0.5)
    alley_every, alley_width_m : a gap of this width [m] instead of the row distance after every n rows; 0 for none
    headland_m : clear ground kept at both row ends [m]
    free_rows : rows need not line up across: each takes the phase that fits it best
    lines, line_distance_m : lines of plants in one row or bed, staggered by half a step, and their distance [m]
    trellis, bed, pair : what belongs to such a row, bed or position
    row_distance_max_m : greatest row distance of contour rows [m]
    fall : least and greatest fall along contour rows, rise over run
    """

    kind: str
    step_m: float
    row_distance_m: float
    shift: float = 0.0
    alley_every: int = 0
    alley_width_m: float = 0.0
    headland_m: float = 0.0
    free_rows: bool = False
    lines: int = 1
    line_distance_m: float = 0.0
    trellis: Trellis | None = None
    bed: Bed | None = None
    pair: Pair | None = None
    row_distance_max_m: float = float("inf")
    fall: tuple[float, float] = (0.0, float("inf"))

    @property
    def nearest_m(self) -> float:
        """Return the distance to the nearest neighbour that the geometry gives [m]; partners of a pair are one.

        >>> round(Pattern("offset", 16.0, 12.0, 0.5).nearest_m, 3), round(Pattern("quincunx", 24.0, 12.0, 0.5).nearest_m, 2)
        (14.422, 16.97)
        >>> round(Pattern("hedgerow", 4.0, 14.0, lines=2, line_distance_m=3.0).nearest_m, 3)
        3.606
        >>> round(Pattern("screen", 4.0, 4.0, lines=3, line_distance_m=3.0).nearest_m, 3)
        3.606
        >>> Pattern("hedgerow", 4.0, 14.0, lines=3, line_distance_m=1.0).nearest_m
        2.0
        """
        across = self._between_lines if self.kind == "screen" else min(self.row_distance_m, self._between_lines)
        if self.free_rows and self.lines == 1:
            return min(self.step_m, self.row_distance_m)
        shift = 0.0 if self.bed is not None else 0.5 if self.lines > 1 else self.shift
        side = shift * self.step_m
        diagonal = float(np.hypot(min(side, self.step_m - side), across))
        # the second line over stands abreast again
        abreast = 2 * across if shift and self.lines != 2 else np.inf
        return min(self.step_m, diagonal, abreast, self._row_to_row)

    @property
    def _between_lines(self) -> float:
        return self.line_distance_m if self.lines > 1 else np.inf

    @property
    def _row_to_row(self) -> float:
        """Return how near the outer lines of neighbouring rows come [m]; a screen has one row."""
        if self.lines == 1 or self.kind == "screen":
            return float("inf")
        return self.row_distance_m - (self.lines - 1) * self.line_distance_m

    @property
    def clearance_m(self) -> float:
        """Return how far ground is needed on both sides of a row's line [m]: half a bed, half a pair, half the lines."""
        half_bed = self.bed.width_m / 2 if self.bed is not None else 0.0
        half_pair = self.pair.distance_m / 2 if self.pair is not None else 0.0
        return half_bed + half_pair

    @property
    def row_end_m(self) -> float:
        """Return how much of every row piece is needed beyond its last position [m]: half a bed, or post and anchor."""
        half_bed = self.bed.length_m / 2 if self.bed is not None else 0.0
        return half_bed + (self.trellis.end_m + self.trellis.anchor_m if self.trellis is not None else 0.0)


@dataclass(frozen=True, slots=True)
class Plant:
    """What grows at a position.

    Attributes
    ----------
    name, variety, role : catalogue name; variety; such as "pollinizer" or "filler", empty for the main crop
    share : its share of the block, or its count where count is true
    spread_m, height_m : mature size as it is kept [m]; NaN unknown
    natural_spread_m, natural_height_m : mature size where it is left to grow [m]; NaN unknown
    species : for partners and cautions, such as "apple"
    bloom : early, mid or late; empty unknown
    pollination : "none", "partner" (a different variety), "male" or "female" (dioecious), or "" unknown
    pollination_m : how far a partner may stand [m]; NaN unknown
    agent : what carries the pollen, "bees" or "wind"; empty unknown
    years_to_full_size : NaN unknown
    habit : tree, shrub, vine or cane
    juglone : "makes" (walnuts), "suffers", or ""
    remove_year : year in which a filler comes out; 0 for permanent
    frost_tenderness : hardy, bloom at risk, half-hardy or tender; empty unknown
    kc_mid : crop coefficient in mid-season; NaN unknown
    growth : years after planting and spread then [m], ascending, as the grower has seen them; empty for the curve
    """

    name: str
    variety: str = ""
    role: str = ""
    share: float = 1.0
    spread_m: float = float("nan")
    height_m: float = float("nan")
    natural_spread_m: float = float("nan")
    natural_height_m: float = float("nan")
    species: str = ""
    bloom: str = ""
    pollination: str = ""
    pollination_m: float = float("nan")
    agent: str = ""
    years_to_full_size: float = float("nan")
    habit: str = "tree"
    juglone: str = ""
    count: bool = False
    remove_year: int = 0
    frost_tenderness: str = ""
    kc_mid: float = float("nan")
    growth: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Dealing:
    """How a block's plants are dealt out to its positions.

    Attributes
    ----------
    way : "share" (spread evenly along the walk), "rows" (whole rows by turns, as wide as the shares) or "every"
    every_tree, every_row : with "every", each such tree of each such row takes the second plant, the others the first
    """

    way: Literal["share", "rows", "every"] = "share"
    every_tree: int = 0
    every_row: int = 1


@dataclass(frozen=True, slots=True)
class Block:
    """One named part of the ground planted in one pattern.

    Attributes
    ----------
    name : the block's name
    area : its polygon in the frame, or None: all usable ground that no other block takes
    pattern : how it is set out
    direction : bearing of its rows [deg from true north], or "longest side", "best", "contour" or "guide"
    plants : what is planted, in the order of the plan file
    dealing : how they are dealt out
    line : the surveyed guide line, or the line of a screen, in the frame; None otherwise
    points : positions given one by one, (n, 2) in the frame; None otherwise
    purpose : of a screen, "hide" or "shade"; empty otherwise
    yard : the polygon that a screen serves, in the frame
    """

    name: str
    area: BaseGeometry | None
    pattern: Pattern
    direction: float | Literal["longest side", "best", "contour", "guide"]
    plants: tuple[Plant, ...]
    dealing: Dealing = Dealing()
    line: BaseGeometry | None = None
    points: Floats | None = None
    purpose: str = ""
    yard: BaseGeometry | None = None

    @property
    def spread_m(self) -> float:
        """Return the widest mature spread among the block's plants [m]; NaN when none is known."""
        known = [p.spread_m for p in self.plants if np.isfinite(p.spread_m)]
        return max(known, default=float("nan"))

    @property
    def stands_where_drawn(self) -> bool:
        """Return whether it takes no ground of its own: a screen along its line, or single trees at given points."""
        return self.area is None and self.pattern.kind in ("screen", "points")

    def apart_m(self, other: Block) -> float:
        """Return the distance that trees of two blocks keep [m].

        Half the sum of the two blocks' own nearest distances, or half the sum of their mature spreads where that is
        more: the centre distance at which two full-grown canopies just touch.

        >>> wide, close = Pattern("square", 9.0, 9.0), Pattern("square", 5.0, 5.0)
        >>> Block("A", None, wide, 0.0, ()).apart_m(Block("B", None, close, 0.0, ()))
        7.0
        """
        steps = (self.pattern.nearest_m + other.pattern.nearest_m) / 2
        spreads = (self.spread_m + other.spread_m) / 2
        return max(steps, spreads) if np.isfinite(spreads) else steps

    @property
    def height_m(self) -> float:
        """Return the greatest mature height among the block's plants [m]; NaN when none is known."""
        known = [p.height_m for p in self.plants if np.isfinite(p.height_m)]
        return max(known, default=float("nan"))
