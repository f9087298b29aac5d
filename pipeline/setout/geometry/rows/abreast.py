"""Points along many curved lines at once, as :mod:`setout.geometry.lines.curves` sets them along one.

All lines are walked abreast, a step at a time. Where a line keeps its heading within a right angle, the distance from a
point on it grows all along it, so that the next point is where the distance is one step: sought from the place one step
further along, it is met by going on by what is missing, again and again.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from setout.geometry.lines.curves import ROUNDING, UNEVEN, Spots, Stretch, set_along

if TYPE_CHECKING:
    from scipy.spatial import cKDTree

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MET = 1e-10
"""How near to a step the distance of two neighbours is brought [m]."""
MOST_TRIES = 80
"""So many times a place is bettered at most."""
Walked = tuple[Ints, Floats]
"""Numbers of stretches, and places on them."""


class _Strands:
    """Stretches end to end: places on all of them on one scale."""

    def __init__(self, stretches: Sequence[Stretch]) -> None:
        paths = {id(part.path): part.path for part in stretches}
        lengths = np.array([path.length for path in paths.values()])
        start = dict(zip(paths, np.cumsum(lengths + 1.0) - lengths, strict=True))
        self._s = np.concatenate([np.asarray(path.s) + start[key] for key, path in paths.items()])
        self._x = np.concatenate([path.x for path in paths.values()])
        self._y = np.concatenate([path.y for path in paths.values()])
        self.start = np.array([start[id(part.path)] for part in stretches])
        self.low = self.start + np.array([part.low for part in stretches])
        self.high = self.start + np.array([part.high for part in stretches])
        self._end = self.start + np.array([part.path.length for part in stretches])

    def at(self, s: Floats) -> tuple[Floats, Floats]:
        """Return x and y of places."""
        k = np.clip(np.searchsorted(self._s, s, "right") - 1, 0, len(self._s) - 2)
        t = (s - self._s[k]) / (self._s[k + 1] - self._s[k])
        return self._x[k] + t * (self._x[k + 1] - self._x[k]), self._y[k] + t * (self._y[k + 1] - self._y[k])

    def next(self, which: Ints, s: Floats, step: float) -> Floats:
        """Return the places one step, in a straight line, on from others; beyond a path's end it goes on straight."""
        end = self._end[which]
        x, y = self.at(s)
        out = s + step
        for _ in range(MOST_TRIES):
            inner = np.minimum(out, end)
            qx, qy = self.at(inner)
            short = step - np.hypot(qx - x, qy - y) - (out - inner)
            if (np.abs(short) < MET).all():
                break
            out = out + short
        return out

    def walked(self, which: Ints, first: Floats, step: float) -> Walked:
        """Walk some stretches from places on them to their ends."""
        numbers, places = [np.empty(0, np.int64)], [np.empty(0)]
        s = first
        while True:
            on = s <= self.high[which] + ROUNDING
            which, s = which[on], s[on]
            if not len(which):
                break
            numbers.append(which)
            places.append(s)
            s = self.next(which, s, step)
        number, place = np.concatenate(numbers), np.concatenate(places)
        order = np.lexsort((place, number))
        return number[order], place[order]


def _middled(strands: _Strands, size: int, step: float) -> Walked:
    """Walk all stretches, and move the points to their middles as long as none is lost."""
    best = strands.walked(np.arange(size), strands.low, step)
    todo = np.arange(size)
    for _ in range(2):
        count = np.bincount(best[0], minlength=size)
        last = np.cumsum(count) - 1
        first = last - count + 1
        slack = (strands.high - best[1][last]) - (best[1][first] - strands.low)
        todo = todo[np.abs(slack[todo]) >= UNEVEN]
        moved = strands.walked(todo, best[1][first[todo]] + slack[todo] / 2, step)
        todo = todo[np.bincount(moved[0], minlength=size)[todo] >= count[todo]]
        if not len(todo):
            break
        better = np.zeros(size, bool)
        better[todo] = True
        parts = [(number[own], place[own]) for (number, place), own in ((best, ~better[best[0]]), (moved, better[moved[0]]))]
        number, place = (np.concatenate([a, b]) for a, b in zip(*parts, strict=True))
        order = np.lexsort((place, number))
        best = number[order], place[order]
    return best


def set_abreast(stretches: Sequence[Stretch], step: float, spots: Spots) -> list[Floats]:
    """Set points along many stretches, those of each in its middle, all of them apart.

    Parameters
    ----------
    stretches : Sequence of Stretch
        Where points may be, in the order in which they take their room; none less than nothing long.
    step : float
        Straight distance between neighbours [m].
    spots : Spots
        The distance that all points keep; none yet, and where all go together the new ones are not taken up.

    Returns
    -------
    list of (n, 3) ndarray
        For every stretch: length along the path, x and y [m], in walking order.

    Examples
    --------
    >>> from setout.geometry.lines.curves import path_of
    >>> paths = [path_of(np.array([[0, y], [20, y]])) for y in (0.0, 9.0)]
    >>> placed = set_abreast([Stretch(path, 0.0, 20.0) for path in paths], 6.0, Spots(6.0))
    >>> [own[:, 1].round(6).tolist() for own in placed]
    [[1.0, 7.0, 13.0, 19.0], [1.0, 7.0, 13.0, 19.0]]
    """
    from scipy.spatial import cKDTree

    steady = np.array([_steady(part) for part in stretches], bool)
    own = np.flatnonzero(steady)
    if not len(own):
        return _in_turn(stretches, step, spots, {})
    strands = _Strands([stretches[k] for k in own.tolist()])
    number, place = _middled(strands, len(own), step)
    placed = np.column_stack([place - strands.start[number], *strands.at(place)])
    ends = np.cumsum(np.bincount(number, minlength=len(own)))[:-1]
    free = dict(zip(own.tolist(), np.split(placed, ends), strict=True))
    tree = cKDTree(placed[:, 1:])
    close = tree.query_pairs(spots.distance - 1e-6, output_type="ndarray")
    taken = set(own[number[close].max(axis=1)].tolist())
    if len(own) == len(stretches) and not taken:
        return list(free.values())
    return _in_turn(stretches, step, spots, free, (taken, tree, own[number]))


def _in_turn(
    stretches: Sequence[Stretch], step: float, spots: Spots, free: dict[int, Floats], others: tuple[set[int], cKDTree, Ints] | None = None
) -> list[Floats]:
    """Set points along one stretch after the other, where they are not set already or others have come too near since."""
    out = []
    for k, part in enumerate(stretches):
        if k in free and (others is None or k not in others[0]):
            own = free[k]
        else:
            own = np.array(set_along(part, step, spots), float).reshape(-1, 3)
            if others is not None and len(own):
                beside = others[1].query_ball_point(own[:, 1:], spots.distance - 1e-6)
                others[0].update(others[2][[j for near in beside for j in near]].tolist())
        for _, px, py in own.tolist():
            spots.add(px, py)
        out.append(own)
    return out


def _steady(part: Stretch) -> bool:
    """Tell whether a stretch keeps its heading within a right angle; one that closes does not."""
    return not part.path.closed and part.path.onward(part.low, part.high)
