"""GeoPackage (OGC 12-128r14, version 1.2) by GDAL, fed from arrays through Arrow.

Version 1.2 because older desktops open it without complaint. ``last_change`` is a fixed date, so that the same plan
gives the same file byte for byte: when a plan was made stands in run.json. What GDAL does not know of - styles, and
that a layer holds points with height and without - is put in afterwards.
"""

from __future__ import annotations

import errno
import os
import sqlite3
from contextlib import closing, contextmanager
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pyproj

from setout.layers.columns import ROWS, Values
from setout.layers.data import LayerData
from setout.write.geopackage.readback import check_file, remember
from setout.write.geopackage.styles import LAYER_STYLES_TABLE, style_rows

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from nanoarrow.c_array import CArray
    from nanoarrow.c_schema import CSchema
    from numpy.typing import NDArray
    from pyproj import CRS

    from setout.layers import Column, LayerContract
    from setout.write.geopackage.readback import Written

LAST_CHANGE: Final = "2000-01-01T00:00:00.000Z"
GEOMETRY: Final = "geom"
_GDAL_NAME: Final = {
    "POINT": "Point",
    "POINT Z": "Point Z",
    "LINESTRING": "LineString",
    "MULTILINESTRING": "MultiLineString",
    "MULTIPOLYGON": "MultiPolygon",
    "GEOMETRY": "Unknown",
}
_ROOM: Final = 1.5
"""Bytes of the file for a byte of the columns handed over, at most (1.3 measured for trees; the index is the rest)."""


def write(path: Path, layers: Iterable[LayerData], crs: CRS) -> None:
    """Write layers into a new GeoPackage."""
    if path.exists():
        raise FileExistsError(errno.EEXIST, "exists", str(path))
    if not path.parent.is_dir():
        raise OSError(errno.ENOENT, "unable to open: no such folder", str(path.parent))
    written: list[Written] = []
    gaps: list[str] = []
    labels: dict[str, set[str]] = {"block": set(), "reason": set()}
    where = _name_of(crs)
    with _undated():
        for layer in layers:
            if _write_layer(path, layer, where):
                gaps.append(layer.contract.name)
            written.append(remember(layer))
            if layer.contract.name in {"rows", "usable", "exclusions"}:
                for name, seen in labels.items():
                    seen.update(_texts(layer, name))
    if written:
        contracts = [layer.contract for layer in written]
        _finish(path, gaps, style_rows(contracts, {name: sorted(seen) for name, seen in labels.items()}))
        check_file(path, written, where)


@contextmanager
def _undated() -> Iterator[None]:
    """Let GDAL write a fixed date, and spare it a journal for a file that is thrown away when anything fails."""
    import pyogrio

    ours = {"OGR_CURRENT_DATE": LAST_CHANGE, "OGR_SQLITE_SYNCHRONOUS": "OFF", "OGR_SQLITE_JOURNAL": "OFF"}
    before = {name: pyogrio.get_gdal_config_option(name) for name in ours}
    pyogrio.set_gdal_config_options(ours)
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options(before)


def _texts(layer: LayerData, name: str) -> set[str]:
    values = layer.columns.get(name)
    return set() if values is None else {str(v) for v in values[0 : layer.rows].tolist() if v}


def _name_of(crs: CRS) -> str:
    """Return a CRS as GDAL is told it: an authority's code only where that stands for the very same CRS."""
    flat = (crs.sub_crs_list[0] if crs.is_compound else crs).to_2d()
    for confidence in (100, 70):
        found = flat.to_authority(min_confidence=confidence)
        if found and found[1].isdecimal() and pyproj.CRS.from_authority(*found).equals(flat, ignore_axis_order=True):
            return ":".join(found)
    return str(flat.to_wkt("WKT1_GDAL"))


def _write_layer(path: Path, layer: LayerData, crs: str) -> bool:
    """Write a layer; tell whether a height is missing in a layer of points with height."""
    import pyogrio
    from nanoarrow.c_array_stream import CArrayStream
    from pyogrio.errors import DataLayerError, DataSourceError

    contract, schema = layer.contract, _schema(layer.contract)
    made = [_batch(schema, layer, slice(k, min(layer.rows, k + ROWS))) for k in range(0, max(layer.rows, 1), ROWS)]
    kind = contract.geometry
    try:
        _find_room(path, sum(size for _, size, _ in made))
        pyogrio.write_arrow(
            CArrayStream.from_c_arrays([batch for batch, _, _ in made], schema, move=True, validate=False),
            path,
            layer=contract.name,
            driver="GPKG",
            crs=crs if kind else None,
            geometry_name=GEOMETRY if kind else None,
            geometry_type=_GDAL_NAME[kind] if kind else None,
            dataset_options=None if path.exists() else {"VERSION": "1.2", "ADD_GPKG_OGR_CONTENTS": "NO"},
            layer_options={"IDENTIFIER": contract.name, "DESCRIPTION": contract.title}
            | ({} if kind else {"ASPATIAL_VARIANT": "GPKG_ATTRIBUTES"}),
        )
    except (DataLayerError, DataSourceError) as error:
        full = any(word in str(error) for word in ("disk is full", "disk I/O error", "cannot rollback"))
        raise OSError(errno.ENOSPC if full else errno.EIO, str(error), str(path)) from error
    return kind == "POINT Z" and any(flat for *_, flat in made)


