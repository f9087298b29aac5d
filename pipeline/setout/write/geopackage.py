"""GeoPackage (OGC 12-128r14, version 1.2) written straight into SQLite.

Version 1.2 because older desktops open it without complaint. The tables are those of the standard's annex C; the
spatial index is its R-tree extension (annex F.3), packed whole instead of grown row by row. ``last_change`` is a fixed
date, so that the same plan gives the same file byte for byte: when a plan was made stands in run.json.
"""

from __future__ import annotations

import errno
import sqlite3
from contextlib import closing
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from setout.errors import SetoutError
from setout.layers import Column, LayerContract, check

from . import packed_rtree
from .chunks import ROWS, Chunked, Geometry, Points, Segments, Shapes, Values, coded, several
from .styles import LAYER_STYLES_TABLE, style_rows

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

    from numpy.typing import NDArray
    from pyproj import CRS

__all__ = ["Chunked", "LayerData", "Points", "Segments", "Shapes", "coded", "several", "write"]

APPLICATION_ID: Final = 0x47504B47
"""The four letters "GPKG" (OGC 12-128, requirement 2)."""
USER_VERSION: Final = 10200
LAST_CHANGE: Final = "2000-01-01T00:00:00.000Z"
CUSTOM_SRS: Final = 100_000
"""srs_id of a CRS that has no code of an authority."""
GEOMETRY: Final = "geom"
SQL_TYPE: Final = {"text": "TEXT", "int": "INTEGER", "real": "REAL", "bool": "BOOLEAN"}

_CORE: Final = """
CREATE TABLE gpkg_spatial_ref_sys (srs_name TEXT NOT NULL, srs_id INTEGER NOT NULL PRIMARY KEY,
  organization TEXT NOT NULL, organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT);
CREATE TABLE gpkg_contents (table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL, identifier TEXT UNIQUE,
  description TEXT DEFAULT '', last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
  min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER,
  CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id));
CREATE TABLE gpkg_geometry_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL,
  geometry_type_name TEXT NOT NULL, srs_id INTEGER NOT NULL, z TINYINT NOT NULL, m TINYINT NOT NULL,
  CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name), CONSTRAINT uk_gc_table_name UNIQUE (table_name),
  CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name),
  CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id));
CREATE TABLE gpkg_extensions (table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL,
  definition TEXT NOT NULL, scope TEXT NOT NULL,
  CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name));
"""

_TRIGGERS: Final = """
CREATE TRIGGER "rtree_{t}_{c}_insert" AFTER INSERT ON "{t}"
  WHEN (new."{c}" NOT NULL AND NOT ST_IsEmpty(NEW."{c}"))
BEGIN INSERT OR REPLACE INTO "rtree_{t}_{c}" VALUES ({box}); END;
CREATE TRIGGER "rtree_{t}_{c}_update1" AFTER UPDATE OF "{c}" ON "{t}"
  WHEN OLD."fid" = NEW."fid" AND (NEW."{c}" NOTNULL AND NOT ST_IsEmpty(NEW."{c}"))
BEGIN INSERT OR REPLACE INTO "rtree_{t}_{c}" VALUES ({box}); END;
CREATE TRIGGER "rtree_{t}_{c}_update2" AFTER UPDATE OF "{c}" ON "{t}"
  WHEN OLD."fid" = NEW."fid" AND (NEW."{c}" ISNULL OR ST_IsEmpty(NEW."{c}"))
BEGIN DELETE FROM "rtree_{t}_{c}" WHERE id = OLD."fid"; END;
CREATE TRIGGER "rtree_{t}_{c}_update3" AFTER UPDATE ON "{t}"
  WHEN OLD."fid" != NEW."fid" AND (NEW."{c}" NOTNULL AND NOT ST_IsEmpty(NEW."{c}"))
BEGIN DELETE FROM "rtree_{t}_{c}" WHERE id = OLD."fid";
  INSERT OR REPLACE INTO "rtree_{t}_{c}" VALUES ({box}); END;
CREATE TRIGGER "rtree_{t}_{c}_update4" AFTER UPDATE ON "{t}"
  WHEN OLD."fid" != NEW."fid" AND (NEW."{c}" ISNULL OR ST_IsEmpty(NEW."{c}"))
BEGIN DELETE FROM "rtree_{t}_{c}" WHERE id IN (OLD."fid", NEW."fid"); END;
CREATE TRIGGER "rtree_{t}_{c}_delete" AFTER DELETE ON "{t}" WHEN old."{c}" NOT NULL
BEGIN DELETE FROM "rtree_{t}_{c}" WHERE id = OLD."fid"; END;
"""
_BOX: Final = 'NEW."fid", ST_MinX(NEW."{c}"), ST_MaxX(NEW."{c}"), ST_MinY(NEW."{c}"), ST_MaxY(NEW."{c}")'


