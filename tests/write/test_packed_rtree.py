"""The packed R-tree, judged by SQLite's rtreecheck and by brute force."""

from __future__ import annotations

import sqlite3

import numpy as np
import pytest

from setout.write import packed_rtree
from setout.write.rows import insert_index


def filled(ids, boxes):
    db = sqlite3.connect(":memory:")
    db.execute("CREATE VIRTUAL TABLE r USING rtree(id, minx, maxx, miny, maxy)")
    db.execute("DELETE FROM r_node")
    insert_index(db, "r", packed_rtree.pack(ids, boxes))
    return db


def boxes_of(n, seed=0):
    rng = np.random.default_rng(seed)
    low = rng.uniform(0, 1e6, (n, 2))
    return packed_rtree.outward(np.hstack((low, low + rng.uniform(0, 50, (n, 2)))))


@pytest.mark.parametrize("n", [0, 1, 2, 51, 52, 51 * 51, 51 * 51 + 1, 51**2 * 3 + 7, 51**3 + 1])
def test_rtreecheck_and_count(n):
    db = filled(np.arange(1, n + 1), boxes_of(n))
    assert db.execute("SELECT rtreecheck('r')").fetchone() == ("ok",)
    assert db.execute("SELECT count(*) FROM r").fetchone() == (n,)


def test_queries_equal_brute_force_with_gaps_in_the_ids():
    boxes = boxes_of(9000)
    ids = np.arange(1, 9001) * 7
    db = filled(ids, boxes)
    rng = np.random.default_rng(5)
    for _ in range(50):
        x, y, w = *rng.uniform(0, 1e6, 2), rng.uniform(10, 1e5)
        hit = (boxes[:, 0] <= x + w) & (boxes[:, 1] >= x) & (boxes[:, 2] <= y + w) & (boxes[:, 3] >= y)
        sql = "SELECT id FROM r WHERE minx <= ? AND maxx >= ? AND miny <= ? AND maxy >= ?"
        assert {r[0] for r in db.execute(sql, (x + w, x, y + w, y))} == set(ids[hit].tolist())


def test_it_takes_changes_afterwards():
    db = filled(np.arange(1, 6001), boxes_of(6000))
    db.execute("DELETE FROM r WHERE id % 2 = 0")
    db.executemany("INSERT INTO r VALUES (?, ?, ?, ?, ?)", [(10_000 + k, k, k + 1, k, k + 1) for k in range(500)])
    assert db.execute("SELECT rtreecheck('r')").fetchone() == ("ok",)
    assert db.execute("SELECT count(*) FROM r").fetchone() == (3500,)


def test_boxes_are_rounded_outward_as_little_as_possible():
    rng = np.random.default_rng(1)
    exact = rng.uniform(-1e7, 1e7, (20_000, 4))
    exact = np.hstack((np.minimum(exact[:, :2], exact[:, 2:]), np.maximum(exact[:, :2], exact[:, 2:])))
    rounded = packed_rtree.outward(exact)
    assert rounded.dtype == np.float32
    for column, of, sign in ((0, 0, -1), (1, 2, 1), (2, 1, -1), (3, 3, 1)):
        gap = sign * (rounded[:, column].astype(float) - exact[:, of])
        assert (gap >= 0).all()
        assert (gap <= np.spacing(np.abs(rounded[:, column])) * 1.0001).all()


def test_hilbert_curve_visits_every_cell_once_and_goes_step_by_step():
    """What defines the curve (Hilbert 1891): each cell once, and from each to one beside it."""
    side = 32
    x, y = (a.ravel().astype(np.uint32) for a in np.meshgrid(np.arange(side), np.arange(side)))
    distance = packed_rtree.hilbert(x, y, bits=5)
    order = np.argsort(distance)
    assert sorted(distance.tolist()) == list(range(side * side))
    steps = np.abs(np.diff(x[order].astype(int))) + np.abs(np.diff(y[order].astype(int)))
    assert set(steps.tolist()) == {1}


def test_nodes_are_small_in_reach():
    """Packed along the curve, the leaves of a lattice cover hardly more ground than its cells."""
    x, y = (a.ravel().astype(float) for a in np.meshgrid(np.arange(200.0), np.arange(200.0)))
    tree = packed_rtree.pack(np.arange(1, x.size + 1), packed_rtree.outward(np.column_stack((x, y, x, y))))
    leaves = [run["cell"]["box"][:, :, :] for first, run, _ in tree.nodes() if first >= tree.first_leaf]
    ground = sum(
        float(((b[:, :, 1].max(1) - b[:, :, 0].min(1)) * (b[:, :, 3].max(1) - b[:, :, 2].min(1)))[:-1].sum())
        for b in leaves
    )
    assert ground < 2.0 * 200 * 200
