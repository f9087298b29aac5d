"""What a survey layer most likely is, and how much room such a thing usually wants.

The figures are usual ones: public guidance where it is named, common practice elsewhere. None of them is a
law, and every plan file that carries them says so.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

if TYPE_CHECKING:
    from collections.abc import Sequence

Use = Literal["setback", "height_limit", "no_plant", "water", "note"]
Shape = Literal["point", "line", "polygon", "mixed", "none"]


@dataclass(frozen=True, slots=True)
class Figure:
    """A usual distance, as a plan file writes it in either system of units."""

    us: str
    si: str

    def text(self, units: str) -> str:
        """Return the figure in one of the systems.

        Parameters
        ----------
        units : str
            ``"us"`` or ``"si"``.

        Returns
        -------
        str
            The distance with its unit.

        Examples
        --------
        >>> Figure("50 ft", "15.3 m").text("si")
        '15.3 m'
        """
        return self.us if units == "us" else self.si


@dataclass(frozen=True, slots=True)
class Rule:
    """How one class of things is recognised and what a plan file says about it.

    Attributes
    ----------
    why : the reason as the plan file and the land account give it
    words : regular expression that a layer's name, in lower case with single spaces, must contain
    use : which table of the plan file such a layer goes into
    remark : where the figure comes from, for the comment
    shapes : kinds of geometry the rule is meant for; empty for every kind
    distance : usual clear distance, or width of the strip under a height limit
    height : mature height that a height limit allows
    measured_to : trunk or canopy
    """

    why: str
    words: str
    use: Use
    remark: str
    shapes: tuple[Shape, ...] = ()
    distance: Figure = Figure("0 ft", "0 m")
    height: Figure | None = None
    measured_to: str = "trunk"


_TEN_FT: Final = Figure("10 ft", "3.1 m")

RULES: Final[tuple[Rule, ...]] = (
    Rule(
        "buried utility",
        r"buried|underground|pipeline|fib(er|re)|telecom|sewers?|cables?|(gas|water) (lines?|mains?|pipes?)",
        "setback",
        "the hand-digging strip beside the marks, and room for roots; have it marked before you dig",
        distance=_TEN_FT,
    ),
    Rule(
        "overhead power line",
        r"overhead|power ?lines?|^power$|electric(ity)?( lines?)?|transmission( lines?)?|utility lines?|high voltage",
        "height_limit",
        "no tree that grows above the height below stands nearer to a line; its owner may want more",
        shapes=("line", "polygon", "mixed"),
        distance=Figure("20 ft", "6.1 m"),
        height=Figure("15 ft", "4.5 m"),
    ),
    Rule(
        "propane tank",
        r"propane|lpg|(gas|fuel) tanks?",
        "setback",
        "ground free of dry growth around a tank (NFPA 58)",
        distance=_TEN_FT,
    ),
    Rule(
        "septic field",
        r"septic|drain ?fields?|leach( ?fields?)?|absorption field",
        "setback",
        "at least the mature height of the trees planted",
        distance=Figure("25 ft", "7.7 m"),
    ),
    Rule(
        "well",
        r"wells?|well ?heads?|bore ?holes?",
        "setback",
        "no mixing or spraying of chemicals nearer to a well head (practice)",
        distance=Figure("50 ft", "15.3 m"),
    ),
    Rule(
        "no planting",
        r"no ?plant(ing)?|keep ?out|exclu\w+|turning (yard|area|place)|parking|easements?|rights? of way",
        "no_plant",
        "its name says that nothing is planted there",
        shapes=("polygon",),
    ),
    Rule(
        "water",
        r"creeks?|streams?|rivers?|brooks?|ditch(es)?|canals?|ponds?|lakes?|wetlands?|marsh(es)?|swamps?|springs?"
        r"|water ?(courses?|ways?|bod(y|ies))|reservoirs?",
        "setback",
        "first zone of a forest buffer along water (NRCS practice standard 391), from the normal water line",
        distance=Figure("35 ft", "10.7 m"),
    ),
    Rule(
        "building",
        r"houses?|homes?|dwellings?|residences?|buildings?|structures?|barns?|sheds?|garages?|green ?houses?"
        r"|shops?|cabins?|silos?|footprints?",
        "setback",
        "between the wall and the mature canopy (practice)",
        distance=Figure("5 ft", "1.6 m"),
        measured_to="canopy",
    ),
    Rule(
        "road",
        r"roads?|streets?|drive ?ways?|lanes?|tracks?|highways?|railways?|railroads?",
        "setback",
        "outside the right of way (practice); from the middle of a line, from the edge of an area",
        distance=Figure("25 ft", "7.7 m"),
    ),
    Rule(
        "fence",
        r"fences?|walls?|hedges?",
        "setback",
        "with the canopy: half of the mature spread, so that nothing hangs over (practice)",
        measured_to="canopy",
    ),
)

WATER_POINT: Final = Rule(
    "water points",
    r"water ?points?|risers?|hydrants?|stand ?pipes?|spigots?|taps?|hose bibs?|irrigation( points?)?",
    "water",
    "points with pressure or flow, or named so",
    shapes=("point",),
)
PLANTABLE: Final = r"blocks?|fields?|plots?|paddocks?|orchards?|planting( areas?)?"
BOUNDARY: Final = r"boundar(y|ies)|parcels?|propert(y|ies)|lots?|property lines?"
METERED: Final = r"press(ure)?|psi|kpa|bar|flow|gpm|gph|lph|lpm|lps|discharge"


def words_of(name: str) -> str:
    """Return a layer's name as words: lower case, single spaces, camel case parted.

    Parameters
    ----------
    name : str
        Name of a layer or of a file.

    Returns
    -------
    str
        The words.

    Examples
    --------
    >>> words_of("OverheadLine_2"), words_of("septic-field")
    ('overhead line 2', 'septic field')
    """
    parted = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)
    return " ".join(re.sub(r"[\W_]+", " ", parted).lower().split())


def names(pattern: str, name: str) -> bool:
    """Return whether a name contains the words of a pattern, whole.

    Parameters
    ----------
    pattern : str
        Regular expression.
    name : str
        Name of a layer or of a file.

    Returns
    -------
    bool
        True when it does.

    Examples
    --------
    >>> names("wells?", "House_well"), names("wells?", "dwelling")
    (True, False)
    """
    return re.search(rf"\b(?:{pattern})\b", words_of(name)) is not None


def recognise(name: str, shape: Shape, columns: Sequence[str] = ()) -> Rule | None:
    """Return the rule for a layer.

    Parameters
    ----------
    name : str
        Name of the layer, or of its file where the layer's name says nothing.
    shape : str
        Kind of its geometry.
    columns : Sequence of str
        Names of its attributes.

    Returns
    -------
    Rule or None
        None when nothing about the layer says what it is.

    Examples
    --------
    >>> recognise("Farm_Buildings", "polygon").measured_to
    'canopy'
    >>> recognise("pts", "point", ("id", "pressure_psi")).use
    'water'
    >>> recognise("soil_samples", "point") is None
    True
    """
    metered = any(names(METERED, column) for column in columns)
    if shape == "point" and (metered or names(WATER_POINT.words, name)):
        return WATER_POINT
    for rule in RULES:
        if names(rule.words, name) and (not rule.shapes or shape in rule.shapes):
            return rule
    return None
