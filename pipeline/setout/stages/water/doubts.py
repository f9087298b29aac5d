"""What the irrigation leaves open or falls short of, each with its remedy."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from setout.hydraulics.friction import velocity_ms
from setout.model import Bools, Finding, Ints, Irrigation, Site, Trees
from setout.model.irrigation import (
    BARRIER,
    HOURS_OUT,
    LATERAL,
    LOW_FLOW,
    LOW_PRESSURE,
    MAIN,
    NO_POINT,
    REASONS,
    SOURCE,
    TOO_FAR,
    TOO_HIGH,
    VOLUME_OUT,
)
from setout.stages.water.account import Stage, mains_once
from setout.stages.water.sizing import LATERAL_SHARE, allowed_spread_m, least_kpa, longest_side
from setout.units import KPA_PER_M, show_length, show_pressure

REMEDY = {
    TOO_FAR: "add a water point nearer to them, or lengthen max_run",
    TOO_HIGH: "add a water point higher up, a booster pump, or lower min_pressure",
    LOW_PRESSURE: "take wider pipe, an emitter for less pressure, a booster pump, or a water point higher up",
    LOW_FLOW: "take emitters of more flow or more of them, allow more hours, or find a water point of more flow",
    HOURS_OUT: "allow more hours or days, find a source of more flow, or plant less on it",
    VOLUME_OUT: "find a source of more volume, add storage, or plant less on it",
    BARRIER: "name a sleeve where a pipe may cross, or add a water point on their side",
    NO_POINT: "name the water points",
}


def no_emitter(site: Site) -> list[Finding]:
    """Say that pipes cannot be reckoned without an emitter."""
    del site
    return [
        Finding(
            "water_no_emitter",
            "note",
            "the plan names no emitter: reach and static pressure are told, no pipe, flow or hours",
            remedy='add water.emitter = { flow = "1 gal/h", at = "15 psi" }',
        )
    ]


def no_elevation() -> Finding:
    """Say that pressures are unknown without elevations."""
    return Finding(
        "water_no_elevation",
        "warn",
        "without a DEM the pressure at the trees is unknown: pipes are sized as on level ground, and no tree is called watered",
        remedy="name the DEM in site.dem",
    )


def sources_unknown(site: Site, used: Ints, usable: Bools) -> Iterator[Finding]:
    """Name the water points that serve trees but do not say what they give."""
    assert site.water is not None
    points = site.water.points
    for p in used.tolist():
        if not usable[p]:
            lacking = [w for w, v in (("pressure", points.pressure_kpa[p]), ("flow", points.flow_lph[p])) if not np.isfinite(v)]
            yield Finding(
                "water_source_unknown",
                "warn",
                f"water point {points.name[p]} does not say its {' and '.join(lacking)}: nothing is reckoned for the trees that it serves",
                remedy=f"add a column such as {'pressure_psi' if lacking[0] == 'pressure' else 'flow_gpm'}, or "
                f"water.{lacking[0]} to the plan file",
                geometry=shapely.Point(points.x[p], points.y[p]),
            )


def told(out: Irrigation, stage: Stage) -> list[Finding]:
    """Gather what a finished irrigation falls short of."""
    return [
        *_assumed(stage),
        *_heights_assumed(out, stage),
        *_need_unknown(out),
        *_dry_trees(out, stage),
        *_short_sources(out, stage),
        *_spread(out, stage),
        *_over_range(out, stage),
        *_fast(stage),
        *_through_screens(stage),
    ]


def _assumed(stage: Stage) -> Iterator[Finding]:
    if stage.plan.assumed:
        yield Finding(
            "water_assumed",
            "note",
            "taken as is common practice, for the plan file does not say: " + "; ".join(stage.plan.assumed),
            remedy="write what your makers and your water supplier say",
        )


def _heights_assumed(out: Irrigation, stage: Stage) -> Iterator[Finding]:
    """Say where the DEM has a gap under pipes, and which height is taken there: it decides what pressure is told."""
    net, points = stage.network, stage.site.water
    own = net.z_assumed & np.isfinite(net.z)
    if not own.any() or points is None:
        return
    valves = [
        name
        for z, zone in enumerate(out.zones)
        for s, name in zip(np.flatnonzero(stage.sections.zone == z).tolist(), zone.valves, strict=True)
        if (own & net.is_valve & (net.section == s)).any()
    ]
    sources = [points.points.name[p] for p in np.unique(stage.sections.point[net.zone[own & (net.kind == SOURCE)]])]
    trees = np.isin(out.node, np.flatnonzero(own & (net.emitters > 0)))
    rows = []
    for b in np.unique(stage.trees.block[trees]).tolist():
        row = stage.trees.row[trees & (stage.trees.block == b)]
        rows.append(f"{len(row):,} trees of block {stage.site.blocks[b].name} (row {_few(np.unique(row).tolist())})")
    said = [*([f"water point {_few(sources)}"] if sources else []), *([f"valve {_few(valves)}"] if valves else []), *rows]
    other = "" if said else f"{int(own.sum()):,} places along pipes"
    tail = "; the pressure at those trees themselves is unknown" if rows else ""
    yield Finding(
        "water_height_assumed",
        "warn",
        f"the DEM has no height at {', '.join(said) or other}: pipes and pressures are reckoned with "
        f"that of the nearest part of the pipes that has one{tail}",
        remedy="level those places, or give a DEM without the gap",
        geometry=shapely.MultiPoint(np.unique(np.column_stack([net.x[own], net.y[own]]), axis=0)[:2000]),
    )


def _few(names: Sequence[object]) -> str:
    """Return the first of some names."""
    return ", ".join(str(name) for name in names[:8]) + (" ..." if len(names) > 8 else "")


def _need_unknown(out: Irrigation) -> Iterator[Finding]:
    unknown = int(np.isnan(out.need_lpd).sum())
    if unknown:
        yield Finding(
            "water_need_unknown",
            "note",
            f"the need of {unknown:,} trees is unknown: whether they are watered cannot be told, nor the hours of their zones",
            remedy='add water.eto = "0.28 in/day" or water.climate, and the size of their plants',
        )


def _dry_trees(out: Irrigation, stage: Stage) -> Iterator[Finding]:
    """Say for every reason how many trees go short, and which zones or water points."""
    short = out.known & ~out.watered
    for code in np.unique(out.reason[short]).tolist():
        own = short & (out.reason == code)
        word = REASONS[code]
        zones = [out.zones[z].name for z in np.unique(out.zone[own]).tolist() if z >= 0]
        where = f" in zone {', '.join(zones[:8])}{' ...' if len(zones) > 8 else ''}" if zones else ""
        measured, required = _figures(word, own, out, stage)
        yield _dry(stage.trees, own, where, word, (measured, required, _remedy(word, own, out)))


def all_dry(trees: Trees, dry: Bools, reason: NDArray[np.int8]) -> Iterator[Finding]:
    """Say for every reason how many trees go without, where no pipe could be laid to any."""
    for code in np.unique(reason[dry]).tolist():
        word, figures = REASONS[code], ("", "", REMEDY.get(REASONS[code], ""))
        if word == LOW_FLOW:
            weak = "its water point gives less than the emitters of one tree"
            figures = (weak, "", "take emitters of less flow or fewer of them, or find a water point of more flow")
        yield _dry(trees, dry & (reason == code), "", word, figures)


def _dry(trees: Trees, own: Bools, where: str, word: str, figures: tuple[str, str, str]) -> Finding:
    """Say that some trees are not watered, and why: figures are measured, required and remedy."""
    places = shapely.MultiPoint(np.column_stack([trees.x[own], trees.y[own]]))
    return Finding(
        "not_watered",
        "stop",
        f"{_trees(int(own.sum()))} not watered{where}: {word}",
        *figures,
        geometry=places,
        trees=np.flatnonzero(own),
        each=f"is not watered: {word}",
    )


def _remedy(word: str, own: Bools, out: Irrigation) -> str:
    """Return what mends it; where a water point gives enough in all but its zones do not fit into the day, shorter runs do."""
    points = {out.zones[z].water_point for z in np.unique(out.zone[own]).tolist() if z >= 0}
    enough = [source.spare_lpd >= 0 for source in out.sources if source.water_point in points]
    if word == HOURS_OUT and enough and all(enough):
        return f"take more emitters at each tree, so that its zones run shorter, for there is water enough; or {REMEDY[word]}"
    return REMEDY.get(word, "")


def _trees(count: int) -> str:
    return "1 tree is" if count == 1 else f"{count:,} trees are"


def _figures(word: str, own: Bools, out: Irrigation, stage: Stage) -> tuple[str, str]:
    units = stage.site.units
    if word == LOW_PRESSURE and np.isfinite(out.pressure_kpa[own]).any():
        emitter = stage.plan.emitter
        floor = emitter.compensating_kpa[0] if emitter is not None and emitter.compensating_kpa is not None else 0.0
        water = stage.site.water
        asked = max(floor, (water.min_pressure_kpa or 0.0) if water is not None else 0.0)
        lowest = float(np.nanmin(out.pressure_kpa[own]))
        if lowest >= asked:
            # enough for the emitters to work, but not for what they are rated for
            asked = least_kpa(stage.plan, asked)
        return f"{show_pressure(lowest, units)} at the lowest", show_pressure(asked, units)
    if word == LOW_FLOW and np.isfinite(out.flow_lph[own]).any():
        day = stage.plan.hours_per_day * stage.plan.days_per_week / 7
        most = float(np.nanmax(out.need_lpd[own]))
        return f"{float(np.nanmin(out.flow_lph[own])) * day:.1f} l/day in all the hours allowed", f"{most:.1f} l/day"
    if word == HOURS_OUT:
        zones = [z for z in np.unique(out.zone[own]).tolist() if z >= 0]
        point = {out.zones[z].water_point for z in zones}
        # zones whose need is unknown have no hours, and take none of the others'
        wanted = max(float(np.nansum([z.hours_needed for z in out.zones if z.water_point == p])) for p in point)
        return f"{stage.plan.hours_per_day:.1f} h/day allowed", f"{wanted:.1f} h/day for all zones of the water point"
    return "", ""


def _short_sources(out: Irrigation, stage: Stage) -> Iterator[Finding]:
    assert stage.site.water is not None
    points = stage.site.water.points
    for source in out.sources:
        if source.spare_lpd < 0:
            p = source.water_point
            yield Finding(
                "water_source_short",
                "warn",
                f"water point {points.name[p]} gives less a day than its trees need at the peak",
                f"{source.given_lpd:,.0f} l/day",
                f"{source.need_lpd:,.0f} l/day",
                "allow more hours or days, find more flow, add storage, or plant less on it",
                geometry=shapely.Point(points.x[p], points.y[p]),
            )


def _spread(out: Irrigation, stage: Stage) -> Iterator[Finding]:
    """Say in which valves' reach pressures differ more than they should, and how long a lateral might be."""
    emitter, network, units = stage.plan.emitter, stage.network, stage.site.units
    assert emitter is not None
    if emitter.compensating_kpa is not None or not np.isfinite(network.pressure_kpa).any():
        return
    own = network.emitters > 0
    sections = len(stage.sections.zone)
    low, high = np.full(sections, np.inf), np.full(sections, -np.inf)
    np.minimum.at(low, network.section[own], network.pressure_kpa[own])
    np.maximum.at(high, network.section[own], network.pressure_kpa[own])
    allowed = allowed_spread_m(stage.plan) * KPA_PER_M
    over = np.flatnonzero(high - low > allowed * 1.001)
    if not len(over):
        return
    worst = int(over[np.argmax((high - low)[over])])
    names = sorted({int(stage.sections.zone[s]) for s in over})
    mine = own & (network.section == worst)
    up = network.parent[mine]
    step = float(np.median(network.length_m[mine & (network.kind == LATERAL)]))
    flow = float(network.emitters[mine].mean()) * emitter.flow_lph
    longest = longest_side(stage.plan, max(step, 0.1), flow) * step
    fall = float(np.ptp(network.z[mine])) if len(up) else 0.0
    limit = LATERAL_SHARE * allowed / KPA_PER_M
    yield Finding(
        "water_spread",
        "warn",
        f"pressure differs by more than the limit among emitters of one valve in zone "
        f"{', '.join(f'z{z + 1}' for z in names[:8])}{' ...' if len(names) > 8 else ''}; at the worst its ground falls "
        f"{show_length(fall, units)}. On level ground a lateral of the widest pipe may be {show_length(longest, units, 0)} long each "
        f"way, on sloping ground it may not fall more than {show_length(limit, units)}",
        f"{show_pressure(float((high - low)[worst]), units)} at the worst",
        show_pressure(allowed, units),
        "take pressure-compensating emitters (water.emitter.range), more water points or valves, or wider pipe",
        geometry=shapely.MultiPoint(np.column_stack([network.x[mine], network.y[mine]])[:2000]),
    )


