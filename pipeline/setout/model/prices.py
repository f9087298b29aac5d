"""The grower's own prices."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

PLANT = "plant"
"""Price of any plant that has none of its own name."""
WORK = ("work", "labour")
"""Price of an hour of work, by either name."""


@dataclass(frozen=True, slots=True)
class Price:
    """What one of something costs; its unit is "each", "m", "m3" or "h"."""

    amount: float
    unit: str


@dataclass(frozen=True, slots=True)
class Prices:
    """Prices by item, in lower case: plants by catalogue name or species, materials by item, and hours of work."""

    currency: str = ""
    items: Mapping[str, Price] = field(default_factory=dict)

    def of(self, *names: str, unit: str) -> float:
        """Return the price of the first of some names that has one in a unit; NaN for none.

        >>> Prices("", {"plant": Price(30.0, "each")}).of("apple, dwarf", "apple", PLANT, unit="each")
        30.0
        """
        for name in names:
            found = self.items.get(" ".join(name.split()).casefold())
            if found is not None and found.unit == unit:
                return found.amount
        return float("nan")
