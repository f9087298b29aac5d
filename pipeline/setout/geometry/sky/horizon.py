"""The terrain's horizon: how high the land stands round places, by whole arrays that are shifted against each other.

Heights lie on square grids aligned with the site's frame. Along an azimuth the grid is crossed cell by cell on its nearer
axis, and between two cells on the other, so that on a plane every step is exact. Near ground is looked at on fine cells,
far ground on cells twice as wide each time the distance doubles: each level looks from :data:`NEAR` to twice as many
cells away, the finest from the first cell on.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Places = NDArray[np.int64]

STEP_DEG: Final = 5.0
"""Azimuths that the horizon is looked up at lie this far apart."""
NEAR: Final = 48
"""Cells that every level leaves to the next finer one; it looks twice as far."""
HALVES: Final = 10
"""Cells up to which the finest level looks between them too."""
NOTHING: Final = np.float32(-1e9)
"""Height of ground that is not known: it is not in the way."""
MOST_PLACES: Final = 60_000
"""Places that the horizon is found at."""


@dataclass(frozen=True, slots=True)
class Lattice:
    """A grid of places in the frame: first place, distance of neighbours [m], and how many there are."""

    x0: float
    y0: float
    cell: float
    rows: int
    cols: int

    def places(self, margin: int = 0) -> tuple[Floats, Floats]:
        """Return x and y of all places [m], rows from south to north, with some cells more on every side."""
        x = self.x0 + self.cell * np.arange(-margin, self.cols + margin)
        y = self.y0 + self.cell * np.arange(-margin, self.rows + margin)
        return tuple(np.meshgrid(x, y))

    def weights(self, x: Floats, y: Floats) -> tuple[Places, Singles]:
        """Return the four places round each point, as (4, n) flat indices, and their shares."""
        u = np.clip((x - self.x0) / self.cell, 0.0, self.cols - 1.0)
        v = np.clip((y - self.y0) / self.cell, 0.0, self.rows - 1.0)
        col = np.minimum(u.astype(np.int64), self.cols - 2)
        row = np.minimum(v.astype(np.int64), self.rows - 2)
        first = row * self.cols + col
        up, along = v - row, u - col
        corners = np.array([first, first + 1, first + self.cols, first + self.cols + 1])
        shares = np.array([(1 - up) * (1 - along), (1 - up) * along, up * (1 - along), up * along], np.float32)
        return corners, shares


def _mixed(values: Singles, corners: Places, shares: Singles) -> Singles:
    """Return values between the four places round each point."""
    out: Singles = values[corners[0]] * shares[0]
    for corner, share in zip(corners[1:], shares[1:], strict=True):
        out += values[corner] * share
    return out


def lattice_over(box: tuple[float, float, float, float], cell: float) -> Lattice:
    """Return places over a box.

    Parameters
    ----------
    box : tuple of float
        West, south, east and north [m].
    cell : float
        Distance of neighbours [m].

    Returns
    -------
    Lattice
        At least two by two places, the box within them.

    Examples
    --------
    >>> lattice_over((0.0, 0.0, 95.0, 20.0), 10.0)
    Lattice(x0=0.0, y0=0.0, cell=10.0, rows=3, cols=11)
    """
    west, south, east, north = box
    cols, rows = (max(int(np.ceil(side / cell - 1e-9)), 1) + 1 for side in (east - west, north - south))
    return Lattice(west, south, cell, rows, cols)


@dataclass(frozen=True, slots=True)
class TerrainHorizon:
    """Tangents of the terrain's altitude at places of a lattice, (azimuths, rows, cols), azimuths from north by steps."""

    lattice: Lattice
    slope: Singles

    def __call__(self, x: Floats, y: Floats, azimuth_deg: Floats) -> Singles:
        """Return tangents at points in directions, interpolated, (azimuths, n)."""
        corners, shares = self.lattice.weights(x, y)
        at: Singles = np.array([_mixed(one, corners, shares) for one in self.slope.reshape(len(self.slope), -1)], np.float32)
        turn = np.asarray(azimuth_deg, float) % 360.0 * len(at) / 360.0
        first = turn.astype(np.int64)
        share = (turn - first).astype(np.float32)[:, None]
        out: Singles = at[first % len(at)] * (1 - share) + at[(first + 1) % len(at)] * share
        return out


