"""Charts: round axes, marks in their places, hostile text."""

from __future__ import annotations

import math
import re
from itertools import pairwise

import lxml.etree
import pytest

from setout.draw.chart import MARK, bars, scatter, share_bar, spreads, ticks


@pytest.mark.parametrize(("low", "high"), [(0, 1), (0, 437), (3.2, 3.9), (0, 1e-6), (0, 123456), (-5, 7)])
def test_axes_cover_their_values_with_round_steps(low: float, high: float) -> None:
    at = ticks(low, high)
    assert at[0] <= low + 1e-12
    assert at[-1] >= high - 1e-12
    sizes = [b - a for a, b in pairwise(at)]
    steps = {round(size / 10.0 ** math.floor(math.log10(size) + 1e-9), 6) for size in sizes}
    assert len(steps) == 1
    assert steps <= {1.0, 2.0, 2.5, 5.0}


def test_bars_are_as_high_as_their_values() -> None:
    svg = lxml.etree.fromstring(bars("Hours", "h", [("Jan", 10.0), ("Feb", 20.0), ("Mar", 0.0)]))
    heights = [float(r.get("height")) for r in svg.iter() if r.tag.endswith("rect")]
    assert heights[1] == pytest.approx(2 * heights[0], abs=0.2)
    assert heights[2] == 0


def test_a_spread_shows_every_value_and_those_below_the_limit_apart() -> None:
    """Half at 4 and half at 9 have a median above 6; the chart shows the half that is below."""
    rows = [("A", [4.0] * 50 + [9.0] * 50, 6.0), ("B", [2.0, 3.4, 3.6], 3.5), ("<b>", [5.9, 6.0], 6.0)]
    text = spreads("Sun", "h", rows)
    assert "<b>" not in text
    svg = lxml.etree.fromstring(text)
    rects = [r for r in svg.iter() if r.tag.endswith("rect")]
    shown = [(int(next(iter(r)).text), r.get("fill") == MARK) for r in rects]
    assert sum(number for number, _ in shown) == 105
    assert sum(number for number, below in shown if below) == 50 + 2 + 1
    limits = [float(g.get("x1")) for g in svg.iter() if g.tag.endswith("line") and g.get("stroke") == MARK]
    assert len(limits) == 3
    assert limits[0] == limits[2] > limits[1]
    for row, limit in enumerate(limits):
        foot = sorted({round(float(r.get("y")) + float(r.get("height")), 1) for r in rects})[row]
        own = [r for r in rects if round(float(r.get("y")) + float(r.get("height")), 1) == foot]
        for r in own:
            begin, end = float(r.get("x")), float(r.get("x")) + float(r.get("width"))
            assert end <= limit + 1.0 if r.get("fill") == MARK else begin >= limit - 0.1
    assert "50 of 100 below 6" in text
    assert not re.search(r"nan|inf", text)


def test_shares_are_as_wide_as_they_say() -> None:
    svg = lxml.etree.fromstring(share_bar("Ground", [("usable", 0.6), ("slope", 0.3), ("road", 0.1)]))
    wide = [float(r.get("width")) + 1 for r in svg.iter() if r.tag.endswith("rect") and r.get("height") == "34"]
    assert wide == pytest.approx([0.6 * sum(wide), 0.3 * sum(wide), 0.1 * sum(wide)], abs=0.3)


def test_points_stand_where_their_figures_say_and_names_stay_text() -> None:
    hostile = '<script>alert("x")</script>&"'
    text = scatter(hostile, "trees", "hours", [(100.0, 10.0, hostile, False), (200.0, 20.0, "b", True)])
    assert "<script" not in text
    svg = lxml.etree.fromstring(text)
    (x1, y1), (x2, y2) = ((float(c.get("cx")), float(c.get("cy"))) for c in svg.iter() if c.tag.endswith("circle"))
    zero = max(float(g.get("y1")) for g in svg.iter() if g.tag.endswith("line"))
    assert x2 > x1
    assert zero - y2 == pytest.approx(2 * (zero - y1), abs=0.2)
    assert not re.search(r"nan|inf", text.replace("information", ""))
