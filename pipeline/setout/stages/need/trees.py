"""From weather, plants and spacing to litres a tree and day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from setout.geometry.places.growth import canopy_m2, cell_m2, grown_share, judged_in, kept_of, leaves_of, natural_of, years_of
from setout.model import Block, ClassNeed, Finding, Need, NeedSettings, Pattern, Plant, Site, Trees, Weather
from setout.model.system import IN_ROWS
from setout.stages.need.climate import Climate, climate_of
from setout.stages.need.rain import effective_rain
from setout.stages.need.use import drawing_m2, gross, kc_by_month
from setout.tables.crops import DAYS, LENGTH_TAKEN, Coefficients, coefficients_of, scaled, season_of

LAST_YEAR: Final = 60
BEYOND: Final = 5
"""Years that are told beyond the year of full size."""
NAN: Final = float("nan")


@dataclass(frozen=True, slots=True)
class _Setting:
    """What all classes have in common."""

    climate: Climate
    settings: NeedSettings
    latitude: float


@dataclass(frozen=True, slots=True)
class _Stand:
    """A block's plants and how many trees of each there are."""

    block: Block
    counts: tuple[tuple[Plant, int], ...]

    def pattern(self, year: float) -> Pattern:
        """Return a pattern that gives each tree that stands in a year its ground: what fillers leave goes to the others."""
        own = self.block.pattern
        every, stands = (sum(n for _, n in self.counts), sum(n for p, n in self.counts if leaves_of(p) > year or np.isinf(leaves_of(p))))
        if not 0 < stands < every:
            return own
        # the places of fillers lie between the rows as well as along them: no rectangle bounds what stays
        kind = own.kind if own.kind in IN_ROWS else "offset"
        return replace(own, kind=kind, step_m=own.step_m * every / stands)


def need_of(site: Site, trees: Trees, weather: Weather | None, settings: NeedSettings, year: int | None = None) -> Need:
    """Return the water that every tree needs.

    Need = ETo x Kc x ground that draws water, less effective rain on that ground, over efficiency and (1 - leaching
    fraction): 1 mm on 1 m2 is 1 litre. The ground that draws water is the tree's ground times the canopy factor.
    """
    climate = climate_of(weather, settings, site.frame.lat, site.frame.height_m)
    common = _Setting(climate, settings, site.frame.lat)
    keys, class_of, counts = _classes(trees)
    classes, findings = list[ClassNeed](), list(climate.findings)
    stands = _stands(site, keys, counts)
    for (block, plant), count in zip(keys, counts, strict=True):
        named = block >= 0 and 0 <= plant < len(site.blocks[block].plants)
        grown = site.blocks[block].plants[plant] if named else Plant("")
        made = _class_need(common, (block, plant), count, stands.get(block), grown)
        classes.append(made)
        if np.isfinite(climate.peak_mm):
            findings += _unknown(made, site.blocks[block].name if block >= 0 else "", grown)
    findings += [*_no_season(site, classes, common), *_season_taken(classes)]
    at = np.array([one.peak_lpd if year is None else in_year(one, year) for one in classes] or [NAN])
    need = at[class_of] if len(trees) else np.empty(0)
    staying = [c for c in classes if c.is_known and not _temporary(site, c)]
    told = tuple(dict.fromkeys(findings))  # varieties of one plant have the same
    return _whole(Need(need, class_of, tuple(classes), year, findings=told), staying, common)


def _stands(site: Site, keys: list[tuple[int, int]], counts: list[int]) -> dict[int, _Stand]:
    out = {}
    for index, block in enumerate(site.blocks):
        own = [(plant, n) for (of, plant), n in zip(keys, counts, strict=True) if of == index]
        grown = tuple((block.plants[plant] if 0 <= plant < len(block.plants) else Plant(""), n) for plant, n in own)
        out[index] = _Stand(block, grown)
    return out


