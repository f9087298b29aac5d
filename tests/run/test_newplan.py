"""A first plan file from survey files: what is recognised, what is written, that it reads back whole."""

from __future__ import annotations

import itertools
import os
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import shapely

from setout import units
from setout.demo import write_demo
from setout.demo.property import survey_files
from setout.errors import PlanFaults, SetoutError
from setout.read.plan_file import read_plan_file
from setout.read.survey import read_survey
from setout.run.newplan import write_new_plan
from setout.run.newplan.text import SurveyedLayer, SurveyedSite, comment, plan_text, toml_string
from setout.tables.usual import RULES, meaning
from setout.words.findings import told

if TYPE_CHECKING:
    from setout.planfile import Plan

SQUARE = shapely.box(2_068_400.0, 241_200.0, 2_069_400.0, 242_200.0)
"""A square of 1000 ft in Pennsylvania South (ftUS)."""


@pytest.fixture(scope="module")
def survey(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_demo(tmp_path_factory.mktemp("demo")).parent / "survey"


def write(path: Path, layer: str, shapes: list[Any], crs: str = "EPSG:2272", **columns: list[Any]) -> Path:
    """Write one layer, beside the ones that are there."""
    import pyogrio.raw

    path.parent.mkdir(parents=True, exist_ok=True)
    wkb = np.array([shapely.to_wkb(s) for s in shapes], dtype=object)
    data = [np.array(v, dtype=object if isinstance(v[0], str) else None) for v in columns.values()]
    driver = {".gpkg": "GPKG", ".shp": "ESRI Shapefile", ".geojson": "GeoJSON"}[path.suffix]
    options = {"layer": layer} if driver == "GPKG" else {}
    kind = shapes[0].geom_type if shapes else "Point"
    pyogrio.raw.write(path, wkb, data, list(columns), driver=driver, geometry_type=kind, crs=crs, **options)
    return path


def made(path: Path) -> tuple[Plan, dict[str, Any], str]:
    """Return the plan, what the file holds and its text; its files are read as planning reads them."""
    plan = read_plan_file(path)
    read_survey(plan, path.parent)
    text = path.read_text(encoding="utf-8")
    return plan, tomllib.loads(text), text


def section(tables: list[dict[str, Any]], ending: str) -> dict[str, Any]:
    (found,) = [table for table in tables if table["from"].endswith(ending)]
    return found


# ---------------------------------------------------------------- what a layer is


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("road", "road"),
        ("Roads_2023", "road"),
        ("driveway", "road"),
        ("farm lanes", "road"),
        ("Camino vecinal", "road"),
        ("house", "building"),
        ("BUILDINGS", "building"),
        ("pole barn", "building"),
        ("galpón", "building"),
        ("house_well", "well"),
        ("Wellhead", "well"),
        ("POZOS", "well"),
        ("pozo de la casa", "well"),
        ("borehole", "well"),
        ("septicField", "septic field"),
        ("drainfield", "septic field"),
        ("Fosa séptica", "septic field"),
        ("fosas_septicas", "septic field"),
        ("pozo negro", "septic field"),
        ("creek", "water"),
        ("Streams", "water"),
        ("pond", "water"),
        ("river bank", "water"),
        ("arroyo", "water"),
        ("Acequias", "water"),
        ("irrigation ditch", "water"),
        ("ditches", "water"),
        ("fence", "fence"),
        ("cerca eléctrica", "fence"),
        ("propane_tank", "propane tank"),
        ("tanque de gas", "propane tank"),
        ("diesel tank", "propane tank"),
        ("Tank", "tank"),
        ("water tank", "cistern"),
        ("cisterna", "cistern"),
        ("overhead_line", "overhead power line"),
        ("PowerLines", "overhead power line"),
        ("power", "overhead power line"),
        ("O.H.L.", "overhead power line"),
        ("LÍNEAS ELÉCTRICAS", "overhead power line"),
        ("poste de luz", "overhead power line"),
        ("buried power line", "buried utility"),
        ("gas line", "buried utility"),
        ("gaslines", "buried utility"),
        ("underground_electric", "buried utility"),
        ("U/G elec", "buried utility"),
        ("irrigation main", "buried utility"),
        ("MAIN", "buried utility"),
        ("Tubería", "buried utility"),
        ("línea eléctrica subterránea", "buried utility"),
        ("gas valve", "buried utility"),
        ("tile drain", "tile drain"),
        ("drenes", "tile drain"),
        ("TILE_LINE", "tile drain"),
        ("no_plant", "no planting"),
        ("road to the well", "road"),
        ("Creek Road", "road"),
    ],
)
def test_names_that_are_recognised(name: str, why: str) -> None:
    assert meaning(name).rules == {why}
    assert not meaning(name).water


