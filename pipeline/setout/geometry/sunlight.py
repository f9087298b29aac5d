"""Hours of direct sun: viewpoints, the bodies round them and the sun's positions brought together, a part at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from setout.geometry.skyline import (
    CHUNK,
    COMPANY,
    LOWEST_DEG,
    SAME_M,
    WHOLLY,
    Azimuths,
    Bodies,
    Company,
    Floats,
    Ints,
    Singles,
    Views,
    azimuths_of,
    raise_each,
    raise_together,
)
from setout.geometry.sun import SunPath

Horizon = Callable[[Floats, Floats, Floats], Singles]
"""Takes x, y [m] and azimuths [deg]; gives the tangent of the terrain's altitude, (azimuths, n)."""


def sunlight(
    views: Views, bodies: Bodies, path: SunPath, horizon: Horizon | None = None, *, company: int = COMPANY
) -> tuple[Singles, Singles]:
    """Return the hours of direct sun on viewpoints, each the mean of its points.

    Parameters
    ----------
    views : Views
        Trees, or other places that are looked from.
    bodies : Bodies
        What throws shade; a tree's own canopy, and walls of its own group, do not shade it.
    path : SunPath
        Positions of the sun.
    horizon : callable, optional
        The terrain's horizon; level when absent.
    company : int
        Pairs of the same offset from which on they are taken together; for tests.

    Returns
    -------
    morning, afternoon : (days, n) ndarray
        Hours [h].
    """
    size, days = len(views.x), len(path.dates)
    morning, afternoon = (np.zeros((days, size), np.float32) for _ in range(2))
    if not size or not len(path.day):
        return morning, afternoon
    ways, slot = azimuths_of(path)
    slope = np.tan(np.radians(np.minimum(path.altitude_deg, 89.999))).astype(np.float32)
    weight = np.zeros((2 * days, len(path.day)), np.float32)
    weight[path.day + days * ~path.morning, np.arange(len(path.day))] = path.hours
    weight /= views.z.shape[1]
    sets = list(_by_reach(bodies, views))
    for own in _chunks(views):
        part = views.take(own)
        first = np.zeros((len(ways), len(own)), np.float32)
        if horizon is not None:
            np.maximum(first, horizon(part.x, part.y, ways.degree.astype(float)), out=first)
        skylines = [first.copy() for _ in range(views.z.shape[1])]
        for around in sets:
            _look_round(skylines, part, around, ways, company)
        lit = np.zeros((len(path.day), len(own)), np.uint8)
        for skyline in skylines:
            lit += slope[:, None] > skyline[slot]
        hours = weight @ lit.astype(np.float32)
        morning[:, own], afternoon[:, own] = hours[:days], hours[days:]
    return morning, afternoon


def _chunks(views: Views) -> Iterator[Ints]:
    """Yield trees with the same size and points, a part at a time."""
    kind = _numbered(np.column_stack([views.radius, views.dx, views.dy]))
    order = np.argsort(kind, kind="stable")
    cut = np.flatnonzero(np.diff(kind[order])) + 1
    for same in np.split(order, cut):
        yield from np.split(same, np.arange(CHUNK, len(same), CHUNK))


def _numbered(rows: Floats) -> Ints:
    """Number rows of sizes [m] so that those that are the same to 0.1 mm share a number."""
    kind = np.zeros(len(rows), np.int64)
    for values in np.round(np.nan_to_num(rows, nan=-1.0), 4).T:
        if len(values) and np.any(values != values[0]):
            _, part = np.unique(values, return_inverse=True)
            _, kind = np.unique(kind * (int(part.max()) + 1) + part, return_inverse=True)
    return kind.astype(np.int64)


@dataclass(frozen=True, slots=True)
class _Around:
    """Bodies of like reach: their greatest reach [m], a number that those of one size share, and a search index."""

    bodies: Bodies
    reach: float
    size: Ints
    index: Any


