"""Survey files in: any vector file as a layer, any boundary as polygons, each in the file's own CRS.

The readers of single formats find features (:class:`setout.read.found.Found`); here the CRS and unit are
settled between what the file says, what the plan file says, and what the coordinates allow.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from setout.errors import SetoutError
from setout.model import Finding, Floats, Geometries, VectorLayer
from setout.model.text import one_line
from setout.read.crs import SAY_CRS, foot_doubt, horizontal, metres, misfit, scale_to, settle
from setout.read.deed import traverse
from setout.read.found import Found, LayerInfo, LayerLine, box_of, exists, filtered, objects, solid, text_of
from setout.read.reference import Reference, did_you_mean
from setout.read.vector import corners, dxf, ogr, rings, track
from setout.units import FOOT, US_SURVEY_FOOT

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from numpy.typing import NDArray
    from pyproj import CRS

TABLES = frozenset({".csv", ".tsv"})
TEXTS = frozenset({".txt", ".deed"})
MAY_BE_PLANE = frozenset({".geojson", ".json", ".zip"})
"""Formats of WGS 84 by standard in which plane coordinates are common all the same."""
FEET = (FOOT, US_SURVEY_FOOT)


def read_vector(ref: Reference, *, crs: CRS | None = None, unit: str | None = None) -> VectorLayer:
    """Read one layer of a survey file."""
    plan = horizontal(crs) if crs is not None else None
    if _is_deed(ref):
        found, place = traverse.read(ref.path, ref.text, crs=plan, unit=unit, adjust=False, start=None)
        return _layer(ref, found, place)
    found, said = _find(ref, plan, unit, boundary=False)
    found = solid(filtered(found, ref), ref.text)
    return _layer(ref, *_settled(ref, found, said, plan, unit))


def read_boundary(
    ref: Reference, *, crs: CRS | None = None, unit: str | None = None, adjust: bool = False, start: tuple[float, float] | None = None
) -> VectorLayer:
    """Read a boundary as polygons."""
    plan = horizontal(crs) if crs is not None else None
    if _is_deed(ref):
        found, place = traverse.read(ref.path, ref.text, crs=plan, unit=unit, adjust=adjust, start=start)
        return _layer(ref, found, place)
    found, said = _find(ref, plan, unit, boundary=True)
    found = solid(filtered(found, ref), ref.text)
    suffix = ref.path.suffix.lower()
    if suffix in TABLES | TEXTS:
        found = corners.ring(found, ref.text)
    elif suffix == ".gpx":
        found = track.closed(found, ref.text)
    found, place = _settled(ref, found, said, plan, unit)
    return _layer(ref, rings.polygons(found, place, ref.text), place)


def list_layers(path: Path) -> list[LayerLine]:
    """Return the layers of a survey file that have a geometry."""
    source = path.name
    suffix = path.suffix.lower()
    if suffix == ".dxf":
        infos = dxf.layers(path, source)
    elif suffix == ".gpx":
        infos = track.layers(path, source)
    elif suffix in TABLES or (suffix in TEXTS and corners.looks_like(text_of(path, source))):
        found, _ = corners.read(path, source, None)
        infos = (LayerInfo(path.stem, "Point", int(found.geometry.size)),)
    elif suffix in TEXTS:
        traverse.parse(text_of(path, source), "ft", source)
        infos = (LayerInfo(path.stem, "Polygon", 1),)
    else:
        infos = tuple(_known_kind(path, i, source) for i in ogr.layers(path, source))
    return [LayerLine(info.name, info.kind, info.count) for info in infos]


def layer_names(path: Path) -> list[str]:
    """Return the names of a survey file's layers that have a geometry, without looking into them."""
    if path.suffix.lower() in {".dxf", ".gpx", *TABLES, *TEXTS}:
        return [line.name for line in list_layers(path)]
    return [info.name for info in ogr.layers(path, path.name, count=False)]


def layers_read(ref: Reference, layer: VectorLayer, *, boundary: bool) -> tuple[str, ...]:
    """Return the names of the file's layers that a reference reads."""
    if ref.layer is not None:
        return (ref.layer,)
    suffix = ref.path.suffix.lower()
    if suffix == ".dxf" and "layer" in layer.columns:
        return tuple(dict.fromkeys(str(name) for name in layer.columns["layer"].tolist()))
    if suffix in {".dxf", ".gpx", *TABLES, *TEXTS}:
        return tuple(layer_names(ref.path))
    infos = ogr.layers(ref.path, ref.text, count=False)
    return ((infos[0] if len(infos) == 1 else _meant(ref, boundary=boundary)).name,)