@dataclass(frozen=True, slots=True)
class LayerData:
    """One layer to write.

    Attributes
    ----------
    contract : what the layer holds
    columns : values by column name: an array, a :class:`Chunked`, or None for a column that is null throughout.
        NaN and infinity become null, and so does an empty text
    geometry : :class:`Points`, :class:`Segments` or shapely geometries, in the CRS that write is given; None for a table
    """

    contract: LayerContract
    columns: Mapping[str, Values | None]
    geometry: Geometry | NDArray[np.object_] | None = None
    rows: int = field(init=False)

    def __post_init__(self) -> None:
        """Check the contract.

        Raises
        ------
        SetoutError
            The columns break the contract, or geometry is missing or too much.
        """
        contract = self.contract
        if (self.geometry is None) != (contract.geometry is None):
            raise SetoutError(
                f"geometry is {type(self.geometry).__name__}, the contract says {contract.geometry}",
                contract.name,
            )
        if isinstance(self.geometry, np.ndarray):
            shapes = Shapes(self.geometry, multi=contract.geometry == "MULTIPOLYGON")
            object.__setattr__(self, "geometry", shapes)
        lengths = [len(v) for v in (self.geometry, *self.columns.values()) if v is not None]
        object.__setattr__(self, "rows", lengths[0] if lengths else 0)
        check(contract, self.columns, self.rows)


def write(path: Path, layers: Iterable[LayerData], crs: CRS) -> None:
    """Write layers into a new GeoPackage.

    Parameters
    ----------
    path : Path
        The file; must not exist.
    layers : Iterable
        The layers, in the order in which a reader lists them; each is let go once it is written.
    crs : CRS
        CRS of every geometry; x before y, whatever the CRS says of its axes. Of a compound CRS the horizontal part.

    Raises
    ------
    OSError
        The file cannot be written, or there is no room (errno ENOSPC).
    """
    if path.exists():
        raise FileExistsError(errno.EEXIST, "exists", str(path))
    try:
        with closing(sqlite3.connect(path, isolation_level=None)) as db:
            _write_all(db, layers, crs)
    except sqlite3.Error as error:
        name = getattr(error, "sqlite_errorname", "")
        full = name == "SQLITE_FULL" or name.startswith("SQLITE_IOERR")
        raise OSError(errno.ENOSPC if full else errno.EIO, str(error), str(path)) from error


