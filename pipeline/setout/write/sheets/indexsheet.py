"""The index sheet: the property, where each tile lies, all sheets, and monuments to check a set-up by."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from setout.draw import palette
from setout.draw.pen import CAP, Ink, Pen, Type
from setout.units import show_length
from setout.words import plan
from setout.words.tape import exact
from setout.write.sheets.backdrop import Backdrop
from setout.write.sheets.furniture import LEAD, Column, Title, frame_line
from setout.write.sheets.gridticks import draw_ticks
from setout.write.sheets.layout import Layout, View
from setout.write.sheets.places import Places
from setout.write.sheets.tilesheet import TileBook, tile_corners, whole_view
from setout.write.sheets.treemarks import on_paper

if TYPE_CHECKING:
    from setout.model import Floats, Planting

FINE_TREES: Final = 30_000
"""Trees up to which the index shows each; above, rows stand for them."""


@dataclass(frozen=True, slots=True)
class Listed:
    """One sheet as the index lists it: its number, name, and what is on it."""

    number: int
    name: str
    about: str


@dataclass(frozen=True, slots=True)
class Listing:
    """All sheets, ground distance over grid distance, and the letters of the plan's names that the sheets' font lacks."""

    sheets: tuple[Listed, ...]
    factor: float
    lacking: str = ""


def index_view(book: TileBook, layout: Layout) -> View:
    """Return the view of the whole property and all tiles."""
    return whole_view(book, layout.frame)


def draw_index(pen: Pen, book: TileBook, layout: Layout, listing: Listing, backdrop: Backdrop) -> None:
    """Draw the index sheet."""
    planting, view = book.planting, index_view(book, layout)
    box = view.box
    places = Places(box)
    with pen.clipped(box.left, box.bottom, box.width, box.height):
        backdrop.draw(pen, view, rows=len(planting.trees) <= FINE_TREES)
        _trees(pen, book, view)
        _tiles(pen, book, view, places)
        _block_names(pen, planting, view, places)
        _monuments(pen, planting, view, places)
        backdrop.name_things(pen, view, places)
    draw_ticks(pen, planting.site.frame, view)
    frame_line(pen, box)
    column = Column(pen, layout)
    column.title_block(planting, Title("Index", plan.counts_line(planting), 1, book.count), view)
    column.cautions()
    column.north_and_bar(view, planting.site.units)
    column.legend(book.marks, np.unique(book.marks.code), backdrop.seen(view))
    _panel(pen, planting, layout, listing)
    if listing.lacking:
        count = len(listing.lacking)
        codes = ", ".join(f"U+{ord(letter):04X}" for letter in listing.lacking[:12])
        column.lines([f"? stands for letters that this font lacks ({count}: {codes}). Names in full: trees and lists of the packet."])


def _trees(pen: Pen, book: TileBook, view: View) -> None:
    trees = book.planting.trees
    if len(trees) > FINE_TREES:
        return
    page = view.of_frame(np.column_stack([trees.x, trees.y]))
    nearest = np.full(len(trees), 4.0) if trees.nearest_m is None else trees.nearest_m
    typical = float(np.nanmedian(nearest)) if np.isfinite(nearest).any() else 4.0
    size = min(1.0, max(0.25, 0.4 * typical * view.per_m))
    for code in np.unique(book.marks.code):
        pen.dots(page[book.marks.code == code], size, on_paper(palette.tree_colour(int(code))))


def _tiles(pen: Pen, book: TileBook, view: View, places: Places) -> None:
    corners = [view.of_frame(tile_corners(tile)) for tile in book.tiles]
    pen.paths(corners, Ink(palette.SCREEN, 0.3), close=True)
    for tile, ring in zip(book.tiles, corners, strict=True):
        room = float(min(np.hypot(*(ring[1] - ring[0])), np.hypot(*(ring[3] - ring[0]))))
        size = min(5.0, room * 0.45)
        if size < 1.4:
            continue
        words, at = str(tile.number), ring.mean(axis=0)
        wide = pen.width_of(words, size, bold=True)
        places.take(float(at[0]) - wide / 2 - 0.4, float(at[1]) - 0.4 * size - 0.3, wide + 0.8, CAP * size + 0.6)
        pen.text(float(at[0]), float(at[1]) - 0.35 * size, words, Type(size, bold=True, colour=palette.SCREEN, at="m", halo=0.6))


def block_places(planting: Planting) -> Iterator[tuple[str, Floats]]:
    """Yield the name of every block that has trees, and a place on it in the frame [m].

    The place is inside the block's largest piece of ground; where it has none of its own, such as a screen along a line,
    it is the tree in the middle.
    """
    trees = planting.trees
    for index, block in enumerate(planting.site.blocks):
        own = np.flatnonzero(trees.block == index)
        if not len(own) or not block.name:
            continue
        ground = [g for n, g in zip(planting.usable.block, planting.usable.geometry, strict=True) if n == block.name]
        parts = shapely.get_parts(shapely.get_parts(ground))
        if len(parts):
            largest = parts[int(np.argmax(shapely.area(parts)))]
            yield block.name, shapely.get_coordinates(shapely.point_on_surface(largest))[0]
        else:
            xy = np.column_stack([trees.x[own], trees.y[own]])
            yield block.name, xy[int(np.argmin(np.hypot(*(xy - xy.mean(axis=0)).T)))]


def _block_names(pen: Pen, planting: Planting, view: View, places: Places) -> None:
    """Write the name of each block in its middle, or beside where a tile's number stands."""
    for name, place in block_places(planting):
        at = view.of_frame(place[None])[0]
        kind = Type(3.4, bold=True, halo=0.7)
        words = pen.cut(name, kind.size, 40, bold=True)
        wide, tall = pen.width_of(words, kind.size, bold=True), CAP * kind.size
        for dx, dy in ((0, 0), (0, 5), (0, -5), (6, 0), (-6, 0), (6, 5), (-6, -5)):
            x, y = float(at[0]) + dx - wide / 2, float(at[1]) + dy - tall / 2
            if places.take(x - 0.7, y - 0.7, wide + 1.4, tall + 1.4):
                pen.text(x, y, words, kind)
                break


