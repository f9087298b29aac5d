"""What lies under the trees on a sheet: boundary, ground kept clear, lines to beware of, rows, beds and posts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree

from setout.draw import palette
from setout.draw.pen import CAP, Ink, Pen, Type
from setout.draw.rings import rings_of
from setout.geometry.places.nearby import bins_of, in_boxes
from setout.units import show_length
from setout.write.sheets.beware import INKS, features_of
from setout.write.sheets.layout import View, turned
from setout.write.sheets.places import Places

if TYPE_CHECKING:
    from setout.model import Geometries, Ints, Planting

BOUNDARY: Final = Ink(palette.INK, 0.5, dash=(6.0, 1.4, 1.2, 1.4, 1.2, 1.4))
ROW: Final = Ink("#9aa79a", 0.12)
BED: Final = Ink(palette.BED_EDGE, 0.15, "#efe3d4")
CLEAR_TINT: Final = "#f1eee7"
BLOCK_TINT: Final = "#fbfcf7"
BLOCK_EDGE: Final = Ink("#7f8f55", 0.2)
DASHES: Final = ((), (2.4, 1.0), (1.0, 0.8), (3.6, 1.0, 0.8, 1.0), (0.3, 1.0), (4.5, 1.5))
BEYOND: Final = 4.0
"""How far beyond the frame shapes are cut [mm of paper]: no name finds room along a cut."""
LARGE: Final = 20_000
"""Points of shapes from which on they are cut band by band, and only then to a sheet."""
POST_BINS: Final = 25.0
"""Posts are looked up in squares of this side [m]."""
FINE: Final = 0.06
"""How far a drawn outline of ground may lie from the true one [mm of paper]."""


@dataclass(frozen=True, slots=True)
class Reason:
    """A reason for which ground is kept clear, as it is drawn: name, outline, hatch angle [deg] or None."""

    name: str
    ink: Ink
    hatch: float | None


def reasons_of(planting: Planting) -> list[Reason]:
    """Return how each reason for which ground is kept clear is drawn, in the order of the exclusions."""
    hatches = palette.hatches_for(e.reason for e in planting.usable.exclusions)
    out = []
    for n, e in enumerate(planting.usable.exclusions):
        known = math.isfinite(e.distance_m) and e.distance_m > 0
        name = f"{e.reason}, {show_length(e.distance_m, planting.site.units)}" if known else e.reason
        ink = Ink(hatches[e.reason].colour, 0.22, dash=DASHES[n % len(DASHES)])
        out.append(Reason(name, ink, None if known else (45.0, 135.0, 20.0)[n % 3]))
    return out


class _Parts:
    """Shapes in turned coordinates, found by extent and cut to it where they are large."""

    def __init__(self, shapes: Any, turn: float) -> None:
        parts = shapely.get_parts(shapely.get_parts(np.atleast_1d(np.asarray(shapes, object))))
        parts = parts[~shapely.is_empty(parts)] if len(parts) else parts
        self.parts = shapely.transform(parts, lambda xy: turned(xy, turn)) if len(parts) else parts
        self.tree = STRtree(self.parts)
        self.large = int(shapely.get_num_coordinates(self.parts).sum()) > LARGE if len(parts) else False
        self._last: tuple[tuple[float, float, float, float], NDArray[np.object_]] | None = None
        self._band: tuple[tuple[float, float], NDArray[np.object_]] | None = None

    def any(self, extent: tuple[float, float, float, float]) -> bool:
        """Tell whether anything lies in an extent."""
        return len(self.within(extent)) > 0

    def within(self, extent: tuple[float, float, float, float]) -> NDArray[np.object_]:
        """Return what lies in an extent; large shapes are cut to it. The last answer is kept: a sheet asks several times."""
        if self._last is None or self._last[0] != extent:
            found = self._across(extent) if self.large else self._met(extent)
            if len(found):
                found = shapely.get_parts(_cut(found, extent))
                found = found[~shapely.is_empty(found)]
            self._last = extent, np.asarray(found, object)
        return self._last[1]

    def _met(self, extent: tuple[float, float, float, float]) -> NDArray[np.object_]:
        """Return the shapes whose boxes meet an extent."""
        return np.asarray(self.parts[np.sort(self.tree.query(shapely.box(*extent)))], object)

    def _across(self, extent: tuple[float, float, float, float]) -> NDArray[np.object_]:
        """Return what may lie in an extent, cut to its band from side to side: tiles follow each other along a band."""
        low, high = extent[1], extent[3]
        if self._band is None or self._band[0] != (low, high):
            left, _, right, _ = shapely.total_bounds(self.parts)
            band = (float(left) - 1.0, low, float(right) + 1.0, high)
            found = self._met(band)
            found = np.asarray(shapely.get_parts(_cut(found, band)), object) if len(found) else found
            self._band = (low, high), found
        found = self._band[1]
        bounds = shapely.bounds(found)
        return found[(bounds[:, 0] <= extent[2]) & (bounds[:, 2] >= extent[0])] if len(found) else found


@dataclass(frozen=True, slots=True)
class Seen:
    """What of a backdrop a view shows: kinds of features, reasons, and whether there are limits, beds, posts, water."""

    kinds: frozenset[str]
    reasons: tuple[Reason, ...]
    limits: bool
    beds: bool
    posts: bool
    water: bool


class Backdrop:
    """Everything on a plan but its trees, turned one way and ready to draw."""

    def __init__(self, planting: Planting, turn: float) -> None:
        site, works = planting.site, planting.works
        self.reasons = reasons_of(planting)
        self.features = features_of(planting)
        self._turn = turn
        self._boundary = _Parts(site.boundary, turn)
        self._usable = _Parts(planting.usable.geometry, turn)
        self._exclusions = [_Parts(e.geometry, turn) for e in planting.usable.exclusions]
        self._limits = [_Parts(e.geometry, turn) for e in planting.usable.height_limits]
        self._features = [_Parts(f.shape, turn) for f in self.features]
        self._rows = _Parts(planting.rows.line, turn)
        self._beds = _Parts(works.bed, turn)
        self._posts = turned(np.column_stack([works.post_x, works.post_y]), turn)
        self._ends = works.post_end
        self._post_bins = bins_of(self._posts[:, 0], self._posts[:, 1], POST_BINS) if len(self._posts) else None
        water = site.water
        self._water = None if water is None else turned(np.column_stack([water.points.x, water.points.y]), turn)
        self._water_names = () if water is None else water.points.name

    def outline(self) -> Geometries:
        """Return the property's boundary in turned coordinates."""
        return self._boundary.parts

    def posts_on(self, view: View) -> NDArray[np.float64]:
        """Return the posts that a view shows, on paper [mm]."""
        return view.page(self._posts[self._posts_in(view.extent())])

    def _posts_in(self, extent: tuple[float, float, float, float]) -> Ints:
        """Return the posts in an extent, ascending."""
        if self._post_bins is None:
            return np.empty(0, np.int64)
        near = np.sort(in_boxes(self._post_bins, np.array([extent]))[1])
        return near[_inside(self._posts[near], extent)]

    def heavy(self, view: View) -> shapely.MultiLineString:
        """Return the features that a view shows as lines on paper [mm]."""
        extent = view.extent(BEYOND)
        lines = [line for parts in self._features for line in lines_on(view, parts.within(extent), 0.2)]
        found = shapely.MultiLineString([line.tolist() for line in lines])
        shapely.prepare(found)
        return found

    def seen(self, view: View) -> Seen:
        """Return what of it a view shows."""
        extent = view.extent(BEYOND)
        posts = len(self._posts_in(extent)) > 0
        water = self._water is not None and bool(_inside(self._water, extent).any())
        return Seen(
            frozenset(f.kind for f, parts in zip(self.features, self._features, strict=True) if parts.any(extent)),
            tuple(r for r, parts in zip(self.reasons, self._exclusions, strict=True) if parts.any(extent)),
            any(parts.any(extent) for parts in self._limits),
            self._beds.any(extent),
            posts,
            water,
        )

    def draw(self, pen: Pen, view: View, *, rows: bool = True) -> None:
        """Draw it all, from the ground up."""
        extent = view.extent(BEYOND)

        def lines(shapes: NDArray[np.object_], fine: float = FINE) -> list[NDArray[np.float64]]:
            return lines_on(view, shapes, fine)

        pen.paths(lines(self._usable.within(extent)), Ink(BLOCK_EDGE.stroke, BLOCK_EDGE.width, BLOCK_TINT))
        kept = [parts.within(extent) for parts in self._exclusions]
        for shapes in kept:
            pen.paths(lines(shapes), Ink(fill=CLEAR_TINT))
        for reason, shapes in zip(self.reasons, kept, strict=True):
            rings = lines(shapes)
            if reason.hatch is not None:
                pen.hatched(rings, Ink(_pale(reason.ink.stroke), 0.09), reason.hatch, 2.2)
            pen.paths(rings, reason.ink, close=True)
        for parts in self._limits:
            pen.paths(lines(parts.within(extent)), Ink(palette.HEIGHT, 0.2, dash=(1.4, 1.4)), close=True)
        pen.paths(lines(self._beds.within(extent), 0.0), BED)
        if rows:
            pen.paths(lines(self._rows.within(extent), 0.0), ROW)
        self._draw_features(pen, view, extent)
        pen.paths(lines(self._boundary.within(extent)), BOUNDARY, close=True)
        self._draw_marks(pen, view, extent)

    def _draw_features(self, pen: Pen, view: View, extent: tuple[float, float, float, float]) -> None:
        for feature, parts in zip(self.features, self._features, strict=True):
            shapes = parts.within(extent)
            if not len(shapes):
                continue
            points = shapely.get_type_id(shapes) == shapely.GeometryType.POINT
            ink = INKS[feature.kind]
            pen.paths(lines_on(view, shapes[~points], FINE), ink)
            spots = view.page(shapely.get_coordinates(shapes[points]))
            pen.stamps(spots, ((-1.3, 0), (0, -1.3), (1.3, 0), (0, 1.3)), Ink(ink.stroke, 0.35, "#ffffff"))

    def _draw_marks(self, pen: Pen, view: View, extent: tuple[float, float, float, float]) -> None:
        posts = self._posts_in(extent)
        ends = self._ends[posts] if len(self._ends) == len(self._posts) else np.zeros(len(posts), bool)
        for chosen, half in ((posts[~ends], 0.35), (posts[ends], 0.6)):
            corners = ((-half, -half), (half, -half), (half, half), (-half, half))
            pen.stamps(view.page(self._posts[chosen]), corners, Ink(fill=palette.POST))
        if self._water is not None:
            spots = view.page(self._water[_inside(self._water, extent)])
            pen.stamps(spots, ((-2, -1.2), (2, -1.2), (0, 2.4)), Ink(palette.WATER, 0.4, "#ffffff"))

    def name_things(self, pen: Pen, view: View, places: Places) -> int:
        """Write names of features, kept ground and water points where there is room; return how many had none."""
        extent, size, out = view.extent(BEYOND), 2.1, 0
        if self._water is not None:
            for uv, name in zip(self._water, self._water_names, strict=True):
                if _inside(uv[None], extent)[0]:
                    x, y = view.page(uv[None])[0]
                    out += not _beside(
                        pen, places, (x, y), pen.cut(name, size, 40, bold=True), Type(size, bold=True, colour=palette.WATER, halo=0.5)
                    )
        for feature, parts in zip(self.features, self._features, strict=True):
            shapes = parts.within(extent)
            if len(shapes):
                kind = Type(size, bold=feature.kind != "feature", colour=INKS[feature.kind].stroke, halo=0.5)
                out += not _along(pen, view, places, shapes, pen.cut(feature.name, size, 60, bold=kind.bold), kind)
        for reason, parts in zip(self.reasons, self._exclusions, strict=True):
            shapes = parts.within(extent)
            if len(shapes):
                kind = Type(size, colour=reason.ink.stroke, halo=0.5)
                out += not _along(pen, view, places, shapes, pen.cut(reason.name, size, 60), kind)
        return out


