"""The plan file as a JSON Schema (draft 2020-12), by which editors complete and check what is typed."""

from __future__ import annotations

import json
from typing import Any, Final, Literal, cast, get_args, get_origin

from pydantic.fields import FieldInfo

from setout import units
from setout.model.need import MONTHS
from setout.planfile import prices
from setout.planfile.block import BlockSection
from setout.planfile.faults import model_in
from setout.planfile.keys import ABSENT, bare_type, docs, how_written
from setout.planfile.model import Plan
from setout.planfile.options import GROUND, KEPT
from setout.planfile.quantities import Section
from setout.tables.entry import Figure
from setout.tables.rows import BY_KEY, MEANING

SCHEMA_NAME: Final = "plan.schema.json"
"""Name of the schema beside a plan file."""
SCHEMA_LINE: Final = f"#:schema ./{SCHEMA_NAME}"
"""The first line of a plan file with its schema beside it, which editors look for."""
_DRAFT: Final = "https://json-schema.org/draft/2020-12/schema"
_NUMBER: Final = r"\+?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?"
_BOUNDS: Final = {"ge": "minimum", "gt": "exclusiveMinimum", "le": "maximum", "lt": "exclusiveMaximum", "min_length": "minItems"}
_PLAIN: Final = {str: "string", bool: "boolean", int: "integer", float: "number"}
_SIGNED: Final = "signed_length"
Schema = dict[str, Any]


def schema_text() -> str:
    """Return the schema of the plan file as text."""
    return json.dumps(plan_schema(), indent=1, ensure_ascii=False) + "\n"


def plan_schema() -> Schema:
    """Return the schema of the plan file."""
    kinds = {kind: {"type": "string", "pattern": quantity_pattern(kind)} for kind in (*units.KINDS, "slope")}
    signed = {_SIGNED: {"type": "string", "pattern": quantity_pattern("length", signed=True)}}
    return {"$schema": _DRAFT, "title": "Plan file of setout", **_table(Plan), "$defs": kinds | signed}


def quantity_pattern(kind: str, *, signed: bool = False) -> str:
    """Return a pattern (ECMA 262) of the quantities of one kind that :func:`setout.units.quantity` reads.

    >>> import re
    >>> [bool(re.search(quantity_pattern("length"), text)) for text in ("18 ft", "5 ft 6 in", "4.9m", "18", "18 psi", "-3 m")]
    [True, True, True, False, False, False]
    """
    names = units.ANGLE if kind == "slope" else units.KINDS[kind]
    number = f"-?{_NUMBER}" if signed else _NUMBER
    terms = rf"({number}\s*({'|'.join(_any_case(name) for name in names)})\s*)+"
    return rf"^\s*({number}\s*(%|{_any_case('percent')})\s*|{terms})$" if kind == "slope" else rf"^\s*{terms}$"


def _any_case(text: str) -> str:
    return "".join(f"[{c.upper()}{c}]" if c.isascii() and c.isalpha() else f"\\{c}" if c in "^$.|?*+()[]{}\\" else c for c in text.lower())


def _quantity(kind: str) -> Schema:
    return {"$ref": f"#/$defs/{kind}"}


def _text(pattern: str = "") -> Schema:
    return {"type": "string"} | ({"pattern": pattern} if pattern else {})


def _number(least: float, most: float) -> Schema:
    return {"type": "number", "minimum": least, "maximum": most}


def _list(one: Schema, count: int = 0) -> Schema:
    return {"type": "array", "items": one} | ({"minItems": count, "maxItems": count} if count else {})


def _one_or_many(one: Schema) -> Schema:
    return {"anyOf": [one, _list(one)]}


def _by_month(one: Schema) -> Schema:
    """Return the schema of twelve values: a table by month or a list."""
    months = {"type": "object", "propertyNames": _month(), "additionalProperties": one, "minProperties": 12, "maxProperties": 12}
    return {"anyOf": [months, _list(one, 12)]}


def _month() -> Schema:
    """Return the schema of a month by its name or the first letters of it."""
    names = "|".join(f"{_any_case(name[:3])}[A-Za-z]*" for name in MONTHS)
    return _text(rf"^\s*({names})\.?\s*$")


def _direction(*, block: bool) -> Schema:
    compass = [_any_case(name) for name in ("north-south", "n-s", "east-west", "e-w", "northeast-southwest", "northwest-southeast")]
    quadrant = rf"[NnSs]\s*\d+(\.\d+)?\s*([Dd][Ee][Gg]|°)?\s*[EeWw]|-?{_NUMBER}\s*({'|'.join(map(_any_case, units.ANGLE))})"
    others = ["longest side", "best", "contour", "guide:.+"] if block else []
    return _text(rf"^\s*({'|'.join([*compass, quadrant, *others])})\s*$")


