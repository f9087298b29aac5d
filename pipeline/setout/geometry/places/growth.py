"""How plants grow, how much ground a pattern gives to each, and how much of it their canopies shade."""

from __future__ import annotations

from typing import Final

import numpy as np

from setout.model import Pattern, Plant
from setout.model.system import CONTOUR_ROWS, IN_ROWS

REACHED: Final = 0.95
"""Share of full size that a plant has in its year of full size."""


def natural_of(plant: Plant) -> float:
    """Return the spread of a plant that is left alone [m]; never less than the spread it is kept at."""
    return float(np.fmax(plant.natural_spread_m, plant.spread_m))


def kept_of(plant: Plant) -> float:
    """Return the spread that a plant is kept at [m]; its natural one where none is named."""
    return plant.spread_m if np.isfinite(plant.spread_m) else plant.natural_spread_m


def leaves_of(plant: Plant) -> float:
    """Return the year in which a plant comes out; inf for one that stays."""
    return plant.remove_year or float("inf")


def judged_in(plant: Plant) -> float:
    """Return the year after planting in which a plant is judged: inf, its full size, or of a filler the last in which it stands.

    >>> judged_in(Plant("pecan")), judged_in(Plant("peach", remove_year=12))
    (inf, 11)
    """
    return leaves_of(plant) - 1


def spread_at(age: float, full_m: float, years: float, kept_m: float = float("inf")) -> float:
    """Return the spread (or height) of a plant of some age.

    Monomolecular growth, full x (1 - 20^(-age / years)), which has 95 % of the full size in the given year (a simple
    curve, from memory), cut off at the size that the plant is kept at.

    Parameters
    ----------
    age : float
        Years since planting [a].
    full_m : float
        Size where it is left alone [m].
    years : float
        Years to full size [a].
    kept_m : float
        Size it is kept at [m].

    Returns
    -------
    float
        Size at that age [m]; NaN where a figure is unknown.

    Examples
    --------
    >>> round(spread_at(8, 15.0, 8), 2), round(spread_at(4, 15.0, 8), 2), spread_at(8, 15.0, 8, 6.0), spread_at(0, 15.0, 8)
    (14.25, 11.65, 6.0, 0.0)
    """
    grown = full_m * (1.0 - (1.0 - REACHED) ** (max(age, 0.0) / years))
    return float(np.minimum(grown, kept_m))


def grown_share(plant: Plant, year: float) -> float:
    """Return how much of its natural size a plant has so many years after planting, left alone.

    Parameters
    ----------
    plant : Plant
        With the grower's own pairs of year and spread, or years to full size.
    year : float
        Years after planting [a].

    Returns
    -------
    float
        Share, 0 to 1: straight lines between the grower's pairs, from nothing at planting and level after the last; the
        curve of :func:`spread_at` where there are none. NaN where neither is known.

    Examples
    --------
    >>> own = Plant("plum", spread_m=5.0, natural_spread_m=5.0, growth=((2.0, 1.0), (6.0, 5.0)))
    >>> [round(grown_share(own, year), 3) for year in (0, 1, 2, 4, 6, 9)]
    [0.0, 0.1, 0.2, 0.6, 1.0, 1.0]
    """
    if plant.growth:
        years, sizes = zip((0.0, 0.0), *plant.growth, strict=True)
        return float(np.interp(max(year, 0.0), years, sizes) / natural_of(plant))
    return spread_at(year, 1.0, plant.years_to_full_size)


def plant_spread_at(plant: Plant, year: float) -> float:
    """Return the spread of a plant so many years after planting [m]; 0 once it has been removed."""
    if year >= leaves_of(plant):
        return 0.0
    return float(np.minimum(natural_of(plant) * grown_share(plant, year), kept_of(plant)))


def plant_height_at(plant: Plant, year: float) -> float:
    """Return the height of a plant so many years after planting [m], which grows as its spread does; 0 once removed."""
    if year >= leaves_of(plant):
        return 0.0
    natural = float(np.fmax(plant.natural_height_m, plant.height_m))
    return float(np.fmin(natural * grown_share(plant, year), plant.height_m))


def years_of(plant: Plant) -> float:
    """Return the years that a plant takes to full size [a]: the grower's last pair, else the catalogue's; NaN unknown."""
    return plant.growth[-1][0] if plant.growth else plant.years_to_full_size


