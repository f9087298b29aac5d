"""Refusals of stages in words: what cannot be used, where, and what mends it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Final

from setout.errors import PlanFaults, Refusal, Refusals, SetoutError
from setout.words import refusals_land, refusals_planting, refusals_survey, refusals_water
from setout.words.refused import Refused
from setout.words.template import filled

REFUSALS: Final[Mapping[str, Refused]] = {
    **refusals_land.REFUSALS,
    **refusals_planting.REFUSALS,
    **refusals_survey.REFUSALS,
    **refusals_water.REFUSALS,
}
"""What is said of each code."""


def worded(refusal: Refusal | Refusals, units: str) -> SetoutError:
    """Return a refusal as an error that people can read."""
    if isinstance(refusal, Refusals):
        return PlanFaults(tuple(fault for one in refusal.refusals for fault in worded(one, units).faults))
    said = REFUSALS.get(refusal.code)
    return refusal if said is None else SetoutError(*(filled(text, refusal.figures, units) for text in said.texts))


@contextmanager
def in_words(units: str) -> Iterator[None]:
    """Let refusals of stages leave as errors in words."""
    try:
        yield
    except (Refusal, Refusals) as refusal:
        raise worded(refusal, units) from refusal
