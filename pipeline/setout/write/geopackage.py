"""GeoPackage (OGC 12-128r14, version 1.2) written straight into SQLite.

Version 1.2 because older desktops open it without complaint. The tables are those of the standard's annex
C; the spatial index is its R-tree extension (annex F.3), packed whole instead of grown row by row.
``last_change`` is a fixed date, so that the same plan gives the same file byte for byte: when a plan was
made stands in run.json.
"""

from __future__ import annotations

import errno
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import pyproj
import shapely

from setout.errors import SetoutError
from setout.layers import LayerContract, check

from .chunks import Chunked, Coded, Points, Segments, Shapes, Values, WalkIds, several
from .records import RowTooLongError
from .rows import Table, insert, insert_index, lay
from .styles import LAYER_STYLES_TABLE, style_rows
from .table_pages import PAGE, PageFile

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

    from numpy.typing import NDArray
    from pyproj import CRS

__all__ = ["Chunked", "Coded", "LayerData", "Points", "Segments", "WalkIds", "several", "write"]

APPLICATION_ID: Final = 0x47504B47
"""The four letters "GPKG" (OGC 12-128, requirement 2)."""
USER_VERSION: Final = 10200
LAST_CHANGE: Final = "2000-01-01T00:00:00.000Z"
CUSTOM_SRS: Final = 100_000
"""srs_id of a CRS that has no code of an authority."""
GEOMETRY: Final = "geom"
_ALLOWED: Final = {  # shapely type numbers; -1 is a missing geometry
    "": set(),
    "POINT": {-1, 0},
    "POINT Z": {-1, 0},
    "LINESTRING": {-1, 1},
    "MULTILINESTRING": {-1, 5},
    "MULTIPOLYGON": {-1, 3, 6, 7},
    "GEOMETRY": {-1, 0, 1, 2, 3, 4, 5, 6, 7},
}
SQL_TYPE: Final = {"text": "TEXT", "int": "INTEGER", "real": "REAL", "bool": "BOOLEAN"}

_CORE: Final = """
CREATE TABLE gpkg_spatial_ref_sys (srs_name TEXT NOT NULL, srs_id INTEGER NOT NULL PRIMARY KEY,
  organization TEXT NOT NULL, organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL,
  description TEXT);
CREATE TABLE gpkg_contents (table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL,
  identifier TEXT UNIQUE, description TEXT DEFAULT '',
  last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
  min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER,
  CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id));
CREATE TABLE gpkg_geometry_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL,
  geometry_type_name TEXT NOT NULL, srs_id INTEGER NOT NULL, z TINYINT NOT NULL, m TINYINT NOT NULL,
  CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name),
  CONSTRAINT uk_gc_table_name UNIQUE (table_name),
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
    columns : values by column name: an array, a :class:`Chunked`, a :class:`Coded`, or None for a column
        that is null throughout. NaN and infinity become null, and so does an empty text
    geometry : :class:`Points`, :class:`Segments` or an array of shapely geometries, in the CRS that write
        is given; None for a table
    """

    contract: LayerContract
    columns: Mapping[str, Values | None]
    geometry: Points | Segments | Shapes | NDArray[np.object_] | None = None

    def __post_init__(self) -> None:
        """Check the contract.

        Raises
        ------
        SetoutError
            The columns break the contract, or geometry is missing or of another kind.
        """
        check(self.contract, self.columns, self.rows)
        kind, geometry = self.contract.geometry, self.geometry
        if (geometry is None) != (kind is None):
            raise SetoutError(f"geometry is {type(geometry).__name__}, not {kind}", self.contract.name)
        if geometry is not None and len(geometry) != self.rows:
            raise SetoutError(f"{len(geometry)} geometries for {self.rows} rows", self.contract.name)
        allowed = _ALLOWED[kind or ""]
        if isinstance(geometry, np.ndarray):
            found = set(np.unique(shapely.get_type_id(geometry)).tolist())
            if not found <= allowed:
                names = ", ".join(sorted({g.geom_type for g in geometry if g is not None}))
                raise SetoutError(f"geometry is {names}, not {kind}", self.contract.name)
        elif (isinstance(geometry, Points) and 0 not in allowed) or (
            isinstance(geometry, Segments) and 1 not in allowed
        ):
            raise SetoutError(f"geometry is {type(geometry).__name__}, not {kind}", self.contract.name)

    @property
    def rows(self) -> int:
        """Return the number of rows."""
        given = [self.geometry, *self.columns.values()]
        return next((len(values) for values in given if values is not None), 0)

    def table(self, srs_id: int) -> Table:
        """Return the rows as they are written."""
        geometry = self.geometry
        if isinstance(geometry, np.ndarray):
            geometry = Shapes(geometry, multi=self.contract.geometry == "MULTIPOLYGON")
        name, columns = self.contract.name, self.contract.columns
        return Table(name, self.rows, columns, self.columns, geometry, srs_id if geometry is not None else 0)


