"""Lines of rows end where their trees end and begin again where they do, on ground with holes of every kind."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from pyproj import CRS, Transformer

from invented import Property, Sheet, field, hills, objects, plan_of

UTM10 = CRS.from_epsg(32610)
SYSTEMS: dict[str, dict[str, Any]] = {
    "square": {"pattern": "square", "step": "16 ft"},
    "offset": {"pattern": "offset", "step": "16 ft"},
    "hedge": {"pattern": "hedgerow", "step": "4 ft", "row_distance": "14 ft"},
    "vines": {"pattern": "trellis", "step": "8 ft", "row_distance": "9 ft"},
    "beds": {
        "pattern": "bed",
        "step": "2 ft",
        "row_distance": "10 ft",
        "lines": 2,
        "line_distance": "3 ft",
        "bed": {"length": "10 ft", "width": "6 ft", "gap": "3 ft"},
    },
    "pairs": {"pattern": "square", "step": "16 ft", "pair": {"distance": "2 ft"}},
    "guide": {"pattern": "square", "step": "16 ft", "direction": "guide:guide"},
    "guided vines": {"pattern": "trellis", "step": "8 ft", "row_distance": "9 ft", "direction": "guide:guide"},
    "contour": {"pattern": "contour rows", "step": "16 ft", "row_distance": "18 ft", "fall": {"most": "8 %"}},
}


def sheet(seed: int, size: int) -> Sheet:
    middle = Transformer.from_crs(4326, 32610, always_xy=True).transform(-121.3, 44.2)
    z = hills(seed, size=size, steep=0.1, limit=0.15)
    return Sheet(z, (1.0, 0.0, middle[0] - size / 2, 0.0, -1.0, middle[1] + size / 2), UTM10)


def planned(system: str) -> Any:
    """A property with a pond, a well, and a ditch narrower than any step, which no plant is missing for."""
    bend = np.linspace(-150, 150, 31)
    layers = {
        "well": objects(shapely.Point(-30, 15)),
        "pond": objects(shapely.Point(14, -9).buffer(11)),
        "ditch": objects(shapely.LineString([(-200, 41), (200, 30)])),
        "guide": objects(shapely.LineString(np.column_stack([bend, bend**2 / 500 - 20]))),
    }
    prop = Property(field(3, 220.0), layers, {})
    block = {"name": "A", "direction": "N 10 E"} | SYSTEMS[system]
    if system == "contour":
        del block["direction"]
    return plan_of(
        prop.survey(UTM10, sheet(5, 300)),
        block,
        ground={"max_slope": "15 %"},
        setback=[{"from": "well", "distance": "20 ft"}, {"from": "boundary", "distance": "6 ft"}, {"from": "ditch", "distance": "1 ft"}],
        no_plant=[{"from": "pond"}],
    )


@pytest.mark.parametrize("system", sorted(SYSTEMS))
def test_no_piece_of_a_row_leaves_its_ground(system: str) -> None:
    plan = planned(system)
    rows, trees = plan.rows, plan.trees
    assert shapely.get_num_geometries(rows.line).max() > 1
    pieces = shapely.get_parts(rows.line)
    assert shapely.is_valid(pieces).all()
    assert shapely.length(shapely.difference(pieces, shapely.buffer(plan.site.boundary, 0.01))).max() == 0
    shut = [e.geometry for e in plan.usable.exclusions if e.reason != "slope"]
    assert shapely.length(shapely.intersection(pieces, shapely.buffer(shapely.union_all(shut), -0.02))).max() == 0
    np.testing.assert_allclose(rows.length_m, shapely.length(rows.line))
    # every tree stands on its row's line, or beside it where two stand at one place or several lines in one bed
    pattern = plan.site.blocks[0].pattern
    beside = pattern.pair.distance_m / 2 if pattern.pair else pattern.line_distance_m / 2 if pattern.bed else 0.0
    at = {key: k for k, key in enumerate(rows.row.tolist())}
    own = rows.line[[at[r] for r in trees.row.tolist()]]
    assert shapely.distance(own, shapely.points(trees.x, trees.y)).max() <= beside + 1e-6


@pytest.mark.parametrize("system", ["square", "hedge", "guide", "contour"])
def test_a_piece_has_its_trees_a_step_apart(system: str) -> None:
    """Where a plant is missing between two, there is no line: its length is that of the steps of its trees."""
    plan = planned(system)
    step = plan.site.blocks[0].pattern.step_m
    trees = shapely.points(plan.trees.x, plan.trees.y)
    for row in range(len(plan.rows.row)):
        own = trees[plan.trees.row == plan.rows.row[row]]
        for piece in shapely.get_parts(plan.rows.line[row]):
            at = np.sort(shapely.line_locate_point(piece, own[shapely.distance(piece, own) < 0.006]))
            assert len(at) >= 1
            if len(at) == 1:
                assert piece.length == pytest.approx(0.01, abs=0.006)
            else:
                assert np.diff(at).max() < (1.01 if system in ("square", "hedge") else 2.1) * step
                assert (at[0], at[-1]) == pytest.approx((0.0, piece.length), abs=1e-6)


def test_rows_by_hand() -> None:
    """Rows of 16 ft north-south over a strip 31 steps long, cut by a road 100 ft wide: what is left is counted on paper."""
    foot = 0.3048
    strip = shapely.box(-40 * foot, 0, 40 * foot, 500 * foot)
    road = objects(shapely.LineString([(-200, 250 * foot), (200, 250 * foot)]))
    prop = Property(strip, {"road": road}, {})
    plan = plan_of(
        prop.survey(UTM10),
        {"name": "A", "pattern": "square", "step": "16 ft", "direction": "north-south"},
        setback=[{"from": "road", "distance": "50 ft"}],
    )
    assert shapely.get_num_geometries(plan.rows.line).tolist() == [2] * len(plan.rows.row)
    # 200 ft hold 13 trees at most: 12 steps of 16 ft, or one fewer in the phase that both sides share
    steps = plan.rows.length_m / (16 * foot)
    np.testing.assert_allclose(steps, np.round(steps), atol=1e-6)
    np.testing.assert_allclose(plan.rows.trees, np.round(steps) + 2)


def test_single_plants_and_screens_stay_on_their_ground() -> None:
    layers = {
        "pts": objects(shapely.Point(19.99, 0), shapely.Point(0, 0)),
        "line": objects(shapely.LineString([(-19, 10), (0, -40), (19, 10)])),
    }
    prop = Property(shapely.box(-20, -20, 20, 20), layers, {})
    blocks = [{"name": "S", "pattern": "points", "points": "pts"}, {"name": "W", "pattern": "screen", "line": "line", "step": "1 m"}]
    plan = plan_of(prop.survey(UTM10), blocks)
    assert plan.rows.trees[:2].tolist() == [1, 1]
    np.testing.assert_allclose(plan.rows.length_m[:2], 0.01)
    assert shapely.get_num_geometries(plan.rows.line[2]) == 2  # the bend lies off the property
    assert shapely.length(shapely.difference(plan.rows.line, shapely.buffer(plan.site.boundary, 0.01))).max() == 0


def test_a_thousand_acres_with_holes() -> None:
    """Pieces by brute force over all trees, and every one on the property and off what is kept clear."""
    rng = np.random.default_rng(4)
    size = 2400.0
    at, wide = rng.uniform(-size / 2.5, size / 2.5, (85, 2)), rng.uniform(5, 60, 25)
    layers = {
        "well": objects(*shapely.points(at[:60])),
        "pond": objects(*[shapely.Point(*p).buffer(r) for p, r in zip(at[60:], wide, strict=True)]),
        "road": objects(*[shapely.LineString(rng.uniform(-size / 2, size / 2, (2, 2))) for _ in range(3)]),
    }
    prop = Property(field(11, size), layers, {})
    plan = plan_of(
        prop.survey(UTM10),
        {"name": "A", "pattern": "square", "step": "40 ft", "direction": "N 20 E"},
        setback=[{"from": "well", "distance": "6 ft"}, {"from": "road", "distance": "4 ft"}],
        no_plant=[{"from": "pond"}],
    )
    assert plan.site.boundary.area > 0.5 * 1000 * 4046.86
    rows = plan.rows
    assert shapely.length(shapely.difference(rows.line, shapely.buffer(plan.site.boundary, 0.01))).max() == 0
    shut = shapely.buffer(shapely.union_all([e.geometry for e in plan.usable.exclusions]), -0.02)
    assert shapely.length(shapely.intersection(rows.line, shut)).max() == 0
    # end to end the same rows run over far more than is planted
    assert rows.length_m.sum() < 0.97 * np.hypot(rows.x1 - rows.x0, rows.y1 - rows.y0).sum()
    alone = shapely.length(shapely.get_parts(rows.line)) < 0.02
    steps = (rows.length_m.sum() - 0.01 * alone.sum()) / plan.site.blocks[0].pattern.step_m
    assert round(steps) == len(plan.trees) - shapely.get_num_geometries(rows.line).sum()
