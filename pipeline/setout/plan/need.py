"""The keys of the water section that say how much water trees need."""

from __future__ import annotations

import re
from typing import Annotated, Final

from pydantic import BeforeValidator, Field, field_validator

from setout import units
from setout.nouns.need import CanopyFactor, NeedSettings, RainMethod
from setout.plan.quantities import Length, Section

_DAYS: Final = (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def _depth(text: object) -> float:
    value = units.quantity(text, "depth")
    if not 0 < value <= 25:
        raise ValueError(f'"{text}" is no reference evapotranspiration of a day; write {units.EXAMPLE["depth"]}')
    return value


DailyDepth = Annotated[float, BeforeValidator(_depth)]


def _one_or_twelve(value: object, what: str) -> object:
    """Take one figure, or twelve by month."""
    many = tuple(value) if isinstance(value, list) else (value,)
    if len(many) not in (1, 12):
        raise ValueError(f"has {len(many)} figures; write one, or twelve from January to December, of {what}")
    return many


class NeedKeys(Section):
    """How much water trees need."""

    eto: tuple[DailyDepth, ...] | None = None
    climate: str | None = None
    leaching: float = Field(0.0, ge=0, lt=1)
    rain: tuple[Length, ...] = ()
    rain_method: RainMethod = "scs"
    rain_at_peak: bool = False
    canopy_factor: CanopyFactor = "keller-karmeli"
    grass: bool = False
    frost: bool = True
    kc: tuple[Annotated[float, Field(ge=0, le=2)], ...] = ()
    leaf_out: tuple[int, int] | None = None

    @field_validator("eto", mode="before")
    @classmethod
    def _eto(cls, value: object) -> object:
        return None if value is None else _one_or_twelve(value, 'depths a day, such as "0.28 in/day"')

    @field_validator("rain", mode="before")
    @classmethod
    def _rain(cls, value: object) -> object:
        if not isinstance(value, list) or len(value) != 12:
            raise ValueError('is not twelve depths; write twelve from January to December, such as ["3.1 in", ...]')
        return tuple(value)

    @field_validator("kc", mode="before")
    @classmethod
    def _kc(cls, value: object) -> object:
        return _one_or_twelve(value, "crop coefficients, such as 0.95")

    @field_validator("leaf_out", mode="before")
    @classmethod
    def _leaf_out(cls, value: object) -> object:
        match = re.fullmatch(r"(\d{2})-(\d{2})", value) if isinstance(value, str) else None
        month, day = (int(match[1]), int(match[2])) if match else (0, 0)
        if not (1 <= month <= 12 and 1 <= day <= _DAYS[month - 1]):
            raise ValueError(f'"{value}" is not a day of the year; write month and day, such as "04-15"')
        return month, day

    @property
    def is_need_given(self) -> bool:
        """Return whether the plan says anything that a need can be reckoned from."""
        return self.eto is not None or self.climate is not None

    def need(self, efficiency: float) -> NeedSettings:
        """Return what the plan says of need."""
        return NeedSettings(
            efficiency, self.leaching, self.eto or (), tuple(1000 * depth for depth in self.rain), self.rain_method,
            self.rain_at_peak, self.canopy_factor, self.grass, self.frost, self.kc, self.leaf_out,
        )  # fmt: skip
