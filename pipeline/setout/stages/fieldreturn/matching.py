"""Surveyed trees to planned places: first the shift and turn of the whole set-out, then one to one."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from setout.geometry.alignment import align
from setout.geometry.pairing import Places, pair
from setout.geometry.rigid import Rigid, robust_fit
from setout.nouns import Floats, Ints
from setout.nouns.asbuilt import (
    DOUBLED,
    EXTRA,
    IN_PLACE,
    MISPLACED,
    OFF_PLACE,
    STATUS_WORDS,
    SWAPPED,
    AsBuilt,
    FieldPoints,
    SetUp,
)

FARTHEST = 0.7
"""How far from its place a tree may stand, as a share of the distance to the nearest planned neighbour: half of it is
where two places are as near, a diagonal neighbour's middle is at 0.707."""
SURE = 0.35
"""As far as this share a tree is at its place whatever the scatter of the others."""
SCATTERS = 5.0
"""Standard deviations of one coordinate within which a tree belongs to its place (1 in 270,000 is farther, Rayleigh)."""
OWN = 0.5
"""Share of the square of that distance that a tree's own name is worth."""
TRUSTED = 0.3
"""Share of named trees near their own places from which names are used."""
DOUBLE = 0.4
"""Share of the distance to the nearest neighbour within which a tree beside another is its double."""
OFF = 0.25
"""Share of the distance to the nearest neighbour from which a tree is off its place (common practice)."""
ERRORS = 3.5
"""Standard errors beyond which a shift or turn is no chance."""
LEAST_SHIFT = 0.02
"""Shift, also of the farthest tree by a turn, below which nothing is said [m]: what a stake is set to."""


@dataclass(frozen=True, slots=True)
class Planned:
    """The plan as the field is held to it; one entry a planned tree.

    Attributes
    ----------
    tree_id : names
    x, y : frame [m]
    block : index of the block
    kind : number of what is planted there; trees of one number may change places
    blocks : names of the blocks
    """

    tree_id: NDArray[np.str_]
    x: Floats
    y: Floats
    block: Ints
    kind: Ints
    blocks: tuple[str, ...]


def match(planned: Planned, points: FieldPoints) -> AsBuilt:
    """Find the planned place of every surveyed tree.

    Parameters
    ----------
    planned : Planned
        The plan.
    points : FieldPoints
        Surveyed positions, at least one.

    Returns
    -------
    AsBuilt
        Without findings; see :func:`setout.stages.fieldreturn.doubts`.
    """
    nearest = _nearest(planned.x, planned.y)
    motion, by_names, rival = _coarse(planned, points, nearest)
    place = np.full(len(points), -1, np.int64)
    scatter = math.inf
    for _ in range(4):
        place = _paired(planned, points, nearest, motion, scatter if math.isfinite(scatter) else None)
        held = np.flatnonzero(place >= 0)
        if len(held) < 3:
            break
        at = place[held]
        motion, spread = robust_fit(planned.x[at], planned.y[at], points.x[held], points.y[held])
        if math.isclose(spread, scatter, rel_tol=1e-6):
            break
        scatter = spread
    set_up = _set_up(planned, points, place, motion, by_names=by_names, rival=rival)
    return _judged(planned, points, place, nearest, set_up)


def _nearest(x: Floats, y: Floats) -> Floats:
    from scipy.spatial import cKDTree

    if len(x) < 2:
        return np.ones(len(x))
    xy = np.column_stack([x, y])
    found: Floats = cKDTree(xy).query(xy, k=2)[0][:, 1]
    return np.maximum(found, 0.05)


def _coarse(planned: Planned, points: FieldPoints, nearest: Floats) -> tuple[Rigid, bool, float]:
    """Return a first shift and turn, whether names gave it, and how far away another is that fits as well."""
    named = np.flatnonzero(points.own >= 0)
    if len(named) >= 2 and len(named) >= 0.2 * len(points):
        own = points.own[named]
        motion, _ = robust_fit(planned.x[own], planned.y[own], points.x[named], points.y[named])
        x, y = motion(planned.x[own], planned.y[own])
        near = np.hypot(points.x[named] - x, points.y[named] - y) < 0.5 * nearest[own]
        if near.mean() >= TRUSTED:
            return motion, True, math.inf
    if len(points) < 3 or len(planned.x) < 3:
        return Rigid(float(planned.x.mean()), float(planned.y.mean())), False, math.inf
    found = align(planned.x, planned.y, points.x, points.y)
    return found.motion, False, found.rival_m


def _paired(planned: Planned, points: FieldPoints, nearest: Floats, motion: Rigid, scatter: float | None) -> Ints:
    within = FARTHEST * nearest
    if scatter is not None:
        within = np.minimum(within, np.maximum(SURE * nearest, SCATTERS * scatter + 0.02))
    x, y = motion(planned.x, planned.y)
    place = pair(Places(x, y, within), points.x, points.y, points.own, OWN)
    # a tree whose name says where it belongs is its own even where it stands farther off, if nothing else stands there
    left = np.flatnonzero((place < 0) & (points.own >= 0))
    own = points.own[left]
    free = np.ones(len(planned.x), bool)
    free[place[place >= 0]] = False
    alone = np.bincount(own, minlength=len(planned.x))[own] == 1
    near = np.hypot(points.x[left] - x[own], points.y[left] - y[own]) <= nearest[own]
    late = free[own] & alone & near
    place[left[late]] = own[late]
    return place


