"""The terrain as rasters: slope and hillshade as Cloud Optimized GeoTIFF, and a shaded picture for the map.

Everything stays on the DEM's own cells but for the picture, which is warped to the map's projection (EPSG:3857): a
picture stretched between its corners would lie metres off (up to 43 m over 4 km was measured 2.5 degrees from a UTM
zone's middle).
"""

from __future__ import annotations

import errno
import shutil
import tempfile
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from setout.geometry.cells import relief
from setout.geometry.cells.cellsize import CellSize, Window, cell_size
from setout.geometry.cells.strips import STRIP, Chunk, Groups, chunks, gradients, grid_of, group_step, overview
from setout.model import Elevations, Floats, Ground, RasterGrid

NODATA = -9999.0
MARGIN_CELLS = 16
"""Cells round the site's window that the rasters show as well."""
SHADE_CELLS = 25_000_000
"""Most cells of the hillshade; a larger window is shaded from the means of groups of cells."""
WEB = "EPSG:3857"
COARSE_PIXELS = 4
"""Most pixels of the picture along a cell's side."""
GREY_STEP = 2
RELIEF = 0.35
"""Slope that the picture's steeper ground (19 of 20 cells are gentler) is made to look like, if it is gentler."""
MOST_EXAGGERATED = 5.0


@dataclass(frozen=True, slots=True)
class Layout:
    """How a raster is laid out: its grid, kind of number, number for none and the name of its band."""

    grid: RasterGrid
    dtype: str
    nodata: float
    band: str


def write_terrain(ground: Ground, folder: Path) -> None:
    """Write slope.tif and hillshade.tif."""
    if ground.elevations is None:
        return
    elevations = ground.elevations
    window = _with_margin(ground.window, elevations.grid)
    step = group_step(window, SHADE_CELLS)
    slope = Layout(grid_of(elevations.grid, window), "float32", NODATA, "slope_pct")
    shade = Layout(grid_of(elevations.grid, window, step), "uint8", 0, "hillshade")
    size = cell_size(elevations.grid, window)
    with _cog(folder / "slope.tif", slope) as put_slope, _cog(folder / "hillshade.tif", shade) as put_shade:
        groups = Groups(step, shade.grid.height, shade.grid.width)
        for chunk in _strips(elevations, window):
            dzdx, dzdy = gradients(chunk, size, np.isnan(chunk.z))
            row = chunk.row0 - window[0]
            if step == 1:
                put_shade(row, relief.hillshade(dzdx, dzdy))
            else:
                groups.add(row, chunk.heights)
            percent = np.float32(100) * relief.slope(dzdx, dzdy)
            put_slope(row, np.where(np.isnan(percent), np.float32(NODATA), percent))
        if step > 1:
            for row, dzdx, dzdy in _grades(groups.means(), shade.grid):
                put_shade(row, relief.hillshade(dzdx, dzdy))


def _with_margin(window: Window, grid: RasterGrid) -> Window:
    row0, row1, col0, col1 = window
    return (
        max(row0 - MARGIN_CELLS, 0),
        min(row1 + MARGIN_CELLS, grid.height),
        max(col0 - MARGIN_CELLS, 0),
        min(col1 + MARGIN_CELLS, grid.width),
    )


def _strips(elevations: Elevations, window: Window) -> Iterator[Chunk]:
    return chunks(elevations, window, rows=256)


class _Held:
    """Heights in memory as a DEM."""

    source = ""

    def __init__(self, z: relief.Heights, grid: RasterGrid) -> None:
        self.z, self.grid = z, grid

    def read(self, row0: int, row1: int, col0: int, col1: int) -> relief.Heights:
        """Return a window."""
        return self.z[row0:row1, col0:col1]


def _grades(z: relief.Heights, grid: RasterGrid) -> Iterator[tuple[int, relief.Heights, relief.Heights]]:
    """Yield first row and gradients of heights in memory, some rows at a time."""
    window = (0, grid.height, 0, grid.width)
    size: CellSize = cell_size(grid, window)
    for chunk in _strips(_Held(z, grid), window):
        yield chunk.row0, *gradients(chunk, size, np.isnan(chunk.z))


Put = Callable[[int, NDArray[Any]], None]


@contextmanager
def _cog(path: Path, layout: Layout) -> Iterator[Put]:
    """Give a function that takes rows from the first to the last, and leave a Cloud Optimized GeoTIFF."""
    import rasterio
    import rasterio.shutil
    from affine import Affine
    from rasterio.errors import RasterioError
    from rasterio.windows import Window as Place

    profile = {
        "width": layout.grid.width,
        "height": layout.grid.height,
        "count": 1,
        "dtype": layout.dtype,
        "nodata": layout.nodata,
        "crs": rasterio.crs.CRS.from_wkt(layout.grid.crs.to_wkt()),
        "transform": Affine(*layout.grid.transform),
    }
    need = layout.grid.width * layout.grid.height * np.dtype(layout.dtype).itemsize
    if shutil.disk_usage(path.parent).free < need:
        raise OSError(errno.ENOSPC, f"{path.name} needs {need / 1e6:.0f} MB aside while it is written", str(path))
    # rows go into a plain tiled file first, so that memory does not grow with the raster
    with (
        rasterio.Env(GDAL_CACHEMAX=64 << 20, GDAL_NUM_THREADS="2"),
        tempfile.TemporaryDirectory(prefix=".setout-", dir=path.parent) as aside,
    ):
        plain = Path(aside) / path.name
        try:
            with rasterio.open(
                plain, "w", driver="GTiff", tiled=True, blockxsize=STRIP, blockysize=STRIP, BIGTIFF="IF_SAFER", **profile
            ) as file:
                file.set_band_description(1, layout.band)

                def put(row: int, values: NDArray[Any]) -> None:
                    file.write(values, 1, window=Place(0, row, values.shape[1], values.shape[0]))

                yield put
            rasterio.shutil.copy(
                plain,
                path,
                driver="COG",
                compress="deflate",
                predictor="YES",
                blocksize=512,
                overview_resampling="average",
                bigtiff="IF_SAFER",
                num_threads="2",
            )
        except RasterioError as error:
            full = shutil.disk_usage(path.parent).free < need
            raise OSError(errno.ENOSPC if full else errno.EIO, f"cannot be written ({error})", str(path)) from error


