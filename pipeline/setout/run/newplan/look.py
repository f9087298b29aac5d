"""Look into survey files for what a plan file has to know about them."""

from __future__ import annotations

import os
import re
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Final, TypeVar

import numpy as np
import shapely

from setout import units as quantities
from setout.errors import Fault, PlanFaults, Refusal, SetoutError
from setout.model import transformer
from setout.model.text import is_blank
from setout.read import crs as crs_words
from setout.read import reference
from setout.read.found import box_of, chosen
from setout.read.raster import mosaic
from setout.read.vector import files as vector
from setout.run.newplan.text import SurveyedLayer, SurveyedSite, as_label
from setout.stages.recognise.features import SORTING, UNSAID, brackets_for, groups_of
from setout.stages.survey.water_points import water_points
from setout.tables.usual import WATER, Shape, meaning
from setout.tables.vocabulary import words_of
from setout.words.findings import all_told
from setout.words.refusals import worded

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from numpy.typing import NDArray
    from pyproj import CRS

    from setout.model import Elevations, Finding, VectorLayer
    from setout.read.reference import Reference

T = TypeVar("T")

MOST_KINDS: Final = 12
"""A column with more different values than this does not sort its features."""
Layer = tuple[str, str, int]
"""A layer as :func:`setout.read.vector.files.list_layers` gives it: name, kind of geometry, number of features."""
_ROWS: Final = 512
_SHAPES: Final[dict[str, Shape]] = {"Point": "point", "LineString": "line", "LinearRing": "line", "Polygon": "polygon"}
_US: Final = ((-125.0, 24.4, -66.9, 49.4), (-170.0, 52.0, -130.0, 71.5), (-160.3, 18.8, -154.7, 22.3))
"""Rough boxes around the lower 48 states, Alaska and Hawaii: west, south, east, north [deg]."""


@dataclass(frozen=True, slots=True)
class SurveyFiles:
    """The files of a survey, and what they do not say themselves.

    Attributes
    ----------
    boundary : file of the property line, or "file:layer"
    dem : rasters of the DEM
    features : files of features, or "file:layer"; the other layers of the boundary's file count in any case
    crs : coordinate system of files that do not say theirs
    dem_unit : unit of heights of a DEM that does not say it
    """

    boundary: Path
    dem: tuple[Path, ...] = ()
    features: tuple[Path, ...] = ()
    crs: str | None = None
    dem_unit: str | None = None


def look(folder: Path, files: SurveyFiles, units: str | None = None) -> SurveyedSite:
    """Look at all survey files of a site."""
    faults: list[Fault] = []

    def attempt(work: Callable[[], T]) -> T | None:
        try:
            return work()
        except SetoutError as error:
            faults.extend(_outside_a_plan(fault) for fault in error.faults)
            return None

    crs = attempt(lambda: crs_words.understood(files.crs, "--crs"))
    line = attempt(lambda: _boundary(files.boundary, folder, crs))
    places: dict[tuple[Path, str | None, tuple[str, str] | None], Reference] = {}
    for given in (*files.features, *((line[0].path,) if line else ())):
        for place in attempt(partial(_places, given, line[0] if line else None)) or []:
            places.setdefault((place.path.resolve(), place.layer, place.where), place)
    layers: list[SurveyedLayer] = []
    for place in places.values():
        layers += attempt(partial(_layers, place, folder, crs)) or []
    heights = attempt(lambda: _elevations(files, crs)) if files.dem else None
    chosen, why = _units(line[1], units) if line else ("us", "")
    ground = attempt(lambda: _dem_note(heights[0], line[1], chosen)) if heights and line else ""
    if line is None or faults:
        raise PlanFaults(tuple(dict.fromkeys(faults)))
    return SurveyedSite(
        name=as_label(folder.absolute().name.replace("-", " ")) or "orchard",
        units=chosen,
        units_why=why,
        boundary=line[0].text,
        boundary_note=_boundary_note(line[1], chosen),
        dem=tuple(_named(Path.cwd() / path, None, None, folder) for path in files.dem),
        dem_note=ground or "",
        layers=tuple(layers),
        crs=files.crs or "",
        dem_unit=files.dem_unit or "",
        doubts=_doubts((*line[1].findings, *(heights[1] if heights else ())), chosen),
    )


def _outside_a_plan(fault: Fault) -> Fault:
    """Mend a remedy that speaks of a plan file where there is none yet: the options say the same."""
    if "site.crs" not in fault.remedy and "site.dem_unit" not in fault.remedy:
        return fault
    remedy = re.sub(r"write site\.(crs|dem_unit) = ", r"say --\1 ", fault.remedy)
    remedy = remedy.replace(" in the plan file", "").replace("site.", "--").replace("dem_unit", "dem-unit")
    return replace(fault, remedy=remedy)


def _doubts(findings: Iterable[Finding], units: str) -> tuple[str, ...]:
    """Return what the readers doubted, without mere notes."""
    said = (f"{f.message}; {f.remedy}" if f.remedy else f.message for f in all_told(findings, units) if f.severity != "note")
    return tuple(dict.fromkeys(said))


