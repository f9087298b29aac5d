"""Excluded and usable ground as polygons, and the account from gross to net."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from setout.geometry.lines import overlay
from setout.geometry.lines.outlines import around, without_narrow
from setout.geometry.lines.overlay import parts_of
from setout.model import AccountRow, Exclusion, Geometries, Reach, Site, Usable
from setout.stages.exclude.blocks import setback_distance, too_tall
from setout.stages.exclude.cells import Cells, without_cells

BEYOND_REACH = "beyond_reach"
NO_BLOCK = "outside_blocks"
TOO_NARROW = "too_narrow"
TOO_SMALL = "too_small"


@dataclass(frozen=True, slots=True)
class Limits:
    """The least ground worth planting: area [m2] and width [m]; 0 for no limit."""

    min_area_m2: float = 0.0
    min_width_m: float = 0.0


def usable_ground(
    site: Site, areas: Geometries, reach: Reach | None, cells: Cells | None, limits: Limits, sources: tuple[str, str] = ("", "")
) -> tuple[Usable, BaseGeometry | None]:
    """Draw the excluded and the usable ground and keep the account."""
    gross = site.boundary.area
    account = [AccountRow(0, "gross", gross, 0.0, gross)]
    exclusions: list[Exclusion] = []
    remaining = site.boundary
    for reason, source, distance, ground in _vector_reasons(site, areas, reach, sources):
        alone = overlay.intersection(site.boundary, ground)
        left = overlay.difference(remaining, ground)
        newly = max(remaining.area - left.area, 0.0)
        account.append(_row(account, reason, alone.area, newly))
        exclusions.append(Exclusion(reason, source, distance, alone.area, newly, alone))
        remaining = left
    pieces = [remaining]
    if cells is not None:
        pieces, taken = without_cells(remaining, site.boundary, cells)
        for exclusion_list in taken:
            first = exclusion_list[0]
            account.append(_row(account, first.reason, sum(e.alone_m2 for e in exclusion_list), sum(e.newly_m2 for e in exclusion_list)))
            exclusions += [e for e in exclusion_list if not e.geometry.is_empty]
    dropped: list[BaseGeometry] = []
    for reason, kept, gone in _leftovers(pieces, limits):
        size = sum(float(g.area) for g in gone)
        account.append(_row(account, reason, size, size))
        if gone:
            union = overlay.union(gone)
            exclusions.append(Exclusion(reason, "", np.nan, size, size, union))
            dropped.append(union)
        pieces = kept
    net = account[-1].remaining_m2
    account.append(AccountRow(len(account), "net", net, 0.0, net))
    names, polygons = _by_block(site, areas, pieces)
    usable = Usable(names, polygons, tuple(exclusions), _height_limits(site), tuple(account))
    return usable, overlay.union(dropped) if dropped else None


def _row(account: Sequence[AccountRow], reason: str, alone: float, newly: float) -> AccountRow:
    return AccountRow(len(account), reason, alone, newly, account[-1].remaining_m2 - newly)


def _vector_reasons(
    site: Site, areas: Geometries, reach: Reach | None, sources: tuple[str, str]
) -> Iterator[tuple[str, str, float, BaseGeometry]]:
    """Yield reason, source, distance and ground of everything that is not a cell."""
    # a screen or a single tree takes no ground of its own: only its own rows keep its wider distances
    grounded = [(b, a) for b, a in zip(site.blocks, areas, strict=True) if not b.stands_where_drawn]
    for setback in site.setbacks:
        ground = around(setback.geometry, setback.distance_m)
        if setback.measured_to == "canopy":
            wider = [overlay.intersection(area, around(setback.geometry, setback_distance(setback, block))) for block, area in grounded]
            ground = overlay.union([ground, *wider])
        yield setback.why, setback.source, setback.distance_m, ground
    for no_plant in site.no_plant:
        yield no_plant.why, no_plant.source, 0.0, around(no_plant.geometry, 0.0)
    for limit in site.height_limits:
        tall = [area for block, area in grounded if too_tall(limit, block)]
        if tall:
            ground = overlay.intersection(around(limit.geometry, limit.within_m), overlay.union(tall))
            yield limit.why, limit.source, limit.within_m, ground
    if reach is not None and reach.is_limited:
        served = overlay.union(reach.areas)
        longest = reach.max_run_m if np.isfinite(reach.max_run_m) else np.nan
        yield BEYOND_REACH, sources[0], longest, overlay.difference(site.boundary, served)
    outside = overlay.difference(site.boundary, overlay.union([area for _, area in grounded]))
    if grounded and outside.area > 1e-6 * site.boundary.area:
        yield NO_BLOCK, sources[1], np.nan, outside


def _height_limits(site: Site) -> tuple[Exclusion, ...]:
    out = []
    for limit in site.height_limits:
        ground = overlay.intersection(site.boundary, around(limit.geometry, limit.within_m))
        out.append(Exclusion(limit.why, limit.source, limit.height_m, ground.area, 0.0, ground))
    return tuple(out)


def _leftovers(pieces: list[BaseGeometry], limits: Limits) -> Iterator[tuple[str, list[BaseGeometry], list[BaseGeometry]]]:
    """Yield reason, ground kept and ground dropped, for pieces too narrow and then for pieces too small."""
    if limits.min_width_m <= 0 and limits.min_area_m2 <= 0:
        return
    whole = overlay.union(pieces)
    kept = list(parts_of(whole))
    if limits.min_width_m > 0:
        wide = [without_narrow(part, limits.min_width_m) for part in kept]
        gone = [g for part, core in zip(kept, wide, strict=True) for g in parts_of(overlay.difference(part, core))]
        kept = [part for core in wide for part in parts_of(core)]
        yield TOO_NARROW, kept, gone
    if limits.min_area_m2 > 0:
        small = [part for part in kept if part.area < limits.min_area_m2]
        kept = [part for part in kept if part.area >= limits.min_area_m2]
        yield TOO_SMALL, kept, small


def _by_block(site: Site, areas: Geometries, pieces: list[BaseGeometry]) -> tuple[tuple[str, ...], Geometries]:
    """Share the usable pieces among the blocks."""
    ground = shapely.get_parts(np.array(pieces, object))
    ground = ground[~shapely.is_empty(ground)]
    if len(site.blocks) == 1 and site.blocks[0].area is None:
        return (site.blocks[0].name,) * len(ground), ground
    names: list[str] = []
    polygons: list[BaseGeometry] = []
    tree = shapely.STRtree(ground)
    grounded = [(b, a) for b, a in zip(site.blocks, areas, strict=True) if not b.stands_where_drawn]
    if not grounded:
        return ("",) * len(ground), ground
    for block, area in grounded:
        shapely.prepare(area)
        touching = np.sort(tree.query(area, "intersects"))
        near = ground[touching]
        within = shapely.contains_properly(area, near)
        for piece, whole in zip(near, within, strict=True):
            parts = [piece] if whole else list(parts_of(overlay.intersection(piece, area)))
            polygons += parts
            names += [block.name] * len(parts)
    out = np.empty(len(polygons), object)
    out[:] = polygons
    return tuple(names), out
