"""What is said of sun and shade."""

from __future__ import annotations

from typing import Final

from setout.model import Figure
from setout.words.findings.told import Words

_SIZES: Final = 'name its plants, or write spread = "15 ft" and height = "15 ft" for the block'
_LESS: Final = (
    " less than {wanted_h:g} h of direct sun a day in the season[[, {wall:word}]]; the darkest {least_h:.1f} h of "
    "{open_h:.1f} h, {cause:word}"
)
_FILLERS: Final = "[[ ({fillers:count} of them fillers, in the last year in which they stand)]]"
_SHORT: Final = {
    "measured": "{least_h:.1f} h",
    "required": "{wanted_h:g} h",
    "remedy": "widen the step or the row distance, hold the plants smaller, or plant what bears in part shade",
}
_SUN: Final[dict[str, Figure]] = {
    "block": "A",
    "year": 3,
    "fillers": 40,
    "wanted_h": 6.0,
    "wall": "counted_on_wall",
    "least_h": 4.2,
    "open_h": 11.8,
    "cause": "canopies_in_sun",
}

WORDS: Final[dict[str, Words]] = {
    "light_unknown": Words(
        "block {block}: the light of {trees:count} trees is not known, as their {sizes:words} is not",
        "{trees:count} trees",
        remedy=_SIZES,
        example={"block": "A", "trees": 300, "sizes": ("spread", "height")},
    ),
    "light_unknown.growth": Words(
        "block {block}: the light of {trees:count} trees is not known, "
        "as their growth up to [[year {year}||the year in which they come out]] is not",
        "{trees:count} trees",
        remedy="give the plant years_to_full_size, or pairs of year and spread as its growth",
        example={"block": "A", "trees": 300, "year": 5},
    ),
    "light_unknown.site": Words(
        "light is not reckoned: the spread and height of block {blocks:list} are not known", remedy=_SIZES, example={"blocks": ("A", "B")}
    ),
    "light_left_out": Words(
        "light is not reckoned of itself for {trees:count} trees: it would take a minute or more",
        "{trees:count} trees",
        "{most:count} trees",
        'write compute = "always" in the table [light] to have it',
        example={"trees": 90_000, "most": 60_000},
    ),
    "sun_short": Words(
        "block {block}[[ in year {year}]]: {dark:count} of {known:count} trees" + _FILLERS + " get" + _LESS,
        **_SHORT,
        example=_SUN | {"dark": 40, "known": 81},
    ),
    "sun_short.alone": Words("block {block}[[ in year {year}]]: its tree" + _FILLERS + " gets" + _LESS, **_SHORT, example=_SUN),
    "pair_axis": Words(
        "block {block}: partners of its pairs stand {axis:word}: the darker one then has {darker_h:.1f} h of direct sun a day in the "
        "season, against {other_darker_h:.1f} h {other_axis:word}[[, {crowns:word}]]",
        "{darker_h:.1f} h",
        "",
        'write pair.axis, such as "north-south" or "east-west", to set them otherwise',
        example={
            "block": "A",
            "axis": "north_and_south",
            "darker_h": 7.4,
            "other_axis": "east_and_west",
            "other_darker_h": 6.1,
            "crowns": "crowns_fill_room",
        },
    ),
    "screen_no_shade": Words(
        "screen {screen}, {height_m:length} high, shades its yard for {shade_h:.1f} h of a summer afternoon, as a mean over the "
        "yard[[; {morning:word}]]",
        "{shade_h:.1f} h",
        "{least_h:g} h",
        "plant it on the west side of the yard, nearer to it, or of a taller plant",
        example={"screen": "W", "height_m": 6.0, "shade_h": 0.4, "least_h": 1.0, "morning": "shades_in_morning"},
    ),
}
