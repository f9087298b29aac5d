"""Light and cold air: direct sun by tree and day, shade of screens, what a direction does, hollows of the ground."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from numpy.typing import NDArray

from setout.model.base import Finding, Floats, Ints

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry


FULL_SUN_H: Final = 6.0
"""Direct sun a day below which fruit trees fall short (common practice: six to eight hours)."""

WALL_SUN_H: Final = FULL_SUN_H / 2
"""The same of a wall, whose hours count by how squarely the sun meets its sides: to light from all round, half of them."""


Part = Literal["tree", "hedge", "partner", "side"]


@dataclass(frozen=True, slots=True)
class SunDays:
    """Days of the growing season that light is reckoned for, at the site's middle.

    Attributes
    ----------
    date : dates, "2026-06-21"
    month : their months, 1 to 12
    am_h, pm_h : hours with the sun's middle above a level horizon, before and after solar noon [h]
    """

    date: tuple[str, ...]
    month: Ints
    am_h: Floats
    pm_h: Floats


@dataclass(frozen=True, slots=True)
class ScreenShade:
    """Shade that a screen gives its yard at full size, by month.

    Attributes
    ----------
    block : index of the screen's block in the site
    height_m, step_m : mature height and distance in the line [m]
    yard_m2 : area of the yard [m2]
    month : months, 1 to 12
    am_h, pm_h : hours in which a place of the yard is in the screen's shade, mean over the yard [h]
    sun_am_h, sun_pm_h : hours of sun that it would have without the screen [h]
    """

    block: int
    height_m: float
    step_m: float
    yard_m2: float
    month: Ints
    am_h: Floats
    pm_h: Floats
    sun_am_h: Floats
    sun_pm_h: Floats


@dataclass(frozen=True, slots=True)
class SideLight:
    """Direct sun of one partner of a pair, one side of a hedge, a hedge or the middle tree of a block; mean of the days [h].

    Attributes
    ----------
    part : what has the light
    am_h, pm_h : before and after solar noon [h]
    bearing_deg : on which side of the other partner or of the hedge it is [deg]; NaN for a tree and a whole hedge
    """

    part: Part
    am_h: float
    pm_h: float
    bearing_deg: float = float("nan")


@dataclass(frozen=True, slots=True)
class DirectionLight:
    """What one direction gives to a block; reckoned at its middle, on level ground, with the block all round.

    Attributes
    ----------
    block : index of the block in the site
    kind : what is turned: "rows" of single trees, the axis of "pairs", or "hedges" with two sides
    bearing_deg : of the rows, or from one partner of the pair to the other [deg]
    planned : whether this is how the plan has it
    sides : light of the tree, the partners or the sides
    hedge_h : hours of a hedge's wall by how squarely the sun meets its sides, as every plant of it has them [h]; else NaN
    """

    block: int
    kind: Literal["rows", "pairs", "hedges"]
    bearing_deg: float
    planned: bool
    sides: tuple[SideLight, ...]
    hedge_h: float = float("nan")


@dataclass(frozen=True, slots=True)
class Light:
    """Direct sun on every tree's canopy, shaded by canopies, buildings, screens and the terrain.

    Attributes
    ----------
    days : the days that were reckoned
    sun_h, sun_am_h, sun_pm_h : (n,) direct sun a day, mean of the days: whole, before and after solar noon [h]; NaN for
        trees whose size is unknown
    open_h : (n,) the same where nothing but the terrain is in the way [h]
    day_am_h, day_pm_h : (days, n) direct sun of every day [h]
    year : year after planting whose size the plants have; None for full size
    shades : what screens do for their yards
    directions : what north-south does against east-west, by block
    findings : what falls short or should be known
    wall : (n,) trees that grow into one wall with their row: their hours count by how squarely the sun meets its two sides
    """

    days: SunDays
    sun_h: Floats
    sun_am_h: Floats
    sun_pm_h: Floats
    open_h: Floats
    day_am_h: NDArray[np.float32]
    day_pm_h: NDArray[np.float32]
    year: int | None = None
    shades: tuple[ScreenShade, ...] = ()
    directions: tuple[DirectionLight, ...] = ()
    findings: tuple[Finding, ...] = ()
    wall: NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, bool))

    @property
    def least_h(self) -> Floats:
        """Return the direct sun below which each tree falls short [h]."""
        wall = self.wall if len(self.wall) else np.zeros(len(self.sun_h), bool)
        return np.where(wall, WALL_SUN_H, FULL_SUN_H)

    @property
    def unknown(self) -> NDArray[np.bool_]:
        """Return which trees have no figure, for their spread or height is not known."""
        return np.isnan(self.sun_h)


@dataclass(frozen=True, slots=True)
class Hollow:
    """Ground where cold air stands: it has to rise to flow out.

    Attributes
    ----------
    area : the hollow in the frame
    depth_m : deepest below the level at which it spills [m]
    upslope_m2 : ground that drains into or through it [m2]
    spill : place where it flows over, in the frame
    """

    area: BaseGeometry
    depth_m: float
    upslope_m2: float
    spill: BaseGeometry


@dataclass(frozen=True, slots=True)
class ColdAir:
    """Where cold air gathers and which way it leaves.

    Attributes
    ----------
    hollows : from the deepest to the shallowest
    paths : lines along which air from much ground flows, downhill, in the frame
    upslope_m2 : ground that drains through each path's end [m2]
    cell_m : side of the grid's cells that this was found on [m]
    """

    hollows: tuple[Hollow, ...]
    paths: tuple[BaseGeometry, ...]
    upslope_m2: Floats = field(default_factory=lambda: np.empty(0))
    cell_m: float = float("nan")
    findings: tuple[Finding, ...] = ()
