"""What is said of water: need, pipes, pressure, sources."""

from __future__ import annotations

from typing import Final

from setout.words.findings.told import Words

WORDS: Final[dict[str, Words]] = {}
