"""The demo property: what is committed in data/ is what the code writes, and it is ground worth planning."""

from __future__ import annotations

import errno
import itertools
import re
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
from setout.read.plan_file import read_plan_file

DATA = Path(__file__).resolve().parents[1] / "data"
GRID = 0.99988
"""Lengths on the survey's plane over lengths on the ground, here: scale factor 0.999913 (PROJ, EPSG:2252 at 44.95 N,
85.73 W) times 6,371,000 m / 6,371,200 m, for the farm lies 200 m above the ellipsoid."""


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
    assert files_under(DATA) == sorted([*files_under(demo.parent), "README.md"])


@pytest.mark.parametrize("name", [PLAN_NAME, "survey/climate.csv"])
def test_texts_in_data_are_the_ones_written(demo: Path, name: str) -> None:
    assert (DATA / name).read_bytes() == (demo.parent / name).read_bytes()


@pytest.mark.parametrize(("file", "name"), [(file, one.name) for file, layers in survey_files().items() for one in layers])
def test_layers_in_data_are_the_ones_written(demo: Path, file: str, name: str) -> None:
    committed, columns, crs = layer(DATA / "survey" / file, name)
    written, columns_now, crs_now = layer(demo.parent / "survey" / file, name)
    assert crs == crs_now == "EPSG:2252"
    assert [shape.wkt for shape in committed] == [shape.wkt for shape in written]
    assert list(columns) == list(columns_now)
    for field, values in columns.items():
        assert list(values) == list(columns_now[field])


def test_dem_in_data_is_the_one_written(demo: Path) -> None:
    committed, about = dem(DATA / "survey" / "dem.tif")
    written, about_now = dem(demo.parent / "survey" / "dem.tif")
    assert about == about_now
    assert about["units"] == ("metre",)
    # A sine may differ in its last bit between processors, which can tip a rounding: a centimetre, and rarely.
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
    assert 38 < boundary.area * units.FOOT**2 / units.ACRE < 42
    assert 9 <= len(boundary.exterior.coords) - 1 <= 14
    assert boundary.is_valid
    assert boundary.convex_hull.area > 1.01 * boundary.area


def test_a_believable_share_is_too_steep() -> None:
    values, about = dem(DATA / "survey" / "dem.tif")
    (boundary,) = survey_files()["boundary.gpkg"][0].geometry
    dy, dx = np.gradient(values.astype(float), CELL_FT * units.FOOT)
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


def test_the_lake_is_level_and_the_west_side_of_the_property_is_its_edge() -> None:
    values, about = dem(DATA / "survey" / "dem.tif")
    (boundary,) = survey_files()["boundary.gpkg"][0].geometry
    (lake,) = next(one for one in survey_files()["features.gpkg"] if one.name == "lake").geometry
    rows, cols = np.indices(values.shape)
    x, y = at(about, cols + 0.5, rows + 0.5)
    assert set(np.unique(values[shapely.contains_xy(lake.buffer(-3.0), x, y)])) == {values.min()}
    corners = shapely.points(shapely.get_coordinates(boundary)[:-1])
    assert (shapely.distance(corners, lake) < 1.0).sum() == 9
    assert lake.intersection(boundary).area < 0.01 * boundary.area


