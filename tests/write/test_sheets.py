"""Plan sheets without paper: tiles, places of labels, set-out by tape, what is beware of, scales and plan keys."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from setout.draw.pen import Type
from setout.errors import PlanFaults
from setout.model import Bed, Pair, Pattern
from setout.model.sheet import PAPERS, SheetSettings
from setout.planfile import parse_plan
from setout.stages.staking import tape
from setout.units import FOOT
from setout.words import tape as words
from setout.write.sheets import backdrop, beware, blocksheet, indexsheet, layout, tiles, treemarks, watersheet
from setout.write.sheets.layout import Box, View
from setout.write.sheets.places import CELL, Places
from write.sample_planting import bare, planting, systems

PLAN = {"site": {"boundary": "b.gpkg"}, "block": [{"name": "A", "pattern": "square", "step": "16 ft"}]}


def cornered(plan):
    return replace(plan, site=replace(plan.site, monuments=shapely.get_coordinates(plan.site.boundary.exterior)[:-1]))


# ------------------------------------------------------------------------------------------- plan keys


@pytest.mark.parametrize(
    ("said", "scale", "paper"),
    [
        ({}, None, None),
        ({"scale": "1:200", "paper": "A3"}, 200.0, "A3"),
        ({"scale": "1 in = 40 ft", "paper": "11 x 17 in"}, 480.0, "11x17 in"),
        ({"scale": "1 cm = 5 m", "paper": "ansi d"}, 500.0, "ANSI D"),
        ({"paper": "letter"}, None, "Letter"),
    ],
)
def test_scale_and_paper_are_read(said, scale, paper) -> None:
    assert parse_plan({**PLAN, "sheets": said}, "plan.toml").sheets.value() == SheetSettings(scale, paper)


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({"scale": "200"}, "'200' is no scale"),
        ({"scale": 200}, "200 is no scale"),
        ({"scale": "1:5"}, "1:5; scales from 1:20"),
        ({"scale": "1 in = 0 ft"}, "is no scale"),
        ({"paper": "A5"}, "A5"),
        ({"papper": "A4"}, "unknown key"),
    ],
)
def test_what_is_no_scale_or_paper_is_refused(said, told) -> None:
    with pytest.raises(PlanFaults, match=re.escape(told)):
        parse_plan({**PLAN, "sheets": said}, "plan.toml")


# ------------------------------------------------------------------------------------------- layout and view


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("panel", [0.0, 0.44])
def test_boxes_of_a_sheet_lie_on_the_paper_and_apart(paper, panel) -> None:
    made = layout.layout_of(paper, panel)
    boxes = [b for b in (made.frame, made.column, made.panel) if b.width > 0]
    shapes = [shapely.box(b.left, b.bottom, b.right, b.top) for b in boxes]
    sheet = shapely.box(0, 0, made.width, made.height)
    assert all(sheet.buffer(-layout.MARGIN + 1e-9).contains(s) for s in shapes)
    assert all(not a.intersects(b) for i, a in enumerate(shapes) for b in shapes[i + 1 :])


@given(st.floats(-3, 3), st.floats(50, 5000), st.floats(-1e4, 1e4), st.floats(-1e4, 1e4))
def test_paper_and_ground_are_each_others_inverse_and_true_to_scale(turn, scale, u, v) -> None:
    view = View(Box(10, 12, 300, 200), scale, turn, u, v)
    xy = np.array([[0.0, 0.0], [3.0, 4.0], [-120.0, 77.0]]) + np.array([u, v])
    page = view.of_frame(xy)
    assert np.abs(view.to_frame(page) - xy).max() < 1e-6
    assert np.hypot(*(page[1] - page[0])) * scale / 1000 == pytest.approx(5.0, abs=1e-6)


def test_plan_leaves_the_scale_to_what_trees_need() -> None:
    plan = planting(units="si")
    box = layout.layout_of("A4").frame
    scale = layout.scale_for(plan, box)
    apart = np.percentile(plan.trees.nearest_m, layout.CLOSE) / scale * 1000
    assert apart >= layout.TREE_GAP
    assert scale in layout.SCALES["si"]
    assert layout.scale_for(replace(plan, sheets=SheetSettings(750.0)), box) == 750.0
    small = planting(units="si", size=0.6)
    assert layout.scale_for(small, layout.layout_of("ANSI D").frame) < layout.scale_for(small, box)


# ------------------------------------------------------------------------------------------- tiles


@pytest.mark.parametrize("scale", [200.0, 480.0, 1000.0])
def test_each_tree_is_one_tiles_own_and_inside_it(scale) -> None:
    plan = planting()
    box = layout.layout_of("A4").frame
    made = tiles.tiles_of(plan, box, scale)
    owned = np.concatenate([tile.trees for tile in made])
    assert np.array_equal(np.sort(owned), np.arange(len(plan.trees)))
    xy = np.column_stack([plan.trees.x, plan.trees.y])
    for tile in made:
        page, core = tile.view.of_frame(xy[tile.trees]), tile.core
        assert (page >= (core.left - 1e-6, core.bottom - 1e-6)).all()
        assert (page <= (core.right + 1e-6, core.top + 1e-6)).all()
        assert len(tile.trees) > 0


def test_neighbours_name_each_other_and_join_without_a_gap() -> None:
    made = tiles.tiles_of(planting(), layout.layout_of("A4").frame, 480.0)
    by_number = {tile.number: tile for tile in made}
    step = made[0].core.width / made[0].view.per_m
    for tile in made:
        _, right, _, above = tile.beside
        if right:
            assert by_number[right].beside[0] == tile.number
            assert by_number[right].view.u - tile.view.u == pytest.approx(step)
        if above:
            assert by_number[above].beside[2] == tile.number
            assert by_number[above].view.v > tile.view.v
    assert any(tile.beside[1] for tile in made)


def test_a_narrow_strip_at_an_angle_is_turned_to_save_sheets() -> None:
    """A strip of rows 300 m long and 30 m wide at 45 deg: north up it runs across many more sheets than along its rows."""
    plan = planting()
    along = np.array([math.sin(math.radians(35)), math.cos(math.radians(35))])
    across = np.array([along[1], -along[0]])
    s, r = (g.ravel() for g in np.meshgrid(np.arange(0, 300, 5.0), np.arange(6)))
    xy = s[:, None] * along + 6.0 * r[:, None] * across
    n = len(s)
    ints = np.zeros(n, np.int32)
    trees = replace(plan.trees, block=ints, row=(r + 1).astype(np.int32), position=ints, x=xy[:, 0], y=xy[:, 1], plant=ints)
    six = np.arange(6)
    rows = replace(
        plan.rows,
        block=np.zeros(6, int),
        row=six + 1,
        x0=six * 0.0,
        y0=six * 0.0,
        x1=six * 0.0,
        y1=six * 0.0,
        trees=np.full(6, 60),
        bearing_deg=np.full(6, 35.0),
    )
    strip = replace(plan, trees=trees, rows=rows)
    box = layout.layout_of("A4").frame
    made = tiles.tiles_of(strip, box, 500.0)
    upright = tiles._placed(xy, 0.0, np.array([box.width - 14, box.height - 14]) / 2)[0]
    assert len(made) < upright
    turn = math.degrees(made[0].view.turn)
    assert min(abs((turn - side + 45) % 90 - 45) for side in (-35.0, 55.0)) < 0.1


# ------------------------------------------------------------------------------------------- places of labels

boxes = st.tuples(st.floats(0, 60), st.floats(0, 40), st.floats(0.5, 8), st.floats(0.5, 4), st.sampled_from([0, 0, 90, 37]))


@settings(max_examples=40)
@given(st.lists(boxes, min_size=2, max_size=40))
def test_places_that_are_given_never_overlap(asked) -> None:
    places = Places(Box(0, 0, 60, 40))
    given_out = []
    for x, y, wide, tall, angle in asked:
        if places.take_turned(x, y, wide, tall, angle):
            shape = shapely.affinity.rotate(shapely.box(x, y, x + wide, y + tall), angle, origin=(x, y))
            assert shapely.box(-1e-6, -1e-6, 60 + CELL, 40 + CELL).contains(shape)
            assert all(not shape.buffer(-CELL / 8).intersects(other) for other in given_out)
            given_out.append(shape)
    assert given_out or len(asked) < 40


def test_a_free_place_is_given_once() -> None:
    places = Places(Box(0, 0, 60, 40))
    places.take_points(np.array([[30.0, 20.0]]), 0.6)
    assert places.take(31.0, 19.0, 5, 2)
    assert not places.take(31.0, 19.0, 5, 2)
    assert not places.take(29.5, 19.8, 2, 1)
    assert not places.take(58.0, 10.0, 5, 2)


# ------------------------------------------------------------------------------------------- set-out by tape


@pytest.mark.parametrize("units", ["us", "si"])
def test_the_right_angle_is_three_four_five(units) -> None:
    """Euclid, Elements I.48: a triangle whose squares add up has a right angle."""
    a, b, c = words.RIGHT_ANGLE[units]
    assert a * a + b * b == pytest.approx(c * c, rel=1e-12)
    assert (a / 3, b / 4) == (pytest.approx(c / 5), pytest.approx(c / 5))


@pytest.mark.parametrize("grade", [0.02, 0.05, 0.10, 0.15])
def test_tape_on_a_slope_agrees_with_the_surveyors_approximation(grade) -> None:
    """Slope correction h^2 / (2 s), as surveying texts give it for moderate slopes (from memory)."""
    along = words.tape_on_slope(100.0, grade)
    height = 100.0 * grade
    assert along - height**2 / (2 * along) == pytest.approx(100.0, abs=100 * grade**4)


@pytest.mark.parametrize("make", [planting, systems])
def test_following_the_sheet_leads_to_every_rows_ends(make) -> None:
    """Walk as the sheet says: monuments, line, offset, baseline, then rows by the table. 1 cm, as a tape is read."""
    plan = cornered(make())
    xy = np.column_stack([plan.trees.x, plan.trees.y])
    ids = list(plan.trees.ids)
    for index in range(3):
        made = tape.tape_plan(plan, index)
        a, b = np.array(made.a_xy), np.array(made.b_xy)
        line = shapely.LineString([a, b])
        for tie in (made.first, made.last):
            at = xy[ids.index(tie.tree_id)]
            point = shapely.Point(at)
            assert tie.from_a_m == pytest.approx(point.distance(shapely.Point(a)), abs=1e-6)
            assert tie.from_b_m == pytest.approx(point.distance(shapely.Point(b)), abs=1e-6)
            # set it again from what the sheet says, by the offset ...
            way = (b - a) / line.length
            again = a + tie.along_m * way + tie.offset_m * np.array([-way[1], way[0]])
            assert again == pytest.approx(at, abs=1e-6)
            # ... and with an instrument, clockwise from the second monument
            bearing = math.atan2(way[0], way[1]) + math.radians(tie.angle_deg)
            assert a + tie.from_a_m * np.array([math.sin(bearing), math.cos(bearing)]) == pytest.approx(at, abs=1e-6)
        first, last = (np.array([t.x, t.y]) for t in (made.first, made.last))
        along = (last - first) / made.base_m
        left = np.array([-along[1], along[0]])
        mine = plan.trees.block == index
        assert [row.row for row in made.rows] == sorted(set(plan.trees.row[mine].tolist()))
        for row in made.rows:
            own = np.flatnonzero(mine & (plan.trees.row == row.row))
            order = own[np.argsort(plan.trees.position[own])]
            assert row.trees == len(own)
            assert first + row.first_m * along + row.offset_m * left == pytest.approx(xy[order[0]], abs=1e-6)
            assert first + row.last_m * along + row.offset_last_m * left == pytest.approx(xy[order[-1]], abs=1e-6)


def test_diagonals_are_true_distances_between_the_trees_they_name() -> None:
    plan = cornered(planting())
    where = dict(zip(plan.trees.ids.tolist(), zip(plan.trees.x, plan.trees.y, strict=True), strict=True))
    for index in range(3):
        made = tape.tape_plan(plan, index)
        assert len(made.diagonals) == 2
        for d in made.diagonals:
            assert d.distance_m == pytest.approx(math.dist(where[d.start], where[d.end]), abs=1e-9)
        (a, b), (c, d) = ((where[x.start], where[x.end]) for x in made.diagonals)
        assert shapely.LineString([a, b]).crosses(shapely.LineString([c, d]))


def test_a_square_of_trees_has_diagonals_by_pythagoras() -> None:
    """Ten by ten trees 5 m apart: both diagonals are 45 m times the root of two."""
    plan = planting(units="si")
    g, r = (v.ravel() for v in np.meshgrid(np.arange(10), np.arange(10)))
    ints = np.zeros(100, np.int32)
    trees = replace(
        plan.trees, block=ints, row=(r + 1).astype(np.int32), position=(g + 1).astype(np.int32), x=5.0 * r, y=5.0 * g, plant=ints
    )
    ids = np.array([f"A-{b:02d}-{p:02d}" for b, p in zip(r + 1, g + 1, strict=True)])
    corners = np.array([[-5.0, -5.0], [-5.0, 60.0], [60.0, 60.0], [60.0, -5.0]])
    plan = replace(plan, trees=bare(trees, tree_id=ids), site=replace(plan.site, monuments=corners))
    made = tape.tape_plan(plan, 0)
    assert made.straight
    assert [d.distance_m for d in made.diagonals] == [pytest.approx(45 * math.sqrt(2))] * 2
    assert (made.base_row, made.a, made.b, made.first.offset_m) == (1, "BM1", "BM2", pytest.approx(-5.0))
    assert [row.offset_m for row in made.rows] == pytest.approx([-5.0 * k for k in range(10)])
    words = " ".join(w for pair in blocksheet.steps(plan, made) for w in pair)
    for told in ("BM1", "65.00 m", "5.00 m square to the right", "45.00 m", "63.64 m", "9 m along", "15 m", "A-01-10"):
        assert told in words


def by_hand(pattern, plan, places):
    """A planting whose one block has these places, row by row."""
    row = np.concatenate([np.full(len(p), k + 1) for k, p in enumerate(places)])
    position = np.concatenate([np.arange(1, len(p) + 1) for p in places])
    xy, ints = np.concatenate(places), np.zeros(len(row), np.int32)
    trees = replace(
        plan.trees, block=ints, row=row.astype(np.int32), position=position.astype(np.int32), x=xy[:, 0], y=xy[:, 1], plant=ints
    )
    ids = np.array([f"A-{b:02d}-{p:02d}" for b, p in zip(row, position, strict=True)])
    first = replace(plan.site.blocks[0], pattern=pattern)
    low, high = xy.min(axis=0) - 5, xy.max(axis=0) + 5
    corners = np.array([low, [low[0], high[1]], high, [high[0], low[1]]])
    site = replace(plan.site, monuments=corners, blocks=(first, *plan.site.blocks[1:]))
    return replace(plan, trees=bare(trees, tree_id=ids), site=site)


def told(plan):
    made = tape.tape_plan(plan, 0)
    return made, dict(blocksheet.steps(plan, made))


def test_plants_in_beds_are_measured_in_the_bed_and_over_the_gap() -> None:
    """Beds 6 m long, 1 m apart, four plants 1.5 m apart in each: 7 - 3 x 1.5 = 2.5 m from bed to bed."""
    along = np.concatenate([7.0 * k + np.array([0.75, 2.25, 3.75, 5.25]) for k in range(4)])
    pattern = Pattern("bed", 1.5, 3.0, bed=Bed(6.0, 1.5, 1.0, 0.08))
    places = [np.column_stack([np.full(len(along), 3.0 * r), along]) for r in range(5)]
    made, words = told(by_hand(pattern, planting(units="si"), places))
    assert "1.50 m from plant to plant in a bed, and 2.50 m from its last to the next bed's first" in words["Trees."]
    assert "*" not in words["Trees."]
    assert all(row.whole for row in made.rows)


def test_partners_of_a_pair_are_not_steps_of_the_row() -> None:
    """Pairs 6 m apart, the second partner 0.6 m south of the first."""
    pattern = Pattern("rectangular", 6.0, 8.0, pair=Pair(0.6))
    one = np.array([[6.0 * k, 0.3 - 0.6 * j] for k in range(6) for j in range(2)])
    made, words = told(by_hand(pattern, planting(units="si"), [one - np.array([0.0, 8.0 * r]) for r in range(3)]))
    assert "6.00 m from pair to pair; its partner 0.60 m away at 180° from true north" in words["Trees."]
    assert all(row.whole for row in made.rows)


@pytest.mark.parametrize("lines", [2, 3])
def test_lines_of_one_row_are_half_a_step_apart_along_it(lines) -> None:
    pattern = Pattern("hedgerow", 2.0, 6.0, lines=lines, line_distance_m=0.8)
    row = sorted((2.0 * k + (j % 2), 0.8 * j) for k in range(8) for j in range(lines))
    places = [np.array(row) + np.array([0.0, 6.0 * r]) for r in range(3)]
    made, words = told(by_hand(pattern, planting(units="si"), places))
    assert "1.00 m along the row to the next" in words["Trees."]
    assert all(row.whole for row in made.rows)


def test_rows_with_a_gap_are_marked_and_not_to_be_measured_on() -> None:
    """A well in the middle of row 2 takes two trees: who measures on from the first tree plants them."""
    places = [np.column_stack([5.0 * np.arange(9), np.full(9, 6.0 * r)]) for r in range(4)]
    places[1] = np.delete(places[1], [4, 5], axis=0)
    made, words = told(by_hand(Pattern("rectangular", 5.0, 6.0), planting(units="si"), places))
    assert [row.whole for row in made.rows] == [True, False, True, True]
    assert "Rows marked * have gaps where nothing may be planted" in words["Trees."]


def test_of_bent_rows_a_long_one_is_the_baseline() -> None:
    """Arcs of a circle, and in their corner a straight scrap of two trees: an error there would carry twenty times as far."""
    turn = np.radians(np.linspace(60.0, 120.0, 21))
    arcs = [np.column_stack([r * np.cos(turn), r * np.sin(turn)]) for r in (80.0, 85.0, 90.0)]
    places = [np.array([[-60.0, 90.0], [-56.0, 90.0]]), *arcs]
    made, words = told(by_hand(Pattern("rectangular", 4.0, 5.0), planting(units="si"), places))
    assert not made.straight
    assert made.base_m >= 80.0
    assert "measure it as a check" in words["Trees."]
    assert "not square" not in words["Check the diagonals."]


def test_bent_rows_are_not_called_straight() -> None:
    plan = cornered(systems())
    (bent,) = np.flatnonzero(shapely.get_num_coordinates(plan.rows.line) > 2)
    bend = int(plan.rows.block[bent]), int(plan.rows.row[bent])
    trees = plan.trees
    own = np.flatnonzero((trees.block == bend[0]) & (trees.row == bend[1]))
    y = trees.y.copy()
    y[own[len(own) // 2]] += 3.0
    made = tape.tape_plan(replace(plan, trees=replace(trees, y=y)), bend[0])
    assert not made.straight
    assert made.base_row != bend[1]
    words = " ".join(w for pair in blocksheet.steps(plan, made) for w in pair)
    assert "stakeout.csv" in words


def test_one_tree_cannot_be_set_out_by_tape_and_no_monuments_are_said() -> None:
    plan = planting()
    trees = plan.trees
    one = replace(plan, trees=replace(trees, block=np.where(np.arange(len(trees)) == 0, 5, trees.block).astype(np.int32)))
    assert tape.tape_plan(one, 5) is None
    made = tape.tape_plan(plan, 0)
    assert made.a == ""
    assert math.isnan(made.first.from_a_m)


def test_slope_of_the_block_is_told_with_what_a_tape_reads() -> None:
    plan = cornered(planting())
    made = tape.tape_plan(plan, 0)
    words = dict(blocksheet.steps(plan, made))["All distances are level."]
    # 100 ft level on 10 %: 100 x sqrt(1.01) = 100.4988 ft
    assert "10%: 100.50 ft" in words
    steepest = plan.trees.slope_pct[plan.trees.block == 0].max()
    assert f"steepest {steepest / 100:.0%}" in words
    assert blocksheet.exact(100 * FOOT, "us") == "100.00 ft"


# ------------------------------------------------------------------------------------------- lines to beware of


@pytest.mark.parametrize(
    ("words", "kind"),
    [
        ("overhead power line", "overhead"),
        ("telephone line", "overhead"),
        ("buried power cable", "buried"),
        ("gas main", "buried"),
        ("septic field", "buried"),
        ("well", "buried"),
        ("farm lane", "feature"),
        ("dwelling", "feature"),
        ("creek", "feature"),
        ("underground irrigation pipe", "buried"),
    ],
)
def test_what_is_overhead_and_what_is_buried(words, kind) -> None:
    assert beware.kind_of(words) == kind


def test_features_come_from_limits_setbacks_and_barriers_each_once() -> None:
    plan = planting()
    found = beware.features_of(plan)
    assert {f.kind for f in found} == {"overhead", "feature"}
    limit = plan.site.height_limits[0]
    assert next(f for f in found if f.kind == "overhead").name == limit.why
    twice = replace(plan, site=replace(plan.site, height_limits=(limit, limit)))
    assert len(beware.features_of(twice)) == len(found)


# ------------------------------------------------------------------------------------------- shapes cut to a sheet


def test_shapes_that_only_touch_a_sheet_are_cut_like_any_other() -> None:
    """Against shapely's own intersection, on a grid where edges and corners often just touch."""
    rng = np.random.default_rng(5)
    rings = rng.integers(0, 9, (4000, 3, 2)).astype(float)
    shapes = shapely.polygons(rings)
    shapes = shapes[shapely.area(shapes) > 0]
    extent = (3.0, 3.0, 6.0, 6.0)
    cut = backdrop._cut(shapes, extent)
    box = shapely.box(*extent)
    assert shapely.area(cut).sum() == pytest.approx(shapely.area(shapely.intersection(shapes, box)).sum())
    for shape in shapes[:200]:
        one = backdrop._cut(np.array([shape], object), extent)
        assert shapely.area(one).sum() == pytest.approx(shape.intersection(box).area)


