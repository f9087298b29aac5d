"""The interactive map: one file that opens anywhere, also where there is no network."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from markupsafe import Markup

from setout.nouns import Finding, Floats, Planting
from setout.units import show_area, show_length, show_pressure

from . import palette, treedata, wording

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from .maplayer import Layer, OfflineMap, PlanLayer

DRAWN_TO: Final = 0.15
"""Tolerance [m] to which outlines of ground kept clear and contours are drawn, at least."""
MOST_POINTS: Final = 150_000
"""Points that all those outlines may have together; above, they are drawn more coarsely, and the map says so."""
MOST_LISTED: Final = 200
"""Findings listed in the panel."""
MOST_FINDINGS: Final = 4000
"""Findings the map carries."""
SEGMENT: Final = 400.0
"""Longest straight piece [m] taken to Web Mercator as one: its middle is off by less than 1 cm."""
COUNT_FORMAT: Final = "{:,}"

Rings = tuple["NDArray[np.float64]", "NDArray[np.int64]", Sequence[tuple[str, str]]]


@dataclass(frozen=True, slots=True)
class Entry:
    """One layer as the panel lists it: key, title, count, swatch (SVG), whether it is on, the group it stands in."""

    key: str
    title: str
    swatch: Markup
    group: str
    count: str = ""
    on: bool = True


@dataclass(frozen=True, slots=True)
class _Made:
    entry: Entry
    layer: Layer


def write_map(
    path: Path, planting: Planting, *, hillshade: tuple[bytes, tuple[float, float, float, float]] | None,
    contours: Sequence[tuple[float, shapely.LineString]] = (), reach: Sequence[tuple[str, BaseGeometry]] = (),
    compact: bool | None = None,
) -> None:  # fmt: skip
    """Write the interactive map as one HTML file that asks for nothing from outside.

    Parameters
    ----------
    path : Path
        The file.
    planting : Planting
        The finished plan.
    hillshade : tuple or None
        PNG in Web Mercator and its bounds (south, west, north, east) [deg, WGS 84]; None where there is no DEM.
    contours : Sequence
        (elevation [m], line in the frame).
    reach : Sequence
        (name of the water point, ground it can serve in the frame).
    compact : bool, optional
        Deflate the trees, for browsers since 2023; as their number asks when absent.

    Raises
    ------
    SetoutError
        The script library that the map carries is not installed.
    OSError
        The file cannot be written.
    """
    from .maplayer import OfflineMap, Start, shape_layer

    drawer = _Drawer(planting, shape_layer)
    made = [
        *_relief(hillshade),
        *drawer.contours(contours),
        *drawer.usable(),
        *drawer.reach(reach),
        *drawer.kept_clear(),
        *drawer.height_limits(),
        *drawer.boundary(),
        *drawer.rows(),
        *_trees(planting, compact),
        *_water_points(planting),
        *_finding_marks(planting),
    ]
    page = _page(planting, [m.entry for m in made], drawer.tolerance)
    frame = planting.site.frame
    page_map: OfflineMap = OfflineMap(page, (frame.lat, frame.lon))
    for each in made:
        each.layer.add_to(page_map)
    page_map.add_child(Start(_data(planting), {m.entry.key: m.layer for m in made}))
    page_map.save_to(path)


class _Page(dict[str, Any]):
    """What the page template says; ``hash`` gives the integrity word of a script that may run."""

    __getattr__ = dict.__getitem__

    @staticmethod
    def hash(script: str) -> str:
        digest = hashlib.sha256(str(script).encode("utf-8")).digest()
        return "sha256-" + base64.b64encode(digest).decode("ascii")


def _page(planting: Planting, entries: Sequence[Entry], tolerance: float) -> _Page:
    site, findings = planting.site, planting.findings
    order = {e.key: e for e in entries}
    first = ("trees", "rows", "water", "findings")
    top_down = sorted(reversed(order.values()), key=lambda e: first.index(e.key) if e.key in first else len(first))
    groups = [
        {"title": title, "layers": [e for e in top_down if e.group == title]}
        for title in ("Planting", "Ground", "Ground kept clear", "Terrain")
    ]
    listed = [
        {"index": i, "severity": f.severity, "word": wording.SEVERITY[f.severity], "message": f.message}
        for i, f in enumerate(findings[:MOST_LISTED])
    ]
    left = len(findings) - len(listed)
    ids = planting.facts["tree_id"]
    return _Page(
        title=site.name,
        counts_line=wording.counts_line(planting),
        example_id=str(ids[0]) if len(ids) else "",
        groups=groups,
        findings=listed,
        finding_count=COUNT_FORMAT.format(len(findings)),
        findings_left=f"{left:,} more are in the layer findings of plan.gpkg." if left else "",
        marks={name: Markup(palette.mark_svg(name)) for name in palette.MARKS},
        cautions=wording.CAUTIONS,
        measured=tuple(wording.measured_how(planting)),
        drawn=(
            "Trees, rows, boundary and water points are drawn where they are, to the millimetre. Outlines of ground kept"
            f" clear and contours are drawn to within {show_length(tolerance, site.units)}; plan.gpkg holds them exactly."
        ),
        defs=Markup(palette.hatch_defs("kept", len(palette.HATCHES))),
    )


def _data(planting: Planting) -> dict[str, Any]:
    from pyproj import Geod

    site = planting.site
    wgs84 = Geod(ellps="WGS84")
    return {
        "units": site.units,
        "earth": {"a": wgs84.a, "e2": wgs84.es, "scale": site.frame.scale},
        "box": _box(planting, site.boundary),
        "colours": palette.TREES,
        "ramp": palette.RAMP,
        "ramps": [c for c in treedata.LABELS if c not in {"zone", "water_point", "watered", "water_reason"}],
        "order": {"plant": treedata.plant_texts(site), "block": [b.name for b in site.blocks]},
        "findings": [_finding(planting, f) for f in planting.findings[:MOST_FINDINGS]],
    }


def _finding(planting: Planting, finding: Finding) -> dict[str, Any]:
    about = [("Tree", finding.tree_id), ("Measured", finding.measured), ("Required", finding.required)]
    return {
        "severity": finding.severity,
        "code": finding.code,
        "message": finding.message,
        "tree": finding.tree_id,
        "about": [row for row in (*about, ("Remedy", finding.remedy)) if row[1]],
        "box": _box(planting, finding.geometry) if _has_place(finding) else None,
    }


def _has_place(finding: Finding) -> bool:
    return finding.geometry is not None and not finding.geometry.is_empty


def _box(planting: Planting, geometry: BaseGeometry | None) -> list[list[float]]:
    xy = shapely.get_coordinates(geometry)
    lon, lat = planting.site.frame.to(treedata.WGS84, xy[:, 0], xy[:, 1])
    return [[round(float(lat.min()), 8), round(float(lon.min()), 8)], [round(float(lat.max()), 8), round(float(lon.max()), 8)]]


class _Drawer:
    """Takes shapes from the frame to the page, as finely as their number allows."""

    def __init__(self, planting: Planting, shape_layer: Any) -> None:
        self.planting = planting
        self.shape_layer = shape_layer
        self.units = planting.site.units
        outlines = [e.geometry for e in (*planting.usable.exclusions, *planting.usable.height_limits)]
        self.tolerance = _tolerance([*outlines, *planting.usable.geometry])

    def _rings(self, geometry: BaseGeometry, about: Sequence[tuple[str, str]] = ()) -> Rings:
        from .maplayer import rings_of

        points, lengths = rings_of(shapely.segmentize(geometry, SEGMENT))
        x, y = treedata.frame_to_mercator(self.planting, points[:, 0], points[:, 1])
        return np.column_stack([x, y]), lengths, about

    def _coarse(self, geometry: BaseGeometry, tolerance: float = 0.0) -> BaseGeometry:
        return shapely.simplify(geometry, tolerance or self.tolerance, preserve_topology=True)

    def boundary(self) -> list[_Made]:
        """Return the property line."""
        from .maplayer import Look

        boundary = self.planting.site.boundary
        look = Look(palette.INK, 2.2, dashArray="16 4 3 4 3 4", pane="edges", canvas=False)
        layer = self.shape_layer("Boundary", [self._rings(boundary)], look, closed=True)
        swatch = f'<path d="M1 10H29" stroke="{palette.INK}" stroke-width="2.4" stroke-dasharray="10 3 2 3 2 3" fill="none"/>'
        entry = Entry("boundary", "Boundary", Markup(swatch), "Ground", show_area(boundary.area, self.units))
        return [_Made(entry, layer)]

    def usable(self) -> list[_Made]:
        """Return the usable ground."""
        from .maplayer import Look

        usable = self.planting.usable
        features = [
            self._rings(
                self._coarse(shape),
                (("Ground", f"Block {block}" if block else "Usable ground"), ("Usable", show_area(shape.area, self.units))),
            )
            for block, shape in zip(usable.block, usable.geometry, strict=True)
        ]
        total = sum(float(shape.area) for shape in usable.geometry)
        look = Look(palette.USABLE_EDGE, 1.2, fill=palette.USABLE, fillOpacity=0.55)
        swatch = (
            f'<rect x="1.5" y="2.5" width="27" height="15" rx="2" fill="{palette.USABLE}" fill-opacity="0.7"'
            f' stroke="{palette.USABLE_EDGE}" stroke-width="1.2"/>'
        )
        layer = self.shape_layer("Usable ground", features, look, closed=True)
        return [_Made(Entry("usable", "Usable ground", Markup(swatch), "Ground", show_area(total, self.units)), layer)]

    def kept_clear(self) -> list[_Made]:
        """Return ground kept clear, one layer a reason, in the order in which the plan takes it."""
        from .maplayer import Look

        reasons: dict[str, list[Rings]] = {}
        areas: dict[str, float] = {}
        for e in self.planting.usable.exclusions:
            about = [("Kept clear", e.reason), ("From", e.source)]
            if e.distance_m > 0:
                about.append(("Clear distance", show_length(e.distance_m, self.units)))
            about += [("Takes alone", show_area(e.alone_m2, self.units)), ("Takes newly", show_area(e.newly_m2, self.units))]
            reasons.setdefault(e.reason, []).append(self._rings(self._coarse(e.geometry), about))
            areas[e.reason] = areas.get(e.reason, 0.0) + e.alone_m2
        made = []
        for i, (reason, features) in enumerate(reasons.items()):
            at = i % len(palette.HATCHES)
            look = Look(palette.hatch(i).colour, 1.0, fill=f"url(#kept{at})", opacity=0.8)
            swatch = (
                f'<rect x="1.5" y="2.5" width="27" height="15" rx="2" fill="url(#kept{at})"'
                f' stroke="{palette.hatch(i).colour}" stroke-width="1"/>'
            )
            entry = Entry(f"kept{i}", reason, Markup(swatch), "Ground kept clear", show_area(areas[reason], self.units))
            made.append(_Made(entry, self.shape_layer(reason, features, look, closed=True)))
        return made[::-1]

    def height_limits(self) -> list[_Made]:
        """Return ground where mature height is capped, one layer a reason."""
        from .maplayer import Look

        made = []
        heights = {limit.why: limit.height_m for limit in self.planting.site.height_limits}
        for i, e in enumerate(self.planting.usable.height_limits):
            height = show_length(heights[e.reason], self.units) if e.reason in heights else ""
            about = [("Height limit", e.reason), ("From", e.source), ("Within", show_length(e.distance_m, self.units))]
            about += [("Greatest mature height", height)] if height else []
            look = Look(palette.HEIGHT, 1.8, fill=palette.HEIGHT, fillOpacity=0.07, dashArray="5 4")
            swatch = (
                '<rect x="1.5" y="2.5" width="27" height="15" rx="2" fill=palette.HEIGHT fill-opacity="0.1" stroke=palette.HEIGHT'
                ' stroke-width="1.6" stroke-dasharray="4 3"/>'
            )
            title = f"{e.reason}: at most {height}" if height else e.reason
            layer = self.shape_layer(title, [self._rings(self._coarse(e.geometry), about)], look, closed=True)
            made.append(_Made(Entry(f"height{i}", title, Markup(swatch), "Ground kept clear"), layer))
        return made

    def reach(self, reach: Sequence[tuple[str, BaseGeometry]]) -> list[_Made]:
        """Return the ground that each water point can serve."""
        from .maplayer import Look

        features = [
            self._rings(self._coarse(shape), (("Reach", name), ("Ground served", show_area(shape.area, self.units))))
            for name, shape in reach
            if not shape.is_empty
        ]
        if not features:
            return []
        look = Look(palette.WATER, 1.4, fill=palette.WATER, fillOpacity=0.06, dashArray="2 4")
        swatch = (
            f'<rect x="1.5" y="2.5" width="27" height="15" rx="2" fill="{palette.WATER}" fill-opacity="0.08"'
            f' stroke="{palette.WATER}" stroke-width="1.4" stroke-dasharray="2 3"/>'
        )
        layer = self.shape_layer("Reach of water", features, look, closed=True, show=False)
        return [_Made(Entry("reach", "Reach of water", Markup(swatch), "Ground", on=False), layer)]

    def contours(self, contours: Sequence[tuple[float, shapely.LineString]]) -> list[_Made]:
        """Return the contours, every fifth one heavier."""
        from .maplayer import Look

        if not contours:
            return []
        lines = np.array([self._coarse(line, DRAWN_TO) for _, line in contours], object)
        heavy = wording.index_contours([level for level, _ in contours])
        made = []
        for key, title, mask, look in (
            ("contours", "Contours", ~heavy, Look(palette.CONTOUR, 0.8, opacity=0.8, pane="lines", canvas=True)),
            ("contours5", "Index contours", heavy, Look(palette.CONTOUR, 1.7, opacity=0.95, pane="lines", canvas=True)),
        ):
            if not mask.any():
                continue
            layer = self.shape_layer(title, [self._rings(shapely.MultiLineString(list(lines[mask])))], look, closed=False)
            swatch = f'<path d="M1 14Q9 2 16 9T29 6" fill="none" stroke="{palette.CONTOUR}" stroke-width="{look.weight}"/>'
            made.append(_Made(Entry(key, title, Markup(swatch), "Terrain"), layer))
        return made

    def rows(self) -> list[_Made]:
        """Return the row lines, on one canvas."""
        from .maplayer import Look

        rows = self.planting.rows
        if not rows.x0.size:
            return []
        ends = np.stack([np.column_stack([rows.x0, rows.y0]), np.column_stack([rows.x1, rows.y1])], axis=1)
        look = Look(palette.ROW, 1.0, opacity=0.75, pane="lines", canvas=True)
        layer = self.shape_layer("Rows", [self._rings(shapely.multilinestrings(shapely.linestrings(ends)))], look, closed=False)
        swatch = f'<path d="M1 6H29M1 14H29" stroke="{palette.ROW}" stroke-width="1.2"/>'
        return [_Made(Entry("rows", "Rows", Markup(swatch), "Planting", COUNT_FORMAT.format(rows.x0.size)), layer)]


def _tolerance(shapes: Sequence[BaseGeometry]) -> float:
    tolerance = DRAWN_TO
    parts = np.array(shapes, object)
    if shapely.get_num_coordinates(parts).sum() <= MOST_POINTS:
        return tolerance
    while tolerance < 10 and shapely.get_num_coordinates(shapely.simplify(parts, tolerance)).sum() > MOST_POINTS:
        tolerance *= 2
    return tolerance


def _relief(hillshade: tuple[bytes, tuple[float, float, float, float]] | None) -> list[_Made]:
    if hillshade is None:
        return []
    from folium.raster_layers import ImageOverlay

    png, (south, west, north, east) = hillshade
    uri = "data:image/png;base64," + base64.b64encode(png).decode("ascii")
    layer = ImageOverlay(uri, [[south, west], [north, east]], pixelated=False, name="Hillshade", opacity=0.55, pane="relief")
    swatch = (
        '<rect x="1.5" y="2.5" width="27" height="15" rx="2" fill="#e9e5da"/><path d="M1.5 17.5L10 6l5 6 5-8 8.5 13.5Z" fill="#a9a69c"/>'
        '<path d="M10 6l5 6-2 5.5H5ZM20 4l8.5 13.5H22Z" fill="#7f7c73"/>'
    )
    return [_Made(Entry("hillshade", "Hillshade", Markup(swatch), "Terrain"), layer)]


def _trees(planting: Planting, compact: bool | None) -> list[_Made]:
    from .maplayer import PlanLayer

    if not len(planting.trees):
        return []
    scale = {"scale": planting.site.frame.scale, **_ellipsoid()}
    options = {"colours": palette.TREES, "edge": palette.INK, "attention": palette.ATTENTION, "earth": scale}
    layer: PlanLayer = PlanLayer("Trees", "trees", treedata.tree_block(planting, compact=compact), options)
    swatch = "".join(
        f'<circle cx="{6 + 9 * i}" cy="10" r="4.6" fill="{palette.TREES[i]}" stroke="{palette.INK}" stroke-opacity="0.5"'
        ' stroke-width="0.8"/>'
        for i in range(3)
    )
    entry = Entry("trees", "Trees", Markup(swatch), "Planting", COUNT_FORMAT.format(len(planting.trees)))
    return [_Made(entry, layer)]


def _ellipsoid() -> Mapping[str, float]:
    from pyproj import Geod

    wgs84 = Geod(ellps="WGS84")
    return {"a": wgs84.a, "e2": wgs84.es}


def _water_points(planting: Planting) -> list[_Made]:
    from .maplayer import PlanLayer

    water = planting.site.water
    if water is None or not water.points.name:
        return []
    points, units = water.points, planting.site.units
    marks = []
    for i, (name, at) in enumerate(zip(points.name, _lat_lon(planting, points.x, points.y), strict=True)):
        about = [
            ("Elevation", show_length(points.z[i], units, 1) if np.isfinite(points.z[i]) else ""),
            ("Static pressure", show_pressure(points.pressure_kpa[i], units) if np.isfinite(points.pressure_kpa[i]) else ""),
            ("Flow", treedata.show_flow(points.flow_lph[i], units) if np.isfinite(points.flow_lph[i]) else ""),
            ("Trees it serves", _served(planting, name)),
        ]
        marks.append({"at": at, "mark": "water", "title": name, "kind": "Water point", "about": [a for a in about if a[1]]})
    layer: PlanLayer = PlanLayer("Water points", "marks", marks, {"size": 26})
    swatch = f'<g transform="translate(5 0) scale(0.84)">{palette.mark_svg("water")}</g>'
    entry = Entry("water", "Water points", Markup(swatch), "Planting", COUNT_FORMAT.format(len(marks)))
    return [_Made(entry, layer)]


def _served(planting: Planting, name: str) -> str:
    served = planting.facts.get("water_point")
    return "" if served is None else COUNT_FORMAT.format(int((np.asarray(served, str) == name).sum()))


def _finding_marks(planting: Planting) -> list[_Made]:
    from .maplayer import PlanLayer

    marks = []
    for finding in planting.findings[:MOST_LISTED]:
        if finding.geometry is None or finding.geometry.is_empty or finding.tree_id:
            continue
        point = finding.geometry.representative_point()
        at = _lat_lon(planting, np.array([point.x]), np.array([point.y]))[0]
        about = _finding(planting, finding)["about"]
        marks.append({"at": at, "mark": finding.severity, "title": finding.message, "kind": finding.severity, "about": about})
    if not marks:
        return []
    layer: PlanLayer = PlanLayer("Findings", "marks", marks, {"size": 22})
    swatch = f'<g transform="translate(5 0) scale(0.84)">{palette.mark_svg("warn")}</g>'
    return [_Made(Entry("findings", "Findings", Markup(swatch), "Planting", COUNT_FORMAT.format(len(marks))), layer)]


def _lat_lon(planting: Planting, x: Floats, y: Floats) -> list[list[float]]:
    lon, lat = planting.site.frame.to(treedata.WGS84, x, y)
    return np.round(np.column_stack([lat, lon]), 8).tolist()