def _set_up(
    planned: Planned, points: FieldPoints, place: Ints, motion: Rigid, *, by_names: bool, rival: float
) -> SetUp:
    """Tell shift and turn about the middle of the plan, with their errors."""
    about = float(planned.x.mean()), float(planned.y.mean())
    held = np.flatnonzero(place >= 0)
    at = place[held]
    if len(held) < 3:
        few = float(np.median(points.x[held] - planned.x[at])) if len(held) else 0.0
        few_y = float(np.median(points.y[held] - planned.y[at])) if len(held) else 0.0
        return SetUp(few, few_y, 0.0, *about, 0.0, math.inf, math.inf, len(held), by_names, rival)
    moved = motion.moved(*about)
    x, y = moved(planned.x[at], planned.y[at])
    away = np.hypot(points.x[held] - x, points.y[held] - y)
    scatter = float(np.median(away)) / 1.1774
    cx, cy = planned.x[at] - planned.x[at].mean(), planned.y[at] - planned.y[at].mean()
    spread = math.sqrt(max(float((cx**2 + cy**2).sum()), 1e-12))
    turn_sd = math.degrees(scatter / spread)
    aside = math.hypot(float(planned.x[at].mean()) - about[0], float(planned.y[at].mean()) - about[1])
    shift_sd = math.hypot(scatter / math.sqrt(len(held)), math.radians(turn_sd) * aside)
    reach = float(np.hypot(planned.x - about[0], planned.y - about[1]).max(initial=0.0))
    shift = math.hypot(moved.shift_x, moved.shift_y)
    turned = abs(moved.turn_deg) > ERRORS * turn_sd and math.radians(abs(moved.turn_deg)) * reach > LEAST_SHIFT
    shifted = shift > max(ERRORS * shift_sd, LEAST_SHIFT)
    pivot = moved.pivot if turned else None
    return SetUp(
        moved.shift_x, moved.shift_y, moved.turn_deg, *about, scatter, shift_sd, turn_sd, len(held), by_names, rival,
        *(pivot or (math.nan, math.nan)), shifted=shifted, turned=turned,
    )  # fmt: skip


def _judged(planned: Planned, points: FieldPoints, place: Ints, nearest: Floats, set_up: SetUp) -> AsBuilt:
    """Say of every surveyed tree what it is."""
    size = len(points)
    motion = Rigid(set_up.about_x, set_up.about_y, set_up.shift_x, set_up.shift_y, set_up.turn_deg)
    off_x, off_y, own_x, own_y = (np.full(size, np.nan) for _ in range(4))
    held = np.flatnonzero(place >= 0)
    at = place[held]
    x, y = motion(planned.x, planned.y)
    off_x[held], off_y[held] = points.x[held] - planned.x[at], points.y[held] - planned.y[at]
    own_x[held], own_y[held] = points.x[held] - x[at], points.y[held] - y[at]
    status = np.full(size, EXTRA, np.int8)
    status[held] = np.where(np.hypot(own_x[held], own_y[held]) > OFF * nearest[at], OFF_PLACE, IN_PLACE)
    elsewhere = np.flatnonzero((place >= 0) & (points.own >= 0) & (points.own != place))
    if set_up.by_names and len(elsewhere):
        status[elsewhere] = _exchanged(points, place, elsewhere)
    status[_doubles(Places(x, y, DOUBLE * nearest), points, place)] = DOUBLED
    taken = np.zeros(len(planned.x), bool)
    taken[at] = True
    seen = np.zeros(len(planned.blocks), bool)
    seen[planned.block[at]] = True
    missing = np.flatnonzero(~taken & seen[planned.block])
    there = np.unique(planned.block).tolist()
    unsurveyed = tuple(planned.blocks[b] for b in there if not seen[b])
    words = Counter(STATUS_WORDS[code] for code in status.tolist())
    counts = {**words, "missing": len(missing), "not surveyed": int((~seen[planned.block]).sum())}
    return AsBuilt(points, place, status, off_x, off_y, own_x, own_y, missing, unsurveyed, set_up, counts=counts)


def _exchanged(points: FieldPoints, place: Ints, trees: Ints) -> NDArray[np.int8]:
    """Tell trees that changed places among each other from those that merely stand at another's place.

    A tree whose own place is taken by a tree that is away from its own too is one of a ring of trees that changed places.
    """
    holder = {int(place[k]): int(k) for k in np.flatnonzero(place >= 0).tolist()}
    away = set(trees.tolist())
    return np.array(
        [SWAPPED if holder.get(int(points.own[k]), -1) in away else MISPLACED for k in trees.tolist()], np.int8
    )


def _doubles(places: Places, points: FieldPoints, place: Ints) -> Ints:
    """Return the trees without a place that stand where another has its own, or bear the name of another that has it."""
    from scipy.spatial import cKDTree

    left = np.flatnonzero(place < 0)
    if not len(left):
        return left
    taken = np.zeros(len(places.x), bool)
    taken[place[place >= 0]] = True
    distance, index = cKDTree(np.column_stack([places.x, places.y])).query(
        np.column_stack([points.x[left], points.y[left]])
    )
    near = (distance <= places.within[index]) & taken[index]
    own = points.own[left]
    named = np.zeros(len(left), bool)
    has = own >= 0
    named[has] = taken[own[has]] & (np.hypot(points.x[left[has]] - places.x[own[has]], points.y[left[has]] - places.y[own[has]])
                                    <= places.within[own[has]])  # fmt: skip
    doubles: Ints = left[near | named]
    return doubles