@pytest.mark.parametrize(
    "name", ["risers", "hydrants", "hidrante", "toma de riego", "barn riser", "Riser 3", "VALVE", "boca de riego", "water_points"]
)
def test_names_of_water_points(name: str) -> None:
    assert meaning(name).water
    assert not meaning(name).rules


@pytest.mark.parametrize("name", ["sidewalk", "farewell", "Layer 1", "slopes", "Marl Run", "R1", ""])
def test_names_that_are_not_what_part_of_them_says(name: str) -> None:
    assert not meaning(name).known


def test_what_may_do_harm_counts_wherever_it_stands_in_a_name() -> None:
    assert meaning("well house").rules == {"well", "building"}
    assert meaning("septic riser").rules == {"septic field"}
    assert not meaning("septic riser").water


def test_usual_figures() -> None:
    """The figures in print; those not asserted here are common practice.

    Overhead lines: utilities' planting guides, 15 ft within 20 ft. Streams: NRCS practice standard 391, zone
    1 of at least 35 ft. Septic field: county guidance, never under 10 ft. Propane: NFPA 58, 10 ft.
    """
    by_why = {rule.why: rule for rule in RULES}
    assert by_why["overhead power line"].distance.us == "20 ft"
    assert by_why["overhead power line"].height is not None
    assert by_why["overhead power line"].height.us == "15 ft"
    assert by_why["water"].distance.us == "35 ft"
    assert by_why["propane tank"].distance.us == "10 ft"
    assert units.quantity(by_why["septic field"].distance.us, "length") >= units.quantity("10 ft", "length")
    assert by_why["well"].distance.us == "50 ft"


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.why)
def test_metric_figures_are_never_the_laxer_ones(rule: Any) -> None:
    us, si = (units.quantity(text, "length") for text in (rule.distance.us, rule.distance.si))
    assert us <= si <= us + 0.11
    if rule.height is not None:
        us, si = (units.quantity(text, "length") for text in (rule.height.us, rule.height.si))
        assert us - 0.11 <= si <= us


# ---------------------------------------------------------------- the text


@pytest.mark.parametrize("text", ['a "quoted" layer', "back\\slash", "line\nbreak", "tab\t\x00\x1f\x7f", "Bäume 木"])
def test_any_text_comes_back_from_toml(text: str) -> None:
    assert tomllib.loads(f"key = {toml_string(text)}  {comment(text)}\n") == {"key": text}


def test_a_hostile_name_stays_a_name() -> None:
    evil = 'x"\n[[block]]\nname = "evil" # \r\u2028'
    layer = SurveyedLayer(evil + " road", evil + " road", "line", 1, "road", kinds=((evil, (evil,)),))
    other = SurveyedLayer(evil, evil, "mixed", 2, "unsaid", kinds=((evil, (evil,)),), water_doubt=evil)
    site = SurveyedSite(evil, "us", evil, evil, evil, (evil,), evil, (layer, other))
    plan = tomllib.loads(plan_text(site))
    assert plan["name"] == plan["site"]["boundary"] == plan["site"]["dem"][0] == evil
    assert [block["name"] for block in plan["block"]] == ["A"]
    assert [s["from"] for s in plan["setback"]] == ["boundary", evil + " road"]


# ---------------------------------------------------------------- from files to a plan


