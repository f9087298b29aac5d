"""The grower's own plants: out of [[plant]] tables and CSV, over the catalogue, marked as theirs, with every fault."""

from __future__ import annotations

import math
import re
import tomllib
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from setout.errors import Fault, SetoutError
from setout.tables import catalogue
from setout.tables.entry import FIGURES, CatalogueEntry
from setout.tables.rows import MEANING
from setout.tables.sheet import COLUMNS
from setout.units import FOOT

PUBLISHED = resources.files("setout.tables").joinpath("plants.csv").read_text(encoding="utf-8")


def table(**keys: Any) -> dict[str, Any]:
    return {"name": "apple, semi-dwarf"} | keys


def sound(found: dict[str, CatalogueEntry], faults: tuple[Fault, ...]) -> dict[str, CatalogueEntry]:
    """Return what was read, if nothing was wrong with it."""
    if faults:
        raise SetoutError("", faults=faults)
    return found


def read_tables(*arguments: Any) -> dict[str, CatalogueEntry]:
    return sound(*catalogue.look_at_tables(*arguments))


def read_csv(*arguments: Any) -> dict[str, CatalogueEntry]:
    return sound(*catalogue.look_at_csv(*arguments))


def from_row(row: dict[str, Any], origin: str) -> CatalogueEntry:
    (entry,) = read_tables([row], origin).values()
    return entry


def test_own_figures_go_over_the_catalogue_and_the_rest_stays() -> None:
    published = catalogue.find("apple, semi-dwarf")
    own = from_row(
        table(
            spread="14 ft",
            height=["10 ft", "5.2 m"],
            in_row="16 ft",
            years_to_full_size=9,
            bloom="late",
            chill_hours=[400, 800],
            kc_mid=1.2,
            pollination_distance="60 ft",
        ),
        "plan.toml",
    )
    assert own.spread_m / FOOT == pytest.approx(14)
    assert own.height_range_m == pytest.approx((10 * FOOT, 5.2))
    assert own.in_row_range_m == pytest.approx((16 * FOOT, 16 * FOOT))
    assert (own.years_to_full_size, own.bloom, own.chill_range_h, own.kc_mid) == (9, "late", (400, 800), 1.2)
    assert own.pollination_m / FOOT == pytest.approx(60)
    for field in ("row_distance_range_m", "group", "pollination", "agent", "juglone", "cautions", "note", "size_source"):
        assert getattr(own, field) == getattr(published, field)
    assert own.origin == "plan.toml"
    assert catalogue.find("apple, semi-dwarf") is published
    assert published.own == ()


def test_the_grower_sees_which_figures_are_theirs() -> None:
    own = from_row(table(spread="14 ft", bloom="late", source="measured 2019"), "plan.toml")
    marked = {label: source for label, _, source in catalogue.figures_of(own) if source.startswith("yours")}
    assert marked == {"spread": "yours (plan.toml): measured 2019", "bloom": "yours (plan.toml): measured 2019"}
    theirs = [(value, source) for label, value, source in catalogue.figures_of(own) if label == "height"]
    assert theirs[0][0] == "12-18 ft"
    assert theirs[0][1].startswith("nursery size guide")


def test_a_new_plant_has_only_what_was_given() -> None:
    own = from_row({"name": "seaberry", "spread": "2 m"}, "plan.toml")
    assert (own.name, own.species, own.size_class, own.habit) == ("seaberry", "seaberry", "", "tree")
    assert own.spread_m == 2
    assert math.isnan(own.height_m)
    assert math.isnan(own.kc_mid)
    assert catalogue.figures_of(own)[0] == ("spread", "6.56 ft", "yours (plan.toml)")
    assert catalogue.figures_of(own, "si")[0] == ("spread", "2 m", "yours (plan.toml)")
    assert catalogue.figures_of(own)[-1] == ("habit", "tree", "taken for a tree")


@pytest.mark.parametrize(
    ("name", "stands_on"),
    [("APPLE ,  semi-dwarf", "apple, semi-dwarf"), ("almond", "almond, standard"), ("apple, dwarf (M.9 class)", "apple, dwarf")],
)
def test_the_name_is_the_catalogues(name: str, stands_on: str) -> None:
    own = from_row({"name": name, "kc_mid": 0.5}, "plan.toml")
    assert own.name == stands_on
    assert own.spread_m == catalogue.find(stands_on).spread_m
    found = catalogue.find(stands_on, {own.name: own})
    assert found is own


