"""Mains: the shortest way for a pipe from a water point to a manifold, around what no pipe crosses."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from setout.geometry.lines.detour import Obstacles, sees
from setout.model import Floats, Reach

BATCH = 64
"""Ways looked at together: no part of any result."""
STRETCH_M = 25.0
"""Longest straight stretch of main between two elevations looked up [m]: no part of any pressure at a tree."""


def way_to(reach: Reach, point: int, x: Floats, y: Floats) -> tuple[int, Floats] | None:
    """Find the shortest way from a water point to the nearest of some places."""
    own = np.flatnonzero(reach.point == point)
    cx, cy, run = reach.x[own], reach.y[own], reach.run[own]
    total = run + np.hypot(x[:, None] - cx, y[:, None] - cy)
    if reach.barriers is None:
        near = int(np.argmin(total[:, 0]))
        return near, np.array([[cx[0], cy[0]], [x[near], y[near]]])
    obstacles = Obstacles(reach.barriers, np.empty((0, 2)))
    order = np.argsort(total, axis=None, kind="stable")
    for first in range(0, len(order), BATCH):
        place, corner = np.unravel_index(order[first : first + BATCH], total.shape)
        free = sees(obstacles, cx[corner], cy[corner], x[place], y[place])
        if free.any():
            k = int(np.argmax(free))
            back = _back(obstacles, cx, cy, run, int(corner[k]))
            return int(place[k]), np.vstack([back, [[x[place[k]], y[place[k]]]]])
    return None


def _back(obstacles: Obstacles, cx: Floats, cy: Floats, run: Floats, corner: int) -> Floats:
    """Return the corners of the shortest way to a corner, from the water point on."""
    way = [corner]
    while way[-1] != 0:
        here = way[-1]
        apart = np.hypot(cx - cx[here], cy - cy[here])
        fits = np.flatnonzero((np.abs(run + apart - run[here]) < 1e-6) & (run < run[here] - 1e-9))
        free = fits[sees(obstacles, cx[fits], cy[fits], np.full(len(fits), cx[here]), np.full(len(fits), cy[here]))]
        if not len(free):
            break
        way.append(int(free[np.argmin(run[free])]))
    if way[-1] != 0:
        way.append(0)
    return np.column_stack([cx[way[::-1]], cy[way[::-1]]])


def stretched(way: Floats) -> Floats:
    """Set points along a way so that no stretch is longer than :data:`STRETCH_M`.

    >>> stretched(np.array([[0.0, 0.0], [60.0, 0.0]])).tolist()
    [[0.0, 0.0], [20.0, 0.0], [40.0, 0.0], [60.0, 0.0]]
    """
    out = [way[:1]]
    for a, b in pairwise(way):
        length = float(np.hypot(*(b - a)))
        if length < 1e-6:
            continue
        parts = max(int(np.ceil(length / STRETCH_M - 1e-9)), 1)
        out.append(a + (b - a) * np.arange(1, parts + 1)[:, None] / parts)
    return np.vstack(out)
