"""Survey: bring everything that was read into one ground-true frame, and make it whole or refuse it.

A line between two surveyed points is the straight sight line on the ground: points are transformed, edges are not bent.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from typing import TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from setout.errors import Refusal, Refusals
from setout.geometry.lines import overlay
from setout.geometry.lines.overlay import parts_of, polygonal
from setout.model import Block, Figure, Finding, Floats, Frame, Geometries, NoPlant, Setback, Site, Survey, VectorLayer, Water
from setout.model.asked import Asked, BlockAsked, WaterAsked
from setout.stages.survey.frame import frame_of
from setout.stages.survey.water_points import joined, water_points

T = TypeVar("T")

REPAIRABLE = 0.01
"""Share of the area that a repair of crossing lines may change; beyond it the order of corners is in doubt."""
STRETCHED = 0.002
"""Scale error beyond which a grid is no use for measuring."""


def site_of(asked: Asked, survey: Survey) -> Site:
    """Make the site from its survey."""
    boundary, repairs = _whole(survey.boundary)
    frame = frame_of(boundary, survey.boundary.crs, survey.elevations, asked.elevation_m, asked.geoid_m)
    land = overlay.sound(_in_frame(np.array([boundary], object), survey.boundary.crs, frame)[0])
    findings = [*survey.findings, *survey.boundary.findings, *_placed(repairs, survey.boundary.crs, frame)]
    findings += _grid_findings(frame, land)
    tried = _Tried()
    moved = {name: tried(partial(_layer_in_frame, layer, frame, findings)) for name, layer in survey.layers.items()}
    tried.give_up()
    layers = {name: geometry for name, geometry in moved.items() if geometry is not None}
    findings += _left_out(asked, survey, layers)
    no_plant = [(s, tried(partial(_areas_only, layers[s.source], s.source))) for s in asked.no_plant]
    water = None if asked.water is None else tried(partial(_water, asked.water, survey, layers))
    blocks = [tried(partial(_block, one, layers)) for one in asked.blocks]
    tried.give_up()
    layers["boundary"] = np.array([shapely.boundary(land)], object)
    setbacks = tuple(replace(s, geometry=layers[s.source]) for s in asked.setbacks)
    kept = tuple(replace(s, geometry=area) for s, area in no_plant if area is not None)
    if water is not None:
        water = replace(water, closed=_closed(setbacks, kept), land=land)
    site = Site(
        asked.name,
        asked.units,
        frame,
        land,
        setbacks,
        kept,
        tuple(replace(s, geometry=layers[s.source]) for s in asked.height_limits),
        water,
        tuple(block for block in blocks if block is not None),
        _monuments(land),
    )
    findings += _far_features(site)
    return replace(site, findings=tuple(findings))


class _Tried:
    """Keeps the refusals of works that do not depend on each other, so that all are told at once."""

    def __init__(self) -> None:
        self._refusals: list[Refusal] = []

    def __call__(self, work: Callable[[], T]) -> T | None:
        """Return what a work gives; None when it cannot be done."""
        try:
            return work()
        except Refusal as refusal:
            self._refusals.append(refusal)
            return None

    def give_up(self) -> None:
        """Raise all refusals there were."""
        if self._refusals:
            raise Refusals(self._refusals)


def _whole(layer: VectorLayer) -> tuple[BaseGeometry, list[tuple[str, Floats, float]]]:
    """Join the boundary's parts and mend crossing lines; return (reason, place, area changed) of what was mended."""
    parts: list[BaseGeometry] = []
    mended: list[tuple[str, Floats, float]] = []
    for geometry in layer.geometry:
        if shapely.is_valid(geometry):
            parts.append(geometry)
            continue
        reason = str(shapely.is_valid_reason(geometry))
        place = np.array([float(v) for v in reason.partition("[")[2].rstrip("]").split()[:2]] or [np.nan, np.nan])
        fixed = polygonal(shapely.make_valid(geometry, method="structure", keep_collapsed=False))
        changed = abs(fixed.area - geometry.area)
        if fixed.is_empty or changed > REPAIRABLE * fixed.area:
            x, y = place.tolist()
            raise Refusal("boundary_crosses", reason=reason.partition("[")[0].strip().lower(), x=x, y=y, source=layer.source)
        mended.append((reason.partition("[")[0].strip().lower(), place, changed))
        parts.append(fixed)
    whole = polygonal(overlay.union(parts))
    if whole.is_empty or whole.area <= 0:
        raise Refusal("boundary_empty", source=layer.source)
    overlap = sum(float(part.area) for part in parts) - whole.area
    if overlap > 1e-9 * whole.area:
        mended.append(("", np.array([whole.centroid.x, whole.centroid.y]), overlap))
    return whole, mended


