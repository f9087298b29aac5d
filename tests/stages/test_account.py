"""Bill of quantities: the order against the trees, the materials against amounts worked by hand."""

from __future__ import annotations

from dataclasses import replace
from math import ceil

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from setout.model import Bed, Block, MaterialLine, Pattern, Plant, Rows, Trees, Trellis, Works
from setout.stages.account import Allowances, materials_of, order_of, stretches_of
from setout.words.materials import all_bought, bought
from setout.words.systems import order_note

FT = 0.3048
PLANTS = (
    Plant("apple, semi-dwarf", "A", share=8, species="apple"),
    Plant("apple, semi-dwarf", "B", "pollinizer", species="apple"),
    Plant("plum, dwarf", "", "filler", species="plum", remove_year=12),
)


def trees_of(block: list[int], plant: list[int]) -> Trees:
    size = len(block)
    place = np.arange(size, dtype=float)
    return Trees(
        np.array(block, np.int32), np.ones(size, np.int32), np.arange(1, size + 1, dtype=np.int32), place, place, np.array(plant, np.int32)
    )


def rows_of(block: list[int], length: float) -> Rows:
    index, zero = np.array(block, np.int64), np.zeros(len(block))
    return Rows(index, index + 1, zero, zero, zero, zero + length, index + 1, zero)


def block_of(name: str, plants: tuple[Plant, ...], pattern: Pattern | None = None) -> Block:
    return Block(name, None, pattern or Pattern("square", 5.0, 5.0), 0.0, plants)


@given(st.lists(st.tuples(st.integers(0, 2), st.integers(-1, 2)), max_size=200), st.floats(0, 0.3))
def test_every_tree_stands_in_one_line_of_the_order(stand: list[tuple[int, int]], spares: float) -> None:
    blocks = [block_of(name, PLANTS) for name in "ABC"]
    trees = trees_of([b for b, _ in stand], [p for _, p in stand])
    lines = order_of(blocks, trees, spares)
    assert sum(line.trees for line in lines) == int((trees.plant >= 0).sum())
    for line in lines:
        b, p = "ABC".index(line.block), [(q.name, q.variety) for q in PLANTS].index((line.plant, line.variety))
        assert line.trees == sum(1 for at in stand if at == (b, p)) > 0
        assert line.trees * spares - 1e-3 <= line.spares <= line.trees * spares + 1
        assert line.plants == line.trees + line.spares
    assert len({(line.block, line.plant, line.variety, line.role) for line in lines}) == len(lines)


def test_the_order_says_what_to_buy_and_when_fillers_come_out() -> None:
    lines = order_of([block_of("A", PLANTS)], trees_of([0] * 31, [0] * 20 + [1] * 1 + [2] * 10))
    assert [(o.species, o.size_class, o.variety, o.role, o.trees) for o in lines] == [
        ("apple", "semi-dwarf", "A", "", 20),
        ("apple", "semi-dwarf", "B", "pollinizer", 1),
        ("plum", "dwarf", "", "filler", 10),
    ]
    # 5 %: 1.0 of 20 is 1 to the last bit, 0.05 of 1 is a whole plant, 0.5 of 10 is one
    assert [line.spares for line in lines] == [1, 1, 1]
    assert [order_note(line) for line in lines] == ["", "", "filler: out in year 12"]


@pytest.mark.parametrize(("trees", "share", "spares"), [(100, 0.07, 7), (101, 0.07, 8), (3, 0.0, 0), (60, 0.05, 3)])
def test_spares_are_rounded_up_and_not_by_the_last_bit(trees: int, share: float, spares: int) -> None:
    """7 % of 100 is 7.000000000000001 in binary and still seven plants."""
    (line,) = order_of([block_of("A", PLANTS)], trees_of([0] * trees, [0] * trees), share)
    assert line.spares == spares


def test_a_year_of_the_calendar_is_said_as_one() -> None:
    (line,) = order_of([block_of("A", (replace(PLANTS[2], remove_year=2038),))], trees_of([0], [0]))
    assert order_note(line) == "filler: out in 2038"


def test_the_species_comes_from_the_name_where_none_is_given() -> None:
    (line,) = order_of([block_of("A", (Plant("almond"),))], trees_of([0], [0]))
    assert (line.species, line.plant, line.size_class) == ("almond", "almond", "")


def test_plants_without_a_name_and_open_positions_are_not_ordered() -> None:
    blocks = [block_of("A", (Plant("", spread_m=4.0),)), block_of("B", ()), block_of("C", PLANTS)]
    trees = trees_of([0, 1, 2, 2], [0, -1, -1, 1])
    assert [(line.block, line.trees) for line in order_of(blocks, trees)] == [("C", 1)]
    assert {line.block for line in materials_of(blocks, trees, rows_of([0, 1, 2], 9.0), Works())} == {"C"}


