"""Reach: which ground the water points can serve.

A place is served by a water point when a pipe of at most the longest run leads to it without crossing a barrier, and
when the static pressure there, after the lift, is still at least the minimum. Barriers are those that the plan file
names, and what nobody lays a pipe through: areas behind a setback, no-plant ground, and the property line.
Lift costs 0.4333 psi per foot (62.4
lb/ft3 over 144 in2/ft2). Friction is not in it: pipes are sized later, so this is the most a point can ever serve.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from setout.geometry.lines import overlay
from setout.geometry.lines.detour import SKIN, Obstacles, in_sight, obstacles_of, opened, sees, ways_from
from setout.geometry.lines.outlines import arc_segments, discs_around
from setout.model import Figure, Finding, Floats, Geometries, Ground, Ints, Reach, Served, Water
from setout.units import KPA_PER_M

SLEEVE_WIDTH = 1.0
"""Width of the opening that a sleeve under a road makes in a barrier [m]; common practice, no source."""
HAIR = 1e-6
"""How far into a barrier's drawn outline a pipe may come [m]: rounding of coordinates."""
SLIVER_M = 0.1
"""Half the width of strips that are no ground to plant [m]."""
BATCH = 4_000_000
"""Ways from positions to corners that are reckoned at once: no part of any result."""
FAR = 1e5
"""How far beyond the barriers ground is looked at where pipes may be of any length [m]: further than any site reaches."""


def reach_of(water: Water) -> Reach:
    """Work out the ground in reach of every water point."""
    points = water.points
    longest = water.max_run_m if water.max_run_m is not None else np.inf
    named = obstacles_of(water.barriers, water.sleeves, SLEEVE_WIDTH)
    areas = _areas(_ways(water, named, longest), len(points.x), longest, named)
    obstacles = obstacles_of(_closed(water), np.concatenate([water.sleeves, _ways_out(water)]), SLEEVE_WIDTH)
    xy, run, point = _ways(water, obstacles, longest)
    least = water.min_pressure_kpa
    ceiling = np.full(len(points.x), np.inf)
    if least is not None:
        known = np.isfinite(points.pressure_kpa) & np.isfinite(points.z)
        ceiling[known] = points.z[known] + (points.pressure_kpa[known] - least) / KPA_PER_M
    findings, discs = _findings(water), named is None
    if obstacles is not None and water.land is not None:
        lost = _shut_off(water.land, obstacles, (xy, run, point), areas, longest)
        if not shapely.is_empty(lost).all():
            everywhere = shapely.buffer(water.land, 1.0)
            whole = (everywhere if area.is_empty else area for area in areas)
            left = [overlay.difference(area, gone) for area, gone in zip(whole, lost, strict=True)]
            areas, discs = np.array(left, object), False
            findings += _cut_off(water, overlay.difference(overlay.union(lost), overlay.union(areas)))
    barriers = None if obstacles is None else obstacles.shape
    return Reach(xy[:, 0], xy[:, 1], run, point, longest, barriers, ceiling, areas, tuple(findings), discs)


def _shut_off(land: BaseGeometry, obstacles: Obstacles, ways: tuple[Floats, Floats, Ints], areas: Geometries, longest: float) -> Geometries:
    """Return per water point the ground in its run from which something that no pipe crosses keeps it after all.

    A building's shadow is seen from the corners round which the pipe goes: few of them are needed.
    """
    xy, run, point = ways
    free = overlay.difference(shapely.buffer(land, SKIN, join_style="mitre"), obstacles.shape)
    lost = np.full(len(areas), shapely.MultiPolygon(), object)
    for index, area in enumerate(areas):
        left = free if area.is_empty else overlay.intersection(area, free)
        own = np.flatnonzero(point == index)
        if not np.isfinite(longest):
            lost[index] = _wide(overlay.difference(left, _open_to(obstacles, *xy[own[0]])))
            continue
        for k in own[np.argsort(run[own], kind="stable")].tolist():
            (x, y), far = xy[k], longest - run[k]
            if far <= 0 or left.is_empty:
                break
            if shapely.distance(left, shapely.Point(x, y)) < far:
                disc = shapely.Point(x, y).buffer(far, quad_segs=arc_segments(far))
                left = _wide(overlay.difference(left, in_sight(obstacles, float(x), float(y), disc, far)))
        lost[index] = left
    return lost