def cell_m2(pattern: Pattern) -> float:
    """Return the ground that a pattern gives to each plant [m2]; NaN for single trees.

    Parameters
    ----------
    pattern : Pattern
        How a block is set out.

    Returns
    -------
    float
        Area [m2].

    Examples
    --------
    >>> cell_m2(Pattern("square", 5.0, 5.0)), cell_m2(Pattern("square", 5.0, 5.0, alley_every=2, alley_width_m=9.0))
    (25.0, 35.0)
    >>> cell_m2(Pattern("hedgerow", 1.0, 4.0, lines=2, line_distance_m=0.8))
    2.0
    """
    if pattern.kind == "points":
        return float("nan")
    rows = pattern.row_distance_m
    if np.isfinite(pattern.row_distance_max_m):
        rows = (rows + pattern.row_distance_max_m) / 2
    if pattern.alley_every:
        rows = ((pattern.alley_every - 1) * rows + pattern.alley_width_m) / pattern.alley_every
    if pattern.bed is not None:
        per_line = max(int(np.floor(pattern.bed.length_m / pattern.step_m + 1e-9)), 1)
        return (pattern.bed.length_m + pattern.bed.gap_m) * rows / (per_line * pattern.lines)
    return pattern.step_m * rows / pattern.lines / (2 if pattern.pair is not None else 1)


def disc_in_rectangle_m2(diameter: float, width: float, length: float) -> float:
    """Return the area of a disc inside a rectangle about the same middle.

    Parameters
    ----------
    diameter : float
        Of the disc [m].
    width, length : float
        Sides of the rectangle [m]; inf for none.

    Returns
    -------
    float
        Area [m2]; NaN for an unknown diameter.

    Examples
    --------
    >>> round(disc_in_rectangle_m2(2.0, 9.0, 9.0), 4), disc_in_rectangle_m2(9.0, 2.0, 3.0)
    (3.1416, 6.0)
    """
    r = diameter / 2
    a, b = min(width / 2, r), min(length / 2, r)
    if not r > 0:
        return 0.0 if r == 0 else float("nan")
    corner = min(np.sqrt(max(r * r - b * b, 0.0)), a)  # from here on the arc is nearer than the side

    def under_arc(x: float) -> float:
        return float((x * np.sqrt(max(r * r - x * x, 0.0)) + r * r * np.arcsin(min(x / r, 1.0))) / 2)

    return float(4 * (b * corner + under_arc(a) - under_arc(corner)))


def canopy_m2(pattern: Pattern, grown_m: float, kept_m: float) -> float:
    """Return the ground under the canopy of one plant among its like, what lies under two counted once.

    In a hedgerow, screen, trellis or bed plants grow together along the row: the canopy reaches half a step along it,
    and half the spread it is kept at to the side. Elsewhere it is a disc inside the plant's own cell. Partners of a
    pair have half of what the two cover together.

    Parameters
    ----------
    pattern : Pattern
        How the block is set out.
    grown_m : float
        Spread where it is left alone [m].
    kept_m : float
        Spread it is kept at [m].

    Returns
    -------
    float
        Area [m2]; NaN for an unknown spread.

    Examples
    --------
    >>> round(canopy_m2(Pattern("square", 9.0, 9.0), 4.0, 4.0), 3), canopy_m2(Pattern("square", 4.0, 4.0), 9.0, 9.0)
    (12.566, 16.0)
    >>> canopy_m2(Pattern("hedgerow", 1.5, 5.0), 6.0, 2.0)
    3.0
    """
    cell = cell_m2(pattern)
    if pattern.kind in IN_ROWS:
        across = min(kept_m, (kept_m + (pattern.lines - 1) * pattern.line_distance_m) / pattern.lines)
        area = disc_in_rectangle_m2(grown_m, across, pattern.step_m)
    elif pattern.kind in ("square", "rectangular", CONTOUR_ROWS) and pattern.pair is None:
        area = disc_in_rectangle_m2(min(grown_m, kept_m), pattern.row_distance_m, pattern.step_m)
    else:
        area = disc_in_rectangle_m2(min(grown_m, kept_m), np.inf, np.inf)
    if pattern.pair is not None:
        area -= _lens_m2(min(grown_m, kept_m), pattern.pair.distance_m) / 2
    return float(np.fmin(area, cell)) if np.isfinite(area) else float("nan")


def _lens_m2(diameter: float, apart: float) -> float:
    """Return what two discs of one size have in common [m2]."""
    if not diameter > apart:
        return 0.0
    r = diameter / 2
    return float(2 * r * r * np.arccos(apart / diameter) - apart / 2 * np.sqrt(4 * r * r - apart * apart))
