"""Quantities in and out, at the door only: inside setout everything is SI.

Lengths are metres, areas square metres, slopes rise over run, angles degrees, pressures kilopascals, flows litres
per hour, velocities metres a second, depths of water millimetres a day. Factors are exact by definition
(NIST SP 811, Appendix B; US survey foot 85 FR 62698) unless said otherwise.
"""

from __future__ import annotations

import math
import re
from typing import Final

FOOT: Final = 0.3048
"""International foot [m], exact."""
US_SURVEY_FOOT: Final = 1200 / 3937
"""US survey foot [m], exact; deprecated since 2022 but still the unit of many state-plane surveys."""
ACRE: Final = 43560 * FOOT**2
"""International acre [m2], exact: 4046.8564224."""
PSI: Final = 6.894757293168361
"""Pound-force per square inch [kPa]."""
PSI_PER_FOOT: Final = 0.4333
"""Pressure of one foot of water [psi/ft], 62.4 lb/ft3 over 144 in2/ft2."""
KPA_PER_M: Final = PSI_PER_FOOT * PSI / FOOT
"""Pressure of one metre of water [kPa/m], from :data:`PSI_PER_FOOT`."""
GALLON: Final = 3.785411784
"""US liquid gallon [l], exact."""

LENGTH: Final[dict[str, float]] = {
    "m": 1.0,
    "metre": 1.0,
    "metres": 1.0,
    "meter": 1.0,
    "meters": 1.0,
    "km": 1000.0,
    "dm": 0.1,
    "cm": 0.01,
    "mm": 0.001,
    "ft": FOOT,
    "foot": FOOT,
    "feet": FOOT,
    "'": FOOT,
    "in": FOOT / 12,
    "inch": FOOT / 12,
    "inches": FOOT / 12,
    '"': FOOT / 12,
    "yd": 3 * FOOT,
    "yard": 3 * FOOT,
    "yards": 3 * FOOT,
    "mi": 5280 * FOOT,
    "mile": 5280 * FOOT,
    "ftus": US_SURVEY_FOOT,
    "us survey ft": US_SURVEY_FOOT,
    "us survey foot": US_SURVEY_FOOT,
    "us survey feet": US_SURVEY_FOOT,
    "us-ft": US_SURVEY_FOOT,
    "chain": 66 * FOOT,
    "chains": 66 * FOOT,
    "rod": 16.5 * FOOT,
    "rods": 16.5 * FOOT,
    "link": 0.66 * FOOT,
    "links": 0.66 * FOOT,
}
AREA: Final[dict[str, float]] = {
    "m2": 1.0,
    "sq m": 1.0,
    "ha": 1e4,
    "hectare": 1e4,
    "hectares": 1e4,
    "km2": 1e6,
    "acre": ACRE,
    "acres": ACRE,
    "ac": ACRE,
    "ft2": FOOT**2,
    "sq ft": FOOT**2,
}
PRESSURE: Final[dict[str, float]] = {
    "kpa": 1.0,
    "pa": 1e-3,
    "mpa": 1e3,
    "bar": 100.0,
    "psi": PSI,
    "ft of water": PSI_PER_FOOT * PSI,
    "m of water": KPA_PER_M,
}
FLOW: Final[dict[str, float]] = {
    "l/h": 1.0,
    "lph": 1.0,
    "l/min": 60.0,
    "lpm": 60.0,
    "l/s": 3600.0,
    "lps": 3600.0,
    "m3/h": 1000.0,
    "gal/h": GALLON,
    "gph": GALLON,
    "gal/min": GALLON * 60,
    "gpm": GALLON * 60,
    "gal/day": GALLON / 24,
    "l/day": 1 / 24,
    "m3/day": 1000 / 24,
}
VELOCITY: Final[dict[str, float]] = {"m/s": 1.0, "ft/s": FOOT, "fps": FOOT}
RATE: Final[dict[str, float]] = {
    "mm/day": 1.0,
    "mm/d": 1.0,
    "cm/day": 10.0,
    "in/day": 25.4,
    "in/d": 25.4,
    "inch/day": 25.4,
    "inches/day": 25.4,
}
"""Depths of water a day [mm/day]."""
ANGLE: Final[dict[str, float]] = {"deg": 1.0, "°": 1.0, "degree": 1.0, "degrees": 1.0, "rad": math.degrees(1.0)}

