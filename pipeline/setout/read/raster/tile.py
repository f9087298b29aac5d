"""One raster of heights: what its file says about place, unit and gaps, and its cells as metres."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from setout.errors import SetoutError
from setout.model import Finding, RasterGrid
from setout.read import crs as crs_words
from setout.read.raster import height_unit
from setout.read.raster.file import WHOLE_AGAIN, brief, gdal, open_file

if TYPE_CHECKING:
    from rasterio.io import DatasetReader

Heights = NDArray[np.float32]

NO_HEIGHT = 1e10
"""Stored numbers beyond this are no heights in any unit: fill values such as -3.4e38 or 9.97e36."""
USUAL_GAPS = {"f": (-9999.0, -32768.0, -32767.0, -99999.0), "i": (-9999.0, -32768.0, -32767.0, -99999.0, 32767.0), "u": (65535.0,)}
"""Numbers that stand for "no height" by custom, by kind of number (common practice)."""
LEAST_SCALE, MOST_SCALE = 1e-9, 1e9
"""What one stored step may be [m], and how far the zero of the stored numbers may be off."""
LOWEST_M, HIGHEST_M = -12_000.0, 9000.0
"""No ground and no sea bed is lower or higher [m]."""
_PLAIN = 9000.0
"""Stored numbers between this and its negative are none of the usual gaps."""
_PROBE = 256
_CACHE = 1 << 16
_WHOLE = 1_000_000
_ELEVATION_WORDS = ("elevation", "dem", "dtm", "dsm", "height", "altitude")


@dataclass(frozen=True, slots=True)
class Tile:
    """One raster of heights.

    Attributes
    ----------
    address : what opens it
    name : as the plan file calls it
    band : the band with the heights, from 1
    grid : where its cells lie
    kind : f, i or u: floating, signed or unsigned numbers
    nodata : the number that stands for none; None when none is declared, or one beyond :data:`NO_HEIGHT`
    masked : gaps are in a mask, or in an alpha band that GDAL takes for one
    alpha : number of an alpha band that GDAL does not take for a mask; 0 for none
    scale, offset : stored numbers times scale plus offset are heights
    unit_m : unit of the heights [m]
    vertical : name of the vertical CRS, "" when the file names none
    """

    address: str
    name: str
    band: int
    grid: RasterGrid
    kind: str
    nodata: float | None
    masked: bool
    alpha: int
    scale: float
    offset: float
    unit_m: float
    vertical: str = ""

    @property
    def gaps(self) -> tuple[float, ...]:
        """Return the numbers that stand for none, the declared one first."""
        usual = USUAL_GAPS.get(self.kind, ())
        return usual if self.nodata is None else (self.nodata, *(g for g in usual if g != self.nodata))

    def metres(self, stored: Heights, mask: NDArray[Any] | None = None) -> Heights:
        """Turn stored numbers into heights, in the array given."""
        if mask is not None:
            stored[mask == 0] = np.nan
        lines = max(1, _CACHE // max(stored.shape[-1], 1))
        for top in range(0, len(stored), lines):
            self._clean(stored[top : top + lines])
        return stored

    def _clean(self, stored: Heights) -> None:
        if not (stored.min() > -_PLAIN and stored.max() < _PLAIN):  # also when either is NaN
            none = np.zeros(stored.shape, bool) if self.nodata is None else stored == np.float32(self.nodata)
            far = ~(np.abs(stored) < _PLAIN)
            if abs(self.nodata or 0.0) < _PLAIN or np.count_nonzero(far) != np.count_nonzero(none):
                none |= ~(np.abs(stored) < NO_HEIGHT)
                for gap in self.gaps:
                    none |= stored == np.float32(gap)
            np.copyto(stored, np.float32(np.nan), where=none)
        elif self.nodata is not None and abs(self.nodata) < _PLAIN:
            np.copyto(stored, np.float32(np.nan), where=stored == np.float32(self.nodata))
        if self.scale * self.unit_m != 1.0 or self.offset != 0.0:
            stored *= np.float32(self.scale * self.unit_m)
            if self.offset != 0.0:
                stored += np.float32(self.offset * self.unit_m)


def look(path: Path, name: str, crs: CRS | None, unit: str | None) -> tuple[Tile, tuple[Finding, ...]]:
    """Find out what a raster says about itself, and try its corners."""
    with gdal(), open_file(path, name) as dataset:
        band, findings = _height_band(dataset, name)
        grid, vertical, more = _grid(dataset, name, crs)
        findings += more
        unit_m, more = height_unit.settle(dataset.units[band - 1], vertical, unit, grid.crs, name)
        findings += more
        dtype = np.dtype(dataset.dtypes[band - 1])
        if dtype.kind not in "fiu":
            raise SetoutError(f"holds {dtype} numbers, which are no heights", name, "give a DEM of real numbers")
        masked = bool({flag.name for flag in dataset.mask_flag_enums[band - 1]} & {"per_dataset", "alpha"})
        alpha = next((i for i, colour in enumerate(dataset.colorinterp, 1) if colour.name == "alpha"), 0)
        nodata = dataset.nodatavals[band - 1]
        scale, offset = float(dataset.scales[band - 1]), float(dataset.offsets[band - 1])
        number = None if nodata is None or not abs(nodata) < NO_HEIGHT else float(nodata)
        factor = abs((scale or 1.0) * unit_m)
        if not (LEAST_SCALE <= factor <= MOST_SCALE and abs(offset * unit_m) <= MOST_SCALE):
            raise SetoutError(
                f"its band has the scale {scale:g}, the offset {offset:g} and a unit of {unit_m:g} m",
                name,
                "mend them: write the DEM again in metres, without scale and offset",
            )
        tile = Tile(
            dataset.name,
            name,
            band,
            grid,
            dtype.kind,
            number,
            masked,
            0 if masked else alpha,
            scale or 1.0,
            offset,
            unit_m,
            vertical.name if vertical is not None else "",
        )
        findings += _probe(dataset, tile)
        if dtype.kind in "iu" and tile.scale * unit_m >= 0.25 and _cell_m(grid) < 10:
            findings += (
                Finding(
                    "dem_steps",
                    "warn",
                    f"{name}: heights are whole numbers, in steps of {tile.scale * unit_m:.3g} m, on cells of "
                    f"{_cell_m(grid):.3g} m: slopes come out as level terraces and steep steps",
                    f"{tile.scale * unit_m:.3g} m",
                    "",
                    "ask for the DEM with decimals",
                ),
            )
    return tile, findings


def _cell_m(grid: RasterGrid) -> float:
    a, b, _, d, e, _ = grid.transform
    return float(np.sqrt(abs(a * e - b * d))) * (crs_words.unit_m(grid.crs) or 111_000.0)


def _height_band(dataset: DatasetReader, name: str) -> tuple[int, tuple[Finding, ...]]:
    from rasterio.enums import ColorInterp

    colours = dataset.colorinterp
    bands = [i for i, colour in enumerate(colours, 1) if colour != ColorInterp.alpha]
    if {ColorInterp.red, ColorInterp.green, ColorInterp.blue} <= set(colours) or ColorInterp.palette in colours:
        raise SetoutError("is a picture in colour, not heights", name, "give the DEM itself, not a drawing of it")
    if len(bands) == 1:
        return bands[0], ()
    words = [str(dataset.descriptions[i - 1] or "").lower() for i in bands]
    named = [i for i, text in zip(bands, words, strict=True) if any(word in text for word in _ELEVATION_WORDS)]
    band = named[0] if len(named) == 1 else bands[0]
    severity = "note" if len(named) == 1 else "warn"
    called = f' ("{dataset.descriptions[band - 1]}")' if dataset.descriptions[band - 1] else ""
    message = f"{name}: has {len(bands)} bands; heights were taken from band {band}{called}"
    return band, (Finding("dem_bands", severity, message, remedy="give a DEM of one band"),)  # type: ignore[arg-type]  # one of two severities


def _grid(dataset: DatasetReader, name: str, plan: CRS | None) -> tuple[RasterGrid, CRS | None, tuple[Finding, ...]]:
    """Return where the cells lie, the vertical CRS if the file names one, and doubts."""
    width, height = dataset.width, dataset.height
    a, b, c, d, e, f = (float(v) for v in tuple(dataset.transform)[:6])
    transform = (a, b, c, d, e, f)
    if transform == (1.0, 0.0, 0.0, 0.0, 1.0, 0.0):
        what = "is placed by control points only" if dataset.gcps[0] else "does not say where it lies"
        raise SetoutError(what, name, "give a georeferenced DEM (a GeoTIFF, or an image with its world file)")
    if width < 2 or height < 2:
        raise SetoutError(f"has {width} x {height} cells; a slope needs at least 2 x 2", name, "give a larger DEM")
    if not np.all(np.isfinite(transform)) or a * e - b * d == 0:
        raise SetoutError(f"its geotransform {transform} gives cells no area", name, WHOLE_AGAIN)
    wkt = dataset.crs.to_wkt() if dataset.crs else ""
    own = _registered(crs_words.understood(wkt, name))
    if own is None and plan is None:
        raise SetoutError("does not say its CRS", name, 'write site.dem_crs = "EPSG:..." in the plan file')
    x, y = RasterGrid(plan or CRS.from_epsg(4326), transform, width, height).corner(
        np.array([0.0, 0.0, height, height]), np.array([0.0, width, 0.0, width])
    )
    box = (float(x.min()), float(y.min()), float(x.max()), float(y.max()))
    crs, findings = crs_words.settle(name, own, plan, box, standard=False)
    return RasterGrid(crs_words.horizontal(crs), transform, width, height), _vertical(wkt), findings


def _registered(crs: CRS | None) -> CRS | None:
    """Return a CRS as the register has it, with its area of use, where the file gives its code and means the same."""
    authority = crs.to_authority(min_confidence=100) if crs is not None else None
    if crs is None or authority is None:
        return crs
    registered = crs_words.horizontal(CRS.from_authority(*authority))
    return registered if registered.equals(crs, ignore_axis_order=True) else crs


def _vertical(wkt: str) -> CRS | None:
    """Return the vertical part of a compound CRS."""
    if "COMP" not in wkt[:12].upper():
        return None
    parts = CRS.from_wkt(wkt).sub_crs_list
    return next((part for part in parts if part.is_vertical), None)


def read_stored(dataset: DatasetReader, tile: Tile, window: tuple[int, int, int, int]) -> Heights:
    """Read a window (row0, row1, col0, col1) of an open raster as metres, inside :func:`gdal`."""
    from rasterio.errors import RasterioError
    from rasterio.windows import Window

    row0, row1, col0, col1 = window
    place = Window(col0, row0, col1 - col0, row1 - row0)
    try:
        stored = dataset.read(tile.band, window=place, out_dtype="float32")
        mask = dataset.read_masks(tile.band, window=place) if tile.masked else None
        if tile.alpha:
            mask = dataset.read(tile.alpha, window=place) > 0
    except RasterioError as error:
        raise SetoutError(
            f"rows {row0} to {row1 - 1}, columns {col0} to {col1 - 1} cannot be read ({brief(error)})", tile.name, WHOLE_AGAIN
        ) from None
    return tile.metres(stored, mask)


def _probe(dataset: DatasetReader, tile: Tile) -> tuple[Finding, ...]:
    """Read the corners and the middle, or all of a small raster, and say what is odd about the numbers."""
    whole = tile.grid.width * tile.grid.height <= _WHOLE
    raw = replace(tile, nodata=None, kind="", scale=1.0, offset=0.0, unit_m=1.0)
    blocks = dataset.block_shapes[tile.band - 1]
    parts = [read_stored(dataset, raw, w) for w in _windows(tile.grid, blocks, whole=whole)]
    stored = np.concatenate([part.ravel() for part in parts])
    heights = np.concatenate([tile.metres(part).ravel() for part in parts])
    known = heights[~np.isnan(heights)]
    far = known[~((known > LOWEST_M) & (known < HIGHEST_M))]
    if far.size > known.size / 2:
        how = f"scale {tile.scale:g}, offset {tile.offset:g}, unit {tile.unit_m:g} m"
        raise SetoutError(
            f"has heights such as {float(far[0]):.6g} m ({how}), which no ground has",
            tile.name,
            "mend scale, offset and unit of its band; ground is between -12,000 m and 9,000 m",
        )
    if whole and not known.size:
        raise SetoutError("holds no height at all: every cell is nodata", tile.name, "give the DEM of the site")
    findings: list[Finding] = []
    undeclared = sorted({g for g in USUAL_GAPS[tile.kind] if g != tile.nodata and np.any(stored == np.float32(g))})
    if undeclared:
        numbers = ", ".join(f"{g:g}" for g in undeclared)
        message = f"{tile.name}: some cells hold {numbers}, which the file does not declare as nodata; taken as no height"
        findings.append(Finding("dem_nodata_undeclared", "warn", message, numbers, "", "declare it in the file as nodata"))
    zero = float(np.mean(known == 0)) if known.size else 0.0
    if 0 < zero < 1 and np.abs(known[known != 0]).min() > 10:
        share = f"{zero:.0%}" if zero >= 0.01 else f"{100 * zero:.2g} %"
        message = (
            f"{tile.name}: {share} of the cells looked at are exactly 0 and all others far from it: 0 may stand for no "
            "height; it was taken as a height"
        )
        findings.append(Finding("dem_zero", "warn", message, share, "", "if so, declare 0 in the file as nodata"))
    return tuple(findings)


def _windows(grid: RasterGrid, blocks: tuple[int, int], *, whole: bool) -> Iterator[tuple[int, int, int, int]]:
    """Yield the windows to look at; of a tiled raster each within one tile, as far as it has room there."""
    if whole:
        yield 0, grid.height, 0, grid.width
        return
    size = _PROBE
    for shares in ((0.0, 0.0), (0.0, 1.0), (0.5, 0.5), (1.0, 0.0), (1.0, 1.0)):
        top, left = (
            int(share * (n - 1)) // block * block if block >= size else int(share * max(n - size, 0))
            for share, n, block in zip(shares, (grid.height, grid.width), blocks, strict=True)
        )
        yield top, min(top + size, grid.height), left, min(left + size, grid.width)
