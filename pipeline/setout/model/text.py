"""Signs that no name may hold: they end a line, turn the direction of what follows, or are obeyed by a terminal."""

from __future__ import annotations

import re
from typing import Final

ODD: Final = re.compile("[\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069]")
"""Control characters (category Cc of Unicode), line and paragraph separators, and the signs of its annex 9 that turn a line."""


def one_line(text: str) -> str:
    r"""Return a text without such signs, blanks in their places.

    >>> one_line("riser\n2"), one_line("Gänse 樹")
    ('riser 2', 'Gänse 樹')
    """
    return text if text.isprintable() else " ".join(ODD.sub(" ", text).split())


def is_blank(value: object) -> bool:
    """Tell whether a feature's column says nothing: null, not a number, or only spaces.

    >>> is_blank(None), is_blank(float("nan")), is_blank("  "), is_blank(0)
    (True, True, True, False)
    """
    return value is None or value != value or not str(value).strip()
