"""Frames, layers as they were read, and findings: what everything else is made of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal, Protocol

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS, Transformer

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Geometries = NDArray[np.object_]

Severity = Literal["note", "warn", "stop"]
Figure = float | int | str | tuple[str, ...] | None
"""A figure behind a finding, in SI, or a name or code; None where it is unknown."""


@lru_cache(maxsize=64)
def transformer(source: CRS, target: CRS) -> Transformer:
    """Return the transformation between two CRS, x before y on both sides."""
    return Transformer.from_crs(source, target, always_xy=True)


@dataclass(frozen=True, slots=True)
class Frame:
    """The local ground-true frame that all planning is done in.

    A Transverse Mercator through the site's middle, on the survey's own datum, its scale raised to the site's height,
    so that a distance in the frame and a level taped distance on the ground agree within 5 parts per million. Its
    y axis is true north at the site's middle.

    Attributes
    ----------
    crs : the frame itself [m]
    survey_crs : CRS of the boundary, in which every layer is delivered
    plane_crs : plane CRS of the columns easting and northing: survey_crs if it is projected, else the UTM zone
    lon, lat : middle of the site, WGS 84 [deg]
    height_m : height the scale is raised to [m above the ellipsoid, as far as known]
    scale : scale factor on the central meridian
    """

    crs: CRS
    survey_crs: CRS
    plane_crs: CRS
    lon: float
    lat: float
    height_m: float
    scale: float

    def to(self, target: CRS, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Take frame coordinates [m] to another CRS, (x or lon, y or lat) in that CRS's unit."""
        ex, ey = transformer(self.survey_crs, self.crs).transform(x, y, direction="INVERSE")
        if target != self.survey_crs:
            ex, ey = transformer(self.survey_crs, target).transform(ex, ey)
        return np.asarray(ex, float), np.asarray(ey, float)

    def of(self, source: CRS, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Take coordinates of another CRS, (x or lon, y or lat), to the frame [m]."""
        fx, fy = transformer(source, self.crs).transform(x, y)
        return np.asarray(fx, float), np.asarray(fy, float)


@dataclass(frozen=True, slots=True)
class VectorLayer:
    """Features as they were read from one file, untouched, in the file's own CRS.

    Attributes
    ----------
    source : the reference as the plan file wrote it, "file:layer[kind=road]"
    geometry : shapely geometries, 2D
    columns : attribute columns, each as long as geometry
    crs : horizontal CRS of the coordinates
    """

    source: str
    geometry: Geometries
    columns: Mapping[str, NDArray[Any]]
    crs: CRS
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class RasterGrid:
    """Where the cells of a DEM lie.

    Attributes
    ----------
    crs : horizontal CRS of the grid
    transform : (a, b, c, d, e, f): x = a col + b row + c, y = d col + e row + f at cell corners, in the CRS's unit
    width, height : columns, rows
    """

    crs: CRS
    transform: tuple[float, float, float, float, float, float]
    width: int
    height: int

    def cell_of(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Return fractional (row, column) of coordinates in the grid's CRS; cell (i, j) covers [i, i+1) x [j, j+1)."""
        a, b, c, d, e, f = self.transform
        det = a * e - b * d
        return (a * (y - f) - d * (x - c)) / det, (e * (x - c) - b * (y - f)) / det

    def corner(self, row: Floats, col: Floats) -> tuple[Floats, Floats]:
        """Return (x, y) in the grid's CRS of fractional (row, column)."""
        a, b, c, d, e, f = self.transform
        return a * col + b * row + c, d * col + e * row + f


class Elevations(Protocol):
    """A DEM that can be read a window at a time; how is the reader's business."""

    grid: RasterGrid
    source: str

    def read(self, row0: int, row1: int, col0: int, col1: int) -> NDArray[np.float32]:
        """Return heights [m] of rows row0..row1-1, columns col0..col1-1 (inside the grid); NaN where there is none."""
        ...


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that falls short, or that the user should know: a code and the figures behind it.

    What is said of it, in which units, is made where people read it: see :mod:`setout.words.findings`.

    Attributes
    ----------
    code : stable short word, such as ``dem_gap`` or ``nearest_below_step``
    severity : note, warn or stop
    message, measured, required, remedy : texts of findings that are worded where a file is read
    tree_id : the tree at fault, if one is
    geometry : where, in the frame; None for the whole site
    by : how much it falls short by, greater for worse, to tell like findings apart; NaN where that cannot be told
    trees, each : indices of the trees at fault where they are many, and what is said of each, such as "is not watered"
    figures : by name, with unit suffix, in SI; what the code's words ask for
    """

    code: str
    severity: Severity
    message: str = ""
    measured: str = ""
    required: str = ""
    remedy: str = ""
    tree_id: str = ""
    geometry: BaseGeometry | None = None
    by: float = float("nan")
    trees: Ints | None = field(default=None, compare=False)
    each: str = ""
    figures: Mapping[str, Figure] = field(default_factory=dict, hash=False)

    @property
    def count(self) -> int:
        """Return how many trees or other things it is of."""
        return 1 if self.trees is None else len(self.trees)
