"""What is said of what came back from the field."""

from __future__ import annotations

from typing import Final

from setout.words.findings.told import Words

WORDS: Final[dict[str, Words]] = {}
