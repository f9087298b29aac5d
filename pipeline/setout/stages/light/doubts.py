"""Where light falls short, and what a plan cannot know of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from setout.model import Block, Finding, Light, Trees
from setout.model.light import FULL_SUN_H


def _unknown(block: Block, trees: int, year: int | None) -> Iterator[Finding]:
    """Say which size of a block's plants is not known."""
    if not trees:
        return
    words = [
        word for word in ("spread", "height") if not block.plants or any(np.isnan(getattr(plant, f"{word}_m")) for plant in block.plants)
    ]
    said = " and ".join(words) or f"growth up to {f'year {year}' if year is not None else 'the year in which they come out'}"
    remedy = 'name its plants, or write spread = "15 ft" and height = "15 ft" for the block'
    if not words:
        remedy = "give the plant years_to_full_size, or pairs of year and spread as its growth"
    yield Finding(
        "light_unknown",
        "note",
        f"block {block.name}: the light of {trees:,} trees is not known, as their {said} is not",
        f"{trees:,} trees",
        "",
        remedy,
    )


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
            open_h, least, wanted = (float(v[worst]) for v in (light.open_h, light.sun_h, least_h))
            share, get = (f"{len(dark):,} of {len(known):,} trees", "get") if len(known) > 1 else ("its tree", "gets")
            leaves = np.array([*(plant.remove_year > 0 for plant in block.plants), False])[trees.plant[dark]]
            if leaves.any() and light.year is None:
                share += f" ({int(leaves.sum()):,} of them fillers, in the last year in which they stand)"
            cause = "the terrain takes most of it" if open_h < wanted else "canopies and what stands round them take the rest"
            how = "" if wanted == FULL_SUN_H else ", counted by how squarely it meets the two sides of the hedge"
            when = "" if light.year is None else f" in year {light.year}"
            yield Finding(
                "sun_short",
                "warn",
                f"block {block.name}{when}: {share} {get} less than {wanted:g} h of direct sun a day in the season{how}; the darkest "
                f"{least:.1f} h of {open_h:.1f} h, {cause}",
                f"{least:.1f} h",
                f"{wanted:g} h",
                "widen the step or the row distance, hold the plants smaller, or plant what bears in part shade",
                geometry=shapely.MultiPoint(np.column_stack([trees.x[dark], trees.y[dark]])),
            )
