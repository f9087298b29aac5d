"""The plan as a picture: one SVG that stands alone, for the report and for paper."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from setout.draw import palette
from setout.draw.page import as_text
from setout.draw.rings import rings_of
from setout.units import FOOT, show_area, show_length
from setout.words import plan
from setout.words.systems import FILLER
from setout.write.report import picture_works

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from setout.model import Floats, Planting

PAD: Final = 28
"""Clear space around everything [px]."""
HEAD: Final = 74
"""Height of the title [px]."""
ENTRY: Final = 25
"""Height of one line of the legend [px]."""
TALLEST: Final = 1.15
"""Height of the drawing over its width, at most."""
COLOURED: Final = 10_000
"""Trees up to which each takes the colour of its plant; above, all are one path."""
DOTS: Final = 60_000
"""Trees up to which each has a dot; above, rows stand for them."""
LABELLED: Final = 0.15
"""Share of a block's largest piece from which another piece has the block's name on it too."""
FONT: Final = "'Segoe UI',system-ui,-apple-system,'DejaVu Sans',sans-serif"
SERIF: Final = "'Iowan Old Style','Palatino Linotype',Palatino,Georgia,'DejaVu Serif',serif"


def plan_picture(planting: Planting, *, contours: Sequence[tuple[float, shapely.LineString]] = (), width: int = 900) -> str:
    """Draw the plan as a standalone SVG, north up."""
    sheet = _Sheet.of(planting, width)
    entries = list(_legend(planting, contours=bool(contours)))
    columns = max(1, min(3, (width - 2 * PAD) // 270))
    lines = math.ceil(len(entries) / columns)
    height = round(sheet.bottom + 20 + lines * ENTRY + PAD - 8)
    parts = [
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" role="img"'
            f' aria-labelledby="plan-title" font-family="{FONT}">'
        ),
        f'<title id="plan-title">{as_text(planting.site.name)}: {as_text(plan.counts_line(planting))}</title>',
        (
            f"<defs>{palette.hatch_defs('plan', _hatches(planting).values())}"
            f'<clipPath id="plan-clip"><rect x="{PAD}" y="{HEAD}" width="{width - 2 * PAD}" height="{sheet.height:.1f}" rx="6"/>'
            "</clipPath></defs>"
        ),
        f'<rect width="{width}" height="{height}" fill="{palette.PANEL}"/>',
        *_title(planting, width),
        (
            f'<g clip-path="url(#plan-clip)"><rect x="{PAD}" y="{HEAD}" width="{width - 2 * PAD}" height="{sheet.height:.1f}"'
            f' fill="{palette.PAPER}"/>'
        ),
        *_contour_lines(sheet, contours),
        *_ground(sheet, planting),
        *_planted(sheet, planting),
        *_marks(sheet, planting),
        "</g>",
        *_scale_and_north(sheet, planting, width),
        *_legend_lines(entries, columns, lines, width, sheet.bottom + 20),
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


@dataclass(frozen=True, slots=True)
class _Sheet:
    """Where the frame lies on the picture: x px = left + scale (x - x0), y px = top - scale (y - y1)."""

    x0: float
    y1: float
    scale: float
    left: float
    top: float
    height: float

    @classmethod
    def of(cls, planting: Planting, width: int) -> _Sheet:
        x0, y0, x1, y1 = planting.site.boundary.bounds
        room = width - 2 * PAD
        wide, tall = max(x1 - x0, 1.0), max(y1 - y0, 1.0)
        scale = min(room * 0.94 / wide, room * TALLEST * 0.94 / tall)
        height = min(tall * scale * 1.04 + 64, room * TALLEST)
        return cls(x0, y1, scale, PAD + (room - wide * scale) / 2, HEAD + (height - 40 - tall * scale) / 2, height)

    @property
    def bottom(self) -> float:
        return HEAD + self.height

    def px(self, x: Floats, y: Floats) -> NDArray[np.float64]:
        return np.column_stack([self.left + self.scale * (x - self.x0), self.top + self.scale * (self.y1 - y)])

    def path(self, geometry: BaseGeometry) -> str:
        """Return a geometry's outlines as path data, as fine as the picture can show."""
        xy, lengths = rings_of(geometry, 0.25 / self.scale)
        points = self.px(xy[:, 0], xy[:, 1]).tolist()
        out, at = [], 0
        for length in np.abs(lengths).tolist():
            ring = points[at : at + length]
            closed = len(ring) > 2 and ring[0] == ring[-1]
            out.append("M" + "L".join(f"{_n(x)} {_n(y)}" for x, y in ring[: -1 if closed else None]) + "Z" * closed)
            at += length
        return "".join(out)


