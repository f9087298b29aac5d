"""Terrain: which cells of the DEM are too steep, which have no elevation, and what the ground is like at points.

A cell (i, j) covers rows [i, i + 1) and columns [j, j + 1) of the DEM's grid; a point belongs to the cell that holds it
and takes that cell's slope. A cell is steep when its slope is strictly over the limit.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from setout.errors import Refusal
from setout.geometry.cells import cellmask, contours, gridmap, relief
from setout.geometry.cells.cellsize import CellSize, Window, cell_size
from setout.geometry.cells.strips import STRIP, Groups, chunks, group_step, overview, squared_slopes
from setout.geometry.lines import overlay
from setout.geometry.places import polymap
from setout.model import Elevations, Finding, Floats, Ground, RasterGrid, Site

OVERVIEW_CELLS = 2_500_000
"""Most heights kept for contours and pictures."""
CONTOUR_CELLS = 400_000
MOST_CONTOURS = 25
SIMPLIFY_M = 0.15
COARSE_M = 5.0
"""Cells wider than this hide banks and ditches that a row of trees meets (common practice)."""
LOWEST_M, HIGHEST_M = -450.0, 6000.0
"""Heights outside these are taken for a wrong unit: the Dead Sea's shore lies at -430 m, no tree crop above 5000 m."""
LAND_M = (-500.0, 9000.0)
"""No land is lower or higher: the Dead Sea's shore lies at -430 m, the highest summit at 8849 m."""


