"""What the irrigation takes to build: pipe by size, emitters, valves and what belongs to each water point."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from setout.model import Ints, MaterialLine, Network, Zone
from setout.model.buying import line_of
from setout.model.irrigation import LATERAL, MANIFOLD
from setout.stages.water.account import Stage, mains_once
from setout.units import FOOT, show_length

PIPE_ALLOWANCE = 1.05
"""Pipe to buy over its length on the ground; common practice, no source."""
EMITTER_ALLOWANCE = 1.02
"""Emitters to buy over their number; common practice, no source."""


def materials_of(stage: Stage, zones: Sequence[Zone]) -> tuple[MaterialLine, ...]:
    """Count what is to be bought."""
    return (*_pipe(stage), *_rings(stage), *_emitters(stage), *_fittings(stage, zones))


def _pipe(stage: Stage) -> Iterator[MaterialLine]:
    network, units = stage.network, stage.site.units
    parts = (
        ("main", mains_once(network)),
        ("manifold", np.flatnonzero(network.kind == MANIFOLD)),
        ("lateral", np.flatnonzero(network.kind == LATERAL)),
    )
    for word, own in parts:
        for size in np.unique(network.inside_mm[own]).tolist():
            length = float(network.length_m[own[network.inside_mm[own] == size]].sum())
            yield line_of(
                f"pipe, {word}",
                f"{inside(size, units)} inside",
                length * PIPE_ALLOWANCE,
                f"{_long(length, units)} on the slope and 5 % for cuts and snaking",
                _long(length * PIPE_ALLOWANCE, units),
            )


def inside(mm: float, units: str) -> str:
    """Write an inside diameter for people.

    >>> inside(20.828, "us"), inside(20.828, "si")
    ('0.820 in', '20.8 mm')
    """
    return f"{mm / (FOOT / 12 * 1000):.3f} in" if units == "us" else f"{mm:.1f} mm"


def _long(metres: float, units: str) -> str:
    return f"{metres / FOOT:,.0f} ft" if units == "us" else f"{metres:,.0f} m"


def _emitters(stage: Stage) -> Iterator[MaterialLine]:
    emitter = stage.plan.emitter
    assert emitter is not None
    number = round(float(stage.network.emitters.sum()))
    word = {"drip": "drip emitter", "ring": "emitter in a ring round the trunk", "spray": "micro-sprinkler"}[emitter.kind]
    buy = int(np.ceil(number * EMITTER_ALLOWANCE))
    size = f"{emitter.flow_lph:.3g} l/h at {emitter.at_kpa:.0f} kPa"
    yield line_of(word, size, buy, f"{number:,} and 2 % spare", f"{buy:,}")


def _rings(stage: Stage) -> Iterator[MaterialLine]:
    """Count the tubing of rings round the trunks, where the plan asks for rings and says how wide."""
    emitter, units = stage.plan.emitter, stage.site.units
    assert emitter is not None
    if emitter.kind != "ring" or not np.isfinite(emitter.wetted_radius_m):
        return
    trees = int((stage.draws.zone >= 0).sum())
    length = 2 * np.pi * emitter.wetted_radius_m * trees
    size = inside(stage.plan.pipes.lateral_mm[0], units)
    yield line_of(
        "pipe, ring round the trunk",
        f"{size} inside",
        length * PIPE_ALLOWANCE,
        f"{trees:,} rings of {show_length(2 * emitter.wetted_radius_m, units)} across and 5 % for cuts",
        _long(length * PIPE_ALLOWANCE, units),
    )


def _fittings(stage: Stage, zones: Sequence[Zone]) -> Iterator[MaterialLine]:
    network, sections = stage.network, stage.sections
    valves = len(sections.zone)
    sizes = _valve_sizes(network)
    for size in sorted(set(sizes)):
        number = sizes.count(size)
        shown = f"for pipe {inside(size, stage.site.units)} inside"
        yield line_of("valve, electric", shown, number, f"one a valve of {len(zones)} zones", f"{number:,}")
    regulated = int(np.isfinite(network.valve_kpa).sum())
    if regulated:
        why = f"at {regulated:,} of {valves:,} valves, set as the zones table says"
        yield line_of("pressure regulator", "", regulated, why, f"{regulated:,}")
    laterals = int(network.lateral.max()) + 1
    yield line_of("take-off, manifold to lateral", "", laterals, "one a lateral", f"{laterals:,}")
    yield line_of("flush end", "", laterals, "at the end of every lateral", f"{laterals:,}")
    manifold_ends = _ends(network)
    if manifold_ends:
        yield line_of("flush valve", "", manifold_ends, "at the end of every manifold", f"{manifold_ends:,}")
    sources = len(np.unique(sections.point))
    for item, why in (
        ("backflow preventer", "at every water point, of the type that the local code asks"),
        ("filter", "at every water point, as fine as the emitters' maker asks"),
        ("pressure relief and air valve", "at every water point and at high points of mains"),
    ):
        yield line_of(item, "", sources, why, f"{sources:,}")


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
