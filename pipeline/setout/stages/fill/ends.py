"""Ends of trellis rows: which vines make a stretch, and whether its posts and anchors have their ground."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from setout.model import Bools, Floats, Ints, Trellis

Allowed = Callable[[Floats, Floats], Bools]
"""Tells for positions (x, y) [m in the frame] which of them may be planted."""
Along = Callable[[Floats, Ints], tuple[Floats, Floats]]
"""Takes lengths along rows [m], and for each a position of its row, and gives places in the frame [m]."""
LOOKED_AT_M = 0.5
"""How close the ground of end posts and anchors is looked at [m]."""
LONGER = 1.05
"""A distance in the row of more than so many usual ones is a gap."""


def ends_allowed(trellis: Trellis, u: Floats, row: Ints, along: Along, allowed: Allowed) -> Bools:
    """Tell which vines may stay so that every end post and anchor has ground that may be planted."""
    keep = np.ones(len(u), bool)
    room = trellis.end_m + trellis.anchor_m
    far = np.linspace(0.0, room, int(np.ceil(room / LOOKED_AT_M)) + 1)[1:]
    while keep.any():
        left = np.flatnonzero(keep)
        gone = []
        for ends, way in zip(stretches(trellis, u[left], row[left]), (-1.0, 1.0), strict=True):
            vine = left[ends]
            places = (u[vine][:, None] + way * far).ravel()
            good = allowed(*along(places, np.repeat(vine, len(far)))).reshape(len(vine), len(far)).all(axis=1)
            gone.append(vine[~good])
        if not any(len(vines) for vines in gone):
            break
        keep[np.concatenate(gone)] = False
    return keep


def stretches(trellis: Trellis, u: Floats, row: Ints) -> tuple[Ints, Ints]:
    """Return the first and the last position of every stretch: of each row, up to gaps that two row ends fit in.

    Ends take 10 ft each: vines 24 ft apart stand in two stretches, those 16 ft apart in one.

    >>> trellis = Trellis(24.0, 4.0, 6.0, 3)
    >>> first, last = stretches(trellis, np.array([0, 8, 24, 48, 56.0]), np.ones(5, int))
    >>> first.tolist(), last.tolist()
    ([0, 3], [2, 4])
    """
    step = np.diff(u)
    same = row[1:] == row[:-1]
    usual = float(np.median(step[same])) if same.any() else 0.0
    gap = max(2 * (trellis.end_m + trellis.anchor_m) - 1e-6, LONGER * usual)
    first = np.flatnonzero(np.append(True, ~same | (step > gap)))
    return first, np.append(first[1:], len(u)) - 1
