"""What a survey file truly is, looked at before GDAL opens it: by its contents, whatever its name says.

GDAL tells formats by contents too, and some of them are no more than a text that names what to read instead: other
files, or servers. Those stay shut here: a file of vectors has to begin as its extension says, a raster is opened by
the drivers in ``RASTERS`` and by no other.
"""

from __future__ import annotations

import json
import mmap
import re
import sqlite3
import zipfile
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path, PurePosixPath
from typing import Final
from urllib.parse import quote

from setout.errors import SetoutError

KNOWN: Final = "GeoPackage, Shapefile, GeoJSON, KML, FlatGeobuf, DXF, GPX, a CSV of corners or a text of deed calls"
JSON: Final = frozenset({".geojson", ".json", ".geojsonl", ".geojsons"})
RASTERS: Final = (
    "GTiff",
    "COG",
    "HFA",
    "AAIGrid",
    "AIG",
    "EHdr",
    "ENVI",
    "GPKG",
    "GRASSASCIIGrid",
    "USGSDEM",
    "DTED",
    "SRTMHGT",
    "GSAG",
    "GSBG",
    "GS7BG",
    "SAGA",
    "RST",
    "BT",
    "XYZ",
    "JP2OpenJPEG",
    "PNG",
)
"""GDAL's drivers that a DEM is opened by: those whose files hold their heights themselves."""
GEOTIFF: Final = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
"""What a TIFF (6.0, section 2) and a BigTIFF begin with."""
NOWHERE: Final = {
    "GDAL_HTTP_PROXY": "http://127.0.0.1:0",
    "GDAL_HTTPS_PROXY": "http://127.0.0.1:0",
    "GDAL_HTTP_MAX_RETRY": "0",
    "CPL_VSIL_CURL_ALLOWED_EXTENSIONS": ".none",
}
"""Settings of GDAL under which nothing that it might still ask of a server leaves the machine."""
_HEAD: Final = 4096
_VIEW_STEPS: Final = 2000
"""How often ten thousand instructions of SQLite may pass for all views of a GeoPackage: a second or so."""
_UNPACKED: Final = 1 << 30
_PACKED_TIMES: Final = 100
"""A zip file that unpacks to more than so many bytes and so many times its own size is a trap."""
# "crs" as a key, its letters plain or escaped; and what follows it
_CRS: Final = re.compile(rb'"(?:[Cc]|\\u00[46]3)(?:[Rr]|\\u00[57]2)(?:[Ss]|\\u00[57]3)"\s*:\s*')


def unknown(source: str) -> SetoutError:
    """Return the error of a file that is of no known kind."""
    what = "cannot be read: it is no vector file of a known format"
    return SetoutError(what, source, f"it must be {KNOWN}, whole and undamaged")


def vector_file(path: Path, source: str) -> None:
    """Refuse a vector file whose contents are not what its extension says; Shapefiles are looked at elsewhere."""
    suffix = path.suffix.lower()
    if suffix == ".gpkg":
        geopackage(path, source)
    elif suffix == ".gdb":
        if not (path / "a00000001.gdbtable").is_file():
            raise unknown(source)
    elif not path.is_file():
        raise unknown(source)
    elif suffix == ".kmz":
        with opened_zip(path, source) as archive:
            for name in archive.namelist():
                if name.lower().endswith(".kml"):
                    text_file(name, archive.read(name), source)
    elif suffix != ".shp":
        with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
            text_file(path.name, data, source)


