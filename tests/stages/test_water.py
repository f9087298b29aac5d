"""Pipes, zones and hours of whole plans, held against hand calculation, simple looks of their own, and the plan's words."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from setout.errors import SetoutError
from setout.model import Planting
from setout.model.irrigation import LATERAL, MAIN, MANIFOLD, REASONS, SOURCE
from setout.stages import water
from setout.stages.water.pressure import mendable
from setout.stages.water.sizing import Feeds
from setout.words.findings import told as in_words
from watered import EMITTER, SQUARE, orchard

KPA_PER_M = 62.4 / 144 * 6.894757293168361 / 0.3048
"""Water of 62.4 lb/ft3, as the plan's pressures have it."""
ETO = "6 mm/day"
QUICK = (Phase.explicit, Phase.reuse, Phase.generate)
"""No shrinking: a whole plan takes a while."""


def reasons(plan: Planting) -> dict[str, int]:
    code = plan.trees.reason_index
    return {REASONS[c]: int((code == c).sum()) for c in np.unique(code).tolist() if c >= 0}


def codes(plan: Planting) -> list[str]:
    return [finding.code for finding in plan.findings]


# ---------------------------------------------------------------- by hand


def hazen_williams_m(flow_lph: float, length_m: float, inside_mm: float, c: float) -> float:
    """h = 10.67 L Q^1.852 / (C^1.852 d^4.87) in m and m3/s, as handbooks print it."""
    return 10.67 * length_m * (flow_lph / 3.6e6) ** 1.852 / (c**1.852 * (inside_mm / 1000) ** 4.8704)


def test_a_single_row_by_hand() -> None:
    """Five trees 5 m apart on one lateral, pipe by pipe from its end to the water point by the handbook's formula."""
    row = {"name": "A", "pattern": "points", "points": "tree", "spread": "4 m"}
    trees = [shapely.Point(x, 0) for x in (0, 5, 10, 15, 20)]
    emitter = {"flow": "150 l/h", "at": "100 kPa", "exponent": 0.5}
    # a block of points has a row for each tree: each hangs on the manifold by a short lateral of its own
    plan = orchard(
        [(-20.0, 0.0, 60.0, 5000.0)],
        block=row,
        layers={"tree": trees},
        emitter=emitter,
        minor_loss=0.0,
        lateral={"diameter": "13 mm", "roughness_c": 140},
        manifold={"diameter": "16 mm", "roughness_c": 150},
        main={"diameter": "20 mm", "roughness_c": 150},
    )
    net = plan.irrigation.network
    assert np.isnan(net.valve_kpa).all()  # 60 kPa at the source: nothing to regulate

    def drop(node: int, flow: float) -> float:
        c = 140 if net.kind[node] == LATERAL else 150
        return hazen_williams_m(flow, net.length_m[node], net.inside_mm[node], c) * KPA_PER_M

    # relax pressures and flows until they agree: slow, and nothing like Newton's method on lines
    pressure = np.full(len(net), 60.0)
    for _ in range(400):
        out = np.where(net.emitters > 0, 150 * net.emitters * np.sqrt(np.maximum(pressure, 0) / 100), 0.0)
        flow = out.copy()
        for node in range(len(net) - 1, 0, -1):
            flow[net.parent[node]] += flow[node] if net.parent[node] >= 0 else 0.0
        new = pressure.copy()
        for node in range(len(net)):
            if net.parent[node] >= 0:
                new[node] = new[net.parent[node]] - drop(node, flow[node])
        pressure = 0.5 * pressure + 0.5 * new
    assert net.pressure_kpa == pytest.approx(pressure, rel=2e-3)
    own = net.emitters > 0
    assert net.out_lph[own] == pytest.approx(150 * np.sqrt(pressure[own] / 100), rel=1e-3)
    assert pressure[own].min() < 0.97 * 60


def test_regulators_hold_what_the_emitters_are_rated_for() -> None:
    """On level ground with friction within its limit emitters give on average what they are rated for."""
    plan = orchard([(-45.0, 0.0, 400.0, 20000.0)])
    net, facts = plan.irrigation.network, plan.trees
    assert np.isfinite(net.valve_kpa).all()
    assert facts.pressure_kpa.mean() == pytest.approx(100.0, rel=0.02)
    assert facts.flow_lph.mean() == pytest.approx(8.0, rel=0.02)
    spread = facts.pressure_kpa.max() - facts.pressure_kpa.min()
    assert spread <= 0.2 * 100.0 * 1.001
    assert "water_spread" not in codes(plan)


# ---------------------------------------------------------------- the network


def hill(x: Any, y: Any) -> Any:
    return 100 + 0.04 * x + 0.02 * y + 1.5 * np.sin(x / 25)


