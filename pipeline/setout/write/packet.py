"""The packet: the files handed to a contractor."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from pyproj import CRS

from setout.nouns import Floats, Planting
from setout.write import stakeout

WGS84 = CRS.from_epsg(4326)


def write_packet(planting: Planting, folder: Path) -> None:
    """Write the stake-out files and the note that goes with them.

    Parameters
    ----------
    planting : Planting
        The finished plan.
    folder : Path
        The packet's folder; made here.
    """
    folder.mkdir()
    trees, monuments = stake_points(planting), monument_points(planting)
    frame = planting.site.frame
    stakeout.write_pnezd(folder / "stakeout.csv", trees, monuments, frame.plane_crs)
    stakeout.write_gpx(folder / "trees.gpx", trees, planting.site.name)
    stakeout.write_readme(folder / "README.txt", trees, monuments, frame)


def stake_points(planting: Planting) -> stakeout.StakePoints:
    """Return the trees as points to set out.

    Parameters
    ----------
    planting : Planting
        The finished plan.

    Returns
    -------
    StakePoints
        In walking order.
    """
    trees, site = planting.trees, planting.site
    z = planting.facts.get("elevation_m")
    said = []
    for b, p in zip(trees.block.tolist(), trees.plant.tolist(), strict=True):
        plant = site.blocks[b].plants[p] if p >= 0 else None
        text = f"{plant.name} {plant.variety}".strip() if plant is not None else ""
        said.append(text or f"tree {site.blocks[b].name}")
    elevation = np.full(len(trees), np.nan) if z is None else np.asarray(z, float)
    return _points(planting, list(planting.facts["tree_id"]), trees.x, trees.y, elevation, said)


def monument_points(planting: Planting) -> stakeout.StakePoints:
    """Return the corners of the boundary as points to check a set-up by.

    Parameters
    ----------
    planting : Planting
        The finished plan.

    Returns
    -------
    StakePoints
        Named BM1, BM2 and so on, round the boundary.
    """
    corners = planting.site.monuments
    count = len(corners)
    names = [f"BM{k}" for k in range(1, count + 1)]
    return _points(planting, names, corners[:, 0], corners[:, 1], np.full(count, np.nan), ["boundary corner"] * count)


def _points(
    planting: Planting, names: list[str], x: Floats, y: Floats, z: Floats, said: list[str]
) -> stakeout.StakePoints:
    frame = planting.site.frame
    east, north = frame.to(frame.plane_crs, x, y)
    lon, lat = frame.to(WGS84, x, y)
    return stakeout.StakePoints(names, east, north, z, lon, lat, said)
