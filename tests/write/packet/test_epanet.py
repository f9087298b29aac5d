"""EPANET input files: what stands in them, regulators, mixed emitters, names and text from files."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from epanet_oracle import run_epanet
from piped import comb
from setout.errors import SetoutError
from setout.hydraulics.emitters import Emitters
from setout.hydraulics.network import PipeTree, Solved, solve
from setout.units import KPA_PER_M
from setout.write.packet.epanet import SolvedNetwork, node_names, write_inp


def network_of(tree: PipeTree, head: float, found: Solved | None = None) -> SolvedNetwork:
    n = tree.parent.size
    found = found or solve(tree, head)
    return SolvedNetwork.of(tree, np.array([head]), found, np.arange(n) * 1.5, np.arange(n) * -0.5)


def sections(path: Path) -> dict[str, list[list[str]]]:
    """Return the words of every section, comments left out."""
    found: dict[str, list[list[str]]] = {}
    name = ""
    for line in path.read_text("ascii").splitlines():
        if line.startswith("["):
            name = line.strip("[]")
            found[name] = []
        elif line and not line.startswith(";"):
            found[name].append(line.split())
    return found


def test_the_network_stands_in_the_file(tmp_path: Path) -> None:
    tree = comb(4, 5)
    path = tmp_path / "water.inp"
    assert write_inp(path, network_of(tree, 20.0)) == ()
    found = sections(path)
    pipes = tree.parent.size - 1
    assert [len(found[name]) for name in ("JUNCTIONS", "RESERVOIRS", "PIPES", "EMITTERS")] == [pipes, 1, pipes, 20]
    assert sum(float(row[3]) for row in found["PIPES"]) == pytest.approx(tree.length_m.sum())
    assert {float(row[4]) for row in found["PIPES"]} == {float(f"{d:.9g}") for d in set(tree.inside_mm[1:])}
    assert ["Units", "LPM"] in found["OPTIONS"]
    assert ["Emitter", "Exponent", "0.5"] in found["OPTIONS"]
    assert [float(row[1]) for row in found["EMITTERS"]] == pytest.approx([1.2 / 60] * 20)
    assert len(found["COORDINATES"]) == pipes + 1
    text = path.read_text("ascii")
    assert "Backflow protection" in text
    assert "local code" in text


def of_several_kinds() -> SolvedNetwork:
    """Return a network with emitters of exponents 0, 0.5 and 0.9."""
    tree = comb(6, 30, slope=0.02)
    own = np.flatnonzero(np.asarray(tree.emitters.k) > 0)
    x = np.full(tree.parent.size, 0.5)
    x[own[::3]], x[own[1::7]] = 0.0, 0.9
    return network_of(replace(tree, emitters=replace(tree.emitters, exponent=x)), 25.0)


def regulated(valve: int) -> SolvedNetwork:
    """Return a network with a regulator at a node, solved from there; EPANET gets main, valve and all."""
    tree, head, setting = comb(4, 20, across=0.02), 40.0, 120.0
    parent = tree.parent.copy()
    parent[valve] = -1
    behind = setting / KPA_PER_M + tree.z_m[valve]
    found = solve(replace(tree, parent=parent), np.array([head, behind]) if valve else behind)
    held = np.full(tree.parent.size, np.nan)
    held[valve] = setting
    return replace(network_of(tree, head, found), held_kpa=held)


@pytest.mark.parametrize("engine", ["owa", "wntr"])
def test_the_file_gives_our_pressures_back(tmp_path: Path, engine: str) -> None:
    networks = [of_several_kinds(), regulated(0), regulated(1)]
    paths = [tmp_path / f"{i}.inp" for i in range(3)]
    told = [" ".join(write_inp(path, network)) for path, network in zip(paths, networks, strict=True)]
    assert "one emitter exponent, here 0.5" in told[0]
    assert "demands" in told[0]
    for network, found in zip(networks, run_epanet(paths, engine), strict=True):
        nodes = np.arange(1, network.tree.parent.size)
        pressure, out = found.at([network.node_id[i] for i in nodes])
        assert pressure == pytest.approx(network.pressure_kpa[nodes] / KPA_PER_M, rel=1e-4)
        assert out == pytest.approx(network.emitted_lph[nodes], rel=1e-4, abs=1e-6)


def test_dry_emitters_are_left_out_and_named(tmp_path: Path) -> None:
    network = network_of(comb(2, 30, slope=0.3), 8.0)
    told = write_inp(tmp_path / "dry.inp", network)
    dry = int((network.pressure_kpa <= 0).sum())
    assert f"{dry} emitters without pressure give nothing and are left out." in told
    assert len(sections(tmp_path / "dry.inp")["EMITTERS"]) == 60 - dry


def test_names_are_made_plain_and_kept_apart() -> None:
    assert node_names(["A-1-1", "Hügel 2;[x]"]) == ["A-1-1", "H_gel_2__x_"]
    assert max(len(name) for name in node_names(["a" * 80, "b" * 80])) <= 27
    with pytest.raises(SetoutError, match="one name"):
        node_names(["a b", "a_b"])


def test_text_of_a_plan_starts_no_section(tmp_path: Path) -> None:
    tree = comb(2, 2)
    evil = "North\n[PIPES]\nP9 x y 1 1 1; [END]"
    network = replace(network_of(tree, 20.0), title=evil, notes=(evil,), tags=[evil] * tree.parent.size)
    write_inp(tmp_path / "text.inp", network)
    lines = (tmp_path / "text.inp").read_text("ascii").splitlines()
    assert lines.count("[PIPES]") == lines.count("[END]") == 1
    run_epanet([tmp_path / "text.inp"])


def test_a_network_with_constant_emitters_only(tmp_path: Path) -> None:
    tree = comb(2, 10)
    tree = replace(tree, emitters=Emitters(np.where(np.asarray(tree.emitters.k) > 0, 4.0, 0.0), 0.0))
    write_inp(tmp_path / "constant.inp", network_of(tree, 20.0))
    found = sections(tmp_path / "constant.inp")
    assert found["EMITTERS"] == []
    assert sum(float(row[2]) for row in found["JUNCTIONS"]) == pytest.approx(80.0 / 60)
