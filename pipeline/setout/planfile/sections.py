"""The tables of the plan file about the property: site, ground, setbacks, height limits, water."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, field_validator

from setout import units
from setout.model import HeightLimit, NoPlant, Setback
from setout.model.asked import LeftOut, WaterAsked
from setout.planfile.irrigation import WaterSettings
from setout.planfile.need import NeedKeys
from setout.planfile.quantities import (
    Area,
    Distance,
    Elevation,
    Flow,
    GeoidHeight,
    Label,
    Length,
    Pressure,
    Reference,
    References,
    Section,
    Slope,
    Written,
    one_or_many,
)


class SiteSection(Section):
    """Where the survey is, and what its files do not say themselves."""

    boundary: Reference
    """Property line: vector file, CSV of corners, or text of deed calls."""
    dem: Annotated[tuple[str, ...], Written("references", "paths")] = ()
    """Elevation model, one raster or several tiles. Absent: slope and elevation stay unknown."""
    crs: str | None = None
    """Coordinate system of files that do not say theirs, as `EPSG:2272`. Absent: such files are refused."""
    unit: Annotated[str, Written("unit")] | None = None
    """Unit of their coordinates. Absent: the system's own."""
    dem_crs: str | None = None
    """Coordinate system of a DEM that does not say its own. Absent: such a DEM is refused."""
    dem_unit: Annotated[str, Written("unit")] | None = None
    """Unit of heights, for a DEM that does not say it. Absent: such a DEM is refused."""
    adjust: Literal["compass"] | None = None
    """`compass`: close a deed traverse by the compass rule. Absent: left as it is, misclosure reported."""
    start: Annotated[tuple[float, float], Written("two numbers", "numbers")] | None = None
    """First corner of a deed, `[easting, northing]` in the unit of `site.crs`. Absent: as the deed says."""
    elevation: Elevation | None = None
    """Height of the site, where no DEM tells. Absent: unknown."""
    geoid_height: GeoidHeight = 0.0
    """Height of the height datum above the ellipsoid."""

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
    """Steepest ground to plant. Absent: no limit."""
    min_area: Area = 0.0
    """Smaller pieces are dropped."""
    min_width: Length = 0.0
    """Narrower pieces are dropped."""
    no_elevation: Literal["exclude", "plant"] = "exclude"
    """Ground that the DEM does not cover: `exclude` or `plant`."""


class SetbackSection(Section):
    """Ground kept clear of features; as many tables as there are things to keep clear of.

    Layers and features that no table of the plan file names are a finding.
    """

    from_: Reference = Field(alias="from")
    """`boundary`, or the features."""
    distance: Length
    """Ground kept clear around them, level distance."""
    measured_to: Literal["trunk", "canopy"] = "trunk"
    """`trunk`, or `canopy`: half the mature spread is added."""
    why: Label = ""
    """Reason, as the land account will name it. Absent: the reference."""

    def value(self) -> Setback:
        """Return what the section says."""
        why = self.why or ("property line" if self.from_ == "boundary" else self.from_)
        return Setback(why, self.from_, self.distance, self.measured_to)


class NoPlantSection(Section):
    """An area where nothing is planted."""

    from_: Reference = Field(alias="from")
    """Areas where nothing is planted."""
    why: Label = ""
    """Reason. Absent: the reference."""

    def value(self) -> NoPlant:
        """Return what the section says."""
        return NoPlant(self.why or self.from_, self.from_)


class HeightLimitSection(Section):
    """Ground near features where mature height is capped."""

    from_: Reference = Field(alias="from")
    """Features under or near which height is capped."""
    within: Length
    """How far from them."""
    height: Distance
    """Greatest mature height there."""
    why: Label = ""
    """Reason. Absent: the reference."""

    def value(self) -> HeightLimit:
        """Return what the section says."""
        return HeightLimit(self.why or self.from_, self.from_, self.within, self.height)


class LeftOutSection(Section):
    """Features that no other table is about; without a reason the plan has a finding that stops."""

    from_: Reference = Field(alias="from")
    """Features that no tree needs to keep clear of."""
    why: Label = ""
    """Reason; features left out without one are a finding that stops, for nobody has said what they are."""

    def value(self) -> LeftOut:
        """Return what the section says."""
        return LeftOut(self.why, self.from_)


class WaterSection(WaterSettings, NeedKeys):
    """Where water comes from and how far it goes. Leave the section out to plan without water.

    With an emitter, and water points that say their pressure and flow, pipes are laid along and across the rows and sized,
    zones are made that each water point can feed, pressure and flow are solved at every tree, and hours found that meet the
    need; each tree is told whether it gets it, or why not. Each valve has a pressure regulator where there is pressure to
    spare. It is a design on paper: have it checked by an irrigation engineer before pipe is bought.
    """

    points: References = Field(min_length=1)
    """Points; columns `name`, and pressure and flow with their unit in the name (`pressure_psi`, `flow_gpm`); of one layer or of several.
    """
    pressure: Pressure | None = None
    """Static pressure of points whose file has no such column. Absent: unknown."""
    flow: Flow | None = None
    """Flow of points whose file has no such column. Absent: unknown."""
    max_run: Distance | None = None
    """Longest pipe from a point to a tree. Absent: no limit."""
    min_pressure: Pressure | None = None
    """Pressure to be left at the tree after the lift, 0.4333 psi a foot. Absent: no limit."""
    barriers: References = ()
    """What a pipe may not cross, besides areas behind a setback (house, pond, septic field, a road drawn as an area), no-plant areas and
    the property line, which it never does."""
    sleeves: References = ()
    """Where it may all the same: lines or areas that lead across; a road drawn as an area needs one too."""
    beyond_reach: Literal["exclude", "plant"] = "exclude"
    """Ground that no point serves: `exclude`, or `plant` and say so."""

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
