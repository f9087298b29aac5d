"""What cuts a block's rows, in closed form: no overlay of polygons stands between a limit and a tree."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from setout.geometry.lines.outlines import ARC_TOLERANCE
from setout.geometry.rows.rowcut import TOUCH, Cutters, capsules_of, edges_of
from setout.model import Block, Geometries, Reach, Site
from setout.stages.exclude.blocks import setback_distance, too_tall


def cutters_of(site: Site, areas: Geometries, reach: Reach | None, dropped: BaseGeometry | None) -> tuple[Cutters, ...]:
    """Gather for every block what cuts its rows."""
    return tuple(_cutters(site, block, area, reach, dropped) for block, area in zip(site.blocks, areas, strict=True))


def _cutters(site: Site, block: Block, area: BaseGeometry, reach: Reach | None, dropped: BaseGeometry | None) -> Cutters:
    """Gather what cuts one block's rows; every limit is kept by the whole width of what stands on a row's line."""
    beside = block.pattern.clearance_m
    ground, _ = edges_of(np.array([shapely.buffer(area, TOUCH, join_style="mitre")]))
    near = area.buffer(1.0 + beside).envelope
    kept_clear = [(s.geometry, setback_distance(s, block)) for s in site.setbacks]
    kept_clear += [(h.geometry, h.within_m) for h in site.height_limits if too_tall(h, block)]
    capsules, holes = [np.empty((0, 5))], []
    for geometry, distance in kept_clear:
        close = geometry[shapely.dwithin(near, geometry, distance)]
        capsules.append(_near(capsules_of(close, distance + beside), near))
        holes += list(close[shapely.get_dimensions(close) == 2])
    no_plant = [g for area_ in site.no_plant for g in area_.geometry[shapely.intersects(near, area_.geometry)]]
    closed = [shapely.buffer(hole, -TOUCH) for hole in (*holes, *no_plant)]
    # leftovers were drawn with arcs a little off the true limits: they are closed up to those limits
    closed += [] if dropped is None else [shapely.buffer(dropped, 2 * ARC_TOLERANCE, join_style="mitre")]
    if beside:
        edges = np.array([area, *no_plant, *([] if dropped is None else [dropped])], object)
        capsules.append(_near(capsules_of(edges, beside), near))
    hole_edges, hole_group = edges_of(np.array(closed, object))
    discs, reach_edges = _reach_cutters(reach, beside)
    return Cutters(
        ground, hole_edges, hole_group, np.vstack(capsules), discs, reach_edges, block.pattern.headland_m, block.pattern.row_end_m
    )


def _near(capsules: NDArray[np.float64], area: BaseGeometry) -> NDArray[np.float64]:
    """Keep the capsules that can meet an area's box."""
    low_x, low_y, high_x, high_y = area.bounds
    ax, ay, bx, by, r = capsules.T
    keep = (np.maximum(ax, bx) + r > low_x) & (np.minimum(ax, bx) - r < high_x)
    keep &= (np.maximum(ay, by) + r > low_y) & (np.minimum(ay, by) - r < high_y)
    kept: NDArray[np.float64] = capsules[keep]
    return kept


def _reach_cutters(
    reach: Reach | None, beside: float
) -> tuple[NDArray[np.float64] | None, tuple[NDArray[np.float64], NDArray[np.int64]] | None]:
    if reach is None or not reach.is_limited:
        return None, None
    if reach.discs:
        # the water points themselves come first of their corners
        own = reach.run == 0
        return np.column_stack([reach.x, reach.y, np.maximum(reach.max_run_m - reach.run - beside, 0.0)])[own], None
    areas = shapely.buffer(reach.areas, -beside) if beside else reach.areas
    return None, edges_of(np.asarray(areas, object))
