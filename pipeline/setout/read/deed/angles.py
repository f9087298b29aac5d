"""Angles as surveyors write them: degrees, minutes and seconds in any of the usual signs and words."""

from __future__ import annotations

import re
from typing import Final

SIGNS: Final = (
    r"(?:\d+(?:\.\d+)?|[°º˚'′’‘\"″”“:,\s–-]"
    r"|degrees?|deg\.?|minutes?|min\.?|seconds?|sec\.?|d(?=\s*\d)|and\b)+?"
)
"""What may stand between the quadrant letters of a bearing."""

_NUMBER = re.compile(r"\d+(?:\.\d+)?")
_HEMISPHERE = re.compile(r"^\s*([NSEW])?\s*(-?)(.*?)\s*([NSEW])?\s*$", re.IGNORECASE | re.DOTALL)


def sexagesimal(text: str) -> float:
    r"""Read degrees with or without minutes and seconds.

    >>> sexagesimal("68-05-35"), sexagesimal("19°46'00\""), sexagesimal("45.5")
    (68.09305555555555, 19.766666666666666, 45.5)
    """
    numbers = _NUMBER.findall(text)
    if not 1 <= len(numbers) <= 3:
        raise ValueError(f'"{text.strip()}" is not degrees, minutes and seconds')
    if any("." in n for n in numbers[:-1]):
        raise ValueError(f'"{text.strip()}" has a fraction before its last number')
    values = [float(n) for n in numbers]
    if any(v >= 60 for v in values[1:]):
        raise ValueError(f'"{text.strip()}" has minutes or seconds of 60 or more')
    return float(sum(v / 60.0**i for i, v in enumerate(values)))


def coordinate(text: str) -> float:
    r"""Read a latitude or longitude: decimal, or degrees, minutes and seconds with a sign or hemisphere.

    >>> coordinate("-122.5"), coordinate("122°30'00\"W"), coordinate("N 45-30-00")
    (-122.5, -122.5, 45.5)
    """
    try:
        return float(text)
    except ValueError:
        pass
    match = _HEMISPHERE.match(text)
    if not match or not re.fullmatch(SIGNS, match[3].strip()) or (match[1] and match[4]):
        raise ValueError(f'"{text}" is no latitude or longitude')
    side = (match[1] or match[4] or "").upper()
    value = sexagesimal(match[3])
    return -value if (side in {"S", "W"}) != bool(match[2]) else value
