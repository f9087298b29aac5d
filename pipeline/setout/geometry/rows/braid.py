r"""Points along several lines side by side, staggered: each line keeps its step, neighbouring lines stand in each other's gaps.

The lines are walked together. Of the next free places of all lines the one that lies least far along is taken first, so
that on a bend the inner line keeps the step and the outer one, which has more length, follows it::

    outer   o     o     o       o      o
    inner      o     o     o      o      o
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Sequence
from math import hypot

from setout.geometry.lines.curves import ROUNDING, UNEVEN, Spots, Stretch, leave

Place = tuple[int, float, float, float]
"""Number of the stretch, length along its path, x and y [m]."""
Along = Callable[[float, float], float]
"""Tells how far along the lines a point (x, y) lies [m]."""


class _Walker:
    """One line on its way."""

    def __init__(self, stretches: Sequence[Stretch], step: float, offset: float) -> None:
        self.stretches, self.step = stretches, step
        self.number, self.part = 0, 0
        self.s = stretches[0].low + offset if stretches else 0.0
        self.out: list[Place] = []

    def next_free(self, spots: Spots) -> Place | None:
        """Return the next place on this line that is free; None at its end."""
        while self.number < len(self.stretches):
            stretch = self.stretches[self.number]
            if self.s > stretch.high + ROUNDING:
                self._go_on()
                continue
            x, y, self.part = stretch.path.at(self.s, self.part)
            near = spots.near(x, y)
            if near is None:
                return self.number, self.s, x, y
            self.s, self.part = leave(stretch.path, self.s, self.part, near, spots.distance)
        return None

    def _go_on(self) -> None:
        """Go on to the next stretch, a step from the last point at least."""
        self.number, self.part = self.number + 1, 0
        if self.number == len(self.stretches):
            return
        stretch = self.stretches[self.number]
        self.s = stretch.low
        if self.out:
            _, _, x, y = self.out[-1]
            px, py, part = stretch.path.at(self.s)
            if hypot(px - x, py - y) < self.step:
                self.s, self.part = leave(stretch.path, self.s, part, (x, y), self.step)

    def take(self, place: Place) -> None:
        """Set a point and go a step on."""
        self.out.append(place)
        number, s, x, y = place
        self.s, self.part = leave(self.stretches[number].path, s, self.part, (x, y), self.step)


def braided(lines: Sequence[Sequence[Stretch]], step: float, spots: Spots, along: Along) -> list[list[Place]]:
    """Set points along lines side by side, in the middle of the lines where each is in one piece.

    Parameters
    ----------
    lines : Sequence of Sequence of Stretch
        What there is of each line, in order along it.
    step : float
        Straight distance between neighbours on a line [m].
    spots : Spots
        Points already set, and the distance that all points keep; the new ones are taken up.
    along : callable
        Orders places of different lines.

    Returns
    -------
    list of list of Place
        The points of every line, in order along it.

    Examples
    --------
    >>> from setout.geometry.lines.curves import path_of
    >>> import numpy as np
    >>> paths = [path_of(np.array([[0, y], [12, y]])) for y in (2.0, 0.0)]
    >>> lines = [[Stretch(path, 0.0, 12.0)] for path in paths]
    >>> [[round(x, 6) for _, _, x, _ in line] for line in braided(lines, 3.0, Spots(2.5), lambda x, y: x)]
    [[0.0, 3.0, 6.0, 9.0, 12.0], [1.5, 4.5, 7.5, 10.5]]
    """
    first = _walked_together(lines, step, spots, (along, 0.0))
    whole = all(len(line) == 1 and not line[0].path.closed for line in lines) and all(first)
    spare = min((line[0].high - out[-1][1] for line, out in zip(lines, first, strict=True)), default=0.0) if whole else 0
    if spare <= 2 * UNEVEN:
        return first
    _let_go(first, spots)
    moved = _walked_together(lines, step, spots, (along, spare / 2))
    if sum(map(len, moved)) >= sum(map(len, first)):
        return moved
    _let_go(moved, spots)
    return _walked_together(lines, step, spots, (along, 0.0))


def _let_go(points: Sequence[Sequence[Place]], spots: Spots) -> None:
    for line in points:
        for _, _, x, y in line:
            spots.drop(x, y)


def _walked_together(lines: Sequence[Sequence[Stretch]], step: float, spots: Spots, order: tuple[Along, float]) -> list[list[Place]]:
    """Walk all lines, each from so far beyond its beginning."""
    along, offset = order
    walkers = [_Walker(stretches, step, offset) for stretches in lines]
    queue: list[tuple[float, int, Place]] = []

    def enqueue(k: int) -> None:
        place = walkers[k].next_free(spots)
        if place is not None:
            heapq.heappush(queue, (round(along(place[2], place[3]), 6), k, place))

    for k in range(len(walkers)):
        enqueue(k)
    while queue:
        _, k, place = heapq.heappop(queue)
        if spots.near(place[2], place[3]) is None:
            walkers[k].take(place)
            spots.add(place[2], place[3])
        enqueue(k)
    for walker in walkers:
        _unclosed(walker, step, spots)
    return [walker.out for walker in walkers]


def _unclosed(walker: _Walker, step: float, spots: Spots) -> None:
    """Where a line is walked round and round, let go of last points that stand nearer than the step to the first."""
    closed = len(walker.stretches) == 1 and walker.stretches[0].path.closed
    while closed and len(walker.out) > 1:
        (_, _, ax, ay), (_, _, bx, by) = walker.out[0], walker.out[-1]
        if hypot(ax - bx, ay - by) >= step - 1e-6:
            break
        spots.drop(bx, by)
        walker.out.pop()
