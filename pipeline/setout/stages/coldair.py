"""Cold air: hollows that it stands in, ways that it flows along, and what of the planting is in them.

On clear nights air cools on the ground, drains downhill and gathers in low places (Mississippi State University
Extension, site selection for fruit: plant the slope, not the foot of it, and keep its way out open). The ground is
looked at as means of cells, so that ditches and ruts do not count. What lies beyond the site's part of the DEM is not
known: air runs off there.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
import shapely
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry

from setout.geometry.cells import gridmap
from setout.geometry.cells.hollows import Drainage, drainage, ways_down
from setout.geometry.lines import overlay
from setout.model import Bools, ColdAir, Figure, Finding, Floats, Ground, Hollow, Ints, Plant, Site, Trees
from setout.model.kinds import kinds_of

MOST_CELLS: Final = 40_000
"""Cells that the ground is looked at in."""
DEEP_M: Final = 0.3
"""Hollows less deep than this do not count [m] (this project's bound)."""
WIDE_M2: Final = 500.0
"""Nor do smaller ones [m2] (this project's bound)."""
FLOW_M2: Final = 10_000.0
"""Air flows along a way that at least so much ground drains through [m2]; or a fortieth of the site, if that is more."""
MOST_TOLD: Final = 20


def cold_air(site: Site, ground: Ground, trees: Trees) -> ColdAir | None:
    """Find where cold air gathers, and what of the planting stands there."""
    named = any(plant.species for block in site.blocks for plant in block.plants)
    if ground.overview is None or ground.elevations is None or not named:
        return None
    grid = _Cells(ground)
    if min(grid.z.shape) < 3 or not np.isfinite(grid.z).any():
        return None
    found = drainage(grid.z)
    hollows = tuple(sorted(_hollows(grid, found, site), key=lambda hollow: -hollow.depth_m))
    paths, upslope = _paths(grid, found, site)
    cold = ColdAir(hollows, paths, upslope, grid.side_m)
    findings = (*_in_hollows(site, trees, cold), *_across(site, trees, cold))
    return ColdAir(hollows, paths, upslope, grid.side_m, findings)


class _Cells:
    """The overview of the ground, coarse enough to be flooded, and its cells in the frame."""

    def __init__(self, ground: Ground) -> None:
        assert ground.overview is not None
        assert ground.elevations is not None
        z, more = ground.overview, 1
        while (z.shape[0] // more) * (z.shape[1] // more) > MOST_CELLS:
            more += 1
        rows, cols = z.shape[0] // more, z.shape[1] // more
        self.z: Floats = z[: rows * more, : cols * more].reshape(rows, more, cols, more).mean(axis=(1, 3), dtype=float)
        self.step = ground.overview_step * more
        self.side_m = self.step * gridmap.metres_per_cell(ground.elevations.grid, ground.window)
        self.corner = ground.window[0], ground.window[2]
        self.mapping = gridmap.to_frame(ground.frame, ground.elevations.grid, ground.window)

    def frame(self, row: Floats, col: Floats) -> tuple[Floats, Floats]:
        """Return x and y of fractional rows and columns [m]."""
        return self.mapping(self.corner[1] + col * self.step, self.corner[0] + row * self.step)

    def middles(self, flat: Ints) -> Floats:
        """Return the middles of cells, (n, 2) [m]."""
        row, col = np.divmod(flat, self.z.shape[1])
        return np.column_stack(self.frame(row + 0.5, col + 0.5))

    def outline(self, mask: Bools) -> BaseGeometry:
        """Return cells as a polygon: runs of a row as one piece each, then all together."""
        row, begin = np.nonzero(mask & ~np.pad(mask, ((0, 0), (1, 0)))[:, :-1])
        _, end = np.nonzero(mask & ~np.pad(mask, ((0, 0), (0, 1)))[:, 1:])
        rows = np.stack([row, row, row + 1, row + 1], axis=1).astype(float)
        cols = np.stack([begin, end + 1, end + 1, begin], axis=1).astype(float)
        x, y = self.frame(rows.ravel(), cols.ravel())
        corners = np.column_stack([x, y]).reshape(-1, 4, 2)
        return shapely.union_all(shapely.polygons(corners), grid_size=1e-3)


def _hollows(grid: _Cells, found: Drainage, site: Site) -> Iterator[Hollow]:
    """Yield the hollows that reach onto the site."""
    from scipy.ndimage import find_objects, label

    depth = np.nan_to_num(found.level - grid.z)
    number, _ = label(depth > 0, np.ones((3, 3)))
    cell_m2 = grid.side_m**2
    for index, where in enumerate(find_objects(number), 1):
        mine = number[where] == index
        deepest = float(depth[where][mine].max())
        if deepest < DEEP_M or mine.sum() * cell_m2 < WIDE_M2:
            continue
        whole = np.zeros(depth.shape, bool)
        whole[where] = mine
        area = overlay.intersection(grid.outline(whole), site.boundary)
        if area.is_empty:
            continue
        through = np.where(whole, found.through, 0)
        last = int(np.argmax(through))
        out = int(found.to.ravel()[last])
        spill = grid.middles(np.array([out if out >= 0 else last]))[0]
        yield Hollow(area, deepest, float(through.max() * cell_m2), Point(*spill))


def _paths(grid: _Cells, found: Drainage, site: Site) -> tuple[tuple[BaseGeometry, ...], Floats]:
    """Return the ways that cold air takes over the site, and the ground that drains through their ends [m2]."""
    cell_m2 = grid.side_m**2
    least = max(int(np.ceil(max(FLOW_M2, site.boundary.area / 40.0) / cell_m2)), 2)
    lines, upslope = [], []
    for way in ways_down(found, least):
        line = LineString(grid.middles(np.array(way)))
        if line.intersects(site.boundary):
            lines.append(line)
            upslope.append(float(found.through.ravel()[way[-1]] * cell_m2))
    return tuple(lines), np.array(upslope)


def risk_of(plant: Plant) -> str:
    """Return the code of why cold air harms a plant; empty where it does not more than others.

    >>> risk_of(Plant("apricot", bloom="early")), risk_of(Plant("apple", bloom="mid")), risk_of(Plant("fig", frost_tenderness="tender"))
    ('early_bloom', '', 'tender')
    """
    if plant.frost_tenderness not in ("", "hardy"):
        return plant.frost_tenderness
    return "early_bloom" if plant.bloom == "early" else ""


def _in_hollows(site: Site, trees: Trees, cold: ColdAir) -> Iterator[Finding]:
    """Yield blocks with tender or early plants in a hollow."""
    risk = kinds_of(site.blocks, trees).each(risk_of)
    harmed = np.flatnonzero(risk != "")
    for hollow in cold.hollows[:MOST_TOLD]:
        inside = harmed[shapely.contains_xy(hollow.area, trees.x[harmed], trees.y[harmed])]
        for index in np.unique(trees.block[inside]):
            own = inside[trees.block[inside] == index]
            figures: dict[str, Figure] = {
                "block": site.blocks[int(index)].name,
                "plants": len(own),
                "risks": tuple(sorted(set(risk[own].tolist()))),
                "depth_m": hollow.depth_m,
                "upslope_m2": hollow.upslope_m2,
                "least_m": DEEP_M,
            }
            yield Finding("cold_hollow", "warn", geometry=hollow.area, figures=figures)


def _across(site: Site, trees: Trees, cold: ColdAir) -> Iterator[Finding]:
    """Yield screens that stand across the way out of cold air."""
    for index, block in enumerate(site.blocks):
        own = trees.block == index
        if block.pattern.kind != "screen" or own.sum() < 2:
            continue
        line = block.line if block.line is not None else LineString(np.column_stack([trees.x[own], trees.y[own]]))
        wall = shapely.buffer(line, max(block.spread_m / 2, 1.0) if np.isfinite(block.spread_m) else 1.0)
        crossed = [k for k, path in enumerate(cold.paths) if path.crosses(wall) or path.within(wall)]
        near = [h for h in cold.hollows if shapely.distance(h.spill, line) < 1.5 * cold.cell_m]
        if not crossed and not near:
            continue
        much = max([*(cold.upslope_m2[k] for k in crossed), *(h.upslope_m2 for h in near)])
        yield Finding("cold_air_dammed", "warn", geometry=line, figures={"screen": block.name, "upslope_m2": float(much)})
