"""What map and report say in words: cautions, blocks, how distances are measured."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from pyproj import CRS

from setout.model.text import one_line
from setout.units import ACRE, FOOT, show_area, show_length

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from setout.model import Block, Bools, Planting, Site

CONTOURS_M: Final[dict[str, tuple[float, ...]]] = {
    "us": tuple(n * FOOT for n in (1, 2, 5, 10, 20, 50, 100)),
    "si": (0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0),
}
"""Contour intervals to choose from, round in the reader's units [m]."""
CAUTIONS: Final = (
    (
        "Buried lines",
        (
            "Before any digging, augering or driving of stakes, call the utility-locating service (811 in the"
            " United States, the national or local service elsewhere) and wait for the marks. Private lines, such"
            " as to a well or a barn, are often not marked: ask the owner."
        ),
    ),
    (
        "Overhead lines",
        (
            "Keep ladders, masts, pipes and machine booms well away from every overhead line. Height limits shown"
            " are those of the plan file; the line's owner decides what may grow near it."
        ),
    ),
    (
        "Slopes and machines",
        (
            "Slopes come from the elevation model and can miss banks, ruts and holes. Walk the ground before a"
            " tractor works there; most overturns are sideways."
        ),
    ),
    (
        "Wells, septic fields and water",
        (
            "Setbacks are those of the plan file, not the law. Verify each with local code, the permits of the"
            " property and the health department, and keep chemicals, roots and wheels away as they ask."
        ),
    ),
    (
        "What this plan is",
        (
            "A plan from survey files, not a survey. Property lines, easements and pressures are for licensed"
            " surveyors and engineers to settle; local codes and licensed practice always come first."
        ),
    ),
)
"""What has to be known before work starts: (title, text)."""

KEPT_CLEAR: Final = "Ground kept clear"
SEVERITY: Final = {"stop": "Stop", "warn": "Warning", "note": "Note"}
TAPE_SLOPE: Final = 0.15
"""Slope [rise over run] at which the difference between tape and plan is told."""


@dataclass(frozen=True, slots=True)
class BlockLine:
    """What there is to say of one block as planted; lengths in metres, NaN where none can be measured."""

    name: str
    pattern: str
    step_m: float
    row_distance_m: float
    nearest_m: float
    trees: int
    rows: int
    area_m2: float
    bearing_deg: float
    plants: tuple[tuple[str, int], ...]
    paired: bool = False


def no_formula(text: str) -> str:
    """Return a text for a cell of a CSV, on one line, with an apostrophe before what a spreadsheet would run.

    Where the comma is the decimal sign, spreadsheets part cells at semicolons, quotes or not. The wide signs of East
    Asian type count as the narrow ones there.

    >>> no_formula("=1+1"), no_formula("A;=1+1"), no_formula("x = 2; apple")
    ("'=1+1", "A;'=1+1", 'x = 2; apple')
    """
    return re.sub(r"(^|;)(\s*)(?=[=+\-@\uff1d\uff0b\uff0d\uff20])", r"\1\2'", one_line(text).strip())


def tape_excess(slope: float) -> float:
    """Return how much more a tape laid on a slope reads than the horizontal distance, as a share.

    >>> round(100 * tape_excess(0.15), 3)
    1.119
    """
    return math.hypot(1.0, slope) - 1.0


def plant_label(name: str, variety: str) -> str:
    """Return how one thing planted is called.

    >>> plant_label("apple, semi-dwarf", "Jonathan")
    'apple, semi-dwarf: Jonathan'
    """
    return f"{name}: {variety}" if variety else name


def short_labels(kinds: Sequence[tuple[str, str, str]]) -> list[str]:
    """Return labels for a narrow legend: without the size class, where that leaves no two alike.

    >>> short_labels([("apple, semi-dwarf", "Jonathan", ""), ("pear, dwarf", "", ""), ("pear, standard", "", "")])
    ['apple: Jonathan', 'pear, dwarf', 'pear, standard']
    """
    short = [plant_label(name.split(",")[0], variety) for name, variety, _ in kinds]
    full = [plant_label(name, variety) for name, variety, _ in kinds]
    return [s if short.count(s) == 1 else f for s, f in zip(short, full, strict=True)]


