"""Columns and geometry by the slice; shapely's own WKB is the oracle for what is packed with numpy."""

from __future__ import annotations

import nanoarrow as na
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from setout.errors import SetoutError
from setout.layers import Column
from setout.layers.columns import ROWS, Chunked, Coded, Points, Segments, Shapes, WalkIds, multipolygons, several
from setout.write.geopackage import writer

FINITE = st.floats(-1e9, 1e9).map(lambda value: value + 0.0)  # a zero is written with either sign, which means the same


def bodies(geometry, rows):
    """Return the well-known binary of each geometry, None where there is none."""
    data, ends, present, _ = geometry.wkb(slice(0, rows))
    whole = data.tobytes()
    return [
        whole[a:b] if present is None or present[k] else None
        for k, (a, b) in enumerate(zip(ends[:-1].tolist(), ends[1:].tolist(), strict=True))
    ]


@given(st.lists(st.tuples(FINITE, FINITE, st.one_of(FINITE, st.just(float("nan")))), min_size=1, max_size=30))
def test_points_are_what_shapely_writes(rows):
    x, y, z = np.array(rows).T
    expected = [shapely.Point(a, b) if np.isnan(c) else shapely.Point(a, b, c) for a, b, c in rows]
    assert bodies(Points(x, y, z), len(rows)) == list(shapely.to_wkb(np.array(expected, object), byte_order=1, flavor="iso"))
    assert Points(x, y, z).wkb(slice(0, len(rows)))[3] == bool(np.isnan(z).any())


@given(st.lists(st.tuples(FINITE, FINITE, FINITE, FINITE), min_size=1, max_size=30))
def test_segments_are_what_shapely_writes(rows):
    lines = np.array([shapely.LineString([row[:2], row[2:]]) for row in rows], object)
    expected = list(shapely.to_wkb(lines, byte_order=1, flavor="iso"))
    assert bodies(Segments(*np.array(rows).T), len(rows)) == expected
    assert bodies(Shapes(lines), len(rows)) == expected


def test_shapes_lose_z_and_empty_ones_are_null():
    shapes = np.array([shapely.Point(1, 2, 3), shapely.Polygon(), None, shapely.Point()], object)
    found = bodies(Shapes(shapes), 4)
    assert found[1:] == [None, None, None]
    assert shapely.from_wkb(found[0]).wkt == "POINT (1 2)"
    assert shapes[1] is not None  # what was given is not changed


def test_shapes_that_are_not_finite_are_refused():
    line = shapely.linestrings([[0, 0], [np.inf, 1]])
    with pytest.raises(SetoutError, match="not finite"):
        Shapes(np.array([line], object)).wkb(slice(0, 1))


def test_multipolygons_keep_every_area_and_nothing_else():
    square = shapely.box(0, 0, 1, 1)
    inner = shapely.GeometryCollection([shapely.box(2, 0, 3, 1), shapely.LineString([(0, 0), (5, 5)])])
    mixed = shapely.GeometryCollection([square, inner, shapely.Point(0, 0)])
    shapes = np.array([square, None, mixed, shapely.LineString([(0, 0), (1, 1)]), shapely.MultiPolygon([square])], object)
    made = multipolygons(shapes)
    assert [None if g is None else (g.geom_type, g.area) for g in made] == [
        ("MultiPolygon", 1.0),
        None,
        ("MultiPolygon", 2.0),
        None,
        ("MultiPolygon", 1.0),
    ]
    assert multipolygons(np.array([None, None], object)).tolist() == [None, None]


def test_columns_of_one_computation_are_computed_once_a_slice():
    calls = []

    def make(part):
        calls.append(part)
        return {"a": np.arange(part.start, part.stop), "b": -np.arange(part.start, part.stop)}

    columns = several(10, ("a", "b"), make)
    for part in (slice(0, 4), slice(4, 10)):
        assert (columns["a"][part] == -columns["b"][part]).all()
    assert calls == [slice(0, 4), slice(4, 10)]
    assert isinstance(columns["a"], Chunked)
    assert len(columns["a"]) == 10


def test_ids_are_as_wide_as_the_greatest_number_of_their_block_in_all_chunks():
    n = ROWS + 10
    codes = np.zeros(n, np.int8)
    codes[-1] = 1
    position = np.arange(1, n + 1)
    ids = WalkIds(("A", "B"), codes, np.ones(n, np.int32), position)
    assert ids[0:2].tolist() == ["A-1-00001", "A-1-00002"]
    assert ids[n - 2 : n].tolist() == ["A-1-50009", "B-1-50010"]
    assert len(set(ids[0:n].tolist())) == n


def test_codes_below_zero_are_null():
    assert Coded(("x",), np.array([0, -1, -5]))[0:3].tolist() == ["x", "", ""]


@pytest.mark.parametrize(
    ("kind", "values", "expected"),
    [
        ("text", np.array(["a", "", None], object), ["a", None, None]),
        ("text", np.array(["a", ""]), ["a", None]),
        ("real", np.array([1, 2]), [1.0, 2.0]),
        ("real", np.array([1.5, np.nan, np.inf, -np.inf], np.float32), [1.5, None, None, None]),
        ("int", np.array([3.0, np.nan]), [3, None]),
        ("int", np.array([2**40, -1]), [2**40, -1]),
        ("bool", np.array([True, False]), [True, False]),
        ("bool", np.array([1.0, 0.0, np.nan]), [True, False, None]),
        ("real", None, [None, None]),
        ("text", None, [None, None]),
    ],
)
def test_values_as_arrow_takes_them(kind, values, expected):
    rows = slice(0, len(expected))
    found = na.Array(writer._column(Column("c", kind, "", ""), values, rows)[0]).to_pylist()
    assert found == expected
    assert [type(v) for v in found] == [type(v) for v in expected]
