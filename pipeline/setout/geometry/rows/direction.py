"""Directions of lines over ground: along its longest side, or searched for the one in which most points fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from setout.geometry.rows.lattice import Lattice, Layout, count_layouts, span_v
from setout.geometry.rows.rowcut import TOUCH, Cutters, turned

Floats = NDArray[np.float64]

EVENTS_A_SEARCH = 6_000_000
"""Crossings of lines with cutters that one search may look at on small ground."""
SMALL_LOAD = 1000
"""Crossings of one layout up to which ground counts as small. What a search gains falls as ground grows (its edges hold a
smaller share of the points), from some per cent on 1 acre to less than 0.1 % on 1,000; the work it may cost falls too."""
CROSSINGS_AT_ONCE = 200_000
"""Crossings looked at together: what bounds a search's memory."""


def longest_side(area: BaseGeometry, straight_deg: float = 3.0) -> float:
    """Return the bearing of the longest straight side of an area.

    Corners that turn by less than ``straight_deg`` do not end a side, so a surveyed line with points along it counts
    as one. The side is walked with the ground on the left hand, so that ground turned by any angle gives a bearing turned
    by that angle.

    Parameters
    ----------
    area : BaseGeometry
        Polygon or multipolygon, y axis north.
    straight_deg : float
        Least turn that ends a side [deg].

    Returns
    -------
    float
        Bearing [deg] in [0, 360).

    Examples
    --------
    >>> longest_side(shapely.Polygon([(0, 0), (5, 0), (10, 0), (11, 6), (0, 6)]))
    270.0
    """
    best, bearing = -1.0, 0.0
    for ring in shapely.get_exterior_ring(shapely.orient_polygons(shapely.get_parts(area))):
        xy = shapely.get_coordinates(ring)[:-1]
        xy = xy[np.any(xy != np.roll(xy, 1, axis=0), axis=1)]
        leg = np.roll(xy, -1, axis=0) - xy
        heading = np.arctan2(leg[:, 1], leg[:, 0])
        turn = np.abs((heading - np.roll(heading, 1) + np.pi) % (2 * np.pi) - np.pi)
        corners = np.flatnonzero(turn >= np.radians(straight_deg))
        if len(corners) < 2:
            continue
        side = xy[np.roll(corners, -1)] - xy[corners]
        length = np.hypot(*side.T)
        longest = int(np.argmax(np.round(length, 6)))
        if length[longest] > best:
            best = float(length[longest])
            bearing = float(np.degrees(np.arctan2(side[longest, 0], side[longest, 1])) % 360.0)
    return 0.0 if bearing >= 360.0 else bearing


def lines_along(cutters: Cutters, bearing: float) -> Cutters:
    """Turn cutters so that lines of a bearing run along u.

    Parameters
    ----------
    cutters : Cutters
        In x (east) and y (north).
    bearing : float
        Clockwise from y [deg].

    Returns
    -------
    Cutters
        In u (along) and v (to the left).
    """
    angle = np.radians(bearing)
    return turned(cutters, float(np.sin(angle)), float(np.cos(angle)))