def _named(path: Path, layer: str | None, where: tuple[str, str] | None, folder: Path, brackets: str = "") -> str:
    """Return the reference that a plan file in the folder names the data by, sure to be read back so.

    Brackets of a reference to be can be given in place of the ``where`` of one that is.
    """
    try:
        file = Path(os.path.relpath(path.absolute(), folder.absolute())).as_posix()
    except ValueError:  # another drive
        file = path.absolute().as_posix()
    text = file + (f":{layer}" if layer is not None else "") + (f"[{where[0]}={where[1]}]" if where else brackets)
    try:
        back = reference.parse(text, folder)
        found = (back.path.resolve(), back.layer) == (path.resolve(), layer) and (bool(brackets) or back.where == where)
    except SetoutError:
        found = False
    if not found:
        raise SetoutError(f'"{text}" cannot be written as a reference', str(path), "rename it: without colons and brackets")
    return text


# ---------- the property line


def _boundary(given: Path, folder: Path, crs: CRS | None) -> tuple[Reference, VectorLayer]:
    """Return the reference of the boundary and the boundary."""
    place = reference.parse(str(given), Path.cwd())
    layer = place.layer
    if layer is None and place.where is None:
        layer = _boundary_layer(vector.list_layers(place.path), place)
    named = reference.parse(_named(place.path, layer, place.where, folder), folder)
    return named, vector.read_boundary(named, crs=crs)


def _boundary_layer(infos: Sequence[Layer], place: Reference) -> str | None:
    """Return the layer that must be the boundary; None where the file has but one."""
    if len(infos) <= 1:
        return None
    fitting = [(name, kind) for name, kind, count in infos if "Point" not in kind and count]
    named = [name for name, _ in fitting if meaning(name).harmless == "a property line"]
    areal = [name for name, kind in fitting if "Polygon" in kind]
    for choice in (named, areal):
        if len(choice) == 1:
            return choice[0]
    could = named or areal or [name for name, _, _ in infos]
    raise SetoutError(
        f"several of its layers could be the boundary: {', '.join(could)}",
        str(place.path),
        f'say which: --boundary "{place.path}:{could[0]}"',
    )


def _middle(layer: VectorLayer) -> tuple[float, float]:
    """Return longitude and latitude of the middle of a layer [deg]."""
    west, south, east, north = box_of(layer.geometry)
    lon, lat = transformer(layer.crs, crs_words.GEODETIC).transform((west + east) / 2, (south + north) / 2)
    return float(lon), float(lat)


def _units(line: VectorLayer, asked: str | None) -> tuple[str, str]:
    if asked is not None:
        return asked, "as asked"
    unit = crs_words.unit_m(line.crs)
    if unit in (quantities.FOOT, quantities.US_SURVEY_FOOT):
        return "us", "the boundary is in feet"
    lon, lat = _middle(line)
    if any(west <= lon <= east and south <= lat <= north for west, south, east, north in _US):
        return "us", "the site seems to lie in the United States"
    return "si", "the boundary is not in feet"


def _boundary_note(line: VectorLayer, units: str) -> str:
    """Return area and coordinate system of the boundary, the area on the ellipsoid."""
    geod = line.crs.get_geod()
    area = 0.0
    to_degrees = transformer(line.crs, line.crs.geodetic_crs or crs_words.GEODETIC)
    for shape in line.geometry:
        moved = shapely.transform(shape, lambda xy: np.column_stack(to_degrees.transform(xy[:, 0], xy[:, 1])))
        area += abs(geod.geometry_area_perimeter(shapely.orient_polygons(moved))[0]) if geod else 0.0
    return f"{quantities.show_area(area, units)}, {crs_words.show(line.crs)}"


# ---------- the features


def _places(given: Path, taken: Reference | None) -> list[Reference]:
    """Return a reference for each layer that a file or "file:layer" names, the boundary's own left out."""
    place = reference.parse(str(given), Path.cwd())
    if place.layer is not None or place.where is not None:
        return [place]
    infos = vector.list_layers(place.path)
    same = taken is not None and place.path.resolve() == taken.path.resolve()
    if same and len(infos) <= 1:
        return []
    return [
        reference.Reference(place.path, name if len(infos) > 1 else None, None, name)
        for name, _, count in infos
        if not (same and taken is not None and taken.layer == name) and count
    ]


def _layers(place: Reference, folder: Path, crs: CRS | None) -> list[SurveyedLayer]:
    """Return what the features of one layer are: one entry for each kind of thing."""
    named = reference.parse(_named(place.path, place.layer, place.where, folder), folder)
    layer = vector.read_vector(named, crs=crs)
    titles = [place.where[1] if place.where else place.layer or place.text]
    if place.layer is None and place.where is None:
        titles.append(place.path.stem)
    title = next((text for text in titles if meaning(text).known), titles[0])
    found = []
    for group, mask in groups_of(layer, titles).items():
        text, taken = _referred(place, layer, mask, folder)
        part = replace(layer, geometry=layer.geometry[taken], columns={k: v[taken] for k, v in layer.columns.items()})
        found.append(_surveyed(text, group, title, part, whole=bool(taken.all())))
    return found