def test_blocks_do_not_overlap_and_cover_most_of_the_property() -> None:
    (boundary,) = survey_files()["boundary.gpkg"][0].geometry
    blocks = survey_files()["blocks.gpkg"][0].geometry
    assert all(block.is_valid for block in blocks)
    for one, other in itertools.combinations(blocks, 2):
        assert one.intersection(other).area < 1.0  # square feet
    # The rest is wood lot, bluff, ravine and shore, the dooryard and the yard, lanes and the strip under the line.
    assert shapely.union_all(list(blocks)).intersection(boundary).area > 0.55 * boundary.area


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
    plan = read_plan_file(DATA / PLAN_NAME)
    patterns = {block.name: block.to_pattern() for block in plan.block}
    assert {name: (p.kind, round(p.step_m / units.FOOT, 3)) for name, p in patterns.items()} == {
        "AT": ("rectangular", 14.0),
        "HZ": ("offset", 18.0),
        "TC": ("rectangular", 19.0),
        "AF": ("quincunx", 24.0),
        "SC": ("contour rows", 14.0),
        "CH": ("hedgerow", 6.562),
        "WG": ("trellis", 7.0),
        "RC": ("bed", 3.0),
        "PL": ("rectangular", 20.0),
        "BB": ("rectangular", 5.0),
        "RS": ("screen", 3.0),
        "YS": ("screen", 14.0),
        "DY": ("points", 0.0),
    }
    # Plane geometry: equilateral rows lie step * sqrt(3) / 2 apart; the middle of a square of 24 ft is 24 / sqrt(2) ft
    # from its corners (printed 16.97 ft for such a quincunx: Torrens, orchard patterns).
    assert patterns["HZ"].row_distance_m / units.FOOT == pytest.approx(15.588, abs=1e-3)
    assert patterns["AF"].nearest_m / units.FOOT == pytest.approx(16.97, abs=0.005)
    assert patterns["SC"].fall == (0.002, 0.02)  # NRCS conservation practice standards 331 and 330
    assert len({str(block.direction) for block in plan.block}) == 4
    bed, pair, trellis = patterns["RC"].bed, patterns["PL"].pair, patterns["WG"].trellis
    assert bed is not None
    assert pair is not None
    assert trellis is not None
    assert bed.length_m * bed.width_m / units.FOOT**2 == pytest.approx(36.0)
    assert pair.distance_m / units.FOOT == pytest.approx(6.0)
    # Domoto, Iowa State University (2002): posts 21, 24 or 28 ft apart; 5 to 7 wires where shoots are positioned upward.
    assert (round(trellis.post_m / units.FOOT, 6), trellis.wires) == (28.0, 6)


def test_every_planting_distance_of_the_plan_says_where_it_is_from() -> None:
    lines = (DATA / PLAN_NAME).read_text(encoding="utf-8").splitlines()
    steps = [line for line in lines if re.match(r"step +=", line)]
    assert len(steps) >= 12
    said = re.compile("#.*(Extension|eXtension|University|UC Davis|Network|District|West Coast Nut|trial|page)")
    assert [line for line in steps if not said.search(line)] == []


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
    planted = dict(zip(blocks.tolist(), counts.tolist(), strict=True))
    assert set(planted) == {"AF", "AT", "BB", "CH", "DY", "HZ", "PL", "RC", "RS", "SC", "TC", "WG", "YS"}
    assert min(count for name, count in planted.items() if name not in ("DY", "YS")) > 100
    assert counts.sum() > 4000
    assert len(set(columns["tree_id"])) == counts.sum()


def test_the_demo_is_a_sensible_plan(planned: Path) -> None:
    """Nothing stops it, every tree is watered, and none stands below the 6 h of sun that fruit is said to want."""
    _, trees, _ = layer(planned, "trees")
    _, findings, _ = layer(planned, "findings")
    severities = findings["severity"].astype(str).tolist()
    assert "stop" not in severities
    assert severities.count("warn") <= 3
    assert trees["watered"].all()
    walls = np.isin(trees["block"].astype(str), ["CH", "WG", "RS", "YS"])  # hedge, trellis and screens
    assert trees["sun_h"][~walls].min() >= 6.0
    # of a wall hours count by how squarely the sun meets its sides: half of them, as a cosine has it on the mean
    assert trees["sun_h"][walls].min() >= 3.0


