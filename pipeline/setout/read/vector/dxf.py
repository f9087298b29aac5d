"""DXF drawings, read entity by entity and counted, so that none is lost unsaid.

A drawing has no CRS and says its unit in the header at best ($INSUNITS). Codes: Autodesk, DXF Reference,
HEADER section, INSUNITS. Arcs and bulges become chords that leave the arc by at most 5 mm.
"""

from __future__ import annotations

import io
import itertools
import math
import re
from collections import Counter
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import LineString, Point

from setout.errors import SetoutError
from setout.model import Finding, Severity
from setout.read.crs import metres
from setout.read.found import Found, LayerInfo, exists, objects
from setout.read.reference import did_you_mean

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from shapely.geometry.base import BaseGeometry

INSUNITS: Final[dict[int, str]] = {1: "in", 2: "ft", 3: "mi", 4: "mm", 5: "cm", 6: "m", 7: "km", 10: "yd", 14: "dm", 21: "US survey ft"}
SAGITTA_M = 0.005
"""Greatest distance of a chord from its arc [m]."""
SAY_UNIT = 'write site.unit = "ft", "US survey ft" or "m" in the plan file, as the drawing was made'
LETTERING = frozenset({"TEXT", "MTEXT", "DIMENSION", "LEADER", "MULTILEADER", "ATTDEF", "VIEWPORT", "IMAGE", "ACAD_TABLE"})
PARTS = frozenset({"VERTEX", "SEQEND", "ATTRIB"})

Points = NDArray[np.float64]


def layers(path: Path, source: str) -> tuple[LayerInfo, ...]:
    """Return the drawing's layers that hold geometry, each with its commonest type and number of features."""
    found, _ = read(path, source, "m")
    names = found.columns["layer"].tolist()
    kinds: dict[str, Counter[str]] = {}
    for name, shape in zip(names, found.geometry.tolist(), strict=True):
        kinds.setdefault(name, Counter())[_kind(shape)] += 1
    return tuple(
        LayerInfo(name, count.most_common(1)[0][0] if len(count) == 1 else "Unknown", count.total()) for name, count in kinds.items()
    )


def read(path: Path, source: str, unit: str | None) -> tuple[Found, str | None]:
    """Read every entity of the model space that is a point or a line."""
    doc, findings = _open(path, source)
    said = INSUNITS.get(int(doc.header.get("$INSUNITS", 0) or 0)) if doc.dxfversion > "AC1009" else None

    step = SAGITTA_M / metres(said or unit or "m", source)
    rows: list[tuple[str, str, str, bool]] = []
    shapes: list[BaseGeometry] = []
    skipped: Counter[str] = Counter()
    for entity in doc.modelspace():
        kind = entity.dxftype()
        shape, closed = _shape(entity, step)
        if shape is None:
            skipped[kind] += 1
            continue
        shapes.append(shape)
        rows.append((entity.dxf.layer, kind, entity.dxf.name if kind == "INSERT" else "", closed))
    names = ("layer", "entity", "block", "closed")
    columns: dict[str, NDArray[Any]] = {n: objects([r[i] for r in rows]) for i, n in enumerate(names)}
    columns["closed"] = columns["closed"].astype(bool)
    found = Found(objects(shapes), columns, findings=(*findings, *_said_skipped(skipped, source)))
    return found, said


def on_layer(found: Found, layer: str | None, source: str, *, several: bool) -> Found:
    """Take the features of one layer of the drawing, letter case ignored."""
    names = found.columns["layer"]
    there = list(dict.fromkeys(names.tolist()))
    if layer is None:
        if len(there) > 1 and not several:
            raise SetoutError(f"the drawing has {len(there)} layers: {', '.join(there[:12])}", source, 'name one: "file.dxf:LAYER"')
        return found
    keep = np.array([name.casefold() == layer.casefold() for name in names.tolist()], bool)
    if not keep.any():
        raise SetoutError(f'the drawing has no layer "{layer}" with lines or points', source, did_you_mean(layer, there))
    return found.take(keep)