def _placed(mended: list[tuple[str, Floats, float]], crs: CRS, frame: Frame) -> Iterator[Finding]:
    for reason, place, changed in mended:
        x, y = frame.of(crs, place[:1], place[1:])
        point = shapely.Point(float(x[0]), float(y[0])) if np.isfinite(x[0]) else None
        figures: dict[str, Figure] = {"x": float(place[0]), "y": float(place[1]), "changed": changed, "unit": crs.axis_info[0].unit_name}
        figures |= {"kind": "crossing", "reason": reason} if reason else {"kind": "overlap"}
        yield Finding("boundary_repaired", "warn", geometry=point, figures=figures)


def _grid_findings(frame: Frame, land: BaseGeometry) -> Iterator[Finding]:
    """Say so where the survey's grid is no use for measuring distances."""
    low_x, low_y, high_x, high_y = land.bounds
    x, y = frame.to(frame.plane_crs, np.array([low_x, high_x]), np.array([low_y, high_y]))
    factor = frame.plane_crs.axis_info[0].unit_conversion_factor
    stretch = float(np.hypot(x[1] - x[0], y[1] - y[0]) * factor / np.hypot(high_x - low_x, high_y - low_y))
    if abs(stretch - 1) > STRETCHED:
        yield Finding("grid_stretched", "warn", figures={"crs": frame.plane_crs.name, "stretch": stretch, "most": STRETCHED})


def _in_frame(geometry: NDArray[np.object_], crs: CRS, frame: Frame) -> Geometries:
    def move(xy: Floats) -> Floats:
        return np.column_stack(frame.of(crs, xy[:, 0], xy[:, 1]))

    out: Geometries = shapely.transform(geometry, move)
    return out


def _layer_in_frame(layer: VectorLayer, frame: Frame, findings: list[Finding]) -> Geometries:
    """Take a layer's features to the frame; areas whose lines cross are mended with a finding."""
    findings += layer.findings
    geometry = _in_frame(layer.geometry, layer.crs, frame)
    if not np.isfinite(shapely.get_coordinates(geometry)).all():
        raise Refusal("layer_not_on_site", crs=layer.crs.name, source=layer.source)
    broken = ~shapely.is_valid(geometry)
    if broken.any():
        geometry = geometry.copy()
        geometry[broken] = shapely.make_valid(geometry[broken])
        findings.append(
            Finding("feature_repaired", "note", geometry=geometry[broken][0], figures={"n": int(broken.sum()), "source": layer.source})
        )
    return geometry


def _left_out(asked: Asked, survey: Survey, layers: dict[str, Geometries]) -> Iterator[Finding]:
    """Name what no table of the plan file keeps clear of: for a reason, for none, or without a word."""
    for section in asked.left_out:
        place = shapely.union_all(shapely.centroid(layers[section.source]))
        figures: dict[str, Figure] = {"n": len(layers[section.source]), "source": section.source}
        if section.why:
            yield Finding("left_out", "note", geometry=place, figures={**figures, "why": section.why})
        else:
            yield Finding("left_out_unsaid", "stop", geometry=place, figures=figures)
    for what in survey.unused:
        yield Finding("layer_unused", "warn", figures={"what": what})


def _closed(setbacks: Sequence[Setback], no_plant: Sequence[NoPlant]) -> Geometries:
    """Return the areas that nobody lays a pipe through: buildings, ponds, septic fields, whatever has an outline of its own."""
    behind = [g for s in setbacks if s.source != "boundary" for g in s.geometry if shapely.get_dimensions(g) == 2]
    shapes = [*behind, *(g for area in no_plant for g in area.geometry)]
    out = np.empty(len(shapes), object)
    out[:] = shapes
    return out


