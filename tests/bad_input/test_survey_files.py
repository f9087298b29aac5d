"""Survey files that cannot be used: refused with what, where and remedy; nothing written, nothing lost."""

from __future__ import annotations

import warnings
from collections.abc import Callable

import numpy as np
import pytest
import shapely

from farm import EAST, EPSG, FIELD, NORTH, Farm


def cut(name: str, share: float) -> Callable[[Farm], None]:
    def spoil(farm: Farm) -> None:
        path = farm.survey / name
        data = path.read_bytes()
        path.write_bytes(data[: int(len(data) * share)])

    return spoil


def garbled(farm: Farm) -> None:
    path = farm.survey / "features.gpkg"
    data = bytearray(path.read_bytes())
    data[20_000:120_000] = b"\x55" * 100_000
    path.write_bytes(bytes(data))


def holding(name: str, data: bytes) -> Callable[[Farm], None]:
    return lambda farm: (farm.survey / name).write_bytes(data) and None


def boundary(*geometry: shapely.Geometry, **how: object) -> Callable[[Farm], None]:
    def spoil(farm: Farm) -> None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # that such a file should not be written is what is tested
            farm.vector("field.gpkg", list(geometry), **how)

    return spoil


def corners(*xy: tuple[float, float]) -> shapely.Geometry:
    with np.errstate(invalid="ignore"):
        return shapely.Polygon([(EAST + x, NORTH + y) for x, y in xy])


def put(table: str, key: str, value: object, number: int = 0) -> Callable[[Farm], None]:
    def spoil(farm: Farm) -> None:
        section = farm.sections[table]
        (section[number] if isinstance(section, list) else section)[key] = value

    return spoil


def dem(*args: object, **how: object) -> Callable[[Farm], None]:
    return lambda farm: farm.dem(*args, **how)


def wild(value: float) -> np.ndarray:
    """Return level heights with another one on the field, in row 21 and column 31."""
    z = np.full((35, 45), 100.0)
    z[20, 30] = value
    return z


def risers(**columns: object) -> Callable[[Farm], None]:
    points = [shapely.Point(EAST + 40, NORTH + 30), shapely.Point(EAST + 80, NORTH + 30)]

    def spoil(farm: Farm) -> None:
        farm.sections["water"]["points"] = farm.vector("risers.gpkg", points, **columns)

    return spoil


