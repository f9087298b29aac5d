"""Options for one block, what each of them gives and asks, and which are beaten."""

from __future__ import annotations

from dataclasses import dataclass

from setout.model.base import Finding


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one option gives and asks; every figure is of its block alone, at maturity; NaN where it cannot be known.

    Attributes
    ----------
    name, block : the option and the block it is for
    said : what is different, in the words of the plan file
    planned : this is what the plan file has
    pattern : kind of pattern
    step_m, row_distance_m : distances [m]; NaN where the pattern has none
    bearing_deg : of the rows from true north [deg]
    ground_m2 : usable ground of the block [m2]; NaN for a block that takes none of its own
    trees : positions planted
    nearest_m : median distance to the nearest neighbour that is no partner [m]
    spread_m, crowding : median spread as kept [m]; spread over distance
    overlap_m : median overlap of canopies that overlap [m]
    pruning_load : share of a free canopy that comes off
    pruning_h : hours of pruning in a year [h]
    work_h : hours of all work in a year [h]
    sun_h, sun_low_h : direct sun a day in the season: median of the trees that stay, of pairs the lighter partners, and worst
        tenth of all that stay [h]
    need_lpd, given_lpd : water needed at the peak by the block, and what the sources give in a day [l]
    alley_m : clear width between canopies of two rows [m]; below 0 where they overlap
    meet_year : year after planting in which canopies meet; None for never or unknown
    plants : plants to order, spares and all
    posts : trellis posts
    pipe_m : pipe along the rows [m]
    first_cost, yearly_cost : in the grower's own prices; NaN without them
    lacks : what the first cost does not hold, though the planting needs it
    sun_dark_h, sun_filler_h : medians of the darker partners of pairs, and of fillers in the last year in which they stand [h];
        NaN for none
    sun_wall : plants grow into walls, whose hours count by how squarely the sun meets their sides
    unpriced : names of what has no price, so that the first cost is not known
    beaten_by : the option that is at least as good in everything and better in something; empty for none
    """

    name: str
    block: str
    said: str
    planned: bool
    pattern: str
    step_m: float
    row_distance_m: float
    bearing_deg: float
    ground_m2: float
    trees: int
    nearest_m: float
    spread_m: float
    crowding: float
    overlap_m: float
    pruning_load: float
    pruning_h: float
    work_h: float
    sun_h: float
    sun_low_h: float
    need_lpd: float
    given_lpd: float
    alley_m: float
    meet_year: int | None
    plants: int
    posts: int
    pipe_m: float
    first_cost: float
    yearly_cost: float
    lacks: tuple[str, ...] = ()
    unpriced: tuple[str, ...] = ()
    beaten_by: str = ""
    sun_dark_h: float = float("nan")
    sun_filler_h: float = float("nan")
    sun_wall: bool = False

    @property
    def trees_per_ha(self) -> float:
        """Return trees on a hectare of the block's usable ground."""
        return self.trees / self.ground_m2 * 1e4 if self.ground_m2 > 0 else float("nan")


@dataclass(frozen=True, slots=True)
class Fit:
    """The closest spacing that a grower's limit allows.

    Attributes
    ----------
    limit : what is limited, "hours_per_week" or "trees"
    asked : most hours of work in a week [h], or fewest trees
    outcome : what that spacing gives; None where no step tried keeps the limit
    tried : between which steps every one was tried, as far as one was found [m]
    """

    limit: str
    asked: float
    outcome: Outcome | None
    tried: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Comparison:
    """The same ground under several spacings and patterns.

    Attributes
    ----------
    name, units : the property, and what people read
    currency : of the grower's prices; empty where none are given
    outcomes : as planned first, then the options in their order
    fits : answers to limits that were asked for
    findings : what should be known
    """

    name: str
    units: str
    currency: str
    outcomes: tuple[Outcome, ...]
    fits: tuple[Fit, ...] = ()
    findings: tuple[Finding, ...] = ()
