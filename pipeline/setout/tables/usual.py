"""What a name most likely means, and how much room such a thing usually wants.

The figures are usual ones: public guidance where it is named, common practice elsewhere. None of them is a
law, and every plan file that carries them says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal

from setout.tables.vocabulary import is_spanish, things_in, words_of

Use = Literal["setback", "height_limit", "no_plant"]
Shape = Literal["point", "line", "polygon", "mixed", "none"]


@dataclass(frozen=True, slots=True)
class Figure:
    """A usual distance, as a plan file writes it in either system of units."""

    us: str
    si: str

    def text(self, units: str) -> str:
        """Return the figure in one of the systems.

        >>> Figure("50 ft", "15.3 m").text("si")
        '15.3 m'
        """
        return self.us if units == "us" else self.si


@dataclass(frozen=True, slots=True)
class Rule:
    """What a plan file says about one class of things.

    Attributes
    ----------
    why : the reason as the plan file and the land account give it; its words are in the vocabulary
    use : which table of the plan file such features go into
    remark : where the figure comes from, for the comment
    place : things that others are named after, as in "barn riser" and "creek road": they count where they are meant themselves
    distance : usual clear distance, or width of the strip under a height limit
    height : mature height that a height limit allows
    measured_to : trunk or canopy
    """

    why: str
    use: Use
    remark: str
    place: bool = False
    distance: Figure = Figure("0 ft", "0 m")
    height: Figure | None = None
    measured_to: str = "trunk"


BURIED: Final = "buried utility"
OVERHEAD: Final = "overhead power line"
NO_PLANTING: Final = "no planting"
WATER: Final = "water points"
TO_PLANT: Final = "an area to plant"
TANK: Final = "tank"
TANKS: Final = frozenset({"propane tank", "septic field", "cistern"})
"""Things that a look at features treats by themselves, by their name in the vocabulary."""
_TEN_FT: Final = Figure("10 ft", "3.1 m")

RULES: Final[tuple[Rule, ...]] = (
    Rule(BURIED, "setback", "the hand-digging strip beside the marks, and room for roots; have it marked before you dig", distance=_TEN_FT),
    Rule(
        OVERHEAD,
        "height_limit",
        "no tree that grows above the height below stands nearer to a line; its owner may want more",
        distance=Figure("20 ft", "6.1 m"),
        height=Figure("15 ft", "4.5 m"),
    ),
    Rule("propane tank", "setback", "ground free of dry growth around a tank (NFPA 58)", distance=_TEN_FT),
    Rule("septic field", "setback", "at least the mature height of the trees planted", distance=Figure("25 ft", "7.7 m")),
    Rule("well", "setback", "no mixing or spraying of chemicals nearer to a well head (practice)", distance=Figure("50 ft", "15.3 m")),
    Rule("tank", "setback", "as for a septic tank until somebody says what is in it (practice)", distance=Figure("25 ft", "7.7 m")),
    Rule("cistern", "setback", "room to work around it, and for roots (practice)", distance=_TEN_FT),
    Rule(
        "tile drain",
        "setback",
        "roots grow into open joints; water-loving trees want far more (practice)",
        distance=Figure("25 ft", "7.7 m"),
    ),
    Rule(NO_PLANTING, "no_plant", "its name says that nothing is planted there"),
    Rule(
        "water",
        "setback",
        "first zone of a forest buffer along water (NRCS practice standard 391), from the normal water line",
        place=True,
        distance=Figure("35 ft", "10.7 m"),
    ),
    Rule(
        "building",
        "setback",
        "between the wall and the mature canopy (practice)",
        place=True,
        distance=Figure("5 ft", "1.6 m"),
        measured_to="canopy",
    ),
    Rule(
        "road",
        "setback",
        "outside the right of way (practice); from the middle of a line, from the edge of an area",
        place=True,
        distance=Figure("25 ft", "7.7 m"),
    ),
    Rule(
        "trees",
        "setback",
        "a strip beside standing trees, for their shade and roots (practice)",
        place=True,
        distance=Figure("30 ft", "9.2 m"),
    ),
    Rule(
        "fence",
        "setback",
        "with the canopy: half of the mature spread, so that nothing hangs over (practice)",
        place=True,
        measured_to="canopy",
    ),
)
"""What trees keep clear of, in the order in which a plan file has it."""
RULE: Final = {rule.why: rule for rule in RULES}
HARMLESS: Final = (TO_PLANT, "a property line", "a line or a mark of the survey")
"""What may be left out, in the words of the reason."""
NO_SOURCE: Final = frozenset({"buried", BURIED, OVERHEAD, "utility", "propane tank", "septic field", "tile drain"})
"""A valve or a riser of one of these gives no water for trees."""
METERED: Final = frozenset(
    ["press", "pressure", "psi", "kpa", "bar", "flow", "gpm", "gph", "lph", "lpm", "lps", "discharge", "presion", "caudal", "gasto"]
)
"""Words of columns in which water points have their pressure or flow."""


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a text says that something is.

    Attributes
    ----------
    rules : reasons of the rules that apply, all of them; "utility" for a line that may run over or under ground
    water : it is a water point
    harmless : why it may be left out; empty for no reason
    """

    rules: frozenset[str] = frozenset()
    water: bool = False
    harmless: str = ""

    @property
    def known(self) -> bool:
        """Return whether the text says anything."""
        return bool(self.rules) or self.water or bool(self.harmless)

    @property
    def grave(self) -> frozenset[str]:
        """Return the rules of things that nothing else is named after."""
        return frozenset(why for why in self.rules if why == "utility" or not RULE[why].place)


NOTHING: Final = Meaning()


@lru_cache(maxsize=4096)
def meaning(text: str) -> Meaning:
    """Return what a name says that something is.

    >>> sorted(meaning("Well house").rules), sorted(meaning("barn riser").rules), meaning("barn riser").water
    (['building', 'well'], [], True)
    >>> sorted(meaning("buried power line").rules), meaning("gas valve").water, meaning("Creek block").harmless
    (['buried utility'], False, 'an area to plant')
    """
    found = things_in(text)
    if not found:
        return NOTHING
    names = {key for key, _ in found}
    itself = found[0][0] if is_spanish(text) else found[-1][0]
    rules = {key for key in names if key == "utility" or (key in RULE and (key == itself or not RULE[key].place))}
    if "buried" in names:
        rules -= {"utility", OVERHEAD}
        rules |= set() if rules - {BURIED} else {BURIED}
    water = itself == WATER and NO_SOURCE.isdisjoint(names)
    return Meaning(frozenset(rules), water, itself if itself in HARMLESS and not rules else "")


def is_metered(column: str) -> bool:
    """Tell whether a column has pressure or flow.

    >>> is_metered("Flow_GPM"), is_metered("presión kPa"), is_metered("flowering")
    (True, True, False)
    """
    return not METERED.isdisjoint(words_of(column).split())
