"""How one set of points lies on another when nobody says which belongs to which: shift and turn, without pairs.

A layout of trees repeats itself, so that it fits nearly as well one step aside; what tells the true place are its edges
and its blocks. First the turn and the shift within a step are found on a part of the points, then the fit is widened to
all of them by the iterated closest point (Besl and McKay, "A method for registration of 3-D shapes", IEEE PAMI 14, 1992),
and at last the fit moves by whole steps for as long as that brings more points to a place.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray

from setout.geometry.places.rigid import Rigid, fit

if TYPE_CHECKING:
    from collections.abc import Iterator

Floats = NDArray[np.float64]
PART = 600
"""Points of the part that the search begins with."""
SAMPLE = 12_000
"""Points that a fit is judged by."""
MOST_TURN = 6.0
"""Turn that is looked for either way [deg]."""
MOST_TRIES = 4_000
WALK = 200
TIE = 0.0005
"""Share of the points, one point at least, by which a fit has to be better to be told from another."""


@dataclass(frozen=True, slots=True)
class Aligned:
    """How points lie on places.

    Attributes
    ----------
    motion : takes places to points
    share : share of the points that find a place, near ones counting more
    rival_m : distance of another fit that is as good [m]; inf where there is none
    """

    motion: Rigid
    share: float
    rival_m: float


@dataclass(frozen=True, slots=True)
class _Target:
    """The places, their distance to the nearest other, and a tree to find them."""

    xy: Floats
    nearest: Floats
    tree: Any

    def score(self, x: Floats, y: Floats) -> float:
        """Return how many points find a place: 1 for one on it, 0 for one half a step away."""
        distance, index = self.tree.query(np.column_stack([x, y]))
        return float(np.maximum(0.0, 1 - (distance / (0.5 * self.nearest[index])) ** 2).sum())


def align(place_x: Floats, place_y: Floats, x: Floats, y: Floats) -> Aligned:
    """Find how points lie on places, without knowing which belongs to which.

    Parameters
    ----------
    place_x, place_y : (m,) ndarrays
        Places [m].
    x, y : (n,) ndarrays
        Points [m]; most of them at a place, after a shift and a turn of some degrees.

    Returns
    -------
    Aligned
        The best fit; of several that are as good the one with the least shift.

    Examples
    --------
    >>> px, py = (v.ravel().astype(float) for v in np.meshgrid(np.arange(0, 60, 3), np.arange(0, 45, 3)))
    >>> found = align(px, py, *Rigid(28.5, 21.0, 4.1, -2.2, 1.0)(px, py))
    >>> motion = found.motion.moved(28.5, 21.0)
    >>> [round(v, 6) for v in (motion.shift_x, motion.shift_y, motion.turn_deg, found.share)]
    [4.1, -2.2, 1.0, 1.0]
    """
    from scipy.spatial import cKDTree

    xy = np.column_stack([place_x, place_y])
    tree = cKDTree(xy)
    nearest = tree.query(xy, k=2)[0][:, 1] if len(xy) > 1 else np.ones(1)
    target = _Target(xy, np.where(np.isfinite(nearest) & (nearest > 0), nearest, 1.0), tree)
    every = np.linspace(0, len(x) - 1, min(len(x), SAMPLE)).astype(np.int64)
    sample = x[every], y[every]
    starts = [Rigid(float(x.mean()), float(y.mean()))]
    aside = float(np.median(place_x) - np.median(x)), float(np.median(place_y) - np.median(y))
    if math.hypot(*aside) > 0.5 * float(np.median(target.nearest)):
        starts.append(Rigid(float(x.mean()), float(y.mean()), *aside))
    found = [_walked(target, sample, _from(target, (x, y), sample, start)) for start in starts]
    found.sort(key=lambda one: -one[1])
    best = found[0]
    for other in found[1:]:
        if other[1] >= best[1] - max(1.0, TIE * len(sample[0])) and _size(other[0]) < _size(best[0]):
            best = other
    motion, score, rival = best
    back = fit(*motion(x, y), x, y)
    middle = float(place_x.mean()), float(place_y.mean())
    return Aligned(back.moved(*middle), score / len(sample[0]), rival)


def _size(motion: Rigid) -> float:
    return math.hypot(motion.shift_x, motion.shift_y)


def _from(target: _Target, points: tuple[Floats, Floats], sample: tuple[Floats, Floats], start: Rigid) -> Rigid:
    """Return the fit that grows from a start: as it is where that is good, else from the best turn of a part."""
    plain = _grown(target, sample, start)
    if target.score(*plain(*sample)) > 0.8 * len(sample[0]):
        return plain
    part = _part(points, sample)
    tries = sorted(_tries(target, part, start), key=lambda one: -one[0])[:6]
    grown = [_grown(target, sample, _grown(target, part, motion)) for _, motion in tries]
    return max([plain, *grown], key=lambda motion: target.score(*motion(*sample)))


def _part(points: tuple[Floats, Floats], sample: tuple[Floats, Floats]) -> tuple[Floats, Floats]:
    x, y = points
    away = np.hypot(x - np.median(sample[0]), y - np.median(sample[1]))
    own = np.argsort(away, kind="stable")[:PART]
    return x[own], y[own]


def _tries(target: _Target, part: tuple[Floats, Floats], start: Rigid) -> Iterator[tuple[float, Rigid]]:
    """Yield turns and shifts within one step of the layout, with how well the part fits."""
    x, y = part
    cx, cy = float(x.mean()), float(y.mean())
    radius = max(float(np.hypot(x - cx, y - cy).max()), 1e-9)
    step = float(np.median(target.nearest))
    hull = float(shapely.area(shapely.convex_hull(shapely.multipoints(target.xy)))) / len(target.xy)
    half = min(max(step, hull / step), 15.0) / 2
    turns = np.arange(0.0, MOST_TURN, math.degrees(0.3 * step / radius))
    turns = np.concatenate([-turns[:0:-1], turns]) if len(turns) > 1 else np.linspace(-MOST_TURN, MOST_TURN, 3)
    fine = max(step / 3.5, 2 * half * math.sqrt(len(turns) / MOST_TRIES))
    shifts = np.arange(-half, half + fine, fine)
    base = start.moved(cx, cy)
    for turn in turns.tolist():
        turned = Rigid(cx, cy, base.shift_x, base.shift_y, turn)
        tx, ty = turned(x, y)
        for dx in shifts.tolist():
            for dy in shifts.tolist():
                yield target.score(tx + dx, ty + dy), Rigid(cx, cy, base.shift_x + dx, base.shift_y + dy, turn)


def _grown(target: _Target, points: tuple[Floats, Floats], motion: Rigid) -> Rigid:
    """Widen a fit from the middle outward, closest points by turns with least squares."""
    x, y = points
    away = np.hypot(x - np.median(x), y - np.median(y))
    ranks = np.argsort(away, kind="stable")
    count = min(len(x), 60)
    while True:
        own = ranks[:count]
        for _ in range(8):
            mx, my = motion(x[own], y[own])
            distance, index = target.tree.query(np.column_stack([mx, my]))
            near = distance < 0.5 * target.nearest[index]
            if near.sum() < 3:
                break
            at = own[near]
            motion = fit(x[at], y[at], target.xy[index[near], 0], target.xy[index[near], 1])
        if count == len(x):
            return motion
        count = min(len(x), 2 * count)


def _walked(target: _Target, points: tuple[Floats, Floats], motion: Rigid) -> tuple[Rigid, float, float]:
    """Move a fit by whole steps of the layout for as long as it gets better; tell the nearest that is as good."""
    steps = _steps_of(target)
    tx, ty = motion(*points)
    dx = dy = 0.0
    score, least, rival = target.score(tx, ty), max(1.0, TIE * len(tx)), math.inf
    for _ in range(WALK):
        scores = [target.score(tx + dx + sx, ty + dy + sy) for sx, sy in steps]
        best = int(np.argmax(scores)) if scores else -1
        if best < 0 or scores[best] <= score + least:
            close = [math.hypot(*steps[k]) for k, other in enumerate(scores) if other >= score - least]
            rival = min(close, default=math.inf)
            break
        score, dx, dy = scores[best], dx + steps[best][0], dy + steps[best][1]
    moved = Rigid(motion.about_x, motion.about_y, motion.shift_x + dx, motion.shift_y + dy, motion.turn_deg)
    return _grown(target, points, moved), score, rival


def _steps_of(target: _Target) -> list[tuple[float, float]]:
    """Return the commonest ways from a place to those around it: by them the layout falls on itself."""
    count = min(13, len(target.xy))
    every = np.linspace(0, len(target.xy) - 1, min(len(target.xy), 4000)).astype(np.int64)
    _, index = target.tree.query(target.xy[every], k=count)
    ways = (target.xy[index[:, 1:]] - target.xy[every][:, None]).reshape(-1, 2)
    cell = 0.2 * float(np.median(target.nearest))
    keys, of, number = np.unique(np.round(ways / cell), axis=0, return_inverse=True, return_counts=True)
    common = np.argsort(-number, kind="stable")[:32]
    middle = np.column_stack([np.bincount(of.ravel(), ways[:, k], len(keys)) for k in (0, 1)]) / number[:, None]
    return [(float(a), float(b)) for a, b in middle[common[number[common] >= 0.03 * len(every)]]]
