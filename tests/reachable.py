"""What of the package can be reached from its commands and verbs: names followed through imports, as text."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

Key = tuple[str, str]
ROOTS: list[Key] = [
    ("setout.__main__", ""),
    ("setout.cli.command", "main"),
    ("setout", "__all__"),
    ("setout", "__version__"),
    ("setout.planting", "Planting"),
    ("setout.run", "__getattr__"),
    ("setout.planting", "Planting.layer"),
    ("setout.planting", "Planting.layers"),
]
"""Where somebody outside the package can begin: the command, the verbs, and the result that they return."""
CALLED_BY_LIBRARIES = {"model_post_init": "pydantic", "get_value": "string.Formatter", "format_field": "string.Formatter"}
"""Methods that nothing of the package calls, and who does."""
ALLOWED = {"__all__": "for readers and for import *"}
"""Names that may lead nowhere, and why."""


@dataclass
class Module:
    """One module: what it defines, what its imports bind, and what each definition and the module itself name."""

    name: str
    bound: dict[str, tuple[str, str | None]] = field(default_factory=dict)
    uses: dict[str, set[str]] = field(default_factory=dict)
    chains: dict[str, set[tuple[str, str]]] = field(default_factory=dict)
    places: dict[str, int] = field(default_factory=dict)


def unreached(source: Path, roots: list[Key] = ROOTS) -> dict[str, int]:
    """Return the line of every definition that no root leads to, by "module.name".

    A method counts as reached where its class is and anything that is reached names an attribute so, or says it as a text.
    """
    modules = {m.name: m for m in (_read(source, p) for p in sorted(source.rglob("*.py")))}
    attributes = set(CALLED_BY_LIBRARIES)
    seen: set[Key] = set()
    methods = {(m.name, d) for m in modules.values() for d in m.places if "." in d}
    todo = list(roots)
    while todo:
        key = todo.pop()
        if key not in seen:
            todo += _followed(key, modules, seen, attributes)
        if not todo:
            todo = [k for k in methods - seen if k[1].split(".")[1] in attributes and (k[0], k[1].split(".")[0]) in seen]
    found = {(m.name, name): line for m in modules.values() for name, line in m.places.items() if name not in ALLOWED}
    return {".".join(key): line for key, line in found.items() if key not in seen}


def _followed(key: Key, modules: dict[str, Module], seen: set[Key], attributes: set[str]) -> Iterator[Key]:
    seen.add(key)
    module = modules[key[0]]
    if key[1]:
        yield (key[0], "")
    for name in module.uses.get(key[1], set()):
        yield from _named(module, name, modules)
    for base, attribute in module.chains.get(key[1], set()):
        attributes.add(attribute)
        target = module.bound.get(base)
        if target:
            inner = f"{target[0]}.{target[1]}" if target[1] else target[0]
            if inner in modules:
                yield from _named(modules[inner], attribute, modules)


def _named(module: Module, name: str, modules: dict[str, Module]) -> Iterator[Key]:
    if name in module.places:
        yield (module.name, name)
    elif name in module.bound:
        of, inner = module.bound[name]
        whole = f"{of}.{inner}" if inner else of
        if whole in modules:
            yield (whole, "")
        elif of in modules and inner:
            yield from _named(modules[of], inner, modules)


def _read(source: Path, path: Path) -> Module:
    parts = path.relative_to(source.parent).with_suffix("").parts
    module = Module(".".join(parts[:-1] if parts[-1] == "__init__" else parts))
    tree = ast.parse(path.read_text("utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom):
            module.bound |= {alias.asname or alias.name: (node.module or "", alias.name) for alias in node.names}
        elif isinstance(node, ast.Import):
            module.bound |= {alias.asname or alias.name.split(".")[0]: (alias.name, None) for alias in node.names}
    for node in tree.body:
        _define(module, node)
    return module


def _define(module: Module, node: ast.stmt) -> None:
    if isinstance(node, ast.FunctionDef):
        module.places[node.name] = node.lineno
        _note(module, node.name, node)
    elif isinstance(node, ast.ClassDef):
        module.places[node.name] = node.lineno
        for part in node.body:
            if isinstance(part, ast.FunctionDef) and not part.name.startswith("_"):
                module.places[f"{node.name}.{part.name}"] = part.lineno
                _note(module, f"{node.name}.{part.name}", part)
            else:
                _note(module, node.name, part)
        for part in (*node.bases, *node.decorator_list, *(k.value for k in node.keywords)):
            _note(module, node.name, part)
    elif isinstance(node, ast.Assign | ast.AnnAssign):
        targets = node.targets if isinstance(node, ast.Assign) else [node.target]
        names = [t.id for t in targets if isinstance(t, ast.Name)]
        for name in names:
            module.places[name] = node.lineno
            _note(module, name, node.value)
            _note(module, name, getattr(node, "annotation", None))
        if not names:
            _note(module, "", node)
    elif not isinstance(node, ast.Import | ast.ImportFrom):
        _note(module, "", node)


def _note(module: Module, owner: str, node: ast.AST | None) -> None:
    for part in ast.walk(node) if node is not None else ():
        if isinstance(part, ast.Name):
            module.uses.setdefault(owner, set()).add(part.id)
        elif isinstance(part, ast.Attribute):
            base = part.value.id if isinstance(part.value, ast.Name) else ""
            module.chains.setdefault(owner, set()).add((base, part.attr))
        elif isinstance(part, ast.Constant) and isinstance(part.value, str) and part.value.isidentifier():
            module.chains.setdefault(owner, set()).add(("", part.value))
            module.uses.setdefault(owner, set()).add(part.value)
