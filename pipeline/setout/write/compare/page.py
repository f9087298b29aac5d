"""A comparison for people: a table on the screen, compare.csv, and compare.html with charts."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from markupsafe import Markup

from setout.draw import chart
from setout.draw.page import environment
from setout.units import ACRE, FOOT, GALLON, show_length
from setout.words import plan
from setout.words.comparing import limit_text, why_unknown
from setout.words.findings import all_told
from setout.words.plan import no_formula

if TYPE_CHECKING:
    from pathlib import Path

    from setout.model.comparison import Comparison, Fit, Outcome

NOT_KNOWN: Final = "not known"


@dataclass(frozen=True, slots=True)
class Figure:
    """One column of a comparison: its title, its name and unit in the CSV, and how a value is said to people."""

    title: str
    name: str
    value: Callable[[Outcome], Any]
    say: Callable[[Outcome, str], str]


def _number(value: float, digits: int = 0, unit: str = "") -> str:
    if not math.isfinite(value):
        return NOT_KNOWN
    return f"{value:,.{digits}f}{' ' + unit if unit else ''}"


def _length(value: float, units: str, digits: int = 1) -> str:
    return show_length(value, units, digits) if math.isfinite(value) else NOT_KNOWN


def _long(value: float, units: str) -> str:
    return _number(value / FOOT, 0, "ft") if units == "us" else _number(value, 0, "m")


def _density(o: Outcome, units: str) -> str:
    per_ha = o.trees_per_ha
    return _number(per_ha * ACRE / 1e4, 0, "/acre") if units == "us" else _number(per_ha, 0, "/ha")


def _water(litres: float, units: str) -> str:
    return _number(litres / GALLON, 0, "gal/day") if units == "us" else _number(litres, 0, "l/day")


def _sun(o: Outcome, hours: float) -> str:
    return _number(hours, 1, "h square" if o.sun_wall else "h")


FIGURES: Final = (
    Figure("Step", "step_m", lambda o: o.step_m, lambda o, u: _length(o.step_m, u)),
    Figure("Rows apart", "row_distance_m", lambda o: o.row_distance_m, lambda o, u: _length(o.row_distance_m, u)),
    Figure("Trees", "trees", lambda o: o.trees, lambda o, u: f"{o.trees:,}"),
    Figure("On the ground", "trees_per_ha", lambda o: o.trees_per_ha, _density),
    Figure("True nearest", "nearest_m", lambda o: o.nearest_m, lambda o, u: _length(o.nearest_m, u, 2)),
    Figure("Canopy as kept", "spread_m", lambda o: o.spread_m, lambda o, u: _length(o.spread_m, u)),
    Figure("Crowding", "crowding", lambda o: o.crowding, lambda o, u: _number(o.crowding, 2)),
    Figure("Pruning load", "pruning_load", lambda o: o.pruning_load, lambda o, u: _number(100 * o.pruning_load, 0, "%")),
    Figure("Pruning a year", "pruning_h", lambda o: o.pruning_h, lambda o, u: _number(o.pruning_h, 0, "h")),
    Figure("All work a year", "work_h", lambda o: o.work_h, lambda o, u: _number(o.work_h, 0, "h")),
    Figure("Sun, median", "sun_h", lambda o: o.sun_h, lambda o, u: _sun(o, o.sun_h)),
    Figure("Sun, darker partners", "sun_dark_h", lambda o: o.sun_dark_h, lambda o, u: _sun(o, o.sun_dark_h)),
    Figure("Sun, fillers", "sun_filler_h", lambda o: o.sun_filler_h, lambda o, u: _sun(o, o.sun_filler_h)),
    Figure("Sun, worst tenth", "sun_low_h", lambda o: o.sun_low_h, lambda o, u: _sun(o, o.sun_low_h)),
    Figure("Water at the peak", "need_lpd", lambda o: o.need_lpd, lambda o, u: _water(o.need_lpd, u)),
    Figure("Source gives", "given_lpd", lambda o: o.given_lpd, lambda o, u: _water(o.given_lpd, u)),
    Figure("Clear alley", "alley_m", lambda o: o.alley_m, lambda o, u: _length(o.alley_m, u)),
    Figure("Canopies meet", "meet_year", lambda o: o.meet_year, lambda o, u: f"year {o.meet_year}" if o.meet_year else "never"),
    Figure("Plants to order", "plants", lambda o: o.plants, lambda o, u: f"{o.plants:,}"),
    Figure("Posts", "posts", lambda o: o.posts, lambda o, u: f"{o.posts:,}"),
    Figure("Pipe along rows", "pipe_m", lambda o: o.pipe_m, lambda o, u: _long(o.pipe_m, u)),
    Figure("First cost", "first_cost", lambda o: o.first_cost, lambda o, u: _number(o.first_cost)),
    Figure("Work's cost a year", "yearly_cost", lambda o: o.yearly_cost, lambda o, u: _number(o.yearly_cost)),
)
"""The columns of a comparison in their order."""


def write_comparison(result: Comparison, folder: Path) -> None:
    """Write compare.html and compare.csv."""
    (folder / "compare.csv").write_text(comparison_csv(result), "utf-8", newline="")
    page = environment().get_template("compare.html")
    (folder / "compare.html").write_text(page.render(_words(result)), "utf-8", newline="\n")


def comparison_csv(result: Comparison) -> str:
    """Return the options as CSV in SI; what is not known is left empty."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(["option", "block", "planned", *(f.name for f in FIGURES), "first_cost_lacks", "currency", "beaten_by", "not_known"])
    for o in result.outcomes:
        unknown = "; ".join(f"{name}: {why}" for name, why in why_unknown(o).items())
        cells = [_plain(f.value(o)) for f in FIGURES]
        texts = [no_formula(text) for text in (o.name, o.block)]
        tail = [no_formula(text) for text in (", ".join(_lacking([o])), result.currency, o.beaten_by, unknown)]
        writer.writerow([*texts, int(o.planned), *cells, *tail])
    return stream.getvalue()


