"""What joins water to the rest: which point serves which rows, the need of the trees, pipes and zones, columns of trees."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from setout.model import (
    Bools,
    Finding,
    Floats,
    Ground,
    Ints,
    Irrigation,
    IrrigationPlan,
    MaterialLine,
    Need,
    Reach,
    Rows,
    Served,
    Site,
    Trees,
    Water,
    Weather,
)
from setout.model.irrigation import BARRIER, LOW_PRESSURE, NO_POINT, REASONS, TOO_FAR, TOO_HIGH
from setout.planfile import Plan
from setout.progress import Say, silent
from setout.run.land import Land
from setout.stages import reach, terrain, water
from setout.stages.need import need_of
from setout.units import KPA_PER_M


@dataclass(frozen=True, slots=True)
class Watered:
    """The irrigation, per-tree columns that it gives or changes, materials, findings, and the need behind it."""

    irrigation: Irrigation | None
    columns: dict[str, Any]
    materials: tuple[MaterialLine, ...] = ()
    findings: tuple[Finding, ...] = ()
    need: Need | None = None


@dataclass(frozen=True, slots=True)
class Planted:
    """Finished positions, their ground and how water comes to them."""

    site: Site
    ground: Ground
    reached: Reach
    trees: Trees
    rows: Rows
    z: Floats
    point: Ints
    run_m: Floats


def planted_on(land: Land, site: Site, trees: Trees, rows: Rows) -> Planted | None:
    """Gather finished positions for their water."""
    if land.reached is None:
        return None
    assert trees.water_index is not None
    return Planted(site, land.ground, land.reached, trees, rows, trees.known("elevation_m"), trees.water_index, trees.known("run_m"))


def watering(the_plan: Plan, planted: Planted | None, weather: Weather | None = None, say: Say = silent) -> Watered:
    """Reckon need, lay out the irrigation of finished positions and judge every tree."""
    if the_plan.water is None or planted is None or planted.site.water is None:
        return Watered(None, {})
    site = planted.site
    need = need_for(the_plan, site, planted.trees, weather)
    settings = settings_of(the_plan)
    unserved = why_unserved(planted)
    point, run = planted.point, planted.run_m
    if settings.emitter is not None:
        point, run = _joined(planted, settings, need)

    def heights(x: Floats, y: Floats) -> Floats:
        if planted.ground.elevations is None:
            return np.full(len(x), np.nan)
        return terrain.sample(planted.ground, x, y)[0]

    given = water.Given(site, planted.trees, planted.rows, planted.z, point, unserved, planted.reached, heights)
    irrigation = water.irrigate(given, settings, need, say)
    filled = {"water_index": point, "run_m": run} | columns(irrigation)
    return Watered(irrigation, filled, irrigation.materials, (*need.findings, *irrigation.findings), need)


def settings_of(the_plan: Plan) -> IrrigationPlan:
    """Return what a plan with a water section asks of the irrigation."""
    assert the_plan.water is not None
    settings = the_plan.water.irrigation()
    usual = settings.emitters_in(0)
    return replace(settings, block_emitters=tuple(block.emitters or usual for block in the_plan.block))


def need_for(the_plan: Plan, site: Site, trees: Trees, weather: Weather | None) -> Need:
    """Return what trees need; unknown where the plan, which has a water section, says nothing of the weather."""
    assert the_plan.water is not None
    if not the_plan.water.is_need_given:
        return Need(np.full(len(trees), np.nan), np.full(len(trees), -1), ())
    return need_of(site, trees, weather, the_plan.water.need(the_plan.water.efficiency))


def columns(irrigation: Irrigation) -> dict[str, Any]:
    """Return the columns of trees that an irrigation fills; without a network those that tell who is out of reach."""
    told = irrigation.known if irrigation.network is None else np.full(len(irrigation.known), fill_value=True)
    out: dict[str, Any] = {"reason_index": np.where(told, irrigation.reason, -1)}
    real = {"watered": np.where(irrigation.known, irrigation.watered.astype(float), np.nan), "need_lpd": irrigation.need_lpd}
    if irrigation.network is not None:
        # what the emitters have takes the place of the static pressure
        out |= {"zone_index": irrigation.zone, "pressure_kpa": irrigation.pressure_kpa}
        real["flow_lph"] = irrigation.flow_lph
    return out | {name: values for name, values in real.items() if np.isfinite(values).any()}


def why_unserved(planted: Planted) -> Ints:
    """Return why no water point serves a tree, as an index into REASONS; -1 for the trees that one serves."""
    site, reached, trees = planted.site, planted.reached, planted.trees
    out = np.full(len(trees), -1, np.int64)
    dry = np.flatnonzero(planted.point < 0)
    if not len(dry) or site.water is None:
        return out
    if not len(site.water.points.x):
        out[dry] = REASONS.index(NO_POINT)
        return out

    def serves(how: Reach) -> Bools:
        assert site.water is not None
        return reach.serve(how, site.water, trees.x[dry], trees.y[dry], planted.z[dry]).point >= 0

    any_height = np.full(len(reached.ceiling_m), np.inf)
    low = replace(reached, ceiling_m=any_height)
    # no tree is too high for a water point that has too little pressure at its own height
    weak = site.water.points.pressure_kpa < (site.water.min_pressure_kpa or 0.0)
    strong = replace(reached, ceiling_m=np.where(weak, -np.inf, any_height))
    straight = _straight(low, site.water)
    reason = np.full(len(dry), REASONS.index(TOO_FAR))
    reason[serves(straight)] = REASONS.index(BARRIER)
    reason[serves(low)] = REASONS.index(LOW_PRESSURE)
    reason[serves(strong)] = REASONS.index(TOO_HIGH)
    out[dry] = reason
    return out


def _straight(reached: Reach, of: Water) -> Reach:
    """Return the reach that there would be if nothing were in the way."""
    size = len(of.points.x)
    return replace(reached, x=of.points.x, y=of.points.y, run=np.zeros(size), point=np.arange(size), barriers=None)


def _joined(planted: Planted, settings: IrrigationPlan, need: Need) -> tuple[Ints, Floats]:
    """Give whole rows to one water point, away from those with too much to do; return the point and the run from it."""
    site, reached, trees = planted.site, planted.reached, planted.trees
    assert site.water is not None
    points = site.water.points
    # in the order of their names, whatever the file's: of two that serve a row alike the first is taken
    order = np.array(sorted(range(len(points.name)), key=points.name.__getitem__))
    rank = np.argsort(order)
    given = settings.given_lpd(points.flow_lph)
    given = np.where(np.isfinite(points.pressure_kpa), given, np.nan)
    able = water.able_of(reached, trees.x, trees.y, planted.z) & np.isfinite(given)[:, None]
    strong = able & _strong(planted, settings, need)
    # trees that no water point is strong enough for stay with what reaches them
    able = np.where(strong.any(axis=0), strong, able)
    first = _nearest_able(planted, able)
    able = able[order]
    ranked = np.where(first >= 0, rank[first], -1)
    ranked = water.joined(trees, ranked, able)
    load = water.Load(need.need_lpd, given[order], points.x[order], points.y[order])
    ranked = water.balanced(trees, ranked, able, load)
    point = np.where(ranked >= 0, order[ranked], -1)
    run = planted.run_m.copy()
    for p in np.unique(point[point != planted.point]).tolist():
        own = np.flatnonzero((point == p) & (planted.point != p))
        served = _served_by(planted, p, own)
        ok = served.point >= 0
        run[own[ok]] = served.run_m[ok]
        point[own[~ok]] = planted.point[own[~ok]]
    return point, run


def _strong(planted: Planted, settings: IrrigationPlan, need: Need) -> Bools:
    """Tell which water points have the pressure for which trees."""
    site, trees, emitter = planted.site, planted.trees, settings.emitter
    assert site.water is not None
    assert emitter is not None
    points = site.water.points
    static = points.pressure_kpa[:, None] - KPA_PER_M * (planted.z - points.z[:, None])
    at_tree = np.array([settings.emitters_in(b) for b in range(len(site.blocks))], float) / emitter.trees_per_emitter
    rated = emitter.flow_lph * at_tree[trees.block]
    return water.strong_of(static, need.need_lpd, rated, settings, site.water.min_pressure_kpa or 0.0)


def _nearest_able(planted: Planted, able: Bools) -> Ints:
    """Return the water point of every tree: the nearest, or the nearest that is able where that is not."""
    point, every = planted.point, np.arange(len(planted.point))
    unfit = np.flatnonzero((point >= 0) & ~able[point, every] & able.any(axis=0))
    out, best = point.copy(), np.full(len(point), np.inf)
    for p in range(len(able)):
        own = unfit[able[p, unfit]]
        served = _served_by(planted, p, own)
        nearer = (served.point >= 0) & (served.run_m < best[own])
        out[own[nearer]], best[own[nearer]] = p, served.run_m[nearer]
    return out


def _served_by(planted: Planted, p: int, own: Ints) -> Served:
    """Return how one water point alone would serve some trees."""
    reached, trees = planted.reached, planted.trees
    assert planted.site.water is not None
    corner = reached.point == p
    only = replace(reached, x=reached.x[corner], y=reached.y[corner], run=reached.run[corner], point=reached.point[corner])
    return reach.serve(only, planted.site.water, trees.x[own], trees.y[own], planted.z[own])
