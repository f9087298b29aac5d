"""The report's section on light and cold air: sun by block, what directions do, shade of screens, hollows."""

from __future__ import annotations

import calendar
import math
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from setout.model import SideLight
from setout.model.sungroups import sun_groups
from setout.units import show_area, show_length
from setout.words.plan import bearing_text

if TYPE_CHECKING:
    from setout.model import DirectionLight, Ints, Light, Planting, ScreenShade

OCTANTS: Final = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
TURNED = {"rows": "Rows", "pairs": "Axis of pairs", "hedges": "Rows"}


def light_section(planting: Planting) -> dict[str, Any] | None:
    """Return the section as the template takes it; None where light was not reckoned."""
    light = planting.light
    if light is None:
        return None
    months = [calendar.month_abbr[month] for month in light.days.month]
    return {
        "days": _days(light),
        "size": "full size" if light.year is None else f"size in year {light.year}",
        "months": months,
        "blocks": [_block(light, name, own) for name, own in lit_groups(planting, light)],
        "turned": [row for index in range(len(planting.site.blocks)) for row in _turned(planting, light, index)],
        "said": [text for index in range(len(planting.site.blocks)) if (text := direction_words(planting, index))],
        "shades": [_shade(planting, shade) for shade in light.shades],
    }


def _days(light: Light) -> str:
    dates = [f"{int(date[8:])} {calendar.month_abbr[int(date[5:7])]}" for date in light.days.date]
    days = {date.split()[0] for date in dates}
    if len(dates) > 2 and days == {"21"}:
        return f"the 21st of each month from {dates[0].split()[1]} to {dates[-1].split()[1]}"
    return ", ".join(dates)


def lit_groups(planting: Planting, light: Light) -> list[tuple[str, Ints]]:
    """Return the trees whose light is told together, by what they are called: of each block one group, or several."""
    out = []
    for index, block in enumerate(planting.site.blocks):
        groups = sun_groups(block, planting.trees, np.flatnonzero(planting.trees.block == index), light.sun_h)
        out += [(block.name if len(groups) == 1 else f"{block.name}, {name}", own) for name, own in groups.items()]
    return out


def _block(light: Light, name: str, own: Ints) -> dict[str, Any]:
    whole = light.day_am_h[:, own] + light.day_pm_h[:, own]
    return {
        "name": name,
        "median": _hours(np.median(light.sun_h[own])),
        "worst": _hours(np.percentile(light.sun_h[own], 10)),
        "am": _hours(np.median(light.sun_am_h[own])),
        "pm": _hours(np.median(light.sun_pm_h[own])),
        "open": _hours(np.median(light.open_h[own])),
        "months": [_hours(value) for value in np.median(whole, axis=1)],
    }


def _hours(value: Any) -> str:
    return f"{float(value):.1f}" if math.isfinite(float(value)) else ""


def _turned(planting: Planting, light: Light, index: int) -> list[dict[str, str]]:
    """Return one line for each direction and side of a block."""
    return [
        {
            "name": planting.site.blocks[index].name,
            "turned": TURNED[one.kind],
            "way": way_text(one.bearing_deg),
            "planned": "as planned" if one.planned else "",
            "side": part_text(side),
            "am": _hours(side.am_h),
            "pm": _hours(side.pm_h),
            "day": _hours(side.am_h + side.pm_h),
        }
        for one in light.directions
        if one.block == index
        for side in one.sides
    ]


def way_text(bearing: float) -> str:
    """Write a direction of rows or pairs for people.

    >>> way_text(0.0), way_text(90.0), way_text(270.0)
    ('north-south', 'east-west', 'east-west')
    """
    return {0.0: "north-south", 90.0: "east-west"}.get(bearing % 180.0, bearing_text(bearing))


def part_text(side: SideLight) -> str:
    """Write which tree or side has some light.

    >>> part_text(SideLight("tree", 3.0, 3.0)), part_text(SideLight("partner", 3.0, 3.0, 180.0))
    ('tree', 'south partner')
    """
    if math.isnan(side.bearing_deg):
        return side.part
    return f"{OCTANTS[round(side.bearing_deg / 45.0) % 8]} {side.part}"


