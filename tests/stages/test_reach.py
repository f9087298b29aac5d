"""What water reaches: ground and positions at the very edge of what a pipe may not cross."""

from __future__ import annotations

import numpy as np
import shapely

from setout.model import Water, WaterPoints
from setout.stages import reach


def test_a_position_on_a_barrier_s_edge_is_served_from_its_own_side_and_never_through_it() -> None:
    """Rows end where the barrier begins: straight ways are worked out by hand."""
    pond = np.array([shapely.Point(0, 0).buffer(20.0, quad_segs=16)], object)
    none = np.full(1, np.nan)
    points = WaterPoints(("riser",), np.array([-60.0]), np.array([3.0]), none, none, none)
    water = Water(points, pond, 70.0, None, "risers")
    reached = reach.reach_of(water)
    edge = shapely.segmentize(shapely.get_exterior_ring(shapely.get_parts(reached.barriers)[0]), 0.4)
    x, y = shapely.get_coordinates(edge)[:-1].T
    served = reach.serve(reached, water, x, y, np.full(len(x), np.nan))
    straight = np.hypot(x + 60.0, y - 3.0)
    facing = x < -8.0  # the side that the riser sees of a circle of 20 m from 60 m away begins at -6.7 m
    assert facing.sum() > 100
    np.testing.assert_allclose(served.run_m[facing], straight[facing], atol=1e-6)
    behind = x > 8.0
    assert (~(served.run_m[behind] <= straight[behind] + 0.5)).all()