def found(lines: list[MaterialLine], item: str) -> MaterialLine:
    (line,) = [line for line in lines if line.item == item]
    return line


def test_stakes_and_guards_are_for_trees_only() -> None:
    plants = (Plant("pear, dwarf"), Plant("raspberry", habit="cane"))
    blocks = [block_of("A", plants), block_of("B", plants[1:])]
    lines = materials_of(blocks, trees_of([0] * 5 + [1] * 3, [0, 0, 0, 1, 1, 0, 0, 0]), rows_of([0, 1], 9.0), Works())
    assert [(line.item, line.quantity, line.unit, bought(line, "us").where) for line in lines] == [
        ("tree_stake", 3.0, "each", "block A: 3 trees"),
        ("trunk_guard", 3.0, "each", "block A: 3 trees"),
    ]
    assert bought(lines[0], "us").size == "6 ft long, 2 in thick"


@pytest.fixture
def vineyard() -> tuple[list[Block], Trees, Rows, Works]:
    """Two rows of 100 ft, posts every 20 ft: 6 posts a row, 2 of them ends; three wires and 2 x 5 ft to the anchors."""
    trellis = Trellis(20 * FT, 4 * FT, 5 * FT, 3)
    block = block_of("V", (Plant("table grape", habit="vine"),), Pattern("trellis", 8 * FT, 10 * FT, trellis=trellis))
    u = np.tile(np.arange(6) * 20 * FT, 2)
    end = np.tile(np.array([True, False, False, False, False, True]), 2)
    works = Works(
        post_x=u,
        post_y=np.repeat([0.0, 10 * FT], 6),
        post_block=np.zeros(12, np.int64),
        post_row=np.repeat([1, 2], 6),
        post_end=end,
        wire_m={0: 2 * 3 * 110 * FT},
    )
    return [block], trees_of([0] * 24, [0] * 24), rows_of([0, 0], 92 * FT), works


def test_posts_anchors_and_wire(vineyard: tuple[list[Block], Trees, Rows, Works]) -> None:
    """Sizes: P. Domoto, Constructing a Vineyard Trellis, Iowa State University, 2002 (10 ft x 5 in, 8 ft x 3-4 in)."""
    lines = materials_of(*vineyard)
    assert [(line.item, line.quantity) for line in lines[:3]] == [("end_post", 4.0), ("line_post", 8.0), ("anchor", 4.0)]
    assert [bought(line, "us").size for line in lines[:3]] == [
        "10 ft long, 5 in thick",
        "8 ft long, 3.5 in thick",
        "3.33 ft long, shaft 0.625 in, helix 4 in",
    ]
    wire = found(lines, "wire")
    assert wire.quantity == pytest.approx(660 * FT * 1.05, abs=1e-9)
    assert (wire.unit, bought(wire, "us").shown) == ("m", "693 ft")
    assert bought(wire, "us").where == "block V: 2 rows, 3 wires, with 5% for tying"
    assert len(lines) == 4


def test_no_anchors_without_room_for_them_and_braces_for_long_rows(vineyard: tuple[list[Block], Trees, Rows, Works]) -> None:
    (block,), trees, _, works = vineyard
    long = materials_of([block], trees, rows_of([0, 0], 593 * FT), replace(works, post_x=6.01 * works.post_x))
    assert "brace the ends of rows over 600 ft" in bought(found(long, "anchor"), "us").where
    assert "brace" not in bought(found(materials_of(*vineyard), "anchor"), "us").where
    bare = replace(block, pattern=replace(block.pattern, trellis=Trellis(20 * FT, 4 * FT, 0.0, 3)))
    assert "anchor" not in [line.item for line in materials_of([bare], trees, rows_of([0], 9.0), works)]


def test_the_helix_of_an_anchor_goes_by_the_length_of_its_row(vineyard: tuple[list[Block], Trees, Rows, Works]) -> None:
    """P. Domoto, Constructing a Vineyard Trellis, Iowa State University, 2002, earth anchor requirements: a helix of 4 in
    for rows up to about 250 ft, of 6 in up to 600 ft; a shaft of more than 5/8 x 40 in preferred; braced ends beyond."""
    blocks, trees, rows, works = vineyard
    lengths = np.repeat([249.0, 251.0], 6) / 100  # two rows, of 249 and of 251 ft
    some = materials_of(blocks, trees, rows, replace(works, post_x=lengths * works.post_x))
    anchors = [bought(line, "us") for line in some if line.item == "anchor"]
    assert [(line.shown, line.size.partition("helix ")[2]) for line in anchors] == [("2", "4 in"), ("2", "6 in")]
    assert "in rows to 250 ft" in anchors[0].where
    assert "in rows over 250 ft" in anchors[1].where
    assert not any("brace" in line.where for line in anchors)
    assert bought(found(materials_of(blocks, trees, rows, works), "anchor"), "si").size == "1.02 m long, shaft 16 mm, helix 102 mm"


