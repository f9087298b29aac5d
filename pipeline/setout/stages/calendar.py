"""Calendar: the year's work of a planting at maturity, by block, job and month."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from setout.model import Block, BlockRoom, Trees, WorkLine
from setout.tables.chores import JOBS, PRUNING, WATERING_CHECKS, chore_for


def calendar_of(blocks: Sequence[Block], trees: Trees, rooms: Sequence[BlockRoom], *, south: bool, watered: bool) -> tuple[WorkLine, ...]:
    """Reckon the year's work."""
    out: list[WorkLine] = []
    for room in rooms:
        block = blocks[room.block]
        own = trees.plant[trees.block == room.block]
        counts = np.bincount(own[own >= 0], minlength=len(block.plants))
        kept = [(p, int(n)) for p, n in zip(block.plants, counts, strict=True) if p.name and n and not p.remove_year]
        for job in JOBS:
            if job == WATERING_CHECKS and not watered:
                continue
            months, sources = np.zeros(12), list[str]()
            for plant, number in kept:
                chore = chore_for(job, plant.habit, plant.species, plant.height_m)
                if chore is None:
                    continue
                # pruning is shared out by the number of plants: their own hours are in the block's
                hours = chore.hours * number
                if job == PRUNING:
                    hours = room.hours_per_year * number / sum(n for _, n in kept)
                months += hours * np.roll(chore.months, 6 if south else 0)
                sources += room.hours_sources if job == PRUNING and room.hours_sources else (chore.source,)
            if sources:
                known = bool(np.isfinite(months).all())
                hours = float(months.sum())
                by_month = tuple(months.tolist()) if known else ()
                out.append(WorkLine(block.name, job, hours, by_month, tuple(dict.fromkeys(sources))))
    return tuple(out)
