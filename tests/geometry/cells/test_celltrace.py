"""Outlines of cells against the polygoniser of GDAL (rasterio.features.shapes, 4-connected)."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from rasterio.features import shapes
from scipy.ndimage import gaussian_filter
from shapely.geometry import shape

from setout.geometry.cells.celltrace import cell_polygons


def gdal_polygons(mask: np.ndarray) -> list[shapely.Geometry]:
    found = shapes(mask.astype(np.uint8), mask=mask, connectivity=4)
    return [shapely.normalize(shape(polygon)) for polygon, _ in found]


@pytest.mark.parametrize("seed", range(40))
def test_the_same_polygons_as_gdal(seed: int) -> None:
    rng = np.random.default_rng(seed)
    noise = rng.random((rng.integers(1, 60), rng.integers(1, 60)))
    mask = noise > rng.uniform(0.1, 0.9) if seed % 2 else gaussian_filter(noise, 1.2) > 0.5
    ours = cell_polygons(mask)
    assert shapely.is_valid(ours).all()
    key = lambda p: p.wkt  # noqa: E731
    assert sorted(map(key, map(shapely.normalize, ours))) == sorted(map(key, gdal_polygons(mask)))
    assert shapely.area(ours).sum() == mask.sum()
    if len(ours):
        assert shapely.is_valid(shapely.multipolygons(ours))


@pytest.mark.parametrize(
    "rows", [["##", "##"], ["#.", ".#"], [".#", "#."], ["###", "#.#", "###"], ["#.#", ".#.", "#.#"], ["####", "#.##", "##.#", "####"]]
)
def test_small_cases(rows: list[str]) -> None:
    mask = np.array([[cell == "#" for cell in row] for row in rows])
    assert {shapely.normalize(p).wkt for p in cell_polygons(mask)} == {p.wkt for p in gdal_polygons(mask)}


def test_coordinates_are_those_of_the_whole_grid() -> None:
    mask = np.zeros((6, 9), bool)
    mask[3:5, 4:8] = True
    assert shapely.equals(cell_polygons(mask, 100, 200)[0], shapely.box(204, 103, 208, 105))


def test_nothing_set_gives_nothing() -> None:
    assert not len(cell_polygons(np.zeros((4, 4), bool)))
