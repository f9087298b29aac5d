"""Closed lines become polygons: a boundary drawn as a polyline, or as single lines that meet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from shapely.geometry import MultiLineString, Polygon

from setout.errors import SetoutError
from setout.model import Finding, Geometries, Ints
from setout.read.crs import unit_m
from setout.read.found import Found, objects

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry

MEET_M = 0.01
"""Ends of lines nearer together than this meet [m]."""
DEGREE_M = 111_320.0
"""Length of a degree of latitude [m], near enough for tolerances."""
LEAST_M2 = 0.01
"""A boundary whose hull is smaller than this encloses nothing [m2]."""


def polygons(found: Found, crs: CRS, source: str) -> Found:
    """Return the polygons of a boundary layer, closed lines made polygons.

    Where a layer holds polygons, its lines and points are left out with a finding. Where it holds only
    lines, those that close, alone or end to end, are taken; a ring inside another is a hole in it, and a
    finding says so.
    """
    parts, of = _flat(found.geometry)
    kind = shapely.get_type_id(parts)
    areal = np.isin(kind, (3, 6))
    lines = np.isin(kind, (1, 2, 5))
    if areal.any():
        out = Found(parts[areal], {k: v[of[areal]] for k, v in found.columns.items()}, found.crs, found.standard)
        left = int((~areal).sum())
        extra = _left_out(left, source) if left else ()
    elif lines.any():
        shapes, first, extra = _closed(parts[lines], crs, source)
        at = of[np.flatnonzero(lines)[first]]
        out = Found(shapes, {k: v[at] for k, v in found.columns.items()}, found.crs, found.standard)
        left = int((~lines).sum())
        extra += _left_out(left, source) if left else ()
    else:
        raise SetoutError(
            f"holds {parts.size} points, but a boundary is a polygon or a closed line",
            source,
            "name the layer with the property line; corners as points go in a CSV, in order around it",
        )
    out, empty = _enclosing(out, crs, source)
    return Found(out.geometry, out.columns, out.crs, out.standard, (*found.findings, *extra, *empty))


def tolerance(crs: CRS) -> float:
    """Return :data:`MEET_M` in a CRS's unit."""
    return MEET_M / (unit_m(crs) or DEGREE_M)


def _flat(geometry: Geometries) -> tuple[Geometries, Ints]:
    """Take collections apart; polygons of several parts stay whole."""
    parts: list[BaseGeometry] = []
    of: list[int] = []
    for i, shape in enumerate(geometry.tolist()):
        for part in shape.geoms if shape.geom_type == "GeometryCollection" else (shape,):
            parts.append(part)
            of.append(i)
    return objects(parts), np.asarray(of, np.int64)


def _left_out(number: int, source: str) -> tuple[Finding, ...]:
    return (
        Finding(
            "boundary_left_out",
            "warn",
            f"{source}: {number} features beside the boundary's polygons were left out",
            str(number),
            "0",
            "if they belong to the boundary, draw them as polygons",
        ),
    )


def _closed(lines: Geometries, crs: CRS, source: str) -> tuple[Geometries, Ints, tuple[Finding, ...]]:
    """Return polygons from lines, for each the index of its first line, and findings."""
    near = tolerance(crs)
    single, of = shapely.get_parts(lines, return_index=True)
    rings: list[NDArray[np.float64]] = []
    first: list[int] = []
    loose: list[int] = []
    for i, line in enumerate(single.tolist()):
        xy = shapely.get_coordinates(line)
        if len(xy) >= 4 and float(np.hypot(*(xy[0] - xy[-1]))) <= near:
            rings.append(np.vstack([xy[:-1], xy[:1]]))
            first.append(int(of[i]))
        else:
            loose.append(i)
    findings: tuple[Finding, ...] = ()
    if loose:
        chains, starts, left = _chained([single[i] for i in loose], near)
        rings += chains
        first += [int(of[loose[i]]) for i in starts]
        if not rings:
            raise _open_lines([single[i] for i in left and loose], near, crs, source)
        if left:
            findings = (
                Finding(
                    "boundary_open_line",
                    "warn",
                    f"{source}: {len(left)} lines that close with nothing were left out",
                    str(len(left)),
                    "0",
                    "join them end to end if they belong to the boundary",
                ),
            )
    shapes, at, nested = _nest(rings, source)
    return shapes, np.asarray(first, np.int64)[at], findings + nested


def _chained(lines: list[BaseGeometry], near: float) -> tuple[list[NDArray[np.float64]], list[int], list[int]]:
    """Join lines whose ends meet; return the rings, the first line of each, and the lines in none."""
    coords = [shapely.get_coordinates(line) for line in lines]
    ends = np.array([xy[i] for xy in coords for i in (0, -1)])
    node = _clusters(ends, near)
    home = ends.copy()
    for i in range(len(ends)):
        home[i] = ends[node[i]]
    for i, xy in enumerate(coords):
        xy[0], xy[-1] = home[2 * i], home[2 * i + 1]
    usable = [i for i, xy in enumerate(coords) if len(xy) > 2 or tuple(xy[0]) != tuple(xy[-1])]
    merged = shapely.line_merge(MultiLineString([coords[i] for i in usable])) if usable else MultiLineString()
    rings, starts, used = [], [], set[int]()
    owner = {tuple(map(tuple, np.sort(xy[:2], axis=0))): i for i, xy in enumerate(coords)}
    for part in shapely.get_parts(merged).tolist():
        xy = shapely.get_coordinates(part)
        if len(xy) < 4 or tuple(xy[0]) != tuple(xy[-1]):
            continue
        on = [owner[key] for key in map(_pair, xy[:-1], xy[1:]) if key in owner]
        rings.append(xy)
        starts.append(min(on, default=0))
        used.update(on)
    return rings, starts, [i for i in range(len(lines)) if i not in used]


