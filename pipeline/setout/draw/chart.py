"""Small charts as SVG, drawn for a page of ours: points with their names, axes that start where they should."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from setout.draw.page import as_text

Point = tuple[float, float, str, bool]
"""Across, up, name, and whether another one beats it."""
WIDE: Final = 460
HIGH: Final = 300
LEFT: Final = 76
RIGHT: Final = 18
TOP: Final = 34
BOTTOM: Final = 46
TICKS: Final = 5
SPREAD_BINS: Final = 56
"""Steps that the axis of a spread is counted in."""
FULL: Final = "#0f5f5a"
BEATEN: Final = "#b9b29f"
MARK: Final = "#c8790b"
SHADES: Final = (FULL, "#c8790b", "#7a5ea6", "#3d7ea6", "#b4553a", "#8a8f3c", "#a65e84", "#5a6864", "#d2a64f", "#2f4f7a")
"""Fills of shares, dark and light by turns, told apart by those who see few colours too: the list names them in order."""


def ticks(low: float, high: float, number: int = TICKS) -> list[float]:
    """Return round values that cover a range.

    >>> ticks(0.0, 437.0), ticks(6.2, 9.8)
    ([0.0, 100.0, 200.0, 300.0, 400.0, 500.0], [6.0, 7.0, 8.0, 9.0, 10.0])
    """
    wide = max(high - low, abs(high) * 1e-3, 1e-9)
    rough = wide / number
    unit = 10.0 ** math.floor(math.log10(rough))
    step = next(unit * factor for factor in (1, 2, 2.5, 5, 10) if unit * factor >= rough * (1 - 1e-9))
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [round(k * step, 10) for k in range(first, last + 1)]


def scatter(title: str, across: str, up: str, points: Sequence[Point]) -> str:
    """Draw points with their names."""
    xs, ys = (
        ticks(0.0 if across == "trees" else min(p[0] for p in points), max(p[0] for p in points)),
        ticks(0.0, max(p[1] for p in points)),
    )

    def px(x: float) -> float:
        return LEFT + (x - xs[0]) / max(xs[-1] - xs[0], 1e-9) * (WIDE - LEFT - RIGHT)

    def py(y: float) -> float:
        return HIGH - BOTTOM - (y - ys[0]) / max(ys[-1] - ys[0], 1e-9) * (HIGH - TOP - BOTTOM)

    said = "; ".join(f"{name}: {x:,.4g} {across}, {y:,.4g} {up}" for x, y, name, _ in points)
    parts = [
        f'<svg class="chart" viewBox="0 0 {WIDE} {HIGH}" role="img" aria-label="{as_text(f"{title}. {said}")}">',
        f'<text class="t" x="{LEFT}" y="18">{as_text(title)}</text>',
    ]
    parts += [
        f'<line class="g" x1="{LEFT}" x2="{WIDE - RIGHT}" y1="{py(y):.1f}" y2="{py(y):.1f}"/>'
        f'<text class="a e" x="{LEFT - 7}" y="{py(y) + 4:.1f}">{y:,.10g}</text>'
        for y in ys
    ]
    parts += [f'<text class="a m" x="{px(x):.1f}" y="{HIGH - BOTTOM + 18}">{x:,.10g}</text>' for x in xs]
    parts += [
        f'<text class="a m" x="{(LEFT + WIDE - RIGHT) / 2}" y="{HIGH - 8}">{as_text(across)}</text>',
        f'<text class="a m" transform="translate(14 {(TOP + HIGH - BOTTOM) / 2}) rotate(-90)">{as_text(up)}</text>',
    ]
    placed: list[tuple[float, float, float]] = []
    for x, y, name, beaten in sorted(points, key=lambda p: (p[0], p[1])):
        colour, text = BEATEN if beaten else FULL, name if len(name) <= 26 else name[:25] + "…"
        parts.append(f'<circle cx="{px(x):.1f}" cy="{py(y):.1f}" r="5" fill="{colour}"/>')
        at = _clear_of(placed, px(x), py(y), 6.1 * len(text))
        parts.append(f'<text class="a {"e" if at[2] else ""}" x="{at[0]:.1f}" y="{at[1]:.1f}">{as_text(text)}</text>')
    return "\n".join([*parts, "</svg>"])


def _clear_of(placed: list[tuple[float, float, float]], x: float, y: float, wide: float) -> tuple[float, float, bool]:
    """Find a place for a name beside its point where no other name stands; remember it."""
    left_hand = x + 9 + wide > WIDE
    start = x - 9 - wide if left_hand else x + 9
    for shift in (4, -10, 18, -24, 32, -38, 46):
        line = y + shift
        if all(abs(line - other) > 11 or start > end or start + wide < begin for begin, end, other in placed):
            break
    placed.append((start, start + wide, line))
    return (x - 9 if left_hand else x + 9), line, left_hand


def bars(title: str, up: str, values: Sequence[tuple[str, float]]) -> str:
    """Draw one bar for each value."""
    ys = ticks(0.0, max([*(value for _, value in values), 1e-6]))
    each = (WIDE - LEFT - RIGHT) / len(values)

    def py(y: float) -> float:
        return HIGH - BOTTOM - y / ys[-1] * (HIGH - TOP - BOTTOM)

    said = "; ".join(f"{name}: {value:,.4g}" for name, value in values)
    parts = [
        f'<svg class="chart" viewBox="0 0 {WIDE} {HIGH}" role="img" aria-label="{as_text(f"{title} [{up}]. {said}")}">',
        f'<text class="t" x="{LEFT}" y="18">{as_text(title)}</text>',
        f'<text class="a m" transform="translate(14 {(TOP + HIGH - BOTTOM) / 2}) rotate(-90)">{as_text(up)}</text>',
    ]
    parts += [
        f'<line class="g" x1="{LEFT}" x2="{WIDE - RIGHT}" y1="{py(y):.1f}" y2="{py(y):.1f}"/>'
        f'<text class="a e" x="{LEFT - 7}" y="{py(y) + 4:.1f}">{y:,.10g}</text>'
        for y in ys
    ]
    for k, (name, value) in enumerate(values):
        x, top = LEFT + (k + 0.16) * each, py(value)
        parts.append(
            f'<rect x="{x:.1f}" y="{top:.1f}" width="{0.68 * each:.1f}" height="{py(0) - top:.1f}" fill="{FULL}"/>'
            f'<text class="a m" x="{x + 0.34 * each:.1f}" y="{HIGH - BOTTOM + 16}">{as_text(name)}</text>'
        )
    return "\n".join([*parts, "</svg>"])


def spreads(title: str, across: str, rows: Sequence[tuple[str, Sequence[float], float]]) -> str:
    """Draw how values spread, one row for each group: how many have each value, those below the row's limit in another colour."""
    xs = ticks(0.0, max(max(*values, limit, 1e-6) for _, values, limit in rows))
    wide, left, each = 2 * WIDE, 210, 46
    base = TOP + each * len(rows)
    unit = xs[-1] / SPREAD_BINS

    def px(x: float) -> float:
        return left + x / xs[-1] * (wide - left - 150)

    short = [sum(value < limit for value in values) for _, values, limit in rows]
    said = "; ".join(f"{name}: {few:,} of {len(values):,} below {limit:g}" for (name, values, limit), few in zip(rows, short, strict=True))
    parts = [
        f'<svg class="chart" viewBox="0 0 {wide} {base + BOTTOM}" role="img" aria-label="{as_text(f"{title} [{across}]. {said}")}">',
        f'<text class="t" x="{left}" y="18">{as_text(title)}</text>',
        f'<text class="a m" x="{px(xs[-1] / 2):.1f}" y="{base + 36}">{as_text(across)}</text>',
    ]
    parts += [
        f'<line class="g" x1="{px(x):.1f}" x2="{px(x):.1f}" y1="{TOP}" y2="{base}"/>'
        f'<text class="a m" x="{px(x):.1f}" y="{base + 18}">{x:,.10g}</text>'
        for x in xs
    ]
    for k, ((name, values, limit), few) in enumerate(zip(rows, short, strict=True)):
        foot = TOP + each * (k + 1)
        text = name if len(name) <= 30 else name[:29] + "…"
        parts.append(f'<text class="a e" x="{left - 8}" y="{foot - 12}">{as_text(text)}</text>')
        for begin, end, number, high in _bins(values, limit, unit):
            tall, colour = high * (each - 10), MARK if begin < limit else FULL
            parts.append(
                f'<rect x="{px(begin):.1f}" y="{foot - tall:.1f}" width="{max(px(end) - px(begin), 1.0):.1f}" height="{tall:.1f}" '
                f'fill="{colour}"><title>{number:,}</title></rect>'
            )
        level = f'x1="{px(limit):.1f}" x2="{px(limit):.1f}" y1="{foot - each + 4}" y2="{foot}"'
        parts.append(f'<line {level} stroke="{MARK}" stroke-dasharray="6 4" stroke-width="1.5"/>')
        parts.append(f'<text class="a" x="{wide - 142}" y="{foot - 12}">{few:,} of {len(values):,} below {limit:g}</text>')
    return "\n".join([*parts, "</svg>"])


