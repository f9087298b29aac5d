"""Light on every tree of a planting."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from setout.geometry.sky.skyline import Bodies, Views
from setout.geometry.sky.sun import SunPath
from setout.geometry.sky.sunlight import Horizon, sunlight
from setout.model import Block, Floats, Light, Trees
from setout.progress import Say, counted, silent
from setout.stages.light.canopies import bodies_of, stands_of, together, views_of
from setout.stages.light.days import sun_days
from setout.stages.light.hours import hours_on


@dataclass(frozen=True, slots=True)
class Sky:
    """What the sun does over the site.

    Attributes
    ----------
    path : positions of the sun
    horizon : of the terrain; None for a level one
    others : buildings, fences and existing trees
    """

    path: SunPath
    horizon: Horizon | None
    others: Bodies


def trees_light(blocks: Sequence[Block], trees: Trees, z: Floats, sky: Sky, year: int | None = None, say: Say = silent) -> Light:
    """Return the direct sun of every tree."""
    days = len(sky.path.dates)
    morning, afternoon = (np.full((days, len(trees)), np.nan, np.float32) for _ in range(2))
    free, wall = np.full(len(trees), np.nan), np.zeros(len(trees), bool)
    with counted("trees in the light", len(trees), say) as more:
        for canopies, judged in stands_of(blocks, trees, year):
            views, own = views_of(trees, canopies, z)
            views, own = views.take(judged[own]), own[judged[own]]
            wall |= judged & canopies.wall
            if len(own):
                bodies = together(bodies_of(blocks, trees, canopies, z), sky.others)
                morning[:, own], afternoon[:, own] = hours_on(views, bodies, sky.path, sky.horizon, more)
                free[own] = _open(views.x, views.y, sky)
    am, pm = morning.mean(axis=0, dtype=float), afternoon.mean(axis=0, dtype=float)
    return Light(sun_days(sky.path), am + pm, am, pm, free, morning, afternoon, year, wall=wall)


def _open(x: Floats, y: Floats, sky: Sky) -> Floats:
    """Return the hours that the terrain leaves, mean of the days."""
    n = len(x)
    if sky.horizon is None:
        return np.full(n, float(sum(half.sum() for half in sky.path.by_half())) / len(sky.path.dates))
    zero, none = np.zeros((n, 1)), np.full(n, -1)
    flat = np.zeros(n)
    views = Views(x, y, flat, none, flat, none, zero, zero, zero)
    morning, afternoon = sunlight(views, sky.others.take(slice(0)), sky.path, sky.horizon)
    free: Floats = (morning + afternoon).mean(axis=0, dtype=float)
    return free
