"""What the irrigation takes to build: pipe by size, emitters, valves and what belongs to each water point."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from setout.model import Ints, MaterialLine, Network, Zone
from setout.model.buying import line_of
from setout.model.irrigation import LATERAL, MANIFOLD
from setout.stages.water.account import Stage, mains_once

PIPE_SPARE = 0.05
"""Share of pipe to buy over its length on the ground; common practice, no source."""
EMITTER_SPARE = 0.02
"""Share of emitters to buy over their number; common practice, no source."""


def materials_of(stage: Stage, zones: Sequence[Zone]) -> tuple[MaterialLine, ...]:
    """Count what is to be bought."""
    return (*_pipe(stage), *_rings(stage), *_emitters(stage), *_fittings(stage, zones))


def _pipe(stage: Stage) -> Iterator[MaterialLine]:
    network = stage.network
    parts = (
        ("pipe_main", mains_once(network)),
        ("pipe_manifold", np.flatnonzero(network.kind == MANIFOLD)),
        ("pipe_lateral", np.flatnonzero(network.kind == LATERAL)),
    )
    for item, own in parts:
        for size in np.unique(network.inside_mm[own]).tolist():
            length = float(network.length_m[own[network.inside_mm[own] == size]].sum())
            yield line_of(item, length * (1 + PIPE_SPARE), inside_mm=size, run_m=length, spare=PIPE_SPARE)


def _emitters(stage: Stage) -> Iterator[MaterialLine]:
    emitter = stage.plan.emitter
    assert emitter is not None
    number = round(float(stage.network.emitters.sum()))
    item = {"drip": "drip_emitter", "ring": "ring_emitter", "spray": "micro_sprinkler"}[emitter.kind]
    buy = int(np.ceil(number * (1 + EMITTER_SPARE)))
    yield line_of(item, buy, flow_lph=emitter.flow_lph, at_kpa=emitter.at_kpa, emitters=number, spare=EMITTER_SPARE)


def _rings(stage: Stage) -> Iterator[MaterialLine]:
    """Count the tubing of rings round the trunks, where the plan asks for rings and says how wide."""
    emitter = stage.plan.emitter
    assert emitter is not None
    if emitter.kind != "ring" or not np.isfinite(emitter.wetted_radius_m):
        return
    trees, across = int((stage.draws.zone >= 0).sum()), 2 * emitter.wetted_radius_m
    bought, size = np.pi * across * trees * (1 + PIPE_SPARE), stage.plan.pipes.lateral_mm[0]
    yield line_of("pipe_ring", bought, inside_mm=size, trees=trees, across_m=across, spare=PIPE_SPARE)


def _fittings(stage: Stage, zones: Sequence[Zone]) -> Iterator[MaterialLine]:
    network, sections = stage.network, stage.sections
    sizes = _valve_sizes(network)
    for size in sorted(set(sizes)):
        yield line_of("valve", sizes.count(size), inside_mm=size, zones=len(zones))
    regulated = int(np.isfinite(network.valve_kpa).sum())
    if regulated:
        yield line_of("pressure_regulator", regulated, n=regulated, valves=len(sections.zone))
    laterals = int(network.lateral.max()) + 1
    yield line_of("take_off", laterals)
    yield line_of("flush_end", laterals)
    manifold_ends = _ends(network)
    if manifold_ends:
        yield line_of("flush_valve", manifold_ends)
    sources = len(np.unique(sections.point))
    for item in ("backflow_preventer", "filter", "relief_valve"):
        yield line_of(item, sources)


def _valve_sizes(network: Network) -> list[float]:
    """Return the inside diameter of the pipe that comes to each valve [mm]."""
    at = np.flatnonzero(network.is_valve)
    size = network.inside_mm[at]
    child = np.zeros(len(network))
    has = network.parent >= 0
    np.maximum.at(child, network.parent[has], np.nan_to_num(network.inside_mm[has]))
    return np.where(np.isfinite(size), size, child[at]).tolist()  # type: ignore[no-any-return]  # tolist gives Any


def _ends(network: Network) -> int:
    """Count the manifold's ends: nodes of a manifold that none goes on from."""
    goes_on: Ints = network.parent[network.kind == MANIFOLD]
    own = np.flatnonzero(network.kind == MANIFOLD)
    return int((~np.isin(own, goes_on)).sum())
