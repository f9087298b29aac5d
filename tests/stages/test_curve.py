"""Rows that are not straight, in whole plans over an invented DEM: step, distance, ground, fall and row distance."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from pyproj import CRS, Transformer

from invented import Property, Sheet, field, hills, objects, plan_of

FOOT = 0.3048
UTM = CRS.from_epsg(32610)


def planned(block: dict[str, Any], seed: int = 5) -> Any:
    x, y = Transformer.from_crs(4326, 32610, always_xy=True).transform(-121.3, 44.2)
    dem = Sheet(hills(seed, size=300), (1.0, 0.0, x - 150, 0.0, -1.0, y + 150), UTM)
    line = shapely.LineString([(-70, -30), (-20, -10), (20, -18), (70, 5)])
    prop = Property(field(3, 230.0), {"line": objects(line), "well": objects(shapely.Point(20, 30))}, {})
    limits = {"setback": [{"from": "well", "distance": "30 ft"}], "ground": {"max_slope": "20 %"}}
    return plan_of(prop.survey(UTM, dem), {"name": "A"} | block, **limits)


GUIDE = {"pattern": "rectangular", "step": "14 ft", "row_distance": "18 ft", "direction": "guide:line"}
CONTOUR = {"pattern": "contour rows", "step": "12 ft", "row_distance": "14 ft", "row_distance_max": "24 ft",
           "fall": {"most": "4 %"}}  # fmt: skip
SCREEN = {"pattern": "screen", "step": "10 ft", "line": "line", "purpose": "hide"}


@pytest.mark.parametrize("block", [GUIDE, CONTOUR, SCREEN], ids=["guide", "contour", "screen"])
def test_what_holds_for_straight_rows_holds_for_curved_ones(block: dict[str, Any]) -> None:
    plan = planned(block)
    points = shapely.points(plan.trees.x, plan.trees.y)
    assert len(points) >= 8
    assert shapely.distance(plan.site.boundary, points).max() <= 1e-6
    assert shapely.distance(plan.site.setbacks[0].geometry[0], points).min() >= 30 * FOOT - 1e-6
    assert plan.facts["slope_pct"].max() <= 20 + 1e-4
    assert plan.facts["nearest_m"].min() >= plan.site.blocks[0].pattern.nearest_m - 1e-3
    assert not [f for f in plan.findings if f.tree_id]
    assert plan.rows.trees.sum() == len(points)


def test_screen_stands_along_its_line() -> None:
    plan = planned(SCREEN)
    line = plan.site.blocks[0].line
    assert shapely.distance(line, shapely.points(plan.trees.x, plan.trees.y)).max() < 1e-6
    assert plan.facts["nearest_m"].min() / FOOT == pytest.approx(10.0, abs=1e-6)


def test_contour_rows_fall_no_more_than_the_limit() -> None:
    """Fall of every row over stretches of at least 30 m, from the trees' own elevations on the DEM."""
    plan = planned(CONTOUR)
    trees, z = plan.trees, np.asarray(plan.facts["elevation_m"], float)
    worst = 0.0
    for row in np.unique(trees.row):
        own = np.flatnonzero(trees.row == row)
        along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(trees.x[own]), np.diff(trees.y[own])))])
        length = np.abs(along[:, None] - along)
        fall = np.abs(z[own][:, None] - z[own])
        long = length >= 30.0
        if long.any():
            worst = max(worst, float((fall[long] / length[long]).max()))
    assert 0 < worst <= 0.04 + 1e-3
