"""Exclude: what is taken out of the ground and why, and the account from gross to net.

Two things come out of here and must agree: the *cutters* that cut a block's rows in closed form (no polygon overlay,
exact), and the *polygons* of excluded and usable ground for the layers, the map and the land account. Polygons are
made in the DEM's cell coordinates tile by tile, so their cost grows with the area and not with its square.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from setout.geometry.outlines import ARC_TOLERANCE, around, cell_polygons, parts_of, polygonal, without_narrow
from setout.geometry.rowcut import TOUCH, Cutters, capsules_of, edges_of
from setout.nouns import (
    AccountRow,
    Block,
    Bools,
    Exclusion,
    Finding,
    Geometries,
    HeightLimit,
    Reach,
    Setback,
    Site,
    Usable,
)
from setout.units import show_area

NO_ELEVATION = "no elevation"
SLOPE = "slope"
BEYOND_REACH = "beyond reach of water"
TOO_HIGH = "too high for water pressure"
NO_BLOCK = "outside every block"
TOO_NARROW = "too narrow"
TOO_SMALL = "too small"


Mapping2D = Callable[[NDArray[np.float64], NDArray[np.float64]], tuple[NDArray[np.float64], NDArray[np.float64]]]
"""Takes coordinates to another system."""


@dataclass(frozen=True, slots=True)
class Limits:
    """The least ground worth planting: area [m2] and width [m]; 0 for no limit."""

    min_area_m2: float = 0.0
    min_width_m: float = 0.0


@dataclass(frozen=True, slots=True)
class CellReason:
    """Cells taken out for one reason.

    Attributes
    ----------
    reason : as the land account words it
    source : the file behind it
    tiles : gives for every tile (row0, row1, col0, col1) of the DEM's grid the cells taken out
    """

    reason: str
    source: str
    tiles: CellBits


class CellBits:
    """Cells by tile: a packed mask over a window of the DEM's grid."""

    def __init__(self, packed: NDArray[np.uint8], window: tuple[int, int, int, int]) -> None:
        self.packed, self.window = packed, window

    def any(self) -> bool:
        """Return whether any cell is set."""
        return bool(self.packed.any())

    def read(self, row0: int, row1: int, col0: int, col1: int) -> Bools:
        """Return the cells of a tile inside the window."""
        top, _, left, _ = self.window
        byte0, byte1 = (col0 - left) // 8, -(-(col1 - left) // 8)
        bits = np.unpackbits(self.packed[row0 - top : row1 - top, byte0:byte1], axis=1)
        first = col0 - left - 8 * byte0
        return bits[:, first : first + col1 - col0].astype(bool)


@dataclass(frozen=True, slots=True)
class Cells:
    """The DEM's cells as far as polygons need them.

    Attributes
    ----------
    reasons : cells taken out, in the order of the account
    window : (row0, row1, col0, col1) of the site in the grid
    to_cell, to_frame : coordinates (x, y) in the frame to (column, row) and back, arrays in and out
    tile : cells along a tile's side
    """

    reasons: tuple[CellReason, ...]
    window: tuple[int, int, int, int]
    to_cell: Mapping2D
    to_frame: Mapping2D
    tile: int = 1024


def block_areas(site: Site) -> tuple[Geometries, tuple[Finding, ...]]:
    """Give every block its ground inside the boundary; where areas overlap, the block named first has it.

    Parameters
    ----------
    site : Site
        Boundary and blocks, in the frame.

    Returns
    -------
    ndarray of polygons
        One for every block, possibly empty.
    tuple of Finding
        Overlaps, and parts of block areas outside the boundary.
    """
    areas = np.empty(len(site.blocks), object)
    findings: list[Finding] = []
    taken: BaseGeometry = shapely.MultiPolygon()
    for index, block in enumerate(site.blocks):
        if block.area is None:
            continue
        inside = polygonal(shapely.intersection(block.area, site.boundary))
        outside = block.area.area - inside.area
        if outside > max(1.0, 1e-6 * block.area.area):
            findings.append(
                _area_finding("block_outside", site, block, outside, "reaches over the boundary", "draw it inside")
            )
        own = polygonal(shapely.difference(inside, taken))
        shared = inside.area - own.area
        if shared > max(1.0, 1e-6 * inside.area):
            findings.append(
                _area_finding(
                    "block_overlap",
                    site,
                    block,
                    shared,
                    "overlaps blocks named before it",
                    "draw it beside them",
                )
            )
        areas[index] = own
        taken = shapely.union(taken, inside)
    for index, block in enumerate(site.blocks):
        if block.area is None:
            areas[index] = polygonal(shapely.difference(site.boundary, taken))
    return areas, tuple(findings)


