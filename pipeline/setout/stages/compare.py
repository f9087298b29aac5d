"""Compare: what one way of planting a block gives and asks, which ways are beaten, and what a grower's limit allows."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from setout.model import Block, BlockRoom, CostLine, Floats, MaterialLine, OrderLine, Rows, WorkLine
from setout.model.buying import MATERIALS
from setout.model.comparison import Outcome
from setout.model.prices import PLANT, WORK, Prices
from setout.model.sungroups import DARKER, FILLERS, LIGHTER, STAY

NAN: Final = float("nan")
WEEKS: Final = 52
"""Weeks of a year over which hours of work are spread."""
WATERING: Final = ("pipe", "emitters", "valves", "filters", "regulators")
"""What waters a block: the plan sizes it, an option does not."""
ROUND_ABOUT: Final = 1.5
"""How many times closer and wider than where a limit is about met every step is tried: some two to five times the trees."""
CLOSE: Final = 0.005
"""Figures that differ by less than this share are alike where options are weighed."""
_BETTER: Final[Mapping[str, int]] = {
    "trees": 1,
    "work_h": -1,
    "sun_low_h": 1,
    "need_lpd": -1,
    "alley_m": 1,
    "first_cost": -1,
    "crowding": -1,
}
"""Figures that options are weighed by: 1 where more is better, -1 where less is."""


def outcome_of(
    name: str, said: str, block: Block, room: BlockRoom, rows: Rows, figures: Mapping[str, float], unpriced: Sequence[str] = ()
) -> Outcome:
    """Sum up one way of planting a block."""
    pattern = block.pattern
    own = rows.block == room.block
    bearing = float(rows.bearing_deg[own][0]) if own.any() else NAN
    known = {
        "ground_m2": NAN,
        "work_h": NAN,
        "sun_h": NAN,
        "sun_low_h": NAN,
        "need_lpd": NAN,
        "given_lpd": NAN,
        "plants": 0,
        "posts": 0,
        "first_cost": NAN,
        "yearly_cost": NAN,
        "watered": 0,
        "sun_dark_h": NAN,
        "sun_filler_h": NAN,
        "sun_wall": False,
    } | dict(figures)
    return Outcome(
        name,
        block.name,
        said,
        planned=False,
        pattern=pattern.kind,
        step_m=pattern.step_m if pattern.kind != "points" else NAN,
        row_distance_m=pattern.row_distance_m if pattern.kind not in ("points", "screen") else NAN,
        bearing_deg=bearing,
        ground_m2=known["ground_m2"],
        trees=room.trees,
        nearest_m=room.nearest_m,
        spread_m=room.spread_m,
        crowding=room.crowding_median,
        overlap_m=room.overlap_m,
        pruning_load=room.pruning_load_median,
        pruning_h=room.hours_per_year,
        work_h=known["work_h"],
        sun_h=known["sun_h"],
        sun_low_h=known["sun_low_h"],
        need_lpd=known["need_lpd"],
        given_lpd=known["given_lpd"],
        alley_m=room.clear_alley_m,
        meet_year=room.meet_year,
        plants=int(known["plants"]),
        posts=int(known["posts"]),
        pipe_m=float(rows.length_m[own].sum()),
        first_cost=known["first_cost"],
        yearly_cost=known["yearly_cost"],
        lacks=WATERING if known["watered"] else (),
        sun_dark_h=known["sun_dark_h"],
        sun_filler_h=known["sun_filler_h"],
        sun_wall=bool(known["sun_wall"]),
        unpriced=tuple(unpriced),
    )


def first_cost(prices: Prices, order: Sequence[OrderLine], materials: Sequence[MaterialLine]) -> tuple[float, list[str]]:
    """Add up what plants and materials cost.

    >>> from setout.model.prices import Price
    >>> line = OrderLine("apple", "apple, dwarf", "", "", "dwarf", "A", 20, 1)
    >>> first_cost(Prices("", {"plant": Price(30.0, "each")}), [line], [])
    (630.0, [])
    """
    total, missing = 0.0, []
    for line in order:
        each = prices.of(line.plant, line.species, PLANT, unit="each")
        total += each * line.plants
        if np.isnan(each):
            missing.append(line.plant)
    for item in materials:
        name = MATERIALS[item.item].name
        each = prices.of(name, unit=item.unit)
        total += each * item.quantity
        if np.isnan(each):
            missing.append(name)
    return total, list(dict.fromkeys(missing))


def costs_of(
    prices: Prices, blocks: Sequence[str], order: Sequence[OrderLine], materials: Sequence[MaterialLine], work: Sequence[WorkLine]
) -> tuple[CostLine, ...]:
    """Reckon what every block costs."""
    if not prices.items:
        return ()
    lines = []
    for name in (*blocks, ""):
        plants = [line for line in order if line.block == name]
        things = [line for line in materials if line.block == name]
        hours = [line.hours for line in work if line.block == name]
        if not (plants or things or hours):
            continue
        priced = [first_cost(prices, [plant], ()) for plant in plants] + [first_cost(prices, (), [thing]) for thing in things]
        missing = dict.fromkeys(item for _, without in priced for item in without)
        yearly = yearly_cost(prices, sum(hours)) if hours else NAN
        lines.append(CostLine(name, sum(cost for cost, without in priced if not without), yearly, tuple(missing)))
    return tuple(lines)


def yearly_cost(prices: Prices, hours: float) -> float:
    """Return what a year's work costs in the grower's currency; NaN without a price of work."""
    return prices.of(*WORK, unit="h") * hours


def weighed(outcomes: Sequence[Outcome]) -> tuple[Outcome, ...]:
    """Mark the options that another one of the same block beats: at least as good in everything, better in something.

    >>> import setout.stages.compare as c
    >>> sorted(c._BETTER)[:3]
    ['alley_m', 'crowding', 'first_cost']
    """
    return tuple(replace(one, beaten_by=next((o.name for o in outcomes if o is not one and _beats(o, one)), "")) for one in outcomes)


def _beats(one: Outcome, other: Outcome) -> bool:
    if one.block != other.block:
        return False
    better = False
    for name, sign in _BETTER.items():
        if name == "sun_low_h" and one.sun_wall != other.sun_wall:
            return False  # hours square to the sides of a hedge are other hours than those of a crown
        a, b = sign * getattr(one, name), sign * getattr(other, name)
        if np.isnan(a) or np.isnan(b):
            if np.isnan(a) != np.isnan(b):
                return False
            continue
        slack = CLOSE * max(abs(a), abs(b))
        if a < b - slack:
            return False
        better |= a > b + slack
    return better


def closest(
    try_step: Callable[[float], Outcome | None], keeps: Callable[[Outcome], bool], low: float, high: float, unit: float
) -> tuple[Outcome | None, tuple[float, float]]:
    """Find the closest step that keeps a limit, where wider steps by and large keep it more easily.

    Halving finds about where the limit is met. But rows fit the ground now better, now worse, so that a wider step may give
    more trees: every step round about is then tried, from the closest on, as far as :data:`ROUND_ABOUT` times closer and wider.
    """
    return _first_kept(try_step, keeps, (low, high, unit), 1)


def widest(
    try_step: Callable[[float], Outcome | None], keeps: Callable[[Outcome], bool], low: float, high: float, unit: float
) -> tuple[Outcome | None, tuple[float, float]]:
    """Find the widest step that keeps a limit, where closer steps by and large keep it more easily; as :func:`closest`."""
    return _first_kept(try_step, keeps, (low, high, unit), -1)


def _first_kept(
    try_step: Callable[[float], Outcome | None], keeps: Callable[[Outcome], bool], steps: tuple[float, float, float], way: int
) -> tuple[Outcome | None, tuple[float, float]]:
    """Return the first outcome that keeps a limit, of all steps round about where it is met, upward (1) or downward (-1)."""
    low, high, unit = steps
    known: dict[int, Outcome | None] = {}

    def tried(number: int) -> Outcome | None:
        if number not in known:
            known[number] = try_step(number * unit)
        return known[number]

    def kept(number: int) -> Outcome | None:
        outcome = tried(number)
        return outcome if outcome is not None and keeps(outcome) else None

    first, last = int(np.ceil(low / unit - 1e-9)), int(np.floor(high / unit + 1e-9))
    if first > last:
        return None, (low, high)
    lower, upper, about = first, last, last if way > 0 else first
    while lower <= upper:
        middle = (lower + upper) // 2
        # a step that cannot be laid out tells nothing of those beside it
        beside = (*range(middle, upper + 1), *range(middle - 1, lower - 1, -1))
        middle = next((number for number in beside if tried(number) is not None), middle)
        if kept(middle) is not None:
            about = middle
        if (kept(middle) is not None) == (way > 0):
            upper = middle - 1
        else:
            lower = middle + 1
    lower, upper = max(first, int(about / ROUND_ABOUT)), min(last, int(np.ceil(about * ROUND_ABOUT)))
    numbers = range(lower, upper + 1) if way > 0 else range(upper, lower - 1, -1)
    found = next((outcome for number in numbers if (outcome := kept(number)) is not None), None)
    return found, (lower * unit, upper * unit)


def sun_figures(groups: Mapping[str, Floats]) -> dict[str, float]:
    """Return the figures of the sun on a block's trees, those that are judged by themselves told apart.

    >>> sun_figures({"trees that stay": np.arange(1.0, 12.0), "fillers": np.array([4.0])})
    {'sun_h': 6.0, 'sun_low_h': 2.0, 'sun_dark_h': nan, 'sun_filler_h': 4.0}
    """
    none = np.empty(0)
    light = np.concatenate([groups.get(STAY, none), groups.get(LIGHTER, none)])
    stays = np.concatenate([light, groups.get(DARKER, none)])
    median = [float(np.median(v)) if len(v) else NAN for v in (light, groups.get(DARKER, none), groups.get(FILLERS, none))]
    low = float(np.percentile(stays, 10)) if len(stays) else NAN
    return {"sun_h": median[0], "sun_low_h": low, "sun_dark_h": median[1], "sun_filler_h": median[2]}
