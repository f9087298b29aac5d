import pytest
from pyproj import CRS

from setout.errors import SetoutError
from setout.read.crs import foot_doubt, horizontal, misfit, scale_to, settle, understood, unit_m

NY = CRS.from_epsg(2263)
UTM = CRS.from_epsg(26918)
BOX = (987000.0, 212000.0, 987600.0, 212500.0)


@pytest.mark.parametrize(
    "text",
    [
        None,
        "",
        (
            'ENGCRS["Undefined Cartesian SRS with unknown '
            'unit",EDATUM["x"],CS[Cartesian,2],AXIS["x",east],AXIS["y",north],LENGTHUNIT["metre",1]]'
        ),
        'LOCAL_CS["plan north",UNIT["foot",0.3048]]',
    ],
)
def test_what_says_nothing(text):
    assert understood(text) is None


def test_what_is_no_crs_is_refused():
    with pytest.raises(SetoutError, match="not understood"):
        understood("EPSG:999999")
    with pytest.raises(SetoutError, match="geocentric"):
        understood("EPSG:4978")


def test_the_vertical_part_is_left_out():
    assert horizontal(CRS.from_epsg(6349)).to_epsg() == 6318  # NAD83(2011) + NAVD88 height
    assert horizontal(CRS.from_epsg(4979)).to_epsg() == 4326
    assert understood("EPSG:2263+6360").to_epsg() == 2263


@pytest.mark.parametrize(
    ("crs", "metres"), [(2263, 1200 / 3937), (2269, 0.3048), (2229, 1200 / 3937), (26918, 1.0), (4326, None), (5514, 1.0)]
)
def test_units_are_exact(crs, metres):
    assert unit_m(CRS.from_epsg(crs)) == metres


def test_scale_keeps_the_feet_apart():
    assert scale_to(NY, "US survey ft", "") == 1.0
    assert scale_to(NY, "ft", "") == pytest.approx(0.3048 * 3937 / 1200, abs=1e-15)
    assert scale_to(CRS.from_epsg(2269), "ft", "") == 1.0
    with pytest.raises(SetoutError, match="no unit of length"):
        scale_to(NY, "furlong", "")
    with pytest.raises(SetoutError, match="in degrees"):
        scale_to(CRS.from_epsg(4326), "ft", "")


@pytest.mark.parametrize(
    ("crs", "box", "why"),
    [
        (2263, BOX, ""),
        (2263, (-73.99, 40.74, -73.98, 40.75), "look like degrees"),
        (26918, (-73.99, 40.74, -73.98, 40.75), "look like degrees"),
        (3857, (-73.99, 40.74, -73.98, 40.75), "look like degrees"),
        (4326, BOX, "no degrees"),
        (4326, (40.74, -93.99, 40.75, -93.98), "no degrees"),  # latitude and longitude swapped
        (4269, (-73.99, 40.74, -73.98, 40.75), ""),
        (4269, (14.41, 50.10, 14.42, 50.11), "is for latitudes"),  # Prague in a North American datum
        (2269, (300838.0, 64617.0, 301000.0, 64800.0), "longitude -149"),  # metres taken for feet
        (32618, (586000.0, 4500000.0, 586500.0, 4500500.0), ""),
        (32660, (586000.0, 4500000.0, 586500.0, 4500500.0), ""),  # beside the antimeridian
        (32718, (586000.0, 6250000.0, 586500.0, 6250500.0), ""),
        (27700, (586000.0, 4500000.0, 586500.0, 4500500.0), "is for latitudes"),
        (32618, (1e12, 1e12, 1e12, 1e12), "does not exist"),
    ],
)
def test_misfit(crs, box, why):
    found = misfit(CRS.from_epsg(crs), box)
    assert why in found
    assert bool(found) == bool(why)


def test_settle_takes_what_is_said():
    assert settle("f", NY, None, BOX, standard=False) == (NY, ())
    assert settle("f", None, NY, BOX, standard=False) == (NY, ())
    assert settle("f", NY, CRS.from_user_input("EPSG:2263"), BOX, standard=False) == (NY, ())
    with pytest.raises(SetoutError, match="does not say its CRS") as caught:
        settle("f", None, None, BOX, standard=False)
    assert "site.crs" in caught.value.faults[0].remedy


def test_settle_refuses_another_foot_or_datum_always():
    # The same zone in international feet: 2 ppm apart, 0.6 m here (NIST, 85 FR 62698).
    head, axes = NY.to_wkt().split("CS[Cartesian", 1)
    other = CRS.from_wkt(f"{head}CS[Cartesian{axes}".replace(axes, axes.replace('"US survey foot",0.304800609601219', '"foot",0.3048')))
    assert unit_m(other) == 0.3048
    with pytest.raises(SetoutError, match=r"lie 0\.6\d\d m apart"):
        settle("f", NY, other, BOX, standard=False)


def test_settle_believes_a_file_that_says_another_zone():
    crs, findings = settle("f", NY, UTM, BOX, standard=False)
    assert crs == NY
    assert [f.code for f in findings] == ["crs_own"]
    assert settle("f", NY, UTM, BOX, standard=True) == (NY, ())


def test_settle_believes_the_plan_where_coordinates_contradict_the_file():
    crs, findings = settle("f", CRS.from_epsg(4326), NY, BOX, standard=False)
    assert crs == NY
    assert [(f.code, f.severity) for f in findings] == [("crs_from_plan", "warn")]
    with pytest.raises(SetoutError, match="no degrees"):
        settle("f", CRS.from_epsg(4326), CRS.from_epsg(4269), BOX, standard=False)


def test_foot_doubt_says_how_far_the_other_foot_moves():
    (finding,) = foot_doubt(NY, "ft", BOX, "f")
    assert finding.measured == "0.60 m"  # 987,600 ft x 0.3048 x 2 ppm
    assert foot_doubt(NY, "US survey ft", BOX, "f") == ()
    assert foot_doubt(CRS.from_epsg(2269), "ft", BOX, "f") == ()