def _write_all(db: sqlite3.Connection, layers: Iterable[LayerData], crs: CRS) -> None:
    # a new file that is thrown away when anything fails needs no journal and no waiting for the disk
    for pragma in ("journal_mode = OFF", "synchronous = OFF", "locking_mode = EXCLUSIVE", "cache_size = -16000",
                   f"application_id = {APPLICATION_ID}", f"user_version = {USER_VERSION}"):  # fmt: skip
        db.execute(f"PRAGMA {pragma}")
    db.execute("BEGIN")
    for statement in _CORE.split(";\n"):
        db.execute(statement)
    srs = _srs(crs)
    db.executemany("INSERT INTO gpkg_spatial_ref_sys VALUES (?, ?, ?, ?, ?, ?)", _srs_rows(srs))
    contracts: list[LayerContract] = []
    labels: dict[str, set[str]] = {"block": set(), "reason": set()}
    for layer in layers:
        _write_layer(db, layer, int(srs[1]))
        contracts.append(layer.contract)
        if layer.contract.name in {"rows", "usable", "exclusions"}:
            for name, seen in labels.items():
                seen.update(_texts(layer, name))
    _write_styles(db, contracts, {name: sorted(seen) for name, seen in labels.items()})
    db.execute("COMMIT")


def _texts(layer: LayerData, name: str) -> set[str]:
    values = layer.columns.get(name)
    return set() if values is None else {str(v) for v in values[0 : layer.rows].tolist() if v}


def _srs(crs: CRS) -> tuple[str, int, str, int, str, str]:
    """Return the gpkg_spatial_ref_sys row of a CRS; an authority's code only where its CRS is the very same."""
    from pyproj import CRS as AnyCRS

    flat = (crs.sub_crs_list[0] if crs.is_compound else crs).to_2d()
    for confidence in (100, 70):
        found = flat.to_authority(min_confidence=confidence)
        if not found or not found[1].isdecimal():
            continue
        known = AnyCRS.from_authority(*found)
        if known.equals(flat, ignore_axis_order=True):
            return known.name, int(found[1]), found[0], int(found[1]), known.to_wkt("WKT1_GDAL"), ""
    return flat.name, CUSTOM_SRS, "NONE", CUSTOM_SRS, flat.to_wkt("WKT1_GDAL"), "CRS of the survey"


def _srs_rows(srs: tuple[str, int, str, int, str, str]) -> list[tuple[str, int, str, int, str, str]]:
    from pyproj import CRS as AnyCRS

    wgs84 = AnyCRS.from_epsg(4326).to_wkt("WKT1_GDAL")
    rows = [
        (
            "Undefined Cartesian SRS",
            -1,
            "NONE",
            -1,
            "undefined",
            "undefined Cartesian coordinate reference system",
        ),
        (
            "Undefined geographic SRS",
            0,
            "NONE",
            0,
            "undefined",
            "undefined geographic coordinate reference system",
        ),
        ("WGS 84 geodetic", 4326, "EPSG", 4326, wgs84, "longitude/latitude on WGS 84"),
    ]
    return rows if srs[1] == 4326 else [*rows, srs]


def _write_layer(db: sqlite3.Connection, layer: LayerData, srs_id: int) -> None:
    contract = layer.contract
    kind = (contract.geometry or "").removesuffix(" Z")
    shape = [f'"{GEOMETRY}" {kind}'] if kind else []
    columns = [f'"{column.name}" {SQL_TYPE[column.kind]}' for column in contract.columns]
    db.execute(
        f'CREATE TABLE "{contract.name}" ("fid" INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, {", ".join(shape + columns)})'
    )
    boxes = _insert(db, layer, srs_id)
    finite = boxes[np.isfinite(boxes[:, 0])]
    extent = (
        [None] * 4 if not len(finite) else [*finite[:, :2].min(0).tolist(), *finite[:, 2:].max(0).tolist()]
    )
    db.execute(
        "INSERT INTO gpkg_contents VALUES (?, ?, ?, '', ?, ?, ?, ?, ?, ?)",
        (
            contract.name,
            "features" if kind else "attributes",
            contract.name,
            LAST_CHANGE,
            *extent,
            srs_id if kind else None,
        ),
    )
    if kind:
        z = 0 if not (contract.geometry or "").endswith("Z") else 1
        db.execute(
            "INSERT INTO gpkg_geometry_columns VALUES (?, ?, ?, ?, ?, 0)",
            (contract.name, GEOMETRY, kind, srs_id, z),
        )
        _index(db, contract.name, boxes)


