"""GPX: waypoints, routes and tracks, in WGS 84 by the standard (GPX 1.1, Topografix, 2004)."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from pyproj import CRS, Geod
from shapely.geometry import LineString, MultiLineString, Point, Polygon

from setout.errors import SetoutError
from setout.model import Finding
from setout.read.found import Found, LayerInfo, objects, text_of
from setout.read.reference import did_you_mean

if TYPE_CHECKING:
    from pathlib import Path

    from shapely.geometry.base import BaseGeometry

WGS84 = CRS.from_epsg(4326)
CLOSE_M = 10.0
"""A walked boundary whose ends are nearer than this is closed, with a finding [m]; common practice."""
CLOSE_SHARE = 0.02
"""... or nearer than this share of its length; common practice."""


def layers(path: Path, source: str) -> tuple[LayerInfo, ...]:
    """Return which of waypoints, routes and tracks the file holds."""
    out: list[LayerInfo] = []
    for name, items in _content(path, source).items():
        kinds = {shape.geom_type for _, shape in items}
        if items:
            out.append(LayerInfo(name, kinds.pop() if len(kinds) == 1 else "MultiLineString", len(items)))
    return tuple(out)


def read(path: Path, layer: str | None, source: str, *, boundary: bool) -> Found:
    """Read waypoints, routes or tracks."""
    content = {name: items for name, items in _content(path, source).items() if items}
    if not content:
        raise SetoutError("holds no waypoint, route or track", source, "export the track again")
    if layer is not None:
        name = next((n for n in content if n.startswith(layer.casefold().rstrip("s"))), None)
        if name is None:
            raise SetoutError(f'there is no layer "{layer}"', source, did_you_mean(layer, content))
    else:
        able = [n for n in content if n != "waypoints"] if boundary and len(content) > 1 else list(content)
        if len(able) > 1:
            raise SetoutError(f"holds {' and '.join(able)}", source, f'name one: "{path.name}:{able[0]}"')
        name = able[0]
    items = content[name]
    columns = {
        "name": objects([item.name or "" for item, _ in items]),
        "description": objects([item.description or "" for item, _ in items]),
    }
    return Found(objects([shape for _, shape in items]), columns, WGS84, standard=True)


def closed(found: Found, source: str) -> Found:
    """Close walked lines into polygons; segments of one track are joined in order."""
    geod = Geod(ellps="WGS84")
    shapes: list[Any] = []
    findings = list(found.findings)
    for name, shape in zip(found.columns["name"].tolist(), found.geometry.tolist(), strict=True):
        xy = shapely.get_coordinates(shape)
        if shape.geom_type == "Point" or len(xy) < 3:
            raise SetoutError(
                "holds points, but a boundary is a track or route around the property",
                source,
                "walk the boundary as a track; corners as points go in a CSV, in order",
            )
        gap = geod.line_length(xy[[-1, 0], 0], xy[[-1, 0], 1])
        length = geod.line_length(xy[:, 0], xy[:, 1])
        label = f'{source}: track "{name}"' if name else source
        if gap > max(CLOSE_M, CLOSE_SHARE * length):
            raise SetoutError(
                f"its ends are {gap:.1f} m apart after {length:.0f} m, so it goes around nothing",
                label,
                "walk on to the first corner, or add the missing part to the track",
            )
        if gap > 0.01:
            findings.append(
                Finding(
                    "track_gap",
                    "warn",
                    f"{label}: its ends are {gap:.1f} m apart and were joined",
                    f"{gap:.1f} m",
                    "0 m",
                    "survey the corners if the line between them matters",
                )
            )
        shapes.append(Polygon(xy))
    findings.append(
        Finding(
            "gps_accuracy",
            "note",
            f"{source}: a walked track is as exact as its receiver, several metres for a handheld one;"
            " a property line is what a licensed surveyor says",
            "",
            "",
            "stake from surveyed corners near the line",
        )
    )
    return Found(objects(shapes), found.columns, found.crs, found.standard, tuple(findings))


def _content(path: Path, source: str) -> dict[str, list[tuple[Any, BaseGeometry]]]:
    import gpxpy
    from gpxpy.gpx import GPXException

    text = text_of(path, source)
    if "<!DOCTYPE" in text or "<!ENTITY" in text:
        raise SetoutError("holds a document type declaration, which GPX has no use for", source, "export it again")
    try:
        gpx = gpxpy.parse(text)
    except (GPXException, ValueError, TypeError) as error:
        said = str(error).removeprefix("Error parsing XML: ")[:200]
        raise SetoutError(f"is no GPX that can be read: {said}", source, "export the track again") from None
    tracks = [(track, _joined([_line(s.points, source) for s in track.segments if s.points])) for track in gpx.tracks]
    return {
        "waypoints": [(p, Point(p.longitude, p.latitude)) for p in _checked(gpx.waypoints, source)],
        "routes": [(route, _line(route.points, source)) for route in gpx.routes if route.points],
        "tracks": [(track, line) for track, line in tracks if line is not None],
    }


def _line(points: list[Any], source: str) -> LineString:
    xy = [(p.longitude, p.latitude) for p in _checked(points, source)]
    return LineString(xy if len(xy) > 1 else xy * 2)


def _joined(lines: list[LineString]) -> BaseGeometry | None:
    if not lines:
        return None
    return lines[0] if len(lines) == 1 else MultiLineString(lines)


def _checked(points: list[Any], source: str) -> list[Any]:
    for i, p in enumerate(points):
        if not (np.isfinite([p.latitude, p.longitude]).all() and abs(p.latitude) <= 90 and abs(p.longitude) <= 180):
            raise SetoutError(
                f"point {i + 1} has latitude {p.latitude}, longitude {p.longitude}",
                source,
                "a latitude is within 90, a longitude within 180 degrees",
            )
    return points