def _area_finding(code: str, site: Site, block: Block, size: float, what: str, remedy: str) -> Finding:
    return Finding(
        code, "note", f"the area of block {block.name} {what} by {show_area(size, site.units)}; that part is not its ground",
        show_area(size, site.units), "none", remedy, geometry=block.area,
    )  # fmt: skip


def setback_distance(setback: Setback, block: Block | None) -> float:
    """Return the distance that a block's trunks keep from a setback's features [m].

    Parameters
    ----------
    setback : Setback
        The rule.
    block : Block or None
        The block; None for ground of no block.

    Returns
    -------
    float
        Its distance, plus half the block's widest mature spread where it is measured to the canopy.
    """
    if setback.measured_to == "canopy" and block is not None and np.isfinite(block.spread_m):
        return setback.distance_m + block.spread_m / 2
    return setback.distance_m


def too_tall(limit: HeightLimit, block: Block) -> bool:
    """Return whether a block's plants grow taller than a height limit allows."""
    return bool(block.height_m > limit.height_m + 1e-9)


def cutters_of(site: Site, areas: Geometries, reach: Reach | None, dropped: BaseGeometry | None) -> tuple[Cutters, ...]:
    """Gather for every block what cuts its rows.

    Parameters
    ----------
    site : Site
        Setbacks, areas without plants, height limits.
    areas : ndarray of polygons
        The blocks' ground, from :func:`block_areas`.
    reach : Reach or None
        Ground that water reaches; None where it sets no limit.
    dropped : BaseGeometry or None
        Leftovers that are not planted.

    Returns
    -------
    tuple of Cutters
        One for every block, in the frame.
    """
    out = []
    for block, area in zip(site.blocks, areas, strict=True):
        ground, _ = edges_of(np.array([shapely.buffer(area, TOUCH, join_style="mitre")]))
        near = area.buffer(1.0).envelope
        kept_clear = [(s.geometry, setback_distance(s, block), s.source == "boundary") for s in site.setbacks]
        kept_clear += [(h.geometry, h.within_m, False) for h in site.height_limits if too_tall(h, block)]
        capsules, holes = [np.empty((0, 5))], []
        for geometry, distance, _ in kept_clear:
            close = geometry[shapely.dwithin(near, geometry, distance)]
            capsules.append(_near(capsules_of(close, distance), near))
            holes += list(close[shapely.get_dimensions(close) == 2])
        for no_plant in site.no_plant:
            holes += list(no_plant.geometry[shapely.intersects(near, no_plant.geometry)])
        closed = [shapely.buffer(hole, -TOUCH) for hole in holes]
        # leftovers were drawn with arcs a little off the true limits: they are closed up to those limits
        closed += [] if dropped is None else [shapely.buffer(dropped, 2 * ARC_TOLERANCE, join_style="mitre")]
        hole_edges, hole_group = edges_of(np.array(closed, object))
        discs, reach_edges = _reach_cutters(reach)
        out.append(
            Cutters(
                ground,
                hole_edges,
                hole_group,
                np.vstack(capsules),
                discs,
                reach_edges,
                block.pattern.headland_m,
            )
        )
    return tuple(out)


