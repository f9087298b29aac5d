"""What joins the stages: one stage's values as the next one takes them, and refusals that need several of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from setout.errors import Fault, SetoutError
from setout.geometry.cells.cellmask import MaskedCells
from setout.model import Bed, Ground, Reach, Served, Site, Survey, Trees, Usable
from setout.planfile import Plan
from setout.stages import check as look
from setout.stages import exclude, fill, reach, room, terrain
from setout.units import show_area, show_length
from setout.words.plan import CONTOURS_M
from setout.words.terms import called

MOST_TREES = 20_000_000
"""Trees that one plan may have: at some 150 bytes each, what an ordinary machine holds."""


def ground_of(the_plan: Plan, site: Site, surveyed: Survey) -> Ground:
    """Return what the terrain allows under the plan file's limits."""
    max_slope = the_plan.ground.max_slope
    ground = terrain.survey_ground(
        site, surveyed.elevations, max_slope=np.inf if max_slope is None else max_slope, allow_blank=the_plan.ground.no_elevation == "plant"
    )
    return replace(ground, findings=(*ground.findings, *terrain.contours_wide(ground, CONTOURS_M[site.units])))


def water_heights(site: Site, ground: Ground) -> Site:
    """Give the water points their elevations from the DEM, where a least pressure asks for them before planting."""
    if site.water is None or ground.elevations is None or site.water.min_pressure_kpa is None:
        return site
    points = site.water.points
    z, _, _ = terrain.sample(ground, points.x, points.y)
    return replace(site, water=replace(site.water, points=replace(points, z=z)))


def steps_fit(site: Site, areas: Any) -> None:
    """Refuse blocks without ground, and steps that are larger than it."""
    faults = []
    for block, area in zip(site.blocks, areas, strict=True):
        low_x, low_y, high_x, high_y = area.bounds if not area.is_empty else (0.0, 0.0, 0.0, 0.0)
        across = float(np.hypot(high_x - low_x, high_y - low_y))
        where = f"block {block.name}"
        if area.is_empty:
            what = "its area has no ground inside the boundary that no earlier block takes"
            faults.append(Fault(what, where, "draw its area on the site, beside the other blocks"))
        elif block.pattern.bed is not None and _beyond(block.pattern.bed, area, across):
            bed = block.pattern.bed
            length, width, size = (show_length(d, site.units) for d in (bed.length_m, bed.width_m, across))
            what = f"its beds, {length} by {width}, are larger than its ground ({size} across)"
            faults.append(Fault(what, where, "make the beds smaller, or give the block more ground"))
        elif block.pattern.step_m > across:
            step, size = show_length(block.pattern.step_m, site.units), show_length(across, site.units)
            faults.append(Fault(f"the step {step} is larger than its ground ({size} across)", where, "write a smaller step"))
    if faults:
        raise SetoutError("", faults=tuple(faults))


def _beyond(bed: Bed, area: BaseGeometry, across: float) -> bool:
    """Tell whether a bed can lie nowhere on some ground: it is longer from corner to corner, wider, or larger."""
    box = shapely.minimum_rotated_rectangle(area)
    sides = np.hypot(*np.diff(shapely.get_coordinates(box), axis=0).T) if box.geom_type == "Polygon" else np.zeros(1)
    too_long = np.hypot(bed.length_m, bed.width_m) > across
    too_wide = min(bed.length_m, bed.width_m) > float(sides.min())
    return bool(too_long or too_wide or bed.length_m * bed.width_m > area.area)


def trees_fit(site: Site, usable: Usable) -> None:
    """Refuse steps that would give more trees than there is memory for, before the ground is filled with them."""
    counts, names = [], np.array(usable.block, object)
    for block in site.blocks:
        cell = block.pattern.step_m * block.pattern.row_distance_m / block.pattern.lines
        ground = float(shapely.area(usable.geometry[names == block.name]).sum())
        counts.append(ground / cell if cell > 0 else 0.0)
    if sum(counts) <= MOST_TREES:
        return
    block, count = max(zip(site.blocks, counts, strict=True), key=lambda pair: pair[1])
    step, rows = (show_length(d, site.units) for d in (block.pattern.step_m, block.pattern.row_distance_m))
    raise SetoutError(
        f"a step of {step} in rows {rows} apart gives about {count:,.0f} trees; {MOST_TREES:,} are the most in one plan",
        f"block {block.name}",
        "check the unit of its step, or divide the property among several plan files",
    )


def ground_by_block(site: Site, usable: Usable) -> list[float]:
    """Return the usable ground of every block [m2]; NaN for blocks that take none of their own."""
    area = dict.fromkeys(usable.block, 0.0)
    for name, size in zip(usable.block, shapely.area(usable.geometry).tolist(), strict=True):
        area[name] += size
    return [area.get(block.name, float("nan")) for block in site.blocks]


