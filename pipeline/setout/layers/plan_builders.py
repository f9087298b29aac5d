"""From a planting to the layers of plan.gpkg: names, units and coordinates as the layer contracts say."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from setout.geometry.lines.overlay import polygonal
from setout.layers import CONTRACTS
from setout.layers.columns import Chunked, Coded, Points, several, texts
from setout.layers.data import LayerData
from setout.layers.need import need_layer
from setout.layers.water import tree_columns, water_layers, zones_of_points
from setout.layers.works import works_layers
from setout.layers.years import year_layers
from setout.model import WGS84, Exclusion, Floats, Frame, Geometries, Planting
from setout.words.findings import all_told
from setout.words.materials import all_bought

FACTS = (
    "elevation_m",
    "slope_pct",
    "nearest_m",
    "crowding",
    "overlap_m",
    "room_m",
    "pruning_load",
    "pollinizer_m",
    "run_m",
    "pressure_kpa",
    "flow_lph",
    "need_lpd",
    "sun_h",
    "sun_am_h",
    "sun_pm_h",
    "sun_open_h",
)


def plan_layers(planting: Planting, contours: Sequence[tuple[float, BaseGeometry]] = ()) -> Iterator[LayerData]:
    """Yield the layers of a planting, in the order in which they are written."""
    site, usable = planting.site, planting.usable
    outer = _to_survey(site.frame)
    yield _layer("boundary", outer([site.boundary]), name=[site.name], area_m2=[site.boundary.area])
    yield _exclusions(usable.exclusions, outer)
    yield _layer(
        "height_limits",
        outer([e.geometry for e in usable.height_limits]),
        reason=[e.reason for e in usable.height_limits],
        source=[e.source for e in usable.height_limits],
        within_m=[limit.within_m for limit in site.height_limits],
        height_m=[limit.height_m for limit in site.height_limits],
    )
    yield from _water(planting, outer)
    yield _layer("usable", outer(usable.geometry), block=list(usable.block), area_m2=shapely.area(usable.geometry))
    yield _rows(planting, outer)
    yield _trees(planting)
    yield from works_layers(planting, outer)
    yield from water_layers(planting)
    yield _findings(planting, outer)
    if contours:
        yield _layer("contours", outer([line for _, line in contours]), elevation_m=[z for z, _ in contours])
    account = usable.account
    yield _layer(
        "land_account",
        None,
        step=np.array([row.step for row in account], np.int64),
        reason=[row.reason for row in account],
        alone_m2=[row.alone_m2 for row in account],
        newly_m2=[row.newly_m2 for row in account],
        remaining_m2=[row.remaining_m2 for row in account],
    )
    yield _order(planting)
    yield _materials(planting)
    yield from year_layers(planting)
    yield from need_layer(planting)


def _to_survey(frame: Frame) -> Callable[..., Geometries]:
    """Return what takes geometries from the frame to the survey's CRS."""

    def move(xy: Floats) -> Floats:
        return np.column_stack(frame.to(frame.survey_crs, xy[:, 0], xy[:, 1]))

    def outer(geometries: Sequence[BaseGeometry | None] | Geometries, whole_cells: Sequence[int] | None = None) -> Geometries:
        array = np.empty(len(geometries), object)
        array[:] = geometries
        out: Geometries = shapely.transform(array, move)
        # rings that all but touch may cross by a rounding once moved; parts that touch share their points and still do
        whole = np.zeros(len(out), np.int64) if whole_cells is None else np.asarray(whole_cells, np.int64)
        own = np.flatnonzero((shapely.get_dimensions(out) == 2) & (shapely.get_num_geometries(out) > whole))
        parts, owner = shapely.get_parts(out[own], return_index=True)
        rank = np.arange(len(parts)) - np.searchsorted(owner, owner)
        looked_at = rank >= whole[own][owner]
        broken = np.zeros(len(out), bool)
        broken[own[owner[looked_at][~shapely.is_valid(parts[looked_at])]]] = True
        if broken.any():
            mended = shapely.make_valid(out[broken], method="structure", keep_collapsed=False)
            out[broken] = [polygonal(g) for g in mended]
        return out

    return outer


def _layer(layer: str, geometry: Geometries | Points | None, **columns: Any) -> LayerData:
    arrays = {key: np.asarray(v, object) if isinstance(v, list) and v and isinstance(v[0], str) else v for key, v in columns.items()}
    typed = {key: np.asarray(v, float) if isinstance(v, list) else v for key, v in arrays.items()}
    for column in CONTRACTS[layer].columns:
        values = typed.get(column.name)
        if isinstance(values, np.ndarray) and not values.size and column.kind == "text":
            typed[column.name] = np.empty(0, object)
        typed.setdefault(column.name, None)
    return LayerData(CONTRACTS[layer], typed, geometry)


def _exclusions(exclusions: Sequence[Exclusion], outer: Callable[..., Geometries]) -> LayerData:
    return _layer(
        "exclusions",
        outer([e.geometry for e in exclusions], [e.whole_cells for e in exclusions]),
        reason=[e.reason for e in exclusions],
        source=[e.source for e in exclusions],
        distance_m=[e.distance_m for e in exclusions],
        alone_m2=[e.alone_m2 for e in exclusions],
        newly_m2=[e.newly_m2 for e in exclusions],
    )


