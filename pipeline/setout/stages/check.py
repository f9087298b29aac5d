"""Check: an independent look at finished positions, never at how they were placed.

Distances are measured against the original vectors in the frame, room by the true nearest neighbour, slope by the cell
that the tree stands on. The same code judges positions that came back from the field.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import combinations
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from setout.geometry.places.nearby import Bins, bins_of, in_boxes, near_legs, nearest_distance
from setout.model import Finding, Floats, Geometries, Ints, Site, Trees

ROOM_TOLERANCE = 1e-3
"""How much nearer than its pattern's distance a neighbour may stand [m]: rounding, not planting."""
DISTANCE_TOLERANCE = 0.01
"""How much nearer to a feature a tree may stand than its setback says [m]."""
SLOPE_TOLERANCE = 1e-4
"""How much steeper than the limit a cell may be, rise over run."""

BIN = 20.0
"""Side of the bins that trees are sorted into [m]: no part of any result."""


@dataclass(frozen=True, slots=True)
class Positions:
    """Trees to be judged.

    Attributes
    ----------
    tree_id : what they are called
    block : index of the block each belongs to; -1 for none
    x, y : frame [m]
    trees : the columns slope_pct, run_m, pressure_kpa and apart_m are looked at
    partner : index of the other tree of the pair, -1 for none; None where there are no pairs
    """

    tree_id: NDArray[np.str_]
    block: Ints
    x: Floats
    y: Floats
    trees: Trees
    partner: NDArray[np.int32] | None = None


@dataclass(frozen=True, slots=True)
class Checks:
    """What the check holds trees to, beside what the site says.

    Attributes
    ----------
    max_slope : steepest slope, rise over run; inf for no limit
    room_share : share of a pattern's distance by which a neighbour may be nearer: 0 for a plan, more for what was planted
    """

    max_slope: float
    room_share: float = 0.0


@dataclass(frozen=True, slots=True)
class _Short:
    """Trees that fall short in one respect; unit is that of both figures, as their names end."""

    code: str
    trees: Ints
    measured: Floats
    required: Floats | float
    unit: str = "m"
    figures: Mapping[str, Any] = field(default_factory=dict)


def check(site: Site, positions: Positions, checks: Checks, areas: Geometries) -> tuple[Finding, ...]:
    """Judge positions against everything that the site holds them to."""
    if not len(positions.x):
        return ()
    looks = (
        _boundary(site, positions, areas),
        _room(site, positions, 1 - checks.room_share),
        _between_blocks(site, positions, 1 - checks.room_share),
        _setbacks(site, positions),
        _height_limits(site, positions),
        _slope(positions, checks),
        _water(site, positions),
    )
    return tuple(finding for look in looks for short in look for finding in _found(positions, short))


def nearest_neighbour(x: Floats, y: Floats, partner: NDArray[np.int32] | None = None) -> tuple[Floats, Floats]:
    """Return the distance from every tree to its nearest other tree, and to the nearest that is not its partner.

    >>> x = np.array([0.0, 0.0, 3.0, 3.0])
    >>> nearest_neighbour(x, np.array([0.0, 1.0, 0.0, 1.0]), np.array([1, 0, 3, 2]))
    (array([1., 1., 1., 1.]), array([3., 3., 3., 3.]))
    """
    from scipy.spatial import cKDTree

    if len(x) < 2:
        return np.full(len(x), np.inf), np.full(len(x), np.inf)
    if partner is None or not (partner >= 0).any():
        # trees are given as a crew walks them: the next one is mostly the nearest
        nearest = nearest_distance(x, y, float(np.median(np.hypot(np.diff(x), np.diff(y)))))
        return nearest, nearest
    xy = np.column_stack([x, y])
    distance, index = cKDTree(xy, balanced_tree=False, compact_nodes=False).query(xy, k=min(3, len(xy)), workers=-1)
    nearest = distance[:, 1]
    own = index == np.arange(len(xy))[:, None]
    others = np.where(own | (index == partner[:, None]), np.inf, distance)
    return nearest, others.min(axis=1)


def nearest_notes(site: Site, positions: Positions, areas: Geometries) -> tuple[Finding, ...]:
    """Say what a block's geometry gives where that is not what its step says."""
    found = []
    for index, block in enumerate(site.blocks):
        own = np.flatnonzero(positions.block == index)
        nearest = np.min(_nearest_of_own(positions, own, block.pattern.step_m), initial=np.inf)
        beside = block.pattern.pair.distance_m if block.pattern.pair is not None else 0.0
        if not nearest < block.pattern.step_m - beside - ROOM_TOLERANCE:
            continue
        figures: dict[str, Any] = {
            "block": block.name,
            "row_distance_m": block.pattern.row_distance_m,
            "nearest_m": float(nearest),
            "step_m": block.pattern.step_m,
        }
        found.append(Finding("nearest_below_step", "note", geometry=areas[index], figures=figures))
    return tuple(found)


