"""Positions that come back from the field: points of any survey file, and PNEZD without a first line of names."""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from setout.errors import SetoutError
from setout.model import Finding, VectorLayer
from setout.read.found import text_of
from setout.read.vector import files
from setout.read.vector.track import WGS84

if TYPE_CHECKING:
    from pyproj import CRS

    from setout.read.reference import Reference

TEXTS: Final = frozenset({".csv", ".txt", ".pnezd", ".tsv"})
NAMES: Final = ("tree_id", "tree", "id", "point", "point_id", "pointid", "name", "label", "number", "no", "ident", "text")
"""Columns that may hold the names of trees, the likeliest first."""
MORE: Final = ("cmt", "comment", "description", "desc", "note")
"""Columns that may hold the full name beside a short one."""
HOW: Final = "give points: a CSV with a first line such as point,northing,easting, a PNEZD file, GPX waypoints or a GeoPackage"


@dataclass(frozen=True, slots=True)
class FieldFile:
    """Positions as a file has them.

    Attributes
    ----------
    source : how messages name the file
    x, y : in the CRS and its unit
    crs : their CRS
    names : what may name each: one row a position, the likeliest name first; empty where there is none
    kind, block : their columns of these names; empty where there are none
    findings : doubts on the way
    """

    source: str
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    crs: CRS
    names: list[tuple[str, ...]]
    kind: list[str]
    block: list[str]
    findings: tuple[Finding, ...] = ()


def read_field(ref: Reference, plane: CRS, box: tuple[float, float, float, float]) -> FieldFile:
    """Read surveyed positions."""
    if ref.path.suffix.lower() in TEXTS and ref.path.is_file():
        plain = _pnezd(ref, plane, box)
        if plain is not None:
            return plain
    layer = _layer(ref, plane)
    points, of = shapely.get_parts(layer.geometry, return_index=True)
    if not len(points):
        raise SetoutError("holds no position", layer.source, HOW)
    if np.any(shapely.get_type_id(points) != shapely.GeometryType.POINT):
        raise SetoutError("the positions are not points", layer.source, HOW)
    columns = {name.casefold(): values for name, values in layer.columns.items()}
    texts = {name: _texts(columns[name], of) for name in (*NAMES, *MORE, "kind", "type", "block") if name in columns}
    named = [texts[name] for name in (*NAMES, *MORE) if name in texts]
    names: list[tuple[str, ...]] = [tuple(row) for row in zip(*named, strict=True)] if named else [()] * len(of)
    kind = texts.get("kind", texts.get("type", [""] * len(of)))
    x, y = shapely.get_x(points), shapely.get_y(points)
    return FieldFile(layer.source, x, y, layer.crs, names, kind, texts.get("block", [""] * len(of)), layer.findings)


def _layer(ref: Reference, plane: CRS) -> VectorLayer:
    if ref.path.suffix.lower() == ".gpx" and ref.layer is None:
        ref = replace(ref, layer="waypoints")
    try:
        return files.read_vector(ref)
    except SetoutError as error:
        if not any("does not say its CRS" in fault.what for fault in error.faults):
            raise
        return files.read_vector(ref, crs=plane)


def _texts(values: NDArray[Any], of: NDArray[np.int64]) -> list[str]:
    """Return values as texts, whole numbers without a decimal point."""
    out = []
    for value in np.asarray(values, object)[of].tolist():
        number = isinstance(value, int | float) and not isinstance(value, bool)
        unknown = value is None or (number and not math.isfinite(value))
        out.append("" if unknown else f"{value:g}" if number else str(value).strip())
    return out


def _pnezd(ref: Reference, plane: CRS, box: tuple[float, float, float, float]) -> FieldFile | None:
    """Read point, northing, easting, elevation, description without a header; None where there is one."""
    lines = [line for line in text_of(ref.path, ref.text).splitlines() if line.strip() and not line.startswith("#")]
    if not lines:
        raise SetoutError("the file is empty", ref.text, HOW)
    delimiter = max(",;\t", key=lines[0].count)
    rows = list(csv.reader(lines, delimiter=delimiter))
    if len(rows[0]) < 3 or not (_is_number(rows[0][1]) and _is_number(rows[0][2])):
        return None
    values = np.empty((len(rows), 2))
    for k, row in enumerate(rows):
        for column in (1, 2):
            text = row[column].strip() if len(row) > column else ""
            if not _is_number(text):
                raise SetoutError(f'"{text}" is no coordinate', f"{ref.text}: line {k + 1}", "mend the value")
            values[k, column - 1] = float(text)
    names = [(row[0].strip(), *(cell.strip() for cell in row[4:5])) for row in rows]
    kind = ["monument" if row[4:] and row[4].strip().lower().startswith("boundary corner") else "" for row in rows]
    blank = [""] * len(rows)
    first, second = values.T
    if np.abs(first).max() <= 90 and np.abs(second).max() <= 180:
        return FieldFile(ref.text, second, first, WGS84, names, kind, blank)
    found: tuple[Finding, ...] = ()
    if _outside(second, first, box) > _outside(first, second, box):
        first, second = second, first
        message = f"{ref.text}: easting stands before northing; taken so, for else the trees would be far from the plan"
        found = (Finding("easting_first", "note", message, "", "", "give the columns names in a first line"),)
    return FieldFile(ref.text, second, first, plane, names, kind, blank, found)


def _outside(east: NDArray[np.float64], north: NDArray[np.float64], box: tuple[float, float, float, float]) -> float:
    """Return how far the middle of some positions is from a box."""
    x, y = float(np.median(east)), float(np.median(north))
    return math.hypot(max(box[0] - x, 0.0, x - box[2]), max(box[1] - y, 0.0, y - box[3]))


def _is_number(text: str) -> bool:
    try:
        return math.isfinite(float(text))
    except ValueError:
        return False


__all__ = ["FieldFile", "read_field"]
