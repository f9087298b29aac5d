"""Pipes, zones and their files as they are written: against the network that they come from, and against each other."""

from __future__ import annotations

import csv
import re
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import shapely

from setout.layers import CONTRACTS, check, plan_layers
from setout.model import Planting
from setout.model.irrigation import LATERAL, REASONS
from setout.words.terms import TERMS
from setout.write.packet.irrigation_files import INP, VALVES, write_irrigation
from setout.write.report.water import water_section
from watered import orchard


def hill(x: Any, y: Any) -> Any:
    return 120 + 0.05 * x - 0.03 * y + 2 * np.sin(x / 20)


@pytest.fixture(scope="module")
def plan() -> Planting:
    months = [
        "1 mm/day",
        "1 mm/day",
        "2 mm/day",
        "3 mm/day",
        "4 mm/day",
        "5 mm/day",
        "6 mm/day",
        "5 mm/day",
        "4 mm/day",
        "2 mm/day",
        "1 mm/day",
        "1 mm/day",
    ]
    points = [(-45.0, 35.0, 400.0, 1500.0), (45.0, -30.0, 300.0, 2000.0)]
    return orchard(points, ground=hill, eto=months, kc=0.9, days_per_week=5, leaf_out="1 March")


@pytest.fixture(scope="module")
def layers(plan: Planting) -> dict[str, Any]:
    return {layer.contract.name: layer for layer in plan_layers(plan)}


def column(layer: Any, name: str) -> Any:
    values = layer.columns[name]
    return np.asarray(values[:] if not isinstance(values, np.ndarray) else values)


@pytest.mark.parametrize("name", ["laterals", "manifolds", "zones"])
def test_layers_keep_their_contract_and_hold_no_gap(layers: dict[str, Any], name: str) -> None:
    layer = layers[name]
    check(CONTRACTS[name], layer.columns)
    assert set(layer.columns) == {c.name for c in CONTRACTS[name].columns}
    for key in layer.columns:
        values = column(layer, key)
        assert len(values)
        assert not pd.isna(values).any(), key


def test_laterals_are_the_networks(plan: Planting, layers: dict[str, Any]) -> None:
    net, laterals = plan.irrigation.network, layers["laterals"]
    assert len(set(column(laterals, "lateral_id"))) == net.lateral.max() + 1
    own = net.kind == LATERAL
    assert column(laterals, "length_m").sum() == pytest.approx(net.length_m[own].sum())
    assert column(laterals, "trees").sum() == len(plan.trees)
    assert column(laterals, "emitters").sum() == net.emitters.sum()
    assert column(laterals, "flow_lph").sum() == pytest.approx(net.out_lph.sum(), rel=1e-6)
    lines = laterals.geometry
    assert (shapely.get_type_id(lines) == shapely.GeometryType.LINESTRING).all()
    # on the map they are level: never longer than on the slope, in a plane CRS of scale near 1
    assert (shapely.length(lines) <= column(laterals, "length_m") * 1.001).all()
    assert (column(laterals, "end_kpa") <= column(laterals, "inlet_kpa") + 5 * 9.81).all()


def test_manifolds_lead_from_the_water_points_to_every_lateral(plan: Planting, layers: dict[str, Any]) -> None:
    manifolds, laterals, points = layers["manifolds"], layers["laterals"], layers["water_points"]
    assert len(set(column(manifolds, "manifold_id"))) == len(column(manifolds, "manifold_id"))
    pipes = shapely.union_all(manifolds.geometry)
    starts = shapely.get_point(laterals.geometry, 0)
    assert shapely.distance(pipes, starts).max() < 0.01
    place = shapely.points(points.geometry.x, points.geometry.y)
    mains = manifolds.geometry[column(manifolds, "kind") == "main"]
    assert shapely.distance(shapely.get_point(mains, 0)[:, None], place).min(axis=1).max() < 0.01


