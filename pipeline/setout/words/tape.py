"""How a block is set out by tape, in words: the steps of its sheet."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

import numpy as np

from setout.units import FOOT, show_length
from setout.words.plan import bearing_text
from setout.words.systems import short_words

if TYPE_CHECKING:
    from setout.model import Planting
    from setout.model.staking import TapePlan, Tie

RIGHT_ANGLE: Final = {"us": (30 * FOOT, 40 * FOOT, 50 * FOOT), "si": (9.0, 12.0, 15.0)}
"""Sides of a right triangle, three, four and five parts [m] (Euclid, Elements I.47 and I.48: 3^2 + 4^2 = 5^2)."""
SLOPES: Final = (0.05, 0.10, 0.15, 0.20, 0.25)
CARE: Final = 2000
"""Ordinary care in taping: off by at most one part in so many (common practice)."""


def exact(metres: float, units: str) -> str:
    """Write a length as a tape is read: feet to the hundredth, or metres to the centimetre.

    >>> exact(4.8768, "us"), exact(12.3456, "si"), exact(-0.001, "si")
    ('16.00 ft', '12.35 m', '0.00 m')
    """
    value = metres / FOOT if units == "us" else metres
    return f"{value + 0.0 if abs(value) >= 0.005 else 0.0:,.2f} {'ft' if units == 'us' else 'm'}"


def degrees(angle: float) -> str:
    """Write an angle in degrees, minutes and seconds.

    >>> print(degrees(45.5), degrees(359.99999))
    45° 30' 00" 0° 00' 00"
    """
    seconds = round(angle * 3600) % (360 * 3600)
    return f"{seconds // 3600}° {seconds // 60 % 60:02d}' {seconds % 60:02d}\""


def tape_on_slope(level_m: float, slope: float) -> float:
    """Return what a tape laid on even ground of a slope reads for a level distance (Pythagoras).

    >>> round(tape_on_slope(100.0, 0.10), 3), round(tape_on_slope(100.0, 0.75), 3)
    (100.499, 125.0)
    """
    return level_m * math.hypot(1.0, slope)


def steps(planting: Planting, tape: TapePlan) -> Iterator[tuple[str, str]]:
    """Yield the steps of setting out a block by tape: heading and words."""
    units = planting.site.units
    pattern = planting.site.blocks[tape.block].pattern

    def far(metres: float) -> str:
        return exact(metres, units)

    yield "All distances are level.", _level(tape, units)
    yield from _references(tape, units)
    three, four, five = (show_length(side, units) for side in RIGHT_ANGLE[units])
    square = f"{three} along the line, {four} square to it: the third side must measure {five}."
    yield "Right angles, 3-4-5.", f"{square} Do it at every offset, with the largest triangle that fits."
    ends = f"From {tape.first.tree_id} to {tape.last.tree_id} it must measure {far(tape.base_m)}"
    run = f"and run {bearing_text(tape.bearing_deg)} from true north"
    yield "Check the baseline.", f"{ends}, {run}. If not, go back to step 2."
    yield "Rows.", _rows_words(planting, tape)
    yield "Trees.", f"{_sentence(short_words(pattern, units))} {_trees_words(planting, tape)}"
    if tape.diagonals:
        said = "; ".join(f"{d.start} to {d.end}: {far(d.distance_m)}" for d in tape.diagonals)
        wrong = "If one is long and the other short, the corners are not square."
        yield "Check the diagonals.", f"True level distances: {said}.{f' {wrong}' if tape.straight else ''}"


def _references(tape: TapePlan, units: str) -> Iterator[tuple[str, str]]:
    """Yield the steps from two monuments to both ends of the baseline."""

    def far(metres: float) -> str:
        return exact(metres, units)

    if not tape.a:
        none = "The boundary has no two corners to tape from"
        yield ("Reference.", f"{none}: set the first and last tree of the baseline from their coordinates (stakeout.csv).")
        return
    found = f"Find both boundary corners and measure between them: {far(tape.a_to_b_m)}."
    off = f"Stop if that is off by more than {far(max(tape.a_to_b_m / CARE, 0.03))} (1 in {CARE:,}, common practice)"
    yield f"Reference line {tape.a} to {tape.b}.", f"{found} {off}: one is not the corner that was surveyed."
    first, last = tape.first, tape.last
    taped = f"First tree {first.tree_id}: {_offset(tape, first, units)}. Last tree {last.tree_id}: {_offset(tape, last, units)}."
    turned = (
        f"Or with an instrument over {tape.a}, zero on {tape.b}, turn right: {degrees(first.angle_deg)} and"
        f" {far(first.from_a_m)} to the first, {degrees(last.angle_deg)} and {far(last.from_a_m)} to the last."
    )
    yield f"Both ends of the baseline, row {tape.base_row}.", f"{taped} {turned}"


def _sentence(words: str) -> str:
    words = words.strip().rstrip(".")
    return f"{words[:1].upper()}{words[1:]}." if words else ""


def _level(tape: TapePlan, units: str) -> str:
    length = 100 * FOOT if units == "us" else 50.0
    table = ", ".join(f"{s:.0%}: {exact(tape_on_slope(length, s), units)}" for s in SLOPES)
    words = (
        f"Hold the tape level, or lay it on the slope and pull more: for {show_length(length, units)} level it reads, by slope, {table}."
    )
    if math.isfinite(tape.median_slope):
        words += f" This block: middle slope {tape.median_slope:.0%}, steepest {tape.max_slope:.0%}."
    return words


def _offset(tape: TapePlan, tie: Tie, units: str) -> str:
    along, off = tie.along_m, tie.offset_m
    side = "left" if off >= 0 else "right"
    before = f"{exact(-along, units)} back beyond {tape.a}" if along < 0 else f"{exact(along, units)} from {tape.a}"
    check = f"{exact(tie.from_a_m, units)} from {tape.a} and {exact(tie.from_b_m, units)} from {tape.b}"
    return f"{before} on the line to {tape.b}, then {exact(abs(off), units)} square to the {side} (check: {check})"


def _rows_words(planting: Planting, tape: TapePlan) -> str:
    units = planting.site.units
    pattern = planting.site.blocks[tape.block].pattern
    if not tape.straight:
        return (
            "Rows bend or run several ways: set first and last trees by the table, each by offset from the baseline, and"
            " stake what lies between from coordinates (stakeout.csv). The tape only checks."
        )
    words = (
        f"Set the first tree of every row by the table: distance along the baseline from {tape.first.tree_id}, then the offset square to it"
    )
    words += f" (+ left, - right, looking to {tape.last.tree_id}). Rows lie {exact(pattern.row_distance_m, units)} apart"
    if pattern.alley_every:
        words += f", with an alley of {exact(pattern.alley_width_m, units)} after every {pattern.alley_every}"
    if pattern.shift:
        words += f"; every second row is shifted by {exact(pattern.shift * pattern.step_m, units)}"
    words += ". Set last trees the same way and sight between them"
    return words + (
        f". Plants of one row stand up to {exact(tape.aside_m, units)} aside of each other: the table is of its first and last plant."
        if tape.aside_m
        else "."
    )


def _trees_words(planting: Planting, tape: TapePlan) -> str:
    """Say how trees follow each other in a row, as far as a tape can set them."""
    units = planting.site.units
    pattern = planting.site.blocks[tape.block].pattern
    if not tape.straight:
        return f"Along the line of a row {exact(pattern.step_m, units)} from tree to tree: measure it as a check."
    steps = [exact(step, units) for step in tape.steps_m]
    if pattern.bed is not None and len(steps) > 1:
        words = (
            f"From the first plant of a row, {steps[0]} from plant to plant in a bed, and {steps[1]} from its last to the next bed's first"
        )
    elif pattern.bed is not None:
        words = f"From the first plant of a row, {steps[0]} to the plant of the next bed"
    elif pattern.pair is not None:
        words = f"From the first tree of a row, {steps[0]} from pair to pair{_partner_words(planting, tape)}"
    elif pattern.lines > 1:
        words = f"From the first tree of a row, {steps[0]} along the row to the next, which stands in another line"
    else:
        words = f"From the first tree of a row, step {steps[0]}"
    words += "; measure on along one tape held from the first tree, not from tree to tree."
    if any(not row.whole for row in tape.rows):
        words += " Rows marked * have gaps where nothing may be planted: beyond a gap set trees from coordinates (stakeout.csv)."
    return words


def _partner_words(planting: Planting, tape: TapePlan) -> str:
    """Say where the second plant of a pair stands from the first, as the first pair of the baseline has it."""
    trees = planting.trees
    own = np.flatnonzero((trees.block == tape.block) & (trees.row == tape.base_row))
    own = own[np.argsort(trees.position[own], kind="stable")][:2]
    if len(own) < 2:
        return ""
    way = float(np.diff(trees.x[own])[0]), float(np.diff(trees.y[own])[0])
    apart = exact(math.hypot(*way), planting.site.units)
    return f"; its partner {apart} away at {math.degrees(math.atan2(*way)) % 360:.0f}° from true north"
