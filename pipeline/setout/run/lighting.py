"""Light in its place in the journey: which plantings it is reckoned for, and what it gives to trees and findings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from setout.geometry.sky.sun import SunPath, sun_path
from setout.model import ColdAir, Finding, Floats, Ground, Light, Rows, Site, Survey, Trees
from setout.model.shade import AUTO_TREES, LightPlan, Shade
from setout.planfile import Plan
from setout.progress import Say, silent
from setout.stages import coldair, terrain
from setout.stages import light as sun
from setout.stages.survey.shade import shade_of


@dataclass(frozen=True, slots=True)
class Lit:
    """Light of a planting, cold air over it; columns of the trees by name; findings."""

    light: Light | None = None
    cold: ColdAir | None = None
    columns: Mapping[str, Any] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class Stand:
    """Finished positions: the site, the ground they stand on, the trees and their rows."""

    site: Site
    ground: Ground
    trees: Trees
    rows: Rows


def shade_at(the_plan: Plan, surveyed: Survey, site: Site) -> Shade:
    """Return what throws shade beside the planting; nothing where light is not reckoned."""
    return shade_of(the_plan.asked().shade, surveyed, site.frame)


def with_pair_axes(the_plan: Plan, site: Site) -> tuple[Site, tuple[Finding, ...]]:
    """Set the partners of pairs without an axis the way that gives the darker one more light."""
    if not any(b.pattern.pair is not None and np.isnan(b.pattern.pair.axis_deg) for b in site.blocks):
        return site, ()
    axes = sun.pair_axes(site.blocks, _path(the_plan.light.value(), site))
    return replace(site, blocks=sun.with_axes(site.blocks, axes)), tuple(sun.axis_findings(site.blocks, axes))


def _path(wanted: LightPlan, site: Site) -> SunPath:
    frame = site.frame
    return sun_path(wanted.days_at(frame.lat), frame.lat, frame.lon, frame.height_m)


def lighting(the_plan: Plan, shade: Shade, stand: Stand, say: Say = silent) -> Lit:
    """Reckon the light of a planting, if its sizes are known and the plan file does not forbid it; find its cold air."""
    lit = _sun(the_plan, shade, stand, say)
    cold = coldair.cold_air(stand.site, stand.ground, stand.trees)
    return lit if cold is None else replace(lit, cold=cold, findings=(*lit.findings, *cold.findings))


def _sun(the_plan: Plan, shade: Shade, stand: Stand, say: Say) -> Lit:
    """Reckon light where it is wanted and can be known."""
    wanted, site, trees = the_plan.light.value(), stand.site, stand.trees
    sized = [bool(np.isfinite(block.spread_m) and np.isfinite(block.height_m)) for block in site.blocks]
    if wanted.compute == "never":
        return Lit()
    if not any(sized):
        return Lit(findings=_nothing_known(site, the_plan))
    if wanted.compute == "auto" and len(trees) > AUTO_TREES:
        return Lit(findings=(_too_many(len(trees)),))
    return _lit(wanted, shade, stand, say)


def sky_over(wanted: LightPlan, shade: Shade, site: Site, ground: Ground) -> sun.Sky:
    """Return the sun's path over a site, its terrain horizon and what stands round the planting."""

    def height_at(x: Floats, y: Floats) -> Floats:
        return terrain.sample(ground, x, y)[0] if ground.elevations is not None else np.zeros(len(x))

    path = _path(wanted, site)
    eye = 0.5 * float(np.nanmedian([block.height_m for block in site.blocks]))
    return sun.Sky(path, sun.land_horizon(ground, site, eye), sun.others_of(shade, height_at))


def _lit(wanted: LightPlan, shade: Shade, stand: Stand, say: Say) -> Lit:
    site, trees = stand.site, stand.trees
    frame, blocks = site.frame, site.blocks
    sky = sky_over(wanted, shade, site, stand.ground)
    path = sky.path
    z = ground_height(trees.elevation_m, len(trees))
    light = sun.trees_light(blocks, trees, z, sky, wanted.year, say)
    shades = sun.screen_shades(blocks, trees, z, path, wanted.year)
    found = (*shade.findings, *sun.light_findings(blocks, trees, light), *sun.screen_findings(blocks, shades, frame.lat))
    turned = sun.directions(blocks, stand.rows, path, wanted.year)
    light = replace(light, shades=shades, directions=turned, findings=found)
    columns = {"sun_h": light.sun_h, "sun_am_h": light.sun_am_h, "sun_pm_h": light.sun_pm_h, "sun_open_h": light.open_h}
    return Lit(light, None, columns, found)


def ground_height(elevation: Any, size: int) -> Floats:
    """Return the height of the ground at every tree [m]; where it is unknown that of the middle tree."""
    if elevation is None:
        return np.zeros(size)
    z = np.asarray(elevation, float)
    known = np.isfinite(z)
    return np.where(known, z, np.median(z[known]) if known.any() else 0.0)


def _nothing_known(site: Site, the_plan: Plan) -> tuple[Finding, ...]:
    """Say why there is no light, where the plan file asks for it."""
    if the_plan.light.compute != "always" and "light" not in the_plan.model_fields_set and not the_plan.shade:
        return ()
    blocks = tuple(block.name for block in site.blocks)
    return (Finding("light_unknown", "note", figures={"kind": "site", "blocks": blocks}),)


def _too_many(trees: int) -> Finding:
    return Finding("light_left_out", "note", figures={"trees": trees, "most": AUTO_TREES})
