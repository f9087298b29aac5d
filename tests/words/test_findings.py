"""Every code of a finding can be told, in both units, with the figures that its words declare and no others."""

from __future__ import annotations

import pytest

from setout.errors import Refusal, Refusals
from setout.model import Finding
from setout.words import refusals_land, refusals_planting, refusals_survey, refusals_water
from setout.words.findings import WORDS, field, land, light, planting, survey, told, water
from setout.words.refusals import REFUSALS, worded
from setout.words.template import filled, named


@pytest.mark.parametrize("code", WORDS)
def test_words_ask_for_the_figures_that_they_declare(code: str) -> None:
    words = WORDS[code]
    assert set().union(*map(named, words.texts)) == set(words.example)


@pytest.mark.parametrize("units", ["us", "si"])
@pytest.mark.parametrize("code", WORDS)
def test_a_code_is_told_of_its_example(code: str, units: str) -> None:
    said = told(Finding(code, "note", figures=WORDS[code].example), units)
    assert said.message
    for text in (said.message, said.measured, said.required, said.remedy, said.each):
        assert not {"{", "}", "[["} & set(text)
        assert "nan" not in text.lower().split()
        assert text == text.strip()


@pytest.mark.parametrize("code", REFUSALS)
def test_refusals_ask_for_the_figures_that_they_declare(code: str) -> None:
    assert set().union(*map(named, REFUSALS[code].texts)) == set(REFUSALS[code].example)
    for units in ("us", "si"):
        assert not {"{", "}", "[["} & set(str(worded(Refusal(code, **REFUSALS[code].example), units)))


def test_trees_without_water_are_told_in_the_readers_units() -> None:
    """Hand: 70 kPa are 10.15 psi, 100 kPa 14.50 psi (6.894757 kPa to the psi)."""
    figures = {"n": 1200, "reason": "low_pressure", "mend": "mend_low_pressure", "zones": tuple(f"z{k}" for k in range(1, 11))}
    said = told(Finding("not_watered", "stop", figures={**figures, "lowest_kpa": 70.0, "asked_kpa": 100.0}), "us")
    assert said.message == "1,200 trees are not watered in zone z1, z2, z3, z4, z5, z6, z7, z8 ...: too little pressure"
    assert (said.measured, said.required, said.each) == ("10.2 psi at the lowest", "14.5 psi", "is not watered: too little pressure")
    one = told(Finding("not_watered", "stop", figures={"tree": "A-1-2", "zone": "z1", "reason": "hours_out", "mend": "mend_zone"}), "si")
    assert (one.message, one.measured) == ("tree A-1-2 is not watered by zone z1: hours run out", "")


def test_a_table_of_the_plan_file_keeps_its_brackets() -> None:
    """What TOML (toml.io, v1.0, array of tables) writes in double brackets is no part that may be left out."""
    assert filled("write [[setback]] for {what}[[ of {kind}]]", {"what": "x", "kind": None}, "us") == "write [[setback]] for x"


def test_refusals_of_several_works_are_told_once_each() -> None:
    twice = Refusals([Refusal("boundary_empty", source="a"), Refusal("boundary_empty", source="a"), Refusal("monuments_alone", source="b")])
    assert [fault.where for fault in worded(twice, "us").faults] == ["a", "b"]


def test_no_code_is_worded_on_two_pages() -> None:
    pages = (survey, land, planting, water, light, field)
    assert sum(len(page.WORDS) for page in pages) == len(WORDS)
    assert sum(map(len, (refusals_land.REFUSALS, refusals_planting.REFUSALS, refusals_survey.REFUSALS, refusals_water.REFUSALS))) == len(
        REFUSALS
    )
