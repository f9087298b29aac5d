"""What the columns of a climate file are: the quantity and its unit, from the name or from a row of units."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from setout.errors import Fault
from setout.units import FOOT

Unit = tuple[float, float]
"""Factor and offset into SI: value x factor + offset."""
_TEMPERATURE: Final[dict[str, Unit]] = {
    "c": (1.0, 0.0),
    "degc": (1.0, 0.0),
    "deg_c": (1.0, 0.0),
    "celsius": (1.0, 0.0),
    "f": (5 / 9, -160 / 9),
    "degf": (5 / 9, -160 / 9),
    "deg_f": (5 / 9, -160 / 9),
    "fahrenheit": (5 / 9, -160 / 9),
    "k": (1.0, -273.15),
}
_PERCENT: Final[dict[str, Unit]] = dict.fromkeys(("", "pct", "percent"), (1.0, 0.0))
_SPEED: Final[dict[str, Unit]] = {
    "m_s": (1.0, 0.0),
    "ms": (1.0, 0.0),
    "mps": (1.0, 0.0),
    "km_h": (1 / 3.6, 0.0),
    "kmh": (1 / 3.6, 0.0),
    "kph": (1 / 3.6, 0.0),
    "km_day": (1 / 86.4, 0.0),
    "mph": (0.44704, 0.0),
    "ft_s": (FOOT, 0.0),
    "kt": (0.514444, 0.0),
    "knots": (0.514444, 0.0),
}
_RADIATION: Final[dict[str, Unit]] = {
    "mj": (1.0, 0.0),
    "mj_m2": (1.0, 0.0),
    "w": (0.0864, 0.0),
    "w_m2": (0.0864, 0.0),
    "wm2": (0.0864, 0.0),
    "kwh": (3.6, 0.0),
    "kwh_m2": (3.6, 0.0),
    "ly": (0.041868, 0.0),
    "langley": (0.041868, 0.0),
    "cal_cm2": (0.041868, 0.0),
    "j_cm2": (0.01, 0.0),
}
_HOURS: Final[dict[str, Unit]] = dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), (1.0, 0.0))
_DEPTH: Final[dict[str, Unit]] = {"mm": (1.0, 0.0), "cm": (10.0, 0.0), "in": (25.4, 0.0), "inch": (25.4, 0.0), "inches": (25.4, 0.0)}


@dataclass(frozen=True, slots=True)
class Quantity:
    """One thing that a climate file may hold.

    Attributes
    ----------
    key : field of :class:`setout.model.Weather`
    stems : what its column may be called
    units : units by the end of the name
    usual : a column's name, for messages
    least, most : what can be, in SI; a day, or a month's mean
    si : unit of these, for messages
    """

    key: str
    stems: tuple[str, ...]
    units: Mapping[str, Unit]
    usual: str
    least: float
    most: float
    si: str


def _extreme(word: str) -> tuple[str, ...]:
    """Return what a column of the highest or lowest temperature may be called."""
    before = tuple(f"{word}_{name}" for name in ("temp", "temperature"))
    after = tuple(f"{name}_{word}" for name in ("t", "temp", "temperature", "air_temp"))
    return (f"t{word}", *after, *before, f"{word}imum_temperature")


QUANTITIES: Final = (
    Quantity("tmax_c", _extreme("max"), _TEMPERATURE, "tmax_c or tmax_f", -60, 60, "deg C"),
    Quantity("tmin_c", _extreme("min"), _TEMPERATURE, "tmin_c or tmin_f", -60, 60, "deg C"),
    Quantity("rh_max", ("rh_max", "rhmax", "max_rh", "humidity_max", "max_humidity"), _PERCENT, "rh_max", 0, 105, "%"),
    Quantity("rh_min", ("rh_min", "rhmin", "min_rh", "humidity_min", "min_humidity"), _PERCENT, "rh_min", 0, 105, "%"),
    Quantity("rh_mean", ("rh_mean", "rhmean", "rh_avg", "avg_rh", "relative_humidity", "humidity", "rh"), _PERCENT, "rh_mean", 0, 105, "%"),
    Quantity("tdew_c", ("tdew", "dew_point", "dewpoint", "t_dew", "dew"), _TEMPERATURE, "tdew_c or tdew_f", -60, 45, "deg C"),
    Quantity(
        "wind_m_s", ("wind_speed", "windspeed", "wind", "ws"), _SPEED, "wind_m_s or wind_mph, and the height: wind_m_s_10m", 0, 60, "m/s"
    ),
    Quantity(
        "solar_mj",
        ("solar_radiation", "solar_rad", "solar", "srad", "radiation", "rs"),
        _RADIATION,
        "solar_mj or solar_w",
        0,
        45,
        "MJ/m2/day",
    ),
    Quantity("sunshine_h", ("sunshine", "sun_hours", "sun", "bright_sunshine"), _HOURS, "sunshine_h", 0, 24, "h"),
    Quantity("rain_mm", ("rainfall", "rain", "precipitation", "precip", "prcp"), _DEPTH, "rain_mm or rain_in", 0, 5000, "mm"),
    Quantity("eto_mm", ("reference_et", "eto", "et0"), _DEPTH, "eto_mm_day or eto_in_day", 0, 20, "mm/day"),
)
"""What is read; the ends ``_day`` and ``_month`` may follow a unit."""
WHEN: Final = {
    "date": "date",
    "day_date": "date",
    "datetime": "date",
    "year": "year",
    "yr": "year",
    "month": "month",
    "mon": "month",
    "day": "day",
    "dom": "day",
    "doy": "doy",
    "jday": "doy",
    "julian": "doy",
    "day_of_year": "doy",
}
"""Columns that say when."""
NOT_READ: Final = frozenset(
    {"dir", "direction", "gust", "gusts", "max", "days", "flag", "qc", "source", "quality", "zenith", "azimuth", "probability", "chance"}
)
"""Words after a quantity's name that make another thing of it, such as wind_direction."""
_HEIGHT: Final = re.compile(r"_(?:at_)?(\d+(?:p\d+)?)_?(m|ft)(?=_|$)")


