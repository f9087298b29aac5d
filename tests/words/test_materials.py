"""Every material can be told, in both units, with the figures that its words declare and no others."""

from __future__ import annotations

import pytest

from setout.model.buying import MATERIALS, line_of
from setout.words.materials import SAID, bought
from setout.words.template import named

OWN = {"tree_mulch": "mulch", "bed_mulch": "mulch"}
"""Words that are not those of an item of their own, and the item they are said of."""


@pytest.mark.parametrize("units", ["us", "si"])
@pytest.mark.parametrize("code", SAID)
def test_a_material_is_told_of_its_example(code: str, units: str) -> None:
    said = SAID[code]
    assert named(said.size) | named(said.where) == set(said.example)
    figures = {name: value for name, value in said.example.items() if name != "block"}
    line = bought(line_of(OWN.get(code, code), 1234.5, str(said.example.get("block", "")), code, **figures), units)
    assert line.item
    assert line.where
    for text in (line.size, line.where, line.shown):
        assert not {"{", "}", "[["} & set(text)
        assert text == text.strip()


def test_every_material_has_words() -> None:
    assert {OWN.get(code, code) for code in SAID} == set(MATERIALS)


def test_pipe_is_told_in_whole_feet_and_posts_by_number() -> None:
    """Hand: 105 m are 344.49 ft, 100 m are 328.08 ft; 20.828 mm are 0.82 in (25.4 mm to the inch, exact)."""
    pipe = bought(line_of("pipe_lateral", 105.0, inside_mm=20.828, run_m=100.0, spare=0.05), "us")
    assert (pipe.item, pipe.size, pipe.shown) == ("pipe, lateral", "0.820 in inside", "344 ft")
    assert pipe.where == "328 ft on the slope and 5 % for cuts and snaking"
    post = bought(line_of("end_post", 1200.0, "V", long_m=3.048, thick_m=None, rows=600), "si")
    assert (post.size, post.where, post.shown) == ("3.05 m long", "block V: 600 rows", "1,200")
