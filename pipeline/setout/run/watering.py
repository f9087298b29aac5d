"""What joins water to the rest: which point serves which rows, the need of the trees, pipes and zones, columns of trees."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from setout.nouns import (
    Bools,
    Finding,
    Floats,
    Ground,
    Ints,
    Irrigation,
    MaterialLine,
    Need,
    Reach,
    Rows,
    Site,
    Trees,
    Water,
)
from setout.nouns.irrigation import BARRIER, NO_POINT, REASONS, TOO_FAR, TOO_HIGH
from setout.plan import Plan
from setout.stages import reach, terrain, water


@dataclass(frozen=True, slots=True)
class Watered:
    """The irrigation, per-tree columns that it gives or changes, materials and findings."""

    irrigation: Irrigation | None
    facts: dict[str, Any]
    materials: tuple[MaterialLine, ...] = ()
    findings: tuple[Finding, ...] = ()


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


def watering(the_plan: Plan, planted: Planted, need: Need) -> Watered:
    """Lay out and judge the irrigation of finished positions.

    Parameters
    ----------
    the_plan : Plan
        The plan file.
    planted : Planted
        The positions.
    need : Need
        What they need.

    Returns
    -------
    Watered
        Nothing without a water section.
    """
    site = planted.site
    if the_plan.water is None or site.water is None:
        return Watered(None, {})
    settings = the_plan.water.irrigation()
    unserved = why_unserved(planted)
    point, run = planted.point, planted.run_m
    if settings.emitter is not None:
        point, run = _joined(planted)

    def heights(x: Floats, y: Floats) -> Floats:
        if planted.ground.elevations is None:
            return np.full(len(x), np.nan)
        return terrain.sample(planted.ground, x, y)[0]

    given = water.Given(site, planted.trees, planted.rows, planted.z, point, unserved, planted.reached, heights)
    irrigation = water.irrigate(given, settings, need)
    facts: dict[str, Any] = {"water_index": point, "run_m": run, "need_lpd": irrigation.need_lpd}
    facts |= columns(irrigation)
    return Watered(irrigation, facts, irrigation.materials, irrigation.findings)


def columns(irrigation: Irrigation) -> dict[str, Any]:
    """Return the columns of trees that an irrigation fills; without a network those that tell who is out of reach.

    Parameters
    ----------
    irrigation : Irrigation
        The finished irrigation.

    Returns
    -------
    dict
        Arrays of one entry a tree; ``zone_index`` is -1 for none, ``watered`` NaN and ``reason_index`` -1 for unknown.
    """
    told = irrigation.known if irrigation.network is None else np.full(len(irrigation.known), fill_value=True)
    out: dict[str, Any] = {
        "watered": np.where(irrigation.known, irrigation.watered.astype(float), np.nan),
        "reason_index": np.where(told, irrigation.reason, -1),
    }
    if irrigation.network is not None:
        out |= {
            "zone_index": irrigation.zone, "pressure_kpa": irrigation.pressure_kpa, "flow_lph": irrigation.flow_lph,
        }  # fmt: skip
    return out


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

    low = replace(reached, ceiling_m=np.full(len(reached.ceiling_m), np.inf))
    straight = _straight(low, site.water)
    reason = np.full(len(dry), REASONS.index(TOO_FAR))
    reason[serves(straight)] = REASONS.index(BARRIER)
    reason[serves(low)] = REASONS.index(TOO_HIGH)
    out[dry] = reason
    return out


def _straight(reached: Reach, of: Water) -> Reach:
    """Return the reach that there would be if nothing were in the way."""
    size = len(of.points.x)
    return replace(reached, x=of.points.x, y=of.points.y, run=np.zeros(size), point=np.arange(size), barriers=None)


def _joined(planted: Planted) -> tuple[Ints, Floats]:
    """Give whole rows to one water point; return the point and the run from it."""
    site, reached, trees = planted.site, planted.reached, planted.trees
    assert site.water is not None
    point = water.joined(trees, planted.point, water.able_of(reached, trees.x, trees.y, planted.z))
    run = planted.run_m.copy()
    for p in np.unique(point[point != planted.point]).tolist():
        own = np.flatnonzero((point == p) & (planted.point != p))
        corner = reached.point == p
        only = replace(
            reached, x=reached.x[corner], y=reached.y[corner], run=reached.run[corner], point=reached.point[corner]
        )
        served = reach.serve(only, site.water, trees.x[own], trees.y[own], planted.z[own])
        ok = served.point >= 0
        run[own[ok]] = served.run_m[ok]
        point[own[~ok]] = planted.point[own[~ok]]
    return point, run
