"""What the report says of time: how each block grows, and the year's work by month."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

from setout.tables.chores import JOBS, SHORT_MONTHS
from setout.units import GALLON, show_length
from setout.words.terms import TERMS

if TYPE_CHECKING:
    from setout.model import GrowthLine, Planting

SHOWN: Final = (1, 3, 5, 10, 15, 20, 30, 40)
"""Years after planting that the report tells; the layer growth holds all."""


def growth(planting: Planting) -> list[dict[str, Any]]:
    """Return how each plant of each block grows."""
    units = planting.site.units
    groups: dict[tuple[str, str], list[GrowthLine]] = {}
    for line in planting.growth:
        groups.setdefault((line.block, line.plant), []).append(line)
    return [
        {
            "block": block,
            "plant": plant,
            "rows": [_row(line, units) for line in lines if line.year in SHOWN],
            "out": next((f"year {line.year}" for line in lines if not line.trees), ""),
        }
        for (block, plant), lines in groups.items()
    ]


def _row(line: GrowthLine, units: str) -> dict[str, str]:
    water = line.need_lpd
    said = f"{water / GALLON:,.1f} gal/day" if units == "us" else f"{water:,.1f} l/day"
    return {
        "year": str(line.year),
        "spread": _length(line.spread_m, units) if line.trees else "out",
        "height": _length(line.height_m, units) if line.trees else "out",
        "alley": "none" if line.clear_alley_m <= 0 else _length(line.clear_alley_m, units),
        "cover": f"{line.cover:.0%}".replace("%", " %"),
        "water": said if math.isfinite(water) and line.trees else "",
    }


def _length(value: float, units: str) -> str:
    return show_length(value, units, 1) if math.isfinite(value) else ""


def work(planting: Planting) -> dict[str, Any] | None:
    """Return the year's work of all blocks, by job and month."""
    known = [line for line in planting.work if line.by_month]
    if not known:
        return None
    rows, sums = [], [0.0] * 12
    for job in JOBS:
        months = [sum(line.by_month[m] for line in known if line.job == job) for m in range(12)]
        if any(months):
            rows.append((TERMS[job], [_hours(h) for h in months], _hours(sum(months))))
            sums = [a + b for a, b in zip(sums, months, strict=True)]
    unknown = sorted({line.block for line in planting.work if not line.by_month})
    return {
        "months": SHORT_MONTHS,
        "rows": rows,
        "all": ([_hours(h) for h in sums], _hours(sum(sums))),
        "week": f"{sum(sums) / 52:,.1f}",
        "busiest": _busiest(sums),
        "unknown": ", ".join(unknown),
        "sources": list(dict.fromkeys(f"{TERMS[line.job]}: {'; '.join(line.sources)}" for line in known)),
    }


def costs(planting: Planting) -> dict[str, Any] | None:
    """Return what the blocks cost in the grower's prices; None without prices."""
    lines = planting.costs
    if not lines:
        return None
    known = [line.yearly for line in lines if math.isfinite(line.yearly)]
    rows = [_cost_row(line.block or "water", line.first, line.yearly, line.missing) for line in lines]
    first, yearly = sum(line.first for line in lines), sum(known) if known else float("nan")
    missing = any(line.missing for line in lines)
    rows.append(_cost_row("all", first, yearly, ["all of these"] * missing) | {"total": True})
    return {"rows": rows, "currency": planting.currency, "missing": missing}


def _cost_row(block: str, first: float, yearly: float, missing: Sequence[str]) -> dict[str, Any]:
    """Return what is said of one sum; one that holds nothing, for want of prices, is not known."""
    said = _money(first) if first > 0 or not missing else "not known"
    return {"block": block, "first": said, "yearly": _money(yearly), "without": "; ".join(missing), "total": False}


def _money(value: float) -> str:
    return f"{value:,.0f}" if math.isfinite(value) else ""


def _busiest(sums: list[float]) -> str:
    month = max(range(12), key=lambda m: sums[m])
    return f"{SHORT_MONTHS[month]} with {sums[month]:,.0f} hours, {sums[month] / (365.25 / 12 / 7):,.1f} a week"


def _hours(hours: float) -> str:
    return f"{hours:,.0f}" if hours >= 9.95 else f"{hours:.1f}" if hours >= 0.05 else ""
