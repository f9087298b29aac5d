"""Which water point serves whom, why a tree goes dry, and when zones run, against figures reckoned here."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from setout.model import Planting
from setout.model.irrigation import REASONS, IrrigationPlan, Pipes
from setout.stages.water.hours import Draws, Programme, programme
from setout.words.findings import told as in_words
from watered import orchard

KPA_PER_M = 62.4 / 144 * 6.894757293168361 / 0.3048
"""Water of 62.4 lb/ft3, as the plan's pressures have it."""
COMPENSATING = {"flow": "4 l/h", "at": "100 kPa", "range": ["70 kPa", "300 kPa"], "per_tree": 2}


def reasons(plan: Planting) -> dict[str, int]:
    code = plan.trees.reason_index
    return {REASONS[c]: int((code == c).sum()) for c in np.unique(code).tolist() if c >= 0}


def static_kpa(plan: Planting, point: int) -> np.ndarray:
    """Return what a water point brings to each tree if no pipe loses anything."""
    points = plan.site.water.points
    return points.pressure_kpa[point] - KPA_PER_M * (plan.trees.elevation_m - points.z[point])


def test_a_near_water_point_without_the_pressure_leaves_its_trees_to_one_that_has_it() -> None:
    for emitter in (COMPENSATING, {"flow": "3 l/h", "at": "100 kPa", "exponent": 0.5, "per_tree": 2}):
        plan = orchard([(-45.0, 0.0, 15.0, 9000.0), (49.0, -39.0, 300.0, 9000.0)], eto="6 mm/day", hours_per_day=20, emitter=emitter)
        assert reasons(plan) == {"need_met": len(plan.trees)}
        assert (plan.trees.water_index == 1).all()
        far = np.hypot(plan.trees.x - plan.site.water.points.x[1], plan.trees.y - plan.site.water.points.y[1])
        assert np.allclose(plan.trees.run_m, far, atol=0.01)


def test_a_water_point_low_on_the_slope_has_the_trees_that_its_pressure_lifts_water_to() -> None:
    """Ground rises 30 m; the point at the foot has the shorter way to most trees, and the pressure for its half."""
    plan = orchard(
        [(-45.0, 0.0, 160.0, 9000.0), (49.0, 0.0, 90.0, 9000.0)], ground=lambda x, _: 115 + 0.3 * x, eto="5 mm/day", emitter=COMPENSATING
    )
    enough = np.stack([static_kpa(plan, 0), static_kpa(plan, 1)]) >= 70.0
    assert (~enough[0]).any()
    point = plan.trees.water_index
    assert enough[point, np.arange(len(point))][enough.any(axis=0)].all()


def test_trees_below_a_weak_water_point_are_not_too_high() -> None:
    """20 kPa are too little for emitters that start at 70, also on ground that falls from the water point."""
    plan = orchard([(-45.0, 0.0, 20.0, 9000.0)], ground=lambda x, _: 100 - 0.02 * x, eto="5 mm/day", emitter=COMPENSATING)
    assert (static_kpa(plan, 0) < 70).all()
    assert reasons(plan) == {"low_pressure": len(plan.trees)}


def test_trees_that_a_weak_water_point_does_not_reach_are_not_too_high() -> None:
    """Of two points one is below the least pressure at its own height, the other serves what is no higher than it can."""
    said = {"eto": "3 mm/day", "min_pressure": "80 kPa", "beyond_reach": "plant", "max_run": "60 m"}
    plan = orchard([(-45.0, 0.0, 50.0, 9000.0)], **said)
    near = np.hypot(plan.trees.x - plan.site.water.points.x[0], plan.trees.y - plan.site.water.points.y[0]) < 60
    assert reasons(plan) == {"too_far": int((~near).sum()), "low_pressure": int(near.sum())}
    both = orchard([(-45.0, 0.0, 50.0, 9000.0), (-44.0, 0.0, 100.0, 9000.0)], ground=lambda x, _: 100 + 0.1 * x, **said)
    high = (static_kpa(both, 1) < 80 - 0.01) & (both.trees.water_index < 0)
    told = both.trees.reason_index
    assert (told[high] != REASONS.index("low_pressure")).all()
    assert (told == REASONS.index("too_high")).any()