def test_found_among_own_and_published() -> None:
    own = read_tables([table(spread="9 ft"), {"name": "seaberry, hedge", "spread": "5 ft"}], "plan.toml")
    assert catalogue.find("Seaberry", own).name == "seaberry, hedge"
    assert catalogue.find("apple, semi-dwarf", own).spread_m / FOOT == pytest.approx(9)
    assert catalogue.find("quince", own) is catalogue.find("quince")
    every = catalogue.entries(own.values())
    assert len(every) == len(catalogue.entries()) + 1
    assert every[-1].name == "seaberry, hedge"
    assert [e.name for e in every[:-1]] == [e.name for e in catalogue.entries()]
    with pytest.raises(ValueError, match='did you mean "seaberry"'):
        catalogue.find("seabery", own)


def test_tables_go_over_the_csv_figure_by_figure() -> None:
    csv = read_csv("name,spread_min_ft,spread_max_ft,kc_mid\nfig,8,10,0.7\n", "own.csv")
    own = read_tables([{"name": "fig", "kc_mid": 0.8}], "plan.toml", csv)
    (fig,) = own.values()
    assert fig.source_of("kc_mid") == "yours (plan.toml)"
    assert fig.source_of("spread_range_m") == "yours (own.csv)"
    assert fig.source_of("chill_range_h").startswith("nursery chill table")
    assert fig.kc_mid == 0.8
    assert fig.spread_m / FOOT == pytest.approx(9)


def test_the_catalogues_own_table_reads_as_an_own_csv() -> None:
    own = read_csv(PUBLISHED, "plants.csv")
    for entry in catalogue.entries():
        mine = own[entry.name]
        for figure in FIGURES:
            one, other = getattr(mine, figure.field), getattr(entry, figure.field)
            assert one == other or (one != one and other != other) or str(one) == str(other) == "(nan, nan)"
            if figure.is_known(entry):
                assert mine.source_of(figure.field) == f"yours (plants.csv): {entry.source_of(figure.field)}"


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_csv_of_any_separator_metres_comments_and_a_mark(separator: str) -> None:
    lines = [
        "# our farm",
        "",
        "Species,Size_Class,class_note,height_min_m,height_max_m,pollination_m,chill_min_h,chill_max_h,cautions",
        'pear\u00e9,standard,,3,4.5,30,300,300,keep "it" low',
        "",
        "# the end",
    ]
    text = "\ufeff" + "\r\n".join(line.replace(",", separator) for line in lines)
    own = read_csv(text.replace('keep "it" low', "keep it low"), "own.csv")["pear\u00e9, standard"]
    assert own.height_range_m == (3, 4.5)
    assert own.pollination_m == 30
    assert own.chill_range_h == (300, 300)
    assert own.cautions == "keep it low"


def test_feet_and_metres_give_the_same_plant() -> None:
    feet = read_csv("name,spread_min_ft,spread_max_ft\nfig,10,20", "own.csv")["fig, standard"]
    metres = read_csv("name,spread_min_m,spread_max_m\nfig,3.048,6.096", "own.csv")["fig, standard"]
    written = from_row({"name": "fig", "spread": ["10 ft", "6.096 m"]}, "own.csv")
    assert feet.spread_range_m == pytest.approx(metres.spread_range_m)
    assert written.spread_range_m == pytest.approx(metres.spread_range_m)


# ------------------------------------------------------------------------------------------------- faults


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({"spread": 14}, 'plant[1].spread: 14 has no unit; write "16 ft" or "4.9 m"'),
        ({"spread": "14 psi"}, 'plant[1].spread: "14 psi" has the unit "psi", which is no length; write'),
        ({"spread": "-1 ft"}, 'plant[1].spread: "-1 ft" is out of range; spread is more than 0 and at most 100 m'),
        ({"spread": "5 km"}, 'plant[1].spread: "5 km" is out of range'),
        ({"spread": ["3 m"]}, 'plant[1].spread: has 1 values; write "14 ft", or ["12 ft", "16 ft"] for a range'),
        ({"height": ["3.01 m", "3 m"]}, "plant[1].height: the smallest height is more than the greatest; write the smaller first"),
        ({"kc_mid": "0.9"}, 'plant[1].kc_mid: "0.9" is not a number; write a number without quotes'),
        ({"kc_mid": float("nan")}, "plant[1].kc_mid: nan is out of range"),
        ({"kc_mid": True}, "plant[1].kc_mid: True is not a number"),
        ({"years_to_full_size": 10**400}, "plant[1].years_to_full_size: 1000"),
        ({"chill_hours": "300"}, 'plant[1].chill_hours: "300" is not a number; write a number without quotes, such as 300'),
        ({"bloom": "spring"}, 'plant[1].bloom: "spring" is not known; write one of early, mid, late'),
        ({"bloom": 3}, "plant[1].bloom: 3 is not a text; write it in quotes"),
        ({"cautions": "x" * 600}, "has 600 characters; keep it to 500"),
        ({"cautions": "a\nb"}, "plant[1].cautions: holds the control character U+000A"),
        ({"sprad": "3 m"}, 'plant[1].sprad: unknown key; did you mean "spread"?'),
        ({"colour": "red"}, "plant[1].colour: unknown key; known keys here name, note, "),
        ({"name": "apple, "}, 'plant[1].name: "apple, " is not a name; write "species, size class"'),
        ({"name": 5}, "plant[1].name: 5 is not a text"),
        ({"name": "blackberry"}, 'plant[1].name: "blackberry" has several size classes; write one of'),
        ({"spread": {"a": 1}}, "plant[1].spread: {'a': 1} is not a length"),
    ],
)
def test_faults_of_a_table(keys: dict[str, Any], said: str) -> None:
    with pytest.raises(SetoutError) as caught:
        read_tables([table(**keys)], "plan.toml")
    assert len(caught.value.faults) == 1
    assert said in str(caught.value)
    assert str(caught.value).startswith("plan.toml: plant[1].")
    assert caught.value.faults[0].remedy


