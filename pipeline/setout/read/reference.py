"""What a plan file writes to name survey data: a file, a layer in it, the features to take from it.

``survey/features.gpkg:road[kind=farm track]`` is the file ``survey/features.gpkg`` beside the plan file, its
layer ``road``, and of that the features whose column ``kind`` reads ``farm track``. Several values stand beside each
other, ``[kind=road|lane]``; two quotes, ``[kind=""]``, are the features whose column is empty.
"""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from setout.errors import SetoutError

if TYPE_CHECKING:
    from collections.abc import Iterable

_WHERE = re.compile(r"^(?P<head>.*)\[\s*(?P<column>[^\[\]=]*?)\s*=\s*(?P<value>.*?)\s*\]$", re.DOTALL)
_HOW = 'write "file", "file:layer" or "file:layer[column=value]"'


@dataclass(frozen=True, slots=True)
class Reference:
    """A place in a survey file.

    Attributes
    ----------
    path : the file
    layer : layer in it; None: the only one, or the one the reader can tell
    where : (column, value) of the features to take, or several values with "|" between them; None: all
    text : the reference as it was written
    """

    path: Path
    layer: str | None
    where: tuple[str, str] | None
    text: str


def parse(text: str, base: Path) -> Reference:
    """Read a reference to survey data.

    >>> found = parse("survey/features.gpkg:road[kind=farm track]", Path("/plans"))
    >>> found.path.as_posix(), found.layer, found.where
    ('/plans/survey/features.gpkg', 'road', ('kind', 'farm track'))
    >>> parse("C:/survey/site.dxf:LOT", Path("/plans")).layer
    'LOT'
    """
    stripped = text.strip()
    if not stripped:
        raise SetoutError("a reference to survey data is empty", "", _HOW)
    if re.match(r"^[A-Za-z][A-Za-z0-9+.-]+://", stripped):
        raise SetoutError(f'"{text}" is an address on a network', "", "download the file and name it here")
    if stripped.startswith("/vsi"):
        raise SetoutError(f'"{text}" is an address that GDAL alone knows', "", "copy the file and name it here")
    if _exists(base, stripped):
        return Reference(_path(base, stripped), None, None, text)
    head, where = stripped, None
    if stripped.endswith("]"):
        match = _WHERE.match(stripped)
        if not match or not match["column"] or not match["value"]:
            raise SetoutError(f'"{text}" does not end in [column=value]', "", _HOW)
        head, where = match["head"].strip(), (match["column"], _unquote(match["value"]))
    name, layer = _split(head, base)
    if not name:
        raise SetoutError(f'"{text}" names no file', "", _HOW)
    return Reference(_path(base, name), layer or None, where, text)


def is_there(path: Path, *, file: bool = False) -> bool:
    """Tell whether there is a file or folder, or just a file; a name that no system can hold is of none.

    >>> is_there(Path("x" * 5000)), is_there(Path("/"))
    (False, True)
    """
    try:
        return path.is_file() if file else path.exists()
    except (OSError, ValueError, RuntimeError):
        return False


def did_you_mean(word: str, options: Iterable[str]) -> str:
    """Say which of the options the user may have meant, and all of them when they are few.

    >>> did_you_mean("raod", ["road", "well"])
    'did you mean "road"? There are: road, well'
    """
    names = list(dict.fromkeys(options))
    folded = {name.casefold(): name for name in reversed(names)}
    close = difflib.get_close_matches(word.casefold(), folded, n=1, cutoff=0.6)
    shown = ", ".join(names[:12]) + (f" and {len(names) - 12} more" if len(names) > 12 else "")
    there = f"There are: {shown}" if names else "There are none"
    return f'did you mean "{folded[close[0]]}"? {there}' if close else there[0].lower() + there[1:]


def _split(head: str, base: Path) -> tuple[str, str]:
    """Cut at the colon that leaves an existing file, else at the first that is no drive letter's."""
    if _exists(base, head):
        return head, ""
    cuts = [i for i, sign in enumerate(head) if sign == ":" and not _is_drive(head, i)]
    for cut in reversed(cuts):
        if _exists(base, head[:cut]):
            return head[:cut], head[cut + 1 :].strip()
    return (head[: cuts[0]].rstrip(), head[cuts[0] + 1 :].strip()) if cuts else (head, "")


def _is_drive(text: str, i: int) -> bool:
    return i == 1 and text[0].isalpha() and text[2:3] in {"/", "\\"}


def _path(base: Path, name: str) -> Path:
    if re.match(r"^[A-Za-z]:[\\/]", name):
        return Path(name)
    return Path(name).expanduser() if name.startswith("~/") else base / name


def _exists(base: Path, name: str) -> bool:
    try:
        return is_there(_path(base, name))
    except (ValueError, RuntimeError):
        return False


def _unquote(value: str) -> str:
    quoted = len(value) >= 2 and value[0] == value[-1] and value[0] in "'\"" and value[0] not in value[1:-1]
    return value[1:-1] if quoted else value


def values_of(value: str) -> tuple[str, ...]:
    """Return the several values that stand in one, with their quotes taken off.

    >>> values_of('well|"old well"|""'), values_of("farm track")
    (('well', 'old well', ''), ('farm track',))
    """
    return tuple(_unquote(part.strip()) for part in value.split("|"))