def _boundary(site: Site, positions: Positions, areas: Geometries) -> Iterator[_Short]:
    everyone = np.arange(len(positions.x))
    outside = _outside(site.boundary, positions, everyone)
    beyond = _beyond(site.boundary, positions, outside)
    yield _Short("outside_boundary", outside, beyond, 0.0)
    for index, area in enumerate(areas):
        own = np.flatnonzero(positions.block == index)
        out = np.setdiff1d(_outside(area, positions, own), outside)
        yield _Short("outside_block", out, _beyond(area, positions, out), 0.0, figures={"block": site.blocks[index].name})


def _outside(area: BaseGeometry, positions: Positions, own: Ints) -> Ints:
    """Return which of some trees are outside an area by more than the tolerance."""
    shapely.prepare(area)
    out = own[~shapely.contains_xy(area, positions.x[own], positions.y[own])]
    return out[_beyond(area, positions, out) > DISTANCE_TOLERANCE]


def _beyond(area: BaseGeometry, positions: Positions, trees: Ints) -> Floats:
    """Return how far trees are from an area [m]."""
    out: Floats = np.asarray(shapely.distance(area, shapely.points(positions.x[trees], positions.y[trees])), float)
    return out


def _room(site: Site, positions: Positions, held: float) -> Iterator[_Short]:
    for index, block in enumerate(site.blocks):
        own = np.flatnonzero(positions.block == index)
        least = block.pattern.nearest_m - (block.pattern.pair.distance_m if block.pattern.pair is not None else 0.0)
        nearest = _nearest_of_own(positions, own, least)
        close = nearest < held * least - ROOM_TOLERANCE
        yield _Short("too_close", own[close], nearest[close], least)


def _between_blocks(site: Site, positions: Positions, held: float) -> Iterator[_Short]:
    """Look at the distance that trees of two blocks keep."""
    from scipy.spatial import cKDTree

    xy = np.column_stack([positions.x, positions.y])
    owned = [np.flatnonzero(positions.block == index) for index in range(len(site.blocks))]
    for one, other in combinations(range(len(site.blocks)), 2):
        least = site.blocks[one].apart_m(site.blocks[other])
        if not (len(owned[one]) and len(owned[other])) or not _boxes_near(xy[owned[one]], xy[owned[other]], least):
            continue
        away = cKDTree(xy[owned[one]]).query(xy[owned[other]], distance_upper_bound=least)[0]
        near = away < held * least - ROOM_TOLERANCE
        yield _Short("too_close_to_block", owned[other][near], away[near], least, figures={"block": site.blocks[one].name})


def _boxes_near(one: Floats, other: Floats, distance: float) -> bool:
    """Tell whether the boxes of two sets of points come within a distance."""
    gap = np.maximum(one.min(axis=0) - other.max(axis=0), other.min(axis=0) - one.max(axis=0))
    return bool((gap < distance).all())


def _nearest_of_own(positions: Positions, own: Ints, least: float) -> Floats:
    """Return the distance to the nearest tree of the same block; of any block where none is nearer than the least asked."""
    nearest: Floats = positions.trees.known("apart_m")[own]
    if len(own) == len(positions.x) or not (nearest < least).any():
        return nearest
    partner = None
    if positions.partner is not None:
        place = np.full(len(positions.x), -1, np.int32)
        place[own] = np.arange(len(own))
        partner = np.where(positions.partner[own] >= 0, place[positions.partner[own]], -1).astype(np.int32)
    return nearest_neighbour(positions.x[own], positions.y[own], partner)[1]


def _near(features: Geometries, positions: Positions, trees: Bins, distance: float) -> tuple[Ints, Floats]:
    """Return the trees inside features or nearer to them than a distance, ascending, and how far they are [m]."""
    inside = _inside(features, positions, trees)
    near, away = near_legs(trees, _legs(features), distance) if distance > 0 else (inside[:0], np.empty(0))
    found = np.union1d(inside, near)
    measured = np.zeros(len(found))
    measured[np.searchsorted(found, near)] = away
    measured[np.searchsorted(found, inside)] = 0.0
    return found, measured