def write(path: Path, layers: Iterable[LayerData], crs: CRS) -> None:
    """Write layers into a new GeoPackage.

    Parameters
    ----------
    path : Path
        The file; must not exist.
    layers : Iterable
        The layers, in the order in which a reader lists them; each is let go once it is written.
    crs : CRS
        CRS of every geometry; x before y, whatever the CRS says of its axes. Of a compound CRS the
        horizontal part.

    Raises
    ------
    OSError
        The file cannot be written, or there is no room (errno ENOSPC).
    """
    if path.exists():
        raise FileExistsError(errno.EEXIST, "exists", str(path))
    try:
        with closing(_Database(path)) as database:
            _write_all(database, layers, crs)
    except sqlite3.Error as error:
        name = getattr(error, "sqlite_errorname", "")
        full = name == "SQLITE_FULL" or name.startswith("SQLITE_IOERR")
        raise OSError(errno.ENOSPC if full else errno.EIO, str(error), str(path)) from error


class _Database:
    """The file being written: open in SQLite, but for the moments in which pages are laid into it."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.db = self._open()

    def _open(self) -> sqlite3.Connection:
        db = sqlite3.connect(self.path, isolation_level=None)
        # a new file, thrown away when anything fails, needs no journal and no waiting for the disk
        for pragma in (
            f"page_size = {PAGE}",
            "auto_vacuum = NONE",
            "journal_mode = OFF",
            "synchronous = OFF",
        ):
            db.execute(f"PRAGMA {pragma}")
        db.execute("PRAGMA cache_size = -16000")
        db.execute("BEGIN")
        return db

    def lay(self, table: Table) -> bool:
        """Lay a table's rows and index down as pages; where that cannot be done change nothing: False."""
        roots = dict(self.db.execute("SELECT name, rootpage FROM sqlite_master WHERE type = 'table'").fetchall())
        self.db.execute("COMMIT")
        self.db.close()
        with closing(PageFile(self.path)) as file:
            laid = file.usable
            try:
                if laid:
                    lay(file, roots, table)
                    file.keep()
            except RowTooLongError:
                laid = False
        self.db = self._open()
        return laid

    def close(self) -> None:
        self.db.close()


def _write_all(database: _Database, layers: Iterable[LayerData], crs: CRS) -> None:
    database.db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    database.db.execute(f"PRAGMA user_version = {USER_VERSION}")
    for statement in _CORE.split(";\n"):
        database.db.execute(statement)
    srs = _srs(crs)
    database.db.executemany("INSERT INTO gpkg_spatial_ref_sys VALUES (?, ?, ?, ?, ?, ?)", _srs_rows(srs))
    contracts: list[LayerContract] = []
    labels: dict[str, set[str]] = {"block": set(), "reason": set()}
    for layer in layers:
        _write_layer(database, layer, srs[1])
        contracts.append(layer.contract)
        if layer.contract.name in {"rows", "usable", "exclusions"}:
            for name, seen in labels.items():
                seen.update(_texts(layer, name))
    _write_styles(database.db, contracts, {name: sorted(seen) for name, seen in labels.items()})
    database.db.execute("COMMIT")


def _texts(layer: LayerData, name: str) -> set[str]:
    values = layer.columns.get(name)
    return set() if values is None else {str(v) for v in values[0 : layer.rows].tolist() if v}


