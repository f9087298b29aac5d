"""The tables of a block that say how it is planted: trellis, beds, pairs, contour rows, plants."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import Annotated, Any, Self

from pydantic import BeforeValidator, Field, PrivateAttr, ValidationInfo, field_validator, model_validator
from pydantic.functional_validators import ModelWrapValidatorHandler

from setout import units
from setout.model import Bed, Pair, Plant, Trellis
from setout.planfile.quantities import Count, Distance, Label, Length, Section, Size, Slope, Written
from setout.tables import catalogue

FOOT = units.FOOT


def _bearing(value: object) -> float:
    if not isinstance(value, str):
        raise ValueError(f'{value!r} is not an axis; write "north-south", "east-west" or a bearing such as "N 20 E"')
    return units.bearing(value)


class AlleySection(Section):
    """A wider gap after every so many rows."""

    every: Count
    """After this many rows."""
    width: Distance
    """Its width, instead of the row distance."""


class TrellisSection(Section):
    """Posts, wires and anchors of a trellis row. Defaults are common practice, from memory."""

    post: Distance = 24 * FOOT
    """Longest distance from post to post. Absent: 24 ft."""
    end: Distance = 4 * FOOT
    """From an end post to the first vine. Absent: 4 ft."""
    anchor: Length = 6 * FOOT
    """Room for the anchor beyond an end post. Absent: 6 ft."""
    wires: int = Field(3, ge=1, le=20)
    """Wires, one above the other."""

    def value(self) -> Trellis:
        """Return the trellis [m]."""
        return Trellis(self.post, self.end, self.anchor, self.wires)


class BedSection(Section):
    """A raised bed. The depth of mulch is common practice, from memory."""

    length: Distance
    """Length of a raised bed, along the row."""
    width: Distance
    """Its width."""
    gap: Length = 3 * FOOT
    """Gap to the next bed in the row. Absent: 3 ft."""
    mulch: Length = 0.25 * FOOT
    """Depth of mulch on it. Absent: 3 in."""

    def value(self) -> Bed:
        """Return the bed [m]."""
        return Bed(self.length, self.width, self.gap, self.mulch)


class PairSection(Section):
    """Two partners at every position."""

    distance: Distance
    """How far partners stand apart."""
    axis: Annotated[float, BeforeValidator(_bearing), Written("axis", "direction")] = float("nan")
    """Bearing from one to the other; the first plant stands on the north. Absent: `north-south` or `east-west`, whichever gives the darker
    partner more light."""

    def value(self) -> Pair:
        """Return the pair [m], [deg]; an axis that is not given is NaN until the light has chosen it."""
        return Pair(self.distance, self.axis)


class FallSection(Section):
    """How much contour rows may fall along their length. The greatest fall is common practice, from memory."""

    least: Annotated[float, BeforeValidator(lambda v: units.sensible(v, "slope")), Written("slope")] = Field(0.0, ge=0)
    """Least fall along contour rows, so that water does not stand."""
    most: Slope = 0.02
    """Greatest fall along them, so that it does not run; held over any 30 m (100 ft), and of a shorter row from end to end. Absent: 2 %."""

    @model_validator(mode="after")
    def _a_range(self) -> Self:
        if self.least > self.most:
            raise ValueError("fall.least is more than fall.most; give a range from the least to the greatest fall")
        return self


class PollinizerSection(Section):
    """Each so-many-th tree of each so-many-th row is the block's second plant."""

    every_tree: Count
    """It takes each so-many-th tree."""
    every_row: Count = 1
    """Of each so-many-th row."""


class GrowthSection(Section):
    """How wide a plant has been seen so many years after planting."""

    year: Annotated[float, Written("number", "year")] = Field(gt=0, le=200)
    """Years after planting."""
    spread: Size
    """How wide it has been seen then, left alone; its height grows alike."""

    @field_validator("year", mode="before")
    @classmethod
    def _number(cls, value: object) -> object:
        return float(value) if isinstance(value, int) and not isinstance(value, bool) else value


