"""The plan file's table of the plan sheets: paper and scale."""

from __future__ import annotations

import re
from typing import Annotated

from pydantic import BeforeValidator

from setout.model.sheet import PAPERS, PaperName, SheetSettings
from setout.planfile.quantities import Section, Written
from setout.units import quantity

LEAST, MOST = 20.0, 20_000.0


def read_scale(text: object) -> float:
    """Read a scale as ground over paper.

    >>> read_scale("1:500"), read_scale("1 in = 40 ft")
    (500.0, 480.0)
    """
    said = f'{text!r} is no scale; write "1:200" or "1 in = 40 ft"'
    if not isinstance(text, str):
        raise ValueError(said)
    ratio = re.fullmatch(r"\s*1\s*:\s*(\d+(?:\.\d+)?)\s*", text)
    if ratio:
        value = float(ratio.group(1))
    else:
        paper, equals, ground = text.partition("=")
        if not equals:
            raise ValueError(said)
        lengths = quantity(paper, "length"), quantity(ground, "length")
        if min(lengths) <= 0:
            raise ValueError(said)
        value = round(lengths[1] / lengths[0], 6)
    if not LEAST <= value <= MOST:
        raise ValueError(f'"{text}" is 1:{value:g}; scales from 1:{LEAST:g} to 1:{MOST:g} can be drawn')
    return value


def _paper(value: object) -> object:
    """Take the name of a paper as people write it."""
    if not isinstance(value, str):
        return value
    plain = re.sub(r"[^a-z0-9]", "", value.lower()).replace("inch", "in")
    others = {"11x17": "11x17 in", "tabloid": "11x17 in", "ansib": "11x17 in", "ansia": "Letter"}
    return {re.sub(r"[^a-z0-9]", "", name.lower()): name for name in PAPERS}.get(plain, others.get(plain, value))


class SheetsSection(Section):
    """The plan sheets of the packet: their scale and paper."""

    scale: Annotated[float | None, BeforeValidator(read_scale), Written("scale", "text")] = None
    """Scale of the sheets that trees are staked from, `1:200` or `1 in = 40 ft`. Absent: as small as tree numbers stay readable."""
    paper: Annotated[PaperName | None, BeforeValidator(_paper), Written("paper", "word")] = None
    """`A3`, `A4`, `11x17 in`, `Letter` or `ANSI D`. Absent: `11x17 in` with feet, `A3` with metres."""

    def value(self) -> SheetSettings:
        """Return the settings."""
        return SheetSettings(self.scale, self.paper)
