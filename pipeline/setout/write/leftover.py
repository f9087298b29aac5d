"""What a killed run left beside its output folder: whether it may be followed, and the list of moves in it.

The list is a file like any other, and may have come with a survey folder from anywhere. It is followed where this user
made it, where it names files that setout writes and nothing else, and where no link stands in the way of one.
"""

from __future__ import annotations

import json
import os
import re
import stat
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Final, TypeGuard

from setout.errors import SetoutError
from setout.write.products import is_product

if TYPE_CHECKING:
    from collections.abc import Iterator

MOVES: Final = "moves.json"
NEW: Final = "new"
OLD: Final = "old"
_LARGEST: Final = 16 << 20
"""Bytes of the longest list of moves that is read; one of ten thousand blocks takes a megabyte."""
_OF_TEMPFILE: Final = re.compile(r"[a-z0-9_]{8}")
"""What ``tempfile.mkdtemp`` puts behind a prefix."""


def folders(place: Path, prefix: str) -> Iterator[Path]:
    """Yield the folders that runs made with a prefix, in order of name."""
    try:
        there = sorted(place.iterdir())
    except OSError:  # a place that may not be listed
        return
    for left in there:
        made = left.name.startswith(prefix) and _OF_TEMPFILE.fullmatch(left.name[len(prefix) :])
        if made and left.is_dir() and not left.is_symlink():
            yield left


def is_own(path: Path) -> bool:
    """Tell whether this user made a file; always so where files have no owners."""
    return not hasattr(os, "geteuid") or path.lstat().st_uid == os.geteuid()


def in_the_way(folder: Path, name: str) -> str:
    """Say what stands in the way of a file; "" where nothing does."""
    for part in reversed(PurePosixPath(name).parents[:-1]):
        place = folder / part
        if place.is_symlink():
            return f"{part} is a link, and what is written through it would change another folder"
        if place.exists() and not place.is_dir():
            return f"{part} is a file where a folder is to be made"
    target = folder / name
    return f"{name} is a folder where a file is to be written" if target.is_dir() and not target.is_symlink() else ""


def moves_of(left: Path, folder: Path) -> tuple[list[str], list[str]]:
    """Read the list of moves that a killed run had begun on."""
    file = left / MOVES
    try:
        new, gone = _lists(file)
        for part in (left / NEW, left / OLD):
            if os.path.lexists(part) and (part.is_symlink() or not part.is_dir()):
                raise _refused(file, f'"{part.name}" beside it is no folder')
        for name in (*new, *gone):
            if not is_product(name):
                raise _refused(file, f'it names "{name[:80]}", which is no file that setout writes')
            standing = in_the_way(folder, name) or in_the_way(left / NEW, name) or in_the_way(left / OLD, name)
            if standing:
                raise _refused(file, standing)
            if os.path.lexists(left / NEW / name) and not stat.S_ISREG((left / NEW / name).lstat().st_mode):
                raise _refused(file, f"{NEW}/{name} is no plain file")
    except OSError as error:
        raise _refused(file, str(error.strerror or error)) from None
    return new, gone


def _lists(file: Path) -> tuple[list[str], list[str]]:
    said = file.lstat()
    if not stat.S_ISREG(said.st_mode) or not is_own(file):
        raise _refused(file, "it is no plain file of this user")
    if said.st_size > _LARGEST:
        raise _refused(file, f"it has {said.st_size:,} bytes")
    try:
        moves = json.loads(file.read_text(encoding="utf-8"))
    except (ValueError, RecursionError):
        raise _refused(file, "it is damaged") from None
    if not isinstance(moves, dict):
        raise _refused(file, "it is damaged")
    new, gone = moves.get("new"), moves.get("gone")
    if not _texts(new) or not _texts(gone):
        raise _refused(file, "it is damaged")
    return new, gone


def _texts(value: object) -> TypeGuard[list[str]]:
    return isinstance(value, list) and all(isinstance(item, str) for item in value)


def _refused(file: Path, why: str) -> SetoutError:
    return SetoutError(f"a killed run's list of moves was not followed: {why}", str(file))