def _wide(area: BaseGeometry) -> BaseGeometry:
    """Return what is wide enough for a tree: no slivers beside arcs and walls."""
    return overlay.polygonal(shapely.buffer(shapely.buffer(area, -SLIVER_M, join_style="mitre"), SLIVER_M, join_style="mitre"))


def _cut_off(water: Water, lost: BaseGeometry) -> list[Finding]:
    """Say how much ground lies in the run of a water point, but behind something, and no other point serves it."""
    ground = _wide(overlay.difference(lost, overlay.union(water.closed)))
    if ground.is_empty:
        return []
    left = "trees_dry" if water.plant_beyond else "not_planted"
    return [Finding("reach_cut_off", "warn", geometry=ground, figures={"area_m2": float(ground.area), "left": left})]


def _closed(water: Water) -> Geometries:
    """Return everything that no pipe crosses, as it is drawn: areas a little smaller and the property line a little outside.

    So what stands on an edge, a tree or a tap, is not in the way of its own pipe.
    """
    areas = shapely.buffer(water.closed, -2 * SKIN, join_style="mitre")
    parts = [water.barriers, areas[~shapely.is_empty(areas)]]
    if water.land is not None:
        line = shapely.boundary(shapely.buffer(water.land, 2 * SKIN, join_style="mitre"))
        parts.append(np.array([line], object))
    return np.concatenate(parts)


def _ways_out(water: Water) -> Geometries:
    """Return the shortest way of a pipe out of the area that its water point stands in, or onto the property from outside.

    A water point in a pump house, a pond or beyond the line is no use otherwise; a sleeve that leads out takes its place.
    """
    ways = []
    at = np.asarray(shapely.points(np.column_stack([water.points.x, water.points.y])), object)
    inside = [(edge, at[shapely.contains(edge, at)]) for edge in water.closed]
    if water.land is not None:
        inside.append((water.land, at[~shapely.dwithin(water.land, at, SKIN)]))
    for area, points in inside:
        line = shapely.boundary(area)
        led = len(water.sleeves) > 0 and bool(shapely.intersects(opened(water.sleeves, SLEEVE_WIDTH), line).any())
        ways += [] if led else [shapely.shortest_line(point, line) for point in points]
    out = np.empty(len(ways), object)
    out[:] = ways
    return out


def _ways(water: Water, obstacles: Obstacles | None, longest: float) -> tuple[Floats, Floats, Ints]:
    """Return the corners that pipes from all water points bend round, the run to each, and the water point of each."""
    nodes, runs, point = [], [], []
    for index, (x, y) in enumerate(zip(water.points.x, water.points.y, strict=True)):
        if obstacles is None:
            node, run = np.array([[x, y]]), np.zeros(1)
        else:
            node, run = ways_from(obstacles, float(x), float(y), longest)
        nodes.append(node)
        runs.append(run)
        point.append(np.full(len(run), index, np.int64))
    return np.vstack(nodes), np.concatenate(runs), np.concatenate(point)


def _areas(ways: tuple[Floats, Floats, Ints], size: int, longest: float, obstacles: Obstacles | None) -> Geometries:
    xy, run, point = ways
    areas = np.empty(size, object)
    for index in range(size):
        if not np.isfinite(longest):
            areas[index] = shapely.MultiPolygon() if obstacles is None else _open_to(obstacles, *xy[point == index][0])
            continue
        parts = []
        for (x, y), so_far in zip(xy[point == index], run[point == index], strict=True):
            left = longest - so_far
            if left <= 0:
                continue
            if obstacles is None:
                parts.append(discs_around(np.array([x]), np.array([y]), left))
                continue
            # these cut the rows: arcs just inside the true ones
            disc = shapely.Point(x, y).buffer(left, quad_segs=arc_segments(left))
            parts.append(in_sight(obstacles, float(x), float(y), disc, left))
        areas[index] = parts[0] if len(parts) == 1 else overlay.union(parts)
    return areas


def _open_to(obstacles: Obstacles, x: float, y: float) -> BaseGeometry:
    """Return the ground that pipes of any length lead to: all that obstacles do not shut off, as far as FAR."""
    here = shapely.Point(x, y)
    around = shapely.box(*shapely.union(obstacles.shape.envelope, here).bounds).buffer(FAR, join_style="mitre")
    parts = shapely.get_parts(overlay.difference(around, obstacles.shape))
    return overlay.union(parts[shapely.distance(parts, here) < 0.01])


