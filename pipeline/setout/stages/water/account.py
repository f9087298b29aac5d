"""Zones and water points told in figures: flows, pressures, uniformity, hours by month and year."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from setout.hydraulics.uniformity import class_of, emission_uniformity
from setout.model import Bools, Floats, Ints, IrrigationPlan, Need, Network, Site, Source, Trees, Zone
from setout.model.irrigation import MAIN
from setout.stages.water.hours import Draws, Programme, monthly
from setout.stages.water.zoning import Sections


@dataclass(frozen=True, slots=True)
class Stage:
    """Everything that is known once the pipes are solved and the hours given.

    Attributes
    ----------
    site, trees, plan, network, sections, draws, run : results of the earlier steps
    need : what the trees need
    """

    site: Site
    trees: Trees
    plan: IrrigationPlan
    network: Network
    sections: Sections
    draws: Draws
    run: Programme
    need: Need


def zones_told(stage: Stage, pressure: Floats) -> tuple[Zone, ...]:
    """Return the zones as a controller takes them."""
    draws, run, sections = stage.draws, stage.run, stage.sections
    by_month = monthly(draws, stage.plan, _by_month(stage.need))
    by_month[np.unique(draws.zone[_untold(stage.need) & (draws.zone >= 0)])] = np.nan
    years, by_age = _by_year(stage.need)
    by_year = monthly(draws, stage.plan, by_age)
    at_valve = valve_kpa(stage.network, len(sections.zone))
    order = np.argsort(draws.zone, kind="stable")
    edges = np.searchsorted(draws.zone[order], np.arange(len(sections.point) + 1))
    out = []
    for z, point in enumerate(sections.point.tolist()):
        own = order[edges[z] : edges[z + 1]]
        valves = np.flatnonzero(sections.zone == z)
        kpa = pressure[own]
        uniformity = _uniformity(stage, own)
        blocks = np.unique(stage.trees.block[own])
        rows = np.unique(stage.trees.block[own].astype(np.int64) * 1_000_000 + stage.trees.row[own])
        known = np.isfinite(kpa).any()
        out.append(
            Zone(
                f"z{z + 1}",
                point,
                valve_names(f"z{z + 1}", len(valves)),
                tuple(stage.site.blocks[b].name for b in blocks),
                len(rows),
                len(own),
                float(draws.zone_lph[z]),
                float(np.max(at_valve[valves])) if known else np.nan,
                float(np.nanmin(kpa)) if known else np.nan,
                float(np.nanmax(kpa)) if known else np.nan,
                uniformity,
                class_of(100 * uniformity),
                float(run.hours[z]),
                stage.plan.days_per_week,
                float(run.needed[z]),
                tuple(by_month[z].tolist()),
                tuple(zip(years, by_year[z].tolist(), strict=True)),
                float(run.start[z]),
            )
        )
    return tuple(out)


def _by_month(need: Need) -> list[Floats]:
    """Return the need of every tree in each month without rain [l/day]; empty where only a peak is known."""
    tables = [c.dry_lpd_by_month or c.lpd_by_month for c in need.classes]
    if not any(tables):
        return []
    unknown = (np.nan,) * 12
    table = np.array([*(t or unknown for t in tables), unknown], float)
    return [table[need.class_of, month] for month in range(12)]


def _untold(need: Need) -> Bools:
    """Tell which trees have a need at the peak and none by month: what their zone gives in a month is not known."""
    of_class = np.array([*(c.is_known and not (c.dry_lpd_by_month or c.lpd_by_month) for c in need.classes), False])
    return np.asarray(of_class[need.class_of])


def _by_year(need: Need) -> tuple[list[int], list[Floats]]:
    """Return years after planting and the need of every tree at the peak of each [l/day]; NaN where growth is unknown."""
    years = sorted({year for c in need.classes for year, _ in c.lpd_by_year})
    table = np.full((len(need.classes) + 1, len(years)), np.nan)
    for k, c in enumerate(need.classes):
        if c.lpd_by_year:
            known, lpd = (np.array(v, float) for v in zip(*c.lpd_by_year, strict=True))
            # past its last year a class needs what it did then
            table[k] = lpd[np.clip(np.searchsorted(known, years, side="right") - 1, 0, len(lpd) - 1)]
    return years, [table[need.class_of, k] for k in range(len(years))]


def valve_names(zone: str, valves: int) -> tuple[str, ...]:
    """Return names of a zone's valves: its own name, or with letters where it has several.

    >>> valve_names("z3", 1), valve_names("z3", 2)
    (('z3',), ('z3a', 'z3b'))
    """
    if valves == 1:
        return (zone,)
    letters = "abcdefghijklmnopqrstuvwxyz"
    return tuple(zone + (letters[k] if valves <= 26 else f"-{k + 1}") for k in range(valves))


def valve_kpa(network: Network, sections: int) -> Floats:
    """Return the pressure behind the valve of every section [kPa]."""
    out = np.full(sections, np.nan)
    at = np.flatnonzero(network.is_valve)
    out[network.section[at]] = network.pressure_kpa[at]
    return out


def _uniformity(stage: Stage, own: Ints) -> float:
    """Return the emission uniformity of a zone's trees, 0 to 1; flows as shares of what is rated for each."""
    emitter = stage.plan.emitter
    assert emitter is not None
    rated = np.array([stage.plan.emitters_in(b) for b in range(len(stage.site.blocks))])[stage.trees.block[own]]
    flow = stage.draws.flow_lph[own] / rated
    known = np.isfinite(flow)
    at_plant = int(rated[known].min()) if known.any() else 1
    return emission_uniformity(flow[known], emitter.variation, float(at_plant)) / 100


