"""The interactive map: one file that opens anywhere, also where there is no network."""

from __future__ import annotations

import base64
import hashlib
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from markupsafe import Markup

from setout.draw import palette
from setout.units import show_area, show_length, show_pressure
from setout.words import plan
from setout.words.findings import Told, all_told
from setout.words.grouped import kinds_of
from setout.words.systems import FILLER, short_words
from setout.write.map import treedata
from setout.write.map.growth import growth_options

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from shapely.geometry.base import BaseGeometry

    from setout.model import Floats, Planting
    from setout.words.grouped import Kind
    from setout.write.map.outlines import Drawn, Entry

Bounds = tuple[float, float, float, float]

MOST_LISTED: Final = 200
"""Kinds of findings listed in the panel."""
MOST_FINDINGS: Final = 4000
"""Findings of single trees that the map carries."""
GROUPS: Final = ("Planting", "Water", "Ground", plan.KEPT_CLEAR, "Terrain")
FIRST: Final = ("trees", "rows", "posts", "beds", "findings", "water", "valves", "mains", "laterals")
"""Layers that stand first under their heading, in this order."""
TEXTS: Final = ("watered", "water_reason", "zone", "water_point")
"""Columns of words by which trees can be coloured, beside plant and block."""


def write_map(
    path: Path,
    planting: Planting,
    *,
    hillshade: tuple[bytes, Bounds] | None,
    contours: Sequence[tuple[float, shapely.LineString]] = (),
    compact: bool | None = None,
) -> None:
    """Write the interactive map as one HTML file that asks for nothing from outside."""
    from setout.write.map import air, pipes, works
    from setout.write.map.leaflet import OfflineMap, Start
    from setout.write.map.outlines import Drawer

    drawer = Drawer(planting)
    drawn = [
        *_relief(hillshade),
        *drawer.usable(),
        *drawer.contours(contours),
        *drawer.reach(),
        *drawer.kept_clear(),
        *drawer.height_limits(),
        *air.cold_air(drawer),
        *drawer.boundary(),
        *works.beds(drawer),
        *works.screens(drawer),
        *drawer.rows(),
        *works.posts(planting),
        *pipes.laterals(planting),
        *_trees(planting, compact=compact),
        *pipes.mains(planting),
        *pipes.valves(planting),
        *_water_points(planting),
        *_finding_marks(planting),
    ]
    page = _page(planting, [entry for entry, _ in drawn], drawer.tolerance)
    the_map = OfflineMap(page, (planting.site.frame.lat, planting.site.frame.lon))
    for _, layer in drawn:
        layer.add_to(the_map)
    the_map.add_child(Start(_data(planting), {entry.key: layer for entry, layer in drawn}))
    the_map.save_to(path)


def script_hash(script: str) -> str:
    """Return the word by which the page's policy knows a script that may run (W3C Content Security Policy 3).

    >>> script_hash("alert(1)")
    'sha256-bhHHL3z2vDgxUt0W3dWQOrprscmda2Y5pLsLg4GF+pI='
    """
    return "sha256-" + base64.b64encode(hashlib.sha256(str(script).encode("utf-8")).digest()).decode("ascii")


def _trusted(svg: str) -> Markup:
    """Mark our own drawing, which holds no text from files, as needing no escape."""
    return Markup(svg)  # noqa: S704 - our own, texts escaped there


