"""Shift and turn of one set of points against another, and how to estimate both when some pairs are wrong.

A rigid motion in the plane, without scale: least squares has a closed form (the two-dimensional case of Kabsch, "A
solution for the best rotation to relate two sets of vectors", Acta Cryst. A32, 1976). Wrong pairs are met by weights
that fall with the residual (Cauchy's, in Huber, "Robust Statistics", 1981).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
ROUNDS = 60
FAR = 3.0
"""Standard deviations of one coordinate beyond which a pair counts for less (1 in 90 is farther in a normal scatter)."""


@dataclass(frozen=True, slots=True)
class Rigid:
    """A turn about a point, then a shift.

    Attributes
    ----------
    about_x, about_y : the point turned about [m]
    shift_x, shift_y : where that point goes [m]
    turn_deg : clockwise, as bearings go [deg]
    """

    about_x: float
    about_y: float
    shift_x: float = 0.0
    shift_y: float = 0.0
    turn_deg: float = 0.0

    def __call__(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Return points moved.

        >>> x, y = Rigid(0.0, 0.0, 1.0, 0.0, 90.0)(np.array([0.0]), np.array([2.0]))
        >>> (x + 0.0).round(9).tolist(), (y + 0.0).round(9).tolist()
        ([3.0], [0.0])
        """
        a = math.radians(self.turn_deg)
        c, s, dx, dy = math.cos(a), math.sin(a), x - self.about_x, y - self.about_y
        return self.about_x + self.shift_x + c * dx + s * dy, self.about_y + self.shift_y - s * dx + c * dy

    def back(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Return points moved back.

        >>> x, y = Rigid(5.0, 5.0, 1.0, 2.0, 30.0).back(*Rigid(5.0, 5.0, 1.0, 2.0, 30.0)(np.array([7.0]), np.array([1.0])))
        >>> round(float(x[0]), 9), round(float(y[0]), 9)
        (7.0, 1.0)
        """
        a = math.radians(self.turn_deg)
        c, s = math.cos(a), math.sin(a)
        dx, dy = x - self.about_x - self.shift_x, y - self.about_y - self.shift_y
        return self.about_x + c * dx - s * dy, self.about_y + s * dx + c * dy

    def moved(self, x: float, y: float) -> Rigid:
        """Return the same motion, told as a turn about another point."""
        to_x, to_y = self(np.array([x]), np.array([y]))
        return Rigid(x, y, float(to_x[0]) - x, float(to_y[0]) - y, self.turn_deg)

    @property
    def pivot(self) -> tuple[float, float] | None:
        """Return the one point that stays where it is; None for a mere shift.

        >>> Rigid(0.0, 0.0, 1.0, 1.0, 90.0).pivot
        (1.0, 0.0)
        """
        a = math.radians(self.turn_deg)
        c, s = math.cos(a), math.sin(a)
        det = 2 - 2 * c
        if det < 1e-14:
            return None
        # (I - R) d = shift
        dx = ((1 - c) * self.shift_x + s * self.shift_y) / det
        dy = (-s * self.shift_x + (1 - c) * self.shift_y) / det
        return round(self.about_x + dx, 6) + 0.0, round(self.about_y + dy, 6) + 0.0


def fit(x: Floats, y: Floats, to_x: Floats, to_y: Floats, weight: Floats | None = None) -> Rigid:
    """Return the rigid motion that takes points nearest to their partners, by weighted least squares.

    Parameters
    ----------
    x, y : (n,) ndarrays
        Points [m].
    to_x, to_y : (n,) ndarrays
        Their partners [m].
    weight : (n,) ndarray, optional
        Weights; all alike when absent.

    Returns
    -------
    Rigid
        About the points' middle.

    Examples
    --------
    >>> x, y = np.array([0.0, 10.0, 10.0, 0.0]), np.array([0.0, 0.0, 10.0, 10.0])
    >>> found = fit(x, y, *Rigid(5.0, 5.0, 0.3, -0.2, 1.5)(x, y))
    >>> round(found.turn_deg, 9), round(found.shift_x, 9), round(found.shift_y, 9)
    (1.5, 0.3, -0.2)
    """
    w = np.ones(len(x)) if weight is None else weight
    total = float(w.sum())
    cx, cy, tx, ty = (float((w * v).sum() / total) for v in (x, y, to_x, to_y))
    dx, dy, ex, ey = x - cx, y - cy, to_x - tx, to_y - ty
    along, across = float((w * (dx * ex + dy * ey)).sum()), float((w * (dy * ex - dx * ey)).sum())
    turn = math.degrees(math.atan2(across, along)) if along or across else 0.0
    return Rigid(cx, cy, tx - cx, ty - cy, turn)


def robust_fit(x: Floats, y: Floats, to_x: Floats, to_y: Floats) -> tuple[Rigid, float]:
    """Return the rigid motion that most pairs agree on, and the scatter of one coordinate about it.

    Parameters
    ----------
    x, y, to_x, to_y : (n,) ndarrays
        Points and their partners [m]; up to nearly half of the pairs may be wrong.

    Returns
    -------
    Rigid
        The motion.
    float
        Standard deviation of one coordinate [m], from the median residual (1.1774 of it in a normal scatter, Rayleigh).

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> x, y = rng.uniform(0, 100, (2, 200))
    >>> to_x, to_y = Rigid(50.0, 50.0, 3.0, 1.0, 0.5)(x, y)
    >>> to_x[:60] += 40.0
    >>> round(robust_fit(x, y, to_x, to_y)[0].turn_deg, 6)
    0.5
    """
    start_x, start_y = float(np.median(to_x - x)), float(np.median(to_y - y))
    found = Rigid(float(np.mean(x)), float(np.mean(y)), start_x, start_y)
    spread = 0.0
    for _ in range(ROUNDS):
        mx, my = found(x, y)
        away = np.hypot(to_x - mx, to_y - my)
        spread = max(float(np.median(away)) / 1.1774, 1e-9)
        after = fit(x, y, to_x, to_y, 1 / (1 + (away / (2.0 * spread)) ** 2))
        old, new = (motion.moved(found.about_x, found.about_y) for motion in (found, after))
        change = abs(new.turn_deg - old.turn_deg) + abs(new.shift_x - old.shift_x) + abs(new.shift_y - old.shift_y)
        found = after
        if change < 1e-10:
            break
    return _settled(found, (x, y), (to_x, to_y), spread)


def _settled(found: Rigid, points: tuple[Floats, Floats], to: tuple[Floats, Floats], spread: float) -> tuple[Rigid, float]:
    """Weigh all but the far pairs alike (Huber's weights): nearly as exact as least squares where none is wrong."""
    for _ in range(ROUNDS // 3):
        mx, my = found(*points)
        away = np.hypot(to[0] - mx, to[1] - my)
        found = fit(*points, *to, np.minimum(1.0, FAR * spread / np.maximum(away, 1e-12)))
    mx, my = found(*points)
    return found, max(float(np.median(np.hypot(to[0] - mx, to[1] - my))) / 1.1774, 1e-9)
