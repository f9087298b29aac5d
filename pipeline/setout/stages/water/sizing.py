"""Pipe sizes: the smallest of those to be had that keep velocity, friction and spread of pressure within their limits."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from setout.hydraulics.designed import friction_of
from setout.hydraulics.friction import loss_m, velocity_ms
from setout.hydraulics.paths import Paths, paths_of
from setout.model import Floats, Ints, Network, WaterPoints
from setout.model.irrigation import LATERAL, MAIN, MANIFOLD, SOURCE, IrrigationPlan
from setout.units import KPA_PER_M

LATERAL_SHARE = 0.55
"""Share of the spread of pressure that laterals may take, the rest is the manifold's; ASABE EP405 halves it about so."""
MAIN_SHARE, MANIFOLD_SHARE, SIDE_SHARE = 0.4, 0.25, 0.35
"""Shares of the pressure to spare that mains, manifolds and laterals may lose; no source: any sum of 1 reaches the end."""
LEAST_LOSS = 0.3
"""Friction that is always allowed [m]: pipes are not made larger to save less."""


def allowed_spread_m(plan: IrrigationPlan) -> float:
    """Return the greatest difference of pressure head in what one valve opens [m].

    A share of the emitter's pressure; of one that compensates, the width of its range.
    """
    emitter = plan.emitter
    assert emitter is not None
    if emitter.compensating_kpa is not None:
        return (emitter.compensating_kpa[1] - emitter.compensating_kpa[0]) / KPA_PER_M
    return plan.spread_limit * emitter.at_kpa / KPA_PER_M


def least_kpa(plan: IrrigationPlan, floor_kpa: float) -> float:
    """Return the least pressure that an emitter may have [kPa]."""
    emitter = plan.emitter
    assert emitter is not None
    if emitter.compensating_kpa is not None:
        return max(emitter.compensating_kpa[0], floor_kpa)
    return max(emitter.at_kpa * (1 - plan.spread_limit / 2), floor_kpa)


def longest_side(plan: IrrigationPlan, spacing_m: float, outlet_lph: float) -> int:
    """Return the most outlets on one side of a lateral of the largest pipe, by friction on level ground and velocity."""
    n = np.arange(1, 3001)
    pipes = plan.pipes
    kind = np.full(len(n), LATERAL, np.int8)
    each = loss_m(n * outlet_lph, np.full(len(n), spacing_m), pipes.lateral_mm[-1], friction_of(plan, kind))
    fits = np.cumsum(each) <= max(LATERAL_SHARE * allowed_spread_m(plan), LEAST_LOSS)
    fits &= velocity_ms(n * outlet_lph, pipes.lateral_mm[-1]) <= plan.velocity_m_s
    return max(int(fits.sum()), 1)


@dataclass(frozen=True, slots=True)
class Sized:
    """A network with its diameters, and the nominal flow in every pipe [l/h]."""

    network: Network
    flow_lph: Floats
    paths: Paths


@dataclass(frozen=True, slots=True)
class Feeds:
    """What feeds the sections.

    Attributes
    ----------
    points : water points, their pressures known
    point : per section, its water point
    zone : per section, its zone
    capacity_lph : per section, the flow that its zone may draw [l/h]
    floor_kpa : least pressure that the plan file asks at a tree
    """

    points: WaterPoints
    point: Ints
    zone: Ints
    capacity_lph: Floats
    floor_kpa: float


def sized(network: Network, plan: IrrigationPlan, feeds: Feeds, chain: Ints, tight: Floats) -> Sized:
    """Choose diameters for the nominal flow of all emitters.

    One size of lateral for each block, one of manifold for each valve, one of main for each manifold line.
    """
    assert plan.emitter is not None
    paths = paths_of(network.parent)
    flow = np.empty(len(network))
    flow[paths.order] = paths.gather((network.emitters * plan.emitter.flow_lph)[paths.order])
    spare = _to_spare(network, plan, feeds)
    spread = allowed_spread_m(plan)
    # above what compensates no more than the spread is asked: what is to spare pays for mains
    side = tight * np.clip(SIDE_SHARE * spare, LEAST_LOSS, max(LATERAL_SHARE * spread, LEAST_LOSS))
    across = tight * np.clip(MANIFOLD_SHARE * spare, LEAST_LOSS, max((1 - LATERAL_SHARE) * spread, LEAST_LOSS))
    main = tight * np.maximum(MAIN_SHARE * spare, LEAST_LOSS)
    inside = np.full(len(network), np.nan)
    pipes, section = plan.pipes, network.section
    trial = _Trial(network, plan, flow, paths)
    groups = np.where(network.kind == LATERAL, network.block, -1)
    trial.choose(inside, LATERAL, groups, side[section], pipes.lateral_mm)
    trial.choose(inside, MANIFOLD, section, across[section], pipes.manifold_mm)
    trial.choose(inside, MAIN, chain[section], main[section], pipes.main_mm)
    return Sized(replace(network, inside_mm=inside), flow, paths)


def _to_spare(network: Network, plan: IrrigationPlan, feeds: Feeds) -> Floats:
    """Return per section the head left for friction between the source and its highest emitter [m]."""
    points, point = feeds.points, feeds.point
    own = network.emitters > 0
    top = np.full(len(point), -np.inf)
    np.maximum.at(top, network.section[own], network.z[own])
    left: Floats = (points.pressure_kpa[point] - least_kpa(plan, feeds.floor_kpa)) / KPA_PER_M - (top - root_z(network))
    return np.maximum(left, 0.0)


def root_z(network: Network) -> Floats:
    """Return the elevation of every section's water point [m]."""
    root = np.flatnonzero(network.kind == SOURCE)
    out = np.empty(len(root))
    out[network.section[root]] = network.z[root]
    return out


@dataclass(frozen=True, slots=True)
class _Trial:
    """Nominal flows to try diameters with."""

    network: Network
    plan: IrrigationPlan
    flow: Floats
    paths: Paths

    def choose(self, inside: Floats, kind: int, group: Ints, allowed: Floats, sizes: tuple[float, ...]) -> None:
        """Set the smallest diameter for each group of one kind of pipe that keeps friction and velocity; the largest where none does."""
        own = np.flatnonzero(self.network.kind == kind)
        if not len(own):
            return
        names, of = np.unique(group[own], return_inverse=True)
        picked = np.full(len(names), sizes[-1])
        settled = np.zeros(len(names), bool)
        friction = friction_of(self.plan, self.network.kind[own])
        for size in sizes:
            lost = np.zeros(len(self.network))
            lost[own] = loss_m(self.flow[own], self.network.length_m[own], size, friction)
            lost = from_root(self.paths, lost)
            over = (lost[own] > allowed[own] * (1 + 1e-9)) | (velocity_ms(self.flow[own], size) > self.plan.velocity_m_s * (1 + 1e-9))
            bad = np.zeros(len(names), bool)
            bad[of[over]] = True
            picked[~settled & ~bad] = size
            settled |= ~bad
            if settled.all():
                break
        inside[own] = picked[of]


def from_root(paths: Paths, each: Floats) -> Floats:
    """Return for every node the sum of a figure of all pipes from its root to it."""
    placed = each[paths.order]
    for tier in paths.tiers:
        part = placed[tier.start : tier.stop]
        total = np.cumsum(part)
        before = np.concatenate([[0.0], total])[tier.head]
        part[:] = total - before[tier.run] + placed[tier.top][tier.run]
    out = np.empty_like(each)
    out[paths.order] = placed
    return out
