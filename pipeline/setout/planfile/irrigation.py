"""The tables of the plan file about pipes and emitters, and what is taken where they say nothing."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Final, Literal, Self

from pydantic import AfterValidator, Field, field_validator, model_validator

from setout import units
from setout.model.irrigation import Emitter, IrrigationPlan, Pipes
from setout.planfile.quantities import Distance, Flow, Pressure, Section, Velocity, Written, one_or_many

INCH: Final = units.FOOT / 12
LATERAL_IN: Final = (0.600, 0.820, 1.060)
"""Inside diameters of polyethylene tubing for laterals [in]; common practice, from memory: put in what is sold to you."""
PIPE_IN: Final = (1.195, 1.532, 1.754, 2.193, 2.655, 3.230, 4.154)
"""Inside diameters of PVC pipe of 1 to 4 in [in]: outside diameter less twice the least wall at SDR 26 (ASTM D2241)."""
MOST_FLOW_LPH, MOST_KPA = 5000.0, 2000.0
"""What no outlet at a tree gives or stands [l/h], [kPa]: beyond it the unit is wrong."""
BORE_M, MOST_ROUGH_M = (0.001, 1.0), 0.01
"""Inside diameters of pipe [m], and the roughest wall [m]: beyond them the unit is wrong."""


def _within(least: float, most: float, unit: str, said: str) -> Callable[[float], float]:
    """Return a validator of a quantity in SI that tells a slip of its unit."""

    def read(value: float) -> float:
        if not least <= value <= most:
            raise ValueError(f"{value:g} {unit} is out of bounds: {said}; look at its unit")
        return value

    return read


OutletFlow = Annotated[
    Flow, AfterValidator(_within(0.0, MOST_FLOW_LPH, "l/h", "no outlet at a tree gives more than 5,000 l/h (22 gal/min)"))
]
OutletPressure = Annotated[
    Pressure, AfterValidator(_within(0.0, MOST_KPA, "kPa", "no outlet at a tree is for more than 2,000 kPa (290 psi)"))
]
Bore = Annotated[Distance, AfterValidator(_within(*BORE_M, "m", "inside diameters of pipe are from 1 mm to 1 m (0.04 to 39 in)"))]
Wall = Annotated[Distance, AfterValidator(_within(0.0, MOST_ROUGH_M, "m", "no wall of a pipe is rougher than 10 mm (0.4 in)"))]


class EmitterSection(Section):
    """What lets the water out at a tree."""

    flow: OutletFlow
    """Flow of one outlet."""
    at: OutletPressure
    """At this pressure."""
    exponent: float | None = Field(None, ge=0, le=1)
    """Exponent of pressure, 0 to 1. Absent: 0.5; 0 with a `range`."""
    variation: float = Field(0.0, ge=0, lt=1)
    """Coefficient of variation from the maker."""
    per_tree: int = Field(1, ge=1, le=100)
    """Outlets at a tree."""
    trees_per_emitter: int = Field(1, ge=1, le=2)
    """Trees that share one outlet, 1 or 2."""
    range: Annotated[tuple[OutletPressure, OutletPressure], Written("two pressures")] | None = None
    """Least and greatest pressure in which it compensates, `["10 psi", "45 psi"]`. Absent: none."""
    kind: Literal["drip", "ring", "spray"] = "drip"
    """`drip`, `ring` (round the trunk) or `spray`."""
    wetted_radius: Distance | None = None
    """Radius of the ground that one outlet wets. Absent: unknown."""

    @field_validator("range", mode="before")
    @classmethod
    def _two(cls, value: object) -> object:
        if not isinstance(value, list) or len(value) != 2:
            raise ValueError(f'{value!r} is not a range; write ["10 psi", "45 psi"]')
        return tuple(value)

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        faults = []
        if self.at <= 0:
            faults.append('at is no pressure above zero; write the pressure at which it gives flow, such as at = "15 psi"')
        if self.range is not None and self.range[0] >= self.range[1]:
            faults.append("range does not ascend; write the least pressure first")
        elif self.range is not None and not self.range[0] <= self.at <= self.range[1]:
            faults.append("at is outside range; give the pressure inside the range at which flow is rated")
        if self.range is not None and self.exponent is not None and self.exponent > 0.2:
            faults.append("an emitter with a pressure-compensating range has an exponent near 0; leave exponent out, or range")
        if self.per_tree > 1 and self.trees_per_emitter > 1:
            faults.append("per_tree and trees_per_emitter contradict each other; leave one of them out")
        if faults:
            raise ValueError("\n".join(faults))
        return self

    def value(self) -> Emitter:
        """Return the emitter; exponent 0 where it compensates, 0.5 (turbulent flow) where nothing is said."""
        usual = 0.5 if self.range is None else 0.0
        radius = float("nan") if self.wetted_radius is None else self.wetted_radius
        return Emitter(
            self.flow,
            self.at,
            usual if self.exponent is None else self.exponent,
            self.variation,
            self.per_tree,
            self.trees_per_emitter,
            self.range,
            self.kind,
            radius,
        )


class PipeSection(Section):
    """Inside diameters that may be used for one purpose, and how smooth the pipe is."""

    diameter: Annotated[tuple[Bore, ...], Written("lengths")] = Field(min_length=1)
    """Inside diameters to choose from, one or several."""
    roughness_c: float | None = Field(None, gt=0, le=200)
    """Its Hazen-Williams coefficient. Absent: 140 along rows, 150 elsewhere."""

    @field_validator("diameter", mode="before")
    @classmethod
    def _many(cls, value: object) -> object:
        bare = isinstance(value, int | float) and not isinstance(value, bool)
        return (value,) if bare else one_or_many(value)


class LateralSection(PipeSection):
    """The pipe along a row."""


class WaterSettings(Section):
    """The keys of the water section that pipes, zones and hours are reckoned from."""

    emitter: EmitterSection | None = None
    """The outlet at a tree. Absent: no pipe, zone or hour is reckoned."""
    lateral: LateralSection | None = None
    """Pipe along rows. Absent: inside diameters 0.600, 0.820, 1.060 in."""
    manifold: PipeSection | None = None
    """Pipe across rows. Absent: inside diameters 1.195 to 4.154 in, PVC SDR 26."""
    main: PipeSection | None = None
    """Pipe from the water point to valves. Absent: that of `manifold`."""
    friction: Literal["hazen-williams", "darcy-weisbach"] = "hazen-williams"
    """How friction is reckoned: `hazen-williams` or `darcy-weisbach`."""
    roughness: Wall = 1.5e-6
    """Roughness of the pipe wall for Darcy-Weisbach. Absent: 0.0015 mm."""
    minor_loss: float = Field(0.1, ge=0, le=1)
    """Loss in fittings as a share of that in the pipe."""
    pressure_spread: float = Field(0.2, gt=0, le=1)
    """Greatest difference in what one valve opens, as a share of `emitter.at`."""
    max_velocity: Velocity = 5 * units.FOOT
    """Greatest velocity in a pipe. Absent: 5 ft/s."""
    efficiency: float = Field(0.9, gt=0, le=1)
    """Share of the water that the roots get."""
    hours_per_day: float = Field(24, gt=0, le=24)
    """Hours of watering a day."""
    days_per_week: int = Field(7, ge=1, le=7)
    """Days of watering a week."""
    daily_volume: Flow | None = None
    """What each water point gives in a day, `20000 gal/day`. Absent: no limit but its flow."""

    def irrigation(self) -> IrrigationPlan:
        """Return what the plan asks of the irrigation, common practice where it says nothing."""
        main = self.main or self.manifold
        pipes = Pipes(
            _sizes(self.lateral, LATERAL_IN),
            _sizes(self.manifold, PIPE_IN),
            _sizes(main, PIPE_IN),
            self.friction,
            _smooth(self.lateral, 140.0),
            _smooth(self.manifold, 150.0),
            _smooth(main, 150.0),
            self.roughness * 1000,
            self.minor_loss,
        )
        return IrrigationPlan(
            None if self.emitter is None else self.emitter.value(),
            pipes,
            self.efficiency,
            self.hours_per_day,
            self.days_per_week,
            self.pressure_spread,
            self.max_velocity,
            float("inf") if self.daily_volume is None else 24 * self.daily_volume,
            assumed=tuple(self._assumed()),
        )

    def _assumed(self) -> list[str]:
        """Return what was not said, as it was taken."""
        given = self.model_fields_set
        out = []
        if "lateral" not in given:
            out.append("lateral: inside diameters " + ", ".join(f"{d:.3f}" for d in LATERAL_IN) + " in")
        if "manifold" not in given:
            out.append("manifold: inside diameters " + ", ".join(f"{d:.3f}" for d in PIPE_IN) + " in")
        numbers = ("efficiency", "hours_per_day", "days_per_week", "minor_loss", "pressure_spread")
        out += [f"{key} {getattr(self, key):g}" for key in numbers if key not in given]
        if "max_velocity" not in given:
            out.append("max_velocity 5 ft/s")
        if self.emitter is not None and self.emitter.exponent is None and self.emitter.range is None:
            out.append("emitter.exponent 0.5")
        if self.emitter is not None and "variation" not in self.emitter.model_fields_set:
            out.append("emitter.variation 0")
        return out


def _sizes(section: PipeSection | None, usual: tuple[float, ...]) -> tuple[float, ...]:
    """Return inside diameters [mm], ascending."""
    metres = [d * INCH for d in usual] if section is None else section.diameter
    return tuple(sorted({round(1000 * d, 6) for d in metres}))


def _smooth(section: PipeSection | None, usual: float) -> float:
    return usual if section is None or section.roughness_c is None else section.roughness_c