def text_file(name: str, data: bytes | mmap.mmap, source: str) -> None:
    """Refuse a GeoJSON, KML or FlatGeobuf that is none, or that refers to what is outside of it."""
    suffix, head = PurePosixPath(name).suffix.lower(), data[:_HEAD].removeprefix(b"\xef\xbb\xbf").lstrip(b" \t\r\n\x1e")
    if suffix in JSON:
        if not head.startswith((b"{", b"[")):
            raise unknown(source)
        _no_reference(data, name, source)
    elif suffix == ".kml":
        if not head.startswith(b"<") or b"<kml" not in head:
            raise unknown(source)
        if b"<!DOCTYPE" in head or b"<!ENTITY" in head:
            raise SetoutError("holds a document type declaration, which KML has no use for", source, "export it again")
    elif suffix != ".fgb" or not head.startswith(b"fgb"):
        raise unknown(source)


def _no_reference(data: bytes | mmap.mmap, name: str, source: str) -> None:
    """Refuse a JSON text that has its CRS, or its features, from somewhere else."""
    remedy = "export the layer again as plain GeoJSON"
    if name.lower().endswith(".gdalg.json") or data.find(b"gdal_streamed_alg") >= 0:
        raise SetoutError("is no survey but a command for a program", source, remedy)
    for found in _CRS.finditer(data):
        text = data[found.end() : found.end() + _HEAD].decode("utf-8", errors="replace")
        if not text.startswith("{"):
            continue
        kind: object = "link"
        with suppress(ValueError, RecursionError):
            kind = {key.casefold(): value for key, value in json.JSONDecoder().raw_decode(text)[0].items()}.get("type")
        # GeoJSON (2008), section 3.2 and 3.3: a CRS is named, or linked to
        if str(kind).casefold() not in {"name", "epsg", "none"}:
            raise SetoutError("has its coordinate system from somewhere else, by a link", source, remedy)


def opened_zip(path: Path, source: str) -> zipfile.ZipFile:
    """Open a zip file that is none made to fill the memory."""
    try:
        archive = zipfile.ZipFile(path)
    except (zipfile.BadZipFile, RuntimeError, NotImplementedError, OSError, EOFError, ValueError):
        raise SetoutError("is no readable zip file, or is cut short", source, "get it again, or unzip it") from None
    size = sum(item.file_size for item in archive.infolist())
    if size > max(_UNPACKED, _PACKED_TIMES * path.stat().st_size):
        archive.close()
        raise SetoutError(f"unpacks to {size / 1e9:.1f} GB", source, "unzip it and name the survey file itself")
    return archive


def whole_shapefile(stem: str, siblings: set[str], head: bytes, size: int, source: str) -> None:
    """Refuse a Shapefile that lacks a part, is none, or is cut short."""
    for part, holds in ((".shx", "the index"), (".dbf", "the attributes")):
        if part not in siblings:
            raise SetoutError(
                f'its part "{stem}{part}" ({holds}) is missing', source, "a Shapefile is .shp, .shx, .dbf and .prj together; copy them all"
            )
    # ESRI Shapefile Technical Description (1998), table 1: code 9994; at byte 24 the length in 16-bit words.
    if len(head) < 100 or int.from_bytes(head[:4], "big") != 9994:
        raise SetoutError("is no Shapefile", source, "export the layer again")
    if int.from_bytes(head[24:28], "big") * 2 > size:
        raise SetoutError("the Shapefile is cut short", source, "get the file again from where it came")


def geopackage(path: Path, source: str) -> None:
    """Refuse a GeoPackage that is none, is cut short, or holds what runs on and on when it is opened."""
    with path.open("rb") as file:
        _begins_as_geopackage(file.read(100), path.stat().st_size, source)
    with _damage_told(source):
        try:
            _look_into(sqlite3.connect(f"file:{quote(str(path))}?mode=ro", uri=True), source)
        except sqlite3.OperationalError:  # left with a log by another program, in a place where none can be made
            _look_into(sqlite3.connect(f"file:{quote(str(path))}?immutable=1", uri=True), source)


def packed_geopackage(data: bytes, source: str) -> None:
    """Refuse a GeoPackage out of a zip file as :func:`geopackage` does."""
    _begins_as_geopackage(data[:100], len(data), source)
    database = sqlite3.connect(":memory:")
    with _damage_told(source):
        # SQLite file format, section 1.3: bytes 18 and 19 are 2 where a log is kept, for which there is no place here
        database.deserialize(data[:18] + b"\1\1" + data[20:])
        _look_into(database, source)


