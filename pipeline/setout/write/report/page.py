"""The report: one page that a grower understands, for the screen and for paper."""

from __future__ import annotations

import math
from collections import Counter
from typing import TYPE_CHECKING, Any, Final

from markupsafe import Markup

from setout.draw import palette
from setout.units import show_area, show_length
from setout.words import plan
from setout.words import systems as systemwords
from setout.words.findings import all_told
from setout.words.grouped import kinds_of, stops_said
from setout.write.report import light, need, sources, systems, years
from setout.write.report import water as report_water

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    from setout.model import Block, Planting

MOST_KINDS: Final = 60
"""Kinds of findings told for each severity; the layer findings of plan.gpkg holds all."""


def write_report(path: Path, planting: Planting, *, picture_svg: str, seconds: Mapping[str, float] | None = None) -> None:
    """Write the report as one HTML file that asks for nothing from outside."""
    from setout.draw.page import environment

    page = environment().get_template("report.html")
    path.write_text(page.render(_words(planting, picture_svg, seconds)), "utf-8", newline="\n")


def _words(planting: Planting, picture_svg: str, seconds: Mapping[str, float] | None) -> dict[str, Any]:
    site, units = planting.site, planting.site.units
    lines = plan.block_lines(planting)
    return {
        "title": site.name,
        "figures": _figures(planting),
        "short": list(_in_short(planting)),
        "picture": Markup(picture_svg),  # noqa: S704 - our own drawing, its texts escaped there
        "account": _account(planting),
        "blocks": [_block(line, block, units) for line, block in zip(lines, site.blocks, strict=True)],
        "plants": _plants(lines) if sum(o.trees for o in planting.order) < len(planting.trees) else [],
        "systems": systemwords.systems(planting),
        "rooms": systems.rooms(planting),
        "light": light.light_section(planting),
        "cold": light.cold_section(planting),
        "order": systems.order(planting),
        "materials": systems.materials(planting),
        "growth": years.growth(planting),
        "work": years.work(planting),
        "costs": years.costs(planting),
        "need": need.need_section(planting),
        "water": report_water.water_section(planting),
        "sources": sources.sources(planting),
        "account_picture": sources.account_picture(planting),
        "work_picture": sources.work_picture(planting),
        "water_picture": sources.water_picture(planting),
        "sun_picture": sources.sun_picture(planting),
        "closer": [said for line in lines if (said := plan.closer_than_step(line, units))],
        "findings": _findings(planting),
        "marks": {name: Markup(palette.mark_svg(name)) for name in palette.MARKS},  # noqa: S704 - our own
        "cautions": plan.CAUTIONS,
        "measured": tuple(plan.measured_how(planting)),
        "seconds": [(stage, f"{spent:.2f} s") for stage, spent in (seconds or {}).items()],
    }


def _figures(planting: Planting) -> list[tuple[str, str]]:
    """Return the figures at the top: (figure, what it is)."""
    site = planting.site
    gross, net = float(site.boundary.area), sum(float(shape.area) for shape in planting.usable.geometry)
    trees = len(planting.trees)
    return [
        (f"{trees:,}", "trees"),
        (show_area(net, site.units), "usable ground"),
        (show_area(gross, site.units), "whole property"),
        (plan.density(trees, net, site.units) or "none", "trees on usable ground"),
        (f"{len(site.blocks)}", "block" if len(site.blocks) == 1 else "blocks"),
        (f"{planting.rows.x0.size:,}", "rows"),
    ]


def _in_short(planting: Planting) -> Iterator[str]:
    """Yield what a grower wants to know first: what is in the way, water, what to order, the work."""
    of = Counter(kind.worst.severity for kind in kinds_of(all_told(planting.findings, planting.site.units)))
    stops = stops_said(planting.findings)
    rest = f"{_many(of['warn'], 'warning')} to weigh before planting and {_many(of['note'], 'note')} under Findings."
    if stops:
        yield f"To be put right before planting: {stops}. Besides {rest}"
    else:
        yield f"No finding stops this plan; {rest}"
    water = report_water.water_section(planting)
    if water is not None:
        yield water["said"][0]
    if planting.order:
        plants, spares = sum(line.trees for line in planting.order), sum(line.spares for line in planting.order)
        yield f"To order: {plants + spares:,} plants, {spares:,} of them spare."
    work = years.work(planting)
    if work is not None:
        yield f"A grown planting asks about {work['all'][1]} hours of work a year{', as far as known' if work['unknown'] else ''}."


def _many(number: int, thing: str) -> str:
    return f"{number:,} {thing}{'' if number == 1 else 's'}"


def _account(planting: Planting) -> list[dict[str, Any]]:
    """Return the land account as it stands, gross first and net last."""
    units = planting.site.units
    rows = planting.usable.account
    gross = rows[0].remaining_m2 if rows else 0.0
    return [
        {
            "reason": {"gross": "Whole property (gross)", "net": "Usable ground (net)"}.get(row.reason, row.reason),
            "total": row.reason in {"gross", "net"} and row.step in {rows[0].step, rows[-1].step},
            "alone": show_area(row.alone_m2, units),
            "newly": show_area(row.newly_m2, units),
            "remaining": show_area(row.remaining_m2, units),
            "share": f"{row.remaining_m2 / gross:.1%}".replace("%", " %") if gross > 0 else "",
        }
        for row in rows
    ]


def _block(line: plan.BlockLine, block: Block, units: str) -> dict[str, str]:
    pattern = block.pattern
    stepped, in_rows = pattern.kind != "points", pattern.kind not in ("points", "screen")
    return {
        "name": line.name,
        "pattern": systemwords.title_of(pattern),
        "step": show_length(line.step_m, units) if stepped else "",
        "rows_apart": show_length(line.row_distance_m, units) if in_rows else "",
        "nearest": show_length(line.nearest_m, units, 2) if math.isfinite(line.nearest_m) else "one tree at most",
        "direction": plan.bearing_text(line.bearing_deg),
        "rows": f"{line.rows:,}",
        "trees": f"{line.trees:,}",
        "area": show_area(line.area_m2, units) if line.area_m2 > 0 else "",
        "density": plan.density(line.trees, line.area_m2, units),
    }


def _plants(lines: Sequence[plan.BlockLine]) -> list[tuple[str, str, str]]:
    """Return (plant, block, number) of everything planted."""
    return [(plant, line.name, f"{count:,}") for line in lines for plant, count in line.plants]


def _findings(planting: Planting) -> list[dict[str, Any]]:
    kinds = kinds_of(all_told(planting.findings, planting.site.units), planting.trees.ids, few=0)
    groups = []
    for severity, word in plan.SEVERITY.items():
        mine = [kind for kind in kinds if kind.worst.severity == severity]
        left = sum(kind.count for kind in mine[MOST_KINDS:])
        if mine:
            groups.append(
                {
                    "severity": severity,
                    "word": word,
                    "count": f"{sum(kind.count for kind in mine):,}",
                    "listed": mine[:MOST_KINDS],
                    "left": f"{left:,}" if left else "",
                }
            )
    return groups
