"""What a spacing means: pruning load as defined, hedges, pairs, fillers, growth, hours, and what lies around."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
import shapely

from setout.geometry.places.growth import cell_m2
from setout.model import Bed, HeightLimit, Pattern, Plant, Rows, Setback, Trees
from setout.stages.room import room_of, spread_at
from setout.stages.room.blocks import clear_alley_m
from setout.tables import labour
from setout.units import FOOT
from setout.words.findings import told
from setout.words.room import about, plain_words
from spaced import block_of, feet, middle, nearest_of, plant, room, rowed, rows_of, site_of, trees_of


def codes(found) -> dict[str, str]:
    return {finding.code: finding.severity for finding in found.findings}


def by_code(found, code: str):
    (one,) = [finding for finding in found.findings if finding.code == code]
    return told(one, "us")


# --------------------------------------------------------------------------------------- pruning load


def square_load(natural: float, step: float) -> float:
    """Closed form: a circle cut by the four sides of a square about its middle."""
    radius, half = natural / 2, step / 2
    if half >= radius:
        return 0.0
    if half <= radius / np.sqrt(2):
        return 1 - step**2 / (np.pi * radius**2)
    return 4 * (radius**2 * np.arccos(half / radius) - half * np.sqrt(radius**2 - half**2)) / (np.pi * radius**2)


@pytest.mark.parametrize("step", [16.0, 15.0, 14.0, 12.0, 10.0, 8.0, 4.0, 1.0])
def test_square_block_in_closed_form(step: float) -> None:
    pattern = Pattern("square", step, step)
    trees = trees_of(rowed(pattern))
    found = room((block_of(pattern, replace(plant(15), spread_m=15.0, natural_spread_m=15.0)),), trees)
    k = middle(trees)
    assert found.pruning_load[k] == pytest.approx(square_load(15, step), abs=0.003)
    # by its definition, the room is the circle that is left
    assert found.pruning_load[k] == pytest.approx(1 - (found.room_m[k] / 15) ** 2, abs=1e-6)


@pytest.mark.parametrize("kind", ["square", "offset", "quincunx", "hedgerow", "bed"])
def test_closer_is_never_less_crowded_nor_less_pruning(kind: str) -> None:
    shift = 0.5 if kind in ("offset", "quincunx") else 0.0
    rows = {"square": 1.0, "offset": 0.8, "quincunx": 0.5, "hedgerow": 3.0, "bed": 1.2}[kind]
    bed = Bed(3.0, 1.2, 0.5, 0.1) if kind == "bed" else None
    before = None
    for step in np.linspace(9, 0.5, 24):
        pattern = Pattern(kind, step, rows * step, shift, bed=bed)
        trees = trees_of(rowed(pattern, 9, 9))
        found = room((block_of(pattern, plant(20)),), trees)
        if before is not None:
            assert (found.crowding >= before.crowding - 1e-9).all()
            assert (found.pruning_load >= before.pruning_load - 1e-5).all()
            assert (found.overlap_m >= before.overlap_m - 1e-9).all()
            assert (found.room_m <= before.room_m + 1e-5).all()
        before = found
    inside = np.all([trees.row > 1, trees.row < 9, trees.position > 1, trees.position < 9], axis=0)
    assert before.pruning_load[inside].min() > (0.9 if kind in ("square", "offset", "quincunx") else 0.5)


def load_between(natural_m: float, step_m: float, kept_m: float | None = None) -> float:
    """Return the pruning load in the middle of a square block of 9 by 9."""
    pattern = Pattern("square", step_m, step_m)
    kept = Plant("", spread_m=natural_m if kept_m is None else kept_m, natural_spread_m=natural_m)
    return float(room((block_of(pattern, kept),), trees_of(rowed(pattern, 9, 9))).pruning_load[40])


def test_load_nears_one_as_the_spacing_nears_nothing() -> None:
    assert load_between(9.0, 0.05) > 0.9999
    assert load_between(9.0, 9.0) == 0.0
    assert load_between(9.0, 9.0, 3.0) == pytest.approx(1 - 1 / 9, abs=1e-6)


@pytest.mark.parametrize("turn", [0.1, 0.9, 2.0])
def test_turning_the_block_changes_no_load(turn: float) -> None:
    pattern = Pattern("offset", 4.0, 3.2, 0.5)
    spots = rowed(pattern)
    turned = spots.copy()
    turned[:, 0] = spots[:, 0] * np.cos(turn) + spots[:, 1] * np.sin(turn)
    turned[:, 1] = -spots[:, 0] * np.sin(turn) + spots[:, 1] * np.cos(turn)
    block = block_of(pattern, plant(20))
    one, other = room((block,), trees_of(spots)), room((block,), trees_of(turned))
    assert other.crowding == pytest.approx(one.crowding)
    assert other.pruning_load == pytest.approx(one.pruning_load, abs=0.004)


def test_a_tree_without_spread_has_no_figures() -> None:
    pattern = Pattern("square", 5.0, 5.0)
    trees = trees_of(rowed(pattern, 3, 3), kind=np.full(9, -1))
    found = room((block_of(pattern),), trees)
    for values in (found.crowding, found.overlap_m, found.pruning_load, found.room_m):
        assert np.isnan(values).all()
    assert np.isnan(found.blocks[0].hours_per_year)
    assert np.isnan(found.blocks[0].pruning_load_median)
    assert "not known" in plain_words(found.blocks[0], block_of(pattern), "us")[-1]
    assert found.findings == ()


def test_a_tree_alone_has_full_room() -> None:
    pattern = Pattern("points", 0.0, 0.0)
    block = block_of(pattern, plant(30))
    found = room((block,), trees_of(rowed(pattern, 1, 1)))
    assert np.isnan(found.crowding[0])
    assert (found.overlap_m[0], found.pruning_load[0]) == (0, 0)
    assert found.blocks[0].meet_year is None
    assert "has no neighbour" in plain_words(found.blocks[0], block, "us")[0]


# ------------------------------------------------------------------------------- rows, pairs, fillers


def test_in_a_hedgerow_the_step_does_not_count_but_the_width_and_the_next_row_do() -> None:
    def load(step: float, rows: float, kept: float) -> float:
        pattern = Pattern("hedgerow", step, rows)
        trees = trees_of(rowed(pattern, 5, 41))
        block = block_of(pattern, replace(plant(9), spread_m=kept, natural_spread_m=4.0))
        return float(room((block,), trees).pruning_load[middle(trees)])

    assert load(1.0, 8.0, 4.0) == 0.0
    assert load(0.5, 8.0, 2.0) == pytest.approx(load(1.5, 8.0, 2.0), abs=1e-4)
    # strip of half width 1 in a circle of radius 2: two segments go, (4 acos(1/2) - sqrt 3) each
    assert load(1.0, 8.0, 2.0) == pytest.approx(2 * (4 * np.pi / 3 - np.sqrt(3)) / (4 * np.pi), abs=0.002)
    assert load(1.0, 2.5, 4.0) > 0.2


def test_the_lines_of_a_double_hedge_do_not_cut_each_other() -> None:
    pattern = Pattern("hedgerow", 1.2, 5.0, lines=2, line_distance_m=0.9)
    row, number = (values.ravel() for values in np.mgrid[:6, :41])
    east = row // 2 * 5.0 + row % 2 * 0.9
    trees = trees_of(np.column_stack([east, (number + row % 2 / 2) * 1.2, row + 1, number + 1]))
    block = block_of(pattern, replace(plant(6), spread_m=2.0, natural_spread_m=2.0))
    assert room((block,), trees).pruning_load.max() == 0
    wider = block_of(pattern, replace(plant(6), spread_m=6.0, natural_spread_m=6.0))
    assert room((wider,), trees).pruning_load.min() > 0  # every hedge has another 5 m off


def test_rows_that_bend_are_cut_across_where_they_run() -> None:
    # a quarter circle of 50 m radius: the strip turns with the row, so every plant but the ends has the same load
    angle = np.linspace(0, np.pi / 2, 80)
    spots = np.column_stack([50 * np.cos(angle), 50 * np.sin(angle), np.ones(80), np.arange(1, 81)])
    block = replace(
        block_of(Pattern("hedgerow", 1.0, 4.0), replace(plant(9), spread_m=2.0, natural_spread_m=4.0)),
        direction="guide",
        line=shapely.LineString(spots[:, :2]),
    )
    load = room((block,), trees_of(spots)).pruning_load
    assert load == pytest.approx(2 * (4 * np.pi / 3 - np.sqrt(3)) / (4 * np.pi), abs=0.005)


def test_vines_and_canes_follow_their_own_rule() -> None:
    """M. Smith, 2023 Grape Pruning Primer, Ohio State University: more than 90 % of the one-year-old wood. Ohio State
    University Extension HYG-1421 and HYG-1431: canes grow one year, fruit the next and are cut out: one of two ages."""
    for habit, share in (("vine", 0.9), ("cane", 1 / 2)):
        for step in (1.0, 2.0, 5.0):
            pattern = Pattern("trellis", step, 3.0)
            found = room((block_of(pattern, plant(8, habit=habit)),), trees_of(rowed(pattern)))
            assert set(found.pruning_load) == {share}


def test_partners_are_no_neighbours() -> None:
    pattern = Pattern("square", 6.0, 6.0)
    spots = rowed(pattern, 5, 5)
    pairs = np.repeat(np.column_stack([spots, np.zeros(25)]), 2, axis=0)
    pairs[0::2, 1] += 0.3
    pairs[1::2, 1] -= 0.3
    pairs[:, 4] = np.arange(50) ^ 1
    trees = trees_of(pairs)
    assert nearest_of(trees) == pytest.approx(0.6)
    block = block_of(pattern, replace(plant(15), spread_m=5.6, natural_spread_m=5.6))
    found = room((block,), trees)
    # along the row pairs stand 6 - 0.6 m apart; the outermost trees have only the next row, 6 m away
    outer = np.isin(trees.position, (1, 5)) & (np.abs(trees.y - 12) > 12)
    assert found.crowding[~outer] == pytest.approx(5.6 / 5.4)
    assert found.crowding[outer] == pytest.approx(5.6 / 6)
    assert found.overlap_m[~outer] == pytest.approx(0.2)
    assert found.pruning_load[~outer].min() > 0
    assert found.pruning_load[outer].max() == 0
    assert found.pruning_load.max() < 0.005
    # two plants, one canopy to prune
    rate = labour.rate_for("tree", feet(12))
    more = (rate.full_h - rate.bare_h) * found.pruning_load.sum() / 2
    assert found.blocks[0].hours_per_year == pytest.approx(25 * rate.bare_h + more)


def test_fillers_do_not_crowd_those_that_outlast_them() -> None:
    pattern = Pattern("square", 4.0, 4.0)
    spots = rowed(pattern, 9, 9)
    kind = (spots[:, 2] + spots[:, 3]).astype(int) % 2
    main = replace(plant(18), spread_m=5.6, natural_spread_m=5.6)
    filler = replace(main, role="filler", remove_year=6)
    trees = trees_of(spots, kind=kind)
    found = room((block_of(pattern, main, filler),), trees)
    stays = kind == 0
    # those that stay have their like 4 sqrt 2 = 5.66 m away, and full room
    assert found.pruning_load[stays].max() == 0
    assert found.overlap_m[stays].max() == 0
    assert found.crowding[stays] == pytest.approx(5.6 / (4 * np.sqrt(2)))
    # a filler is judged in year 5, its last: 5.6 (1 - 20^(-5/8)), as wide as its neighbours by then, 4 m away
    wide = 5.6 * (1 - 20 ** (-5 / 8))
    assert found.crowding[~stays] == pytest.approx(wide / 4.0)
    assert found.overlap_m[~stays] == pytest.approx(wide - 4.0)
    # hand: what two of that size beyond the middle between them have, four times, in the middle of the block
    half, lens = wide / 2, np.arccos(4.0 / wide)
    lost = 4 * half**2 * (lens - np.sin(lens) * np.cos(lens)) / (np.pi * half**2)
    middle = (~stays) & (np.hypot(trees.x - trees.x.mean(), trees.y - trees.y.mean()) < 5)
    assert found.pruning_load[middle] == pytest.approx(lost, abs=0.005)
    assert found.blocks[0].crowding_median == pytest.approx(5.6 / (4 * np.sqrt(2)))
    assert found.blocks[0].overlap_share == 0
    assert "filler_growth_unknown" not in codes(found)
    # hand: 5.6 (1 - 20^(-t/8)) reaches 4 m at t = 3.35
    assert found.blocks[0].meet_year == 4
    unknown = replace(filler, years_to_full_size=float("nan"))
    untold = room((block_of(pattern, main, unknown),), trees)
    assert np.isnan(untold.crowding[~stays]).all()
    assert untold.crowding[stays] == pytest.approx(found.crowding[stays])
    assert "filler_growth_unknown" in codes(untold)
    late = by_code(found, "fillers_late")
    assert (late.measured, late.required) == ("year 6", "year 4 or before")
    early = room((block_of(pattern, main, replace(filler, remove_year=3)),), trees)
    assert "fillers_late" not in codes(early)
    assert early.blocks[0].meet_year is None  # those that stay never meet
    cover = dict(early.blocks[0].cover_by_year)
    assert cover[3] < cover[2]


# ------------------------------------------------------------------------------------- years and hours


def test_growth_reaches_95_percent_in_the_year_of_full_size() -> None:
    assert spread_at(10, 6.0, 10) == pytest.approx(0.95 * 6)
    sizes = [spread_at(year, 6.0, 10) for year in range(40)]
    assert sizes[0] == 0
    assert np.all(np.diff(sizes) > 0)
    assert np.all(np.diff(sizes, 2) < 0)
    assert np.isnan(spread_at(3, 6.0, float("nan")))
    assert spread_at(30, 6.0, 10, 2.0) == 2.0


@pytest.mark.parametrize("step", [7.0, 8.0, 10.0, 12.0, 14.0, 14.9])
def test_year_in_which_canopies_meet(step: float) -> None:
    pattern = Pattern("square", feet(step), feet(step))
    found = room((block_of(pattern, plant(15)),), trees_of(rowed(pattern, 6, 6)))
    # solved for the age: t = -8 ln(1 - step / 15) / ln 20
    assert found.blocks[0].meet_year == int(np.ceil(-8 * np.log(1 - step / 15) / np.log(20)))


def test_canopies_that_have_full_room_never_meet() -> None:
    for step in (15.0, 15.5, 30.0):
        pattern = Pattern("square", feet(step), feet(step))
        assert room((block_of(pattern, plant(15)),), trees_of(rowed(pattern, 6, 6))).blocks[0].meet_year is None


def test_canopy_cover_of_a_square_block() -> None:
    pattern = Pattern("square", 5.0, 5.0)
    trees = trees_of(rowed(pattern, 60, 60))
    main = replace(plant(15), spread_m=4.0, natural_spread_m=4.0)
    cover = dict(room((block_of(pattern, main),), trees).blocks[0].cover_by_year)
    assert cover[8] == pytest.approx(np.pi * (0.95 * 4) ** 2 / 4 / 25, rel=1e-4)
    assert sorted(cover) == list(range(1, 14))
    assert np.all(np.diff(list(cover.values())) >= 0)
    # canopies wider than the step: what is in the own cell counts once, so that the ground is covered at most whole
    wide = replace(main, spread_m=8.0, natural_spread_m=8.0)
    inside = dict(room((block_of(pattern, wide),), trees).blocks[0].cover_by_year)
    assert inside[13] == 1.0
    # on measured ground
    half = room((block_of(pattern, main),), trees, ground_m2=[3600 * 50.0]).blocks[0].cover_by_year
    assert dict(half)[8] == pytest.approx(cover[8] / 2)


def test_canopy_cover_against_the_union_of_circles() -> None:
    rng = np.random.default_rng(5)
    x, y = rng.uniform(0, 80, (2, 300))
    trees = trees_of(np.column_stack([x, y, np.ones(300), np.arange(1, 301)]))
    main = replace(plant(15), spread_m=6.0, natural_spread_m=6.0)
    found = room((block_of(Pattern("points", 0.0, 0.0), main),), trees, ground_m2=[100.0 * 100])
    year, share = found.blocks[0].cover_by_year[7]
    union = shapely.union_all(shapely.buffer(shapely.points(x, y), spread_at(year, 6.0, 8) / 2, quad_segs=32)).area
    assert share == pytest.approx(union / 1e4, rel=0.01)


def test_hours_follow_the_pruning_load_from_the_rate_of_none_to_that_of_all() -> None:
    pattern = Pattern("square", feet(16), feet(16))
    trees = trees_of(rowed(pattern, 10, 10))
    block = block_of(pattern, plant(15, height=14))
    assert room((block,), trees).blocks[0].hours_per_year == pytest.approx(100 * labour.rate_for("tree", feet(14)).bare_h)
    own = labour.parse("habit,size,height_max_ft,hours_at_0_pct,hours_at_100_pct,source\ntree,any,,0.5,2.5,ours")
    assert room((block,), trees, rates=own).blocks[0].hours_per_year == pytest.approx(50)
    half = Pattern("square", feet(8), feet(8))
    close = room((block_of(half, plant(15, height=14)),), trees_of(rowed(half, 10, 10)), rates=own)
    assert close.blocks[0].hours_per_year == pytest.approx(50 + 2 * close.pruning_load.sum())
    assert close.pruning_load.sum() > 50
    unknown = block_of(pattern, replace(plant(15), height_m=float("nan")))
    assert np.isnan(room((unknown,), trees).blocks[0].hours_per_year)
    assert np.isfinite(room((unknown,), trees, rates=own).blocks[0].hours_per_year)


def test_hours_never_fall_as_the_step_shrinks() -> None:
    hours = []
    for step in np.linspace(16, 4, 25):
        pattern = Pattern("square", feet(step), feet(step))
        hours.append(room((block_of(pattern, plant(15)),), trees_of(rowed(pattern, 8, 8))).blocks[0].hours_per_year)
    assert np.all(np.diff(hours) >= 0)
    assert hours[-1] > 1.5 * hours[0]


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("tree,any,,0", "hours_at_100_pct"),
        ("bush,any,,0,1,x", '"bush" is no habit'),
        ("tree,any,,-1,2,x", 'hours_at_0_pct = "-1"'),
        ("tree,any,tall,0,1,x", 'height_max_ft = "tall"'),
        ("tree,any,,0,nan,x", 'hours_at_100_pct = "nan"'),
    ],
)
def test_a_table_of_rates_that_cannot_be_used(row: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        labour.parse(f"habit,size,height_max_ft,hours_at_0_pct,hours_at_100_pct,source\n{row}")


def test_every_rate_names_its_source_and_never_falls_with_the_load() -> None:
    for rate in labour.rates():
        assert rate.source.startswith("from memory")
        assert 0 < rate.bare_h <= rate.full_h


def test_a_load_is_told_as_a_share_and_its_hours_with_their_grade() -> None:
    """No publication has classes of it: nothing calls a load light or heavy."""
    for step in (15.5, 14, 12, 8, 5):
        pattern = Pattern("square", feet(step), feet(step))
        block = block_of(pattern, plant(15))
        one = room((block,), trees_of(rowed(pattern, 9, 9))).blocks[0]
        said = " ".join(plain_words(one, block, "us"))
        assert "hours a year for the block (from memory)" in said
        assert not re.search(r"\b(light|moderate|heavy)\b", said)
        load = f"{100 * one.pruning_load_median:.0f} %"
        assert f"takes off {load} of what each plant would grow" in said or one.pruning_load_median < 0.01


@pytest.mark.parametrize(
    ("pattern", "area"),
    [
        (Pattern("offset", 5.0, 4.0, 0.5), 20.0),
        (Pattern("quincunx", 8.0, 4.0, 0.5), 32.0),
        (Pattern("square", 5.0, 5.0, alley_every=4, alley_width_m=9.0), 30.0),
        # 10 x 6 ft beds (common practice) 3 ft apart in rows 10 ft apart, two lines of five: 130 sq ft to ten plants
        (Pattern("bed", 2.0, 10.0, lines=2, line_distance_m=2.0, bed=Bed(10.0, 6.0, 3.0, 0.2)), 13.0),
        (Pattern("contour rows", 5.0, 4.0, row_distance_max_m=6.0), 25.0),
    ],
)
def test_ground_that_a_pattern_gives_to_each_plant(pattern: Pattern, area: float) -> None:
    assert cell_m2(pattern) == pytest.approx(area)


# ----------------------------------------------------------------------------------- findings of blocks


def test_overlap_in_an_orchard_is_one_finding_with_its_figures() -> None:
    pattern = Pattern("square", feet(12), feet(12))
    found = room((block_of(pattern, plant(15)),), trees_of(rowed(pattern, 10, 10)))
    one = by_code(found, "canopy_overlap")
    assert one.severity == "warn"
    assert "100 of 100 canopies" in one.message
    assert one.measured == "3.0 ft typical, 3.0 ft worst"
    assert one.remedy


@pytest.mark.parametrize(("step", "expected"), [(14.3, False), (14.2, True)])
def test_overlap_of_up_to_5_percent_is_no_finding(step: float, expected: bool) -> None:
    # 5 % of 15 ft is 0.75 ft
    pattern = Pattern("square", feet(step), feet(step))
    found = room((block_of(pattern, plant(15)),), trees_of(rowed(pattern, 6, 6)))
    assert ("canopy_overlap" in codes(found)) is expected


def test_a_screen_that_does_not_close_is_a_finding() -> None:
    pattern = Pattern("screen", feet(12), feet(12))
    found = room((block_of(pattern, plant(10)),), trees_of(rowed(pattern, 1, 20)))
    assert by_code(found, "hedge_open").measured == "2.0 ft"


def test_clear_alley() -> None:
    assert clear_alley_m(Pattern("hedgerow", 1, 5, lines=2, line_distance_m=1.0), [replace(plant(1), spread_m=2.0)]) == 2.0
    assert np.isnan(clear_alley_m(Pattern("square", 5, 5), []))
    assert np.isnan(clear_alley_m(Pattern("square", 5, 5), [replace(plant(1), spread_m=float("nan"))]))
    # vines hang in a wall 3 ft wide, whatever they reach along the wire
    assert clear_alley_m(Pattern("trellis", 2, feet(9)), [plant(8, habit="vine")]) / FOOT == pytest.approx(6)
    # beds 6 ft wide in rows 10 ft apart leave paths of 4 ft where the plants do not reach over
    bed = Bed(feet(10), feet(6), feet(3), 0.1)
    assert clear_alley_m(Pattern("bed", feet(2), feet(10), bed=bed), [plant(3)]) / FOOT == pytest.approx(4)


def test_a_hedgerow_is_held_to_the_height_that_its_row_distance_allows() -> None:
    """R. Perry, J. Hull and J. Clements, Michigan State University: rows north-south at least 1.3 times as far apart as the
    trees are tall, east-west 1.5 times: 16 ft rows allow 12.3 and 10.7 ft."""
    pattern = Pattern("hedgerow", feet(5), feet(16))
    north = rowed(pattern, 4, 10)
    east = np.column_stack([north[:, 1], north[:, 0], north[:, 2:]])
    for spots, bearing, allowed, said in ((east, 90.0, "10.67 ft", "1.5 times"), (north, 0.0, "12.31 ft", "1.3 times")):
        trees = trees_of(spots)
        rows = replace(rows_of(trees), bearing_deg=np.full(4, bearing))
        low, high = (
            room_of(site_of(block), trees, nearest_of(trees), rows)
            for block in (block_of(pattern, plant(5, height=float(allowed.split()[0]) + more)) for more in (-0.01, 0.2))
        )
        assert "hedgerow_tall" not in codes(low)
        one = by_code(high, "hedgerow_tall")
        assert one.required == allowed
        assert said in one.message
    # one row alone has light from both sides
    alone = room((block_of(pattern, plant(7, height=20)),), trees_of(rowed(pattern, 1, 10)))
    assert "hedgerow_tall" not in codes(alone)


def test_alleys_that_close() -> None:
    pattern = Pattern("hedgerow", feet(5), feet(10))
    shut = room((block_of(pattern, plant(11, height=5)),), trees_of(rowed(pattern, 3, 9)))
    assert codes(shut)["alley_narrow"] == "warn"
    narrow = room((block_of(pattern, plant(4, height=4)),), trees_of(rowed(pattern, 3, 9)))
    assert codes(narrow)["alley_narrow"] == "note"
    assert by_code(narrow, "alley_narrow").measured == "6.0 ft"


def test_the_path_between_beds_is_worked_by_hand() -> None:
    """Beds 6 ft wide in rows 10 ft apart leave 4 ft: no tractor is meant to pass there."""
    pattern = Pattern("bed", feet(5), feet(10), bed=Bed(feet(10), feet(6), feet(3), 0.1))
    assert "alley_narrow" not in codes(room((block_of(pattern, plant(4, height=4)),), trees_of(rowed(pattern, 3, 9))))


def test_words_do_not_speak_of_full_room_where_canopies_overlap() -> None:
    """A hedge at half its spread keeps its width, yet its plants stand in each other; a square at its spread does not."""
    hedge = Pattern("hedgerow", feet(4), feet(20))
    said = plain_words(room((block_of(hedge, plant(8)),), trees_of(rowed(hedge, 3, 9))).blocks[0], block_of(hedge, plant(8)), "us")
    assert "canopies overlap by 4 ft" in said[0]
    assert "grow into each other" in said[1]
    assert "full room" not in " ".join(said)
    square = Pattern("square", feet(8), feet(8))
    wide = plain_words(room((block_of(square, plant(8)),), trees_of(rowed(square, 5, 5))).blocks[0], block_of(square, plant(8)), "us")
    assert "full room" in wide[1]


# ------------------------------------------------------------------------------------------ what is around


def one_row(spread: float, height: float = 12.0, **facts):
    """Four trees 10 m apart along a line 3 m east of the y axis."""
    pattern = Pattern("rectangular", 10.0, 10.0)
    block = block_of(pattern, replace(plant(1, **facts), spread_m=spread, natural_spread_m=spread, height_m=height))
    return block, trees_of(rowed(pattern, 1, 4, at=(3.0, 0.0)))


def test_canopies_over_the_property_line() -> None:
    block, trees = one_row(7.0)
    land = shapely.box(0, -100, 100, 100)
    found = room((block,), trees, site_of(block, boundary=land))
    one = by_code(found, "canopy_over_boundary")
    assert "4 canopies" in one.message
    assert one.measured == "1.6 ft over"  # 3.5 m reach less 3 m
    block, trees = one_row(5.9)
    assert "canopy_over_boundary" not in codes(room((block,), trees, site_of(block, boundary=land)))


def test_canopies_over_a_building() -> None:
    block, trees = one_row(7.0)
    house = Setback("house", "f:house", 0.0, "trunk", np.array([shapely.box(0, 8, 1, 12), shapely.box(50, 0, 60, 9)], object))
    fence = Setback("fence", "f:fence", 0.0, "trunk", np.array([shapely.LineString([(0, 0), (0, 20)])], object))
    found = room((block,), trees, site_of(block, setbacks=(house, fence)))
    one = by_code(found, "canopy_over_feature")
    assert "1 canopy" in one.message
    assert "house" in one.message
    assert one.measured == "4.9 ft over"  # 3.5 m reach less 2 m


def test_canopies_that_grow_into_the_zone_of_a_line() -> None:
    wire = HeightLimit("overhead line", "f:line", 1.0, 4.0, np.array([shapely.LineString([(-1, -50), (-1, 50)])], object))
    block, trees = one_row(7.0, height=5.0)  # 4 m from the wire, zone to 1 m: 3 m, and a reach of 3.5 m
    one = by_code(room((block,), trees, site_of(block, height_limits=(wire,))), "canopy_in_height_limit")
    assert one.measured == "1.6 ft over"
    assert "utility" in one.remedy
    low, trees = one_row(7.0, height=3.9)
    assert codes(room((low,), trees, site_of(low, height_limits=(wire,)))) == {}
    # a trunk within the zone is told by the check of heights
    inside = replace(wire, within_m=5.0)
    assert codes(room((block,), trees, site_of(block, height_limits=(inside,)))) == {}


@pytest.mark.parametrize(("apart", "expected"), [(49.0, True), (59.0, True), (61.0, False)])
def test_juglone(apart: float, expected: bool) -> None:
    """R. C. Funt and J. Martin, Ohio State University Extension: 50 to 60 ft from the trunk on average, up to 80 ft."""
    pattern = Pattern("points", 0.0, 0.0)
    walnut = plant(5, name="black walnut, standard", species="black walnut", juglone="makes")
    apple = plant(5, name="apple, dwarf", species="apple", juglone="suffers")
    blocks = (block_of(pattern, walnut, name="W"), block_of(pattern, apple, name="F"))
    spots = rowed(pattern, 1, 1)
    trees = trees_of(spots, rowed(pattern, 1, 1, at=(feet(apart), 0.0)))
    found = room(blocks, trees)
    assert ("juglone" in codes(found)) is expected
    if expected:
        assert "block F: 1 plant that juglone harms (apple) stands" in by_code(found, "juglone").message
        assert by_code(found, "juglone").measured == f"{apart:.1f} ft"
        assert by_code(found, "juglone").required == "60 ft or more"
        assert "up to 80 ft" in by_code(found, "juglone").remedy


# ---------------------------------------------------------------------------------------- words, large


def test_words_are_two_to_four_sentences() -> None:
    for kind, habit in (("square", "tree"), ("hedgerow", "shrub"), ("trellis", "vine"), ("bed", "cane"), ("screen", "tree")):
        bed = Bed(3.0, 2.0, 0.5, 0.1) if kind == "bed" else None
        pattern = Pattern(kind, 2.0, 4.0, bed=bed)
        block = block_of(pattern, plant(8, habit=habit))
        for units in ("us", "si"):
            said = plain_words(room((block,), trees_of(rowed(pattern, 3, 9))).blocks[0], block, units)
            assert 2 <= len(said) <= 4
            assert all(sentence.rstrip().endswith(".") and "nan" not in sentence for sentence in said)


def test_a_block_without_trees() -> None:
    blocks = (block_of(Pattern("square", 5.0, 5.0), plant(9)), block_of(Pattern("square", 5.0, 5.0), plant(9), name="B"))
    found = room(blocks, trees_of(rowed(blocks[0].pattern, 3, 3)))
    assert [block.trees for block in found.blocks] == [9, 0]
    assert plain_words(found.blocks[1], blocks[1], "us") == ["Nothing stands in this block."]


def test_no_trees_at_all() -> None:
    none, whole = np.empty(0), np.empty(0, np.int64)
    rows = Rows(whole, whole, none, none, none, none, whole, none)
    i32 = np.empty(0, np.int32)
    trees = Trees(i32, i32, i32, none, none, i32)
    block = block_of(Pattern("square", 5.0, 5.0), plant(9))
    assert room_of(site_of(block), trees, none, rows).blocks[0].trees == 0


def test_order_of_trees_does_not_matter() -> None:
    pattern = Pattern("offset", 4.0, 3.0, 0.5)
    spots = rowed(pattern, 9, 9)
    block = block_of(pattern, plant(15))
    forward, back = trees_of(spots), trees_of(spots[::-1])
    one = room((block,), forward)
    other = room_of(site_of(block), back, nearest_of(back), rows_of(forward))
    assert other.pruning_load[::-1] == pytest.approx(one.pruning_load, abs=1e-6)
    assert other.crowding[::-1] == pytest.approx(one.crowding)


def test_about() -> None:
    assert about(4.5, "si") == "4.5 m"
    assert about(3.0, "si") == "3 m"
