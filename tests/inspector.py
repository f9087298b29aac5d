"""An outside look at a plan and what it left: nothing of setout is imported, everything is worked out again.

Survey files are read with geopandas and rasterio, distances come from a local azimuthal equidistant frame and from
geodesics (pyproj), slopes from the GDAL tool or a numpy version of Horn's method (Horn, Proc. IEEE 69 (1981)), shares
of cells from exactextract, the GeoPackage rules from the OGC validator of gdal-utils. :func:`inspect` returns
complaints in plain words; a sound plan has none.
"""

from __future__ import annotations

import base64
import csv
import hashlib
import importlib.util
import json
import re
import shutil
import sqlite3
import subprocess
import tomllib
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import geopandas as gpd
import numpy as np
import pyogrio
import rasterio
import shapely
from pyproj import CRS, Geod
from pyproj.crs import ProjectedCRS
from pyproj.crs.coordinate_operation import AzimuthalEquidistantConversion
from scipy.spatial import cKDTree

ROOT = Path(__file__).resolve().parents[1]
FOOT, SURVEY_FOOT, PSI = 0.3048, 1200 / 3937, 6.894757293168361  # NIST SP 811, Appendix B
KPA_PER_M = 0.4333 * PSI / FOOT  # 62.4 lb/ft3 over 144 in2/ft2
UNITS = {
    "m": 1.0,
    "cm": 0.01,
    "dm": 0.1,
    "ft": FOOT,
    "us survey ft": SURVEY_FOOT,
    "in": FOOT / 12,
    "psi": PSI,
    "kPa": 1.0,
    "acre": 43560 * FOOT**2,
    "ha": 1e4,
    "m2": 1.0,
    "bar": 100.0,
}
HEIGHT_UNITS = {"metre": 1.0, "m": 1.0, "foot": FOOT, "ft": FOOT, "us survey foot": SURVEY_FOOT, "dm": 0.1, "cm": 0.01}


def si(text: Any) -> float:
    """Return a quantity such as "16 ft" in SI."""
    match = re.fullmatch(r"\s*(-?[\d.]+)\s*(.*?)\s*", str(text))
    assert match, text
    return float(match[1]) * UNITS[match[2]]


@dataclass
class Heights:
    """A DEM as an array [m], NaN for none, with its transform (a, b, c, d, e, f) and CRS; slopes in % where known."""

    z: np.ndarray
    transform: tuple[float, ...]
    crs: CRS
    slope: np.ndarray | None = None
    feet: bool = False
    slack: np.ndarray | float = 0.0

    @cached_property
    def rounding(self) -> float:
        """How far slopes may be off [%]: 1e-3, and for heights that were no metres half a float32 step over a cell."""
        side = np.sqrt(abs(self.transform[0] * self.transform[4] - self.transform[1] * self.transform[3]))
        side *= 111e3 if self.crs.is_geographic else self.crs.axis_info[0].unit_conversion_factor
        return 1e-3 + (100 * float(np.spacing(np.float32(np.nanmax(np.abs(self.z))))) / 2 / side if self.feet else 0.0)

    def cells(self, points: gpd.GeoSeries) -> tuple[np.ndarray, np.ndarray]:
        """Return fractional (row, column) of points."""
        there = points.to_crs(self.crs)
        a, b, c, d, e, f = self.transform
        x, y, det = there.x.to_numpy() - c, there.y.to_numpy() - f, a * e - b * d
        return (a * y - d * x) / det, (e * x - b * y) / det


@dataclass
class Truth:
    """What a test knows better than the files: features by the plan file's references, the DEM, and codes of expected findings."""

    layers: Mapping[str, gpd.GeoDataFrame] = field(default_factory=dict)
    heights: Heights | None = None


