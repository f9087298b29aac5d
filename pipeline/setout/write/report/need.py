"""What the report and the layers say of the water that plants need, by month."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from setout.model.need import MONTHS
from setout.tables.crops import DAYS
from setout.units import GALLON
from setout.words.template import filled
from setout.words.terms import TERMS

if TYPE_CHECKING:
    from setout.model import ClassNeed, Need, Planting


def need_section(planting: Planting) -> dict[str, Any] | None:
    """Return the need of every plant of every block by month, for one of them and for all."""
    need = planting.need
    known = [one for one in need.classes if one.is_known] if need is not None else []
    if need is None or not known:
        return None
    us = planting.site.units == "us"
    shown = [m for m in range(12) if any(one.dry_lpd_by_month[m] > 0 for one in known)] if need.lpd_by_month else []
    most = max(need.lpd_by_month, default=0.0)
    return {
        "unit": "gal" if us else "l",
        "months": [MONTHS[m][:3] for m in shown],
        "rows": _rows(planting, known, shown, us=us),
        "climate": [(name, [values[m] for m in shown]) for name, values in _climate(need, us=us)],
        "said": list(_said(need, us=us)),
        "all": _all(most, us=us) if most > 0 else "",
        "sources": list(dict.fromkeys(TERMS.get(part, part) for one in known for part in one.source)),
    }


def _rows(planting: Planting, known: list[ClassNeed], shown: list[int], *, us: bool) -> list[dict[str, Any]]:
    """Return a row for each plant of each block; varieties that need the same stand together."""
    rows = dict[tuple[str, str, str], dict[str, Any]]()
    for one in known:
        block = planting.site.blocks[one.block]
        name = block.plants[one.plant].name or "plants"
        peak = f"{one.peak_lpd / GALLON:,.1f} gal ({one.peak_lpd:,.0f} l)" if us else f"{one.peak_lpd:,.1f} l"
        months = [_figure(one.lpd_by_month[m], us=us) for m in shown]
        row = rows.setdefault((block.name, name, peak), {"block": block.name, "plant": name, "trees": 0, "peak": peak, "months": months})
        row["trees"] += one.trees
    return list(rows.values())


def _figure(litres: float, *, us: bool) -> str:
    value = litres / GALLON if us else litres
    return f"{value:,.0f}" if value >= 99.5 else f"{value:.1f}" if value >= 0.05 else "0"


def _all(litres: float, *, us: bool) -> str:
    cubic = f"{litres / 1000:,.1f} m3"
    return f"{litres / GALLON:,.0f} gal ({cubic})" if us else cubic


def _climate(need: Need, *, us: bool) -> list[tuple[str, list[str]]]:
    """Return rows of the climate: reference ET, rain, and what of it counts."""
    by, unit = (25.4, "in") if us else (1.0, "mm")
    digits = 2 if us else 0
    rows = [
        (f"Reference ET, {unit} a month", [eto * days for eto, days in zip(need.eto_mm, DAYS, strict=False)]),
        (f"Rain, {unit}", list(need.rain_mm)),
        (f"of it effective, {unit}, where Kc is 1", list(need.effective_mm)),
    ]
    return [(name, [f"{mm / by:.{digits}f}" for mm in values]) for name, values in rows if values]


def _said(need: Need, *, us: bool) -> Iterator[str]:
    yield filled(
        "Reference evapotranspiration (ET): [[{method:word}]][[, with {taken:words}]].", {"method": need.method, "taken": need.taken}, "si"
    )
    if need.peak_month:
        yield f"All plants together need most in {MONTHS[need.peak_month - 1]}, where the reference is {_rate(need.peak_eto_mm, us=us)}."
    elif math.isfinite(need.peak_eto_mm):
        yield f"The reference at the peak is {_rate(need.peak_eto_mm, us=us)}; need by month is not known."


def _rate(mm: float, *, us: bool) -> str:
    return f"{mm / 25.4:.2f} in ({mm:.1f} mm) a day" if us else f"{mm:.1f} mm a day"
