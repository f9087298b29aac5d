"""Refusals of stages in words: what cannot be used, where, and what mends it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Final

from setout.errors import Refusal, SetoutError
from setout.model import Figure
from setout.words.template import filled


@dataclass(frozen=True, slots=True)
class Refused:
    """What is said of one code: templates, as :mod:`setout.words.template` fills them, and figures such as they may be."""

    what: str
    where: str = ""
    remedy: str = ""
    example: Mapping[str, Figure] = field(default_factory=dict)

    @property
    def texts(self) -> tuple[str, str, str]:
        """Return the templates in the order of a fault."""
        return self.what, self.where, self.remedy


REFUSALS: Final[dict[str, Refused]] = {}
"""What is said of each code."""


def worded(refusal: Refusal, units: str) -> SetoutError:
    """Return a refusal as an error that people can read."""
    said = REFUSALS.get(refusal.code)
    return refusal if said is None else SetoutError(*(filled(text, refusal.figures, units) for text in said.texts))


@contextmanager
def in_words(units: str) -> Iterator[None]:
    """Let refusals of stages leave as errors in words."""
    try:
        yield
    except Refusal as refusal:
        raise worded(refusal, units) from refusal
