"""Everything that a crew sets out, in one value: monuments to check a set-up by, baselines, and the trees."""

from __future__ import annotations

import math

import numpy as np

from setout.model import WGS84, Floats, Frame, Ints, Planting
from setout.model.staking import Kind, Leg, StakePoints, StakeSet, TapePlan
from setout.stages.staking.grid import grid_to_ground, plane_unit
from setout.stages.staking.names import short_names
from setout.stages.staking.tape import tape_plan


def stake_set(planting: Planting) -> StakeSet:
    """Gather what is set out of a planting."""
    site, trees = planting.site, planting.trees
    unit, size = plane_unit(site.frame.plane_crs)
    kind, kinds = _kinds(planting)
    ids = [str(name) for name in planting.trees.ids]
    z = planting.trees.elevation_m
    elevation = np.full(len(trees), np.nan) if z is None else np.asarray(z, float)
    points = _points(site.frame, ids, trees.x, trees.y, elevation)
    corners = site.monuments
    named = [f"BM{k}" for k in range(1, len(corners) + 1)]
    monuments = _points(site.frame, named, corners[:, 0], corners[:, 1], np.full(len(corners), np.nan))
    tapes = tuple(tape for index in range(len(site.blocks)) if (tape := tape_plan(planting, index)) is not None)
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
        _monument_legs(planting, size),
        tuple(_baseline(planting, tape, size) for tape in tapes),
        tapes,
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


def _points(frame: Frame, names: list[str], x: Floats, y: Floats, z: Floats) -> StakePoints:
    return StakePoints(names, *frame.to(frame.plane_crs, x, y), z, *frame.to(WGS84, x, y), [""] * len(names))


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


def _baseline(planting: Planting, tape: TapePlan, size: float) -> Leg:
    """Return the baseline that a block's sheet sets out from, so that paper and files name the same."""
    first, last, block = tape.first, tape.last, planting.site.blocks[tape.block].name
    places = (np.array([first.x, first.y]), np.array([last.x, last.y]))
    return _leg(planting.site.frame, size, f"{block} row {tape.base_row}", (first.tree_id, last.tree_id), places, block)


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
