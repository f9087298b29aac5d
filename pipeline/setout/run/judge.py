"""Judging positions that were given, from a plan or from the field."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from setout.errors import SetoutError
from setout.nouns import Finding, Ground, Reach, Site, Trees, VectorLayer
from setout.read import plan_file, reference
from setout.read.survey import read_survey
from setout.run.joints import facts_of, ground_of, water_heights
from setout.run.steps import Say, Steps
from setout.stages import check as look
from setout.stages import exclude, reach, survey


@dataclass(frozen=True, slots=True)
class Judged:
    """What a look at given positions found: how many there are, and the findings."""

    trees: int
    findings: tuple[Finding, ...]


def check(path: str | Path, trees: str, *, say: Say | None = None) -> Judged:
    """Judge positions, from a plan or surveyed after planting, against a plan file.

    Parameters
    ----------
    path : str or Path
        The plan file.
    trees : str
        Points: "file" or "file:layer", relative to the current folder.
    say : callable, optional
        Takes a line of progress for people.

    Returns
    -------
    Judged
        One finding for every tree and respect in which it falls short.

    Raises
    ------
    SetoutError
        The plan or the positions cannot be used.
    """
    from setout.read import vector

    path, steps = Path(path), Steps(say)
    with steps.step("read"):
        the_plan = plan_file.read_plan_file(path)
        surveyed = read_survey(the_plan, path.parent)
        layer = vector.read_vector(reference.parse(trees, Path.cwd()))
    with steps.step("survey"):
        site = survey.site_of(the_plan, surveyed)
    with steps.step("terrain"):
        ground = ground_of(the_plan, site, surveyed)
        site = water_heights(site, ground)
        reached = reach.reach_of(site.water) if site.water is not None else None
    with steps.step("check"):
        areas, _ = exclude.block_areas(site)
        positions = _given_positions(site, ground, reached, layer, areas)
        found = look.check(site, positions, look.Checks(ground.max_slope), areas)
    return Judged(len(positions.x), found)


def _given_positions(
    site: Site, ground: Ground, reached: Reach | None, layer: VectorLayer, areas: Any
) -> look.Positions:
    """Take surveyed points to the frame, find the block that each stands in, and look up their figures."""
    points, of = shapely.get_parts(layer.geometry, return_index=True)
    if not len(points) or np.any(shapely.get_type_id(points) != shapely.GeometryType.POINT):
        raise SetoutError("the positions are not points", layer.source, "give a layer of points")
    x, y = site.frame.of(layer.crs, shapely.get_x(points), shapely.get_y(points))
    names = layer.columns.get("tree_id", layer.columns.get("name"))
    known = [None] * len(of) if names is None else np.asarray(names)[of].tolist()
    ids = np.array([str(name) if name else f"#{k}" for k, name in enumerate(known, 1)])
    block = np.full(len(x), -1, np.int64)
    said = layer.columns.get("block")
    for index, (own, area) in enumerate(zip(site.blocks, areas, strict=True)):
        inside = shapely.contains_xy(area, x, y)
        if said is not None:
            inside = np.asarray(said)[of] == own.name
        block[inside & (block < 0)] = index
    trees = Trees(
        block.astype(np.int32),
        np.ones(len(x), np.int32),
        np.arange(1, len(x) + 1, dtype=np.int32),
        x,
        y,
        np.full(len(x), -1, np.int32),
    )
    return look.Positions(ids, block, x, y, facts_of(site, ground, trees, reached, ids)[0])
