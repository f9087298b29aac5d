"""Amounts of what is bought and laid, as the trade says them: depths, ironwork, pipe, volumes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import ceil
from typing import Final

from setout.model.buying import INCH
from setout.units import FOOT

CUBIC_YARD: Final = (3 * FOOT) ** 3
"""Cubic yard [m3], exact."""


def depth(metres: float, units: str) -> str:
    """Say a depth or a thickness in inches or centimetres.

    >>> depth(0.0762, "us"), depth(0.0762, "si")
    ('3 in', '7.6 cm')
    """
    value, unit = (metres / INCH, "in") if units == "us" else (metres * 100, "cm")
    return f"{value:.1f}".removesuffix(".0") + f" {unit}"


def iron(metres: float, units: str) -> str:
    """Say the size of ironwork in inches or millimetres.

    >>> iron(0.015875, "us"), iron(0.015875, "si")
    ('0.625 in', '16 mm')
    """
    return f"{metres / INCH:.4g} in" if units == "us" else f"{metres * 1000:.0f} mm"


def inside(mm: float, units: str) -> str:
    """Say an inside diameter [mm] in inches or millimetres.

    >>> inside(20.828, "us"), inside(20.828, "si")
    ('0.820 in', '20.8 mm')
    """
    return f"{mm / (INCH * 1000):.3f} in" if units == "us" else f"{mm:.1f} mm"


def show_volume(cubic_metres: float, units: str) -> str:
    """Say a volume in cubic yards or metres.

    >>> show_volume(5.66, "us"), show_volume(5.66, "si")
    ('7.4 cu yd', '5.7 m3')
    """
    return f"{cubic_metres / CUBIC_YARD:,.1f} cu yd" if units == "us" else f"{cubic_metres:,.1f} m3"


def whole(metres: float, units: str) -> str:
    """Say a length in whole feet or metres.

    >>> whole(609.9, "us"), whole(609.9, "si")
    ('2,001 ft', '610 m')
    """
    return f"{metres / FOOT:,.0f} ft" if units == "us" else f"{metres:,.0f} m"


def enough(metres: float, units: str) -> str:
    """Say a length to buy: whole feet or metres, never short.

    >>> enough(100.1, "us"), enough(100.1, "si")
    ('329 ft', '101 m')
    """
    return f"{ceil(round(metres / FOOT, 3)):,} ft" if units == "us" else f"{ceil(round(metres, 3)):,} m"


AMOUNTS: Final[Mapping[str, Callable[[float, str], str]]] = {
    "depth": depth,
    "iron": iron,
    "inside": inside,
    "volume": show_volume,
    "whole": whole,
    "enough": enough,
}
"""How amounts are said, by kind."""
