"""What codes are called: one word or phrase for each, wherever a reader meets it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

TERMS: Final[Mapping[str, str]] = {
    # work of the year
    "pruning": "pruning",
    "thinning": "thinning",
    "mulching": "mulching",
    "watering_checks": "watering checks",
    # plants, of their figures
    "plant": "[[{plant}||the plant]][[ ({variety})]]",
    "plant_cut": "[[{plant}||the plant]][[ ({variety})]]: {n} of {asked}",
}
