"""A DEM from one raster or from tiles, read a window at a time.

Tiles on one lattice of cells are put together as they are. Any other tile is laid on the lattice of the finest one by
bilinear interpolation, and a finding says so. Where tiles overlap the finest with a height there counts, whatever the
order of the files.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from setout.errors import Fault, SetoutError
from setout.geometry.cells.strips import grid_of
from setout.model import Finding, Floats, RasterGrid, transformer
from setout.read import crs as crs_words
from setout.read.raster.file import gdal, open_file
from setout.read.raster.tile import Tile, look, read_stored

if TYPE_CHECKING:
    from rasterio.io import DatasetReader

Heights = NDArray[np.float32]
_OFF_LATTICE = 0.01
"""How far off the lattice a tile's cells may lie, in cells, and still count as on it."""
_BLOCK = 512
_BLOCKS_HELD = 32


@dataclass(frozen=True, slots=True)
class Placed:
    """A tile on the DEM's lattice: the rows and columns it covers, and whether it has to be interpolated there."""

    tile: Tile
    path: Path
    row0: int
    row1: int
    col0: int
    col1: int
    exact: bool


class RasterElevations:
    """The DEM of a plan: see :class:`setout.model.Elevations`."""

    def __init__(self, grid: RasterGrid, source: str, placed: tuple[Placed, ...]) -> None:
        self.grid, self.source = grid, source
        self._placed = placed
        self._open: dict[int, _Raster] = {}

    def read(self, row0: int, row1: int, col0: int, col1: int) -> Heights:
        """Return heights [m] of rows row0..row1-1, columns col0..col1-1; NaN where there is none."""
        out: Heights | None = None
        with gdal():
            for number, place in enumerate(self._placed):
                top, bottom = max(row0, place.row0), min(row1, place.row1)
                left, right = max(col0, place.col0), min(col1, place.col1)
                if top >= bottom or left >= right:
                    continue
                part = self._raster(number).read(top - place.row0, bottom - place.row0, left - place.col0, right - place.col0)
                if out is None and part.shape == (row1 - row0, col1 - col0):
                    out = part
                    if len(self._placed) == 1:
                        break
                    continue
                if out is None:
                    out = np.full((row1 - row0, col1 - col0), np.nan, np.float32)
                here = out[top - row0 : bottom - row0, left - col0 : right - col0]
                np.copyto(here, part, where=np.isnan(here))
        return np.full((row1 - row0, col1 - col0), np.nan, np.float32) if out is None else out

    def _raster(self, number: int) -> _Raster:
        if number not in self._open:
            place = self._placed[number]
            raster = _Raster(open_file(place.path, place.tile.name), place.tile)
            self._open[number] = raster if place.exact else _Laid(raster, self.grid, place)
        return self._open[number]

    def close(self) -> None:
        """Close the files; they open again when they are read again."""
        for raster in self._open.values():
            raster.dataset.close()
        self._open.clear()


class _Raster:
    """An open tile."""

    def __init__(self, dataset: DatasetReader, tile: Tile) -> None:
        self.dataset, self.tile = dataset, tile

    def read(self, row0: int, row1: int, col0: int, col1: int) -> Heights:
        """Return a window [m]."""
        return read_stored(self.dataset, self.tile, (row0, row1, col0, col1))