def test_all_faults_of_all_tables_at_once() -> None:
    tables = [table(spread=3, bloom="x"), {"kc_mid": 0.5}, {"name": "fig"}, {"name": "FIG, standard"}]
    with pytest.raises(SetoutError) as caught:
        read_tables(tables, "plan.toml")
    assert [fault.where for fault in caught.value.faults] == [
        "plan.toml: plant[1].spread",
        "plan.toml: plant[1].bloom",
        "plan.toml: plant[2].name",
        "plan.toml: plant[4].name",
    ]
    assert '"fig, standard" is there already, in plant[3]' in str(caught.value)


def test_a_plant_with_a_fault_is_still_known_by_name() -> None:
    """So that the blocks that name it have no fault of their own."""
    found, faults = catalogue.look_at_tables([{"name": "seaberry", "spread": 3}], "plan.toml")
    assert len(faults) == 1
    assert catalogue.find("seaberry", found).species == "seaberry"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "own.csv: holds no line; name the columns in the first line"),
        ("# only words\n", "own.csv: holds no line"),
        ("kc_mid\n0.5", "own.csv: line 1: there is no column for the plant's name; add a column name"),
        ("name,species\nfig,fig", "own.csv: line 1: there are columns name and species; leave one"),
        ("name,name\nfig,fig", 'own.csv: line 1: the column "name" is there twice'),
        ("name,spread\nfig,3", 'own.csv: line 1: "spread" is no column of a plant; write spread_min_ft, spread_min_m'),
        ("name,spread_ft\nfig,3", 'own.csv: line 1: "spread_ft" is no column of a plant; write spread_min_ft'),
        ("name,blom\nfig,early", 'own.csv: line 1: "blom" is no column of a plant; did you mean "bloom"?'),
        ("name,,bloom\nfig,,early", "own.csv: line 1: column 2 has no name"),
        ("name,spread_min_ft,spread_min_m\nfig,3,1", 'own.csv: line 1: "spread_min_ft" and "spread_min_m" give the same figure'),
        ("name,kc_mid\nfig,much", 'own.csv: line 2, column kc_mid: "much" is not a number; write digits with a point'),
        ("name;kc_mid\nfig;0,8", 'own.csv: line 2, column kc_mid: "0,8" is not a number'),
        ("name,spread_min_ft,spread_max_ft\nfig,3 ft,4", 'own.csv: line 2, column spread_min_ft: "3 ft" is not a number'),
        ("name,spread_min_ft,spread_max_ft\nfig,nan,4", '"nan" is not a number'),
        ("name,spread_min_ft,spread_max_ft\nfig,1e999,4", 'own.csv: line 2, column spread_min_ft: "1e999" is out of range'),
        (
            "name,spread_min_ft,spread_max_ft\n\nfig,4.01,4",
            "own.csv: line 3, column spread_min_ft: the smallest spread is more than the greatest",
        ),
        ("name,spread_min_ft,spread_max_ft\nfig,9,", "own.csv: line 2, column spread_min_ft: stands without spread_max_ft; give both"),
        ("name,spread_min_ft,spread_max_ft\nfig,,9", "own.csv: line 2, column spread_max_ft: stands without spread_min_ft"),
        ("name,bloom\n,early", 'own.csv: line 2, column name: "" is not a name'),
        ("species,size_class\n,dwarf", 'own.csv: line 2, column species: ", dwarf" is not a name'),
        ("name,bloom\nfig,early,late", "own.csv: line 2: has 3 cells, the first line names 2; put texts with a separator in quotes"),
        ("name,bloom\nfig,early\nFig,late", 'own.csv: line 3: "fig, standard" is there already, in line 2'),
        ("name,bloom\nblackberry,late", 'own.csv: line 2, column name: "blackberry" has several size classes'),
        ('name,cautions\nfig,"open', "own.csv: line 2: is not CSV: unexpected end of data; look at its quotes"),
        ('name,cautions\nfig,"two\nlines"', "own.csv: line 3, column cautions: holds the control character U+000A"),
    ],
)
def test_faults_of_a_csv(text: str, said: str) -> None:
    with pytest.raises(SetoutError) as caught:
        read_csv(text, "own.csv")
    assert len(caught.value.faults) == 1, str(caught.value)
    assert said in str(caught.value)
    assert caught.value.faults[0].remedy


