"""Points near each other and near legs, judged by GEOS distances and SciPy's k-d tree."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy.spatial import cKDTree

from setout.geometry.places.nearby import bins_of, in_boxes, near_legs, nearest_distance


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("distance", [0.5, 7.0, 60.0])
def test_near_legs_are_those_geos_finds(seed: int, distance: float) -> None:
    rng = np.random.default_rng(seed)
    x, y = 5e5 + rng.uniform(0, 400, 3000), 4e6 + rng.uniform(0, 250, 3000)
    legs = np.tile([5e5, 4e6], 2) + rng.uniform(-80, 480, (25, 4))
    legs[:5, 2:] = legs[:5, :2]  # points
    point, away = near_legs(bins_of(x, y, 20.0), legs, distance)
    truth = shapely.distance(shapely.multilinestrings(legs.reshape(-1, 2, 2)), shapely.points(x, y))
    assert point.tolist() == np.flatnonzero(truth < distance).tolist()
    np.testing.assert_allclose(away, truth[point], atol=1e-8)


def test_no_legs_and_far_legs_find_nothing() -> None:
    bins = bins_of(np.arange(5.0), np.zeros(5), 2.0)
    assert not len(near_legs(bins, np.empty((0, 4)), 3.0)[0])
    assert not len(near_legs(bins, np.array([[1e6, 1e6, 1e6, 2e6]]), 3.0)[0])


@pytest.mark.parametrize("expected", [0.01, 4.0, 50.0, 1e5, np.nan])
def test_nearest_is_the_kd_trees_whatever_is_expected(expected: float) -> None:
    rng = np.random.default_rng(3)
    col, row = np.meshgrid(np.arange(60) * 4.0, np.arange(40) * 4.0)
    x = np.concatenate([col.ravel() + rng.normal(0, 0.3, col.size), [900.0, 950.0, 900.0]])
    y = np.concatenate([row.ravel() + rng.normal(0, 0.3, row.size), [-700.0, 800.0, -700.0]])
    truth = cKDTree(np.column_stack([x, y])).query(np.column_stack([x, y]), k=2)[0][:, 1]
    np.testing.assert_allclose(nearest_distance(x, y, expected), truth, atol=1e-9)


def test_exact_lattice_at_the_bins_edges() -> None:
    col, row = np.meshgrid(np.arange(30) * 4.8768, np.arange(20) * 4.8768)
    assert nearest_distance(col.ravel(), row.ravel(), 4.8768) == pytest.approx(4.8768, abs=1e-9)


def test_alone_and_on_each_other() -> None:
    assert nearest_distance(np.array([1.0]), np.array([2.0]), 3.0).tolist() == [np.inf]
    assert nearest_distance(np.full(200, 1.0), np.full(200, 2.0), 3.0).tolist() == [0.0] * 200


def test_boxes_give_at_least_the_points_in_them() -> None:
    rng = np.random.default_rng(9)
    x, y = rng.uniform(0, 300, 2000), rng.uniform(0, 200, 2000)
    low = rng.uniform(-50, 320, (12, 2))
    boxes = np.hstack([low, low + rng.uniform(0, 90, (12, 2))])
    box, point = in_boxes(bins_of(x, y, 15.0), boxes)
    for k, (x0, y0, x1, y1) in enumerate(boxes):
        within = np.flatnonzero((x >= x0) & (x <= x1) & (y >= y0) & (y <= y1))
        found = point[box == k]
        assert len(found) == len(set(found.tolist()))
        assert set(within.tolist()) <= set(found.tolist())
