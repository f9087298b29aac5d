"""Skylines: how high bodies round a viewpoint reach in every direction that the sun shines from.

A skyline holds, for each azimuth of a degree, the tangent of the greatest altitude that something is in the way up to.
Bodies stand solid on the ground; the sun shines on a viewpoint where it stands above the skyline.

**Crown**: an ellipsoid from the ground to the top, filled down to the ground below its widest place. In the vertical
plane of azimuth b it is a circle after heights are scaled by r / c (radius over half the height). With d the level
distance, w the scaled height of its middle over the eye, a = d cos b and s = sqrt(r^2 - d^2 sin^2 b), the upper tangent
from the eye has the slope

    (a w + s sqrt(d^2 + w^2 - r^2)) / (d^2 - r^2)

(the greater root of (d^2 - r^2) m^2 - 2 a w m + w^2 - s^2 = 0). Where two crowns overlap they do not grow into each
other: the other's begins at the plane between the trunks that divides their distance by the radii.

**Wall**: an upright box; the slope is its height over the eye by the distance at which the ray enters it.

Trees in a pattern see the same neighbours at the same distances. Pairs with the same offset and the same sizes are
taken together: what depends on azimuth is reckoned once for all of them, and their heights come in as sums of products.
Pairs without such company are taken element by element. Both give the same figures.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from setout.geometry.sky.sun import SunPath

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Singles = NDArray[np.float32]

CHUNK: Final = 4096
"""Viewpoints' trees worked on at a time."""
LOWEST_DEG: Final = 4.0
"""Bodies further away than where their top stands at this altitude are left out [deg]."""
SAME_M: Final = 0.01
"""Offsets that differ by less are the same [m]: it turns a neighbour at 5 m by 0.1 degree."""
COMPANY: Final = 40
"""Pairs of one offset from which on they are taken together."""
WHOLLY: Final = 1e6
"""Slope that stands for straight up."""
AHEAD_M: Final = 1e-3
"""A body nearer than this stands round the eye [m]."""


@dataclass(frozen=True, slots=True)
class Bodies:
    """What throws shade; every array has one entry a body.

    Attributes
    ----------
    x, y : middles [m]
    foot, top : heights of ground and top [m]
    radius : of crowns [m]; NaN for walls
    half_length, half_width, axis : of walls [m], and their bearing [rad]; NaN for crowns
    owner : index of the tree that it is the canopy of; -1 for none
    group : viewpoints of this group are not shaded by it (rows that are one wall); -1 for none
    """

    x: Floats
    y: Floats
    foot: Floats
    top: Floats
    radius: Floats
    half_length: Floats
    half_width: Floats
    axis: Floats
    owner: Ints
    group: Ints

    def __len__(self) -> int:
        """Return the number of bodies."""
        return len(self.x)

    @property
    def bound(self) -> Floats:
        """Return the radius of the circle round each body [m]."""
        return np.where(np.isnan(self.radius), np.hypot(self.half_length, self.half_width), self.radius)

    def take(self, which: Any) -> Bodies:
        """Return some of the bodies."""
        return Bodies(*(getattr(self, name)[which] for name in self.__slots__))


@dataclass(frozen=True, slots=True)
class Views:
    """Trees from whose canopies one looks, each from several points.

    Attributes
    ----------
    x, y : trunks [m]
    foot : height of the ground there [m]
    tree : numbers of the trees, as in :attr:`Bodies.owner`
    radius : of their own canopies [m]
    group : as in :attr:`Bodies.group`; -1 for none
    dx, dy : (n, points) level offsets of the points from the trunk [m]
    z : (n, points) heights of the points [m]; NaN where a tree has fewer of them than others
    facing : (n, points) bearing that the surface at a point faces [deg], which has the sun of that half of the sky alone, by how
        squarely it meets the surface; NaN, or None for all: a point that has it from all round
    """

    x: Floats
    y: Floats
    foot: Floats
    tree: Ints
    radius: Floats
    group: Ints
    dx: Floats
    dy: Floats
    z: Floats
    facing: Floats | None = None

    def take(self, which: Any) -> Views:
        """Return some of the trees."""
        return self._each(lambda values: values[which])

    def points(self, which: Any) -> Views:
        """Return the same trees with some of their points."""
        return self._each(lambda values: values[:, which] if values.ndim > 1 else values)

    def _each(self, change: Any) -> Views:
        arrays = ((name, getattr(self, name)) for name in self.__slots__)
        changed: dict[str, Any] = {name: None if values is None else change(values) for name, values in arrays}
        return Views(**changed)


