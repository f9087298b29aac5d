"""The colours and hatches of map, picture and report: our own, told apart without red-green vision.

Trees take the colours of :data:`TREES`, whose least pairwise difference stays large in simulated protanopia,
deuteranopia and tritanopia. Ground kept clear takes quiet hatches, so that no two reasons differ by colour alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

INK: Final = "#22312e"
MUTED: Final = "#5a6864"
PAPER: Final = "#f6f3eb"
PANEL: Final = "#fdfcf8"
LINE: Final = "#d8d2c3"
ACCENT: Final = "#0f5f5a"
USABLE: Final = "#cfdcae"
USABLE_EDGE: Final = "#7f8f55"
CONTOUR: Final = "#a08a68"
ROW: Final = "#4f5f48"
WATER: Final = "#0f4b9f"
HEIGHT: Final = "#93306b"
ATTENTION: Final = "#b3261e"

TREES: Final = ("#45a4a1", "#da9f44", "#0f4b9f", "#9a2e4a", "#aed59c", "#2c1746", "#7a5300", "#c693f4")
"""Colours of what is planted; the ninth and later take them again as rings."""

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
    Hatch("#3f6c8c", 10, "M0 3Q2.5 0 5 3T10 3M0 8Q2.5 5 5 8T10 8"),
    Hatch("#735470", 8, "M0 4H8M4 0V8"),
    Hatch("#5f6b38", 9, "M2 2h1.6M6.5 6.5h1.6", 1.8),
    Hatch("#93573a", 8, "M1 6L4 3L7 6", 1.2),
    Hatch("#4d4d48", 7, "M3.5 0V7", 1.1),
    Hatch("#35726c", 10, "M5 2.5V7.5M2.5 5H7.5", 1.2),
    Hatch("#8a7a2f", 7, "M0 3.5H7", 1.1),
    Hatch("#5b5aa0", 9, "M4.5 1L8 4.5L4.5 8L1 4.5Z", 1.0),
)
"""Hatches of the reasons for which ground is kept clear, in the order in which the plan takes it."""


def tree_colour(index: int) -> str:
    """Return the colour of the n-th thing planted.

    >>> tree_colour(0) == tree_colour(8)
    True
    """
    return TREES[index % len(TREES)]


def hatch(index: int) -> Hatch:
    """Return the hatch of the n-th reason.

    >>> hatch(0).colour
    '#5a6672'
    """
    return HATCHES[index % len(HATCHES)]


def hatch_defs(prefix: str, count: int) -> str:
    """Return SVG patterns ``prefix0``, ``prefix1`` ... for the first reasons, to stand inside ``<defs>``."""
    return "".join(_pattern(f"{prefix}{i}", hatch(i)) for i in range(count))


def _pattern(name: str, h: Hatch) -> str:
    return (
        f'<pattern id="{name}" width="{h.size}" height="{h.size}" patternUnits="userSpaceOnUse">'
        f'<rect width="{h.size}" height="{h.size}" fill="{h.colour}" fill-opacity="0.16"/>'
        f'<path d="{h.path}" fill="none" stroke="{h.colour}" stroke-width="{h.width}" stroke-opacity="0.85"/>'
        f"</pattern>"
    )

_HALO: Final = {"stroke": "#fdfcf8", "stroke-width": "2", "stroke-linejoin": "round"}
_WHITE: Final = {"stroke": "#ffffff", "stroke-width": "2.6", "fill": "none"}
MARKS: Final[dict[str, list[tuple[str, dict[str, str]]]]] = {
    "water": [("path", {"d": "M12 2.5C15.5 8 18.5 11.4 18.5 15.2a6.5 6.5 0 0 1-13 0C5.5 11.4 8.5 8 12 2.5Z", "fill": WATER, **_HALO})],
    "stop": [("path", {"d": "M7.5 2.5h9l5 5v9l-5 5h-9l-5-5v-9Z", "fill": "#9a1b2f", **_HALO}), ("path", {"d": "M7.5 12h9", **_WHITE})],
    "warn": [("path", {"d": "M12 2.5L22.5 21.5H1.5Z", "fill": "#c8790b", **_HALO}), ("path", {"d": "M12 9v6M12 17v2.4", **_WHITE})],
    "note": [("circle", {"cx": "12", "cy": "12", "r": "9.5", "fill": "#4a6f8c", **_HALO}), ("path", {"d": "M12 10.6V17M12 6.6V9", **_WHITE})],
}  # fmt: skip
"""Marks on a 24 px square, told apart by shape: (SVG element, attributes)."""


def mark_svg(name: str) -> str:
    """Return one mark as SVG elements."""
    return "".join(
        f"<{tag} " + " ".join(f'{key}="{value}"' for key, value in attributes.items()) + "/>"
        for tag, attributes in MARKS[name]
    )
