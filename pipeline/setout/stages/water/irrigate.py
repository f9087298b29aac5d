"""From trees and water points to a network, its zones and what each tree gets."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from setout.model import Bools, Finding, Floats, Ints, Irrigation, IrrigationPlan, Need, Network, Reach, Rows, Site, Trees
from setout.model.irrigation import BARRIER, FLOW_UNKNOWN, LOW_FLOW, NEED_UNKNOWN
from setout.progress import Say, each, silent
from setout.stages.water import doubts
from setout.stages.water.account import Stage, sources_of, zones_told
from setout.stages.water.buying import materials_of
from setout.stages.water.chains import Chain, Ground, at_ends, chains_of
from setout.stages.water.hours import Draws, programme
from setout.stages.water.judge import CODE, judged
from setout.stages.water.outlets import Outlets, Pieces, Positions, outlets_of, shortened
from setout.stages.water.pipes import Approach, Heights, Laid, lay
from setout.stages.water.pressure import mendable, solved
from setout.stages.water.routes import way_to
from setout.stages.water.sizing import LATERAL_SHARE, Feeds, Sized, allowed_spread_m, from_root, least_kpa, longest_side, sized
from setout.stages.water.zoning import Sections, by_elevation, zones_of
from setout.units import KPA_PER_M

FULL = 1 + 1e-9
LEAST_SIDE_M = 30.0
"""Laterals are made no shorter than this for the fall of the ground [m]; no source: steeper ground asks for emitters
that compensate."""
TIMES = 3
"""How often pipes are sized with less friction than before."""


@dataclass(frozen=True, slots=True)
class Given:
    """Finished positions and their water.

    Attributes
    ----------
    site : property with its water points and blocks
    trees, rows : positions
    z : per tree, elevation [m]; NaN unknown
    point : per tree, the water point that serves it; -1 for none
    unserved : per tree, why none does, as an index into REASONS; -1 where one does
    reach : corners that pipes bend round
    heights : elevation of places
    """

    site: Site
    trees: Trees
    rows: Rows
    z: Floats
    point: Ints
    unserved: Ints
    reach: Reach
    heights: Heights


def irrigate(given: Given, plan: IrrigationPlan, need: Need, say: Say = silent) -> Irrigation:
    """Lay out, size, solve and programme the irrigation, and judge every tree."""
    water = given.site.water
    assert water is not None
    unserved = given.unserved.copy()
    if plan.emitter is None:
        return _dry(given, plan, need, doubts.no_emitter(), unserved)
    usable = np.isfinite(water.points.pressure_kpa) & np.isfinite(water.points.flow_lph)
    found = list(doubts.sources_unknown(given.site, np.unique(given.point[given.point >= 0]), usable))
    each = plan.emitter.flow_lph * max(plan.emitters_in(b) for b in range(len(given.site.blocks)))
    weak = usable & (water.points.flow_lph * FULL < each)
    served = (given.point >= 0) & np.append(usable & ~weak, False)[given.point]
    unserved[(given.point >= 0) & np.append(weak, False)[given.point]] = CODE[LOW_FLOW]
    if not served.any():
        return _dry(given, plan, need, found, unserved)
    layout = _laid_out(given, plan, need, np.where(served, given.point, -1), say)
    if layout is None:
        unserved[served] = CODE[BARRIER]
        return _dry(given, plan, need, found, unserved)
    return _run(replace(given, unserved=unserved), plan, need, layout, found)


@dataclass(frozen=True, slots=True)
class _Layout:
    """Pipes before they are sized."""

    laid: Laid
    sections: Sections
    outlets: Outlets
    cut_off: Bools


def _laid_out(given: Given, plan: IrrigationPlan, need: Need, point: Ints, say: Say) -> _Layout | None:
    """Set outlets, gather rows on manifolds, group them into zones and lay the pipes."""
    site, emitter = given.site, plan.emitter
    assert site.water is not None
    assert emitter is not None
    patterns = [block.pattern for block in site.blocks]
    at_tree = [plan.emitters_in(b) for b in range(len(patterns))]
    positions = Positions(given.trees, given.rows, given.z, point, patterns, at_tree)
    outlets, pieces = outlets_of(positions, emitter, given.reach.barriers)
    spacing, side = _sides(outlets, pieces, plan, len(patterns))
    capacity = site.water.points.flow_lph
    heaviest = float(outlets.emitters.max()) * emitter.flow_lph
    by_flow = np.floor(capacity * FULL / heaviest)[pieces.point]
    most = np.maximum(np.minimum(2 * side[pieces.block], by_flow), 1).astype(np.int64)
    outlets, pieces = shortened(outlets, pieces, most)
    axis = _axes(given.rows, len(patterns))
    points = site.water.points
    ground = Ground(outlets, pieces, axis, spacing, side * spacing, points.x, points.y, given.reach.barriers)
    chains, approaches, lost = _approached(ground, given.reach, say)
    cut_off = np.zeros(len(given.trees), bool)
    at = outlets.of_tree
    if lost:
        gone = np.isin(outlets.piece, np.concatenate([c.piece for c in lost]))
        cut_off = (at >= 0) & gone[np.maximum(at, 0)]
    if not chains:
        return None
    emitters = np.bincount(outlets.piece, weights=outlets.emitters, minlength=len(pieces))
    flow = emitters.astype(float) * emitter.flow_lph
    hours = _hours_by_chain(chains, outlets, pieces, need.need_lpd, flow)
    sections = zones_of(chains, [int(pieces.point[c.piece[0]]) for c in chains], flow, hours, capacity, points.name)
    across = (1 - LATERAL_SHARE) * allowed_spread_m(plan)
    sections = by_elevation(sections, [given.heights(c.x, c.y) for c in chains], across)
    return _Layout(lay(chains, approaches, sections, outlets, pieces, given.heights), sections, outlets, cut_off)


def _sides(outlets: Outlets, pieces: Pieces, plan: IrrigationPlan, blocks: int) -> tuple[Floats, Floats]:
    """Return per block the usual distance of outlets [m], and the most of them on one side of a lateral."""
    assert plan.emitter is not None
    spacing, side = np.ones(blocks), np.ones(blocks)
    same = outlets.piece[1:] == outlets.piece[:-1]
    step = np.hypot(np.diff(outlets.x), np.diff(outlets.y))
    block = pieces.block[outlets.piece]
    for b in np.unique(block).tolist():
        own = step[same & (block[1:] == b)]
        spacing[b] = float(np.median(own)) if len(own) else 1.0
        flow = float(outlets.emitters[block == b].mean()) * plan.emitter.flow_lph
        falls = _fall_along(outlets, pieces, np.flatnonzero(pieces.block == b))
        # one side climbs by what the other falls
        level = max(LATERAL_SHARE * allowed_spread_m(plan) / max(2 * falls, 1e-6), LEAST_SIDE_M) / spacing[b]
        side[b] = max(min(longest_side(plan, spacing[b], flow), int(level)), 1)
    return spacing, side


def _fall_along(outlets: Outlets, pieces: Pieces, own: Ints) -> float:
    """Return how steeply the ground falls along most pieces of row, rise over run; 0 where it is unknown."""
    a, b = pieces.start[own], pieces.stop[own] - 1
    length = np.hypot(outlets.x[b] - outlets.x[a], outlets.y[b] - outlets.y[a])
    known = (length > 0) & np.isfinite(outlets.z[a] + outlets.z[b])
    if not known.any():
        return 0.0
    return float(np.quantile(np.abs(outlets.z[b] - outlets.z[a])[known] / length[known], 0.75))


def _axes(rows: Rows, blocks: int) -> Floats:
    """Return per block the unit vector along its longest row."""
    axis = np.tile([0.0, 1.0], (blocks, 1))
    length = np.hypot(rows.x1 - rows.x0, rows.y1 - rows.y0)
    for b in np.unique(rows.block).tolist():
        own = np.flatnonzero(rows.block == b)
        angle = np.radians(rows.bearing_deg[own[np.argmax(length[own])]])
        axis[b] = np.sin(angle), np.cos(angle)
    return axis


def _approached(ground: Ground, reach: Reach, say: Say) -> tuple[list[Chain], list[Approach], list[Chain]]:
    """Find the main's way to every manifold line; lines that none leads to are returned last."""
    chains, approaches, lost = [], [], []
    for chain in each(chains_of(ground), "manifold lines", say):
        ways, without = _ways_to(ground, reach, [chain])
        for again in at_ends(ground, chain) if without else ():
            other, still = _ways_to(ground, reach, again)
            if sum(len(c.piece) for c in still) < sum(len(c.piece) for c in without):
                ways, without = other, still
        chains += [line for line, _ in ways]
        approaches += [approach for _, approach in ways]
        lost += without
    return chains, approaches, lost