class Look:
    """A plan file, its output folder, and everything that is worked out from them once."""

    def __init__(self, plan: Path, out: Path, truth: Truth) -> None:
        self.folder, self.out, self.truth = plan.parent, out, truth
        self.plan = tomllib.loads(plan.read_text(encoding="utf-8"))
        self.gpkg = out / "plan.gpkg"
        self.run = json.loads((out / "run.json").read_text(encoding="utf-8"))
        self.names = [name for name, _ in pyogrio.list_layers(self.gpkg)]

    def source(self, text: str) -> gpd.GeoDataFrame:
        """Return the features that the plan file names."""
        if text in self.truth.layers:
            return self.truth.layers[text]
        head, column, value = re.fullmatch(r"(.*?)(?:\[(\w+)=(.*)\])?", text).groups()  # type: ignore[union-attr]
        file, _, layer = head.partition(":")
        data = gpd.read_file(self.folder / file, **({"layer": layer} if layer else {}))
        if column:
            data = data[data[column].astype(str) == value]
        return data if data.crs is not None else data.set_crs(self.plan["site"]["crs"])

    def layer(self, name: str) -> Any:
        """Return a layer of the results."""
        return gpd.read_file(self.gpkg, layer=name)

    @cached_property
    def boundary(self) -> gpd.GeoDataFrame:
        return self.source(self.plan["site"]["boundary"])

    @cached_property
    def trees(self) -> gpd.GeoDataFrame:
        """The trees without their height: a datum shift would else take it for one above the ellipsoid."""
        trees = self.layer("trees")
        return trees.set_geometry(trees.geometry.force_2d())

    @cached_property
    def geographic(self) -> CRS:
        return CRS(self.boundary.crs).geodetic_crs.to_2d()

    @cached_property
    def geod(self) -> Geod:
        return self.geographic.get_geod()

    @cached_property
    def heights(self) -> Heights | None:
        names = self.plan["site"].get("dem")
        if self.truth.heights is not None or not names:
            return self.truth.heights
        names = [names] if isinstance(names, str) else names
        assert len(names) == 1, "tiles: give Truth.heights"
        return heights_of(self.folder / names[0], self.plan["site"].get("dem_unit"))

    @cached_property
    def middle(self) -> tuple[float, float]:
        west, south, east, north = self.boundary.to_crs(self.geographic).total_bounds
        return (west + east) / 2, (south + north) / 2

    @cached_property
    def raised(self) -> float:
        """Ground over ellipsoid at the site's height: 1 + h/R, R the Gaussian radius of curvature."""
        height = si(self.plan["site"]["elevation"]) if "elevation" in self.plan["site"] else 0.0
        if self.heights is not None:
            west, south, east, north = self.boundary.to_crs(self.geographic).total_bounds
            lon, lat = np.meshgrid(np.linspace(west, east, 40), np.linspace(south, north, 40))
            row, col = self.heights.cells(gpd.GeoSeries(shapely.points(lon.ravel(), lat.ravel()), crs=self.geographic))
            row, col = np.floor(row).astype(int), np.floor(col).astype(int)
            rows, cols = self.heights.z.shape
            inside = (row >= 0) & (row < rows) & (col >= 0) & (col < cols)
            height = float(np.nanmean(self.heights.z[row[inside], col[inside]]))
        height += si(self.plan["site"].get("geoid_height", "0 m"))
        e2 = self.geod.es
        return 1 + height * (1 - e2 * np.sin(np.radians(self.middle[1])) ** 2) / (self.geod.a * np.sqrt(1 - e2))

    @cached_property
    def frame(self) -> CRS:
        lon, lat = self.middle
        return ProjectedCRS(AzimuthalEquidistantConversion(lat, lon), geodetic_crs=self.geographic)

    def ground(self, data: Any) -> np.ndarray:
        """Return geometries in level ground metres about the middle of the site."""
        moved = shapely.force_2d(np.asarray(data.to_crs(self.frame).geometry.values, object))
        return shapely.transform(moved, lambda xy: xy * self.raised)

    @cached_property
    def land(self) -> shapely.Geometry:
        return shapely.union_all(shapely.make_valid(self.ground(self.boundary)))

    @cached_property
    def closed(self) -> list[shapely.Geometry]:
        """Areas with an outline of their own behind setbacks, and no-plant areas: no pipe runs through them."""
        names = [s["from"] for key in ("setback", "no_plant") for s in self.plan.get(key, []) if s["from"] != "boundary"]
        shapes = [shapely.make_valid(g) for name in names for g in self.ground(self.source(name))]
        return [g for g in shapes if shapely.get_dimensions(g) == 2]

    @cached_property
    def points(self) -> np.ndarray:
        return self.ground(self.trees)

    @cached_property
    def blocks(self) -> dict[str, Mapping[str, Any]]:
        return {str(block["name"]): block for block in self.plan["block"]}

    def mine(self, block: str) -> np.ndarray:
        return np.flatnonzero((self.trees["block"] == block).to_numpy())


def heights_of(path: Path, unit: str | None = None) -> Heights:
    """Read a DEM as metres, with the slopes of the GDAL tool where it lies square on a plane grid."""
    with rasterio.open(path) as raster:
        z = raster.read(1, masked=True).astype(float).filled(np.nan)
        crs, transform = CRS(raster.crs.to_wkt()), tuple(raster.transform)[:6]
        word = (unit or raster.units[0] or "m").lower()
        scale, offset = raster.scales[0], raster.offsets[0]
        masked = bool(raster.nodata is None and np.isnan(z).any())
    if crs.is_compound:
        word = crs.sub_crs_list[1].axis_info[0].unit_name.lower()
        crs = crs.sub_crs_list[0]
    factor = HEIGHT_UNITS[word]
    z = (z * scale + offset) * factor
    a, b, _, d, e, _ = transform
    if crs.is_geographic or crs.to_epsg() == 3857:
        if b or d:  # turned cells are no rectangles on the ground there
            return Heights(z, transform, crs)
        return Heights(z, transform, crs, horn(z, transform, crs), factor != 1)
    flat = crs.axis_info[0].unit_conversion_factor
    exact = horn_on(z, np.array([[np.hypot(a, d) * flat]]), np.array([[np.hypot(b, e) * flat]]))
    if b or d:  # the tool takes a turned raster for a square one
        return Heights(z, transform, crs, exact, factor != 1)
    if masked:  # the tool does not heed masks
        path = path.with_name(f".{path.stem}.filled.tif")
        _write_filled(path, np.nan_to_num(z / factor, nan=-9999.0), crs, transform)
        scale = 1.0
    tool = gdaldem_slope(path, flat / factor / scale)
    # the tool adds heights up in single precision; where nothing is at an edge double precision tells more
    coarse = 100 * float(np.spacing(np.float32(4 * np.nanmax(np.abs(z))))) / abs(a * flat)
    assert np.nanmax(np.abs(tool - exact) / np.maximum(1, exact / 100), initial=0.0) < 1e-3 + coarse
    inside = np.isfinite(exact)
    return Heights(z, transform, crs, np.where(inside, exact, tool), factor != 1, np.where(inside, 0.0, coarse))


def _write_filled(path: Path, z: np.ndarray, crs: CRS, transform: tuple[float, ...]) -> None:
    profile = {"driver": "GTiff", "width": z.shape[1], "height": z.shape[0], "count": 1, "dtype": "float32", "nodata": -9999.0}
    with rasterio.open(path, "w", crs=crs.to_wkt(), transform=rasterio.Affine(*transform), **profile) as raster:
        raster.write(z.astype("float32"), 1)


def gdaldem_slope(path: Path, ratio: float = 1.0) -> np.ndarray:
    """Return slopes [%] of the GDAL tool; ratio is vertical units in a horizontal one."""
    target = path.with_name(f".{path.stem}.slope.tif")
    command = ["gdaldem", "slope", str(path), str(target), "-p", "-compute_edges", "-s", repr(ratio), "-q"]
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    with rasterio.open(target) as raster:
        slope = raster.read(1, masked=True).astype(float).filled(np.nan)
    target.unlink()
    return slope


