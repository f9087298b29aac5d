"""What came back from the field, in words: statuses, and figures of the set-out as a whole."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

import numpy as np

from setout.model import Floats
from setout.model.asbuilt import STATUSES, Return, SetUp
from setout.units import show_length

STATUS_WORDS: Final = (
    "in place",
    "off its place",
    "swapped",
    "at another's place",
    "doubled",
    "extra",
    "missing",
    "not surveyed",
    "not judged",
)
"""What a surveyed tree, or a planned place without one, is; by its code's number in :data:`setout.model.asbuilt.STATUSES`."""
PLACE_WORDS: Final = ("planted", "missing", "not surveyed", "not judged")
"""What a planned place is, by number."""


def counted(counts: Mapping[str, int]) -> dict[str, int]:
    """Return counts by what people call them."""
    return {STATUS_WORDS[STATUSES.index(code)]: n for code, n in counts.items()}


def bearing(x: Floats, y: Floats) -> Floats:
    """Return bearings of offsets, clockwise from true north [deg].

    >>> bearing(np.array([1.0, 0.0, -1.0]), np.array([0.0, -1.0, 0.0])).tolist()
    [90.0, 180.0, 270.0]
    """
    out: Floats = np.degrees(np.arctan2(x, y)) % 360.0
    return out


def figures(back: Return) -> list[tuple[str, float, str, str]]:
    """Return what is told of the set-out as a whole: figure, value, unit, words."""
    set_up, units, counts = back.built.set_up, back.planting.site.units, back.built.counts
    shift = math.hypot(set_up.shift_x, set_up.shift_y)
    way = float(bearing(np.array([set_up.shift_x]), np.array([set_up.shift_y]))[0])
    known, sure = math.isfinite(set_up.turn_sd_deg), set_up.by_names or not set_up.coarse
    off = np.hypot(back.built.off_x, back.built.off_y)
    off = off[np.isfinite(off)]
    middle, far = (float(np.percentile(off, q)) if len(off) else math.nan for q in (50, 95))
    return [
        ("surveyed trees", float(len(back.built.points)), "each", f"{len(back.built.points):,}"),
        ("planned trees", float(len(back.planting.trees)), "each", f"{len(back.planting.trees):,}"),
        *((word, float(n), "each", f"{n:,}") for word, n in zip(STATUS_WORDS, (counts.get(code, 0) for code in STATUSES), strict=True)),
        ("shift of the whole", shift if sure else math.nan, "m", _give(shift, set_up.shift_sd_m, units) if sure else "not known"),
        ("its direction", way if sure else math.nan, "deg", f"{way:.1f} deg from true north" if sure else "not known"),
        ("turn of the whole, clockwise", set_up.turn_deg if known else math.nan, "deg", _turn(set_up)),
        ("scale of the whole", set_up.scale if known else math.nan, "", _scale(set_up)),
        ("scatter of single trees", set_up.scatter_m, "m", f"{show_length(set_up.scatter_m, units)} in each coordinate"),
        ("middle offset", middle, "m", show_length(middle, units) if len(off) else ""),
        ("offset of 95 %", far, "m", f"at most {show_length(far, units)}" if len(off) else ""),
    ]


def _give(value: float, error: float, units: str) -> str:
    shown = show_length(value, units)
    return f"{shown}, give or take {show_length(2 * error, units)}" if math.isfinite(error) else f"{shown}, of few trees"


def _scale(set_up: SetUp) -> str:
    if not math.isfinite(set_up.scale_sd):
        return "not known"
    return f"{set_up.scale:.5f} times the plan, give or take {2 * set_up.scale_sd:.5f}"


def _turn(set_up: SetUp) -> str:
    if not math.isfinite(set_up.turn_sd_deg):
        return "not known of so few trees"
    return f"{set_up.turn_deg:+.3f} deg, give or take {2 * set_up.turn_sd_deg:.3f} deg"


def how_told(back: Return) -> str:
    """Say how which tree is which was told."""
    if back.built.set_up.coarse and back.built.set_up.by_names:
        return "Which tree is which was told by the names in the file alone."
    if back.built.set_up.by_names:
        return "Which tree is which was told by the names in the file, and then by where each stands."
    return "The file names no trees, or others: which tree is which was told by the pattern of them all."