def _ways_to(ground: Ground, reach: Reach, lines: list[Chain]) -> tuple[list[tuple[Chain, Approach]], list[Chain]]:
    """Return the lines that a main leads to with its way, and those that none does."""
    found, without = [], []
    for line in lines:
        way = way_to(reach, int(ground.pieces.point[line.piece[0]]), line.x, line.y)
        if way is None:
            without.append(line)
        else:
            found.append((line, Approach(*way)))
    return found, without


def _hours_by_chain(chains: list[Chain], outlets: Outlets, pieces: Pieces, need: Floats, flow: Floats) -> Floats:
    """Return the hours a day that the trees of each manifold line's block need on average; NaN where a need is unknown."""
    on = outlets.of_tree >= 0
    block = pieces.block[outlets.piece[outlets.of_tree[on]]]
    wanted = np.bincount(block, weights=need[on])
    given = np.bincount(pieces.block, weights=flow)
    return np.array([wanted[b] / given[b] for b in (pieces.block[c.piece[0]] for c in chains)])


def _run(given: Given, plan: IrrigationPlan, need: Need, layout: _Layout, found: list[Finding]) -> Irrigation:
    """Size and solve the pipes, give the zones their hours and judge the trees."""
    water = given.site.water
    assert water is not None
    sections, capacity = layout.sections, water.points.flow_lph
    point = sections.point[sections.zone]
    floor = water.min_pressure_kpa or 0.0
    feeds = Feeds(water.points, point, sections.zone, capacity[point], floor)
    pipes, network = _fitted(layout, plan, feeds)
    level = not np.isfinite(given.z).any()
    if level:
        found.append(doubts.no_elevation())
        blank = np.full(len(network), np.nan)
        network = replace(network, pressure_kpa=blank, z=blank)
    tree = _per_tree(given, network, layout, pipes_m=from_root(pipes.paths, network.length_m))
    draws = _draws(given, plan, need, network, layout, tree, floor=floor)
    run = programme(draws, plan)
    unserved = np.where(layout.cut_off, CODE[BARRIER], given.unserved)
    verdict = judged(draws, plan, run, unserved, _static(given, plan, floor))
    stage = Stage(given.site, given.trees, plan, network, sections, draws, run, need)
    zones = zones_told(stage, tree.pressure)
    out = Irrigation(
        plan,
        network,
        zones,
        sources_of(stage, given.point),
        draws.zone,
        tree.node,
        tree.pipe_m,
        tree.pressure,
        tree.flow,
        need.need_lpd,
        verdict.watered,
        verdict.known,
        verdict.reason,
        materials_of(stage, zones),
        (),
        need,
    )
    found += doubts.told(out, stage)
    return replace(out, findings=tuple(found))


