"""The order of a comparison: one survey, one terrain, then every option laid out, looked at and weighed."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np

from setout.errors import Fault, PlanFaults, SetoutError
from setout.model import Block, Finding, OrderLine, Site, Trees, Weather
from setout.model.comparison import Comparison, Fit, Outcome
from setout.model.shade import Shade
from setout.model.sungroups import sun_groups
from setout.planfile import Plan
from setout.planfile.block import BlockSection
from setout.planfile.options import Option, options_of, steps_as_options
from setout.progress import Say, each, silent
from setout.read import plan_file
from setout.read.survey import read_survey
from setout.run.joints import ground_by_block
from setout.run.land import STAGES, Land, filled_on, land_of, with_blocks
from setout.run.lighting import ground_height, shade_at, sky_over
from setout.run.steps import Placed, Steps
from setout.run.watering import need_for, settings_of
from setout.stages import account, assign, calendar, room, terrain
from setout.stages import check as look
from setout.stages import compare as weigh
from setout.stages import light as sun
from setout.stages.need import most_together
from setout.units import FOOT
from setout.words.comparing import step_text
from setout.words.refusals import in_words
from setout.write.folder import OutputFolder, check_writable
from setout.write.products import FILES

SWEEP = (0.5, 0.75, 1.0, 1.25, 1.5)
"""Steps compared where the plan file names no option, as shares of the block's own."""
LOOKED_AT = 1000
"""Trees of a block whose light is reckoned, where it has more."""
NARROWEST, WIDEST = 0.25, 3.0
"""Steps looked at for a limit, as shares of the block's own."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What a grower asks for: hours of work in a week, or a number of trees."""

    hours_per_week: float | None = None
    trees: int | None = None


def compare(
    path: str | Path,
    out: str | Path | None = None,
    *,
    steps: Sequence[str] = (),
    block: str | None = None,
    limits: Limits = Limits(),
    say: Say = silent,
    placed: Placed | None = None,
) -> Comparison:
    """Put several ways of planting the same ground side by side."""
    from setout.write.compare import page

    path = Path(path)
    folder = Path(out) if out is not None else path.parent / "out"
    clock = Steps(("read the plan file", "read the survey", *STAGES, "lay options out", "closest spacing"), say)
    with clock.step("read the plan file"):
        the_plan, mapping, own = plan_file.read_with_mapping(path)
        check_writable(folder)
        asked, block = block is not None, _block_named(the_plan, block, path)
        options = _options(the_plan, mapping, path, own, (steps, block))
        if asked:
            options = tuple(o for o in options if the_plan.block[o.index].name == block)
    with clock.step("read the survey"):
        surveyed = read_survey(the_plan, path.parent)
    with in_words(the_plan.units):
        land = land_of(the_plan, surveyed, clock)
    with clock.step("lay options out"):
        bench = _Bench(the_plan, land, shade_at(the_plan, surveyed, land.site), surveyed.weather)
        outcomes = [replace(bench.outcome(index, None), planned=True) for index in _compared(the_plan, options, block)]
        faults: list[Fault] = []
        for option in each(options, "options", say):
            try:
                outcomes.append(bench.outcome(option.index, option))
            except SetoutError as error:
                faults += [Fault(f.what, f'option "{option.name}": {f.where}', f.remedy) for f in error.faults]
    if faults:
        raise PlanFaults(tuple(faults))
    index = next((k for k, section in enumerate(the_plan.block) if section.name == block), 0)
    with clock.step("closest spacing"):
        fits = tuple(bench.fits(index, limits))
    site = land.site
    prices = the_plan.prices.value()
    result = Comparison(site.name, site.units, prices.currency, weigh.weighed(outcomes), fits, tuple(bench.findings.values()))
    with OutputFolder(folder, FILES["compare"], placed) as staging:
        page.write_comparison(result, staging.path)
    clock.done()
    return result


