"""Distances to lines against GEOS, whichever way they are looked up."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from setout.geometry.lines.measured import FEW_PARTS, MANY_EVEN, Base


def line_of(kind: str) -> np.ndarray:
    """Return a line of few parts, a long even one, one that folds back on itself, a ring, and a long uneven one."""
    t = np.linspace(0.0, 5.0, MANY_EVEN + 101)
    if kind == "few":
        return np.column_stack([100 * t[::30], 20 * np.sin(4 * t[::30])])
    if kind == "even":
        return np.column_stack([100 * t, 20 * np.sin(4 * t)])
    if kind == "folds":
        there = np.column_stack([np.arange(0.0, 300.0, 2.0), np.zeros(150)])
        return np.vstack([there, [[301.0, 1.5]], there[::-1] + np.array([0.0, 3.0])])
    if kind == "ring":
        turn, away = t / 5 * 2 * np.pi, 40 + 8 * np.sin(t * 2 * np.pi)
        ring = np.column_stack([away * np.cos(turn), away * np.sin(turn)])
        return np.vstack([ring[:-1], ring[:1]])
    far = np.cumsum(np.random.default_rng(2).uniform(0.2, 6.0, FEW_PARTS + 50))
    return np.column_stack([far, 9 * np.sin(far / 25)])


@pytest.mark.parametrize("kind", ["few", "even", "folds", "ring", "uneven"])
def test_distances_are_those_of_geos(kind: str) -> None:
    xy = line_of(kind)
    low, high = xy.min(axis=0) - 20, xy.max(axis=0) + 20
    points = np.random.default_rng(1).uniform(low, high, (800, 2))
    line = shapely.LineString(xy)
    base = Base(xy)
    distance, nearest = base.apart(points)
    np.testing.assert_allclose(distance, shapely.distance(line, shapely.points(points)), atol=1e-9)
    np.testing.assert_allclose(shapely.distance(line, shapely.points(nearest)), 0.0, atol=1e-9)
    np.testing.assert_allclose(np.abs(base.signed(points)[0]), distance, atol=1e-12)
