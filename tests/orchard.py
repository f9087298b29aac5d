"""Small orchards for the tests of light: blocks, trees, and the same trees as solids for rays."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np

from rays import Crown, halves, lit
from setout.geometry.sky.sun import SunPath, sun_path
from setout.model import Block, Pattern, Plant, Trees
from setout.stages.light.canopies import bodies_of, canopies_of, views_of

SEASON = tuple(date(2026, month, 21) for month in range(4, 11))
EQUINOX = (date(2026, 3, 20),)


def path_at(latitude: float = 40.0, days: Any = SEASON, minutes: float = 10.0) -> SunPath:
    return sun_path(days, latitude, 0.0, 0.0, minutes)


def block_of(plants: Any, kind: str = "square", step: float = 5.0, rows: float = 5.0, **more: Any) -> Block:
    return Block("A", None, Pattern(kind, step, rows, **more), 0.0, tuple(plants))


def plant_of(spread: float, height: float, **more: Any) -> Plant:
    return Plant("apple", spread_m=spread, height_m=height, natural_spread_m=spread, natural_height_m=height, **more)


def trees_at(x: Any, y: Any, plant: Any = 0, partner: Any = None, row: Any = 1) -> Trees:
    x, y = np.asarray(x, float), np.asarray(y, float)
    n = len(x)
    return Trees(
        np.zeros(n, np.int32),
        np.broadcast_to(np.asarray(row, np.int32), n).copy(),
        np.arange(1, n + 1, dtype=np.int32),
        x,
        y,
        np.broadcast_to(np.asarray(plant, np.int32), n).copy(),
        np.full(n, -1, np.int32) if partner is None else np.asarray(partner, np.int32),
    )


def lattice(rows: int, cols: int, step: float, between: float, shift: float = 0.0, bearing: float = 0.0) -> tuple[Any, Any]:
    row, place = np.divmod(np.arange(rows * cols), cols)
    along, across = (place + (row % 2) * shift) * step, row * between
    t = np.radians(bearing)
    return along * np.sin(t) + across * np.cos(t), along * np.cos(t) - across * np.sin(t)


def parts(block: Block, trees: Trees, z: Any = None, year: int | None = None) -> tuple[Any, Any]:
    """Return views and bodies of an orchard."""
    z = np.zeros(len(trees)) if z is None else np.asarray(z, float)
    canopies = canopies_of([block], trees, year)
    return views_of(trees, canopies, z)[0], bodies_of([block], trees, canopies, z)


def crowns_of(bodies: Any) -> list[Crown]:
    columns = (bodies.x, bodies.y, bodies.foot, bodies.top, bodies.radius, bodies.owner)
    return [Crown(*(float(v) for v in row[:5]), int(row[5])) for row in zip(*columns, strict=True)]


def by_rays(views: Any, bodies: Any, path: SunPath, which: Any, *, filled: bool = True, more: Any = ()) -> tuple[Any, Any]:
    """Return the hours of some trees by rays, (days, trees) before and after noon."""
    crowns = crowns_of(bodies)
    out = []
    for k in which:
        own = next(c for c in crowns if c.tree == views.tree[k])
        others = [c for c in crowns if c.tree != own.tree] + list(more)
        points = views.z.shape[1]
        share = np.zeros(len(path.day))
        for q in range(points):
            eye = (views.x[k] + views.dx[k, q], views.y[k] + views.dy[k, q], views.z[k, q])
            share += lit(eye, path, own, others, filled=filled) / points
        out.append(halves(path, share))
    return np.array([am for am, _ in out]).T, np.array([pm for _, pm in out]).T
