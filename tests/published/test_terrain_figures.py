"""Printed slopes, aspects, hillshades and distances.

The 3 by 3 grids are the worked examples of the slope, aspect and hillshade help pages of a GIS (Horn, Proc. IEEE 69
(1981) 14-47, computed there by hand); the rest is geometry. All grids were also run through gdaldem.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely

from dem_in_memory import Memory, grades, site_on, survey
from setout.geometry.cells import relief
from setout.stages import terrain
from setout.units import quantity

SLOPE = np.array([[50, 45, 50], [30, 30, 30], [8, 10, 10]], np.float32)
ASPECT = np.array([[101, 92, 85], [101, 92, 85], [101, 91, 84]], np.float32)
SHADE = np.array([[2450, 2461, 2483], [2452, 2461, 2483], [2447, 2455, 2477]], np.float32)


def middle(z, cell):
    return tuple(float(part[1, 1]) for part in grades(z, cell, cell))


def test_slope_example():
    """Worked example of slope, cells of 5: 380.03 %, 75.2577 deg; aspect of the same grid 180.754 deg."""
    dzdx, dzdy = middle(SLOPE, 5.0)
    assert (dzdx, dzdy) == pytest.approx((0.05, -3.8), abs=1e-6)
    steepness = relief.slope(np.float64(dzdx), np.float64(dzdy))
    assert 100 * steepness == pytest.approx(380.03, abs=1e-2)
    assert np.degrees(np.arctan(steepness)) == pytest.approx(75.2577, abs=1e-3)
    # the page draws rows downwards as y upwards; descent is towards the south
    assert float(relief.aspect(np.float64(dzdx), np.float64(dzdy))) == pytest.approx(180.754, abs=1e-3)


@pytest.mark.parametrize(("z", "cell", "percent", "towards"), [(SLOPE, 5.0, 380.03, 180.754), (ASPECT, 1.0, 813.365, 92.64)])
def test_examples_at_a_point(z, cell, percent, towards):
    """The same two grids as a tree in the middle cell gets them: 813.365 is the root of 8.125^2 + 0.375^2, by hand."""
    elevations = Memory(z, (cell, 0.0, 500000.0, 0.0, -cell, 4400000.0))
    site = site_on(elevations, (0, 3), (0, 3))
    ground = survey(site, elevations, max_slope=np.inf)
    x, y = site.frame.of(elevations.grid.crs, *elevations.grid.corner(np.array([1.5]), np.array([1.5])))
    _, slope, aspect = terrain.sample(ground, x, y)
    assert slope[0] == pytest.approx(percent, abs=1e-2)
    assert aspect[0] == pytest.approx(towards, abs=0.01)


def test_aspect_example():
    """Worked example of aspect, differences not divided by the cell: -8.125, -0.375; 92.64 deg."""
    dzdx, dzdy = middle(ASPECT, 1.0)
    assert (dzdx, dzdy) == pytest.approx((-8.125, -0.375), abs=1e-6)
    assert float(relief.aspect(np.float64(dzdx), np.float64(dzdy))) == pytest.approx(92.64, abs=0.01)


def test_hillshade_example():
    """Worked example of hillshade, cells of 5, light from 315 deg at 45 deg: 154 (154.03 before rounding)."""
    dzdx, dzdy = grades(SHADE, 5.0, 5.0)
    assert int(relief.hillshade(dzdx, dzdy, 315.0, 45.0)[1, 1]) == pytest.approx(154, abs=1)


def test_plane():
    """A plane rising 0.10 towards east and 0.05 towards south: 11.180 %, 6.379 deg, falling towards 296.565 deg."""
    z = np.add.outer(0.05 * np.arange(9), 0.10 * np.arange(9)).astype(np.float32)
    dzdx, dzdy = (part.astype(float) for part in grades(z, 1.0, 1.0))
    steepness = relief.slope(dzdx, dzdy)
    inner = np.s_[1:-1, 1:-1]
    np.testing.assert_allclose(100 * steepness[inner], 11.180, atol=1e-3)
    np.testing.assert_allclose(np.degrees(np.arctan(steepness))[inner], 6.379, atol=1e-3)
    np.testing.assert_allclose(relief.aspect(dzdx, dzdy)[inner], 296.565, atol=1e-3)


@pytest.mark.parametrize(("percent", "degrees"), [(5, 2.862), (10, 5.711), (15, 8.531), (20, 11.310), (25, 14.036), (100, 45.0)])
def test_percent_to_degrees(percent, degrees):
    """Arc tangent, through the slope of a plane."""
    z = np.add.outer(np.zeros(3), percent / 100 * np.arange(3)).astype(np.float32)
    dzdx, dzdy = middle(z, 1.0)
    assert np.degrees(np.arctan(relief.slope(np.float64(dzdx), np.float64(dzdy)))) == pytest.approx(degrees, abs=1e-3)


@pytest.mark.parametrize(("degrees", "percent"), [(5, 8.75), (10, 17.63), (15, 26.79), (20, 36.40), (30, 57.74)])
def test_degrees_to_percent(degrees, percent):
    """Tangent; mower manuals print 15 deg as about 2.5 ft in 10 ft."""
    assert 100 * quantity(f"{degrees} deg", "slope") == pytest.approx(percent, abs=0.01)


def test_slope_and_plan_distance():
    """Pythagoras: 100 ft in plan at 15 % are 101.119 ft on the slope; 20 ft on a 20 % slope are 19.612 ft in plan."""
    for plan, percent, on_slope in ((100.0, 15, 101.119), (19.612, 20, 20.0)):
        z = np.add.outer(np.zeros(3), percent / 100 * np.arange(3)).astype(np.float32)
        dzdx, dzdy = middle(z, 1.0)
        rise = float(relief.slope(np.float64(dzdx), np.float64(dzdy))) * plan
        assert np.hypot(plan, rise) == pytest.approx(on_slope, abs=1e-3)


def test_contour_spacing_on_a_plane():
    """Interval over slope: 1 m apart on a plane of 11.180 % they lie 8.944 m apart in plan (geometry)."""
    z = 100 + np.add.outer(0.05 * np.arange(300), 0.10 * np.arange(300))
    elevations = Memory(z)
    site = site_on(elevations, (20, 280), (20, 280))
    ground = survey(site, elevations)
    lines = terrain.contour_lines(ground, site, (1.0,))
    levels = [level for level, _ in lines]
    assert levels == sorted(levels)
    assert len(levels) > 30
    for (low, one), (high, two) in pairwise(lines[8:29]):
        assert high - low == pytest.approx(1.0)
        gap = shapely.distance(shapely.Point(one.interpolate(0.5, normalized=True)), two)
        assert gap == pytest.approx(8.944, rel=1e-3)  # the frame is stretched by up to 4 parts in 10,000 against UTM
