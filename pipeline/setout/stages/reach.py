"""Reach: which ground the water points can serve.

A place is served by a water point when a pipe of at most the longest run leads to it without crossing a barrier, and
when the static pressure there, after the lift, is still at least the minimum. Lift costs 0.4333 psi per foot (62.4
lb/ft3 over 144 in2/ft2). Friction is not in it: pipes are sized later, so this is the most a point can ever serve.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from setout.geometry import overlay
from setout.geometry.detour import SKIN, Obstacles, in_sight, obstacles_of, opened, sees, ways_from
from setout.geometry.outlines import arc_segments, discs_around
from setout.nouns import Finding, Floats, Geometries, Ground, Ints, Reach, Served, Water
from setout.units import KPA_PER_M

SLEEVE_WIDTH = 1.0
"""Width of the opening that a sleeve under a road makes in a barrier [m]; common practice, no source."""
HAIR = 1e-6
"""How far into a barrier's drawn outline a pipe may come [m]: rounding of coordinates."""
FAR = 1e5
"""How far beyond the barriers ground is looked at where pipes may be of any length [m]: further than any site reaches."""


def reach_of(water: Water) -> Reach:
    """Work out the ground in reach of every water point.

    Parameters
    ----------
    water : Water
        Points, barriers and limits, in the frame.

    Returns
    -------
    Reach
        Corners of the pipes' ways and the ground in reach.
    """
    points = water.points
    longest = water.max_run_m if water.max_run_m is not None else np.inf
    obstacles = obstacles_of(water.barriers, water.sleeves, SLEEVE_WIDTH)
    corners: list[tuple[Floats, Floats, Ints]] = []
    for index, (x, y) in enumerate(zip(points.x, points.y, strict=True)):
        if obstacles is None:
            node, run = np.array([[x, y]]), np.zeros(1)
        else:
            node, run = ways_from(obstacles, float(x), float(y), longest)
        corners.append((node, run, np.full(len(run), index)))
    xy = np.vstack([node for node, _, _ in corners])
    run = np.concatenate([part for _, part, _ in corners])
    point = np.concatenate([part for _, _, part in corners]).astype(np.int64)
    areas = _areas(xy, run, point, len(points.x), longest, obstacles)
    least = water.min_pressure_kpa
    ceiling = np.full(len(points.x), np.inf)
    if least is not None:
        known = np.isfinite(points.pressure_kpa) & np.isfinite(points.z)
        ceiling[known] = points.z[known] + (points.pressure_kpa[known] - least) / KPA_PER_M
    barriers = None if obstacles is None else obstacles.shape
    return Reach(xy[:, 0], xy[:, 1], run, point, longest, barriers, ceiling, areas, tuple(_findings(water)))


def _areas(xy: Floats, run: Floats, point: Ints, size: int, longest: float, obstacles: Obstacles | None) -> Geometries:
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
    """Find for every position the water point with the shortest run that still has pressure there.

    Parameters
    ----------
    reach : Reach
        From :func:`reach_of`.
    water : Water
        The points that it was made from.
    x, y : (n,) ndarrays
        Positions [m in the frame].
    z : (n,) ndarray
        Their elevations [m]; NaN where unknown, which no pressure limit is held against.

    Returns
    -------
    Served
        Water point, run [m] and static pressure [kPa] of every position.
    """
    size = len(x)
    best, run = np.full(size, -1, np.int64), np.full(size, np.nan)
    open_, tree = np.arange(size), cKDTree(np.column_stack([reach.x, reach.y]))
    # a position at the very edge of its ground may stand on a barrier's drawn outline, where water does come to it
    thinner = None if reach.barriers is None else shapely.buffer(reach.barriers, -HAIR, join_style="mitre")
    if thinner is not None:
        shapely.prepare(thinner)
    obstacles = None if thinner is None else Obstacles(thinner, np.empty((0, 2)))
    # with nothing in the way the nearest water point is it, unless the tree stands too high for it
    wide = 1 if obstacles is None else min(4, len(reach.x))
    while len(open_):
        # the nearest corners are enough once none further off can give a shorter run
        straight, node = tree.query(np.column_stack([x[open_], y[open_]]), k=wide, workers=-1)
        straight, node = straight.reshape(len(open_), wide), node.reshape(len(open_), wide)
        total = straight + reach.run[node]
        fits = (total <= reach.max_run_m + 5e-7) & ~(z[open_][:, None] > reach.ceiling_m[reach.point[node]] + 1e-9)
        total = np.where(fits, total, np.inf)
        if obstacles is not None:
            _drop_crossing(obstacles, total, node, reach, x[open_], y[open_])
        pick = np.argmin(total, axis=1)
        rows = np.arange(len(open_))
        found = np.isfinite(total[rows, pick])
        certain = total[rows, pick] <= straight[:, -1]
        settled = (found & certain) | (wide >= len(reach.x)) | (~found & (straight[:, -1] > reach.max_run_m))
        take = found & settled
        best[open_[take]] = reach.point[node[rows, pick][take]]
        run[open_[take]] = total[rows, pick][take]
        open_ = open_[~settled]
        wide = min(wide * 4, len(reach.x))
    pressure = np.full(size, np.nan)
    has = best >= 0
    at = best[has]
    pressure[has] = water.points.pressure_kpa[at] - KPA_PER_M * (z[has] - water.points.z[at])
    return Served(best, run, pressure)


