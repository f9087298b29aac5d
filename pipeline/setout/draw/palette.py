"""The colours, hatches and marks of map, picture and report: our own, told apart without red-green vision.

Trees take the colours of :data:`TREES`, whose least pairwise difference stays large in simulated protanopia,
deuteranopia and tritanopia. Ground kept clear takes quiet hatches and findings take shapes, so that nothing differs
by colour alone.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Final

INK: Final = "#22312e"
MUTED: Final = "#5a6864"
PAPER: Final = "#f6f3eb"
PANEL: Final = "#fdfcf8"
USABLE: Final = "#cfdcae"
USABLE_EDGE: Final = "#7f8f55"
CONTOUR: Final = "#a08a68"
ROW: Final = "#4f5f48"
WATER: Final = "#0f4b9f"
HEIGHT: Final = "#93306b"
COLD: Final = "#3d6f99"
ATTENTION: Final = "#b3261e"
BED: Final = "#c79a6b"
BED_EDGE: Final = "#75502f"
POST: Final = "#33291f"
SCREEN: Final = "#1f6b3f"
YARD: Final = "#7a6a1e"

TREES: Final = ("#45a4a1", "#da9f44", "#0f4b9f", "#9a2e4a", "#aed59c", "#2c1746", "#7a5300", "#c693f4")
"""Colours of what is planted; the ninth and later take them again, as rings."""

RAMP: Final = ("#e9b44c", "#b0aa58", "#6aa078", "#35838a", "#2a5685", "#2c1746")
"""From low to high, darker all the way."""


@dataclass(frozen=True, slots=True)
class Hatch:
    """One hatch: its colour, and its strokes as an SVG path in a square of ``size`` px that repeats."""

    colour: str
    size: int
    path: str
    width: float = 1.3


HATCHES: Final = (
    Hatch("#5a6672", 8, "M-2 2L2 -2M0 8L8 0M6 10L10 6"),
    Hatch("#7a5c45", 8, "M-2 6L2 10M0 0L8 8M6 -2L10 2"),
    Hatch("#735470", 8, "M0 4H8M4 0V8"),
    Hatch("#5f6b38", 9, "M2 2h1.6M6.5 6.5h1.6", 1.8),
    Hatch("#93573a", 8, "M1 6L4 3L7 6", 1.2),
    Hatch("#4d4d48", 7, "M3.5 0V7", 1.1),
    Hatch("#35726c", 10, "M5 2.5V7.5M2.5 5H7.5", 1.2),
    Hatch("#8a7a2f", 7, "M0 3.5H7", 1.1),
    Hatch("#5b5aa0", 9, "M4.5 1L8 4.5L4.5 8L1 4.5Z", 1.0),
)
"""Hatches of the reasons for which ground is kept clear; colour and strokes are also combined anew."""
WAVES: Final = Hatch("#3f6c8c", 10, "M0 3Q2.5 0 5 3T10 3M0 8Q2.5 5 5 8T10 8")
"""The hatch of open water, as maps have always drawn it."""
OPEN_WATER: Final = re.compile(r"\b(creek|stream|river|brook|pond|lake|wetland|swamp|marsh|ditch|canal|bayou|slough)", re.IGNORECASE)

Element = tuple[str, Mapping[str, str]]
_HALO: Final = {"stroke": "#fdfcf8", "stroke-width": "2", "stroke-linejoin": "round"}
_WHITE: Final = {"stroke": "#ffffff", "stroke-width": "2.6", "fill": "none"}
_DROP: Final = "M12 2.5C15.5 8 18.5 11.4 18.5 15.2a6.5 6.5 0 0 1-13 0C5.5 11.4 8.5 8 12 2.5Z"
MARKS: Final[Mapping[str, tuple[Element, ...]]] = {
    "water": (("path", {"d": _DROP, "fill": WATER, **_HALO}),),
    "valve": (("path", {"d": "M2.5 6L12 12L2.5 18ZM21.5 6L12 12L21.5 18Z", "fill": INK, **_HALO}),),
    "stop": (("path", {"d": "M7.5 2.5h9l5 5v9l-5 5h-9l-5-5v-9Z", "fill": "#9a1b2f", **_HALO}), ("path", {"d": "M7.5 12h9", **_WHITE})),
    "warn": (("path", {"d": "M12 2.5L22.5 21.5H1.5Z", "fill": "#c8790b", **_HALO}), ("path", {"d": "M12 9v6M12 17v2.4", **_WHITE})),
    "note": (
        ("circle", {"cx": "12", "cy": "12", "r": "9.5", "fill": "#4a6f8c", **_HALO}),
        ("path", {"d": "M12 10.6V17M12 6.6V9", **_WHITE}),
    ),
}
"""Marks on a 24 px square, told apart by shape: (SVG element, attributes)."""

SWATCH_BOUNDARY: Final = f'<path d="M0 8H26" stroke="{INK}" stroke-width="2.2" stroke-dasharray="10 3 2 3 2 3"/>'
SWATCH_RELIEF: Final = (
    '<rect width="26" height="16" rx="2" fill="#e9e5da"/><path d="M0 16L9 4l4 5 4-7 9 14Z" fill="#aaa79d"/>'
    '<path d="M9 4l4 5-2 7H3ZM17 2l9 14h-7Z" fill="#807d74"/>'
)
SWATCH_TREES: Final = "".join(
    f'<circle cx="{4.5 + 8.5 * i}" cy="8" r="4.1" fill="{colour}" stroke="{INK}" stroke-opacity=".5" stroke-width=".8"/>'
    for i, colour in enumerate(TREES[:3])
)
SWATCH_POSTS: Final = (
    f'<path d="M4 8H22" stroke="{ROW}" stroke-width="1.1"/><path d="M1.5 5.5h5v5h-5ZM19.5 5.5h5v5h-5Z" fill="{POST}"/>'
    f'<path d="M11.6 6.6h2.8v2.8h-2.8Z" fill="{POST}"/>'
)
SWATCH_SCREEN: Final = f'<path d="M2 8H24" stroke="{SCREEN}" stroke-width="7" stroke-linecap="round"/>' + "".join(
    f'<circle cx="{x}" cy="8" r="2.1" fill="{PANEL}"/>' for x in (5, 13, 21)
)


def tree_colour(index: int) -> str:
    """Return the colour of the n-th thing planted.

    >>> tree_colour(0) == tree_colour(8)
    True
    """
    return TREES[index % len(TREES)]


def is_ring(index: int) -> bool:
    """Tell whether the n-th thing planted is drawn as a ring, since its colour is taken already.

    >>> is_ring(7), is_ring(8), is_ring(16)
    (False, True, False)
    """
    return index // len(TREES) % 2 == 1


def swatch_plant(index: int, *, filler: bool = False) -> str:
    """Return the swatch of the n-th thing planted: a dot, a ring, or pale where it comes out again."""
    colour = tree_colour(index)
    if filler:
        return f'<circle cx="13" cy="8" r="5.4" fill="{colour}" fill-opacity="0.35" stroke="{colour}" stroke-width="1.2"/>'
    if is_ring(index):
        return f'<circle cx="13" cy="8" r="4.9" fill="{PANEL}" stroke="{colour}" stroke-width="2.4"/>'
    return f'<circle cx="13" cy="8" r="6" fill="{colour}"/>'


def hatches_for(reasons: Iterable[str]) -> dict[str, Hatch]:
    """Return a hatch for every reason, in order; reasons that name open water have waves.

    >>> chosen = hatches_for(["slope", "creek", "well"])
    >>> chosen["creek"] is WAVES, chosen["well"] is HATCHES[1]
    (True, True)
    >>> len({(h.colour, h.path) for h in hatches_for(map(str, range(60))).values()})
    60
    """
    chosen: dict[str, Hatch] = {}
    used = 0
    for reason in reasons:
        if reason in chosen:
            continue
        if OPEN_WATER.search(reason):
            chosen[reason] = WAVES
            continue
        turn, at = divmod(used, len(HATCHES))
        colour = HATCHES[(at + 4 * turn) % len(HATCHES)].colour
        chosen[reason] = replace(HATCHES[at], colour=colour) if turn else HATCHES[at]
        used += 1
    return chosen


def hatch_defs(prefix: str, hatches: Iterable[Hatch]) -> str:
    """Return SVG patterns ``prefix0``, ``prefix1`` ... to stand inside ``<defs>``."""
    return "".join(_pattern(f"{prefix}{i}", h) for i, h in enumerate(hatches))


def _pattern(name: str, h: Hatch) -> str:
    return (
        f'<pattern id="{name}" width="{h.size}" height="{h.size}" patternUnits="userSpaceOnUse">'
        f'<rect width="{h.size}" height="{h.size}" fill="{h.colour}" fill-opacity="0.16"/>'
        f'<path d="{h.path}" fill="none" stroke="{h.colour}" stroke-width="{h.width}" stroke-opacity="0.85"/>'
        "</pattern>"
    )


def mark_svg(name: str) -> str:
    """Return one mark as SVG elements on a 24 px square."""
    return "".join(f"<{tag} " + " ".join(f'{key}="{value}"' for key, value in attributes.items()) + "/>" for tag, attributes in MARKS[name])


def swatch_mark(name: str) -> str:
    """Return one mark as a swatch of a legend, 26 by 16 px as all swatches are."""
    return f'<g transform="translate(4 -1) scale(0.75)">{mark_svg(name)}</g>'


def swatch_box(fill: str, edge: str, dash: str = "", opacity: float = 1.0) -> str:
    """Return the swatch of an area."""
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<rect x="0.7" y="0.7" width="24.6" height="14.6" rx="2" fill="{fill}" fill-opacity="{opacity:g}"'
        f' stroke="{edge}" stroke-width="1.2"{dashes}/>'
    )


def swatch_line(colour: str) -> str:
    """Return the swatch of the rows."""
    return f'<path d="M0 4.5H26M0 11.5H26" fill="none" stroke="{colour}" stroke-width="1.1"/>'


def swatch_pipes(widths: Iterable[float]) -> str:
    """Return the swatch of pipes, in the colours of the first zones."""
    lines = "".join(f'<path d="M1 {4 + 8 * i}H25" stroke="{TREES[2 * i]}" stroke-width="{w:g}"/>' for i, w in enumerate(widths))
    return f'<g fill="none" stroke-linecap="round">{lines}</g>'


def swatch_curve(colour: str, width: float, dash: str = "") -> str:
    """Return the swatch of contours and other winding lines."""
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="M0 11Q7 2 13 8T26 5" fill="none" stroke="{colour}" stroke-width="{width:g}"{dashes}/>'
