"""Irrigation: emitters, pipes, the network that joins every tree to a water point, and the zones it runs in."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from setout.model.base import Bools, Finding, Floats, Ints
from setout.model.need import Need
from setout.model.planting import MaterialLine

SOURCE: Final = 0
MAIN: Final = 1
MANIFOLD: Final = 2
LATERAL: Final = 3
KIND_WORDS: Final = ("source", "main", "manifold", "lateral")
"""Kinds of pipe by number: the pipe that leads to a node from its parent; a source has none."""

WATERED: Final = "need_met"
TOO_FAR: Final = "too_far"
TOO_HIGH: Final = "too_high"
LOW_PRESSURE: Final = "low_pressure"
LOW_FLOW: Final = "low_flow"
HOURS_OUT: Final = "hours_out"
BARRIER: Final = "barrier"
NO_POINT: Final = "no_point"
VOLUME_OUT: Final = "volume_out"
NEED_UNKNOWN: Final = "need_unknown"
FLOW_UNKNOWN: Final = "flow_unknown"
REASONS: Final = (WATERED, TOO_FAR, TOO_HIGH, LOW_PRESSURE, LOW_FLOW, HOURS_OUT, BARRIER, NO_POINT, VOLUME_OUT, NEED_UNKNOWN, FLOW_UNKNOWN)
"""Why a tree is watered, or is not, by number: codes of :data:`setout.words.terms.TERMS`."""


@dataclass(frozen=True, slots=True)
class Emitter:
    """What lets the water out at a tree: q = flow x (pressure / at) ^ exponent.

    Attributes
    ----------
    flow_lph : flow of one emitter at the pressure ``at_kpa`` [l/h]
    at_kpa : that pressure [kPa]
    exponent : 0 for full pressure compensation, 0.5 for turbulent flow, 1 for laminar flow
    variation : coefficient of manufacturing variation, 0 to 1
    per_tree : emitters at every tree
    trees_per_emitter : trees that share one emitter; 1 for none
    compensating_kpa : least and greatest pressure of a pressure-compensating emitter's range [kPa]; None for others
    kind : drip, ring or spray
    wetted_radius_m : radius of the ground that one emitter wets [m]; NaN unknown
    """

    flow_lph: float
    at_kpa: float
    exponent: float = 0.5
    variation: float = 0.0
    per_tree: int = 1
    trees_per_emitter: int = 1
    compensating_kpa: tuple[float, float] | None = None
    kind: Literal["drip", "ring", "spray"] = "drip"
    wetted_radius_m: float = float("nan")


@dataclass(frozen=True, slots=True)
class Pipes:
    """Pipe that may be used: inside diameters of laterals, manifolds and mains [mm], ascending, and how rough they are.

    Attributes
    ----------
    lateral_mm, manifold_mm, main_mm : inside diameters to choose from [mm]
    friction : Hazen-Williams or Darcy-Weisbach
    lateral_c, manifold_c, main_c : Hazen-Williams coefficients
    roughness_mm : Darcy-Weisbach roughness [mm]
    minor_loss_share : loss in fittings as a share of the loss in the pipe
    """

    lateral_mm: tuple[float, ...]
    manifold_mm: tuple[float, ...]
    main_mm: tuple[float, ...]
    friction: Literal["hazen-williams", "darcy-weisbach"] = "hazen-williams"
    lateral_c: float = 140.0
    manifold_c: float = 150.0
    main_c: float = 150.0
    roughness_mm: float = 0.0015
    minor_loss_share: float = 0.1


@dataclass(frozen=True, slots=True)
class IrrigationPlan:
    """What the plan file asks of the irrigation.

    Attributes
    ----------
    emitter : the emitter; None where the plan file names none, and then nothing is reckoned of pressure and flow
    pipes : pipe to choose from
    efficiency : share of the water that the roots get
    hours_per_day : hours a day that a water point may run [h]
    days_per_week : days a week on which it may run
    spread_limit : greatest pressure difference in what one valve opens, as a share of the emitter's pressure
    velocity_m_s : greatest velocity in a pipe [m/s]
    daily_volume_l : what every water point gives in a day [l]; inf for no limit but its flow
    block_emitters : per block, emitters at every tree, or at every two that share; empty for those of the emitter
    assumed : settings that were not in the plan file, as "emitter.exponent 0.5": common practice, to be checked
    """

    emitter: Emitter | None
    pipes: Pipes
    efficiency: float = 0.9
    hours_per_day: float = 24.0
    days_per_week: int = 7
    spread_limit: float = 0.2
    velocity_m_s: float = 1.524
    daily_volume_l: float = float("inf")
    block_emitters: tuple[int, ...] = ()
    assumed: tuple[str, ...] = ()

    def emitters_in(self, block: int) -> int:
        """Return how many emitters stand at every tree of a block, or at every two that share."""
        if self.block_emitters:
            return self.block_emitters[block]
        return 1 if self.emitter is None or self.emitter.trees_per_emitter > 1 else self.emitter.per_tree

    def given_lpd(self, flow_lph: Floats) -> Floats:
        """Return what sources of some flow give on an average day, in the hours and the volume allowed [l]; NaN unknown."""
        return np.minimum(flow_lph * self.hours_per_day, self.daily_volume_l) * self.days_per_week / 7


@dataclass(frozen=True, slots=True)
class Network:
    """All pipes as one forest; every array has one entry a node, a parent stands before its children.

    The pipe to a node comes from its parent. Every section (what one valve opens) is a tree of its own whose root is
    the water point: zones run one after the other, so that the main is there again for each section that it feeds.

    Attributes
    ----------
    x, y, z : frame [m], elevation [m]; NaN elevation where there is no DEM at all
    parent : index of the node that the pipe comes from; -1 for a root (a water point)
    length_m : true length of that pipe, on the slope [m]; 0 for a root
    inside_mm : its inside diameter [mm]; NaN for a root
    kind : SOURCE, MAIN, MANIFOLD or LATERAL
    section : index of the section; sections are numbered from 0
    zone : index into the zones
    block, row : index of the block and number of the row that a lateral runs along; -1 elsewhere
    lateral : number of the lateral from 0, each one way from its manifold; -1 elsewhere
    tree : index of the (first) tree that the node's emitters water; -1 for none
    emitters : emitters at the node; 0 for none
    is_valve : node at which the section's valve stands: the last node of its main
    pressure_kpa : pressure there [kPa]; NaN unknown
    flow_lph : flow in the pipe to it [l/h]; of a root the flow that leaves it; NaN unknown
    out_lph : flow of its emitters [l/h]
    valve_kpa : per section, what the pressure regulator at the valve is set to [kPa]; NaN for none
    z_assumed : nodes whose own elevation is unknown: ``z`` has that of the nearest node that has one
    """

    x: Floats
    y: Floats
    z: Floats
    parent: Ints
    length_m: Floats
    inside_mm: Floats
    kind: NDArray[np.int8]
    section: Ints
    zone: Ints
    block: Ints
    row: Ints
    lateral: Ints
    tree: Ints
    emitters: Floats
    is_valve: Bools
    pressure_kpa: Floats
    flow_lph: Floats
    out_lph: Floats
    valve_kpa: Floats = field(default_factory=lambda: np.empty(0))
    z_assumed: Bools = field(default_factory=lambda: np.empty(0, bool))

    def __len__(self) -> int:
        """Return the number of nodes."""
        return int(self.x.size)


@dataclass(frozen=True, slots=True)
class Zone:
    """Rows watered at once.

    Attributes
    ----------
    name : "z1", "z2" ...; unique over the whole plan
    water_point : index of the water point that feeds it
    valves : valves that open it, named after the zone: "z1", or "z1a", "z1b" ... where it has several
    blocks : names of the blocks it waters
    rows, trees : how many it waters
    flow_lph : what it draws [l/h]
    valve_kpa : pressure that has to be at its valves [kPa], the greatest of several; set the regulators to it
    least_kpa, most_kpa : lowest and highest pressure at its emitters [kPa]
    uniformity : emission uniformity, 0 to 1; NaN unknown
    uniformity_class : its class in words; empty unknown
    hours : hours on every day that it runs, at the peak [h]
    days_per_week : days a week on which it runs
    hours_needed : hours that would meet the need of all its trees [h]; more than ``hours`` where hours run out
    hours_by_month : the same for January to December [h]; empty where need by month is unknown
    hours_by_year : year after planting and hours at that year's peak; empty where unknown
    start : hours after the beginning of watering when it starts at the peak [h]; zones of one water point whose times
        overlap run at once; NaN for a zone that gets no hours
    """

    name: str
    water_point: int
    valves: tuple[str, ...]
    blocks: tuple[str, ...]
    rows: int
    trees: int
    flow_lph: float
    valve_kpa: float
    least_kpa: float
    most_kpa: float
    uniformity: float
    uniformity_class: str
    hours: float
    days_per_week: int
    hours_needed: float
    hours_by_month: tuple[float, ...] = ()
    hours_by_year: tuple[tuple[int, float], ...] = ()
    start: float = float("nan")


@dataclass(frozen=True, slots=True)
class Source:
    """A water point's account: what its zones draw against what it gives.

    Attributes
    ----------
    water_point : its index
    given_lph, given_kpa : what it gives [l/h], [kPa]; NaN unknown
    drawn_lph : greatest flow of one of its zones [l/h]
    hours : hours on the day when it runs longest, at the peak [h]
    need_lpd : need of all its trees at the peak [l/day]; NaN unknown
    given_lpd : what it gives on an average day in the hours allowed [l/day]; NaN unknown
    spare_lpd : the difference [l/day]; below 0 where it falls short; NaN unknown
    """

    water_point: int
    given_lph: float
    given_kpa: float
    drawn_lph: float
    hours: float
    need_lpd: float
    given_lpd: float
    spare_lpd: float


@dataclass(frozen=True, slots=True)
class Irrigation:
    """Water for every tree: the network, its zones, and what each tree gets; one entry a tree in the arrays.

    Attributes
    ----------
    settings : what the plan file asked
    network : pipes; None where nothing could be laid out
    zones : rows watered at once, in the order in which a controller runs them
    sources : accounts of the water points
    zone : index into ``zones``; -1 for none
    node : node of the network that waters the tree; -1 for none
    pipe_m : length of pipe from the water point to the tree [m]; NaN none
    pressure_kpa : pressure at its emitters [kPa]; NaN unknown
    flow_lph : flow that its emitters give it [l/h]; NaN unknown
    need_lpd : water that it needs at the peak, losses and all [l/day]; NaN unknown
    watered : its need is met within the hours allowed
    known : whether ``watered`` says anything: False where need, pressure or flow cannot be known
    reason : index into REASONS
    materials : pipe, emitters, valves and fittings to buy
    findings : what falls short
    need : what the need was reckoned from
    """

    settings: IrrigationPlan
    network: Network | None
    zones: tuple[Zone, ...]
    sources: tuple[Source, ...]
    zone: Ints
    node: Ints
    pipe_m: Floats
    pressure_kpa: Floats
    flow_lph: Floats
    need_lpd: Floats
    watered: Bools
    known: Bools
    reason: NDArray[np.int8]
    materials: tuple[MaterialLine, ...] = ()
    findings: tuple[Finding, ...] = ()
    need: Need | None = None
