"""Texts with places for figures: figures stand in SI, texts say them in the reader's units.

A place is ``{name}`` or ``{name:kind}``, and what stands between ``[[`` and ``]]`` is left out where one of its figures
is unknown or empty. Kinds:

==============================  ========================================================================
``length``, ``length1`` ...     metres as feet or metres; a digit fixes the decimals
``area``, ``pressure``          square metres, kilopascals
``speed``                       metres a second, as feet or metres a second
``percent``, ``percent1``       a share, as "12 %"
``count``                       a whole number, "1,234"
``n tree|trees``                the same with its noun: "1 tree", "1,234 trees"
``list``, ``list8``             texts, joined by commas; at most so many of them, then "..."
``word``                        a code, as :data:`setout.words.terms.TERMS` has it
==============================  ========================================================================

Anything else is a format of Python's own, such as ``.1f``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from string import Formatter
from typing import Any, Final

import numpy as np

from setout.model import Figure
from setout.units import FOOT, show_area, show_length, show_pressure
from setout.words.terms import TERMS

_OPTIONAL: Final = re.compile(r"\[\[([^\]]*?\{.*?)\]\]", re.DOTALL)
"""What stands between the brackets of a table of the plan file, such as ``[[setback]]``, asks for no figure and stays."""
_SIZED: Final = re.compile(r"(length|percent|list)(\d+)?$")


def show_speed(metres_a_second: float, units: str) -> str:
    """Write a velocity for people.

    >>> show_speed(1.524, "us"), show_speed(1.524, "si")
    ('5.0 ft/s', '1.5 m/s')
    """
    return f"{metres_a_second / FOOT:.1f} ft/s" if units == "us" else f"{metres_a_second:.1f} m/s"


_SHOWN: Final[Mapping[str, Callable[[float, str], str]]] = {"area": show_area, "pressure": show_pressure, "speed": show_speed}


def filled(template: str, figures: Mapping[str, Figure], units: str) -> str:
    """Return a text with its figures.

    >>> filled("{n:n tree is|trees are} {far_m:length} off[[ in {zones:list}]]", {"n": 2, "far_m": 3.048, "zones": ()}, "us")
    '2 trees are 10 ft off'
    """
    shown = _Shown(units)

    def part(match: re.Match[str]) -> str:
        inner = match[1]
        return shown.vformat(inner, (), figures) if all(_known(figures.get(n)) for n in named(inner)) else ""

    return shown.vformat(_OPTIONAL.sub(lambda m: part(m).replace("{", "{{").replace("}", "}}"), template), (), figures)


def named(template: str) -> set[str]:
    """Return the figures that a text asks for.

    >>> sorted(named("{n:count} of {all}[[, {more:list}]]"))
    ['all', 'more', 'n']
    """
    return {name for _, name, _, _ in Formatter().parse(_OPTIONAL.sub(r"\1", template)) if name}


def _known(figure: Figure) -> bool:
    if isinstance(figure, str | Sequence):
        return len(figure) > 0
    return figure is not None and bool(np.isfinite(figure))


class _Shown(Formatter):
    """A formatter whose kinds know the reader's units."""

    def __init__(self, units: str) -> None:
        self.units = units

    def get_value(self, key: int | str, args: Sequence[Any], kwargs: Mapping[str, Any]) -> Any:
        """Return a figure by its name."""
        return kwargs[str(key)] if isinstance(key, str) else args[key]

    def format_field(self, value: Any, format_spec: str) -> str:
        """Return a figure as its kind says it."""
        if format_spec in _SHOWN:
            return _SHOWN[format_spec](value, self.units)
        if format_spec == "count":
            return f"{value:,}"
        if format_spec == "word":
            return TERMS[value]
        if format_spec.startswith("n "):
            one, many = format_spec[2:].split("|")
            return f"{value:,} {one if value == 1 else many}"
        sized = _SIZED.match(format_spec)
        return _sized(sized[1], sized[2], value, self.units) if sized else format(value, format_spec)


def _sized(kind: str, digits: str | None, value: Any, units: str) -> str:
    """Return a length, a share or a list to so many digits or entries."""
    if kind == "length":
        return show_length(value, units, None if digits is None else int(digits))
    if kind == "percent":
        return f"{100 * value:.{digits or 0}f} %"
    most = int(digits) if digits else len(value)
    return ", ".join(str(v) for v in value[:most]) + (" ..." if len(value) > most else "")