def _areas_only(geometry: Geometries, source: str) -> Geometries:
    areas = np.asarray(geometry[shapely.get_dimensions(geometry) == 2], object)
    if not len(areas):
        raise Refusal("area_without_polygons", source=source)
    return areas


def _block(asked: BlockAsked, layers: dict[str, Geometries]) -> Block:
    """Return a block with its ground, its line and its points in the frame."""

    def area_of(reference: str | None) -> BaseGeometry | None:
        if reference is None:
            return None
        return polygonal(overlay.union(_areas_only(layers[reference], reference)))

    return replace(
        asked.block,
        area=area_of(asked.area),
        line=None if asked.line is None else _line_of(layers[asked.line], asked.line),
        points=None if asked.points is None else _points_of(layers[asked.points], asked.points),
        yard=area_of(asked.yard),
    )


def _line_of(geometry: Geometries, source: str) -> BaseGeometry:
    """Return a guide line: lines joined where they meet, outlines of areas as lines."""
    lines = [shapely.boundary(g) if shapely.get_dimensions(g) == 2 else g for g in geometry]
    lines = [g for g in lines if shapely.get_dimensions(g) == 1]
    if not lines:
        raise Refusal("guide_without_lines", source=source)
    return shapely.line_merge(shapely.union_all(lines))


def _points_of(geometry: Geometries, source: str) -> Floats:
    """Return positions given one by one, in an order that does not depend on the file's."""
    points = shapely.get_parts(geometry)
    points = points[shapely.get_dimensions(points) == 0]
    if not len(points):
        raise Refusal("trees_without_points", source=source)
    xy = shapely.get_coordinates(points)
    ordered: Floats = xy[np.lexsort((np.round(xy[:, 1], 3), np.round(xy[:, 0], 3)))]
    return ordered


def _water(asked: WaterAsked, survey: Survey, layers: dict[str, Geometries]) -> Water:
    def gathered(references: tuple[str, ...]) -> Geometries:
        found = [layers[ref] for ref in references]
        return np.concatenate(found) if found else np.empty(0, object)

    points = joined([water_points(survey.layers[ref], layers[ref], asked.pressure_kpa, asked.flow_lph) for ref in asked.points])
    return Water(
        points,
        gathered(asked.barriers),
        asked.max_run_m,
        asked.min_pressure_kpa,
        ", ".join(asked.points),
        gathered(asked.sleeves),
        asked.plant_beyond,
    )


def _monuments(land: BaseGeometry) -> Floats:
    """Return the corners of the largest part of the boundary, in order."""
    largest = max(parts_of(land), key=lambda part: part.area)
    corners: Floats = shapely.get_coordinates(shapely.get_exterior_ring(largest))[:-1]
    return corners


def _far_features(site: Site) -> Iterator[Finding]:
    """Name the features that are too far away to matter, so that none is left out in silence."""
    rules = [(s.why, s.source, s.geometry, s.distance_m) for s in site.setbacks]
    rules += [(h.why, h.source, h.geometry, h.within_m) for h in site.height_limits]
    rules += [(n.why, n.source, n.geometry, 0.0) for n in site.no_plant]
    shapely.prepare(site.boundary)
    for why, source, geometry, distance in rules:
        far = int((~shapely.dwithin(site.boundary, geometry, distance + 100.0)).sum())
        if far:
            yield Finding(
                "feature_far",
                "note" if far < len(geometry) else "warn",
                figures={"n": far, "of": len(geometry), "source": source, "why": why},
            )
    unsized = [block.name for block in site.blocks if np.isnan(block.height_m)]
    if site.height_limits and unsized:
        yield Finding("height_unknown", "warn", figures={"blocks": tuple(unsized)})
    if site.water is not None:
        points = shapely.points(site.water.points.x, site.water.points.y)
        apart = np.atleast_1d(shapely.distance(site.boundary, points))
        outside = [n for n, d in zip(site.water.points.name, apart, strict=True) if d > 0]
        if outside:
            yield Finding("water_point_outside", "warn", figures={"points": tuple(outside), "n": len(outside)})