def _find_room(path: Path, size: int) -> None:
    """Raise OSError (ENOSPC) where a file would not find room to grow: GDAL tells of a full disk without saying so."""
    if not hasattr(os, "posix_fallocate"):
        return
    probe = path.with_name(f"{path.name}.room")
    handle = os.open(probe, os.O_CREAT | os.O_WRONLY, 0o600)
    try:
        os.posix_fallocate(handle, 0, int(size * _ROOM) + (1 << 16))
    finally:
        os.close(handle)
        probe.unlink()


def _schema(contract: LayerContract) -> CSchema:
    """Return a layer's Arrow schema: the geometry, then the columns, each with its meaning."""
    import nanoarrow as na

    types = {"text": na.string(), "int": na.int64(), "real": na.float64(), "bool": na.bool_()}
    fields = [na.c_schema(na.binary()).modify(name=GEOMETRY)] if contract.geometry else []
    fields += [na.c_schema(types[column.kind]).modify(name=column.name) for column in contract.columns]
    return na.c_schema(na.struct([na.binary() for _ in fields])).modify(children=fields)


def _batch(schema: CSchema, layer: LayerData, part: slice) -> tuple[CArray, int, bool]:
    """Return a slice of a layer as an Arrow array, its bytes, and whether a point in it has no height."""
    from nanoarrow.c_array import c_array_from_buffers

    rows, geometry = part.stop - part.start, layer.shapes()
    arrays, flat = [], False
    if geometry is not None:
        wkb, ends, present, flat = geometry.wkb(part)
        arrays.append(_binary(wkb, ends, present))
    arrays += [_column(column, layer.columns.get(column.name), part) for column in layer.contract.columns]
    batch = c_array_from_buffers(schema, rows, [None], 0, children=[array for array, _ in arrays])
    return batch, sum(size for _, size in arrays), flat


def _binary(data: NDArray[np.uint8], ends: NDArray[np.int32], present: NDArray[np.bool_] | None) -> tuple[CArray, int]:
    import nanoarrow as na
    from nanoarrow.c_array import c_array_from_buffers

    valid = None if present is None else np.packbits(present, bitorder="little")
    nulls = 0 if present is None else int(present.size - np.count_nonzero(present))
    return c_array_from_buffers(na.binary(), len(ends) - 1, [valid, ends, data], nulls), data.nbytes + ends.nbytes


def _column(column: Column, values: Values | None, part: slice) -> tuple[CArray, int]:
    """Return a slice of a column and its bytes; NaN, infinity and an empty text are null."""
    import nanoarrow as na
    from nanoarrow.c_array import c_array, c_array_from_buffers

    rows = part.stop - part.start
    if column.kind == "text":
        texts = [None] * rows if values is None else [str(text) if text else None for text in values[part].tolist()]
        return c_array(texts, na.string()), 5 * rows + sum(len(text) for text in texts if text)
    of: Any = {"int": na.int64(), "real": na.float64(), "bool": na.bool_()}[column.kind]
    given = np.full(rows, np.nan) if values is None else np.asarray(values[part])
    known = np.isfinite(given)
    nulls = rows - int(np.count_nonzero(known))
    valid = np.packbits(known, bitorder="little") if nulls else None
    data = np.where(known, given, 0) if nulls else given
    if column.kind == "bool":
        data = np.packbits(data.astype(bool), bitorder="little")
    else:
        data = np.ascontiguousarray(data, np.int64 if column.kind == "int" else np.float64)
    return c_array_from_buffers(of, rows, [valid, data], nulls), data.nbytes


def _finish(path: Path, gaps: Sequence[str], styles: Sequence[Any]) -> None:
    """Say that heights are missing in some layers, and put the styles in."""
    try:
        with closing(sqlite3.connect(path, isolation_level=None)) as db:
            db.execute("PRAGMA journal_mode = OFF")
            db.execute("BEGIN")
            for name in gaps:
                db.execute("UPDATE gpkg_geometry_columns SET z = 2 WHERE table_name = ?", (name,))
            if styles:
                _write_styles(db, styles)
            db.execute("COMMIT")
    except sqlite3.Error as error:
        name = getattr(error, "sqlite_errorname", "")
        full = name == "SQLITE_FULL" or name.startswith("SQLITE_IOERR")
        raise OSError(errno.ENOSPC if full else errno.EIO, str(error), str(path)) from error


def _write_styles(db: sqlite3.Connection, rows: Sequence[Any]) -> None:
    db.execute(LAYER_STYLES_TABLE)
    db.executemany(
        "INSERT INTO layer_styles VALUES (?, '', '', ?, ?, ?, ?, ?, 1, ?, '', NULL, ?)",
        ((number, row.layer, GEOMETRY, row.name, row.qml, row.sld, row.description, LAST_CHANGE) for number, row in enumerate(rows, 1)),
    )
    db.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change) "
        "VALUES ('layer_styles', 'attributes', 'layer_styles', 'How layers look', ?)",
        (LAST_CHANGE,),
    )
