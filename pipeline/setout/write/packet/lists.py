"""Lists for those who buy and those who work, as tables of plain values: orders, materials, zones and hours, rows."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from setout.layers.rows import row_ids
from setout.units import ACRE, FOOT, GALLON, PSI
from setout.words.materials import all_bought
from setout.words.staking import kind_label
from setout.words.systems import order_note
from setout.words.terms import TERMS
from setout.write.packet.workorder import work_order

if TYPE_CHECKING:
    from collections.abc import Sequence

    from setout.model import Planting, Zone
    from setout.model.staking import StakeSet

Value = str | float | int | None
QUANTITIES: Final = {
    "us": {"each": ("number", 1.0), "m": ("length_ft", FOOT), "m2": ("area_acres", ACRE), "m3": ("volume_cu_yd", (3 * FOOT) ** 3)},
    "si": {"each": ("number", 1.0), "m": ("length_m", 1.0), "m2": ("area_ha", 1e4), "m3": ("volume_m3", 1.0)},
}
"""By the plan's units and the unit of a quantity: the name of its column, and what one of it is in SI."""
MONTHS: Final = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


@dataclass(frozen=True, slots=True)
class Field:
    """One column of a list: its name with its unit, how it is shown, and whether it belongs to a CSV only."""

    name: str
    kind: Literal["text", "count", "one", "two"] = "text"
    width: int = 14


@dataclass(frozen=True, slots=True)
class List:
    """One list.

    Attributes
    ----------
    file : name of its CSV, without the ending; empty for a list that only the spreadsheet has
    title : name of its sheet
    fields : columns
    rows : values, None for what is not known
    note : what has to be known to read it
    """

    file: str
    title: str
    fields: tuple[Field, ...]
    rows: tuple[tuple[Value, ...], ...]
    note: str = ""


def lists_of(planting: Planting, stakes: StakeSet) -> tuple[List, ...]:
    """Return the lists of a planting."""
    made = (
        work_list(planting, stakes),
        rows_list(planting, stakes),
        nursery_list(planting),
        order_list(planting),
        materials_list(planting),
        zones_list(planting),
        year_list(planting),
    )
    return tuple(one for one in made if one.rows or one.file in ("plants_to_order", "work_order", "rows"))


def work_list(planting: Planting, stakes: StakeSet) -> List:
    """Return what is to do, in the sequence of the trade, with each block's own quantities."""
    units = planting.site.units
    fields = (
        Field("step", "count", 6),
        Field("job", width=18),
        Field("block", width=16),
        *_quantity_fields(units, "each", "m", "m2", "m3"),
        Field("shown", width=20),
        Field("how", width=90),
    )
    rows = tuple(
        (j.step, j.job, j.block, *_quantities(units, j.quantity, j.unit, "each", "m", "m2", "m3"), j.shown, j.how)
        for j in work_order(planting, stakes)
    )
    return List("work_order", "Work order", fields, rows, "In this sequence. What has no quantity cannot be known from the plan.")


def _quantity_fields(units: str, *si: str) -> tuple[Field, ...]:
    """Return a column for each unit that quantities come in, named as those read it who use the list."""
    return tuple(Field(QUANTITIES[units][unit][0], "count" if unit == "each" else "two", 12) for unit in si)


def _quantities(units: str, quantity: float | None, unit: str, *si: str) -> tuple[float | None, ...]:
    """Return a quantity in the column of its unit; None in the others, and where it is not known."""
    known_ = None if quantity is None else known(quantity)
    return tuple(known_ / QUANTITIES[units][one][1] if one == unit and known_ is not None else None for one in si)


def order_list(planting: Planting) -> List:
    """Return the plants to order, a line for every plant of every block."""
    fields = (
        Field("plant", width=28),
        Field("variety", width=18),
        Field("role", width=14),
        Field("size_class", width=14),
        Field("block", width=16),
        Field("to_plant", "count", 10),
        Field("spares", "count", 8),
        Field("to_order", "count", 10),
        Field("note", width=28),
    )
    rows = tuple(
        (line.plant, line.variety, line.role, line.size_class, line.block, line.trees, line.spares, line.plants, order_note(line))
        for line in planting.order
    )
    return List("plants_to_order", "Plants by block", fields, rows)


def nursery_list(planting: Planting) -> List:
    """Return the same summed up over the blocks, as a nursery wants it."""
    fields = (
        Field("plant", width=28),
        Field("variety", width=18),
        Field("role", width=14),
        Field("to_plant", "count", 10),
        Field("spares", "count", 8),
        Field("to_order", "count", 10),
        Field("blocks", width=30),
    )
    keys = dict.fromkeys((line.plant, line.variety, line.role) for line in planting.order)
    rows = []
    for key in keys:
        own = [line for line in planting.order if (line.plant, line.variety, line.role) == key]
        sums = (sum(line.trees for line in own), sum(line.spares for line in own), sum(line.plants for line in own))
        rows.append((*key, *sums, " ".join(dict.fromkeys(line.block for line in own))))
    return List("", "Plants to order", fields, tuple(rows), "Spares are for plants that do not take.")


def materials_list(planting: Planting) -> List:
    """Return the materials, those of the water among them."""
    units = planting.site.units
    fields = (Field("item", width=24), Field("size", width=34), *_quantity_fields(units, "each", "m", "m3"), Field("for", width=44))
    lines = zip(planting.materials, all_bought(planting.materials, units), strict=True)
    rows = tuple((m.item, m.size, *_quantities(units, line.quantity, line.unit, "each", "m", "m3"), m.where) for line, m in lines)
    return List("materials", "Materials", fields, rows, "Sizes are allowances of the plan file or common practice; check them.")


