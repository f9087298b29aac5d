"""What a screen's shade does for the yard that it serves."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from setout.geometry.sky.skyline import Bodies, Views
from setout.geometry.sky.sun import SunPath
from setout.geometry.sky.sunlight import sunlight
from setout.model import Block, Figure, Finding, Floats, Ints, ScreenShade, Trees
from setout.stages.light.canopies import bodies_of, canopies_of

PLACES = 400
"""Places of a yard that shade is looked for at."""
WARM = {True: (6, 7, 8), False: (12, 1, 2)}
"""The months that shade is wanted in, north and south of the equator (common practice)."""
ENOUGH_H = 1.0
"""Hours of afternoon shade, as a mean of the yard and the warm months, below which a screen does not do its work."""


def screen_shades(blocks: Sequence[Block], trees: Trees, z: Floats, path: SunPath, year: int | None = None) -> tuple[ScreenShade, ...]:
    """Return the shade of every screen that names a yard, on level ground round it."""
    canopies = canopies_of(blocks, trees, year)
    out = []
    for index, block in enumerate(blocks):
        own = np.flatnonzero((trees.block == index) & canopies.known)
        if block.pattern.kind != "screen" or block.yard is None or block.yard.is_empty or not len(own):
            continue
        bodies = bodies_of(blocks, trees, canopies, z)
        mine = np.isin(bodies.owner, own) | np.isin(bodies.group, canopies.hedge[own][canopies.hedge[own] >= 0])
        # the yard lies where the screen's own ground is, as high as its middle plant stands
        shaded = _hours(block.yard, float(np.median(z[own])), path, bodies.take(np.flatnonzero(mine)))
        halves = path.by_half()
        months, (am, pm, sun_am, sun_pm) = _monthly(
            path, [*(np.maximum(half - lit, 0.0) for half, lit in zip(halves, shaded, strict=True)), *halves]
        )
        height = float(np.median(canopies.height[own]))
        out.append(ScreenShade(index, height, block.pattern.step_m, float(block.yard.area), months, am, pm, sun_am, sun_pm))
    return tuple(out)


def _monthly(path: SunPath, by_day: Sequence[Floats]) -> tuple[Ints, list[Floats]]:
    """Return the months in the order of the season, and means of the days of each."""
    of = np.array([day.month for day in path.dates], np.int64)
    months = np.array(list(dict.fromkeys(of.tolist())), np.int64)
    return months, [np.array([values[of == month].mean() for month in months]) for values in by_day]


def _hours(yard: BaseGeometry, z: float, path: SunPath, bodies: Bodies) -> tuple[Floats, Floats]:
    """Return the hours of sun that a screen leaves, mean over a yard, by day."""
    x, y = places_in(yard, PLACES)
    n = len(x)
    at, none, zero = np.full(n, z), np.full(n, -1), np.zeros((n, 1))
    views = Views(x, y, at, none, np.zeros(n), none, zero, zero, at[:, None])
    morning, afternoon = sunlight(views, bodies, path)
    return morning.mean(axis=1, dtype=float), afternoon.mean(axis=1, dtype=float)


def places_in(yard: BaseGeometry, about: int) -> tuple[Floats, Floats]:
    """Return places spread evenly over a polygon.

    >>> x, y = places_in(shapely.box(0, 0, 20, 10), 200)
    >>> len(x), float(x.mean()), float(y.mean())
    (200, 10.0, 5.0)
    """
    west, south, east, north = yard.bounds
    side = float(np.sqrt(yard.area / about))
    cols, rows = max(int((east - west) / side), 1), max(int((north - south) / side), 1)
    x, y = np.meshgrid(west + (np.arange(cols) + 0.5) * (east - west) / cols, south + (np.arange(rows) + 0.5) * (north - south) / rows)
    inside = shapely.contains_xy(yard, x.ravel(), y.ravel())
    if not inside.any():
        point = yard.representative_point()
        return np.array([point.x]), np.array([point.y])
    return x.ravel()[inside], y.ravel()[inside]


def warm_hours(shade: ScreenShade, latitude: float) -> tuple[float, float]:
    """Return the morning and the afternoon shade of the warm months [h]; of all months where none of them was reckoned."""
    warm = np.isin(shade.month, WARM[latitude >= 0])
    warm = warm if warm.any() else np.ones_like(warm)
    return float(shade.am_h[warm].mean()), float(shade.pm_h[warm].mean())


def screen_findings(blocks: Sequence[Block], shades: Sequence[ScreenShade], latitude: float) -> Iterator[Finding]:
    """Yield screens that were planted for shade and give little of it in the afternoon."""
    for shade in shades:
        block = blocks[shade.block]
        am, pm = warm_hours(shade, latitude)
        if block.purpose != "shade" or pm >= ENOUGH_H:
            continue
        figures: dict[str, Figure] = {
            "screen": block.name,
            "height_m": shade.height_m,
            "shade_h": pm,
            "least_h": ENOUGH_H,
            "morning": "shades_in_morning" if am > pm else None,
        }
        yield Finding("screen_no_shade", "warn", geometry=block.line, figures=figures)