@dataclass(frozen=True, slots=True)
class Azimuths:
    """The whole degrees that the sun shines from.

    Attributes
    ----------
    degree : the degrees, ascending
    east, north : unit vectors
    before : (1081,) how many of them come before a degree, over three turns
    """

    degree: Ints
    east: Floats
    north: Floats
    before: Ints

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self.degree)

    def between(self, low: Any, high: Any) -> tuple[Any, Any]:
        """Return first and one past the last index of the azimuths from low to high [deg], up to a turn each way."""
        first = np.ceil(low).astype(np.int64) + 360
        last = np.floor(high).astype(np.int64) + 361
        return self.before[first], self.before[last]


def azimuths_of(path: SunPath) -> tuple[Azimuths, Ints]:
    """Return the degrees that the sun shines from, and which of them each of its positions has.

    Parameters
    ----------
    path : SunPath
        Positions of the sun.

    Returns
    -------
    Azimuths
        Degrees.
    (n,) ndarray of int
        Index of the degree of each position.
    """
    degree = np.round(path.azimuth_deg).astype(np.int64) % 360
    used = np.unique(degree)
    on = np.zeros(360, np.int64)
    on[used] = 1
    before = np.concatenate([[0], np.cumsum(np.tile(on, 3))])
    angle = np.radians(used)
    return Azimuths(used, np.sin(angle), np.cos(angle), before), np.searchsorted(used, degree)


