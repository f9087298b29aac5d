"""The map's outlines and lines: boundary, usable ground, what is kept clear, reach, contours, rows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from setout.draw import palette
from setout.draw.rings import points_left, rings_of
from setout.units import show_area, show_length
from setout.words import plan
from setout.write.map import treedata
from setout.write.map.leaflet import Look, PlanLayer, line_layer, shape_layer

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from folium.map import Layer
    from shapely.geometry.base import BaseGeometry

    from setout.model import Exclusion, Planting
    from setout.write.map.leaflet import Rings

DRAWN_TO: Final = 0.15
"""Tolerance [m] to which outlines of ground and contours are drawn, at least."""
MOST_POINTS: Final = 150_000
"""Points that the outlines may have together; above, they are drawn more coarsely, and the map says so."""
SEGMENT: Final = 400.0
"""Longest straight piece [m] taken to Web Mercator as one: its middle is off by less than 1 cm."""
COUNT: Final = "{:,}"


@dataclass(frozen=True, slots=True)
class Entry:
    """One layer as the panel lists it.

    Attributes
    ----------
    key : what the page's script knows it by
    title : what people read
    swatch : its picture in the legend, SVG of 26 by 16 px
    group : heading it stands under
    count : a figure beside it, with its unit
    on : shown when the map opens
    """

    key: str
    title: str
    swatch: str
    group: str
    count: str = ""
    on: bool = True


Drawn = tuple[Entry, "Layer"]


class Drawer:
    """Takes shapes from the frame to layers of the map, as finely as their number allows."""

    def __init__(self, planting: Planting) -> None:
        self.planting = planting
        self.units = planting.site.units
        self.earth = {"earth": treedata.earth(planting)}
        usable = planting.usable
        shapes = [e.geometry for e in (*usable.exclusions, *usable.height_limits)] + list(usable.geometry)
        self.tolerance = coarse_enough(shapes)

    def rings(self, geometry: BaseGeometry, about: Sequence[tuple[str, str]] = (), tolerance: float = 0.0) -> Rings:
        """Return a shape's rings on Web Mercator, to a tolerance [m], and what is to be said of it."""
        points, lengths = rings_of(geometry, tolerance, SEGMENT)
        x, y = treedata.frame_to_mercator(self.planting, points[:, 0], points[:, 1])
        return np.column_stack([x, y]), lengths, about

    def _coarse(self, geometry: BaseGeometry, about: Sequence[tuple[str, str]] = ()) -> Rings:
        return self.rings(geometry, about, self.tolerance)

    def contours(self, contours: Sequence[tuple[float, shapely.LineString]]) -> Iterator[Drawn]:
        """Yield the contours, every fifth one heavier and apart."""
        if not contours:
            return
        levels, lines = [level for level, _ in contours], [line for _, line in contours]
        heavy = plan.index_contours(levels)
        kinds = (("contours", "Contours", ~heavy, 0.8), ("contours5", "Index contours", heavy, 1.7))
        for key, title, mask, weight in kinds:
            own = np.flatnonzero(mask).tolist()
            if not own:
                continue
            options = {"colours": [palette.CONTOUR], "widths": [weight], "opacity": 0.85, "pane": "lines"}
            if key == "contours5":
                options["pane"] = "over"  # their labels stay legible among trees
                options["labels"] = [show_length(levels[i], self.units, 0) for i in own]
            packed = [self.rings(lines[i], (), DRAWN_TO)[:2] for i in own]
            layer = line_layer(title, packed, options | self.earth)
            yield Entry(key, title, palette.swatch_curve(palette.CONTOUR, weight), "Terrain"), layer

    def usable(self) -> Iterator[Drawn]:
        """Yield the usable ground."""
        usable = self.planting.usable
        features = []
        for block, shape in zip(usable.block, usable.geometry, strict=True):
            title = f"Block {block}" if block else "In no block"
            about = (("Usable ground", title), ("Area", show_area(shape.area, self.units)))
            features.append(self._coarse(shape, about))
        total = show_area(float(sum(shape.area for shape in usable.geometry)), self.units)
        look = Look(palette.USABLE_EDGE, 1.2, fill=palette.USABLE, fillOpacity=0.6)
        layer = shape_layer("Usable ground", features, look, closed=True)
        swatch = palette.swatch_box(palette.USABLE, palette.USABLE_EDGE)
        yield Entry("usable", "Usable ground", swatch, "Ground", total), layer

    def reach(self) -> Iterator[Drawn]:
        """Yield the ground that each water point can serve; shown when asked for."""
        reach, water = self.planting.reach, self.planting.site.water
        if reach is None or water is None or not np.isfinite(reach.max_run_m):
            return
        features = [
            self._coarse(area, (("Reach", name), ("Area", show_area(area.area, self.units))))
            for name, area in zip(water.points.name, reach.areas, strict=True)
            if area is not None and not area.is_empty
        ]
        if not features:
            return
        look = Look(palette.WATER, 1.4, fill=palette.WATER, fillOpacity=0.06, dashArray="2 4")
        layer = shape_layer("Reach of water", features, look, closed=True, show=False)
        swatch = palette.swatch_box(palette.WATER, palette.WATER, dash="2 3", opacity=0.08)
        yield Entry("reach", "Reach of water", swatch, "Water", on=False), layer

    def kept_clear(self) -> Iterator[Drawn]:
        """Yield ground kept clear, a layer a reason; the reason taken first lies on top."""
        reasons: dict[str, list[Exclusion]] = {}
        for exclusion in self.planting.usable.exclusions:
            reasons.setdefault(exclusion.reason, []).append(exclusion)
        hatches = palette.hatches_for(reasons)
        for i, (reason, exclusions) in reversed(list(enumerate(reasons.items()))):
            edge = hatches[reason].colour
            features = [self._coarse(e.geometry, self._about(e)) for e in exclusions]
            look = Look(edge, 1.0, fill=f"url(#kept{i})", fillOpacity=0.62, opacity=0.6)
            layer = shape_layer(reason, features, look, closed=True)
            area = show_area(sum(e.alone_m2 for e in exclusions), self.units)
            yield (Entry(f"kept{i}", reason, palette.swatch_box(f"url(#kept{i})", edge), plan.KEPT_CLEAR, area), layer)

    def _about(self, e: Exclusion) -> list[tuple[str, str]]:
        distance = show_length(e.distance_m, self.units) if e.distance_m > 0 else ""
        rows = [
            (plan.KEPT_CLEAR, e.reason),
            ("From", e.source),
            ("Clear distance", distance),
            ("Takes alone", show_area(e.alone_m2, self.units)),
            ("Takes newly", show_area(e.newly_m2, self.units)),
        ]
        return [row for row in rows if row[1]]

    def height_limits(self) -> Iterator[Drawn]:
        """Yield ground where mature height is capped, a layer a limit."""
        limits = self.planting.site.height_limits
        for i, (limit, ground) in enumerate(zip(limits, self.planting.usable.height_limits, strict=True)):
            height = show_length(limit.height_m, self.units)
            about = [
                ("Height limit", limit.why),
                ("Greatest mature height", height),
                ("Within", show_length(limit.within_m, self.units)),
                ("From", limit.source),
            ]
            look = Look(palette.HEIGHT, 1.8, fill=palette.HEIGHT, fillOpacity=0.07, dashArray="5 4")
            title = f"{limit.why}: mature height at most {height}"
            layer = shape_layer(title, [self._coarse(ground.geometry, about)], look, closed=True)
            swatch = palette.swatch_box(palette.HEIGHT, palette.HEIGHT, dash="4 3", opacity=0.08)
            yield Entry(f"height{i}", title, swatch, plan.KEPT_CLEAR), layer

    def boundary(self) -> Iterator[Drawn]:
        """Yield the property line."""
        boundary = self.planting.site.boundary
        look = Look(palette.INK, 2.2, dashArray="16 4 3 4 3 4", pane="edges")
        layer = shape_layer("Boundary", [self.rings(boundary)], look, closed=True)
        area = show_area(boundary.area, self.units)
        yield Entry("boundary", "Boundary", palette.SWATCH_BOUNDARY, "Ground", area), layer

    def rows(self) -> Iterator[Drawn]:
        """Yield the row lines, as they run, on one canvas."""
        lines = self.planting.rows.line
        if not len(lines):
            return
        options = {"colours": [palette.ROW], "widths": [1.0], "opacity": 0.75, "pane": "lines", "thin": 1.2}
        packed = [self.rings(line)[:2] for line in lines.tolist()]
        layer: PlanLayer = line_layer("Rows", packed, options | self.earth)
        count = COUNT.format(self.planting.rows.x0.size)
        yield Entry("rows", "Rows", palette.swatch_line(palette.ROW), "Planting", count), layer


def coarse_enough(shapes: Sequence[BaseGeometry]) -> float:
    """Return the tolerance [m] at which outlines have few enough points for a map.

    >>> coarse_enough([shapely.box(0, 0, 9, 9)])
    0.15
    """
    tolerance = DRAWN_TO
    while tolerance < 10 and points_left(shapes, tolerance) > MOST_POINTS:
        tolerance *= 2
    return tolerance
