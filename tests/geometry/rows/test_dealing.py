"""Dealing out: counts exact, places even, turns as wide as the shares, for any shares and sizes."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from math import ceil, floor

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from setout.geometry.rows.dealing import counts_of, dealt, turns

SHARES = st.lists(st.integers(1, 40), min_size=1, max_size=7)
COUNTS = st.lists(st.integers(0, 90), min_size=1, max_size=7)


@given(SHARES, st.integers(0, 3000))
def test_counts_sum_and_are_their_quota_rounded(shares: list[int], size: int) -> None:
    """The quota rule of the method of largest remainders (Hamilton), in whole numbers."""
    counts = counts_of(shares, size).tolist()
    assert sum(counts) == size
    quotas = [Fraction(share * size, sum(shares)) for share in shares]
    assert all(floor(q) <= n <= ceil(q) for q, n in zip(quotas, counts, strict=True))


def test_largest_remainders_of_a_printed_example() -> None:
    """Five seats, votes 47, 16, 15.8, 12, 6.1, 3.1: the usual worked example has ten seats 5, 2, 1, 1, 1, 0."""
    assert counts_of([47000, 16000, 15900, 12000, 6000, 3100], 10).tolist() == [5, 2, 1, 1, 1, 0]


@given(COUNTS)
@example([10, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1])  # ten kinds that all want the middle
@example([72, 9, 5, 1, 1, 1, 1])
@example([78, 2, 44, 50])
@example([113, 85, 45, 38, 2])
def test_every_kind_is_spread_evenly(counts: list[int]) -> None:
    kinds = dealt(np.array(counts))
    size = sum(counts)
    assert np.bincount(kinds, minlength=len(counts)).tolist() == counts
    for kind, count in enumerate(counts):
        places = np.flatnonzero(kinds == kind)
        if count:
            mean = Fraction(size, count)
            assert np.diff(np.concatenate([[-1], places, [size]])).max() <= ceil(2 * mean)
            assert np.diff(places).max(initial=0) <= ceil(2 * mean)
            # and never far ahead or behind: any start of the walk holds its share to within one
            so_far = np.cumsum(kinds == kind)
            assert np.abs(so_far - np.arange(1, size + 1) * count / size).max() <= 1


@given(st.integers(1, 60), st.integers(1, 2000))
def test_one_pollinizer_stands_at_regular_intervals(few: int, many: int) -> None:
    """Of two kinds the rarer stands every n-th place, n one of two neighbouring numbers: a crew can count it off."""
    few, many = min(few, many), max(few, many)
    gaps = np.diff(np.flatnonzero(dealt(np.array([many, few])) == 1))
    assert gaps.size == 0 or gaps.max() - gaps.min() <= 1


@given(st.integers(2, 4), st.integers(4, 12), st.integers(1, 30))
def test_several_pollinizers_take_turns_at_regular_intervals(kinds: int, every: int, rounds: int) -> None:
    """A crew counts to the same number from any pollinizer to the next, and meets the pollinizers by turns."""
    got = dealt(np.array([(every - 1) * kinds * rounds, *[rounds] * kinds]))
    places = np.flatnonzero(got)
    assert (np.diff(places) == every).all()
    assert got[places].tolist() == [*range(1, kinds + 1)] * rounds


@given(st.integers(1, 60), st.integers(2, 900))
def test_a_remainder_does_not_break_the_turns(few: int, many: int) -> None:
    """Rare kinds whose counts differ by one keep their common interval."""
    got = dealt(np.array([many + 2 * few + 1, few + 1, few]))
    places = np.flatnonzero(got)
    assert np.ptp(np.diff(places)) <= 1
    assert got[places].tolist() == [*[1, 2] * few, 1]


@given(st.lists(st.integers(1, 9), min_size=3, max_size=5), st.integers(2, 12))
def test_whole_rounds_repeat(once: list[int], rounds: int) -> None:
    """Counts with a common factor give one short sequence again and again, which a crew can learn."""
    whole = dealt(np.array(once) * rounds)
    assert np.array_equal(whole, np.tile(whole[: sum(once)], rounds))


@pytest.mark.parametrize(
    ("shares", "lines", "expected"),
    [
        ([2, 1], 9, "AABAABAAB"),
        ([1, 1, 1], 7, "ABCABCA"),
        ([0.5, 0.25, 0.25], 8, "AABCAABC"),
        ([4, 2], 6, "AABAAB"),
        ([50, 50], 4, "ABAB"),
        ([8, 1], 5, "AAAAB"),
        ([1.37, 1], 10, "AAAAAABBBB"),
        ([1, 1, 1], 2, "AB"),
        ([3], 2, "AA"),
        ([1, 0.0001], 3, "AAB"),
        ([0.67, 0.33], 6, "AABAAB"),
        ([0.333, 0.333, 0.334], 4, "ABCA"),
        ([1, 2], 0, ""),
    ],
)
def test_turns(shares: list[float], lines: int, expected: str) -> None:
    assert "".join("ABC"[k] for k in turns(shares, lines)) == expected


@given(SHARES, st.integers(0, 300))
def test_turns_are_runs_in_order_and_leave_no_one_out(shares: list[int], lines: int) -> None:
    got = turns(shares, lines).tolist()
    assert len(got) == lines
    if lines < len(shares):
        assert got == sorted(set(got))
        return
    assert all(b in (a, (a + 1) % len(shares)) for a, b in pairwise(got))
    assert set(got) == set(range(len(shares)))
