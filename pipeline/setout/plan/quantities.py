"""How quantities and tables of the plan file are read: with their units, into SI, and never with unknown keys."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict

from setout import units

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


class Section(BaseModel):
    """A table of the plan file: unknown keys are faults, values never change after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True, strict=True)


def one_or_many(value: object) -> object:
    """Take one text where several may stand."""
    return (value,) if isinstance(value, str) else tuple(value) if isinstance(value, list) else value
