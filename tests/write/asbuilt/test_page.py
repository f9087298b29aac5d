"""Trees as they stand, on file: the layers keep their contracts and the standard, the page names every kind of fault."""

from __future__ import annotations

import importlib.util
import re
import xml.etree.ElementTree as ET
from dataclasses import fields, replace

import geopandas
import numpy as np
import pytest
import shapely

from setout.layers import ASBUILT, CONTRACTS
from setout.layers.asbuilt import asbuilt_layers
from setout.model.asbuilt import FieldPoints, Return
from setout.run.fieldreturn import planned_of
from setout.stages import fieldreturn
from setout.stages.staking import stake_set
from setout.words.grouped import codes_by_tree
from setout.write.asbuilt import page as asbuilt
from setout.write.asbuilt.picture import picture
from setout.write.geopackage.writer import write
from write import sample_planting


def came_back(names=()):
    """A survey of the sample: 0.2 m east, one tree missing, one extra, two of other kinds swapped."""
    planting = sample_planting.planting(names=names)
    corners = shapely.get_coordinates(planting.site.boundary)[:-1]
    planting = replace(planting, site=replace(planting.site, monuments=corners))
    planned = planned_of(planting, stake_set(planting))
    n = len(planning := planting.trees)
    rng = np.random.default_rng(1)
    x, y = planning.x + 0.2 + rng.normal(0, 0.03, n), planning.y + rng.normal(0, 0.03, n)
    own = np.arange(n)
    other = int(np.flatnonzero(planned.kind != planned.kind[20])[0])
    own[[20, other]] = own[[other, 20]]
    kept = np.delete(np.arange(n), 5)
    points = FieldPoints(
        np.append(planned.tree_id[own][kept], sample_planting.EVIL[0]).astype(object),
        np.append(x[kept], x[300] + 2.8),
        np.append(y[kept], y[300]),
        np.append(own[kept], -1),
    )
    built = fieldreturn.match(planned, points)
    found = fieldreturn.doubts(planned, built, corners)
    labels = tuple(fieldreturn.label(planned, built, k) for k in range(len(points)))
    order = np.flatnonzero(built.place >= 0)
    at = built.place[order]
    filled = {f.name: getattr(planning, f.name) for f in fields(planning) if getattr(planning, f.name) is not None}
    own = {name: values[at] for name, values in filled.items() if len(values)}
    own |= {"x": points.x[order], "y": points.y[order], "findings": codes_by_tree(np.array(labels)[order], found)}
    true = replace(planting, trees=replace(planning, **own), findings=found)
    return Return(planting, true, built, order, labels, "field.csv")


@pytest.fixture(scope="module")
def back():
    return came_back()


@pytest.fixture(scope="module")
def file(back, tmp_path_factory):
    path = tmp_path_factory.mktemp("asbuilt") / "asbuilt.gpkg"
    write(path, asbuilt_layers(back), back.planting.site.frame.survey_crs)
    return path


def test_the_geopackage_validator_finds_nothing_wrong(file, testdata):
    spec = importlib.util.spec_from_file_location("validate_gpkg", testdata("gdal-utils", "osgeo_utils/samples/validate_gpkg.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    assert module.check(str(file), abort_at_first_error=False) == []


def test_the_layers_keep_their_contracts(file):
    for name, contract in ASBUILT.items():
        read = geopandas.read_file(file, layer=name)
        assert [c for c in read.columns if c != "geometry"] == list(contract.names)
        for column in contract.columns:
            assert not (column.required and read[column.name].isna().any()), column.name
    assert not set(ASBUILT) & set(CONTRACTS)


def test_offsets_and_directions_are_those_that_were_put_in(back, file):
    read = geopandas.read_file(file, layer="asbuilt")
    held = read[read["status"] != "extra"]
    assert held["east_m"].median() == pytest.approx(0.2, abs=0.005)
    assert held["north_m"].median() == pytest.approx(0.0, abs=0.005)
    assert held["direction_deg"].median() == pytest.approx(90.0, abs=1.0)
    np.testing.assert_allclose(held["offset_m"], np.hypot(held["east_m"], held["north_m"]), atol=1e-9)
    assert held["own_offset_m"].median() < 0.05
    assert set(read["status"]) == {"in place", "swapped", "extra"}
    lines = geopandas.read_file(file, layer="offsets")
    size = 1200 / 3937  # US survey foot, exact
    np.testing.assert_allclose(lines.geometry.length * size, lines["offset_m"], rtol=2e-4)
    set_up = geopandas.read_file(file, layer="set_up").set_index("figure")["value"]
    assert set_up["shift of the whole"] == pytest.approx(0.2, abs=0.005)
    assert (set_up["missing"], set_up["extra"], set_up["swapped"]) == (1, 1, 2)


def test_the_page_names_what_is_wrong_and_takes_text_for_text(back, tmp_path):
    asbuilt.write_page(tmp_path / "a.html", back)
    page = (tmp_path / "a.html").read_text(encoding="utf-8")
    words = re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", page))
    for said in ("is missing", "stands at the place of", "where no tree is planned", "the whole set-out lies 0.6", "field.csv"):
        assert said.casefold() in words.casefold()
    assert "<script" not in page


@pytest.mark.parametrize("names", [(), sample_planting.EVIL])
def test_the_picture_is_xml_with_a_mark_for_every_fault(names):
    back = came_back(names)
    root = ET.fromstring(picture(back.planting, back.built))
    assert {e.tag.rpartition("}")[2] for e in root.iter()} <= {"svg", "title", "rect", "path", "text"}
    texts = " ".join("".join(e.itertext()) for e in root.iter() if e.tag.endswith("text"))
    for said in ("missing: 1", "extra: 1", "swapped: 2"):
        assert said in texts
    # paper has no pixels: a tail of the length that is told stands beside the words
    assert "one as long as this is" in texts
    assert any(e.get("d", "").endswith("h22") for e in root.iter())
