"""Posts, anchors and wire of vines in whole plans: on bent rows, beside steep cells, and where rows are interrupted.

Row lengths, angles and cells are worked out here with numpy and shapely; the half slope limit and the well are looked
up in the invented DEM and vectors themselves.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from pyproj import CRS, Transformer

from invented import Property, Sheet, field, hills, objects, plan_of

FOOT = 0.3048
UTM = CRS.from_epsg(32610)
TRELLIS = {"post": "24 ft", "end": "4 ft", "anchor": "6 ft", "wires": 3}
VINES = {"name": "V", "step": "8 ft", "row_distance": "10 ft", "trellis": TRELLIS, "plants": [{"plant": "table grape"}]}
STRAIGHT = VINES | {"pattern": "trellis", "direction": "N 35 E"}
GUIDED = VINES | {"pattern": "trellis", "direction": "guide:line"}


def planned(block: dict[str, Any], seed: int = 5, cell: float = 2.0, limit: str = "15 %") -> Any:
    x, y = Transformer.from_crs(4326, 32610, always_xy=True).transform(-121.3, 44.2)
    z = hills(seed, size=150, cell=cell)
    dem = Sheet(z, (cell, 0.0, x - 75 * cell, 0.0, -cell, y + 75 * cell), UTM)
    angle = np.linspace(-0.9, 0.9, 120)
    arc = shapely.LineString(120 * np.column_stack([np.sin(angle), np.cos(angle)]) + [0.0, -120.0])
    prop = Property(field(3, 230.0), {"line": objects(arc), "well": objects(shapely.Point(20, 30))}, {})
    return plan_of(prop.survey(UTM, dem), block, setback=[{"from": "well", "distance": "30 ft"}], ground={"max_slope": limit})


def stretches(plan: Any) -> list[tuple[int, np.ndarray, np.ndarray]]:
    """Return for every stretch its row, its posts in order, and the vines between its first and last post."""
    works, trees = plan.works, plan.trees
    out = []
    for row in np.unique(works.post_row):
        own = np.flatnonzero(works.post_row == row)
        ends = np.flatnonzero(works.post_end[own])
        vines = np.column_stack([trees.x, trees.y])[trees.row == row]
        for first, last in zip(ends[::2], ends[1::2], strict=True):
            posts = np.column_stack([works.post_x, works.post_y])[own[first : last + 1]]
            middle, half = (posts[0] + posts[-1]) / 2, np.hypot(*(posts[-1] - posts[0])) / 2
            out.append((int(row), posts, vines[np.hypot(*(vines - middle).T) < half]))
    return out


@pytest.mark.parametrize("block", [STRAIGHT, GUIDED], ids=["straight", "guide"])
def test_every_vine_stands_between_end_posts_that_have_their_ground(block: dict[str, Any]) -> None:
    plan = planned(block)
    rows = stretches(plan)
    assert len(rows) > 20
    assert sum(len(vines) for _, _, vines in rows) == len(plan.trees)
    steep = shapely.union_all([e.geometry for e in plan.usable.exclusions if e.reason == "slope"])
    assert steep.area > 1000
    for _, posts, vines in rows:
        for post, inner in ((posts[0], vines[0]), (posts[-1], vines[-1])):
            way = (post - inner) / np.hypot(*(post - inner))
            assert np.hypot(*(post - inner)) == pytest.approx(4 * FOOT, abs=2e-3)
            anchor = post + way * 6 * FOOT
            # an anchor of a bent row lies a hair beside the tangent: 1.83 m at 25 m of radius bend by 7 cm
            assert shapely.distance(plan.site.boundary, shapely.Point(anchor)) <= 0.08
            assert shapely.distance(shapely.Point(plan.site.setbacks[0].geometry[0]), shapely.Point(anchor)) >= 30 * FOOT - 0.08
            for share in (0.0, 0.5, 0.9):
                there = shapely.Point(post + share * way * 6 * FOOT)
                deep = shapely.distance(shapely.boundary(steep), there) if shapely.contains(steep, there) else 0.0
                assert deep <= 0.5  # looked at every half metre
        gaps = np.hypot(*np.diff(posts, axis=0).T)
        assert gaps.max() <= 24 * FOOT + 1e-6


def test_posts_that_stand_on_steep_cells_cost_their_vines() -> None:
    """Posts and anchors that take 2 ft of a row's end instead of 10 ft leave room for more vines."""
    short = STRAIGHT | {"trellis": TRELLIS | {"end": "1 ft", "anchor": "1 ft"}}
    assert len(planned(STRAIGHT).trees) < len(planned(short).trees)