def _fitted(layout: _Layout, plan: IrrigationPlan, feeds: Feeds) -> tuple[Sized, Network]:
    """Size and solve the pipes; where pressure falls short or spreads too far by friction, with less of it, some times over."""
    tight = np.ones(len(feeds.point))
    for _ in range(TIMES):
        pipes = sized(layout.laid.network, plan, feeds, layout.sections.chain, tight)
        network = solved(pipes, plan, feeds)
        short = mendable(network, plan, feeds)
        if not short.any():
            break
        tight[short] *= 0.5
    return pipes, network


@dataclass(frozen=True, slots=True)
class _PerTree:
    """What each tree gets; -1 and NaN for none."""

    node: Ints
    pipe_m: Floats
    pressure: Floats
    flow: Floats


def _per_tree(given: Given, network: Network, layout: _Layout, *, pipes_m: Floats) -> _PerTree:
    outlet = layout.outlets.of_tree
    node = np.where(outlet >= 0, layout.laid.outlet_node[np.maximum(outlet, 0)], -1)
    on = node >= 0
    at = np.maximum(node, 0)
    shared = layout.outlets.count[np.maximum(outlet, 0)]
    known = on & np.isfinite(given.z)
    pressure = np.where(known, network.pressure_kpa[at], np.nan)
    flow = np.where(known, network.out_lph[at] / shared, np.nan)
    return _PerTree(node, np.where(on, pipes_m[at], np.nan), pressure, flow)