def _begins_as_geopackage(head: bytes, size: int, source: str) -> None:
    if not head.startswith(b"SQLite format 3\0"):
        what = "a text file" if head and all(b in b"\t\r\n" or b >= 32 for b in head) else "another kind of file"
        raise SetoutError(f"is no GeoPackage but {what}", source, "export the layer again, or give it its right extension")
    # SQLite file format, section 1.3: page size at byte 16, pages at 28, if counters at 24 and 92 agree.
    page = int.from_bytes(head[16:18], "big")
    pages = int.from_bytes(head[28:32], "big") if head[24:28] == head[92:96] else 0
    if pages * (65536 if page == 1 else page) > size:
        raise SetoutError("the GeoPackage is cut short", source, "get the file again from where it came")
    # GeoPackage 1.2, 1.1.1.1.1: the application's number, "GPKG", earlier "GP10" and "GP11"; some programs leave it out
    if head[68:72] not in {b"GPKG", b"GP10", b"GP11", bytes(4)}:
        raise SetoutError("is no GeoPackage but another database", source, "export the layer again")


@contextmanager
def _damage_told(source: str) -> Iterator[None]:
    try:
        yield
    except sqlite3.Error as error:
        what = f"cannot be read: the file is damaged or cut short ({error})"
        raise SetoutError(what, source, f"it must be {KNOWN}, whole and undamaged") from None


def _look_into(database: sqlite3.Connection, source: str) -> None:
    with closing(database):
        _tables_only(database, source)


def _tables_only(database: sqlite3.Connection, source: str) -> None:
    """Refuse the contents, or other tables that GDAL asks, as views; views without end; and tables made by programs."""
    rows = database.execute("SELECT type, name, rootpage, sql FROM sqlite_master WHERE type IN ('table', 'view')").fetchall()
    kinds = {str(name).lower(): kind for kind, name, _, _ in rows}
    remedy = "export the layers that are meant into a new GeoPackage"
    if kinds.get("gpkg_contents") != "table":
        raise SetoutError("is no GeoPackage but another database", source, "export the layer again")
    for kind, name, root, sql in rows:
        if kind == "table" and not root and not re.search(r"\bUSING\s+\"?(rtree|fts[345])\b", str(sql), re.IGNORECASE):
            raise SetoutError(f'its table "{name}" is made by a program and not held in the file', source, remedy)
        if kind == "view" and str(name).lower().startswith(("gpkg_", "sqlite_")):
            raise SetoutError(f'its table "{name}" is no table but a view', source, remedy)
    left = _VIEW_STEPS

    def tired() -> bool:
        nonlocal left
        left -= 1
        return left < 0

    database.set_progress_handler(tired, 10_000)
    database.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, 100_000_000)
    for name in (name for kind, name, _, _ in rows if kind == "view"):
        try:
            for _ in database.execute('SELECT * FROM "' + str(name).replace('"', '""') + '"'):
                pass
        except sqlite3.Error as error:
            why = "takes without end" if left < 0 else f"fails: {error}"
            raise SetoutError(f'it holds a view, "{name}", a question to the database that {why}', source, remedy) from None


def raster_file(path: Path, source: str) -> None:
    """Refuse a raster beside which files lie that GDAL would open for it but that are not what they are there for."""
    if path.suffix.lower() == ".gpkg":
        geopackage(path, source)
    for end in (".msk", ".ovr", ".MSK", ".OVR"):
        beside = path.with_name(path.name + end)
        if beside.is_file():
            with beside.open("rb") as file:
                head = file.read(4)
            if head not in GEOTIFF:
                raise SetoutError(f"{beside.name} beside it is no TIFF", source, "delete it, or make it again")
