"""What the plan file asks of light, and what throws shade beside the planting itself."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

import numpy as np

from setout.nouns.base import Finding, Floats, Geometries

AUTO_TREES = 150_000
"""Up to so many trees light is reckoned without being asked for."""


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
