"""The nouns of the trade as frozen values; every stage takes some of them and returns others.

Coordinates are metres in the site's working frame (:class:`Frame`) unless a name says otherwise. Tables of many
plants are structures of arrays, one entry a tree, all of the same length.
"""

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


@lru_cache(maxsize=64)
def transformer(source: CRS, target: CRS) -> Transformer:
    """Return the transformation between two CRS, x before y on both sides.

    Parameters
    ----------
    source, target : CRS
        From and to.

    Returns
    -------
    Transformer
        Takes and gives (east or longitude, north or latitude).
    """
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
        ex, ey = transformer(self.crs, target).transform(x, y)
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
    """One thing that falls short, or that the user should know.

    Attributes
    ----------
    code : stable short word, such as ``dem_gap`` or ``nearest_below_step``
    severity : note, warn or stop
    message : what and where, in plain words
    measured, required : the figures behind it, as text with units; empty when there are none
    remedy : what mends it
    tree_id : the tree at fault, if one is
    geometry : where, in the frame; None for the whole site
    """

    code: str
    severity: Severity
    message: str
    measured: str = ""
    required: str = ""
    remedy: str = ""
    tree_id: str = ""
    geometry: BaseGeometry | None = None


@dataclass(frozen=True, slots=True)
class Survey:
    """Everything the plan file names, as it was read.

    Attributes
    ----------
    boundary : the property line, polygons
    layers : features by the reference that the plan file uses for them
    elevations : the DEM, or None
    unused : layers of the same files that the plan file does not use
    findings : doubts that the readers had
    """

    boundary: VectorLayer
    layers: Mapping[str, VectorLayer]
    elevations: Elevations | None
    unused: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class Setback:
    """Ground kept clear of some features.

    Attributes
    ----------
    why : the reason as the plan file words it
    source : where the features come from; "boundary" for the property line
    distance_m : clear distance [m]
    measured_to : "trunk", or "canopy" (distance plus half the mature spread)
    geometry : the features themselves, in the frame (for the boundary, its lines)
    """

    why: str
    source: str
    distance_m: float
    measured_to: Literal["trunk", "canopy"]
    geometry: Geometries


@dataclass(frozen=True, slots=True)
class NoPlant:
    """An area where nothing is planted: reason, source, polygons in the frame."""

    why: str
    source: str
    geometry: Geometries


@dataclass(frozen=True, slots=True)
class HeightLimit:
    """Ground within ``within_m`` of some features where mature height is capped at ``height_m``."""

    why: str
    source: str
    within_m: float
    height_m: float
    geometry: Geometries


@dataclass(frozen=True, slots=True)
class WaterPoints:
    """Sources of water under pressure, as arrays.

    Attributes
    ----------
    name : names, unique
    x, y : frame [m]
    z : elevation [m]; NaN unknown
    pressure_kpa, flow_lph : static pressure and flow there; NaN unknown
    """

    name: tuple[str, ...]
    x: Floats
    y: Floats
    z: Floats
    pressure_kpa: Floats
    flow_lph: Floats


@dataclass(frozen=True, slots=True)
class Water:
    """The water side of a site: points, what a pipe may not cross, and the limits of the plan file."""

    points: WaterPoints
    barriers: Geometries
    max_run_m: float | None
    min_pressure_kpa: float | None
    source: str
    sleeves: Geometries = field(default_factory=lambda: np.empty(0, object))
    plant_beyond: bool = False


@dataclass(frozen=True, slots=True)
class Reach:
    """Ground that the water points can serve, as the corners that a pipe bends round on its way.

    Attributes
    ----------
    x, y : corners [m in the frame]; the water points themselves first, then the ends and bends of barriers
    run : length of pipe from the water point to the corner [m]
    point : index of that water point
    max_run_m : longest pipe [m]; inf for no limit
    barriers : what no pipe crosses, drawn a few millimetres wide; None where there is nothing
    ceiling_m : per water point, the highest elevation that still has the least pressure [m]; inf where unknown
    areas : per water point the ground in its run, as polygons in the frame; empty for an unlimited run
    """

    x: Floats
    y: Floats
    run: Floats
    point: Ints
    max_run_m: float
    barriers: BaseGeometry | None
    ceiling_m: Floats
    areas: Geometries
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class Served:
    """What water reaches each of some positions: water point (-1 for none), pipe run [m], static pressure [kPa]."""

    point: Ints
    run_m: Floats
    pressure_kpa: Floats