def test_a_bent_row_is_as_long_as_its_wire() -> None:
    """A row round a quarter of a circle is pi / 2 radii long, not the root of two of them between its ends."""
    turn = np.linspace(0, np.pi / 2, 40)
    end = np.isin(np.arange(40), [0, 39])
    (long,) = stretches_of(60 * np.column_stack([np.cos(turn), np.sin(turn)]), end)
    assert long == pytest.approx(60 * np.pi / 2, rel=1e-3)


@pytest.fixture
def beds() -> tuple[list[Block], Trees, Rows, Works]:
    """Five beds of 10 x 6 ft (common practice): 60 sq ft and 32 ft round each."""
    pattern = Pattern("bed", 2 * FT, 10 * FT, bed=Bed(10 * FT, 6 * FT, 2 * FT, 3 * FT / 12))
    block = block_of("R", (Plant("raspberry", habit="cane"),), pattern)
    works = Works(
        bed=shapely.box(np.arange(5) * 12 * FT, 0, np.arange(5) * 12 * FT + 10 * FT, 6 * FT),
        bed_block=np.zeros(5, np.int64),
        bed_row=np.ones(5, np.int64),
    )
    return [block], trees_of([0] * 25, [0] * 25), rows_of([0], 58 * FT), works


def test_beds_are_filled_mulched_and_edged(beds: tuple[list[Block], Trees, Rows, Works]) -> None:
    """5 x 60 sq ft: 3 in of mulch is 75 cu ft, 8 in of soil 200 cu ft; 27 cu ft are a cubic yard."""
    lines = materials_of(*beds, replace(Allowances(), tree_mulch=True))  # a bed's mulch serves its plants
    assert [line.item for line in lines] == ["mulch", "bed_soil", "bed_edging"]
    assert found(lines, "mulch").quantity == pytest.approx(75 * FT**3, rel=1e-12)
    assert bought(found(lines, "mulch"), "us").shown == "2.8 cu yd"
    assert bought(found(lines, "mulch"), "us").size == "3 in deep"
    assert found(lines, "bed_soil").quantity == pytest.approx(200 * FT**3, rel=1e-12)
    assert (bought(found(lines, "bed_soil"), "us").shown, found(lines, "bed_soil").unit) == ("7.4 cu yd", "m3")
    assert found(lines, "bed_edging").quantity == pytest.approx(160 * FT, rel=1e-12)
    assert bought(found(lines, "bed_edging"), "us").size == "round beds of 10 ft x 6 ft"


def test_beds_of_the_ground_s_own_soil(beds: tuple[list[Block], Trees, Rows, Works]) -> None:
    lines = materials_of(*beds, Allowances(bed_soil_m=0.0, edging=False))
    assert [(line.item, line.size, line.shown) for line in all_bought(lines, "si")] == [("mulch", "7.6 cm deep", "2.1 m3")]


def test_mulch_of_single_trees_only_where_asked() -> None:
    """A ring of 3 ft, 3 in deep, holds pi / 4 x 9 x 0.25 = 1.767 cu ft; 1,000 of them 65.4 cu yd."""
    blocks, trees, rows = [block_of("A", PLANTS[:1])], trees_of([0] * 1000, [0] * 1000), rows_of([0], 9.0)
    assert "mulch" not in [line.item for line in materials_of(blocks, trees, rows, Works())]
    mulch = found(materials_of(blocks, trees, rows, Works(), Allowances(tree_mulch=True)), "mulch")
    assert mulch.quantity / FT**3 == pytest.approx(1767.146, abs=1e-3)
    assert (bought(mulch, "us").shown, bought(mulch, "us").where) == ("65.4 cu yd", "block A: 1,000 plants")
    assert bought(mulch, "us").size == "3 ft across, 3 in deep, clear of the stem"


@given(st.floats(0.1, 5e5), st.floats(0, 0.5))
def test_wire_to_buy_is_never_short(length: float, tying: float) -> None:
    block, rows = block_of("V", ()), rows_of([0], 9.0)
    (wire,) = materials_of([block], trees_of([], []), rows, Works(wire_m={0: length}), Allowances(tying=tying))
    assert wire.quantity == pytest.approx(length * (1 + tying))
    assert float(bought(wire, "si").shown.removesuffix(" m").replace(",", "")) >= ceil(wire.quantity - 1e-3)
