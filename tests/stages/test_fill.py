"""Planting systems on straight rows, with their geometry worked by hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pyproj import CRS, Transformer
from scipy.spatial import cKDTree

from invented import Property, Sheet, field, hills, objects, plan_of

FOOT = 0.3048
QUICK = settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True)
SYSTEMS: dict[str, dict[str, Any]] = {
    "hedge": {"pattern": "hedgerow", "step": "3 ft", "row_distance": "12 ft"},
    "double hedge": {"pattern": "hedgerow", "step": "4 ft", "row_distance": "14 ft", "lines": 2, "line_distance": "3 ft"},
    "vines": {
        "pattern": "trellis",
        "step": "8 ft",
        "row_distance": "9 ft",
        "trellis": {"post": "24 ft", "end": "4 ft", "anchor": "6 ft", "wires": 2},
    },
    "beds": {
        "pattern": "bed",
        "step": "5 ft",
        "row_distance": "10 ft",
        "bed": {"length": "10 ft", "width": "6 ft", "gap": "3 ft", "mulch": "4 in"},
    },
    "pairs": {"pattern": "square", "step": "16 ft", "pair": {"distance": "2 ft", "axis": "north-south"}},
    "held small": {"pattern": "square", "step": "6 ft", "held_to": "6 ft", "plants": [{"plant": "mandarin"}]},
}


def planned(system: str, seed: int = 3, size_m: float = 160.0, dem: Any = None, **sections: Any) -> Any:
    pond = objects(shapely.Point(12, -9).buffer(7))
    prop = Property(field(seed, size_m), {"well": objects(shapely.Point(-20, 15)), "pond": pond}, {})
    block = {"name": "A", "direction": "north-south"} | SYSTEMS[system]
    limits = {
        "setback": [{"from": "well", "distance": "30 ft"}, {"from": "boundary", "distance": "10 ft"}],
        "no_plant": [{"from": "pond"}],
    } | sections
    return plan_of(prop.survey(CRS.from_epsg(32610), dem), block, **limits)


def all_clear(plan: Any, shapes: Any, required: float = 0.0) -> None:
    """Everything stands on the property, off the pond, and as far from well and boundary as asked."""
    well, line = plan.site.setbacks
    assert shapely.distance(plan.site.boundary, shapes).max() <= 1e-6
    assert shapely.distance(well.geometry[0], shapes).min() >= well.distance_m - required - 1e-6
    assert shapely.distance(line.geometry[0], shapes).min() >= line.distance_m - required - 1e-6
    assert shapely.area(shapely.intersection(plan.site.no_plant[0].geometry[0], shapes)).max() < 1e-6
    # a trunk may stand on the very edge, to the micrometre that rows are cut to
    inner = shapely.buffer(plan.site.no_plant[0].geometry[0], -1e-6)
    assert not shapely.intersects(inner, shapely.centroid(shapes)).any()


@QUICK
@given(st.integers(0, 200), st.sampled_from(sorted(SYSTEMS)))
def test_what_always_holds_for_every_system(seed: int, system: str) -> None:
    plan = planned(system, seed)
    points = shapely.points(plan.trees.x, plan.trees.y)
    all_clear(plan, points)
    pattern = plan.site.blocks[0].pattern
    apart = pattern.nearest_m - (pattern.pair.distance_m if pattern.pair else 0.0)
    assert plan.trees.apart_m.min() >= apart - 1e-6
    assert not [f for f in plan.findings if f.tree_id]
    assert len(set(plan.trees.ids.tolist())) == len(plan.trees)
    assert plan.rows.trees.sum() == len(plan.trees)


def test_dwarf_hedge_three_feet_apart() -> None:
    plan = planned("hedge")
    assert plan.trees.nearest_m.min() / FOOT == pytest.approx(3.0, abs=1e-6)


def test_double_hedge_is_staggered() -> None:
    """Lines 3 ft apart, plants 4 ft apart and half a step over: sqrt(2^2 + 3^2) = 3.606 ft to the nearest."""
    plan = planned("double hedge")
    assert plan.trees.nearest_m.min() / FOOT == pytest.approx(13**0.5, abs=1e-6)
    xs = np.unique(np.round(plan.trees.x / FOOT, 3))
    assert set(np.round(np.diff(xs), 2)) <= {3.0, 11.0}


def test_vines_with_posts_and_anchors() -> None:
    plan = planned("vines")
    works, trees = plan.works, plan.trees
    assert plan.trees.nearest_m.min() / FOOT == pytest.approx(8.0, abs=1e-6)
    posts = np.column_stack([works.post_x, works.post_y])
    vines = np.column_stack([trees.x, trees.y])
    # end posts stand 4 ft beyond the last vine, line posts at most 24 ft apart
    to_vine = cKDTree(vines).query(posts[works.post_end])[0]
    np.testing.assert_allclose(to_vine / FOOT, 4.0, atol=1e-6)
    for row in np.unique(works.post_row):
        own = np.flatnonzero(works.post_row == row)
        ends = works.post_end[own]
        assert ends.sum() % 2 == 0
        stretch = np.cumsum(ends) - ends  # 0 before the first post of a stretch, odd up to its last
        gaps = np.hypot(*np.diff(posts[own], axis=0).T) / FOOT
        same = stretch[1:] % 2 == 1
        assert gaps[same].max() <= 24.0 + 1e-6
    all_clear(plan, shapely.points(posts))


def test_wire_is_what_the_rows_ask() -> None:
    """Two wires over every stretch and its anchors: 2 x (vines x 8 ft - 8 ft + 2 x 4 ft + 2 x 6 ft)."""
    prop = Property(shapely.box(-30, -30, 30, 30), {}, {})
    plan = plan_of(prop.survey(CRS.from_epsg(32610)), {"name": "A", "direction": "north-south"} | SYSTEMS["vines"])
    feet = sum(2 * (8 * int(n) - 8 + 8 + 12) for n in plan.rows.trees)
    assert plan.works.wire_m[0] / FOOT == pytest.approx(feet)


def test_beds_ten_by_six_feet() -> None:
    """60 square feet each, two plants 5 ft apart in each, 3 ft of gap between beds, 4 ft of path between rows."""
    plan = planned("beds")
    works = plan.works
    assert len(works.bed) > 50
    np.testing.assert_allclose(shapely.area(works.bed) / FOOT**2, 60.0, atol=1e-6)
    assert len(plan.trees) == 2 * len(works.bed)
    all_clear(plan, works.bed)
    tree = shapely.STRtree(works.bed)
    one, other = tree.query(works.bed, "dwithin", distance=2.99 * FOOT)
    assert (one == other).all()
    inside = shapely.contains_xy(shapely.union_all(works.bed), plan.trees.x, plan.trees.y)
    assert inside.all()


def test_pairs_stand_north_and_south_two_feet_apart() -> None:
    plan = planned("pairs")
    trees = plan.trees
    assert (trees.partner[trees.partner] == np.arange(len(trees))).all()
    np.testing.assert_allclose(plan.trees.nearest_m / FOOT, 2.0, atol=1e-9)
    first = np.arange(0, len(trees), 2)
    np.testing.assert_allclose(trees.x[first], trees.x[first + 1], atol=1e-9)
    np.testing.assert_allclose((trees.y[first] - trees.y[first + 1]) / FOOT, 2.0, atol=1e-9)
    assert plan.trees.apart_m.min() / FOOT == pytest.approx(14.0, abs=1e-6)


def test_single_trees_stand_where_they_are_given() -> None:
    points = objects(shapely.Point(10.0, 20.0), shapely.Point(-5.0, 3.0), shapely.Point(-20.0, 15.5))
    prop = Property(field(3, 160.0), {"pts": points, "well": objects(shapely.Point(-20, 15))}, {})
    plan = plan_of(
        prop.survey(CRS.from_epsg(32610)),
        {"name": "S", "pattern": "points", "points": "pts"},
        setback=[{"from": "well", "distance": "30 ft"}],
    )
    assert len(plan.trees) == 2
    assert [f.code for f in plan.findings if f.severity == "warn" and f.code != "no_dem"] == ["point_dropped"]
    back = Transformer.from_crs(plan.site.frame.crs, CRS.from_epsg(4326), always_xy=True)
    assert np.isfinite(back.transform(plan.trees.x, plan.trees.y)).all()


def test_beds_and_pairs_keep_off_steep_cells_with_all_of_their_ground() -> None:
    z = hills(5, size=260)
    frame = Transformer.from_crs(4326, 32610, always_xy=True).transform(-121.3, 44.2)
    dem = Sheet(z, (1.0, 0.0, frame[0] - 130, 0.0, -1.0, frame[1] + 130), CRS.from_epsg(32610))
    for system in ("beds", "pairs"):
        plan = planned(system, dem=dem, ground={"max_slope": "15 %"})
        assert (plan.trees.slope_pct <= 15.0 + 1e-4).all()
        if system == "beds":
            whole = shapely.union_all([g for e in plan.usable.exclusions if e.reason == "slope" for g in shapely.get_parts(e.geometry)])
            assert shapely.area(shapely.intersection(whole, plan.works.bed)).max() < 0.3 * 60 * FOOT**2


@pytest.mark.parametrize("system", ["hedge", "vines", "beds", "pairs"])
def test_closer_never_plants_fewer(system: str) -> None:
    counts = []
    for feet in (12, 10, 8, 7):
        block = dict(SYSTEMS[system])
        if system == "beds":
            block["row_distance"] = f"{feet + 2} ft"
        elif system == "pairs":
            block["step"] = f"{feet} ft"
        else:
            block |= {"step": f"{feet / 2} ft", "row_distance": "14 ft"}
        prop = Property(field(8, 170.0), {}, {})
        counts.append(len(plan_of(prop.survey(CRS.from_epsg(32610)), {"name": "A", "direction": "best"} | block).trees))
    assert counts == sorted(counts)
