"""The grower's own prices: what a plant, a post, a foot of wire and an hour of work cost."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from typing import Annotated, Any, Final

from pydantic import Field, ValidationInfo, model_validator

from setout.model.buying import MATERIALS
from setout.model.prices import PLANT, WORK, Price, Prices
from setout.planfile.quantities import Label, Section, Written
from setout.tables import catalogue
from setout.tables.rows import fold
from setout.units import FOOT

PER: Final[dict[str, tuple[str, float]]] = {
    "each": ("each", 1.0),
    "plant": ("each", 1.0),
    "tree": ("each", 1.0),
    "piece": ("each", 1.0),
    "m": ("m", 1.0),
    "ft": ("m", 1 / FOOT),
    "foot": ("m", 1 / FOOT),
    "100 ft": ("m", 0.01 / FOOT),
    "100 m": ("m", 0.01),
    "m3": ("m3", 1.0),
    "cu yd": ("m3", 1 / (3 * FOOT) ** 3),
    "yd3": ("m3", 1 / (3 * FOOT) ** 3),
    "h": ("h", 1.0),
    "hour": ("h", 1.0),
}
"""What a price may be for: the unit that quantities are counted in, and how many of what is written that is one of."""
COUNTED: Final = {
    "each": ("by number", "3 / each"),
    "m": ("by length", "0.12 / ft"),
    "m3": ("by volume", "40 / cu yd"),
    "h": ("in hours", "25 / h"),
}
"""How each unit is said, and a price in it."""
MOST: Final = 1e9
_PRICE: Final = re.compile(r"^\s*(\d+(?:\.\d+)?)\s*(?:/|per)\s*(.+?)\s*$")


class PricesSection(Section):
    """Prices by item: plants by name or species, everything of the materials, and hours of work."""

    currency: Label = ""
    """What prices in `[prices]` are in, as `USD`. Absent: not named."""
    items: Annotated[dict[str, Price], Written("prices")] = Field(default_factory=dict)
    """Every other key of `[prices]` is an item and its price: `plant = "38 / each"`, `"tree stake" = "6 / each"`, `wire = "0.12 / ft"`,
    `work = "25 / h"`; an item is `plant`, `work`, a plant or species of the catalogue, or what the layer `materials` calls it; any
    other key is a fault. Absent: costs stay unknown, and every sum says what it is without."""

    @model_validator(mode="before")
    @classmethod
    def _read(cls, value: Any, info: ValidationInfo) -> Any:
        if not isinstance(value, Mapping):
            return value
        given = {name: text for name, text in value.items() if name != "currency"}
        units = units_of((info.context or {}).get("own", {}).values()) if given else {}
        items: Annotated[dict[str, Price], Written("prices")] = {}
        faults = []
        for name, text in given.items():
            item, shown = "", " ".join(str(name).split())
            try:
                item = _item(shown, units, items)
            except ValueError as error:
                faults.append(f"{shown}: {error}")
            try:
                found = price(text)
                if item:
                    items[item] = _in_unit(found, units[item], text)
            except ValueError as error:
                faults.append(f"{shown}: {error}")
        if faults:
            raise ValueError("\n".join(faults))
        return {"currency": value.get("currency", ""), "items": items}

    def value(self) -> Prices:
        """Return the prices."""
        return Prices(self.currency, dict(self.items))


def units_of(own: Iterable[catalogue.CatalogueEntry] = ()) -> dict[str, str]:
    """Return everything that may have a price, and the unit that it is counted in.

    >>> units = units_of()
    >>> units["wire"], units["apple"], units["apple, dwarf"], units["work"]
    ('m', 'each', 'each', 'h')
    """
    plants = [name for entry in catalogue.entries(own) for name in (entry.species, entry.name)]
    things = {material.name: material.unit for material in MATERIALS.values()}
    named = {**dict.fromkeys((PLANT, *plants), "each"), **things, **dict.fromkeys(WORK, "h")}
    return {fold(name): unit for name, unit in named.items()}


def _item(name: str, units: Mapping[str, str], priced: Mapping[str, Price]) -> str:
    """Return the item that a key names; refuse one that has its price, and one that names nothing, with the near names."""
    wanted = fold(name)
    if wanted in priced:
        raise ValueError("has a price already; leave one")
    if wanted in units:
        return wanted
    words = set(re.findall(r"\w+", wanted))
    near = sorted((known for known in units if words and words <= set(re.findall(r"\w+", known))), key=len)[:4]
    near = near or difflib.get_close_matches(wanted, list(units), 1, 0.6)
    shown = " or ".join(f'"{known}"' for known in near)
    every = ", ".join(material.name for material in MATERIALS.values())
    hint = f"did you mean {shown}?" if near else f"write plant, work, a plant of the catalogue, or one of {every}"
    raise ValueError(f"is nothing that a plan counts; {hint}")


def _in_unit(found: Price, unit: str, text: object) -> Price:
    if found.unit == unit:
        return found
    how, example = COUNTED[unit]
    raise ValueError(f'"{text}" is for what is counted {COUNTED[found.unit][0]}, but this is counted {how}; write such as "{example}"')


def price(text: object) -> Price:
    """Read a price.

    >>> price("38 / each"), round(price("0.30 / ft").amount, 3), price("25 per hour").unit
    (Price(amount=38.0, unit='each'), 0.984, 'h')
    >>> price(38)
    Traceback (most recent call last):
    ValueError: 38 does not say for how much; write "38 / each"
    """
    if isinstance(text, int | float) and not isinstance(text, bool):
        raise ValueError(f'{text} does not say for how much; write "{text} / each"')
    match = _PRICE.match(text) if isinstance(text, str) else None
    if match is None:
        raise ValueError(f'"{text}" is no price; write such as "38 / each", "0.12 / ft" or "25 / h"')
    unit = " ".join(match[2].split()).casefold()
    if unit not in PER:
        raise ValueError(f'"{text}" is for "{match[2]}", which nothing is counted in; write one of {", ".join(PER)}')
    if not float(match[1]) <= MOST:
        raise ValueError(f'{match[1][:12]}... is more than anything costs; write such as "38 / each"')
    counted, factor = PER[unit]
    return Price(float(match[1]) * factor, counted)
