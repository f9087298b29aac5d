"""What codes are called: one word or phrase for each, wherever a reader meets it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

TERMS: Final[Mapping[str, str]] = {"clockwise": "clockwise", "counter_clockwise": "counter-clockwise"}