def test_all_faults_of_a_csv_at_once() -> None:
    with pytest.raises(SetoutError) as caught:
        read_csv("name,kc_mid,bloom\nfig,x,y\nquince,0.5,early\nolive,9,mid", "olives.csv", "farm/olives.csv")
    assert [fault.where for fault in caught.value.faults] == [
        "farm/olives.csv: line 2, column kc_mid",
        "farm/olives.csv: line 2, column bloom",
        "farm/olives.csv: line 4, column kc_mid",
        "farm/olives.csv: line 4, column name",
    ]


@settings(max_examples=150, deadline=None)
@given(st.text(alphabet=st.sampled_from("name,kc_mid\n\"';\t#fig0.9\r\u2028=é "), max_size=80))
def test_whatever_a_csv_holds_it_reads_or_is_refused_in_words(text: str) -> None:
    found, faults = catalogue.look_at_csv(text, "own.csv")
    assert all(entry.origin == "own.csv" for entry in found.values())
    assert all(fault.what and fault.where.startswith("own.csv") and fault.remedy for fault in faults)


_ANY = st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=10), st.lists(st.text(max_size=5), max_size=3))


@settings(max_examples=200, deadline=None)
@given(st.dictionaries(st.sampled_from(["name", "note", "source", *(figure.key for figure in FIGURES)]), _ANY))
def test_whatever_a_table_holds_it_reads_or_is_refused_in_words(mapping: dict[str, Any]) -> None:
    found, faults = catalogue.look_at_tables([mapping], "plan.toml")
    assert all(fault.what and fault.where.startswith("plan.toml: plant[1].") for fault in faults)
    at_fault = {fault.where.rpartition(".")[2] for fault in faults}
    for entry in found.values():
        assert set(dict(entry.own)) == {f.field for f in FIGURES if f.key in mapping and f.key not in at_fault}
    assert found or at_fault


def test_columns_of_the_table_are_those_of_a_grower() -> None:
    """Every column of plants.csv can be given by a grower, and every figure has one there, lengths in feet or metres."""
    header = set(PUBLISHED.splitlines()[0].split(","))
    figures = {name for name in header if name in COLUMNS}
    assert {COLUMNS[name][0].field for name in figures} == {figure.field for figure in FIGURES}
    for name in figures:
        if name.endswith("_ft"):
            assert name.removesuffix("_ft") + "_m" in COLUMNS


# ---------------------------------------------------------------------------------------------- the guide

PAGES = Path(__file__).resolve().parents[2] / "pipeline" / "setout" / "planfile"
PLANTS = (PAGES / "GUIDE.md").read_text(encoding="utf-8").partition("## Plants")[2].partition("\n## ")[0]


def test_words_of_the_reference_are_those_that_are_taken() -> None:
    for figure in FIGURES:
        if figure.kind == "word":
            assert tuple(re.findall(r"`([\w -]+)`", MEANING[figure.key])) == figure.words


def test_the_plants_of_the_guide_are_read() -> None:
    (text,) = re.findall(r"^```toml\n(.*?)^```$", PLANTS, re.MULTILINE | re.DOTALL)
    own = read_tables(tomllib.loads(text)["plant"], "plan.toml")
    assert list(own) == ["apple, semi-dwarf", "sea buckthorn, hedge"]
    assert own["apple, semi-dwarf"].group == "apple"
    assert own["sea buckthorn, hedge"].group == ""


def test_columns_of_the_guide_are_those_that_are_read() -> None:
    csv = PLANTS.partition("For many plants")[2]
    named = set(re.findall(r"`(\w+_(?:ft|h))`", csv))
    assert named == {"spread_min_ft", "spread_max_ft", "pollination_ft", "chill_min_h", "chill_max_h"}
    assert named <= set(COLUMNS)