@dataclass(frozen=True, slots=True)
class Trellis:
    """Posts and wires along a row of vines or canes.

    Attributes
    ----------
    post_m : longest distance from post to post [m]
    end_m : distance from an end post to the first vine [m]
    anchor_m : room for the anchor beyond an end post [m]
    wires : wires, one above the other
    """

    post_m: float
    end_m: float
    anchor_m: float
    wires: int


@dataclass(frozen=True, slots=True)
class Bed:
    """A raised bed: length along the row, width across, gap to the next bed in the row, depth of mulch [m]."""

    length_m: float
    width_m: float
    gap_m: float
    mulch_m: float


@dataclass(frozen=True, slots=True)
class Pair:
    """Two partners at one position: how far apart [m], and the bearing from one to the other [deg]."""

    distance_m: float
    axis_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class Pattern:
    """How a block is set out.

    Attributes
    ----------
    kind : square, rectangular, offset, quincunx, hedgerow, trellis, bed, contour rows, screen or points
    step_m : distance in the row [m]
    row_distance_m : distance between row lines [m]; of contour rows the least
    shift : how far every second row is shifted along, as a share of the step (0 or 0.5)
    alley_every, alley_width_m : a gap of this width [m] instead of the row distance after every n rows; 0 for none
    headland_m : clear ground kept at both row ends [m]
    free_rows : rows need not line up across: each takes the phase that fits it best
    lines, line_distance_m : lines of plants in one row or bed, staggered by half a step, and their distance [m]
    trellis, bed, pair : what belongs to such a row, bed or position
    row_distance_max_m : greatest row distance of contour rows [m]
    fall : least and greatest fall along contour rows, rise over run
    """

    kind: str
    step_m: float
    row_distance_m: float
    shift: float = 0.0
    alley_every: int = 0
    alley_width_m: float = 0.0
    headland_m: float = 0.0
    free_rows: bool = False
    lines: int = 1
    line_distance_m: float = 0.0
    trellis: Trellis | None = None
    bed: Bed | None = None
    pair: Pair | None = None
    row_distance_max_m: float = float("inf")
    fall: tuple[float, float] = (0.0, float("inf"))

    @property
    def nearest_m(self) -> float:
        """Return the distance to the nearest neighbour that the geometry gives [m]; partners of a pair are one.

        >>> round(Pattern("offset", 16.0, 12.0, 0.5).nearest_m, 3), round(Pattern("quincunx", 24.0, 12.0, 0.5).nearest_m, 2)
        (14.422, 16.97)
        >>> round(Pattern("hedgerow", 4.0, 14.0, lines=2, line_distance_m=3.0).nearest_m, 3)
        3.606
        """
        across = min(self.row_distance_m, self._between_lines)
        if self.free_rows and self.lines == 1:
            return min(self.step_m, self.row_distance_m)
        shift = 0.5 if self.lines > 1 else self.shift
        side = shift * self.step_m
        diagonal = float(np.hypot(min(side, self.step_m - side), across))
        return min(self.step_m, diagonal, 2 * self.row_distance_m if self.shift else np.inf, self._row_to_row)

    @property
    def _between_lines(self) -> float:
        return self.line_distance_m if self.lines > 1 else np.inf

    @property
    def _row_to_row(self) -> float:
        """Return how near the outer lines of neighbouring rows come [m]."""
        return self.row_distance_m - (self.lines - 1) * self.line_distance_m if self.lines > 1 else np.inf

    @property
    def clearance_m(self) -> float:
        """Return how far ground is needed on both sides of a row's line [m]: half a bed, half a pair, half the lines."""
        half_bed = self.bed.width_m / 2 if self.bed is not None else 0.0
        half_pair = self.pair.distance_m / 2 if self.pair is not None else 0.0
        return half_bed + half_pair


