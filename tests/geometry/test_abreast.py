"""Points along many lines at once stand where points along one line after the other do."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.distance import pdist

from setout.geometry.abreast import set_abreast
from setout.geometry.curves import Path, Spots, Stretch, path_of, set_along

STEP = 4.0


def lines_of(seed: int, swing: float) -> list[Path]:
    """Return lines side by side, nearer to each other than a step here and there, and a ring."""
    rng = np.random.default_rng(seed)
    x = np.linspace(0.0, 90.0, 31)
    wave = swing * np.sin(x / 9.0 + rng.uniform(0, 6))
    lines = [np.column_stack([x, wave + y]) for y in (0.0, 5.0, 8.5, 14.0)]
    turn = np.linspace(0.0, 2 * np.pi, 41)
    lines.append(np.column_stack([45 + 11 * np.cos(turn), 40 + 11 * np.sin(turn)]))
    return [path for line in lines if (path := path_of(line)) is not None]


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), swing=st.floats(0.0, 12.0))
def test_the_same_points_as_one_line_after_the_other(seed: int, swing: float) -> None:
    """The walk along one line is the reference; what it gives is itself held to straight distances in test_curves."""
    rng = np.random.default_rng(seed)
    stretches = []
    for path in lines_of(seed, swing):
        cuts = np.sort(rng.uniform(0.0, path.length, 4))
        stretches += [Stretch(path, float(a), float(b)) for a, b in zip(cuts[::2], cuts[1::2], strict=True)]
    spots, wanted = Spots(STEP), []
    for part in stretches:
        own = set_along(part, STEP, spots)
        wanted.append(np.array(own, float).reshape(-1, 3))
        for _, px, py in own:
            spots.add(px, py)
    found = set_abreast(stretches, STEP, Spots(STEP))
    assert [len(own) for own in found] == [len(own) for own in wanted]
    np.testing.assert_allclose(np.concatenate(found), np.concatenate(wanted), atol=0.05)  # middled to 0.02 m
    xy = np.concatenate(found)[:, 1:]
    if len(xy) > 1:
        assert pdist(xy).min() >= STEP - 1e-6
    for part, own in zip(stretches, found, strict=True):
        if len(own):
            assert own[0, 0] >= part.low - 1e-6
            assert own[-1, 0] <= part.high + 1e-6
            np.testing.assert_allclose(part.path.points(own[:, 0]), own[:, 1:], atol=1e-9)
