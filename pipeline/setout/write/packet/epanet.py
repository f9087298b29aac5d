"""A network of pipes as an EPANET input file, for an engineer to look at in a general solver.

The format is that of the EPANET 2.2 User Manual (US EPA, EPA/600/R-20/133, appendix C), which is in the public domain.
EPANET knows one exponent for all emitters of a file. Emitters that hold their flow become fixed demands; where several
exponents are left, those that fewest emitters have are given the coefficient that gives their flow at the pressure
there is, and the file says so. Regulators become pressure-reducing valves. Elevations and heads are metres, flows
litres a minute, pressures metres of water, diameters millimetres.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Final

import numpy as np

from setout.errors import SetoutError
from setout.hydraulics.emitters import LOWEST_HEAD
from setout.hydraulics.network import PipeTree, Solved
from setout.model.base import Floats, Ints
from setout.units import KPA_PER_M

LONGEST_ID: Final = 31
SHORTEST_PIPE_M: Final = 0.001
"""EPANET takes no pipe without length."""
LPM_PER_LPH: Final = 1 / 60
CAUTIONS: Final = (
    "Steady state with every emitter of the file open. A reckoning from survey and rated figures, not a test of what is built.",
    "Backflow protection, pressure and vacuum relief, chemigation and buried lines: to local code, by those licensed for it.",
)
"""What stands at the head of every file."""


@dataclass(frozen=True, slots=True)
class SolvedNetwork:
    """A network of pipes with its state, ready to be written.

    Attributes
    ----------
    tree : pipes, emitters, elevations
    source_head_m : (r,) head at the roots, in the order in which they stand in the tree [m]
    emitted_lph : (n,) flow out at each node [l/h]
    pressure_kpa : (n,) pressure at each node [kPa]
    x, y : (n,) where each node lies
    node_id : names of the nodes, no two alike
    held_kpa : (n,) pressure that a regulator at the end of a node's pipe holds [kPa]; NaN for none; empty for none at all
    tags : a word on each node, such as a tree's id; empty for none
    title : what the file is of
    notes : lines to put at its head
    """

    tree: PipeTree
    source_head_m: Floats
    emitted_lph: Floats
    pressure_kpa: Floats
    x: Floats
    y: Floats
    node_id: Sequence[str]
    held_kpa: Floats = field(default_factory=lambda: np.empty(0))
    tags: Sequence[str] = ()
    title: str = ""
    notes: tuple[str, ...] = ()

    @classmethod
    def of(cls, tree: PipeTree, source_head_m: Floats, solved: Solved, x: Floats, y: Floats) -> SolvedNetwork:
        """Put a tree and what :func:`setout.hydraulics.network.solve` found together; nodes are numbered."""
        names = [f"N{number}" for number in range(tree.parent.size)]
        head = np.broadcast_to(np.asarray(source_head_m, float), (int((tree.parent < 0).sum()),))
        return cls(tree, head, solved.emitted_lph, solved.pressure_kpa, x, y, names)


def write_inp(path: Path, network: SolvedNetwork) -> tuple[str, ...]:
    """Write a network as an EPANET input file."""
    names = node_names(network.node_id)
    emission = _Emission.of(network)
    told = emission.told(network)
    with path.open("w", encoding="ascii", errors="replace", newline="\r\n") as file:
        for lines in (
            _title(network, told),
            _junctions(network, names, emission),
            _reservoirs(network, names),
            _pipes(network, names),
            _valves(network, names),
            _emitters(network, names, emission),
            _tags(network, names),
            _options(network, emission),
            _coordinates(network, names),
            iter(["[END]"]),
        ):
            while part := list(islice(lines, 20_000)):
                file.write("\n".join(part) + "\n")
            file.write("\n")
    return told


def node_names(given: Sequence[str]) -> list[str]:
    """Return names that EPANET takes: at most 31 letters, digits and ``- _ .``, no two alike.

    >>> node_names(["A-1-1", "B 2;x"])
    ['A-1-1', 'B_2_x']
    """
    plain = [re.sub(r"[^A-Za-z0-9._-]", "_", name)[: LONGEST_ID - 4] or "_" for name in given]
    seen: dict[str, str] = {}
    for name, was in zip(plain, given, strict=True):
        if name in seen:
            raise SetoutError(f'nodes "{seen[name]}" and "{was}" have one name "{name}"', "EPANET file", "name them apart")
        seen[name] = was
    return plain


@dataclass(frozen=True, slots=True)
class _Emission:
    """How each node's flow is written: as a demand, by an emitter's coefficient, or not at all.

    Attributes
    ----------
    exponent : that of the file
    coefficient : (n,) [l/min per m^exponent]; 0 for none
    demand : (n,) [l/min]; 0 for none
    bent : emitters of another law, written by the flow they have at their pressure
    closed : emitters that give nothing
    """

    exponent: float
    coefficient: Floats
    demand: Floats
    bent: int
    closed: int

    @classmethod
    def of(cls, network: SolvedNetwork) -> _Emission:
        n = network.tree.parent.size
        e = network.tree.emitters
        k, x, least = (np.broadcast_to(np.asarray(v, float), (n,)) for v in (e.k, e.exponent, e.least_m))
        head = network.pressure_kpa / KPA_PER_M
        here = (k > 0) & (network.tree.parent >= 0)
        gives = here & (network.emitted_lph > 0) & (head > 0)
        held = gives & ((e.flow_and_slope(head)[1] <= 0) | (head <= LOWEST_HEAD))
        free = gives & ~held
        own = np.where(head < least, 0.5, x)
        values, counts = np.unique(own[free], return_counts=True)
        exponent = float(values[counts.argmax()]) if values.size else 0.5
        coefficient = np.zeros(n)
        coefficient[free] = network.emitted_lph[free] / head[free] ** exponent * LPM_PER_LPH
        plain = free & (x == exponent) & (head >= least)
        coefficient[plain] = k[plain] * LPM_PER_LPH
        demand = np.where(held, network.emitted_lph * LPM_PER_LPH, 0.0)
        return cls(exponent, coefficient, demand, int((free & (own != exponent)).sum()), int((here & ~gives).sum()))

    def told(self, network: SolvedNetwork) -> tuple[str, ...]:
        """Say what the file cannot say as it is."""
        notes = []
        if np.any(self.demand > 0):
            notes.append("Emitters that hold their flow are demands: right within their range of pressure only.")
        if self.bent:
            notes.append(
                f"EPANET has one emitter exponent, here {self.exponent:g}: {self.bent} emitters of another are given the "
                "coefficient that gives their flow at the pressure there is, and are right at that pressure only."
            )
        if self.closed:
            notes.append(f"{self.closed} emitters without pressure give nothing and are left out.")
        if np.any(np.asarray(network.tree.friction.minor_share, float) > 0):
            notes.append("Loss in fittings is in the lengths: pipes are longer here by its share of the friction.")
        if network.tree.friction.law == "churchill":
            notes.append("Friction was reckoned by Churchill's formula; EPANET uses that of Swamee and Jain.")
        return tuple(notes)


def _plain(text: str) -> str:
    """Return text as one line that starts no section and no comment."""
    return " ".join(re.sub(r"[^\x21-\x5a\x5c\x5e-\x7e]|;", " ", text).split())[:250]


def _title(network: SolvedNetwork, told: tuple[str, ...]) -> Iterator[str]:
    yield "[TITLE]"
    yield _plain(network.title) or "Network of pipes"
    for line in (*network.notes, *told, *CAUTIONS):
        yield f"; {_plain(line)}"


def _pipe_nodes(network: SolvedNetwork) -> Ints:
    return np.flatnonzero(network.tree.parent >= 0)


def _held(network: SolvedNetwork) -> Ints:
    """Return the nodes behind regulators."""
    return np.flatnonzero(np.isfinite(network.held_kpa))


def _roots_held(network: SolvedNetwork) -> Ints:
    held = _held(network)
    return held[network.tree.parent[held] < 0]


def _before(name: str) -> str:
    return f"{name}.up"


def _source(name: str) -> str:
    return f"{name}.src"


def _junctions(network: SolvedNetwork, names: list[str], emission: _Emission) -> Iterator[str]:
    yield "[JUNCTIONS]"
    yield ";id elevation_m demand_lpm"
    z, demand = network.tree.z_m, emission.demand
    for i in np.concatenate([_pipe_nodes(network), _roots_held(network)]).tolist():
        yield f"{names[i]} {z[i]:.6f} {demand[i]:.10g}"
    for i in _held(network).tolist():
        yield f"{_before(names[i])} {z[i]:.6f} 0"


def _reservoirs(network: SolvedNetwork, names: list[str]) -> Iterator[str]:
    yield "[RESERVOIRS]"
    yield ";id head_m"
    held = set(_roots_held(network).tolist())
    roots = np.flatnonzero(network.tree.parent < 0).tolist()
    for i, head in zip(roots, network.source_head_m.tolist(), strict=True):
        yield f"{_source(names[i]) if i in held else names[i]} {head:.9f}"


def _pipes(network: SolvedNetwork, names: list[str]) -> Iterator[str]:
    yield "[PIPES]"
    yield ";id from to length_m inside_mm roughness minor_loss status"
    tree, friction, n = network.tree, network.tree.friction, network.tree.parent.size
    rough = friction.roughness_c if friction.law == "hazen-williams" else friction.roughness_mm
    roughness, share, minor = (np.broadcast_to(np.asarray(v, float), (n,)) for v in (rough, friction.minor_share, friction.minor_k))
    nodes = _pipe_nodes(network)
    held = set(_held(network).tolist())
    length = np.maximum(np.asarray(tree.length_m)[nodes] * (1 + share[nodes]), SHORTEST_PIPE_M)
    columns = (nodes, tree.parent[nodes], length, np.asarray(tree.inside_mm)[nodes], roughness[nodes], minor[nodes])
    for i, up, metres, inside, rough_i, k in zip(*(c.tolist() for c in columns), strict=True):
        to = _before(names[i]) if i in held else names[i]
        yield f"P.{names[i]} {names[up]} {to} {metres:.9g} {inside:.9g} {rough_i:.9g} {k:.9g} Open"
    wide = 10 * float(np.asarray(tree.inside_mm)[nodes].max(initial=100.0))
    for i in _roots_held(network).tolist():
        rough_i = float(roughness.max())
        yield f"P.{names[i]} {_source(names[i])} {_before(names[i])} {SHORTEST_PIPE_M:g} {wide:.9g} {rough_i:.9g} 0 Open"


def _valves(network: SolvedNetwork, names: list[str]) -> Iterator[str]:
    yield "[VALVES]"
    yield ";id from to inside_mm type pressure_m minor_loss"
    inside = np.asarray(network.tree.inside_mm, float)
    for i in _held(network).tolist():
        bore = inside[i] if network.tree.parent[i] >= 0 else 100.0
        yield f"V.{names[i]} {_before(names[i])} {names[i]} {bore:.9g} PRV {network.held_kpa[i] / KPA_PER_M:.9f} 0"


def _emitters(network: SolvedNetwork, names: list[str], emission: _Emission) -> Iterator[str]:
    yield "[EMITTERS]"
    yield f";id coefficient_lpm_per_m^{emission.exponent:g}"
    own = np.flatnonzero(emission.coefficient > 0)
    for i, coefficient in zip(own.tolist(), emission.coefficient[own].tolist(), strict=True):
        yield f"{names[i]} {coefficient:.12g}"


def _tags(network: SolvedNetwork, names: list[str]) -> Iterator[str]:
    yield "[TAGS]"
    for name, tag in zip(names, network.tags, strict=False):
        if word := re.sub(r"[^A-Za-z0-9._-]", "_", tag)[:LONGEST_ID]:
            yield f"NODE {name} {word}"


def _options(network: SolvedNetwork, emission: _Emission) -> Iterator[str]:
    law = "H-W" if network.tree.friction.law == "hazen-williams" else "D-W"
    yield from ("[TIMES]", "Duration 0", "", "[OPTIONS]", "Units LPM", f"Headloss {law}", "Demand Model DDA")
    yield f"Emitter Exponent {emission.exponent:.12g}"
    yield from ("Specific Gravity 1", "Viscosity 1", "Trials 500", "Accuracy 0.00001", "Unbalanced Stop")


def _coordinates(network: SolvedNetwork, names: list[str]) -> Iterator[str]:
    yield "[COORDINATES]"
    for name, x, y in zip(names, network.x.tolist(), network.y.tolist(), strict=True):
        yield f"{name} {x:.3f} {y:.3f}"
    for i in _held(network).tolist():
        yield f"{_before(names[i])} {network.x[i]:.3f} {network.y[i]:.3f}"
    for i in _roots_held(network).tolist():
        yield f"{_source(names[i])} {network.x[i]:.3f} {network.y[i]:.3f}"
