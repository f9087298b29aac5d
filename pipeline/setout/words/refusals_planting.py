"""What is said where the ground of a block cannot be planted as it is asked for."""

from __future__ import annotations

from typing import Final

from setout.words.refused import Refused

_WHERE: Final = "block {block}"
_STRAIGHT: Final = 'give it a straight direction, such as direction = "longest side"'

REFUSALS: Final[dict[str, Refused]] = {
    "beds_bent": Refused("raised beds are rectangles in straight rows; its rows are to bend", _WHERE, _STRAIGHT, {"block": "A"}),
    "block_without_ground": Refused(
        "none of its ground is left to plant", _WHERE, "give it more ground or shorter setbacks", {"block": "A"}
    ),
    "contour_without_dem": Refused(
        "contour rows need elevations, and there is no DEM",
        _WHERE,
        'add dem = ["..."] to [site], or give a straight direction',
        {"block": "A"},
    ),
    "contour_lines": Refused(
        "contour rows have one line of trees, not {lines}",
        _WHERE,
        "write lines = 1, or give it a straight direction or a guide line",
        {"block": "A", "lines": 2},
    ),
    "contour_off_dem": Refused(
        "contour rows need elevations, and the DEM has none on its ground",
        _WHERE,
        "give a DEM that covers the block, or a straight direction",
        {"block": "A"},
    ),
    "contour_on_level": Refused(
        "its ground is level (within {relief_m:length}): there is no contour to follow", _WHERE, _STRAIGHT, {"block": "A", "relief_m": 0.2}
    ),
    "guide_missing": Refused(
        "its rows follow a guide line, and there is none", _WHERE, 'name one with a length: direction = "guide:file:layer"', {"block": "A"}
    ),
    "guide_far": Refused(
        "the guide line lies {away_m:length} from its ground, which is {across_m:length} across",
        _WHERE,
        "name a line that runs along or across the block",
        {"block": "A", "away_m": 120.0, "across_m": 100.0},
    ),
    "screen_without_line": Refused("a screen runs along a line, and there is none", _WHERE, 'add line = "file:layer"', {"block": "A"}),
    "screen_off_ground": Refused(
        "none of the screen's line lies on ground that may be planted",
        _WHERE,
        "move the line clear of setbacks and other blocks, or shorten the setbacks",
        {"block": "A"},
    ),
}
