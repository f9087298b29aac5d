r"""The next line beside a line on a surface: as near as it may be, and nowhere rising or falling too much.

From every place of a line the next one may lie between a least and a greatest gap away, square to the line. At the least
gap it would have the heights h(s); the nearest line whose height changes by no more than a rate g along it has the
heights of the upper envelope H(s) = max over t of h(t) - g |s - t| (on the lower side, mirrored)::

    height                .-'''-.        H: what the next line keeps to
                       .-'  /\   '-.
        _____________.'    /  \     '.____ h: height at the least gap
                 _________/    \_______

Where even the greatest gap does not reach H, the line is left to break there, and what lies beyond no longer bears on it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from setout.geometry.lines.levellines import Surface, fair
from setout.geometry.lines.measured import Base

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

WIDTHS = 6
"""Gaps at which heights are looked up between the least and the greatest."""
TRUE_SHARE = 0.93
"""A place nearer to the line before than this share of its gap lies on the inside of a bend and is left out."""
OVER = 1e-4
"""By how much more than the least gap places are set apart that would be nearer [m]."""


@dataclass(frozen=True, slots=True)
class Rule:
    """What the next line keeps to.

    Attributes
    ----------
    least, greatest : gap to the line before [m]
    rates : least and greatest change of height along the line, rise over run
    spacing : distance of its vertices [m]
    box : where it is wanted: least x, least y, greatest x, greatest y [m]
    """

    least: float
    greatest: float
    rates: tuple[float, float]
    spacing: float
    box: tuple[float, float, float, float]


def next_line(ground: Surface, line: Floats, side: int, counts: Bools, rule: Rule) -> Floats | None:
    """Lay the next line beside a line.

    Parameters
    ----------
    ground : Surface
        Heights, rising to the left of the line.
    line : (n, 2) ndarray
        Vertices about a spacing apart [m]; closed where the last is the first.
    side : int
        1 for the left, -1 for the right.
    counts : (n,) ndarray of bool
        Vertices beside which heights matter.
    rule : Rule
        Gaps, change of height along the line, spacing, box.

    Returns
    -------
    (m, 2) ndarray or None
        Vertices; None where nothing is left of it.

    Examples
    --------
    >>> from setout.geometry.lines.levellines import surface
    >>> fan = surface(lambda x, y: (0.1 + 0.001 * x) * y, (-20, -20, 120, 60), 2.0, 2.0)
    >>> line = np.column_stack([np.arange(0, 101, 2.0), np.zeros(51)])
    >>> rule = Rule(5.0, 10.0, (-0.002, 0.002), 2.0, (0, -10, 100, 50))
    >>> beside = next_line(fan, line, 1, np.ones(51, bool), rule)
    >>> gap = np.interp([0, 50, 100], beside[:, 0], beside[:, 1])
    >>> bool(gap[0] > gap[1] > gap[2] >= 5.0)
    True
    """
    closed = _closed(line)
    spine = line[:-1] if closed else line
    counts = counts[: len(spine)]
    out = spine + _gaps(ground, spine, side, counts, rule, closed)[:, None] * (_normals(spine, closed) * side)
    base = Base(line)
    distance, _ = base.signed(out)
    wanted = np.hypot(*(out - spine).T)
    out = _forward(out[distance * side >= TRUE_SHARE * wanted], spine, closed)
    if len(out) < 3:
        return None
    out = np.vstack([out, out[:1]]) if closed else out
    out = _even(fair(_even(out, rule.spacing), rule.spacing, rule.spacing), rule.spacing)
    if len(out) < 3 or (closed and _length(out) < 6 * rule.least):
        return None
    return _pushed(out if closed else _across(out, rule), base, rule, closed)


def _closed(line: Floats) -> bool:
    return len(line) > 3 and bool(np.hypot(*(line[0] - line[-1])) < 1e-6)


def _length(line: Floats) -> float:
    return float(np.hypot(*np.diff(line, axis=0).T).sum())


def _normals(spine: Floats, closed: bool) -> Floats:  # noqa: FBT001 - of this module alone
    """Return unit normals to the left."""
    ends = np.vstack([spine[-1:], spine, spine[:1]]) if closed else spine
    way = np.gradient(ends, axis=0)[1:-1] if closed else np.gradient(spine, axis=0)
    way = way / np.maximum(np.hypot(*way.T), 1e-12)[:, None]
    return np.column_stack([-way[:, 1], way[:, 0]])


def _gaps(ground: Surface, spine: Floats, side: int, counts: Bools, rule: Rule, closed: bool) -> Floats:  # noqa: FBT001 - of this module alone
    """Return the gap at every vertex [m]."""
    from scipy import ndimage

    if rule.greatest - rule.least < 1e-6 or not counts.any():
        return np.full(len(spine), rule.least)
    widths = np.linspace(rule.least, rule.greatest, WIDTHS)
    normal = _normals(spine, closed) * side
    places = spine[:, None, :] + widths[None, :, None] * normal[:, None, :]
    height = ground.heights(places[..., 0], places[..., 1]) * side  # grows away from the line on both sides
    reached = np.maximum.accumulate(height, axis=1)
    s = np.append(0.0, np.cumsum(np.hypot(*np.diff(places[:, 0], axis=0).T)))
    low, high = rule.rates if side > 0 else (-rule.rates[1], -rule.rates[0])
    broken = np.zeros(len(spine), bool)
    wanted = height[:, 0]
    for _ in range(4):
        wanted = _envelope(np.where(counts, height[:, 0], -np.inf), s, (low, high), broken, closed)
        over = counts & ~broken & (wanted > reached[:, -1] + 1e-9)
        if not over.any():
            break
        broken |= over
    gap = np.full(len(spine), rule.least)
    below = np.clip((reached < wanted[:, None]).sum(axis=1), 1, WIDTHS - 1)
    row = np.arange(len(spine))
    low_z, high_z = reached[row, below - 1], reached[row, below]
    share = np.clip((wanted - low_z) / np.maximum(high_z - low_z, 1e-12), 0.0, 1.0)
    share = np.where(np.isfinite(wanted), share, 0.0)
    raised = wanted > height[:, 0]
    gap[raised] = (widths[below - 1] + share * (widths[1] - widths[0]))[raised]
    smooth = ndimage.gaussian_filter1d(gap, rule.least / rule.spacing, mode="wrap" if closed else "nearest")
    return np.asarray(np.clip(smooth, rule.least, rule.greatest), float)


def _envelope(height: Floats, s: Floats, rates: tuple[float, float], broken: Bools, closed: bool) -> Floats:  # noqa: FBT001 - of this module alone
    """Return the lowest heights, at least those given, that change by no less and no more than the rates; breaks part them.

    >>> flat = np.zeros(4, bool)
    >>> _envelope(np.array([0, 3, 0, 0.0]), np.arange(4.0), (-1.0, 2.0), flat, False).tolist()
    [1.0, 3.0, 2.0, 1.0]
    """
    if closed and not broken.any():
        total = s[-1] + (s[1] - s[0] if len(s) > 1 else 1.0)
        s, height = np.concatenate([s - total, s, s + total]), np.tile(height, 3)
        size = len(s) // 3
        return _envelope(height, s, rates, np.zeros(3 * size, bool), closed=False)[size : 2 * size]
    low, high = rates
    out = height.copy()
    edge = np.flatnonzero(np.diff(np.concatenate([[True], broken, [True]]).astype(np.int8)))
    for a, b in zip(edge[::2], edge[1::2], strict=True):
        h, t = height[a:b], s[a:b]
        onward = np.maximum.accumulate(h - low * t) + low * t
        out[a:b] = np.maximum(onward, np.maximum.accumulate((h - high * t)[::-1])[::-1] + high * t)
    return out


def _pushed(out: Floats, base: Base, rule: Rule, closed: bool) -> Floats:  # noqa: FBT001 - of this module alone
    """Move vertices away from the line before until neither they nor the middles between them are nearer than the least gap."""
    gap, look = rule.least + OVER, np.ones(len(out), bool)
    wanted = np.full(len(out), gap)
    for _ in range(3):
        vertex, part = np.flatnonzero(look), np.flatnonzero(look[1:] | look[:-1])
        both, nearest = base.apart(np.vstack([out[vertex], (out[part] + out[part + 1]) / 2]))
        distance, middle = both[: len(vertex)], both[len(vertex) :]
        short = np.zeros(len(out) + 1)
        short[part + 1] = np.maximum(gap - middle, 0.0)
        short[short < OVER] = 0.0
        more = np.maximum(short[1:], short[:-1])[vertex]
        wanted[vertex] = np.maximum(wanted[vertex], np.where(more > 0, distance + more, 0.0))
        near = distance < wanted[vertex] - 1e-9
        if not near.any():
            break
        moved = vertex[near]
        on = nearest[: len(vertex)][near]
        out[moved] = on + (out[moved] - on) * (wanted[moved] / np.maximum(distance[near], 1e-6))[:, None]
        if closed:
            out[-1] = out[0]
        look = np.zeros(len(out), bool)
        look[moved] = True
        look |= np.append(look[1:], False) | np.append(False, look[:-1])
    return out


def _forward(out: Floats, spine: Floats, closed: bool) -> Floats:  # noqa: FBT001 - of this module alone
    """Leave out vertices at which the line would turn back on itself."""
    for _ in range(6):
        if len(out) < 3:
            break
        leg = np.diff(np.vstack([out, out[:1]]) if closed else out, axis=0)
        before = np.roll(leg, 1, axis=0)
        back = np.einsum("ij,ij->i", leg, before) < 0
        if not closed:
            back[0] = False
        back = np.flatnonzero(back)
        if not len(back):
            break
        out = np.delete(out, back, axis=0)
    return out


def _even(line: Floats, spacing: float) -> Floats:
    """Set vertices evenly along a line."""
    leg = np.hypot(*np.diff(line, axis=0).T)
    keep = np.append(True, leg > 1e-9)
    line, leg = line[keep], leg[keep[1:]]
    if len(line) < 2:
        return line
    s = np.append(0.0, np.cumsum(leg))
    at = np.linspace(0.0, s[-1], max(int(np.ceil(s[-1] / spacing)), 3) + 1)
    return np.column_stack([np.interp(at, s, line[:, 0]), np.interp(at, s, line[:, 1])])


def _across(line: Floats, rule: Rule) -> Floats:
    """Prolong an open line straight to the box's edge, and leave out what lies far beyond."""
    low_x, low_y, high_x, high_y = rule.box
    x, y = line.T
    inside = np.flatnonzero((x >= low_x) & (x <= high_x) & (y >= low_y) & (y <= high_y))
    if len(inside):
        line = line[max(inside[0] - 1, 0) : inside[-1] + 2]
    return _prolonged(_prolonged(line, rule)[::-1], rule)[::-1]


