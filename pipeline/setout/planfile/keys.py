"""Every key of the plan file with its meaning, kind and what holds without it, out of the model and its docstrings.

The docstrings are read from the source when somebody asks for them, and never to plan.
"""

from __future__ import annotations

import ast
import inspect
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any, Final, Literal, get_args, get_origin

from pydantic.fields import FieldInfo

from setout.planfile.faults import model_in
from setout.planfile.model import Plan
from setout.planfile.quantities import Section, Written
from setout.tables.rows import BY_KEY, MEANING

NEEDED: Final = "needed"
ABSENT: Final = "Absent: "
_PLAIN: Final = {str: "text", bool: "true or false", int: "count", float: "number"}
_FIGURES: Final = {"range": "range of lengths", "hours": "range of numbers"}


@dataclass(frozen=True, slots=True)
class Key:
    """One key of the plan file: its path with dots, what it is, how it is written, and what holds when it is absent."""

    path: str
    meaning: str
    kind: str
    absent: str
    is_table: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A table of the plan file: how its head is written, what it is, and its keys."""

    head: str
    about: str
    keys: tuple[Key, ...]


def tables() -> Iterator[Table]:
    """Go through the tables of the plan file; the first, without a head, are the keys before any table."""
    said = docs(Plan)
    inner: dict[str, Any] = {name: model_in(field.annotation) for name, field in Plan.model_fields.items()}
    alone = [name for name, model in inner.items() if model is None and name not in ("plant", "option")]
    yield Table("", about(Plan), tuple(_key(name, Plan.model_fields[name], said[name], name) for name in alone))
    for name, field in Plan.model_fields.items():
        model = inner[name]
        head = f"[[{name}]]" if get_origin(field.annotation) is tuple else f"[{name}]"
        if model is not None:
            yield Table(head, about(model), tuple(keys_of(model, f"{name}.")))
        elif name == "plant":
            yield Table(head, said[name], tuple(_own_plants()))
        elif name == "option":
            yield Table(head, said[name], ())


def every_key() -> tuple[Key, ...]:
    """Return every key of the plan file, in the order of the reference."""
    return tuple(key for table in tables() for key in table.keys)


def keys_of(model: type[Section], prefix: str = "") -> Iterator[Key]:
    """Go through the keys of a section and of the tables in it."""
    said = docs(model)
    for name, field in model.model_fields.items():
        path = f"{prefix}{field.alias or name}"
        yield _key(path, field, said[name], name)
        inner: Any = model_in(field.annotation)
        if inner is not None:
            yield from keys_of(inner, f"{path}.")


def _key(path: str, field: FieldInfo, said: str, name: str) -> Key:
    meaning, _, absent = said.partition(ABSENT)
    inner = model_in(field.annotation)
    return Key(
        path,
        meaning.strip().removesuffix("."),
        kind_of(field),
        absent.strip().removesuffix(".") or _default(field, name),
        inner is not None,
    )


def _default(field: FieldInfo, name: str) -> str:
    """Return what holds when a key is absent, as the model itself tells it."""
    value = field.default
    if field.is_required():
        return NEEDED
    if value in ("", ()):
        return "empty" if value == "" else "none"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f"`{value}`"
    if isinstance(value, (int, float)) and (value == 0 or how_written(field) in (None, "share", "parts", "count")):
        return f"{value:g}"
    raise AssertionError(f"{name}: say in its docstring what holds when it is absent")


def kind_of(field: FieldInfo) -> str:
    """Return how a value is written, as people call it."""
    written = _written(field.annotation, field.metadata)
    if written is not None:
        return written.name
    if model_in(field.annotation) is not None:
        return "tables" if get_origin(field.annotation) is tuple else "table"
    bare = bare_type(field.annotation)
    return "word" if get_origin(bare) is Literal else _PLAIN[bare]


def how_written(field: FieldInfo) -> str | None:
    """Return the way in which a value is written where its type does not tell."""
    written = _written(field.annotation, field.metadata)
    return None if written is None else written.how


def _written(annotation: Any, metadata: Any = ()) -> Written | None:
    for part in (*metadata, *getattr(annotation, "__metadata__", ())):
        if isinstance(part, Written):
            return part
    for part in get_args(annotation):
        found = _written(part)
        if found is not None:
            return found
    return None


def bare_type(annotation: Any) -> Any:
    """Return the type of a value without what is noted on it and without None.

    >>> bare_type(float | None)
    <class 'float'>
    """
    while hasattr(annotation, "__metadata__") or type(None) in get_args(annotation):
        if hasattr(annotation, "__metadata__"):
            annotation = get_args(annotation)[0]
        else:
            annotation = next(part for part in get_args(annotation) if part is not type(None))
    return annotation


def _own_plants() -> Iterator[Key]:
    """Go through the keys of a grower's own plant."""
    for name, meaning in MEANING.items():
        kind = BY_KEY[name].kind if name in BY_KEY else "text"
        absent = NEEDED if name == "name" else "of the catalogue's plant of that name, else unknown"
        yield Key(f"plant.{name}", meaning, _FIGURES.get(kind, kind), absent)


# ---------- docstrings


def about(model: type[Section]) -> str:
    """Return what a section is: its docstring."""
    return inspect.cleandoc(ast.get_docstring(_classes(model.__module__)[model.__name__]) or "")


def docs(model: type[Section]) -> dict[str, str]:
    """Return the docstring under each field of a section and of what it is made from."""
    found: dict[str, str] = {}
    for part in reversed(model.__mro__):
        if issubclass(part, Section) and part is not Section:
            found |= _under_fields(_classes(part.__module__)[part.__name__])
    return {name: found.get(name, "") for name in model.model_fields}


def _under_fields(made: ast.ClassDef) -> dict[str, str]:
    found = {}
    for field, below in zip(made.body, made.body[1:], strict=False):
        if not (isinstance(field, ast.AnnAssign) and isinstance(field.target, ast.Name)):
            continue
        if isinstance(below, ast.Expr) and isinstance(below.value, ast.Constant):
            found[field.target.id] = " ".join(str(below.value.value).split())
    return found


@cache
def _classes(module: str) -> dict[str, ast.ClassDef]:
    return {node.name: node for node in ast.parse(inspect.getsource(sys.modules[module])).body if isinstance(node, ast.ClassDef)}
