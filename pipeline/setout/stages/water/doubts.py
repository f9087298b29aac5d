"""What the irrigation leaves open or falls short of, each with its remedy."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from setout.hydraulics.friction import velocity_ms
from setout.model import Bools, Figure, Finding, Ints, Irrigation, Site, Trees
from setout.model.irrigation import (
    BARRIER,
    HOURS_OUT,
    KIND_WORDS,
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
from setout.units import KPA_PER_M

MENDED: Final = frozenset({TOO_FAR, TOO_HIGH, LOW_PRESSURE, LOW_FLOW, HOURS_OUT, VOLUME_OUT, BARRIER, NO_POINT})
"""Reasons that have a remedy of their own."""


def no_emitter() -> list[Finding]:
    """Say that pipes cannot be reckoned without an emitter."""
    return [Finding("water_no_emitter", "note")]


def no_elevation() -> Finding:
    """Say that pressures are unknown without elevations."""
    return Finding("water_no_elevation", "warn")


def sources_unknown(site: Site, used: Ints, usable: Bools) -> Iterator[Finding]:
    """Name the water points that serve trees but do not say what they give."""
    assert site.water is not None
    points = site.water.points
    for p in used.tolist():
        if not usable[p]:
            lacking = [w for w, v in (("pressure", points.pressure_kpa[p]), ("flow", points.flow_lph[p])) if not np.isfinite(v)]
            key = lacking[0]
            figures = {"point": points.name[p], "lacks": "_and_".join(lacking), "column": f"{key}_column", "key": key}
            yield Finding("water_source_unknown", "warn", figures=figures, geometry=shapely.Point(points.x[p], points.y[p]))


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
        yield Finding("water_assumed", "note", figures={"settings": stage.plan.assumed})


def _heights_assumed(out: Irrigation, stage: Stage) -> Iterator[Finding]:
    """Say where the DEM has a gap under pipes, and which height is taken there: it decides what pressure is told."""
    net, points = stage.network, stage.site.water
    own = net.z_assumed & np.isfinite(net.z)
    if not own.any() or points is None:
        return
    valves = tuple(
        name
        for z, zone in enumerate(out.zones)
        for s, name in zip(np.flatnonzero(stage.sections.zone == z).tolist(), zone.valves, strict=True)
        if (own & net.is_valve & (net.section == s)).any()
    )
    sources = tuple(points.points.name[p] for p in np.unique(stage.sections.point[net.zone[own & (net.kind == SOURCE)]]))
    trees = np.isin(out.node, np.flatnonzero(own & (net.emitters > 0)))
    count = int(trees.sum())
    yield Finding(
        "water_height_assumed",
        "warn",
        figures={"places": int(own.sum()), "points": sources, "valves": valves, "trees": count or None, "rows": _rows(stage, trees)},
        geometry=shapely.MultiPoint(np.unique(np.column_stack([net.x[own], net.y[own]]), axis=0)[:2000]),
    )


def _rows(stage: Stage, own: Bools) -> tuple[str, ...]:
    """Return the rows of some trees, block and number, as they are staked."""
    trees, out = stage.trees, []
    for b in np.unique(trees.block[own]).tolist():
        wide = len(str(int(trees.row[trees.block == b].max())))
        out += [f"{stage.site.blocks[b].name}-{row:0{wide}d}" for row in np.unique(trees.row[own & (trees.block == b)]).tolist()]
    return tuple(out)


def _need_unknown(out: Irrigation) -> Iterator[Finding]:
    unknown = int(np.isnan(out.need_lpd).sum())
    if unknown:
        yield Finding("water_need_unknown", "note", figures={"n": unknown})


def _dry_trees(out: Irrigation, stage: Stage) -> Iterator[Finding]:
    """Say for every reason how many trees go short, and which zones or water points."""
    short = out.known & ~out.watered
    for code in np.unique(out.reason[short]).tolist():
        own, word = short & (out.reason == code), REASONS[code]
        zones = tuple(out.zones[z].name for z in np.unique(out.zone[own]).tolist() if z >= 0)
        yield _dry(stage.trees, own, word, _mend(word, own, out), zones=zones, **_figures(word, own, out, stage))


def all_dry(trees: Trees, dry: Bools, reason: NDArray[np.int8]) -> Iterator[Finding]:
    """Say for every reason how many trees go without, where no pipe could be laid to any."""
    for code in np.unique(reason[dry]).tolist():
        own, word = dry & (reason == code), REASONS[code]
        if word == LOW_FLOW:
            yield _dry(trees, own, word, "mend_weak_point", weak="weak_point")
        else:
            yield _dry(trees, own, word, mend_of(word))


def _dry(trees: Trees, own: Bools, word: str, mend: str, **figures: Figure) -> Finding:
    """Say that some trees are not watered, and why."""
    told = {"n": int(own.sum()), "reason": word, "mend": mend, **figures}
    places = shapely.MultiPoint(np.column_stack([trees.x[own], trees.y[own]]))
    return Finding("not_watered", "stop", figures=told, geometry=places, trees=np.flatnonzero(own))


def mend_of(reason: str, otherwise: str = "") -> str:
    """Return the code of what mends a reason; another one for a reason that has none of its own."""
    return f"mend_{reason}" if reason in MENDED else otherwise


def _mend(word: str, own: Bools, out: Irrigation) -> str:
    """Return what mends it; where a water point gives enough in all but its zones do not fit into the day, shorter runs do."""
    points = {out.zones[z].water_point for z in np.unique(out.zone[own]).tolist() if z >= 0}
    enough = [source.spare_lpd >= 0 for source in out.sources if source.water_point in points]
    return "mend_short_runs" if word == HOURS_OUT and enough and all(enough) else mend_of(word)


def _figures(word: str, own: Bools, out: Irrigation, stage: Stage) -> dict[str, Any]:
    """Return what was found and what is asked for."""
    if word == LOW_PRESSURE and np.isfinite(out.pressure_kpa[own]).any():
        emitter = stage.plan.emitter
        floor = emitter.compensating_kpa[0] if emitter is not None and emitter.compensating_kpa is not None else 0.0
        water = stage.site.water
        asked = max(floor, (water.min_pressure_kpa or 0.0) if water is not None else 0.0)
        lowest = float(np.nanmin(out.pressure_kpa[own]))
        if lowest >= asked:
            # enough for the emitters to work, but not for what they are rated for
            asked = least_kpa(stage.plan, asked)
        return {"lowest_kpa": lowest, "asked_kpa": asked}
    if word == LOW_FLOW and np.isfinite(out.flow_lph[own]).any():
        day = stage.plan.hours_per_day * stage.plan.days_per_week / 7
        return {"given_lpd": float(np.nanmin(out.flow_lph[own])) * day, "most_lpd": float(np.nanmax(out.need_lpd[own]))}
    if word == HOURS_OUT:
        zones = [z for z in np.unique(out.zone[own]).tolist() if z >= 0]
        point = {out.zones[z].water_point for z in zones}
        # zones whose need is unknown have no hours, and take none of the others'
        wanted = max(float(np.nansum([z.hours_needed for z in out.zones if z.water_point == p])) for p in point)
        return {"allowed_h": stage.plan.hours_per_day, "wanted_h": wanted}
    return {}


def _short_sources(out: Irrigation, stage: Stage) -> Iterator[Finding]:
    assert stage.site.water is not None
    points = stage.site.water.points
    for source in out.sources:
        if source.spare_lpd < 0:
            p = source.water_point
            yield Finding(
                "water_source_short",
                "warn",
                figures={"point": points.name[p], "given_lpd": source.given_lpd, "need_lpd": source.need_lpd},
                geometry=shapely.Point(points.x[p], points.y[p]),
            )


def _spread(out: Irrigation, stage: Stage) -> Iterator[Finding]:
    """Say in which valves' reach pressures differ more than they should, and how long a lateral might be."""
    emitter, network = stage.plan.emitter, stage.network
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
    yield Finding(
        "water_spread",
        "warn",
        figures={
            "zones": tuple(f"z{z + 1}" for z in names),
            "fall_m": fall,
            "longest_m": longest,
            "limit_m": LATERAL_SHARE * allowed / KPA_PER_M,
            "spread_kpa": float((high - low)[worst]),
            "allowed_kpa": allowed,
        },
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
        most = float(np.nanmax(out.pressure_kpa))
        yield Finding(
            "water_over_range",
            "warn",
            figures={"n": int(high.sum()), "most_kpa": most, "made_for_kpa": emitter.compensating_kpa[1]},
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
        yield Finding(
            "water_fast",
            "warn",
            figures={"n": len(fast), "pipe": KIND_WORDS[network.kind[worst]], "speed_ms": float(speed[worst]), "limit_ms": limit},
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
                figures={"block": blocks[b].name, "n": len(through)},
                geometry=shapely.intersection(shapely.union_all(through), line),
            )
