"""Dealing kinds out along a line: exact counts, and an even spread.

Counts come from shares by largest remainders; places from an even spread of each kind, or in runs by turns.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from fractions import Fraction
from math import lcm
from typing import Final

import numpy as np
from numpy.typing import NDArray

ROUND_RATIO: Final = 12
"""Largest denominator of a ratio of shares when turns are counted in whole lines: 0.67 to 0.33 is two to one."""


def counts_of(shares: Sequence[float], size: int) -> NDArray[np.int64]:
    """Share places out by the method of largest remainders.

    Parameters
    ----------
    shares : Sequence of float
        Shares, none below zero and one above, of any sum.
    size : int
        Places.

    Returns
    -------
    ndarray of int
        Counts that sum to size; each is its exact quota rounded down or up.

    Examples
    --------
    >>> counts_of([8, 1], 100)
    array([89, 11])
    """
    quota = np.asarray(shares, float) / sum(shares) * size
    counts = np.floor(quota).astype(np.int64)
    rest = np.argsort(-(quota - counts), kind="stable")[: size - int(counts.sum())]
    counts[rest] += 1
    return counts


def dealt(counts: NDArray[np.int64]) -> NDArray[np.int32]:
    """Deal kinds out evenly along a line.

    Kinds of like counts (within one) take turns in places that are dealt to them together, so that a main kind and
    several rare ones read as "every fifth, B and C by turns". One or two such groups go where an even spread would
    have them. With more, those places collide: each one then gets a window as wide as its group's mean gap, and of the
    open windows the one that closes first is served (earliest due date, J. R. Jackson, 1955). Two of a kind are at
    most two mean gaps apart, rounded up to whole places.

    Parameters
    ----------
    counts : (k,) ndarray of int
        How many of each kind.

    Returns
    -------
    (n,) ndarray of int
        Index of the kind at every place, n the sum of counts.

    Examples
    --------
    >>> dealt(np.array([6, 2])).tolist()
    [0, 0, 1, 0, 0, 0, 1, 0]
    >>> dealt(np.array([8, 1, 1])).tolist()
    [0, 0, 1, 0, 0, 0, 0, 2, 0, 0]
    """
    groups = _alike(counts)
    if len(groups) < 2:
        return _spread(counts)
    group = _spread(np.array([counts[kinds].sum() for kinds in groups]))
    out = np.empty(len(group), np.int32)
    for number, kinds in enumerate(groups):
        out[group == number] = np.array(kinds, np.int32)[_spread(counts[kinds])]
    return out


def _alike(counts: NDArray[np.int64]) -> list[list[int]]:
    """Put kinds together whose counts differ by one at most; groups and their kinds in the order of the kinds."""
    groups: list[list[int]] = []
    for kind in np.argsort(counts, kind="stable").tolist():
        if counts[kind] and groups and counts[kind] <= counts[groups[-1][0]] + 1:
            groups[-1].append(kind)
        elif counts[kind]:
            groups.append([kind])
    return sorted(sorted(kinds) for kinds in groups)


def _spread(counts: NDArray[np.int64]) -> NDArray[np.int32]:
    """Deal kinds out one by one."""
    if np.count_nonzero(counts) > 2:
        return _by_due_date([int(count) for count in counts])
    place = np.concatenate([(np.arange(c) + 0.5) / c for c in counts if c] or [np.empty(0)])
    kind = np.repeat(np.arange(len(counts)), counts)
    return kind[np.lexsort((kind, np.round(place, 12)))].astype(np.int32)


def _by_due_date(counts: Sequence[int]) -> NDArray[np.int32]:
    """Deal the j-th of each kind (from 0) into the places from j n / count to (j + 1) n / count, n the sum of counts."""
    size = sum(counts)
    out = np.empty(size, np.int32)
    given = [0] * len(counts)
    waiting = [(0, kind) for kind, count in enumerate(counts) if count]
    open_now: list[tuple[int, int, int]] = []
    for place in range(size):
        while waiting and waiting[0][0] <= place:
            _, kind = heapq.heappop(waiting)
            due = -(-(given[kind] + 1) * size // counts[kind])
            heapq.heappush(open_now, (due, counts[kind], kind))  # of two that close together, the rarer
        _, _, kind = heapq.heappop(open_now)
        out[place] = kind
        given[kind] += 1
        if given[kind] < counts[kind]:
            heapq.heappush(waiting, (given[kind] * size // counts[kind], kind))
    return out


def turns(shares: Sequence[float], lines: int) -> NDArray[np.int32]:
    """Deal whole lines out by turns as wide as the shares.

    Parameters
    ----------
    shares : Sequence of float
        Shares above zero; the number of lines of each turn is their ratio in small whole numbers.
    lines : int
        Lines, in order.

    Returns
    -------
    (lines,) ndarray of int
        Index of the share at every line. Where one round of turns is longer than the lines, there is one round, as
        wide as the lines allow; where there are fewer lines than shares, the largest have one line each.

    Examples
    --------
    >>> turns([2, 1], 7).tolist(), turns([0.67, 0.33], 3).tolist(), turns([8, 1], 5).tolist()
    ([0, 0, 1, 0, 0, 1, 0], [0, 0, 1], [0, 0, 0, 0, 1])
    >>> turns([1, 1, 1, 1, 1, 3], 5).tolist()
    [0, 1, 2, 3, 5]
    """
    ratios = [Fraction(share / min(shares)).limit_denominator(ROUND_RATIO) for share in shares]
    scale = lcm(*(ratio.denominator for ratio in ratios))
    widths = [int(ratio * scale) for ratio in ratios]
    if sum(widths) > lines:
        # each has a line before the first has all of them; of too few lines the largest shares have one each
        if lines >= len(shares):
            widths = (1 + counts_of(shares, lines - len(shares))).tolist()
        else:
            largest = np.argsort(-np.asarray(shares, float), kind="stable")[:lines]
            widths = np.isin(np.arange(len(shares)), largest).astype(int).tolist()
    once = np.repeat(np.arange(len(shares), dtype=np.int32), widths)
    return np.resize(once, lines)
