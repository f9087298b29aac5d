"""Pollinate: how far from every tree that needs one the nearest partner stands that blooms with it.

A partner is of the same species and another variety (a tree planted as a pollinizer counts as another variety where no
variety is named), or of the other sex where the species has male and female plants. It has to bloom at the same time
(nursery rule: early with early and mid, mid with all, late with mid and late), may stand in any block of the site, and
must not come out before the tree that it serves. Limits where the plant names none: 100 ft by bees, better 50 ft
(nursery pages), 150 ft by wind (University of Georgia Extension, on pecans, 2016).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np
import shapely

from setout.model import Bools, Finding, Floats, Ints, Plant, Site, Trees
from setout.model.kinds import Kinds, kinds_of
from setout.units import FOOT

BEES_M: Final = 100 * FOOT
"""How far bees carry pollen well enough to rely on [m] (nursery pages: beyond 100 ft poor)."""
BEES_IDEAL_M: Final = 50 * FOOT
"""How far a partner for bees should stand at most [m] (nursery pages)."""
WIND_M: Final = 150 * FOOT
"""How far wind carries pollen well enough to rely on [m] (University of Georgia Extension, Planting time is the time to think
about pollination, 29 January 2016: pecans within 150 ft)."""
NEEDS: Final = frozenset({"partner", "female"})
"""Kinds of pollination that need another plant."""
BLOOM: Final = ("early", "mid", "late")
"""Times of bloom in their order; neighbours in it overlap."""
EXACT_M: Final = 1e-6
"""Distances are not told apart more finely than this [m]."""


@dataclass(frozen=True, slots=True)
class _Needy:
    """The trees of one block and plant that need a partner: how far it stands, and how far whatever its bloom."""

    block: int
    plant: Plant
    trees: Ints
    far_m: Floats
    any_bloom_m: Floats


def partners(site: Site, trees: Trees) -> tuple[Floats, tuple[Finding, ...]]:
    """Find for every tree that needs a partner how far the nearest one stands."""
    kinds = kinds_of(site.blocks, trees)
    far = np.full(len(trees), np.nan)
    needs = _all_needs(kinds, trees)
    for need in needs:
        far[need.trees] = np.where(np.isfinite(need.far_m), need.far_m, np.nan)
    return far, tuple(finding for need in needs for finding in _said(site, trees, need))


def in_bloom_together(one: str, other: str) -> bool:
    """Tell whether two times of bloom overlap; what is unknown is taken to.

    >>> in_bloom_together("early", "mid"), in_bloom_together("early", "late"), in_bloom_together("late", "")
    (True, False, True)
    """
    if one not in BLOOM or other not in BLOOM:
        return True
    return abs(BLOOM.index(one) - BLOOM.index(other)) <= 1


def can_serve(tree: Plant, partner: Plant) -> bool:
    """Tell whether a plant can be the partner of another, whatever the time of bloom.

    >>> main = Plant("apple", "A", species="apple", pollination="partner")
    >>> can_serve(main, Plant("apple", "B", species="apple")), can_serve(main, main)
    (True, False)
    """
    if not tree.species or _fold(tree.species) != _fold(partner.species):
        return False
    if (partner.remove_year or np.inf) < (tree.remove_year or np.inf):
        return False
    if tree.pollination == "female" or partner.pollination in {"male", "female"}:
        return tree.pollination == "female" and partner.pollination == "male"
    if tree.variety or partner.variety:
        return _fold(tree.variety) != _fold(partner.variety)
    return (tree.role == "pollinizer") != (partner.role == "pollinizer")


def limit_of(plant: Plant) -> float:
    """Return how far a partner of a plant may stand [m]: its own limit, or that of what carries its pollen."""
    if np.isfinite(plant.pollination_m):
        return plant.pollination_m
    return WIND_M if plant.agent == "wind" else BEES_M


def _all_needs(kinds: Kinds, trees: Trees) -> list[_Needy]:
    """Measure for every plant of every block that needs a partner; plants with the same partners share one index."""
    order = np.argsort(kinds.of, kind="stable")
    ends = np.searchsorted(kinds.of[order], np.arange(len(kinds.plants) + 1))
    own = [order[first:end] for first, end in pairwise(ends)]
    present = [k for k in range(len(kinds.plants)) if len(own[k])]
    indices: dict[tuple[int, ...], Any] = {}

    def nearest(mine: Ints, serving: list[int]) -> Floats:
        key = tuple(serving)
        if not key:
            return np.full(len(mine), np.inf)
        if key not in indices:
            indices[key] = _index(trees, np.concatenate([own[k] for k in key]))
        return np.asarray(indices[key].query(np.column_stack([trees.x[mine], trees.y[mine]]), workers=-1)[0], float)

    found = []
    for k in present:
        plant = kinds.plants[k]
        if plant.pollination not in NEEDS:
            continue
        serving = [j for j in present if can_serve(plant, kinds.plants[j])]
        timely = [j for j in serving if in_bloom_together(plant.bloom, kinds.plants[j].bloom)]
        far = nearest(own[k], timely)
        whatever = far if timely == serving else nearest(own[k], serving)
        found.append(_Needy(kinds.block[k], plant, own[k], far, whatever))
    return found


def _index(trees: Trees, which: Ints) -> Any:
    from scipy.spatial import cKDTree

    return cKDTree(np.column_stack([trees.x[which], trees.y[which]]), balanced_tree=False, compact_nodes=False)


def _said(site: Site, trees: Trees, need: _Needy) -> Iterator[Finding]:
    """Say where partners are missing, out of season or too far."""
    plant, limit = need.plant, limit_of(need.plant)
    what: dict[str, Any] = {"block": site.blocks[need.block].name, **_called(plant), "limit_m": limit}
    short = need.far_m > limit + EXACT_M
    if not np.isfinite(need.any_bloom_m).any():
        yield _none(what, plant, _at(trees, need.trees, np.zeros(len(short))))
        return
    apart = short & (need.any_bloom_m <= limit + EXACT_M)
    if apart.any():
        yield Finding(
            "bloom_apart",
            "warn",
            figures={**what, **_of(apart), "bloom": plant.bloom},
            geometry=_at(trees, need.trees, np.where(apart, -1.0, 0.0)),
        )
    distant = short & ~apart
    if distant.any():
        far = need.far_m if np.isfinite(need.far_m).any() else need.any_bloom_m
        yield Finding(
            "pollinizer_far",
            "warn",
            figures={**what, **_of(distant), "far_m": float(far[distant].max()), "agent": plant.agent or "bees"},
            geometry=_at(trees, need.trees, -far * distant),
        )
    better = ~short & (need.far_m > BEES_IDEAL_M + EXACT_M)
    if better.any() and plant.agent != "wind":
        yield Finding(
            "pollinizer_not_near",
            "note",
            figures={**what, **_of(better), "far_m": float(need.far_m[better].max()), "ideal_m": BEES_IDEAL_M},
            geometry=_at(trees, need.trees, -need.far_m * better),
        )
    if not plant.bloom and not short.all():
        yield Finding("bloom_unknown", "note", figures=what, geometry=_at(trees, need.trees, np.zeros(len(short))))


def _none(what: Mapping[str, Any], plant: Plant, where: shapely.Point) -> Finding:
    """Say that the whole site has no partner; that is sure only where varieties are named."""
    kind = "male" if plant.pollination == "female" else "variety" if plant.variety else "unnamed"
    return Finding("no_pollinizer", "warn" if kind == "unnamed" else "stop", figures={**what, "kind": kind}, geometry=where)


def _of(which: Bools) -> dict[str, Any]:
    return {"n": int(which.sum()), "of": len(which)}


def _called(plant: Plant) -> dict[str, Any]:
    return {"plant": plant.name or plant.variety, "variety": plant.variety if plant.name else "", "role": plant.role}


def _at(trees: Trees, own: Ints, rank: Floats) -> shapely.Point:
    """Return the place of the tree of the least rank."""
    tree = own[int(np.argmin(np.nan_to_num(rank, posinf=0.0, neginf=0.0)))]
    return shapely.Point(trees.x[tree], trees.y[tree])


def _fold(name: str) -> list[str]:
    return name.casefold().split()
