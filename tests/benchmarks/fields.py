"""Invented fields of 1 to 40 acres for judging layouts, the plain grid, and the bound that no layout can pass."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from setout.geometry.rows.rowcut import TOUCH, Cutters, capsules_of, edges_of

ACRE = 4046.8564224
"""International acre [m2]."""

STEP = 16 * 0.3048
"""Spacing of the layouts [m]: 16 ft."""

EQUILATERAL = 3**0.5 / 2

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Field:
    """Ground to lay out: a polygon, and what is cut out of it, each thing with its distance [m]."""

    name: str
    area: shapely.Polygon
    lines: tuple[tuple[shapely.Geometry, float], ...] = ()

    @property
    def acres(self) -> float:
        """Area of the polygon [acre], nothing cut out."""
        return self.area.area / ACRE

    def cutters(self) -> Cutters:
        """Return what the rows are cut by."""
        grown = shapely.buffer(self.area, TOUCH, join_style="mitre")
        edges, _ = edges_of(np.array([grown]))
        capsules = [capsules_of(np.array([what]), radius) for what, radius in self.lines]
        stacked = np.vstack(capsules) if capsules else np.empty((0, 5))
        return Cutters(edges, np.empty((0, 4)), np.empty(0, np.int64), stacked)

    def holds(self, x: Floats, y: Floats) -> NDArray[np.bool_]:
        """Tell which points stand on the field, by GEOS and not by row cutting."""
        inside = shapely.contains_xy(self.area, x, y)
        for what, radius in self.lines:
            near = np.flatnonzero(inside)
            inside[near] = shapely.distance(what, shapely.points(x[near], y[near])) >= radius
        return inside


def irregular(seed: int, *, cut: bool = False) -> Field:
    """Draw an irregular field of 1 to 40 acres: straight surveyed legs, one winding side, often a bay in it.

    With ``cut``, a road crosses it and two to four discs (wells, boulders, a shed) are kept clear.
    """
    rng = np.random.default_rng([2026, seed])
    acres = float(np.exp(rng.uniform(0.0, np.log(40.0))))
    corners = int(rng.integers(6, 12))
    angle = (np.arange(corners) + rng.uniform(-0.3, 0.3, corners)) * 2 * np.pi / corners
    radius = rng.uniform(0.55, 1.15, corners)
    if rng.random() < 0.5:
        radius[rng.integers(corners)] *= 0.45
    x, y = rng.uniform(1.0, 1.8) * radius * np.cos(angle), radius * np.sin(angle)
    legs = [np.array([[x[k], y[k]]]) for k in range(corners)]
    legs[0] = _winding(legs[0][0], legs[1][0], rng)
    shape = shapely.affinity.rotate(shapely.Polygon(np.vstack(legs)), float(rng.uniform(0, 180)), origin=(0, 0))
    shape = max(shapely.get_parts(shapely.make_valid(shape)), key=lambda part: part.area)
    scale = (acres * ACRE / shape.area) ** 0.5
    area = shapely.affinity.translate(shapely.affinity.scale(shape, scale, scale, origin=(0, 0)), 5e5, 4.4e6)
    return Field(f"irregular {seed}", area, _obstacles(area, rng) if cut else ())


def convex(seed: int, low: float, high: float) -> Field:
    """Draw a convex field of low to high acres: the hull of a dozen points scattered over an ellipse."""
    rng = np.random.default_rng([1961, seed])
    acres = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    angle = rng.uniform(0, 2 * np.pi, 12)
    radius = np.sqrt(rng.uniform(0.4, 1.0, 12))
    hull = shapely.convex_hull(shapely.multipoints(np.column_stack([rng.uniform(1, 1.7) * radius * np.cos(angle), radius * np.sin(angle)])))
    scale = (acres * ACRE / hull.area) ** 0.5
    shape = shapely.affinity.rotate(shapely.affinity.scale(hull, scale, scale), float(rng.uniform(0, 180)))
    return Field(f"convex {seed}", shapely.affinity.translate(shape, 5e5, 4.4e6))


def _winding(start: Floats, end: Floats, rng: np.random.Generator) -> Floats:
    share = np.linspace(0, 1, 40, endpoint=False)
    swing = sum(rng.normal(0, 0.05 / k) * np.sin(np.pi * k * share) for k in range(1, 7))
    across = np.array([start[1] - end[1], end[0] - start[0]])
    return start + share[:, None] * (end - start) + np.asarray(swing)[:, None] * across


def _obstacles(area: shapely.Polygon, rng: np.random.Generator) -> tuple[tuple[shapely.Geometry, float], ...]:
    """Draw a bent road through the field (15 to 25 ft each side) and discs of 5 to 15 m."""
    low_x, low_y, high_x, high_y = area.bounds
    centre = np.array([(low_x + high_x) / 2, (low_y + high_y) / 2])
    size = np.hypot(high_x - low_x, high_y - low_y)
    way = rng.uniform(0, np.pi)
    along, across = np.array([np.cos(way), np.sin(way)]), np.array([-np.sin(way), np.cos(way)])
    bends = [centre + t * size * along + rng.normal(0, 0.03) * size * across for t in (-0.6, -0.2, 0.1, 0.35, 0.6)]
    found: list[tuple[shapely.Geometry, float]] = [(shapely.LineString(bends), float(rng.uniform(4.6, 7.6)))]
    discs = int(rng.integers(2, 5))
    while len(found) <= discs:
        spot = shapely.Point(rng.uniform(low_x, high_x), rng.uniform(low_y, high_y))
        if area.contains(spot):
            found.append((spot, float(rng.uniform(5, 15))))
    return tuple(found)


def plain_grid(field: Field, step: float, *, offset: bool) -> int:
    """Count the trees of the unsearched grid: rows along x from the lower left corner of the bounding box."""
    low_x, low_y, high_x, high_y = field.area.bounds
    apart = step * EQUILATERAL if offset else step
    x, y = np.meshgrid(np.arange(low_x, high_x + step, step), np.arange(low_y, high_y + apart, apart))
    if offset:
        x[1::2] += step / 2
    return int(field.holds(x.ravel(), y.ravel()).sum())


def most_points(area: shapely.Geometry, distance: float) -> float:
    """Return the bound on points of a compact convex set whose mutual distances are at least ``distance``.

    n <= 2 A / (sqrt(3) d^2) + P / (2 d) + 1: Groemer, Math. Z. 73 (1960) 285-294; Oler, Acta Math. 105 (1961) 19-48.
    For ground that is not convex, the bound of its convex hull.

    >>> round(most_points(shapely.box(0, 0, 201.168, 201.168), 6.096), 2)  # 10 acres at 20 ft
    1324.47
    """
    hull = shapely.convex_hull(area)
    return float(2 * hull.area / (3**0.5 * distance**2) + hull.length / (2 * distance) + 1)
