"""The property: what was surveyed, what is kept clear, where water is, and what the terrain allows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from setout.model.base import Elevations, Finding, Floats, Frame, Geometries, Ints, VectorLayer
from setout.model.need import Weather
from setout.model.system import Block

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry


@dataclass(frozen=True, slots=True)
class Survey:
    """Everything the plan file names, as it was read.

    Attributes
    ----------
    boundary : the property line, polygons
    layers : features by the reference that the plan file uses for them
    elevations : the DEM, or None
    unused : layers of the same files, and features of the same layers, that the plan file does not use
    findings : doubts that the readers had
    weather : the climate file, or None
    """

    boundary: VectorLayer
    layers: Mapping[str, VectorLayer]
    elevations: Elevations | None
    unused: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    weather: Weather | None = None


@dataclass(frozen=True, slots=True)
class Setback:
    """Ground kept clear of some features.

    Attributes
    ----------
    why : the reason as the plan file words it
    source : where the features come from; "boundary" for the property line
    distance_m : clear distance [m]
    measured_to : "trunk", or "canopy" (distance plus half the mature spread)
    geometry : the features themselves, in the frame (for the boundary, its lines); none before the survey is at hand
    """

    why: str
    source: str
    distance_m: float
    measured_to: Literal["trunk", "canopy"]
    geometry: Geometries = field(default_factory=lambda: np.empty(0, object))


@dataclass(frozen=True, slots=True)
class NoPlant:
    """An area where nothing is planted: reason, source, polygons in the frame."""

    why: str
    source: str
    geometry: Geometries = field(default_factory=lambda: np.empty(0, object))


@dataclass(frozen=True, slots=True)
class HeightLimit:
    """Ground within ``within_m`` of some features where mature height is capped at ``height_m``."""

    why: str
    source: str
    within_m: float
    height_m: float
    geometry: Geometries = field(default_factory=lambda: np.empty(0, object))


@dataclass(frozen=True, slots=True)
class WaterPoints:
    """Sources of water under pressure, as arrays.

    Attributes
    ----------
    name : names, unique
    x, y : frame [m]
    z : elevation [m]; NaN unknown
    pressure_kpa, flow_lph : static pressure and flow there; NaN unknown
    """

    name: tuple[str, ...]
    x: Floats
    y: Floats
    z: Floats
    pressure_kpa: Floats
    flow_lph: Floats


@dataclass(frozen=True, slots=True)
class Water:
    """The water side of a site: points, what a pipe may not cross, and the limits of the plan file.

    Attributes
    ----------
    points : sources under pressure
    barriers : what no pipe crosses, as the plan file names it
    max_run_m, min_pressure_kpa : limits of the plan file; None for none
    source : where the points come from
    sleeves : where a pipe may cross all the same
    plant_beyond : ground that no point serves is planted too
    closed : areas that nobody lays a pipe through: features with a setback, and no-plant ground
    land : the property, whose line and holes no pipe crosses; None for no such line
    """

    points: WaterPoints
    barriers: Geometries
    max_run_m: float | None
    min_pressure_kpa: float | None
    source: str
    sleeves: Geometries = field(default_factory=lambda: np.empty(0, object))
    plant_beyond: bool = False
    closed: Geometries = field(default_factory=lambda: np.empty(0, object))
    land: BaseGeometry | None = None


@dataclass(frozen=True, slots=True)
class Reach:
    """Ground that the water points can serve, and the corners that a pipe bends round on its way.

    Attributes
    ----------
    x, y : corners [m in the frame]; the water points themselves first, then the ends and bends of barriers
    run : length of pipe from the water point to the corner [m]
    point : index of that water point
    max_run_m : longest pipe [m]; inf for no limit
    barriers : what no pipe crosses, drawn a few millimetres wide; None where there is nothing
    ceiling_m : per water point, the highest elevation that still has the least pressure [m]; inf where unknown
    areas : per water point the ground in its run, as polygons in the frame; empty where no length and no barrier limits it
    discs : nothing is in the way of any run: the ground in reach is round
    """

    x: Floats
    y: Floats
    run: Floats
    point: Ints
    max_run_m: float
    barriers: BaseGeometry | None
    ceiling_m: Floats
    areas: Geometries
    findings: tuple[Finding, ...] = ()
    discs: bool = True

    @property
    def is_limited(self) -> bool:
        """Whether there is ground that no water point serves by the run to it."""
        return bool(np.isfinite(self.max_run_m)) or not self.discs


@dataclass(frozen=True, slots=True)
class Served:
    """What water reaches each of some positions: water point (-1 for none), pipe run [m], static pressure [kPa]."""

    point: Ints
    run_m: Floats
    pressure_kpa: Floats


@dataclass(frozen=True, slots=True)
class Site:
    """The property: everything surveyed, in one working frame."""

    name: str
    units: str
    frame: Frame
    boundary: BaseGeometry
    setbacks: tuple[Setback, ...] = ()
    no_plant: tuple[NoPlant, ...] = ()
    height_limits: tuple[HeightLimit, ...] = ()
    water: Water | None = None
    blocks: tuple[Block, ...] = ()
    monuments: Floats = field(default_factory=lambda: np.empty((0, 2)))
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class Ground:
    """What the terrain allows, one bit a DEM cell over the site's window.

    Attributes
    ----------
    elevations : the DEM, read a window at a time; None when the plan names none
    frame : the site's frame
    window : (row0, row1, col0, col1) of the site in the DEM's grid
    steep : packed bits, shape (rows, ceil(cols / 8)): slope over the limit
    blank : packed bits of the same shape: no elevation
    max_slope : the limit, rise over run; inf for none
    share_blank : share of the site's area without elevation, 0 to 1
    allow_blank : ground without elevation may be planted
    overview : mean heights of square groups of cells over the window [m], for contours and pictures; None without a DEM
    overview_step : cells along a group's side
    highest_m : highest cell of the site's window [m]; NaN without a DEM
    """

    elevations: Elevations | None
    frame: Frame
    window: tuple[int, int, int, int]
    steep: NDArray[np.uint8]
    blank: NDArray[np.uint8]
    max_slope: float
    share_blank: float = 0.0
    allow_blank: bool = False
    findings: tuple[Finding, ...] = ()
    overview: NDArray[np.float32] | None = None
    overview_step: int = 1
    highest_m: float = float("nan")