def lines_on(view: View, shapes: Geometries, fine: float) -> list[NDArray[np.float64]]:
    """Return outlines of shapes in turned coordinates as lines on paper [mm], as fine as ``fine`` [mm]."""
    if not len(shapes):
        return []
    xy, lengths = rings_of(shapely.GeometryCollection(list(shapes)), fine / view.per_m)
    page = view.page(xy)
    stops = np.cumsum(np.abs(lengths)).tolist()
    return [page[a:b] for a, b in zip([0, *stops], stops, strict=False) if b - a > 1]


def _cut(shapes: NDArray[np.object_], extent: tuple[float, float, float, float]) -> NDArray[np.object_]:
    """Cut shapes to an extent; what only touches its edge can be more than the fast way takes, and is cut one by one."""
    try:
        return np.asarray(shapely.clip_by_rect(shapes, *extent), object)
    except shapely.errors.GEOSException:
        if len(shapes) == 1:
            return np.asarray(shapely.intersection(shapely.make_valid(shapes), shapely.box(*extent)), object)
        half = len(shapes) // 2
        return np.concatenate([_cut(shapes[:half], extent), _cut(shapes[half:], extent)])


def _inside(uv: NDArray[np.float64], extent: tuple[float, float, float, float]) -> NDArray[np.bool_]:
    return np.asarray((uv[:, 0] >= extent[0]) & (uv[:, 1] >= extent[1]) & (uv[:, 0] <= extent[2]) & (uv[:, 1] <= extent[3]), bool)


