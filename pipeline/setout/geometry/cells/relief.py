"""Slope, aspect and hillshade from heights: array in, array out.

The gradient is Horn's (Proc. IEEE 69 (1981) 14-47), weights 1 2 1 over three rows and three columns::

    a b c      dz/dx = ((c + 2f + i) - (a + 2d + g)) / (8 dx)      x towards higher columns
    d e f      dz/dy = ((g + 2h + i) - (a + 2b + c)) / (8 dy)      y towards higher rows
    g h i

Heights are subtracted from each other before anything is added up, which float32 does exactly for neighbours (their
ratio is below 2), so slopes at 4000 m are as good as at sea level. The order of the operations is fixed: a cell gives
the same bits wherever a window is cut.

At the edge of a raster a missing row or column is extrapolated from the two next to it, at its corners repeated
sideways; any other missing neighbour takes the centre's height, and a missing centre stays missing. These are the
rules of ``gdaldem -compute_edges``.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Heights = NDArray[np.float32]
Grades = NDArray[np.floating]


class Work:
    """Memory for :func:`differences`, to be used again: fetching it anew costs more than the arithmetic."""

    def __init__(self, rows: int, cols: int) -> None:
        self._parts = [
            np.empty((rows + more_rows, cols + more_cols), np.float32)
            for more_rows, more_cols in ((2, 0), (1, 0), (0, 0), (0, 2), (0, 1), (0, 0))
        ]

    def views(self, rows: int) -> list[Heights]:
        """Return the memory for so many rows."""
        less = len(self._parts[2]) - rows
        return [part[: len(part) - less] for part in self._parts]


def differences(z: Heights, work: Work | None = None) -> tuple[Heights, Heights]:
    """Return Horn's weighted height differences over two cells, times 4.

    Parameters
    ----------
    z : (rows + 2, cols + 2, ...) ndarray of float32
        Heights with a border of one cell; a last axis may hold many 3 by 3 neighbourhoods.
    work : Work, optional
        Memory to work in; what is returned lies in it.

    Returns
    -------
    along_columns, along_rows : (rows, cols, ...) ndarray of float32
        8 times the difference per cell, towards higher columns and towards higher rows; NaN where any of the eight
        neighbours is missing.

    Examples
    --------
    >>> z = np.add.outer(0.5 * np.arange(3), 2.0 * np.arange(3)).astype(np.float32)
    >>> [float(part[0, 0]) for part in differences(z)]
    [16.0, 4.0]
    """
    part, pair, across, part_down, pair_down, down = [None] * 6 if work is None else work.views(len(z) - 2)
    part = np.subtract(z[:, 2:], z[:, :-2], out=part)
    pair = np.add(part[:-1], part[1:], out=pair)
    across = np.add(pair[:-1], pair[1:], out=across)
    part_down = np.subtract(z[2:], z[:-2], out=part_down)
    pair_down = np.add(part_down[:, :-1], part_down[:, 1:], out=pair_down)
    down = np.add(pair_down[:, :-1], pair_down[:, 1:], out=down)
    return across, down


def neighbourhoods(
    z: Heights, row: NDArray[np.intp], col: NDArray[np.intp], sides: tuple[bool, bool, bool, bool] = (False, False, False, False)
) -> Heights:
    """Gather the 3 by 3 neighbourhoods of some cells, missing neighbours filled in.

    Parameters
    ----------
    z : (rows + 2, cols + 2) ndarray of float32
        Heights with a border of one cell, NaN where there is none.
    row, col : (n,) ndarray of int
        The cells, counted without the border.
    sides : tuple of bool
        Whether the border lies beyond the raster: above, below, left, right.

    Returns
    -------
    (3, 3, n) ndarray of float32
        Heights, whole except where the centre is missing.

    Examples
    --------
    >>> z = np.pad(np.array([[1, 2], [4, 8]], np.float32), 1, constant_values=np.nan)
    >>> neighbourhoods(z, np.array([0]), np.array([0]), (True, True, True, True))[:, :, 0].tolist()
    [[-2.0, -2.0, -4.0], [1.0, 1.0, 2.0], [4.0, 4.0, 8.0]]
    """
    width = z.shape[1]
    first = row * width + col
    cells = z.ravel()
    w = np.stack([cells.take(first + (i * width + j)) for i in range(3) for j in range(3)]).reshape(3, 3, -1)
    rows, cols = z.shape[0] - 2, z.shape[1] - 2
    if any(sides):
        _extrapolate(w, sides[0] & (row == 0), sides[1] & (row == rows - 1), sides[2] & (col == 0), sides[3] & (col == cols - 1))
    gaps = np.isnan(w)
    if not gaps.any():
        return w
    whole: Heights = np.where(gaps, w[1, 1], w)
    return whole


def _extrapolate(w: Heights, *at: NDArray[np.bool_]) -> None:
    """Fill in what lies beyond the raster above, below, left and right."""
    above, below, left, right = at
    corner = above | below
    for edge, outer, inner in ((left, 0, 2), (right, 2, 0)):
        w[:, outer, edge] = np.where(corner[edge], w[:, 1, edge], 2 * w[:, 1, edge] - w[:, inner, edge])
    for edge, outer, inner in ((above, 0, 2), (below, 2, 0)):
        w[outer][:, edge] = 2 * w[1][:, edge] - w[inner][:, edge]


def slope(dzdx: Grades, dzdy: Grades) -> Grades:
    """Return the slope, rise over run, of gradients along two perpendicular axes.

    >>> round(float(slope(np.float64(0.10), np.float64(0.05))), 5)
    0.1118
    """
    steepness: Grades = np.sqrt(dzdx * dzdx + dzdy * dzdy)
    return steepness


def aspect(dzdx: Grades, dzdy: Grades) -> Grades:
    """Return the compass direction of steepest descent.

    Parameters
    ----------
    dzdx, dzdy : ndarray
        Rise over run towards east and towards south.

    Returns
    -------
    ndarray
        Direction [deg], clockwise from north, in [0, 360); NaN on level ground.

    Examples
    --------
    >>> round(float(aspect(np.float64(0.10), np.float64(0.05))), 3)
    296.565
    """
    direction = np.degrees(np.arctan2(-dzdx, dzdy)) % 360.0
    direction = np.where(direction == 360.0, 0.0, direction)
    return np.where((dzdx == 0) & (dzdy == 0), np.nan, direction)


def hillshade(dzdx: Grades, dzdy: Grades, azimuth: float = 315.0, altitude: float = 45.0) -> NDArray[np.uint8]:
    """Return how bright a distant light makes the ground.

    The light's share is the cosine between its direction and the ground's normal:
    (sin alt + cos alt (dz/dx . -sin az + dz/dy . cos az)) / sqrt(1 + dz/dx^2 + dz/dy^2), which is Horn's (1981).

    Parameters
    ----------
    dzdx, dzdy : ndarray
        Rise over run towards east and towards south.
    azimuth, altitude : float
        Where the light stands [deg]: clockwise from north, above the horizon.

    Returns
    -------
    ndarray of uint8
        1 (in its own shadow) to 255 (facing the light); 0 where the gradient is unknown.

    Examples
    --------
    >>> int(hillshade(np.float64(3.125), np.float64(-0.525)))
    154
    """
    az, alt = np.radians(azimuth), np.radians(altitude)
    east, south = np.float32(np.cos(alt) * -np.sin(az)), np.float32(np.cos(alt) * np.cos(az))
    light = (np.float32(np.sin(alt)) + dzdx * east + dzdy * south) / np.sqrt(1 + dzdx * dzdx + dzdy * dzdy)
    shade = 1.5 + 254.0 * np.maximum(light, 0)
    return np.where(np.isnan(shade), 0, shade).astype(np.uint8)
