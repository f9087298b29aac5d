"""Plans on disk: written, planned with everything they leave, and looked at by the inspector."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import setout
from inspector import Truth, inspect


def toml(value: Any) -> str:
    """Return a value as TOML."""
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {toml(item)}" for key, item in value.items()) + " }"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str | Path):
        return "'" + str(value) + "'"
    if isinstance(value, Sequence):
        return "[" + ", ".join(toml(item) for item in value) + "]"
    return repr(value)


def write_plan(folder: Path, sections: Mapping[str, Any]) -> Path:
    """Write a plan file from its sections; lists of mappings become tables in two brackets."""
    lines = [f"{key} = {toml(value)}" for key, value in sections.items() if isinstance(value, str)]
    for key, value in sections.items():
        for table in value if isinstance(value, list) else [value] if isinstance(value, Mapping) else []:
            lines.append(f"\n[[{key}]]" if isinstance(value, list) else f"\n[{key}]")
            lines += [f"{name} = {toml(item)}" for name, item in table.items()]
    path = folder / "plan.toml"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def look_at(folder: Path, truth: Truth | None = None, **sections: Any) -> Any:
    """Plan and return the planting, after the inspector has found nothing wrong with what was written."""
    path = write_plan(folder, sections)
    planting = setout.plan(path, folder / "out")
    complaints = inspect(path, folder / "out", truth)
    assert not complaints, "\n".join(complaints)
    return planting


def codes(planting: Any) -> set[str]:
    """Return the codes of a planting's findings."""
    return {finding.code for finding in planting.findings}