def _block_named(the_plan: Plan, name: str | None, path: Path) -> str:
    """Return the name of a block as the plan file writes it; of the first one where none is named."""
    names = [section.name for section in the_plan.block]
    if name is None:
        return names[0]
    for known in names:
        if known.casefold() == name.casefold():
            return known
    raise SetoutError(f'there is no block "{name}"', path.name, f"the blocks are {', '.join(names[:12])}")


def _options(the_plan: Plan, mapping: dict[str, object], path: Path, own: object, asked: tuple[Sequence[str], str]) -> tuple[Option, ...]:
    """Return the options to compare: those asked for, else the plan file's, else a sweep round the block's own step."""
    steps, block = asked
    read = partial(options_of, the_plan, mapping, path.name, own)  # type: ignore[arg-type]  # own plants come as object
    if steps:
        return read(given=steps_as_options(steps, block))
    if any(str(option.get("block", block)).casefold() == block.casefold() for option in the_plan.option):
        return read()
    section = next(s for s in the_plan.block if s.name == block)
    if section.step is None:
        raise SetoutError(f"block {block} has no step to vary", path.name, "add [[option]] tables to the plan file, or name --steps")
    unit, word = (FOOT, "ft") if the_plan.units == "us" else (1.0, "m")
    shown = [f"{round(section.step * share / unit, 1):g} {word}" for share in SWEEP if share != 1.0]
    found: list[Option] = []
    for step in shown:  # nobody asked for these: those that the block's own keys do not allow are left out
        with suppress(PlanFaults):
            found += read(given=steps_as_options([step], block))
    return tuple(found)


def _compared(the_plan: Plan, options: Sequence[Option], block: str) -> list[int]:
    """Return the blocks that options are for, in order."""
    wanted = {option.index for option in options}
    return sorted(wanted) or [k for k, section in enumerate(the_plan.block) if section.name == block]


