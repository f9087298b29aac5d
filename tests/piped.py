"""Networks of pipes for tests: a manifold with laterals both ways, on slopes, of mixed pipe, invented."""

from __future__ import annotations

import numpy as np

from setout.hydraulics.emitters import Emitters
from setout.hydraulics.friction import Friction
from setout.hydraulics.network import PipeTree


def comb(
    laterals: int,
    outlets: int,
    *,
    rng: np.random.Generator | None = None,
    exponent: float = 0.5,
    slope: float = 0.0,
    across: float = 0.0,
    rough: float = 0.0,
    k: float = 1.2,
    friction: Friction | None = None,
    step_m: float = 4.0,
) -> PipeTree:
    """Make a manifold of so many tees, two laterals at each, with equal outlets; rougher and mixed with a generator."""
    rng = rng or np.random.default_rng(0)
    tees = 1 + np.arange((laterals + 1) // 2)
    node = 1 + tees.size + np.arange(laterals * outlets).reshape(laterals, outlets)
    n = 1 + tees.size + node.size
    parent = np.empty(n, np.int64)
    parent[0], parent[tees] = -1, tees - 1
    parent[node[:, 1:]], parent[node[:, 0]] = node[:, :-1], tees[np.arange(laterals) // 2]
    side = np.where(np.arange(laterals) % 2, -1.0, 1.0)[:, None] * step_m * (1 + np.arange(outlets))
    x, y = np.zeros(n), np.zeros(n)
    y[tees], x[node] = 5.0 * tees, side
    y[node] = y[parent[node[:, 0]]][:, None]
    z = slope * x + across * y + (rng.normal(0, rough, n) if rough else 0.0)
    length = np.hypot(np.hypot(x - x[parent], y - y[parent]), z - z[parent])
    length[0] = 0.0
    inside = np.full(n, 16.0)
    served = np.bincount(np.repeat(tees, 2)[:laterals], minlength=n)[tees][::-1].cumsum()[::-1] * outlets
    inside[tees] = np.maximum(26.0, np.sqrt(served * k * 4 / 3.6e6 / 1.2 / (np.pi / 4)) * 1000)
    if rough:
        inside[node] = rng.choice([13.6, 16.0, 17.5, 20.8], (laterals, 1))
    emits = np.zeros(n)
    emits[node] = k * (rng.uniform(0.5, 1.5, node.shape) if rough else 1.0)
    return PipeTree(parent, length, inside, z, Emitters(emits, exponent), friction or Friction())


def shuffled(tree: PipeTree, rng: np.random.Generator) -> tuple[PipeTree, np.ndarray]:
    """Return the tree with its nodes in another order, and where each node went."""
    n = tree.parent.size
    to = rng.permutation(n)
    old = np.empty(n, np.int64)
    old[to] = np.arange(n)
    parent = np.where(tree.parent[old] < 0, -1, to[tree.parent[old]])
    return PipeTree(parent, tree.length_m[old], tree.inside_mm[old], tree.z_m[old], tree.emitters.at(old), tree.friction.at(old)), to


def random_tree(rng: np.random.Generator, nodes: int = 60) -> tuple[PipeTree, np.ndarray]:
    """Return any tree at all, much of it starved or dry, with heads at its roots."""
    roots = int(rng.integers(1, 3))
    parent = np.full(nodes, -1)
    for i in range(roots, nodes):
        parent[i] = i - 1 if rng.random() < 0.7 and i > roots else rng.integers(0, i)
    x = rng.choice([0.0, 0.2, 0.5, 0.8, 1.0], nodes)
    least = np.where((x == 0) & (rng.random(nodes) < 0.7), rng.uniform(3, 10), 0.0)
    k = np.where(rng.random(nodes) < 0.7, rng.uniform(0.5, 40.0), 0.0)
    z = rng.normal(0, 1, nodes) * rng.choice([0.0, 0.5, 5.0])
    law = str(rng.choice(["hazen-williams", "swamee-jain", "churchill"]))
    tree = PipeTree(
        parent,
        rng.uniform(0.5, 20, nodes),
        rng.choice([8.0, 13.6, 16.0, 26.0, 52.0], nodes),
        z,
        Emitters(k, x, least, np.where(least > 0, 25.0, np.inf)),
        Friction(law, minor_k=float(rng.choice([0.0, 0.6]))),  # type: ignore[arg-type]
    )
    return tree, rng.uniform(1, 50, roots) + z[:roots]