CASES: dict[str, tuple[Callable[[Farm], object], list[str]]] = {
    "boundary missing": (put("site", "boundary", "survey/feild.gpkg"), ["site.boundary", "feild.gpkg", "there is no file", "field.gpkg"]),
    "DEM missing": (put("site", "dem", "survey/dem2.tif"), ["site.dem", "dem2.tif", "there are dem.tif"]),
    "boundary empty": (holding("field.gpkg", b""), ["survey/field.gpkg", "the file is empty"]),
    "DEM empty": (holding("dem.tif", b""), ["survey/dem.tif", "the file is empty"]),
    "GeoPackage cut short": (cut("field.gpkg", 0.5), ["survey/field.gpkg", "cut short", "get the file again"]),
    "GeoPackage without pages": (cut("features.gpkg", 0.01), ["survey/features.gpkg", "cut short"]),
    "GeoPackage garbled": (garbled, ["survey/features.gpkg", "damaged"]),
    "GeoTIFF cut short": (cut("dem.tif", 0.5), ["survey/dem.tif", "cut short"]),
    "GeoTIFF without cells": (cut("dem.tif", 0.01), ["survey/dem.tif", "not a raster"]),
    "text named .tif": (holding("dem.tif", b"ncols 4\nthis is no raster\n"), ["survey/dem.tif", "not a raster", "GeoTIFF"]),
    "text named .gpkg": (holding("field.gpkg", b"hello"), ["survey/field.gpkg", "no GeoPackage but a text file"]),
    "boundary is a folder": (put("site", "boundary", "survey"), ["is a folder", "field.gpkg"]),
    "boundary is a raster": (put("site", "boundary", "survey/dem.tif"), ["survey/dem.tif", "no vector file", "GeoPackage"]),
    "DEM is a vector": (put("site", "dem", "survey/field.gpkg"), ["survey/field.gpkg", "not a raster"]),
    "DEM on a network": (put("site", "dem", "https://example.com/dem.tif"), ["address on a network", "download"]),
    "DEM through GDAL's network": (
        put("site", "dem", "/vsicurl/https://example.com/d.tif"),
        ["site.dem", "an address that GDAL alone knows"],
    ),
    "without CRS": (boundary(FIELD, crs=None), ["survey/field.gpkg", "does not say its CRS", 'site.crs = "EPSG:']),
    "far from the DEM": (dem(east=EAST + 50_000), ["the DEM misses the site", "510000", "559970", "check site.boundary"]),
    "DEM all nodata": (dem(np.full((35, 45), -9999.0)), ["survey/dem.tif", "no height at all"]),
    "DEM all NaN": (dem(np.full((35, 45), np.nan)), ["survey/dem.tif", "no height at all"]),
    "a wild height": (dem(wild(1e6)), ["survey/dem.tif", "1e+06 m in row 21, column 31", "510092.0, 4990033.0", "as nodata"]),
    "crosses itself": (
        boundary(corners((0, 0), (120, 90), (120, 0), (0, 90))),
        ["survey/field.gpkg", "crosses itself", "510060.000, 4990045.000"],
    ),
    "points": (boundary(*shapely.points(shapely.get_coordinates(FIELD)[:4])), ["holds 4 points", "a polygon or a closed line"]),
    "no area": (boundary(corners((0, 0), (60, 45), (120, 90))), ["survey/field.gpkg", "encloses no area"]),
    "no feature": (boundary(), ["survey/field.gpkg", "holds no features"]),
    "NaN": (boundary(corners((0, 0), (60, float("nan")), (120, 90))), ["survey/field.gpkg", "feature 1", "nan"]),
    "infinite": (boundary(corners((0, 0), (60, float("inf")), (120, 90))), ["survey/field.gpkg", "feature 1", "inf"]),
    "NaN in a feature": (
        lambda farm: put("setback", "from", farm.vector("w.gpkg", [shapely.Point(float("nan"), NORTH)]), 2)(farm),
        ["setback[3].from", "survey/w.gpkg", "nan"],
    ),
    "degrees said to be metres": (boundary(shapely.box(-122.9, 44.9, -122.899, 44.901)), ["look like degrees", "EPSG:26910"]),
    "latitude first": (boundary(shapely.box(44.9, -122.9, 44.901, -122.899), crs=4326), ["no degrees", "EPSG:4326"]),
    "feet said to be metres": (
        boundary(shapely.affinity.scale(FIELD, 1 / 0.3048, 1 / 0.3048, origin=(0, 0))),
        ["survey/field.gpkg", "latitude 32.14"],
    ),
    "a country": (boundary(shapely.box(EAST - 3e5, NORTH - 3e5, EAST + 3e5, NORTH + 3e5)), ["869 km across", "its unit"]),
    "the world": (boundary(shapely.box(-179, -89, 179, 89), crs=4326), ["km across", "180th meridian"]),
    "nonsense CRS": (put("site", "crs", "EPSG:banana"), ["site.crs", '"EPSG:banana"', "EPSG:..."]),
    "CRS that is none": (put("site", "crs", "EPSG:999999"), ["site.crs", "999999"]),
    "CRS of heights": (put("site", "crs", "EPSG:5703"), ["site.crs", "heights alone"]),
    "CRS of space": (put("site", "crs", "EPSG:4978"), ["site.crs", "geocentric"]),
    "another unit of heights": (put("site", "dem_unit", "ft"), ["survey/dem.tif", '"metre"', '"ft"', "site.dem_unit"]),
    "layer mistyped": (put("setback", "from", "survey/features.gpkg:wel", 2), ["setback[3].from", '"wel"', 'did you mean "well"']),
    "value of a filter mistyped": (
        put("setback", "from", "survey/features.gpkg:road[kind=lain]", 1),
        ["setback[2].from", 'kind = "lain"', 'did you mean "lane"'],
    ),
    "column of a filter mistyped": (put("setback", "from", "survey/features.gpkg:road[knd=lane]", 1), ['"knd"', '"kind"']),
    "layer not named": (put("setback", "from", "survey/features.gpkg", 1), ["holds 6 layers", "name one"]),
    "no-plant lines": (put("no_plant", "from", "survey/features.gpkg:road"), ["features.gpkg:road", "needs polygons"]),
    "block of points": (put("block", "area", "survey/features.gpkg:well"), ["features.gpkg:well", "needs polygons"]),
    "block elsewhere": (
        lambda farm: put("block", "area", farm.vector("o.gpkg", [shapely.affinity.translate(FIELD, 500)]))(farm),
        ["block A", "no ground inside the boundary"],
    ),
    "block covered": (
        lambda farm: put("block", "area", farm.vector("i.gpkg", [shapely.box(EAST + 10, NORTH + 9, EAST + 50, NORTH + 50)]), 1)(farm),
        ["block B", "no earlier block takes"],
    ),
    "water polygons": (put("water", "points", "survey/features.gpkg:pond"), ["features.gpkg:pond", "must be points"]),
    "pressure without unit": (risers(pressure=["45", "50"]), ["pressure, feature 1", '"45" has no unit', "pressure_psi"]),
    "pressure as bare number": (risers(pressure=[45.0, 50.0]), ["45.0 has no unit", "pressure_psi"]),
    "pressure below zero": (risers(pressure_psi=[45.0, -5.0]), ["pressure_psi, feature 2", "-5.0"]),
    "pressure infinite": (risers(pressure_psi=[float("inf"), 5.0]), ["pressure_psi, feature 1", "inf"]),
    "pressure in words": (risers(pressure=["low", "high"]), ['"low" is not a pressure']),
    "flow of another kind": (risers(flow=["5 gal/min", "5 psi"]), ["flow, feature 2", '"psi"']),
}