CASES: dict[str, dict[str, Any]] = {
    "level": {"points": [(-45.0, -35.0, 350.0, 3000.0)]},
    "hill": {"points": [(-45.0, 35.0, 400.0, 2500.0), (45.0, -30.0, 300.0, 4000.0)], "ground": hill},
    "compensating": {
        "points": [(0.0, 0.0, 350.0, 2000.0)],
        "ground": hill,
        "emitter": {"flow": "4 l/h", "at": "100 kPa", "range": ["70 kPa", "300 kPa"], "per_tree": 2},
    },
    "shared": {"points": [(-45.0, 0.0, 350.0, 3000.0)], "emitter": {"flow": "8 l/h", "at": "100 kPa", "trees_per_emitter": 2}},
    "pairs": {
        "points": [(-45.0, 0.0, 350.0, 3000.0)],
        "block": SQUARE | {"step": "6 m", "pattern": "rectangular", "row_distance": "6 m", "pair": {"distance": "1 m"}},
    },
    "beds": {
        "points": [(-45.0, 0.0, 350.0, 3000.0)],
        "block": {
            "name": "A",
            "pattern": "bed",
            "bed": {"length": "3 m", "width": "1.5 m", "gap": "1 m"},
            "step": "0.5 m",
            "row_distance": "3 m",
            "lines": 2,
            "line_distance": "0.6 m",
            "direction": "N 30 E",
            "spread": "0.5 m",
        },
        "emitter": {"flow": "2 l/h", "at": "100 kPa"},
    },
    "weak": {"points": [(-45.0, 0.0, 70.0, 3000.0)], "friction": "darcy-weisbach"},
}


@pytest.fixture(scope="module", params=CASES)
def plan(request: pytest.FixtureRequest) -> Planting:
    return orchard(**CASES[request.param], eto=ETO)


def test_every_tree_hangs_on_one_pipe_from_one_water_point(plan: Planting) -> None:
    water, net, trees = plan.irrigation, plan.irrigation.network, plan.trees
    assert (water.node >= 0).all()
    x, y = net.x[water.node], net.y[water.node]
    emitter = water.settings.emitter
    shared = emitter.trees_per_emitter > 1 or plan.site.blocks[0].pattern.pair is not None
    far = np.hypot(x - trees.x, y - trees.y)
    assert far.max() <= (3.0 if shared else 1e-6)
    roots = np.flatnonzero(net.parent < 0)
    assert (net.kind[roots] == SOURCE).all()
    root = np.arange(len(net))
    while (net.parent[root] >= 0).any():
        root = np.where(net.parent[root] >= 0, net.parent[root], root)
    points = plan.site.water.points
    zone_point = np.array([zone.water_point for zone in water.zones])
    at = zone_point[net.zone]
    assert np.hypot(net.x[root] - points.x[at], net.y[root] - points.y[at]).max() < 1e-6
    assert (plan.trees.water_index == at[water.node]).all()
    emitters = len(trees) * emitter.per_tree
    if emitter.trees_per_emitter == 1:
        assert net.emitters.sum() == emitters
    else:
        assert len(trees) / 2 <= net.emitters.sum() <= len(trees) / 2 + len(np.unique(net.lateral))


def test_lengths_are_true_on_the_slope(plan: Planting) -> None:
    net = plan.irrigation.network
    own = np.flatnonzero(net.parent >= 0)
    up = net.parent[own]
    length = np.sqrt((net.x[own] - net.x[up]) ** 2 + (net.y[own] - net.y[up]) ** 2 + (net.z[own] - net.z[up]) ** 2)
    assert net.length_m[own] == pytest.approx(length, abs=1e-9)
    assert (net.length_m[own] > 0).all()


def test_mass_balance(plan: Planting) -> None:
    net = plan.irrigation.network
    beyond = np.bincount(net.parent[net.parent >= 0], weights=net.flow_lph[net.parent >= 0], minlength=len(net))
    assert net.flow_lph == pytest.approx(beyond + net.out_lph, rel=1e-6, abs=1e-6)
    zones = np.bincount(net.zone, weights=net.out_lph)
    for zone, drawn in zip(plan.irrigation.zones, zones, strict=True):
        assert zone.flow_lph == pytest.approx(drawn, rel=1e-9)
        assert drawn <= plan.site.water.points.flow_lph[zone.water_point] * 1.001
    per_tree = plan.trees.flow_lph.sum()
    assert per_tree == pytest.approx(net.out_lph.sum(), rel=1e-9)


def test_trees_called_watered_get_their_need_within_the_hours(plan: Planting) -> None:
    water, facts = plan.irrigation, plan.trees
    hours = np.array([zone.hours for zone in water.zones])[facts.zone_index]
    got = facts.flow_lph * hours * water.settings.days_per_week / 7
    met = got >= facts.need_lpd * (1 - 1e-9)
    assert (facts.watered.astype(bool) == met).all()
    assert np.isfinite(facts.need_lpd).all()
    for source in water.sources:
        assert source.hours <= water.settings.hours_per_day + 1e-9
        assert source.drawn_lph <= source.given_lph * 1.001


