"""A water sheet for each zone: its pipes with their sizes, its valves, and what it runs at."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from setout.draw import palette
from setout.draw.pen import CAP, Ink, Pen, Type
from setout.model.irrigation import KIND_WORDS, LATERAL, MAIN, MANIFOLD
from setout.units import FOOT, GALLON, show_length, show_pressure
from setout.write.sheets.backdrop import Backdrop
from setout.write.sheets.furniture import LEAD, Column, Title, frame_line
from setout.write.sheets.gridticks import draw_ticks
from setout.write.sheets.layout import Layout, View, fitting
from setout.write.sheets.places import Places
from setout.write.sheets.treemarks import Marks

if TYPE_CHECKING:
    from setout.model import Ints, Network, Planting, Zone

PIPE: Final = {MAIN: Ink("#0b2f66", 0.8), MANIFOLD: Ink(palette.WATER, 0.5), LATERAL: Ink("#4f83c4", 0.18)}
SIZE: Final = {
    MAIN: Type(2.3, bold=True, colour="#0b2f66", halo=0.5),
    MANIFOLD: Type(2.3, bold=True, colour=palette.WATER, halo=0.5),
    LATERAL: Type(1.94, colour="#2f5f9c", halo=0.35),
}
MOST_SIZES: Final = 400
"""Labels of pipe sizes on one sheet."""
PRESSURE: Final = (
    "Pipe under pressure: close the water point and let the pressure off before a pipe, filter or valve is opened."
    " Keep connections to drinking water apart as the local code asks (backflow prevention), and have pumps and"
    " electrical work done by those licensed for it. Figures are reckoned, not measured: check pressure at the valve"
    " and at the last emitter before the trench is filled."
)


def zones_of(planting: Planting) -> list[int]:
    """Return the zones that have a sheet: those with pipes."""
    irrigation = planting.irrigation
    if irrigation is None or irrigation.network is None:
        return []
    with_pipes = set(np.unique(irrigation.network.zone).tolist())
    return [n for n in range(len(irrigation.zones)) if n in with_pipes]


@dataclass(frozen=True, slots=True)
class ZonePage:
    """What all zones' sheets share: the plan, a layout with a panel, what lies under the pipes north up, looks of plants."""

    planting: Planting
    layout: Layout
    backdrop: Backdrop
    marks: Marks


def draw_zone(pen: Pen, page: ZonePage, zone: int, at: tuple[int, int]) -> View:
    """Draw one zone's sheet."""
    planting, layout, backdrop = page.planting, page.layout, page.backdrop
    irrigation = planting.irrigation
    assert irrigation is not None
    assert irrigation.network is not None
    network, what = irrigation.network, irrigation.zones[zone]
    nodes = np.flatnonzero(network.zone == zone)
    view = fitting(layout.frame, np.column_stack([network.x[nodes], network.y[nodes]]), 0.0, planting.site.units)
    box, places = view.box, Places(view.box)
    spot = np.empty((len(network), 2))
    seen = np.union1d(nodes, network.parent[nodes][network.parent[nodes] >= 0])
    spot[seen] = view.of_frame(np.column_stack([network.x[seen], network.y[seen]]))
    with pen.clipped(box.left, box.bottom, box.width, box.height):
        backdrop.draw(pen, view, rows=False)
        trees = np.flatnonzero(irrigation.zone == zone)
        spots = view.of_frame(np.column_stack([planting.trees.x[trees], planting.trees.y[trees]]))
        pen.dots(spots, min(0.9, max(0.3, 1.2 * view.per_m)), "#8fae8b")
        pipes = nodes[network.parent[nodes] >= 0]
        for kind in (LATERAL, MANIFOLD, MAIN):
            mine = pipes[network.kind[pipes] == kind]
            pen.paths((spot[[network.parent[n], n]] for n in mine.tolist()), PIPE[kind])
        _valves(pen, network, what, nodes, spot, places)
        left = _sizes(pen, planting, network, pipes, spot, places)
        backdrop.name_things(pen, view, places)
    draw_ticks(pen, planting.site.frame, view)
    frame_line(pen, box)
    column = Column(pen, layout)
    about = f"{what.trees:,} trees in {what.rows} rows, block{'s' * (len(what.blocks) > 1)} {', '.join(what.blocks)}"
    column.title_block(planting, Title(f"Water {what.name}", about, *at), view)
    column.cautions()
    column.north_and_bar(view, planting.site.units)
    _legend(column, left)
    column.legend(page.marks, np.empty(0, np.int64), backdrop.seen(view), head="Ground")
    _panel(pen, planting, layout, what, network, pipes)
    return view


def pipe_size(inside_mm: float, units: str) -> str:
    """Write an inside diameter.

    >>> pipe_size(26.924, "us"), pipe_size(26.924, "si"), pipe_size(float("nan"), "si")
    ('1.06 in', '26.9 mm', '')
    """
    if not math.isfinite(inside_mm):
        return ""
    return f"{inside_mm / 25.4:.2f} in" if units == "us" else f"{inside_mm:.1f} mm"