def _near(capsules: NDArray[np.float64], area: BaseGeometry) -> NDArray[np.float64]:
    """Keep the capsules that can meet an area's box."""
    low_x, low_y, high_x, high_y = area.bounds
    ax, ay, bx, by, r = capsules.T
    keep = (np.maximum(ax, bx) + r > low_x) & (np.minimum(ax, bx) - r < high_x)
    keep &= (np.maximum(ay, by) + r > low_y) & (np.minimum(ay, by) - r < high_y)
    return capsules[keep]


def _reach_cutters(
    reach: Reach | None,
) -> tuple[NDArray[np.float64] | None, tuple[NDArray[np.float64], NDArray[np.int64]] | None]:
    if reach is None or not np.isfinite(reach.max_run_m):
        return None, None
    if reach.barriers is None:
        return np.column_stack([reach.x, reach.y, reach.max_run_m - reach.run]), None
    return None, edges_of(reach.areas)


def usable_ground(
    site: Site,
    areas: Geometries,
    reach: Reach | None,
    cells: Cells | None,
    limits: Limits,
    sources: tuple[str, str] = ("", ""),
) -> tuple[Usable, BaseGeometry | None]:
    """Draw the excluded and the usable ground and keep the account.

    Parameters
    ----------
    site : Site
        The property, in the frame.
    areas : ndarray of polygons
        The blocks' ground.
    reach : Reach or None
        Ground that water reaches; None where it sets no limit.
    cells : Cells or None
        The DEM's cells that are taken out; None without a DEM.
    limits : Limits
        The least ground worth planting.
    sources : tuple of str
        Files of the water points and of the boundary, for the layer.

    Returns
    -------
    Usable
        Polygons by block, exclusions with their areas, and the account: it sums to the gross area.
    BaseGeometry or None
        The leftovers that are not planted, or None where there are none.
    """
    gross = site.boundary.area
    account = [AccountRow(0, "gross", gross, 0.0, gross)]
    exclusions: list[Exclusion] = []
    remaining = site.boundary
    for reason, source, distance, ground in _vector_reasons(site, areas, reach, sources):
        alone = polygonal(shapely.intersection(site.boundary, ground))
        left = polygonal(shapely.difference(remaining, ground))
        newly = max(remaining.area - left.area, 0.0)
        account.append(_row(account, reason, alone.area, newly))
        exclusions.append(Exclusion(reason, source, distance, alone.area, newly, alone))
        remaining = left
    pieces = [remaining]
    if cells is not None:
        pieces, taken = _without_cells(remaining, site.boundary, cells)
        for exclusion_list in taken:
            first = exclusion_list[0]
            account.append(
                _row(
                    account,
                    first.reason,
                    sum(e.alone_m2 for e in exclusion_list),
                    sum(e.newly_m2 for e in exclusion_list),
                )
            )
            exclusions += [e for e in exclusion_list if not e.geometry.is_empty]
    dropped: list[BaseGeometry] = []
    for reason, kept, gone in _leftovers(pieces, limits):
        size = sum(float(g.area) for g in gone)
        account.append(_row(account, reason, size, size))
        if gone:
            union = polygonal(shapely.union_all(gone))
            exclusions.append(Exclusion(reason, "", np.nan, size, size, union))
            dropped.append(union)
        pieces = kept
    net = account[-1].remaining_m2
    account.append(AccountRow(len(account), "net", net, 0.0, net))
    names, polygons = _by_block(site, areas, pieces)
    usable = Usable(names, polygons, tuple(exclusions), _height_limits(site), tuple(account))
    return usable, shapely.union_all(dropped) if dropped else None


def _row(account: Sequence[AccountRow], reason: str, alone: float, newly: float) -> AccountRow:
    return AccountRow(len(account), reason, alone, newly, account[-1].remaining_m2 - newly)


