"""Materials in words: what is bought, how large, for what, and the quantity as people buy it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from setout.model import MaterialLine
from setout.model.buying import MATERIALS
from setout.words.template import filled

SHOWN: Final[Mapping[str, str]] = {"each": "{quantity:,.0f}", "m": "{quantity:enough}", "m3": "{quantity:volume}"}
"""How quantities are said, by their unit."""


@dataclass(frozen=True, slots=True)
class Said:
    """What is said of one code: templates, as :mod:`setout.words.template` fills them, and figures such as they may be.

    How the quantity is said goes by its unit where ``shown`` is empty.
    """

    size: str
    where: str
    example: Mapping[str, Any] = field(default_factory=dict)
    shown: str = ""


@dataclass(frozen=True, slots=True)
class Bought:
    """A line of the materials in words."""

    item: str
    size: str
    where: str
    shown: str


_TREES: Final = "block {block}: {trees:count} trees"
_ROWS: Final = "block {block}: {rows:count} rows"
_BEDS: Final = "block {block}: {beds:count} beds"
_STICK: Final = "{long_m:length} long[[, {thick_m:depth} thick]]"
_STAKE: Final[Mapping[str, Any]] = {"block": "A", "trees": 21, "long_m": 1.8288, "thick_m": 0.0508}
_POST: Final[Mapping[str, Any]] = {"block": "V", "rows": 2, "long_m": 3.048, "thick_m": 0.127}
_PIPE: Final = Said(
    "{inside_mm:inside} inside",
    "{run_m:whole} on the slope and {spare:percent} for cuts and snaking",
    {"inside_mm": 20.828, "run_m": 152.4, "spare": 0.05},
    "{quantity:whole}",
)
_EMITTER: Final = Said(
    "{flow_lph:.3g} l/h at {at_kpa:.0f} kPa",
    "{emitters:count} and {spare:percent} spare",
    {"flow_lph": 4.0, "at_kpa": 100.0, "emitters": 1200, "spare": 0.02},
)

SAID: Final[Mapping[str, Said]] = {
    "tree_stake": Said(_STICK, _TREES, _STAKE),
    "trunk_guard": Said(_STICK, _TREES, _STAKE),
    "tree_mulch": Said(
        "{across_m:length} across, {deep_m:depth} deep, clear of the stem",
        "block {block}: {plants:count} plants",
        {"across_m": 0.9144, "deep_m": 0.0762, "block": "A", "plants": 1000},
    ),
    "bed_mulch": Said("{deep_m:depth} deep", _BEDS, {"deep_m": 0.0762, "block": "R", "beds": 5}),
    "end_post": Said(_STICK, _ROWS, _POST),
    "line_post": Said(_STICK, _ROWS, _POST),
    "anchor": Said(
        "{long_m:length} long[[, shaft {shaft_m:iron}]], helix {helix_m:iron}",
        _ROWS
        + "[[, in rows to {to_m:length}]][[, in rows over {over_m:length}]] (less far in sandy ground)"
        + "[[; brace the ends of rows over {braced_m:length}]]",
        {
            "block": "V",
            "rows": 2,
            "long_m": 1.016,
            "shaft_m": 0.015875,
            "helix_m": 0.1016,
            "to_m": 76.2,
            "over_m": None,
            "braced_m": 182.88,
        },
    ),
    "wire": Said(
        "{kind}",
        _ROWS + "[[, {wires} wires]][[, with {tying:.0%} for tying]]",
        {"kind": "12.5 gauge", "block": "V", "rows": 2, "wires": 3, "tying": 0.05},
    ),
    "bed_soil": Said("{deep_m:depth} deep", _BEDS, {"deep_m": 0.2032, "block": "R", "beds": 5}),
    "bed_edging": Said(
        "round beds of {long_m:length} x {wide_m:length}", _BEDS, {"long_m": 3.048, "wide_m": 1.8288, "block": "R", "beds": 5}
    ),
    "pipe_main": _PIPE,
    "pipe_manifold": _PIPE,
    "pipe_lateral": _PIPE,
    "pipe_ring": Said(
        "{inside_mm:inside} inside",
        "{trees:count} rings of {across_m:length} across and {spare:percent} for cuts",
        {"inside_mm": 13.2, "trees": 600, "across_m": 1.2, "spare": 0.05},
        "{quantity:whole}",
    ),
    "drip_emitter": _EMITTER,
    "ring_emitter": _EMITTER,
    "micro_sprinkler": _EMITTER,
    "valve": Said("for pipe {inside_mm:inside} inside", "one a valve of {zones} zones", {"inside_mm": 40.0, "zones": 4}),
    "pressure_regulator": Said("", "at {n:count} of {valves:count} valves, set as the zones table says", {"n": 3, "valves": 6}),
    "take_off": Said("", "one a lateral"),
    "flush_end": Said("", "at the end of every lateral"),
    "flush_valve": Said("", "at the end of every manifold"),
    "backflow_preventer": Said("", "at every water point, of the type that the local code asks"),
    "filter": Said("", "at every water point, as fine as the emitters' maker asks"),
    "relief_valve": Said("", "at every water point and at high points of mains"),
}
"""What is said of each item, or of each end that it is bought for."""


def bought(line: MaterialLine, units: str) -> Bought:
    """Put a line of the materials into words.

    >>> from setout.model.buying import line_of
    >>> bought(line_of("bed_soil", 5.66, "R", deep_m=0.2032, beds=5), "us")
    Bought(item='bed soil', size='8 in deep', where='block R: 5 beds', shown='7.4 cu yd')
    """
    said, figures = SAID[line.words or line.item], {**line.figures, "block": line.block, "quantity": line.quantity}
    size, where, shown = (filled(text, figures, units) for text in (said.size, said.where, said.shown or SHOWN[line.unit]))
    return Bought(MATERIALS[line.item].name, size, where, shown)


def all_bought(lines: Iterable[MaterialLine], units: str) -> tuple[Bought, ...]:
    """Put lines of the materials into words, in their order."""
    return tuple(bought(line, units) for line in lines)