def flow_words(lph: float, units: str) -> str:
    """Write a flow.

    >>> flow_words(1000.0, "us"), flow_words(1000.0, "si"), flow_words(float("nan"), "us")
    ('4.40 gal/min', '1,000 l/h', 'unknown')
    """
    if not math.isfinite(lph):
        return "unknown"
    return f"{lph / 60 / GALLON:.2f} gal/min" if units == "us" else f"{lph:,.0f} l/h"


def _valves(pen: Pen, network: Network, zone: Zone, nodes: Ints, page: NDArray[np.float64], places: Places) -> None:
    """Draw the zone's valves as two triangles that touch, and the water point it comes from."""
    valves = nodes[network.is_valve[nodes]]
    at = page[valves]
    pen.stamps(at, ((-1.9, -1.1), (-1.9, 1.1), (1.9, -1.1), (1.9, 1.1)), Ink("#0b2f66", 0.35, "#ffffff"))
    order = np.argsort(network.section[valves], kind="stable")
    names = list(zone.valves) if len(zone.valves) == len(valves) else [zone.name] * len(valves)
    for name, n in zip(names, order.tolist(), strict=True):
        _name(pen, places, at[n], f"valve {name}", Type(2.5, bold=True, colour="#0b2f66", halo=0.5))
    roots = nodes[network.parent[nodes] < 0]
    spots = np.unique(page[roots].round(3), axis=0) if len(roots) else np.empty((0, 2))
    pen.stamps(spots, ((-2, -1.2), (2, -1.2), (0, 2.4)), Ink(palette.WATER, 0.4, "#ffffff"))


def _name(pen: Pen, places: Places, at: NDArray[np.float64], words: str, kind: Type) -> bool:
    wide, tall = pen.width_of(words, kind.size, bold=kind.bold), CAP * kind.size
    for dx, dy in (
        (2.6, 1.3),
        (-2.6 - wide, 1.3),
        (2.6, -1.3 - tall),
        (-2.6 - wide, -1.3 - tall),
        (-wide / 2, 2.4),
        (-wide / 2, -2.4 - tall),
    ):
        if places.take(at[0] + dx - 0.3, at[1] + dy - 0.3, wide + 0.6, tall + 0.6):
            pen.text(float(at[0] + dx), float(at[1] + dy), words, kind)
            return True
    return False


def _sizes(pen: Pen, planting: Planting, network: Network, pipes: Ints, page: NDArray[np.float64], places: Places) -> int:
    """Write sizes along pipes, one to each run of one size; return how many runs had no room."""
    left, written = 0, 0
    for kind in (MAIN, MANIFOLD, LATERAL):
        mine = pipes[network.kind[pipes] == kind]
        for run in _runs(network, mine):
            a, b = page[network.parent[run[0]]], page[run[-1]]
            words = pipe_size(float(network.inside_mm[run[0]]), planting.site.units)
            if written >= MOST_SIZES or not _along(pen, places, a, b, words, SIZE[kind]):
                left += 1
            else:
                written += 1
    return left


def _runs(network: Network, pipes: Ints) -> Iterator[list[int]]:
    """Yield pipes that follow one another with one size and one way."""
    chosen = set(pipes.tolist())
    done: set[int] = set()
    children: dict[int, list[int]] = {}
    for n in pipes.tolist():
        children.setdefault(int(network.parent[n]), []).append(n)
    for n in pipes.tolist():
        if n in done:
            continue
        run = [n]
        while True:
            done.add(run[-1])
            after = [
                c
                for c in children.get(run[-1], [])
                if c in chosen and c not in done and network.inside_mm[c] == network.inside_mm[n] and _same_way(network, run[-1], c)
            ]
            if not after:
                break
            run.append(after[0])
        yield run


def _same_way(network: Network, a: int, b: int) -> bool:
    p = int(network.parent[a])
    one = np.array([network.x[a] - network.x[p], network.y[a] - network.y[p]])
    two = np.array([network.x[b] - network.x[a], network.y[b] - network.y[a]])
    return float(one @ two) >= 0.97 * float(np.hypot(*one) * np.hypot(*two))


def _along(pen: Pen, places: Places, a: NDArray[np.float64], b: NDArray[np.float64], words: str, kind: Type) -> bool:
    wide, tall = pen.width_of(words, kind.size, bold=kind.bold), CAP * kind.size
    way = b - a
    length = float(np.hypot(*way))
    if length < wide * 0.8 or not words:
        return False
    angle = math.degrees(math.atan2(way[1], way[0]))
    angle = angle - 180 if angle > 90.01 else angle + 180 if angle < -89.99 else angle
    turn = math.radians(angle)
    along, across = np.array([math.cos(turn), math.sin(turn)]), np.array([-math.sin(turn), math.cos(turn)])
    for share in (0.5, 0.3, 0.7, 0.85):
        for off in (0.6, -0.6 - tall):
            start = a + share * way - along * wide / 2 + across * off
            corner = start - along * 0.2 - across * 0.3
            if places.take_turned(float(corner[0]), float(corner[1]), wide + 0.4, tall + 0.6, angle):
                pen.text(float(start[0]), float(start[1]), words, Type(kind.size, kind.bold, kind.colour, "l", angle, kind.halo))
                return True
    return False