def test_sizes_and_velocities(plan: Planting) -> None:
    water, net = plan.irrigation, plan.irrigation.network
    pipes = water.settings.pipes
    for kind, sizes in ((LATERAL, pipes.lateral_mm), (MAIN, pipes.main_mm)):
        assert set(np.unique(net.inside_mm[net.kind == kind]).tolist()) <= set(sizes)
    own = net.parent >= 0
    speed = net.flow_lph[own] / 3.6e6 / (np.pi / 4 * (net.inside_mm[own] / 1000) ** 2)
    assert speed.max() <= 1.524 * 1.02 or "water_fast" in codes(plan)


def test_materials_agree_with_the_pipes(plan: Planting) -> None:
    net = plan.irrigation.network
    lines = [line for line in plan.materials if line.item == "pipe_lateral"]
    assert sum(line.quantity for line in lines) == pytest.approx(1.05 * net.length_m[net.kind == LATERAL].sum())
    mains = [line for line in plan.materials if line.item == "pipe_main"]
    assert sum(line.quantity for line in mains) <= 1.05 * net.length_m[net.kind == MAIN].sum() * (1 + 1e-9)
    (valves,) = ([line.quantity for line in plan.materials if line.item == "valve"],)
    assert sum(valves) == len(net.valve_kpa) == sum(len(zone.valves) for zone in plan.irrigation.zones)


# ---------------------------------------------------------------- barriers


ROAD = shapely.LineString([(-60, 6), (60, 6)])


def pipes_of(plan: Planting) -> np.ndarray:
    net = plan.irrigation.network
    own = np.flatnonzero(net.parent >= 0)
    ends = np.column_stack([net.x[own], net.y[own], net.x[net.parent[own]], net.y[net.parent[own]]])
    return shapely.linestrings(ends.reshape(-1, 2, 2))


def test_pipes_cross_a_road_only_in_its_sleeve() -> None:
    plan = orchard(
        [(-45.0, -35.0, 400.0, 5000.0)], layers={"road": ROAD, "sleeve": shapely.Point(-30, 6)}, barriers="road", sleeves="sleeve"
    )
    (road,) = plan.site.water.barriers
    (sleeve,) = plan.site.water.sleeves
    crossing = shapely.intersection(pipes_of(plan), road)
    crossing = crossing[~shapely.is_empty(crossing)]
    assert len(crossing)
    assert shapely.distance(crossing, sleeve).max() <= 0.5 + 0.01
    assert (plan.irrigation.node >= 0).all()


def test_a_barrier_all_round_leaves_its_trees_dry_and_says_so() -> None:
    ring = shapely.Point(10, 0).buffer(15).exterior
    plan = orchard([(-45.0, -35.0, 400.0, 5000.0)], layers={"ring": ring}, barriers="ring", beyond_reach="plant", eto="2 mm/day")
    inside = shapely.contains_xy(shapely.Polygon(plan.site.water.barriers[0].coords), plan.trees.x, plan.trees.y)
    assert inside.sum() > 10
    assert (plan.trees.reason_index[inside] == REASONS.index("barrier")).all()
    on_it = shapely.distance(plan.site.water.barriers[0], shapely.points(plan.trees.x, plan.trees.y)) < 0.02
    assert (plan.trees.reason_index[~inside & ~on_it] == REASONS.index("need_met")).all()
    assert not plan.trees.watered[inside].any()
    (told,) = [f for f in plan.findings if f.code == "not_watered"]
    assert "barrier" in in_words(told, "us").message
    assert "sleeve" in in_words(told, "us").remedy
    assert not shapely.intersects(pipes_of(plan), plan.site.water.barriers[0]).any()


# ---------------------------------------------------------------- reasons


def test_no_pipe_goes_round_a_road_over_the_neighbours_ground() -> None:
    """A road a few paces over both fences: the only way to the other side leads round its end, and is none."""
    point, road = [(-45.0, 0.0, 300.0, 20000.0)], shapely.LineString([(0, -43), (0, 43)])
    plan = orchard(point, layers={"road": road}, barriers=["road"], beyond_reach="plant", eto="2 mm/day")
    east = plan.trees.x > 0.02
    assert (plan.trees.reason_index[east] == REASONS.index("barrier")).all()
    assert (plan.trees.reason_index[plan.trees.x < -0.02] == REASONS.index("need_met")).all()
    assert shapely.covers(shapely.buffer(plan.site.boundary, 0.01), pipes_of(plan)).all()
    assert (orchard(point, layers={"road": road}, barriers=["road"]).trees.x <= 0.02).all()


BARN = shapely.box(-20, -26, -8, 30)
POND = shapely.Point(20, -10).buffer(9)
YARD = shapely.box(28, 10, 44, 30)
SETBACKS = {
    "setback": [{"from": "barn", "distance": "2 m", "why": "barn"}, {"from": "pond", "distance": "0 m", "why": "pond"}],
    "no_plant": [{"from": "yard", "why": "yard"}],
}
SHAPES = {"barn": BARN, "pond": POND, "yard": YARD}
NOTCHED = shapely.box(-50, -40, 50, 40).difference(shapely.box(0, 12, 10, 41)).difference(shapely.box(-40, -10, -34, 4))
ACROSS = SQUARE | {"direction": "east-west"}