def sources_of(stage: Stage, point: Ints) -> tuple[Source, ...]:
    """Account for every water point: what is drawn and needed against what it gives."""
    assert stage.site.water is not None
    points, plan, draws, run = stage.site.water.points, stage.plan, stage.draws, stage.run
    out = []
    for p in range(len(points.name)):
        zones = np.flatnonzero(stage.sections.point == p)
        own = point == p
        need = float(np.sum(stage.draws.need_lpd[own])) if own.any() else 0.0
        ends = run.start[zones] + run.hours[zones]
        given = float(plan.given_lpd(points.flow_lph[p]))
        drawn = _drawn_at_once(draws.zone_lph[zones], run.start[zones], run.hours[zones])
        hours = float(np.nanmax(ends)) if np.isfinite(ends).any() else float("nan") if len(zones) else 0.0
        out.append(
            Source(p, float(points.flow_lph[p]), float(points.pressure_kpa[p]), drawn, hours, need, float(given), float(given) - need)
        )
    return tuple(out)


def _drawn_at_once(flow: Floats, start: Floats, hours: Floats) -> float:
    """Return the greatest flow drawn at a time [l/h]: zones whose times overlap run at once, others alone."""
    if not len(flow):
        return 0.0
    known = np.isfinite(start + hours)
    now = start[known, None]
    runs = (start[known] <= now + 1e-9) & (now + 1e-9 < (start + hours)[known])
    return float(max((runs @ flow[known]).max(initial=0.0), flow[~np.isfinite(hours)].max(initial=0.0)))


def mains_once(network: Network) -> Ints:
    """Return the pipes of mains, those that several sections share only once, the widest of each."""
    own = np.flatnonzero(network.kind == MAIN)
    up = network.parent[own]
    ends = np.round(np.column_stack([network.x[own], network.y[own], network.x[up], network.y[up]]), 3)
    order = np.lexsort((-network.inside_mm[own], *ends.T))
    sorted_ends = ends[order]
    first = np.ones(len(own), bool)
    first[1:] = (sorted_ends[1:] != sorted_ends[:-1]).any(axis=1)
    return np.sort(own[order[first]])
