"""What a spacing will ask of the grower, in a few plain sentences."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from setout.model import Block, BlockRoom, Plant
from setout.model.system import HEDGES, IN_ROWS
from setout.units import show_length

NEXT_ROW_M = 1e-3
"""A nearest neighbour nearer than the step by more than this stands in the next row [m]."""
NOTHING = 0.005
"""A pruning load up to this reads as no per cent."""


def plain_words(room: BlockRoom, block: Block, units: str) -> list[str]:
    """Say in two to four sentences what a block's spacing gives and asks."""
    if not room.trees:
        return ["Nothing stands in this block."]
    if not np.isfinite(room.spread_m):
        stand = f"The nearest neighbour stands {show_length(room.nearest_m, units)} away." if np.isfinite(room.nearest_m) else ""
        unknown = "How wide the plants grow is not known, so room, pruning and cover cannot be told: name a plant or a spread."
        return [sentence for sentence in (stand, unknown) if sentence]
    said = [_room(room, block, units), _pruning(room, block, units), _years(room, block), _alley(room, units)]
    return [sentence for sentence in said if sentence]


def about(metres: float, units: str) -> str:
    """Return a length to one decimal, without a needless zero.

    >>> about(0.578 * 0.3048, "us"), about(4.572, "us")
    ('0.6 ft', '15 ft')
    """
    number, unit = show_length(metres, units, 1).split()
    return f"{number.removesuffix('.0')} {unit}"


def _room(room: BlockRoom, block: Block, units: str) -> str:
    wide = about(room.spread_m, units)
    if not np.isfinite(room.nearest_m):
        return f"The plant is {wide} wide when grown and has no neighbour."
    across = room.nearest_m < block.pattern.step_m - NEXT_ROW_M and block.pattern.kind not in IN_ROWS | {"points"}
    where = "in the next row" if across else "in the row" if block.pattern.kind in IN_ROWS else "away"
    far = show_length(room.nearest_m, units)
    stand = f"Plants {wide} wide when grown stand {far} from their nearest neighbour" + (f" {where}" if where != "away" else "")
    if room.overlap_share * 2 >= 1:
        by = f"canopies overlap by {about(room.overlap_m, units)}{' across rows' if across else ''}"
        share = f"{100 * room.overlap_m / room.spread_m:.0f} % of their width"
        wanted = ", as they should to close the row" if block.pattern.kind in HEDGES else ""
        return f"{stand}: {by} ({share}){wanted}."
    gap = room.nearest_m - room.spread_m
    rest = f": {about(gap, units)} stays open between them" if gap > 0.01 else ": they just touch"
    few = f", though {100 * room.overlap_share:.0f} % of them reach into a neighbour" if room.overlap_share >= 0.005 else ""
    return f"{stand}{rest}{few}."


def _pruning(room: BlockRoom, block: Block, units: str) -> str:
    load, habits = room.pruning_load_median, {plant.habit for plant in block.plants}
    if not np.isfinite(load):
        return ""
    hours = (
        f" About {_rounded(room.hours_per_year)} hours a year for the block ({', '.join(room.hours_sources)})."
        if np.isfinite(room.hours_per_year)
        else ""
    )
    if habits == {"vine"}:
        return (
            "Vines are cut back hard every winter whatever the spacing: more than 90 % of last year's wood comes off "
            "(Ohio State University)." + hours
        )
    if habits == {"cane"}:
        return (
            "Canes that have fruited come out every year whatever the spacing (Ohio State University Extension): about half "
            "of what stands, as each lives two years." + hours
        )
    if load <= NOTHING and room.overlap_share * 2 >= 1 and block.pattern.kind in IN_ROWS:
        return "No canopy has to come off across the row; along it they are meant to grow into each other." + hours
    if load <= NOTHING and room.overlap_share >= 0.005:
        return "Most have their room; only canopies that reach into a neighbour have a little to come off." + hours
    if load <= NOTHING:
        return "They have full room: no canopy has to come off for want of space, only what a tree's health and shape ask." + hours
    kept = f"each in its room (as a canopy {about(room.room_m, units)} wide)"
    if block.pattern.kind in IN_ROWS:
        kept = f"the row {about(room.spread_m, units)} wide"
    share = f"{100 * load:.0f} %" if load >= 0.01 else "under 1 %"
    return f"Keeping {kept} takes off {share} of what each plant would grow.{hours}"


def _years(room: BlockRoom, block: Block) -> str:
    full = f"grown canopies cover {100 * room.cover_by_year[-1][1]:.0f} % of the ground" if room.cover_by_year else ""
    hedge, leave = block.pattern.kind in HEDGES, _fillers_leave(block.plants)
    if room.meet_year is None or room.overlap_share == 0:  # canopies that just touch when grown do so in no year to name
        told = [f"the fillers come out in year {leave}"] * bool(leave) + [full] * bool(full)
        said = "; ".join(told)
        return f"{said[0].upper()}{said[1:]}." if said else ""
    met = f"{'The row closes' if hedge else 'Canopies of neighbours meet'} in about year {room.meet_year}"
    until = f"; the fillers come out in year {leave}" if leave else ""
    return f"{met}{until}{'; ' + full if full else ''}."


def _alley(room: BlockRoom, units: str) -> str:
    if not np.isfinite(room.clear_alley_m):
        return ""
    if room.clear_alley_m <= 0.01:
        return "No clear alley stays between rows at maturity: machines pass under the canopies or not at all."
    return f"A clear alley of {about(room.clear_alley_m, units)} stays between the canopies of two rows."


def _rounded(hours: float) -> str:
    """Return hours to two figures, which is more than the rates are worth."""
    if hours < 1:
        return f"{hours:.1f}"
    digits = max(int(np.floor(np.log10(hours))) - 1, 0)
    return f"{round(hours / 10**digits) * 10**digits:,}"


def _fillers_leave(plants: Sequence[Plant]) -> int:
    """Return the first year in which some of the plants come out; 0 where all stay."""
    return min((plant.remove_year for plant in plants if plant.remove_year), default=0)