def _bins(values: Sequence[float], limit: float, unit: float) -> list[tuple[float, float, int, float]]:
    """Count values in steps, none of which spans the limit: from, to, how many, and that over the fullest step's number."""
    count: dict[tuple[bool, int], int] = {}
    for value in values:
        key = (value >= limit, int(value / unit))
        count[key] = count.get(key, 0) + 1
    most, out = max(count.values()), []
    for (over, step), number in sorted(count.items()):
        begin, end = step * unit, (step + 1) * unit
        begin, end = (max(begin, limit), end) if over else (begin, min(end, limit))
        out.append((begin, end, number, number / most))
    return out


def share_bar(title: str, shares: Sequence[tuple[str, float]]) -> str:
    """Draw one bar cut into shares of a whole, the first in full colour."""
    high, x = 34 + 17 * len(shares) + 40, 0.0
    said = "; ".join(f"{name}: {share:.1%}" for name, share in shares)
    wide = WIDE * 2
    parts = [f'<svg class="bar" viewBox="0 0 {wide} {high}" role="img" aria-label="{as_text(f"{title}. {said}")}">']
    for k, (name, share) in enumerate(shares):
        colour = SHADES[k % len(SHADES)]
        across = share * wide
        parts.append(f'<rect x="{x:.1f}" y="0" width="{max(across - 1, 0.5):.1f}" height="34" fill="{colour}"/>')
        line = 34 + 26 + 17 * k
        parts.append(f'<rect x="0" y="{line - 10}" width="11" height="11" fill="{colour}"/>')
        parts.append(f'<text class="a" x="18" y="{line}">{as_text(f"{share:.1%}  {name}")}</text>')
        x += across
    return "\n".join([*parts, "</svg>"])
