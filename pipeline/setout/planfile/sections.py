"""The tables of the plan file about the property: site, ground, setbacks, height limits, water."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, field_validator

from setout import units
from setout.model import HeightLimit, NoPlant, Setback
from setout.model.asked import LeftOut, WaterAsked
from setout.planfile.irrigation import WaterSettings
from setout.planfile.need import NeedKeys
from setout.planfile.quantities import Area, Distance, Elevation, Flow, GeoidHeight, Label, Length, Pressure, Section, Slope, one_or_many


class SiteSection(Section):
    """Where the survey files are, and what they do not say themselves."""

    boundary: str
    dem: tuple[str, ...] = ()
    crs: str | None = None
    unit: str | None = None
    dem_crs: str | None = None
    dem_unit: str | None = None
    adjust: Literal["compass"] | None = None
    start: tuple[float, float] | None = None
    elevation: Elevation | None = None
    geoid_height: GeoidHeight = 0.0

    _dem = field_validator("dem", mode="before")(one_or_many)

    @field_validator("start", mode="before")
    @classmethod
    def _two_numbers(cls, value: object) -> object:
        if isinstance(value, list) and len(value) == 2 and all(isinstance(v, (int, float)) for v in value):
            return tuple(float(v) for v in value)
        raise ValueError(f"{value!r} is not [easting, northing] in the unit of site.crs")

    @field_validator("unit", "dem_unit")
    @classmethod
    def _known_unit(cls, value: str | None) -> str | None:
        if value is not None and value.strip().lower() not in units.LENGTH:
            raise ValueError(f'"{value}" is no unit of length; write "m", "ft" or "US survey ft"')
        return value


class GroundSection(Section):
    """Which ground may be planted at all."""

    max_slope: Slope | None = None
    min_area: Area = 0.0
    min_width: Length = 0.0
    no_elevation: Literal["exclude", "plant"] = "exclude"


class SetbackSection(Section):
    """Ground kept clear of features."""

    from_: str = Field(alias="from")
    distance: Length
    measured_to: Literal["trunk", "canopy"] = "trunk"
    why: Label = ""

    def value(self) -> Setback:
        """Return what the section says."""
        why = self.why or ("property line" if self.from_ == "boundary" else self.from_)
        return Setback(why, self.from_, self.distance, self.measured_to)


class NoPlantSection(Section):
    """An area where nothing is planted."""

    from_: str = Field(alias="from")
    why: Label = ""

    def value(self) -> NoPlant:
        """Return what the section says."""
        return NoPlant(self.why or self.from_, self.from_)


class HeightLimitSection(Section):
    """Ground near features where mature height is capped."""

    from_: str = Field(alias="from")
    within: Length
    height: Distance
    why: Label = ""

    def value(self) -> HeightLimit:
        """Return what the section says."""
        return HeightLimit(self.why or self.from_, self.from_, self.within, self.height)


class LeftOutSection(Section):
    """Features that no other table is about; without a reason the plan has a finding that stops."""

    from_: str = Field(alias="from")
    why: Label = ""

    def value(self) -> LeftOut:
        """Return what the section says."""
        return LeftOut(self.why, self.from_)


class WaterSection(WaterSettings, NeedKeys):
    """Water points, how far and how high they serve, and what the water goes through."""

    points: tuple[str, ...] = Field(min_length=1)
    pressure: Pressure | None = None
    flow: Flow | None = None
    max_run: Distance | None = None
    min_pressure: Pressure | None = None
    barriers: tuple[str, ...] = ()
    sleeves: tuple[str, ...] = ()
    beyond_reach: Literal["exclude", "plant"] = "exclude"

    _lists = field_validator("points", "barriers", "sleeves", mode="before")(one_or_many)

    def asked(self) -> WaterAsked:
        """Return what the section says of the survey's features."""
        return WaterAsked(
            self.points,
            self.barriers,
            self.sleeves,
            self.pressure,
            self.flow,
            self.max_run,
            self.min_pressure,
            self.beyond_reach == "plant",
        )