def _open(path: Path, source: str) -> tuple[Any, tuple[Finding, ...]]:
    exists(path, source)
    doc = _document(path, source)
    held, ended = _held(path)
    kept = Counter(e.dxftype() for layout in doc.layouts for e in layout if e.dxftype() not in PARTS)
    lost = {kind: n - kept[kind] for kind, n in held.items() if n > kept[kind]}
    findings: list[Finding] = []
    remedy = "run the drawing program's audit and save the drawing again"
    if lost:
        shown = ", ".join(f"{n} {kind}" for kind, n in sorted(lost.items()))
        total = held.total()
        message = f"{source}: the drawing is damaged; {shown} of its {total} entities could not be read"
        findings.append(Finding("dxf_lost", "warn", message, f"{sum(lost.values())} of {total}", "0", remedy))
    if not ended:
        message = f"{source}: the drawing ends before its end mark (EOF); what came after is lost"
        findings.append(Finding("dxf_cut", "warn", message, "", "", remedy))
    return doc, tuple(findings)


def _document(path: Path, source: str) -> Any:
    """Open a drawing, by recovery where it is damaged."""
    from ezdxf import recover
    from ezdxf.filemanagement import readfile
    from ezdxf.lldxf.const import DXFError

    # What a damaged drawing makes the library stumble over is of many kinds.
    broken = (OSError, DXFError, ValueError, KeyError, TypeError, AttributeError, IndexError, StopIteration)
    try:
        return readfile(path)
    except broken:
        pass
    try:
        return recover.read(io.BytesIO(_mended(path.read_bytes())))[0]
    except broken as error:
        what = f"is no DXF drawing that can be read: {str(error)[:160] or type(error).__name__}"
        raise SetoutError(what, source, "save the drawing as DXF again") from None


def _mended(data: bytes) -> bytes:
    """End a drawing that is cut short after its last whole entity, so that what it holds can be read."""
    if data.startswith(b"AutoCAD Binary DXF") or data.rstrip().endswith(b"EOF"):
        return data
    starts = [match.start() for match in re.finditer(rb"\n[ \t]*0[ \t]*\r?\n(?=[A-Z])", data)]
    return data[: starts[-1]] + b"\n  0\nENDSEC\n  0\nEOF\n" if starts else data


def _held(path: Path) -> tuple[Counter[str], bool]:
    """Count the entities of the ENTITIES section by group codes and nothing else; tell whether the file has its end."""
    data = path.read_bytes()
    if data.startswith(b"AutoCAD Binary DXF"):
        return Counter(), True
    lines = [line.strip() for line in data.split(b"\n")]
    count: Counter[str] = Counter()
    inside = False
    for before, line in itertools.pairwise(lines):
        if before == b"2" and line == b"ENTITIES":
            inside = True
        elif inside and before == b"0" and line.isupper():
            if line == b"ENDSEC":
                break
            count[line.decode("latin-1")] += 1
    ended = b"EOF" in lines[-4:]
    return Counter({kind: n for kind, n in count.items() if kind not in PARTS}), ended


def _shape(entity: Any, step: float) -> tuple[BaseGeometry | None, bool]:
    """Return an entity as point or line in world coordinates (None if neither), and whether it closes."""
    kind = entity.dxftype()
    if kind == "POINT":
        return _point(entity.dxf.location), False
    if kind == "INSERT":
        return _point(entity.ocs().to_wcs(entity.dxf.insert)), False
    points = _points(entity, kind, step)
    if points is None:
        return None, False
    closed = len(points) > 3 and bool((points[0] == points[-1]).all())
    if len(points) < 2 or bool((points == points[0]).all()):
        return None, False
    return LineString(points), closed