def test_the_demo_survey_gives_a_plan_that_reads(survey: Path, tmp_path: Path) -> None:
    path = write_new_plan(
        tmp_path / "new site",
        boundary=survey / "boundary.gpkg",
        dem=[survey / "dem.tif"],
        features=[survey / "features.gpkg", survey / "blocks.gpkg"],
    )
    plan, mapping, text = made(path)
    assert path == tmp_path / "new site" / "plan.toml"
    assert mapping["name"] == "new site"
    assert mapping["units"] == "us"
    assert "EPSG:2252" in text
    assert "# 39.8" in text.split("boundary =")[0].splitlines()[-1]
    # Every layer of the survey is named: used, or in a comment.
    for file, layers in survey_files().items():
        for layer in layers:
            assert f"{file}:{layer.name}" in text or f"/{file}" in text, layer.name
    setbacks = mapping["setback"]
    assert [s["from"].rpartition(":")[2] for s in setbacks] == [
        "boundary",
        "house",
        "neighbor_house",
        "barn",
        "road",
        "well",
        "septic_field",
        "propane_tank",
        "lake",
        "creek",
        "buried_line",
        "woodlot",
        "dooryard",
    ]
    assert section(setbacks, ":well")["distance"] == "50 ft"
    assert section(setbacks, ":creek")["distance"] == "35 ft"
    assert section(setbacks, ":house")["measured_to"] == "canopy"
    assert mapping["height_limit"][0]["from"].endswith(":overhead_line")
    assert mapping["no_plant"][0]["from"].endswith(":no_plant")
    assert mapping["water"]["points"].endswith(":water_points")
    assert mapping["water"]["min_pressure"] == "12 psi"
    assert len(plan.block) == 1
    assert plan.block[0].area is None
    assert "its kind is road, lane" in text.lower()
    assert {left["from"].rpartition("/")[2]: left["why"] for left in mapping["left_out"]} == {
        "blocks.gpkg": "an area to plant",
        "features.gpkg:screen_lines": "a line or a mark of the survey",
        "features.gpkg:terrace_edge": "a line or a mark of the survey",
    }
    assert text.count("usual figure - check local code") == len(setbacks) + 1


def test_the_relief_in_the_comment_is_that_of_the_dem(survey: Path, tmp_path: Path) -> None:
    import rasterio

    path = write_new_plan(tmp_path / "n", boundary=survey / "boundary.gpkg", dem=[survey / "dem.tif"])
    (boundary,) = survey_files()["boundary.gpkg"][0].geometry
    with rasterio.open(survey / "dem.tif") as file:
        values = file.read(1, window=file.window(*boundary.bounds))
    found = path.read_text(encoding="utf-8").split("heights around the site ")[1].split("\n")[0]
    low, high = (units.quantity(part, "length") for part in found.split(" to "))
    assert low == pytest.approx(float(values.min()), abs=0.5)
    assert high == pytest.approx(float(values.max()), abs=0.5)


def test_every_setting_has_a_comment(survey: Path, tmp_path: Path) -> None:
    path = write_new_plan(tmp_path / "n", boundary=survey / "boundary.gpkg", features=[survey / "features.gpkg"])
    plain = ("name", "why", "measured_to", "height =")
    lines = path.read_text(encoding="utf-8").splitlines()
    bare = [
        line
        for above, line in itertools.pairwise(lines)
        if "=" in line and "#" not in line and not above.startswith("#") and not line.startswith(plain)
    ]
    assert bare == []


def test_without_a_dem_nothing_rests_on_slope(survey: Path, tmp_path: Path) -> None:
    plan, mapping, _ = made(write_new_plan(tmp_path / "n", boundary=survey / "boundary.gpkg"))
    assert plan.site.dem == ()
    assert "max_slope" not in mapping["ground"]
    assert plan.water is None


def test_one_file_with_everything_in_it(tmp_path: Path) -> None:
    file = tmp_path / "site.gpkg"
    write(file, "parcel", [SQUARE])
    write(file, "streams", [shapely.LineString([(2_068_500, 241_300), (2_069_300, 241_900)])])
    write(file, "sheds", [shapely.box(2_068_600, 242_000, 2_068_630, 242_020)])
    plan, mapping, _ = made(write_new_plan(tmp_path / "n", boundary=file, features=[file]))
    assert plan.site.boundary == "../site.gpkg:parcel"
    assert [s["from"] for s in mapping["setback"]] == ["boundary", "../site.gpkg:streams", "../site.gpkg:sheds"]
    assert made(write_new_plan(tmp_path / "m", boundary=file))[1]["setback"] == mapping["setback"]