def _insert(db: sqlite3.Connection, layer: LayerData, srs_id: int) -> NDArray[np.float64]:
    """Insert the rows chunk by chunk and return the boxes of their geometries."""
    filled = [
        (column, layer.columns[column.name])
        for column in layer.contract.columns
        if layer.columns.get(column.name) is not None
    ]
    names = (
        ["fid"] + ([GEOMETRY] if layer.geometry is not None else []) + [column.name for column, _ in filled]
    )
    statement = 'INSERT INTO "{}" ({}) VALUES ({})'.format(
        layer.contract.name, ", ".join(f'"{n}"' for n in names), ", ".join("?" * len(names))
    )
    boxes = np.empty((layer.rows if layer.geometry is not None else 0, 4))
    for start in range(0, layer.rows, ROWS):
        part = slice(start, min(layer.rows, start + ROWS))
        lists: list[Sequence[Any]] = [range(part.start + 1, part.stop + 1)]
        if layer.geometry is not None:
            blobs, boxes[part] = layer.geometry.pack(part, srs_id)
            lists.append(blobs)
        lists.extend(_listed(column, values[part]) for column, values in filled if values is not None)
        db.executemany(statement, zip(*lists, strict=True))
    return boxes


def _listed(column: Column, values: NDArray[Any]) -> list[Any]:
    """Return values as SQLite takes them: text, int, float or None."""
    values = np.asarray(values)
    if column.kind == "text":
        texts: list[Any] = values.tolist()
        return texts if column.required else [text or None for text in texts]
    if values.dtype.kind == "f":
        known = np.isfinite(values)
        if column.kind == "real":  # SQLite itself stores NaN as null
            return (values if known.all() else np.where(known, values, np.nan)).tolist()
        whole = np.where(known, values, 0).astype(np.int64).tolist()
        return (
            whole if known.all() else [n if k else None for n, k in zip(whole, known.tolist(), strict=True)]
        )
    if column.kind == "real":
        return values.astype(float).tolist()
    return values.astype(np.int64).tolist()


def _index(db: sqlite3.Connection, table: str, boxes: NDArray[np.float64]) -> None:
    name = f"rtree_{table}_{GEOMETRY}"
    db.execute(f'CREATE VIRTUAL TABLE "{name}" USING rtree(id, minx, maxx, miny, maxy)')
    ids = np.flatnonzero(np.isfinite(boxes[:, 0]))
    packed_rtree.fill(db, name, ids + 1, packed_rtree.outward(boxes[ids]))
    script = _TRIGGERS.format(t=table, c=GEOMETRY, box=_BOX.format(c=GEOMETRY))
    for statement in script.split("END;\n"):
        if statement.strip():
            db.execute(statement + "END")
    db.execute(
        "INSERT INTO gpkg_extensions VALUES (?, ?, 'gpkg_rtree_index', ?, 'write-only')",
        (table, GEOMETRY, "http://www.geopackage.org/spec120/#extension_rtree"),
    )


def _write_styles(
    db: sqlite3.Connection, contracts: Sequence[LayerContract], labels: Mapping[str, Sequence[str]]
) -> None:
    rows = style_rows(contracts, labels)
    if not rows:
        return
    db.execute(LAYER_STYLES_TABLE)
    db.executemany(
        "INSERT INTO layer_styles VALUES (?, '', '', ?, ?, ?, ?, ?, 1, ?, '', NULL, ?)",
        (
            (number, row.layer, GEOMETRY, row.name, row.qml, row.sld, row.description, LAST_CHANGE)
            for number, row in enumerate(rows, 1)
        ),
    )
    db.execute(
        "INSERT INTO gpkg_contents VALUES ('layer_styles', 'attributes', 'layer_styles', '', ?, NULL, NULL, NULL, NULL, NULL)",
        (LAST_CHANGE,),
    )
