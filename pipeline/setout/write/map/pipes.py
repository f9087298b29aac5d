"""The map's layers of water under pressure: laterals, mains and manifolds in the colours of their zones, and valves."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from setout.draw import palette
from setout.draw.rings import rings_of
from setout.layers.pipes import valves_by_section, water_layers
from setout.units import FOOT, GALLON, PSI, show_length, show_pressure
from setout.write.map import treedata
from setout.write.map.outlines import COUNT, SEGMENT, Entry
from setout.write.map.treedata import Field

if TYPE_CHECKING:
    from collections.abc import Iterator

    from setout.layers.data import LayerData
    from setout.model import Planting
    from setout.write.map.outlines import Drawn

DRAWN_TO: Final = 0.05
"""How far a drawn pipe may lie from the planned one [m]."""
LATERAL_WIDTH: Final = 1.6
MAIN_WIDTHS: Final = (3.2, 4.6)
"""Widths on the screen [px]: manifold, main."""
INCH_MM: Final = 25.4

_COLUMNS: Final = (
    ("kind", "Kind", ""),
    ("zone", "Zone", ""),
    ("valve", "Valve", ""),
    ("water_point", "Water point", ""),
    ("row_id", "Row", ""),
    ("diameter_mm", "Inside diameter", "mm"),
    ("length_m", "Length on the slope", "m"),
    ("trees", "Trees", "each"),
    ("emitters", "Emitters", "each"),
    ("flow_lph", "Flow at its head", "l/h"),
    ("inlet_kpa", "Pressure at its head", "kPa"),
    ("end_kpa", "Lowest pressure", "kPa"),
    ("velocity_m_s", "Highest velocity", "m/s"),
)
_SHOWN: Final = {
    "us": {
        "mm": (1 / INCH_MM, "in", 3),
        "m": (1 / FOOT, "ft", 0),
        "each": (1.0, "", 0),
        "l/h": (1 / GALLON / 60, "gal/min", 2),
        "kPa": (1 / PSI, "psi", 1),
        "m/s": (1 / FOOT, "ft/s", 1),
    },
    "si": {
        "mm": (1.0, "mm", 1),
        "m": (1.0, "m", 1),
        "each": (1.0, "", 0),
        "l/h": (1.0, "l/h", 0),
        "kPa": (1.0, "kPa", 0),
        "m/s": (1.0, "m/s", 2),
    },
}
"""For each unit of a pipe's columns: factor from it, unit shown, decimals shown."""


def laterals(planting: Planting) -> Iterator[Drawn]:
    """Yield the laterals, by zone; nothing without a network."""
    for data in _data(planting, "laterals"):
        layer = _pipes(planting, data, "Laterals", {"widths": [LATERAL_WIDTH], "pane": "lines", "thin": 1.2})
        swatch = palette.swatch_pipes((LATERAL_WIDTH, LATERAL_WIDTH))
        yield Entry("laterals", "Laterals, by zone", swatch, "Water", COUNT.format(data.rows)), layer


def mains(planting: Planting) -> Iterator[Drawn]:
    """Yield mains and manifolds, by zone, wider than laterals; nothing without a network."""
    for data in _data(planting, "manifolds"):
        kind = [int(k == "main") for k in _column(data, "kind")]
        options = {"widths": list(MAIN_WIDTHS), "kinds": kind, "pane": "pipes", "casing": palette.PANEL}
        layer = _pipes(planting, data, "Mains and manifolds", options)
        swatch = palette.swatch_pipes(MAIN_WIDTHS)
        yield Entry("mains", "Mains and manifolds, by zone", swatch, "Water", COUNT.format(data.rows)), layer


def _data(planting: Planting, name: str) -> Iterator[LayerData]:
    for data in water_layers(planting):
        if data.contract.name == name:  # the layers behind it are not made
            if data.rows:
                yield data
            return


def _column(data: LayerData, name: str) -> Any:
    values: Any = data.columns[name]
    return np.asarray(values)


