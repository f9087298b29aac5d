import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS, Transformer

from setout.errors import SetoutError
from setout.read.deed import traverse
from setout.units import FOOT, US_SURVEY_FOOT
from survey_reading import boundary, codes

OREGON = CRS.from_epsg(2269)
NEW_YORK = CRS.from_epsg(2263)
CLOSED = "N 0 E 300 ft\nN 90 E 400 ft\nS 0 E 300 ft\nS 90 W 400 ft\n"


def one(text, unit=None):
    """Return the first of two calls, the second a filler."""
    return traverse.parse(f"{text}\nN 10 E 5 m", unit).calls[0]


@pytest.mark.parametrize(
    ("text", "azimuth"),
    [
        ("S 68-05-35 W 472.68 ft", 180 + 68 + 5 / 60 + 35 / 3600),
        ("S68-05-35W 472.68 ft", 248.0930556),
        ("N19°46'00\"W 216.13 ft", 340.2333333),
        ("N 19° 46′ 00″ W, 216.13 ft", 340.2333333),
        ("n 19d46'00\" w 216.13 feet", 340.2333333),
        ("North 45 degrees 55 minutes 20 seconds East, a distance of 276.52 feet", 45.9222222),
        ("thence North 45 degrees 55 minutes 20 seconds East, a distance of 276.52 feet;", 45.9222222),
        ("N. 45 deg. 55 min. 20 sec. E., 276.52 ft.", 45.9222222),
        ("South 54°59'15\" East along the fence 382.24 feet to a 5/8 inch iron rod;", 180 - 54.9875),
        ("N 45.5 E 100 m", 45.5),
        ("N 5.5 W 100 m", 354.5),
        ("S 7 E 100 m", 173.0),
        ("N 45°30' E 100 m", 45.5),
        ("N 45°30.5' E 100 m", 45 + 30.5 / 60),
        ("S 0 E 100 m", 180.0),
        ("N 90 W 100 m", 270.0),
        ("due north 100 feet", 0.0),
        ("thence West, a distance of 100 feet", 270.0),
        ("S 100 ft", 180.0),
        ("110.5 100 m", 110.5),
        ("110-30-00 100 m", 110.5),
        ("azimuth 110°30'00\", 100 m", 110.5),
        ("az 360 100 m", 0.0),
    ],
)
def test_bearings(text, azimuth):
    assert one(text).azimuth_deg == pytest.approx(azimuth, abs=1e-7)


# Chain of 66 ft, rod (pole, perch) of 16.5 ft, link of 0.66 ft: NIST Handbook 44, Appendix C.
@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("N 5 E 100 ft", 100 * FOOT),
        ("N 5 E 100 US survey feet", 100 * US_SURVEY_FOOT),
        ("N 5 E 100 usft", 100 * US_SURVEY_FOOT),
        ("N 5 E 1,320.5 feet, more or less", 1320.5 * FOOT),
        ("N 5 E 12 chains 35 links", (12 * 66 + 35 * 0.66) * FOOT),
        ("N 5 E 12 chains and 35 links to an oak", (12 * 66 + 35 * 0.66) * FOOT),
        ("N 5 E 10 rods", 165 * FOOT),
        ("N 5 E 10 poles", 165 * FOOT),
        ("N 5 E 10 perches", 165 * FOOT),
        ("N 5 E 100 ft 6 in", 100.5 * FOOT),
        ("N 5 E 100'", 100 * FOOT),
        ("N 5 E 100 m", 100.0),
        ("N 5 E along Highway 26 a distance of 276.52 feet to corner 7", 276.52 * FOOT),
        ("N 5 E along Lot 4, 276.52 feet", 276.52 * FOOT),
        ("N 5 E .5 m", 0.5),
    ],
)
def test_distances(text, metres):
    assert one(text).distance_m == pytest.approx(metres, abs=1e-9)


def test_units_of_bare_numbers():
    assert one("N 5 E 100", "ft").distance_m == pytest.approx(30.48)
    assert one("unit m\nN 5 E 100", "ft").distance_m == 100
    assert traverse.parse("N 5 E 100\nS 5 W 100\nunit chains").calls[0].distance_m == pytest.approx(100 * 20.1168)
    with pytest.raises(SetoutError, match="has no unit"):
        one("N 5 E 100")


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("N 95 E 100 ft", "at most 90"),
        ("N 45-70-00 E 100 ft", "60 or more"),
        ("N 45.5-30 E 100 ft", "fraction"),
        ("N 45 E 0 ft", "distance 0"),
        ("N 45 E", "no distance"),
        ("400 100 m", "at most 360"),
        ("a pleasant walk", "is no call"),
        ("N 45 E 100 ft N 50 E 100 ft", "two calls"),
        ("along a curve to the right, radius 200 ft, arc 100 ft", "is a curve"),
        ("along the arc of a curve, chord bearing N 45 E 100 ft", "is a curve"),
        ("N 45 E 5 furlongs", "has no"),
        ("unit cubits", "no unit of length"),
        ("start somewhere", "is no point"),
    ],
)
def test_what_is_refused_says_the_line(text, why):
    with pytest.raises(SetoutError, match=why) as caught:
        traverse.parse(f"# heading\n{text}\nN 10 E 5 m\nS 10 W 5 m")
    assert "line 2" in caught.value.faults[0].where