def _plain(value: Any) -> str:
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return ""
    return f"{value:.6g}" if isinstance(value, float) else no_formula(str(value))


def record(result: Comparison) -> dict[str, Any]:
    """Return the comparison for machines: figures in SI by name, null where not known, and why."""

    def one(o: Outcome) -> dict[str, Any]:
        values = {f.name: f.value(o) for f in FIGURES}
        known = {k: None if isinstance(v, float) and not math.isfinite(v) else v for k, v in values.items()}
        return {
            "option": o.name,
            "block": o.block,
            "planned": o.planned,
            **known,
            "first_cost_lacks": _lacking([o]),
            "beaten_by": o.beaten_by,
            "not_known": why_unknown(o),
        }

    return {
        "name": result.name,
        "currency": result.currency,
        "options": [one(o) for o in result.outcomes],
        "fits": [{"limit": limit_text(f), "option": None if f.outcome is None else one(f.outcome)} for f in result.fits],
        "findings": [f.record() for f in all_told(result.findings, result.units)],
    }


def table_lines(result: Comparison) -> list[str]:
    """Return the comparison as lines for a screen: a column an option, a line a figure."""
    lines = []
    for block in dict.fromkeys(o.block for o in result.outcomes):
        own = [o for o in result.outcomes if o.block == block]
        rows = [["", *(o.name for o in own)]]
        rows += [[f.title, *(f.say(o, result.units) for o in own)] for f in _told(own, result.units)]
        rows.append(["Beaten by", *(o.beaten_by or "-" for o in own)])
        widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
        lines.append(f"Block {block}")
        lines += ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
        lines += [f"{title} is not known: {why}." for title, why in _why(own)]
        if lacks := _lacking(own):
            lines.append(f"First cost is without {', '.join(lacks)}.")
    for fit in result.fits:
        lines.append(fit_text(fit, result.units))
    return lines


def fit_text(fit: Fit, units: str) -> str:
    """Say which spacing a limit allows."""
    limit = limit_text(fit)
    low, high = (show_length(step, units) for step in fit.tried)
    if fit.outcome is None:
        return f"{limit}: no step from {low} to {high} keeps it."
    o = fit.outcome
    work = f"{_number(o.work_h, 0)} hours of work a year" if math.isfinite(o.work_h) else "hours of work not known"
    return f"{limit}: {o.name}, {o.trees:,} trees, {work} (of all steps from {low} to {high})."


def _told(own: Sequence[Outcome], units: str) -> list[Figure]:
    """Return the figures that at least one option knows."""
    return [f for f in FIGURES if any(f.say(o, units) != NOT_KNOWN for o in own)]


def _why(own: Sequence[Outcome]) -> list[tuple[str, str]]:
    """Say which figures no option knows, and why."""
    titles = {f.name: f.title for f in FIGURES}
    whys = [why_unknown(o) for o in own]
    shared = [name for name in whys[0] if all(name in why for why in whys)]
    return [(titles.get(name, name), "; ".join(dict.fromkeys(why[name] for why in whys))) for name in shared]


def _lacking(own: Sequence[Outcome]) -> list[str]:
    """Return what a first cost that is told does not hold."""
    return list(dict.fromkeys(item for o in own if math.isfinite(o.first_cost) for item in o.lacks))


def _words(result: Comparison) -> dict[str, Any]:
    blocks = []
    for block in dict.fromkeys(o.block for o in result.outcomes):
        own = [o for o in result.outcomes if o.block == block]
        told = _told(own, result.units)
        blocks.append(
            {
                "name": block,
                "options": [{"name": o.name, "said": o.said, "planned": o.planned, "beaten": o.beaten_by} for o in own],
                "figures": [(f.title, [f.say(o, result.units) for o in own]) for f in told],
                "why": _why(own),
                "lacks": ", ".join(_lacking(own)),
                "charts": [Markup(svg) for svg in _charts(own, result.units)],  # noqa: S704 - our own, texts escaped there
            }
        )
    return {
        "title": result.name,
        "currency": result.currency,
        "blocks": blocks,
        "fits": [fit_text(fit, result.units) for fit in result.fits],
        "findings": all_told(result.findings, result.units),
        "cautions": plan.CAUTIONS,
    }


def _charts(own: Sequence[Outcome], units: str) -> list[str]:
    """Draw hours of work against trees, and light against step."""
    out = []
    known = [o for o in own if math.isfinite(o.work_h)]
    if len(known) > 1:
        points = [(float(o.trees), o.work_h, o.name, bool(o.beaten_by)) for o in known]
        out.append(chart.scatter("What the trees ask: hours of work a year", "trees", "hours a year", points))
    factor, word = (1 / FOOT, "ft") if units == "us" else (1.0, "m")
    lit = [o for o in own if math.isfinite(o.sun_h) and math.isfinite(o.step_m)]
    if len(lit) > 1 and len({o.sun_wall for o in lit}) == 1:
        points = [(o.step_m * factor, o.sun_low_h, o.name, bool(o.beaten_by)) for o in lit]
        out.append(chart.scatter("What the trees get: sun on the worst tenth", f"step [{word}]", "hours a day", points))
    return out
