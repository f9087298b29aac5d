"""The demo property: what is committed in data/ is what the code writes, and it is ground worth planning."""

from __future__ import annotations

import errno
import itertools
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest
import shapely

from setout import units
from setout.demo import PLAN_NAME, write_demo
from setout.demo import files as demo_files
from setout.demo.property import CELL_FT, CORNER_MARK, survey_files
from setout.demo.terrain import heights
from setout.errors import Interrupted, SetoutError
from setout.plan import parse_plan

DATA = Path(__file__).resolve().parents[1] / "data"


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_demo(tmp_path_factory.mktemp("demo"))


def layer(path: Path, name: str) -> tuple[np.ndarray, dict[str, np.ndarray], str]:
    import pyogrio.raw

    meta, _, geometry, columns = pyogrio.raw.read(path, layer=name)
    return shapely.from_wkb(geometry), dict(zip(meta["fields"], columns, strict=True)), meta["crs"]


def dem(path: Path) -> tuple[np.ndarray, dict[str, object]]:
    import rasterio

    with rasterio.open(path) as file:
        about = {"units": file.units, "crs": file.crs, "nodata": file.nodata, "transform": file.transform}
        return file.read(1), about


def at(about: dict[str, object], col: object, row: object) -> tuple[object, object]:
    """Return x and y of fractional (column, row) of the DEM, whose rows run south."""
    a, _, c, _, e, f = tuple(about["transform"])[:6]  # type: ignore[arg-type]
    return a * col + c, e * row + f


def files_under(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file())


def test_data_holds_the_demo_and_nothing_else(demo: Path) -> None:
    assert files_under(DATA) == files_under(demo.parent)


def test_plan_file_in_data_is_the_one_written(demo: Path) -> None:
    assert (DATA / PLAN_NAME).read_text(encoding="utf-8") == demo.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("file", "name"), [(file, one.name) for file, layers in survey_files().items() for one in layers]
)
def test_layers_in_data_are_the_ones_written(demo: Path, file: str, name: str) -> None:
    committed, columns, crs = layer(DATA / "survey" / file, name)
    written, columns_now, crs_now = layer(demo.parent / "survey" / file, name)
    assert crs == crs_now == "EPSG:2272"
    assert [shape.wkt for shape in committed] == [shape.wkt for shape in written]
    assert list(columns) == list(columns_now)
    for field, values in columns.items():
        assert list(values) == list(columns_now[field])


def test_dem_in_data_is_the_one_written(demo: Path) -> None:
    committed, about = dem(DATA / "survey" / "dem.tif")
    written, about_now = dem(demo.parent / "survey" / "dem.tif")
    assert about == about_now
    assert about["units"] == ("US survey foot",)
    # A sine may differ in its last bit between processors, which can tip a rounding: a hundredth, and rarely.
    np.testing.assert_allclose(committed, written, atol=0.0101)
    assert np.mean(committed != written) < 1e-3


def test_two_writings_are_byte_for_byte_the_same(demo: Path, tmp_path: Path) -> None:
    again = write_demo(tmp_path / "again").parent
    for name in files_under(demo.parent):
        assert (again / name).read_bytes() == (demo.parent / name).read_bytes(), name


def test_dem_is_small_enough_to_keep_in_a_repository() -> None:
    assert (DATA / "survey" / "dem.tif").stat().st_size < 1_000_000


def test_geopackages_are_version_1_2(demo: Path) -> None:
    # OGC 12-128r14 (GeoPackage 1.2), requirement 2: application id "GPKG", user version 10200.
    for file in survey_files():
        head = (demo.parent / "survey" / file).read_bytes()[:72]
        assert (head[68:72], int.from_bytes(head[60:64], "big")) == (b"GPKG", 10200), file


def test_dem_cells_hold_the_height_at_their_middle(demo: Path) -> None:
    values, about = dem(demo.parent / "survey" / "dem.tif")
    row, col = 301, 244
    x, y = at(about, col + 0.5, row + 0.5)
    expected = heights(np.array(x - CORNER_MARK[0]), np.array(y - CORNER_MARK[1]))
    assert values[row, col] == pytest.approx(float(expected), abs=0.006)