def test_prose_over_several_lines():
    text = """A parcel in the northeast quarter of Section 12.
    Beginning at an iron pin; thence South 68 degrees 05 minutes 35 seconds West,
    a distance of 472.68 feet to a stone; thence
    N19°46'00"W 216.13 ft; thence N 45°55'20" E
    276.52 feet to the county road, thence S 54°59'15" E, 382.24 feet to the
    point of beginning, containing 2.36 acres, more or less."""
    calls = traverse.parse(text).calls
    assert [round(c.distance_m / FOOT, 2) for c in calls] == [472.68, 216.13, 276.52, 382.24]
    assert [round(c.azimuth_deg, 3) for c in calls] == [248.093, 340.233, 45.922, 125.012]
    assert [c.line for c in calls] == [2, 3, 4, 5]


def test_a_tie_line_is_refused():
    with pytest.raises(SetoutError, match="commencing"):
        traverse.parse("Commencing at the section corner; thence N 5 E 500 feet to the point of beginning; thence N 6 E 20 feet")


def test_syntaxes_mix():
    text = "start N 500 E 2000\nunit ft\nS 68-05-35 W 472.68\nthence N19°46'00\"W 216.13 ft\n45.9222 276.52\nS54-59-15E 382.24"
    assert len(traverse.parse(text).calls) == 4


def test_last_leg_home_without_distance():
    found = traverse.parse("N 0 E 300 ft\nN 90 E 400 ft\nS 0 E 300 ft\nthence to the point of beginning")
    done = traverse.traverse(found)
    assert found.home_unmeasured
    assert math.isnan(done.ratio)
    assert done.area_m2 == pytest.approx(300 * 400 * FOOT**2)


@given(st.lists(st.tuples(st.floats(10, 500), st.floats(10, 500)), min_size=3, max_size=12), st.booleans())
@settings(max_examples=60, deadline=None)
def test_a_polygon_told_as_calls_comes_back(points, adjust):
    """Bearings to the second and distances to the thousandth give the corners back within their rounding."""
    xy = np.array(points).round(3)
    step = np.diff(np.vstack([xy, xy[:1]]), axis=0)
    length = np.hypot(*step.T)
    if (length < 0.01).any():
        return
    lines = []
    for (dx, dy), d in zip(step.tolist(), length.tolist(), strict=True):
        seconds = round(math.degrees(math.atan2(abs(dx), abs(dy))) * 3600)
        degrees, rest = divmod(seconds, 3600)
        lines.append(f"{'N' if dy >= 0 else 'S'} {degrees}-{rest // 60:02d}-{rest % 60:02d} {'E' if dx >= 0 else 'W'} {d:.3f} m")
    done = traverse.traverse(traverse.parse("\n".join(lines)), adjust)
    allowed = len(xy) * (0.0005 + 710 * math.radians(0.5 / 3600)) * 2
    assert np.abs(np.column_stack([done.easting_m, done.northing_m]) - (xy - xy[0])).max() < allowed
    assert done.misclosure_m < allowed
    if adjust:
        ends = (
            done.easting_m[-1]
            + done.departure_m[-1]
            - done.miss_e_m * traverse.parse(lines[-1] + "\n" + lines[-1]).calls[0].distance_m / done.perimeter_m
        )
        assert ends == pytest.approx(0, abs=1e-9)


# From text to polygon -----------------------------------------------------------------------------------------------


def test_start_is_in_the_unit_of_the_crs(tmp_path):
    file = tmp_path / "deed.txt"
    file.write_text(f"crs EPSG:2263\nstart N 212000 E 987000\n{CLOSED}")
    layer = boundary("deed.txt", tmp_path)
    (shape,) = layer.geometry
    assert layer.crs == NEW_YORK
    assert shape.exterior.coords[0] == (987000, 212000)
    # 300 international feet are 299.9994 US survey feet.
    assert shape.exterior.coords[1] == pytest.approx((987000, 212000 + 300 * 0.3048 * 3937 / 1200), abs=1e-6)