def read_columns(ref: Reference) -> Mapping[str, NDArray[Any]]:
    """Return the attribute columns of all features of a layer, those too that the reference does not take."""
    found, _ = _find(replace(ref, where=None), None, "m", boundary=False)
    return solid(found, ref.text).columns


def _is_deed(ref: Reference) -> bool:
    return ref.path.suffix.lower() in TEXTS and not corners.looks_like(text_of(ref.path, ref.text))


def _find(ref: Reference, plan: CRS | None, unit: str | None, *, boundary: bool) -> tuple[Found, str | None]:
    """Return the features a reference names, unfiltered, and the unit that the file gives its coordinates."""
    exists(ref.path, ref.text)
    suffix = ref.path.suffix.lower()
    if suffix == ".dxf":
        found, said = dxf.read(ref.path, ref.text, unit)
        if said is None and unit is None and (plan is None or not plan.is_geographic):
            raise SetoutError("the drawing does not say its unit ($INSUNITS)", ref.text, dxf.SAY_UNIT)
        return _of_drawing(found, ref, boundary=boundary), said
    if suffix == ".gpx":
        return track.read(ref.path, ref.layer, ref.text, boundary=boundary), None
    if suffix in TABLES | TEXTS:
        _no_layer(ref)
        return corners.read(ref.path, ref.text, plan)
    return _of_layers(ref, boundary=boundary), None


def _no_layer(ref: Reference) -> None:
    if ref.layer is not None and ref.layer.casefold() != ref.path.stem.casefold():
        raise SetoutError(f'a text file has no layer "{ref.layer}"', ref.text, "name the file alone")


def _of_drawing(found: Found, ref: Reference, *, boundary: bool) -> Found:
    """Take the layer that a reference to a drawing means."""
    if ref.layer is None and ref.where is None and found.geometry.size:
        names = found.columns["layer"]
        stem = np.array([name.casefold() == ref.path.stem.casefold() for name in names.tolist()], bool)
        if stem.any():
            return found.take(stem)
        if boundary and (only := _one_closed(found)) is not None:
            return found.take(names == only)
    return dxf.on_layer(found, ref.layer, ref.text, several=ref.where is not None)


def _one_closed(found: Found) -> str | None:
    """Return the drawing's only layer with lines that close; None if there are none or several."""
    closed = found.columns["closed"].astype(bool)
    there = set(found.columns["layer"][closed].tolist())
    return there.pop() if len(there) == 1 else None


def _of_layers(ref: Reference, *, boundary: bool) -> Found:
    if ref.layer is not None and ref.path.suffix.lower() == ".gpkg":
        named = ogr.layer_of(ref.path, ref.layer, ref.text)
        if named is not None:
            return ogr.read(ref.path, named, ref.text)
    infos = ogr.layers(ref.path, ref.text, count=False)
    if not infos:
        raise SetoutError("holds no layer with geometry", ref.text, "export the survey with its geometry")
    if ref.layer is not None:
        name = ref.layer
        info = next((i for i in infos if i.name == name), None)
        info = info or next((i for i in infos if i.name.casefold() == name.casefold()), None)
        if info is None:
            raise SetoutError(f'there is no layer "{name}"', ref.text, did_you_mean(name, [i.name for i in infos]))
        return ogr.read(ref.path, info, ref.text)
    if len(infos) == 1:
        return ogr.read(ref.path, infos[0], ref.text)
    return ogr.read(ref.path, _meant(ref, boundary=boundary), ref.text)


def _meant(ref: Reference, *, boundary: bool) -> LayerInfo:
    """Return the layer meant where none is named: the file's own name, the only filled, the only polygons."""
    infos = [_known_kind(ref.path, i, ref.text) for i in ogr.layers(ref.path, ref.text)]
    own = [i for i in infos if i.name.casefold() == ref.path.stem.casefold()]
    filled = [i for i in infos if i.count]
    areal = [i for i in filled if "Polygon" in i.kind] if boundary else []
    for only in (own, filled, areal):
        if len(only) == 1:
            return only[0]
    shown = ", ".join(str(i) for i in infos[:12])
    raise SetoutError(f"holds {len(infos)} layers: {shown}", ref.text, f'name one: "{ref.path.name}:{infos[0].name}"')


