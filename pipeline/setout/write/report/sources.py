"""Where the figures of a report come from, and pictures of its accounts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from markupsafe import Markup

from setout.draw import chart
from setout.errors import SetoutError
from setout.tables import catalogue
from setout.tables.chores import SHORT_MONTHS
from setout.units import GALLON
from setout.write.report.light import lit_groups

if TYPE_CHECKING:
    from setout.model import Planting


def sources(planting: Planting) -> list[tuple[str, str]]:
    """Return the sources behind the figures of a plan: (name, what it is and where)."""
    entries = []
    for name in dict.fromkeys(p.name for block in planting.site.blocks for p in block.plants if p.name):
        try:
            entries.append(catalogue.find(name))
        except (SetoutError, ValueError):  # a plant of the grower's own
            continue
    found = [(name, f"{said}, {at}" if at else said) for name, said, at in catalogue.publications(entries)]
    if planting.ground.elevations is not None:
        found.append(("slope", "Horn, Proceedings of the IEEE 69 (1981) 14-47, from 3 x 3 cells of the DEM"))
    found.append(("distances", "Snyder, USGS Professional Paper 1395 (1987): transverse Mercator through the site, at its height"))
    if planting.irrigation is not None and planting.irrigation.network is not None:
        found.append(
            ("pipes", "Hazen-Williams or Darcy-Weisbach as the plan file says; emission uniformity after Keller and Karmeli (1974)")
        )
    if np.isfinite(planting.trees.known("need_lpd")).any():
        found.append(("water need", "Allen, Pereira, Raes and Smith, FAO Irrigation and Drainage Paper 56 (1998)"))
    if planting.light is not None:
        found.append(("sun", "Reda and Andreas, Solar Energy 76 (2004) 577-589, for positions of the sun"))
    return found


def account_picture(planting: Planting) -> Markup:
    """Draw the land account: usable ground first, then what each reason took newly."""
    rows = planting.usable.account
    gross = rows[0].remaining_m2 if rows else 0.0
    if not gross > 0:
        return Markup("")
    taken = [(row.reason, row.newly_m2 / gross) for row in rows[1:-1] if row.newly_m2 / gross >= 0.0005]
    shares = [("usable ground", rows[-1].remaining_m2 / gross), *sorted(taken, key=lambda pair: -pair[1])]
    left = 1.0 - sum(share for _, share in shares)
    if left > 0.0005:
        shares.append(("other", left))
    return Markup(chart.share_bar("Where the ground goes", shares))  # noqa: S704 - our own drawing, texts escaped there


def work_picture(planting: Planting) -> Markup:
    """Draw the hours of work by month."""
    known = [line for line in planting.work if line.by_month]
    if not known:
        return Markup("")
    months = [sum(line.by_month[m] for line in known) for m in range(12)]
    return Markup(chart.bars("Hours of work by month", "hours", list(zip(SHORT_MONTHS, months, strict=True))))  # noqa: S704 - our own, texts escaped there


def water_picture(planting: Planting) -> Markup:
    """Draw the water that all plants need by month."""
    need = planting.need
    if need is None or not need.lpd_by_month:
        return Markup("")
    us = planting.site.units == "us"
    days = [value / (GALLON if us else 1.0) for value in need.lpd_by_month]
    unit = "gal/day" if us else "l/day"
    return Markup(chart.bars("Water that all plants need", unit, list(zip(SHORT_MONTHS, days, strict=True))))  # noqa: S704 - our own, texts escaped there


def sun_picture(planting: Planting) -> Markup:
    """Draw the sun of every tree, block by block, against what fruit trees ask for."""
    light = planting.light
    if light is None:
        return Markup("")
    rows = [(name, light.sun_h[own].tolist(), float(np.median(light.least_h[own]))) for name, own in lit_groups(planting, light)]
    return Markup(chart.spreads("Direct sun of every tree", "hours a day", rows)) if rows else Markup("")  # noqa: S704 - our own, texts escaped there
