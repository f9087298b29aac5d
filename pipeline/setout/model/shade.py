"""What the plan file asks of light, and what throws shade beside the planting itself."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

import numpy as np

from setout.model.base import Finding, Floats, Geometries

AUTO_TREES = 100_000
"""Up to so many trees light is reckoned without being asked for."""
YEAR = 2026
"""The sun's way on a day of the calendar differs by a quarter of a degree from year to year; this one stands for all."""
NORTH, SOUTH = (4, 10), (10, 4)
"""First and last month of the growing season where the plan does not say (common practice)."""


@dataclass(frozen=True, slots=True)
class LightPlan:
    """What the plan file says of light.

    Attributes
    ----------
    compute : "auto" (where sizes are known, up to :data:`AUTO_TREES` trees), "always" or "never"
    days : days to reckon; empty for one of each month of the season
    season : first and last month of the growing season, 1 to 12; None for the hemisphere's
    year : year after planting whose size the plants have; None for full size
    """

    compute: str = "auto"
    days: tuple[date, ...] = ()
    season: tuple[int, int] | None = None
    year: int | None = None

    def days_at(self, latitude: float) -> tuple[date, ...]:
        """Return the days that are named, or the 21st of each month of the growing season at a latitude [deg].

        >>> [day.month for day in LightPlan().days_at(40.0)], [day.month for day in LightPlan(season=(11, 2)).days_at(-30.0)]
        ([4, 5, 6, 7, 8, 9, 10], [11, 12, 1, 2])
        """
        if self.days:
            return self.days
        first, last = self.season or (NORTH if latitude >= 0 else SOUTH)
        return tuple(date(YEAR, (first + k - 1) % 12 + 1, 21) for k in range((last - first) % 12 + 1))


@dataclass(frozen=True, slots=True)
class Shade:
    """Buildings, fences and existing trees.

    Attributes
    ----------
    geometry : outlines, lines or points in the frame
    height_m : of each over the ground [m]
    spread_m : canopy diameter of each point [m]
    findings : features left out, and why
    """

    geometry: Geometries = field(default_factory=lambda: np.empty(0, object))
    height_m: Floats = field(default_factory=lambda: np.empty(0))
    spread_m: Floats = field(default_factory=lambda: np.empty(0))
    findings: tuple[Finding, ...] = ()
