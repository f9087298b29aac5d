"""Surveying figures as published: units, projections, traverses, closures.

Tolerances are the last printed digit unless said otherwise.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from pyproj import CRS, Proj, Transformer

from setout.read.deed import traverse
from setout.units import ACRE, FOOT, LENGTH, US_SURVEY_FOOT, quantity
from survey_reading import boundary, features, write

MAHUN = """start N 500.00 E 2000.00
unit ft
S 68-05-35 W 472.68
N 19-46-00 W 216.13
N 45-55-20 E 276.52
S 54-59-15 E 382.24
"""
"""Mahun, J., Open Access Surveying Library, Traverse Computations, chapter I (jerrymahun.com): traverse ABCD."""


def feet(values):
    return np.asarray(values) / FOOT


# Units --------------------------------------------------------------------------------------------------------------


def test_the_two_feet():
    # NIST and NGS, Federal Register 85 FR 62698 (5 October 2020).
    assert FOOT == 0.3048
    assert US_SURVEY_FOOT == 1200 / 3937
    assert pytest.approx(0.304800609601, abs=5e-13) == US_SURVEY_FOOT
    assert pytest.approx(1.000002000004, abs=5e-13) == US_SURVEY_FOOT / FOOT
    # 2 parts per million: 4.00 ft at 2,000,000 ft.
    assert pytest.approx(4.00, abs=0.005) == 2_000_000 * (US_SURVEY_FOOT / FOOT - 1)
    for name in ("us survey ft", "us survey feet", "ftus", "us-ft"):
        assert LENGTH[name] == US_SURVEY_FOOT


def test_chain_rod_acre():
    # By definition (NIST Handbook 44, Appendix C): 66 ft, 16.5 ft, 10 square chains of 43,560 square feet.
    assert quantity("1 chain", "length") == pytest.approx(20.1168, abs=1e-12)
    assert quantity("1 rod", "length") == pytest.approx(5.0292, abs=1e-12)
    assert quantity("1 chain", "length") ** 2 * 10 == pytest.approx(ACRE, abs=1e-9)
    assert pytest.approx(4046.8564224, abs=1e-9) == ACRE
    # The acre of survey feet, 4046.87261 m2, is another: 4 ppm larger.
    assert pytest.approx(4046.87261, abs=5e-6) == 43560 * US_SURVEY_FOOT**2


# Traverses ----------------------------------------------------------------------------------------------------------


def test_traverse_latitudes_departures_and_closure():
    done = traverse.traverse(traverse.parse(MAHUN))
    # The page sums rounded parts; its third decimals are good to one unit.
    assert feet(done.latitude_m) == pytest.approx([-176.357, 203.395, 192.357, -219.312], abs=0.001)
    assert feet(done.departure_m) == pytest.approx([-438.548, -73.093, 198.651, 313.065], abs=0.001)
    assert feet(done.miss_n_m) == pytest.approx(0.083, abs=0.001)
    assert feet(done.miss_e_m) == pytest.approx(0.075, abs=0.001)
    assert feet(done.perimeter_m) == pytest.approx(1347.57, abs=0.001)
    assert feet(done.misclosure_m) == pytest.approx(0.112, abs=0.001)
    # Printed as 1:12,000, to the nearest thousand; unrounded 1:12,116.
    assert done.ratio == pytest.approx(12_116, abs=100)
    assert round(done.ratio, -3) == 12_000


def test_traverse_compass_rule():
    # Derived from the same figures by the compass rule.
    done = traverse.traverse(traverse.parse(MAHUN), adjust=True)
    north, east = 500 + feet(done.northing_m), 2000 + feet(done.easting_m)
    assert np.column_stack([north, east])[1:] == pytest.approx(
        np.array([[323.614, 1561.426], [526.996, 1488.321], [719.336, 1686.956]]), abs=0.002
    )
    assert done.area_m2 / FOOT**2 == pytest.approx(102_935.7, abs=1)
    assert done.area_m2 / ACRE == pytest.approx(2.3631, abs=0.0001)


def test_traverse_as_boundary(tmp_path):
    (tmp_path / "abcd.txt").write_text(MAHUN.replace("N 500.00 E 2000.00", "N 700500 E 7602000"))
    layer = boundary("abcd.txt", tmp_path, crs=CRS.from_epsg(2269), adjust=True)
    assert layer.geometry[0].area == pytest.approx(102_935.7, abs=1)
    (finding,) = (f for f in layer.findings if f.code == "deed_misclosure")
    assert finding.severity == "note"
    assert finding.measured == "1:12,116"
    assert "0.111 ft in 1,347.57 ft" in finding.message


def test_area_by_coordinates():
    # Mahun, Open Access Surveying Library, COGO, chapter H: corners (N, E), printed sums of cross products.
    north = np.array([406.31, 235.12, 65.81, 317.89, 675.32])
    east = np.array([1259.97, 1489.47, 1126.40, 942.04, 1282.54])
    sums = sorted([float(np.sum(north * np.roll(east, -1))), float(np.sum(east * np.roll(north, -1)))])
    assert sums == pytest.approx([1_909_624, 2_190_612], abs=2)
    calls = []
    for dn, de in zip(np.roll(north, -1) - north, np.roll(east, -1) - east, strict=True):
        calls.append(traverse.Call(float(np.degrees(np.arctan2(de, dn)) % 360), float(np.hypot(dn, de)) * FOOT, "", 0))
    area = traverse.traverse(traverse.Deed(tuple(calls))).area_m2
    assert area / FOOT**2 == pytest.approx(140_494, abs=2)
    assert area / ACRE == pytest.approx(3.2253, abs=0.0001)


def test_area_by_coordinates_from_a_file_of_corners(tmp_path):
    rows = ["point,northing,easting", "C,406.31,1259.97", "D,235.12,1489.47", "E,65.81,1126.40", "A,317.89,942.04", "B,675.32,1282.54"]
    names, *corners = rows
    moved = [f"{p},{700_000 + float(n):.2f},{7_600_000 + float(e):.2f}" for p, n, e in (r.split(",") for r in corners)]
    (tmp_path / "cogo.csv").write_text("\n".join([names, *moved]))
    layer = boundary("cogo.csv", tmp_path, crs=CRS.from_epsg(2269))
    assert layer.geometry[0].area == pytest.approx(140_494, abs=2)


@pytest.mark.parametrize(("ratio", "severity"), [(20_000, "note"), (10_001, "note"), (9_999, "warn"), (5_001, "warn"), (4_999, "stop")])
def test_closure_classes(ratio, severity, tmp_path):
    # Parcel surveys: 1:5,000 at least, 1:10,000 for a boundary (secondary source; common practice).
    side = 1000.0
    miss = 4 * side / (ratio - 1)  # the perimeter grows with it
    text = f"start N 700000 E 7600000\nunit ft\nN 0 E {side}\nN 90 E {side}\nS 0 E {side}\nS 90 W {side + miss:.9f}"
    (tmp_path / "c.txt").write_text(text)
    layer = boundary("c.txt", tmp_path, crs=CRS.from_epsg(2269))
    assert next(f.severity for f in layer.findings if f.code == "deed_misclosure") == severity


# Projections, through the reader ------------------------------------------------------------------------------------

GN_LAMBERT = CRS.from_epsg(32040)  # NAD27 / Texas South Central, US survey feet
GN_TM = CRS.from_epsg(27700)  # OSGB36 / British National Grid
SNYDER_UTM = CRS.from_proj4("+proj=utm +zone=18 +ellps=clrk66 +units=m +no_defs")


@pytest.mark.parametrize(
    ("crs", "lon", "lat", "east", "north", "tolerance"),
    [
        # IOGP Guidance Note 373-7-2, Lambert Conic Conformal (2SP), method 9802: 28d30'N 96d00'W.
        (GN_LAMBERT, -96.0, 28.5, 2963503.91, 254759.80, 0.01),
        # IOGP Guidance Note 373-7-2, Transverse Mercator, method 9807: 50d30'N 0d30'E (series printed there: 1 cm).
        (GN_TM, 0.5, 50.5, 577274.99, 69740.50, 0.011),
        # Snyder 1987, USGS Professional Paper 1395, p. 269: UTM zone 18 on Clarke 1866, 40d30'N 73d30'W.
        (SNYDER_UTM, -73.5, 40.5, 627106.5, 4484124.4, 0.06),
    ],
)
def test_projections(tmp_path, crs, lon, lat, east, north, tolerance):
    """A corner written in a published projection is read where the publication has it."""
    (tmp_path / "p.csv").write_text(f"point,easting,northing\n1,{east},{north}\n")
    layer = features("p.csv", tmp_path, crs=crs)
    (point,) = layer.geometry
    forward = Transformer.from_crs(layer.crs.geodetic_crs, layer.crs, always_xy=True).transform(lon, lat)
    assert (point.x, point.y) == pytest.approx(forward, abs=tolerance)


def test_utm_constants_and_scale():
    # k0 .9996, 500,000 m, 0 / 10,000,000 m; Snyder 1987 p. 269: k .9997989 at the point above.
    for code, false_north in ((32618, 0), (32718, 10_000_000)):
        factor = Proj(CRS.from_epsg(code)).get_factors(-75, 0)
        assert factor.meridional_scale == pytest.approx(0.9996, abs=1e-9)
        assert Proj(CRS.from_epsg(code))(-75, 0) == pytest.approx((500_000, false_north), abs=1e-6)
    assert Proj(SNYDER_UTM).get_factors(-73.5, 40.5).meridional_scale == pytest.approx(0.9997989, abs=1e-7)


@pytest.mark.parametrize(("unit", "east_m", "north_m"), [("US survey ft", 300838.202, 64617.729), ("ft", 987000 * 0.3048, 212000 * 0.3048)])
def test_us_survey_feet_to_metres(tmp_path, unit, east_m, north_m):
    # EPSG:2263 (987000, 212000) in US survey feet is 300838.202, 64617.729 m (85 FR 62698); times .3048 is .602 and
    # .129 m off.
    corners = "\n".join(f"{e},{n}" for e, n in [(987000, 212000), (987600, 212000), (987600, 212500)])
    (tmp_path / "c.csv").write_text(f"easting,northing\n{corners}")
    layer = boundary("c.csv", tmp_path, crs=CRS.from_epsg(2263), unit=unit)
    metric = CRS.from_epsg(32118)  # the same zone in metres
    to_metres = Transformer.from_crs(layer.crs, metric, always_xy=True)
    x, y = layer.geometry[0].exterior.coords[0]
    assert to_metres.transform(x, y) == pytest.approx((east_m, north_m), abs=0.0006)
    assert pytest.approx(0.602, abs=0.0006) == 300838.202 - 987000 * 0.3048


@pytest.mark.parametrize("epsg", [2263, 2229, 2269, 32118])
def test_every_way_in_gives_the_same_corner(tmp_path, epsg):
    """GeoPackage, corners and deed calls of one square agree to a hundredth of a millimetre, whatever the CRS's unit."""
    crs = CRS.from_epsg(epsg)
    unit = crs.axis_info[0].unit_conversion_factor
    west, south, east, north = crs.area_of_use.bounds
    x, y = Transformer.from_crs(4269, crs, always_xy=True).transform((west + east) / 2, (south + north) / 2)
    x, y, side = round(x), round(y), 100 / unit
    ring = [(x, y), (x, y + side), (x + side, y + side), (x + side, y)]
    write(tmp_path / "b.gpkg", [shapely.Polygon(ring)], crs=f"EPSG:{epsg}")
    (tmp_path / "b.csv").write_text("x,y\n" + "\n".join(f"{e!r},{n!r}" for e, n in ring))
    calls = "N 0 E 100 m\nN 90 E 100 m\nS 0 E 100 m\nN 90 W 100 m"
    (tmp_path / "b.txt").write_text(f"crs EPSG:{epsg}\nstart N {y} E {x}\n{calls}")
    shapes = [boundary(f"b.{end}", tmp_path, crs=crs).geometry[0] for end in ("gpkg", "csv", "txt")]
    for shape in shapes[1:]:
        assert np.array(shape.exterior.coords) * unit == pytest.approx(np.array(shapes[0].exterior.coords) * unit, abs=1e-5)
