"""The solver against EPANET: owa-epanet, and the EPANET 2.2 that wntr brings, each in a process of its own."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from epanet_oracle import run_epanet
from piped import comb
from setout.hydraulics.emitters import Emitters
from setout.hydraulics.friction import Friction
from setout.hydraulics.network import PipeTree, solve
from setout.units import KPA_PER_M
from setout.write.packet.epanet import SolvedNetwork, write_inp

WITHIN = 1e-3

CASES = [
    # laterals, outlets, exponent, slope along, slope across, roughness of ground and mixed pipe [m], head [m]
    (2, 10, 0.5, 0.0, 0.0, 0.0, 20.0),
    (4, 25, 0.5, 0.02, -0.01, 0.1, 25.0),
    (6, 50, 0.5, -0.02, 0.02, 0.2, 35.0),
    (10, 40, 1.0, 0.01, 0.0, 0.2, 20.0),
    (10, 40, 0.75, 0.0, 0.03, 0.1, 30.0),
    (8, 60, 0.25, -0.01, 0.01, 0.2, 40.0),
    (8, 60, 0.05, 0.01, -0.03, 0.2, 40.0),
    (8, 25, 0.0, 0.02, -0.02, 0.2, 30.0),
    (20, 100, 0.5, 0.01, 0.005, 0.3, 45.0),
]


def written(folder: Path, name: str, tree: PipeTree, head: float) -> SolvedNetwork:
    n = tree.parent.size
    network = SolvedNetwork.of(tree, np.array([head]), solve(tree, head), np.arange(n, dtype=float), np.zeros(n))
    write_inp(folder / f"{name}.inp", network)
    return network


def same(network: SolvedNetwork, found: object) -> None:
    """Compare pressure and flow of every junction."""
    nodes = np.flatnonzero(network.tree.parent >= 0)
    pressure, out = found.at([network.node_id[i] for i in nodes])  # type: ignore[attr-defined]
    ours, gives = network.pressure_kpa[nodes] / KPA_PER_M, network.emitted_lph[nodes]
    assert ours.min() > 0.5, "the case leaves some emitters dry"
    assert np.abs(ours / pressure - 1).max() < WITHIN
    assert np.all(out[gives == 0] == 0)
    assert np.abs(gives[gives > 0] / out[gives > 0] - 1).max() < WITHIN


LOSSES = (
    Friction("swamee-jain", roughness_mm=0.0015),
    Friction("swamee-jain", roughness_mm=0.05, minor_share=0.2),
    Friction(roughness_c=150, minor_k=1.5),
    Friction("swamee-jain", minor_k=0.8),
)


@pytest.mark.parametrize("engine", ["owa", "wntr"])
def test_generated_networks(tmp_path: Path, engine: str) -> None:
    networks = []
    for i, (laterals, outlets, x, slope, across, rough, head) in enumerate(CASES):
        tree = comb(laterals, outlets, rng=np.random.default_rng(i), exponent=x, slope=slope, across=across, rough=rough)
        networks.append(written(tmp_path, f"a{i}", tree, head))
    for i, friction in enumerate(LOSSES):
        tree = comb(6, 40, rng=np.random.default_rng(i), rough=0.2, friction=friction)
        networks.append(written(tmp_path, f"b{i}", tree, 40.0))
    for network, found in zip(networks, run_epanet(sorted(tmp_path.glob("*.inp")), engine), strict=True):
        same(network, found)


def test_churchill_is_near_swamee_and_jain(tmp_path: Path) -> None:
    # another formula for the same friction: near, not the same; between laminar and turbulent flow they part
    tree = comb(6, 40, friction=Friction("churchill"))
    network = written(tmp_path, "churchill", tree, 40.0)
    (found,) = run_epanet([tmp_path / "churchill.inp"])
    nodes = np.flatnonzero(tree.parent >= 0)
    pressure, _ = found.at([network.node_id[i] for i in nodes])
    assert np.abs(network.pressure_kpa[nodes] / KPA_PER_M / pressure - 1).max() < 0.02


def test_dry_ends_of_steep_laterals(tmp_path: Path) -> None:
    """EPANET 2.3 lets emitters give nothing where there is no pressure, when told so, as ours do."""
    tree = comb(4, 40, slope=0.25, k=1.2)
    head = 12.0
    ours = solve(tree, head)
    n = tree.parent.size
    wet = replace(  # as if all had pressure, so that every emitter is written
        SolvedNetwork.of(tree, np.array([head]), ours, np.zeros(n), np.zeros(n)),
        pressure_kpa=np.full(n, 100.0),
        emitted_lph=tree.emitters.flow(np.full(n, 100.0 / KPA_PER_M)),
    )
    path = tmp_path / "dry.inp"
    write_inp(path, wet)
    path.write_text(path.read_text().replace("[OPTIONS]", "[OPTIONS]\nBackflow Allowed No"))
    (found,) = run_epanet([path])
    nodes = np.flatnonzero(np.asarray(tree.emitters.k) > 0)
    pressure, out = found.at([wet.node_id[i] for i in nodes])
    assert 0 < ours.dry.sum() < nodes.size
    assert ours.pressure_kpa[nodes] / KPA_PER_M == pytest.approx(pressure, abs=2e-3, rel=1e-3)
    assert ours.emitted_lph[nodes] == pytest.approx(out, abs=0.02, rel=1e-3)


def test_compensating_emitters_below_within_and_above_their_range(tmp_path: Path) -> None:
    # each part of the range is a law that EPANET has: a root below, a demand within
    tree = comb(4, 30, slope=0.05)
    flow = np.where(np.asarray(tree.emitters.k) > 0, 4.0, 0.0)
    networks = []
    for i, head in enumerate((9.0, 14.0, 30.0)):
        emitters = Emitters.rated(flow, 100.0, 0.0, 70.0, 200.0)
        networks.append(written(tmp_path, f"range{i}", replace(tree, emitters=emitters), head))
    below, within = networks[0].emitted_lph[flow > 0] < 4.0 * (1 - 1e-9), networks[2].emitted_lph[flow > 0]
    assert below.any()
    assert within == pytest.approx(np.full(within.size, 4.0))
    for network, found in zip(networks, run_epanet(sorted(tmp_path.glob("*.inp"))), strict=True):
        same(network, found)
