"""One invented property in every dialect of survey files, planned end to end and looked at from outside."""

from __future__ import annotations

import shutil
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
import shapely.affinity

import setout
from dialects import FIELD, Place, boundary_file
from inspector import Heights, Truth, heights_of, inspect, tables
from onfile import codes, look_at, write_plan
from setout.errors import SetoutError

FT, FTUS = 0.3048, 1200 / 3937
SETBACKS = [
    {"from": "boundary", "distance": "12 ft", "why": "property line"},
    {"from": "features.gpkg:house", "distance": "6 ft", "measured_to": "canopy", "why": "house"},
    {"from": "features.gpkg:road[kind=lane]", "distance": "5.5 m", "why": "lane"},
    {"from": "features.gpkg:well", "distance": "50 ft", "why": "well"},
]
LIMIT = [{"from": "features.gpkg:line", "within": "20 ft", "height": "10 ft", "why": "power line"}]
WATER = {
    "points": "features.gpkg:riser",
    "max_run": "130 m",
    "min_pressure": "30 psi",
    "barriers": ["features.gpkg:wall"],
    "sleeves": ["features.gpkg:sleeve"],
}
STEEP = {"max_slope": "15 %"}


def block(pattern: str = "square", step: str = "5 m", direction: str = "north-south", **more: Any) -> dict[str, Any]:
    return {"name": "A", "pattern": pattern, "step": step, "direction": direction, "spread": "4 m", "height": "4 m", **more}


def local_xy(folder, place):
    """Return where the written trees stand in the place's own plane."""
    trees = gpd.read_file(folder / "out" / "plan.gpkg", layer="trees")
    there = trees.geometry.force_2d().to_crs(place.local)
    return there.x.to_numpy(), there.y.to_numpy()


# lon, lat, CRS of the survey, dialect of the boundary, DEM (None for none), block, other sections
JOURNEYS: dict[str, tuple[float, float, int, str, dict[str, Any] | None, dict[str, Any], dict[str, Any]]] = {
    "MGA, alleys and headlands": (
        147.3,
        -37.1,
        7855,
        "gpkg",
        {"nodata": -9999.0, "said": "metre"},
        block(step="6 m", alley={"every": 4, "width": "9 m"}, headland="7 m"),
        {"ground": STEEP},
    ),
    "NZTM, zipped shapefile, heights in decimetres": (
        175.6,
        -40.2,
        2193,
        "zip",
        {"cell": 2.0, "dtype": "int16", "scale": 0.1, "nodata": -32768, "said": "metre"},
        block("offset", "5 m", "N 20 E"),
        {"ground": STEEP},
    ),
    "Oregon in feet, heights in feet": (
        -122.9,
        45.3,
        2269,
        "gpkg",
        {"cell": 3.0, "unit": FT, "said": "ft"},
        block("offset", "16 ft", "longest side", row_distance="12 ft"),
        {"ground": {"max_slope": "8.5 deg"}},
    ),
    "California in survey feet, drawing, metre DEM with heights in feet": (
        -121.4,
        37.6,
        2227,
        "dxf",
        {"epsg": 26910, "cell": 1.0, "unit": FTUS, "said": "US survey foot"},
        block("quincunx", "8 m", "east-west"),
        {"ground": STEEP},
    ),
    "degrees, DEM in degrees of whole decimetres": (
        11.2,
        46.1,
        4258,
        "gpkg",
        {"cell": 2e-5, "dtype": "int32", "unit": 0.1, "nodata": 99999},
        block("rectangular", "4 m", "N 35 W", row_distance="6 m"),
        {"ground": STEEP, "dem_unit": "dm"},
    ),
    "GeoJSON in degrees, DEM in a national grid": (
        -1.9,
        52.2,
        4326,
        "geojson",
        {"epsg": 27700, "cell": 2.0, "said": "m"},
        block(direction="best"),
        {"ground": STEEP},
    ),
    "KML": (
        -70.7,
        -33.6,
        4326,
        "kml",
        {"epsg": 32719, "cell": 2.0, "said": "metre"},
        block("rectangular", "4 m", "longest side", row_distance="5 m", rows="free"),
        {"ground": STEEP},
    ),
    "GPX track, no DEM": (18.9, -33.9, 4326, "gpx", None, block("offset", "6 m", "N 10 E"), {"elevation": "210 m"}),
    "corners in feet, turned DEM": (
        -93.1,
        41.9,
        3418,
        "csv",
        {"epsg": 26915, "cell": 1.5, "turn": 23.0, "nodata": -3.4e38, "said": "metre"},
        block("square", "18 ft", "N 23 W"),
        {"ground": STEEP},
    ),
    "corners in degrees, DEM with the south on top": (
        -8.4,
        40.6,
        4326,
        "lonlat",
        {"epsg": 3763, "cell": 2.0, "south_up": True, "said": "metre"},
        block(),
        {"ground": STEEP},
    ),
    "deed in survey feet": (
        -77.4,
        40.0,
        2272,
        "deed",
        {"cell": 4.0, "unit": FTUS, "said": "US survey foot", "nodata": -9999.0},
        block("offset", "16 ft", "best"),
        {"ground": STEEP},
    ),
    "two parts with a hole": (
        151.2,
        -23.4,
        28356,
        "several",
        {"cell": 2.0, "said": "metre"},
        block("square", "5 m", "best"),
        {"ground": STEEP},
    ),
    "web map coordinates": (5.3, 60.4, 3857, "gpkg", {"cell": 4.0, "said": "metre"}, block("square", "5 m", "N 50 E"), {"ground": STEEP}),
}


