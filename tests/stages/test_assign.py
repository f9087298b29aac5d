"""Which plant stands where: counts, ways of dealing, fillers and pairs, on even and on broken ground."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from math import ceil
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from setout.model import Block, Bools, Dealing, Finding, Pair, Pattern, Plant, Trees
from setout.stages.assign import allotted, assign
from setout.words.findings import all_told, told

A, B, C, D = (Plant("apple, dwarf", letter, species="apple") for letter in "ABCD")
FILLER = Plant("plum, dwarf", role="filler", remove_year=9)
SQUARE = Pattern("square", 5.0, 5.0)


def ground(pattern: Pattern, rows: int, per_row: int, keep: Bools | None = None, bearing: float = 20.0) -> Trees:
    """Set a lattice out as fill does: row 1 on the left, position 1 where the walk begins; keep some of it."""
    number = np.repeat(np.arange(rows), per_row)
    u = np.tile(np.arange(per_row), rows) * pattern.step_m + number % 2 * pattern.shift * pattern.step_m
    v = -number * pattern.row_distance_m
    keep = np.ones(len(u), bool) if keep is None else keep
    u, v, number = u[keep], v[keep], number[keep]
    _, row = np.unique(number, return_inverse=True)
    first = np.flatnonzero(np.append(True, row[1:] != row[:-1])[: len(row)])
    position = np.arange(len(row)) - first[row] + 1 if len(row) else row
    sin, cos = np.sin(np.radians(bearing)), np.cos(np.radians(bearing))
    return Trees(
        np.zeros(len(u), np.int32),
        (row + 1).astype(np.int32),
        position.astype(np.int32),
        sin * u - cos * v + 400.0,
        cos * u + sin * v - 90.0,
        np.zeros(len(u), np.int32),
    )


def block_of(*plants: Plant, pattern: Pattern = SQUARE, dealing: Dealing | None = None) -> Block:
    return Block("A", None, pattern, 20.0, plants, dealing or Dealing())


def by_row(trees: Trees) -> list[str]:
    """Return the plants of every row as letters; a dot where nothing is planted."""
    return ["".join("ABCDEFGH."[p] for p in trees.plant[trees.row == r]) for r in np.unique(trees.row)]


def codes(findings: tuple[Finding, ...]) -> list[str]:
    return [finding.code for finding in findings]


def counted(plant: Plant, number: int) -> Plant:
    return replace(plant, share=float(number), count=True)


BROKEN = st.tuples(st.integers(1, 9), st.integers(1, 14), st.integers(0, 2**32 - 1), st.floats(0.3, 1.0))


def broken(pattern: Pattern, shape: tuple[int, int, int, float]) -> Trees:
    """Return a lattice with positions missing anywhere, as steep cells and ponds leave it."""
    rows, per_row, seed, share = shape
    keep = np.random.default_rng(seed).random(rows * per_row) < share
    keep[0] = True
    return ground(pattern, rows, per_row, keep)


# ------------------------------------------------------------------------------------------------- counts


def test_a_solid_block() -> None:
    trees, findings = assign(ground(SQUARE, 3, 4), [block_of(A)])
    assert by_row(trees) == ["AAAA"] * 3
    assert findings == ()


@given(st.lists(st.tuples(st.integers(1, 12), st.booleans()), min_size=1, max_size=5), BROKEN)
def test_counts_are_honoured_exactly(plants: list[tuple[int, bool]], shape: tuple[int, int, int, float]) -> None:
    bare = broken(SQUARE, shape)
    named = tuple(Plant("apple", str(k), share=float(n), count=c) for k, (n, c) in enumerate(plants))
    trees, findings = assign(bare, [block_of(*named)])
    got = np.bincount(trees.plant[trees.plant >= 0], minlength=len(named))
    size, asked = len(bare), sum(n for n, c in plants if c)
    shares = [n for n, c in plants if not c]
    if asked > size:
        assert got.sum() == size
        for k, (n, c) in enumerate(plants):
            assert abs(got[k] - (n * size / asked if c else 0)) < 1
        (stop,) = [told(finding, "us") for finding in findings if finding.severity == "stop"]
        assert (stop.code, stop.measured, stop.required) == ("counts_over_positions", f"{size} positions", f"{asked} positions")
        assert stop.remedy
        return
    assert not [finding for finding in findings if finding.severity == "stop"]
    for k, (n, c) in enumerate(plants):
        assert got[k] == n if c else abs(got[k] - n / sum(shares) * (size - asked)) < 1
    left = 0 if shares else size - asked
    assert int((trees.plant < 0).sum()) == left
    assert ("positions_left_over" in codes(findings)) == (left > 0)
    # what is left over is the end of the walk, not holes in it
    assert (trees.plant[: size - left] >= 0).all()


@given(st.lists(st.integers(1, 60), min_size=2, max_size=6), BROKEN)
def test_shares_are_spread_evenly_along_the_walk(shares: list[int], shape: tuple[int, int, int, float]) -> None:
    bare = broken(SQUARE, shape)
    trees, _ = assign(bare, [block_of(*(Plant("apple", str(k), share=float(n)) for k, n in enumerate(shares)))])
    for k in range(len(shares)):
        places = np.flatnonzero(trees.plant == k)
        if len(places) > 1:
            assert np.diff(places).max() <= ceil(2 * len(bare) / len(places))


@pytest.mark.parametrize(("number", "code"), [(8, "positions_left_over"), (9, None), (10, "counts_over_positions")])
def test_counts_one_short_even_and_one_over(number: int, code: str | None) -> None:
    trees, findings = assign(ground(SQUARE, 3, 3), [block_of(counted(A, 3), counted(B, number - 3))])
    assert int((trees.plant >= 0).sum()) == min(number, 9)
    assert codes(findings) == ([code] if code else [])


def test_a_ninth_of_pollinizers_stands_at_every_ninth_tree() -> None:
    """1 to 9 "was traditionally recommended in the UK" (NIAB, number of trees of the pollinating variety)."""
    trees, _ = assign(ground(SQUARE, 10, 10), [block_of(replace(A, share=9.0), B)])
    assert np.diff(np.flatnonzero(trees.plant == 1)).tolist() == [10] * 9


def test_a_plant_that_gets_no_tree_is_said() -> None:
    _, findings = assign(ground(SQUARE, 2, 5), [block_of(replace(A, share=50.0), B)])
    (finding,) = all_told(findings, "us")
    assert (finding.code, finding.severity) == ("plant_without_tree", "warn")
    assert "apple, dwarf (B)" in finding.message
    assert finding.remedy


def test_blocks_are_dealt_apart_and_those_without_plants_stay_bare() -> None:
    one = ground(SQUARE, 2, 3)
    many = Trees(
        np.repeat(np.arange(3, dtype=np.int32), 6),
        *(np.tile(v, 3) for v in (one.row, one.position)),
        np.concatenate([one.x, one.x + 50, one.x + 100]),
        np.tile(one.y, 3),
        np.full(18, 7, np.int32),
    )
    empty = replace(block_of(A, B), name="D")
    trees, findings = assign(many, [block_of(A, B), block_of(), block_of(C), empty])
    assert trees.plant.tolist() == [0, 1, 0, 1, 0, 1, *[-1] * 6, *[0] * 6]
    assert findings == ()
    assert many.plant.tolist() == [7] * 18


def test_no_trees_at_all() -> None:
    trees, findings = assign(ground(SQUARE, 0, 0), [block_of(A, B)])
    assert (len(trees), findings) == (0, ())


@given(st.integers(0, 500), st.lists(st.integers(0, 90), min_size=1, max_size=4))
def test_allotted_counts_never_ask_for_more_than_there_is(size: int, asked: list[int]) -> None:
    counts = allotted([counted(A, n) for n in asked], size)
    assert counts.sum() == min(size, sum(asked))
    assert (counts <= np.array(asked)).all()


# --------------------------------------------------------------------------------------------------- rows


def test_rows_by_turns_as_wide_as_the_shares() -> None:
    """Four rows of the crop between two of pollinizers (Penn State, pollinizer placement: solid rows are preferred)."""
    trees, findings = assign(ground(SQUARE, 14, 3), [block_of(replace(A, share=4), replace(B, share=2), dealing=Dealing("rows"))])
    assert [row[0] for row in by_row(trees)] == list("AABAABAABAABAA")
    assert findings == ()


@given(st.lists(st.integers(1, 4), min_size=2, max_size=4), BROKEN)
def test_rows_are_never_mixed(shares: list[int], shape: tuple[int, int, int, float]) -> None:
    plants = [Plant("apple", str(k), share=float(n)) for k, n in enumerate(shares)]
    trees, _ = assign(broken(SQUARE, shape), [block_of(*plants, dealing=Dealing("rows"))])
    assert all(len(set(row)) == 1 and "." not in row for row in by_row(trees))


def test_counts_stand_together_in_the_last_rows() -> None:
    plants = (A, counted(C, 7), B)
    trees, findings = assign(ground(SQUARE, 5, 5), [block_of(*plants, dealing=Dealing("rows"))])
    assert by_row(trees) == ["AAAAA", "CCCCC", "AAAAA", "CCCBB", "BBBBB"]  # letters by place in the plan: B is counted
    assert findings == ()


def test_rows_of_counts_alone_leave_the_end_open() -> None:
    plants = (counted(A, 4), counted(B, 3))
    trees, findings = assign(ground(SQUARE, 3, 3), [block_of(*plants, dealing=Dealing("rows"))])
    assert by_row(trees) == ["AAA", "ABB", "B.."]
    assert codes(findings) == ["positions_left_over"]
    assert findings[0].figures["positions"] == 9


# -------------------------------------------------------------------------------------------------- every


def test_every_third_tree_of_every_third_row() -> None:
    """The usual planting of hazelnut pollinizers (British Columbia, hazelnut orchard design: pollinizers), staggered."""
    trees, findings = assign(ground(SQUARE, 9, 9), [block_of(A, B, dealing=Dealing("every", 3, 3))])
    assert by_row(trees) == [
        "AAAAAAAAA",
        "ABAABAABA",
        "AAAAAAAAA",
        "AAAAAAAAA",
        "AABAABAAB",
        "AAAAAAAAA",
        "AAAAAAAAA",
        "ABAABAABA",
        "AAAAAAAAA",
    ]
    assert findings == ()
    assert (trees.plant == 1).mean() == pytest.approx(1 / 9)
    # no tree of the crop is more than two places from a pollinizer
    pollinizers = np.column_stack([trees.x, trees.y])[trees.plant == 1]
    far = cKDTree(pollinizers).query(np.column_stack([trees.x, trees.y]))[0]
    assert far.max() <= np.hypot(2, 1) * 5.0 + 1e-9


@given(BROKEN, st.integers(1, 6), st.integers(1, 5))
def test_pollinizers_on_broken_ground(shape: tuple[int, int, int, float], k: int, m: int) -> None:
    trees, _ = assign(broken(SQUARE, shape), [block_of(A, B, dealing=Dealing("every", k, m))])
    rows = by_row(trees)
    with_some = [number for number, row in enumerate(rows) if "B" in row]
    assert with_some == list(range(min((m + 1) // 2, len(rows)) - 1, len(rows), m))
    for number in with_some:
        places = np.flatnonzero(np.array(list(rows[number])) == "B")
        assert (np.diff(places) == k).all()
        assert len(rows[number]) - places[-1] <= k or len(places) == 1
        assert places[0] < k


@given(st.integers(2, 7), st.integers(0, 2**32 - 1))
def test_pollinizer_rows_are_staggered_on_the_ground_not_by_number(k: int, seed: int) -> None:
    """Rows that begin anywhere: pollinizers of neighbouring pollinizer rows still stand half a turn apart."""
    start = np.random.default_rng(seed).integers(0, 9, 6)
    keep = (np.arange(60) >= start[:, None]).ravel()
    trees, _ = assign(ground(SQUARE, 6, 60, keep, bearing=0.0), [block_of(A, B, dealing=Dealing("every", k, 1))])
    along = np.rint((trees.y - trees.y.max()) / 5.0).astype(int)
    phases = [set(along[(trees.row == r) & (trees.plant == 1)] % k) for r in range(1, 7)]
    assert all(len(phase) == 1 for phase in phases)
    phase = [min(p) for p in phases]
    assert all((b - a) % k in (k // 2, k - k // 2) for a, b in pairwise(phase))


def test_more_plants_share_what_the_pollinizer_leaves() -> None:
    plants = (replace(A, share=2.0), B, replace(C, share=1.0))
    trees, _ = assign(ground(SQUARE, 9, 9), [block_of(*plants, dealing=Dealing("every", 3, 3))])
    assert np.bincount(trees.plant).tolist() == [48, 9, 24]


@pytest.mark.parametrize("number", [4, 9, 20])
def test_a_counted_pollinizer_is_thinned_or_filled_up(number: int) -> None:
    trees, findings = assign(ground(SQUARE, 9, 9), [block_of(A, counted(B, number), dealing=Dealing("every", 3, 3))])
    assert np.bincount(trees.plant).tolist() == [81 - number, number]
    assert findings == ()
    solid, _ = assign(ground(SQUARE, 9, 9), [block_of(A, B, dealing=Dealing("every", 3, 3))])
    common = int(((solid.plant == 1) & (trees.plant == 1)).sum())
    assert common == min(number, 9)


def test_a_counted_crop_is_honoured_beside_pollinizers() -> None:
    trees, findings = assign(ground(SQUARE, 9, 9), [block_of(counted(A, 78), B, dealing=Dealing("every", 3, 3))])
    assert np.bincount(trees.plant).tolist() == [78, 3]
    assert findings == ()


def test_a_pollinizer_that_is_not_named() -> None:
    trees, findings = assign(ground(SQUARE, 3, 3), [block_of(A, dealing=Dealing("every", 3, 3))])
    assert by_row(trees) == ["AAA"] * 3
    assert codes(findings) == ["no_second_plant"]


# ------------------------------------------------------------------------------------------------ fillers


def nearest_of(trees: Trees, plant: int) -> Any:
    points = np.column_stack([trees.x, trees.y])[trees.plant == plant]
    return cKDTree(points).query(points, k=2)[0][:, 1]


QUINCUNX = Pattern("quincunx", 10.0, 5.0, 0.5)


def test_the_middles_of_a_quincunx_are_fillers() -> None:
    """Square plus one tree at every middle: 5 x 6 permanent, 4 x 6 fillers; what stays is a 10 m square."""
    trees, findings = assign(ground(QUINCUNX, 9, 6), [block_of(A, FILLER, pattern=QUINCUNX)])
    assert by_row(trees) == ["AAAAAA", "BBBBBB"] * 4 + ["AAAAAA"]
    assert nearest_of(trees, 0).min() == pytest.approx(10.0, abs=1e-9)
    assert findings == ()


def test_a_road_through_a_quincunx_does_not_swap_middles_and_squares() -> None:
    """The fourth line falls away whole: the fifth, now called row 4, is still a row of the square."""
    keep = np.repeat(np.arange(9) != 3, 6)
    trees, _ = assign(ground(QUINCUNX, 9, 6, keep), [block_of(A, FILLER, pattern=QUINCUNX)])
    assert [row[0] for row in by_row(trees)] == list("ABAABABA")
    assert nearest_of(trees, 0).min() == pytest.approx(10.0, abs=1e-9)


def test_every_second_position_of_a_square_is_a_filler_staggered() -> None:
    trees, _ = assign(ground(SQUARE, 3, 5), [block_of(A, FILLER)])
    assert by_row(trees) == ["ABABA", "BABAB", "ABABA"]
    assert nearest_of(trees, 0).min() == pytest.approx(5 * np.sqrt(2), abs=1e-9)


@pytest.mark.parametrize(
    ("pattern", "apart"),
    [(SQUARE, 5 * np.sqrt(2)), (Pattern("rectangular", 4.0, 6.0), np.hypot(4, 6)), (QUINCUNX, 10.0)],
    ids=["square", "rectangular", "quincunx"],
)
@given(shape=BROKEN)
@settings(max_examples=60)
def test_what_stays_on_broken_ground_has_its_wider_room(pattern: Pattern, apart: float, shape: tuple[int, int, int, float]) -> None:
    """Missing positions and whole missing rows never bring two permanent trees nearer; they keep the larger half."""
    trees, _ = assign(broken(pattern, shape), [block_of(A, FILLER, pattern=pattern)])
    size = np.bincount(trees.plant, minlength=2)
    assert size[0] >= size[1]
    if size[0] > 1:
        near = nearest_of(trees, 0).min()
        alternate = 2 * pattern.row_distance_m if pattern.kind != "quincunx" else apart
        assert near >= min(apart, 2 * pattern.step_m, alternate) - 1e-9


def test_permanent_trees_are_dealt_among_themselves() -> None:
    """Pollinizers go into permanent places only (British Columbia, hazelnut orchard design: pollinizers)."""
    plants = (A, B, FILLER)
    trees, _ = assign(ground(QUINCUNX, 17, 9), [block_of(*plants, pattern=QUINCUNX, dealing=Dealing("every", 3, 3))])
    rows = by_row(trees)
    assert set(rows[1::2]) == {"C" * 9}
    assert rows[::2] == [
        "AAAAAAAAA",
        "ABAABAABA",
        "AAAAAAAAA",
        "AAAAAAAAA",
        "AABAABAAB",
        "AAAAAAAAA",
        "AAAAAAAAA",
        "ABAABAABA",
        "AAAAAAAAA",
    ]


def test_two_fillers_share_the_places_between() -> None:
    other = replace(FILLER, variety="other")
    trees, _ = assign(ground(QUINCUNX, 9, 6), [block_of(A, FILLER, other, pattern=QUINCUNX)])
    assert np.bincount(trees.plant).tolist() == [30, 12, 12]
    assert by_row(trees)[1] == "BCBCBC"


def test_rows_that_keep_no_common_lattice_alternate_by_position() -> None:
    """Rows with a phase of their own (trellis, hedgerow, contour rows): every second tree that the crew meets."""
    trees = ground(SQUARE, 4, 6)
    wobble = np.repeat(np.array([0.0, 1.7, 3.1, 0.9]), 6)
    loose = replace(trees, x=trees.x + wobble * np.sin(np.radians(20)), y=trees.y + wobble * np.cos(np.radians(20)))
    got, _ = assign(loose, [block_of(A, FILLER, pattern=Pattern("trellis", 5.0, 5.0, free_rows=True))])
    assert by_row(got) == ["ABABAB", "BABABA"] * 2


def test_nothing_but_fillers() -> None:
    trees, findings = assign(ground(SQUARE, 2, 2), [block_of(FILLER)])
    assert by_row(trees) == ["AA", "AA"]
    assert codes(findings) == ["only_fillers"]


# -------------------------------------------------------------------------------------------------- pairs


def in_pairs(trees: Trees, axis: float, swap: Bools | None = None) -> Trees:
    """Set partners 0.6 m apart at every position, the one further along the axis first, or last where swapped."""
    dx, dy = 0.3 * np.sin(np.radians(axis)), 0.3 * np.cos(np.radians(axis))
    side = np.tile([1.0, -1.0], len(trees))
    if swap is not None:
        side = np.where(np.repeat(swap, 2), -side, side)
    size = 2 * len(trees)
    return Trees(
        np.repeat(trees.block, 2),
        np.repeat(trees.row, 2),
        np.column_stack([2 * trees.position - 1, 2 * trees.position]).ravel().astype(np.int32),
        np.repeat(trees.x, 2) + side * dx,
        np.repeat(trees.y, 2) + side * dy,
        np.zeros(size, np.int32),
        (np.arange(size) ^ 1).astype(np.int32),
    )


@given(st.sampled_from([0.0, 180.0, 20.0, 135.0, 300.0]), st.integers(0, 2**32 - 1))
def test_the_first_plant_stands_on_the_north_of_every_pair(axis: float, seed: int) -> None:
    bare = ground(SQUARE, 3, 4)
    pairs = in_pairs(bare, axis, np.random.default_rng(seed).random(len(bare)) < 0.5)
    trees, findings = assign(pairs, [block_of(A, B, pattern=replace(SQUARE, pair=Pair(0.6, axis)))])
    assert np.bincount(trees.plant).tolist() == [12, 12]
    north = trees.y > trees.y[trees.partner]
    assert (trees.plant[north] == 0).all()
    assert (trees.plant[~north] == 1).all()
    assert findings == ()


def test_a_pair_due_east_and_west_keeps_its_walking_order() -> None:
    trees, _ = assign(in_pairs(ground(SQUARE, 2, 3), 90.0), [block_of(A, B)])
    assert trees.plant.tolist() == [0, 1] * 6
    assert (trees.x[trees.plant == 0] > trees.x[trees.plant == 1]).all()


def test_more_plants_take_the_other_side_by_share() -> None:
    trees, _ = assign(in_pairs(ground(SQUARE, 3, 6), 0.0), [block_of(A, replace(B, share=2.0), C)])
    assert (trees.plant[::2] == 0).all()
    assert "".join("ABC"[p] for p in trees.plant[1::2]) == "BCB" * 6


def test_pairs_are_dealt_by_share_whatever_else_is_asked() -> None:
    bare = in_pairs(ground(SQUARE, 3, 6), 0.0)
    pattern = replace(SQUARE, pair=Pair(0.6))
    plants = (A, replace(B, share=2.0), C)
    by_share, _ = assign(bare, [block_of(*plants, pattern=pattern)])
    trees, findings = assign(bare, [block_of(*plants, pattern=pattern, dealing=Dealing("every", 3, 3))])
    assert trees.plant.tolist() == by_share.plant.tolist()
    assert codes(findings) == ["pairs_by_share"]
    rows, _ = assign(bare, [block_of(A, B, C, pattern=pattern, dealing=Dealing("rows"))])
    assert by_row(rows) == ["AB" * 6, "AC" * 6, "AB" * 6]


def test_a_pair_of_one_kind_and_a_count() -> None:
    pairs = in_pairs(ground(SQUARE, 2, 2), 0.0)
    assert set(assign(pairs, [block_of(A)])[0].plant) == {0}
    trees, findings = assign(pairs, [block_of(A, counted(B, 3))])
    assert trees.plant.tolist() == [0, 1, 0, 1, 0, 1, 0, -1]
    assert codes(findings) == ["positions_left_over"]


def test_pairs_in_a_later_block_know_their_partners() -> None:
    first, second = ground(SQUARE, 2, 2), in_pairs(ground(SQUARE, 2, 2), 0.0)
    both = Trees(
        np.concatenate([first.block, second.block + 1]),
        *(np.concatenate([getattr(first, n), getattr(second, n)]) for n in ("row", "position", "x", "y", "plant")),
        np.concatenate([np.full(4, -1, np.int32), second.partner + 4]),
    )
    trees, _ = assign(both, [block_of(C), block_of(A, B)])
    assert trees.plant.tolist() == [0] * 4 + [0, 1] * 4
    assert trees.partner.tolist() == both.partner.tolist()
