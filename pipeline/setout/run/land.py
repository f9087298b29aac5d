"""The first half of the journey: from a survey to ground that may be planted, and its rows filled."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from setout.geometry.rows.rowcut import Cutters
from setout.model import Block, Finding, Geometries, Ground, Reach, Site, Survey, Usable
from setout.planfile import Plan
from setout.run.curved import curved_blocks
from setout.run.joints import allowed_by, cells_out, ground_of, nothing_fits, steps_fit, trees_fit, water_heights
from setout.run.lighting import with_pair_axes
from setout.run.steps import Steps
from setout.stages import exclude, fill, reach, survey

STAGES = ("survey", "terrain", "reach", "exclude")
"""What leads to usable ground, in order."""


@dataclass(frozen=True, slots=True)
class Land:
    """What is known before anything is planted.

    Attributes
    ----------
    site, ground, reached : the property, its terrain, and what water reaches; None without a water section
    high : packed cells that water does not rise to, or None
    areas : ground of every block, before anything is taken out
    usable : ground left to plant, and the account
    dropped : leftovers too small or too narrow to plant; None for none
    cutters : what cuts the rows of every block
    findings : doubts so far
    """

    site: Site
    ground: Ground
    reached: Reach | None
    high: Any
    areas: Geometries
    usable: Usable
    dropped: Any
    cutters: tuple[Cutters, ...]
    findings: tuple[Finding, ...]


def land_of(the_plan: Plan, surveyed: Survey, steps: Steps) -> Land:
    """Go from the survey to usable ground."""
    with steps.step("survey"):
        site, axes = with_pair_axes(the_plan, survey.site_of(the_plan.asked(), surveyed))
    with steps.step("terrain"):
        ground = ground_of(the_plan, site, surveyed)
        site = water_heights(site, ground)
    with steps.step("reach"):
        reached = reach.reach_of(site.water) if site.water is not None else None
        limiting = _limiting(site, reached)
        high = reach.too_high(limiting, ground) if limiting is not None else None
    with steps.step("exclude"):
        areas, overlaps = exclude.block_areas(site)
        steps_fit(site, areas)
        usable, dropped, cutters = _excluded(the_plan, site, ground, areas, (limiting, high))
    found = (*site.findings, *axes, *ground.findings, *(reached.findings if reached else ()), *overlaps, *usable.findings)
    return Land(site, ground, reached, high, areas, usable, dropped, cutters, found)


def with_blocks(land: Land, blocks: Sequence[Block], the_plan: Plan) -> Land:
    """Return the same land for blocks that are planted another way, on the same areas."""
    site, _ = with_pair_axes(the_plan, replace(land.site, blocks=tuple(blocks)))
    steps_fit(site, land.areas)
    limiting = _limiting(site, land.reached)
    canopies = any(s.measured_to == "canopy" for s in site.setbacks) or bool(site.height_limits)
    sizes = [(b.spread_m, b.height_m) for b in site.blocks]
    if canopies and repr(sizes) != repr([(b.spread_m, b.height_m) for b in land.site.blocks]):
        usable, dropped, cutters = _excluded(the_plan, site, land.ground, land.areas, (limiting, land.high))
        return replace(land, site=site, usable=usable, dropped=dropped, cutters=cutters)
    trees_fit(site, land.usable)
    return replace(land, site=site, cutters=exclude.cutters_of(site, land.areas, limiting, land.dropped))


def _limiting(site: Site, reached: Reach | None) -> Reach | None:
    """Return the reach that ground is held to; None where ground beyond it is planted too."""
    return None if site.water is None or site.water.plant_beyond else reached


def _excluded(
    the_plan: Plan, site: Site, ground: Ground, areas: Geometries, water: tuple[Reach | None, Any]
) -> tuple[Usable, Any, tuple[Cutters, ...]]:
    limiting, high = water
    limits = exclude.Limits(the_plan.ground.min_area, the_plan.ground.min_width)
    sources = (site.water.source if site.water else "", "block areas")
    cells = cells_out(the_plan, ground, high, site)
    usable, dropped = exclude.usable_ground(site, areas, limiting, cells, limits, sources)
    trees_fit(site, usable)
    return usable, dropped, exclude.cutters_of(site, areas, limiting, dropped)


def filled_on(land: Land) -> tuple[fill.Filled, tuple[Finding, ...]]:
    """Fill the blocks of some land."""
    site = land.site
    beds = [fill.Bed(b, area, c) for b, area, c in zip(site.blocks, land.areas, land.cutters, strict=True)]
    curved = curved_blocks(site, land.ground, land.usable)
    filled = fill.fill(beds, allowed_by(land.ground, land.high), curved.laid)
    if not len(filled.trees):
        raise nothing_fits(site, land.usable)
    return filled, (*curved.findings, *filled.findings)