def _over_range(out: Irrigation, stage: Stage) -> Iterator[Finding]:
    emitter = stage.plan.emitter
    assert emitter is not None
    if emitter.compensating_kpa is None:
        return
    high = out.pressure_kpa > emitter.compensating_kpa[1] * (1 + 1e-6)
    if high.any():
        xy = np.column_stack([stage.trees.x[high], stage.trees.y[high]])
        units = stage.site.units
        yield Finding(
            "water_over_range",
            "warn",
            f"{int(high.sum()):,} trees have more pressure than their emitters are made for",
            show_pressure(float(np.nanmax(out.pressure_kpa)), units),
            show_pressure(emitter.compensating_kpa[1], units),
            "regulate the pressure of their rows, or take emitters of a wider range",
            geometry=shapely.MultiPoint(xy[:2000]),
        )


def _fast(stage: Stage) -> Iterator[Finding]:
    """Say where water runs faster than allowed even in the widest pipe."""
    network, limit = stage.network, stage.plan.velocity_m_s
    pipe = network.parent >= 0
    speed = np.zeros(len(network))
    speed[pipe] = velocity_ms(network.flow_lph[pipe], network.inside_mm[pipe])
    fast = np.flatnonzero(speed > limit * 1.02)
    if len(fast):
        worst = fast[np.argmax(speed[fast])]
        word = "main" if network.kind[worst] == MAIN else "lateral" if network.kind[worst] == LATERAL else "manifold"
        factor, unit = (1 / 0.3048, "ft/s") if stage.site.units == "us" else (1.0, "m/s")
        yield Finding(
            "water_fast",
            "warn",
            f"water runs too fast in {len(fast):,} stretches of pipe even in the widest, at the worst in a {word}",
            f"{speed[worst] * factor:.1f} {unit}",
            f"{limit * factor:.1f} {unit}",
            "add wider pipe to the list of diameters, or more zones",
            geometry=shapely.Point(network.x[worst], network.y[worst]),
        )