def test_the_page_of_the_demo_tells_it_as_it_is_planned(planned: Path) -> None:
    text = (DATA / "README.md").read_text(encoding="utf-8")
    told = {
        name: (plants.replace(",", ""), rows)
        for name, plants, rows in re.findall(r"^\| ([A-Z]{2}) \|.*\| ([\d,]+) \| (\d+) \|$", text, re.MULTILINE)
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
    assert f"{len(beds)} raised beds of 12 ft by 3 ft" in text
    assert f"{(trees['block'] == 'PL').sum() // 2} pairs" in text
    assert f"{(trees['role'] == 'filler').sum()} smaller ones as fillers" in text


@pytest.mark.parametrize(
    ("name", "feet"),
    [
        ("road", 15.0),
        ("well", 50.0),
        ("septic_field", 30.0),
        ("creek", 35.0),
        ("lake", 35.0),
        ("house", 25.0),
        ("neighbor_house", 100.0),
        ("barn", 8.0),
        ("propane_tank", 10.0),
        ("buried_line", 10.0),
        ("woodlot", 30.0),
    ],
)
def test_no_tree_of_the_demo_stands_nearer_than_its_plan_file_says(planned: Path, name: str, feet: float) -> None:
    """Measured on the survey's plane: lengths there are 0.012 % short."""
    trees, _, _ = layer(planned, "trees")
    features = {one.name: one for one in survey_files()["features.gpkg"]}[name].geometry
    nearest = min(float(shapely.distance(trees, shape).min()) for shape in features)
    assert nearest >= feet * GRID - 0.01
    if name in ("road", "creek", "lake"):  # planted up to there: the setback is what keeps trees away
        assert nearest < feet + 8.0


def test_every_tree_of_the_demo_is_on_its_block_and_not_on_the_steep(planned: Path) -> None:
    trees, columns, _ = layer(planned, "trees")
    areas = survey_files()["blocks.gpkg"][0]
    blocks = dict(zip(areas.columns["name"], areas.geometry, strict=True))
    for name, ground in blocks.items():
        own = trees[columns["block"] == name]
        assert shapely.covers(ground.buffer(0.01), own).all()
    assert columns["slope_pct"].max() <= 15.0


def test_nothing_under_the_overhead_line_of_the_demo_grows_above_15_ft(planned: Path) -> None:
    trees, columns, _ = layer(planned, "trees")
    (line,) = next(one for one in survey_files()["features.gpkg"] if one.name == "overhead_line").geometry
    reach = columns["spread_m"] / 2 / units.FOOT
    near = shapely.distance(trees, line) < 20.0 + reach
    assert (columns["block"][near] == "BB").sum() > 200
    assert columns["height_m"][near].max() <= 15.0 * units.FOOT


def test_hazelnuts_of_the_demo_have_pollen_near(planned: Path) -> None:
    """Hazelnut production guide, British Columbia: each third tree of each third row, at least three varieties.

    On such a grid of equal triangles no tree is two steps from a pollinizer but at the edges.
    """
    trees, columns, _ = layer(planned, "trees")
    own = columns["block"] == "HZ"
    source = own & (columns["role"] == "pollinizer")
    assert len(set(columns["variety"][own])) >= 3
    assert source.sum() / own.sum() == pytest.approx(1 / 9, abs=0.015)
    far = shapely.distance(shapely.multipoints(trees[source]), trees[own & ~source]) / GRID
    assert np.mean(far < 2 * 18.0 + 0.01) > 0.9
    assert far.max() < 3 * 18.0


def test_rows_of_the_demo_follow_the_terrace(planned: Path) -> None:
    """Rows along a surveyed line lie a whole number of row distances apart, measured from that line."""
    trees, columns, _ = layer(planned, "trees")
    (edge,) = next(one for one in survey_files()["features.gpkg"] if one.name == "terrace_edge").geometry
    own = columns["block"] == "AT"
    away, row = shapely.distance(edge, trees[own]) / GRID, columns["row"][own]
    ways = {int(r): np.median(away[row == r]) for r in np.unique(row) if (row == r).sum() > 5}
    assert len(ways) >= 9
    gaps = np.diff([ways[r] for r in sorted(ways)])
    assert np.abs(gaps) == pytest.approx(20.0, abs=0.05)
    for r, middle in ways.items():  # beyond the ends of the line a row goes straight on
        assert np.mean(np.abs(away[row == r] - middle) < 0.1) > 0.5


def test_contour_rows_of_the_demo_fall_as_the_standards_have_it(planned: Path) -> None:
    """From end to end between 0.2 % (NRCS 331) and 2 % (NRCS 330), on the formula that the DEM was made from."""
    rows, about, _ = layer(planned, "rows")
    own = rows[about["block"] == "SC"]
    assert len(own) > 15
    for line in own:
        xy = shapely.get_coordinates(line)[[0, -1]] - CORNER_MARK
        z = heights(xy[:, 0], xy[:, 1])
        assert 0.0018 < abs(z[1] - z[0]) / (line.length / GRID * units.FOOT) < 0.0202


def test_beds_of_the_demo_are_36_square_feet_and_apart(planned: Path) -> None:
    """12 ft by 3 ft, 4 ft apart in the row, paths of 7 - 3 = 4 ft; four plants a bed, 3 ft apart (plan file)."""
    beds, columns, _ = layer(planned, "beds")
    assert len(beds) > 50
    assert shapely.area(beds) == pytest.approx(36.0 * GRID**2, rel=1e-4)
    assert set(columns["plants"]) == {4}
    assert columns["mulch_m3"] == pytest.approx(36 * 0.25 * units.FOOT**3, rel=1e-6)
    tree = shapely.STRtree(beds)
    one, other = tree.query(beds, predicate="dwithin", distance=6.0)
    gaps = shapely.distance(beds[one], beds[other])[one < other]
    assert gaps.min() == pytest.approx(4.0 * GRID, abs=1e-3)
    trees, about, _ = layer(planned, "trees")
    plants = trees[about["block"] == "RC"]
    assert len(plants) == 4 * len(beds)
    assert len(np.unique(shapely.STRtree(beds).query(plants, predicate="within")[1])) == len(beds)


def test_posts_of_the_demo_stand_at_both_ends_of_every_row(planned: Path) -> None:
    posts, columns, _ = layer(planned, "posts")
    rows, about, _ = layer(planned, "rows")
    vines = int((about["block"] == "WG").sum())
    kinds = columns["kind"].astype(str)
    assert (kinds == "end").sum() == 2 * vines
    spans = [
        np.linalg.norm(np.diff(shapely.get_coordinates(posts[columns["row"] == row]), axis=0), axis=1) / GRID
        for row in np.unique(columns["row"])
    ]
    # From end post to end post the row has its vines and 4 ft beyond the first and the last (plan file).
    longest = {row: float(np.sum(span)) for row, span in zip(np.unique(columns["row"]), spans, strict=True)}
    for line, row in zip(rows[about["block"] == "WG"], about["row"][about["block"] == "WG"], strict=True):
        assert longest[row] == pytest.approx(line.length / GRID + 8.0, abs=0.01)
    assert max(float(span.max()) for span in spans) <= 28.0 + 0.01


def test_pairs_of_the_demo_stand_6_ft_apart_and_both_have_sun(planned: Path) -> None:
    """North and south of each other: east and west the darker partner has an hour less here."""
    trees, columns, _ = layer(planned, "trees")
    own = columns["block"] == "PL"
    xy, varieties = shapely.get_coordinates(trees[own]), columns["variety"][own].astype(str)
    apart = xy[0::2] - xy[1::2]
    assert np.hypot(*apart.T) == pytest.approx(6.0 * GRID, abs=1e-3)
    # True north is 0.96 degrees east of grid north here (PROJ, meridian convergence).
    assert np.degrees(np.arctan2(*apart.T)) == pytest.approx(0.96, abs=0.02)
    assert set(varieties[0::2]) == {"Superior"}
    assert set(varieties[1::2]) == {"Toka"}
    assert columns["sun_h"][own].min() > 7.0


def test_the_screens_of_the_demo_hide_it_and_shade_its_yard(planned: Path) -> None:
    screens, columns, _ = layer(planned, "screens")
    layers = {one.name: one for one in survey_files()["features.gpkg"]}
    (yard, *_), lines = layers["no_plant"].geometry, layers["screen_lines"].geometry
    assert columns["purpose"].astype(str).tolist() == ["hide", "shade"]
    # 416 ft of line hold 1 + floor(416 / 3) plants, 82 ft hold 1 + floor(82 / 14).
    held = [1 + int(line.length / GRID // step) for line, step in zip(lines, (3.0, 14.0), strict=True)]
    assert columns["trees"].tolist() == held == [139, 6]
    (_, shade) = shapely.get_parts(screens)
    assert shade.bounds[2] < yard.bounds[0] + 1.0
    trees, about, _ = layer(planned, "trees")
    (road, *_) = layers["road"].geometry
    between = shapely.distance(road, trees[about["block"] == "RS"]).max()
    assert between < shapely.distance(road, trees[about["block"] == "HZ"]).min()


def test_the_land_account_of_the_demo_adds_up(planned: Path) -> None:
    import pyogrio

    account = pyogrio.read_dataframe(planned, layer="land_account", use_arrow=False)
    gross, net = account["remaining_m2"].iloc[0], account["remaining_m2"].iloc[-1]
    assert account["reason"].iloc[0] == "gross"
    assert account["reason"].iloc[-1] == "net"
    assert gross - account["newly_m2"].sum() == pytest.approx(net, abs=gross * 1e-6)
    why = set(account["reason"])
    assert {"property line", "lake shore", "creek", "well", "septic field", "packing yard", "wood lot", "slope"} <= why
