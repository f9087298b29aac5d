"""The catalogue as text and as values for machines: what ``setout plants`` shows."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from itertools import groupby, zip_longest
from typing import Any, Final

from setout.tables import catalogue
from setout.tables.catalogue import CatalogueEntry

WIDTH: Final = 100
"""Columns of the text."""
_LABEL, _VALUE = 20, 26
_SOURCE = WIDTH - _LABEL - _VALUE - 4
_HEADS: Final = {
    "height": "height",
    "spread": "spread",
    "in the row": "in the row",
    "between rows": "rows",
    "bloom": "bloom",
    "pollination": "partner",
}
"""Figures of the list, and what stands over them."""


def plant_sheet(entry: CatalogueEntry, units: str = "us") -> list[str]:
    r"""Show every figure of one plant, each group of them beside its source.

    >>> print("\n".join(plant_sheet(CatalogueEntry("seaberry", bloom="mid", own=(("bloom", "yours (plan.toml)"),)))[:2]))
    seaberry
      bloom               mid                       yours (plan.toml)
    """
    lines = textwrap.wrap(f"{entry.name} ({entry.note})" if entry.note else entry.name, WIDTH)
    figures_by_source = groupby((f for f in catalogue.figures_of(entry, units) if f[0] != "cautions"), key=lambda f: f[2])
    for source, figures in figures_by_source:
        left = [line for label, value, _ in figures for line in _left(label, value)]
        for row, said in zip_longest(left, textwrap.wrap(source, _SOURCE, break_on_hyphens=False), fillvalue=""):
            lines.append(f"  {row:<{_LABEL + _VALUE}}{said}".rstrip())
    mark = f" ({entry.source_of('cautions')})" if "cautions" in dict(entry.own) else ""
    for k, caution in enumerate(entry.cautions.split("; ") if entry.cautions else ()):
        head, below = f"  {'' if k else 'cautions':<{_LABEL}}", " " * (_LABEL + 2)
        lines += textwrap.wrap(f"{caution}{mark}", WIDTH, initial_indent=head, subsequent_indent=below)
    return lines


def _left(label: str, value: str) -> Iterator[str]:
    for k, part in enumerate(textwrap.wrap(value, _VALUE - 2, break_on_hyphens=False)):
        yield f"{'' if k else label:<{_LABEL}}{part}"


def plant_list(plants: Sequence[CatalogueEntry], units: str = "us") -> list[str]:
    r"""Show many plants, one a line.

    >>> print("\n".join(plant_list([catalogue.find("fig")])))
    plant (sizes in ft) height spread in the row rows  bloom partner
    fig, standard       15-30  15-30  15-25      18-25 mid   none
    """
    unit, rows = "m" if units == "si" else "ft", [list(_HEADS.values())]
    for entry in plants:
        known = {label: value for label, value, _ in catalogue.figures_of(entry, units)}
        rows.append([known.get(head, "").removesuffix(f" {unit}") for head in _HEADS])
    widths = [max(len(row[k]) for row in rows) + 1 for k in range(len(_HEADS))]
    room = WIDTH - sum(widths)
    names = [f"plant (sizes in {unit})", *(f"{entry.name} *" if entry.own else entry.name for entry in plants)]
    first = min(room, max(len(name) for name in names))
    shown = [name if len(name) <= room else f"{name[: room - 4].rstrip()} ..." for name in names]
    cells = [[f"{name:<{first}}", *row] for name, row in zip(shown, rows, strict=True)]
    return [" ".join((row[0], *(f"{cell:<{w - 1}}" for cell, w in zip(row[1:], widths, strict=True)))).rstrip() for row in cells]


def source_list(plants: Sequence[CatalogueEntry]) -> list[str]:
    """Show what the sources of some plants are.

    >>> source_list([catalogue.find("pawpaw")])[0].startswith('Sources. "from memory"')
    True
    """
    lines = textwrap.wrap(
        'Sources. "from memory": not seen in print. "low authority": pages of nurseries and '
        "compilers; take their figures for a range, not for a limit.",
        WIDTH,
    )
    for name, publication, address in catalogue.publications(plants):
        lines += textwrap.wrap(
            f"{name}: {publication}" + (f", {address}" if address else ""), WIDTH, initial_indent="  ", subsequent_indent="    "
        )
    return lines


def plant_record(entry: CatalogueEntry) -> dict[str, Any]:
    """Return everything of one plant for machines; what is unknown is None.

    >>> record = plant_record(catalogue.find("quince"))
    >>> record["name"], record["kc_mid"], record["chill_range_h"], record["own"]
    ('quince, small tree', None, (100.0, 500.0), {})
    """
    record = {name: _null(value) for name, value in asdict(entry).items()}
    return {"name": entry.name} | record | {"own": dict(entry.own)}


def _null(value: Any) -> Any:
    if isinstance(value, float) and math.isnan(value):
        return None
    return None if isinstance(value, tuple) and value and any(x != x for x in value) else value
