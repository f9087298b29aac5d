"""Hollows and ways down, against plain calculations and shapes worked by hand."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from setout.geometry.cells.hollows import ROUND, drainage, ways_down


def levels_by_relaxing(z: np.ndarray) -> np.ndarray:
    """Return the level at which every cell runs off: the least over all ways out of the highest cell on the way."""
    level = np.full(z.shape, np.inf)
    edge = np.ones(z.shape, bool)
    edge[1:-1, 1:-1] = False
    level[edge] = z[edge]
    while True:
        best = level.copy()
        for row, col in ROUND:
            near = np.full(z.shape, np.inf)
            near[max(-row, 0) : z.shape[0] - max(row, 0), max(-col, 0) : z.shape[1] - max(col, 0)] = level[
                max(row, 0) : z.shape[0] + min(row, 0), max(col, 0) : z.shape[1] + min(col, 0)
            ]
            best = np.minimum(best, np.maximum(near, z))
        if (best == level).all():
            return level
        level = best


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.integers(0, 10_000), st.integers(3, 14), st.integers(3, 14))
def test_levels_are_the_lowest_ways_out(seed: int, rows: int, cols: int) -> None:
    z = np.random.default_rng(seed).integers(0, 9, (rows, cols)).astype(float)
    found = drainage(z)
    assert (found.level == levels_by_relaxing(z)).all()


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.integers(0, 10_000))
def test_every_cell_runs_off_once_and_never_up(seed: int) -> None:
    z = np.random.default_rng(seed).normal(0, 1, (12, 15))
    found = drainage(z)
    to, level = found.to.ravel(), found.level.ravel()
    out = to < 0
    assert found.through.ravel()[out].sum() == z.size
    assert (level[to[~out]] <= level[~out]).all()
    for cell in range(z.size):
        seen = 0
        while to[cell] >= 0:
            cell, seen = to[cell], seen + 1
            assert seen <= z.size


def test_a_bowl_fills_to_its_notch() -> None:
    """A bowl with a rim of 4 m and a notch of 2.5 m: it stands 2.5 m deep over its middle and spills at the notch."""
    y, x = np.mgrid[-10:11, -10:11].astype(float)
    far = np.hypot(x, y)
    z = np.where(far < 8, 4.0 * (far / 8) ** 2, np.where(far < 9.5, 4.0, 4.0 - (far - 9.5)))
    z[10, 17:] = np.minimum(z[10, 17:], 2.5)
    found = drainage(z)
    assert float(found.level[10, 10] - z[10, 10]) == pytest.approx(2.5)
    assert float(found.level[10, 16]) == pytest.approx(max(z[10, 16], 2.5))
    assert found.through[10, 17] >= (far < 8).sum()


def test_a_valley_has_one_way_down_it() -> None:
    y, x = np.mgrid[0:40, 0:21].astype(float)
    z = 0.2 * np.abs(x - 10) + 0.05 * y
    ways = ways_down(drainage(z), 60)
    assert len(ways) == 1
    rows, cols = np.divmod(ways[0], 21)
    assert set(cols.tolist()) == {10}
    assert rows[-1] == 0
    assert all(two < one for one, two in pairwise(rows.tolist()))


def test_ground_that_is_not_known_is_a_way_out() -> None:
    z = np.full((9, 9), 5.0)
    z[3:6, 3:6] = 1.0
    assert drainage(z).level[4, 4] == 5.0
    z[4, 4] = np.nan
    found = drainage(z)
    assert np.isnan(found.level[4, 4])
    assert found.level[3, 3] == 1.0
