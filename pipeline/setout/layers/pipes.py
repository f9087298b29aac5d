"""Pipes, water points and zones: laterals, mains and manifolds as lines, zones as a table."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

import numpy as np
import shapely

from setout.hydraulics.friction import velocity_ms
from setout.layers.columns import Points, texts
from setout.layers.contract import Column, LayerContract, must
from setout.layers.data import LayerData, layer_of
from setout.model import Floats, Geometries, Ints, Irrigation, Network, Planting
from setout.model.irrigation import LATERAL, MAIN, MANIFOLD, SOURCE

_PIPE: Final = (
    Column("diameter_mm", "real", "mm", "inside diameter"),
    Column("flow_lph", "real", "l/h", "flow at its head"),
    Column("inlet_kpa", "real", "kPa", "pressure at its head"),
    Column("end_kpa", "real", "kPa", "lowest pressure along it"),
    Column("velocity_m_s", "real", "m/s", "highest velocity in it"),
)


LATERALS: Final = LayerContract(
    "laterals",
    "LINESTRING",
    (
        must("lateral_id", "text", "", "block-row-number"),
        Column("block", "text", "", "name of the block"),
        Column("zone", "text", "", "zone it belongs to"),
        Column("row_id", "text", "", "row it runs along"),
        Column("length_m", "real", "m", "length on the slope"),
        Column("trees", "int", "", "trees it waters"),
        Column("emitters", "int", "", "emitters on it"),
        *_PIPE,
    ),
    "Laterals",
)


MANIFOLDS: Final = LayerContract(
    "manifolds",
    "LINESTRING",
    (
        must("manifold_id", "text", "", "valve-number; a main that feeds several valves is there for each"),
        Column("kind", "text", "", "main, from the water point to the valve, or manifold, beyond it"),
        Column("valve", "text", "", "valve that opens it, or that it feeds"),
        Column("zone", "text", "", "zone it belongs to"),
        Column("water_point", "text", "", "water point that feeds it"),
        Column("length_m", "real", "m", "length on the slope"),
        *_PIPE,
    ),
    "Manifolds",
)


WATER_POINTS: Final = LayerContract(
    "water_points",
    "POINT",
    (
        must("name", "text", "", "name of the water point"),
        Column("elevation_m", "real", "m", "ground elevation"),
        Column("pressure_kpa", "real", "kPa", "static pressure there"),
        Column("flow_lph", "real", "l/h", "flow it can give"),
        Column("trees", "int", "", "trees it serves"),
        Column("zone", "text", "", "zones it feeds, separated by blanks"),
    ),
    "Water points",
)


ZONES: Final = LayerContract(
    "zones",
    None,
    (
        must("zone", "text", "", "name of the zone"),
        Column("water_point", "text", "", "water point that feeds it"),
        Column("valve", "text", "", "valves that open it, separated by blanks"),
        Column("block", "text", "", "blocks that it waters, separated by semicolons"),
        Column("rows", "int", "", "rows watered at once"),
        Column("trees", "int", "", "trees watered at once"),
        Column("flow_lph", "real", "l/h", "flow it draws"),
        Column("pressure_kpa", "real", "kPa", "pressure behind its valve; the greatest of several"),
        Column("least_kpa", "real", "kPa", "lowest pressure at its emitters"),
        Column("most_kpa", "real", "kPa", "highest pressure at its emitters"),
        Column("uniformity", "real", "", "emission uniformity, 0 to 1"),
        Column("uniformity_class", "text", "", "its class"),
        Column("start_h", "real", "h", "hours after the beginning of watering when it starts"),
        Column("hours_h", "real", "h/day", "hours on each day of watering, at the peak"),
        Column("hours_needed_h", "real", "h/day", "hours that would meet all its trees' need"),
        Column("days_per_week", "int", "", "days of watering a week"),
    ),
    "Zones",
)


def water_points_layer(planting: Planting) -> Iterator[LayerData]:
    """Yield the water points that a plan with water has."""
    water = planting.site.water
    if water is None:
        return
    points = water.points
    served = np.asarray(planting.trees.water_index)
    x, y = planting.site.frame.to(planting.site.frame.survey_crs, points.x, points.y)
    yield layer_of(
        WATER_POINTS,
        Points(x, y),
        name=list(points.name),
        elevation_m=points.z,
        pressure_kpa=points.pressure_kpa,
        flow_lph=points.flow_lph,
        trees=np.bincount(served[served >= 0], minlength=len(points.name)).astype(np.int64),
        zone=zones_of_points(planting),
    )


def water_layers(planting: Planting) -> Iterator[LayerData]:
    """Yield laterals, manifolds and zones; nothing where no network was laid out."""
    irrigation = planting.irrigation
    if irrigation is None or irrigation.network is None:
        return
    yield _laterals(planting, irrigation.network)
    yield _manifolds(planting, irrigation, irrigation.network)
    yield _zones(planting, irrigation)


def zones_of_points(planting: Planting) -> list[str] | None:
    """Return the zones that each water point feeds, separated by blanks; None without a network."""
    irrigation, water = planting.irrigation, planting.site.water
    if irrigation is None or irrigation.network is None or water is None:
        return None
    return [" ".join(z.name for z in irrigation.zones if z.water_point == p) for p in range(len(water.points.name))]


def _row_ids(planting: Planting, network: Network, first: Ints) -> tuple[list[str], list[int]]:
    """Return per lateral the id of its row, and its number in the row from 1."""
    wide = {int(b): len(str(int(planting.trees.row[planting.trees.block == b].max()))) for b in np.unique(network.block[first])}
    names = [block.name for block in planting.site.blocks]
    seen: dict[tuple[int, int], int] = {}
    ids, numbers = [], []
    for b, r in zip(network.block[first].tolist(), network.row[first].tolist(), strict=True):
        seen[b, r] = seen.get((b, r), 0) + 1
        ids.append(f"{names[b]}-{r:0{wide[b]}d}")
        numbers.append(seen[b, r])
    return ids, numbers


def _starts(network: Network) -> Ints:
    """Return the first node of every lateral; the others follow it."""
    own = np.flatnonzero(network.kind == LATERAL)
    return own[np.append(True, np.diff(network.lateral[own]) != 0)] if len(own) else own


def _laterals(planting: Planting, network: Network) -> LayerData:
    assert planting.irrigation is not None
    first = _starts(network)
    ids, numbers = _row_ids(planting, network, first)
    stop = np.append(first[1:], len(network))
    zones = [zone.name for zone in planting.irrigation.zones]
    node = planting.irrigation.node
    # trees by node: emitters may be shared
    trees = np.bincount(node[node >= 0], minlength=len(network))
    columns = {
        "lateral_id": texts([f"{row}-{k}" for row, k in zip(ids, numbers, strict=True)]),
        "block": texts([planting.site.blocks[b].name for b in network.block[first]]),
        "zone": texts([zones[z] for z in network.zone[first]]),
        "row_id": texts(ids),
        "length_m": np.add.reduceat(network.length_m, first),
        "trees": np.add.reduceat(trees, first).astype(np.int64),
        "emitters": np.round(np.add.reduceat(network.emitters, first)).astype(np.int64),
        **_pipe(network, first, stop),
    }
    return LayerData(LATERALS, columns, _lines(planting, network, first, stop))


def _pipe(network: Network, first: Ints, stop: Ints) -> dict[str, Any]:
    """Return the columns of pipes that each run over neighbouring nodes."""
    speed = np.zeros(len(network))
    pipe = network.parent >= 0
    speed[pipe] = velocity_ms(network.flow_lph[pipe], network.inside_mm[pipe])
    edges = np.column_stack([first, stop]).ravel()
    if len(edges) and edges[-1] == len(network):
        edges = edges[:-1]

    def over(values: Floats, how: np.ufunc) -> Floats:
        return np.asarray(how.reduceat(values, edges)[::2], float) if len(edges) else np.empty(0)

    inlet = np.where(network.kind[first] == SOURCE, first, np.maximum(network.parent[first], 0))
    return {
        "diameter_mm": network.inside_mm[stop - 1],
        "flow_lph": network.flow_lph[first],
        "inlet_kpa": network.pressure_kpa[inlet],
        "end_kpa": over(network.pressure_kpa, np.minimum),
        "velocity_m_s": over(speed, np.maximum),
    }


def _lines(planting: Planting, network: Network, first: Ints, stop: Ints) -> Geometries:
    """Draw pipes from the node that each springs from through its own."""
    frame = planting.site.frame
    x, y = frame.to(frame.survey_crs, network.x, network.y)
    xy = np.column_stack([x, y])
    size = stop - first
    has_up = network.parent[first] >= 0
    count = size + has_up
    start = np.cumsum(count) - count
    node = np.repeat(first - start - has_up, count) + np.arange(int(count.sum()))
    node[start[has_up]] = network.parent[first[has_up]]
    lines = np.empty(len(first), object)
    of = np.repeat(np.arange(len(first)), count)
    shapely.linestrings(xy[node], indices=of, out=lines)
    return lines


def _manifolds(planting: Planting, irrigation: Irrigation, network: Network) -> LayerData:
    trunk = np.flatnonzero(network.kind != LATERAL)
    kind, section, parent = network.kind[trunk], network.section[trunk], network.parent[trunk]
    # a main runs from the source on; a branch of a manifold begins where the parent is not the node before
    main = (kind == MAIN) | (kind == SOURCE)
    new = np.append(True, (section[1:] != section[:-1]) | (main[1:] != main[:-1]) | (~main[1:] & (parent[1:] != trunk[:-1])))
    first = trunk[new]
    stop = np.append(first[1:], len(trunk))
    # a main of no length is no pipe: the water point stands on the manifold
    keep = (stop - first > 1) | (network.parent[first] >= 0)
    first, stop = first[keep], stop[keep]
    valve_of = valves_by_section(irrigation, network)
    valve = [valve_of[s] for s in network.section[first].tolist()]
    seen: dict[str, int] = {}
    ids = []
    for name in valve:
        seen[name] = seen.get(name, 0) + 1
        ids.append(f"{name}-{seen[name]}")
    assert planting.site.water is not None
    points = planting.site.water.points.name
    total = np.concatenate([[0.0], np.cumsum(network.length_m)])
    columns = {
        "manifold_id": texts(ids),
        "kind": texts(["manifold" if k == MANIFOLD else "main" for k in network.kind[first]]),
        "valve": texts(valve),
        "zone": texts([irrigation.zones[z].name for z in network.zone[first]]),
        "water_point": texts([points[irrigation.zones[z].water_point] for z in network.zone[first]]),
        "length_m": total[stop] - total[first],
        **_pipe(network, first, stop),
    }
    return LayerData(MANIFOLDS, columns, _lines(planting, network, first, stop))


def valves_by_section(irrigation: Irrigation, network: Network) -> list[str]:
    """Return the name of the valve of every section."""
    at = np.flatnonzero(network.is_valve)
    zone = np.empty(len(at), np.int64)
    zone[network.section[at]] = network.zone[at]
    seen: dict[int, int] = {}
    out = []
    for z in zone.tolist():
        out.append(irrigation.zones[z].valves[seen.get(z, 0)])
        seen[z] = seen.get(z, 0) + 1
    return out


def _zones(planting: Planting, irrigation: Irrigation) -> LayerData:
    assert planting.site.water is not None
    zones, points = irrigation.zones, planting.site.water.points.name
    columns: dict[str, Any] = {
        "zone": texts([z.name for z in zones]),
        "water_point": texts([points[z.water_point] for z in zones]),
        "valve": texts([" ".join(z.valves) for z in zones]),
        "block": texts(["; ".join(z.blocks) for z in zones]),
        "uniformity_class": texts([z.uniformity_class for z in zones]),
    }
    real = {
        "flow_lph": "flow_lph",
        "pressure_kpa": "valve_kpa",
        "least_kpa": "least_kpa",
        "most_kpa": "most_kpa",
        "uniformity": "uniformity",
        "start_h": "start",
        "hours_h": "hours",
        "hours_needed_h": "hours_needed",
    }
    columns |= {column: np.array([getattr(z, name) for z in zones], float) for column, name in real.items()}
    columns |= {column: np.array([getattr(z, column) for z in zones], np.int64) for column in ("rows", "trees", "days_per_week")}
    return LayerData(ZONES, columns, None)