def known(value: float) -> float | None:
    """Return a number; None where it is not known.

    >>> known(2.0), known(float("nan"))
    (2.0, None)
    """
    return float(value) if math.isfinite(value) else None


def zones_list(planting: Planting) -> List:
    """Return the zones in the order in which they run, with their hours at the peak and by month."""
    us = planting.site.units == "us"
    flow, pressure = ("flow_gpm", "valve_psi") if us else ("flow_lph", "valve_kpa")
    fields = (
        Field("zone", width=8),
        Field("water_point", width=16),
        Field("valves", width=14),
        Field("blocks", width=18),
        Field("rows", "count", 8),
        Field("trees", "count", 8),
        Field(flow, "one", 10),
        Field(pressure, "one", 10),
        Field("start_h", "two", 8),
        Field("hours_peak_h", "two", 12),
        Field("days_per_week", "count", 12),
        Field("hours_needed_h", "two", 14),
        Field("uniformity", "two", 11),
        Field("uniformity_class", width=16),
        *(Field(f"{month}_h", "two", 7) for month in MONTHS),
    )
    irrigation = planting.irrigation
    if irrigation is None or planting.site.water is None:
        return List("zones", "Zones and hours", fields, ())
    names = planting.site.water.points.name
    rows = tuple(_zone_row(zone, names[zone.water_point], us) for zone in irrigation.zones)
    note = "Hours on every day that a zone runs; set the regulator to the valve's pressure. By month where the need is known."
    return List("zones", "Zones and hours", fields, rows, note)


def _zone_row(zone: Zone, point: str, us: bool) -> tuple[Value, ...]:  # noqa: FBT001 - of this module alone
    flow = zone.flow_lph / (60 * GALLON) if us else zone.flow_lph
    pressure = zone.valve_kpa / PSI if us else zone.valve_kpa
    months = [known(h) for h in zone.hours_by_month] or [None] * 12
    return (
        zone.name,
        point,
        " ".join(zone.valves),
        " ".join(zone.blocks),
        zone.rows,
        zone.trees,
        known(flow),
        known(pressure),
        known(zone.start),
        known(zone.hours),
        zone.days_per_week,
        known(zone.hours_needed),
        known(zone.uniformity),
        zone.uniformity_class,
        *months,
    )


def rows_list(planting: Planting, stakes: StakeSet) -> List:
    """Return every row for the crew that walks it: what it counts, where it begins and ends, which plants it takes."""
    us = planting.site.units == "us"
    length = "length_ft" if us else "length_m"
    fields = (
        Field("row_id", width=14),
        Field("block", width=16),
        Field("row", "count", 6),
        Field("trees", "count", 8),
        Field("first", width=14),
        Field("last", width=14),
        Field(length, "one", 10),
        Field("bearing_true_deg", "two", 16),
        Field("posts", "count", 8),
        Field("beds", "count", 8),
        Field("plants", width=70),
    )
    rows, works, sizes = planting.rows, planting.works, planting.rows.length_m / (FOOT if us else 1.0)
    names = row_ids([block.name for block in planting.site.blocks], rows.block, rows.row)
    plants = _plants_by_row(stakes)
    posts = Counter(zip(works.post_block.tolist(), works.post_row.tolist(), strict=True))
    beds = Counter(zip(works.bed_block.tolist(), works.bed_row.tolist(), strict=True))
    made = []
    for k, key in enumerate(zip(rows.block.tolist(), rows.row.tolist(), strict=True)):
        first, last, words = plants.get(key, ("", "", ""))
        said = (names[k], stakes.blocks[key[0]], key[1], int(rows.trees[k]), first, last, float(sizes[k]))
        made.append((*said, float(rows.bearing_deg[k]), posts.get(key, 0), beds.get(key, 0), words))
    return List("rows", "Rows", fields, tuple(made), "Rows and trees are numbered as a crew walks them.")


def _plants_by_row(stakes: StakeSet) -> dict[tuple[int, int], tuple[str, str, str]]:
    """Return per (block, row) the first tree, the last, and how many of which plant."""
    order = np.lexsort((stakes.position, stakes.row, stakes.block))
    if not len(order):
        return {}
    block, row = stakes.block[order], stakes.row[order]
    starts = np.append(True, (np.diff(block) != 0) | (np.diff(row) != 0)).nonzero()[0]
    out = {}
    for a, b in zip(starts.tolist(), [*starts[1:].tolist(), len(order)], strict=True):
        mine = order[a:b]
        codes, counts = np.unique(stakes.kind[mine], return_counts=True)
        words = "; ".join(f"{n} {kind_label(stakes.kinds[c])}" for c, n in zip(codes.tolist(), counts.tolist(), strict=True))
        ends = stakes.trees.tree_id[int(mine[0])], stakes.trees.tree_id[int(mine[-1])]
        out[int(block[a]), int(row[a])] = (*ends, words)
    return out


def year_list(planting: Planting) -> List:
    """Return the hours of the yearly work, where they are known."""
    lines: Sequence[object] = getattr(planting, "work", ())
    fields = (
        Field("block", width=16),
        Field("job", width=20),
        Field("hours_h", "one", 10),
        *(Field(f"{month}_h", "one", 7) for month in MONTHS),
        Field("source", width=60),
    )
    rows = tuple(
        (line.block, TERMS[line.job], known(line.hours), *([known(h) for h in line.by_month] or [None] * 12), "; ".join(line.sources))
        for line in planting.work[: len(lines)]
    )
    return List("", "Yearly work", fields, rows, "Hours of a year at maturity, from the rates that are named.")
