"""The plan file's blocks: which pattern, how wide, which way, and with what."""

from __future__ import annotations

import difflib
from typing import Annotated, Literal, Self

from pydantic import Field, field_validator, model_validator

from setout import units
from setout.model import Block, Dealing, Pattern, Plant
from setout.model.asked import BlockAsked
from setout.planfile.quantities import EQUILATERAL, Distance, Length, Name, Reference, Section, Size, Written, one_or_many
from setout.planfile.systems import (
    AlleySection,
    BedSection,
    FallSection,
    PairSection,
    PlantSection,
    PollinizerSection,
    TrellisSection,
    held,
)

PatternKind = Literal["square", "rectangular", "offset", "quincunx", "hedgerow", "trellis", "bed", "contour rows", "screen", "points"]
OWN_ROWS = ("hedgerow", "trellis", "bed")
"""Patterns whose rows each take the phase that fits them, unless the plan file says otherwise."""
NEEDS_ROWS = ("rectangular", "hedgerow", "trellis", "bed", "contour rows")
SHARES_OFF = 1.0
"""Percentages that were rounded, as three of 33.3 %, may add up to so much less or more than 100."""
WORDS = ("north-south", "east-west", "longest side", "best", "contour")


class BlockSection(Section):
    """One part of the ground, planted in one pattern; a table for each."""

    name: Annotated[Name, Field(min_length=1)]
    """Short; begins every tree number."""
    area: Reference | None = None
    """Its polygon. Absent: all usable ground that no other block takes; one block only. Screens and single plants need none."""
    pattern: PatternKind
    """`square`, `rectangular`, `offset` (every second row shifted half a step), `quincunx`, `hedgerow`, `trellis`, `bed`, `contour rows`,
    `screen` or `points`."""
    step: Distance | None = None
    """Distance in the row; in a bed, between its plants. Absent: needed, but for points; bed: its length."""
    row_distance: Annotated[Distance | None, Written("row distance", "length")] = None
    """Distance between rows, or `equilateral`: 0.866 of the step; of contour rows the least. Absent: offset: equilateral; square,
    quincunx: the step; else needed."""
    row_distance_max: Distance | None = None
    """Greatest row distance of contour rows. Absent: no limit."""
    direction: Annotated[float | str, Written("direction", "text")] = "best"
    """`north-south`, `east-west`, `N 20 E`, `110 deg`, `longest side`, `best`: searched, `contour`, or `guide:file:layer`: parallel to a
    surveyed line."""
    headland: Length = 0.0
    """Clear ground at both row ends, from the edge of the block's ground."""
    alley: AlleySection | None = None
    """A wider gap after every so many rows. Absent: none."""
    rows: Literal["lined up", "free"] | None = None
    """`lined up`, or `free`: each row starts where it fits best. Absent: `free` for hedgerow, trellis and bed, else `lined up`."""
    lines: int = Field(1, ge=1, le=12)
    """Lines of plants in one row of a hedgerow, bed or screen, staggered (not in beds)."""
    line_distance: Distance | None = None
    """Distance between those lines. Absent: needed with `lines`."""
    trellis: TrellisSection | None = None
    """Posts, wires and anchors of a trellis. Absent: as its keys say."""
    bed: BedSection | None = None
    """A raised bed. Absent: needed for the pattern `bed`."""
    pair: PairSection | None = None
    """Two partners at every position. Absent: one plant at each."""
    fall: FallSection | None = None
    """How contour rows fall along their length. Absent: as its keys say."""
    line: Reference | None = None
    """The line of a screen. Absent: needed for a screen."""
    points: Reference | None = None
    """Positions of single plants. Absent: needed for `points`."""
    purpose: Literal["hide", "shade"] | None = None
    """What a screen is for: `hide` or `shade`. Absent: not said."""
    yard: Reference | None = None
    """The yard it serves. Absent: needed for `shade`."""
    spread: Size | None = None
    """Mature canopy diameter. Absent: from the catalogue."""
    height: Size | None = None
    """Mature height. Absent: from the catalogue."""
    held_to: Size | None = None
    """Smaller size that pruning holds the plants at. Absent: not held."""
    plants: tuple[PlantSection, ...] = ()
    """What is planted, a table for each plant. Absent: trees without a kind."""
    plants_by: Literal["share", "rows"] = "share"
    """How plants are dealt out: `share` (spread evenly along the walk) or `rows` (whole rows by turns)."""
    pollinizer: PollinizerSection | None = None
    """The second plant takes each so-many-th tree of each so-many-th row. Absent: dealt out as the others."""
    emitters: int | None = Field(None, ge=1, le=100)
    """Outlets at each tree of the block, or at each two that share. Absent: `water.emitter.per_tree`."""

    _plants = field_validator("plants", mode="before")(one_or_many)

    @field_validator("name", mode="before")
    @classmethod
    def _text(cls, value: object) -> object:
        return str(value) if isinstance(value, int) and not isinstance(value, bool) else value

    @field_validator("row_distance", mode="before")
    @classmethod
    def _equilateral(cls, value: object) -> object:
        return None if value == "equilateral" else value

    @field_validator("direction", mode="before")
    @classmethod
    def _direction(cls, value: object) -> object:
        said = 'write "north-south", "N 20 E", "110 deg", "longest side", "best", "contour" or "guide:file:layer"'
        if not isinstance(value, str):
            raise ValueError(f"{value!r} is not a direction; {said}")
        if value in ("longest side", "best", "contour") or value.startswith("guide:"):
            return value
        try:
            return units.bearing(value)
        except ValueError:
            near = difflib.get_close_matches(value, WORDS, 1, 0.5)
            hint = f'; did you mean "{near[0]}"?' if near else ""
            raise ValueError(f'"{value}" is not a direction; {said}{hint}') from None

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        faults = [*_pattern_faults(self), *_system_faults(self), *_contour_faults(self), *_plant_faults(self)]
        if faults:
            raise ValueError("\n".join(faults))
        return self

    @property
    def guide(self) -> str | None:
        """Return the reference to the guide line that the direction names; None for another direction."""
        if isinstance(self.direction, str) and self.direction.startswith("guide:"):
            return self.direction.removeprefix("guide:")
        return None

    @property
    def way(self) -> float | Literal["longest side", "best", "contour", "guide"]:
        """Return the direction of the rows as a block takes it."""
        if self.pattern == "contour rows":
            return "contour"
        if self.guide is not None or self.pattern == "screen":
            return "guide"
        return self.direction  # type: ignore[return-value]  # the validator has made it so

    def value(self) -> BlockAsked:
        """Return what the section says."""
        block = Block(self.name, None, self.to_pattern(), self.way, self.to_plants(), self.to_dealing(), purpose=self.purpose or "")
        return BlockAsked(block, self.area, self.guide or self.line, self.points, self.yard)

    def to_pattern(self) -> Pattern:
        """Return the set-out this section describes [m]."""
        step, rows, shift = self.step or 0.0, self.row_distance, 0.0
        if self.pattern == "bed" and self.bed is not None:
            step = self.step or self.bed.length
        if self.pattern == "square":
            rows = step
        elif self.pattern == "quincunx":
            rows, shift = step / 2, 0.5
        elif self.pattern == "offset":
            rows, shift = rows or step * EQUILATERAL, 0.5
        alley, fall = self.alley, self.fall or FallSection()
        free = self.rows == "free" if self.rows is not None else self.pattern in OWN_ROWS and self.lines == 1
        return Pattern(
            self.pattern,
            step,
            rows if rows is not None else step,
            shift,
            alley.every if alley else 0,
            alley.width if alley else 0.0,
            self.headland,
            free,
            self.lines,
            self.line_distance or 0.0,
            (self.trellis or TrellisSection()).value() if self.pattern == "trellis" else None,
            self.bed.value() if self.bed is not None else None,
            self.pair.value() if self.pair is not None else None,
            self.row_distance_max or float("inf"),
            (fall.least, fall.most),
        )

    def to_plants(self) -> tuple[Plant, ...]:
        """Return the block's plants with the sizes that the plan file or the catalogue gives [m]."""
        if self.plants:
            return tuple(plant.value(self.spread, self.height, self.held_to) for plant in self.plants)
        nan = float("nan")
        wide, tall = (nan if size is None else size for size in (self.spread, self.height))
        if wide != wide and tall != tall and self.held_to is None:
            return ()
        return (
            Plant("", spread_m=held(wide, self.held_to), height_m=held(tall, self.held_to), natural_spread_m=wide, natural_height_m=tall),
        )

    def to_dealing(self) -> Dealing:
        """Return how the plants are dealt out."""
        if self.pollinizer is not None:
            return Dealing("every", self.pollinizer.every_tree, self.pollinizer.every_row)
        return Dealing(self.plants_by)


