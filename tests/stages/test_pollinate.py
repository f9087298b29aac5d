"""Partners: who can be one, how far the nearest stands, and what is said where it falls short."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from setout.model import Pattern, Plant
from setout.stages.pollinate import can_serve, in_bloom_together, limit_of, partners
from setout.units import FOOT
from setout.words.findings import all_told
from spaced import block_of, feet, plant, rowed, site_of, trees_of

SQUARE = Pattern("square", feet(16), feet(16))


def apple(variety: str = "", bloom: str = "mid", **facts) -> Plant:
    usual = {"name": "apple, semi-dwarf", "species": "apple", "pollination": "partner", "agent": "bees"}
    return plant(15, **(usual | facts), variety=variety, bloom=bloom)


def looked_at(*blocks, kind=None, spots=None):
    trees = trees_of(*(spots or [rowed(block.pattern, 9, 9, at=(400.0 * k, 0.0)) for k, block in enumerate(blocks)]), kind=kind)
    far, found = partners(site_of(*blocks), trees)
    return trees, far, all_told(found, "us")


def codes(found) -> set[str]:
    return {finding.code for finding in found}


def every_third_row() -> np.ndarray:
    """Deal the second plant to every third tree, beginning with the second, of every third row, likewise."""
    spots = rowed(SQUARE, 9, 9)
    return ((spots[:, 2] % 3 == 2) & (spots[:, 3] % 3 == 2)).astype(int)


def test_every_third_tree_of_every_third_row_is_one_step_away_at_most_by_the_diagonal() -> None:
    kind = every_third_row()
    _, far, found = looked_at(block_of(SQUARE, apple("A"), apple("B", role="pollinizer")), kind=kind)
    # hand: each main tree touches a pollinizer along, across or by the diagonal of the square
    assert set(np.round(far[kind == 0] / FOOT, 3)) == {16.0, 22.627}
    # a pollinizer is itself served by the main crop
    assert far[kind == 1] == pytest.approx(feet(16))
    assert found == ()


def test_what_needs_no_partner_has_no_distance() -> None:
    block = block_of(SQUARE, apple("A", pollination="none"), apple("B", pollination=""))
    _, far, found = looked_at(block, kind=every_third_row())
    assert np.isnan(far).all()
    assert found == ()


def test_a_named_variety_alone_stops() -> None:
    _, far, found = looked_at(block_of(SQUARE, apple("A")))
    assert np.isnan(far).all()
    (one,) = found
    assert (one.code, one.severity) == ("no_pollinizer", "stop")
    assert "apple, semi-dwarf A" in one.message
    assert one.required == "one within 100 ft"


def test_without_named_varieties_it_is_a_doubt() -> None:
    _, _, (one,) = looked_at(block_of(SQUARE, apple("")))
    assert (one.code, one.severity) == ("no_pollinizer", "warn")
    assert "name the varieties" in one.remedy


def test_every_block_without_a_partner_is_named() -> None:
    _, _, found = looked_at(block_of(SQUARE, apple("A")), block_of(SQUARE, apple("a "), name="B"))
    assert [f.code for f in found] == ["no_pollinizer"] * 2
    assert ["block A" in found[0].message, "block B" in found[1].message] == [True, True]


def test_the_role_counts_as_another_variety() -> None:
    _, far, found = looked_at(block_of(SQUARE, apple(""), apple("", role="pollinizer")), kind=every_third_row())
    assert np.isfinite(far).all()
    assert codes(found) == set()


def test_partners_may_stand_in_another_block() -> None:
    spots = [rowed(SQUARE, 4, 4), rowed(SQUARE, 4, 4, at=(feet(78), 0.0))]
    blocks = block_of(SQUARE, apple("A")), block_of(SQUARE, apple("B"), name="B")
    _, far, found = looked_at(*blocks, spots=spots)
    # hand: rows of A stand 78, 62, 46 and 30 ft from the first of B
    assert sorted(set(np.round(far[:16] / FOOT, 6))) == [30, 46, 62, 78]
    assert codes(found) == {"pollinizer_not_near"}
    assert "8 of 16 trees" in found[0].message


def test_trees_beyond_the_limit_are_counted_with_the_worst() -> None:
    spots = [rowed(SQUARE, 4, 4), rowed(SQUARE, 4, 4, at=(feet(130), 0.0))]
    blocks = block_of(SQUARE, apple("A")), block_of(SQUARE, apple("B"), name="B")
    _, _, found = looked_at(*blocks, spots=spots)
    one = next(f for f in found if f.code == "pollinizer_far")
    # hand: 130, 114, 98 and 82 ft, so two rows of four
    assert "8 of 16 trees" in one.message
    assert one.measured == "130 ft"
    assert (one.geometry.x, one.severity) == (0.0, "warn")


def test_a_partner_that_blooms_at_another_time() -> None:
    spots = [rowed(SQUARE, 4, 4), rowed(SQUARE, 4, 4, at=(feet(64), 0.0))]
    blocks = block_of(SQUARE, apple("A", "early")), block_of(SQUARE, apple("B", "late"), name="B")
    _, far, found = looked_at(*blocks, spots=spots)
    assert np.isnan(far).all()
    assert codes(found) == {"bloom_apart"}
    assert "16 of 16 trees" in found[0].message
    # a third variety of mid bloom serves both
    third = block_of(SQUARE, apple("C", "mid"), name="C")
    _, far, found = looked_at(*blocks, third, spots=[*spots, rowed(SQUARE, 4, 4, at=(feet(128), 0.0))])
    assert np.isfinite(far).all()
    assert far[0] / FOOT == pytest.approx(128)
    assert "bloom_apart" in codes(found)  # B is near enough to A, but not in its season


def test_unknown_bloom_is_said() -> None:
    _, far, found = looked_at(block_of(SQUARE, apple("A", ""), apple("B", "late")), kind=every_third_row())
    assert np.isfinite(far).all()
    assert codes(found) == {"bloom_unknown"}


def test_male_for_female() -> None:
    female = plant(10, name="kiwi", species="kiwi", pollination="female", agent="bees", bloom="late")
    male = replace(female, pollination="male", role="pollinizer")
    kind = every_third_row()
    _, far, found = looked_at(block_of(SQUARE, female, male), kind=kind)
    assert np.isfinite(far[kind == 0]).all()
    assert np.isnan(far[kind == 1]).all()
    assert found == ()
    _, _, (one,) = looked_at(block_of(SQUARE, female, replace(female, variety="other")), kind=kind * 0)
    assert (one.code, one.severity) == ("no_pollinizer", "stop")
    assert "male" in one.message


def test_wind_reaches_further_than_bees() -> None:
    """University of Georgia Extension, 29 January 2016: a pecan's partner within 150 ft."""
    pecan = plant(16, name="pecan", species="pecan", pollination="partner", agent="wind", bloom="mid", variety="I")
    spots = [rowed(SQUARE, 1, 1), rowed(SQUARE, 1, 1, at=(feet(150), 0.0))]
    blocks = block_of(SQUARE, pecan), block_of(SQUARE, replace(pecan, variety="II"), name="B")
    _, far, found = looked_at(*blocks, spots=spots)
    assert far / FOOT == pytest.approx(150)
    assert found == ()
    spots = [spots[0], rowed(SQUARE, 1, 1, at=(feet(151), 0.0))]
    assert codes(looked_at(*blocks, spots=spots)[2]) == {"pollinizer_far"}
    own = [block_of(SQUARE, replace(b.plants[0], pollination_m=feet(160)), name=b.name) for b in blocks]
    assert looked_at(*own, spots=spots)[2] == ()