def _vector_reasons(
    site: Site, areas: Geometries, reach: Reach | None, sources: tuple[str, str]
) -> Iterator[tuple[str, str, float, BaseGeometry]]:
    """Yield reason, source, distance and ground of everything that is not a cell."""
    for setback in site.setbacks:
        ground = around(setback.geometry, setback.distance_m)
        if setback.measured_to == "canopy":
            wider = [
                shapely.intersection(area, around(setback.geometry, setback_distance(setback, block)))
                for block, area in zip(site.blocks, areas, strict=True)
            ]
            ground = polygonal(shapely.union_all([ground, *wider]))
        yield setback.why, setback.source, setback.distance_m, ground
    for no_plant in site.no_plant:
        yield no_plant.why, no_plant.source, 0.0, around(no_plant.geometry, 0.0)
    for limit in site.height_limits:
        tall = [area for block, area in zip(site.blocks, areas, strict=True) if too_tall(limit, block)]
        if tall:
            ground = shapely.intersection(around(limit.geometry, limit.within_m), shapely.union_all(tall))
            yield limit.why, limit.source, limit.within_m, polygonal(ground)
    if reach is not None and np.isfinite(reach.max_run_m):
        served = shapely.union_all(reach.areas)
        yield BEYOND_REACH, sources[0], reach.max_run_m, polygonal(shapely.difference(site.boundary, served))
    outside = polygonal(shapely.difference(site.boundary, shapely.union_all(areas)))
    if outside.area > 1e-6 * site.boundary.area:
        yield NO_BLOCK, sources[1], np.nan, outside


def _height_limits(site: Site) -> tuple[Exclusion, ...]:
    out = []
    for limit in site.height_limits:
        ground = polygonal(shapely.intersection(site.boundary, around(limit.geometry, limit.within_m)))
        out.append(Exclusion(limit.why, limit.source, limit.height_m, ground.area, 0.0, ground))
    return tuple(out)


