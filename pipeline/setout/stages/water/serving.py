"""Which water point serves which rows: the nearest, but no scraps of a row or a block where another can serve them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from setout.model import Bools, Floats, Ints, Reach, Trees
from setout.model.irrigation import IrrigationPlan
from setout.stages.water.sizing import least_kpa

PART = 0.5
"""A water point with less than this of the trees that the main one has in a row gives them up to it; no source."""
SCRAP = 0.25
"""The same in a block."""
BUSY = 0.85
"""Share of what a water point gives in a day up to which it keeps its rows; zones do not fill every hour; no source."""


@dataclass(frozen=True, slots=True)
class Load:
    """What trees need and water points give.

    Attributes
    ----------
    need_lpd : per tree [l/day]; NaN unknown
    given_lpd : per water point, what it gives in the hours allowed [l/day]; NaN unknown
    x, y : water points [m in the frame]
    """

    need_lpd: Floats
    given_lpd: Floats
    x: Floats
    y: Floats


def able_of(reach: Reach, x: Floats, y: Floats, z: Floats) -> Bools:
    """Tell which water points can serve which places."""
    out = np.empty((len(reach.areas), len(x)), bool)
    for p, area in enumerate(reach.areas):
        within = np.full(len(x), fill_value=True)
        if not area.is_empty:
            shapely.prepare(area)
            within = np.asarray(shapely.contains_xy(area, x, y), bool)
        out[p] = within & ~(z > reach.ceiling_m[p] + 1e-9)
    return out


def strong_of(static_kpa: Floats, need_lpd: Floats, rated_lph: Floats, plan: IrrigationPlan, floor_kpa: float) -> Bools:
    """Tell which water points have the pressure for which trees, before any pipe loses some of it."""
    emitter = plan.emitter
    assert emitter is not None
    least = least_kpa(plan, floor_kpa) if emitter.compensating_kpa is not None else floor_kpa
    share = (np.maximum(static_kpa, 0.0) / emitter.at_kpa) ** emitter.exponent
    wanted = np.nan_to_num(need_lpd) * 7 / plan.days_per_week / plan.hours_per_day
    enough = rated_lph * share >= np.minimum(wanted, rated_lph) * (1 - 1e-9)
    return np.asarray(np.isnan(static_kpa) | ((static_kpa > 0) & (static_kpa >= least) & enough), bool)


def joined(trees: Trees, point: Ints, able: Bools) -> Ints:
    """Give small parts of rows and of blocks to the water point that has most of them, where it can serve them all.

    >>> one, xy = np.ones(4, np.int32), np.zeros(4)
    >>> row = Trees(0 * one, one, np.arange(1, 5, dtype=np.int32), xy, xy, 0 * one)
    >>> joined(row, np.array([0, 0, 0, 1]), np.ones((2, 4), bool)).tolist()
    [0, 0, 0, 0]
    """
    out = point.copy()
    served = np.flatnonzero(point >= 0)
    if len(able) < 2 or not len(served):
        return out
    block = trees.block[served].astype(np.int64)
    row = block * (int(trees.row.max()) + 1) + trees.row[served]
    now = _given(row, point[served], able[:, served], PART)
    now = _given(block, now, able[:, served], SCRAP)
    out[served] = now
    return out


def _given(group: Ints, point: Ints, able: Bools, share: float) -> Ints:
    """Give the trees of a group with less than a share of the main one's to its main water point, if that can serve all."""
    points = len(able)
    _, of = np.unique(group, return_inverse=True)
    groups = int(of.max()) + 1
    count = np.bincount(of * points + point, minlength=groups * points).reshape(groups, points)
    most = count.argmax(axis=1)
    fits = able[most[of], np.arange(len(point))]
    # all the trees that hang on one minor point, or none of them
    unfit = np.bincount(of * points + point, weights=~fits, minlength=groups * points).reshape(groups, points)
    minor = (count < share * count.max(axis=1, keepdims=True)) & (unfit == 0)
    minor[np.arange(groups), most] = False
    change = minor[of, point]
    return np.where(change, most[of], point)


def balanced(trees: Trees, point: Ints, able: Bools, load: Load) -> Ints:
    """Give rows of a water point that has too much to do to others that can serve them and have less, nearest first."""
    out = point.copy()
    served = np.flatnonzero((point >= 0) & np.isfinite(load.need_lpd))
    points = len(load.given_lpd)
    if points < 2 or not len(served):
        return out
    key = (trees.block[served].astype(np.int64) * (int(trees.row.max()) + 1) + trees.row[served]) * points + point[served]
    _, first, of = np.unique(key, return_index=True, return_inverse=True)
    count = np.bincount(of)
    need = np.bincount(of, weights=load.need_lpd[served])
    x, y = (np.bincount(of, weights=v[served]) / count for v in (trees.x, trees.y))
    fits = np.stack([np.bincount(of, weights=able[p, served]) == count for p in range(points)], axis=1)
    away = np.hypot(x[:, None] - load.x, y[:, None] - load.y)
    now = point[served[first]]
    given = np.where(load.given_lpd > 0, load.given_lpd, np.nan)
    share = np.bincount(now, weights=need, minlength=points) / given
    while True:
        busiest = int(np.nanargmax(share)) if np.isfinite(share).any() else -1
        if busiest < 0 or share[busiest] <= BUSY:
            break
        own = np.flatnonzero(now == busiest)
        after = share + need[own, None] / given
        could = fits[own] & (after < share[busiest])
        could[:, busiest] = False
        if not could.any():
            break
        extra = np.where(could, away[own] - away[own, busiest, None], np.inf)
        k, q = np.unravel_index(int(np.argmin(extra)), extra.shape)
        row = own[k]
        now[row] = q
        share[busiest] -= need[row] / given[busiest]
        share[q] += need[row] / given[q]
    out[served] = now[of]
    return out
