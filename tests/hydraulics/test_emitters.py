"""Emitters: ranges of pressure, the inverse of the law, and what happens at no pressure."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from setout.hydraulics.emitters import LOWEST_HEAD, Emitters, Outlets
from setout.units import KPA_PER_M


def test_a_compensating_emitter_holds_its_flow_within_its_range() -> None:
    emitter = Emitters.rated(2.3, 100.0, 0.0, 50.0, 400.0)
    flow = emitter.flow(np.array([50.0, 100.0, 250.0, 400.0, 600.0]) / KPA_PER_M)
    assert flow == pytest.approx(np.full(5, 2.3), rel=1e-12)
    assert emitter.flow(12.5 / KPA_PER_M) == pytest.approx(2.3 * 0.5, rel=1e-12)  # a quarter of the least, its root


def test_a_most_head_caps_any_law() -> None:
    emitter = Emitters(2.0, 0.5, 0.0, 16.0)
    assert emitter.flow([9.0, 16.0, 25.0]) == pytest.approx([6.0, 8.0, 8.0])


def test_nothing_comes_out_without_pressure() -> None:
    for x in (0.0, 0.3, 0.5, 1.0):
        flow, slope = Emitters(4.0, x, 0.0).flow_and_slope([-5.0, 0.0])
        assert np.all(flow == 0)
        assert np.isfinite(slope).all()


@given(
    st.floats(0.0, 1.0),
    st.floats(0.1, 500.0),
    st.floats(0.0, 20.0),
    st.floats(1.0, 60.0),
    st.lists(st.floats(-10.0, 100.0), min_size=2, max_size=20),
)
def test_more_pressure_never_gives_less(x: float, k: float, least: float, width: float, heads: list[float]) -> None:
    emitter = Emitters(k, x, least, least + width)
    flow = emitter.flow(np.sort(heads))
    assert np.all(np.diff(flow) >= -1e-12 * k * 100)
    assert np.all(flow >= 0)


@given(st.floats(0.05, 1.0), st.floats(0.1, 500.0), st.floats(LOWEST_HEAD / 10, 100.0), st.booleans())
def test_the_head_of_a_flow_gives_that_flow(x: float, k: float, head: float, compensating: bool) -> None:
    outlets = Outlets.of(Emitters(k, x, 8.0 if compensating else 0.0), (1,))
    flow = outlets.flow_and_slope(np.array([head]))[0]
    assert outlets.head(flow)[0] == pytest.approx(head, rel=1e-9)
