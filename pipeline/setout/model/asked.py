"""What the plan file asks of the survey: which features mean what. Features are named by the reference to their layer."""

from __future__ import annotations

from dataclasses import dataclass

from setout.model.site import HeightLimit, NoPlant, Setback
from setout.model.system import Block


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Features that no other table is about: reason (empty for none), source."""

    why: str
    source: str


@dataclass(frozen=True, slots=True)
class ShadeSource:
    """Features that throw shade: source, and height and spread of those that do not say theirs [m]; None for none."""

    source: str
    height_m: float | None = None
    spread_m: float | None = None


@dataclass(frozen=True, slots=True)
class WaterAsked:
    """Where water comes from, what no pipe crosses, and the limits.

    Attributes
    ----------
    points, barriers, sleeves : references
    pressure_kpa, flow_lph : of points that do not say theirs; None for unknown
    max_run_m, min_pressure_kpa : limits; None for none
    plant_beyond : ground that no point serves is planted too
    """

    points: tuple[str, ...]
    barriers: tuple[str, ...] = ()
    sleeves: tuple[str, ...] = ()
    pressure_kpa: float | None = None
    flow_lph: float | None = None
    max_run_m: float | None = None
    min_pressure_kpa: float | None = None
    plant_beyond: bool = False


@dataclass(frozen=True, slots=True)
class BlockAsked:
    """A block without its shapes, and the references of area, guide line, points and yard; None for none."""

    block: Block
    area: str | None = None
    line: str | None = None
    points: str | None = None
    yard: str | None = None


@dataclass(frozen=True, slots=True)
class Asked:
    """The property as the plan file has it; setbacks, areas and limits have no geometry yet.

    Attributes
    ----------
    name, units : name of the plan, "us" or "si"
    elevation_m : height of the site where no DEM says it [m]; None for unknown
    geoid_m : height of the geoid above the ellipsoid [m]
    shade : what throws shade, in the order of the plan file
    """

    name: str
    units: str
    blocks: tuple[BlockAsked, ...]
    elevation_m: float | None = None
    geoid_m: float = 0.0
    setbacks: tuple[Setback, ...] = ()
    no_plant: tuple[NoPlant, ...] = ()
    height_limits: tuple[HeightLimit, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    water: WaterAsked | None = None
    shade: tuple[ShadeSource, ...] = ()