def _legend(column: Column, left: int) -> None:
    column.heading("Legend")
    size = column.size
    for kind in (MAIN, MANIFOLD, LATERAL):
        column.y -= LEAD * size * 1.06
        column.pen.line(column.box.left, column.y + 0.9, column.box.left + 7, column.y + 0.9, PIPE[kind])
        column.pen.text(column.box.left + 9, column.y, f"{KIND_WORDS[kind]}, with its inside diameter", Type(size))
    column.y -= LEAD * size * 1.06
    middle = np.array([[column.box.left + 3.5, column.y + 0.8]])
    column.pen.stamps(middle, ((-1.9, -0.9), (-1.9, 0.9), (1.9, -0.9), (1.9, 0.9)), Ink("#0b2f66", 0.3, "#ffffff"))
    column.pen.text(column.box.left + 9, column.y, "valve with pressure regulator", Type(size))
    column.y -= 1
    if left:
        column.lines([f"Sizes left out for want of room: {left}; the table beside lists every size."], colour=palette.MUTED)


def _panel(pen: Pen, planting: Planting, layout: Layout, zone: Zone, network: Network, pipes: Ints) -> None:
    """Write what the zone runs at, its pipes by size, and the caution on pressure."""
    box, size, units = layout.panel, layout.type_mm, planting.site.units
    y = box.top - 1.3 * size
    pen.text(box.left, y, pen.cut(f"Zone {zone.name}", size * 1.5, box.width, bold=True), Type(size * 1.5, bold=True))
    for label, words in _facts(planting, zone):
        y -= LEAD * size * 1.15
        pen.text(box.left, y, label, Type(size, colour=palette.MUTED))
        pen.text(box.left + box.width * 0.46, y, pen.cut(words, size, box.width * 0.54), Type(size))
    y -= LEAD * size * 2
    pen.text(box.left, y, "Pipe in this zone, its main included", Type(size, bold=True))
    stops = [box.left + box.width * k for k in (0.0, 0.55, 0.8)]
    for cells in _schedule(network, pipes, units):
        y -= LEAD * size
        for n, (x, words) in enumerate(zip(stops, cells, strict=True)):
            pen.text(x, y, words, Type(size, at="r" if n else "l"))
        if y < box.bottom + 12 * LEAD * size:
            break
    y -= LEAD * size * 1.6
    for line in pen.wrapped(PRESSURE, size, box.width):
        y -= LEAD * size
        pen.text(box.left, y, line, Type(size, colour=palette.ATTENTION))


def _facts(planting: Planting, zone: Zone) -> Iterator[tuple[str, str]]:
    units, water = planting.site.units, planting.site.water
    if water is not None and 0 <= zone.water_point < len(water.points.name):
        yield "Fed by", water.points.name[zone.water_point]
    yield "Valves", ", ".join(zone.valves)
    yield "Trees, rows", f"{zone.trees:,} trees, {zone.rows} rows"
    yield "Flow", flow_words(zone.flow_lph, units)

    def pressure(kpa: float) -> str:
        return show_pressure(kpa, units) if math.isfinite(kpa) else "unknown"

    yield "Set the valve to", pressure(zone.valve_kpa)
    yield "At the emitters", f"{pressure(zone.least_kpa)} to {pressure(zone.most_kpa)}"
    if math.isfinite(zone.uniformity):
        yield ("Emission uniformity", f"{zone.uniformity:.0%}" + (f", {zone.uniformity_class}" if zone.uniformity_class else ""))
    if math.isfinite(zone.hours):
        yield "Hours at the peak", f"{zone.hours:.1f} h a day, {zone.days_per_week} days a week"
    if math.isfinite(zone.hours_needed) and zone.hours_needed > zone.hours + 0.05:
        yield "Hours it would need", f"{zone.hours_needed:.1f} h a day: the hours allowed run out"


def _schedule(network: Network, pipes: Ints, units: str) -> list[tuple[str, str, str]]:
    """Return kind, inside diameter and length of the pipes by size."""
    out = [("", "inside", "length")]
    for kind in (MAIN, MANIFOLD, LATERAL):
        mine = pipes[network.kind[pipes] == kind]
        for bore in np.unique(network.inside_mm[mine]).tolist():
            length = float(network.length_m[mine][network.inside_mm[mine] == bore].sum())
            rounded = math.ceil(length / (FOOT if units == "us" else 1.0) - 1e-6) * (FOOT if units == "us" else 1.0)
            out.append((KIND_WORDS[kind], pipe_size(bore, units), show_length(rounded, units)))
    return out
