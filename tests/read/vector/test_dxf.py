import itertools
import math

import ezdxf
import numpy as np
import pytest
from pyproj import CRS

from setout.errors import SetoutError
from setout.read.vector import dxf, files
from survey_reading import boundary, codes, features

NY = CRS.from_epsg(2263)
UTM = CRS.from_epsg(32633)
RING = [(500000.0, 5000000.0), (500100.0, 5000000.0), (500100.0, 5000080.0), (500000.0, 5000080.0)]


def drawing(tmp_path, units=6, version="R2010"):
    doc = ezdxf.new(version)
    doc.header["$INSUNITS"] = units
    return doc, tmp_path / "site.dxf"


def saved(doc, path, **kwargs):
    doc.saveas(path, **kwargs)
    return "site.dxf", path.parent


@pytest.mark.parametrize("version", ["R12", "R2000", "R2010", "R2018"])
@pytest.mark.parametrize("fmt", ["asc", "bin"])
def test_closed_polyline(tmp_path, version, fmt):
    doc, path = drawing(tmp_path, version=version)
    add = doc.modelspace().add_polyline2d if version == "R12" else doc.modelspace().add_lwpolyline
    add(RING, close=True, dxfattribs={"layer": "LOT"})
    layer = boundary(*saved(doc, path, fmt=fmt), crs=UTM, unit="m" if version == "R12" else None)
    assert list(layer.geometry[0].exterior.coords)[:4] == RING
    assert layer.crs == UTM
    assert layer.columns["layer"].tolist() == ["LOT"]
    assert codes(layer) == []


def test_polyline_whose_ends_meet(tmp_path):
    doc, path = drawing(tmp_path)
    doc.modelspace().add_lwpolyline([*RING, (RING[0][0] + 0.004, RING[0][1])])
    doc.modelspace().add_polyline3d([(x + 200, y, 5) for x, y in RING], close=True)
    layer = boundary(*saved(doc, path), crs=UTM)
    assert layer.geometry.size == 2
    assert [g.area for g in layer.geometry] == pytest.approx([8000, 8000], abs=0.5)


def test_lines_that_chain_in_any_order_and_direction(tmp_path):
    doc, path = drawing(tmp_path)
    ends = list(zip(RING, [*RING[1:], RING[0]], strict=True))
    for i, turned in [(2, True), (0, False), (3, True), (1, False)]:
        a, b = ends[i]
        doc.modelspace().add_line(*((b, a) if turned else (a, b)), dxfattribs={"layer": "LOT"})
    layer = boundary(*saved(doc, path), crs=UTM)
    assert layer.geometry[0].area == pytest.approx(8000)
    assert layer.columns["layer"].tolist() == ["LOT"]


def test_lines_that_do_not_chain_say_where(tmp_path):
    doc, path = drawing(tmp_path)
    for a, b in itertools.pairwise(RING):
        doc.modelspace().add_line(a, b)
    with pytest.raises(SetoutError, match=r"open between \(500000, 5000000\) and \(500000, 5000080\), about 80\.00 m"):
        boundary(*saved(doc, path), crs=UTM)


@pytest.mark.parametrize("bulge", [1.0, -0.3, 0.05, math.tan(math.pi / 8), -2.5])
def test_bulges_stay_within_a_centimetre(tmp_path, bulge):
    doc, path = drawing(tmp_path)
    (x0, y0), (x1, y1) = RING[0], RING[1]
    doc.modelspace().add_lwpolyline([(x0, y0, bulge), (x1, y1, 0)], format="xyb")
    (line,) = features(*saved(doc, path), crs=UTM).geometry
    xy = np.array(line.coords)
    # Circle through the ends with sagitta bulge x half chord (Autodesk DXF Reference, group code 42).
    half = (x1 - x0) / 2
    sagitta = bulge * half
    radius = (half**2 + sagitta**2) / (2 * abs(sagitta))
    centre = np.array([(x0 + x1) / 2, y0 - sagitta + math.copysign(radius, sagitta)])
    assert np.hypot(*(xy - centre).T) == pytest.approx(radius, abs=1e-6)
    middles = (xy[1:] + xy[:-1]) / 2
    assert (radius - np.hypot(*(middles - centre).T)).max() <= 0.005 + 1e-9
    assert tuple(xy[0]) == (x0, y0)
    assert tuple(xy[-1]) == (x1, y1)
    deepest = xy[:, 1].min() if bulge > 0 else xy[:, 1].max()
    assert deepest == pytest.approx(y0 - sagitta, abs=0.005)  # a positive bulge runs counter-clockwise: below an eastward chord


