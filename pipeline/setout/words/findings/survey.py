"""What is said of the survey: files, boundary, coordinates, heights."""

from __future__ import annotations

from typing import Final

from setout.model import Figure
from setout.words.findings.told import Words

_MENDED: Final = (
    "area changed by {changed:.6g} square {unit}s",
    "a boundary that does not cross itself",
    "check that corner against the deed or the survey",
)
_AT: Final[dict[str, Figure]] = {"x": 500012.5, "y": 4649800.0, "changed": 0.25, "unit": "metre"}
_FEATURES: Final[dict[str, Figure]] = {"n": 2, "of": 5, "source": "site.gpkg:sheds"}


def _unshaded(word: str) -> Words:
    return Words(
        f"{{n}} of {{of}} features of {{source}} have no {word}: their shade is not counted",
        "{n} without",
        f"a {word} of each",
        f"give them a {word}, or one for all in the plan file",
        example=_FEATURES,
    )


WORDS: Final[dict[str, Words]] = {
    "boundary_repaired.crossing": Words(
        "the boundary was mended at {x:.3f}, {y:.3f} ({reason})", *_MENDED, example={**_AT, "reason": "self-intersection"}
    ),
    "boundary_repaired.overlap": Words(
        "the boundary was mended at {x:.3f}, {y:.3f} (parts of the boundary overlap)", *_MENDED, example=_AT
    ),
    "grid_stretched": Words(
        "distances in the survey's CRS ({crs}) are {stretch:.4f} times those on the ground; all figures here are ground distances",
        "{stretch:.4f}",
        "within {most:percent1} of 1",
        "deliver the survey in UTM, a state plane or a national grid",
        example={"crs": "WGS 84 / Pseudo-Mercator", "stretch": 1.4, "most": 0.002},
    ),
    "feature_repaired": Words(
        "{n} features of {source} cross themselves and were mended",
        remedy="check them against the survey",
        example={"n": 2, "source": "site.gpkg:sheds"},
    ),
    "left_out": Words(
        "left out: {n:n feature|features} of {source} ({why})", "{n}", example={"n": 2, "source": "site.gpkg:pits", "why": "a soil sample"}
    ),
    "left_out_unsaid": Words(
        "{n:n feature|features} of {source}: nobody has said what this is, and no tree keeps clear of it",
        "{n}",
        "0",
        "find out what it is: write it as a [[setback]], [[no_plant]] or [[height_limit]], or as [[left_out]] with "
        'why = "..." if nobody comes to harm by trees and digging there',
        example={"n": 1, "source": "site.gpkg:spots"},
    ),
    "layer_unused": Words(
        "the plan file does not use {what}",
        remedy='use it in a [[setback]], [[no_plant]] or [[height_limit]], or write [[left_out]] with its from and why = "..."',
        example={"what": "site.gpkg:spots"},
    ),
    "feature_far": Words(
        "{n} of {of} features of {source} ({why}) lie more than 100 m beyond their distance from the site and take no ground",
        "{n} far away",
        remedy="check the file's CRS if they should be on the site",
        example={**_FEATURES, "why": "building"},
    ),
    "height_unknown": Words(
        "the mature height of block {blocks:list} is unknown: it keeps off all ground with a height limit",
        remedy='name its plants, or write height = "15 ft" for the block',
        example={"blocks": ("A", "B")},
    ),
    "water_point_outside": Words(
        "water point {points:list8} is outside the boundary",
        "{n} outside",
        "inside",
        "check that its pipe may come onto the property where it is nearest, or name a sleeve (water.sleeves) where it does",
        example={"points": ("W1", "W2"), "n": 2},
    ),
    "shade_without_height": _unshaded("height"),
    "shade_without_spread": _unshaded("spread"),
}