def terrain_horizon(
    heights: Callable[[Floats, Floats, float], Singles],
    box: tuple[float, float, float, float],
    *,
    cell: float,
    farthest: float,
    eye_m: float = 0.0,
    step_deg: float = STEP_DEG,
) -> TerrainHorizon:
    """Find the terrain's horizon over a box.

    Parameters
    ----------
    heights : callable
        Takes x, y [m in the frame] and a cell's side [m]; gives heights [m] as means over about such a cell, NaN
        where there is none.
    box : tuple of float
        West, south, east and north [m].
    cell : float
        Side of the finest cells [m].
    farthest : float
        How far to look [m].
    eye_m : float
        Height of the eye over the ground [m].
    step_deg : float
        Distance of azimuths [deg]; goes into 360.

    Returns
    -------
    TerrainHorizon
        Tangents; 0 or more.
    """
    azimuths = np.arange(0.0, 360.0, step_deg)
    finest = lattice_over(box, cell)
    out = np.zeros((len(azimuths), finest.rows, finest.cols), np.float32)
    x, y = finest.places()
    side, first = cell, 1
    while first == 1 or NEAR * side < farthest:
        last = int(min(2 * NEAR, np.ceil(farthest / side)))
        level = lattice_over(box, side)
        margin = last + 1
        z = heights(*level.places(margin), side)
        z = np.where(np.isnan(z), NOTHING, z).astype(np.float32)
        slopes = slopes_round(z, margin, side, azimuths, (first, last), eye_m)
        if side == cell:
            np.maximum(out, slopes, out=out)
        else:
            corners, shares = level.weights(x.ravel(), y.ravel())
            for k in range(len(azimuths)):
                between = _mixed(slopes[k].ravel(), corners, shares).reshape(x.shape)
                np.maximum(out[k], between, out=out[k])
        side, first = 2 * side, NEAR
    return TerrainHorizon(finest, out)


def slopes_round(z: Singles, margin: int, cell: float, azimuths: Sequence[float] | Floats, steps: tuple[int, int], eye_m: float) -> Singles:
    """Return the steepest slopes up from the inner part of a grid to the ground round each place.

    Parameters
    ----------
    z : (rows, cols) ndarray of float32
        Heights [m], rows from south to north.
    margin : int
        Cells on every side that are only looked at; at least the last step and one more.
    cell : float
        Side of the cells [m].
    azimuths : sequence of float
        Directions [deg].
    steps : tuple of int
        First and last cell to look at, along the nearer axis.
    eye_m : float
        Height of the eye over the ground [m].

    Returns
    -------
    (azimuths, rows - 2 margin, cols - 2 margin) ndarray
        Tangents; no less than 0.

    Examples
    --------
    A plane that rises 10 % to the east:

    >>> z = np.tile(np.arange(9, dtype=np.float32), (9, 1))
    >>> slopes_round(z, 4, 10.0, [90.0, 45.0, 0.0], (1, 3), 0.0).ravel().astype(float).round(4).tolist()
    [0.1, 0.0707, 0.0]
    """
    rows, cols = z.shape[0] - 2 * margin, z.shape[1] - 2 * margin
    own = z[margin : margin + rows, margin : margin + cols] + np.float32(eye_m)
    own = np.where(own < NOTHING / 2, np.float32(np.inf), own)
    out = np.zeros((len(azimuths), rows, cols), np.float32)
    for k, azimuth in enumerate(azimuths):
        east, north = np.sin(np.radians(azimuth)), np.cos(np.radians(azimuth))
        longer = max(abs(east), abs(north))
        for step in _steps(*steps, longer):
            there = _between(z, margin, (step * north / longer, step * east / longer), (rows, cols))
            there -= own
            there *= np.float32(longer / (step * cell))
            np.maximum(out[k], there, out=out[k])
    return out


def _steps(first: int, last: int, longer: float) -> list[float]:
    """Return the steps from first to last; on the finest level also between the nearest cells, from one cell's side on."""
    if first > 1:
        return [float(k) for k in range(first, last + 1)]
    close = {longer * (1.0 + 0.25 * k) for k in range(9)} | {k + 0.5 for k in range(1, HALVES)}
    return sorted(step for step in close | set(map(float, range(1, last + 1))) if step <= last)


def _between(z: Singles, margin: int, shift: tuple[float, float], shape: tuple[int, int]) -> Singles:
    """Return a shifted part of a grid, between its cells where the shift is not whole."""
    out: Singles | None = None
    whole = [int(np.floor(value + 1e-6)) for value in shift]
    rest = [max(value - base, 0.0) if value - base > 1e-6 else 0.0 for value, base in zip(shift, whole, strict=True)]
    for down in (0, 1):
        for over in (0, 1):
            share = (rest[0] if down else 1 - rest[0]) * (rest[1] if over else 1 - rest[1])
            if share:
                row, col = margin + whole[0] + down, margin + whole[1] + over
                part = z[row : row + shape[0], col : col + shape[1]] * np.float32(share)
                out = part if out is None else np.add(out, part, out=out)
    assert out is not None
    return out