def test_a_layer_of_the_boundary_can_be_named(tmp_path: Path) -> None:
    file = write(tmp_path / "site.gpkg", "lot 1", [SQUARE])
    write(file, "lot 2", [shapely.affinity.translate(SQUARE, 2000, 0)])
    with pytest.raises(PlanFaults, match=r"several of its layers could be the boundary: lot 1, lot 2; say which"):
        write_new_plan(tmp_path / "n", boundary=file)
    assert not (tmp_path / "n").exists()
    plan, _, _ = made(write_new_plan(tmp_path / "n", boundary=Path(f"{file}:lot 2")))
    assert plan.site.boundary == "../site.gpkg:lot 2"


def test_a_column_that_says_what_features_are(tmp_path: Path) -> None:
    boundary = write(tmp_path / "b.gpkg", "b", [SQUARE])
    lines = [shapely.LineString([(2_068_500 + k, 241_300), (2_069_300, 241_900 - k)]) for k in (0, 100, 200)]
    file = write(tmp_path / "f.gpkg", "survey lines", lines, kind=["road", "creek", "swale edge"])
    write(file, "other", [shapely.Point(2_068_500, 241_400)])
    _, mapping, text = made(write_new_plan(tmp_path / "n", boundary=boundary, features=[file]))
    assert [s["from"] for s in mapping["setback"]] == [
        "boundary",
        "../f.gpkg:survey lines[kind=road]",
        "../f.gpkg:survey lines[kind=creek]",
    ]
    assert mapping["left_out"] == [{"from": "../f.gpkg:survey lines[kind=swale edge]"}, {"from": "../f.gpkg:other"}]
    assert "not understood; kind is swale edge" in text


def points(count: int) -> list[shapely.Point]:
    return [shapely.Point(2_068_600.0 + 60 * k, 241_700.0) for k in range(count)]


def test_a_well_with_pressure_and_flow_stays_a_well(tmp_path: Path) -> None:
    """What a feature is comes before which of its columns are filled; its trees stand 50 ft off, as the plan file says."""
    from setout import run

    boundary = write(tmp_path / "b.gpkg", "b", [SQUARE])
    at = points(4)
    file = write(
        tmp_path / "f.gpkg",
        "water",
        at,
        type=["Well", "tank", "riser", "RISERS"],
        pressure_psi=[45.0, 40.0, 41.0, 42.0],
        flow_gpm=[30.0, 20.0, 12.0, 12.0],
    )
    path = write_new_plan(tmp_path / "n", boundary=boundary, features=[file])
    _, mapping, _ = made(path)
    assert {s["from"]: s["distance"] for s in mapping["setback"][1:]} == {"../f.gpkg[type=Well]": "50 ft", "../f.gpkg[type=tank]": "25 ft"}
    assert mapping["water"]["points"] == "../f.gpkg[type=riser|RISERS]"
    planting = run.plan(path, tmp_path / "out", products=("geopackage",))
    well = shapely.get_coordinates(planting.site.setbacks[1].geometry)[0]
    assert np.hypot(planting.trees.x - well[0], planting.trees.y - well[1]).min() >= 50 * 0.3048 - 0.01
    assert planting.site.water is not None
    assert len(planting.site.water.points.name) == 2


def test_what_nobody_understood_stops_the_plan(tmp_path: Path) -> None:
    from setout import run

    boundary = write(tmp_path / "b.gpkg", "b", [SQUARE])
    file = write(tmp_path / "f.gpkg", "misc", points(3), tipo=["pozo", "qanat", "qanat"])
    path = write_new_plan(tmp_path / "n", boundary=boundary, features=[file])
    (stop,) = [f for f in run.plan(path, tmp_path / "out", products=()).findings if f.severity == "stop"]
    assert "2 features of ../f.gpkg[tipo=qanat]" in told(stop, "us").message
    assert "[[setback]]" in told(stop, "us").remedy
    text = path.read_text(encoding="utf-8").replace('[tipo=qanat]"', '[tipo=qanat]"\nwhy = "dry since 1950"')
    path.write_text(text, encoding="utf-8")
    findings = run.plan(path, tmp_path / "out", products=()).findings
    assert [f for f in findings if f.severity == "stop"] == []
    assert any("dry since 1950" in told(f, "us").message for f in findings)


