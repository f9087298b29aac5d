"""Where light falls short, and what a plan cannot know of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import shapely

from setout.model import Block, Finding, Light, Trees
from setout.model.light import FULL_SUN_H


def _unknown(block: Block, trees: int, year: int | None) -> Iterator[Finding]:
    """Say which size of a block's plants is not known."""
    if not trees:
        return
    unknown = tuple(
        size for size in ("spread", "height") if not block.plants or any(np.isnan(getattr(plant, f"{size}_m")) for plant in block.plants)
    )
    figures: dict[str, Any] = {"block": block.name, "trees": trees}
    if unknown:
        figures |= {"sizes": unknown}
    else:
        figures |= {"kind": "growth", "year": year}
    yield Finding("light_unknown", "note", figures=figures)


def light_findings(blocks: Sequence[Block], trees: Trees, light: Light) -> Iterator[Finding]:
    """Yield what there is to say of the trees' light, block by block."""
    for index, block in enumerate(blocks):
        own = np.flatnonzero(trees.block == index)
        stays = [not 0 < plant.remove_year <= (light.year or 0) for plant in block.plants]
        if any(stays) or not stays:
            yield from _unknown(block, int(light.unknown[own].sum()), light.year)
        known = own[~light.unknown[own]]
        least_h = light.least_h
        dark = known[light.sun_h[known] < least_h[known]]
        if len(dark):
            worst = dark[np.argmin(light.sun_h[dark])]
            leaves = np.array([*(plant.remove_year > 0 for plant in block.plants), False])[trees.plant[dark]]
            open_h, least, wanted = (float(v[worst]) for v in (light.open_h, light.sun_h, least_h))
            figures = {
                "block": block.name,
                "year": light.year,
                "kind": None if len(known) > 1 else "alone",
                "dark": len(dark),
                "known": len(known),
                "fillers": int(leaves.sum()) if leaves.any() and light.year is None else None,
                "wanted_h": wanted,
                "wall": None if wanted == FULL_SUN_H else "counted_on_wall",
                "least_h": least,
                "open_h": open_h,
                "cause": "terrain_in_sun" if open_h < wanted else "canopies_in_sun",
            }
            where = shapely.MultiPoint(np.column_stack([trees.x[dark], trees.y[dark]]))
            yield Finding("sun_short", "warn", geometry=where, figures=figures)