def test_about_forty_acres_with_a_notch() -> None:
    (boundary,) = survey_files()["boundary.gpkg"][0].geometry
    assert 38 < boundary.area * units.US_SURVEY_FOOT**2 / units.ACRE < 42
    assert 9 <= len(boundary.exterior.coords) - 1 <= 14
    assert boundary.is_valid
    assert boundary.convex_hull.area > 1.01 * boundary.area


def test_a_believable_share_is_too_steep() -> None:
    values, about = dem(DATA / "survey" / "dem.tif")
    (boundary,) = survey_files()["boundary.gpkg"][0].geometry
    dy, dx = np.gradient(values.astype(float), CELL_FT)
    rows, cols = np.indices(values.shape)
    x, y = at(about, cols + 0.5, rows + 0.5)
    inside = shapely.contains_xy(boundary, x, y)
    assert 0.10 < np.mean(np.hypot(dx, dy)[inside] > 0.15) < 0.20


def test_dem_reaches_beyond_every_feature_that_matters() -> None:
    values, about = dem(DATA / "survey" / "dem.tif")
    (boundary,) = survey_files()["boundary.gpkg"][0].geometry
    west, north = at(about, 0, 0)
    east, south = at(about, values.shape[1], values.shape[0])
    assert shapely.box(west, south, east, north).contains(boundary.buffer(100.0))
    assert np.isfinite(values).all()


def test_blocks_do_not_overlap_and_cover_most_of_the_property() -> None:
    (boundary,) = survey_files()["boundary.gpkg"][0].geometry
    blocks = survey_files()["blocks.gpkg"][0].geometry
    assert all(block.is_valid for block in blocks)
    for one, other in itertools.combinations(blocks, 2):
        assert one.intersection(other).area < 1.0  # square feet: B and J share an edge, given to 0.01 ft
    assert shapely.union_all(list(blocks)).intersection(boundary).area > 0.8 * boundary.area


def test_water_points_stand_on_the_property_outside_roads_and_buildings() -> None:
    (boundary,) = survey_files()["boundary.gpkg"][0].geometry
    layers = {one.name: one for one in survey_files()["features.gpkg"]}
    risers = layers["water_points"].geometry
    assert 3 <= len(risers) <= 5
    assert len(set(layers["water_points"].columns["name"])) == len(risers)
    for riser in risers:
        assert boundary.contains(riser)
        assert not any(riser.within(shape) for name in ("house", "barn") for shape in layers[name].geometry)


def test_every_layer_of_the_survey_is_named_in_the_plan() -> None:
    text = (DATA / PLAN_NAME).read_text(encoding="utf-8")
    for file, layers in survey_files().items():
        for one in layers:
            named = f"survey/{file}:{one.name}" in text
            assert named or (file == "boundary.gpkg" and f"survey/{file}" in text), one.name


def test_plan_file_parses_and_shows_its_systems() -> None:
    plan = parse_plan(tomllib.loads((DATA / PLAN_NAME).read_text(encoding="utf-8")), PLAN_NAME)
    patterns = {block.name: block.to_pattern() for block in plan.block}
    assert [(p.kind, round(p.step_m / units.FOOT, 6)) for p in patterns.values()] == [
        ("offset", 16.0), ("quincunx", 30.0), ("contour rows", 16.0), ("offset", 16.0), ("trellis", 8.0),
        ("hedgerow", 3.0), ("bed", 5.0), ("rectangular", 18.0), ("square", 6.0), ("screen", 10.0),
    ]  # fmt: skip
    # Plane geometry: equilateral rows lie step * sqrt(3) / 2 apart; 16 ft by 12 ft has a diagonal of
    # sqrt(8^2 + 12^2) ft.
    assert patterns["A"].row_distance_m / units.FOOT == pytest.approx(13.856, abs=1e-3)
    assert patterns["D"].nearest_m / units.FOOT == pytest.approx(14.422, abs=1e-3)
    assert len({str(block.direction) for block in plan.block}) == 4
    bed, pair = patterns["G"].bed, patterns["H"].pair
    assert bed is not None
    assert pair is not None
    assert bed.length_m * bed.width_m / units.FOOT**2 == pytest.approx(60.0)
    assert pair.distance_m / units.FOOT == pytest.approx(2.0)


def test_a_plan_file_that_somebody_edited_is_not_overwritten(tmp_path: Path) -> None:
    plan = write_demo(tmp_path)
    plan.write_text(plan.read_text(encoding="utf-8") + "# mine\n", encoding="utf-8")
    with pytest.raises(SetoutError, match=r"not the demo's is already there; choose another folder"):
        write_demo(tmp_path)
    assert plan.read_text(encoding="utf-8").endswith("# mine\n")


