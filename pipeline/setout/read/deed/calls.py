"""The courses of a deed: from the words of one call to an azimuth and a distance."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final

from setout.errors import SetoutError
from setout.read.crs import metres
from setout.read.deed.angles import SIGNS, sexagesimal

_UNITS: Final = {
    r"u\.?\s?s\.?[\s_-]*survey[\s_-]*(?:feet|foot|ft)|ft[\s_]?us|us-?ft|usft": "US survey ft",
    r"feet|foot|ft|'|′|’": "ft",
    r"met(?:er|re)s?|m": "m",
    r"chains?|ch": "chains",
    r"rods?|poles?|perch(?:es)?|rd": "rods",  # pole and perch are other names of the rod, 16.5 ft
    r"links?|lks?|li": "links",
    r"yards?|yds?": "yd",
    r"inch(?:es)?|in(?=\s*(?:$|[.,;]))|\"|″|”": "in",
}
UNIT: Final = "|".join(f"(?:{pattern})" for pattern in _UNITS)
NUMBER: Final = r"\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+(?:\.\d+)?|\.\d+"
_I: Final = re.IGNORECASE
_BEARING = re.compile(rf"\b(north|south|n|s)\.?[\s,]*((?=\d){SIGNS})\s*(east|west|e|w)\b\.?", _I)
_DUE = re.compile(r"\b(?:due\s+)?(north|south|east|west|n|s|e|w)\b\.?(?=[\s,]*(?:(?:for|a|an|distance|of)\b[\s,]*)*[\d.])", _I)
_AZIMUTH = re.compile(
    r"^\s*(?:az(?:imuth)?\.?[\s:]*)?"
    r"(\d+(?:\.\d+)?(?:\s*[-:°º]\s*\d+(?:\.\d+)?(?:\s*[-:'′’]\s*\d+(?:\.\d+)?)?\s*['′’\"″”]*)?)"
    r"\s*(?:deg(?:rees?)?|°|º)?[\s,]+(?=[\d.])",
    _I,
)
_TERM = re.compile(rf"(?P<number>{NUMBER})\s*-?(?P<unit>{UNIT})?(?![A-Za-z\d])\.?", _I)
_OF = re.compile(r"distance\s+of\s+(?=[\d.])", _I)
_FILL = re.compile(r"[\s,;:]*(?:(?:for|a|an|distance|of|along|is)\b[\s,]*)*", _I)
_CURVE = re.compile(r"\b(curve|arc|radius|delta|chord|tangent|central angle)\b", _I)
_HOME = re.compile(r"\b(?:point|place)\s+of\s+(?:beginning|commencement)|\bp\.?o\.?b\b|\bclose\b|\bback to (?:the )?start", _I)
HOW: Final = 'write a call as "S 68-05-35 W 472.68 ft"'


@dataclass(frozen=True, slots=True)
class Call:
    """One course: azimuth [deg clockwise from grid north], distance [m], its words, its line in the text."""

    azimuth_deg: float
    distance_m: float
    text: str
    line: int


def chunks(body: list[tuple[int, str]], source: str) -> list[tuple[int, str]]:
    """Return the calls with their line numbers: lines, or what stands between one "thence" and the next."""
    whole = "\n".join(line for _, line in body)
    if not re.search(r"\bthence\b", whole, _I):
        return [(number, line) for number, line in body if line.strip()]
    if re.search(r"\bcommencing\b", whole, _I):
        raise SetoutError(
            'the description ties in from a point "commencing" outside the boundary',
            source,
            'leave the tie calls out and give the point of beginning as "start N ... E ..."',
        )
    pieces: list[tuple[int, str]] = []
    for number, line in body:
        before, *after = re.split(r"\bthence\b[\s,]*", line, flags=_I)
        if before.strip():
            if not pieces or (_course(pieces[-1][1]) and _course(before, at_start=True)):
                pieces.append((number, before))
            else:
                pieces[-1] = (pieces[-1][0], f"{pieces[-1][1]} {before}")
        pieces += [(number, piece) for piece in after]
    # What comes before the first call ("Beginning at an iron pin ...") is description, unless it is a call.
    return pieces if _course(pieces[0][1]) else pieces[1:]


def _course(text: str, *, at_start: bool = False) -> re.Match[str] | None:
    """Find a bearing, an azimuth or a due direction, or only one that the text begins with."""
    words = text.strip()
    if at_start:
        return _BEARING.match(words) or _AZIMUTH.match(words) or _DUE.match(words)
    return _BEARING.search(words) or _AZIMUTH.match(words) or _DUE.search(words)


def read_call(chunk: str, line: int, default: str | None, source: str) -> tuple[Call | None, str]:
    """Read one call and the unit it is in; (None, "") for an unmeasured way home."""
    at = f"{source}: line {line}"
    words = " ".join(chunk.split()).rstrip(" ;.")
    bearing = _course(words)
    curve = _CURVE.search(words)
    if curve and (not bearing or curve.start() < bearing.start()):
        raise _curve_error(words, at)
    if not bearing:
        if _HOME.search(words):
            return None, ""
        raise SetoutError(f'"{words[:80]}" is no call', at, HOW)
    try:
        azimuth = _azimuth(bearing)
    except ValueError as error:
        raise SetoutError(f"{error}", at, HOW) from None
    rest = words[bearing.end() :]
    distance, used, end = _distance(rest, default, at)
    if curve and curve.start() < bearing.end() + end:
        raise _curve_error(words, at)
    if distance is None:
        if _HOME.search(rest):
            return None, ""
        raise SetoutError(f'"{words[:80]}" has no distance', at, HOW)
    if distance <= 0:
        raise SetoutError(f'"{words[:80]}" has the distance 0', at, HOW)
    if _BEARING.search(rest[end:]):
        raise SetoutError(f'"{words[:80]}" holds two calls', at, 'write each call on its own line, or "thence" before it')
    return Call(azimuth, distance, words, line), used


def _curve_error(words: str, at: str) -> SetoutError:
    remedy = "give the curve as calls along its chords, from one point on the arc to the next"
    return SetoutError(f'"{words[:80]}" is a curve, which deed calls here cannot hold', at, remedy)


def _azimuth(match: re.Match[str]) -> float:
    if match.re is _AZIMUTH:
        value = sexagesimal(match[1])
        if value > 360:
            raise ValueError(f'"{match[0].strip()}": an azimuth is at most 360 deg')
        return value % 360.0
    if match.re is _DUE:
        return {"n": 0.0, "e": 90.0, "s": 180.0, "w": 270.0}[match[1][0].lower()]
    angle = sexagesimal(match[2])
    if angle > 90:
        raise ValueError(f'"{match[0].strip()}": a quadrant bearing is at most 90 deg')
    north, east = match[1][0].lower() == "n", match[3][0].lower() == "e"
    return (angle if east else -angle) % 360.0 if north else 180.0 - (angle if east else -angle)


def _distance(rest: str, default: str | None, at: str) -> tuple[float | None, str, int]:
    """Return the distance [m] after a bearing, the unit it is in, and where its text ends."""
    of = _OF.search(rest)
    fill = _FILL.match(rest)
    first = _TERM.match(rest, of.end()) if of else _TERM.match(rest, fill.end() if fill else 0)
    if first is None:
        first = next((m for m in _TERM.finditer(rest) if m["unit"]), None)
    if first is None:
        return None, "", 0
    total, used, end = 0.0, "", first.end()
    term: re.Match[str] | None = first
    last = math.inf
    while term:
        name = unit_name(term["unit"]) if term["unit"] else default
        if name is None:
            raise SetoutError(
                f"the distance {term['number']} has no unit",
                at,
                'write "unit ft" in the file, a unit behind the number, or site.unit in the plan file',
            )
        factor = metres(name, at)
        if factor >= last:
            break
        total += float(term["number"].replace(",", "")) * factor
        used, last, end = used or name, factor, term.end()
        gap = re.compile(r"[\s,]*(?:and\b)?\s*").match(rest, end)
        term = _TERM.match(rest, gap.end() if gap else end)
        if term and not term["unit"]:
            break
    return total, used, end


def unit_name(text: str) -> str:
    """Return the unit of :data:`setout.units.LENGTH` that a word of a deed means."""
    return next(name for pattern, name in _UNITS.items() if re.fullmatch(pattern, text, _I))