def _pipes(planting: Planting, data: LayerData, title: str, options: dict[str, Any]) -> Any:
    from setout.write.map.leaflet import line_layer

    assert planting.irrigation is not None
    frame, units = planting.site.frame, planting.site.units
    shapes: Any = data.geometry
    xy, index = shapely.get_coordinates(shapes, return_index=True)
    lines = shapely.linestrings(np.column_stack(frame.of(frame.survey_crs, xy[:, 0], xy[:, 1])), indices=index)
    packed, first = [], []
    for line in np.atleast_1d(np.asarray(lines, object)).tolist():
        points, lengths = rings_of(line, DRAWN_TO, SEGMENT)
        packed.append((np.column_stack(treedata.frame_to_mercator(planting, points[:, 0], points[:, 1])), lengths))
        first.append(packed[-1][0][0])
    starts = np.array(first)
    name = "lateral_id" if data.contract.name == "laterals" else "manifold_id"
    about = treedata.point_block(
        starts[:, 0], starts[:, 1], _fields(data, units), ids="\n".join(map(str, _column(data, name))), compact=False
    )
    zones = [zone.name for zone in planting.irrigation.zones]
    options = options | {
        "colours": palette.TREES,
        "groups": [zones.index(str(z)) for z in _column(data, "zone")],
        "earth": treedata.earth(planting),
        "title": title,
        "pick": True,
    }
    return line_layer(title, packed, options, about=about)


def _fields(data: LayerData, units: str) -> Iterator[Field]:
    for name, label, unit in _COLUMNS:
        if data.columns.get(name) is None:
            continue
        values = _column(data, name)
        if not unit:
            yield Field(name, label, values.astype(str))
            continue
        numbers = values.astype(float)
        if np.isfinite(numbers).any():
            factor, shown, decimals = _SHOWN[units][unit]
            yield Field(name, label, numbers, 1.0 if unit == "each" else 0.001, factor, shown, decimals)


def zone_colour(index: int) -> str:
    """Return the colour of the n-th zone: that of the n-th thing planted, so that trees by zone match their pipes.

    >>> zone_colour(0) == zone_colour(8)
    True
    """
    return palette.tree_colour(index)


def zone_lines(planting: Planting) -> Iterator[tuple[str, str, bool, str]]:
    """Yield what the legend says of every zone: name, colour, whether its pipes are dashed, and figures."""
    irrigation = planting.irrigation
    if irrigation is None or irrigation.network is None:
        return
    for i, zone in enumerate(irrigation.zones):
        words = [f"{zone.trees:,} trees"]
        if np.isfinite(zone.flow_lph):
            words.append(treedata.show_flow(zone.flow_lph, planting.site.units))
        if np.isfinite(zone.hours):
            words.append(f"{zone.hours:.1f} h")
        yield zone.name, zone_colour(i), palette.is_ring(i), ", ".join(words)


def valves(planting: Planting) -> Iterator[Drawn]:
    """Yield the valves with their names; nothing without a network."""
    from setout.write.map.leaflet import PlanLayer

    irrigation = planting.irrigation
    if irrigation is None or irrigation.network is None or not irrigation.network.is_valve.any():
        return
    net, units, water = irrigation.network, planting.site.units, planting.site.water
    at = np.flatnonzero(net.is_valve)
    lon, lat = planting.site.frame.to(treedata.WGS84, net.x[at], net.y[at])
    named, marks = valves_by_section(irrigation, net), []
    for node, place in zip(at.tolist(), zip(lat.tolist(), lon.tolist(), strict=True), strict=True):
        section, zone = int(net.section[node]), irrigation.zones[int(net.zone[node])]
        set_to = float(net.valve_kpa[section]) if net.valve_kpa.size else float("nan")
        # a height that was assumed is none of this place
        known = net.z_assumed.size == 0 or not net.z_assumed[node]
        z, flow = float(net.z[node]) if known else float("nan"), float(net.flow_lph[node])
        about = [
            ("Zone", zone.name),
            ("Water point", water.points.name[zone.water_point] if water is not None else ""),
            ("Set its regulator to", show_pressure(set_to, units) if np.isfinite(set_to) else ""),
            ("Flow", treedata.show_flow(flow, units) if np.isfinite(flow) else ""),
            ("Hours on a day of watering, at the peak", f"{zone.hours:.1f} h" if np.isfinite(zone.hours) else ""),
            ("Blocks", "; ".join(zone.blocks)),
            ("Trees of the zone", COUNT.format(zone.trees)),
            ("Elevation", show_length(z, units, 1) if np.isfinite(z) else ""),
        ]
        told = [row for row in about if row[1]]
        place_8 = [round(v, 8) for v in place]
        marks.append({"at": place_8, "mark": "valve", "title": named[section], "kind": "Valve", "about": told})
    layer = PlanLayer("Valves", "marks", marks, {"size": 18, "named": True})
    yield Entry("valves", "Valves", palette.swatch_mark("valve"), "Water", COUNT.format(len(marks))), layer
