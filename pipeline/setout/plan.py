"""The plan file's model: what may be written, in which unit, and what it means in SI.

:func:`parse_plan` takes the mapping that the TOML file holds and gives a :class:`Plan`, or every fault of it at once.
Nothing here touches a file; :mod:`setout.read.plan_file` does.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Literal, Self, get_args

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    field_validator,
    model_validator,
)

from setout import units
from setout.errors import Fault, PlanFaults
from setout.nouns import Pattern, Plant
from setout.tables import catalogue

EQUILATERAL = 3**0.5 / 2
"""Row distance over step at which an offset set-out has all six neighbours equally far: half the root of three."""


def _reader(kind: str, least: float, *, above: bool) -> BeforeValidator:
    """Return a validator that reads a quantity of one kind and holds it to a least value."""

    def read(text: object) -> float:
        value = units.quantity(text, kind)
        if value < least or (above and value == least):
            raise ValueError(f'"{text}" must be {"more than" if above else "at least"} {least:g}')
        return value

    return BeforeValidator(read)


Length = Annotated[float, _reader("length", 0.0, above=False)]
Distance = Annotated[float, _reader("length", 0.0, above=True)]
Height = Annotated[float, _reader("length", -1e6, above=False)]
Area = Annotated[float, _reader("area", 0.0, above=False)]
Slope = Annotated[float, _reader("slope", 0.0, above=True)]
Pressure = Annotated[float, _reader("pressure", 0.0, above=False)]
Flow = Annotated[float, _reader("flow", 0.0, above=True)]
PatternKind = Literal["square", "rectangular", "offset", "quincunx"]
Direction = float | Literal["longest side", "best"]


class Section(BaseModel):
    """A table of the plan file: unknown keys are faults, values never change after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True, strict=True)


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
    elevation: Height | None = None
    geoid_height: Height = 0.0

    @field_validator("dem", mode="before")
    @classmethod
    def _one_or_many(cls, value: object) -> object:
        return (value,) if isinstance(value, str) else tuple(value) if isinstance(value, list) else value

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
    why: str = ""


class NoPlantSection(Section):
    """An area where nothing is planted."""

    from_: str = Field(alias="from")
    why: str = ""


class HeightLimitSection(Section):
    """Ground near features where mature height is capped."""

    from_: str = Field(alias="from")
    within: Length
    height: Distance
    why: str = ""


class EmitterSection(Section):
    """What lets the water out at a tree."""

    flow: Flow
    at: Pressure
    exponent: float = Field(0.5, ge=0, le=1)
    variation: float = Field(0.0, ge=0, lt=1)
    per_tree: int = Field(1, ge=1)
    trees_per_emitter: int = Field(1, ge=1)


class LateralSection(Section):
    """The pipe along a row."""

    diameter: Distance
    roughness_c: float = Field(140, gt=0)


class WaterSection(Section):
    """Water points, and how far and how high they serve."""

    points: str
    pressure: Pressure | None = None
    flow: Flow | None = None
    max_run: Distance | None = None
    min_pressure: Pressure | None = None
    barriers: tuple[str, ...] = ()
    sleeves: tuple[str, ...] = ()
    beyond_reach: Literal["exclude", "plant"] = "exclude"
    emitter: EmitterSection | None = None
    lateral: LateralSection | None = None
    efficiency: float = Field(0.9, gt=0, le=1)
    hours_per_day: float = Field(24, gt=0, le=24)
    eto: str | None = None
    climate: str | None = None

    @field_validator("barriers", "sleeves", mode="before")
    @classmethod
    def _one_or_many(cls, value: object) -> object:
        return (value,) if isinstance(value, str) else tuple(value) if isinstance(value, list) else value


class AlleySection(Section):
    """A wider gap after every so many rows."""

    every: int = Field(ge=1)
    width: Distance


class PlantSection(Section):
    """One plant of a block."""

    plant: str
    variety: str = ""
    role: str = ""
    share: float = Field(1.0, gt=0)

    @field_validator("share", mode="before")
    @classmethod
    def _number(cls, value: object) -> object:
        return float(value) if isinstance(value, int) and not isinstance(value, bool) else value

    @field_validator("plant")
    @classmethod
    def _in_catalogue(cls, value: str) -> str:
        catalogue.find(value)
        return value


