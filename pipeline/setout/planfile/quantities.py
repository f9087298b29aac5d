"""How quantities and tables of the plan file are read: with their units, into SI, and never with unknown keys."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from setout import units
from setout.model.text import ODD

EQUILATERAL = 3**0.5 / 2
"""Row distance over step at which an offset set-out has all six neighbours equally far: half the root of three."""


@dataclass(frozen=True, slots=True)
class Written:
    """How a value is written where its type does not tell: as :mod:`setout.planfile.schema` knows it, and as people call it."""

    how: str
    said: str = ""

    @property
    def name(self) -> str:
        """Return what people call it."""
        return self.said or self.how


def _reader(kind: str, least: float, *, above: bool, most: tuple[float, str] | None = None) -> BeforeValidator:
    """Return a validator that reads a quantity of one kind and holds it to a least value, and to a greatest with its words."""

    def read(text: object) -> float:
        value = units.sensible(text, kind)
        if value < least or (above and value == least):
            raise ValueError(f'"{text}" must be {"more than" if above else "at least"} {least:g}; write {units.EXAMPLE[kind]}')
        if most is not None and value > most[0]:
            raise ValueError(f'"{text}" cannot be meant: {most[1]}; look at its number and its unit')
        return value

    return BeforeValidator(read)


Length = Annotated[float, _reader("length", 0.0, above=False), Written("length")]
Distance = Annotated[float, _reader("length", 0.0, above=True), Written("length")]
Size = Annotated[float, _reader("length", 0.0, above=True, most=(150.0, "no plant is larger than 150 m (490 ft)")), Written("length")]
Elevation = Annotated[
    float,
    _reader("length", -500.0, above=False, most=(9000.0, "no ground is higher than 9,000 m (29,500 ft)")),
    Written("height", "length"),
]
GeoidHeight = Annotated[
    float,
    _reader("length", -200.0, above=False, most=(200.0, "geoids lie within 200 m (660 ft) of the ellipsoid")),
    Written("height", "length"),
]
Count = Annotated[int, Field(ge=1, le=1_000_000)]
Area = Annotated[float, _reader("area", 0.0, above=False), Written("area")]
Slope = Annotated[float, _reader("slope", 0.0, above=True), Written("slope")]
Pressure = Annotated[float, _reader("pressure", 0.0, above=False), Written("pressure")]
Flow = Annotated[float, _reader("flow", 0.0, above=True), Written("flow")]
Velocity = Annotated[float, _reader("velocity", 0.0, above=True), Written("velocity")]


def _label(most: int) -> AfterValidator:
    """Return a validator of a name that goes onto labels, into ids and into files of other programs."""

    def read(text: str) -> str:
        name = text.strip(" ")
        odd = ODD.search(name)
        if odd is not None:
            raise ValueError(f"holds the control character U+{ord(odd[0]):04X}; write it with letters, digits and signs only")
        if len(name) > most:
            raise ValueError(f'"{name[:20]}..." has {len(name)} characters; keep it to {most}, for it goes onto labels')
        if text and not name:
            raise ValueError("is blank; give it a value")
        return name

    return AfterValidator(read)


Reference = Annotated[str, Written("reference")]
References = Annotated[tuple[str, ...], Written("references")]
Path = Annotated[str, Written("path")]
Name = Annotated[str, _label(40), Written("name", "text")]
LONGEST_LABEL = 200
"""Letters of the longest label."""
Label = Annotated[str, _label(LONGEST_LABEL)]


class Section(BaseModel):
    """A table of the plan file: unknown keys are faults, values never change after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True, strict=True, allow_inf_nan=False)


def one_or_many(value: object) -> object:
    """Take one text where several may stand."""
    return (value,) if isinstance(value, str) else tuple(value) if isinstance(value, list) else value
