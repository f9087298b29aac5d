"""What the picture and the sheets look at grows with the plan, not with its square: geometry looked at is counted, not time."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from shapely.geometry.base import BaseGeometry

from setout.model import Rows, Trees
from setout.write.report import picture
from setout.write.sheets import backdrop, tilesheet, treemarks
from setout.write.sheets.backdrop import Backdrop
from setout.write.sheets.furniture import Column
from setout.write.sheets.layout import layout_of, turned
from setout.write.sheets.tiles import tiles_of
from write.sample_planting import planting


def square(side: int) -> Any:
    """Return a plan of side x side trees 5 m apart, with a small piece of usable ground at every tree."""
    plan = planting()
    row, place = np.divmod(np.arange(side * side), side)
    x, y, zero = row * 5.0, place * 5.0, np.zeros(side * side, np.int32)
    trees = Trees(zero, (row + 1).astype(np.int32), (place + 1).astype(np.int32), x, y, zero)
    n = np.arange(side)
    rows = Rows(0 * n, n + 1, n * 5.0, n * 0.0, n * 5.0, n * 0.0 + 5.0 * (side - 1), 0 * n + side, 0.0 * n)
    ids = np.array([f"A-{r + 1}-{p + 1}" for r, p in zip(row.tolist(), place.tolist(), strict=True)], object)
    site = replace(plan.site, boundary=shapely.box(-5, -5, 5 * side, 5 * side), blocks=plan.site.blocks[:1], water=None)
    # one piece is ten times as large as the others, so that it alone is named
    pieces = shapely.box(x, y, x + 1 + 9.0 * (np.arange(side * side) == 0), y + 1)
    usable = replace(plan.usable, block=(site.blocks[0].name,) * len(pieces), geometry=pieces, exclusions=(), height_limits=())
    trees = replace(trees, tree_id=ids, nearest_m=np.full(side * side, 5.0))
    return replace(plan, site=site, trees=trees, rows=rows, usable=usable, findings=(), irrigation=None, reach=None)


def test_the_picture_looks_at_every_piece_a_few_times(monkeypatch: pytest.MonkeyPatch) -> None:
    looked = 0
    area = BaseGeometry.area.fget

    def counted(self: BaseGeometry) -> float:
        nonlocal looked
        looked += 1
        return float(area(self))

    monkeypatch.setattr(BaseGeometry, "area", property(counted))
    counts = []
    for side in (10, 20):
        looked = 0
        svg = picture.plan_picture(square(side))
        assert svg.count(f">{planting().site.blocks[0].name}</text>") == 1
        counts.append(looked)
    assert counts[1] <= 4.4 * counts[0]
    assert counts[1] < 5 * 400


def book_of(side: int, scale: float) -> tilesheet.TileBook:
    plan = square(side)
    layout = layout_of(plan.sheets.paper_for(plan.site.units))
    tiles = tiles_of(plan, layout.frame, scale)
    turn = tiles[0].view.turn
    uv = turned(np.column_stack([plan.trees.x, plan.trees.y]), turn)
    return tilesheet.TileBook(plan, layout, tiles, treemarks.Marks.of(plan), Backdrop(plan, turn), uv, 1, len(tiles) + 1)


class Counter:
    """A pen that draws nothing and counts the points that it is given."""

    def __init__(self) -> None:
        self.points = 0

    def paths(self, lines: Any, *_: Any, **__: Any) -> None:
        self.points += sum(len(line) for line in lines)

    def clipped(self, *_: Any) -> Any:
        from contextlib import nullcontext

        return nullcontext()

    def __getattr__(self, _: str) -> Any:
        return lambda *_, **__: 0.0


def test_keys_of_many_tiles_draw_those_around() -> None:
    drawn = []
    for side in (40, 80):
        book = book_of(side, 50.0)
        pen = Counter()
        for tile in book.tiles:
            column = Column(pen, book.layout)  # type: ignore[arg-type]
            tilesheet._key(column, book, tile)
            near = book.key.near(tile.number - 1)
            assert tile.number - 1 in near
            assert {n - 1 for n in tile.beside if n} <= set(near)
        drawn.append((len(book.tiles), pen.points))
    (few, before), (many, after) = drawn
    assert many > 3 * few > 3 * tilesheet.MOST_KEYED
    assert after / before < 1.1 * many / few


def test_each_tile_looks_at_the_trees_it_shows() -> None:
    for side in (40, 80):
        book = book_of(side, 100.0)
        looked = 0
        for tile in book.tiles:
            u0, v0, u1, v1 = tile.view.extent()
            u, v = book.uv.T
            near = book.trees_on(tile.view)
            np.testing.assert_array_equal(near, np.flatnonzero((u > u0) & (u < u1) & (v > v0) & (v < v1)))
            looked += len(near)
        assert len(book.tiles) > 20
        assert looked < 3 * len(book.uv)


def test_the_bearing_of_a_row_is_found_among_many() -> None:
    rows = replace(square(9).rows, bearing_deg=np.array([np.nan, *range(8)], float))
    assert [treemarks._bearing(rows, 0, row) for row in (1, 2, 9, 10)] == pytest.approx([0.0, 0.0, np.radians(7), 0.0])
    assert treemarks._bearing(rows, 3, 1) == 0.0


def test_large_ground_is_cut_band_by_band() -> None:
    """One polygon with thousands of holes: points cut in all, per point and tile, fall as tiles grow; what is shown is the same."""
    shares = []
    for side in (40, 80):
        book = book_of(side, 100.0)
        middles = np.stack(np.meshgrid(np.arange(side) * 5.0, np.arange(side) * 5.0), axis=-1).reshape(-1, 2) + 2.0
        ring = np.column_stack([np.cos(np.arange(16) * np.pi / 8), np.sin(np.arange(16) * np.pi / 8)])
        whole = shapely.Polygon([(-5, -5), (5 * side, -5), (5 * side, 5 * side), (-5, 5 * side)], [m + ring for m in middles])
        parts = backdrop._Parts(whole, book.tiles[0].view.turn)
        assert parts.large
        given: list[int] = []
        cut = backdrop._cut

        def counted(shapes: Any, extent: Any, given: list[int] = given, cut: Any = cut) -> Any:
            given.append(int(shapely.get_num_coordinates(shapes).sum()))
            return cut(shapes, extent)

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(backdrop, "_cut", counted)
            for tile in book.tiles:
                extent = tile.view.extent()
                shown = parts.within(extent)
                area = shapely.area(shapely.intersection(parts.parts[0], shapely.box(*extent)))
                assert shapely.area(shown).sum() == pytest.approx(float(area))
        shares.append(sum(given) / (len(book.tiles) * shapely.get_num_coordinates(whole)))
    assert shares[1] < 0.6 * shares[0] < 0.3
