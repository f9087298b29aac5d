"""One plant of the catalogue, and what each of its figures is: name, unit, the words and the sizes that are taken."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

Range = tuple[float, float]
UNKNOWN: Final = float("nan")
NO_RANGE: Final[Range] = (UNKNOWN, UNKNOWN)


@dataclass(frozen=True, slots=True)
class CatalogueEntry:
    """One size class of one species.

    Attributes
    ----------
    species, size_class : names, as in "apple, semi-dwarf"; the class may be empty for a grower's own plant
    note : what the class means, such as the rootstocks that give it
    height_range_m, spread_range_m : smallest and greatest mature size where it is left to grow [m]; NaN unknown
    in_row_range_m, row_distance_range_m : usual distance in the row and between rows [m]; NaN unknown
    years_to_full_size : NaN unknown
    habit : tree, shrub, vine or cane
    pollination : "none" (sets alone), "helped" (sets alone, more with a partner), "partner" (another variety needed),
        "dioecious" (male and female plants), or "" unknown
    pollination_m : how far a partner may stand [m]; NaN unknown
    agent : what carries the pollen: bees, wind or flies; empty unknown
    group : plants of one pollination group may serve each other, such as "Japanese plum"; empty unknown
    bloom : early, mid or late; empty unknown
    chill_range_h : hours of chill needed, least and greatest among varieties [h]; NaN unknown
    kc_mid : crop coefficient in mid-season; NaN unknown
    root_vigour : weak, moderate or strong; empty unknown
    frost_tenderness : hardy, bloom at risk, half-hardy or tender; empty unknown
    juglone : "makes", "suffers", or "" (neither is known)
    suckers : yes, some or no; empty unknown
    cautions : what the grower should know before planting it
    size_source, spacing_source, pollination_source, chill_source, kc_source, other_source : where the figures come from
    origin : "catalogue", or the name of the grower's file
    own : (field, source text) of every figure that is the grower's
    """

    species: str
    size_class: str = ""
    note: str = ""
    height_range_m: Range = NO_RANGE
    spread_range_m: Range = NO_RANGE
    in_row_range_m: Range = NO_RANGE
    row_distance_range_m: Range = NO_RANGE
    years_to_full_size: float = UNKNOWN
    habit: str = "tree"
    pollination: str = ""
    pollination_m: float = UNKNOWN
    agent: str = ""
    group: str = ""
    bloom: str = ""
    chill_range_h: Range = NO_RANGE
    kc_mid: float = UNKNOWN
    root_vigour: str = ""
    frost_tenderness: str = ""
    juglone: str = ""
    suckers: str = ""
    cautions: str = ""
    size_source: str = ""
    spacing_source: str = ""
    pollination_source: str = ""
    chill_source: str = ""
    kc_source: str = ""
    other_source: str = ""
    origin: str = "catalogue"
    own: tuple[tuple[str, str], ...] = ()

    @property
    def name(self) -> str:
        """Return the name a plan file uses.

        >>> CatalogueEntry("apple", "semi-dwarf").name, CatalogueEntry("seaberry").name
        ('apple, semi-dwarf', 'seaberry')
        """
        return f"{self.species}, {self.size_class}" if self.size_class else self.species

    @property
    def height_m(self) -> float:
        """Return the mature height to plan with [m]: the greatest, since lines and light are judged by it."""
        return self.height_range_m[1]

    @property
    def spread_m(self) -> float:
        """Return the mature canopy diameter to plan with [m]: the middle of the range."""
        return sum(self.spread_range_m) / 2

    def source_of(self, field: str) -> str:
        """Return where a figure comes from; the grower's own are marked as theirs.

        >>> CatalogueEntry("fig", size_source="from memory", own=(("kc_mid", "yours (plan.toml)"),)).source_of("kc_mid")
        'yours (plan.toml)'
        """
        text: str = dict(self.own).get(field) or getattr(self, FIGURE[field].source)
        return text


@dataclass(frozen=True, slots=True)
class Figure:
    """What one figure of a plant is.

    Attributes
    ----------
    field : of :class:`CatalogueEntry`
    label : as people read it
    key : of a plan file's [[plant]] table; a column of a CSV has the same name, with "_min" and "_max" for a range and
        "_ft" or "_m" for a length
    kind : "range" or "length" [m], "hours" (a range) [h], "number", "word" or "text"
    source : field that says where the figure comes from
    words : the words that may stand, for a word
    limits : least and greatest value taken, [m] for lengths
    column : name in a CSV, where it is not the key
    """

    field: str
    label: str
    key: str
    kind: str
    source: str
    words: tuple[str, ...] = ()
    limits: Range = (0.0, 100.0)
    column: str = ""

    @property
    def is_range(self) -> bool:
        """Return whether it has a smallest and a greatest value."""
        return self.kind in ("range", "hours")

    def is_known(self, entry: CatalogueEntry) -> bool:
        """Return whether an entry has this figure."""
        value = getattr(entry, self.field)
        if self.is_range:
            return not math.isnan(value[0])
        return bool(value) if isinstance(value, str) else not math.isnan(value)


FIGURES: Final = (
    Figure("height_range_m", "height", "height", "range", "size_source"),
    Figure("spread_range_m", "spread", "spread", "range", "size_source"),
    Figure("in_row_range_m", "in the row", "in_row", "range", "spacing_source"),
    Figure("row_distance_range_m", "between rows", "row_distance", "range", "spacing_source"),
    Figure("pollination", "pollination", "pollination", "word", "pollination_source", ("none", "helped", "partner", "dioecious")),
    Figure("group", "pollination group", "group", "text", "pollination_source"),
    Figure("bloom", "bloom", "bloom", "word", "pollination_source", ("early", "mid", "late")),
    Figure("agent", "pollen carried by", "agent", "word", "pollination_source", ("bees", "wind", "flies")),
    Figure(
        "pollination_m",
        "partner within",
        "pollination_distance",
        "length",
        "pollination_source",
        limits=(0.0, 1000.0),
        column="pollination",
    ),
    Figure("chill_range_h", "chill", "chill_hours", "hours", "chill_source", limits=(0.0, 3000.0), column="chill"),
    Figure("kc_mid", "Kc in mid-season", "kc_mid", "number", "kc_source", limits=(0.0, 2.0)),
    Figure("habit", "habit", "habit", "word", "other_source", ("tree", "shrub", "vine", "cane")),
    Figure("years_to_full_size", "years to full size", "years_to_full_size", "number", "other_source"),
    Figure("root_vigour", "roots", "root_vigour", "word", "other_source", ("weak", "moderate", "strong")),
    Figure("frost_tenderness", "frost", "frost_tenderness", "word", "other_source", ("hardy", "bloom at risk", "half-hardy", "tender")),
    Figure("suckers", "suckers", "suckers", "word", "other_source", ("yes", "some", "no")),
    Figure("juglone", "juglone", "juglone", "word", "other_source", ("makes", "suffers")),
    Figure("cautions", "cautions", "cautions", "text", "other_source"),
)
"""Every figure of a plant, in the order in which people read them."""
FIGURE: Final = {figure.field: figure for figure in FIGURES}
SOURCES: Final = tuple(dict.fromkeys(figure.source for figure in FIGURES))
"""The fields that say where figures come from."""


def known_figures(entry: CatalogueEntry) -> Iterator[Figure]:
    """Go through the figures that an entry has.

    Parameters
    ----------
    entry : CatalogueEntry
        The plant.

    Yields
    ------
    Figure
        In reading order.

    Examples
    --------
    >>> [figure.label for figure in known_figures(CatalogueEntry("fig", kc_mid=0.8, bloom="mid"))]
    ['bloom', 'Kc in mid-season', 'habit']
    """
    yield from (figure for figure in FIGURES if figure.is_known(entry))