class _Laid(_Raster):
    """An open tile, interpolated onto another lattice.

    Block by block, so that a cell has the same height whatever window is read: the projection is worked out to a
    hundredth of a cell, and how far that is from the truth depends on the block. Gaps are gone before any height is
    interpolated.
    """

    def __init__(self, raster: _Raster, grid: RasterGrid, place: Placed) -> None:
        super().__init__(raster.dataset, raster.tile)
        self._grid, self._place = grid, place
        self._blocks: dict[tuple[int, int], Heights] = {}

    def read(self, row0: int, row1: int, col0: int, col1: int) -> Heights:
        """Return a window of the tile's part of the lattice [m]."""
        out = np.empty((row1 - row0, col1 - col0), np.float32)
        for i in range(row0 // _BLOCK, -(-row1 // _BLOCK)):
            for j in range(col0 // _BLOCK, -(-col1 // _BLOCK)):
                top, bottom = max(row0, i * _BLOCK), min(row1, (i + 1) * _BLOCK)
                left, right = max(col0, j * _BLOCK), min(col1, (j + 1) * _BLOCK)
                block = self._block(i, j)[top - i * _BLOCK : bottom - i * _BLOCK, left - j * _BLOCK : right - j * _BLOCK]
                out[top - row0 : bottom - row0, left - col0 : right - col0] = block
        return out

    def _block(self, i: int, j: int) -> Heights:
        if (i, j) not in self._blocks:
            if len(self._blocks) >= _BLOCKS_HELD:
                del self._blocks[next(iter(self._blocks))]
            self._blocks[i, j] = self._interpolated(self._place.row0 + i * _BLOCK, self._place.col0 + j * _BLOCK)
        return self._blocks[i, j]

    def _interpolated(self, row0: int, col0: int) -> Heights:
        """Return one block of the lattice, from the tile's cells under it and two more all round."""
        from affine import Affine
        from rasterio.enums import Resampling
        from rasterio.warp import reproject

        own, lattice = self.tile.grid, self._grid
        out = np.full((_BLOCK, _BLOCK), np.nan, np.float32)
        rows, cols = _rim(row0, row0 + _BLOCK, col0, col0 + _BLOCK)
        x, y = transformer(lattice.crs, own.crs).transform(*lattice.corner(rows, cols))
        row, col = own.cell_of(np.asarray(x), np.asarray(y))
        if not (np.isfinite(row).all() and np.isfinite(col).all()):
            return out
        top, bottom = max(int(row.min()) - 2, 0), min(int(row.max()) + 3, own.height)
        left, right = max(int(col.min()) - 2, 0), min(int(col.max()) + 3, own.width)
        if top >= bottom or left >= right:
            return out
        z = super().read(top, bottom, left, right)
        if not np.isfinite(z).any():
            return out
        reproject(
            z,
            out,
            src_transform=Affine(*grid_of(own, (top, bottom, left, right)).transform),
            src_crs=own.crs.to_wkt(),
            dst_transform=Affine(*grid_of(lattice, (row0, row0 + _BLOCK, col0, col0 + _BLOCK)).transform),
            dst_crs=lattice.crs.to_wkt(),
            src_nodata=np.nan,
            dst_nodata=np.nan,
            resampling=Resampling.bilinear,
            tolerance=0.01,
        )
        return out


def _rim(row0: int, row1: int, col0: int, col1: int) -> tuple[Floats, Floats]:
    """Return (row, column) of points round a window."""
    along = np.linspace(0.0, 1.0, 33)
    rows, cols = row0 + along * (row1 - row0), col0 + along * (col1 - col0)
    return (
        np.concatenate([np.full(33, row0), np.full(33, row1), rows, rows]),
        np.concatenate([cols, cols, np.full(33, col0), np.full(33, col1)]),
    )


def open_elevations(
    paths: Sequence[Path], *, crs: CRS | None = None, unit: str | None = None, names: Sequence[str] = ()
) -> tuple[RasterElevations, tuple[Finding, ...]]:
    """Open a DEM."""
    if not paths:
        raise SetoutError("no DEM is named", "site.dem", "name one, or leave site.dem out")
    names = tuple(names) or tuple(path.name for path in paths)
    faults: list[Fault] = []
    findings: list[Finding] = []
    tiles: list[tuple[Tile, Path]] = []
    for path, name in sorted(zip(paths, names, strict=True), key=lambda pair: (pair[1], str(pair[0]))):
        try:
            tile, doubts = look(path, name, crs, unit)
            tiles.append((tile, path))
            findings += doubts
        except SetoutError as error:
            faults += error.faults
    if faults:
        raise SetoutError("", faults=tuple(faults))
    tiles.sort(key=lambda pair: (_cell_area(pair[0].grid), pair[0].name, pair[0].grid.transform))
    base = tiles[0][0].grid
    placed = [_place(tile, path, base) for tile, path in tiles]
    row0, col0 = min(p.row0 for p in placed), min(p.col0 for p in placed)
    height, width = max(p.row1 for p in placed) - row0, max(p.col1 for p in placed) - col0
    a, b, _, d, e, _ = base.transform
    x, y = base.corner(np.array(row0, float), np.array(col0, float))
    origin = (base.transform[2], base.transform[5]) if row0 == col0 == 0 else (float(x), float(y))
    grid = RasterGrid(base.crs, (a, b, origin[0], d, e, origin[1]), width, height)
    shifted = tuple(replace(p, row0=p.row0 - row0, row1=p.row1 - row0, col0=p.col0 - col0, col1=p.col1 - col0) for p in placed)
    ordered = [tile for tile, _ in tiles]
    return RasterElevations(grid, _together(names), shifted), (*_joined(findings), *_mixed(ordered, shifted))


def _together(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{names[0]} and {len(names) - 1} more"


def _cell_area(grid: RasterGrid) -> float:
    """Return the area of a cell in the middle of a raster, as whole thousandths of its size [m2]."""
    a, b, _, d, e, _ = grid.transform
    unit = crs_words.unit_m(grid.crs)
    if unit is None:
        middle = float(grid.corner(np.array(grid.height / 2), np.array(grid.width / 2))[1])
        turn = np.degrees(grid.crs.axis_info[0].unit_conversion_factor)
        unit = 111_194.9 * turn * float(np.sqrt(max(np.cos(np.radians(middle * turn)), 1e-6)))
    return float(f"{abs(a * e - b * d) * unit**2:.4g}")


def _place(tile: Tile, path: Path, base: RasterGrid) -> Placed:
    """Lay a tile on a lattice: exactly where its own cells lie on it, else over every cell that it touches."""
    grid = tile.grid
    same = np.allclose(
        np.take(grid.transform, [0, 1, 3, 4]),
        np.take(base.transform, [0, 1, 3, 4]),
        rtol=0,
        atol=_OFF_LATTICE * abs(base.transform[0] or base.transform[1]) / max(grid.width, grid.height),
    )
    if same and grid.crs.equals(base.crs, ignore_axis_order=True):
        row, col = base.cell_of(np.array(grid.transform[2]), np.array(grid.transform[5]))
        top, left = round(float(row)), round(float(col))
        if abs(float(row) - top) <= _OFF_LATTICE and abs(float(col) - left) <= _OFF_LATTICE:
            return Placed(tile, path, top, top + grid.height, left, left + grid.width, exact=True)
    rows, cols = _rim(0, grid.height, 0, grid.width)
    x, y = transformer(grid.crs, base.crs).transform(*grid.corner(rows, cols))
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise SetoutError(
            f"cannot be laid on the lattice of the finest tile, in {crs_words.show(base.crs)}", tile.name, "name only tiles of one region"
        )
    row, col = base.cell_of(np.asarray(x), np.asarray(y))
    return Placed(
        tile, path, int(np.floor(row.min())), int(np.ceil(row.max())), int(np.floor(col.min())), int(np.ceil(col.max())), exact=False
    )


def _joined(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Put findings that differ only in the file together."""
    groups: dict[tuple[str, str], list[Finding]] = {}
    for finding in findings:
        groups.setdefault((finding.code, finding.message.partition(": ")[2]), []).append(finding)
    out = []
    for same in groups.values():
        files = [finding.message.partition(": ")[0] for finding in same]
        first = same[0]
        if len(files) > 1:
            rest = first.message.partition(": ")[2]
            first = replace(first, message=f"{_together(files)}: {rest}")
        out.append(first)
    return tuple(out)


def _mixed(tiles: Sequence[Tile], placed: Sequence[Placed]) -> tuple[Finding, ...]:
    out = []
    laid = [p.tile.name for p in placed if not p.exact]
    if laid:
        message = (
            f"{_together(laid)}: CRS, cell size or alignment differ from {tiles[0].name}; heights were interpolated "
            "(bilinear) onto its cells"
        )
        out.append(Finding("dem_resampled", "note", message, remedy="nothing, if the coarser ground may be smoother"))
    vertical = sorted({tile.vertical for tile in tiles})
    if len(vertical) > 1:
        said = ", ".join(text or "none said" for text in vertical)
        message = f"the DEM's tiles count their heights from different levels ({said}); they were not brought to one"
        out.append(Finding("dem_datum", "warn", message, said, "one", "bring the tiles to one vertical datum"))
    return tuple(out)
