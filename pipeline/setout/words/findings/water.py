"""What is said of water: need, pipes, pressure, sources."""

from __future__ import annotations

from typing import Final

from setout.words.findings.told import Words

WORDS: Final[dict[str, Words]] = {
    "water_no_emitter": Words(
        "the plan names no emitter: reach and static pressure are told, no pipe, flow or hours",
        remedy='add water.emitter, with flow = "1 gal/h" and at = "15 psi"',
    ),
    "water_no_elevation": Words(
        "without a DEM the pressure at the trees is unknown: pipes are sized as on level ground, and no tree is called watered",
        remedy="name the DEM in site.dem",
    ),
    "water_source_unknown": Words(
        "water point {point} does not say its {lacks:word}: nothing is reckoned for the trees that it serves",
        remedy="add a column such as {column:word}, or water.{key} to the plan file",
        example={"point": "w1", "lacks": "pressure_and_flow", "column": "pressure_column", "key": "pressure"},
    ),
    "water_assumed": Words(
        "taken as is common practice, for the plan file does not say: {settings:series}",
        remedy="write what your makers and your water supplier say",
        example={"settings": ("efficiency 0.9", "max_velocity 5 ft/s")},
    ),
    "water_height_assumed": Words(
        "the DEM has no height at {places:n place|places} along pipes[[, at water point {points:list8}]][[, at valve {valves:list8}]]"
        "[[, at {trees:n tree|trees} of row {rows:list8}]]: pipes and pressures are reckoned with that of the nearest part of the "
        "pipes that has one[[; the pressure at {trees:n tree itself|trees themselves} is unknown]]",
        remedy="level those places, or give a DEM without the gap",
        example={"places": 12, "points": ("w1",), "valves": ("z1",), "trees": 9, "rows": ("A-1", "A-2")},
    ),
    "water_need_unknown": Words(
        "the need of {n:count} trees is unknown: whether they are watered cannot be told, nor the hours of their zones",
        remedy='add water.eto = "0.28 in/day" or water.climate, and the size of their plants',
        example={"n": 21},
    ),
    "not_watered": Words(
        "[[{n:n tree is|trees are}]][[tree {tree} is]] not watered[[ in zone {zones:list8}]][[ by zone {zone}]]: {reason:word}",
        "[[{lowest_kpa:pressure} at the lowest]][[{given_lpd:.1f} l/day in all the hours allowed]][[{allowed_h:.1f} h/day allowed]]"
        "[[{weak:word}]]",
        "[[{asked_kpa:pressure}]][[{most_lpd:.1f} l/day]][[{wanted_h:.1f} h/day for all zones of the water point]]",
        "[[{mend:word}]]",
        "is not watered: {reason:word}",
        example={
            "n": 120,
            "tree": "",
            "zones": ("z1", "z2"),
            "zone": "",
            "reason": "low_pressure",
            "lowest_kpa": 70.0,
            "asked_kpa": 100.0,
            "given_lpd": None,
            "most_lpd": None,
            "allowed_h": None,
            "wanted_h": None,
            "weak": None,
            "mend": "mend_low_pressure",
        },
    ),
    "no_emitter_near": Words(
        "tree {tree} has no emitter near enough; the nearest is of zone {zone}",
        "{away_m:length}",
        "{allowed_m:length}",
        "lead an emitter to it, or move the tree to the lateral",
        example={"tree": "A-1-1", "zone": "z1", "away_m": 2.4, "allowed_m": 1.0},
    ),
    "water_source_short": Words(
        "water point {point} gives less a day than its trees need at the peak",
        "{given_lpd:,.0f} l/day",
        "{need_lpd:,.0f} l/day",
        "allow more hours or days, find more flow, add storage, or plant less on it",
        example={"point": "w1", "given_lpd": 30000.0, "need_lpd": 36000.0},
    ),
    "water_spread": Words(
        "pressure differs by more than the limit among emitters of one valve in zone {zones:list8}; at the worst its ground falls "
        "{fall_m:length}. On level ground a lateral of the widest pipe may be {longest_m:length0} long each way, on sloping ground it "
        "may not fall more than {limit_m:length}",
        "{spread_kpa:pressure} at the worst",
        "{allowed_kpa:pressure}",
        "take pressure-compensating emitters (water.emitter.range), more water points or valves, or wider pipe",
        example={"zones": ("z1", "z2"), "fall_m": 6.1, "longest_m": 90.0, "limit_m": 1.2, "spread_kpa": 48.0, "allowed_kpa": 20.0},
    ),
    "water_over_range": Words(
        "{n:count} trees have more pressure than their emitters are made for",
        "{most_kpa:pressure}",
        "{made_for_kpa:pressure}",
        "regulate the pressure of their rows, or take emitters of a wider range",
        example={"n": 40, "most_kpa": 420.0, "made_for_kpa": 350.0},
    ),
    "water_fast": Words(
        "water runs too fast in {n:count} stretches of pipe even in the widest, at the worst in a {pipe}",
        "{speed_ms:speed}",
        "{limit_ms:speed}",
        "add wider pipe to the list of diameters, or more zones",
        example={"n": 3, "pipe": "main", "speed_ms": 1.9, "limit_ms": 1.5},
    ),
    "pipe_through_screen": Words(
        "pipes to other plants pass through the screen {block} in {n:n place|places}",
        "{n:count}",
        "0",
        "lay them between two of its plants before those are planted, or name the screen's line as a barrier (water.barriers) with "
        "a sleeve",
        example={"block": "H", "n": 2},
    ),
    "need_weather_taken": Words(
        "{source} does not hold all that reference ET is reckoned from: {method:word}[[, with {taken:codes}]]",
        remedy="add humidity or dew point, wind and solar radiation or sunshine, if a station near has them",
        example={"source": "climate.csv", "method": "penman_monteith", "taken": ("lowest_as_dew_point", "usual_wind")},
    ),
    "need_no_weather": Words(
        "what trees need is not known: the plan gives no reference ET",
        remedy='write eto = "0.28 in/day" or climate = "climate.csv" in [water]',
    ),
    "need_much_eto": Words(
        "reference ET of {eto_mm:.1f} mm/day is more than the hottest deserts have as the mean of a month",
        "{eto_mm:.1f} mm/day",
        "{much_mm:g} mm/day",
        "look at its unit: in/day or mm/day",
        example={"eto_mm": 25.4, "much_mm": 12.0},
    ),
    "need_peak_only": Words(
        "one reference ET was given: it is taken for the peak, and need by month is not known",
        remedy="give eto by month, or a climate file, for hours by month",
    ),
    "need_month_missing": Words(
        "reference ET of {months:list} is not known: need by month is left out",
        remedy="add the month to the climate file",
        example={"months": ("May", "June")},
    ),
    "need_season_taken": Words(
        "how long leaves last after your leaf-out is not known: it is taken as long as FAO-56 Table 11 has it for California",
        remedy="name a climate file with temperatures, whose autumn then ends the season",
    ),
    "need_no_season": Words(
        "when [[{plant} is]][[{plants:series} are]] in leaf is not known: need and hours by month are left out, and the need at the peak "
        "is that of mid-season with the greatest reference ET of the year",
        remedy='write leaf_out = "15 April" in [water], or name a climate file with temperatures that fall below 10 C in winter',
        example={"plant": "apple", "plants": ()},
    ),
    "need_no_kc": Words(
        "[[block {block}: ]]the water that [[{plant}]][[{nameless:word}]] needs is not known: there is no crop coefficient for it",
        remedy="{mend:word}",
        example={"block": "A", "plant": "apple", "nameless": "", "mend": "mend_no_kc"},
    ),
    "need_no_spread": Words(
        "[[block {block}: ]]the water that [[{plant}]][[{nameless:word}]] needs is not known: its spread is not",
        remedy='give spread = "15 ft" in the block',
        example={"block": "A", "plant": "", "nameless": "plant_without_a_name"},
    ),
    "need_no_growth": Words(
        "[[block {block}: ]]how [[{plant}]][[{nameless:word}]] grows is not known: its need is that of full size in every year",
        remedy="give years_to_full_size in a plant table",
        example={"block": "A", "plant": "apple", "nameless": ""},
    ),
}
