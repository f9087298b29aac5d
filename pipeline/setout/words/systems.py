"""Planting systems in words: how a block is set out, and what belongs to it beside its trees."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from setout.units import FOOT, show_area, show_length
from setout.words.amounts import show_volume
from setout.words.plan import bearing_text, plant_label

if TYPE_CHECKING:
    from collections.abc import Iterator

    from setout.model import Block, OrderLine, Pattern, Plant, Planting

FILLER: Final = "filler"
"""Role of plants that come out again."""
CALENDAR: Final = 1000
"""A year to take fillers out is one of the calendar from here on, one of the planting's life below."""
TITLES: Final = {
    "square": "square",
    "rectangular": "rectangular",
    "offset": "offset rows",
    "quincunx": "quincunx",
    "hedgerow": "hedgerow",
    "trellis": "trellis rows",
    "bed": "raised beds",
    "contour rows": "contour rows",
    "screen": "screen",
    "points": "single plants",
}
PURPOSES: Final = {"hide": "Screen to hide", "shade": "Screen to shade"}


@dataclass(frozen=True, slots=True)
class System:
    """One block's planting system as the report tells it.

    Attributes
    ----------
    name, title : of the block, and of its pattern
    said : sentences on how it is set out
    facts : (label, value) of what belongs to it
    """

    name: str
    title: str
    said: tuple[str, ...]
    facts: tuple[tuple[str, str], ...]


def title_of(pattern: Pattern) -> str:
    """Return what a pattern is called.

    >>> from setout.model import Pattern
    >>> title_of(Pattern("hedgerow", 1.2, 4.0, lines=2, line_distance_m=0.9)), title_of(Pattern("square", 9.0, 9.0))
    ('double hedgerow', 'square')
    """
    title = TITLES.get(pattern.kind, pattern.kind)
    many = {1: "", 2: "double "}.get(pattern.lines, f"{pattern.lines}-line ")
    return many + title if pattern.kind in ("hedgerow", "screen") else title


def short_words(pattern: Pattern, units: str) -> str:
    """Say a pattern in a few words.

    >>> from setout.model import Bed, Pair, Pattern
    >>> short_words(Pattern("offset", 5.4864, 4.2672, 0.5), "us")
    'offset rows, 18 ft by 14 ft'
    >>> short_words(Pattern("bed", 0.9144, 2.4384, bed=Bed(3.6576, 0.9144, 0.9144, 0.0762)), "us")
    'raised beds of 12 ft by 3 ft'
    >>> short_words(Pattern("square", 6.096, 6.096, pair=Pair(1.8288)), "us")
    'square, 20 ft by 20 ft, pairs 6 ft apart'
    """
    step, rows = show_length(pattern.step_m, units), show_length(pattern.row_distance_m, units)
    title = title_of(pattern)
    if pattern.bed is not None:
        long, wide = show_length(pattern.bed.length_m, units), show_length(pattern.bed.width_m, units)
        said = f"{title} of {long} by {wide}"
    elif pattern.kind == "points":
        said = title
    elif pattern.kind == "screen":
        said = f"{title}, {step}"
    else:
        said = f"{title}, {step} by {rows}"
    return said + (f", pairs {show_length(pattern.pair.distance_m, units)} apart" if pattern.pair is not None else "")


def out_in(plant: Plant) -> str:
    """Say when a temporary plant comes out; empty for one that stays.

    >>> from setout.model import Plant
    >>> out_in(Plant("peach", remove_year=12)), out_in(Plant("peach", remove_year=2041)), out_in(Plant("pecan"))
    ('in year 12', 'in 2041', '')
    """
    if not plant.remove_year:
        return ""
    return f"in {plant.remove_year}" if plant.remove_year > CALENDAR else f"in year {plant.remove_year}"


def systems(planting: Planting) -> tuple[System, ...]:
    """Tell every block's planting system."""
    return tuple(
        System(block.name, title_of(block.pattern), tuple(_sentences(block, planting.site.units)), tuple(_facts(planting, index)))
        for index, block in enumerate(planting.site.blocks)
    )


