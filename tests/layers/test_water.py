"""Pipes, zones and their files as they are written: against the network that they come from, and against each other."""

from __future__ import annotations

import base64
import csv
import dataclasses
import re
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import Transformer

from setout.layers import CONTRACTS, check, plan_layers
from setout.model import Planting
from setout.model.irrigation import LATERAL, REASONS
from setout.words.terms import TERMS
from setout.write.map import pipes as pipelayer
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


UNITS = {"si": {}, "us": {"in": 1 / 25.4, "ft": 1 / 0.3048, "gal/min": 1 / (60 * 3.785411784), "psi": 1 / 6.894757, "ft/s": 1 / 0.3048}}
"""Factors from mm, m, l/h, kPa and m/s (NIST SP 811, appendix B)."""


@pytest.mark.parametrize("units", ["si", "us"])
@pytest.mark.parametrize(("name", "draw"), [("laterals", pipelayer.laterals), ("manifolds", pipelayer.mains)])
def test_pipes_on_the_map_lie_as_planned_in_their_zones_colours(plan, layers, name, draw, units) -> None:
    """Taken back by PROJ from Web Mercator; drawn to 5 cm, stored to 1 mm."""
    shown = dataclasses.replace(plan, site=dataclasses.replace(plan.site, units=units))
    ((entry, drawn),) = draw(shown)
    data, planned = drawn.data, layers[name]
    assert f"{planned.rows:,}" in entry.count
    xy = (np.frombuffer(base64.b64decode(data["points"]), "<i4").reshape(-1, 2) + data["origin"]) / 1000
    points = np.column_stack(Transformer.from_crs(3857, plan.site.frame.survey_crs, always_xy=True).transform(*xy.T))
    pieces = np.array([shapely.LineString(piece) for piece in np.split(points, np.cumsum(data["lengths"])[:-1])], object)
    assert sorted(set(data["of"])) == list(range(planned.rows))
    for k, line in enumerate(planned.geometry):
        back = shapely.multilinestrings(pieces[np.array(data["of"]) == k])
        assert shapely.hausdorff_distance(back, line, densify=0.1) < 0.06
    zones = [zone.name for zone in plan.irrigation.zones]
    assert [zones[k] for k in drawn.plan_options["groups"]] == column(planned, "zone").tolist()
    about = data["about"]
    raw = base64.b64decode(about["bytes"])
    for field in about["columns"]:
        if field["kind"] != "number" or field["name"] in "xy":
            continue
        codes = np.frombuffer(raw, "<" + field["type"], about["n"], field["at"]).astype(float)
        stored = (field["offset"] + codes) * field["step"]
        np.testing.assert_allclose(stored, column(planned, field["name"]), atol=0.51 * field["step"])
        assert field["factor"] == pytest.approx(UNITS[units].get(field["unit"], 1.0), rel=1e-6), field["name"]


def test_mains_are_drawn_wider_than_manifolds(plan, layers) -> None:
    ((_, drawn),) = pipelayer.mains(plan)
    widths = np.array(drawn.plan_options["widths"])[drawn.plan_options["kinds"]]
    main = column(layers["manifolds"], "kind") == "main"
    assert main.any()
    assert not main.all()
    assert widths[main].min() > widths[~main].max()


def test_valves_are_listed_with_flow_pressure_and_pipes_in_the_growers_units(plan, layers, tmp_path: Path) -> None:
    """A gallon a minute is 227.1247 l/h, a psi 6.894757 kPa, an inch 25.4 mm (NIST SP 811, appendix B)."""
    listed = {}
    for units in ("si", "us"):
        (tmp_path / units).mkdir()
        write_irrigation(dataclasses.replace(plan, site=dataclasses.replace(plan.site, units=units)), tmp_path / units)
        listed[units] = pd.read_csv(tmp_path / units / VALVES).set_index("valve").sort_index()
    si, us = listed["si"], listed["us"]
    net, pipes = plan.irrigation.network, layers["manifolds"]
    assert si["flow_lph"].sum() == pytest.approx(net.out_lph.sum(), abs=0.1 * len(si))
    for name in si.index:
        for kind in ("main", "manifold"):
            own = (column(pipes, "valve").astype(str) == name) & (column(pipes, "kind") == kind)
            assert si.loc[name, f"{kind}_inside_mm"] == pytest.approx(column(pipes, "diameter_mm")[own].max(), abs=6e-4)
    np.testing.assert_allclose(us["flow_gpm"] * 227.1247, si["flow_lph"], atol=0.06 * 227.2)
    np.testing.assert_allclose(us["set_regulator_psi"] * 6.894757, si["set_regulator_kpa"], atol=0.06 * 6.9)
    assert si["set_regulator_kpa"].notna().any()
    for kind in ("main", "manifold"):
        np.testing.assert_allclose(us[f"{kind}_inside_in"] * 25.4, si[f"{kind}_inside_mm"], atol=6e-4 * 25.4)
