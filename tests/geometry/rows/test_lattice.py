"""Placing points along lines: the phase found is the best there is, and no more fit than an optimiser proves possible."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.spatial import cKDTree

from setout.geometry.rows.direction import layouts_along, layouts_any_way, lines_along, longest_side
from setout.geometry.rows.lattice import Lattice, best_phase, free_points, place, points
from setout.geometry.rows.rowcut import TOUCH, Cutters, Intervals, edges_of

EQUILATERAL = np.sqrt(3) / 2


def cutters_of(area: shapely.Geometry) -> Cutters:
    grown = shapely.buffer(area, TOUCH, join_style="mitre")
    return Cutters(edges_of(np.array([grown]))[0], np.empty((0, 4)), np.empty(0, np.int64), np.empty((0, 5)))


@pytest.mark.parametrize("seed", range(20))
def test_best_phase_beats_every_tried_phase(seed: int) -> None:
    rng = np.random.default_rng(seed)
    size, step = 40, 4.8768
    lo = rng.uniform(0, 50, size)
    pieces = Intervals(np.arange(size), lo, lo + rng.uniform(0, 60, size))
    base = (np.arange(size) % 2) * step / 2
    count, phase = best_phase(pieces, base, step, np.zeros(size, np.int64), 1)
    tried = [len(points(pieces, base, p, step)[0]) for p in np.linspace(0, step, 2000, endpoint=False)]
    assert count[0] >= max(tried)
    assert len(points(pieces, base, phase[0], step)[0]) == count[0]


def test_groups_are_searched_apart() -> None:
    rng = np.random.default_rng(5)
    lo = rng.uniform(0, 9, 30)
    pieces = Intervals(np.arange(30), lo, lo + rng.uniform(1, 20, 30))
    group = np.arange(30) % 3
    together = best_phase(pieces, np.zeros(30), 3.0, group, 3)
    for g in range(3):
        own = group == g
        alone = best_phase(Intervals(pieces.line[own], pieces.lo[own], pieces.hi[own]), np.zeros(10), 3.0, np.zeros(10, np.int64), 1)
        assert alone[0][0] == together[0][g]
        assert alone[1][0] == pytest.approx(together[1][g], abs=1e-9)


@pytest.mark.parametrize("seed", range(10))
def test_free_lines_keep_the_step_and_fill_greedily(seed: int) -> None:
    rng = np.random.default_rng(seed)
    ends = np.sort(rng.uniform(0, 100, (4, 6)), axis=1).reshape(4, 3, 2)
    pieces = Intervals(np.repeat(np.arange(4), 3), ends[..., 0].ravel(), ends[..., 1].ravel())
    u, piece = free_points(pieces, 5.0)
    for line in range(4):
        own = np.sort(u[pieces.line[piece] == line])
        assert np.diff(own).min(initial=5.0) >= 5.0 - 1e-9
    assert np.all(u >= pieces.lo[piece] - 1e-9)
    assert np.all(u <= pieces.hi[piece] + 1e-9)


def test_more_than_an_optimiser_proves_possible_never_fits() -> None:
    """Integer programme over a fine grid of candidates in a small field (scipy.optimize.milp, HiGHS): its bound is an
    upper bound for every set-out on those candidates; a lattice on them may not pass it."""
    field, step = shapely.Polygon([(0, 0), (23, 2), (25, 16), (11, 21), (1, 14)]), 6.0
    layout = layouts_any_way(Lattice(step, step * EQUILATERAL, 0.5), cutters_of(field), field)[0]
    placed, _ = place(Lattice(step, step * EQUILATERAL, 0.5), lines_along(cutters_of(field), layout.bearing), layout)
    angle = np.radians(layout.bearing)
    trees = np.column_stack([np.sin(angle) * placed.u - np.cos(angle) * placed.v, np.cos(angle) * placed.u + np.sin(angle) * placed.v])
    gx, gy = np.meshgrid(np.arange(0, 26, 1.6), np.arange(0, 22, 1.6))
    grid = np.column_stack([gx.ravel(), gy.ravel()])
    candidates = np.vstack([trees, grid[shapely.contains_xy(field, *grid.T)]])
    # squares of side step / sqrt(2) hold one tree each: clique constraints, tighter than pairs
    rows = []
    side = step / np.sqrt(2) - 1e-6
    for x0 in np.arange(-side, 26, side / 3):
        for y0 in np.arange(-side, 22, side / 3):
            inside = np.all((candidates >= (x0, y0)) & (candidates < (x0 + side, y0 + side)), axis=1)
            if inside.sum() > 1:
                rows.append(inside.astype(float))
    pairs = cKDTree(candidates).query_pairs(step - 1e-6, output_type="ndarray")
    for i, j in pairs:
        row = np.zeros(len(candidates))
        row[[i, j]] = 1
        rows.append(row)
    solved = milp(
        -np.ones(len(candidates)),
        integrality=np.ones(len(candidates)),
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(np.array(rows), -np.inf, 1.0),
        options={"time_limit": 20},
    )
    bound = np.floor(-solved.mip_dual_bound + 1e-6)
    assert len(trees) <= bound
    assert len(trees) >= 0.8 * bound


@pytest.mark.parametrize("turn", [0.0, 17.0, 63.5, 141.0])
def test_longest_side_turns_with_the_ground(turn: float) -> None:
    area = shapely.Polygon([(0, 0), (60, 0), (120, 1), (118, 70), (30, 90)])
    turned = shapely.affinity.rotate(area, -turn, origin=(0, 0))
    assert longest_side(turned) == pytest.approx((longest_side(area) + turn) % 360, abs=1e-9)


def test_alley_rows_are_wider_apart() -> None:
    field = shapely.box(0, 0, 60, 60)
    lattice = Lattice(5.0, 5.0, alley_every=3, alley_width=8.0)
    layout = layouts_along(lattice, cutters_of(field), 0.0)[0]
    placed, _ = place(lattice, lines_along(cutters_of(field), 0.0), layout)
    gaps = np.diff(np.unique(np.round(placed.v, 6)))
    assert set(np.round(gaps, 4)) == {5.0, 8.0}
    wide = np.flatnonzero(np.round(gaps, 4) == 8.0)
    assert set(np.diff(wide)) == {3}
