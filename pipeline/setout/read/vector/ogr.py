"""Vector files through GDAL: GeoPackage, Shapefile (zipped too), GeoJSON, KML, FlatGeobuf and others.

Geometries go from WKB straight to shapely and attributes to numpy, without a table library between, so that
large layers read fast. Z and M are dropped and arcs become chords of a tenth of a degree, nearer than 1 cm
to any arc whose radius is below 26 km.
"""

from __future__ import annotations

import re
import sqlite3
import warnings
import zipfile
from contextlib import closing, contextmanager
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

import numpy as np
import shapely
from shapely.errors import GEOSException

from setout.errors import SetoutError
from setout.model import Finding, Geometries
from setout.read import kinds
from setout.read.crs import understood
from setout.read.found import Found, LayerInfo, exists
from setout.read.kinds import KNOWN

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

WGS84_FORMATS = frozenset({".geojson", ".json", ".geojsonl", ".geojsons", ".kml", ".kmz"})
INSIDE_ZIP = frozenset({".shp", ".gpkg", ".geojson", ".json", ".kml", ".fgb"})
ARC_STEP_DEG = "0.1"


def layers(path: Path, source: str, *, count: bool = True) -> tuple[LayerInfo, ...]:
    """Return the layers of a file that have a geometry."""
    import pyogrio

    found: list[LayerInfo] = []
    for opener, name in _openers(path, source):
        with _gdal(source, names=True):
            listed = pyogrio.list_layers(opener)
        for layer, kind in listed.tolist():
            if kind is None:
                continue
            info = LayerInfo(name or str(layer), _plain(kind), -1, opener)
            if count:
                with _gdal(source):
                    number = int(pyogrio.read_info(opener, layer=layer, force_feature_count=True)["features"])
                info = LayerInfo(info.name, info.kind, number, opener)
            found.append(info)
    return tuple(found)


def layer_of(path: Path, name: str, source: str) -> LayerInfo | None:
    """Return a layer of a GeoPackage by its very name, without listing the others."""
    exists(path, source)
    kinds.geopackage(path, source)
    try:
        with closing(sqlite3.connect(f"file:{quote(str(path))}?mode=ro", uri=True)) as database:
            rows = database.execute("SELECT geometry_type_name FROM gpkg_geometry_columns WHERE table_name = ?", (name,)).fetchall()
    except sqlite3.Error:  # GDAL says what is wrong with it
        return None
    return LayerInfo(name, _plain(rows[0][0]), -1, str(path.absolute())) if len(rows) == 1 else None


def read(path: Path, layer: LayerInfo, source: str) -> Found:
    """Read one layer."""
    shapefile = layer.opener.lower().endswith(".shp")
    meta, wkb, fields, warned = _raw(layer, source, shapefile=shapefile)
    geometry = _shapes(wkb, source)
    names = [str(name) for name in meta["fields"]]
    columns = {name: _column(values) for name, values in zip(names, fields, strict=True)}
    if shapefile and not _says_encoding(layer.opener):
        columns = {name: _utf8(values) for name, values in columns.items()}
    findings = tuple(
        Finding("file_warning", "warn", f"{source}: {text}", "", "", "compare the layer with what was surveyed") for text in warned
    )
    standard = Path(layer.opener).suffix.lower() in WGS84_FORMATS
    return Found(geometry, columns, understood(meta["crs"], source), standard, findings)


def _raw(layer: LayerInfo, source: str, *, shapefile: bool) -> tuple[dict[str, Any], Any, Any, tuple[str, ...]]:
    import pyogrio
    import pyogrio.raw

    name = None if shapefile else layer.name
    for encoding in (None, "ISO-8859-1"):
        try:
            with _gdal(source) as warned:
                meta, _, wkb, fields = pyogrio.raw.read(layer.opener, layer=name, force_2d=True, encoding=encoding)
                if any(w is not None and len(w) == 0 for w in wkb):
                    # The same layer by number, for GDAL names those of a text in memory differently.
                    number = [str(n) for n, _ in pyogrio.list_layers(layer.opener).tolist()].index(layer.name)
                    text = _rings_as_lines(layer.opener)
                    meta, _, wkb, fields = pyogrio.raw.read(text, layer=number, force_2d=True)
        except UnicodeDecodeError:
            continue
        return meta, wkb, fields, tuple(dict.fromkeys(warned))
    raise SetoutError("its text is in no known encoding", source, "export the layer again as UTF-8")


