"""What always holds, over invented irregular properties (hypothesis)."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pyproj import CRS
from scipy.spatial import cKDTree

from invented import Property, field, objects, plan_of

SETBACKS = [
    {"from": "boundary", "distance": "15 ft", "why": "property line"},
    {"from": "road", "distance": "9.5 m", "why": "road"},
    {"from": "well", "distance": "50 ft", "why": "well"},
    {"from": "barn", "distance": "21 ft", "measured_to": "canopy", "why": "barn"},
]
PATTERNS = st.sampled_from(
    [
        {"pattern": "square", "step": "16 ft"},
        {"pattern": "rectangular", "step": "12 ft", "row_distance": "20 ft"},
        {"pattern": "offset", "step": "16 ft"},
        {"pattern": "offset", "step": "16 ft", "row_distance": "12 ft"},
        {"pattern": "quincunx", "step": "24 ft"},
        {"pattern": "rectangular", "step": "14 ft", "row_distance": "18 ft", "rows": "free"},
        {"pattern": "square", "step": "18 ft", "alley": {"every": 4, "width": "26 ft"}, "headland": "25 ft"},
    ]
)
QUICK = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True)


def property_of(seed: int, size_m: float = 260.0) -> Property:
    rng = np.random.default_rng(seed + 1000)
    half = size_m / 2
    road = shapely.LineString(np.column_stack([np.linspace(-half, half, 7), rng.uniform(-0.2, 0.2, 7) * size_m]))
    wells = [shapely.Point(rng.uniform(-0.3, 0.3, 2) * size_m) for _ in range(2)]
    x, y = rng.uniform(-0.25, 0.25, 2) * size_m
    barn = shapely.affinity.rotate(shapely.box(x, y, x + 14, y + 9), rng.uniform(0, 90))
    layers = {"road": objects(road), "well": objects(*wells), "barn": objects(barn)}
    return Property(field(seed, size_m), layers, {})


def planned(prop: Property, block: dict[str, Any], epsg: int = 26910, **sections: Any) -> Any:
    named = {"name": "A", "direction": "north-south", "spread": "15 ft"} | block
    return plan_of(prop.survey(CRS.from_epsg(epsg)), named, **({"setback": SETBACKS} | sections))


@QUICK
@given(st.integers(0, 500), PATTERNS, st.sampled_from(["north-south", "longest side", "best", "N 37 E"]))
def test_every_tree_keeps_to_the_original_vectors(seed: int, pattern: dict[str, Any], direction: str) -> None:
    plan = planned(property_of(seed), pattern | {"direction": direction})
    site, trees = plan.site, plan.trees
    points = shapely.points(trees.x, trees.y)
    assert shapely.distance(site.boundary, points).max() <= 1e-6
    for setback in site.setbacks:
        required = setback.distance_m + (plan.site.blocks[0].spread_m / 2 if setback.measured_to == "canopy" else 0.0)
        for feature in setback.geometry:
            assert shapely.distance(feature, points).min() >= required - 1e-6
    xy = np.column_stack([trees.x, trees.y])
    nearest = cKDTree(xy).query(xy, k=2)[0][:, 1]
    assert nearest.min() >= site.blocks[0].pattern.nearest_m - 1e-3
    np.testing.assert_allclose(plan.trees.nearest_m, nearest, atol=1e-9)
    assert not [f for f in plan.findings if f.tree_id]
    assert len(set(plan.trees.ids.tolist())) == len(trees)


@QUICK
@given(st.integers(0, 500), PATTERNS)
def test_the_land_account_sums_to_the_gross_area(seed: int, pattern: dict[str, Any]) -> None:
    plan = planned(property_of(seed), pattern, ground={"min_area": "0.05 acre", "min_width": "16 ft"})
    account = plan.usable.account
    gross, net = account[0], account[-1]
    assert (gross.reason, net.reason) == ("gross", "net")
    assert gross.remaining_m2 == pytest.approx(plan.site.boundary.area)
    taken = sum(row.newly_m2 for row in account)
    assert taken + net.remaining_m2 == pytest.approx(gross.remaining_m2, rel=1e-6)
    assert shapely.area(plan.usable.geometry).sum() == pytest.approx(net.remaining_m2, rel=1e-6)
    assert all(row.newly_m2 <= row.alone_m2 + 1e-6 * gross.remaining_m2 for row in account[1:-1])
    # the usable polygons hold every tree, to the tolerance of their arcs
    whole = shapely.union_all(plan.usable.geometry)
    assert shapely.distance(whole, shapely.points(plan.trees.x, plan.trees.y)).max() <= 0.01


@QUICK
@given(st.integers(0, 500), PATTERNS, st.sampled_from([2913, 2269, 32610, 4269, 3857, 6339, 26710]))
def test_another_crs_or_unit_gives_the_same_trees(seed: int, pattern: dict[str, Any], epsg: int) -> None:
    """EPSG:2913 and 2269 are in international feet, 4269 in degrees, 3857 is stretched 1.4 times, 26710 on another datum."""
    prop = property_of(seed)
    one = planned(prop, pattern, epsg=6339 if epsg != 26710 else 26711)
    other = planned(prop, pattern, epsg=epsg)
    assert len(one.trees) == len(other.trees)
    np.testing.assert_allclose(one.trees.x, other.trees.x, atol=0.01)
    np.testing.assert_allclose(one.trees.y, other.trees.y, atol=0.01)


@QUICK
@given(st.integers(0, 500), PATTERNS, st.floats(-160, 160))
def test_moved_round_the_earth_the_site_keeps_its_trees(seed: int, pattern: dict[str, Any], lon: float) -> None:
    prop = property_of(seed)
    block = {"name": "A", "direction": "north-south"} | pattern
    one, other = (plan_of(p.survey(CRS.from_epsg(4326)), block) for p in (prop, replace(prop, lon=lon)))
    assert len(one.trees) == len(other.trees)
    np.testing.assert_allclose(one.trees.x - one.trees.x.mean(), other.trees.x - other.trees.x.mean(), atol=0.01)
    np.testing.assert_allclose(one.trees.y - one.trees.y.mean(), other.trees.y - other.trees.y.mean(), atol=0.01)


@QUICK
@given(st.integers(0, 500), PATTERNS, st.floats(-60, 60))
def test_moved_north_or_south_the_site_keeps_its_count(seed: int, pattern: dict[str, Any], lat: float) -> None:
    """True north turns by some parts per million as a site moves, so single trees at the very edge may come and go."""
    prop = property_of(seed)
    block = {"name": "A", "direction": "north-south"} | pattern
    one, other = (plan_of(p.survey(CRS.from_epsg(4326)), block) for p in (prop, replace(prop, lat=lat)))
    assert abs(len(one.trees) - len(other.trees)) <= max(0.005 * len(one.trees), 1)


@QUICK
@given(st.integers(0, 500), PATTERNS, st.floats(1, 179))
def test_turned_ground_gives_the_same_trees_along_its_longest_side(seed: int, pattern: dict[str, Any], turn: float) -> None:
    prop = property_of(seed)
    block = {"name": "A", "direction": "longest side"} | pattern
    one = plan_of(prop.survey(CRS.from_epsg(32610)), block)
    other = plan_of(replace(prop, turn_deg=turn).survey(CRS.from_epsg(32610)), block)
    assert len(one.trees) == len(other.trees)
    # distances from the ground's middle do not turn
    middles = [shapely.centroid(p.site.boundary) for p in (one, other)]
    radii = [np.sort(np.hypot(p.trees.x - m.x, p.trees.y - m.y)) for p, m in zip((one, other), middles, strict=True)]
    np.testing.assert_allclose(*radii, atol=0.01)


@QUICK
@given(st.integers(0, 500), PATTERNS, st.floats(1, 179))
def test_turned_ground_gives_the_same_count_under_best(seed: int, pattern: dict[str, Any], turn: float) -> None:
    prop = property_of(seed, 420.0)
    block = {"name": "A", "direction": "best"} | pattern
    one = plan_of(prop.survey(CRS.from_epsg(32610)), block)
    other = plan_of(replace(prop, turn_deg=turn).survey(CRS.from_epsg(32610)), block)
    assert abs(len(one.trees) - len(other.trees)) <= max(0.005 * len(one.trees), 1)


@QUICK
@given(st.integers(0, 500), PATTERNS)
def test_more_ground_never_gives_noticeably_fewer_trees(seed: int, pattern: dict[str, Any]) -> None:
    prop = property_of(seed)
    smaller = replace(prop, boundary=prop.boundary.intersection(shapely.box(-400, -400, 40, 400)))
    block = {"name": "A", "direction": "best"} | pattern
    less, more = (plan_of(p.survey(CRS.from_epsg(32610)), block) for p in (smaller, prop))
    assert len(more.trees) >= 0.995 * len(less.trees)


@QUICK
@given(st.integers(0, 500), PATTERNS)
def test_trees_never_exceed_the_packing_bound(seed: int, pattern: dict[str, Any]) -> None:
    """Groemer, Math. Z. 73 (1960); Oler, Acta Math. 105 (1961): n <= 2 A / (sqrt(3) d^2) + P / (2 d) + 1 in a convex set."""
    plan = planned(property_of(seed), pattern | {"direction": "best"})
    hull = shapely.convex_hull(plan.site.boundary)
    distance = plan.site.blocks[0].pattern.nearest_m
    assert len(plan.trees) <= 2 / np.sqrt(3) * hull.area / distance**2 + hull.length / (2 * distance) + 1


@QUICK
@given(st.integers(0, 500), PATTERNS)
def test_order_of_features_does_not_matter(seed: int, pattern: dict[str, Any]) -> None:
    prop = property_of(seed)
    swapped = replace(prop, layers={name: g[::-1].copy() for name, g in reversed(list(prop.layers.items()))})
    one, other = planned(prop, pattern), planned(swapped, pattern)
    assert one.trees.x.tobytes() == other.trees.x.tobytes()
    assert one.trees.y.tobytes() == other.trees.y.tobytes()


@QUICK
@given(st.integers(0, 500))
def test_blocks_keep_their_distance_and_their_ground(seed: int) -> None:
    prop = property_of(seed)
    halves = objects(shapely.box(-400, -400, 3, 400)), objects(shapely.box(3, -400, 400, 400))
    prop = replace(prop, layers={**prop.layers, "west": halves[0], "east": halves[1]})
    blocks = [
        {"name": "W", "area": "west", "pattern": "offset", "step": "16 ft", "direction": "north-south", "spread": "12 ft"},
        {"name": "E", "area": "east", "pattern": "square", "step": "30 ft", "direction": "best", "spread": "30 ft"},
    ]
    plan = plan_of(prop.survey(CRS.from_epsg(32610)), blocks)
    trees = plan.trees
    west, east = (np.column_stack([trees.x, trees.y])[trees.block == k] for k in (0, 1))
    if len(west) and len(east):
        assert cKDTree(west).query(east)[0].min() >= (16 + 30) / 2 * 0.3048 - 1e-6


@pytest.mark.parametrize("elevation_m", [0.0, 1800.0])
def test_frame_distances_are_ground_distances(elevation_m: float) -> None:
    """Within 5 parts per million of the geodesic raised to the site's height (pyproj.Geod, Gaussian radius)."""
    from pyproj import Geod

    prop = property_of(3, 3000.0)
    plan = plan_of(
        prop.survey(CRS.from_epsg(32610)),
        {"name": "A", "pattern": "square", "step": "200 ft"},
        site={"boundary": "boundary", "elevation": f"{elevation_m} m"},
    )
    frame, trees = plan.site.frame, plan.trees
    lon, lat = frame.to(CRS.from_epsg(4326), trees.x, trees.y)
    first, last = 0, len(trees) - 1
    for one, two in ((first, last), (first, last // 2), (last // 3, last)):
        _, _, geodesic = Geod(ellps="WGS84").inv(lon[one], lat[one], lon[two], lat[two])
        level = np.hypot(trees.x[two] - trees.x[one], trees.y[two] - trees.y[one])
        assert level == pytest.approx(geodesic * (1 + elevation_m / 6371000), rel=5e-6)
