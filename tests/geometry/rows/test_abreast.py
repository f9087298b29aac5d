"""Points along many lines at once stand where points along one line after the other do."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.distance import pdist

from setout.geometry.lines.curves import Path, Spots, Stretch, path_of, set_along
from setout.geometry.rows.abreast import set_abreast

STEP = 4.0


NEAR, FAR = (0.0, 5.0, 8.5, 14.0), (0.0, 13.0, 26.0, 39.0)
"""Lines that come nearer to each other than a step here and there, and lines that never do."""


def lines_of(seed: int, swing: float, across: tuple[float, ...]) -> list[Path]:
    """Return lines side by side, and a ring."""
    rng = np.random.default_rng(seed)
    x = np.linspace(0.0, 90.0, 31)
    wave = swing * np.sin(x / 9.0 + rng.uniform(0, 6))
    lines = [np.column_stack([x, wave + y]) for y in across]
    turn = np.linspace(0.0, 2 * np.pi, 41)
    lines.append(np.column_stack([45 + 11 * np.cos(turn), across[-1] + 30 + 11 * np.sin(turn)]))
    return [path for line in lines if (path := path_of(line)) is not None]


def stretches_of(seed: int, swing: float, across: tuple[float, ...]) -> list[Stretch]:
    """Return parts of such lines."""
    rng = np.random.default_rng(seed)
    stretches = []
    for path in lines_of(seed, swing, across):
        cuts = np.sort(rng.uniform(0.0, path.length, 4))
        stretches += [Stretch(path, float(a), float(b)) for a, b in zip(cuts[::2], cuts[1::2], strict=True)]
    return stretches


def in_turn(stretches: list[Stretch]) -> list[np.ndarray]:
    """Return the points of one stretch after the other: the reference, held to straight distances in test_curves."""
    spots, wanted = Spots(STEP), []
    for part in stretches:
        own = set_along(part, STEP, spots)
        wanted.append(np.array(own, float).reshape(-1, 3))
        for _, px, py in own:
            spots.add(px, py)
    return wanted


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), swing=st.floats(0.0, 12.0))
def test_lines_that_do_not_meet_get_the_same_points_as_one_after_the_other(seed: int, swing: float) -> None:
    stretches = stretches_of(seed, swing, FAR)
    found, wanted = set_abreast(stretches, STEP, Spots(STEP)), in_turn(stretches)
    assert [len(own) for own in found] == [len(own) for own in wanted]
    np.testing.assert_allclose(np.concatenate(found), np.concatenate(wanted), atol=0.05)  # middled to 0.02 m


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), swing=st.floats(0.0, 12.0))
def test_lines_that_come_near_keep_the_step_and_lose_no_points(seed: int, swing: float) -> None:
    """A line is only walked round the points of others where they are in the way of its own middle."""
    stretches = stretches_of(seed, swing, NEAR)
    found, wanted = set_abreast(stretches, STEP, Spots(STEP)), in_turn(stretches)
    assert sum(map(len, found)) >= 0.99 * sum(map(len, wanted))
    xy = np.concatenate(found)[:, 1:]
    if len(xy) > 1:
        assert pdist(xy).min() >= STEP - 1e-6
    for part, own in zip(stretches, found, strict=True):
        if len(own):
            assert own[0, 0] >= part.low - 1e-6
            assert own[-1, 0] <= part.high + 1e-6
            np.testing.assert_allclose(part.path.points(own[:, 0]), own[:, 1:], atol=1e-9)
