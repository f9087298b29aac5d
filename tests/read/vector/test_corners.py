import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS
from shapely.geometry import MultiPoint

from setout.errors import SetoutError
from survey_reading import boundary, codes, features

NY = CRS.from_epsg(2263)
UTM = CRS.from_epsg(32633)
RING = [(987000.0, 212000.0), (987600.0, 212000.0), (987600.0, 212500.0), (987000.0, 212500.0)]


def csv(tmp_path, text, encoding="utf-8"):
    (tmp_path / "c.csv").write_text(text, encoding=encoding)
    return "c.csv", tmp_path


def rows(template="{i},{e},{n}", ring=RING):
    return "\n".join(template.format(i=i, e=e, n=n) for i, (e, n) in enumerate(ring, 1))


@pytest.mark.parametrize(
    "header",
    [
        "point,easting,northing",
        "Point,EASTING,Northing",
        "name,e,n",
        "name,X,Y",
        "no,Easting (usft),Northing (usft)",
        "no,easting_usft,northing_usft",
        "no,E [US survey ft],N [US survey ft]",
        "\ufeffpoint,easting,northing",
    ],
)
def test_names_of_plane_columns(tmp_path, header):
    layer = boundary(*csv(tmp_path, f"{header}\n{rows()}"), crs=NY)
    assert list(layer.geometry[0].exterior.coords)[:4] == RING
    assert layer.crs == NY


@pytest.mark.parametrize("order", ["n,e", "northing,easting"])
def test_columns_are_told_by_name_not_by_place(tmp_path, order):
    layer = boundary(*csv(tmp_path, f"{order}\n{rows('{n},{e}')}"), crs=NY)
    assert list(layer.geometry[0].exterior.coords)[:4] == RING


@pytest.mark.parametrize(
    ("sign", "comma", "encoding"),
    [(";", True, "utf-8"), (";", False, "utf-8-sig"), ("\t", True, "latin-1"), ("\t", False, "utf-16"), (",", False, "utf-8")],
)
def test_delimiters_decimal_commas_and_encodings(tmp_path, sign, comma, encoding):
    text = rows(f"Pärnu {{i}}{sign}{{e}}{sign}{{n}}").replace(".0", ",25" if comma else ".25")
    layer = features(*csv(tmp_path, f"name{sign}x{sign}y\n{text}\n", encoding), crs=NY)
    assert [(p.x, p.y) for p in layer.geometry] == [(e + 0.25, n + 0.25) for e, n in RING]
    assert layer.columns["name"][0] == "Pärnu 1"


def test_thousands_marks(tmp_path):
    text = 'e,n\n"987,000.00","212,000.00"\n"987,600.00","212,000.00"\n"987,600.00","212,500.00"'
    assert boundary(*csv(tmp_path, text), crs=NY).geometry[0].exterior.coords[0] == RING[0]
    text = "e;n\n987.000,5;212.000,5\n987.600,5;212.000,5\n987.600,5;212.500,5"
    assert boundary(*csv(tmp_path, text), crs=NY).geometry[0].exterior.coords[0] == (987000.5, 212000.5)


def test_lon_lat_are_wgs84_unless_a_geographic_crs_is_given(tmp_path):
    text = "corner,Latitude,Longitude\n1,40.74,-73.99\n2,40.74,-73.98\n3,40.75,-73.98"
    assert boundary(*csv(tmp_path, text)).crs.to_epsg() == 4326
    assert boundary(*csv(tmp_path, text), crs=CRS.from_epsg(4269)).crs.to_epsg() == 4269
    # site.crs and site.unit of a plane survey are for the other files.
    layer = boundary(*csv(tmp_path, text), crs=NY, unit="ft")
    assert layer.crs.to_epsg() == 4326
    assert layer.geometry[0].exterior.coords[0] == (-73.99, 40.74)


@pytest.mark.parametrize("lat", ["40°44'24\"N", "40-44-24 N", "N 40 44 24", "40.74"])
def test_degrees_minutes_seconds(tmp_path, lat):
    text = f"lat;lon\n{lat};73°59'24\"W\n40.74;-73.98\n40.75;-73.98"
    assert boundary(*csv(tmp_path, text)).geometry[0].exterior.coords[0] == pytest.approx((-73.99, 40.74))


def test_both_pairs_take_the_plane_one_where_the_plan_names_its_crs(tmp_path):
    text = "lon,lat,easting,northing\n-73.99,40.74,987000,212000\n-73.98,40.74,987600,212000\n-73.98,40.75,987600,212500"
    assert boundary(*csv(tmp_path, text)).crs.to_epsg() == 4326
    assert boundary(*csv(tmp_path, text), crs=NY).geometry[0].exterior.coords[0] == RING[0]


def test_units_in_names_and_plan(tmp_path):
    ring = [(500000.0, 5000000.0), (500100.0, 5000000.0), (500100.0, 5000100.0)]
    feet = [(e / 0.3048, n / 0.3048) for e, n in ring]
    survey = [(e * 3937 / 1200, n * 3937 / 1200) for e, n in ring]
    for header, unit, given_ring in [
        ("e,n", None, ring),
        ("e_m,n_m", None, ring),
        ("e_ft,n_ft", None, feet),
        ("e,n", "ft", feet),
        ("e_usft,n_usft", None, survey),
        ("e,n", "US survey ft", survey),
        ("e_ft,n_ft", "US survey ft", survey),
    ]:
        text = f"i,{header}\n" + rows("{i},{e!r},{n!r}", given_ring)
        shape = boundary(*csv(tmp_path, text), crs=UTM, unit=unit).geometry[0]
        assert np.array(shape.exterior.coords)[:3] == pytest.approx(np.array(ring), abs=1e-6)


