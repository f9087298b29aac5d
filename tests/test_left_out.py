"""Every feature of the survey files is used or named: layers and features that no table of the plan file is about."""

from __future__ import annotations

from pathlib import Path

import ezdxf
import pytest
import shapely

from farm import EAST, FIELD, NORTH, Farm, write_survey, write_vector
from setout.errors import PlanFaults
from setout.read import reference
from setout.read.plan_file import read_plan_file
from setout.read.survey import read_survey
from setout.read.vector.files import read_vector
from setout.stages.survey import site_of
from setout.words.findings import Told, all_told

CODES = ("layer_unused", "left_out", "left_out_unsaid")


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sound")
    write_survey(folder)
    return folder


@pytest.fixture
def farm(tmp_path: Path, sound: Path) -> Farm:
    return Farm(tmp_path / "farm", sound)


def told(farm: Farm, **sections: object) -> list[Told]:
    plan = read_plan_file(farm.write(**sections))
    site = site_of(plan.asked(), read_survey(plan, farm.folder))
    return [finding for finding in all_told(site.findings, "us") if finding.code in CODES]


def spots(farm: Farm, kinds: list[str | None], layer: str = "spots") -> None:
    points = [shapely.Point(EAST + 10 + 5 * k, NORTH + 12) for k in range(len(kinds))]
    write_vector(farm.survey / "features.gpkg", points, layer, kind=kinds)


def test_a_survey_that_is_used_whole_has_no_such_finding(farm: Farm) -> None:
    assert told(farm) == []


def test_a_layer_that_nothing_names_is_a_warning(farm: Farm) -> None:
    spots(farm, ["pozo"])
    (finding,) = told(farm)
    assert (finding.code, finding.severity) == ("layer_unused", "warn")
    assert "features.gpkg:spots" in finding.message
    assert "[[left_out]]" in finding.remedy


def test_features_that_nothing_names_are_a_warning(farm: Farm) -> None:
    spots(farm, ["well", "well", "noria", None])
    more = {"from": "survey/features.gpkg:spots[kind=well]", "distance": "10 m"}
    (finding,) = told(farm, setback=[*farm.sections["setback"], more])
    assert finding.severity == "warn"
    assert "2 of 4 features of features.gpkg:spots" in finding.message
    more["from"] = 'survey/features.gpkg:spots[kind=well|noria|""]'
    assert told(farm, setback=[*farm.sections["setback"], more]) == []


def test_the_other_layers_of_a_file_named_without_a_layer_are_a_warning(farm: Farm) -> None:
    write_vector(farm.survey / "field.gpkg", [FIELD], "field")
    write_vector(farm.survey / "field.gpkg", [shapely.Point(EAST + 10, NORTH + 10)], "pozos")
    (finding,) = told(farm)
    assert "field.gpkg:pozos" in finding.message


def test_the_other_layers_of_a_drawing_are_a_warning(farm: Farm) -> None:
    drawing = ezdxf.new(units=6)
    space = drawing.modelspace()
    space.add_lwpolyline(shapely.get_coordinates(FIELD)[:-1].tolist(), close=True, dxfattribs={"layer": "LOT"})
    space.add_line((EAST, NORTH + 9), (EAST + 100, NORTH + 9), dxfattribs={"layer": "GAS"})
    drawing.saveas(farm.survey / "site.dxf")
    (finding,) = told(farm, site={**farm.sections["site"], "boundary": "survey/site.dxf", "crs": "EPSG:26910"})
    assert "site.dxf:GAS" in finding.message


def test_left_out_with_a_reason_is_a_note_and_without_one_it_stops(farm: Farm) -> None:
    spots(farm, ["noria", "sample"])
    without, with_why = told(
        farm,
        left_out=[
            {"from": "survey/features.gpkg:spots[kind=noria]"},
            {"from": "survey/features.gpkg:spots[kind=sample]", "why": "a soil sample"},
        ],
    )
    assert (without.code, without.severity, without.measured) == ("left_out_unsaid", "stop", "1")
    assert "features.gpkg:spots[kind=noria]" in without.message
    assert "[[setback]]" in without.remedy
    assert (with_why.code, with_why.severity) == ("left_out", "note")
    assert "a soil sample" in with_why.message


def test_a_value_among_several_that_no_feature_has_is_a_fault(farm: Farm) -> None:
    spots(farm, ["well"])
    path = farm.write(left_out=[{"from": "survey/features.gpkg:spots[kind=well|wel]"}])
    with pytest.raises(PlanFaults, match='no feature has kind = "wel"; did you mean "well"'):
        read_survey(read_plan_file(path), farm.folder)


@pytest.mark.parametrize(
    ("value", "taken"),
    [
        ("a|b", [0]),  # a feature that reads just so comes first
        ("b|c", [1, 2]),
        ("'c'|b", [1, 2]),
        ('""', [3, 4]),
        ('c|""', [2, 3, 4]),
    ],
)
def test_several_values(tmp_path: Path, value: str, taken: list[int]) -> None:
    points = [shapely.Point(EAST + k, NORTH) for k in range(5)]
    write_vector(tmp_path / "p.gpkg", points, kind=["a|b", "b", "c", None, "  "])
    layer = read_vector(reference.parse(f"p.gpkg[kind={value}]", tmp_path))
    assert shapely.get_x(layer.geometry).tolist() == [EAST + k for k in taken]