def test_a_column_of_any_name_may_say_what_features_are(tmp_path: Path) -> None:
    boundary = write(tmp_path / "b.gpkg", "b", [SQUARE])
    file = write(
        tmp_path / "f.gpkg", "features", points(4), que_es=["FOSA_SÉPTICA", "hidrante", "Tubería de gas", "pozos"], pressure_psi=[40.0] * 4
    )
    _, mapping, _ = made(write_new_plan(tmp_path / "n", boundary=boundary, features=[file]))
    assert [s["distance"] for s in mapping["setback"][1:]] == ["25 ft", "10 ft", "50 ft"]
    assert mapping["water"]["points"] == "../f.gpkg[que_es=hidrante]"


def test_the_sort_comes_before_the_name_and_the_name_before_the_layer(tmp_path: Path) -> None:
    boundary = write(tmp_path / "b.gpkg", "b", [SQUARE])
    file = write(
        tmp_path / "f.gpkg", "risers", points(4), kind=["riser", None, "well", None], name=["Barn", "Creek", "Riser 3", "Old well"]
    )
    _, mapping, text = made(write_new_plan(tmp_path / "n", boundary=boundary, features=[file]))
    (well,) = mapping["setback"][1:]
    assert well["distance"] == "50 ft"
    assert well["from"] == "../f.gpkg[name=Riser 3|Old well]", text
    assert mapping["water"]["points"] == '../f.gpkg[kind=riser|""]'


def test_lines_that_may_run_over_or_under_ground_count_as_both(tmp_path: Path) -> None:
    boundary = write(tmp_path / "b.gpkg", "b", [SQUARE])
    line = shapely.LineString([(2_068_500, 241_300), (2_069_300, 241_900)])
    write(tmp_path / "f.gpkg", "utility line", [line])
    write(tmp_path / "f.gpkg", "power lines", [line], placement=["underground"])
    _, mapping, _ = made(write_new_plan(tmp_path / "n", boundary=boundary, features=[tmp_path / "f.gpkg"]))
    both = ["../f.gpkg:utility line", "../f.gpkg:power lines"]
    assert [s["from"] for s in mapping["setback"][1:]] == both
    assert [s["from"] for s in mapping["height_limit"]] == both


def test_water_points_of_several_layers_are_all_taken(tmp_path: Path) -> None:
    from setout import run

    boundary = write(tmp_path / "b.gpkg", "b", [SQUARE])
    at = points(4)
    write(tmp_path / "f.gpkg", "hydrants", at[:2], name=["H1", "H2"], pressure_psi=[45.0, 50.0])
    write(tmp_path / "f.gpkg", "risers", at[2:], name=["H1", "R"], pressure_psi=[40.0, 42.0])
    path = write_new_plan(tmp_path / "n", boundary=boundary, features=[tmp_path / "f.gpkg"])
    water = run.plan(path, tmp_path / "out", products=()).site.water
    assert water is not None
    assert water.points.name == ("H1", "H2", "H1 (3)", "R")
    assert water.points.pressure_kpa / units.PSI == pytest.approx([45, 50, 40, 42])


def test_shapefiles_are_known_by_their_names(tmp_path: Path) -> None:
    boundary = write(tmp_path / "b.shp", "", [SQUARE])
    well = write(tmp_path / "house_wells.shp", "", [shapely.Point(2_068_700, 241_700)], id=[1])
    _, mapping, _ = made(write_new_plan(tmp_path / "n", boundary=boundary, features=[well]))
    assert [s["from"] for s in mapping["setback"]] == ["boundary", "../house_wells.shp"]