MOST_SHOWN: Final = 60
"""Characters of a text that a message quotes; a quantity has no more."""
KINDS: Final[dict[str, dict[str, float]]] = {
    "length": LENGTH,
    "area": AREA,
    "pressure": PRESSURE,
    "flow": FLOW,
    "angle": ANGLE,
    "velocity": VELOCITY,
    "rate": RATE,
}
EXAMPLE: Final[dict[str, str]] = {
    "length": '"16 ft" or "4.9 m"',
    "area": '"0.1 acre" or "400 m2"',
    "pressure": '"12 psi" or "80 kPa"',
    "flow": '"5 gal/min" or "1.1 m3/h"',
    "angle": '"8.5 deg"',
    "slope": '"15 %" or "8.5 deg"',
    "velocity": '"5 ft/s" or "1.5 m/s"',
    "rate": '"0.28 in/day" or "7 mm/day"',
}

LIMITS: Final[dict[str, tuple[float, float, str]]] = {
    "length": (1e-7, 1e5, "lengths are from 0.0001 mm to 100 km (62 miles)"),
    "area": (1e-6, 1e11, "areas are from 1 mm2 to 100,000 km2 (25 million acres)"),
    "pressure": (1e-3, 1e4, "pressures are from 1 Pa to 10,000 kPa (1,450 psi)"),
    "flow": (1e-4, 1e7, "flows are from 0.0001 l/h to 10,000 m3/h (44,000 gal/min)"),
    "angle": (0.0, 360.0, "angles are from -360 to 360 deg"),
    "slope": (0.0, 10.0, "slopes are up to 1,000 % (84 deg)"),
    "velocity": (1e-4, 100.0, "velocities are from 0.1 mm/s to 100 m/s (328 ft/s)"),
    "rate": (0.0, 1000.0, "depths a day are up to 1,000 mm/day (39 in/day)"),
}
"""What can be meant on a property, by kind, on either side of zero: the least beside zero, the greatest, both in words."""

_NUMBER: Final = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?", re.ASCII)
_TERM: Final = re.compile(
    rf"({_NUMBER.pattern})\s*"
    r"((?:[A-Za-z°'\"][A-Za-z°'\"/ -]*)(?:(?<=[A-Za-z])[23](?:/[A-Za-z]+)?)?)?"  # its unit; m2 and m3/h end in a digit
)
_BEARING: Final = re.compile(r"^([NS])\s*(\d+(?:\.\d+)?)\s*(?:deg|°)?\s*([EW])$", re.IGNORECASE)
_COMPASS: Final[dict[str, float]] = {
    "north-south": 0.0,
    "n-s": 0.0,
    "east-west": 90.0,
    "e-w": 90.0,
    "northeast-southwest": 45.0,
    "northwest-southeast": 135.0,
}


def quantity(text: object, kind: str) -> float:
    """Read one quantity with its unit as SI.

    >>> round(quantity("16 ft", "length"), 4), round(quantity("5 ft 6 in", "length"), 4)
    (4.8768, 1.6764)
    >>> quantity("400 m2", "area"), quantity("1.5 m3/h", "flow"), round(quantity("0.1 acre", "area"), 3)
    (400.0, 1500.0, 404.686)
    >>> quantity("15 %", "slope"), round(quantity("8.5 deg", "slope"), 4)
    (0.15, 0.1495)
    >>> quantity(16, "length")
    Traceback (most recent call last):
    ValueError: 16 has no unit; write "16 ft" or "4.9 m"
    """
    if isinstance(text, (int, float)) and not isinstance(text, bool):
        raise ValueError(f"{text} has no unit; write {EXAMPLE[kind]}")
    if not isinstance(text, str) or not text.strip():
        raise ValueError(f"{text!r} is not a {kind}; write {EXAMPLE[kind]}")
    shown = text if len(text) <= MOST_SHOWN else f"{text[:MOST_SHOWN]}..."
    if not text.isascii() and any(sign.isdigit() and not sign.isascii() for sign in text):
        raise ValueError(f'"{shown}" has digits that are not 0 to 9; write {EXAMPLE[kind]}')
    if len(text) > MOST_SHOWN:
        raise ValueError(f'"{shown}" has {len(text):,} characters, which is no {kind}; write {EXAMPLE[kind]}')
    return _slope(text) if kind == "slope" else _sum_of_terms(text, kind)


def sensible(text: object, kind: str) -> float:
    """Read one quantity that can be meant on a property.

    >>> sensible("1e300 m", "length")
    Traceback (most recent call last):
    ValueError: "1e300 m" cannot be meant: lengths are from 0.0001 mm to 100 km (62 miles); look at its number and its unit
    """
    return meant(quantity(text, kind), kind, f'"{text}"')