@dataclass(frozen=True, slots=True)
class _Search:
    lattice: Lattice
    cutters: Cutters

    def tries(self, bearing: float, firsts: Floats) -> list[Layout]:
        """Count the layouts of one bearing: line 0 at shares of the period from the ground's low edge; a line on its high one.

        Ground is given a hair larger than it is (:data:`TOUCH`): a line on its very edge may miss a side that is level
        but for rounding, so lines start that hair further in.
        """
        along = lines_along(self.cutters, bearing)
        low, high = span_v(along)
        low, high, period = low + TOUCH, high - TOUCH, self.lattice.period
        tried = np.append(low + firsts * period, low + (high - low) % period)
        size = max(1, CROSSINGS_AT_ONCE // self.load(along))
        return [
            layout for k in range(0, len(tried), size) for layout in count_layouts(self.lattice, along, tried[k : k + size], float(bearing))
        ]

    def share(self, along: Cutters) -> float:
        """Return how many layouts a search may look at."""
        load = self.load(along)
        return EVENTS_A_SEARCH / load * min(1.0, SMALL_LOAD / load)

    def load(self, along: Cutters) -> int:
        """Return how many crossings one layout looks at, along lines that the cutters are turned to."""
        lines, _ = self.lattice.lines(span_v(along)[0], *span_v(along))
        if not len(lines):
            return 1
        edges = np.vstack([along.ground[:, [1, 3]], along.holes[:, [1, 3]]])
        reach = along.capsules[:, [1, 3]]
        height = np.abs(edges[:, 1] - edges[:, 0]).sum() + (np.abs(reach[:, 1] - reach[:, 0]) + 2 * along.capsules[:, 4]).sum()
        if along.discs is not None:
            height += 2 * along.discs[:, 2].sum()
        return int(2 * height / self.lattice.period) + 2 * len(lines)


def rank(layout: Layout) -> tuple[int, int, float, float, float]:
    """Order layouts: most points, then fewest (longest) lines, then nearest to north-south.

    Parameters
    ----------
    layout : Layout
        One layout.

    Returns
    -------
    tuple
        Smaller is better.
    """
    off_north = min(layout.bearing % 180.0, 180.0 - layout.bearing % 180.0)
    return (-layout.count, layout.lines, round(off_north, 6), round(layout.bearing % 180.0, 6), layout.first)


def layouts_along(lattice: Lattice, cutters: Cutters, bearing: float) -> list[Layout]:
    """Search the place of the lines for one bearing.

    Parameters
    ----------
    lattice : Lattice
        The set-out.
    cutters : Cutters
        In x and y.
    bearing : float
        Direction of the lines [deg].

    Returns
    -------
    list of Layout
        Best first.
    """
    search = _Search(lattice, cutters)
    tries = int(np.clip(search.share(lines_along(cutters, bearing)) / 32, 2, 64))
    return sorted(search.tries(bearing, np.arange(tries) / tries), key=rank)


def layouts_any_way(lattice: Lattice, cutters: Cutters, area: BaseGeometry) -> list[Layout]:
    """Search direction and place of the lines together.

    Bearings are counted from the ground's longest side, so that turned ground is searched the same way; north-south and
    east-west are always among them. Three rounds, each finer around the best of the one before.

    Parameters
    ----------
    lattice : Lattice
        The set-out.
    cutters : Cutters
        In x and y.
    area : BaseGeometry
        The ground, for its longest side.

    Returns
    -------
    list of Layout
        Best first.
    """
    search = _Search(lattice, cutters)
    side = longest_side(area)
    share = search.share(lines_along(cutters, side))
    places = int(np.clip(share / 180, 1, 8))
    ways = int(np.clip(share / 2 / places, 1, 180))
    spacing = 180.0 / ways
    firsts = np.arange(places) / places
    bearings = [*(side + spacing * np.arange(ways)), 0.0, 90.0]
    found = [layout for bearing in bearings for layout in search.tries(bearing % 360.0, firsts)]
    for finer, keep in ((4, 5), (16, 3)):
        more = int(np.clip(share / 4 / (keep * 6), 0, 32))
        leaders = _leaders(found, keep, spacing / finer * 2) if more else []
        for leader in leaders:
            for turn in (-3, -2, -1, 1, 2, 3):
                bearing = (leader.bearing + turn * spacing / finer) % 360.0
                found += search.tries(bearing, np.arange(more) / more)
            found += search.tries(leader.bearing, np.arange(more) / more)
    return sorted(found, key=rank)


def _leaders(found: list[Layout], keep: int, apart: float) -> list[Layout]:
    """Return the best layouts whose bearings differ by at least apart [deg]."""
    leaders: list[Layout] = []
    for layout in sorted(found, key=rank):
        gaps = [abs((layout.bearing - other.bearing + 90.0) % 180.0 - 90.0) for other in leaders]
        if all(gap >= apart for gap in gaps):
            leaders.append(layout)
        if len(leaders) == keep:
            break
    return leaders