@dataclass(frozen=True, slots=True)
class Column:
    """A column that is read.

    Attributes
    ----------
    number : position from 0
    name : as the file calls it
    quantity : what it is
    unit : factor and offset into SI
    per : "day" or "month" where the name says what a depth is for, else ""
    height_m : height of a wind gauge [m]; 0 unsaid
    """

    number: int
    name: str
    quantity: Quantity
    unit: Unit
    per: str = ""
    height_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Header:
    """All columns: those that say when by their word, those that are read, and the names of the others."""

    when: Mapping[str, int]
    columns: tuple[Column, ...]
    others: tuple[str, ...]
    faults: tuple[Fault, ...]


def shown(text: str) -> str:
    r"""Return a text of the file for a message: short, and without signs that do not print.

    >>> shown("a" * 60), shown("x\x1b[31m")
    ('aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa...', 'x[31m')
    """
    plain = "".join(sign for sign in text if sign.isprintable())
    return plain if len(plain) <= 40 else plain[:40] + "..."


def plain_name(text: str) -> str:
    """Return a column's name as the tables here have it.

    >>> plain_name("Tmax (°C)"), plain_name("Solar [MJ/m²/day]"), plain_name(" RH max, %")
    ('tmax_c', 'solar_mj_m2_day', 'rh_max_pct')
    """
    text = text.strip().lower().replace("°", "").replace("²", "2").replace("%", " pct").replace("º", "")
    text = re.sub(r"(\d)\.(\d)", r"\1p\2", text)
    return re.sub(r"[^a-z0-9]+", "_", text).strip("_")


def header_of(names: Sequence[str], units: Sequence[str] | None, where: str) -> Header:
    """Find out what the columns are.

    >>> header = header_of(["date", "tmax_f", "wind_mph_10m", "station"], None, "c.csv")
    >>> [(c.quantity.key, c.height_m) for c in header.columns], header.others
    ([('tmax_c', 0.0), ('wind_m_s', 10.0)], ('station',))
    """
    when, columns, others, faults = dict[str, int](), list[Column](), list[str](), list[Fault]()
    for number, name in enumerate(names):
        unit = plain_name(units[number]) if units is not None and number < len(units) else ""
        plain = plain_name(name)
        if plain in WHEN:
            when.setdefault(WHEN[plain], number)
            continue
        found = _column(number, name, plain, unit)
        if found is None:
            others += [shown(name)] if name.strip() else []
        elif isinstance(found, Fault):
            faults.append(Fault(found.what, where, found.remedy))
        else:
            columns.append(found)
    faults += _twice(columns, where)
    return Header(when, tuple(columns), tuple(others), tuple(faults))


def _twice(columns: Sequence[Column], where: str) -> Iterator[Fault]:
    for column in columns:
        first = next(one for one in columns if one.quantity is column.quantity)
        if first is not column:
            what = f'the columns "{shown(first.name)}" and "{shown(column.name)}" give the same quantity'
            yield Fault(what, where, "leave one")


def _column(number: int, name: str, plain: str, unit: str) -> Column | Fault | None:
    height = 0.0
    if plain.partition("_")[0] in ("u2", "u10"):
        stem, _, rest = plain.partition("_")
        plain, height = f"wind_{rest}".strip("_"), float(stem[1:])
    for quantity in QUANTITIES:
        for stem in quantity.stems:
            if plain == stem or plain.startswith(f"{stem}_"):
                rest = plain[len(stem) :]
                found = _HEIGHT.search(rest) if quantity.key == "wind_m_s" else None
                if found is not None:
                    rest = rest[: found.start()] + rest[found.end() :]
                    height = float(found[1].replace("p", ".")) * (FOOT if found[2] == "ft" else 1.0)
                if NOT_READ & set(rest.split("_")):
                    return None
                return _with_unit(number, name, quantity, rest.strip("_") or unit, height)
    return None


def _with_unit(number: int, name: str, quantity: Quantity, said: str, height: float) -> Column | Fault:
    per = ""
    for end in ("_per_day", "_per_month", "_day", "_month", "_d", "_mo"):
        if said.endswith(end) and said not in quantity.units:
            said, per = said.removesuffix(end), "month" if "mo" in end else "day"
            break
    if said in quantity.units:
        return Column(number, name, quantity, quantity.units[said], per, height)
    what = f'has the unit "{shown(said)}", which is not known' if said else "has no unit"
    return Fault(f'the column "{shown(name)}" {what}', "", f"call it {quantity.usual}")
