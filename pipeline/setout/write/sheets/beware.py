"""Surveyed things that stakes, diggers and booms must keep away from, told apart by what the plan file calls them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from setout.draw import palette
from setout.draw.pen import Ink

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from setout.model import Planting

OVERHEAD: Final = re.compile(r"overhead|power|electric|transmission|telephone|utility[ _]?(line|pole)", re.IGNORECASE)
BURIED: Final = re.compile(
    r"buried|underground|\bgas\b|pipe|sewer|septic|cable|fib(re|er)|conduit|water[ _]?main|drain|\btile[ _]?line|\bwell\b", re.IGNORECASE
)
WORDS: Final = {
    "overhead": "overhead line: keep well clear",
    "buried": "buried line or tank: locate, dig by hand",
    "feature": "surveyed feature with a setback",
}
INKS: Final = {
    "overhead": Ink(palette.HEIGHT, 0.55, dash=(5.0, 1.6)),
    "buried": Ink(palette.ATTENTION, 0.5, dash=(2.6, 1.2, 0.4, 1.2)),
    "feature": Ink("#6d6a62", 0.3),
}


@dataclass(frozen=True, slots=True)
class Feature:
    """One kind of surveyed feature: overhead, buried or feature; what it is called; its shape in the frame."""

    kind: str
    name: str
    shape: BaseGeometry


def kind_of(words: str) -> str:
    """Return what a feature is to those who dig and drive.

    >>> kind_of("overhead power line"), kind_of("septic field"), kind_of("farm lane")
    ('overhead', 'buried', 'feature')
    >>> kind_of("buried electric cable")
    'buried'
    """
    if re.search(r"buried|underground", words, re.IGNORECASE):
        return "buried"
    return "overhead" if OVERHEAD.search(words) else "buried" if BURIED.search(words) else "feature"


def features_of(planting: Planting) -> list[Feature]:
    """Return the features that a plan's setbacks and height limits are measured from, and what no pipe may cross."""
    site = planting.site
    found: list[Feature] = []
    seen: set[bytes] = set()

    def add(kind: str, name: str, shapes: np.ndarray) -> None:
        kept = [shape for shape in shapes if shape is not None and not shape.is_empty and shape.wkb not in seen]
        seen.update(shape.wkb for shape in kept)
        if kept:
            found.append(Feature(kind, name, shapely.geometrycollections(kept)))

    for limit in site.height_limits:
        add("overhead", limit.why or limit.source, limit.geometry)
    for setback in site.setbacks:
        if setback.source != "boundary":
            add(kind_of(f"{setback.why} {setback.source}"), setback.why or setback.source, setback.geometry)
    if site.water is not None:
        add("feature", "no pipe across", site.water.barriers)
    return found