def _points(entity: Any, kind: str, step: float) -> Points | None:
    if kind == "LINE":
        return _plane([entity.dxf.start, entity.dxf.end])
    if kind == "LWPOLYLINE":
        corners = [(x, y, bulge) for x, y, bulge in entity.get_points("xyb")]
        return _poly(entity, corners, closed=bool(entity.closed), step=step)
    if kind == "POLYLINE":
        if entity.is_polygon_mesh or entity.is_poly_face_mesh:
            return None
        vertices = [v for v in entity.vertices if not v.dxf.flags & 16]  # 16: control point of a spline frame
        if entity.is_3d_polyline:
            plane = _plane([v.dxf.location for v in vertices])
            return np.vstack([plane, plane[:1]]) if entity.is_closed and len(plane) else plane
        corners = [(v.dxf.location.x, v.dxf.location.y, float(v.dxf.get("bulge", 0.0))) for v in vertices]
        return _poly(entity, corners, closed=bool(entity.is_closed), step=step)
    if kind in {"ARC", "CIRCLE", "ELLIPSE", "SPLINE"}:
        points = _plane(list(entity.flattening(step)))
        if kind == "CIRCLE" and len(points):
            points[-1] = points[0]
        return points
    return None


def _poly(entity: Any, corners: list[tuple[float, float, float]], *, closed: bool, step: float) -> Points:
    """Return a flat polyline with its bulges flattened, in world coordinates."""
    flat = list(_flattened(corners, closed=closed, step=step))
    ocs = entity.ocs()
    if not ocs.transform:
        return np.asarray(flat, float).reshape(-1, 2)
    lift = float(entity.dxf.get("elevation", 0.0)) if entity.dxftype() == "LWPOLYLINE" else 0.0
    return _plane([ocs.to_wcs((x, y, lift)) for x, y in flat])


def _flattened(corners: list[tuple[float, float, float]], *, closed: bool, step: float) -> Iterator[tuple[float, float]]:
    """Yield the corners and, where a bulge bends the way to the next, points along the arc.

    The bulge is the tangent of a quarter of the arc's angle, positive when it runs counter-clockwise
    (Autodesk, DXF Reference, LWPOLYLINE, group 42).
    """
    ring = [*corners, corners[0]] if closed and corners else corners
    for (x0, y0, bulge), (x1, y1, _) in itertools.pairwise(ring):
        yield x0, y0
        chord = math.hypot(x1 - x0, y1 - y0)
        if bulge == 0.0 or chord == 0.0:
            continue
        angle = 4 * math.atan(bulge)
        radius = chord / (2 * math.sin(abs(angle) / 2))
        # A chord over the angle t leaves its arc by radius (1 - cos(t / 2)).
        part = 2 * math.acos(max(1 - step / radius, -1.0)) if radius > step else math.pi
        number = max(math.ceil(abs(angle) / part), 2)
        # Centre: from the chord's middle, to its left for a bulge in (0, 1).
        apart = chord / 2 * (1 / bulge - bulge) / 2
        cx = (x0 + x1) / 2 - (y1 - y0) / chord * apart
        cy = (y0 + y1) / 2 + (x1 - x0) / chord * apart
        turn = math.atan2(y0 - cy, x0 - cx)
        for i in range(1, number):
            a = turn + angle * i / number
            yield cx + radius * math.cos(a), cy + radius * math.sin(a)
    if ring:
        yield ring[-1][0], ring[-1][1]


def _plane(points: list[Any]) -> Points:
    return np.array([(p[0], p[1]) for p in points], float).reshape(-1, 2)


def _point(at: Any) -> BaseGeometry:
    return Point(float(at[0]), float(at[1]))


def _kind(shape: BaseGeometry) -> str:
    """Return a shape's type as a boundary takes it: a line that closes is a polygon."""
    if shape.geom_type != "LineString":
        return shape.geom_type
    xy = np.asarray(shape.coords)
    return "Polygon" if len(xy) > 3 and bool((xy[0] == xy[-1]).all()) else "LineString"


def _said_skipped(skipped: Counter[str], source: str) -> tuple[Finding, ...]:
    if not skipped:
        return ()
    shown = ", ".join(f"{n} {kind}" for kind, n in sorted(skipped.items()))
    severity: Severity = "note" if set(skipped) <= LETTERING else "warn"
    message = f"{source}: entities that are neither points nor lines were left out: {shown}"
    remedy = "draw what matters as closed polylines or points (explode hatches, blocks and regions)"
    return (Finding("dxf_skipped", severity, message, str(skipped.total()), "0", remedy),)