def _rings_as_lines(opener: str) -> str | bytes:
    """Return the text of a KML whose bare LinearRings, which GDAL gives no coordinates for, are LineStrings."""
    suffix = Path(opener).suffix.lower()
    if suffix == ".kmz" and not opener.startswith("/vsi"):
        with zipfile.ZipFile(opener) as archive:
            text = archive.read(next(n for n in archive.namelist() if n.lower().endswith(".kml")))
    elif suffix == ".kml" and not opener.startswith("/vsi"):
        text = Path(opener).read_bytes()
    else:
        return opener

    def bare(ring: re.Match[bytes]) -> bytes:
        return ring[0] if ring[1] else b"<LineString>" + ring[2] + b"</LineString>"

    return re.sub(rb"(BoundaryIs>\s*)?<LinearRing\b[^>]*>(.*?)</LinearRing>", bare, text, flags=re.DOTALL)


@contextmanager
def _gdal(source: str, *, names: bool = False) -> Iterator[list[str]]:
    """Turn what GDAL raises into SetoutError, collect what it warns of, and flatten arcs finely meanwhile.

    Text in an unknown encoding is refused where it is that of ``names``.
    """
    import pyogrio
    from pyogrio.errors import DataSourceError, FieldError, GeometryError

    warned: list[str] = []
    options = {"OGR_ARC_STEPSIZE": ARC_STEP_DEG, "SHAPE_RESTORE_SHX": "NO", **kinds.NOWHERE}
    before = {name: pyogrio.get_gdal_config_option(name) for name in options}
    pyogrio.set_gdal_config_options(options)
    try:
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            yield warned
        # That M is dropped, and that a shapefile's winding order was mended, changes nothing here.
        texts = [str(w.message) for w in caught if issubclass(w.category, RuntimeWarning)]
        warned += [t for t in texts if "organizePolygons" not in t and "winding order" not in t]
    except (DataSourceError, FieldError, GeometryError, RuntimeError, ValueError) as error:
        if isinstance(error, UnicodeDecodeError) and not names:
            raise
        if isinstance(error, UnicodeDecodeError):
            shown = error.object[:60].decode("utf-8", errors="backslashreplace")
            raise SetoutError(
                f'has a layer whose name is not text in UTF-8 ("{shown}")', source, "give the layer another name, or export it again"
            ) from None
        raise SetoutError(f"cannot be read: {_short(error)}", source, f"it must be {KNOWN}, whole and undamaged") from None
    finally:
        pyogrio.set_gdal_config_options(before)


def _short(error: Exception) -> str:
    text = str(error).split("; It might help")[0].split("\n")[0]
    text = text.replace("sqlite3_prepare_v2", "")
    if "not recognized as being in a supported" in text:
        return "it is no vector file of a known format"
    return "the file is damaged or cut short" if "malformed" in text or "not a database" in text else text[:300]


def _plain(kind: str) -> str:
    """Return a geometry type without Z, M and 2.5D."""
    words = [w for w in kind.replace("2.5D", "").split() if w not in {"Z", "M", "ZM", "Measured", "3D"}]
    return "".join(words) or "Unknown"


def _shapes(wkb: NDArray[np.object_], source: str) -> Geometries:
    # A NaN coordinate makes numpy warn here; it is refused with its place later.
    try:
        with np.errstate(invalid="ignore"):
            return np.asarray(shapely.from_wkb(wkb), dtype=object)
    except GEOSException:
        with np.errstate(invalid="ignore"):
            single = shapely.from_wkb(wkb, on_invalid="ignore")
        at = np.flatnonzero(shapely.is_missing(single) & np.array([w is not None for w in wkb]))
        raise SetoutError(
            f"feature {int(at[0]) + 1} has a broken geometry (a ring of two corners, say)",
            source,
            f"mend it in the file; {at.size} features of the layer are broken",
        ) from None


