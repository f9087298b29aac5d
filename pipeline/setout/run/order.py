"""The order of the journey: read, then the stages, then write. The only module that knows it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

import numpy as np

from setout.errors import SetoutError
from setout.model import Finding, Planting, Rows, Site, Survey, Trees
from setout.planfile import Plan
from setout.progress import Say, silent
from setout.read import plan_file
from setout.read.survey import read_survey
from setout.run.inputs import changed, changed_finding, inputs_of
from setout.run.joints import columns_of, ground_by_block, reasons_told, room_columns
from setout.run.land import STAGES as TO_LAND
from setout.run.land import Land, filled_on, land_of
from setout.run.lighting import Stand, lighting, shade_at
from setout.run.results import PRODUCTS, write, write_run
from setout.run.results import STAGES as TO_RESULTS
from setout.run.steps import Placed, Steps, undisturbed
from setout.run.watering import planted_on, watering
from setout.stages import account, assign, calendar, compare, pollinate, room
from setout.stages import check as look
from setout.tables.labour import Rate
from setout.words.grouped import codes_by_tree
from setout.words.refusals import in_words
from setout.write.folder import OutputFolder, check_writable
from setout.write.products import managed_by

STAGES = (*TO_LAND, "fill", "assign", "look at every tree", "room", "check", "water", "light")
"""What leads from a survey to a planting, in order."""


def plan(
    path: str | Path, out: str | Path | None = None, *, products: Sequence[str] = PRODUCTS, say: Say = silent, placed: Placed | None = None
) -> Planting:
    """Plan a property: from its plan file to written results."""
    path = Path(path)
    folder = Path(out) if out is not None else path.parent / "out"
    unknown = sorted(set(products) - set(PRODUCTS))
    if unknown:
        raise SetoutError(f"{', '.join(unknown)} is no product", "products (--only)", f"choose from {', '.join(PRODUCTS)}")
    steps = Steps(("read the plan file", "read the survey", *STAGES, *TO_RESULTS), say)
    with undisturbed():
        with steps.step("read the plan file"):
            inputs = inputs_of(path)
            the_plan = plan_file.read_plan_file(path)
            check_writable(folder)
        with steps.step("read the survey"):
            surveyed = read_survey(the_plan, path.parent)
        planting = plan_site(the_plan, surveyed, steps)
        if names := changed(inputs):
            planting = replace(planting, findings=by_severity((*planting.findings, changed_finding(names))))
        with OutputFolder(folder, managed_by(products), placed) as staging:
            write(planting, staging.path, products, steps)
            write_run(path, inputs, the_plan, planting, staging.path, steps)
    steps.done()
    return planting


def plan_site(the_plan: Plan, surveyed: Survey, steps: Steps | None = None) -> Planting:
    """Take a surveyed property through all stages."""
    with in_words(the_plan.units):
        return _through_all_stages(the_plan, surveyed, steps or Steps())


def _through_all_stages(the_plan: Plan, surveyed: Survey, steps: Steps) -> Planting:
    land = land_of(the_plan, surveyed, steps)
    site = land.site
    shade = shade_at(the_plan, surveyed, site)
    with steps.step("fill"):
        filled, short = filled_on(land)
    with steps.step("assign"):
        trees, dealt = assign.assign(filled.trees, site.blocks)
    seen = _look(land, trees, filled.rows, the_plan.rates, steps)
    with steps.step("water"):
        watered = watering(the_plan, planted_on(land, seen.site, seen.trees, filled.rows), surveyed.weather, steps.say)
    with steps.step("light"):
        lit = lighting(the_plan, shade, Stand(seen.site, land.ground, seen.trees, filled.rows), steps.say)
    findings = by_severity((*land.findings, *short, *dealt, *seen.findings, *watered.findings, *lit.findings))
    trees = replace(seen.trees, **watered.columns, **lit.columns)
    if any(finding.tree_id or finding.trees is not None for finding in findings):
        trees = replace(trees, findings=codes_by_tree(trees.ids, findings))
    allow = the_plan.materials.value()
    rooms = seen.room.blocks
    needs = watered.need.classes if watered.need is not None else ()
    order = tuple(account.order_of(site.blocks, trees, allow.spares))
    materials = (*account.materials_of(site.blocks, trees, filled.rows, filled.works, allow), *watered.materials)
    work = calendar.calendar_of(site.blocks, trees, rooms, south=site.frame.lat < 0, watered=site.water is not None)
    prices = the_plan.prices.value()
    return Planting(
        seen.site,
        land.ground,
        reasons_told(land.usable),
        filled.rows,
        trees,
        findings,
        land.reached,
        filled.works,
        order,
        materials,
        rooms,
        irrigation=watered.irrigation,
        need=watered.need,
        light=lit.light,
        cold_air=lit.cold,
        sheets=the_plan.sheets.value(),
        growth=room.growth_of(site.blocks, trees, rooms, needs),
        work=work,
        costs=compare.costs_of(prices, [block.name for block in site.blocks], order, materials, work),
        currency=prices.currency,
    )


def by_severity(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Return findings with those that stop first, each kind in the order in which it was found."""
    return tuple(sorted(findings, key=lambda finding: ("stop", "warn", "note").index(finding.severity)))


def _unknown(values: Any) -> bool:
    """Tell whether a column holds no number at all: it is left out, and null in the layers."""
    return values is not None and values.dtype.kind == "f" and not np.isfinite(values).any()


@dataclass(frozen=True, slots=True)
class _Seen:
    """What finished positions are like: the trees with their columns, room, findings."""

    site: Site
    trees: Trees
    room: room.Room
    findings: tuple[Finding, ...]


def _look(land: Land, trees: Trees, rows: Rows, rates: Sequence[Rate], steps: Steps) -> _Seen:
    """Look at finished positions: their ground and water, their room and partners, and what they are held to."""
    site = land.site
    with steps.step("look at every tree"):
        found, site = columns_of(site, land.ground, trees, land.reached)
        trees = replace(trees, **found)
    with steps.step("room"):
        ground_m2 = ground_by_block(site, land.usable)
        roomy = room.room_of(site, trees, trees.known("nearest_m"), rows, ground_m2=ground_m2, rates=rates)
        partner_m, alone = pollinate.partners(site, trees)
        trees = replace(trees, **room_columns(roomy), pollinizer_m=partner_m)
    with steps.step("check"):
        block = trees.block.astype(np.int64)
        positions = look.Positions(trees.ids, block, trees.x, trees.y, trees, trees.partner)
        short = look.check(site, positions, look.Checks(land.ground.max_slope), land.areas)
        notes = look.nearest_notes(site, positions, land.areas)
    nothing: dict[str, Any] = {f.name: None for f in fields(trees) if _unknown(getattr(trees, f.name))}
    return _Seen(site, replace(trees, **nothing), roomy, (*roomy.findings, *alone, *notes, *short))