@pytest.mark.parametrize("name", CASES)
def test_refused(farm, refused, name):
    spoil, said = CASES[name]
    spoil(farm)
    assert len(refused(*said)) == 1


@pytest.mark.parametrize(
    ("spoil", "taker"),
    [
        (put("setback", "distance", "200 m"), "property line takes 2.67 acres"),
        (put("water", "max_run", "1 mm"), "beyond reach of water"),
        (put("water", "min_pressure", "400 psi"), "too high for water pressure"),
        (put("ground", "max_slope", "0.001 %"), "slope takes"),
        (put("ground", "min_area", "1000 acres"), "too small takes"),
        (put("ground", "min_width", "1 km"), "too narrow takes"),
        (lambda farm: put("no_plant", "from", farm.vector("all.gpkg", [FIELD.buffer(5)]))(farm), "pond takes"),
    ],
    ids=["setback", "reach", "pressure", "slope", "area", "width", "no plant"],
)
def test_no_ground_left_says_what_took_it(farm, refused, spoil, taker):
    spoil(farm)
    assert len(refused("no tree fits", taker)) == 1


def test_headlands_longer_than_all_rows(farm, refused):
    for block in farm.sections["block"]:
        block["headland"] = "100 m"
    refused("no tree fits", "1.48 acres are left to plant")


def test_faults_of_all_files_at_once(farm, refused):
    cut("field.gpkg", 0.5)(farm)
    holding("dem.tif", b"text")(farm)
    put("setback", "from", "survey/features.gpkg:wel", 2)(farm)
    put("no_plant", "from", "survey/features.gpkg:pnd")(farm)
    put("water", "points", "survey/features.gpkg:risr")(farm)
    assert len(refused("field.gpkg", "dem.tif", '"wel"', '"pnd"', '"risr"')) == 5


