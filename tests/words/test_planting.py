"""What templates can say of figures that are unknown, of several things and of numbers, and what is told of rows and plants."""

from __future__ import annotations

import pytest

from setout.errors import Refusal
from setout.model import Finding
from setout.model.comparison import Fit
from setout.words.comparing import limit_text, step_text
from setout.words.findings import told
from setout.words.refusals import worded
from setout.words.template import filled


@pytest.mark.parametrize(
    ("template", "figures", "said"),
    [
        ("[[only {left_m:length1}||nothing]] stays", {"left_m": 3.048}, "only 10.0 ft stays"),
        ("[[only {left_m:length1}||nothing]] stays", {"left_m": None}, "nothing stays"),
        ("[[only {left_m:length1}||nothing]] stays", {"left_m": float("nan")}, "nothing stays"),
        ("{n:n plant|plants} {n:verb stands|stand}", {"n": 1}, "1 plant stands"),
        ("{n:n plant|plants} {n:verb stands|stand}", {"n": 1200}, "1,200 plants stand"),
        ("no price for {items:series}", {"items": ("apple, dwarf", "wire")}, "no price for apple, dwarf; wire"),
        (
            "{cut:as plant_cut}",
            {"cut": ({"plant": "apple", "variety": "B", "n": 1, "asked": 3}, {"plant": "", "variety": "", "n": 2, "asked": 5})},
            "apple (B): 1 of 3, the plant: 2 of 5",
        ),
        # what a person wrote is no template
        ("block {block}[[ ({why})]]", {"block": "{x}", "why": "[[a||b]]"}, "block {x} ([[a||b]])"),
    ],
)
def test_texts_of_figures(template: str, figures: dict, said: str) -> None:
    assert filled(template, figures, "us") == said


@pytest.mark.parametrize(
    ("kind", "message", "measured"),
    [
        ("male", "block A: kiwi needs a male plant, and the site has none", "none"),
        ("variety", "block A: kiwi needs another variety for its pollen, and the site has none", "none"),
        ("unnamed", "block A: kiwi needs another variety for its pollen, and the plan names no varieties", "none named"),
    ],
)
def test_a_code_has_words_for_each_of_its_kinds(kind: str, message: str, measured: str) -> None:
    figures = {"block": "A", "plant": "kiwi", "variety": "", "role": "", "limit_m": 30.48, "kind": kind}
    said = told(Finding("no_pollinizer", "stop", figures=figures), "si")
    assert (said.code, said.message, said.measured, said.required) == ("no_pollinizer", message, measured, "one within 30.48 m")


def test_a_screen_whose_height_is_unknown_says_so() -> None:
    figures = {"block": "S", "purpose": "", "plants": 9, "height_m": float("nan"), "covered_m": 21.0, "line_m": 30.0}
    said = told(Finding("screen_length", "note", figures=figures), "si")
    assert (said.message, said.measured) == ("block S: screen: 9 plants, height when grown unknown", "21 m of 30 m")


def test_a_refusal_says_its_figures_in_the_readers_units() -> None:
    (us,), (si,) = (worded(Refusal("guide_far", block="A", away_m=121.92, across_m=30.48), units).faults for units in ("us", "si"))
    assert us.what == "the guide line lies 400 ft from its ground, which is 100 ft across"
    assert si.what == "the guide line lies 121.9 m from its ground, which is 30.48 m across"
    assert us.where == "block A"


def test_options_and_limits_are_said_above_the_stages() -> None:
    assert step_text(2.5, 5.0, "si") == "step 2.5 m, rows 5 m"
    assert limit_text(Fit("hours_per_week", 2.5, None, (1.0, 2.0))) == "2.5 hours of work a week"
    assert limit_text(Fit("trees", 12000, None, (1.0, 2.0))) == "12,000 trees"
