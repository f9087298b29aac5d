"""What is said of a code, and a finding in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from setout.model import Finding, Ints, Severity

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry


@dataclass(frozen=True, slots=True)
class Words:
    """What is said of one code: templates, as :mod:`setout.words.template` fills them, and figures such as they may be.

    Attributes
    ----------
    message : what and where
    measured, required : the figures behind it; empty when there are none
    remedy : what mends it
    each : what is said of each of many trees, such as "is not watered"
    example : figures by name, for the reference and the tests: every figure that the templates ask for, and no other
    """

    message: str
    measured: str = ""
    required: str = ""
    remedy: str = ""
    each: str = ""
    example: Mapping[str, Any] = field(default_factory=dict)

    @property
    def texts(self) -> tuple[str, str, str, str, str]:
        """Return the templates in the order in which they are told."""
        return self.message, self.measured, self.required, self.remedy, self.each


@dataclass(frozen=True, slots=True)
class Told:
    """A finding in words."""

    finding: Finding
    message: str
    measured: str = ""
    required: str = ""
    remedy: str = ""
    each: str = ""

    @property
    def code(self) -> str:
        """Return the finding's code."""
        return self.finding.code

    @property
    def severity(self) -> Severity:
        """Return note, warn or stop."""
        return self.finding.severity

    @property
    def tree_id(self) -> str:
        """Return the tree at fault; empty for none."""
        return self.finding.tree_id

    @property
    def geometry(self) -> BaseGeometry | None:
        """Return where it is, in the frame."""
        return self.finding.geometry

    @property
    def by(self) -> float:
        """Return how much it falls short by; NaN where that cannot be told."""
        return self.finding.by

    @property
    def trees(self) -> Ints | None:
        """Return the trees at fault where they are many."""
        return self.finding.trees

    @property
    def count(self) -> int:
        """Return how many trees or other things it is of."""
        return self.finding.count

    def record(self) -> dict[str, str]:
        """Return everything but its place, by name."""
        names = ("code", "severity", "tree_id", "message", "measured", "required", "remedy")
        return {name: getattr(self, name) for name in names}
