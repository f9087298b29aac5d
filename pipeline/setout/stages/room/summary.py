"""The summary of a block's room, and the figures of the trade that it is judged by."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

HEIGHT_TO_ALLEY: Final = 0.8
"""Greatest height of a hedgerow as a share of its clear alley (common practice, from memory; some go up to 1.0)."""
LIGHT_EXTRA_M: Final = 1.0
"""What is added to half the row distance for the height with the best light [m] (fruit encyclopedia, chapter on orchard
design and tree quality)."""


@dataclass(frozen=True, slots=True)
class BlockRoom:
    """What a block's spacing gives and asks at maturity; NaN where a size is unknown.

    Attributes
    ----------
    block : index of the block in the site
    trees : how many stand in it
    nearest_m : median distance to the nearest neighbour that is no partner [m]
    spread_m : median spread as kept [m]
    crowding_median : median crowding
    overlap_m : median overlap of those canopies that overlap [m]
    overlap_share : share of the trees whose canopy reaches into a neighbour's
    room_m : median diameter of the room [m]
    pruning_load_median, pruning_class : median pruning load, and its class in words
    hours_per_year : hours of pruning in a year at maturity [h]
    clear_alley_m : clear width between the canopies of two rows [m]; below 0 where they overlap
    meet_year : year after planting in which canopies of neighbours meet; None for never or unknown
    cover_by_year : years after planting, and share of the block's ground under canopy; empty where unknown
    """

    block: int
    trees: int
    nearest_m: float
    spread_m: float
    crowding_median: float
    overlap_m: float
    overlap_share: float
    room_m: float
    pruning_load_median: float
    pruning_class: str
    hours_per_year: float
    clear_alley_m: float
    meet_year: int | None
    cover_by_year: tuple[tuple[int, float], ...]


def height_for_alley(clear_alley_m: float) -> float:
    """Return how tall a hedgerow may grow beside a clear alley.

    Parameters
    ----------
    clear_alley_m : float
        Clear width between the canopies of two rows [m].

    Returns
    -------
    float
        Height [m]: 0.8 of the alley (common practice, from memory).

    Examples
    --------
    Rows 20 ft apart with canopies 7 ft wide:

    >>> round(height_for_alley((20 - 7) * 0.3048) / 0.3048, 3)
    10.4
    """
    return HEIGHT_TO_ALLEY * max(clear_alley_m, 0.0)


def height_for_light(row_distance_m: float) -> float:
    """Return the tree height with the best light.

    Parameters
    ----------
    row_distance_m : float
        Distance between row lines [m].

    Returns
    -------
    float
        Height [m]: half the row distance and 1 m (fruit encyclopedia, chapter on orchard design and tree quality).

    Examples
    --------
    >>> [round(height_for_light(rows * 0.3048) / 0.3048, 2) for rows in (12, 16, 20, 24)]
    [9.28, 11.28, 13.28, 15.28]
    """
    return row_distance_m / 2 + LIGHT_EXTRA_M
