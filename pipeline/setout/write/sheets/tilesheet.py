"""The sheets that trees are staked from: tiles true to scale."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from setout.draw import palette
from setout.draw.pen import Ink, Pen, Type
from setout.geometry.places.nearby import Bins, bins_of, in_boxes
from setout.write.sheets import treemarks
from setout.write.sheets.backdrop import Backdrop, lines_on
from setout.write.sheets.furniture import Column, Title, frame_line
from setout.write.sheets.gridticks import draw_ticks
from setout.write.sheets.layout import Box, Layout, View, fitting
from setout.write.sheets.places import Places
from setout.write.sheets.tiles import Tile

if TYPE_CHECKING:
    from scipy.spatial import cKDTree

    from setout.model import Ints, Planting

MATCH: Final = Ink("#7d8a84", 0.2, dash=(0.6, 1.6))


MOST_KEYED: Final = 150
"""Tiles drawn in the key of one of them: of more, those that lie nearest."""
BINS: Final = 4.0
"""Trees and posts are looked up in squares of so many to a tile's width."""


@dataclass(frozen=True)
class TileBook:
    """What all tiles of a plan share.

    Attributes
    ----------
    planting : the plan
    layout : of a tile's sheet
    tiles : all of them
    marks : looks of the plants
    backdrop : what lies under the trees, turned as the tiles are
    uv : places of all trees in turned coordinates [m]
    first : number of the first tile's sheet less one
    count : all sheets
    """

    planting: Planting
    layout: Layout
    tiles: list[Tile]
    marks: treemarks.Marks
    backdrop: Backdrop
    uv: NDArray[np.float64]
    first: int
    count: int

    @cached_property
    def _bins(self) -> Bins:
        """Return the trees in turned coordinates, by square."""
        low_u, low_v, high_u, high_v = self.tiles[0].view.extent()
        return bins_of(self.uv[:, 0], self.uv[:, 1], max(high_u - low_u, high_v - low_v) / BINS)

    def trees_on(self, view: View) -> Ints:
        """Return the trees that a view shows, ascending."""
        u0, v0, u1, v1 = view.extent()
        near = np.sort(in_boxes(self._bins, np.array([[u0, v0, u1, v1]]))[1])
        u, v = self.uv[near].T
        shown: Ints = near[(u > u0) & (u < u1) & (v > v0) & (v < v1)]
        return shown

    @cached_property
    def key(self) -> Key:
        """Return where all tiles lie, as small as the column at a sheet's side is wide."""
        wide = self.layout.column.width
        box = Box(self.layout.column.left, 0.0, wide, min(wide * 0.62, 34.0))
        ground = np.array([_corners(tile) for tile in self.tiles])
        view = fitting(box, ground.reshape(-1, 2), self.tiles[0].view.turn)
        return Key(box, lines_on(view, self.backdrop.outline(), 0.1), np.array([view.of_frame(ring) for ring in ground]))


@dataclass(frozen=True)
class Key:
    """A small map of all tiles, its frame standing at the foot of the paper.

    Attributes
    ----------
    box : its frame [mm]
    outline : the property on it [mm]
    corners : (tiles, 4, 2) of every tile's own ground [mm]
    """

    box: Box
    outline: list[NDArray[np.float64]]
    corners: NDArray[np.float64]

    @cached_property
    def _middles(self) -> cKDTree:
        from scipy.spatial import cKDTree

        return cKDTree(self.corners.mean(axis=1))

    def near(self, place: int) -> list[int]:
        """Return the tiles drawn in the key of one: all, or of very many those nearest to it, in order."""
        if len(self.corners) <= MOST_KEYED:
            return list(range(len(self.corners)))
        return sorted(self._middles.query(self.corners[place].mean(axis=0), MOST_KEYED)[1].tolist())


def draw_tile(pen: Pen, book: TileBook, tile: Tile) -> treemarks.Shown:
    """Draw one tile's sheet."""
    view, box, planting = tile.view, tile.view.box, book.planting
    page = view.page(book.uv[tile.trees])
    places = Places(box)
    with pen.clipped(box.left, box.bottom, box.width, box.height):
        book.backdrop.draw(pen, view)
        treemarks.draw_elsewhere(pen, tile, book.uv, book.trees_on(view))
        _match_lines(pen, book, tile, places)
        treemarks.draw_trees(pen, book.marks, tile, page)
        places.take_points(book.backdrop.posts_on(view), 0.4)
        shown = treemarks.draw_labels(pen, planting, tile, page, places, book.backdrop.heavy(view))
        unnamed = book.backdrop.name_things(pen, view, places)
    draw_ticks(pen, planting.site.frame, view)
    frame_line(pen, box)
    column = Column(pen, book.layout)
    blocks = [planting.site.blocks[int(b)].name for b in np.unique(planting.trees.block[tile.trees])]
    about = f"Block{'' if len(blocks) == 1 else 's'} {', '.join(blocks)}: {len(tile.trees):,} trees"
    column.title_block(planting, Title(f"Tile {tile.number}", about, book.first + tile.number, book.count), view)
    column.cautions()
    column.north_and_bar(view, planting.site.units)
    _key(column, book, tile)
    _said(column, shown, unnamed)
    column.legend(book.marks, np.unique(book.marks.code[tile.trees]), book.backdrop.seen(view), tiles=any(tile.beside))
    return shown