def test_water_points_whose_pressure_has_no_unit_are_left_out_with_the_reason(tmp_path: Path) -> None:
    boundary = write(tmp_path / "b.gpkg", "b", [SQUARE])
    file = write(tmp_path / "w.gpkg", "risers", [shapely.Point(2_068_700, 241_700)], pressure=[45.0])
    plan, _, text = made(write_new_plan(tmp_path / "n", boundary=boundary, features=[file]))
    assert plan.water is None
    assert "not used: ../w.gpkg" in text
    assert "pressure_psi" in text


def test_water_points_without_pressure_ask_for_none(tmp_path: Path) -> None:
    boundary = write(tmp_path / "b.gpkg", "b", [SQUARE])
    file = write(tmp_path / "w.gpkg", "risers", [shapely.Point(2_068_700, 241_700)], name=["R1"])
    _, mapping, _ = made(write_new_plan(tmp_path / "n", boundary=boundary, features=[file]))
    assert "min_pressure" not in mapping["water"]


def test_an_empty_layer_is_no_obstacle(tmp_path: Path) -> None:
    file = write(tmp_path / "site.gpkg", "parcel", [SQUARE])
    write(file, "wells", [])
    _, mapping, _ = made(write_new_plan(tmp_path / "n", boundary=file))
    assert [s["from"] for s in mapping["setback"]] == ["boundary"]


def test_a_layer_with_quotes_in_its_name(tmp_path: Path) -> None:
    file = write(tmp_path / 'the "old" site.gpkg', "parcel", [SQUARE])
    write(file, 'road "A" \\ west', [shapely.LineString([(2_068_500, 241_300), (2_069_300, 241_900)])])
    _, mapping, _ = made(write_new_plan(tmp_path / "n", boundary=file))
    assert mapping["setback"][1]["from"] == '../the "old" site.gpkg:road "A" \\ west'


def test_a_layer_whose_name_would_break_out_of_the_plan_file(tmp_path: Path) -> None:
    """The plan file reads back whole, with the layer's own name to find it by and a label on one line."""
    name = 'road"]\n[[block]]\nname = "x\x1b[31m\u202e'
    file = write(tmp_path / "site.gpkg", "parcel", [SQUARE])
    write(file, name, [shapely.LineString([(2_068_500, 241_300), (2_069_300, 241_900)])])
    _, mapping, _ = made(write_new_plan(tmp_path / ("n\x1b" + "y" * 230), boundary=file))
    assert len(mapping["block"]) == 1
    (left,) = mapping["left_out"]  # nobody can tell what such a name means, so that it stops
    assert left == {"from": f"../site.gpkg:{name}"}
    assert mapping["name"] == "n " + "y" * 198


def test_metric_survey_gets_metric_figures(tmp_path: Path) -> None:
    # Near Alnarp in southern Sweden, SWEREF 99 TM.
    boundary = write(tmp_path / "b.gpkg", "b", [shapely.box(380_000, 6_170_000, 380_300, 6_170_300)], "EPSG:3006")
    plan, mapping, text = made(write_new_plan(tmp_path / "n", boundary=boundary))
    assert mapping["units"] == "si"
    assert plan.block[0].step == pytest.approx(5.5)
    assert " ft" not in text.replace("16 ft", "")
    assert "9.00 ha" in text


@pytest.mark.parametrize("asked", ["us", "si"])
def test_units_as_asked(survey: Path, tmp_path: Path, asked: str) -> None:
    _, mapping, _ = made(write_new_plan(tmp_path / "n", boundary=survey / "boundary.gpkg", units=asked))
    assert mapping["units"] == asked


def test_degrees_in_the_united_states_are_read_in_feet(tmp_path: Path) -> None:
    boundary = write(tmp_path / "b.geojson", "", [shapely.box(-77.40, 39.99, -77.39, 40.0)], "EPSG:4326")
    _, mapping, _ = made(write_new_plan(tmp_path / "n", boundary=boundary))
    assert mapping["units"] == "us"