def test_a_grey_print_tells_sixteen_plants_apart_by_shape() -> None:
    looks = {(code % 4 + 4 * (code // 8 % 2), code // 4 % 2) for code in range(16)}
    assert len(looks) == 16
    for corners in treemarks.FORMS[1:]:
        # the stake goes in at the middle of the mark
        assert np.mean(corners, axis=0) == pytest.approx([0, 0], abs=1e-9)


def test_the_index_names_a_block_that_has_no_ground_of_its_own() -> None:
    """A screen stands along a line: its name goes to its middle tree."""
    plan = planting()
    last = plan.site.blocks[2].name
    keep = [k for k, name in enumerate(plan.usable.block) if name != last]
    bare = replace(plan.usable, block=tuple(plan.usable.block[k] for k in keep), geometry=plan.usable.geometry[keep])
    places = dict(indexsheet.block_places(replace(plan, usable=bare)))
    assert list(places) == [block.name for block in plan.site.blocks]
    own = plan.trees.block == 2
    assert places[last].tolist() in np.column_stack([plan.trees.x[own], plan.trees.y[own]]).tolist()
    for name, place in places.items():
        if name != last:
            grounds = [g for n, g in zip(bare.block, bare.geometry, strict=True) if n == name]
            assert shapely.intersects_xy(shapely.union_all(grounds), *place)


class Written:
    """A pen that keeps what it writes; every text is 20 mm wide."""

    def __init__(self) -> None:
        self.texts: list[tuple[float, float, float]] = []

    def width_of(self, *_: object, **__: object) -> float:
        return 20.0

    def text(self, x: float, y: float, _: str, kind: Type) -> None:
        self.texts.append((x, y, kind.angle))


@pytest.mark.parametrize("degrees", [0.0, 30.0, 90.0, 200.0, 300.0])
@pytest.mark.parametrize("sheet", ["pipes", "surroundings"])
def test_words_along_a_line_stand_in_its_middle_upright_and_beside_it(degrees: float, sheet: str, monkeypatch) -> None:
    """A line of 50 mm from (100, 100): the words' middle is that of the line, less than 1 mm off it."""
    turn = math.radians(degrees)
    way = np.array([math.cos(turn), math.sin(turn)])
    start = np.array([100.0, 100.0])
    pen, places, kind = Written(), Places(Box(0.0, 0.0, 200.0, 200.0)), Type(2.0)
    if sheet == "pipes":
        assert watersheet._along(pen, places, start, start + 50 * way, "words", kind)
    else:
        monkeypatch.setattr(backdrop, "lines_on", lambda *_: [np.array([start, start + 50 * way])])
        assert backdrop._along(pen, None, places, None, "words", kind)
    ((x, y, angle),) = pen.texts
    along = np.array([math.cos(math.radians(angle)), math.sin(math.radians(angle))])
    off = np.array([x, y]) + 10 * along - (start + 25 * way)
    assert -90.02 <= angle <= 90.02
    assert abs(off @ way) < 1e-9
    assert 0.5 < abs(off @ np.array([-way[1], way[0]])) < 1.0
