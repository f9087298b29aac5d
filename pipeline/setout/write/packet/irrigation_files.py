"""Irrigation in the packet: the network for an engineer's solver, and the valves for whoever sets the regulators."""

from __future__ import annotations

import csv
import math
from pathlib import Path
from typing import Final

import numpy as np

from setout.hydraulics.designed import pipe_tree
from setout.layers.pipes import valves_by_section
from setout.model import Bools, Irrigation, Network, Planting
from setout.model.irrigation import LATERAL, MAIN, MANIFOLD
from setout.units import FLOW, KPA_PER_M, PSI
from setout.write.packet.epanet import SolvedNetwork, write_inp
from setout.write.packet.stakeout import cell_text

INP: Final = "irrigation.inp"
VALVES: Final = "irrigation_valves.csv"
NOTE: Final = (
    "Each valve has a main of its own here, for zones run one after the other: junctions of one place may be there twice.",
    "Tags of junctions are trees; where two share emitters, the first of them.",
)


def write_irrigation(planting: Planting, folder: Path) -> None:
    """Write the network and the valves; nothing where no network was laid out."""
    irrigation = planting.irrigation
    if irrigation is None or irrigation.network is None:
        return
    if np.isfinite(irrigation.network.pressure_kpa).all():
        write_inp(folder / INP, solved_network(planting, irrigation, irrigation.network))
    _write_valves(folder / VALVES, planting, irrigation, irrigation.network)


def solved_network(planting: Planting, irrigation: Irrigation, network: Network) -> SolvedNetwork:
    """Return the network as it is written for a solver."""
    water = planting.site.water
    assert water is not None
    roots = np.flatnonzero(network.parent < 0)
    held = np.full(len(network), np.nan)
    valve = np.flatnonzero(network.is_valve)
    held[valve] = network.valve_kpa[network.section[valve]]
    source = np.array([irrigation.zones[z].water_point for z in network.zone[roots].tolist()])
    head = water.points.pressure_kpa[source] / KPA_PER_M + network.z[roots]
    count = np.zeros(len(network.valve_kpa), np.int64)
    names = []
    of_section = valves_by_section(irrigation, network)
    for s in network.section.tolist():
        names.append(f"{of_section[s]}.{count[s]}")
        count[s] += 1
    ids = planting.trees.ids
    tags = [str(ids[t]) if t >= 0 else "" for t in network.tree.tolist()]
    return SolvedNetwork(
        pipe_tree(irrigation.settings, network),
        head,
        network.out_lph,
        network.pressure_kpa,
        network.x,
        network.y,
        names,
        held,
        tags,
        f"Irrigation of {planting.site.name}",
        NOTE,
    )


def _write_valves(path: Path, planting: Planting, irrigation: Irrigation, network: Network) -> None:
    """Write a line a valve: what it opens, and what its regulator is set to."""
    water = planting.site.water
    assert water is not None
    us = planting.site.units == "us"
    flow, pressure, size = ("gpm", "psi", "in") if us else ("lph", "kpa", "mm")
    per_flow, per_kpa, per_mm = (FLOW["gpm"], PSI, 25.4) if us else (1.0, 1.0, 1.0)
    head = [
        "valve",
        "zone",
        "water_point",
        "blocks",
        "first_row",
        "last_row",
        "trees",
        f"flow_{flow}",
        f"set_regulator_{pressure}",
        f"main_inside_{size}",
        f"manifold_inside_{size}",
    ]
    names = valves_by_section(irrigation, network)
    trees = np.bincount(network.section[irrigation.node[irrigation.node >= 0]], minlength=len(names))
    drawn = np.bincount(network.section, weights=np.nan_to_num(network.out_lph), minlength=len(names))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(head)
        for s, name in enumerate(names):
            own = network.section == s
            laterals = own & (network.kind == LATERAL)
            zone = irrigation.zones[int(network.zone[own][0])]
            blocks = [cell_text(planting.site.blocks[b].name) for b in np.unique(network.block[laterals]).tolist()]
            rows = network.row[laterals]
            writer.writerow(
                [
                    name,
                    zone.name,
                    cell_text(water.points.name[zone.water_point]),
                    " / ".join(blocks),
                    int(rows.min()),
                    int(rows.max()),
                    int(trees[s]),
                    _number(drawn[s] / per_flow),
                    _number(network.valve_kpa[s] / per_kpa),
                    _number(_inside(network, own, MAIN) / per_mm, 3),
                    _number(_inside(network, own, MANIFOLD) / per_mm, 3),
                ]
            )


def _inside(network: Network, own: Bools, kind: int) -> float:
    """Return the widest inside diameter of a section's pipes of one kind [mm]; NaN where it has none."""
    sizes = network.inside_mm[own & (network.kind == kind)]
    return float(sizes.max()) if len(sizes) else float("nan")


def _number(value: float, digits: int = 1) -> str:
    return f"{value:.{digits}f}" if math.isfinite(value) else ""
