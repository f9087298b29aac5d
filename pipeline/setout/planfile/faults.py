"""From the mapping of a plan file to a plan, or to every fault of it at once."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from typing import Any, get_args

from pydantic import ValidationError

from setout.errors import Fault, PlanFaults
from setout.planfile.model import Plan
from setout.planfile.quantities import Section
from setout.tables import catalogue
from setout.tables.labour import Rate

_NEEDED = {
    "site": 'add a table [site] with boundary = "survey/boundary.gpkg"',
    "block": "add at least one table [[block]] with name, pattern and step",
    "site.boundary": 'add the file of the property line, such as boundary = "survey/boundary.gpkg"',
}
_KINDS = {
    "string_type": ("a text", 'write one text in quotes, "..."'),
    "int_type": ("a whole number", "write a whole number without quotes"),
    "int_from_float": ("a whole number", "write a whole number"),
    "float_type": ("a number", "write a number without quotes"),
    "finite_number": ("a finite number", "write a finite number"),
    "tuple_type": ("a list", "write a list in brackets, [ ... ]"),
    "dict_type": ("a table", "write a table in braces, { key = value }"),
    "model_type": ("a table", "write a table in braces"),
}
"""Kinds of values that pydantic asks for: what they are called, and how they are written."""
_BOUNDS = {"gt": "more than", "ge": "at least", "lt": "less than", "le": "at most"}


def parse_plan(
    mapping: Mapping[str, Any], where: str, own: Mapping[str, catalogue.CatalogueEntry] | None = None, rates: Sequence[Rate] = ()
) -> Plan:
    """Read the mapping of a plan file as a plan.

    >>> block = {"name": "A", "pattern": "offset", "step": "16 ft"}
    >>> plan = parse_plan({"site": {"boundary": "b.gpkg"}, "block": [block]}, "plan.toml")
    >>> round(plan.block[0].to_pattern().row_distance_m / 0.3048, 3)
    13.856
    """
    try:
        return Plan.model_validate(mapping, context={"own": dict(own or {}), "rates": tuple(rates)})
    except ValidationError as error:
        raise PlanFaults(tuple(fault for item in error.errors() for fault in _faults(item, where))) from None


def _faults(item: Any, where: str) -> list[Fault]:
    """Turn one validation error into what, where and remedy; a line of a message is a fault of its own."""
    location: tuple[str | int, ...] = tuple(item["loc"])
    kind, value = item["type"], item["input"]
    key = spell(location)
    place = f"{where}: {key}" if key else where
    if kind == "extra_forbidden":
        known = _known_keys(location[:-1])
        near = difflib.get_close_matches(str(location[-1]), known, 1, 0.6)
        remedy = f'did you mean "{near[0]}"?' if near else f"known keys here: {', '.join(known)}"
        return [Fault("unknown key", place, remedy)]
    if kind == "missing":
        return [Fault("this key is missing", place, _NEEDED.get(key, "add it"))]
    if kind == "too_short" and value:  # its entries have faults of their own
        return []
    if kind in ("too_short", "string_too_short"):
        return [Fault("is empty", place, _NEEDED.get(key, "give it a value"))]
    if kind == "literal_error":
        allowed = [part.strip().strip("'") for part in str(item["ctx"]["expected"]).replace(" or ", ", ").split(",")]
        near = difflib.get_close_matches(str(value), allowed, 1, 0.5)
        hint = f'; did you mean "{near[0]}"?' if near else ""
        return [Fault(f"{_quoted(value)} is not known", place, f"write one of {', '.join(allowed)}{hint}")]
    message = str(item["msg"]).removeprefix("Value error, ")
    if kind == "value_error":
        told = [line.partition("; ") for line in message.split("\n")]
        return [Fault(what, place, remedy or "mend it") for what, _, remedy in told]
    what, remedy = _of_kind(item, location)
    return [Fault(what, place, remedy)]


def _of_kind(item: Any, location: tuple[str | int, ...]) -> tuple[str, str]:
    """Return what is wrong with a value of the wrong kind or size, and the remedy."""
    kind, shown, limits = item["type"], _quoted(item["input"]), item.get("ctx", {})
    if kind == "float_type" and isinstance(item["input"], int):
        return f"{shown} is more than any number can be", "write a smaller number"
    if kind in _KINDS:
        noun, remedy = _KINDS[kind]
        if kind == "tuple_type" and len(location) == 1:
            remedy = f"write tables with two brackets, [[{location[0]}]]"
        if kind == "model_type":
            keys = _known_keys(location)
            remedy += f" with the keys {', '.join(keys)}" if keys else ""
        return f"{shown} is not {noun}", remedy
    for name, words in _BOUNDS.items():
        if name in limits:
            limit = f"{limits[name]:,.10g}"
            return f"{shown} must be {words} {limit}", f"write a number that is {words} {limit}"
    return f"{shown}: {item['msg']}", "mend it"


def _quoted(value: object) -> str:
    """Show a value as a plan file writes it."""
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, Mapping):
        return f"the table {{ {', '.join(map(str, value))} }}"
    return f"a list of {len(value)}" if isinstance(value, (list, tuple)) else str(value)


def spell(location: Sequence[str | int]) -> str:
    """Write the place of a key as the plan file's reader would.

    >>> spell(("setback", 0, "from"))
    'setback[1].from'
    """
    text = ""
    for part in location:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        elif part not in ("float", "literal['longest side','best']"):
            text += f".{part}" if text else part
    return text


def _known_keys(path: Sequence[str | int]) -> list[str]:
    """Return the keys that a table of the plan file may hold."""
    model: type[Section] = Plan
    for part in path:
        if isinstance(part, int):
            continue
        field = next((f for n, f in model.model_fields.items() if (f.alias or n) == part), None)
        inner = model_in(field.annotation) if field is not None else None
        if inner is None:
            return []
        model = inner
    return [field.alias or name for name, field in model.model_fields.items()]


def model_in(annotation: Any) -> type[Section] | None:
    """Return the section type inside an annotation such as ``tuple[BlockSection, ...]``."""
    if isinstance(annotation, type) and issubclass(annotation, Section):
        return annotation
    for part in get_args(annotation):
        found = model_in(part)
        if found is not None:
            return found
    return None
