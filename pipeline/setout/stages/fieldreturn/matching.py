"""Surveyed trees to planned places: first the shift and turn of the whole set-out, then one to one."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from setout.geometry.places.alignment import align
from setout.geometry.places.pairing import Places, pair
from setout.geometry.places.rigid import Rigid, robust_fit
from setout.model import Floats, Ints
from setout.model.asbuilt import DOUBLED, EXTRA, IN_PLACE, MISPLACED, NOT_JUDGED, OFF_PLACE, STATUSES, SWAPPED, AsBuilt, FieldPoints, SetUp

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
BELIEVED = 0.4
"""Scatter about the named places, as a share of the spread of those places, below which names are this plan's: names dealt
at random give 1.4, the root of 2 (both vary alike and know nothing of each other)."""
COARSE = 0.2
"""Scatter of one coordinate, as a share of the distance to the nearest neighbour, beyond which nearness decides nothing: then 1
tree in 23 is farther off than half that distance (Rayleigh)."""
ENOUGH = 10
"""Trees from which a scatter is believed."""
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
    """Find the planned place of every surveyed tree."""
    nearest = _nearest(planned.x, planned.y)
    apart = float(np.median(nearest))
    start = _start(planned, points, nearest)
    motion, scatter = start.motion, math.inf
    if start.scatter > COARSE * apart and len(points) >= ENOUGH:
        # where a tree stands says nothing of which it is
        place, scatter = _by_name(points, len(planned.x)), start.scatter
    else:
        place = np.full(len(points), -1, np.int64)
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
    coarse = math.isfinite(scatter) and scatter > COARSE * apart and len(points) >= ENOUGH
    if coarse and not start.by_names:
        nothing = SetUp(
            0.0,
            0.0,
            0.0,
            float(planned.x.mean()),
            float(planned.y.mean()),
            scatter,
            math.inf,
            math.inf,
            0,
            by_names=False,
            coarse=True,
            apart_m=apart,
        )
        return _judged(planned, points, np.full(len(points), -1, np.int64), nearest, nothing)
    set_up = _set_up(planned, points, place, motion, by_names=start.by_names, rival=start.rival)
    return _judged(planned, points, place, nearest, replace(set_up, coarse=coarse, apart_m=apart))


def _by_name(points: FieldPoints, planned: int) -> Ints:
    """Return the place of every tree by its name alone; -1 for no name, or one that an earlier tree has."""
    place = np.full(len(points), -1, np.int64)
    first = np.full(planned, -1, np.int64)
    named = np.flatnonzero(points.own >= 0)[::-1]
    first[points.own[named]] = named
    at = np.flatnonzero(first >= 0)
    place[first[at]] = at
    return place


def _nearest(x: Floats, y: Floats) -> Floats:
    from scipy.spatial import cKDTree

    if len(x) < 2:
        return np.ones(len(x))
    xy = np.column_stack([x, y])
    found: Floats = cKDTree(xy).query(xy, k=2)[0][:, 1]
    return np.maximum(found, 0.05)


@dataclass(frozen=True, slots=True)
class _Start:
    """A first shift and turn, whether names gave it, how far away another is that fits as well, scatter about the named."""

    motion: Rigid
    by_names: bool
    rival: float = math.inf
    scatter: float = 0.0


def _start(planned: Planned, points: FieldPoints, nearest: Floats) -> _Start:
    """Return a first shift and turn: from the names where they are those of this plan, else from the pattern of all.

    Names of another plan leave each tree as far from its place as any two trees are, whatever the scatter.
    """
    named = np.flatnonzero(points.own >= 0)
    if len(named) >= 2 and len(named) >= 0.2 * len(points):
        own = points.own[named]
        motion, scatter = robust_fit(planned.x[own], planned.y[own], points.x[named], points.y[named])
        x, y = motion(planned.x[own], planned.y[own])
        near = np.hypot(points.x[named] - x, points.y[named] - y) < 0.5 * nearest[own]
        wide = math.sqrt((float(planned.x[own].var()) + float(planned.y[own].var())) / 2)
        if near.mean() >= TRUSTED or (len(named) >= ENOUGH and scatter < BELIEVED * wide):
            return _Start(motion, by_names=True, scatter=scatter)
    if len(points) < 3 or len(planned.x) < 3:
        return _Start(Rigid(float(planned.x.mean()), float(planned.y.mean())), by_names=False)
    found = align(planned.x, planned.y, points.x, points.y)
    return _Start(found.motion, by_names=False, rival=found.rival_m)


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


def _set_up(planned: Planned, points: FieldPoints, place: Ints, motion: Rigid, *, by_names: bool, rival: float) -> SetUp:
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
    scale, scale_sd = _scale((x, y), (points.x[held], points.y[held]), away <= ERRORS * max(scatter, 1e-9))
    scaled = abs(scale - 1) > ERRORS * scale_sd and abs(scale - 1) * reach > LEAST_SHIFT
    return SetUp(
        moved.shift_x,
        moved.shift_y,
        moved.turn_deg,
        *about,
        scatter,
        shift_sd,
        turn_sd,
        len(held),
        by_names,
        rival,
        *(pivot or (math.nan, math.nan)),
        shifted=shifted,
        turned=turned,
        scale=scale,
        scale_sd=scale_sd,
        scaled=scaled,
    )


def _scale(to: tuple[Floats, Floats], at: tuple[Floats, Floats], good: NDArray[np.bool_]) -> tuple[float, float]:
    """Return how much larger the set-out is than the plan, by least squares about the middle, and the standard error."""
    if not good.any():
        return 1.0, math.inf
    dx, dy, ex, ey = (v[good] - v[good].mean() for v in (*to, *at))
    square = max(float((dx**2 + dy**2).sum()), 1e-12)
    scale = float((dx * ex + dy * ey).sum()) / square
    left = float(np.median(np.hypot(ex - scale * dx, ey - scale * dy))) / 1.1774
    return scale, left / math.sqrt(square)


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
    far = np.hypot(own_x[held], own_y[held])
    if set_up.coarse:
        status[:] = NOT_JUDGED
        status[held[far > SCATTERS * set_up.scatter_m]] = OFF_PLACE
        return _told(planned, points, place, status, (off_x, off_y, own_x, own_y), set_up)
    status[held] = np.where(far > OFF * nearest[at], OFF_PLACE, IN_PLACE)
    elsewhere = np.flatnonzero((place >= 0) & (points.own >= 0) & (points.own != place))
    if set_up.by_names and len(elsewhere):
        status[elsewhere] = _exchanged(points, place, elsewhere)
    status[_doubles(Places(x, y, DOUBLE * nearest), points, place)] = DOUBLED
    return _told(planned, points, place, status, (off_x, off_y, own_x, own_y), set_up)


def _told(
    planned: Planned,
    points: FieldPoints,
    place: Ints,
    status: NDArray[np.int8],
    offsets: tuple[Floats, Floats, Floats, Floats],
    set_up: SetUp,
) -> AsBuilt:
    """Say what became of planned places without a tree, and count."""
    taken = np.zeros(len(planned.x), bool)
    taken[place[place >= 0]] = True
    seen = np.zeros(len(planned.blocks), bool)
    seen[planned.block[taken]] = True
    # of a coarse survey only names tell what is there
    unsure = set_up.coarse and bool((points.own < 0).any())
    missing = np.flatnonzero(~taken & seen[planned.block] & (not unsure))
    there = np.unique(planned.block).tolist()
    unsurveyed = () if unsure else tuple(planned.blocks[b] for b in there if not seen[b])
    found = Counter(STATUSES[code] for code in status.tolist())
    lacking = 0 if unsure else int((~seen[planned.block]).sum())
    counts = {**found, "missing": len(missing), "not_surveyed": lacking}
    off_x, off_y, own_x, own_y = offsets
    return AsBuilt(points, place, status, off_x, off_y, own_x, own_y, missing, unsurveyed, set_up, counts=counts)


def _exchanged(points: FieldPoints, place: Ints, trees: Ints) -> NDArray[np.int8]:
    """Tell trees that changed places among each other from those that merely stand at another's place.

    A tree whose own place is taken by a tree that is away from its own too is one of a ring of trees that changed places.
    """
    holder = {int(place[k]): int(k) for k in np.flatnonzero(place >= 0).tolist()}
    away = set(trees.tolist())
    return np.array([SWAPPED if holder.get(int(points.own[k]), -1) in away else MISPLACED for k in trees.tolist()], np.int8)


def _doubles(places: Places, points: FieldPoints, place: Ints) -> Ints:
    """Return the trees without a place that stand where another has its own, or bear the name of another that has it."""
    from scipy.spatial import cKDTree

    left = np.flatnonzero(place < 0)
    if not len(left):
        return left
    taken = np.zeros(len(places.x), bool)
    taken[place[place >= 0]] = True
    distance, index = cKDTree(np.column_stack([places.x, places.y])).query(np.column_stack([points.x[left], points.y[left]]))
    near = (distance <= places.within[index]) & taken[index]
    own = points.own[left]
    named = np.zeros(len(left), bool)
    has = own >= 0
    named[has] = taken[own[has]] & (
        np.hypot(points.x[left[has]] - places.x[own[has]], points.y[left[has]] - places.y[own[has]]) <= places.within[own[has]]
    )
    doubles: Ints = left[near | named]
    return doubles