@pytest.mark.parametrize("name", JOURNEYS)
def test_dialects(tmp_path, name):
    lon, lat, epsg, dialect, dem, planted, more = JOURNEYS[name]
    place = Place(tmp_path, lon, lat, epsg)
    place.features(4326 if dialect == "deed" else None)
    site, boundary = boundary_file(place, dialect)
    site |= {key: value for key, value in more.items() if key in {"dem_unit", "elevation"}}
    if dem is not None:
        place.dem(**dem)
        site["dem"] = "dem.tif"
    planting = look_at(
        tmp_path,
        Truth({site["boundary"]: boundary}),
        site=site,
        setback=SETBACKS,
        block=[planted],
        **{key: value for key, value in more.items() if key == "ground"},
    )
    assert len(planting.trees) > 250
    assert ("no_dem" in codes(planting)) == (dem is None)
    if dem is not None:
        taken = {row.reason: row.newly_m2 for row in planting.usable.account}
        assert taken["slope"] > 300


@pytest.mark.parametrize(
    "gap",
    [
        {"nodata": -9999.0},
        {"nodata": float("nan")},
        {"fill": -9999.0},
        {"nodata": -3.4028234663852886e38},
        {"dtype": "uint16", "nodata": 0, "unit": 0.01, "said": "cm"},
        {"mask": True},
    ],
    ids=["declared", "nan", "not declared", "lowest float", "zero", "mask"],
)
def test_ground_without_elevation(tmp_path, gap):
    place = Place(tmp_path, 147.3, -37.1, 7855)
    hole = shapely.Point(20, 30).buffer(28)
    path = place.dem(gap=hole, **{"said": "metre"} | gap)
    site, boundary = boundary_file(place, "gpkg")
    there = heights_of(path)
    if "fill" in gap:
        z = np.where(there.z < -9000, np.nan, there.z)
        there = Heights(z, there.transform, there.crs)
    choice = "plant" if gap == {"nodata": -9999.0} else "exclude"
    planting = look_at(
        tmp_path,
        Truth({site["boundary"]: boundary}, there),
        site=site | {"dem": "dem.tif"},
        block=[block()],
        ground={"max_slope": "15 %", "no_elevation": choice},
    )
    assert planting.ground.share_blank == pytest.approx(hole.area / FIELD.area, rel=0.02)
    inside = shapely.contains_xy(hole.buffer(-1), *local_xy(tmp_path, place))
    assert bool(inside.any()) == (choice == "plant")
    assert {"dem_gap"} <= codes(planting)


def test_tiles_of_different_crs_cell_and_unit(tmp_path):
    place = Place(tmp_path, -121.4, 37.6, 26910)
    place.dem("east.tif", part=shapely.box(-3, -140, 160, 140), said="metre")
    place.dem("west.tif", epsg=2227, cell=6.0, part=shapely.box(-160, -140, 3, 140), unit=FTUS, said="US survey foot")
    site, boundary = boundary_file(place, "gpkg")
    west, _, _, north = boundary.total_bounds
    even = Heights(np.full((4, 4), place.base), (100.0, 0.0, west - 20, 0.0, -100.0, north + 20), place.crs)
    path = write_plan(tmp_path, {"site": site | {"dem": ["west.tif", "east.tif"]}, "ground": STEEP, "block": [block()]})
    planting = setout.plan(path, tmp_path / "out")
    truth = Truth({site["boundary"]: boundary}, even)
    about_cells = ("slope:", "exclusions: slope", "exclusions: no elevation", "account: gross")
    assert [c for c in inspect(path, tmp_path / "out", truth) if not c.startswith(about_cells)] == []
    true = place.height(*local_xy(tmp_path, place))
    assert np.abs(planting.trees.elevation_m - true).max() < 0.02
    assert {"dem_resampled"} <= codes(planting)


