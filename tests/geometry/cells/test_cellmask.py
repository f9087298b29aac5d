"""Packed masks, and cells inside polygons, against plain arrays and shapely."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from setout.geometry.cells import cellmask


@given(st.integers(1, 40), st.integers(1, 70), st.integers(0, 2**32 - 1))
@settings(max_examples=60, deadline=None)
def test_bits_are_the_cells(rows, cols, seed):
    rng = np.random.default_rng(seed)
    mask = rng.random((rows, cols)) < 0.5
    packed = cellmask.pack(mask)
    np.testing.assert_array_equal(cellmask.unpack(packed, cols), mask)
    row, col = rng.integers(0, rows, 50), rng.integers(0, cols, 50)
    np.testing.assert_array_equal(cellmask.look_up(packed, row, col), mask[row, col])
    r0, r1 = sorted(rng.integers(0, rows + 1, 2))
    c0, c1 = sorted(rng.integers(0, cols + 1, 2))
    np.testing.assert_array_equal(cellmask.part(packed, (r0, r1, c0, c1)), mask[r0:r1, c0:c1])


def star(rng, parts=1):
    """A jagged polygon with a hole, or several."""
    out = []
    for k in range(parts):
        turn = np.sort(rng.uniform(0, 2 * np.pi, 14))
        reach = rng.uniform(6, 20, 14)
        centre = np.array([22.3 + 45 * k, 21.7])
        shell = shapely.Polygon(centre + np.column_stack([reach * np.cos(turn), reach * np.sin(turn)])).buffer(0)
        out.append(shell.difference(shapely.Point(centre).buffer(3.3)))
    return shapely.union_all(out)


@pytest.mark.parametrize("seed", range(8))
def test_spans_are_the_cells_whose_centre_is_inside(seed):
    rng = np.random.default_rng(seed)
    polygon = star(rng, 1 + seed % 3)
    spans = cellmask.spans_inside(polygon)
    found = np.zeros((60, 150), bool)
    for row, first, stop in zip(spans.row, spans.first, spans.stop, strict=True):
        assert not found[row, first:stop].any()
        found[row, first:stop] = True
    row, col = np.indices(found.shape)
    np.testing.assert_array_equal(found, shapely.contains_xy(polygon, col + 0.5, row + 0.5))
    assert spans.cells == found.sum()
    blank = rng.random(found.shape) < 0.3
    assert cellmask.count(cellmask.pack(blank), spans) == (blank & found).sum()
    window = (10, 33, 5, 27)
    inside = cellmask.clip(spans, window)
    assert inside.cells == found[10:33, 5:27].sum()
    moved = cellmask.Spans(inside.row - 10, inside.first - 5, inside.stop - 5)
    assert cellmask.count(cellmask.pack(blank[10:33, 5:27]), moved) == (blank & found)[10:33, 5:27].sum()


def test_many_rows_are_counted_in_groups():
    """More runs than are counted at once."""
    mask = np.random.default_rng(3).random((5000, 9)) < 0.2
    rows = np.arange(5000)
    spans = cellmask.Spans(rows, np.full(5000, 2), np.full(5000, 8))
    assert cellmask.count(cellmask.pack(mask), spans) == mask[:, 2:8].sum()


def test_sides_belong_to_one_cell_only():
    """Two polygons that share a side through cell centres share no cell, and leave none out."""
    left, right = shapely.box(0, 0, 4.5, 6), shapely.box(4.5, 0, 9, 6)
    assert cellmask.spans_inside(left).cells + cellmask.spans_inside(right).cells == 54


@pytest.mark.parametrize(("size", "tolerance"), [(1, 1e-9), (5, 0.005)])
def test_share_of_a_polygon_by_its_area(size, tolerance):
    """Against shapely's areas, exactly over few cells, to half a percent over many; part of it lies beyond the mask."""
    rng = np.random.default_rng(size)
    polygon = shapely.transform(star(rng), lambda xy: xy * size)
    packed_rows, cols = 40 * size, 33 * size
    mask = np.repeat(np.repeat(rng.random((40, 33)) < 0.3, size, axis=0), size, axis=1)
    row, col = np.nonzero(~mask)
    free = shapely.union_all(shapely.box(col, row, col + 1, row + 1))
    truth = 1 - shapely.intersection(polygon, free).area / polygon.area
    assert 0.2 < truth < 0.8
    assert cellmask.share(polygon, cellmask.pack(mask), (0, packed_rows, 0, cols)) == pytest.approx(truth, abs=tolerance)