def meant(value: float, kind: str, shown: str) -> float:
    """Return a value in SI that can be meant as a quantity of its kind; ValueError for one that cannot, as it is shown."""
    least, most, said = LIMITS[kind]
    if not (value == 0 or least <= abs(value) <= most):
        raise ValueError(f"{shown} cannot be meant: {said}; look at its number and its unit")
    return value


def _sum_of_terms(text: str, kind: str) -> float:
    table = KINDS[kind]
    total, end, terms = 0.0, 0, 0
    stripped = text.strip()
    for match in _TERM.finditer(stripped):
        if stripped[end : match.start()].strip():
            break
        number, unit = match.group(1), (match.group(2) or "").strip().lower()
        if not unit:
            raise ValueError(f'"{text}" has no unit; write {EXAMPLE[kind]}')
        if unit not in table:
            raise ValueError(f'"{text}" has the unit "{unit}", which is no {kind}; write {EXAMPLE[kind]}')
        total += float(number) * table[unit]
        end, terms = match.end(), terms + 1
    if terms == 0 or stripped[end:].strip():
        raise ValueError(f'"{text}" is not a {kind}; write {EXAMPLE[kind]}')
    if not math.isfinite(total):
        raise ValueError(f'"{text}" is not a finite {kind}; write {EXAMPLE[kind]}')
    return total


def _slope(text: str) -> float:
    stripped = text.strip().lower()
    if stripped.endswith(("%", "percent")):
        number = stripped.removesuffix("percent").removesuffix("%").strip()
        if not _NUMBER.fullmatch(number):
            raise ValueError(f'"{text}" is not a slope; write {EXAMPLE["slope"]}')
        value = float(number) / 100
    else:
        try:
            degrees = _sum_of_terms(stripped, "angle")
        except ValueError:
            raise ValueError(f'"{text}" is not a slope with its unit; write {EXAMPLE["slope"]}') from None
        if not -90 < degrees < 90:
            raise ValueError(f'"{text}" is not a slope below 90 deg; write {EXAMPLE["slope"]}')
        value = math.tan(math.radians(degrees))
    if not math.isfinite(value):
        raise ValueError(f'"{text}" is not a finite slope; write {EXAMPLE["slope"]}')
    return value


def bearing(text: str) -> float:
    """Read a row direction as a bearing from true north.

    >>> bearing("N 20 E"), bearing("N 20 W"), bearing("S 10 E"), bearing("east-west"), bearing("290 deg")
    (20.0, 160.0, 170.0, 90.0, 110.0)
    """
    stripped = text.strip()
    if stripped.lower() in _COMPASS:
        return _COMPASS[stripped.lower()]
    match = _BEARING.match(stripped)
    if match:
        north, angle, east = (match.group(1).upper() == "N", float(match.group(2)), match.group(3).upper() == "E")
        if angle > 90:
            raise ValueError(f'"{text}": a quadrant bearing is at most 90 deg; write "N 20 E" or "110 deg"')
        return (angle if north == east else -angle) % 180.0
    return sensible(stripped, "angle") % 180.0


def show_length(metres: float, units: str = "us", digits: int | None = None) -> str:
    """Write a length for people.

    >>> show_length(4.8768), show_length(4.8768, "si"), show_length(4.3958, "us", 3)
    ('16 ft', '4.88 m', '14.422 ft')
    """
    value, unit = (metres / FOOT, "ft") if units == "us" else (metres, "m")
    if digits is None:
        if 0 < abs(value) < 0.1:
            return f"{value:.2g} {unit}"
        digits = 2 if abs(value) < 100 else 1
        return f"{value:.{digits}f}".rstrip("0").rstrip(".") + f" {unit}"
    return f"{value:.{digits}f} {unit}"


def show_area(square_metres: float, units: str = "us") -> str:
    """Write an area for people, in acres or hectares (square feet or metres when small).

    >>> show_area(ACRE * 10), show_area(1e5, "si"), show_area(50.0)
    ('10.00 acres', '10.00 ha', '538 sq ft')
    >>> show_area(-1e-3)
    '0 sq ft'
    """
    if units == "us":
        acres = square_metres / ACRE
        return f"{acres:,.2f} acres" if abs(acres) >= 0.05 else f"{round(square_metres / FOOT**2):,} sq ft"
    hectares = square_metres / 1e4
    return f"{hectares:,.2f} ha" if abs(hectares) >= 0.05 else f"{round(square_metres):,} m2"


def show_pressure(kpa: float, units: str = "us") -> str:
    """Write a pressure for people.

    >>> show_pressure(310.264), show_pressure(310.264, "si")
    ('45.0 psi', '310 kPa')
    """
    return f"{kpa / PSI:.1f} psi" if units == "us" else f"{kpa:.0f} kPa"