def inside(plan: Planting, shapes: list[shapely.Geometry]) -> float:
    """Return the length of pipe more than 1 cm inside some of the site's areas [m]."""
    net = shapely.union_all(pipes_of(plan))
    return sum(float(shapely.intersection(net, shapely.buffer(g, -0.01)).length) for g in shapes)


def closed_of(plan: Planting) -> list[shapely.Geometry]:
    return [g for rule in (*plan.site.setbacks, *plan.site.no_plant) for g in rule.geometry]


@pytest.mark.parametrize("block", [SQUARE, ACROSS, SQUARE | {"direction": "N 35 E"}], ids=["along", "across", "askew"])
@pytest.mark.parametrize(
    "more",
    [{}, {"emitter": {"flow": "8 l/h", "at": "100 kPa", "trees_per_emitter": 2}}, {"max_run": "130 m"}],
    ids=["plain", "shared", "limited"],
)
def test_no_pipe_runs_through_buildings_ponds_yards_or_over_the_line(block: dict[str, Any], more: dict[str, Any]) -> None:
    """Measured on the original vectors; a notch and a hole of the property among them."""
    plan = orchard(
        [(-45.0, -35.0, 400.0, 9000.0), (49.0, 39.0, 400.0, 9000.0)],
        block=block,
        layers=SHAPES,
        sections=SETBACKS,
        land=NOTCHED,
        eto="2 mm/day",
        **more,
    )
    assert inside(plan, closed_of(plan)) == 0.0
    assert shapely.covers(shapely.buffer(plan.site.boundary, 0.01, join_style="mitre"), pipes_of(plan)).all()
    assert (plan.irrigation.node >= 0).all()
    assert reasons(plan) == {"need_met": len(plan.trees)}


def test_a_sleeve_leads_through_a_building_and_a_road_needs_one() -> None:
    """A paved road as an area behind a setback, from fence to fence: beyond it nothing is planted until a sleeve is named."""
    road = {"road": shapely.box(-4, -41, 4, 41), "sleeve": shapely.LineString([(-5, 0), (5, 0)])}
    rule = {"setback": [{"from": "road", "distance": "3 m", "why": "road"}]}
    point = [(-45.0, 0.0, 400.0, 9000.0)]
    shut = orchard(point, layers=road, sections=rule)
    assert (shut.trees.x < 0).all()
    (told,) = [f for f in shut.findings if f.code == "reach_cut_off"]
    assert "sleeve" in in_words(told, "us").remedy
    assert float(in_words(told, "si").measured.split()[0]) == pytest.approx(0.368, abs=0.005)  # 46 m by 80 m, in hectares
    dry = orchard(point, layers=road, sections=rule, beyond_reach="plant", eto="2 mm/day")
    assert (dry.trees.reason_index[dry.trees.x > 0] == REASONS.index("barrier")).all()
    led = orchard(point, layers=road, sections=rule, sleeves="sleeve", eto="2 mm/day")
    assert (led.trees.x > 0).sum() > 100
    assert reasons(led) == {"need_met": len(led.trees)}
    through = shapely.difference(shapely.union_all(pipes_of(led)), shapely.buffer(led.site.water.sleeves[0], 0.51))
    assert shapely.intersection(through, shapely.buffer(closed_of(led)[0], -0.01)).is_empty


@pytest.mark.parametrize("point", [(-9.0, 0.0), (-60.0, 30.0)], ids=["pump house", "street"])
def test_a_water_point_in_a_pump_house_or_at_the_street_has_a_way_out(point: tuple[float, float]) -> None:
    """The shortest, and no other: a pipe from the house's west side does not run through it to the east."""
    house = shapely.box(-10, -10, 10, 10)
    plan = orchard(
        [(*point, 400.0, 9000.0)],
        layers={"house": house},
        eto="2 mm/day",
        sections={"setback": [{"from": "house", "distance": "2 m", "why": "pump house"}]},
    )
    out = shapely.LineString([(-9.0, 0.0), (-10.0, 0.0)]).buffer(0.52)
    rest = shapely.difference(shapely.union_all(pipes_of(plan)), out)
    assert shapely.intersection(rest, shapely.buffer(house, -0.01)).is_empty
    over = shapely.intersection(rest, shapely.boundary(shapely.buffer(plan.site.boundary, 0.01)))
    assert over.is_empty == (point[0] > -50)
    assert over.is_empty or shapely.hausdorff_distance(over, shapely.Point(-50, 30)) <= 0.52
    assert reasons(plan) == {"need_met": len(plan.trees)}