def plant_kinds(site: Site) -> tuple[tuple[str, str, str], ...]:
    """Return the (name, variety, role) of everything planted, each once, in the order of the plan file."""
    return tuple(dict.fromkeys((p.name, p.variety, p.role) for block in site.blocks for p in block.plants))


def block_lines(planting: Planting) -> tuple[BlockLine, ...]:
    """Sum up every block."""
    return tuple(_block_line(planting, i, block) for i, block in enumerate(planting.site.blocks))


def _block_line(planting: Planting, index: int, block: Block) -> BlockLine:
    trees, rows = planting.trees, planting.rows
    mine = trees.block == index
    area = sum(float(shape.area) for name, shape in zip(planting.usable.block, planting.usable.geometry, strict=True) if name == block.name)
    bearings = rows.bearing_deg[rows.block == index]
    plant = trees.plant[mine]
    counts = np.bincount(plant[plant >= 0], minlength=len(block.plants))
    return BlockLine(
        name=block.name,
        pattern=block.pattern.kind,
        step_m=block.pattern.step_m,
        row_distance_m=block.pattern.row_distance_m,
        nearest_m=_nearest_within(planting, mine, block),
        trees=int(mine.sum()),
        rows=int((rows.block == index).sum()),
        area_m2=area,
        bearing_deg=float(bearings[0]) if bearings.size else math.nan,
        plants=tuple((plant_label(p.name, p.variety), int(c)) for p, c in zip(block.plants, counts, strict=False)),
        paired=block.pattern.pair is not None,
    )


def _nearest_within(planting: Planting, mine: Bools, block: Block) -> float:
    """Return the distance [m] between the two nearest trees of one block that are no partners; NaN with fewer than two.

    The plan's own nearest distances serve, unless one is less than the pattern gives: then a tree of another
    block may be meant, and the block's trees are measured alone.
    """
    known = planting.trees.known("nearest_m")[mine]
    trees = planting.trees
    paired = trees.partner.size == len(trees) and bool((trees.partner[mine] >= 0).any())
    if int(mine.sum()) < (3 if paired else 2):
        return math.nan
    trusted = not paired and block.pattern.kind != "points" and np.isfinite(known).all()
    if trusted and known.min() >= block.pattern.nearest_m - 0.001:
        return float(known.min())
    from scipy.spatial import cKDTree

    own = np.flatnonzero(mine)
    xy = np.column_stack([trees.x[own], trees.y[own]])
    if not paired:
        return float(cKDTree(xy).query(xy, 2)[0][:, 1].min())
    apart, which = cKDTree(xy).query(xy, 3)
    stranger = (own[which] != own[:, None]) & (own[which] != trees.partner[own][:, None])
    return float(apart[stranger].min())


def closer_than_step(line: BlockLine, units: str) -> str:
    """Say so where the true nearest neighbour is closer than the step; empty where it is not.

    Differences below 5 mm are not told: they are less than a stake is wide.

    >>> line = BlockLine("D", "offset", 4.8768, 3.6576, 4.39589, 10, 2, 1e3, 0.0, ())
    >>> closer_than_step(line, "us")
    'Block D: rows 12 ft apart bring neighbours in the next row to 14.42 ft, closer than the 16 ft step.'
    """
    if not line.nearest_m < line.step_m - 0.005:
        return ""
    near, step = show_length(line.nearest_m, units, 2), show_length(line.step_m, units)
    rows = show_length(line.row_distance_m, units)
    across = math.hypot(line.row_distance_m, line.step_m / 2)
    if abs(line.nearest_m - across) < 0.005 or abs(line.nearest_m - line.row_distance_m) < 0.005:
        return f"Block {line.name}: rows {rows} apart bring neighbours in the next row to {near}, closer than the {step} step."
    two = "nearest two trees of different pairs" if line.paired else "nearest two trees"
    return f"Block {line.name}: the {two} stand {near} apart, closer than the {step} step."