def _column(values: NDArray[Any]) -> NDArray[Any]:
    return values if values.dtype.kind != "U" else values.astype(object)


def _says_encoding(opener: str) -> bool:
    return any(Path(opener).with_suffix(end).exists() for end in (".cpg", ".CPG", ".cst")) or "/vsizip/" in opener


def _utf8(values: NDArray[Any]) -> NDArray[Any]:
    """Read text as UTF-8 where a Shapefile that says no encoding clearly holds it (GDAL reads Latin-1)."""
    if values.dtype.kind != "O":
        return values
    out = []
    for value in values.tolist():
        if isinstance(value, str) and not value.isascii():
            try:
                value = value.encode("latin-1").decode("utf-8")
            except UnicodeError:
                return values
        out.append(value)
    array = np.empty(len(out), dtype=object)
    array[:] = out
    return array


def _openers(path: Path, source: str) -> list[tuple[str, str]]:
    """Return what GDAL has to open for a file, each with the layer name to show ("" for GDAL's own)."""
    exists(path, source)
    suffix = path.suffix.lower()
    if path.is_dir() and suffix != ".gdb":
        inside = sorted(p.name for p in path.iterdir() if p.suffix.lower() in INSIDE_ZIP)
        raise SetoutError("is a folder, not a file", source, f"name a file in it: {', '.join(inside[:8]) or 'it has none'}")
    if suffix == ".zip":
        return _zipped(path, source)
    if suffix in {".shx", ".dbf", ".prj", ".cpg"}:
        raise SetoutError(f'is a part of a Shapefile, "{path.name}"', source, f'name "{path.stem}.shp"')
    if suffix == ".shp":
        siblings = {p.suffix.lower() for p in path.parent.iterdir() if p.stem.casefold() == path.stem.casefold()}
        with path.open("rb") as file:
            head = file.read(100)
        kinds.whole_shapefile(path.stem, siblings, head, path.stat().st_size, source)
    kinds.vector_file(path, source)
    return [(str(path.absolute()), "")]


def _zipped(path: Path, source: str) -> list[tuple[str, str]]:
    try:
        with kinds.opened_zip(path, source) as archive:
            names = [n for n in archive.namelist() if not n.startswith("__MACOSX") and not n.endswith("/")]
            inside = [PurePosixPath(n) for n in names]
            data = [p for p in inside if p.suffix.lower() in INSIDE_ZIP and not p.name.startswith(".")]
            for shp in (p for p in data if p.suffix.lower() == ".shp"):
                beside = {p.suffix.lower() for p in inside if p.parent == shp.parent and p.stem.casefold() == shp.stem.casefold()}
                with archive.open(str(shp)) as file:
                    head = file.read(100)
                kinds.whole_shapefile(shp.stem, beside, head, archive.getinfo(str(shp)).file_size, source)
            for one in (p for p in data if p.suffix.lower() != ".shp"):
                whole = archive.read(str(one))
                if one.suffix.lower() == ".gpkg":
                    kinds.packed_geopackage(whole, source)
                else:
                    kinds.text_file(one.name, whole, source)
    except (zipfile.BadZipFile, RuntimeError, NotImplementedError, OSError, EOFError):
        raise SetoutError("is no readable zip file, or is cut short", source, "get it again, or unzip it") from None
    if not data:
        shown = ", ".join(names[:8]) or "nothing"
        raise SetoutError(f"holds no Shapefile; it holds {shown}", source, "unzip it and name the survey file itself")
    return [(f"/vsizip/{{{path.resolve()}}}/{p}", p.stem if p.suffix.lower() == ".shp" else "") for p in data]