@pytest.mark.parametrize("away", [0.006, 0.009, 0.012, 0.2])
def test_a_row_that_ends_at_a_pond_is_reached_from_where_it_can_be(away: float) -> None:
    """The pond's edge a few millimetres beyond the last trees of rows, where their manifold would stand."""
    point = {"points": [(-45.0, -35.0, 400.0, 9000.0)], "beyond_reach": "plant", "eto": "2 mm/day"}
    bare = orchard(**point)
    y = np.unique(np.round(bare.trees.y, 3))
    edge, far = y[len(y) // 2] + away, y[len(y) // 2 + 3] - away
    # a lane beside the pond leads on
    pond = shapely.box(-60, edge, 46, far)
    plan = orchard(**point, layers={"pond": pond}, barriers="pond")
    wet = shapely.contains_xy(shapely.buffer(pond, 0.004), plan.trees.x, plan.trees.y)
    assert len(plan.trees) == len(bare.trees)
    assert wet.any()
    assert (plan.trees.reason_index[wet] == REASONS.index("barrier")).all()
    assert (plan.trees.reason_index[~wet] == REASONS.index("need_met")).all()


def test_a_pipe_through_a_screen_is_told() -> None:
    """The screen stands between the water point and all other trees."""
    hedge = {"name": "H", "pattern": "screen", "line": "hedge", "step": "2 m", "spread": "2 m", "height": "3 m"}
    plan = orchard([(-49.0, 0.0, 400.0, 9000.0)], layers={"hedge": shapely.LineString([(-47, -39.5), (-47, 39.5)])}, block=[hedge, SQUARE])
    (told,) = [f for f in plan.findings if f.code == "pipe_through_screen"]
    assert "screen H" in in_words(told, "us").message
    assert shapely.distance(told.geometry, shapely.LineString([(-47, -39.5), (-47, 39.5)])) < 0.01
    west = orchard([(0.0, 0.0, 400.0, 9000.0)], block=[SQUARE])
    assert "pipe_through_screen" not in codes(west)


def test_too_far() -> None:
    plan = orchard([(-45.0, 0.0, 400.0, 5000.0)], max_run="60 m", beyond_reach="plant", eto=ETO)
    far = np.hypot(plan.trees.x - plan.site.water.points.x[0], plan.trees.y - plan.site.water.points.y[0]) > 60
    assert far.any()
    assert (plan.trees.reason_index[far] == REASONS.index("too_far")).all()
    assert not (plan.trees.reason_index[~far] == REASONS.index("too_far")).any()


@pytest.mark.parametrize("floor", ["80 kPa", None])
def test_too_high(floor: str | None) -> None:
    """Ground rises 30 m over the field: 200 kPa lift water 20 m, less what emitters ask."""
    plan = orchard(
        [(-45.0, 0.0, 200.0, 5000.0)],
        ground=lambda x, _: 115 + 0.3 * x,
        min_pressure=floor,
        beyond_reach="plant",
        eto=ETO,
        emitter={"flow": "4 l/h", "at": "100 kPa", "range": ["80 kPa", "300 kPa"]},
    )
    z = plan.trees.elevation_m
    static = 200.0 - KPA_PER_M * (z - plan.site.water.points.z[0])
    high = static < 80.0 - 0.01
    assert high.any()
    assert (plan.trees.reason_index[high] == REASONS.index("too_high")).all()
    assert not plan.trees.watered[high].any()
    assert not (plan.trees.reason_index[~high] == REASONS.index("too_high")).any()


def test_a_fall_larger_than_the_pressure() -> None:
    """60 m of fall below the water point add some 590 kPa: regulators hold it, and what they cannot is told."""
    plan = orchard([(-45.0, 0.0, 150.0, 5000.0)], ground=lambda x, _: 130 - 0.6 * x, eto=ETO)
    assert np.isfinite(plan.trees.pressure_kpa).all()
    assert "water_spread" in codes(plan)
    (told,) = [f for f in plan.findings if f.code == "water_spread"]
    assert in_words(told, "us").measured
    assert "compensating" in in_words(told, "us").remedy


def test_too_little_pressure_is_told_with_its_remedy() -> None:
    plan = orchard(
        [(-45.0, 0.0, 60.0, 5000.0)],
        eto=ETO,
        emitter={"flow": "4 l/h", "at": "100 kPa", "range": ["55 kPa", "300 kPa"]},
        lateral={"diameter": "8 mm"},
        manifold={"diameter": "12 mm"},
    )
    low = plan.trees.pressure_kpa < 55 - 0.01
    assert low.any()
    assert (plan.trees.reason_index[low] == REASONS.index("low_pressure")).all()
    told = [f for f in plan.findings if f.code == "not_watered" and f.figures["reason"] == "low_pressure"]
    assert len(told) == 1
    assert in_words(told[0], "us").measured
    assert in_words(told[0], "us").remedy


def test_too_little_flow() -> None:
    """One emitter of 0.5 l/h gives 12 litres in a day of 24 hours: no more."""
    plan = orchard([(-45.0, 0.0, 300.0, 9000.0)], eto="10 mm/day", emitter={"flow": "0.5 l/h", "at": "100 kPa", "exponent": 0})
    need = plan.trees.need_lpd
    assert (need > 12).all()
    assert reasons(plan) == {"low_flow": len(plan.trees)}


def test_hours_run_out() -> None:
    emitter = {"flow": "12 l/h", "at": "100 kPa", "per_tree": 2}
    plan = orchard([(-45.0, 0.0, 300.0, 800.0)], eto="8 mm/day", hours_per_day=10, emitter=emitter)
    given = 800.0 * 10
    assert plan.trees.need_lpd.sum() > given
    told = reasons(plan)
    assert told["hours_out"] > 0
    watered = plan.trees.watered.astype(bool)
    assert plan.trees.need_lpd[watered].sum() <= given
    assert {"not_watered", "water_source_short"} <= set(codes(plan))
    (source,) = plan.irrigation.sources
    assert source.spare_lpd == pytest.approx(given - plan.trees.need_lpd.sum())


def test_hours_run_out_beside_a_block_whose_need_is_unknown() -> None:
    """What the zones want is a number, though that of one of them is not known."""
    told = {"pattern": "square", "step": "5 m", "direction": "north-south"}
    blocks = [
        {"name": "A", "area": "west", "plants": [{"plant": "apple, semi-dwarf"}], **told},
        {"name": "B", "area": "east", "plants": [{"plant": "fig, standard"}], **told},
    ]
    layers = {"west": shapely.box(-50, -40, 0, 40), "east": shapely.box(0, -40, 50, 40)}
    plan = orchard(
        [(-1.0, 0.0, 300.0, 400.0)],
        eto="8 mm/day",
        hours_per_day=10,
        kc=None,
        emitter={"flow": "12 l/h", "at": "100 kPa", "per_tree": 2},
        block=blocks,
        layers=layers,
    )
    assert {"hours_out", "need_unknown"} <= set(reasons(plan))
    (told_short,) = [f for f in plan.findings if f.code == "not_watered" and f.figures["reason"] == "hours_out"]
    assert float(in_words(told_short, "us").required.split()[0]) > 10


def test_the_source_gives_too_little_a_day() -> None:
    plan = orchard([(-45.0, 0.0, 300.0, 5000.0)], eto="8 mm/day", daily_volume="5 m3/day")
    assert "volume_out" in reasons(plan)
    drawn = sum(zone.hours * zone.flow_lph for zone in plan.irrigation.zones)
    assert drawn <= 5000.0


def test_rows_go_to_a_water_point_with_time_to_spare() -> None:
    """The near point can feed a third of the trees; the far one has plenty."""
    need = {"eto": "8 mm/day", "hours_per_day": 20}
    alone = orchard([(0.0, 0.0, 300.0, 700.0)], **need)
    both = orchard([(0.0, 0.0, 300.0, 700.0), (49.0, -39.0, 300.0, 20000.0)], **need)
    assert reasons(alone).get("hours_out", 0) > 0
    assert reasons(both) == {"need_met": len(both.trees)}


# ---------------------------------------------------------------- what cannot be known


def test_without_an_emitter_the_static_pressure_stays() -> None:
    plan = orchard([(-45.0, 0.0, 300.0, 5000.0)], emitter=None)
    assert plan.irrigation.network is None
    assert plan.trees.pressure_kpa == pytest.approx(300.0, abs=0.5)
    assert plan.trees.flow_lph is plan.trees.watered is plan.trees.zone_index is None
    assert "water_no_emitter" in codes(plan)


@pytest.mark.parametrize("point", [(-45.0, 0.0, np.nan, 5000.0), (-45.0, 0.0, 300.0, np.nan)])
def test_a_water_point_that_does_not_say_what_it_gives(point: tuple[float, ...]) -> None:
    plan = orchard([point], eto=ETO)
    assert plan.irrigation.network is None
    assert plan.trees.watered is None
    assert "water_source_unknown" in codes(plan)


def test_without_elevations_no_pressure_is_told() -> None:
    plan = orchard([(-45.0, 0.0, 300.0, 5000.0)], ground=None, eto=ETO)
    assert np.isnan(plan.trees.pressure_kpa).all()
    assert plan.trees.watered is None
    assert np.isfinite(plan.trees.need_lpd).all()
    assert reasons(plan) == {"flow_unknown": len(plan.trees)}
    assert "water_no_elevation" in codes(plan)
    assert plan.irrigation.network is not None


def test_without_a_climate_no_tree_is_called_watered() -> None:
    plan = orchard([(-45.0, 0.0, 300.0, 5000.0)])
    assert plan.trees.watered is None
    assert reasons(plan) == {"need_unknown": len(plan.trees)}
    assert np.isfinite(plan.trees.pressure_kpa).all()
    assert "water_need_unknown" in codes(plan)


def test_a_water_point_outside_the_site_serves_and_is_told() -> None:
    plan = orchard([(-70.0, 0.0, 300.0, 5000.0)])
    assert "water_point_outside" in codes(plan)
    assert (plan.irrigation.node >= 0).all()


@pytest.mark.parametrize(
    ("emitter", "said"),
    [
        (EMITTER | {"flow": "0 l/h"}, "more than 0"),
        (EMITTER | {"at": "0 kPa"}, "no pressure above zero"),
        ({"flow": "4 l/h", "at": "40 kPa", "range": ["70 kPa", "300 kPa"]}, "outside range"),
        ({"flow": "4 l/h", "at": "100 kPa", "range": ["300 kPa", "70 kPa"]}, "does not ascend"),
        ({"flow": "4 l/h", "at": "100 kPa", "range": ["70 kPa"]}, "is not a range"),
        ({"flow": "4 l/h", "at": "100 kPa", "range": ["70 kPa", "300 kPa"], "exponent": 0.5}, "exponent near 0"),
        (EMITTER | {"trees_per_emitter": 2}, "contradict"),
        (EMITTER | {"flow": "4 psi"}, "no flow"),
        (EMITTER | {"exponent": 1.5}, "at most 1"),
        (EMITTER | {"flow": "40 gal/min"}, "9084.99 l/h is out of bounds"),
        (EMITTER | {"at": "30 bar"}, "3000 kPa is out of bounds"),
        (EMITTER | {"per_tree": 1000}, "at most 100"),
    ],
)
def test_faults_of_an_emitter(emitter: dict[str, Any], said: str) -> None:
    with pytest.raises(SetoutError) as caught:
        orchard([(-45.0, 0.0, 300.0, 5000.0)], emitter=emitter)
    assert said in str(caught.value)
    assert all(fault.remedy for fault in caught.value.faults)


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("lateral", {"diameter": "16 m"}, r"lateral.diameter\[1\]: 16 m is out of bounds"),
        ("manifold", {"diameter": ["2 in", "0.001 mm"]}, r"manifold.diameter\[2\]: 1e-06 m is out of bounds"),
        ("lateral", {"diameter": 16}, r"lateral.diameter\[1\]: 16 has no unit"),
        ("roughness", "1 m", "roughness: 1 m is out of bounds"),
    ],
)
def test_slips_of_the_unit_of_a_pipe(key: str, value: Any, said: str) -> None:
    with pytest.raises(SetoutError, match=said):
        orchard([(-45.0, 0.0, 300.0, 5000.0)], **{key: value})


