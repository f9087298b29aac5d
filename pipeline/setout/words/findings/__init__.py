"""Findings in words: what each code says, of the figures that were found, in the reader's units."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

from setout.model import Finding
from setout.words.findings import field, land, light, planting, survey, water
from setout.words.findings.told import Told, Words
from setout.words.template import filled

__all__ = ["WORDS", "Told", "Words", "all_told", "told"]

WORDS: Final[Mapping[str, Words]] = survey.WORDS | land.WORDS | planting.WORDS | water.WORDS | light.WORDS | field.WORDS
"""What is said of each code, or of a code and its kind, as "swapped.alike"."""


def told(finding: Finding, units: str) -> Told:
    """Put a finding into words.

    >>> from setout.model import Finding
    >>> told(Finding("deed_closed", "note", "closed by the compass rule"), "us").message
    'closed by the compass rule'
    """
    kind = finding.figures.get("kind")
    words = WORDS.get(f"{finding.code}.{kind}" if kind else finding.code)
    if words is None or finding.message:
        return Told(finding, finding.message, finding.measured, finding.required, finding.remedy, finding.each)
    message, measured, required, remedy, each = (filled(text, finding.figures, units) for text in words.texts)
    return Told(finding, message, measured, required, remedy, each)


def all_told(findings: Iterable[Finding], units: str) -> tuple[Told, ...]:
    """Put findings into words, in their order."""
    return tuple(told(finding, units) for finding in findings)
