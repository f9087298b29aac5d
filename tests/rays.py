"""Rays cast one by one against solids in space, as slow and plain as can be: what light is held against.

Nothing of the package takes part: a ray meets an ellipsoid where a quadratic has a root ahead of the eye, an upright
box where the three slabs overlap, a cut ellipsoid where the part of the ray inside it reaches past the cutting plane.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np


@dataclass(frozen=True)
class Crown:
    """An ellipsoid that stands on the ground, the tree's number, and filled down to the ground below its middle."""

    x: float
    y: float
    foot: float
    top: float
    radius: float
    tree: int = -1


@dataclass(frozen=True)
class Box:
    """An upright box: middle, ground, top, half length and half width, bearing [deg], and the number of its hedge."""

    x: float
    y: float
    foot: float
    top: float
    half_length: float
    half_width: float
    bearing: float
    hedge: int = -1


def directions(altitude_deg: Any, azimuth_deg: Any) -> Any:
    a, z = np.radians(altitude_deg), np.radians(azimuth_deg)
    return np.column_stack([np.cos(a) * np.sin(z), np.cos(a) * np.cos(z), np.sin(a)])


def meets_ellipsoid(eye: Any, way: Any, crown: Crown, plane: tuple[Any, float] | None = None) -> Any:
    """Tell which rays meet an ellipsoid, or the part of it beyond a plane n . p = d."""
    c = (crown.top - crown.foot) / 2
    size = np.array([crown.radius, crown.radius, c])
    p, d = (eye - np.array([crown.x, crown.y, crown.foot + c])) / size, way / size
    a, b, q = (d * d).sum(1), d @ p, p @ p - 1.0
    root = b * b - a * q
    with np.errstate(invalid="ignore"):
        near, far = (-b - np.sqrt(root)) / a, (-b + np.sqrt(root)) / a
    near = np.maximum(near, 0.0)
    if plane is not None:
        normal, level = plane
        speed, left = way @ normal, level - eye @ normal
        with np.errstate(divide="ignore", invalid="ignore"):
            cross = left / speed
        if left > 0:
            near = np.where(speed > 0, np.maximum(near, cross), np.inf)
    return (root > 0) & (far > near)


def meets_filled(eye: Any, way: Any, crown: Crown, plane: tuple[Any, float] | None = None) -> Any:
    """Tell which rays meet an ellipsoid or the cylinder below its middle."""
    column = meets_column(eye, way, crown, plane)
    return meets_ellipsoid(eye, way, crown, plane) | column


def meets_column(eye: Any, way: Any, crown: Crown, plane: tuple[Any, float] | None) -> Any:
    level = np.hypot(way[:, 0], way[:, 1])
    east, north = way[:, 0] / level, way[:, 1] / level
    dx, dy = crown.x - eye[0], crown.y - eye[1]
    along = dx * east + dy * north
    square = crown.radius**2 - (dx * dx + dy * dy - along * along)
    with np.errstate(invalid="ignore"):
        near, far = np.maximum(along - np.sqrt(square), 0.0), along + np.sqrt(square)
    if plane is not None:
        speed, left = east * plane[0][0] + north * plane[0][1], plane[1] - eye @ plane[0]
        if left > 0:
            with np.errstate(divide="ignore", invalid="ignore"):
                near = np.where(speed > 0, np.maximum(near, left / speed), np.inf)
    # the ray only rises: it is lowest where it comes in
    low = eye[2] + near * way[:, 2] / level
    return (square > 0) & (far > near) & (low < (crown.foot + crown.top) / 2)


def meets_box(eye: Any, way: Any, box: Box) -> Any:
    t = np.radians(box.bearing)
    along, across = np.array([np.sin(t), np.cos(t), 0.0]), np.array([np.cos(t), -np.sin(t), 0.0])
    begin, end = np.zeros(len(way)), np.full(len(way), np.inf)
    p = eye - np.array([box.x, box.y, 0.0])
    # solid down from its top: below its foot there is ground
    for axis, low, high in (
        (along, -box.half_length, box.half_length),
        (across, -box.half_width, box.half_width),
        (np.array([0.0, 0.0, 1.0]), -np.inf, box.top),
    ):
        speed = way @ axis
        speed = np.where(np.abs(speed) < 1e-15, 1e-15, speed)
        one, two = (low - p @ axis) / speed, (high - p @ axis) / speed
        begin, end = np.maximum(begin, np.minimum(one, two)), np.minimum(end, np.maximum(one, two))
    return end > begin


def plane_between(own: Crown, other: Crown) -> tuple[Any, float] | None:
    """Return the plane that divides two crowns that overlap by their radii, seen from the first; None for none."""
    way = np.array([other.x - own.x, other.y - own.y, 0.0])
    apart = float(np.hypot(*way[:2]))
    if apart >= own.radius + other.radius:
        return None
    normal = way / apart
    return normal, float(np.array([own.x, own.y, 0.0]) @ normal + apart * own.radius / (own.radius + other.radius))


def lit(eye: Any, path: Any, own: Crown | None, others: list[Any], *, filled: bool = True) -> Any:
    """Return whether the sun reaches a point, for each position of the sun."""
    way = directions(path.altitude_deg, path.azimuth_deg)
    dark = np.zeros(len(way), bool)
    meets = meets_filled if filled else meets_ellipsoid
    for other in others:
        if isinstance(other, Box):
            dark |= meets_box(np.asarray(eye, float), way, other)
        else:
            plane = None if own is None else plane_between(own, other)
            dark |= meets(np.asarray(eye, float), way, other, plane)
    return ~dark


def halves(path: Any, shares: Any) -> tuple[Any, Any]:
    """Return hours before and after noon by day, from shares of light at each position of the sun."""
    size = len(path.dates)
    return tuple(np.bincount(path.day, shares * path.hours * half, size) for half in (path.morning, ~path.morning))
