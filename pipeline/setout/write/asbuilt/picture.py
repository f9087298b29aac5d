"""The set-out as a picture: planned places, trees where they stand, offsets drawn longer than they are."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from setout.draw import palette
from setout.draw.page import as_text
from setout.model.asbuilt import DOUBLED, EXTRA, IN_PLACE, MISPLACED, NOT_JUDGED, OFF_PLACE, SWAPPED
from setout.units import FOOT, show_length

if TYPE_CHECKING:
    from setout.model import Floats, Planting
    from setout.model.asbuilt import AsBuilt

WIDTH: Final = 900
PAD: Final = 24
FOOTER: Final = 92
MOST_ARROWS: Final = 4_000
"""Offsets that are drawn; of more, every so-many-th."""
ARROW: Final = 22.0
"""Length that the middle offset is drawn with [px]."""
MARKS: Final = (
    (IN_PLACE, "in place", "#45a4a1", "M{x} {y}h0"),
    (OFF_PLACE, "off its place", "#da9f44", "M{x} {y}h0"),
    (SWAPPED, "swapped", "#0f4b9f", "M{x} {y}m-4 3.5l4 -7l4 7Z"),
    (MISPLACED, "at another's place", "#0f4b9f", "M{x} {y}m-4 3.5l4 -7l4 7Z"),
    (DOUBLED, "doubled", "#2c1746", "M{x} {y}m-4 0h8m-4 -4v8"),
    (EXTRA, "extra", "#9a2e4a", "M{x} {y}m-3.5 -3.5h7v7h-7Z"),
    (NOT_JUDGED, "not judged", "#6f6a5c", "M{x} {y}h0"),
)
"""Status, words, colour and mark; told apart by shape as well as colour."""


def picture(planting: Planting, built: AsBuilt) -> str:
    """Draw what came back from the field as a standalone SVG, north up."""
    x0, y0, x1, y1 = planting.site.boundary.bounds
    scale = min((WIDTH - 2 * PAD) / max(x1 - x0, 1e-9), 1.2 * WIDTH / max(y1 - y0, 1e-9))
    high = (y1 - y0) * scale + 2 * PAD

    def at(x: Floats, y: Floats) -> tuple[list[str], list[str]]:
        left, down = PAD + (x - x0) * scale, high - PAD - (y - y0) * scale
        return [f"{v:.1f}" for v in left.tolist()], [f"{v:.1f}" for v in down.tolist()]

    parts = [_boundary(planting, at), _dots(planting.trees.x, planting.trees.y, at, "#b9b29f", 1.6)]
    arrows, note = _arrows(built, at, planting.site.units)
    parts.append(arrows)
    for code, _, colour, mark in MARKS:
        own = built.status == code
        parts.append(_marks(built.points.x[own], built.points.y[own], at, colour, mark))
    lost = built.missing
    parts.append(_marks(planting.trees.x[lost], planting.trees.y[lost], at, palette.ATTENTION, "M{x} {y}m-4 -4l8 8m0 -8l-8 8"))
    title = as_text(f"{planting.site.name}: trees as they stand")
    body = "".join(parts)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {high + FOOTER:.0f}" role="img" aria-label="{title}" '
        f"font-family=\"'Segoe UI',system-ui,-apple-system,'DejaVu Sans',sans-serif\" font-size=\"13\"><title>{title}</title>"
        f'<rect width="{WIDTH}" height="{high + FOOTER:.0f}" fill="{palette.PANEL}"/>{body}'
        f"{_legend(built, high, note)}{_scale_bar(planting.site.units, scale, high)}</svg>"
    )


def _boundary(planting: Planting, at: object) -> str:
    out = []
    for part in shapely.get_parts(planting.site.boundary):
        for ring in (part.exterior, *part.interiors):
            xy = shapely.get_coordinates(ring)
            left, down = at(xy[:, 0], xy[:, 1])  # type: ignore[operator]  # at is a callable kept as object
            out.append("M" + "L".join(f"{a} {b}" for a, b in zip(left, down, strict=True)) + "Z")
    return f'<path d="{"".join(out)}" fill="{palette.PAPER}" stroke="{palette.INK}" stroke-width="1.8" stroke-dasharray="10 3 2 3"/>'


def _dots(x: Floats, y: Floats, at: object, colour: str, width: float) -> str:
    left, down = at(x, y)  # type: ignore[operator]  # at is a callable kept as object
    d = "".join(f"M{a} {b}h0" for a, b in zip(left, down, strict=True))
    return f'<path d="{d}" stroke="{colour}" stroke-width="{width}" stroke-linecap="round" fill="none"/>'


def _marks(x: Floats, y: Floats, at: object, colour: str, mark: str) -> str:
    if not len(x):
        return ""
    left, down = at(x, y)  # type: ignore[operator]  # at is a callable kept as object
    d = "".join(mark.format(x=a, y=b) for a, b in zip(left, down, strict=True))
    width = 4.2 if mark.endswith("h0") else 1.8
    return f'<path d="{d}" stroke="{colour}" stroke-width="{width}" stroke-linecap="round" stroke-linejoin="round" fill="none"/>'


def _arrows(built: AsBuilt, at: object, units: str) -> tuple[str, str]:
    """Draw offsets so long that the middle one can be seen; say how much longer."""
    held = np.flatnonzero(np.isfinite(built.off_x))
    size = np.hypot(built.off_x[held], built.off_y[held])
    if not len(held) or float(np.median(size)) <= 1e-4:
        return "", ""
    middle = float(np.median(size))
    kept = held[:: math.ceil(len(held) / MOST_ARROWS)]
    px = ARROW / middle
    left, down = at(built.points.x[kept], built.points.y[kept])  # type: ignore[operator]  # at is a callable kept as object
    d = "".join(
        f"M{a} {b}l{-dx * px:.1f} {dy * px:.1f}"
        for a, b, dx, dy in zip(left, down, built.off_x[kept].tolist(), built.off_y[kept].tolist(), strict=True)
    )
    lines = f'<path d="{d}" stroke="{palette.INK}" stroke-width=".8" stroke-opacity=".55" fill="none"/>'
    return lines, f"tails point back to the planned place; one as long as this is {show_length(middle, units)}"


def _legend(built: AsBuilt, high: float, note: str) -> str:
    out, left = [], float(PAD)
    rows = [(word, colour, mark, int((built.status == code).sum())) for code, word, colour, mark in MARKS]
    rows.append(("missing", palette.ATTENTION, "M{x} {y}m-4 -4l8 8m0 -8l-8 8", len(built.missing)))
    for word, colour, mark, number in rows:
        if not number:
            continue
        text = f"{word}: {number:,}"
        width = 4.2 if mark.endswith("h0") else 1.8
        d = mark.format(x=left + 5, y=high + 14)
        out.append(f'<path d="{d}" stroke="{colour}" stroke-width="{width}" stroke-linecap="round" fill="none"/>')
        out.append(f'<text x="{left + 15:.0f}" y="{high + 18:.0f}" fill="{palette.INK}">{as_text(text)}</text>')
        left += 34 + 7.2 * len(text)
    across = high + 37
    if note:
        tail = f"M{PAD} {across:.0f}h{ARROW:.0f}"
        out.append(f'<path d="{tail}" stroke="{palette.INK}" stroke-width="1.2" stroke-opacity=".7" fill="none"/>')
    said, at = (f"{note}; grey: planned places", PAD + ARROW + 8) if note else ("grey: planned places", PAD)
    out.append(f'<text x="{at:.0f}" y="{across + 5:.0f}" fill="{palette.MUTED}">{as_text(said)}</text>')
    return "".join(out)


def _scale_bar(units: str, scale: float, high: float) -> str:
    size = FOOT if units == "us" else 1.0
    length = 10.0 ** math.floor(math.log10(200 / scale / size))
    length *= 2 if length * 2 * scale * size < 200 else 1
    px, y = length * scale * size, high + 66
    ink = f'fill="{palette.INK}"'
    north = f'<path d="M{WIDTH - 40} {y + 8:.0f}l8 -26l8 26l-8 -6Z" {ink}/><text x="{WIDTH - 36}" y="{y + 22:.0f}" {ink}>N</text>'
    return (
        f'<path d="M{PAD} {y - 4:.0f}v8h{px:.1f}v-8" fill="none" stroke="{palette.INK}" stroke-width="1.6"/>'
        f'<text x="{PAD + px + 8:.0f}" y="{y + 4:.0f}" fill="{palette.INK}">{length:,.0f} {"ft" if units == "us" else "m"}</text>{north}'
    )