def test_paths_are_written_relative_to_the_plan_file(survey: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(survey)
    plan, _, _ = made(write_new_plan(tmp_path / "deep" / "er", boundary=Path("boundary.gpkg")))
    expected = Path(os.path.relpath(survey / "boundary.gpkg", tmp_path / "deep" / "er")).as_posix()
    assert plan.site.boundary == expected


# ---------------------------------------------------------------- what is refused


def test_a_plan_file_is_never_overwritten(survey: Path, tmp_path: Path) -> None:
    (tmp_path / "plan.toml").write_text("mine", encoding="utf-8")
    with pytest.raises(SetoutError, match="there is a plan file already; name another folder"):
        write_new_plan(tmp_path, boundary=survey / "boundary.gpkg")
    assert (tmp_path / "plan.toml").read_text(encoding="utf-8") == "mine"


def test_all_faults_of_all_files_at_once_and_nothing_left(survey: Path, tmp_path: Path) -> None:
    text = tmp_path / "dem.tif"
    text.write_text("no raster", encoding="utf-8")
    with pytest.raises(PlanFaults) as caught:
        write_new_plan(tmp_path / "a" / "b", boundary=tmp_path / "none.gpkg", dem=[text], features=[tmp_path / "also.gpkg"])
    assert len(caught.value.faults) == 3
    assert {Path(f.where.split(":")[0]).name for f in caught.value.faults} == {"none.gpkg", "dem.tif", "also.gpkg"}
    assert not (tmp_path / "a").exists()


def test_a_dem_of_another_place_is_refused(survey: Path, tmp_path: Path) -> None:
    (there,) = survey_files()["boundary.gpkg"][0].geometry
    boundary = write(tmp_path / "b.gpkg", "b", [shapely.affinity.translate(there, 50_000, 0)], "EPSG:2252")
    with pytest.raises(PlanFaults, match="no elevation anywhere around the boundary"):
        write_new_plan(tmp_path / "n", boundary=boundary, dem=[survey / "dem.tif"])


def test_a_boundary_without_a_system_is_refused(tmp_path: Path) -> None:
    boundary = write(tmp_path / "b.shp", "", [SQUARE])
    (tmp_path / "b.prj").unlink()
    with pytest.raises(PlanFaults, match="does not say its CRS"):
        write_new_plan(tmp_path / "n", boundary=boundary)


def test_points_are_no_boundary(survey: Path, tmp_path: Path) -> None:
    boundary = write(tmp_path / "b.gpkg", "b", [shapely.Point(2_068_700, 241_700)])
    with pytest.raises(PlanFaults, match="a boundary is a polygon or a closed line"):
        write_new_plan(tmp_path / "n", boundary=boundary)


def test_unknown_units_are_refused(survey: Path, tmp_path: Path) -> None:
    with pytest.raises(SetoutError, match='"metric" is no system of units; write "us" or "si"'):
        write_new_plan(tmp_path, boundary=survey / "boundary.gpkg", units="metric")


def test_a_folder_that_is_a_file_is_refused(survey: Path, tmp_path: Path) -> None:
    (tmp_path / "n").write_text("", encoding="utf-8")
    with pytest.raises(SetoutError, match=r"no plan file can be written here \(Not a directory\)"):
        write_new_plan(tmp_path / "n", boundary=survey / "boundary.gpkg")


def test_a_name_that_cannot_be_a_reference_is_refused(tmp_path: Path) -> None:
    file = write(tmp_path / "b.gpkg", "parcel", [SQUARE])
    write(file, "road [old]", [shapely.LineString([(2_068_500, 241_300), (2_069_300, 241_900)])])
    with pytest.raises(PlanFaults, match=r"cannot be written as a reference; rename it"):
        write_new_plan(tmp_path / "n", boundary=file)


def test_a_system_said_beside_the_files_goes_into_the_plan(tmp_path: Path) -> None:
    boundary = write(tmp_path / "b.shp", "", [SQUARE])
    (tmp_path / "b.prj").unlink()
    path = write_new_plan(tmp_path / "n", boundary=boundary, crs="EPSG:2272")
    plan, _, text = made(path)
    assert plan.site.crs == "EPSG:2272"
    assert "as asked, for files that do not say theirs" in text


def dem_without_unit(path: Path, crs: str, west: float, north: float) -> Path:
    import rasterio
    from rasterio.transform import from_origin

    rows = np.arange(60, dtype=np.float32)
    z = 100.0 + rows[:, None] * 0.1 + rows[None, :] * 0.05
    profile = {"driver": "GTiff", "width": 60, "height": 60, "count": 1, "dtype": "float32", "crs": crs}
    with rasterio.open(path, "w", transform=from_origin(west, north, 20, 20), **profile) as file:
        file.write(z.astype(np.float32), 1)
    return path


def test_a_dem_in_feet_that_does_not_say_its_heights_is_refused_until_they_are_said(tmp_path: Path) -> None:
    boundary = write(tmp_path / "b.gpkg", "b", [SQUARE])
    dem = dem_without_unit(tmp_path / "dem.tif", "EPSG:2272", 2_068_300, 242_300)
    with pytest.raises(PlanFaults, match=r"say --dem-unit .*as the maker of the DEM states it"):
        write_new_plan(tmp_path / "n", boundary=boundary, dem=[dem])
    plan, _, _ = made(write_new_plan(tmp_path / "n", boundary=boundary, dem=[dem], dem_unit="US survey ft"))
    assert plan.site.dem_unit == "US survey ft"


def test_what_the_readers_doubt_stands_in_the_plan(tmp_path: Path) -> None:
    square = shapely.box(380_000, 6_170_000, 380_300, 6_170_300)
    boundary = write(tmp_path / "b.gpkg", "b", [square], "EPSG:3006")
    dem = dem_without_unit(tmp_path / "dem.tif", "EPSG:3006", 379_800, 6_170_500)
    _, _, text = made(write_new_plan(tmp_path / "n", boundary=boundary, dem=[dem]))
    assert "# look at this: " in text
    assert "metres" in text.split("# look at this: ")[1].splitlines()[0]


def test_corners_and_deed_calls_make_a_plan(tmp_path: Path) -> None:
    corners = tmp_path / "corners.csv"
    rows = [f"{x:.2f},{y:.2f}" for x, y in SQUARE.exterior.coords[:-1]]
    corners.write_text("easting,northing\n" + "\n".join(rows) + "\n", encoding="utf-8")
    plan, _, text = made(write_new_plan(tmp_path / "a", boundary=corners, crs="EPSG:2272"))
    assert plan.site.boundary == "../corners.csv"
    assert "22.96 acres" in text
    deed = tmp_path / "deed.txt"
    calls = ("start N 241200 E 2068400", "crs EPSG:2272", "unit US survey ft", "N 0-00-00 E 1000", "N 90-00-00 E 1000")
    deed.write_text("\n".join((*calls, "S 0-00-00 E 1000", "N 90-00-00 W 1000")), encoding="utf-8")
    assert "22.96 acres" in made(write_new_plan(tmp_path / "b", boundary=deed))[2]


def test_the_plan_file_plans_without_an_edit(survey: Path, tmp_path: Path) -> None:
    import pyogrio

    from setout import run

    path = write_new_plan(
        tmp_path / "site",
        boundary=survey / "boundary.gpkg",
        dem=[survey / "dem.tif"],
        features=[survey / "features.gpkg", survey / "blocks.gpkg"],
    )
    planting = run.plan(path, tmp_path / "out", products=("geopackage",))
    # 39.9 acres at 196 trees an acre (43,560 / (0.866 x 16 x 16)), less what is taken out.
    assert 3000 < len(planting.trees) < 39.9 * 196.5
    assert pyogrio.read_info(tmp_path / "out" / "plan.gpkg", layer="trees")["features"] == len(planting.trees)
    assert [told(f, "us").message for f in planting.findings if f.severity == "stop"] == []


def test_a_bare_boundary_plans_without_an_edit(tmp_path: Path) -> None:
    from setout import run

    boundary = write(tmp_path / "b.gpkg", "b", [SQUARE])
    path = write_new_plan(tmp_path / "site", boundary=boundary)
    planting = run.plan(path, tmp_path / "out", products=("geopackage",))
    assert len(planting.trees) > 3000
