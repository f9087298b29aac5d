"""Room, height and pollination against figures in print, and against the geometry of set-outs worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from setout.model import Pattern
from setout.stages.pollinate import in_bloom_together, limit_of, partners
from setout.stages.room.blocks import clear_alley_m
from setout.stages.room.summary import height_between
from setout.units import FOOT
from setout.words.room import plain_words
from spaced import block_of, feet, middle, plant, room, rowed, site_of, trees_of


@pytest.mark.parametrize(
    ("bearing", "way", "times"), [(0, "north-south", 1.3), (140, "north-south", 1.3), (90, "east-west", 1.5), (50, "east-west", 1.5)]
)
def test_height_between_rows(bearing: float, way: str, times: float) -> None:
    # R. Perry, J. Hull and J. Clements, Apple Scion/Rootstock Selection and Planning, Michigan State University: rows at least
    # 1.3 (north-south) or 1.5 times (east-west) as far apart as the trees are tall; rows between are taken for the nearer
    for tall in (8, 10, 12.5):
        assert height_between(feet(times * tall), bearing) == (pytest.approx(feet(tall)), way)


def test_clear_alley() -> None:
    # 20 ft rows with canopies 7 ft wide leave 13 ft
    assert clear_alley_m(Pattern("hedgerow", feet(4), feet(20)), [plant(7)]) / FOOT == pytest.approx(13)


def set_out(pattern: Pattern, spread: float, natural: float | None = None, **facts: object):
    block = block_of(pattern, plant(spread, natural=natural, **facts))
    trees = trees_of(rowed(pattern))
    return block, trees, room((block,), trees)


def test_offset_16_ft_with_rows_12_ft_apart() -> None:
    # hand: nearest = hypot(8, 12) = 14.4222 ft, in the next row; 15 ft canopies overlap by 0.5778 ft there
    block, trees, found = set_out(Pattern("offset", feet(16), feet(12), 0.5), 15)
    k = middle(trees)
    assert np.hypot(8, 12) == pytest.approx(14.422, abs=5e-4)
    assert found.crowding[k] == pytest.approx(15 / np.hypot(8, 12))
    assert found.overlap_m[k] / FOOT == pytest.approx(0.5778, abs=5e-5)
    said = " ".join(plain_words(found.blocks[0], block, "us"))
    assert "14.42 ft from their nearest neighbour in the next row" in said
    assert "canopies overlap by 0.6 ft across rows (4 % of their width)" in said
    # 3.9 % is less than the 5 % that make a finding
    assert "canopy_overlap" not in {f.code for f in found.findings}
    # four bisectors at 7.2111 ft from the middle take a segment each; those of the row, at 8 ft, none
    half = np.hypot(8, 12) / 2
    segment = 7.5**2 * np.arccos(half / 7.5) - half * np.sqrt(7.5**2 - half**2)
    assert found.pruning_load[k] == pytest.approx(4 * segment / (np.pi * 7.5**2), abs=0.002)


def test_equilateral_16_ft() -> None:
    # rows 16 x 0.8660 = 13.856 ft apart; 15 ft canopies stand 1 ft clear of all six neighbours
    rows = 16 * np.sqrt(3) / 2
    assert rows == pytest.approx(13.856, abs=5e-4)
    block, trees, found = set_out(Pattern("offset", feet(16), feet(rows), 0.5), 15)
    k = middle(trees)
    assert found.crowding[k] == pytest.approx(15 / 16)
    assert found.overlap_m.max() == 0
    assert found.pruning_load.max() == 0
    assert "1 ft stays open between them" in plain_words(found.blocks[0], block, "us")[0]


def test_full_size_trees_30_ft_apart_have_full_room() -> None:
    # eXtension, apples: an unpruned seedling apple is about 30 ft high with a crown of about 30 ft
    block, trees, found = set_out(Pattern("square", feet(30), feet(30)), 30)
    assert found.crowding[middle(trees)] == pytest.approx(1)
    assert found.pruning_load.max() == 0
    assert found.room_m / FOOT == pytest.approx(30, rel=1e-5)
    assert found.blocks[0].pruning_load_median == 0
    assert found.blocks[0].meet_year is None
    assert "they just touch" in plain_words(found.blocks[0], block, "us")[0]


def test_semi_dwarf_at_half_of_16_ft() -> None:
    # common practice: semi-dwarf, about 15 ft wide, 16 ft apart; half of that asks for much pruning: 64 of 177 sq ft stay
    _, trees, found = set_out(Pattern("square", feet(8), feet(8)), 15)
    assert found.pruning_load[middle(trees)] == pytest.approx(1 - 64 / (np.pi * 7.5**2), abs=0.002)
    assert round(found.blocks[0].pruning_load_median, 2) == 0.64


def test_held_small_at_6_ft_from_15_ft() -> None:
    # a canopy held to 6 ft is (6 / 15)^2 of the free-grown one: 84 % comes off, and at 6 ft none overlap
    _, trees, found = set_out(Pattern("square", feet(6), feet(6)), 6, natural=15)
    k = middle(trees)
    assert found.crowding[k] == pytest.approx(1)
    assert found.overlap_m.max() == 0
    assert found.pruning_load[k] == pytest.approx(1 - (6 / 15) ** 2, abs=1e-5)
    assert found.room_m[k] / FOOT == pytest.approx(6, abs=1e-4)
    assert round(found.blocks[0].pruning_load_median, 2) == 0.84


def test_dwarf_hedge_at_3_ft() -> None:
    # 9 ft dwarf trees kept 4 ft wide: what is left of a 9 ft circle within 2 ft to both sides of the row
    block, trees, found = set_out(Pattern("hedgerow", feet(3), feet(12)), 4, natural=9)
    k = middle(trees)
    kept = np.pi * 4.5**2 - 2 * (4.5**2 * np.arccos(2 / 4.5) - 2 * np.sqrt(4.5**2 - 4))
    assert found.crowding[k] == pytest.approx(4 / 3)
    assert found.overlap_m[k] / FOOT == pytest.approx(1)
    assert found.pruning_load[k] == pytest.approx(1 - kept / (np.pi * 4.5**2), abs=0.002)
    assert found.blocks[0].clear_alley_m / FOOT == pytest.approx(8)
    assert {f.code: f.severity for f in found.findings}["hedge_overlap"] == "note"
    assert "as they should to close the row" in plain_words(found.blocks[0], block, "us")[0]


def test_semi_dwarf_screen_at_10_ft() -> None:
    # 15 ft canopies 10 ft apart grow 5 ft into each other, and nothing to the side is in the way
    pattern = Pattern("screen", feet(10), feet(10))
    block = block_of(pattern, plant(15))
    trees = trees_of(rowed(pattern, rows=1))
    found = room((block,), trees)
    assert found.overlap_m / FOOT == pytest.approx(5)
    assert found.pruning_load == pytest.approx(0)
    assert np.isnan(found.blocks[0].clear_alley_m)
    assert [f.code for f in found.findings] == ["hedge_overlap"]


def test_vines_8_ft_apart() -> None:
    # M. Smith, 2023 Grape Pruning Primer, Ohio State University, 15 March 2023: of a mature vine more than 90 % of the
    # one-year-old wood comes off in a normal year
    for step in (6, 8, 10):
        block, _, found = set_out(Pattern("trellis", feet(step), feet(9)), 8, habit="vine", height=6)
        assert set(found.pruning_load) == {0.9}
    assert found.blocks[0].trees == 225
    assert "more than 90 % of last year's wood comes off (Ohio State University)" in " ".join(plain_words(found.blocks[0], block, "us"))


def test_pair_2_ft_apart() -> None:
    # partners 1 ft north and south of points 20 ft apart: the nearest that is no partner is 18 ft away, along the row
    pattern = Pattern("square", feet(20), feet(20))
    spots = rowed(pattern)
    pairs = np.repeat(np.column_stack([spots, np.zeros(len(spots))]), 2, axis=0)
    pairs[0::2, 1] += feet(1)
    pairs[1::2, 1] -= feet(1)
    pairs[:, 3] = 2 * pairs[:, 3] - (np.arange(len(pairs)) % 2 == 0)
    pairs[:, 4] = np.arange(len(pairs)) ^ 1
    trees = trees_of(pairs)
    found = room((block_of(pattern, plant(15)),), trees)
    assert found.crowding[middle(trees)] == pytest.approx(15 / 18)
    assert found.overlap_m.max() == 0
    assert found.pruning_load.max() == 0


@pytest.mark.parametrize(
    ("one", "other", "together"),
    # nursery rule on bloom: early with early and mid, mid with all, late with mid and late
    [
        ("early", "early", True),
        ("early", "mid", True),
        ("early", "late", False),
        ("mid", "early", True),
        ("mid", "mid", True),
        ("mid", "late", True),
        ("late", "early", False),
        ("late", "mid", True),
        ("late", "late", True),
    ],
)
def test_bloom_together(one: str, other: str, together: bool) -> None:
    assert in_bloom_together(one, other) is together


def test_limits_of_bees_and_wind() -> None:
    # nursery pages: within 50 ft best, beyond 100 ft poor; University of Georgia Extension, 29 January 2016: pecans
    # within 150 ft
    assert limit_of(plant(15, agent="bees")) / FOOT == pytest.approx(100)
    assert limit_of(plant(40, agent="wind")) / FOOT == pytest.approx(150)
    assert limit_of(plant(40, agent="wind", pollination_m=feet(1320))) / FOOT == pytest.approx(1320)


@pytest.mark.parametrize(("apart", "code"), [(49, None), (51, "pollinizer_not_near"), (99, "pollinizer_not_near"), (101, "pollinizer_far")])
def test_bees_fly_50_ft_best_and_100_ft_at_most(apart: float, code: str | None) -> None:
    pattern = Pattern("points", 0.0, 0.0)
    kinds = [plant(15, pollination="partner", variety=v, bloom="mid", agent="bees") for v in "AB"]
    spots = np.array([[0.0, 0, 1, 1], [feet(apart), 0, 2, 1]])
    far, found = partners(site_of(block_of(pattern, *kinds)), trees_of(spots, kind=[0, 1]))
    assert far / FOOT == pytest.approx(apart)
    assert {f.code for f in found} == ({code} if code else set())