def test_circle_arc_ellipse_spline(tmp_path):
    doc, path = drawing(tmp_path)
    space = doc.modelspace()
    space.add_circle((500000, 5000000), 200)
    space.add_arc((500000, 5000000), 200, 0, 180)
    space.add_ellipse((500000, 5000000), (100, 0), 0.5)
    space.add_spline([(500000, 5000000), (500010, 5000010), (500020, 5000000)])
    layer = features(*saved(doc, path), crs=UTM)
    assert layer.columns["entity"].tolist() == ["CIRCLE", "ARC", "ELLIPSE", "SPLINE"]
    circle, arc, ellipse, _ = layer.geometry
    assert circle.is_ring
    assert circle.length == pytest.approx(2 * math.pi * 200, rel=1e-4)
    assert arc.length == pytest.approx(math.pi * 200, rel=1e-4)
    assert ellipse.is_closed
    assert codes(layer) == []


def test_points_blocks_and_mirrored_planes(tmp_path):
    doc, path = drawing(tmp_path)
    doc.blocks.new("WELL").add_point((0, 0))
    space = doc.modelspace()
    space.add_point((500001, 5000002, 3), dxfattribs={"layer": "PTS"})
    space.add_blockref("WELL", (500003, 5000004), dxfattribs={"layer": "PTS"})
    space.add_lwpolyline([(-x, y) for x, y in RING], close=True, dxfattribs={"layer": "LOT", "extrusion": (0, 0, -1)})
    name, base = saved(doc, path)
    points = features(f"{name}:pts", base, crs=UTM)
    assert [(p.x, p.y) for p in points.geometry] == [(500001, 5000002), (500003, 5000004)]
    assert points.columns["block"].tolist() == ["", "WELL"]
    assert list(boundary(name, base, crs=UTM).geometry[0].exterior.coords)[:4] == RING
    assert features(f"{name}[entity=INSERT]", base, crs=UTM).geometry.size == 1
    assert files.list_layers(path) == [("PTS", "Point", 2), ("LOT", "Polygon", 1)]


def test_layers_must_be_told_apart(tmp_path):
    doc, path = drawing(tmp_path)
    doc.modelspace().add_lwpolyline(RING, close=True, dxfattribs={"layer": "LOT"})
    doc.modelspace().add_lwpolyline([(x + 500, y) for x, y in RING], close=True, dxfattribs={"layer": "HOUSE"})
    name, base = saved(doc, path)
    with pytest.raises(SetoutError, match="2 layers: LOT, HOUSE"):
        boundary(name, base, crs=UTM)
    assert boundary(f"{name}:lot", base, crs=UTM).geometry.size == 1
    with pytest.raises(SetoutError, match='did you mean "LOT"'):
        boundary(f"{name}:LOTS", base, crs=UTM)


def test_rings_in_a_ring_are_holes_and_said(tmp_path):
    doc, path = drawing(tmp_path)
    for shrink in (0, 20, 30):
        (x0, y0), (x1, y1) = RING[0], RING[2]
        a, b, c, d = x0 + shrink, y0 + shrink, x1 - shrink, y1 - shrink
        doc.modelspace().add_lwpolyline([(a, b), (c, b), (c, d), (a, d)], close=True)
    layer = boundary(*saved(doc, path), crs=UTM)
    assert codes(layer) == ["boundary_hole"]
    assert sum(g.area for g in layer.geometry) == pytest.approx(100 * 80 - 60 * 40 + 40 * 20)


# Autodesk DXF Reference, HEADER section, $INSUNITS.
@pytest.mark.parametrize(
    ("code", "metres"), [(1, 0.0254), (2, 0.3048), (4, 0.001), (5, 0.01), (6, 1.0), (10, 0.9144), (14, 0.1), (21, 1200 / 3937)]
)
def test_units(tmp_path, code, metres):
    doc, path = drawing(tmp_path, units=code)
    doc.modelspace().add_lwpolyline([(x / metres, y / metres) for x, y in RING], close=True)
    layer = boundary(*saved(doc, path), crs=UTM)
    assert np.array(layer.geometry[0].exterior.coords)[:4] == pytest.approx(np.array(RING), abs=1e-5)


def test_a_drawing_without_unit_is_refused(tmp_path):
    doc, path = drawing(tmp_path, units=0)
    doc.modelspace().add_lwpolyline(RING, close=True)
    name, base = saved(doc, path)
    with pytest.raises(SetoutError, match="does not say its unit") as caught:
        boundary(name, base, crs=UTM)
    assert "site.unit" in caught.value.faults[0].remedy
    assert boundary(name, base, crs=UTM, unit="m").geometry[0].area == pytest.approx(8000)
    with pytest.raises(SetoutError, match="does not say its CRS"):
        boundary(name, base, unit="m")