def _srs(crs: CRS) -> tuple[str, int, str, int, str, str]:
    """Return the row of a CRS; with an authority's code only where that stands for the very same CRS."""
    flat = (crs.sub_crs_list[0] if crs.is_compound else crs).to_2d()
    for confidence in (100, 70):
        found = flat.to_authority(min_confidence=confidence)
        if not found or not found[1].isdecimal():
            continue
        known = pyproj.CRS.from_authority(*found)
        if known.equals(flat, ignore_axis_order=True):
            return known.name, int(found[1]), found[0], int(found[1]), known.to_wkt("WKT1_GDAL"), ""
    return flat.name, CUSTOM_SRS, "NONE", CUSTOM_SRS, flat.to_wkt("WKT1_GDAL"), "CRS of the survey"


def _srs_rows(srs: tuple[str, int, str, int, str, str]) -> list[tuple[str, int, str, int, str, str]]:
    wgs84 = pyproj.CRS.from_epsg(4326).to_wkt("WKT1_GDAL")
    undefined = "undefined {} coordinate reference system"
    rows = [
        ("Undefined Cartesian SRS", -1, "NONE", -1, "undefined", undefined.format("Cartesian")),
        ("Undefined geographic SRS", 0, "NONE", 0, "undefined", undefined.format("geographic")),
        ("WGS 84 geodetic", 4326, "EPSG", 4326, wgs84, "longitude/latitude on WGS 84"),
    ]
    return rows if srs[1] == 4326 else [*rows, srs]


def _write_layer(database: _Database, layer: LayerData, srs_id: int) -> None:
    contract = layer.contract
    kind = (contract.geometry or "").removesuffix(" Z")
    shape = [f'"{GEOMETRY}" {kind}'] if kind else []
    columns = [f'"{column.name}" {SQL_TYPE[column.kind]}' for column in contract.columns]
    key = '"fid" INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL'
    database.db.execute(f'CREATE TABLE "{contract.name}" ({", ".join([key, *shape, *columns])})')
    table, index = layer.table(srs_id), f"rtree_{contract.name}_{GEOMETRY}"
    if kind:
        database.db.execute(f'CREATE VIRTUAL TABLE "{index}" USING rtree(id, minx, maxx, miny, maxy)')
        database.db.execute(f'DELETE FROM "{index}_node"')
    if isinstance(table.geometry, Points | Segments) and layer.rows and database.lay(table):
        database.db.execute("INSERT INTO sqlite_sequence VALUES (?, ?)", (contract.name, layer.rows))
    else:
        insert(database.db, table)
        if kind:
            insert_index(database.db, index, table.tree())
    _register(database.db, contract, table, kind)


def _register(db: sqlite3.Connection, contract: LayerContract, table: Table, kind: str) -> None:
    extent = [None if np.isnan(value) else float(value) for value in table.bounds]
    where = (*extent, table.srs_id) if kind else (None,) * 5
    name = contract.name
    db.execute(
        "INSERT INTO gpkg_contents VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (name, "features" if kind else "attributes", name, contract.title, LAST_CHANGE, *where),
    )
    if not kind:
        return
    z = 0 if contract.geometry != "POINT Z" else _z_of(table)
    db.execute("INSERT INTO gpkg_geometry_columns VALUES (?, ?, ?, ?, ?, 0)", (name, GEOMETRY, kind, table.srs_id, z))
    script = _TRIGGERS.format(t=name, c=GEOMETRY, box=_BOX.format(c=GEOMETRY))
    for statement in script.split("END;\n"):
        if statement.strip():
            db.execute(statement + "END")
    db.execute(
        "INSERT INTO gpkg_extensions VALUES (?, ?, 'gpkg_rtree_index', ?, 'write-only')",
        (name, GEOMETRY, "http://www.geopackage.org/spec120/#extension_rtree"),
    )


def _z_of(table: Table) -> int:
    """Return 1 (every geometry has z) or 2 (some have)."""
    z = table.geometry.z if isinstance(table.geometry, Points) else None
    if z is None:
        return 2
    return 1 if all(np.isfinite(np.asarray(z[part], float)).all() for part in table.parts()) else 2


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
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change) "
        "VALUES ('layer_styles', 'attributes', 'layer_styles', 'How layers look', ?)",
        (LAST_CHANGE,),
    )
