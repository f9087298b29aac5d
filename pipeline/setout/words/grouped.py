"""Findings for readers: like ones told together, with how many they are, the worst of them, and where the first are."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from setout.model import Finding
    from setout.words.findings import Told

FEW: Final = 5
"""Like findings that name no tree are told one by one up to so many."""
FIRST: Final = 3
"""How many places are named where more have the same finding."""
WORDS: Final = {
    "beyond_reach": "beyond the reach of water",
    "counts_over_positions": "more plants than places",
    "deed_misclosure": "deed that does not close",
    "extra": "not planned",
    "height_limit": "too tall under a height limit",
    "low_pressure": "with too little pressure",
    "no_emitter_near": "without an emitter near enough",
    "no_plant": "where nothing is planted",
    "no_pollinizer": "without a pollinizer",
    "outside_block": "outside their block",
    "outside_boundary": "outside the boundary",
    "setback": "inside a setback",
    "swapped": "in each other's places",
    "too_close_to_block": "too close to another block",
    "too_steep": "on ground too steep",
}
"""What people read for a kind of finding, after a number; other codes read as they are."""


@dataclass(frozen=True, slots=True)
class Kind:
    """Findings that are alike: of one severity and code, asking for the same, mended by the same.

    Attributes
    ----------
    worst : the one that falls shortest; the first where that cannot be told
    alike : all of them, in order
    count : how many trees or other things they are of
    places : the first trees at fault, or what a finding says before its colon; empty for a single one
    """

    worst: Told
    alike: tuple[Told, ...]
    count: int
    places: tuple[str, ...]

    @property
    def told(self) -> tuple[Told, ...]:
        """Return those that are told one by one: the only one, or the few that name no tree; none of many."""
        few = len(self.alike) == 1 or (len(self.alike) <= FEW and not any(one.tree_id for one in self.alike))
        return self.alike if few else ()

    @property
    def where(self) -> str:
        """Return its first places in words; empty for a single finding."""
        if not self.places:
            return ""
        return f"first {', '.join(self.places)}{' ...' if self.count > len(self.places) else ''}"

    @property
    def said(self) -> str:
        """Return what it is: its message, and of many how many they are."""
        if len(self.alike) == 1:
            return self.worst.message
        which = "worst" if math.isfinite(self.worst.by) else "first"
        return f"{self.count:,} {words_of(self.worst.code)}; the {which}: {self.worst.message}"

    @property
    def line(self) -> str:
        """Return all of it in one line."""
        one = self.worst
        figures = f": {one.measured}" if one.measured else ""
        figures += f" (required {one.required})" if one.required else ""
        return "; ".join(part for part in (self.said + figures, self.where, one.remedy) if part)


def words_of(code: str) -> str:
    """Return what people read for a code.

    >>> words_of("setback"), words_of("not_watered")
    ('inside a setback', 'not watered')
    """
    return WORDS.get(code, code.replace("_", " "))


def kinds_of(findings: Sequence[Told], tree_id: Sequence[str] | NDArray[Any] = (), few: int = FEW) -> tuple[Kind, ...]:
    """Bring like findings together.

    >>> from setout.model import Finding
    >>> from setout.words.findings import told
    >>> close = [told(Finding("too_close", "stop", f"A-1-{k} stands close", f"{k} ft", "9 ft", "move it", f"A-1-{k}", by=9.0 - k), "us")
    ...          for k in (4, 2, 3, 5)]
    >>> kinds_of(close)[0].line
    '4 too close; the worst: A-1-2 stands close: 2 ft (required 9 ft); first A-1-4, A-1-2, A-1-3 ...; move it'
    """
    groups: dict[tuple[str, str, str, str], list[Told]] = {}
    for finding in findings:
        groups.setdefault((finding.severity, finding.code, finding.required, finding.remedy), []).append(finding)
    out: list[Kind] = []
    for alike in groups.values():
        apart = len(alike) <= few and not any(finding.tree_id for finding in alike)
        out += [_kind((finding,), tree_id) for finding in alike] if apart else [_kind(tuple(alike), tree_id)]
    return tuple(out)


def _kind(alike: tuple[Told, ...], tree_id: Sequence[str] | NDArray[Any]) -> Kind:
    worst = max(alike, key=lambda finding: finding.by if math.isfinite(finding.by) else -math.inf)
    places = tuple(dict.fromkeys(place for finding in alike for place in _places(finding, tree_id)))
    lone = len(alike) == 1 and alike[0].trees is None
    return Kind(worst, alike, sum(finding.count for finding in alike), () if lone else places[:FIRST])


def _places(finding: Told, tree_id: Sequence[str] | NDArray[Any]) -> Iterator[str]:
    if finding.trees is not None:
        yield from (str(tree_id[k]) for k in finding.trees[:FIRST].tolist() if k < len(tree_id))
    elif finding.tree_id:
        yield finding.tree_id
    elif ": " in finding.message:
        yield finding.message.partition(": ")[0]


def stops_of(findings: Sequence[Finding | Told]) -> dict[str, int]:
    """Return how many trees or other things each kind of finding stops, by code."""
    stops: dict[str, int] = {}
    for finding in findings:
        if finding.severity == "stop":
            stops[finding.code] = stops.get(finding.code, 0) + finding.count
    return stops


def stops_said(findings: Sequence[Finding | Told]) -> str:
    """Return what stops a plan in words, each kind with its number; empty where nothing does.

    >>> from setout.model import Finding
    >>> stops_said([Finding("setback", "stop", "", tree_id="A-1-1"), Finding("no_dem", "warn", "")])
    '1 inside a setback'
    """
    return ", ".join(f"{number:,} {words_of(code)}" for code, number in stops_of(findings).items())


def codes_by_tree(tree_id: Sequence[str] | NDArray[np.str_], findings: Sequence[Finding]) -> NDArray[np.object_]:
    """Gather the codes of the findings that name or count each tree.

    >>> from setout.model import Finding
    >>> codes_by_tree(["A-1-1", "A-1-2"], [Finding("too_close", "stop", tree_id="A-1-2")])
    array(['', 'too_close'], dtype=object)
    """
    codes: dict[str, list[str]] = {}
    out = np.full(len(tree_id), "", object)
    for finding in findings:
        if finding.tree_id:
            codes.setdefault(finding.tree_id, []).append(finding.code)
        elif finding.trees is not None:
            for name in np.asarray(tree_id)[finding.trees].tolist():
                codes.setdefault(name, []).append(finding.code)
    if codes:
        for k, name in enumerate(tree_id):
            if name in codes:
                out[k] = " ".join(dict.fromkeys(codes[str(name)]))
    return out