def _drop_crossing(obstacles: Obstacles, total: Floats, node: Ints, reach: Reach, x: Floats, y: Floats) -> None:
    """Set the length of ways that cross a barrier to inf, looking at the shortest of each position first."""
    clear = np.zeros(len(x), bool)
    while True:
        pick = np.argmin(total, axis=1)
        rows = np.flatnonzero(~clear & np.isfinite(total[np.arange(len(x)), pick]))
        if not len(rows):
            return
        corner = node[rows, pick[rows]]
        free = sees(obstacles, x[rows], y[rows], reach.x[corner], reach.y[corner])
        clear[rows[free]] = True
        total[rows[~free], pick[rows[~free]]] = np.inf


def _findings(water: Water) -> list[Finding]:
    """Say what the water points' file leaves open."""
    points, found = water.points, []
    blind = [name for name, p in zip(points.name, points.pressure_kpa, strict=True) if not np.isfinite(p)]
    if blind:
        found.append(
            Finding(
                "water_pressure_unknown", "warn", f"no pressure is given for water point {', '.join(blind)} ({water.source})",
                remedy='add a column such as pressure_psi or pressure_kpa, or water.pressure = "45 psi" to the plan file; '
                "until then no pressure limit is held against it",
            )
        )  # fmt: skip
    if water.min_pressure_kpa is not None:
        low = np.flatnonzero(points.pressure_kpa < water.min_pressure_kpa)
        found += [
            Finding(
                "water_pressure_low", "warn", f"water point {points.name[k]} has less pressure than the minimum even at its own height",
                f"{points.pressure_kpa[k]:.0f} kPa", f"{water.min_pressure_kpa:.0f} kPa", "raise its pressure or lower min_pressure",
                geometry=shapely.Point(points.x[k], points.y[k]),
            )
            for k in low
        ]  # fmt: skip
    return [*found, *_sleeves_shut(water)]


def _sleeves_shut(water: Water) -> list[Finding]:
    """Name sleeves that lead through no barrier: they lie beside it, or end in it as a point does on a wide road."""
    if not len(water.sleeves) or not len(water.barriers):
        return []
    wall = overlay.union(shapely.buffer(water.barriers, SKIN, quad_segs=1))
    openings = opened(water.sleeves, SLEEVE_WIDTH)
    shut = [
        k
        for k, opening in enumerate(openings)
        if not opening.intersects(wall) or shapely.get_num_geometries(overlay.difference(opening, wall)) < 2
    ]
    if not shut:
        return []
    return [
        Finding(
            "sleeve_shut", "warn", f"{len(shut)} of {len(openings)} sleeves lead through no barrier",
            remedy="draw each as a line or an area from one side of the barrier to the other",
            geometry=overlay.union(openings[shut]),
        )
    ]  # fmt: skip


def too_high(reach: Reach, ground: Ground) -> NDArray[np.uint8] | None:
    """Find the cells that no water point in reach can serve with the least pressure.

    A cell counts as high as the highest of itself and its eight neighbours, since the elevation of a position in it
    lies between those: what is planted on the other cells has the pressure.

    Parameters
    ----------
    reach : Reach
        With the ceilings of the water points.
    ground : Ground
        The DEM and the site's window in it.

    Returns
    -------
    ndarray of packed bits or None
        Like ``ground.steep``; None where pressure is enough on all ground.
    """
    elevations = ground.elevations
    if elevations is None or not np.isfinite(reach.ceiling_m).any():
        return None
    row0, row1, col0, col1 = ground.window
    if ground.highest_m <= reach.ceiling_m.min():  # the window has a cell to spare round the site
        return None
    if not np.isfinite(reach.max_run_m) and reach.barriers is None and np.isinf(reach.ceiling_m).any():
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
