"""What is said of rows, plants, their room and partners."""

from __future__ import annotations

from typing import Any, Final

from setout.words.findings.told import Words

_ROOM: Final[dict[str, Words]] = {
    "canopy_overlap": Words(
        "block {block}: {n:count} of {of:count} canopies will reach into a neighbour's, typically by {typical_m:length1} "
        "({typical_share:percent} of the spread), at worst by {worst_m:length1} ({worst_share:percent})",
        "{typical_m:length1} typical, {worst_m:length1} worst",
        "at most {allowed_share:percent} of the spread",
        "widen the step or the rows, take a smaller size class, or keep the plants smaller (held_to) and count on the pruning",
        example={
            "block": "A",
            "n": 96,
            "of": 100,
            "typical_m": 0.9,
            "typical_share": 0.2,
            "worst_m": 1.2,
            "worst_share": 0.26,
            "allowed_share": 0.05,
        },
    ),
    "hedge_overlap": Words(
        "block {block}: canopies along the row will grow into each other by {overlap_m:length1}, as a {pattern} should",
        "{overlap_m:length1}",
        example={"block": "A", "pattern": "hedgerow", "overlap_m": 0.9},
    ),
    "hedge_open": Words(
        "block {block}: the {pattern} will not close: gaps of {gap_m:length1} stay between grown plants",
        "{gap_m:length1}",
        "no gap",
        "shorten the step, or take a wider plant",
        example={"block": "A", "pattern": "hedgerow", "gap_m": 0.6},
    ),
    "alley_narrow": Words(
        "block {block}: between the canopies of two rows [[only {left_m:length1}||nothing]] stays clear at maturity",
        "{clear_m:length1}",
        "{needed_m:length} for a small tractor",
        "widen the rows or add an alley where machines are to pass, or keep the plants narrower",
        example={"block": "A", "left_m": 1.8, "clear_m": 1.8, "needed_m": 2.4384},
    ),
    "hedgerow_tall": Words(
        "block {block}: the hedgerow grows {tall_m:length} tall in rows {apart_m:length} apart; rows that run {way} want {times:g} "
        "times the height (Michigan State University, on apples), so {limit_m:length} at the most",
        "{tall_m:length}",
        "{limit_m:length}",
        "keep it lower, or widen the rows",
        example={"block": "A", "tall_m": 4.0, "apart_m": 4.5, "way": "east-west", "times": 1.5, "limit_m": 3.0},
    ),
    "filler_growth_unknown": Words(
        "block {block}: how large its fillers are when they come out is not known, nor the room that they have until then",
        remedy="give the plant years_to_full_size, or pairs of year and spread as its growth",
        example={"block": "A"},
    ),
    "fillers_late": Words(
        "block {block}: the fillers come out in year {leave_year}, but reach their neighbours in year {met_year}",
        "year {leave_year}",
        "year {met_year} or before",
        "take them out earlier, or keep them small",
        example={"block": "A", "leave_year": 9, "met_year": 6},
    ),
}
_TO_CANOPY: Final = 'measure that setback to the canopy (measured_to = "canopy"), or keep the plants smaller'
_OVER: Final[dict[str, Any]] = {"block": "A", "n": 12, "far_m": 0.8}
_AROUND: Final[dict[str, Words]] = {
    "canopy_over_boundary": Words(
        "block {block}: {n:n canopy|canopies} will reach over the property line at maturity, by up to {far_m:length1}",
        "{far_m:length1} over",
        "0",
        _TO_CANOPY,
        example=_OVER,
    ),
    "canopy_over_feature": Words(
        "block {block}: {n:n canopy|canopies} will reach over a feature that is kept clear: {why} at maturity, by up to {far_m:length1}",
        "{far_m:length1} over",
        "0",
        _TO_CANOPY,
        example=_OVER | {"why": "house"},
    ),
    "canopy_in_height_limit": Words(
        "block {block}: {n:n canopy|canopies} taller than {limit_m:length} will grow into the height limit ({why}) at maturity, "
        "by up to {far_m:length1}",
        "{far_m:length1} over",
        "0",
        "plant something lower, or further off; clearances to overhead lines are set by the utility and local code: "
        "ask before planting or pruning near them",
        example=_OVER | {"limit_m": 4.5, "why": "power line"},
    ),
    "juglone": Words(
        "block {block}: {n:n plant|plants} that juglone harms ({plant}) {n:verb stands|stand} within {reach_m:length} of {maker}, "
        "the nearest at {near_m:length1}",
        "{near_m:length1}",
        "{reach_m:length} or more",
        "plant something that tolerates juglone there, or keep further off; round some trees it reaches up to "
        "{furthest_m:length} (Ohio State University Extension)",
        example={"block": "A", "n": 3, "plant": "apple", "maker": "walnut", "near_m": 9.0, "reach_m": 18.288, "furthest_m": 24.384},
    ),
}
_PLANT: Final = "block {block}: {plant}[[ {variety}]][[ ({role})]]"
_CALLED: Final[dict[str, Any]] = {"block": "A", "plant": "apple, dwarf", "variety": "Jonathan", "role": ""}
_NEEDY: Final[dict[str, Any]] = _CALLED | {"limit_m": 30.48}
_SOME: Final[dict[str, Any]] = _NEEDY | {"n": 8, "of": 16}
_PARTNERS: Final[dict[str, Words]] = {
    "bloom_apart": Words(
        _PLANT
        + ": {n:count} of {of:count} trees have a partner within {limit_m:length}, but it does not bloom together with them ({bloom})",
        "{bloom} bloom",
        "bloom that overlaps: early with early or mid, late with mid or late",
        "take a pollinizer that blooms at the same time",
        example=_SOME | {"bloom": "early"},
    ),
    "pollinizer_far": Words(
        _PLANT + ": {n:count} of {of:count} trees stand further than {limit_m:length} from the nearest partner, at worst {far_m:length}",
        "{far_m:length}",
        "{limit_m:length} by {agent}",
        "set pollinizers closer (every k-th tree of every k-th row), or mix the varieties",
        example=_SOME | {"far_m": 40.0, "agent": "bees"},
    ),
    "pollinizer_not_near": Words(
        _PLANT + ": {n:count} of {of:count} trees have their partner within {limit_m:length}, but further than the {ideal_m:length} "
        "that bees serve best",
        "{far_m:length}",
        "{ideal_m:length}",
        "set pollinizers closer for a fuller crop",
        example=_SOME | {"far_m": 20.0, "ideal_m": 15.24},
    ),
    "bloom_unknown": Words(
        _PLANT + ": its time of bloom is not known, so it is not sure that partners bloom together",
        remedy="name its bloom: early, mid or late",
        example=_CALLED,
    ),
    "no_pollinizer.male": Words(
        _PLANT + " needs a male plant, and the site has none",
        "none",
        "one within {limit_m:length}",
        "plant a male among every eight or so females",
        example=_NEEDY,
    ),
    "no_pollinizer.variety": Words(
        _PLANT + " needs another variety for its pollen, and the site has none",
        "none",
        "one within {limit_m:length}",
        "add a pollinizer of the same species that blooms at the same time",
        example=_NEEDY,
    ),
    "no_pollinizer.unnamed": Words(
        _PLANT + " needs another variety for its pollen, and the plan names no varieties",
        "none named",
        "one within {limit_m:length}",
        "name the varieties, or give a plant of the block the role pollinizer",
        example=_NEEDY,
    ),
}
_CUT: Final[tuple[dict[str, Any], ...]] = ({"plant": "apple, dwarf", "variety": "Jonathan", "n": 100, "asked": 120},)
_DEALT: Final[dict[str, Words]] = {
    "counts_over_positions": Words(
        "block {block}: its plants are to be {asked}, its ground has {positions} positions for them; "
        "the counts are reduced in proportion ({cut:as plant_cut})",
        "{positions} positions",
        "{asked} positions",
        "ask for fewer, give the block more ground, or make its step smaller",
        example={"block": "A", "asked": 120, "positions": 100, "cut": _CUT},
    ),
    "positions_left_over": Words(
        "block {block}: the counts plant {asked} of {positions} positions; the last {left} along the walk stay open",
        "{positions} positions",
        "{asked} plants",
        "raise a count, or give one plant a share instead: it then takes what is left",
        example={"block": "A", "asked": 80, "positions": 100, "left": 20},
    ),
    "pairs_by_share": Words(
        "block {block}: its plants stand in pairs, the second and further plants at every position by share; "
        "every n-th tree is not asked for beside",
        remedy="leave pollinizer out, or the pair",
        example={"block": "A"},
    ),
    "plant_without_tree": Words(
        "block {block}: {plants:as plant} gets no tree: the block's {positions} positions are too few for its share",
        "0 trees",
        "at least 1",
        "give it a larger share, or a count",
        example={"block": "A", "plants": ({"plant": "apple, dwarf", "variety": ""},), "positions": 4},
    ),
    "no_second_plant": Words(
        "block {block}: each {every_tree}th tree of each {every_row}th row is for the second plant, and it names only one",
        "{plants} plant",
        "2 plants",
        "add the pollinizer to its plants",
        example={"block": "A", "every_tree": 9, "every_row": 3, "plants": 1},
    ),
    "only_fillers": Words(
        "block {block}: all its plants are fillers; nothing stays when they are taken out",
        "0 permanent plants",
        "at least 1",
        "give one plant no role, or another",
        example={"block": "A"},
    ),
}
_LAID: Final[dict[str, Words]] = {
    "block_empty": Words(
        "block {block}: no tree fits on its ground",
        "0 trees",
        "at least 1",
        "give it more ground, a smaller step, a shorter headland or a shorter setback",
        example={"block": "A"},
    ),
    "point_dropped": Words(
        "block {block}: point {point} from the west, of the {points} given, may not be planted where it lies",
        remedy="move it clear of setbacks, steep ground and other blocks' trees",
        example={"block": "A", "point": 2, "points": 5},
    ),
    "row_fall_small": Words(
        "block {block}: {n} of {of} rows fall less than asked for from end to end; water may stand there",
        "{lowest:.2%}",
        "{least:.2%}",
        "look at drainage there, or lessen fall.least",
        example={"block": "A", "n": 2, "of": 20, "lowest": 0.001, "least": 0.003},
    ),
    "alley_left_out": Words(
        "block {block}: contour rows have no alley after every {every} rows",
        remedy="widen row_distance, or lay it along a guide line",
        example={"block": "A", "every": 4},
    ),
    "rows_wide": Words(
        "block {block}: between sets of parallel rows the gap opens wider than the greatest row distance, by less than another row needs",
        "{share:.1%} of the gaps, up to {widest_m:length}",
        "{greatest_m:length}",
        "allow more fall along the rows, or a wider row_distance_max",
        example={"block": "A", "share": 0.02, "widest_m": 8.0, "greatest_m": 7.0},
    ),
    "guide_joined": Words(
        "block {block}: the guide line comes in parts; they were joined straight",
        "{gap_m:length} across the widest gap",
        remedy="survey one line, or name the part to follow",
        example={"block": "A", "gap_m": 3.0},
    ),
    "guide_outside": Words(
        "block {block}: its guide line lies {away_m:length} outside its ground; the rows keep to parallels of it all the same",
        "{away_m:length}",
        "a line in the block or along its edge",
        "check that this is the line meant, or survey one in the block",
        example={"block": "A", "away_m": 15.0},
    ),
    "guide_short": Words(
        "block {block}: most rows run beyond the ends of the guide line, straight on",
        "{share:.0%} of the trees",
        remedy="survey a longer guide line",
        example={"block": "A", "share": 0.6},
    ),
    "steps_stretched": Words(
        "block {block}: on bends neighbouring rows fall out of step; trees keep their nearest distance with longer steps",
        "{share:.0%} of the steps, {mean_m:length} on average",
        "{step_m:length}",
        "a row distance of {step_m:length} or more lets every row keep its step",
        example={"block": "A", "share": 0.2, "mean_m": 5.2, "step_m": 5.0},
    ),
    "screen_length": Words(
        "block {block}: screen[[ to {purpose}]]: {plants} plants[[, {height_m:length} tall when grown||, height when grown unknown]]",
        "{covered_m:length} of {line_m:length}",
        example={"block": "S", "purpose": "hide", "plants": 30, "height_m": 4.0, "covered_m": 60.0, "line_m": 62.0},
    ),
    "screen_gap": Words(
        "block {block}: screen[[ to {purpose}]]: a gap wider than the step",
        "{gap_m:length}",
        "{step_m:length}",
        "clear the ground there, or screen it otherwise (a fence, say)",
        example={"block": "S", "purpose": "", "gap_m": 9.0, "step_m": 3.0},
    ),
}
_COMPARED: Final[dict[str, Words]] = {
    "price_missing": Words(
        "no price for {items:series}: what the options cost is not known",
        remedy='write it in [prices], such as plant = "38 / each"',
        example={"items": ("apple, dwarf", "trunk guard")},
    )
}
WORDS: Final[dict[str, Words]] = _ROOM | _AROUND | _PARTNERS | _DEALT | _LAID | _COMPARED