def serve(reach: Reach, water: Water, x: Floats, y: Floats, z: Floats) -> Served:
    """Find for every position the water point with the shortest run that still has pressure there."""
    size = len(x)
    best, run = np.full(size, -1, np.int64), np.full(size, np.nan)
    # a position at the very edge of its ground may stand on a barrier's drawn outline, where water does come to it
    thinner = None if reach.barriers is None else shapely.buffer(reach.barriers, -HAIR, join_style="mitre")
    if thinner is not None:
        shapely.prepare(thinner)
    obstacles = None if thinner is None else Obstacles(thinner, np.empty((0, 2)))
    left = np.arange(size)
    left = left[~_straight_to(reach, obstacles, (x, y, z), best, run)]
    if obstacles is not None and len(left):
        left = left[_open_ground(reach, x[left], y[left])]
    each = max(1, BATCH // len(reach.x))
    for own in np.split(left, np.arange(each, len(left), each)):
        total = reach.run + np.hypot(x[own][:, None] - reach.x, y[own][:, None] - reach.y)
        fits = (total <= reach.max_run_m + 5e-7) & ~(z[own][:, None] > reach.ceiling_m[reach.point] + 1e-9)
        total = np.where(fits, total, np.inf)
        if obstacles is not None:
            _drop_crossing(obstacles, total, reach, x[own], y[own])
        pick = np.argmin(total, axis=1) if len(own) else np.empty(0, np.int64)
        length = total[np.arange(len(own)), pick]
        found = np.isfinite(length)
        best[own[found]], run[own[found]] = reach.point[pick[found]], length[found]
    pressure = np.full(size, np.nan)
    has = best >= 0
    at = best[has]
    pressure[has] = water.points.pressure_kpa[at] - KPA_PER_M * (z[has] - water.points.z[at])
    return Served(best, run, pressure)


def _straight_to(
    reach: Reach, obstacles: Obstacles | None, places: tuple[Floats, Floats, Floats], best: Ints, run: Floats
) -> NDArray[np.bool_]:
    """Serve the places that see their nearest water point, low enough for it: no run can be shorter; tell which they are."""
    from scipy.spatial import cKDTree

    x, y, z = places
    source = np.flatnonzero(reach.run == 0)
    straight, nearest = cKDTree(np.column_stack([reach.x, reach.y])[source]).query(np.column_stack([x, y]), workers=-1)
    node = source[nearest]
    ok: NDArray[np.bool_] = (straight <= reach.max_run_m + 5e-7) & ~(z > reach.ceiling_m[reach.point[node]] + 1e-9)
    if obstacles is not None:
        own = np.flatnonzero(ok)
        ok[own] = sees(obstacles, x[own], y[own], reach.x[node[own]], reach.y[node[own]])
    best[ok], run[ok] = reach.point[node[ok]], straight[ok]
    return ok


def _open_ground(reach: Reach, x: Floats, y: Floats) -> NDArray[np.bool_]:
    """Tell which places lie on ground that obstacles do not shut off from every water point."""
    assert reach.barriers is not None
    corners = shapely.MultiPoint(np.column_stack([np.append(reach.x, x), np.append(reach.y, y)]))
    around = shapely.box(*shapely.union(reach.barriers.envelope, corners.envelope).bounds).buffer(1.0, join_style="mitre")
    out = np.zeros(len(x), bool)
    for part in shapely.get_parts(overlay.difference(around, reach.barriers)):
        shapely.prepare(part)
        if shapely.contains_xy(part, reach.x, reach.y).any():
            out |= np.asarray(shapely.contains_xy(part, x, y), bool)
    return out


def _drop_crossing(obstacles: Obstacles, total: Floats, reach: Reach, x: Floats, y: Floats) -> None:
    """Set the length of ways that cross a barrier to inf, looking at the shortest of each position first."""
    rows = np.arange(len(x))
    while len(rows):
        pick = np.argmin(total[rows], axis=1)
        ends = np.isfinite(total[rows, pick])
        rows, pick = rows[ends], pick[ends]
        free = sees(obstacles, x[rows], y[rows], reach.x[pick], reach.y[pick])
        rows, pick = rows[~free], pick[~free]
        total[rows, pick] = np.inf


def _findings(water: Water) -> list[Finding]:
    """Say what the water points' file leaves open."""
    points, found = water.points, list[Finding]()
    blind = tuple(name for name, p in zip(points.name, points.pressure_kpa, strict=True) if not np.isfinite(p))
    if blind:
        found.append(Finding("water_pressure_unknown", "warn", figures={"points": blind, "source": water.source}))
    least = water.min_pressure_kpa
    for k in np.flatnonzero(points.pressure_kpa < (-np.inf if least is None else least)).tolist():
        figures: dict[str, Figure] = {"point": points.name[k], "pressure_kpa": float(points.pressure_kpa[k]), "least_kpa": least}
        found.append(Finding("water_pressure_low", "warn", geometry=shapely.Point(points.x[k], points.y[k]), figures=figures))
    return [*found, *_sleeves_shut(water)]


def _sleeves_shut(water: Water) -> list[Finding]:
    """Name sleeves that lead through no barrier: they lie beside it, or end in it as a point does on a wide road."""
    closed = _closed(water)
    if not len(water.sleeves) or not len(closed):
        return []
    wall = overlay.union(shapely.buffer(closed, SKIN, quad_segs=1))
    openings = opened(water.sleeves, SLEEVE_WIDTH)
    shut = [
        k
        for k, opening in enumerate(openings)
        if not opening.intersects(wall) or shapely.get_num_geometries(overlay.difference(opening, wall)) < 2
    ]
    if not shut:
        return []
    figures = {"shut": len(shut), "sleeves": len(openings)}
    return [Finding("sleeve_shut", "warn", geometry=overlay.union(openings[shut]), figures=figures)]


def too_high(reach: Reach, ground: Ground) -> NDArray[np.uint8] | None:
    """Find the cells that no water point in reach can serve with the least pressure.

    A cell counts as high as the highest of itself and its eight neighbours, since the elevation of a position in it
    lies between those: what is planted on the other cells has the pressure.
    """
    from scipy.ndimage import maximum_filter

    elevations = ground.elevations
    if elevations is None or not np.isfinite(reach.ceiling_m).any():
        return None
    row0, row1, col0, col1 = ground.window
    if ground.highest_m <= reach.ceiling_m.min():  # the window has a cell to spare round the site
        return None
    if not reach.is_limited and np.isinf(reach.ceiling_m).any():
        return None
    packed = np.zeros_like(ground.steep)
    for start in range(row0, row1, 512):
        stop = min(start + 512, row1)
        above, below = max(start - 1, 0), min(stop + 1, elevations.grid.height)
        left, right = max(col0 - 1, 0), min(col1 + 1, elevations.grid.width)
        z = elevations.read(above, below, left, right)
        highest = maximum_filter(np.nan_to_num(z, nan=-np.inf), 3)
        highest = highest[start - above : start - above + stop - start, col0 - left : col0 - left + col1 - col0]
        dry = _dry(reach, ground, highest, start, col0)
        packed[start - row0 : stop - row0] = np.packbits(dry, axis=1)
    return packed if packed.any() else None


def _dry(reach: Reach, ground: Ground, highest: NDArray[np.float32], row0: int, col0: int) -> NDArray[np.bool_]:
    """Tell which cells of a strip every water point in reach is too low for."""
    assert ground.elevations is not None
    grid, frame = ground.elevations.grid, ground.frame
    dry = np.asarray(highest > reach.ceiling_m.min(), bool)
    at = np.nonzero(dry)
    gx, gy = grid.corner(np.asarray(at[0] + row0 + 0.5, float), np.asarray(at[1] + col0 + 0.5, float))
    x, y = frame.of(grid.crs, gx, gy)
    served = np.zeros(len(x), bool)
    # positions may stand anywhere in a cell: a point serves those cells that lie whole in its ground
    ends = frame.of(grid.crs, *grid.corner(np.array([row0, row0 + 1.0]), np.array([col0, col0 + 1.0])))
    across = float(np.hypot(np.diff(ends[0])[0], np.diff(ends[1])[0]))
    for index, ceiling in enumerate(reach.ceiling_m):
        able = ~served & (highest[at] <= ceiling)
        if able.any():
            area = reach.areas[index]
            whole = shapely.buffer(area, -across / 2)
            served[able] = True if area.is_empty else shapely.contains_xy(whole, x[able], y[able])
    dry[at] = ~served
    return dry