def horn(z: np.ndarray, transform: tuple[float, ...], crs: CRS) -> np.ndarray:
    """Return Horn's slope [%] inside a raster; cells beside the edge or a gap are NaN. Cell sides are geodesic."""
    a, b, c, d, e, f = transform
    rows = np.arange(z.shape[0]) + 0.5
    col = z.shape[1] / 2
    geographic = crs.geodetic_crs.to_2d()
    ends = []
    for dc, dr in ((-0.5, 0), (0.5, 0), (0, -0.5), (0, 0.5)):
        x, y = a * (col + dc) + b * (rows + dr) + c, d * (col + dc) + e * (rows + dr) + f
        there = gpd.GeoSeries(shapely.points(x, y), crs=crs).to_crs(geographic)
        ends.append((there.x.to_numpy(), there.y.to_numpy()))
    geod = geographic.get_geod()
    wide, high = (np.asarray(geod.inv(*ends[k], *ends[k + 1])[2])[1:-1, None] for k in (0, 2))
    return horn_on(z, wide, high)


def horn_on(z: np.ndarray, wide: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Return Horn's slope [%] inside a raster of cells of a given width and height [m]."""
    n = [[z[1 + i : z.shape[0] - 1 + i, 1 + j : z.shape[1] - 1 + j] for j in (-1, 0, 1)] for i in (-1, 0, 1)]
    across = (n[0][2] + 2 * n[1][2] + n[2][2]) - (n[0][0] + 2 * n[1][0] + n[2][0])
    down = (n[2][0] + 2 * n[2][1] + n[2][2]) - (n[0][0] + 2 * n[0][1] + n[0][2])
    return np.pad(100 * np.hypot(across / (8 * wide), down / (8 * high)), 1, constant_values=np.nan)


def nearest_of(block: Mapping[str, Any]) -> float:
    """Return the distance that a pattern's geometry gives between nearest neighbours [m]."""
    step, kind = si(block["step"]), block["pattern"]
    rows = block.get("row_distance", "equilateral")
    if kind == "square":
        return step
    if kind == "quincunx":
        return step / np.sqrt(2)
    across = step * np.sqrt(3) / 2 if rows == "equilateral" else si(rows)
    if block.get("rows") == "free" or kind == "rectangular":
        return min(step, across)
    return min(step, float(np.hypot(step / 2, across)), 2 * across)


def inspect(plan: Path, out: Path, truth: Truth | None = None) -> list[str]:
    """Return everything that is wrong with the results of a plan file."""
    look = Look(plan, out, truth or Truth())
    checks = (
        boundary_and_blocks,
        setbacks,
        height_limits,
        slope,
        room,
        between_blocks,
        counts,
        names,
        rows,
        places,
        layers,
        account,
        exclusions,
        water,
        terrain,
        files,
        page,
        record,
    )
    return [f"{check.__name__}: {text}" for check in checks for text in check(look)]


def boundary_and_blocks(look: Look) -> Iterator[str]:
    beyond = shapely.distance(look.land, look.points).max()
    if beyond > 0.01:
        yield f"a tree stands {beyond:.3f} m outside the boundary"
    usable = look.layer("usable")
    drawn = look.ground(usable)
    for name, block in look.blocks.items():
        own = look.points[look.mine(name)]
        if not len(own):
            continue
        if "area" in block:
            area = shapely.union_all(shapely.make_valid(look.ground(look.source(block["area"]))))
            beyond = shapely.distance(area, own).max()
            if beyond > 0.01:
                yield f"a tree of {name} stands {beyond:.3f} m outside its block"
        ground = shapely.union_all(shapely.make_valid(drawn[(usable["block"] == name).to_numpy()]))
        beyond = shapely.distance(ground, own).max()
        if beyond > 0.011:
            yield f"a tree of {name} stands {beyond:.3f} m outside its usable polygon"


def setbacks(look: Look) -> Iterator[str]:
    spread = look.trees["spread_m"].to_numpy(float)
    for section in look.plan.get("setback", []):
        own = section["from"] == "boundary"
        features = [shapely.boundary(look.land)] if own else look.ground(look.source(section["from"]))
        least = np.min([shapely.distance(g, look.points) for g in features], axis=0)
        needed = np.full(len(least), si(section["distance"]))
        if section.get("measured_to") == "canopy":
            needed += spread / 2
        short = (needed - least).max()
        if not short <= 0.01:
            yield f"a tree is {short:.4f} m too near to {section.get('why', section['from'])}"
        if least.min() > needed.max() + 500:
            yield f"no tree comes near {section['from']}: the check says nothing"
    for section in look.plan.get("no_plant", []):
        for area in look.ground(look.source(section["from"])):
            inside = shapely.distance(shapely.boundary(area), look.points[shapely.contains(area, look.points)])
            if len(inside) and inside.max() > 0.01:
                yield f"a tree stands {inside.max():.3f} m inside {section['from']}"


def height_limits(look: Look) -> Iterator[str]:
    tall = look.trees["height_m"].to_numpy(float)
    for section in look.plan.get("height_limit", []):
        for feature in look.ground(look.source(section["from"])):
            near = shapely.distance(feature, look.points) < si(section["within"]) - 0.01
            if np.any(tall[near] > si(section["height"]) + 1e-6):
                yield f"a tree of {tall[near].max():.2f} m stands within {section['within']} of {section['from']}"


def slope(look: Look) -> Iterator[str]:
    heights, ground = look.heights, look.plan.get("ground", {})
    said, z = look.trees["slope_pct"].to_numpy(float), look.trees["elevation_m"].to_numpy(float)
    if heights is None:
        if np.isfinite(said).any() or np.isfinite(z).any():
            yield "there is no DEM, but trees have a slope or an elevation"
        return
    row, col = heights.cells(look.trees.geometry)
    edge = np.minimum(np.abs(row - np.rint(row)), np.abs(col - np.rint(col))) < 1e-3
    i, j = np.floor(row).astype(int), np.floor(col).astype(int)
    outside = (i < 0) | (j < 0) | (i >= heights.z.shape[0]) | (j >= heights.z.shape[1])
    i, j = np.clip(i, 0, heights.z.shape[0] - 1), np.clip(j, 0, heights.z.shape[1] - 1)
    blank = (np.isnan(heights.z[i, j]) | outside) & ~edge
    if blank.any() and ground.get("no_elevation") != "plant":
        yield f"{blank.sum()} trees stand on ground without elevation"
    if np.isfinite(said[blank]).any() or np.isfinite(z[blank]).any():
        yield "a tree without elevation under it has one"
    if heights.slope is None:
        return
    true = np.where(blank, np.nan, heights.slope[i, j])
    tolerance = heights.rounding * max(1.0, np.nanmax(true, initial=0.0) / 100)
    slack = np.broadcast_to(heights.slack, heights.z.shape)[i, j]
    off = np.maximum(np.abs(true - said) - slack, 0.0)[~edge & np.isfinite(true)]
    if not off.max(initial=0.0) <= tolerance:
        yield f"slope_pct is off by {off.max():.5f}"
    if "max_slope" in ground:
        text = ground["max_slope"]
        limit = float(text[:-1]) if text.endswith("%") else 100 * np.tan(np.radians(float(text.split()[0])))
        steep = true[~edge & (true > limit + tolerance + slack)]
        if len(steep):
            yield f"{len(steep)} trees stand on steeper ground than {text}, up to {steep.max():.2f} %"
    near = np.stack(
        [
            heights.z[np.clip(i + di, 0, heights.z.shape[0] - 1), np.clip(j + dj, 0, heights.z.shape[1] - 1)]
            for di in (-1, 0, 1)
            for dj in (-1, 0, 1)
        ]
    )
    known = np.isfinite(z)
    if not np.array_equal(shapely.get_z(look.layer("trees").geometry.values), z, equal_nan=True):
        yield "the points' Z is not elevation_m"
    if known.any() and ((z - np.nanmin(near, 0))[known].min() < -1e-3 or (np.nanmax(near, 0) - z)[known].min() < -1e-3):
        yield "elevation_m is not between the heights of the cells around"


def _geodesic(look: Look, one: np.ndarray, other: np.ndarray) -> np.ndarray:
    lonlat = look.trees.geometry.to_crs(look.geographic)
    x, y = lonlat.x.to_numpy(), lonlat.y.to_numpy()
    return np.asarray(look.geod.inv(x[one], y[one], x[other], y[other])[2]) * look.raised


def room(look: Look) -> Iterator[str]:
    xy = shapely.get_coordinates(look.points)
    for name, block in look.blocks.items():
        own = look.mine(name)
        if len(own) < 2:
            continue
        near = own[cKDTree(xy[own]).query(xy[own], k=2)[1][:, 1]]
        distance, least = _geodesic(look, own, near), nearest_of(block)
        if distance.min() < least - 1e-3:
            yield f"two trees of {name} stand {distance.min():.4f} m apart, the pattern gives {least:.4f} m"
        if distance.min() > least * 1.01 and len(own) > 60 and block.get("rows") != "free" and "alley" not in block:
            yield f"no two trees of {name} stand at the pattern's {least:.3f} m, the nearest {distance.min():.3f} m"
    if len(xy) > 1:
        near = cKDTree(xy).query(xy, k=2)[1][:, 1]
        off = np.abs(_geodesic(look, np.arange(len(xy)), near) - look.trees["nearest_m"].to_numpy(float)).max()
        if not off <= 1e-3:
            yield f"nearest_m is off by {off:.5f} m"


def between_blocks(look: Look) -> Iterator[str]:
    xy, spread = shapely.get_coordinates(look.points), look.trees["spread_m"].to_numpy(float)
    names = [name for name in look.blocks if len(look.mine(name))]
    for k, one in enumerate(names):
        for other in names[k + 1 :]:
            a, b = look.mine(one), look.mine(other)
            gap, at = cKDTree(xy[a]).query(xy[b])
            nearest = int(np.argmin(gap))
            pair = _geodesic(look, a[at[nearest : nearest + 1]], b[nearest : nearest + 1])[0]
            steps = (nearest_of(look.blocks[one]) + nearest_of(look.blocks[other])) / 2
            spreads = (spread[a].max() + spread[b].max()) / 2
            least = max(steps, spreads) if np.isfinite(spreads) else steps
            if pair < least - 1e-3:
                yield f"trees of {one} and {other} stand {pair:.4f} m apart, they need {least:.4f} m"


def counts(look: Look) -> Iterator[str]:
    number = len(look.trees)
    ordered = sum(bool(look.blocks[name].get("plants")) for name in look.trees["block"])
    report = re.sub(r"<style.*?</style>", "", (look.out / "report.html").read_text(encoding="utf-8"), flags=re.DOTALL)
    words = re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", report))
    lines = (look.out / "packet" / "stakeout.csv").read_text(encoding="utf-8").splitlines()
    staked = [line for line in csv.reader(lines) if not re.fullmatch(r"BM\d+", line[0])]
    waypoints = ET.parse(look.out / "packet" / "trees.gpx").getroot().findall("{*}wpt")
    gpx = [point for point in waypoints if point.findtext("{*}type") != "monument"]
    found = {
        "rows": int(look.layer("rows")["trees"].sum()),
        "order": int(look.layer("order")["trees"].sum()) + number - ordered,
        "run.json": look.run["trees"],
        "run.json by block": sum(look.run["trees_by_block"].values()),
        "stakeout.csv": len(staked),
        "trees.gpx": len(gpx),
        "map.html": _map(look)["n"],
    }
    yield from (f"{name} counts {n} trees, the layer has {number}" for name, n in found.items() if n != number)
    if f"{number:,} tree" not in words and f"trees {number:,}" not in words:
        yield f"report.html does not say {number:,} trees"
    by_block = look.trees.groupby("block").size()
    if any(look.run["trees_by_block"].get(name, 0) != n for name, n in by_block.items()):
        yield "trees by block differ between run.json and the layer"
    wanted, said = ({name for name in by_block.index if look.blocks[name].get("plants")}, set(look.layer("order")["block"]))
    if wanted != said:
        yield f"the order is for blocks {said}, plants stand in {wanted}"
    ids = look.trees["tree_id"].tolist()
    if [line[0] for line in staked] != ids:
        yield "stakeout.csv names other trees, or in another order"
    plane = np.array([[float(line[2]), float(line[1])] for line in staked])
    if np.abs(plane - look.trees[["easting", "northing"]].to_numpy()).max() > 6e-4:
        yield "stakeout.csv places trees elsewhere"
    world = np.array([[float(w.get("lon")), float(w.get("lat"))] for w in gpx])
    if np.abs(world - look.trees[["lon", "lat"]].to_numpy()).max() > 1.1e-8 or [w.findtext("{*}cmt") for w in gpx] != ids:
        yield "trees.gpx names or places trees otherwise"


def _map(look: Look) -> dict[str, Any]:
    text = (look.out / "map.html").read_text(encoding="utf-8")
    return json.JSONDecoder().raw_decode(text, text.index("setout.trees({") + len("setout.trees("))[0]


def names(look: Look) -> Iterator[str]:
    trees = look.trees
    if trees["tree_id"].duplicated().any():
        yield "tree ids are not unique"
    for tree in trees[["tree_id", "block", "row", "position"]].itertuples(index=False):
        head, row, position = tree.tree_id.rsplit("-", 2)
        if (head, int(row), int(position)) != (tree.block, tree.row, tree.position):
            yield f"the id {tree.tree_id} is not block-row-position"
            break
    order = [list(look.blocks).index(name) for name in trees["block"]]
    key = np.column_stack([order, trees["row"], trees["position"]])
    if len(key) > 1 and not all(tuple(a) < tuple(b) for a, b in zip(key[:-1].tolist(), key[1:].tolist(), strict=True)):
        yield "trees are not in walking order"
    for name, group in trees.groupby("block"):
        if sorted(group["row"].unique()) != list(range(1, group["row"].max() + 1)):
            yield f"rows of {name} are not numbered 1, 2, 3 ..."
        if (group.groupby("row")["position"].agg(["min", "max", "size"]) != [1, 0, 0])["min"].any():
            yield f"positions of {name} do not begin with 1"
        if (group.groupby("row")["position"].max() != group.groupby("row").size()).any():
            yield f"positions of {name} have gaps"


def rows(look: Look) -> Iterator[str]:
    lines = look.layer("rows")
    drawn = look.ground(lines)
    xy = shapely.get_coordinates(look.points)
    groups = look.trees.groupby(["block", "row"]).indices
    if len(groups) != len(lines):
        yield f"{len(lines)} rows are drawn, trees stand in {len(groups)}"
    lonlat = lines.geometry.to_crs(look.geographic)
    land = shapely.buffer(look.land, 0.01)
    for k, line in enumerate(lines.itertuples(index=False)):
        own = groups.get((line.block, line.row), np.empty(0, int))
        if len(own) != line.trees:
            yield f"row {line.row_id} says {line.trees} trees, {len(own)} stand in it"
            return
        off = shapely.distance(drawn[k], look.points[own]).max()
        if off > 2e-3:
            yield f"a tree stands {off:.4f} m beside its row {line.row_id}"
            return
        ends = shapely.get_coordinates(lonlat.iloc[k])
        azimuth = look.geod.inv(*ends[0], *ends[-1])[0]
        if abs((azimuth - line.bearing_deg + 90) % 180 - 90) > 0.03:
            yield f"row {line.row_id} runs {azimuth % 180:.3f} deg, it says {line.bearing_deg:.3f}"
            return
        if len(own) < 2:
            continue
        steps = np.hypot(*np.diff(xy[own], axis=0).T)
        step = si(look.blocks[line.block]["step"])
        if steps.min() < step - 1e-3:
            yield f"two trees of row {line.row_id} stand {steps.min():.4f} m apart, the step is {step:.4f}"
            return
        pieces = shapely.get_parts(drawn[k])
        of = np.argmin([shapely.distance(piece, look.points[own]) for piece in pieces], axis=0)
        lone = int((np.bincount(of, minlength=len(pieces)) == 1).sum())
        span = float(steps[of[1:] == of[:-1]].sum()) + 0.01 * lone  # a single tree has a line of 1 cm
        if abs(line.length_m - shapely.length(drawn[k])) > 0.002 or abs(span - line.length_m) > 0.005:
            yield f"row {line.row_id} says {line.length_m:.4f} m, its trees span {span:.4f}"
            return
        if np.diff(of).min() < 0:
            yield f"pieces of row {line.row_id} are not in walking order"
            return
        if shapely.length(shapely.difference(drawn[k], land)) > 0:
            yield f"row {line.row_id} leaves the property"
            return


def places(look: Look) -> Iterator[str]:
    trees, crs = look.trees, CRS(look.boundary.crs)
    plane = trees.geometry
    if crs.is_geographic:
        zone = gpd.GeoSeries(trees.geometry).estimate_utm_crs(datum_name=look.geographic.datum.name if False else "WGS 84")
        said = CRS.from_user_input(look.run["site"]["plane_crs"])
        if zone.utm_zone != said.utm_zone:
            yield f"easting and northing are in {said.name}, the site lies in UTM {zone.utm_zone}"
        plane = trees.geometry.to_crs(said)
    off = np.abs(np.column_stack([plane.x, plane.y]) - trees[["easting", "northing"]].to_numpy()).max()
    if not off < 1e-3:
        yield f"easting and northing are off the points by {off:.5f}"
    world = trees.geometry.to_crs(4326)
    off = np.abs(np.column_stack([world.x, world.y]) - trees[["lon", "lat"]].to_numpy()).max()
    if not off < 1e-8:
        yield f"lon and lat are off the points by {off:.2e} deg"
    data = _map(look)
    raw = base64.b64decode(data["bytes"])
    raw = zlib.decompress(raw) if data["compact"] else raw
    web = trees.geometry.to_crs(3857)
    for axis, values in enumerate((web.x.to_numpy(), web.y.to_numpy())):
        column = data["columns"][axis]
        steps = np.frombuffer(raw, "<i4", data["n"], column["at"]).astype(np.int64)
        shown = (np.cumsum(steps) + column["offset"] + data["origin"][axis]) / 1000
        if np.abs(shown - values).max() > 0.003:
            yield f"the map shows trees {np.abs(shown - values).max():.4f} m off"


def layers(look: Look) -> Iterator[str]:
    crs = CRS(look.boundary.crs).to_2d()
    for name in look.names:
        data = look.layer(name)
        own = getattr(data, "crs", None)
        if own is None:
            if name not in {"growth", "work", "water_need", "land_account", "order", "materials", "zones", "layer_styles"}:
                yield f"layer {name} has no CRS"
            continue
        same = CRS(own).equals(crs, ignore_axis_order=True) or (crs.to_epsg() and CRS(own).to_epsg() == crs.to_epsg())
        if not same and not CRS(own).is_exact_same(crs):
            yield f"layer {name} is in {CRS(own).name}, the survey in {crs.name}"
        if not shapely.is_valid(np.asarray(data.geometry.values, object)[~data.geometry.isna()]).all():
            yield f"layer {name} holds invalid geometries"


def ring_area(look: Look, data: Any) -> float:
    """Return the geodesic area of polygons, raised to the site's height [m2]."""
    world = np.asarray(data.to_crs(look.geographic).geometry.values, object)
    whole = shapely.union_all(shapely.make_valid(shapely.force_2d(world)))
    total = 0.0
    for part in shapely.get_parts(whole):
        if part.geom_type != "Polygon":
            continue
        areas = [abs(look.geod.polygon_area_perimeter(*np.array(r.coords).T)[0]) for r in (part.exterior, *part.interiors)]
        total += areas[0] - sum(areas[1:])
    return total * look.raised**2


def account(look: Look) -> Iterator[str]:
    table = look.layer("land_account")
    gross, net = table.iloc[0], table.iloc[-1]
    if (gross["reason"], net["reason"]) != ("gross", "net"):
        yield "the land account does not go from gross to net"
    total = float(gross["remaining_m2"])
    newly = table["newly_m2"].fillna(0).to_numpy(float)
    if abs(newly.sum() + net["remaining_m2"] - total) > 1e-6 * total:
        yield f"the land account does not sum: {newly.sum() + net['remaining_m2']:.3f} of {total:.3f} m2"
    steps = table["remaining_m2"].to_numpy(float)
    if np.abs(np.diff(steps) + newly[1:]).max() > 1e-6 * total or newly.min() < -1e-6 * total:
        yield "a line of the land account does not follow from the one above"
    if (table["newly_m2"] > table["alone_m2"] + 1e-6 * total)[1:-1].any():
        yield "a reason takes more newly than alone"
    true = ring_area(look, look.boundary)
    if abs(true / total - 1) > 1e-5:
        yield f"gross is {total:.2f} m2, the geodesic area at the site's height {true:.2f}"
    boundary = look.layer("boundary")
    if abs(boundary["area_m2"].sum() - total) > 1e-6 * total:
        yield "boundary.area_m2 is not the gross area"
    usable = look.layer("usable")
    for name, data in (("boundary", boundary), ("usable", usable)):
        drawn = shapely.area(look.ground(data))
        if np.abs(drawn - data["area_m2"].to_numpy(float)).max() > 1e-5 * total:
            yield f"{name}.area_m2 is not the area of its polygons"
    if abs(usable["area_m2"].sum() - net["remaining_m2"]) > 1e-6 * total:
        yield f"usable ground is {usable['area_m2'].sum():.3f} m2, net {net['remaining_m2']:.3f}"


def exclusions(look: Look) -> Iterator[str]:
    table, out = look.layer("land_account"), look.layer("exclusions")
    total = float(table["remaining_m2"].iloc[0])
    drawn = shapely.make_valid(look.ground(out))
    for line in table.iloc[1:-1].itertuples():
        own = (out["reason"] == line.reason).to_numpy()
        if sum(table["reason"] == line.reason) > 1:
            continue
        alone, newly = out["alone_m2"][own].sum(), out["newly_m2"][own].sum()
        if abs(alone - line.alone_m2) > 1e-6 * total or abs(newly - line.newly_m2) > 1e-6 * total:
            yield f"{line.reason}: the account says {line.alone_m2:.2f} and {line.newly_m2:.2f} m2, the layer {alone:.2f} and {newly:.2f}"
        size = shapely.area(shapely.union_all(drawn[own])) if own.any() else 0.0
        if abs(size - line.alone_m2) > 1e-4 * total:
            yield f"{line.reason}: takes {line.alone_m2:.2f} m2, drawn are {size:.2f}"
    usable = shapely.union_all(shapely.make_valid(look.ground(look.layer("usable"))))
    union = shapely.union_all(drawn)
    if usable.intersection(union).area > 1e-4 * total:
        yield f"usable and excluded ground overlap by {usable.intersection(union).area:.2f} m2"
    if abs(usable.union(union).area / total - 1) > 1e-4:
        yield f"usable and excluded ground make {usable.union(union).area:.2f} of {total:.2f} m2"
    for section in look.plan.get("setback", []):
        if section.get("measured_to") == "canopy":
            continue
        why = section.get("why") or ("property line" if section["from"] == "boundary" else section["from"])
        own = section["from"] == "boundary"
        features = [shapely.boundary(look.land)] if own else look.ground(look.source(section["from"]))
        ground = shapely.union_all(shapely.buffer(features, si(section["distance"]), quad_segs=64)).intersection(look.land)
        said = table.loc[table["reason"] == why, "alone_m2"]
        if len(said) == 1 and abs(said.iloc[0] - ground.area) > max(2e-3 * ground.area, 0.05):
            yield f"{why}: takes {said.iloc[0]:.2f} m2 alone, its buffer {ground.area:.2f}"
    yield from _cells(look, table)


def _cells(look: Look, table: Any) -> Iterator[str]:
    """Hold the ground taken by cells against exactextract."""
    heights, limit = look.heights, look.plan.get("ground", {}).get("max_slope")
    if heights is None or heights.transform[1] or heights.transform[3] or heights.transform[4] > 0:
        return
    from exactextract import exact_extract
    from exactextract.raster import NumPyRasterSource

    a, _, c, _, e, f = heights.transform
    high, wide = heights.z.shape
    there = look.boundary.to_crs(heights.crs)
    land = gpd.GeoDataFrame(geometry=[shapely.union_all(shapely.make_valid(np.asarray(there.geometry.values, object)))], crs=there.crs)
    masks = {"no elevation": np.isnan(heights.z)} if look.plan.get("ground", {}).get("no_elevation") != "plant" else {}
    if limit and heights.slope is not None and np.isfinite(heights.slope).sum() > 0.8 * np.isfinite(heights.z).sum():
        most = float(limit[:-1]) if limit.endswith("%") else 100 * np.tan(np.radians(float(limit.split()[0])))
        masks["slope"] = heights.slope > most + 1e-4
    per_cell = look.land.area / land.geometry.iloc[0].area * abs(a * e)
    for reason, mask in masks.items():
        source = NumPyRasterSource(mask.astype(float), c, f + high * e, c + wide * a, f, srs_wkt=heights.crs.to_wkt())
        cells = exact_extract(source, land, ["sum"], output="pandas")["sum"].iloc[0] * per_cell
        if reason == "no elevation":
            cells += shapely.difference(land.geometry.iloc[0], shapely.box(c, f + high * e, c + wide * a, f)).area * per_cell / abs(a * e)
        said = table.loc[table["reason"] == reason, "alone_m2"]
        size, just = float(said.iloc[0]) if len(said) else 0.0, 0.0
        if reason == "slope":  # heights in whole steps give slopes of just the limit, either side of it by a rounding
            at_limit = float(np.count_nonzero(np.abs(heights.slope - most) <= 1e-4))
            just = at_limit * per_cell
        if not -1e-5 * look.land.area <= size - cells + 3e-3 * cells <= just + 6e-3 * cells + 2e-5 * look.land.area:
            yield f"{reason}: takes {size:.2f} m2 alone, exactextract counts {cells:.2f}"


def water(look: Look) -> Iterator[str]:
    section, trees = look.plan.get("water"), look.trees
    if section is None:
        if trees[["run_m", "pressure_kpa"]].notna().any().any():
            yield "there is no water section, but trees have a run or a pressure"
        return
    points = look.layer("water_points").set_index("name")
    source = look.source(section["points"])
    if len(source.explode(index_parts=False)) != len(points):
        yield f"{len(source)} water points are surveyed, {len(points)} written"
    served = trees["water_point"].notna().to_numpy()
    if not served.all() and section.get("beyond_reach") != "plant":
        yield f"{(~served).sum()} trees have no water point"
    at = dict(zip(points.index, look.ground(points), strict=True))
    used, ours = trees["water_point"][served], look.points[served]
    straight = shapely.distance(np.array([at[name] for name in used], object), ours)
    run = trees["run_m"].to_numpy(float)[served]
    if "max_run" in section and run.max() > si(section["max_run"]) + 1e-3:
        yield f"a run is {run.max():.3f} m long, the longest allowed {section['max_run']}"
    if np.any(run < straight - 0.002):
        yield f"a run is {(straight - run).max():.4f} m shorter than the straight line"
    barriers, sleeves = section.get("barriers", []), section.get("sleeves", [])
    named = [g for text in ([barriers] if isinstance(barriers, str) else barriers) for g in look.ground(look.source(text))]
    crossed = np.zeros(len(run), bool)
    ways = shapely.linestrings(np.stack([shapely.get_coordinates([at[n] for n in used]), shapely.get_coordinates(ours)], 1))
    for barrier in named:
        crossed |= shapely.dwithin(barrier, ways, 0.02)
        direct = shapely.crosses(ways, barrier) & ~shapely.dwithin(shapely.boundary(barrier), ways, 0.02)
        if not sleeves and np.any(run[direct] < straight[direct] + 1e-6):
            yield "a pipe runs straight through a barrier"
    for area in look.closed:
        crossed |= shapely.dwithin(area, ways, 0.02)
    crossed |= ~shapely.contains(shapely.buffer(look.land, -0.02), ways)
    yield from _pipes(look, section, list(at.values()))
    if np.abs(run - straight)[~crossed].max(initial=0) > 0.005:
        yield f"a run without barrier is {np.abs(run - straight)[~crossed].max():.4f} m off the straight line"
    yield from _pressure(look, section, points, served)
    if not crossed.any():
        all_points = np.stack([shapely.distance(p, ours) for p in at.values()])
        if "min_pressure" not in section and np.abs(all_points.min(axis=0) - run).max() > 0.005:
            yield "a tree is not served by its nearest water point"


def _pipes(look: Look, section: Mapping[str, Any], points: list[shapely.Geometry]) -> Iterator[str]:
    """Measure pipes on the original vectors: none through a building, no-plant ground or over the property line but in a sleeve."""
    pipes = [look.ground(look.layer(name)) for name in ("laterals", "manifolds") if name in look.names]
    lines = np.concatenate(pipes) if pipes else np.empty(0, object)
    sleeves = section.get("sleeves", [])
    free = [
        shapely.buffer(g, 0.03 if shapely.get_dimensions(g) == 2 else 0.51)
        for text in ([sleeves] if isinstance(sleeves, str) else sleeves)
        for g in look.ground(look.source(text))
    ]
    rings = shapely.boundary(np.array([look.land, *look.closed], object))
    # a water point in a pump house or at the street has a way out of its own
    inside = [(ring, p) for ring, area in zip(rings[1:], look.closed, strict=True) for p in points if area.contains(p)]
    inside += [(rings[0], p) for p in points if not look.land.dwithin(p, 0.005)]
    free += [shapely.buffer(shapely.shortest_line(p, ring), 0.51) for ring, p in inside]
    rest = shapely.difference(lines, shapely.union_all(free)) if free else lines
    shut = shapely.buffer(np.array(look.closed, object), -0.01, join_style="mitre") if look.closed else np.empty(0, object)
    for area in shut:
        shapely.prepare(area)
        through = shapely.length(shapely.intersection(rest[shapely.intersects(rest, area)], area)).sum()
        if through > 0.01:
            yield f"{through:.3f} m of pipe lie in an area that is kept clear"
    outer = shapely.boundary(shapely.buffer(look.land, 0.01, join_style="mitre"))
    if shapely.intersects(outer, rest).any():
        yield "a pipe crosses the property line"


def _pressure(look: Look, section: Mapping[str, Any], points: Any, served: np.ndarray) -> Iterator[str]:
    trees = look.trees[served]
    lift = trees["elevation_m"].to_numpy(float) - points["elevation_m"].reindex(trees["water_point"]).to_numpy(float)
    true = points["pressure_kpa"].reindex(trees["water_point"]).to_numpy(float) - KPA_PER_M * lift
    said = trees["pressure_kpa"].to_numpy(float)
    if np.any(np.isfinite(true) != np.isfinite(said)) or np.nanmax(np.abs(true - said), initial=0.0) > 1e-3:
        yield "pressure_kpa is not pressure less lift"
    if "min_pressure" in section and np.nanmin(said, initial=np.inf) < si(section["min_pressure"]) - 1e-3:
        yield f"a tree has {np.nanmin(said):.2f} kPa, the least allowed is {section['min_pressure']}"
    source = look.source(section["points"])
    if "pressure_psi" in source and "name" in source:
        given = dict(zip(source["name"], source["pressure_psi"] * PSI, strict=True))
        if any(abs(given[n] - p) > 1e-6 * p for n, p in points["pressure_kpa"].items() if n in given and given[n] == given[n]):
            yield "the water points' pressure is not the surveyed one"


def terrain(look: Look) -> Iterator[str]:
    folder = look.out / "terrain"
    if look.heights is None:
        if folder.exists():
            yield "there is no DEM, but a terrain folder"
        return
    for name in ("slope.tif", "hillshade.tif"):
        with rasterio.open(folder / name) as raster:
            if raster.tags(ns="IMAGE_STRUCTURE").get("LAYOUT") != "COG":
                yield f"{name} is no Cloud Optimized GeoTIFF"
            if name != "slope.tif" or look.heights.slope is None:
                continue
            given = raster.read(1, masked=True).astype(float).filled(np.nan)
            a, b, c, d, e, f = tuple(raster.transform)[:6]
    if look.heights.slope is None or look.truth.heights is not None:
        return
    a0, b0, c0, d0, e0, f0 = look.heights.transform
    if not np.allclose((a, b, d, e), (a0, b0, d0, e0)):
        return
    det = a0 * e0 - b0 * d0
    col, row = round((e0 * (c - c0) - b0 * (f - f0)) / det), round((a0 * (f - f0) - d0 * (c - c0)) / det)
    true = look.heights.slope[row : row + given.shape[0], col : col + given.shape[1]]
    known = np.isfinite(true)
    slack = np.broadcast_to(look.heights.slack, look.heights.z.shape)[row : row + given.shape[0], col : col + given.shape[1]]
    off = np.where(np.isnan(given), np.nan, np.maximum(np.abs(true - given) - slack, 0.0))[known] / np.maximum(1, true[known] / 100)
    if not known.any() or not np.nanmax(off) <= look.heights.rounding or np.isnan(off).any():
        yield f"slope.tif is off by {np.nanmax(off) if known.any() else np.nan:.5f}, {np.isnan(off).sum()} cells are missing"


def files(look: Look) -> Iterator[str]:
    """Hold the GeoPackage to the OGC rules and to what the GDAL tool says."""
    path = ROOT / ".testdata" / "osgeo_utils" / "samples" / "validate_gpkg.py"
    spec = importlib.util.spec_from_file_location("validate_gpkg", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    yield from (f"plan.gpkg: {error}" for error in module.check(str(look.gpkg), abort_at_first_error=False))
    if shutil.which("ogrinfo"):
        said = subprocess.run(["ogrinfo", "-ro", "-al", "-so", str(look.gpkg)], capture_output=True, text=True, timeout=120, check=False)
        if said.returncode or said.stderr.strip() or "warning" in said.stdout.lower().split("layer_styles")[0]:
            yield f"ogrinfo: {said.stderr.strip()[:300]}"


def page(look: Look) -> Iterator[str]:
    for name in ("map.html", "report.html"):
        text = (look.out / name).read_text(encoding="utf-8")
        for match in re.finditer(
            r"""(?:src|data|action|<link[^>]*href)\s*=\s*["']?(?:https?:)?//[^"'\s>]+|url\(\s*["']?(?:https?:)?//|@import""", text
        ):
            yield f"{name} refers to {match[0][:80]}"


def record(look: Look) -> Iterator[str]:
    run = look.run
    if not run["stages"] or any(stage["wall_s"] < 0 for stage in run["stages"]):
        yield "run.json has no stages"
    site, water = look.plan["site"], look.plan.get("water", {})
    named = [site["boundary"], *([site["dem"]] if isinstance(site.get("dem"), str) else site.get("dem", []))]
    named += [s["from"] for key in ("setback", "no_plant", "height_limit") for s in look.plan.get(key, []) if s["from"] != "boundary"]
    named += [water["points"]] if water else []
    named += [block["area"] for block in look.plan["block"] if "area" in block]
    digests = set(run["inputs"].values())
    for text in named:
        file = look.folder / re.split(r"[:\[]", text)[0]
        if hashlib.sha256(file.read_bytes()).hexdigest() not in digests:
            yield f"run.json does not have the hash of {file.name}"


def tables(gpkg: Path) -> dict[str, list[tuple[Any, ...]]]:
    """Return every table of a GeoPackage as SQLite holds it, save the time of the last change."""
    with sqlite3.connect(gpkg) as db:
        names = [n for (n,) in db.execute("select name from sqlite_master where type = 'table' and name not like 'rtree%' order by name")]
        out = {n: db.execute(f'select * from "{n}"').fetchall() for n in names if n != "gpkg_contents"}
    db.close()
    return out