def _n(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def _title(planting: Planting, width: int) -> Iterator[str]:
    name = planting.site.name
    size = 24 if len(name) < 52 else 18
    yield (
        f'<text x="{PAD}" y="38" font-family="{SERIF}" font-size="{size}" font-weight="600" fill="{palette.INK}">'
        f"{as_text(_short(name, (width - 2 * PAD) // (size // 2)))}</text>"
    )
    yield f'<text x="{PAD}" y="60" font-size="14" fill="{palette.MUTED}">{as_text(plan.counts_line(planting))}</text>'


def _contour_lines(sheet: _Sheet, contours: Sequence[tuple[float, shapely.LineString]]) -> Iterator[str]:
    if not contours:
        return
    heavy = plan.index_contours([level for level, _ in contours])
    for mask, weight in ((~heavy, 0.6), (heavy, 1.2)):
        lines = [line for (_, line), chosen in zip(contours, mask, strict=True) if chosen]
        if lines:
            path = sheet.path(shapely.MultiLineString(lines))
            yield f'<path d="{path}" fill="none" stroke="{palette.CONTOUR}" stroke-opacity="0.65" stroke-width="{weight}"/>'


def _ground(sheet: _Sheet, planting: Planting) -> Iterator[str]:
    usable = planting.usable
    for shape in usable.geometry:
        yield (
            f'<path d="{sheet.path(shape)}" fill="{palette.USABLE}" fill-opacity="0.6" fill-rule="evenodd"'
            f' stroke="{palette.USABLE_EDGE}" stroke-width="0.8"/>'
        )
    hatches = _hatches(planting)
    place = {reason: i for i, reason in enumerate(hatches)}
    for e in reversed(usable.exclusions):
        yield (
            f'<path d="{sheet.path(e.geometry)}" fill="url(#plan{place[e.reason]})" fill-rule="evenodd"'
            f' stroke="{hatches[e.reason].colour}" stroke-width="0.7"/>'
        )
    for e in usable.height_limits:
        yield (
            f'<path d="{sheet.path(e.geometry)}" fill="{palette.HEIGHT}" fill-opacity="0.06" fill-rule="evenodd"'
            f' stroke="{palette.HEIGHT}" stroke-width="1.3" stroke-dasharray="5 4"/>'
        )
    yield (
        f'<path d="{sheet.path(planting.site.boundary)}" fill="none" stroke="{palette.INK}" stroke-width="2"'
        ' stroke-dasharray="16 4 3 4 3 4" stroke-linejoin="round"/>'
    )


def _hatches(planting: Planting) -> dict[str, palette.Hatch]:
    return palette.hatches_for(e.reason for e in planting.usable.exclusions)


def _planted(sheet: _Sheet, planting: Planting) -> Iterator[str]:
    yield from picture_works.below_trees(sheet, planting)
    if len(planting.rows.line):
        path = sheet.path(shapely.MultiLineString(shapely.get_parts(planting.rows.line).tolist()))
        yield f'<path d="{path}" fill="none" stroke="{palette.ROW}" stroke-width="0.7" stroke-opacity="0.7"/>'
    if 0 < len(planting.trees) <= DOTS:
        yield from _dots(sheet, planting)
    yield from picture_works.posts(sheet, planting)


def _dots(sheet: _Sheet, planting: Planting) -> Iterator[str]:
    """Yield the trees: dots, rings where a colour comes again, pale dots for those that come out again."""
    trees = planting.trees
    codes, spread = tree_kinds(planting)
    coloured = len(trees) <= COLOURED
    fillers = {i for i, kind in enumerate(plan.plant_kinds(planting.site)) if kind[2] == FILLER and coloured}
    if not coloured:
        codes = np.zeros_like(codes)
        spread = np.full(spread.shape, np.nanmedian(spread) if np.isfinite(spread).any() else np.nan)
    diameter = np.where(np.isfinite(spread), np.maximum(np.round(spread * sheet.scale, 1), 1.4), 4.0)
    xy = sheet.px(trees.x, trees.y)
    for code in np.unique(codes):
        for size in np.unique(diameter[codes == code]):
            mine = xy[(codes == code) & (diameter == size)].tolist()
            path = "".join(f"M{_n(x)} {_n(y)}h.01" for x, y in mine)
            yield _dot(path, palette.tree_colour(int(code)), 0.85, size)
            if int(code) in fillers:
                yield _dot(path, palette.PANEL, 0.65, max(size - 1.6, 0.6))
            elif palette.is_ring(int(code)):
                yield _dot(path, palette.PANEL, 1.0, min(max(0.5 * size, 0.6), size - 0.8))


def _dot(path: str, colour: str, opacity: float, size: float) -> str:
    return f'<path d="{path}" fill="none" stroke="{colour}" stroke-opacity="{opacity:g}" stroke-width="{size:.3g}" stroke-linecap="round"/>'


def tree_kinds(planting: Planting) -> tuple[NDArray[np.int64], Floats]:
    """Return for every tree the place of its plant in :func:`wording.plant_kinds`, and its mature spread [m]."""
    kinds = {kind: i for i, kind in enumerate(plan.plant_kinds(planting.site))}
    trees, blocks = planting.trees, planting.site.blocks
    codes, spread = np.zeros(len(trees), np.int64), np.full(len(trees), np.nan)
    for i, block in enumerate(blocks):
        for j, plant in enumerate(block.plants):
            mine = (trees.block == i) & (trees.plant == j)
            codes[mine], spread[mine] = kinds[plant.name, plant.variety, plant.role], plant.spread_m
    return codes, spread


def _marks(sheet: _Sheet, planting: Planting) -> Iterator[str]:
    water = planting.site.water
    if water is not None:
        for x, y in sheet.px(water.points.x, water.points.y).tolist():
            yield f'<g transform="translate({_n(x - 10)} {_n(y - 10)}) scale(0.84)">{palette.mark_svg("water")}</g>'
    usable = planting.usable
    areas = shapely.area(usable.geometry).tolist()
    widest: dict[str, float] = {}
    for name, area in zip(usable.block, areas, strict=True):
        widest[name] = max(area, widest.get(name, 0.0))
    for name, shape, area in zip(usable.block, usable.geometry, areas, strict=True):
        if not name or shape.is_empty or area < LABELLED * widest[name]:
            continue
        parts = shapely.get_parts(shape)
        largest = parts[int(np.argmax(shapely.area(parts)))]
        spot = shapely.maximum_inscribed_circle(largest, tolerance=max(math.sqrt(largest.area) / 50, 0.5))
        at = sheet.px(*(np.array([v]) for v in shapely.get_coordinates(spot)[0]))[0]
        yield (
            f'<text x="{_n(at[0])}" y="{_n(at[1] + 8)}" text-anchor="middle" font-family="{SERIF}" font-size="24" font-weight="700"'
            f' fill="{palette.INK}" stroke="{palette.PANEL}" stroke-width="5" stroke-linejoin="round" paint-order="stroke">'
            f"{as_text(_short(name, 24))}</text>"
        )


def _scale_and_north(sheet: _Sheet, planting: Planting, width: int) -> Iterator[str]:
    unit = FOOT if planting.site.units == "us" else 1.0
    most = 170 / sheet.scale / unit
    ten = 10 ** math.floor(math.log10(most))
    length = ten * (5 if most / ten >= 5 else 2 if most / ten >= 2 else 1)
    bar = length * unit * sheet.scale
    right, y = width - PAD - 60, sheet.bottom - 22
    label = show_length(length * unit, planting.site.units)
    yield (
        f'<g fill="{palette.INK}"><rect x="{_n(right - bar - 12)}" y="{_n(y - 24)}" width="{_n(bar + 64)}" height="38" rx="6"'
        f' fill="{palette.PANEL}" fill-opacity="0.88"/>'
        f'<rect x="{_n(right - bar)}" y="{_n(y)}" width="{_n(bar)}" height="6" fill="{palette.PANEL}" '
        f'stroke="{palette.INK}" stroke-width="1.2"/>'
        f'<rect x="{_n(right - bar)}" y="{_n(y)}" width="{_n(bar / 2)}" height="6"/>'
        f'<text x="{_n(right - bar)}" y="{_n(y - 6)}" font-size="12">0</text>'
        f'<text x="{_n(right)}" y="{_n(y - 6)}" font-size="12" text-anchor="end">{label}</text></g>'
    )
    yield (
        f'<g transform="translate({width - PAD - 36} {_n(y - 36)})" fill="{palette.INK}">'
        f'<path d="M11 12L18 42L11 36L4 42Z" fill="{palette.PANEL}" stroke="{palette.INK}" stroke-width="1.2" stroke-linejoin="round"/>'
        '<path d="M11 12V36L4 42Z"/><text x="11" y="9" font-size="12" font-weight="700" text-anchor="middle">N</text></g>'
    )


def _legend(planting: Planting, *, contours: bool) -> Iterator[tuple[str, str, str]]:
    """Yield (swatch, label, figure) of everything that is drawn."""
    units, usable = planting.site.units, planting.usable
    codes, _ = tree_kinds(planting)
    kinds = plan.plant_kinds(planting.site)
    for i, (label, kind) in enumerate(zip(plan.short_labels(kinds), kinds, strict=True)):
        swatch = palette.swatch_plant(i, filler=kind[2] == FILLER) if len(codes) <= COLOURED else palette.swatch_plant(0)
        yield swatch, label, f"{int((codes == i).sum()):,}"
    yield palette.swatch_line(palette.ROW), "row", f"{planting.rows.x0.size:,}"
    yield from picture_works.legend(planting)
    total = float(sum(shape.area for shape in usable.geometry))
    yield palette.swatch_box(palette.USABLE, palette.USABLE_EDGE), "usable ground", show_area(total, units)
    for i, (reason, hatch) in enumerate(_hatches(planting).items()):
        area = sum(e.alone_m2 for e in usable.exclusions if e.reason == reason)
        yield palette.swatch_box(f"url(#plan{i})", hatch.colour), reason, show_area(area, units)
    for limit in planting.site.height_limits:
        swatch = palette.swatch_box(palette.HEIGHT, palette.HEIGHT, dash="5 3", opacity=0.07)
        yield swatch, limit.why, f"≤ {show_length(limit.height_m, units)}"
    yield palette.SWATCH_BOUNDARY, "boundary", show_area(float(planting.site.boundary.area), units)
    if planting.site.water is not None and planting.site.water.points.name:
        yield palette.swatch_mark("water"), "water point", f"{len(planting.site.water.points.name)}"
    if contours:
        yield palette.swatch_curve(palette.CONTOUR, 1.2), "contour", ""


def _legend_lines(entries: Sequence[tuple[str, str, str]], columns: int, lines: int, width: int, top: float) -> Iterator[str]:
    step = (width - 2 * PAD) / columns
    for i, (swatch, label, figure) in enumerate(entries):
        x, y = PAD + (i // lines) * step, top + (i % lines) * ENTRY
        room = int((step - 36 - 20 - 7.6 * len(figure) - 10) / 7.3)
        yield (
            f'<g transform="translate({_n(x)} {_n(y)})" font-size="12.5">{swatch}'
            f'<text x="36" y="12.5" fill="{palette.INK}">{as_text(_short(label, max(room, 8)))}</text>'
            f'<text x="{_n(step - 20)}" y="12.5" text-anchor="end" fill="{palette.MUTED}">{as_text(figure)}</text></g>'
        )


def _short(value: str, most: int) -> str:
    return value if len(value) <= most else value[: most - 1].rstrip() + "…"
