"""Blocks whose rows are not straight: their ground, their heights, and what is laid there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from setout.geometry.lines import overlay
from setout.geometry.lines.overlay import polygonal
from setout.model import Block, Finding, Floats, Ground, Site, Usable
from setout.stages import curve, exclude, terrain
from setout.stages.fill import Laid, paired

NOT_GROUND = (exclude.NO_BLOCK, exclude.TOO_NARROW, exclude.TOO_SMALL)
"""Reasons that do not keep a screen from standing: it takes its line where it was drawn."""


@dataclass(frozen=True, slots=True)
class CurvedBlocks:
    """Blocks already laid, by their index in the site, and what there is to say about them."""

    laid: dict[int, Laid]
    findings: tuple[Finding, ...]


def curved_blocks(site: Site, ground: Ground, usable: Usable) -> CurvedBlocks:
    """Lay every block whose rows follow a line or the contour."""
    laid: dict[int, Laid] = {}
    findings: list[Finding] = []

    def height_at(x: Floats, y: Floats) -> Floats:
        return terrain.sample(ground, x, y)[0]

    for index, block in enumerate(site.blocks):
        if block.direction not in ("guide", "contour"):
            continue
        heights = None if ground.elevations is None else height_at
        rows = curve.rows_along(block, _own_ground(block, site, usable), heights)
        alone = np.full(len(rows.x), -1)
        one = Laid(
            rows.x, rows.y, rows.row, rows.position, rows.piece, alone, float("nan"), dict(rows.row_line), row_path=dict(rows.row_path)
        )
        laid[index] = one if block.pattern.pair is None else paired(one, block.pattern.pair)
        findings += rows.findings
    return CurvedBlocks(laid, tuple(findings))


def _own_ground(block: Block, site: Site, usable: Usable) -> BaseGeometry:
    """Return the ground that a block may be planted on."""
    own = [g for name, g in zip(usable.block, usable.geometry, strict=True) if name == block.name]
    if own:  # pieces of usable ground lie apart
        pieces = np.asarray(shapely.geometrycollections(shapely.get_parts(np.array(own, object))), object)
        return polygonal(pieces.item())
    taken = [e.geometry for e in usable.exclusions if e.reason not in NOT_GROUND]
    return overlay.difference(site.boundary, overlay.union(taken))