def test_blocks_water_and_limits_together_and_twice(tmp_path):
    """Two blocks from one layer, a third on the rest, water with a wall and a sleeve, a power line, leftovers dropped."""
    place = Place(tmp_path, 147.3, -37.1, 7855)
    place.features()
    place.dem(said="metre")
    site, boundary = boundary_file(place, "gpkg")
    blocks = [
        block("offset", "5 m", "best", area="features.gpkg:blocks[name=west]") | {"name": "West", "height": "2.5 m"},
        block("rectangular", "6 m", "N 5 E", row_distance="7 m", area="features.gpkg:blocks[name=east]", headland="6 m") | {"name": "East"},
    ]
    sections = {
        "site": site | {"dem": "dem.tif"},
        "ground": STEEP | {"min_area": "400 m2", "min_width": "5 m"},
        "setback": SETBACKS,
        "no_plant": [{"from": "features.gpkg:pond", "why": "pond"}],
        "height_limit": LIMIT,
        "water": WATER,
        "block": blocks,
    }
    truth = Truth({site["boundary"]: boundary})
    planting = look_at(tmp_path, truth, **sections)
    by_block = np.bincount(planting.trees.block, minlength=2)
    assert by_block.min() > 60
    account = {row.reason: row.newly_m2 for row in planting.usable.account}
    assert min(account[reason] for reason in ("power line", "slope", "too narrow")) > 0
    run = planting.trees.run_m
    points = planting.site.water.points
    straight = np.hypot(planting.trees.x - points.x[planting.trees.water_index], planting.trees.y - points.y[planting.trees.water_index])
    assert np.mean(run > straight + 0.5) > 0.02
    shutil.copytree(tmp_path / "out", tmp_path / "first")
    setout.plan(tmp_path / "plan.toml", tmp_path / "out")
    assert tables(tmp_path / "first" / "plan.gpkg") == tables(tmp_path / "out" / "plan.gpkg")
    for name in ("packet/stakeout.csv", "packet/trees.gpx", "map.html", "terrain/slope.tif"):
        assert (tmp_path / "first" / name).read_bytes() == (tmp_path / "out" / name).read_bytes(), name


def test_unlike_blocks_and_ground_shut_off_by_a_barrier(tmp_path):
    """Pipes of any length do not lead into a closed fence; a close block beside a wide one is not too close to it."""
    place = Place(tmp_path, 147.3, -37.1, 7855)
    place.features()
    place.dem(said="metre")
    fence = shapely.Polygon([(40, -70), (95, -70), (95, -10), (40, -10)])
    place.laid([shapely.LineString(fence.exterior.coords)]).to_file(tmp_path / "fence.gpkg", layer="fence")
    site, boundary = boundary_file(place, "gpkg")
    blocks = [
        block(step="3 m", area="features.gpkg:blocks[name=west]") | {"name": "close", "spread": "2 m"},
        block(step="8 m", direction="best") | {"name": "wide"},
    ]
    planting = look_at(
        tmp_path,
        Truth({site["boundary"]: boundary}),
        site=site | {"dem": "dem.tif"},
        block=blocks,
        water={"points": "features.gpkg:riser", "min_pressure": "20 psi", "barriers": "fence.gpkg:fence"},
    )
    assert not shapely.contains_xy(fence, *local_xy(tmp_path, place)).any()
    assert not {"too_close", "beyond_reach", "nearest_below_step"} & codes(planting)
    account = {row.reason: row.newly_m2 for row in planting.usable.account}
    assert account["beyond reach of water"] == pytest.approx(shapely.intersection(fence, FIELD).area, rel=0.01)


def test_where_no_tree_fits_the_plan_is_refused_with_what_takes_the_ground(tmp_path):
    place = Place(tmp_path, 147.3, -37.1, 7855)
    site, _ = boundary_file(place, "gpkg")
    path = write_plan(tmp_path, {"site": site, "setback": [{"from": "boundary", "distance": "90 m", "why": "line"}], "block": [block()]})
    with pytest.raises(SetoutError, match=r"no tree fits: .*line takes"):
        setout.plan(path, tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_the_inspector_sees_what_is_wrong(tmp_path):
    """A look that finds nothing is worth something only when it finds what was done to the results."""
    import sqlite3

    place = Place(tmp_path, 147.3, -37.1, 7855)
    place.features()
    place.dem(said="metre")
    site, _ = boundary_file(place, "gpkg")
    sections = {"site": site | {"dem": "dem.tif"}, "ground": STEEP, "setback": SETBACKS, "block": [block()]}
    look_at(tmp_path, **sections)
    trees = gpd.read_file(tmp_path / "out" / "plan.gpkg", layer="trees")
    trees.loc[5, "geometry"] = shapely.affinity.translate(trees.geometry[5], 1.0)
    trees.loc[9, "tree_id"] = trees.loc[8, "tree_id"]
    trees.to_file(tmp_path / "out" / "plan.gpkg", layer="trees")
    with sqlite3.connect(tmp_path / "out" / "plan.gpkg") as db:
        db.execute("update land_account set newly_m2 = newly_m2 + 1 where reason = 'well'")
    db.close()
    found = {c.partition(":")[0] for c in inspect(tmp_path / "plan.toml", tmp_path / "out")}
    assert {"room", "names", "rows", "places", "counts", "account", "exclusions"} <= found
    tighter = sections | {"setback": [{**s, "distance": "20 m"} for s in SETBACKS], "ground": {"max_slope": "10 %"}}
    found = [c for c in inspect(write_plan(tmp_path, tighter), tmp_path / "out") if c.startswith(("setbacks", "slope"))]
    assert sum(c.startswith("setbacks") for c in found) == 4
    assert any("steeper ground than 10 %" in c for c in found)
