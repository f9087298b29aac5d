import pytest
from pyproj import CRS, Geod

from setout.errors import SetoutError
from setout.read.vector import files
from survey_reading import boundary, codes, features

RING = [(40.7400, -73.9900), (40.7400, -73.9880), (40.7415, -73.9880), (40.7415, -73.9900)]


def points(ring, tag="trkpt"):
    return "".join(f'<{tag} lat="{lat}" lon="{lon}"><ele>10</ele></{tag}>' for lat, lon in ring)


def gpx(tmp_path, body, version="1.1"):
    head = f'<?xml version="1.0"?><gpx version="{version}" creator="t" xmlns="http://www.topografix.com/GPX/{version.replace(".", "/")}">'
    (tmp_path / "walk.gpx").write_text(f"{head}{body}</gpx>")
    return tmp_path


def track(*segments, name="north"):
    return f"<trk><name>{name}</name>{''.join(f'<trkseg>{points(s)}</trkseg>' for s in segments)}</trk>"


WAYPOINTS = '<wpt lat="40.7401" lon="-73.9899"><name>well</name></wpt>'


@pytest.mark.parametrize("version", ["1.0", "1.1"])
def test_a_closed_track_is_a_boundary(tmp_path, version):
    layer = boundary("walk.gpx", gpx(tmp_path, track([*RING, RING[0]]), version), crs=CRS.from_epsg(2263))
    assert layer.crs.to_epsg() == 4326
    assert [(y, x) for x, y in layer.geometry[0].exterior.coords][:4] == RING
    assert layer.columns["name"].tolist() == ["north"]
    assert codes(layer) == ["gps_accuracy"]


def test_a_small_gap_is_closed_and_said(tmp_path):
    end = (RING[0][0] + 0.00005, RING[0][1])
    layer = boundary("walk.gpx", gpx(tmp_path, track([*RING, end])))
    assert codes(layer) == ["track_gap", "gps_accuracy"]
    gap = Geod(ellps="WGS84").inv(end[1], end[0], RING[0][1], RING[0][0])[2]
    assert layer.findings[0].measured == f"{gap:.1f} m"


def test_a_large_gap_is_refused(tmp_path):
    with pytest.raises(SetoutError, match=r"its ends are 166\.\d m apart") as caught:
        boundary("walk.gpx", gpx(tmp_path, track(RING)))
    assert "north" in caught.value.faults[0].where


def test_segments_of_a_track_are_one_walk(tmp_path):
    gpx(tmp_path, track(RING[:2], [*RING[2:], RING[0]]))
    assert len(boundary("walk.gpx", tmp_path).geometry[0].exterior.coords) == 5
    assert features("walk.gpx", tmp_path).geometry[0].geom_type == "MultiLineString"


def test_layers(tmp_path):
    gpx(tmp_path, WAYPOINTS + f"<rte><name>r</name>{points([*RING, RING[0]], 'rtept')}</rte>" + track([*RING, RING[0]]))
    assert files.list_layers(tmp_path / "walk.gpx") == [("waypoints", "Point", 1), ("routes", "LineString", 1), ("tracks", "LineString", 1)]
    assert features("walk.gpx:waypoints", tmp_path).columns["name"].tolist() == ["well"]
    assert boundary("walk.gpx:routes", tmp_path).columns["name"].tolist() == ["r"]
    assert features("walk.gpx:tracks[name=north]", tmp_path).geometry.size == 1
    with pytest.raises(SetoutError, match="routes and tracks"):
        boundary("walk.gpx", tmp_path)
    with pytest.raises(SetoutError, match="waypoints and routes and tracks"):
        features("walk.gpx", tmp_path)
    with pytest.raises(SetoutError, match="no layer"):
        features("walk.gpx:roads", tmp_path)


def test_waypoints_beside_the_track_do_not_hinder_a_boundary(tmp_path):
    assert boundary("walk.gpx", gpx(tmp_path, WAYPOINTS + track([*RING, RING[0]]))).geometry.size == 1


@pytest.mark.parametrize(
    ("body", "why"),
    [
        ("", "no waypoint"),
        (WAYPOINTS, "holds points"),
        (track([(95, 10), (40, 10), (40, 11)]), "latitude 95"),
        ('<trk><trkseg><trkpt lat="x" lon="1"/></trkseg></trk>', "no GPX"),
        ("<trk><trkseg>", "no GPX"),
        (track([RING[0]]), "holds points"),
    ],
)
def test_what_is_refused(tmp_path, body, why):
    with pytest.raises(SetoutError, match=why):
        boundary("walk.gpx", gpx(tmp_path, body))


def test_entities_are_refused(tmp_path):
    (tmp_path / "walk.gpx").write_text('<!DOCTYPE g [<!ENTITY a "aaaa">]><gpx version="1.1">&a;</gpx>')
    with pytest.raises(SetoutError, match="document type"):
        boundary("walk.gpx", tmp_path)


def test_three_corners_are_a_boundary_and_two_are_none(tmp_path):
    """A triangle walked without its last side, 8 m: less than a receiver can tell."""
    corners = [RING[0], (RING[0][0] + 0.0005, RING[0][1]), (RING[0][0], RING[0][1] + 0.000095)]
    layer = boundary("walk.gpx", gpx(tmp_path, track(corners)))
    assert [(y, x) for x, y in layer.geometry[0].exterior.coords] == [*corners, corners[0]]
    assert codes(layer) == ["track_gap", "gps_accuracy"]
    with pytest.raises(SetoutError, match="a boundary is a track"):
        boundary("walk.gpx", gpx(tmp_path, track(corners[:2])))