def test_an_untouched_demo_is_written_again(tmp_path: Path) -> None:
    plan = write_demo(tmp_path)
    (tmp_path / "survey" / "dem.tif").write_bytes(b"")
    assert write_demo(tmp_path) == plan
    assert (tmp_path / "survey" / "dem.tif").stat().st_size > 100_000


def test_a_file_in_the_way_is_a_clear_error(tmp_path: Path) -> None:
    (tmp_path / "demo").write_text("not a folder", encoding="utf-8")
    with pytest.raises(SetoutError, match=r"the demo cannot be written here .*; choose a folder"):
        write_demo(tmp_path / "demo")


def test_no_room_left_is_an_interruption_and_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(folder: Path) -> list[str]:
        (folder / "boundary.gpkg").write_bytes(b"half")
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(demo_files, "_write_survey", full)
    with pytest.raises(Interrupted, match="no room left") as caught:
        write_demo(tmp_path)
    assert caught.value.exit_code == 3
    assert files_under(tmp_path) == []


@pytest.fixture(scope="module")
def planned(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    from setout import run

    out = tmp_path_factory.mktemp("planned") / "out"
    run.plan(demo, out, products=("geopackage",))
    return out / "plan.gpkg"


def test_the_demo_plans_and_fills_every_block(planned: Path) -> None:
    _, columns, _ = layer(planned, "trees")
    blocks, counts = np.unique(columns["block"].astype(str), return_counts=True)
    assert blocks.tolist() == list("ABCDEFGHJS")
    assert counts[:-1].min() > 200
    assert counts.sum() > 5000
    assert len(set(columns["tree_id"])) == counts.sum()


def test_the_readme_tells_the_demo_as_it_is_planned(planned: Path) -> None:
    text = (DATA.parent / "README.md").read_text(encoding="utf-8")
    told = {
        name: (plants.replace(",", ""), rows)
        for name, plants, rows in re.findall(r"^\| ([A-Z]) \|.*\| ([\d,]+) \| (\d+) \|$", text, re.MULTILINE)
    }
    _, trees, _ = layer(planned, "trees")
    _, rows, _ = layer(planned, "rows")
    _, posts, _ = layer(planned, "posts")
    beds, _, _ = layer(planned, "beds")
    counted = {
        name: (str(int((trees["block"] == name).sum())), str(int((rows["block"] == name).sum())))
        for name in np.unique(trees["block"].astype(str))
    }
    assert told == counted
    kinds = posts["kind"].astype(str)
    assert f"{(kinds == 'end').sum()} end posts, {(kinds == 'line').sum()} line posts" in text
    assert f"{len(beds)} raised beds of 10 ft by 6 ft" in text
    assert f"{(trees['block'] == 'H').sum() // 2} pairs" in text


@pytest.mark.parametrize(
    ("name", "feet"),
    [("road", 14.0), ("well", 50.0), ("septic_field", 35.0), ("creek", 35.0), ("house", 5.0), ("barn", 5.0)],
)
def test_no_tree_of_the_demo_stands_nearer_than_its_plan_file_says(planned: Path, name: str, feet: float) -> None:
    """Measured on the survey's own plane: within 0.01 ft of level ground over these distances."""
    trees, _, _ = layer(planned, "trees")
    features = {one.name: one for one in survey_files()["features.gpkg"]}[name].geometry
    nearest = min(float(shapely.distance(trees, shape).min()) for shape in features)
    assert nearest >= feet - 0.01
    if name in ("road", "creek"):  # planted on both sides: the setback is what keeps trees away
        assert nearest < feet + 8.0


def test_every_tree_of_the_demo_is_on_its_block_and_not_on_the_steep(planned: Path) -> None:
    trees, columns, _ = layer(planned, "trees")
    areas = survey_files()["blocks.gpkg"][0]
    blocks = dict(zip(areas.columns["name"], areas.geometry, strict=True))
    for name, ground in blocks.items():
        own = trees[columns["block"] == name]
        assert shapely.covers(ground.buffer(0.01), own).all()
    assert columns["slope_pct"].max() <= 15.0


def test_beds_of_the_demo_are_60_square_feet_and_apart(planned: Path) -> None:
    """10 ft by 6 ft, 3 ft apart in the row, paths of 10 - 6 = 4 ft; two plants a bed, 5 ft apart (plan file).

    Measured on the survey's plane, whose lengths are 35 parts in a million short of the ground's here.
    """
    beds, columns, _ = layer(planned, "beds")
    ft = units.FOOT / units.US_SURVEY_FOOT
    assert len(beds) > 50
    assert shapely.area(beds) == pytest.approx(60.0 * ft**2, rel=1e-4)
    assert set(columns["plants"]) == {2}
    assert columns["mulch_m3"] == pytest.approx(60 * 0.25 * units.FOOT**3, rel=1e-6)
    tree = shapely.STRtree(beds)
    one, other = tree.query(beds, predicate="dwithin", distance=6.0)
    gaps = shapely.distance(beds[one], beds[other])[one < other]
    assert gaps.min() == pytest.approx(3.0 * ft, abs=1e-3)
    trees, about, _ = layer(planned, "trees")
    plants = trees[about["block"] == "G"]
    assert len(plants) == 2 * len(beds)
    assert len(np.unique(shapely.STRtree(beds).query(plants, predicate="within")[1])) == len(beds)


def test_posts_of_the_demo_stand_at_both_ends_of_every_row(planned: Path) -> None:
    posts, columns, _ = layer(planned, "posts")
    rows, about, _ = layer(planned, "rows")
    vines = int((about["block"] == "E").sum())
    ft = units.FOOT / units.US_SURVEY_FOOT
    kinds = columns["kind"].astype(str)
    assert (kinds == "end").sum() == 2 * vines
    spans = [
        np.linalg.norm(np.diff(shapely.get_coordinates(posts[columns["row"] == row]), axis=0), axis=1)
        for row in np.unique(columns["row"])
    ]
    # From end post to end post the row has its vines and 4 ft beyond the first and the last (plan file).
    longest = {row: float(np.sum(span)) for row, span in zip(np.unique(columns["row"]), spans, strict=True)}
    for line, row in zip(rows[about["block"] == "E"], about["row"][about["block"] == "E"], strict=True):
        assert longest[row] == pytest.approx(line.length + 8.0 * ft, abs=0.01)
    assert max(float(span.max()) for span in spans) <= 24.0 * ft + 0.01


def test_pairs_of_the_demo_stand_2_ft_apart_north_and_south(planned: Path) -> None:
    trees, columns, _ = layer(planned, "trees")
    own = columns["block"] == "H"
    xy, varieties = shapely.get_coordinates(trees[own]), columns["variety"][own].astype(str)
    apart = xy[0::2] - xy[1::2]
    assert np.hypot(*apart.T) == pytest.approx(2.0 * units.FOOT / units.US_SURVEY_FOOT, abs=1e-3)
    # Grid north is within a degree of true north here, so the first of each pair is the northern one.
    assert (apart[:, 1] > 1.9).all()
    assert set(varieties[0::2]) == {"Bartlett"}
    assert set(varieties[1::2]) == {"Bosc"}


def test_the_screen_of_the_demo_stands_west_of_the_yard_that_it_shades(planned: Path) -> None:
    screens, columns, _ = layer(planned, "screens")
    yard = next(one for one in survey_files()["features.gpkg"] if one.name == "no_plant").geometry[0]
    assert columns["purpose"].astype(str).tolist() == ["shade"]
    assert columns["trees"].tolist() == [9]  # 82.44 ft of line hold 1 + floor(82.44 / 10) trees
    (line,) = shapely.get_parts(screens)
    assert line.bounds[2] < yard.bounds[0] + 1.0
    assert line.bounds[1] <= yard.bounds[1] + 2.0  # the first tree stands half of what is over into the line
    assert line.bounds[3] >= yard.bounds[3] - 2.0


def test_the_land_account_of_the_demo_adds_up(planned: Path) -> None:
    import pyogrio

    account = pyogrio.read_dataframe(planned, layer="land_account", use_arrow=False)
    gross, net = account["remaining_m2"].iloc[0], account["remaining_m2"].iloc[-1]
    assert account["reason"].iloc[0] == "gross"
    assert account["reason"].iloc[-1] == "net"
    assert gross - account["newly_m2"].sum() == pytest.approx(net, abs=gross * 1e-6)
    why = set(account["reason"])
    assert {"property line", "creek", "well", "septic field", "turning yard", "slope"} <= why