def hillshade_picture(ground: Ground, max_pixels: int = 1600) -> tuple[bytes, tuple[float, float, float, float]]:
    """Draw the shaded ground for a map in EPSG:3857; gentle ground is drawn steeper than it is."""
    from affine import Affine
    from rasterio import crs as rio
    from rasterio.enums import Resampling
    from rasterio.warp import reproject

    assert ground.elevations is not None
    grid, z = _picture_heights(ground, max_pixels)
    grades = [part for _, *part in _grades(z, grid)]
    dzdx, dzdy = (np.concatenate(parts) for parts in zip(*grades, strict=True))
    grey = relief.hillshade(*_exaggerated(dzdx, dzdy))
    transform, width, height = _web_grid(grid, max_pixels)
    there = {
        "src_transform": Affine(*grid.transform),
        "src_crs": rio.CRS.from_wkt(grid.crs.to_wkt()),
        "dst_transform": Affine(*transform),
        "dst_crs": rio.CRS.from_string(WEB),
        "init_dest_nodata": True,
    }
    shade, alpha = np.zeros((height, width), np.uint8), np.zeros((height, width), np.uint8)
    reproject(grey, shade, src_nodata=0, dst_nodata=0, resampling=Resampling.bilinear, **there)
    seen = np.where(grey > 0, np.uint8(255), np.uint8(0))
    reproject(seen, alpha, resampling=Resampling.bilinear, **there)
    left, top = transform[2], transform[5]
    right, bottom = left + transform[0] * width, top + transform[4] * height
    (west, east), (south, north) = _lonlat(np.array([left, right]), np.array([bottom, top]))
    return _png(shade, np.where(shade > 0, alpha, 0)), (float(south), float(west), float(north), float(east))


def _exaggerated(dzdx: relief.Heights, dzdy: relief.Heights) -> tuple[relief.Grades, relief.Grades]:
    """Raise gentle ground so that its shape shows."""
    slopes = relief.slope(dzdx, dzdy)
    known = slopes[np.isfinite(slopes)]
    steep = float(np.quantile(known, 0.95)) if known.size else 0.0
    times = np.float32(min(max(RELIEF / max(steep, 1e-6), 1.0), MOST_EXAGGERATED))
    return dzdx * times, dzdy * times


def _picture_heights(ground: Ground, max_pixels: int) -> tuple[RasterGrid, relief.Heights]:
    """Return heights with about as many cells along a side as the picture has pixels, and their grid."""
    assert ground.elevations is not None
    if ground.overview is None:
        z, step = overview(ground.elevations, ground.window, max_pixels**2)
    else:
        z, step = ground.overview, ground.overview_step
    more = max(1, -(-max(z.shape) // max_pixels))
    if more > 1:
        groups = Groups(more, z.shape[0] // more, z.shape[1] // more)
        groups.add(0, z)
        z, step = groups.means(), step * more
    return grid_of(ground.elevations.grid, ground.window, step), z


def _web_grid(grid: RasterGrid, max_pixels: int) -> tuple[tuple[float, ...], int, int]:
    """Return transform, width and height of the picture in EPSG:3857: square pixels over the whole grid."""
    from pyproj import CRS

    from setout.model import transformer

    along = np.linspace(0.0, 1.0, 33)
    rows = np.concatenate([along * 0, along * 0 + 1, along, along]) * grid.height
    cols = np.concatenate([along, along, along * 0, along * 0 + 1]) * grid.width
    x, y = (np.asarray(v) for v in transformer(grid.crs, CRS.from_string(WEB)).transform(*grid.corner(rows, cols)))
    wide, tall = float(np.ptp(x)), float(np.ptp(y))
    pixel = max(max(wide, tall) / min(max_pixels, COARSE_PIXELS * max(grid.width, grid.height)), 1e-3)
    width, height = max(1, int(np.ceil(wide / pixel - 1e-6))), max(1, int(np.ceil(tall / pixel - 1e-6)))
    return (pixel, 0.0, float(x.min()), 0.0, -pixel, float(y.max())), width, height


def _lonlat(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    from pyproj import CRS

    from setout.model import transformer

    lon, lat = transformer(CRS.from_string(WEB), CRS.from_epsg(4326)).transform(x, y)
    return np.asarray(lon), np.asarray(lat)


def _png(grey: NDArray[np.uint8], alpha: NDArray[np.uint8]) -> bytes:
    """Return a PNG of grey, in steps that the eye does not tell apart on a map, and transparency."""
    from rasterio.enums import ColorInterp
    from rasterio.errors import NotGeoreferencedWarning
    from rasterio.io import MemoryFile

    steps = np.minimum((grey.astype(np.uint16) + GREY_STEP // 2) // GREY_STEP * GREY_STEP, 255).astype(np.uint8)
    height, width = grey.shape
    with MemoryFile() as memory, warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        with memory.open(driver="PNG", width=width, height=height, count=2, dtype="uint8", zlevel=6) as file:
            file.colorinterp = (ColorInterp.gray, ColorInterp.alpha)
            file.write(np.where(alpha > 0, steps, 0).astype(np.uint8), 1)
            file.write(alpha, 2)
        return bytes(memory.read())