def _known_kind(path: Path, info: LayerInfo, source: str) -> LayerInfo:
    """Look at the features of a layer that does not say its geometry type."""
    if info.kind not in {"Unknown", "GeometryCollection"} or info.count == 0:
        return info
    geometry = ogr.read(path, info, source).geometry
    kinds = Counter(shape.geom_type.removeprefix("Multi") for shape in geometry.tolist() if shape is not None)
    kind = next(iter(kinds)) if len(kinds) == 1 else "Unknown"
    return replace(info, kind=kind)


def _settled(ref: Reference, found: Found, said: str | None, plan: CRS | None, unit: str | None) -> tuple[Found, CRS]:
    """Settle unit and CRS; return the features in the CRS's unit, and the CRS."""
    if found.crs is None:
        if plan is None:
            raise SetoutError("does not say its CRS", ref.text, SAY_CRS)
        found = _scaled(ref, found, said, plan, unit)
    box = box_of(found.geometry)
    if found.standard and ref.path.suffix.lower() not in MAY_BE_PLANE:
        plan = None
    place, findings = settle(ref.text, found.crs, plan, box, standard=found.standard)
    return replace(found, findings=(*found.findings, *findings)), place


def _scaled(ref: Reference, found: Found, said: str | None, plan: CRS, unit: str | None) -> Found:
    """Bring coordinates from the unit of the file, or else of the plan file, to the CRS's unit."""
    source = ref.text
    used, findings = said or unit, found.findings
    if said is not None and unit is not None and metres(said, source) != metres(unit, source):
        used, more = _either_unit(found, said, unit, plan, source)
        findings = (*findings, *more)
    if used is None or (plan.is_geographic and said is None):
        return found
    factor = scale_to(plan, used, source)
    if unit is None:
        x0, y0, x1, y1 = (v * factor for v in box_of(found.geometry))
        findings = (*findings, *foot_doubt(plan, used, (x0, y0, x1, y1), source))
    if factor == 1.0:
        return replace(found, findings=findings)
    return replace(found, geometry=_times(found.geometry, factor), findings=findings)


def _either_unit(found: Found, said: str, unit: str, plan: CRS, source: str) -> tuple[str, tuple[Finding, ...]]:
    """Choose between the unit a file says and the one the plan file says.

    "Feet" in a file may be either foot, so the plan file tells which. Otherwise the plan file's unit is
    taken only where the file's own puts the survey outside the CRS's area of use.
    """
    if metres(said, source) == FOOT and metres(unit, source) in FEET:
        return unit, ()
    boxes = []
    for name in (said, unit):
        factor = scale_to(plan, name, source)
        x0, y0, x1, y1 = (v * factor for v in box_of(found.geometry))
        boxes.append((x0, y0, x1, y1))
    if not misfit(plan, boxes[0]) or misfit(plan, boxes[1]):
        raise SetoutError(
            f'it says its unit is "{said}", the plan file says "{unit}"', source, "mend site.unit, or leave it out: this file says its own"
        )
    message = f'{source}: its unit "{said}" puts it outside the area of use of its CRS; taken as "{unit}"'
    remedy = "set the drawing's unit ($INSUNITS) to the one it was made in"
    return unit, (Finding("unit_from_plan", "warn", message, said, unit, remedy),)


def _times(geometry: Geometries, factor: float) -> Geometries:
    def scaled(xy: Floats) -> Floats:
        return xy * factor

    return objects(shapely.transform(geometry, scaled).tolist())


def _layer(ref: Reference, found: Found, place: CRS) -> VectorLayer:
    columns = {one_line(name): _shown(values) for name, values in found.columns.items()}
    return VectorLayer(ref.text, found.geometry, columns, place, found.findings)


def _shown(values: NDArray[Any]) -> NDArray[Any]:
    """Return a column whose texts are each on one line, as names of things are shown and written everywhere."""
    if values.dtype.kind != "O" or all(v.isprintable() for v in values.tolist() if isinstance(v, str)):
        return values
    return objects([one_line(v) if isinstance(v, str) else v for v in values.tolist()])


__all__ = ["layer_names", "layers_read", "list_layers", "read_boundary", "read_columns", "read_vector"]