def _page(planting: Planting, entries: Sequence[Entry], tolerance: float) -> dict[str, Any]:
    """Return what the page template says."""
    from setout.write.map import pipes

    site, ids = planting.site, planting.trees.ids
    findings = all_told(planting.findings, site.units)
    drawn_last_first = list(reversed(entries))
    top_down = sorted(drawn_last_first, key=lambda e: FIRST.index(e.key) if e.key in FIRST else len(FIRST))
    kinds = kinds_of(findings, ids)
    listed = [
        {"index": i, "severity": k.worst.severity, "word": plan.SEVERITY[k.worst.severity], "message": k.said}
        for i, k in enumerate(kinds[:MOST_LISTED])
    ]
    count, left = (sum(kind.count for kind in kinds[start:]) for start in (0, MOST_LISTED))
    hatches = palette.hatches_for(e.reason for e in planting.usable.exclusions)
    return {
        "title": site.name,
        "counts_line": plan.counts_line(planting),
        "example_id": str(ids[0]) if len(planting.trees) else "",
        "groups": [{"title": t, "layers": [e for e in top_down if e.group == t]} for t in GROUPS],
        "swatches": {e.key: _trusted(e.swatch) for e in entries},
        "findings": listed,
        "finding_count": f"{count:,}",
        "findings_left": f"{left:,} more are in the layer findings of plan.gpkg." if left else "",
        "marks": {name: _trusted(palette.mark_svg(name)) for name in palette.MARKS},
        "zones": tuple(pipes.zone_lines(planting)),
        "plan_words": tuple(plan_words(planting)),
        "cautions": plan.CAUTIONS,
        "measured": tuple(plan.measured_how(planting)),
        "drawn": (
            "Trees, rows, boundary and water points are drawn to the millimetre. Outlines of ground and contours"
            f" are drawn to within {show_length(tolerance, site.units)}; plan.gpkg holds them exactly."
        ),
        "defs": _trusted(palette.hatch_defs("kept", hatches.values())),
        "hash": script_hash,
    }


def plan_words(planting: Planting) -> Iterator[tuple[str, str]]:
    """Yield every block and what stands in it, in words: what the map shows, for those who cannot see it."""
    units = planting.site.units
    for line, block in zip(plan.block_lines(planting), planting.site.blocks, strict=True):
        direction = plan.bearing_text(line.bearing_deg)
        rows = f" in {line.rows:,} row{'' if line.rows == 1 else 's'}" + (f" {direction}" if direction else "")
        plants = "; ".join(f"{count:,} {label}" for label, count in line.plants if count)
        area = f" on {show_area(line.area_m2, units)}" if line.area_m2 > 0 else ""
        yield (f"Block {line.name}", f"{line.trees:,} trees{rows}{area}: {short_words(block.pattern, units)}. {plants}.")


def _data(planting: Planting) -> dict[str, Any]:
    """Return what the page's script works with."""
    site = planting.site
    findings = all_told(planting.findings, planting.site.units)
    named = [finding for finding in findings if finding.tree_id]
    return {
        "units": site.units,
        "earth": treedata.earth(planting),
        "box": _box(planting, site.boundary),
        "colours": palette.TREES,
        "ramp": palette.RAMP,
        "ramps": [c for c in treedata.LABELS if c not in TEXTS],
        "texts": ["plant", "block", *TEXTS],
        "fillers": [text for text, kind in zip(treedata.plant_texts(site), plan.plant_kinds(site), strict=True) if kind[2] == FILLER],
        "order": {
            "plant": treedata.plant_texts(site),
            "block": [b.name for b in site.blocks],
            "zone": [zone.name for zone in planting.irrigation.zones] if planting.irrigation else [],
            "watered": ["yes", "no", ""],
        },
        "findings": [_finding(planting, f) for f in named[:MOST_FINDINGS]],
        "kinds": [_kind(planting, k) for k in kinds_of(findings, planting.trees.ids)[:MOST_LISTED]],
    }


def _kind(planting: Planting, kind: Kind) -> dict[str, Any]:
    """Return like findings as one, and the box round all their places."""
    told = _finding(planting, kind.worst)
    if len(kind.alike) == 1:
        return told
    places = [f.geometry for f in kind.alike if f.geometry is not None and not f.geometry.is_empty]
    where = [("First", ", ".join(kind.places))] if kind.places else []
    box = _box(planting, shapely.box(*shapely.total_bounds(places))) if places else None
    return told | {"message": kind.said, "tree": "", "about": [*where, *told["about"]], "box": box}


def _finding(planting: Planting, finding: Told) -> dict[str, Any]:
    place = finding.geometry
    return {
        "severity": finding.severity,
        "code": finding.code,
        "message": finding.message,
        "tree": finding.tree_id,
        "about": _about_finding(finding),
        "box": None if place is None or place.is_empty else _box(planting, place),
    }


def _about_finding(finding: Told) -> list[tuple[str, str]]:
    rows = [("Tree", finding.tree_id), ("Found", finding.measured), ("Asked for", finding.required), ("Remedy", finding.remedy)]
    return [row for row in rows if row[1]]


