"""Pressure and flow at every emitter: regulators at the valves where there is pressure to spare, else what the source gives."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from setout.hydraulics.designed import pipe_tree
from setout.hydraulics.friction import loss_m
from setout.hydraulics.network import PipeTree, solve
from setout.model import Floats, Ints, Network
from setout.model.irrigation import MAIN, SOURCE, IrrigationPlan
from setout.stages.water.sizing import Feeds, Sized, allowed_spread_m, least_kpa, root_z
from setout.units import KPA_PER_M

ROUNDS = 4
"""How often the settings of regulators are bettered; each brings the mean nearer by far more than a tenth."""
STEP_KPA = 1.0
"""Regulators are set to whole steps of this [kPa]."""


def solved(sized: Sized, plan: IrrigationPlan, feeds: Feeds) -> Network:
    """Set the regulators and solve every section.

    A regulator holds the pressure at which emitters give on average what they are rated for; one that compensates is
    given its rated pressure at the least. Where the main brings less than that, the section runs on what there is.
    """
    bench = _Bench.of(sized.network, plan, feeds)
    setting = bench.first_setting(sized)
    held, flow, pressure, out = bench.run(setting)
    for _ in range(ROUNDS):
        better = bench.better(setting, pressure, out)
        if np.max(np.abs(better - setting)[held], initial=0.0) < STEP_KPA / 2:
            break
        setting = better
        held, flow, pressure, out = bench.run(setting)
    for _ in range(ROUNDS):
        # what draws too much comes down and is not raised again
        over = held & bench.overdrawn(out)
        if not over.any():
            break
        lower = np.maximum(np.minimum(bench.better(setting, pressure, out), setting - STEP_KPA), STEP_KPA)
        setting = np.where(over, lower, setting)
        held, flow, pressure, out = bench.run(setting)
    return replace(sized.network, pressure_kpa=pressure, flow_lph=flow, out_lph=out, valve_kpa=np.where(held, setting, np.nan))


def mendable(network: Network, plan: IrrigationPlan, feeds: Feeds) -> NDArray[np.bool_]:
    """Tell which sections fall short by friction alone: wider pipe would mend them."""
    own = network.emitters > 0
    section = network.section[own]

    def ends(values: Floats) -> tuple[Floats, Floats]:
        low, high = np.full(len(feeds.point), np.inf), np.full(len(feeds.point), -np.inf)
        np.minimum.at(low, section, values[own])
        np.maximum.at(high, section, values[own])
        return low, high

    low, high = ends(network.pressure_kpa)
    bottom, top = ends(network.z)
    allowed = allowed_spread_m(plan) * KPA_PER_M
    least = least_kpa(plan, feeds.floor_kpa)
    static = feeds.points.pressure_kpa[feeds.point] - KPA_PER_M * (top - root_z(network))
    spread = (high - low > allowed) & (KPA_PER_M * (top - bottom) < 0.9 * allowed)
    if plan.emitter is not None and plan.emitter.compensating_kpa is not None:
        spread[:] = False
    return np.asarray(spread | ((low < least) & (static > 1.02 * least) & np.isnan(network.valve_kpa)), bool)


@dataclass(frozen=True, slots=True)
class _Bench:
    """A network ready to be solved with other settings of its regulators."""

    network: Network
    plan: IrrigationPlan
    feeds: Feeds
    tree: PipeTree
    valve: Ints
    main: NDArray[np.bool_]
    root: Ints
    source_m: Floats

    @classmethod
    def of(cls, network: Network, plan: IrrigationPlan, feeds: Feeds) -> _Bench:
        """Look up valves and roots, one of each in every section."""
        sections = len(feeds.point)
        valve, root = np.empty(sections, np.int64), np.empty(sections, np.int64)
        at = np.flatnonzero(network.is_valve)
        valve[network.section[at]] = at
        start = np.flatnonzero(network.kind == SOURCE)
        root[network.section[start]] = start
        source = feeds.points.pressure_kpa[feeds.point] / KPA_PER_M + network.z[root]
        main = (network.kind == MAIN) | (network.kind == SOURCE)
        return cls(network, plan, feeds, pipe_tree(plan, network), valve, main, root, source)

    def first_setting(self, sized: Sized) -> Floats:
        """Return settings from nominal flows: the emitter's pressure, and half of the largest loss beyond the valve [kPa]."""
        emitter = self.plan.emitter
        assert emitter is not None
        net = self.network
        own = net.emitters > 0
        section = net.section[own]
        count = np.maximum(np.bincount(section, minlength=len(self.valve)), 1)
        lift = np.bincount(section, weights=net.z[own], minlength=len(self.valve)) / count - net.z[self.valve]
        lost = loss_m(sized.flow_lph, net.length_m, np.where(np.isfinite(net.inside_mm), net.inside_mm, 1e3), self.tree.friction)
        lost = np.where(self.main, 0.0, lost)
        beyond = np.bincount(net.section, weights=lost, minlength=len(self.valve)) / count
        return _whole(emitter.at_kpa + KPA_PER_M * (lift + np.minimum(beyond, 2.0)))

    def available(self, flow: Floats) -> Floats:
        """Return the pressure before each valve when its section draws a flow [kPa]."""
        net = self.network
        own = np.flatnonzero(net.kind == MAIN)
        lost = loss_m(
            flow[net.section[own]],
            net.length_m[own],
            net.inside_mm[own],
            replace(self.tree.friction, roughness_c=np.asarray(self.tree.friction.roughness_c)[own]),
        )
        total = np.bincount(net.section[own], weights=lost, minlength=len(self.valve))
        left: Floats = self.source_m - total - net.z[self.valve]
        return left * KPA_PER_M

    def run(self, setting: Floats) -> tuple[NDArray[np.bool_], Floats, Floats, Floats]:
        """Solve with some settings: which regulators hold them, flow in every pipe, pressure, flow of emitters."""
        held, flow, pressure, out = self._solve(np.ones(len(setting), bool), setting)
        draws: Floats = np.bincount(self.network.section, weights=out, minlength=len(setting)).astype(float)
        short = self.available(draws) < setting
        if short.any():
            held, flow, pressure, out = self._solve(~short, setting)
        return held, flow, pressure, out

    def _solve(self, held: NDArray[np.bool_], setting: Floats) -> tuple[NDArray[np.bool_], Floats, Floats, Floats]:
        net = self.network
        parent = net.parent.copy()
        parent[self.valve[held]] = -1
        head = self.source_m[net.section].copy()
        head[self.valve[held]] = setting[held] / KPA_PER_M + net.z[self.valve[held]]
        # a main is solved with its section where no regulator stands between, else after it
        tree = replace(self.tree, parent=parent)
        found = solve(tree, head[parent < 0])
        flow, pressure, out = found.flow_lph.copy(), found.pressure_kpa.copy(), found.emitted_lph
        draws = np.bincount(net.section, weights=out, minlength=len(setting))
        mains = self.main & held[net.section]
        flow[mains] = draws[net.section[mains]]
        self._along_mains(np.flatnonzero(mains), flow, pressure, setting)
        return held, flow, pressure, out

    def _along_mains(self, own: Ints, flow: Floats, pressure: Floats, setting: Floats) -> None:
        """Set the pressure along mains that end at a regulator; at the regulator itself stands what it is set to."""
        net = self.network
        pipes = own[net.kind[own] == MAIN]
        lost = np.zeros(len(net))
        smooth = np.asarray(self.tree.friction.roughness_c)[pipes]
        lost[pipes] = loss_m(flow[pipes], net.length_m[pipes], net.inside_mm[pipes], replace(self.tree.friction, roughness_c=smooth))
        # nodes of one main follow one another, its root first
        total = np.cumsum(lost[own])
        start = np.maximum.accumulate(np.where(net.kind[own] == SOURCE, np.arange(len(own)), 0))
        along = total - total[start]
        pressure[own] = KPA_PER_M * (self.source_m[net.section[own]] - along - net.z[own])
        at = own[net.is_valve[own]]
        pressure[at] = setting[net.section[at]]

    def overdrawn(self, out: Floats) -> NDArray[np.bool_]:
        """Tell which sections are of zones that draw more than their source gives, and less at less pressure."""
        emitter = self.plan.emitter
        draws = np.bincount(self.feeds.zone[self.network.section], weights=out)[self.feeds.zone]
        bends = emitter is not None and emitter.exponent > 0
        return np.asarray(bends & (draws > self.feeds.capacity_lph * (1 + 1e-9)), bool)

    def better(self, setting: Floats, pressure: Floats, out: Floats) -> Floats:
        """Return settings that bring the emitters nearer to their rated pressure, and the zone's flow within its source's."""
        emitter, net = self.plan.emitter, self.network
        assert emitter is not None
        own = net.emitters > 0
        section = net.section[own]
        size = len(setting)
        count = np.maximum(np.bincount(section, minlength=size), 1)
        mean = np.bincount(section, weights=pressure[own], minlength=size) / count
        least, most = np.full(size, np.inf), np.full(size, -np.inf)
        np.minimum.at(least, section, pressure[own])
        np.maximum.at(most, section, pressure[own])
        floor = least_kpa(self.plan, self.feeds.floor_kpa)
        if emitter.compensating_kpa is not None:
            # the rated pressure for the lowest, unless the highest would leave the range
            low, high = emitter.compensating_kpa
            wanted = _whole(setting + np.minimum(emitter.at_kpa - least, high - most))
            wanted = np.maximum(wanted, _whole(setting + max(low, floor) - least, up=True))
        else:
            wanted = _whole(setting + emitter.at_kpa - mean)
            wanted = np.maximum(wanted, _whole(setting + self.feeds.floor_kpa - least, up=True))
        draws = np.bincount(self.feeds.zone[net.section], weights=out)[self.feeds.zone]
        if emitter.exponent > 0:
            share = np.minimum(self.feeds.capacity_lph / np.maximum(draws, 1e-9), 1.0) ** (1 / emitter.exponent)
            wanted = np.where(share < 1, np.minimum(wanted, np.floor(setting - (1 - share) * mean)), wanted)
        return np.maximum(wanted, STEP_KPA)


def _whole(kpa: Floats, *, up: bool = False) -> Floats:
    return np.asarray((np.ceil if up else np.round)(kpa / STEP_KPA) * STEP_KPA, float)