def test_feet_under_survey_feet_are_doubted(tmp_path):
    layer = boundary(*csv(tmp_path, f"i,e_ft,n_ft\n{rows()}"), crs=NY)
    assert codes(layer) == ["foot_kind"]
    assert layer.geometry[0].exterior.coords[0] == pytest.approx((987000 * 0.999998, 212000 * 0.999998), abs=1e-6)
    assert codes(boundary(*csv(tmp_path, f"i,e_ft,n_ft\n{rows()}"), crs=NY, unit="US survey ft")) == []


def test_a_unit_that_contradicts_is_refused_unless_only_the_other_fits(tmp_path):
    ring = [(500000.0, 5000000.0), (500100.0, 5000000.0), (500100.0, 5000100.0)]
    text = "i,e_ft,n_ft\n" + rows(ring=[(e / 0.3048, n / 0.3048) for e, n in ring])
    with pytest.raises(SetoutError, match='says its unit is "ft"'):
        boundary(*csv(tmp_path, text), crs=UTM, unit="m")
    layer = boundary(
        *csv(tmp_path, "i,e_ft,n_ft\n" + rows(ring=[(500000, 9200000), (500100, 9200000), (500000, 9200100)])),
        crs=CRS.from_epsg(25833),
        unit="m",
    )
    assert codes(layer) == ["unit_from_plan"]


def test_order_column(tmp_path):
    text = f"order,e,n\n3,{RING[2][0]},{RING[2][1]}\n1,{RING[0][0]},{RING[0][1]}\n10,{RING[3][0]},{RING[3][1]}\n2,{RING[1][0]},{RING[1][1]}"
    assert list(boundary(*csv(tmp_path, text), crs=NY).geometry[0].exterior.coords)[:4] == RING
    with pytest.raises(SetoutError, match="order"):
        boundary(*csv(tmp_path, text.replace("\n10,", "\n3,")), crs=NY)


def test_closing_corner_comments_and_blank_lines(tmp_path):
    text = f"# surveyed 2024\npoint,e,n\n\n{rows()}\n5,987000,212000\n,,\n"
    layer = boundary(*csv(tmp_path, text), crs=NY)
    assert len(layer.geometry[0].exterior.coords) == 5
    assert layer.columns["corners"].tolist() == [4]


def test_a_ring_that_crosses_itself_stays(tmp_path):
    ring = [RING[0], RING[2], RING[1], RING[3]]
    layer = boundary(*csv(tmp_path, f"i,e,n\n{rows(ring=ring)}"), crs=NY)
    assert not layer.geometry[0].is_valid


def test_text_files_with_a_header_of_coordinates_are_corners(tmp_path):
    (tmp_path / "c.txt").write_text(f"point,easting,northing\n{rows()}")
    assert boundary("c.txt", tmp_path, crs=NY).columns["corners"].tolist() == [4]


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "empty"),
        ("# only a comment\n", "empty"),
        ("1,212000,987000,30.1,IP\n2,212000,987600,30.1,IP\n", "is data"),
        ("point,easting\n1,987000", "no coordinate columns"),
        ("easting,northing\n", "no corners"),
        ("easting,northing\n1,2\n", "three or more"),
        ("easting,northing\n987000,212000\n987600,212000\n987000,212000\n", "three or more"),
        ("easting,northing\n987000,x\n", '"x" is no number'),
        ("easting,northing\n987000,nan\n", "not finite"),
        ("easting,northing\n987000,inf\n", "not finite"),
        ("easting,northing\n987000,\n", "is no number"),
        ("easting,northing\n987000,5,212000,5\n", "4 values under 2 columns"),
        ("easting_ft,northing_m\n1,2\n", "two units"),
        ("easting,northing,x,y\n1,2,3,4\n", "more than one pair"),
        ("easting,northing\n987000,212000\n987100,212000\n987200,212000\n", "encloses no area"),
        ("lat,lon\n95,10\n96,10\n97,11", "no degrees"),
    ],
)
def test_what_is_refused(tmp_path, text, why):
    with pytest.raises(SetoutError, match=why) as caught:
        boundary(*csv(tmp_path, text), crs=NY)
    assert caught.value.faults[0].remedy


def test_plane_corners_need_a_crs_and_binaries_are_refused(tmp_path):
    with pytest.raises(SetoutError, match="does not say its CRS"):
        boundary(*csv(tmp_path, f"i,e,n\n{rows()}"))
    (tmp_path / "c.csv").write_bytes(b"\x00\x01\x02")
    with pytest.raises(SetoutError, match="no text file"):
        boundary("c.csv", tmp_path, crs=NY)


def test_columns_keep_names_that_look_like_numbers(tmp_path):
    layer = features(*csv(tmp_path, "name,pressure_psi,n,e\n007,45.5,212000,987000\n008,,212000,987600"), crs=NY)
    assert layer.columns["name"].tolist() == ["007", "008"]
    assert layer.columns["pressure_psi"][0] == 45.5
    assert np.isnan(layer.columns["pressure_psi"][1])


corner = st.tuples(st.floats(900000, 1100000), st.floats(150000, 250000))


@given(st.lists(corner, min_size=3, max_size=20, unique=True).filter(lambda ring: MultiPoint(ring).convex_hull.area > 1))
@settings(max_examples=40, deadline=None)
def test_round_trip(tmp_path_factory, ring):
    folder = tmp_path_factory.mktemp("csv")
    (folder / "c.csv").write_text("e,n\n" + "\n".join(f"{e!r},{n!r}" for e, n in ring))
    layer = boundary("c.csv", folder, crs=NY)
    assert list(layer.geometry[0].exterior.coords)[:-1] == ring