def _static(given: Given, plan: IrrigationPlan, floor: float) -> Bools:
    """Tell which trees stand too high for their emitters even if no pipe lost anything.

    A water point with too little pressure at its own height is weak, and no tree too high for it.
    """
    assert given.site.water is not None
    points = given.site.water.points
    at, least = np.maximum(given.point, 0), _least(plan, floor) - 1e-3
    left = points.pressure_kpa[at] - KPA_PER_M * (given.z - points.z[at])
    return np.asarray((given.point >= 0) & (left < least) & (points.pressure_kpa[at] >= least), bool)


def _least(plan: IrrigationPlan, floor: float) -> float:
    """Return the least pressure at which a tree's emitters do their work [kPa]."""
    assert plan.emitter is not None
    return least_kpa(plan, floor) if plan.emitter.compensating_kpa is not None else floor


def _draws(given: Given, plan: IrrigationPlan, need: Need, network: Network, layout: _Layout, tree: _PerTree, *, floor: float) -> Draws:
    assert given.site.water is not None
    sections = layout.sections
    zones = len(sections.point)
    zone_lph = np.bincount(network.zone, weights=network.out_lph, minlength=zones).astype(float)
    zone = np.where(tree.node >= 0, network.zone[np.maximum(tree.node, 0)], -1)
    able = (tree.pressure >= _least(plan, floor) - 1e-3) & (tree.flow > 0)
    capacity = given.site.water.points.flow_lph
    assert plan.emitter is not None
    shared = layout.outlets.count[np.maximum(layout.outlets.of_tree, 0)]
    rated = plan.emitter.flow_lph * network.emitters[np.maximum(tree.node, 0)] / shared
    return Draws(zone, need.need_lpd, tree.flow, able, sections.point, zone_lph, capacity, rated)


def _dry(given: Given, plan: IrrigationPlan, need: Need, found: list[Finding], unserved: Ints) -> Irrigation:
    """Return what is known without a network: which trees no water point serves."""
    size = len(given.trees)
    none, nan = np.full(size, -1, np.int64), np.full(size, np.nan)
    unknown = np.where(np.isnan(need.need_lpd), CODE[NEED_UNKNOWN], CODE[FLOW_UNKNOWN])
    reason = np.where(unserved >= 0, unserved, unknown).astype(np.int8)
    found = [*found, *doubts.all_dry(given.trees, unserved >= 0, reason)]
    return Irrigation(
        plan, None, (), (), none, none, nan, nan, nan, need.need_lpd, np.zeros(size, bool), unserved >= 0, reason, (), tuple(found), need
    )
