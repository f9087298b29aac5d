"""What is said of a stage's refusal."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class Refused:
    """What is said of one code: templates, as :mod:`setout.words.template` fills them, and figures such as they may be."""

    what: str
    where: str = ""
    remedy: str = ""
    example: Mapping[str, Any] = field(default_factory=dict)

    @property
    def texts(self) -> tuple[str, str, str]:
        """Return the templates in the order of a fault."""
        return self.what, self.where, self.remedy
