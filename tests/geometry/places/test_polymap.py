"""Coordinates by polynomials against pyproj, point by point."""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import CRS, Transformer

from setout.geometry.places import polymap

FRAME = CRS.from_proj4("+proj=tmerc +lat_0=44 +lon_0=-122.9 +k=1.00003 +ellps=GRS80 +units=m")
BOX = (-4000.0, -3000.0, 4000.0, 3000.0)


def exact(code):
    to = Transformer.from_crs(FRAME, CRS.from_user_input(code), always_xy=True)
    return lambda x, y: tuple(np.asarray(v) for v in to.transform(x, y))


@pytest.mark.parametrize(("code", "tolerance"), [("EPSG:26910", 1e-4), ("EPSG:2269", 3e-4), ("EPSG:3857", 1e-4), ("EPSG:6318", 1e-9)])
def test_error_is_bounded(code, tolerance):
    """UTM, a state plane in feet, web Mercator and degrees (1e-9 deg is 0.1 mm)."""
    mapping = polymap.over(exact(code), BOX, tolerance)
    assert mapping.terms.size
    assert mapping.error <= tolerance
    x, y = np.random.default_rng(5).uniform([BOX[0], BOX[1]], [BOX[2], BOX[3]], (40_000, 2)).T
    for ours, truth in zip(mapping(x, y), exact(code)(x, y), strict=True):
        assert np.abs(ours - truth).max() <= mapping.error


def test_points_outside_the_box_are_exact():
    mapping = polymap.over(exact("EPSG:26910"), BOX, 1e-4)
    x, y = np.array([-9000.0, 0.0, 9000.0]), np.array([0.0, 8000.0, 9000.0])
    for ours, truth in zip(mapping(x, y), exact("EPSG:26910")(x, y), strict=True):
        np.testing.assert_array_equal(ours, truth)


def test_cells_are_exact_near_their_sides():
    """Points within the error of a cell's side still fall into the cell that pyproj says."""
    to_utm = exact("EPSG:26910")
    back = Transformer.from_crs(CRS.from_epsg(26910), FRAME, always_xy=True)
    mapping = polymap.over(to_utm, BOX, 1e-4)
    rng = np.random.default_rng(6)
    x0, y0 = to_utm(np.array(0.0), np.array(0.0))
    near = np.round(rng.uniform(-2000, 2000, (2, 30_000)) + np.array([[x0], [y0]])) + rng.uniform(-2e-4, 2e-4, (2, 30_000))
    x, y = (np.asarray(v) for v in back.transform(*near))
    row, col = polymap.cells(mapping, x, y)
    u, v = to_utm(x, y)
    np.testing.assert_array_equal(col, np.floor(u))
    np.testing.assert_array_equal(row, np.floor(v))


def test_what_is_not_finite_is_nowhere():
    row, col = polymap.cells(polymap.exactly(lambda x, y: (x + np.inf, y)), np.array([0.0]), np.array([3.5]))
    assert (row.tolist(), col.tolist()) == ([-1], [-1])


def test_a_mapping_with_holes_is_left_exact():
    def holed(x, y):
        return np.where(x > 0, x, np.inf), y

    mapping = polymap.over(holed, BOX, 1e-3)
    assert not mapping.terms.size
    assert mapping.error == 0.0
