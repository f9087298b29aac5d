"""The whole plan file as a model."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal, Self

from pydantic import Field, field_validator, model_validator

from setout.plan.block import BlockSection
from setout.plan.quantities import Section
from setout.plan.sections import (
    GroundSection,
    HeightLimitSection,
    NoPlantSection,
    SetbackSection,
    SiteSection,
    WaterSection,
)


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
    plant: tuple[dict[str, Any], ...] = ()
    catalogue: str | None = None

    @field_validator("setback", "no_plant", "height_limit", "block", "plant", mode="before")
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
        # a screen and single trees stand where they are drawn: they take no ground of their own
        if sum(block.area is None and block.pattern not in ("screen", "points") for block in self.block) > 1:
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
