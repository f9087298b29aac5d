"""Growing: size, cover, alley and need of every plant, year by year."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from setout.geometry.places.growth import leaves_of, plant_height_at, plant_spread_at
from setout.model import Block, BlockRoom, ClassNeed, GrowthLine, Plant, Trees
from setout.stages.room.blocks import clear_alley_m


def growth_of(blocks: Sequence[Block], trees: Trees, rooms: Sequence[BlockRoom], needs: Sequence[ClassNeed] = ()) -> tuple[GrowthLine, ...]:
    """Let a planting grow."""
    by_class = {(need.block, need.plant): dict(need.lpd_by_year) for need in needs}
    lines: list[GrowthLine] = []
    for room in rooms:
        block, cover = blocks[room.block], dict(room.cover_by_year)
        own = trees.plant[trees.block == room.block]
        counts = np.bincount(own[own >= 0], minlength=len(block.plants)).tolist()
        alley = {year: _alley(block, year) for year in cover}
        for members in _alike(block.plants, counts):
            plant, water = block.plants[members[0]], by_class.get((room.block, members[0]), {})
            count = sum(counts[index] for index in members)
            for year, share in cover.items():
                stands = count if year < leaves_of(plant) else 0
                lines.append(
                    GrowthLine(
                        block.name,
                        plant.name,
                        year,
                        stands,
                        plant_spread_at(plant, year),
                        plant_height_at(plant, year),
                        alley[year],
                        share,
                        water.get(year, float("nan")),
                    )
                )
    return tuple(lines)


def _alike(plants: Sequence[Plant], counts: Sequence[int]) -> list[list[int]]:
    """Bring varieties together that grow alike: one list of indexes for each plant, stay and growth."""
    groups: dict[tuple[object, ...], list[int]] = {}
    for index, (plant, count) in enumerate(zip(plants, counts, strict=True)):
        if plant.name and count:
            groups.setdefault((plant.name, plant.remove_year, plant.growth), []).append(index)
    return list(groups.values())


def _alley(block: Block, year: int) -> float:
    """Return the clear alley of a block in a year, between the plants that stand then."""
    standing = [p for p in block.plants if year < leaves_of(p)]
    return clear_alley_m(block.pattern, [replace(p, spread_m=plant_spread_at(p, year)) for p in standing])