class BlockSection(Section):
    """One part of the ground, planted in one pattern."""

    name: str = Field(min_length=1)
    area: str | None = None
    pattern: PatternKind
    step: Distance
    row_distance: Distance | None = None
    direction: Direction = "best"
    headland: Length = 0.0
    alley: AlleySection | None = None
    rows: Literal["lined up", "free"] = "lined up"
    spread: Distance | None = None
    height: Distance | None = None
    held_to: Distance | None = None
    plants: tuple[PlantSection, ...] = ()

    @field_validator("name", mode="before")
    @classmethod
    def _text(cls, value: object) -> object:
        return str(value) if isinstance(value, int) and not isinstance(value, bool) else value

    @field_validator("row_distance", mode="before")
    @classmethod
    def _equilateral(cls, value: object) -> object:
        return None if value == "equilateral" else value

    @field_validator("plants", mode="before")
    @classmethod
    def _list(cls, value: object) -> object:
        return tuple(value) if isinstance(value, list) else value

    @field_validator("direction", mode="before")
    @classmethod
    def _direction(cls, value: object) -> object:
        if not isinstance(value, str):
            raise ValueError(f'{value!r} is not a direction; write "north-south", "N 20 E", "longest side" or "best"')
        if value in ("longest side", "best"):
            return value
        try:
            return units.bearing(value)
        except ValueError:
            near = difflib.get_close_matches(value, ["north-south", "east-west", "longest side", "best"], 1, 0.5)
            hint = f'; did you mean "{near[0]}"?' if near else ""
            raise ValueError(
                f'"{value}" is not a direction; write "north-south", "N 20 E", "110 deg", "longest side" or "best"{hint}'
            ) from None

    @model_validator(mode="after")
    def _geometry(self) -> Self:
        if self.pattern == "rectangular" and self.row_distance is None:
            raise ValueError('a rectangular pattern needs row_distance, such as "20 ft"')
        if self.pattern == "square" and self.row_distance not in (None, self.step):
            raise ValueError('a square pattern has row_distance = step; leave it out, or write pattern = "rectangular"')
        if self.pattern == "quincunx" and self.row_distance not in (None, self.step):
            raise ValueError("a quincunx is a square with one more plant at its middle: leave row_distance out")
        if self.alley is not None and self.alley.width < (self.row_distance or 0):
            raise ValueError("alley.width must be at least row_distance: an alley is a wider gap")
        if self.rows == "free" and self.pattern == "quincunx":
            raise ValueError('rows = "free" breaks a quincunx; leave it out')
        return self

    def to_pattern(self) -> Pattern:
        """Return the set-out this section describes."""
        step, rows = self.step, self.row_distance
        if self.pattern == "square":
            rows, shift = step, 0.0
        elif self.pattern == "quincunx":
            rows, shift = step / 2, 0.5
        elif self.pattern == "offset":
            rows, shift = rows or step * EQUILATERAL, 0.5
        else:
            shift = 0.0
        assert rows is not None
        alley = self.alley
        return Pattern(
            self.pattern, step, rows, shift, alley.every if alley else 0, alley.width if alley else 0.0,
            self.headland, self.rows == "free",
        )  # fmt: skip

    def to_plants(self) -> tuple[Plant, ...]:
        """Return the block's plants with the sizes that the plan file or the catalogue gives [m]."""
        nan = float("nan")
        if not self.plants:
            known = self.spread is not None or self.height is not None or self.held_to is not None
            size = Plant("", spread_m=self._size(self.spread, nan), height_m=self._size(self.height, nan))
            return (size,) if known else ()
        out = []
        for section in self.plants:
            entry = catalogue.find(section.plant)
            out.append(
                Plant(
                    entry.name,
                    section.variety,
                    section.role,
                    section.share,
                    self._size(self.spread, entry.spread_m),
                    self._size(self.height, entry.height_m),
                )  # fmt: skip
            )
        return tuple(out)

    def _size(self, given: float | None, natural: float) -> float:
        size = natural if given is None else given
        if self.held_to is None:
            return size
        return self.held_to if size != size else min(size, self.held_to)


