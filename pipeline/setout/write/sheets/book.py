"""All plan sheets in one PDF: index, how to set out each block, tiles, and water by zone."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from setout.draw.pen import Pen
from setout.progress import Say, each, silent
from setout.write.sheets import blocksheet, indexsheet, tilesheet, watersheet
from setout.write.sheets.backdrop import Backdrop
from setout.write.sheets.furniture import Title
from setout.write.sheets.georeference import Referenced, add_measures
from setout.write.sheets.layout import Layout, layout_of, scale_for, turned
from setout.write.sheets.tiles import Tile, tiles_of
from setout.write.sheets.treemarks import Marks, Shown

if TYPE_CHECKING:
    from collections.abc import Sequence

    from setout.model import Planting
    from setout.model.staking import StakeSet, TapePlan

WORDS: Final = 0.44
"""Share of a sheet's width that words take on index and block sheets."""


@dataclass(frozen=True, slots=True)
class Sheets:
    """What was drawn.

    Attributes
    ----------
    tiles : the tiles; each tree is one tile's own
    shown : by tile, which labels found room
    maps : pages with a georeference
    scale : of the tiles
    pages : all pages
    lacking : letters that the fonts lack, shown as a question mark
    """

    tiles: list[Tile]
    shown: list[Shown]
    maps: list[Referenced]
    scale: float
    pages: int
    lacking: frozenset[str]


@dataclass(frozen=True, slots=True)
class _Block:
    tape: TapePlan
    sheets: int


def write_sheets(path: Path, planting: Planting, stakes: StakeSet, say: Say = silent) -> Sheets:
    """Write the plan sheets."""
    paper = planting.sheets.paper_for(planting.site.units)
    plain, worded = layout_of(paper), layout_of(paper, WORDS)
    scale = scale_for(planting, plain.frame)
    tiles = tiles_of(planting, plain.frame, scale)
    turn = tiles[0].view.turn if tiles else 0.0
    north_up = Backdrop(planting, 0.0)
    backdrop = Backdrop(planting, turn) if turn else north_up
    marks = Marks.of(planting)
    pen = Pen(path, f"{planting.site.name or 'Planting plan'}: plan sheets")
    lacking = _lacking(pen, planting)
    blocks = _blocks(pen, planting, stakes.tapes, worded, marks)
    zones = watersheet.zones_of(planting)
    before = 1 + sum(b.sheets for b in blocks)
    count = before + len(tiles) + len(zones)
    uv = turned(np.column_stack([planting.trees.x, planting.trees.y]), turn)
    book = tilesheet.TileBook(planting, plain, tiles, marks, backdrop, uv, before, count)
    maps: list[Referenced] = []
    with pen.page(worded.width, worded.height, "Index"):
        listed = indexsheet.Listing(tuple(_listed(book, blocks, zones)), stakes.factor, lacking)
        indexsheet.draw_index(pen, book, worded, listed, north_up)
        maps.append(Referenced(0, indexsheet.index_view(book, worded), "Index"))
    for block in each(blocks, "block sheets", say):
        maps += _draw_block(pen, block, blocksheet.BlockPage(planting, worded, block.tape, marks, Title("", "", 0, count)), north_up)
    shown = []
    for tile in each(tiles, "tiles", say):
        with pen.page(plain.width, plain.height, f"Tile {tile.number}"):
            shown.append(tilesheet.draw_tile(pen, book, tile))
        maps.append(Referenced(pen.pages - 1, tile.view, f"Tile {tile.number}"))
    for zone in each(zones, "zones", say):
        with pen.page(worded.width, worded.height, f"Water, zone {planting.irrigation.zones[zone].name}"):  # type: ignore[union-attr]  # zones are of an irrigation
            page = watersheet.ZonePage(planting, worded, north_up, marks)
            view = watersheet.draw_zone(pen, page, zone, (pen.pages, count))
        maps.append(Referenced(pen.pages - 1, view, f"Zone {zone + 1}"))
    pen.save()
    add_measures(path, planting.site.frame, maps)
    return Sheets(tiles, shown, maps, scale, pen.pages, frozenset(pen.lacking))


def _lacking(pen: Pen, planting: Planting) -> str:
    """Return the letters of a plan's names that the sheets' font lacks."""
    site = planting.site
    pen.sayable(site.name)
    for block in site.blocks:
        pen.sayable(block.name + "".join(plant.name + plant.variety + plant.role for plant in block.plants))
    for exclusion in (*planting.usable.exclusions, *planting.usable.height_limits):
        pen.sayable(exclusion.reason)
    for name in site.water.points.name if site.water is not None else ():
        pen.sayable(name)
    return "".join(sorted(pen.lacking))


def _blocks(pen: Pen, planting: Planting, tapes: Sequence[TapePlan], layout: Layout, marks: Marks) -> list[_Block]:
    """Return how each block is set out, and how many sheets that takes."""
    out = []
    for tape in tapes:
        page = blocksheet.BlockPage(planting, layout, tape, marks, Title("", "", 0, 0))
        rest = max(0, len(tape.rows) - blocksheet.rows_beside(pen, page))
        out.append(_Block(tape, 1 + -(-rest // blocksheet.rows_room(layout, tape))))
    return out


def _draw_block(pen: Pen, block: _Block, page: blocksheet.BlockPage, backdrop: Backdrop) -> list[Referenced]:
    planting, layout = page.planting, page.layout
    name = planting.site.blocks[block.tape.block].name
    about = indexsheet.block_about(planting, block.tape.block)
    view = blocksheet.block_view(page)
    with pen.page(layout.width, layout.height, f"Block {name}"):
        title = Title(f"Block {name}", about, pen.pages, page.title.count)
        listed = blocksheet.draw_block(pen, replace(page, title=title), backdrop, view)
    maps = [Referenced(pen.pages - 1, view, f"Block {name}")]
    for _ in range(block.sheets - 1):
        with pen.page(layout.width, layout.height, f"Block {name}, rows"):
            title = Title(f"Block {name}, rows", about, pen.pages, page.title.count)
            listed += blocksheet.draw_rows(pen, replace(page, title=title), listed)
    return maps


def _listed(book: tilesheet.TileBook, blocks: list[_Block], zones: list[int]) -> list[indexsheet.Listed]:
    """List all sheets for the index."""
    planting, number = book.planting, 2
    out = [indexsheet.Listed(1, "Index", "this sheet")]
    for block in blocks:
        name = f"Block {planting.site.blocks[block.tape.block].name}, by tape"
        out.append(indexsheet.Listed(number, name, indexsheet.block_about(planting, block.tape.block)))
        number += block.sheets
    for tile in book.tiles:
        names = [planting.site.blocks[int(b)].name for b in np.unique(planting.trees.block[tile.trees])]
        about = f"block{'s' * (len(names) > 1)} {', '.join(names)}: {len(tile.trees):,} trees"
        out.append(indexsheet.Listed(number, f"Tile {tile.number}", about))
        number += 1
    for zone in zones:
        z = planting.irrigation.zones[zone]  # type: ignore[union-attr]  # zones are of an irrigation
        out.append(indexsheet.Listed(number, f"Water, zone {z.name}", f"{z.trees:,} trees"))
        number += 1
    return out