class _Bench:
    """Lays options out on the same land and measures them alike."""

    def __init__(self, the_plan: Plan, land: Land, shade: Shade, weather: Weather | None) -> None:
        self.plan, self.land, self.weather = the_plan, land, weather
        self.findings: dict[str, Finding] = {}
        self.unpriced: dict[str, None] = {}
        self.searching = False
        wanted, blocks = the_plan.light.value(), land.site.blocks
        sized = any(np.isfinite(block.height_m) for block in blocks)
        self.sky = sky_over(wanted, shade, land.site, land.ground) if sized and wanted.compute != "never" else None

    def outcome(self, index: int, option: Option | None) -> Outcome:
        """Plant the property with one block as an option has it, and sum that block up."""
        blocks = list(self.land.site.blocks)
        if option is not None:
            blocks[index] = _as(blocks[index], option.section)
        name = option.name if option is not None else "as planned"
        return self._measured(index, blocks, name, option.said if option is not None else "")

    def _measured(self, index: int, blocks: list[Block], name: str, said: str) -> Outcome:
        land = with_blocks(self.land, blocks, self.plan)
        with in_words(land.site.units):
            filled, _ = filled_on(land)
        site, rows = land.site, filled.rows
        trees, _ = assign.assign(filled.trees, site.blocks)
        nearest, _ = look.nearest_neighbour(trees.x, trees.y, trees.partner if len(trees.partner) else None)
        nearest = np.where(np.isfinite(nearest), nearest, np.nan)
        ground = ground_by_block(site, land.usable)
        roomy = room.room_of(site, trees, nearest, rows, ground_m2=ground, rates=self.plan.rates).blocks
        allow, prices = self.plan.materials.value(), self.plan.prices.value()
        only = blocks[index].name
        order = [line for line in account.order_of(site.blocks, trees, allow.spares) if line.block == only]
        materials = account.materials_of(site.blocks, trees, rows, filled.works, allow)
        materials = [line for line in materials if line.block == only]
        cost, missing = weigh.first_cost(prices, order, materials)
        if missing and prices.items:
            self.unpriced |= dict.fromkeys(missing)
            self.findings["price_missing"] = Finding("price_missing", "note", figures={"items": tuple(self.unpriced)})
        works = calendar.calendar_of(site.blocks, trees, roomy, south=site.frame.lat < 0, watered=self.plan.water is not None)
        hours = float(sum(work.hours for work in works if work.block == only)) if _named(order) else float("nan")
        need, given = self._water(site, trees, index)
        figures = {
            **self._sun(site.blocks, trees, index),
            "need_lpd": need,
            "given_lpd": given,
            "ground_m2": ground[index],
            "work_h": hours,
            "plants": sum(line.plants for line in order),
            "posts": int((filled.works.post_block == index).sum()),
            "first_cost": cost if order else float("nan"),
            "yearly_cost": weigh.yearly_cost(prices, hours),
            "watered": float(self.plan.water is not None),
        }
        return weigh.outcome_of(name, said, blocks[index], roomy[index], rows, figures, missing)

    def _water(self, site: Site, trees: Trees, index: int) -> tuple[float, float]:
        """Return what a block's trees need at the peak, and what all water points give on an average day [l]."""
        if self.plan.water is None or site.water is None:
            return float("nan"), float("nan")
        classes = need_for(self.plan, site, trees, self.weather).classes
        given = settings_of(self.plan).given_lpd(site.water.points.flow_lph)
        return most_together([one for one in classes if one.block == index]), float(given.sum())

    def _sun(self, blocks: Sequence[Block], trees: Trees, index: int) -> dict[str, float]:
        """Return figures of the sun on one block's trees, evenly along the walk and pairs whole where it has very many [h]."""
        own = np.flatnonzero(trees.block == index)
        if self.sky is None or self.searching or not len(own):
            return {}
        which = own[np.unique(np.linspace(0, len(own) - 1, min(LOOKED_AT, len(own))).astype(np.int64))]
        if trees.partner.size:
            which = np.union1d(which, trees.partner[which][trees.partner[which] >= 0])
        z = terrain.sample(self.land.ground, trees.x, trees.y)[0] if self.land.ground.elevations is not None else None
        hours, wall = sun.light_on(blocks, trees, ground_height(z, len(trees)), self.sky, which)
        groups = {name: hours[some] for name, some in sun_groups(blocks[index], trees, which, hours).items()}
        return weigh.sun_figures(groups) | {"sun_wall": bool(wall.any())}

    def fits(self, index: int, limits: Limits) -> list[Fit]:
        """Find the closest spacing of a block that keeps each limit."""
        self.searching = True
        own = self.land.site.blocks[index].pattern
        unit = FOOT / 4 if self.plan.units == "us" else 0.1
        low, high = NARROWEST * own.step_m, WIDEST * own.step_m
        out = []
        if limits.hours_per_week is not None:
            most = limits.hours_per_week
            keeps = lambda o: bool(o.work_h / weigh.WEEKS <= most)  # noqa: E731 - one line says it
            found, tried = weigh.closest(partial(self._at_step, index), keeps, low, high, unit)
            out.append(Fit("hours_per_week", most, found, tried))
        if limits.trees is not None:
            number = limits.trees
            found, tried = weigh.widest(partial(self._at_step, index), lambda o: o.trees >= number, low, high, unit)
            out.append(Fit("trees", number, found, tried))
        return out

    def _at_step(self, index: int, step_m: float) -> Outcome | None:
        """Plant a block with another step, its rows in the same proportion; None where that cannot be laid out."""
        blocks = list(self.land.site.blocks)
        pattern = blocks[index].pattern
        rows = pattern.row_distance_m * step_m / pattern.step_m
        blocks[index] = replace(blocks[index], pattern=replace(pattern, step_m=step_m, row_distance_m=rows))
        name = step_text(step_m, rows, self.plan.units)
        try:
            return self._measured(index, blocks, name, name)
        except SetoutError:
            return None


def _named(order: Sequence[OrderLine]) -> bool:
    return any(line.plant for line in order)


def _as(block: Block, section: BlockSection) -> Block:
    """Return a block as another section of the plan file has it, on its own ground."""
    return replace(block, pattern=section.to_pattern(), direction=section.way, plants=section.to_plants(), dealing=section.to_dealing())
