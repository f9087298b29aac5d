"""The input files of a plan: what they held when they were read, and whether they changed while the plan was made."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from setout.errors import SetoutError
from setout.model import Finding
from setout.read import plan_file, reference

PARTS = (".shx", ".dbf", ".prj", ".cpg")
"""Files that belong to a Shapefile."""


@dataclass(frozen=True, slots=True)
class Input:
    """One input file.

    Attributes
    ----------
    name : path as the plan file's folder sees it
    file : path
    digest : SHA-256 in hexadecimal; None for what is not one file, or cannot be read
    state : size, times of change [ns] and number; other after every writing
    """

    name: str
    file: Path
    digest: str | None
    state: tuple[int, ...]


def inputs_of(path: Path) -> tuple[Input, ...]:
    """Look at the plan file and every file that it names, before anything of them is used."""
    found = {path.name: _look(path.name, path)}
    for file in _named(path):
        name = Path(os.path.relpath(file, path.parent)).as_posix()
        if name not in found:
            found[name] = _look(name, file)
    return tuple(found[name] for name in sorted(found))


def changed(inputs: Sequence[Input]) -> tuple[str, ...]:
    """Return the names of the inputs that hold something else by now."""
    return tuple(one.name for one in inputs if _state(one.file) != one.state and _digest(one.file) != one.digest)


def changed_finding(names: Sequence[str]) -> Finding:
    """Return the finding about inputs that changed while they were in use."""
    return Finding("input_changed", "warn", figures={"files": tuple(names), "changed": len(names)})


def _named(path: Path) -> Iterator[Path]:
    """Yield the files that a plan file names, and those that belong to them."""
    for _, text in plan_file.references(plan_file.mapping_of(path)):
        try:
            file = reference.parse(text, path.parent).path
        except SetoutError:  # told when the plan file is read
            continue
        yield file
        if file.suffix.lower() == ".shp" and file.parent.is_dir():
            yield from (p for p in file.parent.iterdir() if p.stem == file.stem and p.suffix.lower() in PARTS)


def _look(name: str, file: Path) -> Input:
    state = _state(file)
    return Input(name, file, _digest(file), state)


def _state(file: Path) -> tuple[int, ...]:
    try:
        there = file.stat()
    except (OSError, ValueError):
        return ()
    return (there.st_size, there.st_mtime_ns, there.st_ctime_ns, there.st_ino)


def _digest(file: Path) -> str | None:
    try:
        if not file.is_file():
            return None
        with file.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except (OSError, ValueError):
        return None
