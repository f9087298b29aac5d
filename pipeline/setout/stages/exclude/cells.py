"""Cells of the DEM that are taken out, as polygons, tile by tile.

The overlay is done in the DEM's cell coordinates, where cells have whole-number corners and tiles straight sides; its
cost grows with the area and not with its square. Tiles whose cells all stay need no overlay at all.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from setout.geometry.cells import cellmask
from setout.geometry.cells.celltrace import cell_polygons
from setout.geometry.cells.punch import punched
from setout.geometry.lines import overlay
from setout.geometry.lines.overlay import parts_of
from setout.model import Exclusion

NO_ELEVATION = "no_elevation"
SLOPE = "slope"
TOO_HIGH = "above_pressure"


Mapping2D = Callable[[NDArray[np.float64], NDArray[np.float64]], tuple[NDArray[np.float64], NDArray[np.float64]]]
"""Takes coordinates to another system."""
Window = tuple[int, int, int, int]
"""Rows and columns of a DEM's grid: row0, row1, col0, col1, the ends not included."""


@dataclass(frozen=True, slots=True)
class CellReason:
    """Cells taken out for one reason.

    Attributes
    ----------
    reason : code of the reason
    source : the file behind it
    packed : the cells, one bit each, over the site's window
    """

    reason: str
    source: str
    packed: cellmask.Packed


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
    tile: int = 512


def _mapped(geometry: NDArray[np.object_], mapping: Mapping2D) -> NDArray[np.object_]:
    """Take polygons to other coordinates, vertex by vertex; rings that only just touched may cross then."""

    def move(xy: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack(mapping(xy[:, 0], xy[:, 1]))

    out: NDArray[np.object_] = shapely.transform(geometry, move)
    return out


def without_cells(remaining: BaseGeometry, boundary: BaseGeometry, cells: Cells) -> tuple[list[BaseGeometry], list[list[Exclusion]]]:
    """Take cells out of the ground that remains, tile by tile, in cell coordinates."""
    whole, edge = overlay.sound(_mapped(shapely.segmentize(np.array([remaining, boundary]), 100.0), cells.to_cell))
    row0, row1, col0, col1 = cells.window
    pieces, taken = _beyond_dem(whole, edge, shapely.box(col0, row0, col1, row1), cells)
    for tile, left, land in _tiles(whole, edge, cells.window, cells.tile):
        outlines = [_outlines(reason.packed, tile, cells.window) for reason in cells.reasons]
        if land.is_empty:
            continue
        inside = land.area == (tile[1] - tile[0]) * (tile[3] - tile[2])
        drawn = _mapped(parts_of(left), cells.to_frame) if any(map(len, outlines)) else None
        for number, cell_outlines in enumerate(outlines):
            if drawn is None or not len(cell_outlines):
                continue
            before = float(shapely.area(drawn).sum())
            alone, whole_cells = (cell_outlines, len(cell_outlines)) if inside else _clipped(cell_outlines, land)
            if not left.is_empty:
                left = punched(left, cell_outlines)
                drawn = _mapped(parts_of(left), cells.to_frame)
            if len(alone):
                newly = before - float(shapely.area(drawn).sum())
                outer = _mapped(alone, cells.to_frame)
                taken[number].append(_exclusion(cells.reasons[number], outer, newly, whole_cells))
        pieces.append(_mapped(parts_of(left), cells.to_frame) if drawn is None else drawn)
    for reason, found in zip(cells.reasons, taken, strict=True):
        if not found:
            found.append(Exclusion(reason.reason, reason.source, np.nan, 0.0, 0.0, shapely.MultiPolygon()))
    return list(overlay.sound(np.concatenate(pieces))) if pieces else [], taken


def _outlines(packed: cellmask.Packed, tile: Window, window: Window) -> NDArray[np.object_]:
    """Return the outlines of the cells set in a tile, in cell coordinates."""
    top, _, left, _ = window
    here = (tile[0] - top, tile[1] - top, tile[2] - left, tile[3] - left)
    return cell_polygons(np.ascontiguousarray(cellmask.part(packed, here)), tile[0], tile[2])


def _clipped(outlines: NDArray[np.object_], land: BaseGeometry) -> tuple[NDArray[np.object_], int]:
    """Return polygons as far as they are on the land, and how many of the first are whole: only those on its edge are cut."""
    shapely.prepare(land)
    within = shapely.contains_properly(land, outlines)
    crossing = outlines[~within & shapely.intersects(land, outlines)]
    whole = int(within.sum())
    if not len(crossing):
        return outlines[within], whole
    cut = parts_of(overlay.intersection(np.asarray(shapely.multipolygons(crossing), object).item(), land, None))
    return np.concatenate([outlines[within], cut]), whole


def _exclusion(reason: CellReason, drawn: NDArray[np.object_], newly: float, whole_cells: int = 0) -> Exclusion:
    """Return one tile's ground of a reason."""
    geometry = np.asarray(shapely.multipolygons(drawn), object).item()
    alone = float(shapely.area(drawn).sum())
    return Exclusion(reason.reason, reason.source, np.nan, alone, max(newly, 0.0), geometry, whole_cells)


def _beyond_dem(
    whole: BaseGeometry, edge: BaseGeometry, window: BaseGeometry, cells: Cells
) -> tuple[list[NDArray[np.object_]], list[list[Exclusion]]]:
    """Deal with ground that the DEM does not cover: it has no elevation, and is planted only where that is allowed."""
    taken: list[list[Exclusion]] = [[] for _ in cells.reasons]
    if shapely.covers(window, whole):
        return [], taken
    beyond = _mapped(parts_of(overlay.difference(whole, window)), cells.to_frame)
    blank = [number for number, reason in enumerate(cells.reasons) if reason.reason == NO_ELEVATION]
    if not blank:
        return [beyond], taken
    alone = _mapped(parts_of(overlay.difference(edge, window)), cells.to_frame)
    if len(alone):
        taken[blank[0]].append(_exclusion(cells.reasons[blank[0]], alone, float(shapely.area(beyond).sum())))
    return [], taken


def _tiles(ground: BaseGeometry, land: BaseGeometry, window: Window, size: int) -> Iterator[tuple[Window, BaseGeometry, BaseGeometry]]:
    """Yield the tiles of a window with the ground and the land in each, cut in bands first so that each cut is small."""
    row0, row1, col0, col1 = window
    single = (row1 - row0) * (col1 - col0) <= size * size
    height, width = (row1 - row0, col1 - col0) if single else (size, size)
    for top in range(row0, row1, max(height, 1)):
        bottom = min(top + height, row1)
        band = overlay.intersection(np.array([ground, land]), shapely.box(col0, top, col1, bottom), None)
        for left in range(col0, col1, max(width, 1)):
            right = min(left + width, col1)
            part = overlay.intersection(band, shapely.box(left, top, right, bottom), None)
            yield (top, bottom, left, right), part[0], part[1]