def cells_out(the_plan: Plan, ground: Ground, high: Any, site: Site) -> exclude.Cells | None:
    """Gather the cells that are taken out, in the order of the account."""
    if ground.elevations is None:
        return None
    reasons = []
    blank = ground.blank
    if not ground.allow_blank:
        reasons.append(exclude.CellReason(exclude.NO_ELEVATION, ground.elevations.source, blank))
    if np.isfinite(ground.max_slope):
        reasons.append(exclude.CellReason(exclude.SLOPE, ground.elevations.source, ground.steep))
    if high is not None:
        source = site.water.source if site.water else ""
        reasons.append(exclude.CellReason(exclude.TOO_HIGH, source, high))
    return exclude.Cells(tuple(reasons), ground.window, *terrain.cell_mappings(ground))


def allowed_by(ground: Ground, high: Any) -> fill.Allowed | None:
    """Return what tells which positions stand on cells that may be planted; None where all do."""
    if ground.elevations is None:
        return None
    masks = [ground.steep, *([] if ground.allow_blank else [ground.blank]), *([] if high is None else [high])]
    return MaskedCells(ground, masks)


def columns_of(site: Site, ground: Ground, trees: Trees, reached: Reach | None, ids: Any = None) -> tuple[dict[str, Any], Site]:
    """Look up columns of finished trees, by name; return the site with the heights of its water points."""
    size = len(trees)
    found: dict[str, Any] = {"tree_id": tree_ids([b.name for b in site.blocks], trees) if ids is None else ids}
    z = np.full(size, np.nan)
    if ground.elevations is not None:
        # water points are looked up in the same reading of the DEM
        points = site.water.points if site.water is not None else None
        x, y = (trees.x, trees.y) if points is None else (np.append(trees.x, points.x), np.append(trees.y, points.y))
        heights, slopes, _ = terrain.sample(ground, x, y)
        z, found["slope_pct"] = heights[:size], slopes[:size]
        if site.water is not None and points is not None:
            site = replace(site, water=replace(site.water, points=replace(points, z=heights[size:])))
    found["elevation_m"] = z if np.isfinite(z).any() else None
    found.setdefault("slope_pct", np.full(size, np.nan))
    nearest, apart = look.nearest_neighbour(trees.x, trees.y, trees.partner if len(trees.partner) else None)
    found["nearest_m"] = np.where(np.isfinite(nearest), nearest, np.nan)
    found["apart_m"] = apart
    served = Served(np.full(size, -1), np.full(size, np.nan), np.full(size, np.nan))
    if site.water is not None and reached is not None:
        served = reach.serve(reached, site.water, trees.x, trees.y, z)
    found["water_index"], found["run_m"], found["pressure_kpa"] = (served.point, served.run_m, served.pressure_kpa)
    return found, site


def room_columns(roomy: room.Room) -> dict[str, Any]:
    """Return the columns of trees that their room gives."""
    return {name: getattr(roomy, name) for name in ("crowding", "overlap_m", "room_m", "pruning_load")}


def tree_ids(names: Sequence[str], trees: Trees) -> Any:
    """Return the ids of trees: block-row-position, numbers as wide as the block's greatest."""
    parts = []
    for index, name in enumerate(names):
        own = trees.block == index
        if not own.any():
            continue
        row, position = trees.row[own], trees.position[own]
        wide, deep = len(str(int(row.max()))), len(str(int(position.max())))
        heads = np.array([f"{name}-{r:0{wide}d}-" for r in range(int(row.max()) + 1)])
        tails = np.array([f"{p:0{deep}d}" for p in range(int(position.max()) + 1)])
        parts.append(np.char.add(heads[row], tails[position]))
    return np.concatenate(parts)


def reasons_told(usable: Usable) -> Usable:
    """Return usable ground with the reasons of its account and exclusions as people read them."""
    account = tuple(replace(row, reason=called(row.reason)) for row in usable.account)
    return replace(usable, account=account, exclusions=tuple(replace(e, reason=called(e.reason)) for e in usable.exclusions))


def nothing_fits(site: Site, usable: Usable) -> SetoutError:
    """Say that no tree fits, and what takes the ground."""
    takers = sorted((row for row in usable.account[1:-1]), key=lambda row: -row.newly_m2)[:3]
    said = ", ".join(f"{called(row.reason)} takes {show_area(row.newly_m2, site.units)}" for row in takers if row.newly_m2 > 0)
    net = show_area(usable.account[-1].remaining_m2, site.units)
    return SetoutError(
        f"no tree fits: of {show_area(site.boundary.area, site.units)}, {net} are left to plant ({said or 'nothing was excluded'})",
        site.name,
        "look at the limits in the plan file, and at the step",
    )