# ---------------------------------------------------------------- positions from the field


def test_positions_are_judged_by_the_nearest_emitter() -> None:
    """Planned places are covered; trees moved 3 m off their row are not, those moved 0.5 m are."""
    plan = orchard([(-45.0, 0.0, 300.0, 9000.0)], eto="2 mm/day")
    assert reasons(plan) == {"need_met": len(plan.trees)}
    x, y = plan.trees.x.copy(), plan.trees.y.copy()
    moved = np.zeros(len(x))
    moved[::7], moved[3::7] = 2.4, 0.5
    found = water.coverage(plan.irrigation, plan.trees, x + moved, y)
    assert found is not None
    assert (found.covered == (moved < 1)).all()
    assert found.away_m == pytest.approx(moved, abs=1e-6)
    told = water.uncovered(plan.irrigation, found, list(plan.trees.ids), (x + moved, y))
    assert [f.tree_id for f in told] == plan.trees.ids[moved > 1].tolist()
    assert all(f.code == "no_emitter_near" and in_words(f, "us").remedy for f in told)


def test_trees_that_the_plan_leaves_dry_are_named_again() -> None:
    plan = orchard([(-45.0, 0.0, 300.0, 9000.0)], eto="10 mm/day", emitter={"flow": "0.5 l/h", "at": "100 kPa", "exponent": 0})
    found = water.coverage(plan.irrigation, plan.trees, plan.trees.x, plan.trees.y)
    told = water.uncovered(plan.irrigation, found, list(plan.trees.ids), (plan.trees.x, plan.trees.y))
    assert len(told) == len(plan.trees)
    assert all(f.figures["reason"] == "low_flow" for f in told)