@dataclass(frozen=True, slots=True)
class Plant:
    """What grows at a position.

    Attributes
    ----------
    name, variety, role : catalogue name; variety; such as "pollinizer" or "filler", empty for the main crop
    share : its share of the block, or its count where count is true
    spread_m, height_m : mature size as it is kept [m]; NaN unknown
    natural_spread_m, natural_height_m : mature size where it is left to grow [m]; NaN unknown
    species : for partners and cautions, such as "apple"
    bloom : early, mid or late; empty unknown
    pollination : "none", "partner" (a different variety), "male" or "female" (dioecious), or "" unknown
    pollination_m : how far a partner may stand [m]; NaN unknown
    agent : what carries the pollen, "bees" or "wind"; empty unknown
    years_to_full_size : NaN unknown
    habit : tree, shrub, vine or cane
    juglone : "makes" (walnuts), "suffers", or ""
    remove_year : year in which a filler comes out; 0 for permanent
    """

    name: str
    variety: str = ""
    role: str = ""
    share: float = 1.0
    spread_m: float = float("nan")
    height_m: float = float("nan")
    natural_spread_m: float = float("nan")
    natural_height_m: float = float("nan")
    species: str = ""
    bloom: str = ""
    pollination: str = ""
    pollination_m: float = float("nan")
    agent: str = ""
    years_to_full_size: float = float("nan")
    habit: str = "tree"
    juglone: str = ""
    count: bool = False
    remove_year: int = 0


@dataclass(frozen=True, slots=True)
class Dealing:
    """How a block's plants are dealt out to its positions.

    Attributes
    ----------
    way : "share" (spread evenly along the walk), "rows" (whole rows by turns, as wide as the shares) or "every"
    every_tree, every_row : with "every", each such tree of each such row takes the second plant, the others the first
    """

    way: Literal["share", "rows", "every"] = "share"
    every_tree: int = 0
    every_row: int = 1


@dataclass(frozen=True, slots=True)
class Block:
    """One named part of the ground planted in one pattern.

    Attributes
    ----------
    name : the block's name
    area : its polygon in the frame, or None: all usable ground that no other block takes
    pattern : how it is set out
    direction : bearing of its rows [deg from true north], or "longest side", "best", "contour" or "guide"
    plants : what is planted, in the order of the plan file
    dealing : how they are dealt out
    line : the surveyed guide line, or the line of a screen, in the frame; None otherwise
    points : positions given one by one, (n, 2) in the frame; None otherwise
    purpose : of a screen, "hide" or "shade"; empty otherwise
    yard : the polygon that a screen serves, in the frame
    """

    name: str
    area: BaseGeometry | None
    pattern: Pattern
    direction: float | Literal["longest side", "best", "contour", "guide"]
    plants: tuple[Plant, ...]
    dealing: Dealing = Dealing()
    line: BaseGeometry | None = None
    points: Floats | None = None
    purpose: str = ""
    yard: BaseGeometry | None = None

    @property
    def spread_m(self) -> float:
        """Return the widest mature spread among the block's plants [m]; NaN when none is known."""
        known = [p.spread_m for p in self.plants if np.isfinite(p.spread_m)]
        return max(known, default=float("nan"))

    @property
    def height_m(self) -> float:
        """Return the greatest mature height among the block's plants [m]; NaN when none is known."""
        known = [p.height_m for p in self.plants if np.isfinite(p.height_m)]
        return max(known, default=float("nan"))


@dataclass(frozen=True, slots=True)
class Site:
    """The property: everything surveyed, in one working frame."""

    name: str
    units: str
    frame: Frame
    boundary: BaseGeometry
    setbacks: tuple[Setback, ...] = ()
    no_plant: tuple[NoPlant, ...] = ()
    height_limits: tuple[HeightLimit, ...] = ()
    water: Water | None = None
    blocks: tuple[Block, ...] = ()
    monuments: Floats = field(default_factory=lambda: np.empty((0, 2)))
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class Ground:
    """What the terrain allows, one bit a DEM cell over the site's window.

    Attributes
    ----------
    elevations : the DEM, read a window at a time; None when the plan names none
    frame : the site's frame
    window : (row0, row1, col0, col1) of the site in the DEM's grid
    steep : packed bits, shape (rows, ceil(cols / 8)): slope over the limit
    blank : packed bits of the same shape: no elevation
    max_slope : the limit, rise over run; inf for none
    share_blank : share of the site's area without elevation, 0 to 1
    allow_blank : ground without elevation may be planted
    overview : mean heights of square groups of cells over the window [m], for contours and pictures; None without a DEM
    overview_step : cells along a group's side
    highest_m : highest cell of the site's window [m]; NaN without a DEM
    """

    elevations: Elevations | None
    frame: Frame
    window: tuple[int, int, int, int]
    steep: NDArray[np.uint8]
    blank: NDArray[np.uint8]
    max_slope: float
    share_blank: float = 0.0
    allow_blank: bool = False
    findings: tuple[Finding, ...] = ()
    overview: NDArray[np.float32] | None = None
    overview_step: int = 1
    highest_m: float = float("nan")


