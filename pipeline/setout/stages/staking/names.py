"""Names of points that handhelds can hold."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

LONGEST_NAME: Final = 10
"""Letters of a waypoint's name that handhelds are usually content with (common practice)."""


def short_names(ids: Sequence[str]) -> list[str]:
    """Return names for waypoints: the ids if they are short, else at most 10 letters A-Z and digits.

    >>> short_names(["A-1-2", "A-1-3"])
    ['A-1-2', 'A-1-3']
    >>> short_names(["north field-1-11", "north field-11-1"])
    ['NORTHF0111', 'NORTHF1101']
    >>> short_names(["north field", "north meadow, upper end"])
    ['NORTHFIELD', 'P000000002']
    """
    plain = re.compile(rf"[A-Za-z0-9-]{{1,{LONGEST_NAME}}}")
    if all(plain.fullmatch(text) for text in ids) and len({text.upper() for text in ids}) == len(ids):
        return list(ids)
    split = [re.fullmatch(r"(.*)-(\d+)-(\d+)", text) for text in ids]
    widths = [max((len(m.group(g)) for m in split if m), default=1) for g in (2, 3)]
    blocks = _block_codes(dict.fromkeys(m.group(1) for m in split if m), LONGEST_NAME - sum(widths))
    names: list[str] = []
    taken: set[str] = set()
    for number, (text, m) in enumerate(zip(ids, split, strict=True), 1):
        name = f"{blocks[m.group(1)]}{m.group(2):0>{widths[0]}}{m.group(3):0>{widths[1]}}" if m else _letters(text)
        if len(name) > LONGEST_NAME or not name or name in taken:
            name = f"P{number:09d}"
        taken.add(name)
        names.append(name)
    return names


def _letters(text: str) -> str:
    return re.sub(r"[^A-Z0-9]", "", text.upper().encode("ascii", "ignore").decode())


def _block_codes(blocks: Sequence[str] | dict[str, None], room: int) -> dict[str, str]:
    """Give each block letters of its own that fit; numbered where names say the same when cut."""
    codes: dict[str, str] = {}
    for number, block in enumerate(blocks, 1):
        code = _letters(block)[: max(room, 0)]
        if not code or code in codes.values():
            code = f"{_letters(block)[: max(room - len(str(number)) - 1, 0)]}B{number}"
        codes[block] = code
    return codes
