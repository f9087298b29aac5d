"""What is said of the ground: slope, setbacks, reach, cold air."""

from __future__ import annotations

from typing import Final

from setout.words.findings.told import Words

WORDS: Final[dict[str, Words]] = {}