def _through_screens(stage: Stage) -> Iterator[Finding]:
    """Say where pipes to other plants cross a planted screen: its roots and its trench want one place between two plants."""
    network, trees, blocks = stage.network, stage.trees, stage.site.blocks
    own = np.concatenate([mains_once(network), np.flatnonzero((network.kind != MAIN) & (network.parent >= 0))])
    up = network.parent[own]
    ends = np.column_stack([network.x[up], network.y[up], network.x[own], network.y[own]])
    pipes = np.atleast_1d(np.asarray(shapely.linestrings(ends.reshape(-1, 2, 2)), object))
    for b in [k for k, block in enumerate(blocks) if block.pattern.kind == "screen"]:
        at = np.flatnonzero(trees.block == b)
        at = at[np.lexsort((trees.position[at], trees.row[at]))]
        pair = np.flatnonzero(trees.row[at][1:] == trees.row[at][:-1])
        if not len(pair):
            continue
        xy = np.column_stack([trees.x[at], trees.y[at]])
        line = shapely.union_all(shapely.linestrings(np.stack([xy[pair], xy[pair + 1]], axis=1)))
        # the screen's own valve stands on it
        other = ~np.isin(network.section[own], np.unique(network.section[network.block == b]))
        through = pipes[other & shapely.crosses(pipes, line)]
        if len(through):
            yield Finding(
                "pipe_through_screen",
                "note",
                f"pipes to other plants pass through the screen {blocks[b].name} in {len(through):,} "
                f"{'place' if len(through) == 1 else 'places'}",
                f"{len(through):,}",
                "0",
                "lay them between two of its plants before those are planted, or name the screen's line as a "
                "barrier (water.barriers) with a sleeve",
                geometry=shapely.intersection(shapely.union_all(through), line),
            )
