"""What codes are called: one word or phrase for each, wherever a reader meets it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

TERMS: Final[Mapping[str, str]] = {
    # why ground is taken out
    "no_elevation": "no elevation",
    "slope": "slope",
    "above_pressure": "too high for water pressure",
    "beyond_reach": "beyond reach of water",
    "outside_blocks": "outside every block",
    "too_narrow": "too narrow",
    "too_small": "too small",
    # what becomes of ground
    "gap_planted": "it may be planted all the same, as the plan file says",
    "gap_left": "nothing is planted there",
    "trees_dry": "its trees are told as dry",
    "not_planted": "it is not planted",
    # why cold air harms a plant
    "tender": "tender",
    "half-hardy": "half-hardy",
    "bloom at risk": "bloom at risk",
    "early_bloom": "early bloom",
    # light
    "spread": "spread",
    "height": "height",
    "counted_on_wall": "counted by how squarely it meets the two sides of the hedge",
    "terrain_in_sun": "the terrain takes most of it",
    "canopies_in_sun": "canopies and what stands round them take the rest",
    "north_and_south": "north and south of each other",
    "east_and_west": "east and west of each other",
    "crowns_fill_room": "reckoned for crowns that fill their room, as the plants' sizes are not known",
    "shades_in_morning": "it shades it in the morning instead",
    # work of the year
    "pruning": "pruning",
    "thinning": "thinning",
    "mulching": "mulching",
    "watering_checks": "watering checks",
    # plants, of their figures
    "plant": "[[{plant}||the plant]][[ ({variety})]]",
    "plant_cut": "[[{plant}||the plant]][[ ({variety})]]: {n} of {asked}",
    # why a tree is watered, or is not
    "need_met": "need met",
    "too_far": "too far",
    "too_high": "too high",
    "low_pressure": "too little pressure",
    "low_flow": "too little flow",
    "hours_out": "hours run out",
    "barrier": "barrier",
    "no_point": "no water point",
    "volume_out": "source gives too little a day",
    "need_unknown": "need unknown",
    "flow_unknown": "pressure and flow unknown",
    # what mends it
    "mend_too_far": "add a water point nearer to them, or lengthen max_run",
    "mend_too_high": "add a water point higher up, a booster pump, or lower min_pressure",
    "mend_low_pressure": "take wider pipe, an emitter for less pressure, a booster pump, or a water point higher up",
    "mend_low_flow": "take emitters of more flow or more of them, allow more hours, or find a water point of more flow",
    "mend_hours_out": "allow more hours or days, find a source of more flow, or plant less on it",
    "mend_volume_out": "find a source of more volume, add storage, or plant less on it",
    "mend_barrier": "name a sleeve where a pipe may cross, or add a water point on their side",
    "mend_no_point": "name the water points",
    "mend_short_runs": "take more emitters at each tree, so that its zones run shorter, for there is water enough; or allow more "
    "hours or days, find a source of more flow, or plant less on it",
    "mend_weak_point": "take emitters of less flow or fewer of them, or find a water point of more flow",
    "mend_zone": "see what the plan says of its zone",
    "weak_point": "its water point gives less than the emitters of one tree",
    # what a water point does not say
    "pressure": "pressure",
    "flow": "flow",
    "pressure_and_flow": "pressure and flow",
    "pressure_column": "pressure_psi",
    "flow_column": "flow_gpm",
    # how reference evapotranspiration is had
    "by_plan": "as the plan gives it",
    "by_file": "as the climate file gives it",
    "hargreaves_samani": "Hargreaves-Samani from temperatures alone",
    "penman_monteith": "FAO-56 Penman-Monteith",
    "radiation_by_range": "radiation from the range of temperature",
    "lowest_as_dew_point": "the lowest temperature as dew point",
    "usual_wind": "wind of 2 m/s",
    "kc_given_by_month": "yours (water.kc)",
    "kc_given": "yours (water.kc), the same all season",
    # figures of a network of pipes
    "pipe_length_m": "length of a pipe [m]",
    "pipe_inside_mm": "inside diameter [mm]",
    "node_elevation_m": "elevation [m]",
    "emitter_lph_at_1_m": "flow of an emitter at 1 m of head [l/h]",
    "emitter_exponent": "emitter exponent",
    "hazen_williams_c": "Hazen-Williams C",
    "wall_roughness_mm": "roughness of the wall [mm]",
    "fittings_share": "loss in fittings, as a share of friction",
    "fittings_velocity_heads": "loss in fittings, as velocity heads",
    # whose need is not known, and what mends it
    "plant_without_a_name": "a plant without a name",
    "trees_outside": "trees outside all blocks",
    "mend_no_kc": "give kc_mid in a plant table, or kc in [water]",
    "mend_no_kc_nameless": "name the plants of the block by their species, or give kc_mid in a plant table, or kc in [water]",
    # which way a set-out is turned
    "clockwise": "clockwise",
    "counter_clockwise": "counter-clockwise",
}


def called(code: str) -> str:
    """Return what a code is called; a name that the user gave as it is.

    >>> called("too_narrow"), called("power line")
    ('too narrow', 'power line')
    """
    return TERMS.get(code, code)