def _by_reach(bodies: Bodies, views: Views) -> Iterator[_Around]:
    """Yield bodies of like reach."""
    from scipy.spatial import cKDTree

    if not len(bodies):
        return
    eye = float(np.min(views.z - views.foot[:, None]))
    reach = bodies.bound + np.maximum(bodies.top - bodies.foot - eye, 0.1) / np.tan(np.radians(LOWEST_DEG))
    usual = 1.2 * float(np.quantile(reach, 0.9))
    for which in (reach <= usual, reach > usual):
        if which.any():
            some = bodies.take(which)
            sizes = _numbered(np.column_stack([some.radius, some.half_length, some.half_width, some.axis]))
            yield _Around(some, float(reach[which].max()), sizes, cKDTree(np.column_stack([some.x, some.y])))


def _look_round(skylines: list[Singles], part: Views, around: _Around, ways: Azimuths, company: int) -> None:
    """Raise the skylines of some trees of the same size by the bodies in reach."""
    bodies = around.bodies
    column, other = _pairs(part, around)
    if not len(column):
        return
    key = _offset_key(part, around, column, other)
    # sixteen bits are sorted by counting; two keys that share them only come in more than one run
    order = np.argsort((key % 65521).astype(np.uint16), kind="stable")
    column, other, key = column[order], other[order], key[order]
    edge = np.concatenate([[0], np.flatnonzero(np.diff(key)) + 1, [len(key)]])
    count = np.diff(edge)
    alone = np.repeat(count < company, count)
    if alone.any():
        column_alone, body = column[alone], bodies.take(other[alone])
        seen = part.take(column_alone)
        for point, skyline in enumerate(skylines):
            raise_each(skyline, point, seen, column_alone, body, ways)
    for k in np.flatnonzero(count >= company):
        same = _company(part, bodies, column[edge[k] : edge[k + 1]], other[edge[k] : edge[k + 1]])
        eyes = part.z[same.columns]
        for point, skyline in enumerate(skylines):
            raise_together(skyline, same, (part.dx[0, point], part.dy[0, point]), eyes[:, point], ways)


def _company(part: Views, bodies: Bodies, column: Ints, other: Ints) -> Company:
    """Return the pairs of one offset; of all trees, with bodies far below ground for the missing, where most have one."""
    one, size = other[0], len(part.x)
    trunk = (float(bodies.x[one] - part.x[column[0]]), float(bodies.y[one] - part.y[column[0]]))
    radius, long, wide, axis = (
        float(values[one]) for values in (bodies.radius, bodies.half_length, bodies.half_width, bodies.axis)
    )
    columns: Any = column
    foot, top = bodies.foot[other], bodies.top[other]
    if 2 * len(column) >= size and np.all(np.bincount(column, minlength=size) <= 1):
        columns, tall = slice(None), float(top[0] - foot[0])
        whole_foot, whole_top = np.full(size, -WHOLLY), np.full(size, tall - WHOLLY)
        whole_foot[column], whole_top[column] = foot, top
        foot, top = whole_foot, whole_top
    return Company(columns, trunk, float(part.radius[0]), radius, long, wide, axis, foot, top)


def _pairs(part: Views, around: _Around) -> tuple[Ints, Ints]:
    """Return which trees look at which bodies: those in reach and high enough that are not their own."""
    from scipy.spatial import cKDTree

    bodies = around.bodies
    own = cKDTree(np.column_stack([part.x, part.y]))
    found = own.sparse_distance_matrix(around.index, around.reach, output_type="ndarray")
    column, other = found["i"].astype(np.int64), found["j"].astype(np.int64)
    clear = np.maximum(found["v"] - bodies.bound[other] - part.radius[column], 0.0)
    high = bodies.top[other] - part.z.min(axis=1)[column] > clear * np.tan(np.radians(LOWEST_DEG))
    mine = (bodies.owner[other] == part.tree[column]) & (part.tree[column] >= 0)
    wall = (bodies.group[other] == part.group[column]) & (part.group[column] >= 0)
    keep = high & ~mine & ~wall
    return column[keep], other[keep]


def _offset_key(part: Views, around: _Around, column: Ints, other: Ints) -> Ints:
    """Return a number that pairs with the same offset and the same size of body share."""
    east = np.round((around.bodies.x[other] - part.x[column]) / SAME_M).astype(np.int64)
    north = np.round((around.bodies.y[other] - part.y[column]) / SAME_M).astype(np.int64)
    east, north = east - east.min(), north - north.min()
    key: Ints = (around.size[other] * (int(east.max()) + 1) + east) * (int(north.max()) + 1) + north
    return key
