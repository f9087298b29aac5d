"""Everything that a crew sets out, in one value: monuments to check a set-up by, baselines, and the trees."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np
from pyproj import CRS

from setout.geometry.places.polymap import FEW
from setout.layers.places import mapping_to
from setout.model import Floats, Frame, Ints, Planting
from setout.write.packet.stakeout import StakePoints, grid_to_ground, plane_unit, short_names
from setout.write.sheets.tape import tape_plan

WGS84: Final = CRS.from_epsg(4326)


@dataclass(frozen=True, slots=True)
class Leg:
    """A line between two known points, to measure before the first stake is set.

    Attributes
    ----------
    name, start, end : what it is called, and the names of its two points
    grid : distance in the plane CRS and its unit
    ground : level taped distance, in the same unit
    ground_m : the same [m]
    bearing_deg : from the first to the second, clockwise from true north at the site's middle [deg]
    place : (lon, lat) of both ends [deg]
    plane : (easting, northing) of both ends, in the plane CRS's unit
    block : name of the block whose baseline it is; empty between monuments
    """

    name: str
    start: str
    end: str
    grid: float
    ground: float
    ground_m: float
    bearing_deg: float
    place: tuple[tuple[float, float], tuple[float, float]]
    plane: tuple[tuple[float, float], tuple[float, float]]
    block: str = ""


@dataclass(frozen=True, slots=True)
class Kind:
    """One thing planted in one block, and how many of it there are."""

    block: str
    plant: str
    variety: str
    role: str
    trees: int

    @property
    def label(self) -> str:
        """Return how a crew calls it.

        >>> Kind("A", "apple, dwarf", "Jonathan", "pollinizer", 3).label
        'apple, dwarf: Jonathan (pollinizer)'
        """
        name = f"{self.plant}: {self.variety}" if self.variety else self.plant
        return f"{name or 'tree'} ({self.role})" if self.role else name or "tree"


@dataclass(frozen=True, slots=True)
class StakeSet:
    """What is set out.

    Attributes
    ----------
    name : name of the plan
    frame : the site's frame
    trees, monuments : points; monuments are called BM1, BM2 and so on, round the boundary
    short : names of at most ten letters of the trees, unique over all of them and the monuments
    block, row, position : per tree the index of its block, and its numbers
    blocks : names of the blocks
    kind : per tree an index into kinds
    kinds : what is planted, block by block
    legs : from every monument to the next, round every ring of the boundary
    baselines : one row of every block, from its first tree to its last: the one that its sheet sets out from
    unit, size : name and size [m] of the plane CRS's unit
    factor : ground distance over grid distance
    """

    name: str
    frame: Frame
    trees: StakePoints
    monuments: StakePoints
    short: tuple[str, ...]
    block: Ints
    row: Ints
    position: Ints
    blocks: tuple[str, ...]
    kind: Ints
    kinds: tuple[Kind, ...]
    legs: tuple[Leg, ...]
    baselines: tuple[Leg, ...]
    unit: str
    size: float
    factor: float

    @property
    def decimals(self) -> int:
        """Return the decimals of a coordinate that keep half a millimetre."""
        return 4 if self.size == 1.0 else 3

    @property
    def crs_label(self) -> str:
        """Return the plane CRS as people name it, with its code where it has one."""
        authority = self.frame.plane_crs.to_authority(min_confidence=100)
        code = f" ({':'.join(authority)})" if authority else ""
        return f"{self.frame.plane_crs.name}{code}"


def stake_set(planting: Planting) -> StakeSet:
    """Gather what is set out of a planting."""
    site, trees = planting.site, planting.trees
    unit, size = plane_unit(site.frame.plane_crs)
    kind, kinds = _kinds(planting)
    ids = [str(name) for name in planting.trees.ids]
    z = planting.trees.elevation_m
    elevation = np.full(len(trees), np.nan) if z is None else np.asarray(z, float)
    said = [f"{k.plant} {k.variety}".strip() or f"tree {k.block}" for k in kinds]
    points = _points(planting, ids, trees.x, trees.y, elevation, [said[code] for code in kind.tolist()])
    legs = _monument_legs(planting, size)
    monuments = _monuments(planting, legs, unit, size)
    short = short_names([*monuments.tree_id, *ids])
    return StakeSet(
        site.name,
        site.frame,
        points,
        monuments,
        tuple(short[len(monuments) :]),
        trees.block.astype(np.int64),
        trees.row.astype(np.int64),
        trees.position.astype(np.int64),
        tuple(b.name for b in site.blocks),
        kind,
        kinds,
        legs,
        tuple(_baselines(planting, ids, size)),
        unit,
        size,
        grid_to_ground(site.frame),
    )


def _kinds(planting: Planting) -> tuple[Ints, tuple[Kind, ...]]:
    trees, found = planting.trees, list[Kind]()
    code = np.zeros(len(trees), np.int64)
    for index, block in enumerate(planting.site.blocks):
        own = trees.block == index
        for number, plant in enumerate((*block.plants, None)):
            mine = own & (trees.plant == number) if plant is not None else own & (trees.plant < 0)
            if mine.any():
                code[mine] = len(found)
                words = (plant.name, plant.variety, plant.role) if plant is not None else ("", "", "")
                found.append(Kind(block.name, *words, int(mine.sum())))
    return code, tuple(found)


def _points(planting: Planting, names: list[str], x: Floats, y: Floats, z: Floats, said: list[str]) -> StakePoints:
    frame, box = planting.site.frame, planting.site.boundary.bounds
    to_plane, to_wgs84 = (mapping_to(frame, crs, box) if len(x) > FEW else partial(frame.to, crs) for crs in (frame.plane_crs, WGS84))
    east, north = to_plane(x, y)
    lon, lat = to_wgs84(x, y)
    return StakePoints(names, east, north, z, lon, lat, said)


def _monuments(planting: Planting, legs: tuple[Leg, ...], unit: str, size: float) -> StakePoints:
    corners = planting.site.monuments
    count = len(corners)
    decimals = 3 if size == 1.0 else 2
    on = {leg.start: f"; to {leg.end} {leg.grid:.{decimals}f} grid {leg.ground:.{decimals}f} ground {unit}" for leg in legs}
    names = [f"BM{k}" for k in range(1, count + 1)]
    said = [f"boundary corner{on.get(name, '')}" for name in names]
    return _points(planting, names, corners[:, 0], corners[:, 1], np.full(count, np.nan), said)


def _monument_legs(planting: Planting, size: float) -> tuple[Leg, ...]:
    """Return the legs from corner to corner; the corners are one walk, whatever rings they came from."""
    corners = planting.site.monuments
    count = len(corners)
    if count < 2:
        return ()
    ends = [(k, (k + 1) % count) for k in range(count if count > 2 else 1)]
    named = [(f"BM{a + 1}", f"BM{b + 1}", corners[a], corners[b]) for a, b in ends]
    made = (_leg(planting.site.frame, size, f"{s}-{e}", (s, e), (p, q)) for s, e, p, q in named)
    return tuple(leg for leg in made if leg.ground_m > 0)


def _baselines(planting: Planting, ids: list[str], size: float) -> list[Leg]:
    """Return the baselines that the block sheets set out from, so that paper and files name the same."""
    site, place = planting.site, {name: k for k, name in enumerate(ids)}
    trees, found = planting.trees, []
    for index, block in enumerate(site.blocks):
        tape = tape_plan(planting, index)
        if tape is None:
            continue
        first, last = place[tape.first.tree_id], place[tape.last.tree_id]
        places = (np.array([trees.x[first], trees.y[first]]), np.array([trees.x[last], trees.y[last]]))
        found.append(_leg(site.frame, size, f"{block.name} row {tape.base_row}", (ids[first], ids[last]), places, block.name))
    return found


def _leg(frame: Frame, size: float, name: str, ends: tuple[str, str], places: tuple[Floats, Floats], block: str = "") -> Leg:
    x, y = np.array([p[0] for p in places]), np.array([p[1] for p in places])
    east, north = (v.tolist() for v in frame.to(frame.plane_crs, x, y))
    lon, lat = (v.tolist() for v in frame.to(WGS84, x, y))
    ground = math.hypot(x[1] - x[0], y[1] - y[0])
    bearing = math.degrees(math.atan2(x[1] - x[0], y[1] - y[0])) % 360.0
    grid = math.hypot(east[1] - east[0], north[1] - north[0])
    where = ((lon[0], lat[0]), (lon[1], lat[1]))
    plane = ((east[0], north[0]), (east[1], north[1]))
    return Leg(name, *ends, grid, ground / size, ground, bearing, where, plane, block)