def test_a_water_point_that_cannot_feed_one_tree_is_told() -> None:
    plan = orchard([(-45.0, 0.0, 150.0, 3.0)], eto="3 mm/day")
    assert reasons(plan) == {"low_flow": len(plan.trees)}
    assert plan.irrigation.network is None
    (told,) = [f for f in plan.findings if f.code == "not_watered"]
    assert in_words(told, "us").message.startswith(f"{len(plan.trees)} trees are not watered")
    assert "fewer" in in_words(told, "us").remedy


def test_a_source_of_little_pressure_is_not_one_of_little_flow() -> None:
    """At 15 of 100 kPa emitters of exponent 0.5 give 0.39 of their flow; at the rated pressure the hours would do."""
    emitter = {"flow": "3 l/h", "at": "100 kPa", "exponent": 0.5, "per_tree": 2}
    plan = orchard([(-45.0, 0.0, 15.0, 9000.0)], eto="6 mm/day", hours_per_day=20, emitter=emitter)
    need, flow = plan.trees.need_lpd, plan.trees.flow_lph
    assert (flow * 20 < need).all()
    assert (need < 6.0 * 20).all()
    assert reasons(plan) == {"low_pressure": len(plan.trees)}
    (told,) = [f for f in plan.findings if f.code == "not_watered"]
    assert "pump" in in_words(told, "us").remedy
    assert float(in_words(told, "us").measured.split()[0]) < float(in_words(told, "us").required.split()[0])
    # at a tenth of that flow no pressure helps
    little = orchard([(-45.0, 0.0, 15.0, 9000.0)], eto="6 mm/day", emitter=emitter | {"flow": "0.3 l/h"})
    assert reasons(little) == {"low_flow": len(little.trees)}


@pytest.mark.parametrize("exponent", [0.5, 1.0])
def test_no_zone_draws_more_than_its_water_point_gives(exponent: float) -> None:
    """Two rows of 51 trees at 8 l/h are what the point gives: regulators, set to whole kPa, must not go beyond."""
    emitter = {"flow": "4 l/h", "at": "100 kPa", "exponent": exponent, "per_tree": 2}
    plan = orchard([(-45.0, 0.0, 300.0, 816.0)], ground=lambda x, _: 100 + 0.05 * x, emitter=emitter)
    greatest = max(zone.flow_lph for zone in plan.irrigation.zones)
    assert 0.95 * 816 < greatest <= 816 * (1 + 1e-9)


# ---------------------------------------------------------------- hours


def programme_of(zones: list[tuple[float, float, int]], capacity: float, **said: object) -> tuple[Programme, IrrigationPlan]:
    """Give hours to zones of one water point: each (hours that its trees need, flow [l/h], trees)."""
    plan = IrrigationPlan(None, Pipes((16.0,), (30.0,), (30.0,)), **{"hours_per_day": 16.0, **said})
    zone = np.repeat(np.arange(len(zones)), [trees for _, _, trees in zones])
    need = np.concatenate([np.full(trees, hours * lph / trees) for hours, lph, trees in zones])
    flow = np.concatenate([np.full(trees, lph / trees) for _, lph, trees in zones])
    able = np.ones(len(zone), bool)
    lph = np.array([lph for _, lph, _ in zones])
    draws = Draws(zone, need, flow, able, np.zeros(len(zones), np.int64), lph, np.array([capacity]), flow)
    return programme(draws, plan), plan


def drawn_at_most(run: Programme, lph: np.ndarray) -> float:
    """Return the greatest flow at any minute of the day."""
    minute = np.arange(24 * 60)[:, None] / 60 + 1 / 120
    return float((((run.start <= minute) & (minute < run.start + run.hours)) @ lph).max())


def test_zones_follow_one_another_where_there_is_time() -> None:
    run, _ = programme_of([(4.0, 500.0, 10), (5.0, 500.0, 10), (6.0, 500.0, 10)], 5000.0)
    assert run.hours.tolist() == [4.0, 5.0, 6.0]
    assert run.start.tolist() == [0.0, 4.0, 9.0]