def direction_words(planting: Planting, index: int) -> str:
    """Say what north-south does against east-west in a block; empty where it was not reckoned."""
    light = planting.light
    found = [] if light is None else [d for d in light.directions if d.block == index]
    ways = {d.bearing_deg % 180.0: d for d in found}
    if 0.0 not in ways or 90.0 not in ways:
        return ""
    name, (ns, ew) = planting.site.blocks[index].name, (ways[0.0], ways[90.0])
    if ns.kind == "pairs":
        return f"Block {name}, partners of a pair: {_pair_words(ns, ew)}"
    if ns.kind == "hedges":
        return f"Block {name}, sides of the hedge: {_hedge_words(ns, ew)}"
    north, east = (d.sides[0].am_h + d.sides[0].pm_h for d in (ns, ew))
    if abs(north - east) < 0.15:
        return (
            f"Block {name}: north-south and east-west rows give its trees the same light, {north:.1f} h a day in the middle of the block."
        )
    better, more, less = ("north-south", north, east) if north > east else ("east-west", east, north)
    return f"Block {name}: {better} rows give its trees more light, {more:.1f} h a day in the middle of the block against {less:.1f} h."


def _pair_words(ns: DirectionLight, ew: DirectionLight) -> str:
    said = [
        f"set {way_text(one.bearing_deg)}, "
        + " and ".join(
            f"the {part_text(side)} has {side.am_h:.1f} h of the morning and {side.pm_h:.1f} h of the afternoon" for side in one.sides
        )
        for one in (ns, ew)
    ]
    darker = [min(side.am_h + side.pm_h for side in one.sides) for one in (ns, ew)]
    return f"{'; '.join(said)}. The darker partner has {darker[0]:.1f} h a day north-south and {darker[1]:.1f} h east-west."


def _hedge_words(ns: DirectionLight, ew: DirectionLight) -> str:
    west, east = ns.sides
    north, south = ew.sides
    return (
        f"north-south, the east side has the morning ({east.am_h:.1f} h) and the west side the afternoon ({west.pm_h:.1f} h); "
        f"east-west, the south side has {south.am_h + south.pm_h:.1f} h and the north side {north.am_h + north.pm_h:.1f} h. "
        f"Counted by how squarely the sun meets both sides, the hedge has {ns.hedge_h:.1f} h a day north-south and {ew.hedge_h:.1f} h "
        "east-west."
    )


def _shade(planting: Planting, shade: ScreenShade) -> dict[str, Any]:
    units = planting.site.units
    columns = zip(shade.month, shade.am_h, shade.sun_am_h, shade.pm_h, shade.sun_pm_h, strict=True)
    return {
        "name": planting.site.blocks[shade.block].name,
        "height": show_length(shade.height_m, units),
        "step": show_length(shade.step_m, units),
        "yard": show_area(shade.yard_m2, units),
        "months": [
            {"month": calendar.month_abbr[m], "am": _hours(am), "of_am": _hours(a), "pm": _hours(pm), "of_pm": _hours(p)}
            for m, am, a, pm, p in columns
        ],
    }


def cold_section(planting: Planting) -> dict[str, Any] | None:
    """Return what the report says of cold air; None where it was not looked at."""
    cold, units = planting.cold_air, planting.site.units
    if cold is None:
        return None
    return {
        "hollows": [
            {
                "area": show_area(float(hollow.area.area), units),
                "depth": show_length(hollow.depth_m, units),
                "upslope": show_area(hollow.upslope_m2, units),
            }
            for hollow in cold.hollows[:10]
        ],
        "more": max(len(cold.hollows) - 10, 0),
        "paths": len(cold.paths),
        "most": show_area(float(cold.upslope_m2.max()), units) if len(cold.upslope_m2) else "",
        "cell": show_length(cold.cell_m, units),
    }