def _referred(place: Reference, layer: VectorLayer, mask: NDArray[np.bool_], folder: Path) -> tuple[str, NDArray[np.bool_]]:
    """Return the reference that takes some features of a layer, and the features that it takes."""
    for brackets in brackets_for(dict(layer.columns), mask) if place.where is None else [""]:
        try:
            text = _named(place.path, place.layer, place.where, folder, brackets)
            taken = chosen(layer.columns, reference.parse(text, folder)) if brackets else np.ones(mask.size, bool)
        except SetoutError:  # signs that a reference cannot hold
            if not brackets:
                raise
            continue
        if taken[mask].all():
            return text, taken
    raise AssertionError(place)  # the whole layer takes every feature


def _surveyed(text: str, group: str, title: str, part: VectorLayer, *, whole: bool) -> SurveyedLayer:
    pressure, flow, doubt = _water_columns(part) if group == WATER else (False, False, "")
    values = [one for one in _kinds(part) if len(one[1]) == 1]
    why = title if whole else values[0][1][0] if values and group != UNSAID else group
    return SurveyedLayer(text, why, _shape(part), len(part.geometry), group, tuple(part.columns), _kinds(part), pressure, flow, doubt)


def _shape(layer: VectorLayer) -> Shape:
    kinds = {_SHAPES.get(kind.removeprefix("Multi"), "mixed") for kind in {g.geom_type for g in layer.geometry}}
    return kinds.pop() if len(kinds) == 1 else "mixed"


def _kinds(layer: VectorLayer) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Return the columns that sort the features, with their values in the order they turn up."""
    out = []
    for column, values in layer.columns.items():
        if not SORTING & set(words_of(column).split()) or values.dtype.kind not in "OU":
            continue
        texts = list(dict.fromkeys(str(v).strip() for v in values if not is_blank(v)))
        if 1 <= len(texts) <= MOST_KINDS:
            out.append((column, tuple(texts)))
    return tuple(out)


def _water_columns(layer: VectorLayer) -> tuple[bool, bool, str]:
    """Return whether pressure and flow of water points can be read, and why not."""
    try:
        points = water_points(layer, layer.geometry, None, None)
    except Refusal as refusal:
        return False, False, str(worded(refusal, "us").faults[0])
    return bool(np.isfinite(points.pressure_kpa).any()), bool(np.isfinite(points.flow_lph).any()), ""


# ---------- the DEM


def _elevations(files: SurveyFiles, crs: CRS | None) -> tuple[Elevations, tuple[Finding, ...]]:
    paths, shown = [Path.cwd() / path for path in files.dem], [str(path) for path in files.dem]
    return mosaic.open_elevations(paths, crs=crs, unit=files.dem_unit, names=shown)


def _dem_note(heights: Elevations, line: VectorLayer, units: str) -> str:
    """Return cells and system of the DEM, and the heights around the site."""
    grid = heights.grid
    unit = grid.crs.axis_info[0].unit_name if grid.crs.axis_info else "unit unknown"
    a, b, _, d, e, _ = grid.transform
    cells = f"{grid.width} x {grid.height} cells of {np.hypot(a, d):.6g} x {np.hypot(b, e):.6g} {unit}"
    low, high = _relief(heights, line)
    if not np.isfinite(low):
        raise SetoutError("the DEM has no elevation anywhere around the boundary", heights.source, "name the DEM of this site")
    across = f"{quantities.show_length(low, units)} to {quantities.show_length(high, units)}"
    return f"{cells}, {crs_words.show(grid.crs)}; heights around the site {across}"


def _relief(heights: Elevations, line: VectorLayer) -> tuple[float, float]:
    """Return the lowest and highest height in the box around the boundary [m]; NaN when there is none."""
    grid = heights.grid
    west, south, east, north = box_of(line.geometry)
    x, y = np.meshgrid(np.linspace(west, east, 9), np.linspace(south, north, 9))
    row, col = grid.cell_of(*transformer(line.crs, grid.crs).transform(x, y))
    if not (np.isfinite(row).all() and np.isfinite(col).all()):
        return float("nan"), float("nan")
    rows = max(0, int(np.floor(row.min()))), min(grid.height, int(np.ceil(row.max())))
    cols = max(0, int(np.floor(col.min()))), min(grid.width, int(np.ceil(col.max())))
    low, high = np.inf, -np.inf
    for start in range(rows[0], rows[1] if cols[0] < cols[1] else 0, _ROWS):
        block = heights.read(start, min(start + _ROWS, rows[1]), *cols)
        known = block[np.isfinite(block)]
        if known.size:
            low, high = min(low, float(known.min())), max(high, float(known.max()))
    return (low, high) if low <= high else (float("nan"), float("nan"))