def test_a_zone_runs_beside_another_as_soon_as_there_is_flow_for_it() -> None:
    """500 l/h for 16 h and 600 l/h for 10 h fill 1100 l/h; what is left of the second's day is enough for the third."""
    run, _ = programme_of([(16.0, 500.0, 10), (10.0, 600.0, 10), (5.0, 600.0, 10)], 1100.0)
    assert run.hours.tolist() == [16.0, 10.0, 5.0]
    assert run.start.tolist() == [0.0, 0.0, 10.0]


def test_a_long_small_zone_runs_beside_short_large_ones() -> None:
    run, _ = programme_of([(4.0, 900.0, 100), (4.0, 900.0, 100), (15.0, 100.0, 50)], 1000.0)
    assert run.hours.tolist() == [4.0, 4.0, 15.0]


def test_hours_never_ask_more_than_the_water_point_gives() -> None:
    rng = np.random.default_rng(4)
    for _ in range(60):
        zones = [
            (round(float(rng.uniform(0.5, 14)) * 60) / 60, float(rng.uniform(50, 1000)), int(rng.integers(1, 40)))
            for _ in range(int(rng.integers(1, 12)))
        ]
        volume = float(rng.choice([np.inf, 9000.0]))
        run, plan = programme_of(zones, 1000.0, daily_volume_l=volume)
        lph = np.array([z[1] for z in zones])
        assert drawn_at_most(run, lph) <= 1000.0 * (1 + 1e-9)
        assert (run.hours * lph).sum() <= volume * (1 + 1e-9)
        assert np.nanmax(run.start + run.hours, initial=0.0) <= plan.hours_per_day + 1e-9
        assert (run.hours <= run.needed + 1e-9).all()
        short = run.hours < run.needed - 1e-9
        if np.isinf(volume) and short.any():
            # a zone goes short only where no stretch of the day has room for all of its hours
            minute = np.arange(16 * 60)[:, None] / 60 + 1 / 120
            drawn = ((run.start <= minute) & (minute < run.start + run.hours)) @ lph
            for z in np.flatnonzero(short & (run.hours == 0)):
                free = np.convolve(drawn + lph[z] <= 1000.0, np.ones(round(run.needed[z] * 60)), "valid")
                assert (free < round(run.needed[z] * 60)).all()


def test_more_emitters_are_named_where_there_is_water_enough_but_zones_do_not_fit_into_the_day() -> None:
    """Rows of 51 trees at 8 l/h: three fit into 1400 l/h, and 11 h for each such zone are more than a day in all."""
    emitter = {"flow": "4 l/h", "at": "100 kPa", "exponent": 0.5, "per_tree": 2}
    said = {"eto": "6 mm/day", "hours_per_day": 24}
    plan = orchard([(-45.0, 0.0, 300.0, 1400.0)], emitter=emitter, **said)
    assert reasons(plan).get("hours_out", 0) > 0
    assert plan.irrigation.sources[0].spare_lpd > 0
    (told,) = [f for f in plan.findings if f.code == "not_watered"]
    assert "more emitters" in in_words(told, "us").remedy
    more = orchard([(-45.0, 0.0, 300.0, 1400.0)], emitter=emitter | {"per_tree": 6}, **said)
    assert reasons(more).get("hours_out", 0) < reasons(plan)["hours_out"]


# ---------------------------------------------------------------- sleeves

ROAD = shapely.box(-900, -33, 900, -27)


@pytest.mark.parametrize(
    ("sleeve", "through"),
    [
        (shapely.Point(0, -30), False),
        (shapely.LineString([(0, -35), (0, -25)]), True),
        (shapely.LineString([(0, -35), (0, -30)]), False),
        (shapely.box(-1, -33, 1, -27), True),
        (shapely.box(-1, -20, 1, -10), False),
    ],
)
def test_a_sleeve_that_does_not_lead_through_is_told(sleeve: shapely.Geometry, through: bool) -> None:
    """A road 6 m wide lies between the water point and all trees."""
    plan = orchard(
        [(-45.0, -36.0, 300.0, 9000.0)],
        layers={"road": ROAD, "sleeve": sleeve},
        barriers="road",
        sleeves="sleeve",
        beyond_reach="plant",
        eto="2 mm/day",
        max_run="300 m",
    )
    north = plan.trees.y > -27
    assert ("sleeve_shut" in [f.code for f in plan.findings]) is not through
    assert (plan.trees.water_index[north] >= 0).all() == through
