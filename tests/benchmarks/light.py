"""Light of trees: skylines against the plain way, one sun position at a time, in one sitting; errors against rays.

``python tests/benchmarks/light.py [--trees 4000] [--sample 12] [--large 40000]``

Prints positions of the sun looked at per tree, point and CPU second; the ratio to plain numpy, where every pair of a point
and a crown in reach is tried for every position of the sun; how CPU time grows with the trees; and the errors of a
sample of trees against rays cast one by one, as shares of their sun hours.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from orchard import block_of, by_rays, lattice, parts, path_at, plant_of, trees_at
from setout.geometry.sky.sunlight import sunlight

REACH_M = 26.0
"""How far the plain way looks: about a hundred crowns."""


def orchard(trees: int, jitter_m: float = 0.0) -> tuple[Any, Any]:
    """Return an equilateral orchard of 16 ft on rolling ground, its trees moved about at random if asked."""
    side = int(np.ceil(np.sqrt(trees)))
    x, y = lattice(side, side, 4.877, 4.223, 0.5, 12.0)
    x, y = (v + np.random.default_rng(1).normal(0, jitter_m, len(x)) for v in (x, y))
    return parts(block_of([plant_of(4.57, 4.6)], step=4.877), trees_at(x, y), 0.05 * x + 2 * np.sin(y / 40))


def cpu(work: Any) -> tuple[float, Any]:
    """Return the CPU seconds of some work, and what it gives."""
    before = time.process_time()
    out = work()
    return time.process_time() - before, out


def plain(views: Any, bodies: Any, path: Any, which: Any) -> int:
    """Try every crown in reach against every position of the sun from the first point of some trees; return the tries."""
    from scipy.spatial import cKDTree

    index = cKDTree(np.column_stack([bodies.x, bodies.y]))
    a, z = np.radians(path.altitude_deg), np.radians(path.azimuth_deg)
    way = np.column_stack([np.cos(a) * np.sin(z), np.cos(a) * np.cos(z), np.sin(a)])
    for k in which:
        near = np.array([j for j in index.query_ball_point([views.x[k], views.y[k]], REACH_M) if j != k])
        half = (bodies.top[near] - bodies.foot[near]) / 2
        size = np.column_stack([bodies.radius[near], bodies.radius[near], half])
        middle = np.column_stack([bodies.x[near], bodies.y[near], bodies.foot[near] + half])
        eye = np.array([views.x[k] + views.dx[k, 0], views.y[k] + views.dy[k, 0], views.z[k, 0]])
        p = (eye - middle) / size
        for ray in way:
            d = ray / size
            a2, b, c = (d * d).sum(1), (p * d).sum(1), (p * p).sum(1) - 1.0
            np.any((b < 0) & (b * b > a2 * c))
    return len(which) * len(path.day)


def say(text: str) -> None:
    """Write a line of the result."""
    sys.stdout.write(text + "\n")


def main() -> None:
    """Measure and print."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--trees", type=int, default=4000)
    ask.add_argument("--large", type=int, default=40_000)
    ask.add_argument("--sample", type=int, default=12)
    given = ask.parse_args()
    path, rng = path_at(), np.random.default_rng(2)
    sunlight(*orchard(100), path)
    for name, jitter in (("rows", 0.0), ("irregular", 0.3)):
        views, bodies = orchard(given.trees, jitter)
        spent, light = cpu(lambda v=views, b=bodies: sunlight(v, b, path))
        looked = views.z.size * len(path.day)
        say(f"{name}: {looked / spent / 1e6:.1f} M positions per CPU s ({views.z.shape[1]} points a tree)")
        slow, tries = cpu(lambda v=views, b=bodies: plain(v, b, path, rng.choice(len(v.x), 20, replace=False)))
        say(f"{name}: {looked / spent / (tries / slow):.0f} times the plain way")
        which = rng.choice(len(views.x), given.sample, replace=False)
        exact = np.sum(by_rays(views, bodies, path, which), axis=0).mean(axis=0)
        error = np.sum(light, axis=0).mean(axis=0)[which] / exact - 1.0
        say(f"{name}: mean error {np.abs(error).mean():.3%}, worst {np.abs(error).max():.3%} of sun hours")
    few, many = (cpu(lambda n=n: sunlight(*orchard(n), path))[0] for n in (given.large // 4, given.large))
    say(f"growth from {given.large // 4} to {given.large} trees: exponent {np.log(many / few) / np.log(4):.2f} ({many:.1f} CPU s)")


if __name__ == "__main__":
    main()