@dataclass(frozen=True, slots=True)
class Exclusion:
    """Ground taken out for one reason: polygon in the frame, area it takes alone and newly [m2]."""

    reason: str
    source: str
    distance_m: float
    alone_m2: float
    newly_m2: float
    geometry: BaseGeometry


@dataclass(frozen=True, slots=True)
class AccountRow:
    """One line of the land account; areas in m2."""

    step: int
    reason: str
    alone_m2: float
    newly_m2: float
    remaining_m2: float


@dataclass(frozen=True, slots=True)
class Usable:
    """Ground left to plant: polygons in the frame by block, what was taken from it, and the account."""

    block: tuple[str, ...]
    geometry: Geometries
    exclusions: tuple[Exclusion, ...]
    height_limits: tuple[Exclusion, ...]
    account: tuple[AccountRow, ...]
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class Rows:
    """Row lines as planted: block index, row number (1, 2, ... in walking order), first and last tree [m], count."""

    block: Ints
    row: Ints
    x0: Floats
    y0: Floats
    x1: Floats
    y1: Floats
    trees: Ints
    bearing_deg: Floats


@dataclass(frozen=True, slots=True)
class Trees:
    """Planting positions in walking order; every array has one entry a tree.

    Attributes
    ----------
    block : index into the site's blocks
    row, position : numbers from 1, along the way a crew walks
    x, y : frame [m]
    plant : index into the block's plants; -1 where it names none
    partner : index of the other tree of the same pair; -1 for none
    """

    block: NDArray[np.int32]
    row: NDArray[np.int32]
    position: NDArray[np.int32]
    x: Floats
    y: Floats
    plant: NDArray[np.int32]
    partner: NDArray[np.int32] = field(default_factory=lambda: np.empty(0, np.int32))

    def __len__(self) -> int:
        """Return the number of trees."""
        return int(self.x.size)


@dataclass(frozen=True, slots=True)
class Works:
    """What is built for a planting beside its trees.

    Attributes
    ----------
    bed, bed_block, bed_row : polygons of raised beds in the frame, index of their block, number of their row
    post_x, post_y : posts [m in the frame]
    post_block, post_row, post_end : index of the block, number of the row, and whether it is an end post
    wire_m : wire to buy by block, index by block [m]
    row_line : by (block, row) the line of a row that is not straight, in the frame
    """

    bed: Geometries = field(default_factory=lambda: np.empty(0, object))
    bed_block: Ints = field(default_factory=lambda: np.empty(0, np.int64))
    bed_row: Ints = field(default_factory=lambda: np.empty(0, np.int64))
    post_x: Floats = field(default_factory=lambda: np.empty(0))
    post_y: Floats = field(default_factory=lambda: np.empty(0))
    post_block: Ints = field(default_factory=lambda: np.empty(0, np.int64))
    post_row: Ints = field(default_factory=lambda: np.empty(0, np.int64))
    post_end: Bools = field(default_factory=lambda: np.empty(0, bool))
    wire_m: Mapping[int, float] = field(default_factory=dict)
    row_line: Mapping[tuple[int, int], BaseGeometry] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Planting:
    """The finished plan: what every writer writes from.

    Attributes
    ----------
    site, ground, usable, rows, trees, reach : the stages' results; reach is None without a water section
    facts : per-tree columns by layer column name (tree_id, elevation_m, slope_pct, nearest_m, run_m ...), NaN where
        unknown; beside them water_index, the water point that serves each tree (-1 for none)
    findings : everything that falls short or should be known, in order of severity
    """

    site: Site
    ground: Ground
    usable: Usable
    rows: Rows
    trees: Trees
    facts: Mapping[str, NDArray[Any]]
    findings: tuple[Finding, ...]
    reach: Reach | None = None
    works: Works = field(default_factory=Works)