def survey_ground(site: Site, elevations: Elevations | None, *, max_slope: float, allow_blank: bool) -> Ground:
    """Find the steep cells and the cells without elevation, in one pass over the site's part of the DEM."""
    if elevations is None:
        none = np.empty((0, 0), np.uint8)
        return Ground(None, site.frame, (0, 0, 0, 0), none, none, max_slope, 1.0, allow_blank, (Finding("no_dem", "warn"),))
    grid = elevations.grid
    exact = gridmap.exact_cells(site.frame, grid)
    outline = shapely.transform(shapely.segmentize(site.boundary, 50.0), lambda xy: np.column_stack(exact(xy[:, 0], xy[:, 1])))
    window = _window(site, grid, outline, elevations.source)
    size = cell_size(grid, window)
    row0, row1, col0, col1 = window
    packed = (row1 - row0, -(-(col1 - col0) // 8))
    steep, blank = np.zeros(packed, np.uint8), np.zeros(packed, np.uint8)
    step = group_step(window, OVERVIEW_CELLS)
    groups = Groups(step, (row1 - row0) // step, (col1 - col0) // step)
    limit, highest = _squared_limit(max_slope), -np.inf
    wild: list[tuple[float, int, int]] = []
    for chunk in chunks(elevations, window):
        here = slice(chunk.row0 - row0, chunk.row1 - row0)
        unknown = np.isnan(chunk.z)
        steep[here] = cellmask.pack(squared_slopes(chunk, size, unknown) > limit)
        blank[here] = cellmask.pack(unknown[1:-1, 1:-1])
        groups.add(chunk.row0 - row0, chunk.heights)
        low, top = _extremes(chunk.heights)
        highest = max(highest, top)
        if low < LAND_M[0] or top > LAND_M[1]:
            wild += _wild(chunk.heights, chunk.row0, col0)
    if wild:
        raise _no_land(wild, grid, elevations.source)
    share = cellmask.share(outline, blank, window)
    if share >= 1.0:
        raise _no_elevation(site, grid, outline, elevations.source)
    findings = (*_gap(site, share, elevations.source, allow_blank=allow_blank), *_odd(size, grid, groups.means(), elevations.source))
    return Ground(elevations, site.frame, window, steep, blank, max_slope, share, allow_blank, findings, groups.means(), step, highest)


def _extremes(z: relief.Heights) -> tuple[float, float]:
    """Return the lowest and the highest of some heights; inf and -inf where there is none."""
    low, top = float(z.min()), float(z.max())
    if np.isnan(low):
        low, top = float(np.nanmin(z, initial=np.inf)), float(np.nanmax(z, initial=-np.inf))
    return low, top


def _wild(z: relief.Heights, row0: int, col0: int) -> list[tuple[float, int, int]]:
    """Return the heights that no land has, with their row and column in the grid."""
    rows, cols = np.nonzero((z < LAND_M[0]) | (z > LAND_M[1]))
    return list(zip(z[rows, cols].tolist(), (rows + row0).tolist(), (cols + col0).tolist(), strict=True))


def _no_land(wild: list[tuple[float, int, int]], grid: RasterGrid, source: str) -> Refusal:
    """Say which cells hold heights that no land has."""
    value, row, col = wild[0]
    x, y = grid.corner(np.array([row + 0.5]), np.array([col + 0.5]))
    return Refusal(
        "dem_no_land",
        cells=len(wild) if len(wild) > 1 else None,
        height_m=value,
        row=row + 1,
        column=col + 1,
        x=float(x[0]),
        y=float(y[0]),
        digits=6 if grid.crs.is_geographic else 1,
        lowest_m=LAND_M[0],
        highest_m=LAND_M[1],
        source=source,
    )


def _squared_limit(max_slope: float) -> np.float32:
    """Return the greatest float32 whose root is within the limit, so that masks and sampled slopes agree to the bit."""
    limit = np.float32(max_slope**2)
    return limit if limit <= max_slope**2 else np.nextafter(limit, np.float32(0))


def _window(site: Site, grid: RasterGrid, outline: BaseGeometry, source: str) -> Window:
    """Return the part of a grid that holds the site, with one cell more on every side."""
    col0, row0, col1, row1 = outline.bounds
    if not np.isfinite([col0, row0, col1, row1]).all():
        raise _no_elevation(site, grid, outline, source)
    window = (
        max(int(np.floor(row0)) - 1, 0),
        min(int(np.floor(row1)) + 2, grid.height),
        max(int(np.floor(col0)) - 1, 0),
        min(int(np.floor(col1)) + 2, grid.width),
    )
    if row1 <= 0 or col1 <= 0 or row0 >= grid.height or col0 >= grid.width:
        raise _no_elevation(site, grid, outline, source)
    return window


def _no_elevation(site: Site, grid: RasterGrid, outline: BaseGeometry, source: str) -> Refusal:
    """Say where the site and the DEM lie, in the DEM's CRS, and whether they are apart."""
    corners = grid.corner(np.array([0.0, 0, grid.height, grid.height]), np.array([0.0, grid.width, 0, grid.width]))
    west, south, east, north = site.boundary.bounds
    there = site.frame.to(grid.crs, np.array([west, east, east, west]), np.array([south, south, north, north]))
    col0, row0, col1, row1 = outline.bounds
    apart = not (col0 < grid.width and row0 < grid.height and col1 > 0 and row1 > 0)
    extents = _extent("site", *there) | _extent("dem", *corners)
    code, digits = "dem_misses_site" if apart else "dem_without_heights", 6 if grid.crs.is_geographic else 0
    return Refusal(code, **extents, digits=digits, crs=grid.crs.name, source=source)


def _extent(of: str, x: Floats, y: Floats) -> dict[str, float]:
    """Return the least and the greatest coordinates, in their CRS's unit."""
    ends = {"x_least": x.min(), "x_most": x.max(), "y_least": y.min(), "y_most": y.max()}
    return {f"{of}_{name}": float(value) for name, value in ends.items()}


def _gap(site: Site, share: float, source: str, *, allow_blank: bool) -> tuple[Finding, ...]:
    if share <= 0:
        return ()
    tiny = share < 1e-4
    figures = {
        "source": source,
        "site": site.name,
        "share": None if tiny else share,
        "tiny_share": share if tiny else None,
        "use": "gap_planted" if allow_blank else "gap_left",
    }
    return (Finding("dem_gap", "warn", figures=figures),)


def _odd(size: CellSize, grid: RasterGrid, z: relief.Heights, source: str) -> Iterator[Finding]:
    """Yield what the user should know about the DEM itself."""
    if size.on_ellipsoid and np.isfinite(size.scale):
        cells = {"width_m": float(size.width_m), "height_m": float(size.height_m)}
        yield Finding("dem_scale", "note", figures={"source": source, "crs": grid.crs.name, "times": float(1 / size.scale), **cells})
    wide = float(max(size.width_m, size.height_m))
    if wide > COARSE_M:
        yield Finding("dem_coarse", "note", figures={"source": source, "cell_m": wide, "over_m": 3 * wide, "coarse_m": COARSE_M})
    known = z[np.isfinite(z)]
    if known.size and not (known.min() > LOWEST_M and known.max() < HIGHEST_M):
        heights = {"lowest_m": float(known.min()), "highest_m": float(known.max()), "least_m": LOWEST_M, "most_m": HIGHEST_M}
        yield Finding("dem_heights", "warn", figures={"source": source, **heights})


def cell_mappings(ground: Ground) -> tuple[polymap.PolyMap, polymap.PolyMap]:
    """Return the mappings between the frame and the DEM's grid, fast over the site's window."""
    assert ground.elevations is not None
    place = (ground.frame, ground.elevations.grid, ground.window)
    return gridmap.to_cells(*place), gridmap.to_frame(*place)


def sample(ground: Ground, x: Floats, y: Floats) -> tuple[Floats, Floats, Floats]:
    """Return elevation, slope and aspect at points.

    The elevation is bilinear between the centres of four cells; a missing one of them counts as high as the point's own
    cell, and beyond the raster's edge the ground goes on as it came. Slope and aspect are those of the cell that holds
    the point.
    """
    x, y = np.asarray(x, float), np.asarray(y, float)
    height, slope, aspect = (np.full(x.shape, np.nan) for _ in range(3))
    if ground.elevations is None or not x.size:
        return height, slope, aspect
    grid = ground.elevations.grid
    mapping = gridmap.to_cells(ground.frame, grid, ground.window)
    row, col = gridmap.cells_at(ground, x, y, mapping)
    inside = np.flatnonzero((row >= 0) & (row < grid.height) & (col >= 0) & (col < grid.width))
    if not inside.size:
        return height, slope, aspect
    inside = inside[np.argsort(row[inside], kind="stable")]
    u, v = mapping(x[inside], y[inside])
    to_east, to_north = _axes(ground)
    gaps = np.flatnonzero(np.diff(row[inside] // STRIP) > 1) + 1
    for part in np.split(np.arange(inside.size), gaps):
        rows, cols = row[inside[part]], col[inside[part]]
        window = (int(rows[0]), int(rows[-1]) + 1, int(cols.min()), int(cols.max()) + 1)
        size = cell_size(grid, window)
        for chunk in chunks(ground.elevations, window):
            here = part[slice(*np.searchsorted(rows, (chunk.row0, chunk.row1)))]
            k = inside[here]
            near = relief.neighbourhoods(chunk.z, row[k] - chunk.row0, col[k] - window[2], chunk.sides)
            across, down = relief.differences(near)
            dzdx, dzdy = size.gradient(across[0, 0], down[0, 0], row[k])
            slope[k] = 100.0 * np.sqrt((dzdx * dzdx + dzdy * dzdy).astype(float))
            east, north = (dzdx * ax - dzdy * ay for ax, ay in zip(to_east, to_north, strict=True))
            aspect[k] = relief.aspect(east, -north)
            height[k] = _between(near, v[here] - row[k] - 0.5, u[here] - col[k] - 0.5)
    unknown = np.isnan(height)
    slope[unknown] = aspect[unknown] = np.nan
    return height, slope, aspect


def _between(near: relief.Heights, down: Floats, along: Floats) -> Floats:
    """Interpolate between the centres of a cell and its neighbours; down and along count from the centre, -0.5 to 0.5."""
    rows, cols = np.where(down < 0, 0, 2), np.where(along < 0, 0, 2)
    k = np.arange(down.size)
    own = near[1, 1].astype(float)
    beside, above, across = (near[r, c, k] - own for r, c in ((1, cols), (rows, 1), (rows, cols)))
    s, t = np.abs(along), np.abs(down)
    return np.asarray(own + beside * s * (1 - t) + above * t * (1 - s) + across * s * t)


def _axes(ground: Ground) -> tuple[Floats, Floats]:
    """Return the directions of the grid's east and north in the frame, in the middle of the site, as unit vectors.

    North is where its y axis points, east square to it on the side of its x axis.
    """
    assert ground.elevations is not None
    grid = ground.elevations.grid
    row0, row1, col0, col1 = ground.window
    x, y = grid.corner(np.array((row0 + row1) / 2), np.array((col0 + col1) / 2))
    step = max(abs(v) for v in np.take(grid.transform, [0, 1, 3, 4]))
    fx, fy = ground.frame.of(grid.crs, x + step * np.array([-1, 1, 0, 0]), y + step * np.array([0, 0, -1, 1]))
    north = np.array([fx[3] - fx[2], fy[3] - fy[2]])
    north /= np.linalg.norm(north)
    east = np.array([north[1], -north[0]])
    return east * np.sign(east[0] * (fx[1] - fx[0]) + east[1] * (fy[1] - fy[0])), north


def contour_lines(ground: Ground, site: Site, intervals_m: Sequence[float]) -> list[tuple[float, LineString]]:
    """Draw contours inside the boundary, at one of some intervals [m], rising, or at a wider one where lines would be without end."""
    if ground.elevations is None:
        return []
    z, step = _coarse(ground)
    if not np.isfinite(z).any():
        return []
    interval = contours.fitting_interval(z, intervals_m, MOST_CONTOURS)
    row0, _, col0, _ = ground.window
    mapping = gridmap.to_frame(ground.frame, ground.elevations.grid, ground.window)
    out: list[tuple[float, LineString]] = []
    shapely.prepare(site.boundary)
    simpler = min(SIMPLIFY_M, 0.15 * step * gridmap.metres_per_cell(ground.elevations.grid, ground.window))
    for level, col, row, ends in contours.lines(z, interval, beyond=step > 1):
        x, y = mapping(col0 + col * step, row0 + row * step)
        drawn = shapely.from_ragged_array(shapely.GeometryType.LINESTRING, np.column_stack([x, y]), (ends,))
        drawn = shapely.simplify(drawn, simpler)
        within = shapely.contains_properly(site.boundary, drawn)
        cut = overlay.intersection(drawn[~within], site.boundary)
        parts = shapely.get_parts(shapely.line_merge(cut))
        parts = parts[(shapely.get_dimensions(parts) == 1) & ~shapely.is_empty(parts)]
        both = [*drawn[within], *shapely.get_parts(parts)]
        out += [(level, line) for line in sorted(both, key=lambda line: line.coords[0])]
    return out


def contours_wide(ground: Ground, intervals_m: Sequence[float]) -> Iterator[Finding]:
    """Say so where contours stand further apart than maps have them, so that they are not without end."""
    z = _coarse(ground)[0] if ground.elevations is not None else np.empty((0, 0), np.float32)
    interval = contours.fitting_interval(z, intervals_m, MOST_CONTOURS) if np.isfinite(z).any() else 0.0
    if interval > intervals_m[-1]:
        yield Finding("contours_wide", "note", figures={"interval_m": interval, "usual_m": intervals_m[-1]})


def _coarse(ground: Ground) -> tuple[relief.Heights, int]:
    """Return heights for contours, and cells along the side of their groups."""
    assert ground.elevations is not None
    if ground.overview is None:
        return overview(ground.elevations, ground.window, CONTOUR_CELLS)
    z, more = ground.overview, 1
    while (z.shape[0] // more) * (z.shape[1] // more) > CONTOUR_CELLS:
        more += 1
    groups = Groups(more, z.shape[0] // more, z.shape[1] // more)
    groups.add(0, z)
    return groups.means(), ground.overview_step * more