@pytest.mark.parametrize(
    ("line", "east", "north"),
    [
        ("start N 212,000.00 E 987,000.00", 987000, 212000),
        ("start: easting 987000, northing 212000", 987000, 212000),
        ("start N 64617.729 m E 300838.202 m", 987000, 212000),
    ],
)
def test_ways_to_write_the_start(tmp_path, line, east, north):
    (tmp_path / "d.deed").write_text(f"{line}\n{CLOSED}")
    layer = boundary("d.deed", tmp_path, crs=NEW_YORK)
    assert layer.geometry[0].exterior.coords[0] == pytest.approx((east, north), abs=0.002)


def test_start_in_degrees(tmp_path):
    lon, lat = Transformer.from_crs(NEW_YORK, 4326, always_xy=True).transform(987000, 212000)
    (tmp_path / "d.txt").write_text(f"start lat {lat:.9f} lon {lon:.9f}\n{CLOSED}")
    layer = boundary("d.txt", tmp_path, crs=NEW_YORK)
    assert layer.geometry[0].exterior.coords[0] == pytest.approx((987000, 212000), abs=0.005)


def test_start_from_the_plan(tmp_path):
    (tmp_path / "d.txt").write_text(CLOSED)
    layer = boundary("d.txt", tmp_path, crs=NEW_YORK, start=(987000.0, 212000.0))
    assert layer.geometry[0].exterior.coords[0] == (987000, 212000)
    with pytest.raises(SetoutError, match="where they begin") as caught:
        boundary("d.txt", tmp_path, crs=NEW_YORK)
    assert "site.start" in caught.value.faults[0].remedy


@pytest.mark.parametrize(
    ("last", "severity", "ratio"),
    [("S 90 W 400.1 ft", "note", "1:14,001"), ("S 90 W 400.2 ft", "warn", "1:7,001"), ("S 90 W 401 ft", "stop", "1:1,401")],
)
def test_closure_is_graded(tmp_path, last, severity, ratio):
    # 1:10,000 for a boundary, 1:5,000 at least (common practice for parcels).
    (tmp_path / "d.txt").write_text(f"start N 212000 E 987000\n{CLOSED}".replace("S 90 W 400 ft", last))
    layer = boundary("d.txt", tmp_path, crs=NEW_YORK)
    (finding,) = (f for f in layer.findings if f.code == "deed_misclosure")
    assert (finding.severity, finding.measured) == (severity, ratio)
    adjusted = boundary("d.txt", tmp_path, crs=NEW_YORK, adjust=True)
    assert "compass rule" in next(f for f in adjusted.findings if f.code == "deed_misclosure").message
    assert not shapely.equals_exact(adjusted.geometry[0], layer.geometry[0], 1e-6)


def test_calls_that_do_not_close_are_refused(tmp_path):
    (tmp_path / "d.txt").write_text("start N 212000 E 987000\nN 0 E 300 ft\nN 90 E 400 ft\nS 0 E 300 ft")
    with pytest.raises(SetoutError, match=r"end 400\.00 ft from where they began"):
        boundary("d.txt", tmp_path, crs=NEW_YORK)


def test_the_crs_must_be_said_plane_and_true_to_scale(tmp_path):
    (tmp_path / "d.txt").write_text(f"start N 212000 E 987000\n{CLOSED}")
    with pytest.raises(SetoutError, match="does not say its CRS"):
        boundary("d.txt", tmp_path)
    with pytest.raises(SetoutError, match="in degrees"):
        boundary("d.txt", tmp_path, crs=CRS.from_epsg(4326))
    with pytest.raises(SetoutError, match="mirrored"):
        boundary("d.txt", tmp_path, crs=CRS.from_epsg(2053))
    (tmp_path / "m.txt").write_text(f"start N 4970000 E -8235000\n{CLOSED}")
    with pytest.raises(SetoutError, match="stretches distances"):
        boundary("m.txt", tmp_path, crs=CRS.from_epsg(3857))
    (tmp_path / "c.txt").write_text(f"crs EPSG:2269\nstart N 212000 E 987000\n{CLOSED}")
    with pytest.raises(SetoutError, match="the plan file says"):
        boundary("c.txt", tmp_path, crs=NEW_YORK)
    with pytest.raises(SetoutError, match="is for latitudes"):
        boundary("c.txt", tmp_path)  # New York numbers in Oregon


def test_grid_scale_is_said(tmp_path):
    (tmp_path / "d.txt").write_text(f"start N 4500000 E 500000\n{CLOSED}")
    layer = boundary("d.txt", tmp_path, crs=CRS.from_epsg(26918))
    assert next(f for f in layer.findings if f.code == "deed_grid").measured == "0.999600"  # UTM's central scale
    assert "deed_misclosure" in codes(layer)