def _sentences(block: Block, units: str) -> Iterator[str]:
    pattern = block.pattern
    yield _first_sentence(pattern, units)
    if pattern.lines > 1:
        apart = show_length(pattern.line_distance_m, units)
        where = "bed" if pattern.bed is not None else "row"
        stagger = "" if pattern.bed is not None else ", staggered by half a step"
        yield f"Each {where} has {pattern.lines} lines of plants {apart} apart{stagger}."
    if pattern.pair is not None:
        apart, axis = show_length(pattern.pair.distance_m, units), bearing_text(pattern.pair.axis_deg)
        yield f"Two partners stand at every position, {apart} apart on an axis {axis}; the first plant is the one further north."
    if pattern.alley_every:
        width = show_length(pattern.alley_width_m, units)
        yield f"After every {pattern.alley_every} rows an alley of {width} stays open."
    if block.direction == "guide" and pattern.kind != "screen":
        yield "Rows run parallel to a surveyed line."


def _first_sentence(pattern: Pattern, units: str) -> str:
    step, rows = show_length(pattern.step_m, units), show_length(pattern.row_distance_m, units)
    kind = pattern.kind
    if kind == "bed" and pattern.bed is not None:
        bed = pattern.bed
        long, wide = show_length(bed.length_m, units), show_length(bed.width_m, units)
        gap, path = show_length(bed.gap_m, units), show_length(pattern.row_distance_m - bed.width_m, units)
        return f"Beds {long} long and {wide} wide, {gap} apart in the row, with paths of {path} between rows; plants {step} apart in them."
    if kind == "contour rows":
        most = pattern.row_distance_max_m
        between = f"{rows} to {show_length(most, units)}" if math.isfinite(most) else f"at least {rows}"
        fall = f", falling at most {100 * pattern.fall[1]:.2g} % along the row" if math.isfinite(pattern.fall[1]) else ""
        return f"Rows follow level lines {between} apart{fall}; plants {step} apart in them."
    said = {
        "square": f"Plants stand at the corners of squares of {step}.",
        "offset": f"Plants stand {step} apart in rows {rows} apart; every second row starts half a step further on.",
        "quincunx": f"Squares of {step}, with one more plant in the middle of each.",
        "hedgerow": f"Plants stand {step} apart, to close to a hedge, in rows {rows} apart.",
        "trellis": f"Plants stand {step} apart along wires, in rows {rows} apart.",
        "screen": f"Plants stand {step} apart along a surveyed line.",
        "points": "Plants stand where their positions are given one by one.",
    }
    return said.get(kind, f"Plants stand {step} apart in rows {rows} apart, lined up across the rows.")


def _facts(planting: Planting, index: int) -> Iterator[tuple[str, str]]:
    """Yield what belongs to one block; nothing that it has none of."""
    block, units = planting.site.blocks[index], planting.site.units
    yield from _rows(planting, index)
    yield from _held(block, units)
    yield from _beds(planting, index)
    yield from _trellis(planting, index)
    own = planting.trees.block == index
    partner = planting.trees.partner
    pair = block.pattern.pair
    if pair is not None and partner.size == own.size:
        count = int((partner[own] >= 0).sum()) // 2
        axis = bearing_text(pair.axis_deg)
        yield "Pairs", f"{count:,}, {show_length(pair.distance_m, units)} apart, axis {axis}"
    for number, plant in enumerate(block.plants):
        if plant.remove_year or plant.role == FILLER:
            count = int((own & (planting.trees.plant == number)).sum())
            when = out_in(plant)
            label = plant_label(plant.name, plant.variety)
            yield "Comes out again", f"{label}: {count:,}" + (f", {when}" if when else "")
    if block.pattern.kind == "screen":
        yield from _screen(planting, index)


def _screen(planting: Planting, index: int) -> Iterator[tuple[str, str]]:
    block, units = planting.site.blocks[index], planting.site.units
    own = planting.rows.line[planting.rows.block == index]
    if block.purpose and block.yard is not None:
        away = float(shapely.distance(own, block.yard).min()) if own.size else math.nan
        far = f", {show_length(away, units)} away" if math.isfinite(away) else ""
        yield "Purpose", f"{block.purpose}: a yard of {show_area(block.yard.area, units)}{far}"
    elif block.purpose:
        yield "Purpose", block.purpose
    if math.isfinite(block.height_m):
        yield "Height", f"{show_length(block.height_m, units)} when grown"