class Plan(Section):
    """A whole plan file."""

    name: str = ""
    units: Literal["us", "si"] = "us"
    site: SiteSection
    ground: GroundSection = GroundSection()
    setback: tuple[SetbackSection, ...] = ()
    no_plant: tuple[NoPlantSection, ...] = ()
    height_limit: tuple[HeightLimitSection, ...] = ()
    water: WaterSection | None = None
    block: tuple[BlockSection, ...] = Field(min_length=1)

    @field_validator("setback", "no_plant", "height_limit", "block", mode="before")
    @classmethod
    def _tables(cls, value: object) -> object:
        if isinstance(value, Mapping):
            raise ValueError("is one table; write it with two brackets, [[...]], so that there can be several")
        return tuple(value) if isinstance(value, list) else value

    @model_validator(mode="after")
    def _blocks_together(self) -> Self:
        names = [block.name for block in self.block]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"block names must differ; {', '.join(twice)} is there more than once")
        if sum(block.area is None for block in self.block) > 1:
            raise ValueError("only one block may leave out its area (it takes all ground that no other block takes)")
        canopy = any(s.measured_to == "canopy" for s in self.setback)
        unsized = [b.name for b in self.block if canopy and not _known(p.spread_m for p in b.to_plants())]
        if unsized:
            raise ValueError(
                f'a setback is measured to the canopy, but block {", ".join(unsized)} has no spread; name its plants or write spread = "15 ft"'
            )
        unsized = [b.name for b in self.block if self.height_limit and not _known(p.height_m for p in b.to_plants())]
        if unsized:
            raise ValueError(
                f'there is a height limit, but block {", ".join(unsized)} has no height; name its plants or write height = "15 ft"'
            )
        return self


def _known(values: Any) -> bool:
    sizes = list(values)
    return bool(sizes) and all(size == size for size in sizes)


def parse_plan(mapping: Mapping[str, Any], where: str) -> Plan:
    """Read the mapping of a plan file as a plan.

    Parameters
    ----------
    mapping : Mapping
        What the TOML file holds.
    where : str
        The file's name, for the messages.

    Returns
    -------
    Plan
        All quantities in SI.

    Raises
    ------
    PlanFaults
        Every fault of the mapping, each with key, value, rule and remedy.

    Examples
    --------
    >>> block = {"name": "A", "pattern": "offset", "step": "16 ft"}
    >>> plan = parse_plan({"site": {"boundary": "b.gpkg"}, "block": [block]}, "plan.toml")
    >>> round(plan.block[0].to_pattern().row_distance_m / 0.3048, 3)
    13.856
    """
    try:
        return Plan.model_validate(mapping)
    except ValidationError as error:
        raise PlanFaults(tuple(_fault(item, where) for item in error.errors())) from None


def _fault(item: Any, where: str) -> Fault:
    """Turn one validation error into what, where and remedy."""
    location: tuple[str | int, ...] = tuple(item["loc"])
    kind, value = item["type"], item["input"]
    key = spell(location)
    place = f"{where}: {key}" if key else where
    if kind == "extra_forbidden":
        known = _known_keys(location[:-1])
        near = difflib.get_close_matches(str(location[-1]), known, 1, 0.6)
        remedy = f'did you mean "{near[0]}"?' if near else f"known keys here: {', '.join(known)}"
        return Fault("unknown key", place, remedy)
    if kind == "missing":
        return Fault("this key is missing", place, "add it")
    if kind in ("too_short", "string_too_short"):
        return Fault("is empty", place, "add at least one [[block]]" if key == "block" else "give it a value")
    if kind == "literal_error":
        allowed = [part.strip().strip("'") for part in str(item["ctx"]["expected"]).replace(" or ", ", ").split(",")]
        near = difflib.get_close_matches(str(value), allowed, 1, 0.5)
        hint = f'; did you mean "{near[0]}"?' if near else ""
        return Fault(f'"{value}" is not known', place, f"write one of {', '.join(allowed)}{hint}")
    message = str(item["msg"]).removeprefix("Value error, ")
    if kind == "value_error":
        what, _, remedy = message.partition("; ")
        return Fault(what, place, remedy)
    return Fault(f"{value!r}: {message}", place)


def spell(location: Sequence[str | int]) -> str:
    """Write the place of a key as the plan file's reader would.

    Parameters
    ----------
    location : Sequence of str or int
        Names of tables and keys, and positions in lists from 0.

    Returns
    -------
    str
        The path; list positions count from 1.

    Examples
    --------
    >>> spell(("setback", 0, "from"))
    'setback[1].from'
    """
    text = ""
    for part in location:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        elif part not in ("float", "literal['longest side','best']"):
            text += f".{part}" if text else part
    return text


def _known_keys(path: Sequence[str | int]) -> list[str]:
    """Return the keys that a table of the plan file may hold."""
    model: type[BaseModel] = Plan
    for part in path:
        if isinstance(part, int):
            continue
        field = next((f for n, f in model.model_fields.items() if (f.alias or n) == part), None)
        inner = _model_in(field.annotation) if field is not None else None
        if inner is None:
            return []
        model = inner
    return [field.alias or name for name, field in model.model_fields.items()]


def _model_in(annotation: Any) -> type[BaseModel] | None:
    """Return the section type inside an annotation such as ``tuple[BlockSection, ...]``."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for part in get_args(annotation):
        found = _model_in(part)
        if found is not None:
            return found
    return None