def _match_lines(pen: Pen, book: TileBook, tile: Tile, places: Places) -> None:
    """Draw where this sheet's own ground ends, and say which sheet goes on there."""
    core, box = tile.core, tile.view.box
    left, right, below, above = tile.beside
    sides = (
        (left, (core.left, box.bottom, core.left, box.top), (box.left + 2.9, core.bottom + core.height / 2), 90.0),
        (right, (core.right, box.bottom, core.right, box.top), (box.right - 1.4, core.bottom + core.height / 2), 90.0),
        (below, (box.left, core.bottom, box.right, core.bottom), (core.left + core.width / 2, box.bottom + 1.4), 0.0),
        (above, (box.left, core.top, box.right, core.top), (core.left + core.width / 2, box.top - 2.9), 0.0),
    )
    for other, line, at, angle in sides:
        if not other:
            continue
        pen.line(*line, MATCH)
        words = f"goes on at tile {other}, sheet {book.first + other}"
        wide = pen.width_of(words, 2.3, bold=True)
        x, y = (at[0] - 1.8, at[1] - wide / 2) if angle else (at[0] - wide / 2, at[1] - 0.2)
        places.take(x, y, *((2.2, wide) if angle else (wide, 2.2)))
        pen.text(*at, words, Type(2.3, bold=True, colour="#5f6d67", at="m", angle=angle, halo=0.6))


def _key(column: Column, book: TileBook, tile: Tile) -> None:
    """Draw where the tile lies among the others."""
    column.heading("Where this tile lies")
    key, pen, own = book.key, column.pen, tile.number - 1
    box, up = key.box, np.array([0.0, column.y - key.box.height - 1])
    near = key.near(own)
    with pen.clipped(box.left, float(up[1]), box.width, box.height):
        pen.paths([line + up for line in key.outline], Ink("#8a938c", 0.2), close=True)
        pen.paths([key.corners[own] + up], Ink(palette.SCREEN, 0.35, "#d5e6d3"), close=True)
        pen.paths(list(key.corners[near] + up), Ink("#6a756e", 0.15), close=True)
        room = float(np.ptp(key.corners[own][:, 0]))
        for other in near if room > 5 else [own]:
            x, y = key.corners[other].mean(axis=0) + up
            kind = Type(2.1, bold=other == own, at="m", halo=0.3)
            pen.text(float(x), float(y) - 0.75, str(book.tiles[other].number), kind)
    column.y -= box.height + 2.2


def _corners(tile: Tile) -> NDArray[np.float64]:
    """Return the corners of a tile's own ground, in the frame [m]."""
    c, view = tile.core, tile.view
    page = np.array([[c.left, c.bottom], [c.right, c.bottom], [c.right, c.top], [c.left, c.top]])
    return view.to_frame(page)


def tile_corners(tile: Tile) -> NDArray[np.float64]:
    """Return the corners of a tile's own ground, in the frame [m]."""
    return _corners(tile)


def _said(column: Column, shown: treemarks.Shown, unnamed: int) -> None:
    """Say how trees are numbered here, and what found no room."""
    column.heading("Numbers")
    thin = [f"every {_nth(k)} of block {name}" for name, k in shown.every.items() if k > 1]
    words = ["Row name (block-row) at the row's ends; beside a tree its number in the row. Together they are its id."]
    if thin:
        words.append(f"Numbered here: row ends and {', '.join(thin)}; count between them.")
    left = []
    if shown.numbers_left:
        left.append(f"{shown.numbers_left} tree number{'s' * (shown.numbers_left > 1)}")
    if shown.names_left:
        left.append(f"{shown.names_left} row name{'s' * (shown.names_left > 1)}")
    if unnamed:
        left.append(f"{unnamed} other name{'s' * (unnamed > 1)}")
    words.append(f"Left out for want of room: {', '.join(left) if left else 'none'}.")
    column.lines(words)


def _nth(k: int) -> str:
    return {2: "2nd"}.get(k, f"{k}th")


def whole_view(book: TileBook, box: Box) -> View:
    """Return a view of all tiles and the property."""
    corners = np.concatenate([_corners(t) for t in book.tiles])
    return fitting(box, corners, 0.0, book.planting.site.units)