def _pattern_faults(block: BlockSection) -> list[str]:
    """Return what is wrong with step, rows and pattern."""
    kind, step, rows = block.pattern, block.step, block.row_distance
    found = []
    if step is None and kind not in ("points", "bed"):
        found.append('step is missing; add it, such as step = "16 ft"')
    if kind in NEEDS_ROWS and rows is None:
        found.append(f'a {kind} pattern needs row_distance; add it, such as row_distance = "20 ft"')
    if kind == "square" and rows not in (None, step):
        found.append('a square pattern has row_distance = step; leave it out, or write pattern = "rectangular"')
    if kind == "quincunx" and rows not in (None, step):
        found.append("a quincunx is a square with one more plant at its middle; leave row_distance out")
    if block.alley is not None and block.alley.width < block.to_pattern().row_distance_m:
        found.append("alley.width is less than the row distance; an alley is a wider gap: widen it")
    if block.rows == "free" and (kind in ("quincunx", "offset") or (rows or step or 0.0) < (step or 0.0)):
        found.append(
            'rows = "free" lets neighbours of the next row come nearer than the step; widen row_distance to the step, or leave it out'
        )
    if block.row_distance_max is not None and rows is not None and block.row_distance_max < rows:
        found.append("row_distance_max is less than row_distance; give a range from the least to the greatest")
    if block.lines > 1 and block.line_distance is None:
        found.append('lines needs line_distance; add it, such as line_distance = "3 ft"')
    if block.lines > 1 and rows is not None and (block.lines - 1) * (block.line_distance or 0.0) >= rows:
        found.append("the lines of one row reach into the next; widen row_distance or lessen line_distance")
    if block.lines > 1 and kind not in ("hedgerow", "screen", "bed"):
        found.append(f'a {kind} pattern has one line in a row; write pattern = "hedgerow" for several')
    return found


