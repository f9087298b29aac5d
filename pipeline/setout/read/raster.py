"""A DEM from one raster or from tiles, read a window at a time.

Tiles on one lattice of cells are put together as they are. Any other tile is laid on the lattice of the finest one by
bilinear interpolation, and a finding says so. Where tiles overlap the finest with a height there counts, whatever the
order of the files.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS

from setout.errors import Fault, SetoutError
from setout.nouns import Finding, RasterGrid, transformer
from setout.read import crs as crs_words
from setout.read.raster_tile import Tile, gdal, look, open_file, read_stored

Heights = NDArray[np.float32]
_OFF_LATTICE = 0.01
"""How far off the lattice a tile's cells may lie, in cells, and still count as on it."""


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
    """The DEM of a plan: see :class:`setout.nouns.Elevations`."""

    def __init__(self, grid: RasterGrid, source: str, placed: tuple[Placed, ...]) -> None:
        self.grid, self.source = grid, source
        self._placed = placed
        self._open: dict[int, Any] = {}

    def read(self, row0: int, row1: int, col0: int, col1: int) -> Heights:
        """Return heights [m] of rows row0..row1-1, columns col0..col1-1; NaN where there is none."""
        out: Heights | None = None
        with gdal():
            for number, place in enumerate(self._placed):
                top, bottom = max(row0, place.row0), min(row1, place.row1)
                left, right = max(col0, place.col0), min(col1, place.col1)
                if top >= bottom or left >= right:
                    continue
                inner = (top - place.row0, bottom - place.row0, left - place.col0, right - place.col0)
                part = read_stored(self._dataset(number), place.tile, inner)
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

    def _dataset(self, number: int) -> Any:
        """Return the open raster of a tile, laid on the DEM's lattice where need be."""
        if number not in self._open:
            place = self._placed[number]
            dataset = open_file(place.path, place.tile.name)
            self._open[number] = dataset if place.exact else self._laid(dataset, place)
        return self._open[number]

    def _laid(self, dataset: Any, place: Placed) -> Any:
        from affine import Affine
        from rasterio.enums import Resampling
        from rasterio.vrt import WarpedVRT

        a, b, _, d, e, _ = self.grid.transform
        origin = self.grid.corner(np.array(place.row0, float), np.array(place.col0, float))
        return WarpedVRT(
            dataset, src_crs=place.tile.grid.crs.to_wkt(), crs=self.grid.crs.to_wkt(),
            transform=Affine(a, b, float(origin[0]), d, e, float(origin[1])), width=place.col1 - place.col0,
            height=place.row1 - place.row0, resampling=Resampling.bilinear, dtype="float32", nodata=np.nan,
            src_nodata=place.tile.nodata, tolerance=0.01,
        )  # fmt: skip

    def close(self) -> None:
        """Close the files; they open again when they are read again."""
        for dataset in self._open.values():
            dataset.close()
        self._open.clear()


def open_elevations(
    paths: Sequence[Path], *, crs: CRS | None = None, unit: str | None = None, names: Sequence[str] = ()
) -> tuple[RasterElevations, tuple[Finding, ...]]:
    """Open a DEM.

    Parameters
    ----------
    paths : sequence of Path
        One raster, or the tiles of a DEM in any order, in any format that GDAL reads.
    crs : CRS, optional
        Horizontal CRS of files that do not say theirs.
    unit : str, optional
        Unit of heights of files that do not say theirs, such as "US survey ft".
    names : sequence of str
        The files as the plan file calls them, for messages.

    Returns
    -------
    RasterElevations
        Heights in metres on one lattice of cells; files are read when they are asked for.
    tuple of Finding
        What was assumed, interpolated or found odd.

    Raises
    ------
    SetoutError
        Files that cannot be used, all of them at once.
    """
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
    shifted = tuple(
        replace(p, row0=p.row0 - row0, row1=p.row1 - row0, col0=p.col0 - col0, col1=p.col1 - col0) for p in placed
    )
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
    same = np.allclose(np.take(grid.transform, [0, 1, 3, 4]), np.take(base.transform, [0, 1, 3, 4]), rtol=0,
                       atol=_OFF_LATTICE * abs(base.transform[0] or base.transform[1]) / max(grid.width, grid.height))  # fmt: skip
    if same and grid.crs.equals(base.crs, ignore_axis_order=True):
        row, col = base.cell_of(np.array(grid.transform[2]), np.array(grid.transform[5]))
        top, left = round(float(row)), round(float(col))
        if abs(float(row) - top) <= _OFF_LATTICE and abs(float(col) - left) <= _OFF_LATTICE:
            return Placed(tile, path, top, top + grid.height, left, left + grid.width, exact=True)
    along = np.linspace(0.0, 1.0, 33)
    rows = np.concatenate([along * 0, along * 0 + 1, along, along]) * grid.height
    cols = np.concatenate([along, along, along * 0, along * 0 + 1]) * grid.width
    x, y = transformer(grid.crs, base.crs).transform(*grid.corner(rows, cols))
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise SetoutError(
            f"cannot be laid on the lattice of the finest tile, in {crs_words.show(base.crs)}", tile.name,
            "name only tiles of one region",
        )  # fmt: skip
    row, col = base.cell_of(np.asarray(x), np.asarray(y))
    return Placed(
        tile, path, int(np.floor(row.min())), int(np.ceil(row.max())), int(np.floor(col.min())), int(np.ceil(col.max())),
        exact=False,
    )  # fmt: skip


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
