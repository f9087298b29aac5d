"""Canopies among their like, against areas that shapely measures."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from setout.geometry.places.growth import canopy_m2, cell_m2, disc_in_rectangle_m2
from setout.model import Pair, Pattern


def disc(diameter: float, x: float = 0.0) -> shapely.Geometry:
    return shapely.Point(x, 0).buffer(diameter / 2, quad_segs=400)


@given(st.floats(0.1, 12), st.floats(0.1, 15), st.floats(0.1, 15))
def test_disc_in_rectangle(diameter: float, width: float, length: float) -> None:
    whole = disc(diameter).intersection(shapely.box(-width / 2, -length / 2, width / 2, length / 2)).area
    assert disc_in_rectangle_m2(diameter, width, length) == pytest.approx(whole, rel=1e-4)


@given(st.floats(0.5, 9), st.floats(0.1, 4))
def test_partners_of_a_pair_share_what_they_cover(spread: float, apart: float) -> None:
    pattern = Pattern("square", 30.0, 30.0, pair=Pair(apart))
    whole = shapely.union(disc(spread), disc(spread, apart)).area
    assert 2 * canopy_m2(pattern, spread, spread) == pytest.approx(whole, rel=1e-4)


@given(st.sampled_from(["square", "rectangular", "offset", "hedgerow", "trellis", "screen"]), st.floats(0.5, 9), st.floats(0.5, 9))
def test_no_canopy_is_wider_than_its_ground_and_none_shrinks_as_it_grows(kind: str, grown: float, kept: float) -> None:
    pattern = Pattern(kind, 3.0, 4.0, 0.5 if kind == "offset" else 0.0)
    area = canopy_m2(pattern, grown, kept)
    assert 0 < area <= cell_m2(pattern) + 1e-9
    assert canopy_m2(pattern, grown * 1.2, kept) >= area - 1e-9
    assert canopy_m2(pattern, grown, kept * 1.2) >= area - 1e-9


def test_lines_of_one_hedge_share_its_width() -> None:
    # two lines 1 m apart kept 2 m wide: the hedge is 3 m wide, each plant has half of it along its step
    pattern = Pattern("hedgerow", 1.5, 6.0, lines=2, line_distance_m=1.0)
    assert canopy_m2(pattern, 9.0, 2.0) == pytest.approx(1.5 * 3 / 2)


def test_unknown_spread() -> None:
    assert np.isnan(canopy_m2(Pattern("square", 5.0, 5.0), np.nan, np.nan))
    assert np.isfinite(canopy_m2(Pattern("points", 0.0, 0.0), 4.0, 4.0))