def test_features_of_the_wrong_kind_at_once(farm, refused):
    put("no_plant", "from", "survey/features.gpkg:road")(farm)
    put("block", "area", "survey/features.gpkg:well")(farm)
    put("block", "area", "survey/features.gpkg:line", 1)(farm)
    risers(pressure_psi=[-1.0, 2.0])(farm)
    assert len(refused(":road", ":well", ":line", "-1.0")) == 4


def test_a_damaged_file_is_told_once_however_many_layers_are_named(farm, refused):
    cut("features.gpkg", 0.5)(farm)
    assert len(refused("features.gpkg")) == 1


@pytest.mark.parametrize(
    ("columns", "pressures"),
    [
        ({"pressure": ["45 psi", "300 kPa"]}, [310.264, 300.0]),
        ({"pressure": ["45 psi", ""]}, [310.264, None]),
        ({"pressure_psi": [45.0, None]}, [310.264, None]),
        ({"label": ["a", "b"]}, [None, None]),
    ],
)
def test_pressures_with_units_and_gaps_are_taken(farm, warm, columns, pressures):
    """45 psi = 310.264 kPa (NIST SP 811, B.8). A missing one is said, never made up."""
    import geopandas as gpd

    risers(**columns)(farm)
    ran = warm("plan", farm.write(), "--quiet", "--only", "geopackage")
    assert (ran.code, ran.err) == (0, "")
    assert ("no pressure is given" in ran.out) == (None in pressures)
    points = gpd.read_file(farm.folder / "out" / "plan.gpkg", layer="water_points")
    found = [None if value != value else round(value, 3) for value in points["pressure_kpa"].astype(float)]
    assert found == pressures


def test_a_site_on_the_180th_meridian_stays_whole(farm, warm):
    """A field of 220 m across the antimeridian (Taveuni lies on it) is a field of 220 m, on the map too."""
    import json
    import re

    boundary(shapely.box(179.999, -16.801, 180.001, -16.8), crs=4326)(farm)
    block = {**farm.block, "pattern": "square", "step": "5 m"}
    block.pop("area")
    keep = {"setback": farm.sections["setback"][:1], "no_plant": None, "height_limit": None, "water": None}
    ran = warm("plan", farm.write(site={"boundary": "survey/field.gpkg"}, block=[block], **keep), "--only", "map", "geopackage", "--quiet")
    assert (ran.code, ran.err) == (0, "")
    trees = int(re.search(r"([\d,]+) trees", ran.out)[1].replace(",", ""))
    width, height = 0.002 * 107_550, 0.001 * 110_600  # metres in a degree at 16.8 S, WGS 84
    assert trees == pytest.approx((width - 8) * (height - 8) / 25, rel=0.06)
    assert json.loads((farm.folder / "out" / "run.json").read_text())["trees"] == trees


def test_boundary_and_crs_code_are_quoted_as_written(farm, refused):
    farm.sections["site"]["boundary"] = "survey/fie\x1b[31mld.gpkg"
    path = farm.folder / "plan.toml"
    text = farm.write().read_text().replace("\x1b", "\\u001b").replace("'survey/fie\\u001b[31mld.gpkg'", '"survey/fie\\u001b[31mld.gpkg"')
    path.write_text(text)
    (line,) = refused("fie\\x1b[31mld.gpkg", path=path)
    assert "\x1b" not in line


def test_epsg_of_the_farm_is_what_its_boundary_says():
    """Guards the farm itself: NAD83 / UTM 10N is 126 to 120 W (EPSG register), so 510,000 E is near 123 W."""
    from pyproj import CRS, Transformer

    lon, lat = Transformer.from_crs(EPSG, 4326, always_xy=True).transform(EAST, NORTH)
    assert CRS.from_epsg(EPSG).area_of_use.west <= lon <= CRS.from_epsg(EPSG).area_of_use.east
    assert 45.0 < lat < 45.1
