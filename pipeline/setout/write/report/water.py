"""The report's chapter on irrigation: what waters which trees, and what to set a controller to."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from setout.model.irrigation import REASONS
from setout.model.need import MONTHS
from setout.units import FLOW, GALLON, show_pressure
from setout.words.terms import TERMS

if TYPE_CHECKING:
    from setout.model import Irrigation, Planting, Zone

CAUTIONS: Final = (
    (
        "Backflow",
        (
            "Every connection to a well or a public supply needs a backflow preventer of the type that the local code asks; where"
            " fertiliser or chemicals are fed into the water, a stricter one, and a check valve with a low-pressure drain."
        ),
    ),
    (
        "Pressure",
        (
            "Pipes under pressure burst and whip. Fit a pressure relief valve and air valves, take pipe rated for the highest static"
            " pressure there is, test before burying, and close and drain a line before it is opened."
        ),
    ),
    (
        "Buried lines",
        "Trenches meet gas, power and other lines. Have them located before digging, and mark on paper where pipe and wire lie.",
    ),
    (
        "Electrical work",
        "Pumps, controllers and valve wire are for a licensed electrician, to the local code; water and mains voltage kill.",
    ),
    (
        "The design",
        (
            "This is a reckoning from survey and rated figures. Have an irrigation engineer check it before pipe is bought, and"
            " measure flow and pressure at each water point over a whole day in the dry season first: a well is best asked for no"
            " more than 70 to 80 % of what it was tested for."
        ),
    ),
)
"""Cautions on water; usual practice. Local codes and licensed practice decide."""


def water_section(planting: Planting) -> dict[str, Any] | None:
    """Return the irrigation as the template takes it."""
    irrigation, water = planting.irrigation, planting.site.water
    if irrigation is None or irrigation.network is None or water is None:
        return None
    us = planting.site.units == "us"
    zones = irrigation.zones
    shown = _months(zones)
    years = _years(zones)
    return {
        "said": _said(planting, irrigation),
        "zones": [_zone(zone, water.points.name[zone.water_point], us=us) for zone in zones],
        "sources": [_source(planting, k, us=us) for k in range(len(irrigation.sources))],
        "months": [MONTHS[m][:3] for m in shown],
        "by_month": [
            (z.name, [clock(z.hours_by_month[m]) for m in shown]) for z in zones if any(math.isfinite(hours) for hours in z.hours_by_month)
        ],
        "years": [str(year) for year in years],
        "by_year": [
            (z.name, [clock(dict(z.hours_by_year)[year]) if year in dict(z.hours_by_year) else "" for year in years])
            for z in zones
            if any(math.isfinite(hours) for _, hours in z.hours_by_year)
        ],
        "beyond": _beyond(irrigation),
        "cautions": CAUTIONS,
        "flow": "gal/min" if us else "l/h",
        "pressure": "psi" if us else "kPa",
    }


def clock(hours: float) -> str:
    """Write hours as a controller takes them; empty where unknown.

    >>> clock(7.533333333), clock(0.0), clock(float("nan"))
    ('7:32', '0:00', '')
    """
    if not math.isfinite(hours):
        return ""
    minutes = round(hours * 60)
    return f"{minutes // 60}:{minutes % 60:02d}"


def _beyond(irrigation: Irrigation) -> str:
    """Say that some times are longer than a day of watering may be; empty where none is."""
    allowed = irrigation.settings.hours_per_day
    times = [h for z in irrigation.zones for h in (*z.hours_by_month, *(h for _, h in z.hours_by_year))]
    if not any(h > allowed + 1e-9 for h in times):
        return ""
    return f"Times beyond {clock(allowed)} are what trees would need and cannot be run: those trees fall short."


def _months(zones: tuple[Zone, ...]) -> list[int]:
    """Return the months in which some zone runs."""
    return [m for m in range(12) if any(z.hours_by_month and z.hours_by_month[m] > 0 for z in zones)]


def _years(zones: tuple[Zone, ...]) -> list[int]:
    """Return a few of the years that are known: the first ones, and then fewer."""
    known = sorted({year for zone in zones for year, _ in zone.hours_by_year})
    return [year for year in known if year in (1, 2, 3, 4, 5, 7, 10, 15, 20, 30)]


def _said(planting: Planting, irrigation: Irrigation) -> list[str]:
    """Say how many trees are watered, and why the others are not."""
    trees = len(planting.trees)
    watered = int((irrigation.watered & irrigation.known).sum())
    unknown = int((~irrigation.known).sum())
    said = [f"{watered:,} of {trees:,} trees get what they need at the peak within the hours allowed."]
    for code in np.unique(irrigation.reason[irrigation.known & ~irrigation.watered]).tolist():
        count = int((irrigation.known & ~irrigation.watered & (irrigation.reason == code)).sum())
        said.append(f"{count:,} are not watered: {TERMS[REASONS[code]]}.")
    if unknown:
        said.append(f"Of {unknown:,} it cannot be told, for their need or their pressure is unknown.")
    settings = irrigation.settings
    emitter = settings.emitter
    if emitter is not None:
        us = planting.site.units == "us"
        flow = f"{emitter.flow_lph / GALLON:.3g} gal/h" if us else f"{emitter.flow_lph:.3g} l/h"
        said.append(
            f"Emitters give {flow} at {show_pressure(emitter.at_kpa, planting.site.units)}; water runs at most"
            f" {settings.hours_per_day:g} hours a day on {settings.days_per_week} days a week."
        )
    return said


def _zone(zone: Zone, point: str, *, us: bool) -> dict[str, str]:
    units = "us" if us else "si"

    def pressure(kpa: float) -> str:
        # the unit stands in the head of the column
        return show_pressure(kpa, units).split()[0] if math.isfinite(kpa) else ""

    return {
        "name": zone.name,
        "valves": str(len(zone.valves)),
        "point": point,
        "blocks": ", ".join(zone.blocks),
        "rows": f"{zone.rows:,}",
        "trees": f"{zone.trees:,}",
        "flow": f"{zone.flow_lph / FLOW['gpm']:.1f}" if us else f"{zone.flow_lph:,.0f}",
        "valve": pressure(zone.valve_kpa),
        "range": f"{pressure(zone.least_kpa)} to {pressure(zone.most_kpa)}" if math.isfinite(zone.least_kpa) else "",
        "uniformity": f"{zone.uniformity:.0%}".replace("%", " %") + f", {zone.uniformity_class}" if math.isfinite(zone.uniformity) else "",
        "start": clock(zone.start),
        "hours": clock(zone.hours),
        "needed": clock(zone.hours_needed) if zone.hours_needed > zone.hours + 1e-9 else "",
        "days": str(zone.days_per_week),
    }


def _source(planting: Planting, k: int, *, us: bool) -> dict[str, str]:
    assert planting.irrigation is not None
    assert planting.site.water is not None
    source = planting.irrigation.sources[k]

    def volume(litres: float) -> str:
        if not math.isfinite(litres):
            return "unknown"
        return f"{litres / GALLON:,.0f} gal" if us else f"{litres / 1000:,.1f} m3"

    return {
        "name": planting.site.water.points.name[source.water_point],
        "hours": clock(source.hours),
        "need": volume(source.need_lpd),
        "given": volume(source.given_lpd),
        "spare": volume(source.spare_lpd),
    }
