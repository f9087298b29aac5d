"""Water points from their attribute columns, whatever unit those are in."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from setout.errors import Refusal
from setout.model import Floats, Geometries, VectorLayer, WaterPoints
from setout.units import FLOW, GALLON, PRESSURE, meant, quantity

MOST_SIGNS = 60
"""Characters of a water point's name; it goes onto labels."""
PRESSURE_SUFFIX = {"psi": PRESSURE["psi"], "kpa": 1.0, "bar": 100.0, "mpa": 1e3, "ft": PRESSURE["ft of water"], "m": PRESSURE["m of water"]}
FLOW_SUFFIX = {"gpm": FLOW["gpm"], "gph": GALLON, "lps": 3600.0, "lpm": 60.0, "lph": 1.0, "ls": 3600.0, "lh": 1.0, "m3h": 1000.0}


def water_points(layer: VectorLayer, geometry: Geometries, pressure: float | None, flow: float | None) -> WaterPoints:
    """Read water points with their pressure and flow."""
    if not len(geometry) or np.any(shapely.get_type_id(geometry) != shapely.GeometryType.POINT):
        parts, of = shapely.get_parts(geometry, return_index=True)
        if not len(parts) or np.any(shapely.get_type_id(parts) != shapely.GeometryType.POINT):
            raise Refusal("water_points_not_points", source=layer.source)
        columns: dict[str, NDArray[Any]] = {name: np.asarray(values)[of] for name, values in layer.columns.items()}
    else:
        parts, columns = geometry, {name: np.asarray(values) for name, values in layer.columns.items()}
    size = len(parts)
    kpa = _column(columns, "pressure", PRESSURE_SUFFIX, size, layer.source)
    lph = _column(columns, "flow", FLOW_SUFFIX, size, layer.source)
    return WaterPoints(
        _names(columns, len(parts)),
        shapely.get_x(parts),
        shapely.get_y(parts),
        np.full(len(parts), np.nan),
        np.where(np.isfinite(kpa), kpa, np.nan if pressure is None else pressure),
        np.where(np.isfinite(lph), lph, np.nan if flow is None else flow),
    )


def joined(layers: list[WaterPoints]) -> WaterPoints:
    """Return the water points of several layers as those of one; names are numbered where one is there twice."""
    if len(layers) == 1:
        return layers[0]
    out: dict[str, None] = {}
    for number, name in enumerate((name for layer in layers for name in layer.name), 1):
        out[name if name not in out else f"{name} ({number})"] = None
    columns = zip(*((p.x, p.y, p.z, p.pressure_kpa, p.flow_lph) for p in layers), strict=True)
    return WaterPoints(tuple(out), *(np.concatenate(column) for column in columns))


def _names(columns: dict[str, NDArray[Any]], size: int) -> tuple[str, ...]:
    """Return unique names: the column ``name`` (or an id), numbered where one is missing or there twice."""
    by_lower = {name.lower(): name for name in columns}
    column = next((by_lower[n] for n in ("name", "label", "id", "riser_id", "valve", "point") if n in by_lower), None)
    given = ["" if column is None or v is None or v != v else str(v) for v in (columns[column] if column else [None] * size)]
    out: dict[str, None] = {}
    for number, text in enumerate(given, 1):
        name = text if len(text) <= MOST_SIGNS else f"{text[: MOST_SIGNS - 3]}..."
        name = name or f"W{number}"
        out[name if name not in out else f"{name} ({number})"] = None
    return tuple(out)


def _column(columns: dict[str, NDArray[Any]], kind: str, suffixes: dict[str, float], size: int, source: str) -> Floats:
    """Return a column in SI whatever its suffix; NaN where it is absent or empty."""
    for name, values in columns.items():
        lower = name.lower().replace("/", "").replace(" ", "_")
        stem, _, suffix = lower.partition("_")
        if stem != kind or (suffix and suffix not in suffixes):
            continue
        out = np.full(size, np.nan)
        for k, value in enumerate(values):
            if value is None or value != value or value == "":
                continue
            out[k] = _value(value, suffixes.get(suffix), kind, {"source": source, "column": name, "feature": k + 1})
        return out
    return np.full(size, np.nan)


def _value(value: Any, factor: float | None, kind: str, where: dict[str, Any]) -> float:
    try:
        number = quantity(value, kind) if factor is None else float(value) * factor
        if np.isfinite(number) and number > 0:
            meant(number, kind, str(value))
    except (ValueError, TypeError) as error:
        what, _, remedy = str(error).partition("; ")
        such = "pressure_psi" if kind == "pressure" else "flow_gpm"
        raise Refusal("column_unread", said=what, **where, hint=remedy or None, such=such) from None
    if not np.isfinite(number) or number <= 0:
        raise Refusal("column_not_above_zero", value=str(value), quantity=kind, **where)
    return number