def _written(how: str) -> Schema:
    """Return the schema of a value that is written in a way of its own."""
    if how in units.KINDS or how == "slope":
        return _quantity(how)
    length, pressure = _quantity("length"), _quantity("pressure")
    ways: dict[str, Schema] = {
        "height": _quantity(_SIGNED),
        "lengths": _one_or_many(length),
        "two pressures": _list(pressure, 2),
        "row distance": {"anyOf": [{"const": "equilateral"}, length]},
        "name": {"type": ["string", "integer"]},
        "reference": _text(),
        "references": _one_or_many(_text()),
        "path": _text(),
        "unit": _text(rf"^\s*({'|'.join(map(_any_case, units.LENGTH))})\s*$"),
        "two numbers": _list({"type": "number"}, 2),
        "depth a day": {"anyOf": [_quantity("rate"), _by_month(_quantity("rate"))]},
        "depths": _by_month(length),
        "coefficient": {"anyOf": [_number(0, 2), _by_month(_number(0, 2))]},
        "day of the year": _text(),
        "share": {"anyOf": [_number(0, 1), _text(r"%\s*$")]},
        "parts": {"anyOf": [{"type": "number", "exclusiveMinimum": 0}, _text(r"%\s*$")]},
        "scale": _text("[:=]"),
        "paper": _text(),
        "count": {"type": "integer"},
        "number": {"type": "number"},
        "prices": {},  # its keys are free: the table itself says what they hold
        "days": {},  # dates of TOML among them, which have no type of JSON
        "two months": _list({"anyOf": [_month(), {"type": "integer", "minimum": 1, "maximum": 12}]}, 2),
        "direction": _direction(block=True),
        "axis": _direction(block=False),
    }
    return ways[how]


def _table(model: type[Section]) -> Schema:
    """Return the schema of a section; the tables of prices, own plants and options have keys that the model does not list."""
    said, properties = docs(model), dict[str, Schema]()
    for name, field in model.model_fields.items():
        meaning = {"description": said[name].replace(ABSENT, "When absent: ")} if said[name] else {}
        properties[field.alias or name] = meaning | _field(field)
    made: Schema = {"type": "object", "properties": properties, "additionalProperties": False}
    needed = [field.alias or name for name, field in model.model_fields.items() if field.is_required()]
    if model is prices.PricesSection:
        del properties["items"]
        per = "|".join(_any_case(name) for name in prices.PER)
        made["additionalProperties"] = _text(rf"^\s*\d+(\.\d+)?\s*(/|per)\s*({per})\s*$")
    return made | ({"required": needed} if needed else {})


def _field(field: FieldInfo) -> Schema:
    """Return the schema of the value of one key."""
    how, inner = how_written(field), cast("Any", model_in(field.annotation))
    bounds = {word: getattr(part, name) for part in field.metadata for name, word in _BOUNDS.items() if hasattr(part, name)}
    if how == "plants":
        return _list(_own_plant())
    if how == "options":
        return _list(_option())
    if inner is not None:
        return _list(_table(inner)) | bounds if get_origin(field.annotation) is tuple else _table(inner)
    if how is not None:
        made = _written(how)
        return made | bounds if made.get("type") in ("integer", "number") else made
    bare = bare_type(field.annotation)
    if get_origin(bare) is Literal:
        return {"enum": list(get_args(bare))}
    return {"type": _PLAIN[bare]} | bounds


def _option() -> Schema:
    """Return the schema of another way of planting a block: its keys, none of them needed, but for those of the ground."""
    keys: Schema = _table(BlockSection)["properties"]
    own = {"block": {"type": ["string", "integer"], "description": "The block that it is for."}, "plant": _text()}
    changed = {name: one for name, one in keys.items() if name not in GROUND and name not in KEPT}
    return {"type": "object", "properties": {"name": {"type": ["string", "integer"]}, **own, **changed}, "additionalProperties": False}


def _own_plant() -> Schema:
    properties = {key: {"description": f"{said}."} | (_figure(BY_KEY[key]) if key in BY_KEY else _text()) for key, said in MEANING.items()}
    return {"type": "object", "properties": properties, "required": ["name"], "additionalProperties": False}


def _figure(figure: Figure) -> Schema:
    """Return the schema of one figure of a plant."""
    if figure.kind in ("word", "text"):
        return _text()
    one = _quantity("length") if figure.kind in ("range", "length") else _number(*figure.limits)
    return {"anyOf": [one, _list(one, 2)]} if figure.is_range else one
