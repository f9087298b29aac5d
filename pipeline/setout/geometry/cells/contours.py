"""Lines of equal height through a grid of heights."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

Heights = NDArray[np.float32]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MOST_LEVELS = 100
"""Levels beyond which an interval is doubled: no sheet shows more."""
MOST_CORNERS = 1_000_000
"""Corners of all lines beyond which an interval is doubled: what a map still draws."""
ABOVE = 1e-6
"""How far above its level a contour is drawn, so that level ground of exactly that height has none."""


def fitting_interval(z: Heights, choices: Sequence[float], most: int) -> float:
    """Return the smallest interval that gives no more than so many contours; wider ones where lines would be without end.

    A line has a corner where it passes from one cell to the next: there are as many as the climbs from cell to cell, all
    together, hold intervals. A single wild height or rough ground makes millions of them.

    Parameters
    ----------
    z : ndarray of float32
        Heights, NaN where there is none.
    choices : Sequence of float
        Intervals, rising.
    most : int
        Most contours.

    Returns
    -------
    float
        One of the choices, the last one where none fits, or that doubled until no more than :data:`MOST_LEVELS` levels
        and about :data:`MOST_CORNERS` corners are left.

    Examples
    --------
    >>> fitting_interval(np.array([[100, 130.0]]), (0.5, 1.0, 2.0, 5.0), 25)
    2.0
    >>> fitting_interval(np.array([[100, 1e6]]), (0.5, 1.0, 2.0, 5.0), 25)
    10240.0
    """
    span = float(np.nanmax(z)) - float(np.nanmin(z))
    climbs = sum(float(np.nansum(np.abs(np.diff(z, axis=axis)), dtype=float)) for axis in (0, 1))
    interval = next((one for one in choices if span / one <= most), choices[-1])
    while span / interval > MOST_LEVELS or climbs / interval > MOST_CORNERS:
        interval *= 2
    return interval


def lines(z: Heights, interval: float, *, beyond: bool = False) -> Iterator[tuple[float, Floats, Floats, Ints]]:
    """Draw contours through the middles of cells.

    Parameters
    ----------
    z : (rows, cols) ndarray of float32
        Heights, NaN where there is none; no line passes there.
    interval : float
        From one level to the next; levels are whole multiples of it.
    beyond : bool
        Go on for up to two cells beyond the grid, as the ground came.

    Yields
    ------
    level : float
        Levels that have lines, from the lowest up.
    col, row : (n,) ndarray
        Vertices in cell coordinates, line after line.
    ends : ndarray of int
        Where lines begin, and n.

    Examples
    --------
    >>> z = np.add.outer(np.zeros(3), [0.0, 1.0, 2.0]).astype(np.float32)
    >>> [(level, col.round(2).tolist(), ends.tolist()) for level, col, row, ends in lines(z, 1.0)]
    [(0.0, [0.5, 0.5, 0.5], [0, 3]), (1.0, [1.5, 1.5, 1.5], [0, 3])]
    """
    from contourpy import contour_generator

    first = 0
    if beyond and min(z.shape) > 2:
        z, first = np.pad(z, (1, 2), mode="reflect", reflect_type="odd"), -1
    if min(z.shape) < 2 or not np.isfinite(z).any():
        return
    low, high = float(np.nanmin(z)), float(np.nanmax(z))
    generator = contour_generator(z=np.ma.masked_invalid(z.astype(float)), name="serial", line_type="Separate")
    for level in np.arange(np.ceil(low / interval), np.floor(high / interval) + 1) * interval:
        found: list[Floats] = generator.lines(float(level) + ABOVE)  # type: ignore[assignment]  # what lines are depends on the generator's line type
        found = [line for line in found if len(line) > 1]
        if found:
            points = np.concatenate(found) + (0.5 + first)
            yield float(level), points[:, 0], points[:, 1], np.cumsum([0, *map(len, found)])