def _mapped(geometry: NDArray[np.object_], mapping: Mapping2D) -> NDArray[np.object_]:
    """Take geometries to other coordinates, vertex by vertex."""

    def move(xy: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack(mapping(xy[:, 0], xy[:, 1]))

    out: NDArray[np.object_] = shapely.transform(geometry, move)
    return out


def _without_cells(
    remaining: BaseGeometry, boundary: BaseGeometry, cells: Cells
) -> tuple[list[BaseGeometry], list[list[Exclusion]]]:
    """Take cells out of the remaining ground, tile by tile, in cell coordinates."""
    whole, edge = _mapped(shapely.segmentize(np.array([remaining, boundary]), 100.0), cells.to_cell)
    shapely.prepare(edge)
    row0, row1, col0, col1 = cells.window
    pieces, taken = _beyond_dem(whole, edge, shapely.box(col0, row0, col1, row1), cells)
    for (row0, row1, col0, col1), ground in _tiles(whole, cells.window, cells.tile):
        inside = bool(shapely.contains_properly(edge, shapely.box(col0, row0, col1, row1)))
        left = ground
        before = _mapped(parts_of(left), cells.to_frame) if not left.is_empty else np.empty(0, object)
        size = float(shapely.area(before).sum())
        for number, reason in enumerate(cells.reasons):
            outlines = cell_polygons(reason.tiles.read(row0, row1, col0, col1), row0, col0)
            if not len(outlines):
                continue
            gone = shapely.multipolygons(outlines)
            alone = outlines if inside else parts_of(shapely.intersection(gone, edge))
            left = polygonal(shapely.difference(left, gone))
            before = _mapped(parts_of(left), cells.to_frame)
            now = float(shapely.area(before).sum())
            drawn = _mapped(alone, cells.to_frame)
            if len(drawn):
                taken[number].append(
                    Exclusion(
                        reason.reason, reason.source, np.nan, float(shapely.area(drawn).sum()), size - now,
                        shapely.multipolygons(drawn),
                    )
                )  # fmt: skip
            size = now
        pieces.append(before)
    for number, reason in enumerate(cells.reasons):
        if not taken[number]:
            taken[number].append(Exclusion(reason.reason, reason.source, np.nan, 0.0, 0.0, shapely.MultiPolygon()))
    return list(np.concatenate(pieces)) if pieces else [], taken


def _beyond_dem(
    whole: BaseGeometry, edge: BaseGeometry, window: BaseGeometry, cells: Cells
) -> tuple[list[NDArray[np.object_]], list[list[Exclusion]]]:
    """Deal with ground that the DEM does not cover: it has no elevation, and is planted only where that is allowed."""
    taken: list[list[Exclusion]] = [[] for _ in cells.reasons]
    if shapely.covers(window, whole):
        return [], taken
    beyond = _mapped(parts_of(shapely.difference(whole, window)), cells.to_frame)
    blank = [number for number, reason in enumerate(cells.reasons) if reason.reason == NO_ELEVATION]
    if not blank:
        return [beyond], taken
    alone = _mapped(parts_of(shapely.difference(edge, window)), cells.to_frame)
    if len(alone):
        reason = cells.reasons[blank[0]]
        sizes = float(shapely.area(alone).sum()), float(shapely.area(beyond).sum())
        taken[blank[0]].append(Exclusion(reason.reason, reason.source, np.nan, *sizes, shapely.multipolygons(alone)))
    return [], taken


def _tiles(
    ground: BaseGeometry, window: tuple[int, int, int, int], size: int
) -> Iterator[tuple[tuple[int, int, int, int], BaseGeometry]]:
    """Yield the tiles of a window with the ground in each, cut in bands first so that each cut is small."""
    row0, row1, col0, col1 = window
    single = (row1 - row0) * (col1 - col0) <= size * size
    height, width = (row1 - row0, col1 - col0) if single else (size, size)
    for top in range(row0, row1, max(height, 1)):
        bottom = min(top + height, row1)
        band = ground if single else shapely.intersection(ground, shapely.box(col0, top, col1, bottom))
        for left in range(col0, col1, max(width, 1)):
            right = min(left + width, col1)
            part = band if single else shapely.intersection(band, shapely.box(left, top, right, bottom))
            yield (top, bottom, left, right), polygonal(part)


def _leftovers(
    pieces: list[BaseGeometry], limits: Limits
) -> Iterator[tuple[str, list[BaseGeometry], list[BaseGeometry]]]:
    """Yield reason, ground kept and ground dropped, for pieces too narrow and then for pieces too small."""
    if limits.min_width_m <= 0 and limits.min_area_m2 <= 0:
        return
    whole = shapely.union_all(pieces)
    kept = list(parts_of(whole))
    if limits.min_width_m > 0:
        wide = [without_narrow(part, limits.min_width_m) for part in kept]
        gone = [g for part, core in zip(kept, wide, strict=True) for g in parts_of(shapely.difference(part, core))]
        kept = [part for core in wide for part in parts_of(core)]
        yield TOO_NARROW, kept, gone
    if limits.min_area_m2 > 0:
        small = [part for part in kept if part.area < limits.min_area_m2]
        kept = [part for part in kept if part.area >= limits.min_area_m2]
        yield TOO_SMALL, kept, small


def _by_block(site: Site, areas: Geometries, pieces: list[BaseGeometry]) -> tuple[tuple[str, ...], Geometries]:
    """Share the usable pieces among the blocks."""
    ground = np.array(pieces, object)
    if len(site.blocks) == 1 and site.blocks[0].area is None:
        parts = ground[~shapely.is_empty(ground)] if len(ground) else ground
        return (site.blocks[0].name,) * len(parts), parts
    names: list[str] = []
    polygons: list[BaseGeometry] = []
    tree = shapely.STRtree(ground)
    for block, area in zip(site.blocks, areas, strict=True):
        shapely.prepare(area)
        touching = np.sort(tree.query(area, "intersects"))
        near = ground[touching]
        within = shapely.contains_properly(area, near)
        for piece, whole in zip(near, within, strict=True):
            parts = [piece] if whole else parts_of(shapely.intersection(piece, area))
            polygons += list(parts)
            names += [block.name] * len(parts)
    out = np.empty(len(polygons), object)
    out[:] = polygons
    return tuple(names), out
