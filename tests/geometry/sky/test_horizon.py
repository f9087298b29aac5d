"""The terrain's horizon: a ridge by trigonometry, planes, and real ground against rays cast through it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from setout.geometry.sky.horizon import TerrainHorizon, slopes_round, terrain_horizon

HALF_A_DEGREE = 0.5


def altitude(found: TerrainHorizon, x: float, y: float, azimuth: float) -> float:
    return float(np.degrees(np.arctan(found(np.array([x]), np.array([y]), np.array([azimuth]))[0, 0])))


def test_a_ridge_by_trigonometry() -> None:
    """A straight ridge 60 m high, 450 m to the east: atan(60 cos(a) / 450) at an angle a from square, less the eye."""

    def heights(x: Any, y: Any, side: float) -> Any:
        return np.maximum(0.0, 60.0 * (1.0 - np.abs(x - 500.0) / 100.0)).astype(np.float32)

    for eye in (0.0, 2.0):
        found = terrain_horizon(heights, (0.0, 0.0, 100.0, 100.0), cell=10.0, farthest=3000.0, eye_m=eye)
        for turned in (0.0, 30.0, 45.0):
            for azimuth in (90.0 - turned, 90.0 + turned):
                by_hand = np.degrees(np.arctan((60.0 - eye) * np.cos(np.radians(turned)) / 450.0))
                assert altitude(found, 50.0, 50.0, azimuth) == pytest.approx(by_hand, abs=0.05)
        for azimuth in (0.0, 180.0, 270.0):
            assert altitude(found, 50.0, 50.0, azimuth) == 0.0


@pytest.mark.parametrize(("rise", "aspect"), [(0.1, 90.0), (0.15, 37.0), (0.3, 222.0)])
def test_a_plane_is_its_own_slope(rise: float, aspect: float) -> None:
    """Uphill along azimuth a the slope is rise x cos(a - direction of rise): on a plane to rounding, in every direction."""
    up = np.radians(aspect)

    def heights(x: Any, y: Any, side: float) -> Any:
        return rise * (x * np.sin(up) + y * np.cos(up))

    found = terrain_horizon(heights, (0.0, 0.0, 200.0, 120.0), cell=10.0, farthest=2000.0)
    for azimuth in np.arange(0.0, 360.0, 5.0):
        expected = max(rise * np.cos(np.radians(azimuth - aspect)), 0.0)
        assert np.tan(np.radians(altitude(found, 90.0, 47.0, azimuth))) == pytest.approx(expected, abs=2e-4)


def test_ground_that_is_not_known_is_not_in_the_way() -> None:
    z = np.zeros((21, 21), np.float32)
    z[:, 15:] = -1e9
    assert slopes_round(z, 8, 10.0, [90.0], (1, 7), 0.0).max() == 0.0


def brute(z: Any, row: float, col: float, azimuth: float, cell: float, eye: float, far: int, finer: int = 16) -> float:
    """Return the horizon by a ray through a bilinear surface, from one cell away in steps of a part of it; rows run north."""
    step = np.arange(finer, far * finer) / finer
    r, c = row + step * np.cos(np.radians(azimuth)), col + step * np.sin(np.radians(azimuth))
    inside = (r >= 0) & (r <= z.shape[0] - 1.001) & (c >= 0) & (c <= z.shape[1] - 1.001)
    r, c, step = r[inside], c[inside], step[inside]
    i, j = r.astype(int), c.astype(int)
    u, v = r - i, c - j
    h = z[i, j] * (1 - u) * (1 - v) + z[i, j + 1] * (1 - u) * v + z[i + 1, j] * u * (1 - v) + z[i + 1, j + 1] * u * v
    own = z[int(row), int(col)] + eye
    return max(float(np.degrees(np.arctan(np.max((h - own) / (step * cell), initial=0.0)))), 0.0)


def real_ground(kind: str, testdata: Any) -> tuple[Any, float]:
    """Return heights, rows from south to north, and the side of their cells [m]."""
    if kind == "mountains":
        from matplotlib.cbook import get_sample_data

        with get_sample_data("jacksboro_fault_dem.npz") as data:
            return data["elevation"][::-1].astype(np.float32), 80.0
    import rasterio

    with rasterio.open(testdata("momepy", "momepy/datasets/bubenec.gpkg")) as raster:
        z = raster.read(1, masked=True).filled(np.nan)[::-1].astype(np.float32)
    rows, cols = (n // 5 * 5 for n in z.shape)
    return np.nanmean(z[:rows, :cols].reshape(rows // 5, 5, cols // 5, 5), axis=(1, 3)), 5.0


@pytest.mark.realdata
@pytest.mark.parametrize(("kind", "eye"), [("mountains", 0.0), ("mountains", 5.0), ("town", 2.0)])
def test_real_ground_against_rays(kind: str, eye: float, testdata: Any) -> None:
    """The Jacksboro fault (matplotlib's sample, cells taken for squares of 80 m) and a 1 m DTM of a town quarter
    (momepy's bubenec.gpkg) as means of 5 m: within half a degree of rays cast through the same surface."""
    z, cell = real_ground(kind, testdata)
    middle = z.shape[0] // 2, z.shape[1] // 2
    size = min(z.shape) // 10

    def heights(x: Any, y: Any, side: float) -> Any:
        # coarser levels get means, as they do from a DEM
        many = max(round(side / cell), 1)
        rows, cols = z.shape[0] // many, z.shape[1] // many
        mean = np.nanmean(z[: rows * many, : cols * many].reshape(rows, many, cols, many), axis=(1, 3))
        r, c = y / (cell * many) - (many - 1) / (2 * many), x / (cell * many) - (many - 1) / (2 * many)
        i, j = np.clip(r.astype(int), 0, rows - 2), np.clip(c.astype(int), 0, cols - 2)
        u, v = r - i, c - j
        out = mean[i, j] * (1 - u) * (1 - v) + mean[i, j + 1] * (1 - u) * v + mean[i + 1, j] * u * (1 - v) + mean[i + 1, j + 1] * u * v
        return np.where((r < 0) | (c < 0) | (r > rows - 1) | (c > cols - 1), np.nan, out)

    box = (middle[1] * cell, middle[0] * cell, (middle[1] + size) * cell, (middle[0] + size) * cell)
    found = terrain_horizon(heights, box, cell=cell, farthest=max(z.shape) * cell, eye_m=eye)
    rng = np.random.default_rng(7)
    off = []
    for _ in range(60):
        row, col = (int(m + rng.integers(0, size)) for m in middle)
        for azimuth in (0.0, 45.0, 70.0, 130.0, 225.0, 300.0):
            off.append(altitude(found, col * cell, row * cell, azimuth) - brute(z, row, col, azimuth, cell, eye, max(z.shape)))
    error = np.abs(off)
    assert np.mean(error) < 0.1
    assert error.max() < HALF_A_DEGREE