def cut_crown_slope(along: Any, chord: Any, square: Any, middle: Any, shape: Any, begin: Any) -> Any:
    """Return the slope up to a crown that begins at a plane, or that the eye is in or under.

    Parameters
    ----------
    along, chord : array
        d cos b and s of the module's formula [m].
    square : array
        d^2 - r^2 [m2]; 0 or less where the eye is in or under the crown.
    middle : array
        Height of the crown's middle over the eye [m].
    shape : array
        Half the crown's height over its radius.
    begin : array
        Distance along the ray at which the crown begins [m]; inf where the ray does not come there.

    Returns
    -------
    array
        Tangent of the altitude; below 0 where nothing is in the way.
    """
    near, far = along - chord, along + chord
    start = np.maximum(np.maximum(begin, near), 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        lift = middle / shape
        root = square + lift * lift
        free = np.where((square > 0) & (root > 0), (along * lift + chord * np.sqrt(np.maximum(root, 0.0))) / square, np.inf)
        touch = np.sqrt(np.maximum(root, 0.0) / (1.0 + free * free))
        height = middle + shape * np.sqrt(np.maximum(chord * chord - (start - along) ** 2, 0.0))
        cut = np.where(start > AHEAD_M, height / start, np.where(height > 0, WHOLLY, -1.0))
        slope = np.where(np.isfinite(free) & (touch >= start), free * shape, cut)
    return np.where((far > start) & (chord > 0), np.minimum(slope, WHOLLY), -1.0)


def wall_reach(east: Any, north: Any, dx: Any, dy: Any, walls: tuple[Any, Any, Any]) -> Any:
    """Return one over the distance at which rays enter upright boxes.

    Parameters
    ----------
    east, north : array
        Unit vectors of the rays.
    dx, dy : array
        Middles of the boxes from the eye [m].
    walls : tuple of array
        Half length and half width [m], and bearing of the length [rad].

    Returns
    -------
    array
        [1/m]; 0 where a ray misses the box, very large where the eye is in it.
    """
    half_length, half_width, axis = walls
    ax, ay = np.sin(axis), np.cos(axis)
    begin: Any = -np.inf
    end: Any = np.inf
    for ux, uy, half in ((ax, ay, half_length), (ay, -ax, half_width)):
        speed = east * ux + north * uy
        speed = np.where(np.abs(speed) < 1e-12, 1e-12, speed)
        middle, reach = (dx * ux + dy * uy) / speed, half / np.abs(speed)
        begin, end = np.maximum(begin, middle - reach), np.minimum(end, middle + reach)
    return np.where((end >= begin) & (end > 0), 1.0 / np.maximum(begin, 1.0 / WHOLLY), 0.0)


@dataclass(frozen=True, slots=True)
class Company:
    """Bodies of one size, each at the same offset from a tree of one size.

    Attributes
    ----------
    columns : columns of the trees in a skyline, as an index or a slice
    trunk : offset of the bodies' middles from the trunks [m]
    own_radius : of the trees [m]
    radius, half_length, half_width, axis : of the bodies, as in :class:`Bodies`
    foot, top : heights of each of the bodies [m]
    """

    columns: Any
    trunk: tuple[float, float]
    own_radius: float
    radius: float
    half_length: float
    half_width: float
    axis: float
    foot: Floats
    top: Floats


def raise_together(skyline: Singles, company: Company, point: tuple[float, float], eye: Floats, ways: Azimuths) -> None:
    """Raise the skylines of one point of some trees by bodies that all have the same offset and size.

    Parameters
    ----------
    skyline : (azimuths, n) ndarray
        Tangents, raised in place.
    company : Company
        The bodies.
    point : tuple of float
        Level offset of the point from the trunk [m].
    eye : (columns,) ndarray
        Heights of the point [m].
    ways : Azimuths
        Degrees.
    """
    wall = company.radius != company.radius
    bound = float(np.hypot(company.half_length, company.half_width)) if wall else company.radius
    dx, dy = company.trunk[0] - point[0], company.trunk[1] - point[1]
    distance = float(np.hypot(dx, dy))
    first, last = 0, len(ways)
    if distance > bound:
        half, azimuth = np.degrees(np.arcsin(bound / distance)), np.degrees(np.arctan2(dx, dy)) % 360.0
        first, last = (int(end) for end in ways.between(azimuth - half, azimuth + half))
    for low, high in _turns(first, last, len(ways)):
        east, north = ways.east[low:high], ways.north[low:high]
        if wall:
            reach = wall_reach(east, north, dx, dy, (company.half_length, company.half_width, company.axis))
            slope = np.outer(reach.astype(np.float32), (company.top - eye).astype(np.float32))
        else:
            slope = _crowns_together((east, north), (dx, dy), point, eye, company)
        if isinstance(company.columns, slice):
            part = skyline[low:high, company.columns]
            np.maximum(part, slope, out=part)
        else:
            skyline[low:high, company.columns] = np.maximum(skyline[low:high, company.columns], slope)


def _turns(first: int, last: int, size: int) -> list[tuple[int, int]]:
    """Cut a run of azimuths, counted over three turns, at north."""
    if last <= first:
        return []
    turn = first // size
    first, last = first - turn * size, last - turn * size
    return [(first, last)] if last <= size else [(first, size), (0, last - size)]


def _crowns_together(way: Any, offset: Any, point: Any, eye: Floats, company: Company) -> Any:
    (east, north), (dx, dy), radius = way, offset, company.radius
    square = dx * dx + dy * dy - radius * radius
    along = dx * east + dy * north
    chord = np.sqrt(np.maximum(along * along - square, 0.0))
    middle = (company.foot + company.top) / 2 - eye
    shape = (company.top - company.foot) / (2 * radius)
    if np.hypot(*company.trunk) >= company.own_radius + radius and square > 0:
        heights = np.empty((2, len(middle)), np.float32)
        heights[0] = middle / square
        heights[1] = shape * np.sqrt(square + (middle / shape) ** 2) / square
        return np.array([along, chord], np.float32).T @ heights
    begin = _begin(east, north, company.trunk, point, (company.own_radius, radius))
    slope = cut_crown_slope(along[:, None], chord[:, None], square, middle, shape, begin[:, None])
    return slope.astype(np.float32)


def _begin(east: Any, north: Any, trunk: Any, point: Any, radii: Any) -> Any:
    """Return how far along a ray the crown behind the dividing plane begins [m]; inf where the ray turns from it."""
    apart = np.maximum(np.hypot(trunk[0], trunk[1]), 1e-9)
    ux, uy = trunk[0] / apart, trunk[1] / apart
    share = apart * radii[0] / np.maximum(radii[0] + radii[1], 1e-9)
    left = share - (point[0] * ux + point[1] * uy)
    ahead = east * ux + north * uy
    begin = np.where(ahead > 1e-9, left / np.where(ahead > 1e-9, ahead, 1.0), np.inf)
    return np.where((left > 0) & (radii[0] + radii[1] > apart), begin, 0.0)


def raise_each(skyline: Singles, point: int, own: Views, column: Ints, other: Bodies, ways: Azimuths) -> None:
    """Raise the skylines of one point by bodies, pair by pair; crowns that the skyline hides already are passed over.

    Parameters
    ----------
    skyline : (azimuths, n) ndarray
        Tangents, raised in place.
    point : int
        Number of the point.
    own : Views
        The tree of each pair.
    column : (pairs,) ndarray of int
        Its column in the skyline.
    other : Bodies
        The body of each pair.
    ways : Azimuths
        Degrees.
    """
    dx = other.x - own.x - own.dx[:, point]
    dy = other.y - own.y - own.dy[:, point]
    distance, bound = np.hypot(dx, dy), other.bound
    with np.errstate(divide="ignore", invalid="ignore"):
        half = np.where(distance <= bound, 180.0, np.degrees(np.arcsin(np.minimum(bound / distance, 1.0))))
    azimuth = np.degrees(np.arctan2(dx, dy)) % 360.0
    first, last = ways.between(azimuth - half, azimuth + half)
    all_round = half >= 180.0
    first, last = np.where(all_round, 0, first), np.where(all_round, len(ways), last)
    pairs = _Pairs(dx, dy, distance, first, last, column)
    crown = ~np.isnan(other.radius)
    over = np.hypot(other.x - own.x, other.y - own.y) < own.radius + other.radius
    clear = crown & ~over & (distance > bound)
    seen = last > first
    _raise_walls(skyline, pairs, np.flatnonzero(seen & ~crown), own.z[:, point], other, ways)
    _raise_cut(skyline, pairs, np.flatnonzero(seen & crown & ~clear), (own, point), other, ways)
    _raise_clear(skyline, pairs, np.flatnonzero(seen & clear), own.z[:, point], other, ways)


@dataclass(frozen=True, slots=True)
class _Pairs:
    """Offsets from the eye [m], level distance [m], run of azimuths over three turns, and column of each pair."""

    dx: Floats
    dy: Floats
    distance: Floats
    first: Ints
    last: Ints
    column: Ints

    def spread(self, k: Ints, ways: Azimuths) -> tuple[Ints, Ints]:
        """Return each azimuth of some pairs: place in k, and index of the azimuth."""
        count = self.last[k] - self.first[k]
        pair = np.repeat(np.arange(len(k)), count)
        way = np.arange(len(pair)) + np.repeat(self.first[k] - (np.cumsum(count) - count), count)
        return pair, way % len(ways)


def _raise_walls(skyline: Singles, pairs: _Pairs, k: Ints, eye: Floats, other: Bodies, ways: Azimuths) -> None:
    if not len(k):
        return
    pair, way = pairs.spread(k, ways)
    at = k[pair]
    walls = (other.half_length[at], other.half_width[at], other.axis[at])
    slope = wall_reach(ways.east[way], ways.north[way], pairs.dx[at], pairs.dy[at], walls) * (other.top - eye)[at]
    np.maximum.at(skyline.reshape(-1), way * skyline.shape[1] + pairs.column[at], slope.astype(np.float32))


def _raise_cut(skyline: Singles, pairs: _Pairs, k: Ints, eye: tuple[Views, int], other: Bodies, ways: Azimuths) -> None:
    """Raise by crowns that reach into the eye's own, or stand over it."""
    if not len(k):
        return
    own, point = eye
    pair, way = pairs.spread(k, ways)
    at = k[pair]
    east, north = ways.east[way], ways.north[way]
    radius, dx, dy = other.radius[at], pairs.dx[at], pairs.dy[at]
    square, along = dx * dx + dy * dy - radius * radius, dx * east + dy * north
    chord = np.sqrt(np.maximum(along * along - square, 0.0))
    middle, shape = (other.foot + other.top)[at] / 2 - own.z[at, point], (other.top - other.foot)[at] / (2 * radius)
    trunk = (other.x - own.x)[at], (other.y - own.y)[at]
    begin = _begin(east, north, trunk, (own.dx[at, point], own.dy[at, point]), (own.radius[at], radius))
    slope = cut_crown_slope(along, chord, square, middle, shape, begin).astype(np.float32)
    np.maximum.at(skyline.reshape(-1), way * skyline.shape[1] + pairs.column[at], slope)


def _raise_clear(skyline: Singles, pairs: _Pairs, k: Ints, eye: Floats, other: Bodies, ways: Azimuths) -> None:
    """Raise by crowns that stand clear, those that do not show over the skyline left out."""
    if not len(k):
        return
    square = pairs.distance[k] ** 2 - other.radius[k] ** 2
    middle = (other.foot[k] + other.top[k]) / 2 - eye[k]
    shape = (other.top[k] - other.foot[k]) / (2 * other.radius[k])
    first, second = middle / square, shape * np.sqrt(square + (middle / shape) ** 2) / square
    highest = np.maximum(first, 0.0) * pairs.distance[k] + second * other.radius[k]
    shown = highest > lowest_between(skyline, pairs.first[k], pairs.last[k], pairs.column[k])
    k, square, first, second = k[shown], square[shown], first[shown], second[shown]
    pair, way = pairs.spread(k, ways)
    single = np.array([pairs.dx[k], pairs.dy[k], square, first, second], np.float32)
    dx, dy, square32, first32, second32 = single[:, pair]
    along = dx * ways.east.astype(np.float32)[way] + dy * ways.north.astype(np.float32)[way]
    chord = np.sqrt(np.maximum(along * along - square32, 0.0))
    slope = along * first32 + chord * second32
    np.maximum.at(skyline.reshape(-1), way * skyline.shape[1] + pairs.column[k][pair], slope)


def lowest_between(skyline: Singles, first: Ints, last: Ints, column: Ints) -> Singles:
    """Return the lowest tangent of skylines over runs of azimuths.

    Parameters
    ----------
    skyline : (azimuths, n) ndarray
        Tangents.
    first, last : (m,) ndarray of int
        Runs, from first to before last, counted over three turns; none longer than a turn.
    column : (m,) ndarray of int
        Which skyline.

    Returns
    -------
    (m,) ndarray
        Lowest tangents.

    Examples
    --------
    >>> sky = np.array([[3.0], [1.0], [2.0], [5.0]], np.float32)
    >>> lowest_between(sky, np.array([0, 2, 3]), np.array([2, 4, 6]), np.zeros(3, int)).tolist()
    [1.0, 2.0, 1.0]
    """
    size = len(skyline)
    out = np.empty(len(first), np.float32)
    level = np.floor(np.log2(np.maximum(last - first, 1))).astype(np.int64)
    table, reach = skyline, 1
    for power in range(int(level.max(initial=0)) + 1):
        here = level == power
        begin, end = first[here] % size, (last[here] - reach) % size
        out[here] = np.minimum(table[begin, column[here]], table[end, column[here]])
        table, reach = np.minimum(table, np.roll(table, -reach, axis=0)), 2 * reach
    return out