def _pale(colour: str) -> str:
    """Return a colour half way to white."""
    return "#" + "".join(f"{(int(colour[i : i + 2], 16) + 255) // 2:02x}" for i in (1, 3, 5))


def _beside(pen: Pen, places: Places, at: tuple[float, float], words: str, kind: Type) -> bool:
    """Write a name beside a mark, where one of four places is free."""
    wide, tall = pen.width_of(words, kind.size, bold=kind.bold), CAP * kind.size
    for dx, dy in ((3.0, -tall / 2), (-3.0 - wide, -tall / 2), (-wide / 2, 3.4), (-wide / 2, -2.4 - tall)):
        if places.take(at[0] + dx - 0.3, at[1] + dy - 0.5, wide + 0.6, tall + 1.0):
            pen.text(at[0] + dx, at[1] + dy, words, kind)
            return True
    return False


def _along(pen: Pen, view: View, places: Places, shapes: Geometries, words: str, kind: Type) -> bool:
    """Write a name along the straightest parts of outlines, where there is room."""
    wide, tall = pen.width_of(words, kind.size, bold=kind.bold), CAP * kind.size
    for middle, angle in _straights(lines_on(view, shapes, 0.8), wide):
        turn = math.radians(angle)
        along, across = np.array([math.cos(turn), math.sin(turn)]), np.array([-math.sin(turn), math.cos(turn)])
        for off in (0.7, -0.7 - tall):
            start = middle - along * wide / 2 + across * off
            corner = start - along * 0.3 - across * 0.4
            if places.take_turned(float(corner[0]), float(corner[1]), wide + 0.6, tall + 0.8, angle):
                pen.text(float(start[0]), float(start[1]), words, Type(kind.size, kind.bold, kind.colour, "l", angle, kind.halo))
                return True
    return False


def _straights(lines: list[NDArray[np.float64]], wide: float) -> list[tuple[NDArray[np.float64], float]]:
    """Return middles and angles [deg, upright] of the longest pieces of lines, those that hold a text first."""
    found: list[tuple[float, NDArray[np.float64], float]] = []
    for line in lines:
        step = np.diff(line, axis=0)
        lengths = np.hypot(step[:, 0], step[:, 1])
        for at in np.flatnonzero(lengths > wide):
            angle = math.degrees(math.atan2(step[at, 1], step[at, 0]))
            angle = angle - 180 if angle > 90.01 else angle + 180 if angle < -89.99 else angle
            shares = (0.5, 0.25, 0.75) if lengths[at] > 3 * wide else (0.5,)
            found += [(lengths[at] - abs(share - 0.5), line[at] + share * step[at], angle) for share in shares]
    found.sort(key=lambda item: -item[0])
    return [(middle, angle) for _, middle, angle in found[:16]]