def _monuments(pen: Pen, planting: Planting, view: View, places: Places) -> None:
    spots = view.of_frame(planting.site.monuments) if len(planting.site.monuments) else np.empty((0, 2))
    pen.stamps(spots, ((-1.1, -0.9), (1.1, -0.9), (0, 1.4)), Ink(palette.INK, 0.3, "#ffffff"))
    for n, at in enumerate(spots, 1):
        words, size = f"BM{n}", 2.1
        wide, tall = pen.width_of(words, size, bold=True), CAP * size
        for dx, dy in ((1.8, 1.0), (-1.8 - wide, 1.0), (1.8, -1.0 - tall), (-1.8 - wide, -1.0 - tall)):
            if places.take(at[0] + dx - 0.2, at[1] + dy - 0.2, wide + 0.4, tall + 0.4):
                pen.text(at[0] + dx, at[1] + dy, words, Type(size, bold=True, halo=0.4))
                break


def _panel(pen: Pen, planting: Planting, layout: Layout, listing: Listing) -> None:
    """Write the list of sheets and the monuments, in two parts of the panel."""
    box, size, sheets = layout.panel, layout.type_mm, list(listing.sheets)
    y = box.top - 1.3 * size
    pen.text(box.left, y, "Sheets", Type(size * 1.5, bold=True))
    monuments = _monument_lines(planting)
    room = box.height - 2 * size - (min(len(monuments), 14) + 7) * LEAD * size
    deep = max(3, int(room / (LEAD * size)))
    columns = max(1, min(3, math.ceil(len(sheets) / deep)))
    wide = box.width / columns
    shown = sheets[: deep * columns]
    if len(shown) < len(sheets):
        shown = [*sheets[: deep * columns - 1], Listed(sheets[-1].number, "to the last", f"{len(sheets) - deep * columns + 1} more")]
    per = math.ceil(len(shown) / columns)
    for n, sheet in enumerate(shown):
        x, line = box.left + n // per * wide, y - (n % per + 1) * LEAD * size - 0.8
        pen.text(x + 5.0, line, str(sheet.number), Type(size, bold=True, at="r"))
        name = pen.cut(sheet.name, size, wide - 8)
        pen.text(x + 6.5, line, name, Type(size))
        rest = wide - 9 - pen.width_of(name, size)
        if rest > 12:
            pen.text(x + 8 + pen.width_of(name, size), line, pen.cut(sheet.about, size, rest), Type(size, colour=palette.MUTED))
    y -= (per + 2.2) * LEAD * size
    _write_monuments(pen, listing.factor, layout, y, monuments)


def _write_monuments(pen: Pen, factor: float, layout: Layout, y: float, monuments: list[tuple[str, ...]]) -> None:
    box, size = layout.panel, layout.type_mm
    if not monuments:
        return
    pen.text(box.left, y, "Check your set-up before the first stake", Type(size * 1.5, bold=True))
    words = (
        f"Occupy or tape between two boundary corners; distances are level ground distances. Ground = grid x {factor:.8f}"
        f" ({(factor - 1) * 1e6:+.1f} ppm). Corners are those of the survey file, not a legal boundary survey."
    )
    for line in pen.wrapped(words, size, box.width):
        y -= LEAD * size
        pen.text(box.left, y, line, Type(size, colour=palette.MUTED))
    heads = ("", "northing", "easting", "to the next")
    stops = [box.left + box.width * k for k in (0.0, 0.38, 0.68, 1.0)]
    y -= LEAD * size * 1.3
    for stop, head in zip(stops, heads, strict=True):
        pen.text(stop, y, head, Type(size * 0.92, colour=palette.MUTED, at="r"))
    room = int((y - box.bottom - 2 * size) / (LEAD * size))
    for cells in monuments[: max(room, 0)]:
        y -= LEAD * size
        for n, (stop, cell) in enumerate(zip(stops, cells, strict=True)):
            pen.text(stop, y, cell, Type(size, bold=n == 0, at="r" if n else "l"))
    if len(monuments) > room:
        pen.text(box.left, y - LEAD * size, f"and {len(monuments) - room} more: stakeout.csv", Type(size, colour=palette.MUTED))


def _monument_lines(planting: Planting) -> list[tuple[str, ...]]:
    spots, frame = planting.site.monuments, planting.site.frame
    if not len(spots):
        return []
    east, north = frame.to(frame.plane_crs, spots[:, 0], spots[:, 1])
    after = np.roll(spots, -1, axis=0)
    apart = np.hypot(*(after - spots).T)
    decimals = 3
    units = planting.site.units
    return [
        (f"BM{n}", f"{no:,.{decimals}f}", f"{ea:,.{decimals}f}", exact(float(d), units))
        for n, (ea, no, d) in enumerate(zip(east.tolist(), north.tolist(), apart.tolist(), strict=True), 1)
    ]


def block_about(planting: Planting, block: int) -> str:
    """Sum up a block in a few words."""
    line = plan.block_lines(planting)[block]
    step, rows = (show_length(v, planting.site.units) for v in (line.step_m, line.row_distance_m))
    return f"{line.trees:,} trees in {line.rows} row{'s' * (line.rows != 1)}, {step} by {rows}"