# ---------------------------------------------------------------- what always holds


@pytest.mark.parametrize("exponent", [0.0, 0.5, 1.0])
def test_more_pressure_at_the_source_never_lowers_a_flow(exponent: float) -> None:
    emitter = {"flow": "4 l/h", "at": "100 kPa", "exponent": exponent}
    before = np.zeros(1)
    for kpa in (70.0, 100.0, 140.0, 300.0):
        plan = orchard([(-45.0, 30.0, kpa, 3000.0)], ground=hill, emitter=emitter)
        assert (plan.trees.flow_lph >= before * (1 - 1e-9)).all()
        before = plan.trees.flow_lph


@settings(max_examples=12, deadline=None, phases=QUICK, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(3, 40), st.integers(0, 10_000))
def test_one_tree_more_never_raises_the_spare_flow(trees: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    at = rng.uniform((-45, -35), (45, 35), (trees + 1, 2))
    block = {"name": "A", "pattern": "points", "points": "tree", "spread": "4 m", "height": "4 m"}
    points = [(-45.0, 0.0, 300.0, 400.0), (45.0, 10.0, 250.0, 300.0)]

    def spare(count: int) -> float:
        plan = orchard(points, block=block, layers={"tree": list(shapely.points(at[:count]))}, eto=ETO)
        return sum(source.spare_lpd for source in plan.irrigation.sources)

    assert spare(trees + 1) <= spare(trees) + 1e-6


@settings(max_examples=10, deadline=None, phases=QUICK, suppress_health_check=[HealthCheck.too_slow])
@given(st.floats(20, 600), st.floats(200, 20000), st.floats(-0.15, 0.15), st.sampled_from([0.0, 0.5, 1.0]))
def test_any_source_gives_a_whole_plan(kpa: float, lph: float, rise: float, exponent: float) -> None:
    """No NaN, no negative flow, no zone over its source's flow, whatever the source and the slope."""
    emitter = {"flow": "4 l/h", "at": "100 kPa", "exponent": exponent}
    plan = orchard([(-45.0, 0.0, kpa, lph)], size=(60.0, 50.0), ground=lambda x, _: 110 + rise * x, emitter=emitter, eto=ETO)
    net, facts = plan.irrigation.network, plan.trees
    for values in (net.pressure_kpa, net.flow_lph, net.out_lph, facts.flow_lph, facts.pressure_kpa, facts.watered):
        assert np.isfinite(values).all()
    assert (net.out_lph >= 0).all()
    assert all(zone.flow_lph <= lph * 1.02 for zone in plan.irrigation.zones)
    hours = np.array([zone.hours for zone in plan.irrigation.zones])[facts.zone_index]
    met = facts.flow_lph * hours >= facts.need_lpd * (1 - 1e-9)
    assert (met == facts.watered.astype(bool)).all()


def test_the_order_of_water_points_in_their_file_does_not_matter() -> None:
    points = [(-45.0, 30.0, 300.0, 2000.0), (45.0, -30.0, 350.0, 2500.0), (0.0, 38.0, 280.0, 1500.0)]
    names = ["north-west", "south-east", "north"]

    def zones(order: list[int]) -> tuple[list[str], list[float]]:
        plan = orchard([points[k] for k in order], ground=hill, eto=ETO, names=[names[k] for k in order])
        told = [f"{z.name} {plan.site.water.points.name[z.water_point]} {z.trees} {z.hours:.6f}" for z in plan.irrigation.zones]
        return told, plan.trees.pressure_kpa.tolist()

    first, turned = zones([0, 1, 2]), zones([2, 0, 1])
    assert first[0] == turned[0]
    assert first[1] == pytest.approx(turned[1], rel=1e-9)


def test_pipes_are_no_wider_than_a_small_flow_asks_for() -> None:
    """Level ground: all the flow to the end of 24 m of the narrowest lateral takes less than 0.1 m by Hazen-Williams."""
    plan = orchard([(-8.0, 0.0, 350.0, 3000.0)], size=(24.0, 14.0))
    net, pipes = plan.irrigation.network, plan.irrigation.settings.pipes
    flow_m3_s, narrowest = net.emitters.sum() * 4.0 / 3.6e6, min(pipes.lateral_mm) / 1000
    assert 10.67 * 24 * (flow_m3_s / 140) ** 1.852 / narrowest**4.871 < 0.1
    assert flow_m3_s / (np.pi / 4 * narrowest**2) < 0.3
    for kind, sizes in ((LATERAL, pipes.lateral_mm), (MANIFOLD, pipes.manifold_mm), (MAIN, pipes.main_mm)):
        assert set(net.inside_mm[net.kind == kind].tolist()) <= {min(sizes)}
    assert (net.kind == LATERAL).any()


@pytest.mark.parametrize(("source_kpa", "wider_helps"), [(350.0, True), (80.0, True), (71.0, False), (45.0, False)])
def test_wider_pipe_is_tried_where_the_source_has_the_pressure_alone(source_kpa: float, wider_helps: bool) -> None:
    """Emitters that need 70 kPa have 50 on level ground: friction took it from a source of more, not from one of less."""
    plan = orchard(**CASES["compensating"] | {"ground": lambda x, _: 0 * x + 100.0})
    irrigation, points = plan.irrigation, plan.site.water.points
    net, sections = irrigation.network, int(irrigation.network.section.max()) + 1
    low = replace(net, pressure_kpa=np.full(len(net), 50.0), valve_kpa=np.full(sections, np.nan))
    none = np.zeros(sections, np.int64)
    held = replace(points, z=np.full(len(points.x), 100.0), pressure_kpa=np.full(len(points.x), source_kpa))
    feeds = Feeds(held, none, none, np.full(sections, 1e4), 0.0)
    assert mendable(low, irrigation.settings, feeds).tolist() == [wider_helps] * sections
