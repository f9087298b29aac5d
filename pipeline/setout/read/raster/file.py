"""Opening a raster: by the drivers whose files hold their heights themselves, and with nothing asked of a network."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from setout.errors import SetoutError
from setout.read import kinds
from setout.read.found import named_in_utf8
from setout.read.reference import is_there

if TYPE_CHECKING:
    from rasterio.io import DatasetReader

WHOLE_AGAIN = "copy or export the file again; it seems cut short or damaged"
_KEPT = 64 << 20
"""Bytes of decoded blocks that GDAL keeps, for the looks that follow each other at one DEM; rasterio takes bytes."""


@contextmanager
def gdal(**more: str | int) -> Iterator[None]:
    """Set GDAL up for reading: two threads, a small cache, compound CRS as they are."""
    import rasterio
    from rasterio.errors import NotGeoreferencedWarning

    options: dict[str, Any] = {
        "GDAL_NUM_THREADS": "2",
        "GDAL_CACHEMAX": _KEPT,
        "GTIFF_REPORT_COMPD_CS": "YES",
        "GDAL_DISABLE_READDIR_ON_OPEN": "FALSE",
        **kinds.NOWHERE,
        **more,
    }
    with rasterio.Env(**options), warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        yield


def open_file(path: Path, name: str) -> DatasetReader:
    """Open a raster, inside :func:`gdal`."""
    from rasterio.errors import RasterioError
    from rasterio.io import DatasetReader

    file, layer = path, ""
    named_in_utf8(path, name)
    if not is_there(path) and ":" in path.name:
        head, _, layer = path.name.rpartition(":")
        file = path.with_name(head)
    if not is_there(file):
        raise SetoutError("there is no such file", name, "mend site.dem in the plan file")
    if file.is_file() and file.stat().st_size == 0:
        raise SetoutError("the file is empty (0 bytes)", name, WHOLE_AGAIN)
    kinds.raster_file(file, name)
    file = file.absolute()
    address = f"/vsizip/{file}" if file.suffix.lower() == ".zip" else str(file)
    try:
        opener = f"GPKG:{file}:{layer}" if layer and file.suffix.lower() == ".gpkg" else address
        # a GeoPackage is looked into before it is opened, which is not done inside a zip file
        drivers = [name for name in kinds.RASTERS if name != "GPKG" or file.suffix.lower() == ".gpkg"]
        found = DatasetReader(opener, driver=drivers)
        if found.count == 0 and found.subdatasets:
            found = DatasetReader(_one_of(found.subdatasets, layer, name), driver=drivers)
    except RasterioError as error:
        if file.is_file() and _head(file).startswith(b"<"):
            raise SetoutError(
                "holds no heights: it is a text that names other files, or a server",
                name,
                "name the files themselves, as a list in site.dem",
            ) from None
        raise SetoutError(f"is not a raster that can be read ({brief(error)})", name, "give a DEM such as a GeoTIFF") from None
    if found.count == 0:
        raise SetoutError("holds no raster band", name, "give a DEM such as a GeoTIFF")
    return found


def _head(file: Path) -> bytes:
    with file.open("rb") as opened:
        return opened.read(64).removeprefix(b"\xef\xbb\xbf").lstrip()


def _one_of(rasters: list[str], layer: str, name: str) -> str:
    short = [text.rpartition(":")[2].strip('"/') for text in rasters]
    chosen = [text for text, word in zip(rasters, short, strict=True) if word == layer] if layer else rasters
    if len(chosen) == 1:
        return chosen[0]
    raise SetoutError(f"holds {len(rasters)} rasters: {', '.join(short)}", name, f'name one: "{name.partition(":")[0]}:{short[0]}"')


def brief(error: Exception) -> str:
    """Return what GDAL says in a few words."""
    text = (str(error.__cause__ or error).splitlines() or [""])[0][:160]
    if "not recognized as being in a supported" in text:
        return "it is of no known raster format"
    return "it is damaged or cut short" if "TIFFReadDirectory" in text else text or type(error).__name__
