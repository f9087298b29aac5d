"""The whole plan file as a model."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal, Self

from pydantic import Field, PrivateAttr, field_validator, model_validator

from setout.model.asked import Asked
from setout.planfile.block import BlockSection
from setout.planfile.light import LightSection, ShadeSection
from setout.planfile.materials import MaterialsSection
from setout.planfile.prices import PricesSection
from setout.planfile.quantities import Label, Path, Section, Written
from setout.planfile.sections import (
    GroundSection,
    HeightLimitSection,
    LeftOutSection,
    NoPlantSection,
    SetbackSection,
    SiteSection,
    WaterSection,
)
from setout.planfile.sheets import SheetsSection
from setout.tables.labour import Rate


class Plan(Section):
    """A whole plan file."""

    name: Label = ""
    """Title of the plan. Absent: the name of the file."""
    units: Literal["us", "si"] = "us"
    """What people read: `us` or `si`; files hold SI."""
    site: SiteSection
    ground: GroundSection = GroundSection()
    setback: tuple[SetbackSection, ...] = ()
    no_plant: tuple[NoPlantSection, ...] = ()
    height_limit: tuple[HeightLimitSection, ...] = ()
    left_out: tuple[LeftOutSection, ...] = ()
    water: WaterSection | None = None
    shade: tuple[ShadeSection, ...] = ()
    light: LightSection = LightSection()
    block: tuple[BlockSection, ...] = Field(min_length=1)
    plant: Annotated[tuple[dict[str, Any], ...], Written("plants", "tables")] = ()
    """Your own plants, and figures of yours for those of the catalogue, see [Plants](GUIDE.md#plants). A "range" is one quantity, or
    a list of the smallest and the greatest."""
    catalogue: Path | None = None
    """CSV of your own plants, see [Plants](GUIDE.md#plants). Absent: none."""
    labour: Path | None = None
    """CSV of your own hours of pruning, in the columns of [the project's](../tables/labour.csv): hours a plant and year by habit and
    height, where nothing has to come off and where all would; in a straight line between. Absent: the project's, from memory."""
    materials: MaterialsSection = MaterialsSection()
    sheets: SheetsSection = SheetsSection()
    option: Annotated[tuple[dict[str, Any], ...], Written("options", "tables")] = ()
    """Other ways of planting a block, for `setout compare`; each names its `block` (where there are several), maybe a `name`, and the
    keys of the block that it changes: `step`, `row_distance`, `pattern`, `direction`, `held_to`, `plant` ... Absent: steps round the
    block's own."""
    prices: PricesSection = PricesSection()
    _rates: tuple[Rate, ...] = PrivateAttr(())

    def model_post_init(self, context: Any, /) -> None:
        """Keep the grower's own hours of pruning."""
        self._rates = tuple((context or {}).get("rates") or ())

    @property
    def rates(self) -> tuple[Rate, ...]:
        """Return the grower's own hours of pruning; none where the table of the project holds."""
        return self._rates

    def asked(self) -> Asked:
        """Return what the plan file asks of the survey."""
        return Asked(
            self.name or "Planting",
            self.units,
            tuple(section.value() for section in self.block),
            self.site.elevation,
            self.site.geoid_height,
            tuple(section.value() for section in self.setback),
            tuple(section.value() for section in self.no_plant),
            tuple(section.value() for section in self.height_limit),
            tuple(section.value() for section in self.left_out),
            self.water.asked() if self.water is not None else None,
            tuple(section.value() for section in self.shade),
        )

    @field_validator("setback", "no_plant", "height_limit", "left_out", "shade", "block", "plant", "option", mode="before")
    @classmethod
    def _tables(cls, value: object) -> object:
        if isinstance(value, Mapping):
            raise ValueError("is one table; write it with two brackets, [[...]], so that there can be several")
        return tuple(value) if isinstance(value, list) else value

    @field_validator("block")
    @classmethod
    def _blocks_apart(cls, blocks: tuple[BlockSection, ...]) -> tuple[BlockSection, ...]:
        faults, folded = [], [block.name.casefold() for block in blocks]
        twice = [block.name for block in blocks if folded.count(block.name.casefold()) > 1]
        if twice:
            said = ", ".join(f'"{name}"' for name in twice)
            faults.append(f"blocks are named {said}; give each a name that differs in more than letter case")
        # a screen and single trees stand where they are drawn: they take no ground of their own
        wide = [block.name for block in blocks if block.area is None and block.pattern not in ("screen", "points")]
        if len(wide) > 1:
            faults.append(
                f"blocks {', '.join(wide)} name no area; only one block may leave it out, for it takes all ground that no other takes"
            )
        if faults:
            raise ValueError("\n".join(faults))
        return blocks

    @model_validator(mode="after")
    def _sizes_known(self) -> Self:
        faults = []
        canopy = any(s.measured_to == "canopy" for s in self.setback)
        unsized = [b.name for b in self.block if canopy and not _known(p.spread_m for p in b.to_plants())]
        if unsized:
            faults.append(
                f"a setback is measured to the canopy, but block {', '.join(unsized)} has no spread; name its plants "
                f'or write spread = "15 ft"'
            )
        if faults:
            raise ValueError("\n".join(faults))
        return self


def _known(values: Any) -> bool:
    sizes = list(values)
    return bool(sizes) and all(size == size for size in sizes)