def test_zones_and_trees_say_the_same(plan: Planting, layers: dict[str, Any]) -> None:
    zones, trees = layers["zones"], layers["trees"]
    named, of = np.unique(column(trees, "zone").astype(str), return_counts=True)
    assert dict(zip(named, of, strict=True)) == dict(zip(column(zones, "zone"), column(zones, "trees"), strict=True))
    flow = column(trees, "flow_lph")
    for name, drawn in zip(column(zones, "zone"), column(zones, "flow_lph"), strict=True):
        assert flow[column(trees, "zone").astype(str) == name].sum() == pytest.approx(drawn, rel=1e-9)
    reasons = set(column(trees, "water_reason"))
    assert reasons <= {TERMS[reason] for reason in REASONS}
    assert (column(trees, "watered").astype(bool) == (column(trees, "water_reason") == "need met")).all()
    fed = " ".join(column(layers["water_points"], "zone")).split()
    assert sorted(fed) == sorted(column(zones, "zone"))


def test_months_follow_the_climate(plan: Planting) -> None:
    """Need goes with the ETo of the month, and hours with the need: whole minutes."""
    for zone in plan.irrigation.zones:
        july, march = zone.hours_by_month[6], zone.hours_by_month[2]
        assert march == pytest.approx(july / 3, abs=2 / 60)
        assert july == pytest.approx(zone.hours_needed, abs=1 / 60) or zone.hours_needed == 24


def test_files_of_the_packet(plan: Planting, tmp_path: Path) -> None:
    write_irrigation(plan, tmp_path)
    with (tmp_path / VALVES).open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    valves = [name for zone in plan.irrigation.zones for name in zone.valves]
    assert sorted(row["valve"] for row in rows) == sorted(valves)
    assert sum(int(row["trees"]) for row in rows) == len(plan.trees)
    text = (tmp_path / INP).read_text(encoding="ascii")
    held = re.findall(r" PRV ([0-9.]+) ", text)
    assert sorted(float(h) * 9.7947 for h in held) == pytest.approx(
        sorted(float(row["set_regulator_kpa"]) for row in rows if row["set_regulator_kpa"]), abs=0.5
    )
    assert "local code" in text


def test_the_report_names_zones_hours_and_cautions(plan: Planting) -> None:
    said = water_section(plan)
    assert said is not None
    assert [zone["name"] for zone in said["zones"]] == [zone.name for zone in plan.irrigation.zones]
    assert all(re.fullmatch(r"\d+:\d\d", zone["hours"]) for zone in said["zones"])
    assert {what for what, _ in said["cautions"]} == {"Backflow", "Pressure", "Buried lines", "Electrical work", "The design"}
    text = " ".join(text for _, text in said["cautions"])
    assert all(word in text for word in ("local code", "relief", "chemicals", "electrician", "engineer"))
    watered = int(plan.trees.watered.sum())
    assert said["said"][0].startswith(f"{watered:,} of {len(plan.trees):,} trees")


def test_without_pipes_there_is_no_chapter_and_no_file(tmp_path: Path) -> None:
    dry = orchard([(-45.0, 0.0, 300.0, 5000.0)], emitter=None)
    assert water_section(dry) is None
    write_irrigation(dry, tmp_path)
    assert not list(tmp_path.iterdir())
    assert not {"laterals", "manifolds", "zones"} & {layer.contract.name for layer in plan_layers(dry)}


def test_without_elevations_pressures_are_null_and_no_solver_file_is_written(tmp_path: Path) -> None:
    level = orchard([(-45.0, 0.0, 300.0, 5000.0)], ground=None)
    found = {layer.contract.name: layer for layer in plan_layers(level)}
    assert np.isnan(column(found["laterals"], "inlet_kpa")).all()
    assert np.isfinite(column(found["laterals"], "length_m")).all()
    write_irrigation(level, tmp_path)
    assert not (tmp_path / INP).exists()
