"""The grower's own prices: what a plant, a post, a foot of wire and an hour of work cost."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Final

from pydantic import Field, model_validator

from setout.nouns.prices import Price, Prices
from setout.plan.quantities import Label, Section
from setout.units import FOOT

PER: Final[dict[str, tuple[str, float]]] = {
    "each": ("each", 1.0), "plant": ("each", 1.0), "tree": ("each", 1.0), "piece": ("each", 1.0),
    "m": ("m", 1.0), "ft": ("m", 1 / FOOT), "foot": ("m", 1 / FOOT), "100 ft": ("m", 0.01 / FOOT), "100 m": ("m", 0.01),
    "m3": ("m3", 1.0), "cu yd": ("m3", 1 / (3 * FOOT) ** 3), "yd3": ("m3", 1 / (3 * FOOT) ** 3),
    "h": ("h", 1.0), "hour": ("h", 1.0),
}  # fmt: skip
"""What a price may be for: the unit that quantities are counted in, and how many of what is written that is one of."""
MOST: Final = 1e9
_PRICE: Final = re.compile(r"^\s*(\d+(?:\.\d+)?)\s*(?:/|per)\s*(.+?)\s*$")


class PricesSection(Section):
    """Prices by item; every item of the order and the materials may have one."""

    currency: Label = ""
    items: dict[str, Price] = Field(default_factory=dict)

    @model_validator(mode="before")
    @classmethod
    def _read(cls, value: Any) -> Any:
        if not isinstance(value, Mapping):
            return value
        items, faults = {}, []
        for name, text in value.items():
            if name == "currency":
                continue
            try:
                items[" ".join(str(name).split()).casefold()] = price(text)
            except ValueError as error:
                what, _, remedy = str(error).partition("; ")
                faults.append(f"{name}: {what}; {remedy}")
        if faults:
            raise ValueError("\n".join(faults))
        return {"currency": value.get("currency", ""), "items": items}

    def value(self) -> Prices:
        """Return the prices."""
        return Prices(self.currency, dict(self.items))


def price(text: object) -> Price:
    """Read a price.

    Parameters
    ----------
    text : object
        Such as ``"38 / each"``, ``"0.12 / ft"`` or ``"25 per hour"``.

    Returns
    -------
    Price
        For one of its SI unit.

    Raises
    ------
    ValueError
        It is no price, or for nothing that is counted here.

    Examples
    --------
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
