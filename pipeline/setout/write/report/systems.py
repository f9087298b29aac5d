"""The report's tables on planting systems: what each spacing asks, what to order, what to buy."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from setout.units import show_length
from setout.words.materials import all_bought
from setout.words.room import plain_words
from setout.words.systems import order_note

if TYPE_CHECKING:
    from setout.model import BlockRoom, Planting


def rooms(planting: Planting) -> list[dict[str, Any]]:
    """Return what each block's spacing gives and asks, figures and sentences, as the template takes them."""
    units, blocks = planting.site.units, planting.site.blocks
    words = [plain_words(r, blocks[r.block], units) for r in planting.rooms]
    return [
        {"name": blocks[room.block].name, "words": said} | _figures(room, units) for room, said in zip(planting.rooms, words, strict=True)
    ]


def _figures(room: BlockRoom, units: str) -> dict[str, str]:
    return {
        "spread": _length(room.spread_m, units),
        "nearest": _length(room.nearest_m, units, 2),
        "overlap": _length(room.overlap_m, units) if room.overlap_share > 0 else "",
        "crowding": f"{room.crowding_median:.2f}" if math.isfinite(room.crowding_median) else "",
        "load": f"{100 * room.pruning_load_median:.0f} %" if math.isfinite(room.pruning_load_median) else "",
        "hours": two_figures(room.hours_per_year),
        "alley": "none" if room.clear_alley_m <= 0.01 else _length(room.clear_alley_m, units),
        "cover": f"{100 * room.cover_by_year[-1][1]:.0f} %" if room.cover_by_year else "",
    }


def two_figures(hours: float) -> str:
    """Write hours to two figures, which is more than the rates are worth; empty where unknown.

    >>> two_figures(1234.0), two_figures(9.6), two_figures(0.42), two_figures(float("nan"))
    ('1,200', '9.6', '0.4', '')
    """
    if not math.isfinite(hours):
        return ""
    if hours < 9.95:
        return f"{hours:.1f}".removesuffix(".0")
    step = 10 ** (math.floor(math.log10(hours)) - 1)
    return f"{round(hours / step) * step:,}"


def _length(metres: float, units: str, digits: int = 1) -> str:
    if not math.isfinite(metres):
        return ""
    number, unit = show_length(metres, units, digits).split()
    return f"{number.removesuffix('.0').removesuffix('.00')} {unit}"


def order(planting: Planting) -> list[dict[str, str]]:
    """Return the lines of the order, as the template takes them."""
    return [
        {
            "block": line.block,
            "plant": line.plant,
            "variety": line.variety,
            "what": order_note(line) if order_note(line).startswith(line.role) else f"{line.role}; {order_note(line)}".strip("; "),
            "trees": f"{line.trees:,}",
            "spares": f"{line.spares:,}",
            "plants": f"{line.plants:,}",
        }
        for line in planting.order
    ]


def materials(planting: Planting) -> list[dict[str, str]]:
    """Return the lines of the materials, as the template takes them."""
    lines = all_bought(planting.materials, planting.site.units)
    return [{"item": line.item, "size": line.size, "quantity": line.shown, "where": line.where} for line in lines]