def bearing_text(degrees: float) -> str:
    """Write a row direction as a quadrant bearing from true north.

    >>> bearing_text(0.0), bearing_text(20.0), bearing_text(160.0), bearing_text(90.0)
    ('north-south', 'N 20° E', 'N 20° W', 'east-west')
    """
    if not math.isfinite(degrees):
        return ""
    turned = degrees % 180.0
    if min(turned, 180 - turned) < 0.05:
        return "north-south"
    if abs(turned - 90) < 0.05:
        return "east-west"
    angle, side = (turned, "E") if turned < 90 else (180 - turned, "W")
    return f"N {angle:.1f}".removesuffix(".0") + f"° {side}"


def density(trees: int, area_m2: float, units: str) -> str:
    """Write trees per acre or hectare.

    >>> density(100, 4046.8564224, "us"), density(100, 1e4, "si"), density(0, 0.0, "us")
    ('100 per acre', '100 per ha', '')
    """
    if area_m2 <= 0:
        return ""
    unit, name = (ACRE, "acre") if units == "us" else (1e4, "ha")
    return f"{trees * unit / area_m2:,.0f} per {name}"


def index_contours(levels: Sequence[float]) -> Bools:
    """Tell which contours are drawn heavier: every fifth level above zero.

    >>> index_contours([98.0, 99.0, 100.0, 101.0, 105.0]).tolist()
    [False, False, True, False, True]
    """
    values = np.asarray(levels, float)
    distinct = np.unique(np.round(values, 6))
    interval = float(np.diff(distinct).min()) if distinct.size > 1 else 1.0
    return np.asarray(np.abs(np.rint(values / interval) % 5) < 0.5, bool)


def counts_line(planting: Planting) -> str:
    """Sum the plan up in one line: trees, net and gross area, blocks."""
    site = planting.site
    planted = sum(float(shape.area) for shape in planting.usable.geometry)
    blocks = len(site.blocks)
    return (
        f"{len(planting.trees):,} trees in {blocks} block{'' if blocks == 1 else 's'} on"
        f" {show_area(planted, site.units)} of {show_area(float(site.boundary.area), site.units)}"
    )


def measured_how(planting: Planting) -> Iterator[str]:
    """Yield the sentences on distances, frame and coordinate system."""
    frame, units = planting.site.frame, planting.site.units
    length = 100 * FOOT if units == "us" else 100.0
    more = tape_excess(TAPE_SLOPE)
    yield (
        "Distances are horizontal ground distances. A tape held level reads them; a tape laid on a"
        f" {100 * TAPE_SLOPE:.0f} % slope reads {100 * more:.1f} % more"
        f" ({show_length(length * more, units)} in {show_length(length, units)})."
    )
    yield (
        f"Files are delivered in the survey's own coordinate system, {_crs(frame.survey_crs)}."
        f" Eastings and northings are in {_crs(frame.plane_crs)}, unit {frame.plane_crs.axis_info[0].unit_name}."
    )
    yield (
        f"Trees were set out in a local Transverse Mercator frame at {frame.lat:.5f}°, {frame.lon:.5f}°, raised"
        f" to {show_length(frame.height_m, units, 0)} above the ellipsoid (scale {frame.scale:.8f}), so that a"
        " distance in it is a distance on the ground."
    )
    factor = grid_to_ground(planting.site)
    if math.isfinite(factor):
        yield (
            f"Grid to ground: multiply a distance between coordinates by {factor:.8f} to get the distance on the"
            f" ground ({(factor - 1) * 1e6:+.0f} parts per million, at the middle of the site)."
        )


def grid_to_ground(site: Site) -> float:
    """Return ground distance over distance between plane coordinates, mid-site; NaN if the plane is none."""
    frame = site.frame
    if not frame.plane_crs.is_projected:
        return math.nan
    x, y = frame.of(CRS.from_epsg(4326), np.array([frame.lon]), np.array([frame.lat]))
    px, py = frame.to(frame.plane_crs, np.array([x[0] - 50, x[0] + 50]), np.array([y[0], y[0]]))
    unit = frame.plane_crs.axis_info[0].unit_conversion_factor
    return 100.0 / (math.hypot(float(px[1] - px[0]), float(py[1] - py[0])) * unit)


def _crs(crs: CRS) -> str:
    authority = crs.to_authority()
    return f"{crs.name} ({':'.join(authority)})" if authority else str(crs.name)
