"""The work order: every job in the sequence of the trade, with each block's own quantities."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from setout.model.buying import MATERIALS
from setout.model.irrigation import MAIN, MANIFOLD
from setout.units import FOOT, show_area
from setout.words.materials import bought
from setout.words.staking import kind_label

if TYPE_CHECKING:
    from collections.abc import Iterator

    from setout.model import Planting
    from setout.model.staking import StakeSet

JOBS: Final = ("locate utilities", "survey", "clear", "rip", "trench", "stake", "dig", "plant", "water in", "mulch", "guard")
SITE: Final = "whole site"
HOW: Final = {
    "locate utilities": (
        "Before anything is driven or dug have buried lines marked (call 811 in the United States two to three working days "
        "ahead; the local service elsewhere). Private lines, to a well or a barn, are often not marked: ask the owner. Ask "
        "the owners of overhead lines how far to stay away."
    ),
    "survey": (
        "Occupy two monuments and measure the distances of control.csv. Stop if they do not agree. Corners are those of the "
        "survey file; a property line is for a licensed surveyor to mark."
    ),
    "clear": "The usable ground alone; keep what the plan keeps clear as it is. Permits for clearing are local.",
    "rip": "Along the rows, when the ground is dry enough to shatter; not across marked lines, and not on ground too "
    "steep for the machine.",
    "trench": "For mains and manifolds, each trench counted once; dig by hand near marked lines and slope or shore deep ones.",
    "stake": "Measure the block's baseline first (control.csv), then its first row, then the rows beside it; check a diagonal.",
    "dig": "As deep as the roots and twice as wide; by hand near marked lines.",
    "plant": "Look at variety and tag before each row; graft unions stay above the ground.",
    "water in": "On the day of planting, until the ground round the roots is settled.",
    "mulch": "Clear of the stem.",
    "guard": "On the day of planting: guards against rodents and deer; ties loose on the stakes.",
}
"""What goes with each job: common practice, from memory; local codes and licensed practice come first."""


@dataclass(frozen=True, slots=True)
class Job:
    """One line of the work order.

    Attributes
    ----------
    step, job : number and name of the step
    block : the block it is for, or the whole site
    quantity, unit : how much, in SI or as a number; None where it cannot be known
    shown : the quantity as people say it, or why there is none
    how : what goes with it
    """

    step: int
    job: str
    block: str
    quantity: float | None
    unit: str
    shown: str
    how: str


def work_order(planting: Planting, stakes: StakeSet) -> list[Job]:
    """Return the work order of a planting."""
    quantities = _Quantities(planting, stakes)
    made = {
        "locate utilities": quantities.locate(),
        "survey": quantities.survey(),
        "clear": quantities.clear(),
        "rip": quantities.rip(),
        "trench": quantities.trench(),
        "stake": quantities.stake(),
        "dig": quantities.by_block("holes"),
        "plant": quantities.plant(),
        "water in": quantities.by_block("plants"),
        "mulch": quantities.material("mulch", "m3", "none in the plan"),
        "guard": (*quantities.material("trunk_guard", "each", ""), *quantities.material("tree_stake", "each", "")),
    }
    jobs = []
    for step, job in enumerate(JOBS, 1):
        lines = list(made[job]) or [(SITE, None, "", "none in the plan")]
        jobs += [Job(step, job, *line, HOW[job]) for line in lines]
    return jobs


Line = tuple[str, float | None, str, str]
"""Block, quantity, unit, quantity as people say it."""


@dataclass(frozen=True, slots=True)
class _Quantities:
    """Quantities of a planting by job."""

    planting: Planting
    stakes: StakeSet

    def locate(self) -> Iterator[Line]:
        yield SITE, None, "", "before all else"

    def survey(self) -> Iterator[Line]:
        stakes = self.stakes
        yield (SITE, float(len(stakes.monuments)), "each", f"{len(stakes.monuments)} monuments, {len(stakes.legs)} distances")
        for leg in stakes.baselines:
            yield leg.block, leg.ground_m, "m", f"baseline {leg.ground:,.2f} {stakes.unit}, {leg.start} to {leg.end}"

    def clear(self) -> Iterator[Line]:
        usable, units = self.planting.usable, self.planting.site.units
        area = dict.fromkeys(usable.block, 0.0)
        for name, size in zip(usable.block, shapely.area(usable.geometry).tolist(), strict=True):
            area[name] += size
        for name in self.stakes.blocks:
            if area.get(name):
                yield name, area[name], "m2", show_area(area[name], units)
            else:
                yield name, None, "m2", "takes no ground of its own"

    def rip(self) -> Iterator[Line]:
        rows = self.planting.rows
        for index, block in enumerate(self.planting.site.blocks):
            own = rows.block == index
            if block.pattern.kind == "points" or not own.any():
                yield block.name, None, "m", "no rows"
            else:
                total = float(rows.length_m[own].sum())
                yield block.name, total, "m", f"{self._long(total)} in {int(own.sum()):,} rows"

    def trench(self) -> Iterator[Line]:
        irrigation = self.planting.irrigation
        network = irrigation.network if irrigation is not None else None
        if irrigation is None or network is None or not len(network):
            yield SITE, None, "m", "no pipes laid out in this plan"
            return
        own = np.flatnonzero(((network.kind == MAIN) | (network.kind == MANIFOLD)) & (network.parent >= 0))
        places = np.round(np.column_stack([network.x, network.y]), 2)
        trenches: dict[tuple[tuple[float, ...], ...], tuple[float, set[str]]] = {}
        for node in own.tolist():
            ends = tuple(sorted((tuple(places[node].tolist()), tuple(places[int(network.parent[node])].tolist()))))
            zone = int(network.zone[node])
            blocks = set(irrigation.zones[zone].blocks) if 0 <= zone < len(irrigation.zones) else set()
            length, known = trenches.get(ends, (float(network.length_m[node]), set()))
            trenches[ends] = (length, known | blocks)
        totals: dict[str, float] = {}
        for length, blocks in trenches.values():
            name = next(iter(blocks)) if len(blocks) == 1 else "shared by blocks"
            totals[name] = totals.get(name, 0.0) + length
        for name in (*self.stakes.blocks, "shared by blocks"):
            if totals.get(name):
                yield name, totals[name], "m", self._long(totals[name])

    def stake(self) -> Iterator[Line]:
        works = self.planting.works
        for index, (name, trees, _, _) in enumerate(self.by_block("")):
            ends = int((works.post_end & (works.post_block == index)).sum())
            posts = int((works.post_block == index).sum())
            beds = int((works.bed_block == index).sum())
            more = [f"{ends:,} end posts, {posts - ends:,} line posts"] if posts else []
            more += [f"{beds:,} beds"] if beds else []
            assert trees is not None
            yield name, trees, "each", ", ".join([f"{int(trees):,} places", *more])

    def by_block(self, what: str) -> Iterator[Line]:
        for index, name in enumerate(self.stakes.blocks):
            count = int((self.stakes.block == index).sum())
            yield name, float(count), "each", f"{count:,} {what}"

    def plant(self) -> Iterator[Line]:
        for kind in self.stakes.kinds:
            yield kind.block, float(kind.trees), "each", f"{kind.trees:,} {kind_label(kind)}"

    def material(self, item: str, unit: str, none: str) -> Iterator[Line]:
        """Yield an item of the materials by block, as their lines name it."""
        found: dict[str, tuple[float, list[str]]] = {}
        for line in self.planting.materials:
            if line.item != item or line.unit != unit:
                continue
            block = line.block or SITE
            total, said = found.get(block, (0.0, []))
            found[block] = (total + line.quantity, [*said, bought(line, self.planting.site.units).shown])
        for name in (*self.stakes.blocks, SITE):
            if name in found:
                yield name, found[name][0], unit, f"{' and '.join(found[name][1])} {MATERIALS[item].name}"
            elif none and name != SITE:
                yield name, None, unit, none

    def _long(self, length: float) -> str:
        return f"{length / FOOT:,.0f} ft" if self.planting.site.units == "us" else f"{length:,.0f} m"