class PlantSection(Section):
    """One plant of a block."""

    plant: str
    """`species, size class` of the catalogue: `apple, semi-dwarf`."""
    variety: Label = ""
    """Its variety."""
    role: Label = ""
    """Such as `pollinizer`, or `filler`: takes every second position and comes out again."""
    share: Annotated[float, Written("parts", "number")] = Field(1.0, gt=0, le=1e6)
    """Its share of the block: parts against the others' parts (8 and 1), or `80 %`; percentages add up to 100, shares that are all below 1
    to 1."""
    count: int | None = Field(None, ge=1, le=10**9)
    """Or exactly so many. Absent: by share."""
    remove_year: Annotated[int, Written("count", "year")] = Field(0, ge=0, le=9999)
    """Year in which a filler comes out, of the planting (12) or of the calendar (2041). Absent: not said."""
    growth: tuple[GrowthSection, ...] = ()
    """Sizes seen by year, in order: `growth = [{ year = 3, spread = "5 ft" }, ...]`. Absent: a curve with 95 % of full size in the
    catalogue's year of full size."""
    _entry: Any = PrivateAttr(None)
    _percent: bool = PrivateAttr(default=False)

    @model_validator(mode="wrap")
    @classmethod
    def _in_percent(cls, given: Any, read: ModelWrapValidatorHandler[Self]) -> Self:
        made = read(given)
        made._percent = isinstance(given, Mapping) and isinstance(given.get("share"), str)  # noqa: SLF001 - its own
        return made

    @field_validator("growth", mode="before")
    @classmethod
    def _pairs(cls, value: object) -> object:
        return tuple(value) if isinstance(value, list) else value

    @field_validator("growth")
    @classmethod
    def _grows(cls, pairs: tuple[GrowthSection, ...]) -> tuple[GrowthSection, ...]:
        for before, after in pairwise(pairs):
            if after.year <= before.year:
                raise ValueError(f"year {after.year:g} stands after year {before.year:g}; write the years in order")
            if after.spread < before.spread:
                raise ValueError(
                    f"the spread shrinks from year {before.year:g} to {after.year:g}; a free-grown plant does not, so mend it, "
                    "or write held_to for what pruning keeps"
                )
        return pairs

    @property
    def in_percent(self) -> bool:
        """Return whether its share is given as a percentage."""
        return self._percent

    @field_validator("share", mode="before")
    @classmethod
    def _number(cls, value: object) -> object:
        if isinstance(value, str):
            if not value.rstrip().endswith("%"):
                raise ValueError(f'"{value}" is no share; write a number of parts such as 8, or "80 %"')
            return 100 * units.quantity(value, "slope")
        return float(value) if isinstance(value, int) and not isinstance(value, bool) else value

    @field_validator("plant")
    @classmethod
    def _in_catalogue(cls, value: str, info: ValidationInfo) -> str:
        _find(value, info.context)
        return value

    def model_post_init(self, context: Any, /) -> None:
        """Keep the catalogue entry that the name stands for."""
        self._entry = _find(self.plant, context)

    @property
    def entry(self) -> catalogue.CatalogueEntry:
        """Return the catalogue entry that the name stands for."""
        found: catalogue.CatalogueEntry = self._entry
        return found

    def value(self, spread: float | None, height: float | None, held_to: float | None) -> Plant:
        """Return the plant with the sizes that the block gives, else the catalogue's [m]."""
        entry = self.entry
        wide = entry.spread_m if spread is None else spread
        tall = entry.height_m if height is None else height
        return Plant(
            entry.name,
            self.variety,
            self.role,
            self.share if self.count is None else float(self.count),
            held(wide, held_to),
            held(tall, held_to),
            wide,
            tall,
            entry.species,
            count=self.count is not None,
            remove_year=self.remove_year,
            growth=tuple((pair.year, pair.spread) for pair in self.growth),
            **facts_of(entry, self.role),
        )


def held(size: float, held_to: float | None) -> float:
    """Return a mature size as it is kept [m]: no more than what it is held to.

    >>> held(4.5, 2.4), held(2.0, 2.4), held(float("nan"), 2.4)
    (2.4, 2.0, 2.4)
    """
    if held_to is None:
        return size
    return min(size, held_to) if size == size else held_to


def facts_of(entry: catalogue.CatalogueEntry, role: str = "") -> dict[str, Any]:
    """Return what a plant takes from its catalogue entry beside its size."""
    names = ("bloom", "pollination", "pollination_m", "agent", "years_to_full_size", "habit", "juglone", "kc_mid")
    facts = {name: getattr(entry, name) for name in names}
    if entry.pollination == "dioecious":
        facts["pollination"] = "male" if role in ("male", "pollinizer") else "female"
    return facts


def _find(name: str, context: Any) -> catalogue.CatalogueEntry:
    own = (context or {}).get("own") or {}
    return catalogue.find(name, own)