def _inside(features: Geometries, positions: Positions, trees: Bins) -> Ints:
    """Return the trees inside polygons, ascending."""
    parts = shapely.get_parts(features)
    parts = parts[shapely.get_dimensions(parts) == 2]
    if not len(parts):
        return np.empty(0, np.int64)
    shapely.prepare(parts)
    part, tree = in_boxes(trees, shapely.bounds(parts))
    return np.unique(tree[shapely.contains_xy(parts[part], positions.x[tree], positions.y[tree])])


def _legs(features: Geometries) -> Floats:
    """Take lines and outlines apart into their legs; a point is a leg without length."""
    parts = shapely.get_parts(features)
    flat = shapely.get_coordinates(parts[shapely.get_dimensions(parts) == 0])
    lines = shapely.get_parts(shapely.boundary(parts[shapely.get_dimensions(parts) == 2]))
    xy, of = shapely.get_coordinates(np.concatenate([lines, parts[shapely.get_dimensions(parts) == 1]]), return_index=True)
    same = of[1:] == of[:-1]
    return np.vstack([np.hstack([flat, flat]), np.hstack([xy[:-1], xy[1:]])[same]])


def _setbacks(site: Site, positions: Positions) -> Iterator[_Short]:
    trees = bins_of(positions.x, positions.y, BIN)
    spread = np.array([*(b.spread_m for b in site.blocks), np.nan])
    half = np.nan_to_num(spread / 2)[positions.block]
    for setback in site.setbacks:
        canopy = setback.measured_to == "canopy"
        widest = setback.distance_m + (half.max() if canopy else 0.0)
        near, measured = _near(setback.geometry, positions, trees, widest - DISTANCE_TOLERANCE)
        required = setback.distance_m + (half[near] if canopy else np.zeros(len(near)))
        short = measured < required - DISTANCE_TOLERANCE
        yield _Short("setback", near[short], measured[short], required[short], figures={"why": setback.why})
    for no_plant in site.no_plant:
        inside = _inside(no_plant.geometry, positions, trees)
        edge = shapely.union_all(shapely.boundary(no_plant.geometry))
        deep = _beyond(edge, positions, inside)
        held = deep > DISTANCE_TOLERANCE
        yield _Short("no_plant", inside[held], deep[held], 0.0, figures={"why": no_plant.why})


def _height_limits(site: Site, positions: Positions) -> Iterator[_Short]:
    height = np.array([*(b.height_m for b in site.blocks), np.nan])[positions.block]
    for limit in site.height_limits:
        tall = height > limit.height_m + 1e-9
        if not tall.any():
            continue
        trees = bins_of(positions.x, positions.y, BIN)
        near, _ = _near(limit.geometry, positions, trees, limit.within_m - DISTANCE_TOLERANCE)
        near = near[tall[near]]
        yield _Short("height_limit", near, height[near], limit.height_m, figures={"why": limit.why})


def _slope(positions: Positions, checks: Checks) -> Iterator[_Short]:
    slope = positions.trees.known("slope_pct")
    steep = np.flatnonzero(slope > 100 * (checks.max_slope + SLOPE_TOLERANCE))
    yield _Short("too_steep", steep, slope[steep], 100 * checks.max_slope, "pct")


def _water(site: Site, positions: Positions) -> Iterator[_Short]:
    water = site.water
    if water is None or water.plant_beyond:
        return
    run = positions.trees.known("run_m")
    far = np.flatnonzero(~np.isfinite(run))
    most = np.inf if water.max_run_m is None else water.max_run_m
    yield _Short("beyond_reach", far, np.full(len(far), np.nan), most)
    if water.min_pressure_kpa is not None:
        kpa = positions.trees.known("pressure_kpa")
        low = np.flatnonzero(kpa < water.min_pressure_kpa - 1e-6)
        yield _Short("low_pressure", low, kpa[low], water.min_pressure_kpa, "kpa")


def _found(positions: Positions, short: _Short) -> Iterator[Finding]:
    """Yield one finding for every tree that falls short."""
    measured, required = f"measured_{short.unit}", f"required_{short.unit}"
    least = np.broadcast_to(np.asarray(short.required, float), (len(short.trees),))
    for tree, has, needs in zip(short.trees.tolist(), np.asarray(short.measured, float).tolist(), least.tolist(), strict=True):
        name = str(positions.tree_id[tree])
        yield Finding(
            short.code,
            "stop",
            tree_id=name,
            geometry=shapely.Point(positions.x[tree], positions.y[tree]),
            by=abs(has - needs),
            figures={"tree": name, measured: has, required: needs, **short.figures},
        )
