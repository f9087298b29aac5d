"""What is said of what came back from the field."""

from __future__ import annotations

from typing import Final

from setout.model import Figure
from setout.words.findings.told import Words

_MOVED: Final = "{shift_m:length} to the {way}"
_COARSE: Final = (
    "the survey is too coarse to judge single trees: positions scatter by {scatter_m:length} in each coordinate, "
    "and trees stand {apart_m:length} apart; "
)
_AGAIN: Final = ("{scatter_m:length}", "less than a fifth of {apart_m:length}")
_BETTER: Final = "survey again with an instrument good to a tenth of that distance before any tree is moved"
_SHIFT: Final[dict[str, Figure]] = {"shift_m": 0.31, "way": "N 45 E"}

WORDS: Final[dict[str, Words]] = {
    "survey_coarse.named": Words(
        _COARSE + "the names tell which tree is which, and the shift of the whole is known to {sure_m:length}",
        *_AGAIN,
        _BETTER,
        example={"scatter_m": 1.2, "apart_m": 4.9, "sure_m": 0.2},
    ),
    "survey_coarse.unnamed": Words(
        _COARSE + "without names neither which tree is which can be told, nor shift and turn of the whole, nor what is missing",
        *_AGAIN,
        _BETTER,
        example={"scatter_m": 1.2, "apart_m": 4.9},
    ),
    "set_up_unsure": Words(
        "the surveyed trees fit the plan as well {rival_m:length} away: which tree is which cannot be told",
        "{rival_m:length}",
        remedy="survey to the edge of a block, or give the trees their names",
        example={"rival_m": 4.9},
    ),
    "scale_off": Words(
        "distances between the surveyed trees are {scale:.5f} times those planned",
        "{scale:.5f}",
        "1, give or take {give_or_take:.5f}",
        "a scale comes of grid distances taken for ground distances, or of the wrong foot: measure between two monuments "
        "(control.csv has both)",
        example={"scale": 1.0004, "give_or_take": 0.00004},
    ),
    "systematic_shift.shifted": Words(
        f"the whole set-out lies {_MOVED} of where it is planned",
        _MOVED,
        "none",
        "a shift comes of a wrong control point, or of the wrong foot or coordinate system: check the set-up at two monuments",
        example=_SHIFT,
    ),
    "systematic_shift.turned": Words(
        f"the whole set-out is turned {{turn_deg:.3f}} deg {{sense:word}}; its middle lies {_MOVED} of where it is planned"
        "[[; it turns about monument {pivot}, which is right]]",
        _MOVED + ", {turn_deg:.3f} deg {sense:word}",
        "none",
        "a turn comes of one wrong control point: measure the distances between the monuments again (control.csv)",
        example={**_SHIFT, "turn_deg": 0.21, "sense": "clockwise", "pivot": "BM2"},
    ),
    "not_surveyed": Words("block {block}: none of its trees was surveyed", remedy="survey it too", example={"block": "A"}),
    "missing": Words("tree {tree} is missing: nothing stands at its place", remedy="plant it, or survey it", example={"tree": "A-1-2"}),
    "swapped.alike": Words(
        "tree {tree} stands at the place of {at}",
        remedy="of one kind, so that only the tags need to change",
        example={"tree": "A-1-2", "at": "A-1-3"},
    ),
    "swapped.unlike": Words(
        "tree {tree} stands at the place of {at}",
        remedy="change them back, or change the plan's plants",
        example={"tree": "A-1-2", "at": "A-1-3"},
    ),
    "doubled": Words(
        "the surveyed tree {tree} stands where {other} has its place",
        remedy="take one of the two out",
        example={"tree": "#7", "other": "A-1-2"},
    ),
    "extra": Words("the surveyed tree {tree} stands where no tree is planned", remedy="take it out, or plan it", example={"tree": "#7"}),
    "off_place": Words(
        "tree {tree} stands {off_m:length} to the {way} of its place among the others",
        "{off_m:length}",
        remedy="see whether its room is enough",
        example={"tree": "A-1-2", "off_m": 0.9, "way": "S 11 E"},
    ),
    "outside_block.every": Words("tree {tree} stands outside every block", remedy="take it out, or plan it", example={"tree": "#7"}),
    "monument_off": Words(
        "monument {monument} was surveyed {off_m:length} to the {way} of where the survey file has it",
        "{off_m:length}",
        "{most_m:length}",
        "find out which of the two is right before anything else is set out",
        example={"monument": "BM1", "off_m": 0.3, "way": "W", "most_m": 0.05},
    ),
    "sun_lost": Words(
        "block {block}: {n:count} trees have over {told_h:g} h less sun a day where they stand than where they are planned, "
        "the worst {lost_h:.1f} h",
        "{lost_h:.1f} h",
        "{told_h:g} h",
        "look at the trees that stand nearer than planned",
        example={"block": "A", "n": 12, "told_h": 0.5, "lost_h": 1.4},
    ),
}