def _pair(one: NDArray[np.float64], two: NDArray[np.float64]) -> tuple[tuple[float, ...], ...]:
    return tuple(map(tuple, np.sort(np.array([one, two]), axis=0)))


def _clusters(points: NDArray[np.float64], near: float) -> Ints:
    """Return for each point the lowest index among the points that it is near, through others too."""
    home = np.arange(len(points))
    at = np.asarray(shapely.points(points), object)
    one, two = shapely.STRtree(at).query(at, predicate="dwithin", distance=near)
    changed = True
    while changed:
        low = home.copy()
        np.minimum.at(low, one, home[two])
        changed = bool(np.any(low != home))
        home = low
    return home


def _open_lines(lines: list[BaseGeometry], near: float, crs: CRS, source: str) -> SetoutError:
    """Return the error that says where the lines do not close."""
    ends = np.array([shapely.get_coordinates(line)[i] for line in lines for i in (0, -1)])
    node = _clusters(ends, near)
    count = np.bincount(node, minlength=len(ends))
    loose = np.flatnonzero(count == 1)
    branch = np.flatnonzero(count > 2)
    places = [f"({x:.8g}, {y:.8g})" for x, y in ends[[*loose, *branch]].tolist()]
    if loose.size == 2 and not branch.size:
        gap = float(np.hypot(*(ends[loose[0]] - ends[loose[1]]))) * (unit_m(crs) or DEGREE_M)
        what = f"its line is open between {places[0]} and {places[1]}, about {gap:.2f} m apart"
    elif loose.size:
        what = f"its lines have {loose.size} loose ends, the first at {places[0]}"
    elif branch.size:
        what = f"its lines branch at {places[0]}, so which ring is the boundary cannot be told"
    else:
        what = "its lines enclose nothing"
    return SetoutError(what, source, "close the line: a boundary is a polygon or a closed line")


def _nest(rings: list[NDArray[np.float64]], source: str) -> tuple[Geometries, Ints, tuple[Finding, ...]]:
    """Make polygons of rings by the even-odd rule: a ring inside one other is a hole, in two an island."""
    plain = [Polygon(xy) for xy in rings]
    area = np.array([abs(p.area) for p in plain])
    box = np.array([p.bounds for p in plain])
    sound = np.array([p.is_valid for p in plain])
    parents: list[list[int]] = []
    for i, xy in enumerate(rings):
        wider = (box[:, :2] <= box[i, :2]).all(axis=1) & (box[:, 2:] >= box[i, 2:]).all(axis=1) & (area > area[i])
        # A ring that crosses itself cannot be asked whether it contains another; one point of that must do.
        mid = shapely.points((xy[0] + xy[1]) / 2)
        parents.append([int(j) for j in np.flatnonzero(wider) if plain[j].contains(plain[i] if sound[i] and sound[j] else mid)])
    holes: dict[int, list[NDArray[np.float64]]] = {}
    for i, over in enumerate(parents):
        if len(over) % 2 == 1:
            holes.setdefault(min(over, key=lambda j: float(area[j])), []).append(rings[i])
    keep = [i for i, over in enumerate(parents) if len(over) % 2 == 0]
    shapes: list[Any] = [Polygon(rings[i], holes.get(i, [])) for i in keep]
    number = sum(map(len, holes.values()))
    findings: tuple[Finding, ...] = ()
    if number:
        message = f"{source}: {number} rings inside another were taken as holes in the boundary"
        remedy = "if they are no exceptions from the property, take them out of the layer"
        findings = (Finding("boundary_hole", "warn", message, str(number), "", remedy),)
    return objects(shapes), np.asarray(keep, np.int64), findings


def _enclosing(found: Found, crs: CRS, source: str) -> tuple[Found, tuple[Finding, ...]]:
    """Leave out polygons whose hull encloses nothing; refuse when none is left. Crossed rings stay."""
    hull = shapely.area(shapely.convex_hull(found.geometry))
    unit = unit_m(crs)
    if unit is None:
        lat = shapely.get_coordinates(found.geometry)[:, 1].mean()
        hull = hull * DEGREE_M**2 * np.cos(np.radians(lat))
    else:
        hull = hull * unit**2
    flat = hull < LEAST_M2
    if flat.all():
        raise SetoutError("the boundary encloses no area: its corners lie on one line", source, "mend its corners")
    if not flat.any():
        return found, ()
    message = f"{source}: {int(flat.sum())} polygons that enclose no area were left out"
    return found.take(~flat), (Finding("boundary_flat", "warn", message, str(int(flat.sum())), "0", "delete them"),)