def _system_faults(block: BlockSection) -> list[str]:
    """Return what is wrong with the tables that belong to one kind of pattern."""
    kind, found = block.pattern, []
    belongs = {"trellis": "trellis", "bed": "bed", "points": "points"} | dict.fromkeys(("line", "purpose", "yard"), "screen")
    for key, owner in belongs.items():
        if getattr(block, key) is not None and kind != owner:
            found.append(f'{key} belongs to pattern = "{owner}"; leave it out, or change the pattern')
    if kind == "bed" and block.bed is None:
        found.append('a bed pattern needs its beds; add bed = { length = "12 ft", width = "3 ft" }')
    if block.bed is not None and block.row_distance is not None and block.bed.width > block.row_distance:
        found.append("beds are wider than their row distance; widen row_distance to the bed and a path")
    if block.bed is not None and block.lines > 1 and (block.lines - 1) * (block.line_distance or 0.0) > block.bed.width:
        found.append("the lines of plants are wider than the bed; lessen line_distance or widen the bed")
    if block.bed is not None and (block.step or 0.0) > block.bed.length:
        found.append("the step is longer than the bed; lessen the step, or lengthen the bed")
    if kind == "screen" and block.line is None:
        found.append('a screen needs its line; add line = "file:layer"')
    if kind == "points" and block.points is None:
        found.append('a points pattern needs its positions; add points = "file:layer"')
    if block.purpose == "shade" and block.yard is None:
        found.append('a screen that shades needs the yard it serves; add yard = "file:layer"')
    return found


def _contour_faults(block: BlockSection) -> list[str]:
    """Return the keys of rows on the contour that another pattern has no use for."""
    if block.pattern == "contour rows" or block.direction == "contour":
        return []
    return [
        f'{key} belongs to rows on the contour; leave it out, or write pattern = "contour rows"'
        for key in ("fall", "row_distance_max")
        if getattr(block, key) is not None
    ]


def _plant_faults(block: BlockSection) -> list[str]:
    """Return what is wrong with pairs, pollinizers and the plants' shares and counts."""
    found = []
    if block.pair is not None and block.step is not None and block.pair.distance >= block.to_pattern().nearest_m:
        found.append(
            "partners of a pair stand as far from each other as from the next pair; lessen pair.distance, or widen step and row_distance"
        )
    if block.pair is not None and block.pollinizer is not None:
        found.append("pollinizer and pair do not go together; the partner of a pair is its pollinizer: leave pollinizer out")
    if block.pair is not None and any(plant.role == "filler" for plant in block.plants):
        found.append("fillers do not go into pairs; leave the filler or the pair out")
    found += _share_faults(block)
    if any(plant.count is not None and plant.share != 1.0 for plant in block.plants):
        found.append("a plant has either a count or a share; leave one of them out")
    if block.pollinizer is not None and len(block.plants) < 2:
        found.append("a pollinizer is the block's second plant; name at least two plants")
    return found


def _share_faults(block: BlockSection) -> list[str]:
    """Return what is wrong with shares of one whole: percentages and fractions have to add up to it."""
    plants = [plant for plant in block.plants if plant.count is None]
    if block.pair is not None:
        plants = [plant for plant in block.plants[1:] if plant.count is None]
    elif block.pollinizer is not None:
        plants = [plant for k, plant in enumerate(block.plants) if k != 1 and plant.count is None]
    found = []
    for group in ([plant for plant in plants if plant.role == "filler"], [plant for plant in plants if plant.role != "filler"]):
        total, percent = sum(plant.share for plant in group), [plant.in_percent for plant in group]
        if any(percent) and not all(percent):
            found.append('shares are percentages and numbers of parts; write all of them the one way, such as "80 %"')
        elif any(percent) and abs(total - 100) > SHARES_OFF + 1e-9:
            found.append(f"the shares of its plants add up to {total:.6g} %, not 100 %; mend them, or write numbers of parts")
        elif len(group) > 1 and all(plant.share < 1 for plant in group) and abs(total - 1) > SHARES_OFF / 100 + 1e-9:
            found.append(f"the shares of its plants add up to {total:.6g}, not 1; mend them, or write whole numbers of parts")
    return found
