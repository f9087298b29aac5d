"""How plan sheets are asked for: paper and scale."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

PaperName = Literal["A4", "A3", "Letter", "11x17 in", "ANSI D"]

PAPERS: Final[Mapping[str, tuple[float, float]]] = {
    "A4": (297.0, 210.0),
    "A3": (420.0, 297.0),
    "Letter": (279.4, 215.9),
    "11x17 in": (431.8, 279.4),
    "ANSI D": (863.6, 558.8),
}
"""Width and height of papers on their side [mm]: ISO 216 for A sizes, ASME Y14.1 (8.5 x 11, 11 x 17, 22 x 34 in)."""


@dataclass(frozen=True, slots=True)
class SheetSettings:
    """What the plan file asks of the plan sheets.

    Attributes
    ----------
    scale : ground over paper, 480 for 1:480; None: as small as tree numbers stay readable
    paper : name of the paper; None: 11 x 17 in where people read feet, else A3
    """

    scale: float | None = None
    paper: PaperName | None = None

    def paper_for(self, units: str) -> PaperName:
        """Return the paper for a site whose people read these units.

        >>> SheetSettings().paper_for("us"), SheetSettings().paper_for("si"), SheetSettings(paper="A4").paper_for("us")
        ('11x17 in', 'A3', 'A4')
        """
        return self.paper or ("11x17 in" if units == "us" else "A3")