def _prolonged(line: Floats, rule: Rule) -> Floats:
    """Prolong the far end of a line to the box's edge."""
    low_x, low_y, high_x, high_y = rule.box
    x, y = line[-1]
    if not (low_x < x < high_x and low_y < y < high_y):
        return line
    way = line[-1] - line[max(len(line) - 4, 0)]
    size = float(np.hypot(*way))
    if size < 1e-9:
        return line
    way = way / size
    with np.errstate(divide="ignore"):
        reach = float(
            min(
                ((high_x if way[0] > 0 else low_x) - x) / way[0] if way[0] else np.inf,
                ((high_y if way[1] > 0 else low_y) - y) / way[1] if way[1] else np.inf,
            )
        )
    more = np.arange(rule.spacing, reach + rule.spacing, rule.spacing)
    return np.vstack([line, line[-1] + more[:, None] * way])


def resampled(line: Floats, rule: Rule) -> Floats:
    """Return a line with vertices a spacing apart, prolonged to the box's edge where it is open.

    Parameters
    ----------
    line : (n, 2) ndarray
        Vertices [m].
    rule : Rule
        Spacing and box.

    Returns
    -------
    (m, 2) ndarray
        Vertices.

    Examples
    --------
    >>> resampled(np.array([[2, 1], [6, 1.0]]), Rule(1, 1, (0, 0), 2.0, (0, 0, 9, 9))).tolist()[0]
    [0.0, 1.0]
    """
    even = _even(np.asarray(line, float), rule.spacing)
    return even if _closed(even) else _across(even, rule)


def within(line: Floats, box: Sequence[float]) -> bool:
    """Tell whether any vertex of a line lies in a box.

    Parameters
    ----------
    line : (n, 2) ndarray
        Vertices [m].
    box : Sequence of float
        Least x, least y, greatest x, greatest y [m].

    Returns
    -------
    bool
        True if one does.

    Examples
    --------
    >>> within(np.array([[0, 0], [5, 5.0]]), (4, 4, 9, 9))
    True
    """
    x, y = line.T
    low_x, low_y, high_x, high_y = box
    return bool(((x >= low_x) & (x <= high_x) & (y >= low_y) & (y <= high_y)).any())
