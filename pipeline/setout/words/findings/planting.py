"""What is said of rows, plants, their room and partners."""

from __future__ import annotations

from typing import Final

from setout.words.findings.told import Words

WORDS: Final[dict[str, Words]] = {}
