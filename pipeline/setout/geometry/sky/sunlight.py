"""Hours of direct sun: viewpoints, the bodies round them and the sun's positions brought together, a part at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from setout.geometry.sky.skyline import (
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
    lowest_between,
    raise_each,
    raise_together,
)
from setout.geometry.sky.sun import SunPath

MOST_PAIRS = 1_200_000
"""Pairs of trees and bodies in reach that are held at a time."""
FEWEST = 256
"""Trees taken at a time, at least."""
STAGES = (10, 40)
"""Bodies of each tree, the nearest first, after which those that the skyline hides are left out."""
Horizon = Callable[[Floats, Floats, Floats], Singles]
"""Takes x, y [m] and azimuths [deg]; gives the tangent of the terrain's altitude, (azimuths, n)."""


def sunlight(
    views: Views,
    bodies: Bodies,
    path: SunPath,
    horizon: Horizon | None = None,
    *,
    company: int = COMPANY,
    more: Callable[[int], None] | None = None,
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
    more : callable, optional
        Is called with the number of views that have been done since.

    Returns
    -------
    morning, afternoon : (days, n) ndarray
        Hours [h]; a point that faces one way counts them by the cosine of the sun's angle with that way.
    """
    size, days = len(views.x), len(path.dates)
    morning, afternoon = (np.zeros((days, size), np.float32) for _ in range(2))
    if not size or not len(path.day):
        return morning, afternoon
    ways, slot = azimuths_of(path)
    slope = np.tan(np.radians(np.minimum(path.altitude_deg, 89.999))).astype(np.float32)
    weight = np.zeros((2 * days, len(path.day)), np.float32)
    weight[path.day + days * ~path.morning, np.arange(len(path.day))] = path.hours
    sets = list(_by_reach(bodies, views))
    for own in _chunks(views, _chunk_size(views, sets)):
        part = views.take(own)
        part = part.points(~np.isnan(part.z[0]))
        first = np.zeros((len(ways), len(own)), np.float32)
        if horizon is not None:
            np.maximum(first, horizon(part.x, part.y, ways.degree.astype(float)), out=first)
        skylines = [first.copy() for _ in range(part.z.shape[1])]
        for around in sets:
            _look_round(skylines, part, around, ways, company)
        lit = (slope[:, None] > skyline[slot] for skyline in skylines)
        hours = _hours(weight / np.float32(len(skylines)), lit, part, path)
        morning[:, own], afternoon[:, own] = hours[:days], hours[days:]
        if more is not None:
            more(len(own))
    return morning, afternoon


def _hours(weight: Singles, lit: Iterable[Any], part: Views, path: SunPath) -> Singles:
    """Return the hours of both halves of all days, from which points each position of the sun lights."""
    if part.facing is None or np.isnan(part.facing[0]).all():
        count = np.zeros((len(path.day), len(part.x)), np.uint8)
        for one in lit:
            count += one
        return weight @ count.astype(np.float32)
    level = np.cos(np.radians(path.altitude_deg))
    out = np.zeros((len(weight), len(part.x)), np.float32)
    for facing, one in zip(part.facing[0], lit, strict=True):
        squarely = np.maximum(level * np.cos(np.radians(path.azimuth_deg - facing)), 0.0).astype(np.float32)
        out += (weight * squarely) @ one.astype(np.float32)
    return out


def _chunk_size(views: Views, sets: Sequence[_Around]) -> int:
    """Return how many trees to take at a time, so that their pairs stay few enough to hold."""
    some = np.unique(np.linspace(0, len(views.x) - 1, 64).astype(np.int64))
    place = np.column_stack([views.x[some], views.y[some]])
    near = sum(float(np.mean(one.index.query_ball_point(place, one.reach, return_length=True))) for one in sets)
    return int(np.clip(MOST_PAIRS / max(near, 1.0), FEWEST, CHUNK))


def _chunks(views: Views, most: int) -> Iterator[Ints]:
    """Yield trees with the same size and points, so many at a time."""
    facing = views.z[:, :0] if views.facing is None else views.facing
    kind = _numbered(np.column_stack([views.radius, views.dx, views.dy, facing]))
    order = np.argsort(kind, kind="stable")
    cut = np.flatnonzero(np.diff(kind[order])) + 1
    for same in np.split(order, cut):
        yield from np.split(same, np.arange(most, len(same), most))


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
    eye = float(np.nanmin(views.z - views.foot[:, None]))
    reach = bodies.bound + np.maximum(bodies.top - bodies.foot - eye, 0.1) / np.tan(np.radians(LOWEST_DEG))
    usual = 1.2 * float(np.quantile(reach, 0.9))
    for which in (reach <= usual, reach > usual):
        if which.any():
            some = bodies.take(which)
            sizes = _numbered(np.column_stack([some.radius, some.half_length, some.half_width, some.axis]))
            yield _Around(some, float(reach[which].max()), sizes, cKDTree(np.column_stack([some.x, some.y])))


def _look_round(skylines: list[Singles], part: Views, around: _Around, ways: Azimuths, company: int) -> None:
    """Raise the skylines of some trees of the same size by the bodies in reach.

    Those that most trees have at the same offset come first, then the others, the nearest first, without those that
    what came before them hides.
    """
    column, other, distance = _pairs(part, around)
    if not len(column):
        return
    size = len(part.x)
    edge, order = _sorted(_offset_key(part, around, column, other))
    count = np.diff(edge)
    most = (count >= company) & (2 * count >= size)
    for common in np.flatnonzero(most):
        here = order[edge[common] : edge[common + 1]]
        _raise_company(skylines, part, around.bodies, column[here], other[here], ways)
    left = order[np.repeat(~most, count)]
    left = left[np.argsort(distance[left].astype(np.float32))]
    cuts = [cut for cut in (count * size for count in STAGES) if cut < len(left)]
    for stage, k in enumerate(np.split(left, cuts)):
        if stage or most.any():
            k = k[_shown(skylines, part, around.bodies, (column[k], other[k], distance[k]), ways)]
        if len(k):
            _raise(skylines, part, around, (column[k], other[k]), ways, company)


def _shown(skylines: list[Singles], part: Views, bodies: Bodies, pairs: tuple[Ints, Ints, Floats], ways: Azimuths) -> Any:
    """Return which bodies may show over the skyline of some point of the tree that looks at them."""
    column, other, distance = pairs
    offset = float(np.max(np.hypot(part.dx[0], part.dy[0])))
    bound = bodies.bound[other]
    clear = distance - bound - offset
    far = clear > 0
    lowest = np.minimum.reduce(skylines)
    with np.errstate(divide="ignore", invalid="ignore"):
        half = np.degrees(np.arcsin(np.clip((bound + offset) / distance, 0.0, 1.0)))
        highest = (bodies.top[other] - part.z.min(axis=1)[column]) / clear
    azimuth = np.degrees(np.arctan2(bodies.x[other] - part.x[column], bodies.y[other] - part.y[column])) % 360.0
    first, last = ways.between(azimuth - half, azimuth + half)
    shown = ~far
    look = np.flatnonzero(far & (last > first))
    shown[look] = highest[look] > lowest_between(lowest, first[look], last[look], column[look])
    return shown


def _raise(skylines: list[Singles], part: Views, around: _Around, pairs: tuple[Ints, Ints], ways: Azimuths, company: int) -> None:
    """Raise skylines by pairs of trees and bodies: those that share offset and size together, the others one by one."""
    column, other = pairs
    bodies = around.bodies
    edge, order = _sorted(_offset_key(part, around, column, other))
    column, other, count = column[order], other[order], np.diff(edge)
    alone = np.repeat(count < company, count)
    if alone.any():
        column_alone, body = column[alone], bodies.take(other[alone])
        seen = part.take(column_alone)
        for point, skyline in enumerate(skylines):
            raise_each(skyline, point, seen, column_alone, body, ways)
    for k in np.flatnonzero(count >= company):
        here = slice(edge[k], edge[k + 1])
        _raise_company(skylines, part, bodies, column[here], other[here], ways)


def _sorted(key: Ints) -> tuple[Ints, Ints]:
    """Return the edges of runs of the same key, and an order that brings them together."""
    # sixteen bits are sorted by counting; two keys that share them only come in more than one run
    order = np.argsort((key % 65521).astype(np.uint16), kind="stable")
    return np.concatenate([[0], np.flatnonzero(np.diff(key[order])) + 1, [len(key)]]), order


def _raise_company(skylines: list[Singles], part: Views, bodies: Bodies, column: Ints, other: Ints, ways: Azimuths) -> None:
    same = _company(part, bodies, column, other)
    eyes = part.z[same.columns]
    for point, skyline in enumerate(skylines):
        raise_together(skyline, same, (part.dx[0, point], part.dy[0, point]), eyes[:, point], ways)


def _company(part: Views, bodies: Bodies, column: Ints, other: Ints) -> Company:
    """Return the pairs of one offset; of all trees, with bodies far below ground for the missing, where most have one."""
    one, size = other[0], len(part.x)
    trunk = (float(bodies.x[one] - part.x[column[0]]), float(bodies.y[one] - part.y[column[0]]))
    radius, long, wide, axis = (float(values[one]) for values in (bodies.radius, bodies.half_length, bodies.half_width, bodies.axis))
    columns: Any = column
    foot, top = bodies.foot[other], bodies.top[other]
    if 2 * len(column) >= size and np.all(np.bincount(column, minlength=size) <= 1):
        columns, tall = slice(None), float(top[0] - foot[0])
        whole_foot, whole_top = np.full(size, -WHOLLY), np.full(size, tall - WHOLLY)
        whole_foot[column], whole_top[column] = foot, top
        foot, top = whole_foot, whole_top
    return Company(columns, trunk, float(part.radius[0]), radius, long, wide, axis, foot, top)


def _pairs(part: Views, around: _Around) -> tuple[Ints, Ints, Floats]:
    """Return which trees look at which bodies, and how far these are: those in reach and high enough that are not their own."""
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
    return column[keep], other[keep], found["v"][keep]


def _offset_key(part: Views, around: _Around, column: Ints, other: Ints) -> Ints:
    """Return a number that pairs with the same offset and the same size of body share."""
    east = np.round((around.bodies.x[other] - part.x[column]) / SAME_M).astype(np.int64)
    north = np.round((around.bodies.y[other] - part.y[column]) / SAME_M).astype(np.int64)
    east, north = east - east.min(), north - north.min()
    key: Ints = (around.size[other] * (int(east.max()) + 1) + east) * (int(north.max()) + 1) + north
    return key
