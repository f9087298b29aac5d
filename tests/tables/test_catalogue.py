"""The catalogue holds together: names, ranges, words and sources; and plants are found in it, or near ones named."""

from __future__ import annotations

import math
import re
from dataclasses import fields

import pytest

from setout.tables import catalogue
from setout.tables.catalogue import CatalogueEntry
from setout.tables.entry import FIGURES, SOURCES
from setout.tables.rows import fold
from setout.units import FOOT

ALL = catalogue.entries()
NAMES = [entry.name for entry in ALL]


@pytest.mark.parametrize("entry", ALL, ids=NAMES)
def test_every_figure_has_a_source_or_a_mark(entry: CatalogueEntry) -> None:
    publications = [name for name, _, _ in catalogue.publications()]
    for figure in FIGURES:
        if not figure.is_known(entry):
            continue
        said = entry.source_of(figure.field)
        assert any(name in said for name in (*publications, "from memory")), f"{figure.label}: {said!r}"


@pytest.mark.parametrize("entry", ALL, ids=NAMES)
def test_what_has_no_figure_says_so(entry: CatalogueEntry) -> None:
    for source in SOURCES:
        group = [figure for figure in FIGURES if figure.source == source and figure.kind != "text"]
        said = getattr(entry, source)
        assert said
        known = any(figure.is_known(entry) for figure in group)
        assert known != said.startswith("no figure"), f"{source}: {said!r}"


@pytest.mark.parametrize("entry", ALL, ids=NAMES)
def test_low_authority_is_said_wherever_such_a_source_stands(entry: CatalogueEntry) -> None:
    low = [name for name, publication, _ in catalogue.publications() if "low authority" in publication]
    for source in SOURCES:
        for name in low:
            for found in re.finditer(re.escape(name), getattr(entry, source)):
                after = getattr(entry, source)[found.end() :]
                # "Herbarium California, Ficus carica" carries its page before the mark
                assert re.match(r"(, [\w ]+)? \(low authority\)", after), f"{entry.name}: {getattr(entry, source)}"


def test_every_publication_is_used() -> None:
    used = {name for name, _, _ in catalogue.publications(ALL)}
    assert used == {name for name, _, _ in catalogue.publications()}


def test_names_differ_in_more_than_letter_case() -> None:
    folded = [fold(entry.name) for entry in ALL]
    assert len(set(folded)) == len(folded) > 50
    assert not {fold(entry.species) for entry in ALL} & set(folded)


def test_names_are_of_kinds_of_plants_not_of_products() -> None:
    # a quoted variety or a sign of a mark would be a brand or a patent
    for entry in ALL:
        text = " ".join(getattr(entry, field.name) for field in fields(entry) if field.type == "str")
        assert not re.search(r"[®™©'‘’\"“”]", text.replace("Grower's", "")), entry.name


@pytest.mark.parametrize("entry", ALL, ids=NAMES)
def test_ranges_and_words(entry: CatalogueEntry) -> None:
    for figure in FIGURES:
        value = getattr(entry, figure.field)
        if figure.is_range:
            low, high = value
            assert math.isnan(low) == math.isnan(high)
            assert math.isnan(low) or figure.limits[0] <= low <= high <= figure.limits[1]
        elif figure.kind == "word":
            assert value in ("", *figure.words)
        elif isinstance(value, float):
            assert math.isnan(value) or figure.limits[0] < value <= figure.limits[1]
    assert entry.origin == "catalogue"
    assert entry.own == ()


@pytest.mark.parametrize("entry", ALL, ids=NAMES)
def test_what_every_plant_has(entry: CatalogueEntry) -> None:
    assert entry.habit
    assert entry.cautions
    assert entry.spread_m > 0
    assert entry.height_m > 0
    assert entry.in_row_range_m[0] > 0
    # a plant is never set further apart than half again as wide as it ever grows
    assert entry.in_row_range_m[0] <= 1.5 * entry.spread_range_m[1]


