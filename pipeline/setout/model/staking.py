"""What a crew sets out: points with their names, distances to check by, and how blocks are set out by tape."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from setout.errors import Refusal
from setout.model.base import Floats, Frame, Ints


@dataclass(frozen=True, slots=True)
class Tie:
    """Where a tree lies by tape from two monuments.

    Attributes
    ----------
    tree_id : the tree
    x, y : its place in the frame [m]
    along_m : along the line from the first monument to the second [m]; below 0 before it
    offset_m : at right angles to that line [m]; above 0 to the left as one walks it
    from_a_m, from_b_m : straight distances to the two monuments [m]
    angle_deg : angle at the first monument from the second to the tree, clockwise [deg]
    """

    tree_id: str
    x: float
    y: float
    along_m: float
    offset_m: float
    from_a_m: float
    from_b_m: float
    angle_deg: float


@dataclass(frozen=True, slots=True)
class Row:
    """One row by tape from the baseline: offset of its first and last tree, how far along each stands [m], trees.

    whole tells whether trees follow each other without a gap, so that they can be measured on one after the other.
    """

    row: int
    trees: int
    offset_m: float
    offset_last_m: float
    first_m: float
    last_m: float
    whole: bool = True


@dataclass(frozen=True, slots=True)
class Diagonal:
    """A check across the block: from one tree to another, level distance [m]."""

    start: str
    end: str
    distance_m: float


@dataclass(frozen=True, slots=True)
class TapePlan:
    """How one block is set out by tape.

    Attributes
    ----------
    block : index of the block
    base_row : number of the row that serves as baseline
    a, b : names of the two monuments; empty where the boundary has fewer than two
    a_xy, b_xy : their places in the frame [m]
    a_to_b_m : distance between them [m]
    first, last : first and last tree of the base row
    base_m : length of the baseline, first tree to last [m]
    bearing_deg : its bearing from true north [deg], from first to last
    rows : every row by offset and distance along the baseline
    diagonals : checks, true distances between trees
    straight : whether all rows are straight and run with the baseline
    max_slope, median_slope : of the block's trees, rise over run; NaN unknown
    aside_m : how far plants of one row stand aside of each other [m]
    steps_m : distances from plant to plant along a row [m]: in a bed, and from the last of a bed to the next
    """

    block: int
    base_row: int
    a: str
    b: str
    a_xy: tuple[float, float]
    b_xy: tuple[float, float]
    a_to_b_m: float
    first: Tie
    last: Tie
    base_m: float
    bearing_deg: float
    rows: tuple[Row, ...]
    diagonals: tuple[Diagonal, ...]
    straight: bool
    max_slope: float
    median_slope: float
    aside_m: float
    steps_m: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class StakePoints:
    """Points to set out, as arrays of one length.

    Attributes
    ----------
    tree_id : full id of each point
    easting, northing : in the plane CRS and its unit
    elevation_m : ground elevation [m]; NaN where unknown
    lon, lat : WGS 84 [deg]
    description : what stands there, such as plant and variety; empty until it is put into words
    """

    tree_id: Sequence[str]
    easting: Floats
    northing: Floats
    elevation_m: Floats
    lon: Floats
    lat: Floats
    description: Sequence[str]

    def __post_init__(self) -> None:
        """Check the lengths."""
        columns = {name: getattr(self, name) for name in self.__slots__}
        lengths = {name: len(values) for name, values in columns.items()}
        if len(set(lengths.values())) > 1:
            raise Refusal("stake_points_uneven", lengths=tuple(f"{name} {n}" for name, n in lengths.items()))
        for name in ("easting", "northing", "lon", "lat"):
            if not np.isfinite(columns[name]).all():
                raise Refusal("stake_points_not_finite", column=name)

    def __len__(self) -> int:
        """Return the number of points."""
        return len(self.tree_id)

    def take(self, own: Ints) -> StakePoints:
        """Return some of the points, by their indices."""
        chosen = own.tolist()
        places = (self.easting[own], self.northing[own], self.elevation_m[own], self.lon[own], self.lat[own])
        return StakePoints([self.tree_id[k] for k in chosen], *places, [self.description[k] for k in chosen])


@dataclass(frozen=True, slots=True)
class Leg:
    """A line between two known points, to measure before the first stake is set.

    Attributes
    ----------
    name, start, end : what it is called, and the names of its two points
    grid : distance in the plane CRS and its unit
    ground : level taped distance, in the same unit
    ground_m : the same [m]
    bearing_deg : from the first to the second, clockwise from true north at the site's middle [deg]
    place : (lon, lat) of both ends [deg]
    plane : (easting, northing) of both ends, in the plane CRS's unit
    block : name of the block whose baseline it is; empty between monuments
    """

    name: str
    start: str
    end: str
    grid: float
    ground: float
    ground_m: float
    bearing_deg: float
    place: tuple[tuple[float, float], tuple[float, float]]
    plane: tuple[tuple[float, float], tuple[float, float]]
    block: str = ""


@dataclass(frozen=True, slots=True)
class Kind:
    """One thing planted in one block, and how many of it there are."""

    block: str
    plant: str
    variety: str
    role: str
    trees: int


@dataclass(frozen=True, slots=True)
class StakeSet:
    """What is set out.

    Attributes
    ----------
    name : name of the plan
    frame : the site's frame
    trees, monuments : points; monuments are called BM1, BM2 and so on, round the boundary
    short : names of at most ten letters of the trees, unique over all of them and the monuments
    block, row, position : per tree the index of its block, and its numbers
    blocks : names of the blocks
    kind : per tree an index into kinds
    kinds : what is planted, block by block
    legs : from every monument to the next, round every ring of the boundary
    baselines : one row of every block, from its first tree to its last: the one that its sheet sets out from
    tapes : how every block that can be is set out by tape
    unit, size : name and size [m] of the plane CRS's unit
    factor : ground distance over grid distance
    """

    name: str
    frame: Frame
    trees: StakePoints
    monuments: StakePoints
    short: tuple[str, ...]
    block: Ints
    row: Ints
    position: Ints
    blocks: tuple[str, ...]
    kind: Ints
    kinds: tuple[Kind, ...]
    legs: tuple[Leg, ...]
    baselines: tuple[Leg, ...]
    tapes: tuple[TapePlan, ...]
    unit: str
    size: float
    factor: float

    @property
    def decimals(self) -> int:
        """Return the decimals of a coordinate that keep half a millimetre."""
        return 4 if self.size == 1.0 else 3

    @property
    def crs_label(self) -> str:
        """Return the plane CRS as people name it, with its code where it has one."""
        authority = self.frame.plane_crs.to_authority(min_confidence=100)
        code = f" ({':'.join(authority)})" if authority else ""
        return f"{self.frame.plane_crs.name}{code}"
