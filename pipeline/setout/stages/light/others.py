"""Buildings, fences and existing trees as bodies that throw shade."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely

from setout.geometry.sky.skyline import Bodies
from setout.model import Floats, Ints
from setout.model.shade import Shade
from setout.stages.light.canopies import together

LONGEST_M = 10.0
"""Longest piece of an outline that stands as one wall [m]."""


def others_of(shade: Shade, height_at: Callable[[Floats, Floats], Floats]) -> Bodies:
    """Return what stands round the planting.

    Outlines and lines are upright walls along their edges, as thin as a line; points are crowns.
    """
    kind = shapely.get_dimensions(shade.geometry) if len(shade.geometry) else np.empty(0, np.int64)
    points = np.flatnonzero(kind == 0)
    return together(_crowns(shade, points, height_at), _walls(shade, np.flatnonzero(kind > 0), height_at))


def _crowns(shade: Shade, which: Ints, height_at: Callable[[Floats, Floats], Floats]) -> Bodies:
    parts, of = shapely.get_parts(shade.geometry[which], return_index=True)
    x, y = shapely.get_x(parts), shapely.get_y(parts)
    foot, n = np.nan_to_num(height_at(x, y)), len(parts)
    none, nobody = np.full(n, np.nan), np.full(n, -1)
    top, radius = foot + shade.height_m[which][of], shade.spread_m[which][of] / 2
    return Bodies(x, y, foot, top, radius, none, none, none, nobody, nobody)


def _walls(shade: Shade, which: Ints, height_at: Callable[[Floats, Floats], Floats]) -> Bodies:
    begin, end, tall = [], [], []
    for feature in which:
        shape = shade.geometry[feature]
        lines = shapely.boundary(shape) if shapely.get_dimensions(shape) == 2 else shape
        for part in shapely.get_parts(shapely.segmentize(lines, LONGEST_M)):
            corners = shapely.get_coordinates(part)
            begin.append(corners[:-1])
            end.append(corners[1:])
            tall.append(np.full(len(corners) - 1, shade.height_m[feature]))
    if not begin:
        empty, none = np.empty(0), np.empty(0, np.int64)
        return Bodies(*(empty,) * 8, none, none)
    one, two, height = np.concatenate(begin), np.concatenate(end), np.concatenate(tall)
    long = np.hypot(*(two - one).T)
    one, two, height, long = one[long > 0], two[long > 0], height[long > 0], long[long > 0]
    middle, way, n = (one + two) / 2, two - one, len(long)
    foot, nobody = np.nan_to_num(height_at(middle[:, 0], middle[:, 1])), np.full(n, -1)
    return Bodies(
        middle[:, 0],
        middle[:, 1],
        foot,
        foot + height,
        np.full(n, np.nan),
        long / 2,
        np.zeros(n),
        np.arctan2(way[:, 0], way[:, 1]),
        nobody,
        nobody,
    )