def test_round_a_bend_posts_and_vines_lie_on_the_same_circle() -> None:
    """Rows beside a guide of radius 120 m are circles about the same middle; wire: 3 x (arc of vines + 2 x 10 ft)."""
    plan = planned(GUIDED, limit="90 %")
    middle = np.array([0.0, -120.0])
    turned = Transformer.from_crs(4326, plan.site.frame.crs, always_xy=True).transform(-121.3, 44.2)
    wire = 0.0
    low, high = 120 - 0.9 * 30, 120 + 0.9 * 30
    for _, posts, vines in stretches(plan):
        far = np.hypot(*(vines - turned - middle).T)
        if low < far.mean() < high and np.abs(np.arctan2(*(vines - turned - middle).T)).max() < 0.85:
            assert np.ptp(far) < 0.03
            assert np.hypot(*(posts[1:-1] - turned - middle).T) == pytest.approx(far.mean(), abs=0.05)
        wire += 3 * (np.hypot(*np.diff(vines, axis=0).T).sum() + 20 * FOOT)
    assert plan.works.wire_m[0] == pytest.approx(wire, rel=2e-3)


def test_vines_on_contour_rows_have_posts() -> None:
    block = VINES | {"pattern": "contour rows", "row_distance": "12 ft", "fall": {"most": "4 %"}}
    with pytest.raises(Exception, match=r'trellis belongs to pattern = "trellis"'):
        planned(block)
    plan = planned(VINES | {"pattern": "trellis", "row_distance": "12 ft", "direction": "contour", "fall": {"most": "4 %"}})
    works, trees = plan.works, plan.trees
    posts = np.column_stack([works.post_x, works.post_y])
    gentle = 0
    assert works.post_end.sum() >= 2 * len(np.unique(trees.row)) > 60
    for row in np.unique(trees.row):
        own, vines = works.post_row == row, np.column_stack([trees.x, trees.y])[trees.row == row]
        ends = posts[own & works.post_end]
        assert len(ends) % 2 == 0
        legs = np.diff(vines, axis=0)
        turn = np.abs((np.diff(np.arctan2(legs[:, 1], legs[:, 0])) + np.pi) % (2 * np.pi) - np.pi)
        if turn.max(initial=0.0) > 0.6:  # round a hilltop the way along the row is longer than the straight one
            continue
        gentle += 1
        # 4 ft along the row from the last vine: straight, or a little less round a bend
        near = np.array([np.hypot(*(vines - end).T).min() for end in ends])
        assert 3.7 * FOOT <= near.min() <= near.max() <= 4 * FOOT + 1e-6
        assert (
            shapely.distance(plan.rows.line[plan.rows.row == row][0], shapely.points(posts[own & ~works.post_end])).max(initial=0.0) < 1e-6
        )
    assert gentle > 0.9 * len(np.unique(trees.row))
    inner = ~works.post_end[1:] | ~works.post_end[:-1]
    same = (np.diff(works.post_row) == 0) & inner
    assert np.hypot(*np.diff(posts, axis=0).T)[same].max() <= 24 * FOOT * 1.0005
    assert shapely.distance(plan.site.boundary, shapely.points(posts)).max() <= 1e-6


def test_rows_are_numbered_without_gaps_where_whole_rows_fall_to_another_block() -> None:
    """A screen and its room take whole rows out of a guide block: numbers run 1, 2, 3 ..., and only those have lines."""
    plan = planned(GUIDED | {"trellis": TRELLIS}, limit="12 %")
    numbers = np.unique(plan.trees.row)
    assert numbers.tolist() == list(range(1, len(numbers) + 1))
    own_rows = plan.rows.block == 0
    assert plan.rows.row[own_rows].tolist() == numbers.tolist()
    for row in numbers.tolist():
        own = plan.trees.row == row
        line = plan.rows.line[own_rows][row - 1]
        trees = shapely.points(plan.trees.x[own], plan.trees.y[own])
        assert shapely.distance(line, trees).max() < 1e-6
        if own.sum() > 1:
            ends = shapely.get_coordinates(line)[[0, -1]]
            assert shapely.distance(shapely.multipoints(ends), trees[[0, -1]]).max() < 1e-6