def _rows(planting: Planting, index: int) -> Iterator[tuple[str, str]]:
    own = np.flatnonzero(planting.rows.block == index)
    length = float(planting.rows.length_m[own].sum())
    if not own.size or planting.site.blocks[index].pattern.kind == "points":
        return
    way = bearing_text(float(planting.rows.bearing_deg[own[0]]))
    together = " together" if own.size > 1 else ""
    yield "Rows", f"{own.size:,}{', ' + way if way else ''}, {_whole(length, planting.site.units)}{together}"


def _held(block: Block, units: str) -> Iterator[tuple[str, str]]:
    """Yield what is held smaller than it would grow, each plant once for all its varieties."""
    told: dict[str, None] = {}
    for plant in block.plants:
        if plant.natural_spread_m - plant.spread_m > 1e-6 or plant.natural_height_m - plant.height_m > 1e-6:
            kept = _size(plant.spread_m, plant.height_m, units)
            free = _size(plant.natural_spread_m, plant.natural_height_m, units)
            told[f"{plant.name or 'plants'}: {kept}; left alone {free}"] = None
    for said in told:
        yield "Held to", said


def _size(spread: float, height: float, units: str) -> str:
    known = ((spread, "wide"), (height, "tall"))
    return " and ".join(f"{show_length(size, units)} {way}" for size, way in known if math.isfinite(size))


def _beds(planting: Planting, index: int) -> Iterator[tuple[str, str]]:
    bed, units = planting.site.blocks[index].pattern.bed, planting.site.units
    own = planting.works.bed[planting.works.bed_block == index]
    if bed is None or not len(own):
        return
    area = float(shapely.area(own).sum())
    one = show_area(bed.length_m * bed.width_m, units)
    plants = int((planting.trees.block == index).sum())
    each = f"{plants // len(own)} plants in each" if plants % len(own) == 0 else f"{plants:,} plants in them"
    yield "Raised beds", f"{len(own):,} of {one}, {each}"
    yield "Bed area", show_area(area, units)
    if bed.mulch_m > 0:
        deep = f"{bed.mulch_m / FOOT * 12:.2g} in" if units == "us" else f"{bed.mulch_m * 100:.2g} cm"
        yield "Mulch", f"{show_volume(area * bed.mulch_m, units)}, {deep} deep"


def _trellis(planting: Planting, index: int) -> Iterator[tuple[str, str]]:
    trellis, works, units = planting.site.blocks[index].pattern.trellis, planting.works, planting.site.units
    end = works.post_end[works.post_block == index]
    if trellis is None or not len(end):
        return
    ends = int(end.sum())
    most = show_length(trellis.post_m, units)
    yield "Posts", f"{ends:,} end posts, {len(end) - ends:,} line posts, at most {most} apart"
    wire = works.wire_m.get(index, 0.0)
    if wire > 0:
        yield "Wire", f"{_whole(wire, units)} in {trellis.wires} wires, ties and waste not counted"
    if trellis.anchor_m > 0:
        yield "Anchors", f"{ends:,}, {show_length(trellis.anchor_m, units)} beyond the end posts"


def _whole(metres: float, units: str) -> str:
    return f"{round(metres / FOOT):,} ft" if units == "us" else f"{round(metres):,} m"


def order_note(line: OrderLine) -> str:
    """Say of plants to order that they come out again, and when; empty for what stays.

    >>> from setout.model import OrderLine
    >>> order_note(OrderLine("plum", "plum", "", "filler", "", "A", 5, 1, 12)), order_note(OrderLine("plum", "plum", "", "", "", "A", 5, 1))
    ('filler: out in year 12', '')
    """
    if not line.out_year:
        return ""
    year = f"{line.out_year}" if line.out_year > CALENDAR else f"year {line.out_year}"
    return f"{line.role or 'temporary'}: out in {year}"
