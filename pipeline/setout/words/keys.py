"""The keys of the plan file as text, as the page of its reference, and as values for machines: what ``setout keys`` shows."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any, Final

from setout.planfile.keys import Key, tables

WIDTH: Final = 100
"""Columns of the text."""
_HEAD: Final = """# The plan file, key by key

Written by `setout keys --markdown`. What it is about, with examples: [the guide](GUIDE.md).

TOML. Every quantity is a text with its unit; a bare number is a fault. Paths start from the plan file's folder.
`"file"` names a file with one fitting layer, `"file:layer"` a layer, `"file:layer[column=value]"` some of its features;
`[column=one|two]` takes several values, `[column=""]` the features whose column is empty. All faults of a file are listed
at once, before anything runs.

Units: lengths `ft`, `in`, `yd`, `US survey ft`, `m`, `cm`, `chain`, `rod`, `link`; areas `acre`, `sq ft`, `m2`, `ha`;
slopes `%`, `deg`; pressures `psi`, `kPa`, `bar`, `ft of water`, `m of water`; flows `gal/min`, `gal/h`, `l/h`, `m3/h`,
`l/s`. `ft` is the international foot, 0.3048 m; the US survey foot, 1200/3937 m, is always called that. Numbers that
nobody can mean, such as a step of 1,000 km, are faults.
"""


def with_word(keys: Sequence[Key], word: str) -> list[Key]:
    """Return the keys that have a word in their name or meaning.

    >>> [key.path for key in with_word([Key("a.step", "Distance", "length", "0")], "DISTANCE")]
    ['a.step']
    """
    wanted = " ".join(word.split()).casefold()
    return [key for key in keys if wanted in f"{key.path} {key.meaning}".casefold()]


def key_lines(keys: Sequence[Key]) -> list[str]:
    """Show keys with how they are written and what holds without them, and below what they are."""
    lines = []
    for key in keys:
        lines += textwrap.wrap(f"{key.path} ({key.kind}; when absent: {plain(key.absent)})", WIDTH, subsequent_indent="  ")
        lines += textwrap.wrap(plain(key.meaning), WIDTH, initial_indent="  ", subsequent_indent="  ")
    return lines


def plain(text: str) -> str:
    """Return a text of the reference without the signs of Markdown.

    >>> plain("`us`, see [Plants](GUIDE.md#plants)")
    'us, see Plants'
    """
    return re.sub(r"\[([^\]]+)\]\([^)]+\)", r"\1", text).replace("`", "")


def key_record(key: Key) -> dict[str, Any]:
    """Return a key for machines."""
    return asdict(key)


def reference() -> str:
    """Return the reference of the plan file, a page of Markdown."""
    parts = [_HEAD]
    for table in tables():
        parts += [f"## `{table.head}`\n\n{table.about}\n"] if table.head else ["## Before any table\n"]
        if table.keys:
            rows = [f"| `{key.path}` | {_cell(key.meaning)} | {key.kind} | {_cell(key.absent)} |" for key in table.keys]
            parts.append("\n".join(["| key | what it is | kind | when absent |", "| --- | --- | --- | --- |", *rows]) + "\n")
    return "\n".join(parts)


def _cell(text: str) -> str:
    return text.replace("|", "\\|")
