"""The tables of the plan file about light: which days, which season, and what stands round the planting."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, field_validator

from setout.model.asked import ShadeSource
from setout.model.shade import LightPlan
from setout.planfile.quantities import Distance, Label, Reference, Section, Written

TALLEST_M = 300.0
"""What shades a planting is no taller or wider [m]: beyond it the unit is wrong."""
MONTHS = ("january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november", "december")


def _day(value: object) -> date:
    """Read a day: a date, or a text "06-21" or "2026-06-21"; without a year it is one of 2026."""
    said = 'write a day as "06-21" (month and day) or "2026-06-21"'
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    if not isinstance(value, str):
        raise ValueError(f"{value!r} is not a day; {said}")
    text = value.strip()
    try:
        return date.fromisoformat(text if text.count("-") > 1 else f"2026-{text}")
    except ValueError:
        raise ValueError(f'"{value}" is not a day; {said}') from None


def _month(value: object) -> int:
    """Read a month: its name, three letters of it, or its number."""
    said = 'write a month as "April" or "Apr"'
    if isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= 12:
        return value
    text = value.strip().lower() if isinstance(value, str) else ""
    for number, name in enumerate(MONTHS, 1):
        if len(text) >= 3 and name.startswith(text):
            return number
    raise ValueError(f"{value!r} is not a month; {said}")


Month = Annotated[int, BeforeValidator(_month)]


class LightSection(Section):
    """What direct sun is reckoned for, on every tree whose spread and height are known."""

    compute: Literal["auto", "always", "never"] = "auto"
    """`auto`: up to 100,000 trees; `always`; `never`."""
    days: Annotated[tuple[Annotated[date, BeforeValidator(_day)], ...], Written("days")] = ()
    """Days to reckon, as `["06-21", "09-22"]`. Absent: the 21st of each month of the season."""
    season: Annotated[tuple[Month, Month], Written("two months", "months")] | None = None
    """First and last month, as `["April", "October"]`. Absent: April to October; south of the equator October to April."""
    year: Annotated[int, Written("count", "year")] | None = Field(None, ge=1, le=200)
    """Year after planting whose size the plants have. Absent: full size."""

    @field_validator("days", mode="before")
    @classmethod
    def _list(cls, value: object) -> object:
        days = tuple(value) if isinstance(value, (list, tuple)) else (value,)
        if len(days) > 366:
            raise ValueError(f"{len(days)} days are more than a year has; name some of them")
        return days

    @field_validator("season", mode="before")
    @classmethod
    def _two(cls, value: Any) -> Any:
        if value is None or (isinstance(value, (list, tuple)) and len(value) == 2):
            return value if value is None else tuple(value)
        raise ValueError(f'{value!r} is not a first and a last month; write season = ["April", "October"]')

    def value(self) -> LightPlan:
        """Return what the section says."""
        return LightPlan(self.compute, self.days, self.season, self.year)


class ShadeSection(Section):
    """What stands in the way of light beside the planting and the land: a table for each layer of buildings, fences or existing trees."""

    from_: Reference = Field(alias="from")
    """Outlines of buildings, lines of fences and hedges, points of trees."""
    height: Distance | None = None
    """Height of those without a column `height_ft` or `height_m`. Absent: from the column."""
    spread: Distance | None = None
    """Canopy diameter of points without a column `spread_ft` or `spread_m`. Absent: from the column."""
    why: Label = ""
    """What it is. Absent: the reference."""

    def value(self) -> ShadeSource:
        """Return what the section says."""
        return ShadeSource(self.from_, self.height, self.spread)

    @field_validator("height", "spread")
    @classmethod
    def _as_things_are(cls, value: float | None) -> float | None:
        if value is not None and value > TALLEST_M:
            raise ValueError(f"{value:g} m is out of bounds: nothing beside a planting is more than {TALLEST_M:g} m; look at its unit")
        return value
