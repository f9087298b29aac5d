"""Which ground belongs to which block, and what a block's plants keep clear of."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from setout.geometry.lines import overlay
from setout.model import Block, Finding, Geometries, HeightLimit, Setback, Site


def block_areas(site: Site) -> tuple[Geometries, tuple[Finding, ...]]:
    """Give every block its ground inside the boundary; where areas overlap, the block named first has it."""
    areas = np.empty(len(site.blocks), object)
    findings: list[Finding] = []
    taken: BaseGeometry = shapely.MultiPolygon()
    for index, block in enumerate(site.blocks):
        if block.area is None:
            continue
        inside = overlay.intersection(block.area, site.boundary)
        outside = block.area.area - inside.area
        if outside > max(1.0, 1e-6 * block.area.area):
            findings.append(_lost("block_outside", block, outside))
        own = overlay.difference(inside, taken)
        shared = inside.area - own.area
        if shared > max(1.0, 1e-6 * inside.area):
            findings.append(_lost("block_overlap", block, shared))
        areas[index] = own
        taken = overlay.union([taken, inside])
    for index, block in enumerate(site.blocks):
        if block.area is None:
            areas[index] = site.boundary if block.stands_where_drawn else overlay.difference(site.boundary, taken)
    return areas, tuple(findings)


def _lost(code: str, block: Block, lost_m2: float) -> Finding:
    """Return a finding about part of a block's area that is not its ground."""
    return Finding(code, "note", geometry=block.area, figures={"block": block.name, "lost_m2": float(lost_m2)})


def setback_distance(setback: Setback, block: Block | None) -> float:
    """Return the distance that a block's trunks keep from a setback's features [m]."""
    if setback.measured_to == "canopy" and block is not None and np.isfinite(block.spread_m):
        return setback.distance_m + block.spread_m / 2
    return setback.distance_m


def too_tall(limit: HeightLimit, block: Block) -> bool:
    """Return whether a block's plants may grow taller than a height limit allows; unknown heights may."""
    return not block.height_m <= limit.height_m + 1e-9
