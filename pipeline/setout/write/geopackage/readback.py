"""What was written is opened again, by another GDAL than wrote it, and compared before anything earlier is replaced."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pyproj

from setout.errors import Fault, SetoutError
from setout.layers.columns import Points

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence
    from pathlib import Path

    from setout.layers import LayerContract
    from setout.layers.data import LayerData

SAMPLES: Final = 5
"""Features of a layer that are compared: the first, the last, and some between."""
_TYPES: Final = {"text": {"str"}, "int": {"int", "int64"}, "real": {"float"}, "bool": {"bool"}}
"""What a reader calls each kind of column."""


@dataclass(frozen=True, slots=True)
class Written:
    """What a layer should hold: its contract, rows, and some features as (fid, values by column, x and y or None)."""

    contract: LayerContract
    rows: int
    samples: tuple[tuple[int, Mapping[str, Any], tuple[float, float] | None], ...]


@dataclass(frozen=True, slots=True)
class Reader:
    """What a reader finds in a layer: feature count, CRS as text, column types by name, and a feature by fid."""

    count: int
    crs: str
    types: Mapping[str, str]
    feature: Callable[[int], tuple[Mapping[str, Any], tuple[float, float] | None]]


def remember(layer: LayerData) -> Written:
    """Return what a layer should read back as, with few of its rows."""
    samples = []
    for row in sorted(set(np.linspace(0, layer.rows - 1, SAMPLES).astype(int).tolist())) if layer.rows else ():
        part = slice(row, row + 1)
        given = {c.name: layer.columns.get(c.name) for c in layer.contract.columns}
        values = {name: None if column is None else _plain(column[part][0]) for name, column in given.items()}
        geometry = layer.geometry
        at = None
        if isinstance(geometry, Points):
            at = float(np.asarray(geometry.x[part])[0]), float(np.asarray(geometry.y[part])[0])
        samples.append((row + 1, values, at))
    return Written(layer.contract, layer.rows, tuple(samples))


def _plain(value: Any) -> Any:
    """Return a value as a reader gives it: text, number or None."""
    if isinstance(value, str):
        return value or None
    if value is None or not np.isfinite(value):
        return None
    return float(value)


def check_file(path: Path, layers: Sequence[Written], crs: str) -> None:
    """Compare a GeoPackage with what was to be in it; every layer that differs is a fault."""
    faults: list[Fault] = []
    with _opened(path) as (names, reader):
        for expected in layers:
            name = expected.contract.name
            if name not in names:
                faults.append(_fault(path, name, "is missing"))
                continue
            with reader(name) as found:
                faults += [_fault(path, name, text) for text in _differences(expected, found, crs)]
    if faults:
        raise SetoutError("", faults=tuple(faults))


def _fault(path: Path, layer: str, text: str) -> Fault:
    return Fault(
        f'layer "{layer}" does not read back as it was written: {text}',
        path.name,
        "nothing was replaced; look whether the disk is sound, and try again",
    )


def _differences(expected: Written, found: Reader, crs: str) -> Iterator[str]:
    """Yield in words how a layer differs from what it should be."""
    contract = expected.contract
    if found.count != expected.rows:
        yield f"{found.count} features where there should be {expected.rows}"
    if contract.geometry and not _same_place(crs, found.crs):
        yield f"its CRS is {found.crs[:80]}"
    if list(found.types) != list(contract.names):
        yield f"its columns are {', '.join(found.types)}"
        return
    for column in contract.columns:
        if found.types[column.name].split(":")[0].rstrip("0123456789") not in {t.rstrip("0123456789") for t in _TYPES[column.kind]}:
            yield f'column "{column.name}" is {found.types[column.name]}, not {column.kind}'
    for fid, values, at in expected.samples if found.count == expected.rows else ():
        read, place = found.feature(fid)
        for column in contract.columns:
            value = read[column.name]
            value = float(value) if isinstance(value, bool | int | float | np.number | np.bool_) else value
            if value != values[column.name]:
                yield f'feature {fid}, column "{column.name}": {value!r} where {values[column.name]!r} was written'
        if at is not None and place != at:
            yield f"feature {fid} stands at {place} where {at} was written"


def _same_place(ours: str, read: str) -> bool:
    """Tell whether two texts of a CRS stand for the same coordinates, to a micrometre or so."""
    if not read:
        return False
    one, two = pyproj.CRS(ours), pyproj.CRS(read)
    if one.equals(two, ignore_axis_order=True):
        return True
    area = one.area_of_use
    lon, lat = ((area.west + area.east) / 2, (area.south + area.north) / 2) if area else (0.0, 0.0)
    at = pyproj.Transformer.from_crs(one.geodetic_crs, one, always_xy=True).transform(lon, lat)
    there = pyproj.Transformer.from_crs(one, two, always_xy=True).transform(*at)
    return bool(np.allclose(at, there, rtol=0, atol=1e-6))


@contextmanager
def _opened(path: Path) -> Iterator[tuple[set[str], Callable[[str], Any]]]:
    """Open a file with fiona, or with pyogrio where there is no fiona: layer names, and what opens one."""
    try:
        import fiona
    except ImportError:  # no wheel for this Python
        import pyogrio

        yield set(pyogrio.list_layers(path)[:, 0].tolist()), lambda name: _by_pyogrio(path, name)
        return
    yield set(fiona.listlayers(path)), lambda name: _by_fiona(path, name)


@contextmanager
def _by_fiona(path: Path, name: str) -> Iterator[Reader]:
    import fiona

    with fiona.open(path, layer=name) as source:

        def feature(fid: int) -> tuple[Mapping[str, Any], tuple[float, float] | None]:
            read = source[fid]
            point = read.geometry is not None and read.geometry.type in {"Point", "3D Point"}
            return read.properties, tuple(read.geometry.coordinates[:2]) if point else None

        yield Reader(len(source), source.crs_wkt, source.schema["properties"], feature)


@contextmanager
def _by_pyogrio(path: Path, name: str) -> Iterator[Reader]:
    import pyogrio

    told = pyogrio.read_info(path, layer=name, force_feature_count=True)

    def feature(fid: int) -> tuple[Mapping[str, Any], tuple[float, float] | None]:
        frame = pyogrio.read_dataframe(path, layer=name, fids=[fid])
        values = {column: None if frame[column].isna()[0] else frame[column][0] for column in told["fields"]}
        shape = frame.geometry[0] if "geometry" in frame else None
        return values, (shape.x, shape.y) if shape is not None and shape.geom_type == "Point" else None

    kinds = {"object": "str", "str": "str"}
    types = {f: kinds.get(str(t), str(t)) for f, t in zip(told["fields"], told["dtypes"], strict=True)}
    yield Reader(told["features"], told["crs"] or "", types, feature)
