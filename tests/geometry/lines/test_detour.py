"""Ways round obstacles, against shapely's own lines of sight."""

from __future__ import annotations

import numpy as np
import shapely

from setout.geometry.lines.detour import obstacles_of, sees

ROAD = shapely.box(-50, 0, 50, 6)


def crossings(opening: shapely.Geometry, width: float = 1.0) -> np.ndarray:
    """Return where, along a road 6 m wide, straight ways across it are free [m]."""
    wall = obstacles_of(np.array([ROAD]), np.array([opening]), width)
    assert wall is not None
    x = np.arange(-20, 20, 0.05)
    return x[sees(wall, x, np.full_like(x, -3.0), x, np.full_like(x, 9.0))]


def test_an_area_opens_a_wall_as_far_as_it_is_drawn() -> None:
    for opening in (shapely.box(2, -1, 8, 7), shapely.box(2, 0, 8, 6)):  # wider than the road, and as wide
        free = crossings(opening)
        assert free.min() > 2 - 0.03
        assert free.max() < 8 + 0.03
        assert len(free) > 115


def test_lines_and_points_open_a_wall_by_the_width_given() -> None:
    free = crossings(shapely.LineString([(4, -1), (4, 7)]), 2.0)
    assert 2.95 <= free.min() <= 3.06
    assert 4.94 <= free.max() <= 5.05
    # a point on the middle of a road wider than its opening leaves the road's edges shut
    assert not len(crossings(shapely.Point(4, 3), 2.0))
