"""The light of whole plans on hills against rays cast one by one through canopies, hedges, a barn and the ground itself.

Everything the rays meet is put together here from the plan's trees, the plan's words and the DEM, with no code of the
package: crowns from spread and height, hedges as boxes from plant to plant, the barn's walls, and the ground by steps of
2 m along every ray.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from pyproj import CRS, Transformer

from invented import Property, Sheet, objects
from rays import Box, Crown, directions, halves, meets_box, meets_filled, plane_between
from setout.geometry.sky.sun import sun_path
from setout.planfile import parse_plan
from setout.run import plan_site
from setout.tables import catalogue

UTM = CRS.from_epsg(26910)
FOOT = 0.3048
POINTS = ((0.0, 0.0, 0.75), (0.5, 0.0, 0.5), (-0.5, 0.0, 0.5), (0.0, 0.5, 0.5), (0.0, -0.5, 0.5))
WITHIN_H = 0.2
BLOCKS = [
    {"name": "A", "area": "west", "pattern": "offset", "step": "16 ft", "direction": "N 20 E", "spread": "15 ft", "height": "15 ft"},
    {
        "name": "B",
        "area": "east",
        "pattern": "square",
        "step": "26 ft",
        "direction": "east-west",
        "plants": [{"plant": "own wide"}, {"plant": "own small"}],
    },
    {
        "name": "H",
        "area": "south",
        "pattern": "hedgerow",
        "step": "4 ft",
        "row_distance": "13 ft",
        "direction": "N 70 W",
        "spread": "5 ft",
        "height": "9 ft",
        "headland": "5 ft",
    },
]
OWN = {"own wide": (22.0, 24.0), "own small": (11.0, 9.0)}


def ground(x: Any, y: Any) -> Any:
    """Return the height of invented hills [m]: slopes up to 20 %, and a bank to the west."""
    return 200 + 5 * np.sin(x / 47) * np.cos(y / 38) + 0.04 * x - 0.03 * y + 14 / (1 + np.exp((x + 150) / 9))


def planned() -> Any:
    layers = {
        "west": objects(shapely.box(-100, -30, 0, 70)),
        "east": objects(shapely.box(4, -30, 100, 70)),
        "south": objects(shapely.box(-100, -90, 100, -36)),
        "barn": objects(shapely.box(-20, 74, 10, 86)),
    }
    # its middle is the origin of the plan's frame too
    prop = Property(shapely.box(-105, -95, 105, 95), layers, {})
    east, north = Transformer.from_crs(4326, UTM, always_xy=True).transform(prop.lon, prop.lat)
    half = 420
    col, row = np.meshgrid(np.arange(2 * half) + 0.5, np.arange(2 * half) + 0.5)
    # the DEM lies in the grid of the survey: heights are looked up where the grid's cells are in the property's own plane
    local = CRS.from_proj4(f"+proj=tmerc +lat_0={prop.lat} +lon_0={prop.lon} +k=1 +datum=WGS84 +units=m")
    x, y = Transformer.from_crs(UTM, local, always_xy=True).transform(east - half + col, north + half - row)
    dem = Sheet(ground(x, y), (1.0, 0.0, east - half, 0.0, -1.0, north + half), UTM)
    own = [{"name": name, "spread": f"{wide} ft", "height": f"{tall} ft"} for name, (wide, tall) in OWN.items()]
    mapping = {
        "name": "test",
        "site": {"boundary": "boundary"},
        "block": BLOCKS,
        "shade": [{"from": "barn", "height": "30 ft"}],
        "light": {"days": ["05-21", "07-21", "09-21"]},
        "plant": own,
    }
    return plan_site(parse_plan(mapping, "plan.toml", catalogue.look_at_tables(own, "plan.toml")[0]), prop.survey(UTM, dem))


def solids(plan: Any) -> tuple[list[Any], list[Any]]:
    """Return the crown of every tree (None for hedges) and the boxes of hedges and barn."""
    trees, crowns, boxes = plan.trees, [], []
    z = ground(trees.x, trees.y)
    for k in range(len(trees)):
        name = plan.site.blocks[trees.block[k]].name
        wide, tall = {"A": (15.0, 15.0), "B": (0.0, 0.0), "H": (5.0, 9.0)}[name]
        if name == "B":
            wide, tall = list(OWN.values())[trees.plant[k]]
        crowns.append(Crown(trees.x[k], trees.y[k], z[k], z[k] + tall * FOOT, wide * FOOT / 2, k) if name != "H" else None)
        if name == "H":
            boxes.append(Box(trees.x[k], trees.y[k], z[k], z[k] + tall * FOOT, 2 * FOOT, 2.5 * FOOT, 110.0, int(trees.row[k])))
    x0, y0, x1, y1 = -20.0, 74.0, 10.0, 86.0
    for x, y, long, bearing in ((-5, y0, 15, 90), (-5, y1, 15, 90), (x0, 80, 6, 0), (x1, 80, 6, 0)):
        for part in np.linspace(-1, 1, 7)[:-1] + 1 / 6:
            px, py = x + part * long * np.sin(np.radians(bearing)), y + part * long * np.cos(np.radians(bearing))
            foot = float(ground(px, py))
            boxes.append(Box(px, py, foot, foot + 30 * FOOT, long / 6, 1e-6, bearing))
    return crowns, boxes


def below_ground(eye: Any, way: Any) -> Any:
    level = np.hypot(way[:, 0], way[:, 1])
    step = np.arange(2.0, 400.0, 2.0)
    x, y = eye[0] + np.outer(way[:, 0] / level, step), eye[1] + np.outer(way[:, 1] / level, step)
    inside = (np.abs(x) < 410) & (np.abs(y) < 410)
    return (inside & (ground(x, y) > eye[2] + np.outer(way[:, 2] / level, step))).any(axis=1)


@pytest.fixture(scope="module")
def plan() -> Any:
    return planned()


def by_rays(plan: Any, k: int, path: Any, crowns: list[Any], boxes: list[Any]) -> float:
    trees, block = plan.trees, plan.site.blocks[plan.trees.block[k]]
    hedge = block.name == "H"
    wide, tall = (5.0 * FOOT / 2, 9.0 * FOOT) if hedge else (crowns[k].radius, crowns[k].top - crowns[k].foot)
    z = float(ground(trees.x[k], trees.y[k]))
    way = directions(path.altitude_deg, path.azimuth_deg)
    share = np.zeros(len(way))
    near = [c for c in crowns if c is not None and c.tree != k and np.hypot(c.x - trees.x[k], c.y - trees.y[k]) < 90]
    walls = [b for b in boxes if np.hypot(b.x - trees.x[k], b.y - trees.y[k]) < 110]

    def dark(eye: Any) -> Any:
        out = below_ground(eye, way)
        for crown in near:
            out |= meets_filled(eye, way, crown, None if hedge else plane_between(crowns[k], crown))
        for box in walls:
            out |= meets_box(eye, way, box)
        return out

    if hedge:  # both sides, just before the hedge itself, each by the cosine of the sun's angle with it
        for side in (20.0, 200.0):
            normal = np.array([np.sin(np.radians(side)), np.cos(np.radians(side)), 0.0])
            for up in (0.1, 0.3, 0.5, 0.7, 0.9):
                eye = np.array([trees.x[k], trees.y[k], z + up * tall]) + (wide + 0.02) * normal
                share += ~dark(eye) * np.maximum(way @ normal, 0.0) / 5
        return float(np.sum(halves(path, share), axis=0).mean())
    for east, north, up in POINTS:
        share += ~dark(np.array([trees.x[k] + east * wide, trees.y[k] + north * wide, z + up * tall])) / len(POINTS)
    return float(np.sum(halves(path, share), axis=0).mean())


def test_trees_of_every_block_agree_with_rays(plan: Any) -> None:
    frame, trees = plan.site.frame, plan.trees
    path = sun_path([np.datetime64(day).astype(object) for day in plan.light.days.date], frame.lat, frame.lon, frame.height_m, minutes=6.0)
    crowns, boxes = solids(plan)
    rng = np.random.default_rng(11)
    off = []
    for block in range(3):
        own = np.flatnonzero(trees.block == block)
        for k in rng.choice(own, 5, replace=False):
            off.append((plan.site.blocks[block].name, float(plan.trees.sun_h[k]) - by_rays(plan, int(k), path, crowns, boxes)))
    error = np.abs([value for _, value in off])
    assert error.mean() < 0.07, off
    assert error.max() < WITHIN_H, off
