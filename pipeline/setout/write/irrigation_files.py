"""Irrigation in the packet: the network for an engineer's solver, and the zones for whoever sets the controller."""

from __future__ import annotations

import csv
import math
from pathlib import Path
from typing import Final

import numpy as np

from setout.hydraulics.designed import pipe_tree
from setout.nouns import Irrigation, Network, Planting
from setout.nouns.need import MONTHS
from setout.units import FLOW, KPA_PER_M, PSI
from setout.write.epanet import SolvedNetwork, write_inp
from setout.write.stakeout import cell_text
from setout.write.water_layers import valves_by_section

INP: Final = "irrigation.inp"
ZONES: Final = "irrigation-zones.csv"
NOTE: Final = (
    "Each valve has a main of its own here, for zones run one after the other: junctions of one place may be there twice.",
    "Tags of junctions are trees; where two share emitters, the first of them.",
)


def write_irrigation(planting: Planting, folder: Path) -> None:
    """Write the network and the zones; nothing where no network was laid out.

    Parameters
    ----------
    planting : Planting
        The finished plan.
    folder : Path
        The packet's folder.
    """
    irrigation = planting.irrigation
    if irrigation is None or irrigation.network is None:
        return
    if np.isfinite(irrigation.network.pressure_kpa).all():
        write_inp(folder / INP, solved_network(planting, irrigation, irrigation.network))
    _write_zones(folder / ZONES, planting, irrigation)


def solved_network(planting: Planting, irrigation: Irrigation, network: Network) -> SolvedNetwork:
    """Return the network as it is written for a solver.

    Parameters
    ----------
    planting : Planting
        The finished plan.
    irrigation, network : Irrigation, Network
        Its pipes, solved.

    Returns
    -------
    SolvedNetwork
        Nodes named after their valve and number, tagged with their trees.
    """
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
    ids = planting.facts["tree_id"]
    tags = [str(ids[t]) if t >= 0 else "" for t in network.tree.tolist()]
    return SolvedNetwork(
        pipe_tree(irrigation.settings, network), head, network.out_lph, network.pressure_kpa, network.x, network.y, names,
        held, tags, f"Irrigation of {planting.site.name}", NOTE,
    )  # fmt: skip


def clock(hours: float) -> str:
    """Write hours as a controller takes them; empty where unknown.

    >>> clock(7.533333333), clock(0.0), clock(float("nan"))
    ('7:32', '0:00', '')
    """
    if not math.isfinite(hours):
        return ""
    minutes = round(hours * 60)
    return f"{minutes // 60}:{minutes % 60:02d}"


def _write_zones(path: Path, planting: Planting, irrigation: Irrigation) -> None:
    water = planting.site.water
    assert water is not None
    us = planting.site.units == "us"
    flow, pressure = ("gal/min", "psi") if us else ("l/h", "kPa")
    head = [
        "zone", "valves", "water point", "blocks", "trees", "start after (h:mm)", "run at peak (h:mm)", "days a week",
        f"flow ({flow})", f"pressure behind valve ({pressure})", *(f"{month} (h:mm)" for month in MONTHS),
    ]  # fmt: skip
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(head)
        for zone in irrigation.zones:
            drawn = zone.flow_lph / FLOW["gpm"] if us else zone.flow_lph
            behind = zone.valve_kpa / PSI if us else zone.valve_kpa
            months = zone.hours_by_month or (math.nan,) * 12
            writer.writerow(
                [
                    zone.name, " ".join(zone.valves), cell_text(water.points.name[zone.water_point]),
                    " / ".join(cell_text(name) for name in zone.blocks), zone.trees, clock(zone.start), clock(zone.hours),
                    zone.days_per_week, _number(drawn), _number(behind), *(clock(h) for h in months),
                ]
            )  # fmt: skip


def _number(value: float) -> str:
    return f"{value:.1f}" if math.isfinite(value) else ""
