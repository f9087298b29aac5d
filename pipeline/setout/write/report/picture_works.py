"""What the picture shows of the works: raised beds, trellis posts, screens and their yards."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Protocol

import numpy as np
import shapely

from setout.draw import palette
from setout.words.systems import PURPOSES

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from setout.model import Floats, Planting

MOST_POSTS: Final = 20_000
"""Posts up to which all are drawn; above, the end posts alone."""


class Sheet(Protocol):
    """Takes the frame to the picture."""

    def px(self, x: Floats, y: Floats) -> NDArray[np.float64]:
        """Return places on the picture [px]."""

    def path(self, geometry: BaseGeometry) -> str:
        """Return a geometry as path data."""


def below_trees(sheet: Sheet, planting: Planting) -> Iterator[str]:
    """Yield what lies under the trees: yards, screens, beds."""
    for block in planting.site.blocks:
        if block.pattern.kind == "screen" and block.yard is not None:
            yield (
                f'<path d="{sheet.path(block.yard)}" fill="{palette.YARD}" fill-opacity="0.08" fill-rule="evenodd"'
                f' stroke="{palette.YARD}" stroke-width="1.6" stroke-dasharray="1 3.5"/>'
            )
    if len(planting.works.bed):
        yield (
            f'<path d="{sheet.path(shapely.MultiPolygon(list(planting.works.bed)))}" fill="{palette.BED}" fill-opacity="0.75"'
            f' stroke="{palette.BED_EDGE}" stroke-width="0.5"/>'
        )
    own = screen_rows(planting)
    if own.size:
        path = sheet.path(shapely.MultiLineString(shapely.get_parts(planting.rows.line[own]).tolist()))
        yield (
            f'<path d="{path}" fill="none" stroke="{palette.SCREEN}" stroke-width="5" stroke-opacity="0.8"'
            ' stroke-linecap="butt" stroke-linejoin="round"/>'
        )


def posts(sheet: Sheet, planting: Planting) -> Iterator[str]:
    """Yield the posts of trellis rows, end posts larger."""
    works = planting.works
    for end, size in ((False, 1.1), (True, 2.6)):
        mine = works.post_end == end
        if not mine.any() or (not end and len(works.post_x) > MOST_POSTS):
            continue
        xy = sheet.px(works.post_x[mine], works.post_y[mine]).tolist()
        path = "".join(f"M{x - size / 2:.1f} {y - size / 2:.1f}h{size}v{size}h-{size}Z" for x, y in xy)
        yield f'<path d="{path}" fill="{palette.POST}"/>'


def screen_rows(planting: Planting) -> NDArray[np.intp]:
    """Return the indices of the rows that belong to screens."""
    screens = [i for i, block in enumerate(planting.site.blocks) if block.pattern.kind == "screen"]
    return np.flatnonzero(np.isin(planting.rows.block, screens))


def legend(planting: Planting) -> Iterator[tuple[str, str, str]]:
    """Yield (swatch, label, figure) of the works that are drawn."""
    works = planting.works
    if len(works.bed):
        yield palette.swatch_box(palette.BED, palette.BED_EDGE), "raised bed", f"{len(works.bed):,}"
    if len(works.post_x):
        yield palette.SWATCH_POSTS, "trellis post", f"{len(works.post_x):,}"
    own = planting.rows.block[screen_rows(planting)].tolist()
    purposes = [planting.site.blocks[i].purpose for i in own]
    for purpose in dict.fromkeys(purposes):
        yield palette.SWATCH_SCREEN, PURPOSES.get(purpose, "Screen").lower(), f"{purposes.count(purpose):,}"
    if any(block.pattern.kind == "screen" and block.yard is not None for block in planting.site.blocks):
        swatch = palette.swatch_box(palette.YARD, palette.YARD, dash="1 3", opacity=0.1)
        yield swatch, "yard of the screen", ""
