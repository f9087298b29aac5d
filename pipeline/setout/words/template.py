"""Texts with places for figures: figures stand in SI, texts say them in the reader's units.

A place is ``{name}`` or ``{name:kind}``, and what stands between ``[[`` and ``]]`` is left out where one of its figures
is unknown or empty; ``[[one||other]]`` says the other instead. Kinds:

==============================  ========================================================================
``length``, ``length1`` ...     metres as feet or metres; a digit fixes the decimals
``area``, ``pressure``          square metres, kilopascals
``speed``                       metres a second, as feet or metres a second
``depth``, ``iron`` ...           as :mod:`setout.words.amounts` says them
``percent``, ``percent1``       a share, as "12 %"
``count``                       a whole number, "1,234"
``n tree|trees``                the same with its noun: "1 tree", "1,234 trees"
``verb stands|stand``           what agrees with a number, without it
``list``, ``list8``             texts, joined by commas; at most so many of them, then "..."
``series``                      the same of texts that hold commas: joined by semicolons
``as plant``                    figures of several things, each as :data:`setout.words.terms.TERMS` has "plant", joined by commas
``word``                        a code, as :data:`setout.words.terms.TERMS` has it
``words``                       codes, joined by "and"
``codes``                       codes, joined by commas
==============================  ========================================================================

Anything else is a format of Python's own, such as ``.1f``; a figure may stand in it, as in ``.{digits}f``.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from string import Formatter
from typing import Any, Final

from setout.model import Figure
from setout.units import FOOT, show_area, show_length, show_pressure
from setout.words.amounts import AMOUNTS
from setout.words.terms import TERMS

_Place = tuple[str, str | None, str]
"""What stands before a place, the figure's name, and its kind."""
_OPTIONAL: Final = re.compile(r"\[\[([^\]]*?\{.*?)\]\]", re.DOTALL)
"""What stands between the brackets of a table of the plan file, such as ``[[setback]]``, asks for no figure and stays."""
_SIZED: Final = re.compile(r"(length|percent|list)(\d+)?$")


def show_speed(metres_a_second: float, units: str) -> str:
    """Write a velocity for people.

    >>> show_speed(1.524, "us"), show_speed(1.524, "si")
    ('5.0 ft/s', '1.5 m/s')
    """
    return f"{metres_a_second / FOOT:.1f} ft/s" if units == "us" else f"{metres_a_second:.1f} m/s"


_SHOWN: Final[Mapping[str, Callable[[float, str], str]]] = {"area": show_area, "pressure": show_pressure, "speed": show_speed, **AMOUNTS}


def filled(template: str, figures: Mapping[str, Any], units: str) -> str:
    """Return a text with its figures.

    >>> filled("{n:n tree is|trees are} {far_m:length} off[[ in {zones:list}]]", {"n": 2, "far_m": 3.048, "zones": ()}, "us")
    '2 trees are 10 ft off'
    >>> filled("{n:count} trees[[, {tall_m:length} tall||, height unknown]]", {"n": 2, "tall_m": None}, "us")
    '2 trees, height unknown'
    """
    said = []
    for asked, pieces, otherwise in _parts(template):
        for before, name, kind in pieces if all(_known(figures.get(one)) for one in asked) else otherwise:
            said.append(before)
            if name is not None:
                said.append(_shown(figures[name], kind.format_map(figures) if "{" in kind else kind, units))
    return "".join(said)


@lru_cache(maxsize=1024)
def _parts(template: str) -> tuple[tuple[tuple[str, ...], tuple[_Place, ...], tuple[_Place, ...]], ...]:
    """Take a template apart, once for all findings that it tells: what each part depends on, what it says then, and else."""
    out = []
    for number, text in enumerate(_OPTIONAL.split(template)):
        told, _, otherwise = text.partition("||") if number % 2 else (text, "", "")
        out.append((tuple(named(told)) if number % 2 else (), _places(told), _places(otherwise)))
    return tuple(out)


def _places(text: str) -> tuple[_Place, ...]:
    return tuple((before, name, kind or "") for before, name, kind, _ in Formatter().parse(text))


def named(template: str) -> set[str]:
    """Return the figures that a text asks for.

    >>> sorted(named("{n:count} of {all}[[, {more:list}]]"))
    ['all', 'more', 'n']
    """
    places = [(name, kind or "") for _, name, kind, _ in Formatter().parse(_OPTIONAL.sub(r"\1", template)) if name]
    return {name for name, _ in places}.union(*(named(kind) for _, kind in places))


def _known(figure: Figure) -> bool:
    if isinstance(figure, str | Sequence):
        return len(figure) > 0
    return figure is not None and math.isfinite(figure)


def _shown(value: Any, kind: str, units: str) -> str:
    """Return a figure as its kind says it."""
    if kind in _SHOWN:
        return _SHOWN[kind](value, units)
    if kind == "count":
        return f"{value:,}"
    if kind == "word":
        return TERMS[value]
    if kind == "words":
        return " and ".join(TERMS[code] for code in value)
    if kind == "codes":
        return ", ".join(TERMS[code] for code in value)
    if kind == "series":
        return "; ".join(value)
    if kind.startswith("as "):
        return ", ".join(filled(TERMS[kind[3:]], one, units) for one in value)
    if kind.startswith(("n ", "verb ")):
        how, _, forms = kind.partition(" ")
        one, many = forms.split("|")
        said = one if value == 1 else many
        return f"{value:,} {said}" if how == "n" else said
    sized = _SIZED.match(kind)
    return _sized(sized[1], sized[2], value, units) if sized else format(value, kind)


def _sized(kind: str, digits: str | None, value: Any, units: str) -> str:
    """Return a length, a share or a list to so many digits or entries."""
    if kind == "length":
        return show_length(value, units, None if digits is None else int(digits))
    if kind == "percent":
        return f"{100 * value:.{digits or 0}f} %"
    most = int(digits) if digits else len(value)
    return ", ".join(str(v) for v in value[:most]) + (" ..." if len(value) > most else "")