def _box(planting: Planting, geometry: BaseGeometry) -> list[list[float]]:
    """Return a geometry's bounds as the page's script takes them: [[south, west], [north, east]]."""
    xy = shapely.get_coordinates(geometry)
    lon, lat = planting.site.frame.to(treedata.WGS84, xy[:, 0], xy[:, 1])
    corners = [[lat.min(), lon.min()], [lat.max(), lon.max()]]
    return [[round(float(value), 8) for value in corner] for corner in corners]


def _lat_lon(planting: Planting, x: Floats, y: Floats) -> list[list[float]]:
    lon, lat = planting.site.frame.to(treedata.WGS84, x, y)
    return [[round(float(a), 8), round(float(b), 8)] for a, b in zip(lat, lon, strict=True)]


def _relief(hillshade: tuple[bytes, Bounds] | None) -> Iterator[Drawn]:
    if hillshade is None:
        return
    from setout.write.map.leaflet import PlanLayer
    from setout.write.map.outlines import Entry

    png, (south, west, north, east) = hillshade
    uri = "data:image/png;base64," + base64.b64encode(png).decode("ascii")
    layer = PlanLayer("Hillshade", "relief", {"uri": uri, "box": [[south, west], [north, east]]}, {"pane": "relief"})
    yield Entry("hillshade", "Hillshade", palette.SWATCH_RELIEF, "Terrain"), layer


def _trees(planting: Planting, *, compact: bool | None) -> Iterator[Drawn]:
    from setout.write.map.leaflet import PlanLayer
    from setout.write.map.outlines import COUNT, Entry

    if not len(planting.trees):
        return
    options = {
        "colours": palette.TREES,
        "edge": palette.INK,
        "attention": palette.ATTENTION,
        "earth": treedata.earth(planting),
        "growth": growth_options(planting),
    }
    layer = PlanLayer("Trees", "trees", treedata.tree_block(planting, compact=compact), options)
    count = COUNT.format(len(planting.trees))
    yield Entry("trees", "Trees", palette.SWATCH_TREES, "Planting", count), layer


def _water_points(planting: Planting) -> Iterator[Drawn]:
    from setout.write.map.leaflet import PlanLayer
    from setout.write.map.outlines import COUNT, Entry

    water = planting.site.water
    if water is None or not water.points.name:
        return
    points, units = water.points, planting.site.units
    served = planting.trees.water_index
    marks = []
    for i, (name, at) in enumerate(zip(points.name, _lat_lon(planting, points.x, points.y), strict=True)):
        z, kpa, flow = points.z[i], points.pressure_kpa[i], points.flow_lph[i]
        about = [
            ("Elevation", show_length(z, units, 1) if np.isfinite(z) else ""),
            ("Static pressure", show_pressure(kpa, units) if np.isfinite(kpa) else ""),
            ("Flow", treedata.show_flow(flow, units) if np.isfinite(flow) else ""),
            ("Trees it serves", "" if served is None else COUNT.format(int((np.asarray(served) == i).sum()))),
        ]
        known = [row for row in about if row[1]]
        marks.append({"at": at, "mark": "water", "title": name, "kind": "Water point", "about": known})
    layer = PlanLayer("Water points", "marks", marks, {"size": 26})
    swatch = palette.swatch_mark("water")
    yield Entry("water", "Water points", swatch, "Water", COUNT.format(len(marks))), layer


def _finding_marks(planting: Planting) -> Iterator[Drawn]:
    """Yield marks for the findings that have a place; those of single trees are rings around the tree."""
    from setout.write.map.leaflet import PlanLayer
    from setout.write.map.outlines import COUNT, Entry

    marks = []
    for f in all_told(planting.findings[:MOST_LISTED], planting.site.units):
        if f.geometry is None or f.geometry.is_empty or f.tree_id:
            continue
        point = f.geometry.representative_point()
        at = _lat_lon(planting, np.array([point.x]), np.array([point.y]))[0]
        about = _about_finding(f)
        marks.append({"at": at, "mark": f.severity, "title": f.message, "kind": f.severity, "about": about})
    if marks:
        layer = PlanLayer("Findings", "marks", marks, {"size": 22, "small": 15})
        swatch = palette.swatch_mark(str(marks[0]["mark"]))
        yield Entry("findings", "Findings", swatch, "Planting", COUNT.format(len(marks))), layer