@pytest.mark.parametrize("entry", [e for e in ALL if e.pollination in ("partner", "dioecious")], ids=lambda e: e.name)
def test_who_needs_a_partner_knows_how_its_pollen_comes(entry: CatalogueEntry) -> None:
    assert entry.agent
    assert entry.group
    assert entry.bloom
    if entry.agent == "bees":
        assert entry.pollination_m <= 100 * FOOT + 1e-9  # nursery pages: beyond 100 ft poor


def test_one_species_is_one_pollination_group() -> None:
    """Partners are sought by species, so plants that do not agree must be different species."""
    for entry in ALL:
        assert {other.group for other in ALL if other.species == entry.species} == {entry.group}
    assert catalogue.find("Japanese plum").group != catalogue.find("European plum").group
    assert "incompatib" in catalogue.find("sweet cherry").cautions


@pytest.mark.parametrize(
    ("name", "spread_ft", "height_ft"),
    [
        ("apple, semi-dwarf", 15, 18),
        ("apple, dwarf", 9, 10),
        ("almond", 21.5, 30),
        ("table grape", 7, 7),
        ("pecan, standard, eastern", 57.5, 100),
    ],
)
def test_size_to_plan_with(name: str, spread_ft: float, height_ft: float) -> None:
    """Middle of the spread, greatest height: what plan files have been planned with."""
    entry = catalogue.find(name)
    assert entry.spread_m / FOOT == pytest.approx(spread_ft)
    assert entry.height_m / FOOT == pytest.approx(height_ft)


# ------------------------------------------------------------------------------------------------ finding


@pytest.mark.parametrize("entry", ALL, ids=NAMES)
def test_found_by_name_whatever_case_and_spaces(entry: CatalogueEntry) -> None:
    for name in (entry.name, entry.name.upper(), f"  {entry.name.replace(', ', ' ,  ')} "):
        assert catalogue.find(name) is entry
    if entry.note:
        assert catalogue.find(f"{entry.name} ({entry.note})") is entry


@pytest.mark.parametrize(
    ("name", "found"),
    [
        ("apple", "apple, standard"),
        ("fig", "fig, standard"),
        ("peach", "peach, standard, open vase"),
        ("pawpaw", "pawpaw, small tree"),
        ("avocado", "avocado, standard"),
    ],
)
def test_class_left_out(name: str, found: str) -> None:
    assert catalogue.find(name).name == found


def test_several_classes_none_of_them_standard() -> None:
    with pytest.raises(ValueError, match='"blackberry" has several size classes; write one of "blackberry, erect", "black'):
        catalogue.find("blackberry")


@pytest.mark.parametrize("name", NAMES)
def test_a_letter_too_few_is_told(name: str) -> None:
    wrong = name[0] + name[2:]
    with pytest.raises(ValueError, match="is not in the catalogue; did you mean") as caught:
        catalogue.find(wrong)
    assert f'"{name}"' in str(caught.value)


def test_several_near_names() -> None:
    with pytest.raises(ValueError, match='did you mean "sweet cherry, semi-dwarf" or "sweet cherry, dwarf"'):
        catalogue.find("sweet cherry, semidwarf")


def test_nothing_near() -> None:
    with pytest.raises(ValueError, match='"concrete" is not in the catalogue; see "setout plants" for the names'):
        catalogue.find("concrete")


# -------------------------------------------------------------------------------------- figures for people


def test_figures_for_people() -> None:
    shown = {label: (value, source) for label, value, source in catalogue.figures_of(catalogue.find("apple, dwarf"))}
    assert shown["height"] == ("8-10 ft", "nursery size guide (low authority): 8-10 ft")
    assert shown["partner within"][0] == "100 ft"
    assert shown["Kc in mid-season"][0] == "0.95"
    assert shown["chill"][0] == "300-1200 h"
    metric = {label: value for label, value, _ in catalogue.figures_of(catalogue.find("apple, dwarf"), "si")}
    assert metric["height"] == "2.44-3.05 m"


def test_unknown_figures_are_left_out() -> None:
    labels = [label for label, _, _ in catalogue.figures_of(catalogue.find("pecan, hedged, western"))]
    assert "Kc in mid-season" not in labels  # FAO-56 Table 12 has no pecan
    assert "chill" in labels
    assert {a: b for a, b, _ in catalogue.figures_of(catalogue.find("lemon"))}["chill"] == "none needed"
