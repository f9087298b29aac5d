"""Canopies against what stands around them: property line, buildings, overhead lines, walnuts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import shapely

from setout.geometry.places.canopy import index_of
from setout.model import Finding, Floats, Geometries, HeightLimit, Ints, Site
from setout.stages.room.sizes import Sizes
from setout.units import FOOT

REACHES_M = 0.01
"""Canopies that reach over something by less than this are not told [m]."""
JUGLONE_M = 60 * FOOT
"""Distance from a walnut within which plants that juglone harms are at risk [m]: the poisoned ground reaches 50 to 60 ft
from the trunk on average, up to 80 ft (R. C. Funt and J. Martin, Ohio State University Extension, Black Walnut Toxicity)."""
JUGLONE_FAR_M = 80 * FOOT
"""How far it may reach [m] (the same)."""


def around(site: Site, sizes: Sizes, full: Sizes) -> Iterator[Finding]:
    """Say where grown canopies reach over what is not the block's."""
    half = sizes.spread / 2
    line = np.array([shapely.boundary(site.boundary)], object)
    yield from _over(site, sizes, _reached(sizes, line, half), "canopy_over_boundary", {})
    for setback in site.setbacks:
        areas = np.asarray(setback.geometry[shapely.get_dimensions(setback.geometry) == 2], object)
        if setback.source == "boundary" or not len(areas):
            continue
        yield from _over(site, sizes, _reached(sizes, areas, half), "canopy_over_feature", {"why": setback.why})
    for limit in site.height_limits:
        yield from _in_line_zone(site, full, limit)
    yield from _juglone(site, sizes)


def _reached(sizes: Sizes, features: Geometries, reach: Floats) -> tuple[Ints, Floats]:
    """Return the trees whose reach [m] ends beyond the edge of a feature, and how far beyond."""
    widest = float(np.nanmax(reach, initial=0.0))
    features = np.asarray(features[~shapely.is_empty(features)], object)
    if not widest > 0 or not len(features):
        return np.empty(0, np.int64), np.empty(0)
    edges = np.where(shapely.get_dimensions(features) == 2, shapely.boundary(features), features)
    step = max(widest, 1.0)
    along = shapely.get_coordinates(shapely.segmentize(edges, step))
    lists = sizes.index.query_ball_point(along, widest + step, workers=-1, return_sorted=False)
    near = np.unique(np.concatenate([np.asarray(found, np.int64) for found in lists]))
    near = near[np.isfinite(reach[near])]
    if not len(near):
        return near, np.empty(0)
    points = np.asarray(shapely.points(sizes.trees.x[near], sizes.trees.y[near]), object)
    (tree, _), distance = shapely.STRtree(features).query_nearest(points, max_distance=widest, return_distance=True, all_matches=False)
    beyond = reach[near[tree]] - distance
    over = beyond > REACHES_M
    return near[tree][over], beyond[over]


def _over(site: Site, sizes: Sizes, reached: tuple[Ints, Floats], code: str, of: Mapping[str, Any]) -> Iterator[Finding]:
    """Sum up by block how many canopies reach over something, and how far."""
    trees, beyond = reached
    for index in np.unique(sizes.trees.block[trees]):
        own = sizes.trees.block[trees] == index
        name = site.blocks[index].name if index >= 0 else "none"
        worst = int(np.argmax(np.where(own, beyond, -np.inf)))
        yield Finding(
            code,
            "warn",
            figures={"block": name, "n": int(np.count_nonzero(own)), "far_m": float(beyond[worst]), **of},
            geometry=shapely.Point(sizes.trees.x[trees[worst]], sizes.trees.y[trees[worst]]),
        )


def _in_line_zone(site: Site, sizes: Sizes, limit: HeightLimit) -> Iterator[Finding]:
    """Find canopies that grow into the zone of an overhead line from outside it, taller than it allows."""
    with np.errstate(invalid="ignore"):
        tall = sizes.height > limit.height_m + 1e-9
    reach = np.where(tall, sizes.spread / 2 + limit.within_m, np.nan)
    trees, beyond = _reached(sizes, limit.geometry, reach)
    half = sizes.spread[trees] / 2
    outside = beyond <= half + REACHES_M  # a trunk inside the zone is the height limit's own business
    of: dict[str, Any] = {"limit_m": limit.height_m, "why": limit.why}
    yield from _over(site, sizes, (trees[outside], beyond[outside]), "canopy_in_height_limit", of)


def _juglone(site: Site, sizes: Sizes) -> Iterator[Finding]:
    """Find plants that juglone harms near plants that make it."""
    juglone = sizes.kinds.each(lambda plant: plant.juglone)
    makes, suffers = np.flatnonzero(juglone == "makes"), np.flatnonzero(juglone == "suffers")
    if not len(makes) or not len(suffers):
        return
    x, y = sizes.trees.x, sizes.trees.y
    found = index_of(x[makes], y[makes]).query(np.column_stack([x[suffers], y[suffers]]), distance_upper_bound=JUGLONE_M)
    far = np.asarray(found[0])
    for index in np.unique(sizes.trees.block[suffers[np.isfinite(far)]]):
        own = np.isfinite(far) & (sizes.trees.block[suffers] == index)
        worst = int(np.argmin(np.where(own, far, np.inf)))
        plant = sizes.kinds.plants[sizes.kinds.of[suffers[worst]]]
        maker = sizes.kinds.plants[sizes.kinds.of[makes[int(found[1][worst])]]]
        yield Finding(
            "juglone",
            "warn",
            figures={
                "block": site.blocks[index].name,
                "n": int(own.sum()),
                "plant": plant.species or plant.name,
                "maker": maker.species or maker.name,
                "near_m": float(far[worst]),
                "reach_m": JUGLONE_M,
                "furthest_m": JUGLONE_FAR_M,
            },
            geometry=shapely.Point(x[suffers[worst]], y[suffers[worst]]),
        )
