"""An invented planting, built straight from the nouns, for the tests of map, report and picture."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import shapely
from pyproj import CRS

from setout.model import (
    AccountRow,
    Bed,
    Block,
    BlockRoom,
    Exclusion,
    Finding,
    Frame,
    Ground,
    HeightLimit,
    OrderLine,
    Pair,
    Pattern,
    Plant,
    Planting,
    Reach,
    Rows,
    Site,
    Trees,
    Trellis,
    Usable,
    Water,
    WaterPoints,
    Works,
)
from setout.model.buying import line_of

EVIL = (
    "x</script><script>window.broken=1</script>",
    "`${window.broken=2}`",
    '"><img src=x onerror="window.broken=3">',
    "{{ 7*7 }}{% raw %}{# no #}",
    "' onmouseover='window.broken=4",
    "]]><!-- & &amp; \u2028 é ñ 樹",
)
"""Names that would run, break out or be evaluated if text were taken for code."""


def frame(lon: float = -77.05, lat: float = 40.21, height: float = 180.0, survey: int = 2272) -> Frame:
    """A local Transverse Mercator, raised to a height."""
    scale = 1 + height / 6371000
    local = CRS.from_proj4(f"+proj=tmerc +lat_0={lat} +lon_0={lon} +k={scale:.12f} +x_0=0 +y_0=0 +datum=WGS84 +units=m")
    crs = CRS.from_epsg(survey)
    return Frame(local, crs, crs, lon, lat, height, scale)


def lattice(area: shapely.Geometry, pattern: Pattern, bearing: float) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """A plain lattice inside an area: x, y, row, position."""
    a = math.radians(bearing)
    along, across = np.array([math.sin(a), math.cos(a)]), np.array([math.cos(a), -math.sin(a)])
    corners = shapely.get_coordinates(area)
    v0, v1 = (corners @ across).min(), (corners @ across).max()
    u0, u1 = (corners @ along).min(), (corners @ along).max()
    out: list[list[np.ndarray]] = []
    row = 0
    for k, v in enumerate(np.arange(v0 + pattern.row_distance_m / 2, v1, pattern.row_distance_m)):
        u = np.arange(u0, u1, pattern.step_m) + (k % 2) * pattern.shift * pattern.step_m
        xy = u[:, None] * along + v * across
        xy = xy[shapely.contains_xy(area, xy)]
        if len(xy) > 1:
            row += 1
            out.append([xy[:, 0], xy[:, 1], np.full(len(xy), row), np.arange(1, len(xy) + 1)])
    x, y, rows, positions = (np.concatenate(c) for c in zip(*out, strict=True))
    return x, y, rows, positions


def planting(
    *, names: tuple[str, ...] = (), size: float = 1.0, units: str = "us", step: float = 4.8768, where: Frame | None = None, name: str = ""
) -> Planting:
    """Three blocks on a property with a creek, a road, a house and an overhead line.

    Parameters
    ----------
    names : names to use for site, blocks, reasons, plants and water points in place of harmless ones
    size : scale of the whole property
    units : "us" or "si"
    step : distance in the row [m]
    where : frame; Pennsylvania when absent
    name : the site's name
    """
    the_frame = where or frame()

    def word(i: int, plain: str) -> str:
        return names[i % len(names)] if names else plain

    def shape(*points: tuple[float, float]) -> shapely.Polygon:
        return shapely.Polygon(np.array(points) * size)

    boundary = shape((-150, -92), (-20, -118), (148, -86), (176, 10), (120, 96), (10, 122), (-128, 96), (-168, 8))
    creek = shapely.LineString(np.array([(-200, -52), (-90, -62), (-10, -38), (70, -58), (210, -40)]) * size)
    road = shapely.LineString(np.array([(18, -140), (10, -40), (26, 40), (14, 140)]) * size)
    power = shapely.LineString(np.array([(-190, 60), (60, 30), (200, 74)]) * size)
    house = shape((52, -12), (76, -14), (78, 6), (54, 8))
    steep = shape((-150, 20), (-118, 26), (-112, 60), (-140, 78)).union(shape((-90, 80), (-74, 82), (-78, 98)))
    reasons = [
        (word(3, "slope"), "dem", 0.0, steep),
        (word(2, "property line"), "boundary", 4.57, boundary.difference(boundary.buffer(-4.57))),
        (word(1, "creek"), "survey/features.gpkg:creek", 10.67, creek.buffer(10.67)),
        (word(0, "farm road"), "survey/features.gpkg:road", 5.0, road.buffer(5)),
        (word(4, "house"), "survey/features.gpkg:house", 8.0, house.buffer(8)),
    ]
    left, taken, exclusions, account = boundary, shapely.Polygon(), [], [AccountRow(0, "gross", 0, 0, boundary.area)]
    for i, (why, source, distance, ground) in enumerate(reasons):
        alone = ground.intersection(boundary)
        newly = alone.difference(taken)
        taken = taken.union(alone)
        left = boundary.difference(taken)
        exclusions.append(Exclusion(why, source, distance, alone.area, newly.area, alone))
        account.append(AccountRow(i + 1, why, alone.area, newly.area, left.area))
    account.append(AccountRow(len(reasons) + 1, "net", 0, 0, left.area))
    south = shapely.box(*boundary.bounds[:2], boundary.bounds[2], -45 * size)
    west = shapely.box(boundary.bounds[0], -45 * size, 15 * size, boundary.bounds[3])
    areas = [left.intersection(west), left.difference(west).difference(south), left.intersection(south)]
    apple = (
        Plant(word(5, "apple, semi-dwarf"), word(0, "Jonathan"), "", 8, 4.5, 4.5),
        Plant(word(5, "apple, semi-dwarf"), word(1, "Grimes Golden"), word(2, "pollinizer"), 1, 4.5, 4.5),
    )
    patterns = (
        Pattern("offset", step, step * math.sqrt(3) / 2, 0.5),
        Pattern("square", 2 * step, 2 * step),
        Pattern("offset", step, 0.75 * step, 0.5),
    )
    blocks = tuple(
        Block(word(i, "ABC"[i]), areas[i], patterns[i], (0.0, 20.0, 93.0)[i], plants)
        for i, plants in enumerate((apple, (Plant("sweet cherry"),), (Plant("hazelnut", "", "", 1, 4.0, 4.0),)))
    )
    trees, rows, tree_ids = _plant(blocks, areas)
    points = WaterPoints(
        (word(3, "riser 1"), word(4, "riser 2")),
        np.array([-30.0, 100.0]) * size,
        np.array([20.0, 40.0]) * size,
        np.array([182.4, np.nan]),
        np.array([310.26, np.nan]),
        np.array([4542.0, np.nan]),
    )
    water = Water(points, np.array([road], object), 120.0, 100.0, "survey/features.gpkg:water_points")
    limit = power.buffer(6.1).intersection(boundary)
    findings = _findings(word, tree_ids, trees, steep)
    site = Site(
        name or word(0, "Wren Hill, north field"),
        units,
        the_frame,
        boundary,
        height_limits=(
            HeightLimit(word(4, "overhead power line"), "survey/features.gpkg:overhead_line", 6.1, 4.572, np.array([power], object)),
        ),
        water=water,
        blocks=blocks,
        findings=findings,
    )
    usable = Usable(
        tuple(b.name for b in blocks),
        np.array(areas, object),
        tuple(exclusions),
        (Exclusion(word(4, "overhead power line"), "survey/features.gpkg:overhead_line", 4.572, limit.area, 0.0, limit),),
        tuple(account),
    )
    empty = np.empty((0, 0), np.uint8)
    return Planting(
        site,
        Ground(None, the_frame, (0, 0, 0, 0), empty, empty, 0.15),
        usable,
        rows,
        replace(trees, **_columns(trees, tree_ids, points, size)),
        findings,
        _reach(points, boundary, size),
    )


FT = 0.3048
BEDS, POSTS = 6, 9
"""How many beds and posts :func:`systems` has; three of the posts are end posts."""


def systems(*, names: tuple[str, ...] = (), units: str = "us") -> Planting:
    """The same property with beds in block A, a trellis in B, a screen along a bent line in C, a pair and fillers.

    Beds are 10 ft by 6 ft (common practice) with 3 in of mulch. Whatever it shows is invented: nothing here was laid out by a stage.
    """
    base = planting(names=names, units=units)
    evil = names[1] if names else ""
    a, b, c = base.site.blocks
    yard = shapely.box(40, -80, 60, -70)
    main, other = a.plants
    fruit = Plant(other.name, other.variety, "filler", 1, 3.0, 4.0, remove_year=12)
    held = Plant("pear", "", "", 1, 6 * FT, 6 * FT, 12 * FT, 15 * FT)
    bed = Pattern("bed", 5 * FT, 10 * FT, bed=Bed(10 * FT, 6 * FT, 3 * FT, 0.25 * FT))
    wires = Pattern("trellis", 8 * FT, 10 * FT, trellis=Trellis(24 * FT, 4 * FT, 6 * FT, 3))
    hedge = Pattern("screen", 10 * FT, 12 * FT, lines=2, line_distance_m=4 * FT, pair=Pair(2 * FT, 0.0))
    blocks = (
        replace(a, pattern=bed, plants=(main, fruit)),
        replace(b, pattern=wires, plants=(held,)),
        replace(c, pattern=hedge, purpose="shade", yard=yard, direction="guide"),
    )
    rows = base.rows
    bent = int(np.flatnonzero(rows.block == 2)[0])
    ends = [(rows.x0[bent], rows.y0[bent]), (rows.x1[bent], rows.y1[bent])]
    middle = (sum(p[0] for p in ends) / 2, sum(p[1] for p in ends) / 2 + 6.0)
    boxes = [shapely.box(x, 60, x + 6 * FT, 60 + 10 * FT) for x in -60.0 + 10 * FT * np.arange(BEDS)]
    end = np.array([True, False, False] * 3)
    works = Works(
        np.array(boxes, object),
        np.zeros(BEDS, np.int64),
        np.arange(1, BEDS + 1),
        np.repeat([60.0, 63.0, 66.0], 3),
        np.tile([20.0, 27.0, 34.0], 3),
        np.ones(9, np.int64),
        np.repeat([1, 2, 3], 3),
        end,
        {1: 100.0},
    )
    line = rows.line.copy()
    line[bent] = shapely.MultiLineString([[ends[0], middle, ends[1]]])
    partner = np.full(len(base.trees), -1, np.int32)
    partner[:2] = 1, 0
    nan = float("nan")
    rooms = (
        BlockRoom(0, 9, 1.5, 1.2, 0.8, nan, 0.0, 1.5, 0.0, 12.0, 1.8, None, ((10, 0.25),)),
        BlockRoom(1, 9, 2.4, 3.0, 1.25, 0.6, 1.0, 2.4, 0.36, 1234.0, -0.2, 7, ((10, 0.9),)),
        BlockRoom(2, 0, nan, nan, nan, nan, 0.0, nan, nan, nan, nan, None, ()),
    )
    order = (
        OrderLine("apple", main.name, main.variety, "", "semi-dwarf", blocks[0].name, 20, 1),
        OrderLine("apple", fruit.name, fruit.variety, "filler", "", blocks[0].name, 5, 1, 12),
    )
    materials = (line_of("wire", 105.0, blocks[1].name, kind=evil or "high-tensile", rows=2, wires=3, tying=0.05),)
    return replace(
        base,
        site=replace(base.site, blocks=blocks),
        trees=replace(base.trees, partner=partner),
        works=works,
        rows=replace(rows, line=line),
        rooms=rooms,
        order=order,
        materials=materials,
    )


def bare(trees: Trees, **columns: np.ndarray) -> Trees:
    """Return trees without what stages found of them, other columns in its place."""
    placed = ("block", "row", "position", "x", "y", "plant", "partner")
    return Trees(*(getattr(trees, name) for name in placed), **columns)


def _reach(points: WaterPoints, boundary: shapely.Geometry, size: float) -> Reach:
    areas = [shapely.Point(x, y).buffer(90 * size).intersection(boundary) for x, y in zip(points.x, points.y, strict=True)]
    run = np.zeros(points.x.size)
    return Reach(points.x, points.y, run, np.arange(points.x.size), 90 * size, None, run + np.inf, np.array(areas, object))


def _plant(blocks: tuple[Block, ...], areas: list[shapely.Geometry]) -> tuple[Trees, Rows, np.ndarray]:
    parts = []
    lines = []
    for i, block in enumerate(blocks):
        x, y, row, position = lattice(areas[i], block.pattern, float(block.direction))
        every = np.arange(x.size) % 9 == 4
        plant = np.where(every & (len(block.plants) > 1), 1, 0)
        parts.append((np.full(x.size, i), row, position, x, y, plant))
        for r in np.unique(row):
            mine = np.flatnonzero(row == r)
            lines.append((i, r, x[mine[0]], y[mine[0]], x[mine[-1]], y[mine[-1]], mine.size, float(block.direction)))
    block, row, position, x, y, plant = (np.concatenate(c) for c in zip(*parts, strict=True))
    ids = np.array([f"{blocks[b].name}-{r}-{p}" for b, r, p in zip(block, row, position, strict=True)])
    columns = [np.array(c) for c in zip(*lines, strict=True)]
    rows = Rows(columns[0], columns[1], *columns[2:6], columns[6], columns[7])
    i4 = [v.astype(np.int32) for v in (block, row, position, plant)]
    return Trees(i4[0], i4[1], i4[2], x, y, i4[3]), rows, ids


def _columns(trees: Trees, ids: np.ndarray, points: WaterPoints, size: float) -> dict[str, np.ndarray]:
    from scipy.spatial import cKDTree

    xy = np.column_stack([trees.x, trees.y])
    nearest = cKDTree(xy).query(xy, 2)[0][:, 1]
    runs, which = cKDTree(np.column_stack([points.x, points.y])).query(xy)
    elevation = 180 + 6 * np.sin(trees.x / 60 / size) + 0.03 * trees.y
    run = np.where(runs < 90 * size, runs, np.nan)
    return {
        "tree_id": ids,
        "elevation_m": elevation,
        "slope_pct": 100 * np.hypot(0.1 * np.cos(trees.x / 60 / size) / size, 0.03),
        "nearest_m": nearest,
        "run_m": run,
        "pressure_kpa": np.where(np.isfinite(run), 310.26 - 9.8 * (elevation - 180), np.nan),
        "crowding": np.full(xy.shape[0], np.nan),
        "water_index": np.where(np.isfinite(run), which, -1),
        "findings": np.where(np.arange(ids.size) == 7, "over_height", ""),
    }


def _findings(word, ids: np.ndarray, trees: Trees, steep: shapely.Geometry) -> tuple[Finding, ...]:
    return (
        Finding(
            "over_height",
            "stop",
            f"{word(0, 'Tree')} grows taller than the line allows",
            "14.8 ft",
            "at most 13.1 ft",
            word(1, "plant a smaller size"),
            str(ids[7]),
            shapely.Point(trees.x[7], trees.y[7]),
        ),
        Finding(
            "dem_gap",
            "warn",
            word(2, "The DEM has a gap of 0.02 acres west of the creek"),
            "0.02 acres",
            "0 acres",
            "give a DEM without gaps",
            "",
            steep,
        ),
        Finding("nearest_below_step", "note", word(3, "Block C stands closer than its step"), "14.42 ft", "16 ft", ""),
    )


def contours(plan: Planting, interval: float = 1.0) -> list[tuple[float, shapely.LineString]]:
    """Contours of the invented ground of :func:`planting`, one line a level and piece."""
    import contourpy

    x0, y0, x1, y1 = plan.site.boundary.bounds
    size = (x1 - x0) / 344
    x, y = np.linspace(x0 - 20, x1 + 20, 160), np.linspace(y0 - 20, y1 + 20, 140)
    z = 180 + 6 * np.sin(x[None, :] / 60 / size) + 0.03 * y[:, None] + 0 * x[None, :]
    made = contourpy.contour_generator(x, y, z)
    return [
        (float(level), shapely.LineString(line)) for level in np.arange(168, 196, interval) for line in made.lines(level) if len(line) > 1
    ]


def hillshade(plan: Planting) -> tuple[bytes, tuple[float, float, float, float]]:
    """A grey PNG over the property, with its bounds (south, west, north, east)."""
    import rasterio
    from rasterio.io import MemoryFile

    x0, y0, x1, y1 = plan.site.boundary.bounds
    size = (x1 - x0) / 344
    lon, lat = plan.site.frame.to(CRS.from_epsg(4326), np.array([x0 - 30, x1 + 30]), np.array([y0 - 30, y1 + 30]))
    x = np.linspace(x0 - 30, x1 + 30, 600)
    shade = np.clip(200 + 60 * np.cos(x / 60 / size) + 8 * np.sin(x / 7), 0, 255)
    grey = np.repeat(shade[None, :], 500, axis=0).astype(np.uint8)
    import warnings

    with MemoryFile() as memory, warnings.catch_warnings():
        warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)
        with memory.open(driver="PNG", width=600, height=500, count=1, dtype="uint8") as file:
            file.write(grey, 1)
        return memory.read(), (float(lat[0]), float(lon[0]), float(lat[1]), float(lon[1]))
