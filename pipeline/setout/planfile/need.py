"""The keys of the water section that say how much water plants need."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Annotated, Final, Literal

from pydantic import Field, field_validator

from setout import units
from setout.model.need import MONTHS, NeedSettings
from setout.planfile.quantities import Path, Section, Written
from setout.tables.crops import DAYS

PEAK_MM: Final = (1.0, 20.0)
"""Reference evapotranspiration at a peak is between these [mm/day]; else its unit is wrong."""
_SHORT: Final = tuple(name[:3].lower() for name in MONTHS)
_EXAMPLE: Final = '{ jan = "0.05 in/day", feb = ... } or a list of twelve, January first'


def month_of(text: str) -> int | None:
    """Return the number of a month by its English name or the first letters of it; None for another word.

    >>> month_of("Mar"), month_of("september"), month_of("Sept."), month_of("summer"), month_of("")
    (3, 9, 9, None, None)
    """
    word = text.strip().lower().rstrip(".")
    if len(word) < 3 or word[:3] not in _SHORT:
        return None
    number = _SHORT.index(word[:3]) + 1
    return number if MONTHS[number - 1].lower().startswith(word) else None


def by_month(value: object, read: Callable[[object], float], example: str = _EXAMPLE) -> tuple[float, ...]:
    """Read twelve values, a table by month or a list from January on.

    >>> by_month([1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12], float)[:2]
    (1.0, 2.0)
    >>> by_month({"jan": 1, "smarch": 2}, float)
    Traceback (most recent call last):
    ValueError: "smarch" is no month; write jan, feb, mar ...
    """
    found, faults = dict[int, float](), []
    for month, one in _pairs(value, example):
        try:
            found[month] = read(one)
        except ValueError as error:
            faults.append(f"{MONTHS[month - 1]}: {error}")
    if faults:
        raise ValueError("\n".join(faults))
    return tuple(found[month] for month in range(1, 13))


def _pairs(value: object, example: str) -> list[tuple[int, object]]:
    """Return months and what was given for them, each of the twelve once."""
    if isinstance(value, (list, tuple)):
        if len(value) != 12:
            raise ValueError(f"has {len(value)} values, not twelve; write {example}")
        return list(enumerate(value, 1))
    if not isinstance(value, Mapping):
        raise ValueError(f"{value!r} is not by month; write {example}")
    strange = [key for key in value if month_of(str(key)) is None]
    if strange:
        raise ValueError("\n".join(f'"{key}" is no month; write jan, feb, mar ...' for key in strange))
    pairs = [(month_of(str(key)) or 0, one) for key, one in value.items()]
    given = [month for month, _ in pairs]
    missing = [MONTHS[m - 1] for m in range(1, 13) if m not in given]
    twice = sorted({MONTHS[m - 1] for m in given if given.count(m) > 1})
    if missing or twice:
        what = f"months are missing: {', '.join(missing)}" if missing else f"months are there twice: {', '.join(twice)}"
        raise ValueError(f"{what}; give each of the twelve once")
    return pairs


def _rate(value: object) -> float:
    found = units.quantity(value, "rate")
    if not 0 <= found <= PEAK_MM[1]:
        most = f"{PEAK_MM[1]:g} mm/day ({PEAK_MM[1] / 25.4:.2f} in/day)"
        raise ValueError(f'"{value}" is {found:.3g} mm/day, and no month has less than 0 or more than {most}; look at its unit')
    return found


def _rain(value: object) -> float:
    found = units.quantity(value, "length") * 1000
    if not 0 <= found <= 3000:
        raise ValueError(f'"{value}" is no rain of a month; write a depth such as "3.2 in" or "80 mm"')
    return found


def _kc(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise ValueError(f'"{value}" is not a number; write a crop coefficient such as 0.95, without quotes')
    if not 0 <= value <= 2:
        raise ValueError(f"{value:g} is no crop coefficient; write a number from 0 to 2")
    return float(value)


class NeedKeys(Section):
    """How much water plants need: climate, crop coefficients, and what is added and taken off."""

    eto: Annotated[tuple[float, ...], Written("depth a day")] | None = None
    """Reference evapotranspiration (ETo): of the peak, `0.28 in/day` or `7 mm/day`, or by month, `{ jan = "0.05 in/day", ... }`. Absent:
    from `climate`."""
    climate: Path | None = None
    """Or a climate file, see [Climate](GUIDE.md#climate-and-water-need). Absent: none."""
    rain: Annotated[tuple[float, ...], Written("depths")] | None = None
    """Rain by month, `{ jan = "3.1 in", ... }`. Absent: from `climate`."""
    effective_rain: Literal["scs", "fao", "none"] = "scs"
    """How much of it plants use: `scs` (USDA), `fao` or `none`."""
    rain_in_design: bool = False
    """Rain counts at the peak too; else the peak has to be met in a dry spell."""
    leaching: float = Field(0.0, ge=0, le=0.9)
    """Share of the water that has to carry salts below the roots."""
    canopy_factor: Literal["keller-karmeli", "fereres", "canopy"] = "keller-karmeli"
    """How shaded ground counts: `keller-karmeli` (share / 0.85), `fereres` (twice the share) or `canopy` (the share)."""
    ground: Literal["bare", "grass"] = "bare"
    """Between the trees: `bare`, or `grass` that is watered with them."""
    winter: Literal["frost", "mild"] = "frost"
    """`frost`, or `mild` without killing frost."""
    kc: Annotated[tuple[float, ...], Written("coefficient", "number")] | None = None
    """Crop coefficient of every plant: in mid-season, `0.95`, or by month. Absent: FAO-56 Table 12, by species."""
    leaf_out: Annotated[tuple[int, int], Written("day of the year", "day")] | None = None
    """When plants come into leaf, `15 March`. Absent: when the climate file's mean temperature reaches 50 F."""

    @field_validator("eto", mode="before")
    @classmethod
    def _eto(cls, value: object) -> object:
        many = isinstance(value, (Mapping, list, tuple))
        found = by_month(value, _rate) if many else (units.quantity(value, "rate"),)
        highest = max(found)
        if not PEAK_MM[0] <= highest <= PEAK_MM[1]:
            least, most = (f"{mm:g} mm/day ({mm / 25.4:.2f} in/day)" for mm in PEAK_MM)
            said = "its greatest month" if many else f'"{value}"'
            what = f"{said} is {highest:.3g} mm/day, which is no peak of reference evapotranspiration"
            raise ValueError(f"{what}; peaks are from {least} to {most}: look at its unit")
        return found

    @field_validator("rain", mode="before")
    @classmethod
    def _rain_by_month(cls, value: object) -> object:
        return by_month(value, _rain, '{ jan = "3.1 in", feb = ... } or a list of twelve, January first')

    @field_validator("kc", mode="before")
    @classmethod
    def _kc_values(cls, value: object) -> object:
        many = isinstance(value, (Mapping, list, tuple))
        example = "{ jan = 0, feb = 0, mar = 0.45, ... } or a list of twelve, January first"
        found = by_month(value, _kc, example) if many else (_kc(value),)
        if not max(found) > 0:
            raise ValueError("is 0 throughout; write a crop coefficient above 0, or leave it out")
        return found

    @field_validator("leaf_out", mode="before")
    @classmethod
    def _day_of_month(cls, value: object) -> object:
        words = re.findall(r"[A-Za-z]+|[0-9]+", value) if isinstance(value, str) else []
        days = [int(word) for word in words if word.isdigit() and len(word) < 3]
        months = [found for found in map(month_of, words) if found is not None]
        if len(words) != 2 or len(days) != 1 or len(months) != 1 or not 1 <= days[0] <= DAYS[months[0] - 1]:
            raise ValueError(f'"{value}" is no day of the year; write such as leaf_out = "15 March"')
        return months[0], days[0]

    @property
    def is_need_given(self) -> bool:
        """Return whether the plan names anything that need can be reckoned from."""
        return self.eto is not None or self.climate is not None

    def need(self, efficiency: float = 0.9) -> NeedSettings:
        """Return what the plan says of need, with the share of the water that the roots get."""
        return NeedSettings(
            efficiency=efficiency,
            leaching=self.leaching,
            eto_mm=self.eto or (),
            rain_mm=self.rain or (),
            rain=self.effective_rain,
            rain_in_design=self.rain_in_design,
            canopy_factor=self.canopy_factor,
            grass=self.ground == "grass",
            frost=self.winter == "frost",
            kc=self.kc or (),
            leaf_out=self.leaf_out,
        )