def _classes(trees: Trees) -> tuple[list[tuple[int, int]], np.ndarray, list[int]]:
    """Return (block, plant) of every class, the class of every tree, and how many trees each has."""
    both = np.column_stack([trees.block, trees.plant]).astype(np.int64)
    if not len(both):
        return [], np.empty(0, np.int64), []
    span = int(both[:, 1].max()) + 2
    key, of, count = np.unique((both[:, 0] + 1) * span + both[:, 1] + 1, return_inverse=True, return_counts=True)
    return [(int(k) // span - 1, int(k) % span - 1) for k in key], of.astype(np.int64), count.tolist()


def _class_need(common: _Setting, key: tuple[int, int], count: int, stand: _Stand | None, plant: Plant) -> ClassNeed:
    settings, climate = common.settings, common.climate
    kc_month, kc_peak, source = crop_use(plant, settings, common.latitude, climate.warm)
    blank = ClassNeed(*key, count, NAN, NAN, NAN, kc_month, kc_peak, (), (), NAN, 0, (), source)
    if stand is None or not np.isfinite(kc_peak):
        return blank
    last = judged_in(plant)
    ground = cell_m2(stand.pattern(last))
    canopy = _canopy(stand, plant, last if np.isfinite(years_of(plant)) else np.inf)
    area = drawing_m2(canopy, ground, settings.canopy_factor)
    blank = replace(blank, ground_m2=ground, canopy_m2=canopy, factor_m2=area)
    if not (np.isfinite(area) and np.isfinite(climate.peak_mm)):
        return blank
    wet, dry = by_month(kc_month, climate, settings)
    design = wet if settings.rain_in_design else dry
    if design:
        peak_mm, month = max(design), int(np.argmax(design)) + 1
        kc_peak = kc_month[month - 1]
    else:
        peak_mm, month = gross(climate.peak_mm * kc_peak, settings.efficiency, settings.leaching), 0
    return replace(
        blank,
        kc_peak=kc_peak,
        lpd_by_month=tuple(area * mm for mm in wet),
        dry_lpd_by_month=tuple(area * mm for mm in dry),
        peak_lpd=area * peak_mm,
        peak_month=month,
        lpd_by_year=_by_year(stand, plant, peak_mm, settings),
    )


def crop_use(
    plant: Plant, settings: NeedSettings, latitude: float, warm: tuple[int, int] | None = None
) -> tuple[tuple[float, ...], float, tuple[str, ...]]:
    """Return the crop coefficients of a plant by month, that at the peak, and where they and the season come from."""
    if len(settings.kc) == 12:
        return settings.kc, max(settings.kc), ("kc_given_by_month",)
    found = coefficients_of(plant.species, plant.kc_mid, grass=settings.grass, frost=settings.frost)
    if settings.kc:
        kc = settings.kc[0]
        flat = Coefficients(plant.species, kc, kc, kc, "deciduous", "kc_given")
        found = flat if found is None else scaled(found, kc)
    if found is None:
        return (), NAN, ()
    most = max(found.ini, found.mid, found.end)
    season = season_of(found.leaves, latitude, settings.leaf_out, warm)
    if season is None:
        return (), most, (found.source,)
    return kc_by_month(found, season), most, (found.source, season.source)


def by_month(kc: tuple[float, ...], climate: Climate, settings: NeedSettings) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return gross need by month [mm/day] on ground that draws water: less effective rain, and without rain."""
    if not climate.eto_mm or not kc:
        return (), ()
    use = [k * eto for k, eto in zip(kc, climate.eto_mm, strict=True)]
    rain = climate.rain_mm or (0.0,) * 12
    net = [
        max(mm * days - effective_rain(fallen, mm * days, settings.rain), 0.0) / days
        for mm, fallen, days in zip(use, rain, DAYS, strict=True)
    ]
    wet, dry = (tuple(gross(mm, settings.efficiency, settings.leaching) for mm in part) for part in (net, use))
    return wet, dry


def _canopy(stand: _Stand, plant: Plant, year: float) -> float:
    """Return the canopy of a plant so many years after planting [m2]."""
    natural, kept = natural_of(plant), kept_of(plant)
    grown = natural if np.isinf(year) else natural * grown_share(plant, year)
    return canopy_m2(stand.pattern(year), grown, kept)


def _by_year(stand: _Stand, plant: Plant, peak_mm: float, settings: NeedSettings) -> tuple[tuple[int, float], ...]:
    """Return the peak need of every year after planting [l/day]."""
    grown = years_of(plant)
    if not np.isfinite(grown):
        return ()
    last = int(min(max(np.ceil(grown) + BEYOND, plant.remove_year), LAST_YEAR))
    areas = [drawing_m2(_canopy(stand, plant, y), cell_m2(stand.pattern(y)), settings.canopy_factor) for y in range(1, last + 1)]
    gone = leaves_of(plant)
    return tuple((y, 0.0 if y >= gone else area * peak_mm) for y, area in enumerate(areas, 1))


def in_year(need: ClassNeed, year: int) -> float:
    """Return the peak need of a class in some year after planting [l/day]; that of full size where growth is unknown."""
    if not need.lpd_by_year:
        return need.peak_lpd
    if year < 1:
        return 0.0
    return need.lpd_by_year[min(year, len(need.lpd_by_year)) - 1][1]


def most_together(classes: Sequence[ClassNeed]) -> float:
    """Return the most that all trees of some classes need at one time."""
    if not classes or not all(one.is_known for one in classes):
        return NAN
    years = max(len(one.lpd_by_year) for one in classes)
    stay = [one for one in classes if not (one.lpd_by_year and one.lpd_by_year[-1][1] == 0)]
    by_year = (sum(one.trees * in_year(one, year) for one in classes) for year in range(1, years + 1))
    return float(max(sum(one.trees * one.peak_lpd for one in stay), *by_year, 0.0))


def _temporary(site: Site, need: ClassNeed) -> bool:
    return site.blocks[need.block].plants[need.plant].remove_year > 0


def _whole(need: Need, staying: list[ClassNeed], common: _Setting) -> Need:
    """Add what all trees need together."""
    climate, settings = common.climate, common.settings
    effective = tuple(
        effective_rain(fallen, eto * days, settings.rain) for fallen, eto, days in zip(climate.rain_mm, climate.eto_mm, DAYS, strict=False)
    )
    made = replace(need, eto_mm=climate.eto_mm, rain_mm=climate.rain_mm, effective_mm=effective, method=climate.method, taken=climate.taken)
    known = [one for one in need.classes if one.is_known]
    years = max((len(one.lpd_by_year) for one in known), default=0)
    totals = tuple((y, sum(one.trees * in_year(one, y) for one in known)) for y in range(1, years + 1))
    made = replace(made, lpd_by_year=totals, peak_eto_mm=climate.peak_mm)
    if not climate.eto_mm or not staying or not all(one.lpd_by_month for one in staying):
        return made
    months = tuple(sum(one.trees * one.lpd_by_month[m] for one in staying) for m in range(12))
    dry = [sum(one.trees * one.dry_lpd_by_month[m] for one in staying) for m in range(12)]
    month = int(np.argmax(months if settings.rain_in_design else dry))
    return replace(made, lpd_by_month=months, peak_month=month + 1, peak_eto_mm=climate.eto_mm[month])


def _season_taken(classes: Sequence[ClassNeed]) -> list[Finding]:
    """Tell where leaf-out is known and the end of the season is not."""
    if not any(one.is_known and one.source[-1].endswith(LENGTH_TAKEN) for one in classes):
        return []
    return [Finding("need_season_taken", "note")]


def _no_season(site: Site, classes: Sequence[ClassNeed], common: _Setting) -> list[Finding]:
    """Tell which plants' leaves nothing is known of: their need at the peak is, that of the months is not."""
    if not common.climate.eto_mm:
        return []
    bare = [one for one in classes if one.is_known and not one.kc_by_month]
    names = tuple(dict.fromkeys(site.blocks[one.block].plants[one.plant].name or "plants" for one in bare))
    if not names:
        return []
    plant, plants = (names[0], ()) if len(names) == 1 else ("", names)
    return [Finding("need_no_season", "warn", figures={"plant": plant, "plants": plants})]


def _unknown(need: ClassNeed, block: str, plant: Plant) -> list[Finding]:
    """Tell what keeps the need of a class from being known."""
    nameless = "" if plant.name else "plant_without_a_name" if block else "trees_outside"
    who: dict[str, Any] = {"block": block, "plant": plant.name, "nameless": nameless}
    if not np.isfinite(need.kc_peak):
        mend = "mend_no_kc_nameless" if nameless else "mend_no_kc"
        return [Finding("need_no_kc", "warn", figures={**who, "mend": mend})]
    if not need.is_known:
        return [Finding("need_no_spread", "warn", figures=who)]
    return [] if need.lpd_by_year else [Finding("need_no_growth", "note", figures=who)]
