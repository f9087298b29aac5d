"""Punching patches out of an area gives what the overlay of GEOS gives."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy.ndimage import gaussian_filter

from setout.geometry.cells.celltrace import cell_polygons
from setout.geometry.cells.punch import punched


@pytest.mark.parametrize("seed", range(30))
def test_the_same_as_an_overlay(seed: int) -> None:
    rng = np.random.default_rng(seed)
    noise = gaussian_filter(rng.random((70, 80)), rng.uniform(0.4, 2.0))
    patches = cell_polygons(noise > np.quantile(noise, rng.uniform(0.5, 0.95)))
    angle = np.sort(rng.uniform(0, 2 * np.pi, 12))
    area = shapely.Polygon(np.column_stack([40 + 38 * np.cos(angle), 35 + 33 * np.sin(angle)])).buffer(0)
    area = area.difference(shapely.box(30, 30, 37, 39)).difference(shapely.box(50.5, -5, 53.2, 90))
    ours = punched(area, patches)
    overlay = shapely.difference(area, shapely.multipolygons(patches))
    assert shapely.is_valid(ours), shapely.is_valid_reason(ours)
    assert ours.area == pytest.approx(overlay.area, abs=1e-6)
    assert shapely.symmetric_difference(ours, overlay).area < 1e-6
    assert len(shapely.get_parts(ours)) == len(shapely.get_parts(overlay))


def test_ground_inside_a_patch_is_ground_again() -> None:
    ring = shapely.box(2, 2, 8, 8).difference(shapely.box(4, 4, 6, 6))
    ours = punched(shapely.box(0, 0, 10, 10), np.array([ring]))
    assert ours.area == 100 - 32
    assert len(shapely.get_parts(ours)) == 2


def test_nothing_to_take_leaves_the_area() -> None:
    area = shapely.box(0, 0, 1, 1)
    assert punched(area, np.empty(0, object)) is area