def _water(planting: Planting, outer: Callable[..., Geometries]) -> Iterator[LayerData]:
    water = planting.site.water
    if water is None:
        return
    points = water.points
    served = np.asarray(planting.facts["water_index"])
    x, y = planting.site.frame.to(planting.site.frame.survey_crs, points.x, points.y)
    yield _layer(
        "water_points",
        Points(x, y),
        name=list(points.name),
        elevation_m=points.z,
        pressure_kpa=points.pressure_kpa,
        flow_lph=points.flow_lph,
        trees=np.bincount(served[served >= 0], minlength=len(points.name)).astype(np.int64),
        zone=zones_of_points(planting),
    )
    reach = planting.reach
    if reach is not None and not shapely.is_empty(reach.areas).all():
        yield _layer(
            "reach",
            outer(reach.areas),
            water_point=list(points.name),
            max_run_m=np.full(len(points.name), reach.max_run_m if np.isfinite(reach.max_run_m) else np.nan),
            area_m2=shapely.area(reach.areas),
        )


def _rows(planting: Planting, outer: Callable[..., Geometries]) -> LayerData:
    rows = planting.rows
    names = [block.name for block in planting.site.blocks]
    return _layer(
        "rows",
        outer(rows.line),
        row_id=row_ids(names, rows.block, rows.row),
        block=Coded(names, rows.block),
        row=rows.row,
        bearing_deg=rows.bearing_deg,
        length_m=rows.length_m,
        trees=rows.trees,
    )


def row_ids(names: Sequence[str], block: NDArray[Any], row: NDArray[Any]) -> NDArray[np.object_]:
    """Return row ids, block-row, the row number as wide as the block's last.

    >>> row_ids(["A"], np.array([0, 0]), np.array([7, 12])).tolist()
    ['A-07', 'A-12']
    """
    widths = {b: len(str(int(row[block == b].max()))) for b in np.unique(block)}
    out = np.empty(len(row), object)
    out[:] = [f"{names[b]}-{r:0{widths[b]}d}" for b, r in zip(block.tolist(), row.tolist(), strict=True)]
    return out


def _trees(planting: Planting) -> LayerData:
    trees, site, facts = planting.trees, planting.site, planting.facts
    frame, size = site.frame, len(trees)
    names = [block.name for block in site.blocks]

    def places(part: slice) -> dict[str, Floats]:
        own = trees.x[part], trees.y[part]
        x, y = frame.to(frame.survey_crs, *own)
        lon, lat = frame.to(WGS84, *own)
        east, north = (x, y) if frame.plane_crs == frame.survey_crs else frame.to(frame.plane_crs, *own)
        return {"x": x, "y": y, "easting": east, "northing": north, "lon": lon, "lat": lat}

    at = several(size, ("x", "y", "easting", "northing", "lon", "lat"), places)
    kinds = [(b, p) for b, block in enumerate(site.blocks) for p in range(len(block.plants))]
    code = np.full(size, -1, np.int32)
    for number, (b, p) in enumerate(kinds):
        code[(trees.block == b) & (trees.plant == p)] = number
    plants = [site.blocks[b].plants[p] for b, p in kinds]
    columns: dict[str, Any] = {
        "tree_id": facts["tree_id"],
        "block": Coded(names, trees.block),
        "row": trees.row,
        "position": trees.position,
        "plant": Coded([p.name for p in plants], code),
        "variety": Coded([p.variety for p in plants], code),
        "role": Coded([p.role for p in plants], code),
        **{name: at[name] for name in ("easting", "northing", "lon", "lat")},
        **{name: facts.get(name) for name in FACTS},
        "spread_m": _by_code(np.array([p.spread_m for p in plants]), code),
        "height_m": _by_code(np.array([p.height_m for p in plants]), code),
        "findings": facts.get("findings"),
    }
    if site.water is not None and "water_index" in facts:
        columns["water_point"] = Coded(site.water.points.name, np.asarray(facts["water_index"]))
    columns |= tree_columns(planting)
    return _layer("trees", Points(at["x"], at["y"], facts.get("elevation_m")), **columns)


def _by_code(values: Floats, code: NDArray[np.int32]) -> Chunked | None:
    """Return a value of every tree's plant; None where no plant has one."""
    if not np.isfinite(values).any():
        return None
    table = np.append(values, np.nan)
    return Chunked(len(code), lambda part: table[code[part]])


def _findings(planting: Planting, outer: Callable[..., Geometries]) -> LayerData:
    """Return a row a finding; of one that is of many trees, a row each."""
    findings = all_told(planting.findings, planting.site.units)
    columns = {
        name: np.repeat(texts([getattr(f, name) for f in findings]), [f.count for f in findings])
        for name in ("code", "severity", "tree_id", "message", "measured", "required", "remedy")
    }
    geometry = np.repeat(texts([f.geometry for f in findings]), [f.count for f in findings])  # type: ignore[misc]  # texts takes any objects
    start = 0
    for finding in findings:
        if finding.trees is not None:
            own = slice(start, start + finding.count)
            names = np.asarray(planting.facts["tree_id"])[finding.trees]
            columns["tree_id"][own] = names
            columns["message"][own] = [f"tree {name} {finding.each}" for name in names.tolist()]
            geometry[own] = shapely.points(planting.trees.x[finding.trees], planting.trees.y[finding.trees])
        start += finding.count
    return _layer("findings", outer(geometry), **columns)


def _order(planting: Planting) -> LayerData:
    lines = planting.order
    names = ("species", "plant", "variety", "role", "size_class", "block", "note")
    return _layer(
        "order",
        None,
        **{name: texts([getattr(line, name) for line in lines]) for name in names},
        trees=np.array([line.trees for line in lines], np.int64),
        spares=np.array([line.spares for line in lines], np.int64),
    )


def _materials(planting: Planting) -> LayerData:
    lines = planting.materials
    said = all_bought(lines, planting.site.units)
    return _layer(
        "materials",
        None,
        **{name: texts([getattr(line, name) for line in said]) for name in ("item", "size", "where", "shown")},
        unit=texts([line.unit for line in lines]),
        quantity=np.array([line.quantity for line in lines], float),
    )
