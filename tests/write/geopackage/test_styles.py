"""Layer styles: both texts say the same, colours can be told apart, and text of a plan stays text."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from lxml import etree

from setout.layers import CONTRACTS
from setout.write.geopackage.styles import PLANTED, TAKEN, style_rows

SE = {"se": "http://www.opengis.net/se", "sld": "http://www.opengis.net/sld", "ogc": "http://www.opengis.net/ogc"}
NASTY = 'x</value><script>alert(1)</script> & "quoted" \x07'
LABELS = {"block": ["A", "B", NASTY], "reason": ["slope", "well", NASTY]}


@pytest.fixture(params=[name for name, contract in CONTRACTS.items() if contract.geometry])
def row(request):
    return style_rows([CONTRACTS[request.param]], LABELS)[0]


def colours_of_qml(tree):
    found = []
    for layer in tree.iterfind(".//symbol/layer"):
        key = "line_color" if layer.get("class") == "SimpleLine" else "color"
        parts = [int(v) for v in layer.find(f"prop[@k='{key}']").get("v").split(",")]
        found.append("#{:02X}{:02X}{:02X}".format(*parts[:3]) if parts[3] else None)
    return found


def colours_of_sld(tree):
    found = []
    for rule in tree.iterfind(".//se:Rule", SE):
        fill = rule.find(".//se:Fill/se:SvgParameter[@name='fill']", SE)
        line = rule.find(".//se:LineSymbolizer//se:SvgParameter[@name='stroke']", SE)
        chosen = fill if fill is not None else line
        found.append(None if chosen is None else chosen.text)
    return found


def test_both_texts_are_well_formed_and_say_the_same(row):
    qml, sld = etree.fromstring(row.qml.encode()), etree.fromstring(row.sld.encode())
    assert sld.get("version") == "1.1.0"
    assert sld.findtext(".//sld:NamedLayer/se:Name", namespaces=SE) == row.layer
    assert colours_of_qml(qml) == colours_of_sld(sld)
    categories = [c.get("value") for c in qml.iterfind(".//category")]
    assert categories == [e.text for e in sld.iterfind(".//ogc:Literal", SE)]
    for layer in qml.iterfind(".//symbol/layer"):
        options = {o.get("name"): o.get("value") for o in layer.iterfind("Option/Option")}
        assert options == {p.get("k"): p.get("v") for p in layer.iterfind("prop")}


def test_classes_come_from_a_column_of_the_layer(row):
    attribute = etree.fromstring(row.qml.encode()).find("renderer-v2").get("attr")
    assert attribute is None or attribute in CONTRACTS[row.layer].names


def test_text_of_the_plan_never_becomes_markup():
    for row in style_rows([CONTRACTS["trees"], CONTRACTS["exclusions"]], LABELS):
        for text in (row.qml, row.sld):
            tree = etree.fromstring(text.encode())
            assert "script" not in {etree.QName(e).localname for e in tree.iter() if isinstance(e.tag, str)}
            assert "</value><script>" not in text


def test_tables_have_no_style_and_no_labels_no_classes():
    assert style_rows([CONTRACTS["land_account"]], {}) == []
    (row,) = style_rows([CONTRACTS["trees"]], {})
    assert 'type="singleSymbol"' in row.qml


def test_many_blocks_differ_in_shape_where_colours_come_back():
    (row,) = style_rows([CONTRACTS["trees"]], {"block": [f"B{k}" for k in range(14)]})
    tree = etree.fromstring(row.qml.encode())
    keys = ("color", "name")
    looks = [tuple(s.find(f".//prop[@k='{k}']").get("v") for k in keys) for s in tree.iterfind(".//symbol")]
    assert len(set(looks)) == 14


# Machado, Oliveira and Fernandes 2009, "A Physiologically-based Model for Simulation of Color Vision
# Deficiency", severity 1.0: linear RGB as it is seen without red- or green-sensitive cones.
PROTANOPIA = ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998))
DEUTERANOPIA = ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881))


def lab(colour, matrix):
    """CIE L*a*b*, D65, of an sRGB colour as it is seen (IEC 61966-2-1, CIE 15)."""
    srgb = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    seen = np.clip(np.array(matrix) @ linear, 0, 1)
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ seen
    white = xyz / (0.9505, 1, 1.089)
    f = [math.cbrt(t) if t > 216 / 24389 else (24389 / 27 * t + 16) / 116 for t in white]
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("matrix", [np.eye(3), PROTANOPIA, DEUTERANOPIA], ids=["all cones", "no red", "no green"])
@pytest.mark.parametrize("colours", [PLANTED, TAKEN], ids=["planted", "taken"])
def test_colours_can_be_told_apart(colours, matrix):
    """2.3 in L*a*b* is just noticeable (Mahy, Van Eycken and Oosterlinck 1994); ours are thrice that."""
    for one, other in itertools.combinations(colours, 2):
        assert np.linalg.norm(lab(one, matrix) - lab(other, matrix)) > 6.9