def test_a_filler_does_not_serve_what_outlasts_it() -> None:
    main, filler = apple("A"), apple("B", role="filler", remove_year=8)
    assert not can_serve(main, filler)
    assert can_serve(filler, main)
    assert can_serve(filler, replace(filler, variety="C", remove_year=9))


def test_other_species_do_not_serve() -> None:
    assert not can_serve(apple("A"), replace(apple("B"), species="European pear"))
    assert can_serve(apple("A"), replace(apple("B"), species=" Apple"))
    assert not can_serve(replace(apple("A"), species=""), replace(apple("B"), species=""))


def test_partners_of_a_pair_serve_each_other() -> None:
    spots = np.array([[0.0, feet(1), 1, 1, 1], [0.0, -feet(1), 1, 2, 0]])
    trees = trees_of(spots, kind=[0, 1])
    far, found = partners(site_of(block_of(SQUARE, apple("A"), apple("B"))), trees)
    assert far / FOOT == pytest.approx(2)
    assert found == ()


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6))
def test_distances_against_all_pairs(seed: int) -> None:
    rng = np.random.default_rng(seed)
    plants = [
        apple(
            str(rng.choice(["A", "B", "C", ""])),
            str(rng.choice(["early", "mid", "late", ""])),
            role=str(rng.choice(["", "pollinizer"])),
            species=str(rng.choice(["apple", "pear"])),
            pollination=str(rng.choice(["partner", "none", "male", "female"])),
            remove_year=int(rng.choice([0, 0, 8])),
        )
        for _ in range(6)
    ]
    spots = np.column_stack([rng.uniform(0, 100, (40, 2)), np.ones(40), np.arange(1, 41)])
    kind = rng.integers(0, 6, 40)
    far, found = partners(site_of(block_of(SQUARE, *plants)), trees_of(spots, kind=kind))
    for k in range(40):
        mine = plants[kind[k]]
        serving = [
            np.hypot(*(spots[j, :2] - spots[k, :2]))
            for j in range(40)
            if can_serve(mine, plants[kind[j]]) and in_bloom_together(mine.bloom, plants[kind[j]].bloom)
        ]
        if mine.pollination in ("partner", "female") and serving:
            assert far[k] == pytest.approx(min(serving))
        else:
            assert np.isnan(far[k])
    beyond = sum(np.isfinite(far[k]) and far[k] > limit_of(plants[kind[k]]) for k in range(40))
    assert beyond == 0 or codes(found) & {"pollinizer_far", "bloom_apart"}
