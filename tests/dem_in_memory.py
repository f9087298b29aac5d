"""A DEM in memory, and sites on it, for tests of what comes after the reading."""

from __future__ import annotations

import numpy as np
import shapely
from pyproj import CRS

from setout.geometry.cells.cellsize import cell_size
from setout.geometry.cells.strips import chunks, gradients
from setout.model import Frame, RasterGrid, Site, transformer
from setout.stages import terrain
from setout.words.refusals import in_words

UTM13 = CRS.from_epsg(32613)


class Memory:
    """A DEM in memory that remembers what was read."""

    source = "dem.tif"

    def __init__(self, z, transform=(1.0, 0.0, 500000.0, 0.0, -1.0, 4400000.0), crs=UTM13):
        self.z = np.asarray(z, np.float32)
        self.grid = RasterGrid(crs, tuple(transform), self.z.shape[1], self.z.shape[0])
        self.reads = []

    def read(self, row0, row1, col0, col1):
        assert 0 <= row0 < row1 <= self.grid.height
        assert 0 <= col0 < col1 <= self.grid.width
        self.reads.append((row0, row1, col0, col1))
        return self.z[row0:row1, col0:col1].copy()


def hills(rows, cols, seed=0, rough=0.02):
    """Invented ground in steps that float32 sums keep exactly."""
    y, x = np.mgrid[:rows, :cols]
    z = 200 + 7 * np.sin(x / 17) * np.cos(y / 23) + 0.01 * x + np.random.default_rng(seed).normal(0, rough, (rows, cols))
    return (np.round(z * 256) / 256).astype(np.float32)


def frame_at(lon, lat, crs):
    """A local frame on the CRS's own datum, its y axis true north at its middle."""
    ellipsoid = crs.geodetic_crs.to_2d().ellipsoid
    size = f"+a={ellipsoid.semi_major_metre} +b={ellipsoid.semi_minor_metre}"
    local = CRS.from_proj4(f"+proj=tmerc +lat_0={lat} +lon_0={lon} +k=1 {size} +units=m")
    return Frame(local, crs, crs, lon, lat, 0.0, 1.0)


def site_on(elevations, rows, cols, polygon=None, units="si"):
    """A site whose boundary is a window of the DEM's cells, or a polygon in (column, row)."""
    grid = elevations.grid
    cells = polygon if polygon is not None else shapely.box(cols[0], rows[0], cols[1], rows[1])
    middle = cells.centroid
    x, y = grid.corner(np.array(middle.y), np.array(middle.x))
    lon, lat = transformer(grid.crs, grid.crs.geodetic_crs.to_2d()).transform(x, y)
    frame = frame_at(float(lon), float(lat), grid.crs)
    boundary = shapely.transform(cells, lambda rc: np.column_stack(frame.of(grid.crs, *grid.corner(rc[:, 1], rc[:, 0]))))
    return Site("test site", units, frame, boundary)


def survey(site, elevations, max_slope=0.15, allow_blank=False):
    """Run the terrain stage; what it refuses is told in words."""
    with in_words(site.units):
        return terrain.survey_ground(site, elevations, max_slope=max_slope, allow_blank=allow_blank)


def grades(z, width=1.0, height=1.0):
    """The gradients towards east and south of a whole raster, chunk by chunk as the terrain's rasters come by them."""
    memory = Memory(z, (width, 0.0, 500000.0, 0.0, -height, 4400000.0))
    window = (0, memory.grid.height, 0, memory.grid.width)
    size = cell_size(memory.grid, window)
    parts = [gradients(chunk, size, np.isnan(chunk.z)) for chunk in chunks(memory, window, rows=23)]
    return tuple(np.vstack(part) for part in zip(*parts, strict=True))