def test_feet_in_a_drawing_are_either_foot(tmp_path):
    doc, path = drawing(tmp_path, units=2)
    doc.modelspace().add_lwpolyline([(987000, 212000), (987600, 212000), (987600, 212500)], close=True)
    name, base = saved(doc, path)
    literal = boundary(name, base, crs=NY)
    assert codes(literal) == ["foot_kind"]
    assert literal.geometry[0].exterior.coords[0][0] == pytest.approx(987000 * 0.3048 / (1200 / 3937), abs=1e-6)
    told = boundary(name, base, crs=NY, unit="US survey ft")
    assert codes(told) == []
    assert told.geometry[0].exterior.coords[0] == (987000, 212000)
    with pytest.raises(SetoutError, match="the plan file says"):
        boundary(name, base, crs=NY, unit="yd")


def test_what_is_left_out_is_counted(tmp_path):
    doc, path = drawing(tmp_path)
    space = doc.modelspace()
    space.add_lwpolyline(RING, close=True)
    space.add_text("LOT 4")
    space.add_hatch()
    space.add_hatch()
    layer = boundary(*saved(doc, path), crs=UTM)
    assert codes(layer) == ["dxf_skipped"]
    assert "2 HATCH, 1 TEXT" in layer.findings[0].message
    assert layer.findings[0].severity == "warn"


def many(tmp_path):
    doc, path = drawing(tmp_path)
    for k in range(20):
        doc.modelspace().add_lwpolyline([(x, y + 200 * k) for x, y in RING], close=True)
    doc.modelspace().add_circle((500500, 5000000), 10)
    saved(doc, path)
    return path


def test_a_drawing_cut_short_is_recovered_and_said(tmp_path):
    path = many(tmp_path)
    text = path.read_text()
    path.write_text(text[: text.index("AcDbCircle")])
    layer = boundary("site.dxf", tmp_path, crs=UTM)
    assert layer.geometry.size == 20
    assert "dxf_cut" in codes(layer)


def test_entities_that_the_file_holds_but_the_library_drops_are_counted(tmp_path):
    path = many(tmp_path)
    text = path.read_text()
    assert codes(boundary("site.dxf", tmp_path, crs=UTM)) == []
    # An entity of a kind that does not exist is dropped or kept as unknown, and either way named.
    path.write_text(text.replace("  0\nCIRCLE\n", "  0\nCIRCLET\n"))
    layer = boundary("site.dxf", tmp_path, crs=UTM)
    assert layer.geometry.size == 20
    assert any(f.code in {"dxf_lost", "dxf_skipped"} and "1 CIRCLET" in f.message for f in layer.findings)
    # A handle taken twice makes the library drop one of the two.
    first, second = (text.index("LWPOLYLINE\n  5\n", at) + 15 for at in (0, text.index("AcDbPolyline", text.index("ENTITIES"))))
    path.write_text(text[:second] + text[first : text.index("\n", first)] + text[text.index("\n", second) :])
    layer = boundary("site.dxf", tmp_path, crs=UTM)
    assert layer.geometry.size == 21 or "dxf_lost" in codes(layer)


def test_a_number_that_is_none_is_refused(tmp_path):
    path = many(tmp_path)
    text = path.read_text()
    path.write_text(text.replace(" 40\n10.0", " 40\nten"))
    with pytest.raises(SetoutError, match="ten"):
        boundary("site.dxf", tmp_path, crs=UTM)


@pytest.mark.parametrize("data", [b"hello", b"", b"  0\nSECTION\n  2\nHEADER\n"])
def test_what_is_no_drawing(tmp_path, data):
    (tmp_path / "site.dxf").write_bytes(data)
    with pytest.raises(SetoutError):
        boundary("site.dxf", tmp_path, crs=UTM, unit="m")


def test_an_empty_drawing(tmp_path):
    doc, path = drawing(tmp_path)
    with pytest.raises(SetoutError, match="no features"):
        boundary(*saved(doc, path), crs=UTM)


def test_what_the_library_drops_is_told_by_kind_and_number(tmp_path, monkeypatch):
    """A library that loses the circle and two of the 20 polylines while it reads."""
    path = many(tmp_path)
    opened = ezdxf.readfile

    def lossy(path, source):
        doc = opened(path)
        for entity in list(doc.modelspace())[18:]:
            doc.modelspace().delete_entity(entity)
        return doc

    assert "dxf_lost" not in codes(boundary("site.dxf", tmp_path, crs=UTM))
    monkeypatch.setattr(dxf, "_document", lossy)
    layer = boundary(path.name, tmp_path, crs=UTM)
    (found,) = [finding for finding in layer.findings if finding.code == "dxf_lost"]
    assert "1 CIRCLE, 2 LWPOLYLINE of its 21 entities could not be read" in found.message
    assert found.measured == "3 of 21"
