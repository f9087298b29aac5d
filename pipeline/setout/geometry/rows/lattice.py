"""Placing points along cut lines: how many fit, in which phase, and where they then stand.

A lattice has lines v_j and, on every line, points u = phase + shift_j + k step. An interval of length L holds
floor(L / step) points whatever the phase, and one more for phases in an arc of length L mod step: the best phase of a
whole lattice is where most arcs lie over each other, found by sorting their ends, not by trying phases.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from setout.geometry.rows.rowcut import Cutters, Intervals, cut

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

ROUNDING = 1e-9
"""Share of a step by which a point may miss its piece: float rounding, nothing else."""


@dataclass(frozen=True, slots=True)
class Lattice:
    """A set-out without its place: step and line distances.

    Attributes
    ----------
    step : distance along a line
    line_distance : distance between lines
    shift : how far every second line is moved along, as a share of the step
    alley_every, alley_width : a gap of this width after every n lines; 0 for none
    free : every line takes its own phase
    """

    step: float
    line_distance: float
    shift: float = 0.0
    alley_every: int = 0
    alley_width: float = 0.0
    free: bool = False

    @property
    def period(self) -> float:
        """Return the distance after which the lines repeat."""
        if not self.alley_every:
            return self.line_distance
        return (self.alley_every - 1) * self.line_distance + self.alley_width

    def shifts(self, number: Ints) -> Floats:
        """Return how far the lines of some numbers are moved along."""
        return np.asarray(number % 2 * (self.shift * self.step), float)

    def lines(self, first: float, low: float, high: float) -> tuple[Floats, Ints]:
        """Return the lines from low to high of a lattice that has its line 0 at first, and their numbers.

        >>> Lattice(2.0, 3.0).lines(0.5, 0.0, 7.0)
        (array([0.5, 3.5, 6.5]), array([0, 1, 2]))
        >>> Lattice(2.0, 3.0, alley_every=2, alley_width=5.0).lines(0.0, 0.0, 12.0)
        (array([ 0.,  3.,  8., 11.]), array([0, 1, 2, 3]))
        """
        per = max(self.alley_every, 1)
        cycles = np.arange(np.floor((low - first) / self.period), np.ceil((high - first) / self.period) + 1)
        v = first + (cycles[:, None] * self.period + np.arange(per) * self.line_distance).ravel()
        number = (cycles[:, None] * per + np.arange(per)).ravel().astype(np.int64)
        inside = (v >= low) & (v <= high)
        return v[inside], number[inside]


def best_phase(pieces: Intervals, base: Floats, step: float, group: Ints, groups: int) -> tuple[Ints, Floats]:
    """Find for every group of pieces the phase at which most points fit.

    Parameters
    ----------
    pieces : Intervals
        What is left of the lines.
    base : (n,) ndarray
        Shift of each piece's line along u.
    step : float
        Distance along a line.
    group : (n,) ndarray
        Which lattice each piece is of, 0 to groups - 1.
    groups : int
        Number of lattices.

    Returns
    -------
    count : (groups,) ndarray
        Points that fit.
    phase : (groups,) ndarray
        The middle of the first widest run of phases at which they do, in [0, step).

    Examples
    --------
    >>> two = Intervals(np.array([0, 1]), np.array([0.0, 0.2]), np.array([4.6, 4.4]))
    >>> best_phase(two, np.zeros(2), 2.0, np.array([0, 0]), 1)
    (array([6]), array([0.3]))
    """
    start = np.mod(pieces.lo - base, step)
    length = pieces.hi - pieces.lo
    whole = np.floor(length / step)
    count = np.bincount(group, whole, groups)
    rest = length - whole * step
    # every group has its own stretch of 3 steps on one axis; an arc that runs over the end also begins before it
    origin = group * (3.0 * step) + step
    over = start + rest >= step
    begin = np.concatenate([origin + start, (origin + start)[over] - step])
    close = np.concatenate([origin + start + rest, (origin + start + rest)[over] - step])
    owner = np.concatenate([group, group[over]])
    begin_order = np.argsort(begin, kind="stable")
    begin, owner, close = begin[begin_order], owner[begin_order], np.sort(close)
    first = np.searchsorted(owner, np.arange(groups))
    last = np.searchsorted(owner, np.arange(groups), "right")
    lying = np.arange(1, len(begin) + 1) - np.searchsorted(close, begin, "left")
    inside = begin >= owner * (3.0 * step) + step  # phases are in [0, step)
    until_close = close[np.minimum(np.searchsorted(close, begin, "left"), max(len(close) - 1, 0))] if len(close) else close
    until_begin = np.append(begin[1:], np.inf)[: len(begin)]
    width = np.minimum(until_close, until_begin) - begin
    phase = np.zeros(groups)
    for g in range(groups):
        span = slice(first[g], last[g])
        if first[g] == last[g]:
            continue
        number = np.where(inside[span], lying[span], -1)
        most = number.max()
        if most < 0:
            continue
        count[g] += most
        widths = np.where(number == most, np.round(width[span], 6), -1.0)
        at = int(np.argmax(widths))
        phase[g] = begin[span][at] - (g * 3.0 * step + step) + max(width[span][at], 0.0) / 2
    return count.astype(np.int64), np.mod(phase, step)


@dataclass(frozen=True, slots=True)
class Placed:
    """Points on lines: coordinates along and across, number of the line, and which piece of a line each stands on."""

    u: Floats
    v: Floats
    line: Ints
    piece: Ints

    def some(self, keep: Bools) -> Placed:
        """Return some of the points."""
        return Placed(self.u[keep], self.v[keep], self.line[keep], self.piece[keep])


def points(pieces: Intervals, base: Floats, phase: float, step: float) -> tuple[Floats, Ints]:
    """Set points along pieces of lines in one phase.

    Parameters
    ----------
    pieces : Intervals
        What is left of the lines.
    base : (n,) ndarray
        Shift of each piece's line.
    phase, step : float
        Points are at base + phase + k step.

    Returns
    -------
    u : (m,) ndarray
        Where the points stand, in the order of the pieces.
    piece : (m,) ndarray
        Which piece each is on.

    Examples
    --------
    >>> points(Intervals(np.array([0]), np.array([0.1]), np.array([4.0])), np.zeros(1), 0.0, 1.0)[0]
    array([1., 2., 3., 4.])

    Where two pieces of a line meet in a point's place, it has one point:

    >>> points(Intervals(np.array([0, 0]), np.array([0.0, 2.0]), np.array([2.0, 4.0])), np.zeros(2), 0.0, 1.0)[0]
    array([0., 1., 2., 3., 4.])
    """
    origin = base + phase
    low = np.ceil((pieces.lo - origin) / step - ROUNDING)
    high = np.floor((pieces.hi - origin) / step + ROUNDING)
    low[1:] = np.where(pieces.line[1:] == pieces.line[:-1], np.maximum(low[1:], high[:-1] + 1), low[1:])
    number = np.maximum(high - low + 1, 0).astype(np.int64)
    piece = np.repeat(np.arange(len(number)), number)
    k = np.arange(len(piece)) - np.repeat(np.cumsum(number) - number, number)
    return origin[piece] + (low[piece] + k) * step, piece


def free_points(pieces: Intervals, step: float) -> tuple[Floats, Ints]:
    """Set as many points along each line as keep the step, every line for itself.

    Each piece is filled from where it begins, or a step after the last point of the piece before it on its line; what
    is left over at a line's last piece is shared to both its ends.

    Parameters
    ----------
    pieces : Intervals
        What is left of the lines.
    step : float
        Least distance along a line.

    Returns
    -------
    u, piece : (m,) ndarrays
        As from :func:`points`.

    Examples
    --------
    >>> two = Intervals(np.array([0, 0]), np.array([0.0, 2.5]), np.array([2.0, 5.0]))
    >>> free_points(two, 1.0)[0]
    array([0., 1., 2., 3., 4., 5.])
    """
    start, number = _greedy(pieces, step)
    spare = pieces.hi - start - (number - 1) * step
    last_of_line = np.ones(len(pieces.line), bool)
    last_of_line[:-1] = pieces.line[1:] != pieces.line[:-1]
    start = np.where(last_of_line & (number > 0), start + np.maximum(spare, 0.0) / 2, start)
    piece = np.repeat(np.arange(len(number)), number)
    k = np.arange(len(piece)) - np.repeat(np.cumsum(number) - number, number)
    return start[piece] + k * step, piece


def _greedy(pieces: Intervals, step: float) -> tuple[Floats, Ints]:
    """Return where the first point of every piece stands and how many follow on it."""
    size = len(pieces.line)
    start, number = np.zeros(size), np.zeros(size, np.int64)
    if not size:
        return start, number
    first = np.flatnonzero(np.append(True, pieces.line[1:] != pieces.line[:-1]))
    per_line = np.diff(np.append(first, size))
    last = np.full(len(first), -np.inf)
    for k in range(int(per_line.max())):
        has = per_line > k
        at = first[has] + k
        begin = np.maximum(pieces.lo[at], last[has] + step)
        fit = np.where(begin <= pieces.hi[at], np.floor((pieces.hi[at] - begin) / step) + 1, 0).astype(np.int64)
        start[at], number[at] = begin, fit
        last[has] = np.where(fit > 0, begin + (fit - 1) * step, last[has])
    return start, number


@dataclass(frozen=True, slots=True)
class Layout:
    """One placed lattice: which way its lines run, where its line 0 is, its phase, and how many points fit."""

    bearing: float
    first: float
    phase: float
    count: int
    lines: int


def count_layouts(lattice: Lattice, turned: Cutters, firsts: Floats, bearing: float) -> list[Layout]:
    """Count what fits for several places of the lines at once, each in its best phase.

    Parameters
    ----------
    lattice : Lattice
        The set-out.
    turned : Cutters
        In the lines' own coordinates.
    firsts : (k,) ndarray
        Where line 0 is tried.
    bearing : float
        Carried into the result.

    Returns
    -------
    list of Layout
        One for every place tried.
    """
    low, high = span_v(turned)
    v, number, group = [], [], []
    for g, first in enumerate(firsts):
        lines, numbers = lattice.lines(first, low, high)
        v.append(lines)
        number.append(numbers)
        group.append(np.full(len(lines), g))
    all_v, all_number, all_group = np.concatenate(v), np.concatenate(number), np.concatenate(group)
    order = np.argsort(all_v, kind="stable")
    all_number, all_group = all_number[order], all_group[order]
    pieces = cut(all_v[order], turned)
    owner = all_group[pieces.line]
    if lattice.free:
        _, fit = _greedy(pieces, lattice.step)
        count, phase = np.bincount(owner, fit, len(firsts)).astype(np.int64), np.zeros(len(firsts))
        used = fit > 0
    else:
        base = lattice.shifts(all_number[pieces.line])
        count, phase = best_phase(pieces, base, lattice.step, owner, len(firsts))
        used = pieces.hi - pieces.lo >= lattice.step
    new_line = np.append(True, pieces.line[1:] != pieces.line[:-1])
    lines_used = np.bincount(owner[used & new_line], minlength=len(firsts))
    return [Layout(bearing, float(firsts[g]), float(phase[g]), int(count[g]), int(lines_used[g])) for g in range(len(firsts))]


def place(lattice: Lattice, turned: Cutters, layout: Layout) -> tuple[Placed, Intervals]:
    """Set the points of one layout.

    Parameters
    ----------
    lattice : Lattice
        The set-out.
    turned : Cutters
        In the lines' own coordinates.
    layout : Layout
        Where it lies.

    Returns
    -------
    Placed
        The points, by line and along it.
    Intervals
        The pieces of line that they stand on; ``line`` indexes the lines by v, ascending.
    """
    v, number = lattice.lines(layout.first, *span_v(turned))
    pieces = cut(v, turned)
    if lattice.free:
        u, piece = free_points(pieces, lattice.step)
    else:
        base = lattice.shifts(number[pieces.line])
        u, piece = points(pieces, base, layout.phase, lattice.step)
    line = pieces.line[piece]
    return Placed(u, v[line], number[line], piece), pieces


def span_v(turned: Cutters) -> tuple[float, float]:
    """Return the least and greatest v of the ground.

    Parameters
    ----------
    turned : Cutters
        In the lines' own coordinates.

    Returns
    -------
    float, float
        Low and high; equal where there is no ground.
    """
    if not len(turned.ground):
        return 0.0, 0.0
    v = turned.ground[:, [1, 3]]
    return float(v.min()), float(v.max())
