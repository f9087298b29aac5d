"""The order of the journey: read, then the stages, then write. The only module that knows it."""

from __future__ import annotations

import hashlib
import json
import os
import resource
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from importlib import metadata
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from setout import __version__
from setout.errors import Fault, SetoutError
from setout.nouns import Finding, Ground, Planting, Reach, Served, Site, Survey, Trees, Usable, VectorLayer
from setout.plan import Plan
from setout.read import plan_file, reference
from setout.read.survey import read_survey
from setout.stages import account, assign, exclude, pollinate, room, fill, reach, survey, terrain
from setout.stages import check as look
from setout.units import show_area, show_length
from setout.write.commit import OutputFolder, check_writable, managed_by

PRODUCTS = ("geopackage", "map", "terrain", "report", "packet")
Say = Callable[[str], None]
MOST_TREES = 20_000_000
"""Trees that one plan may have: at some 150 bytes each, what an ordinary machine holds."""


@dataclass
class Steps:
    """A stopwatch for the stages: seconds of wall and processor, and peak memory of the process, per stage."""

    say: Say | None = None
    log: list[dict[str, Any]] = field(default_factory=list)

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        """Time one stage and say that it has begun."""
        if self.say is not None:
            self.say(name)
        wall, cpu = time.perf_counter(), time.process_time()
        yield
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        self.log.append(
            {
                "stage": name,
                "wall_s": round(time.perf_counter() - wall, 4),
                "cpu_s": round(time.process_time() - cpu, 4),
                "peak_memory_mb": round(peak / (1024**2 if sys.platform == "darwin" else 1024), 1),
            }
        )


def plan(
    path: str | Path,
    out: str | Path | None = None,
    *,
    products: Sequence[str] = PRODUCTS,
    say: Say | None = None,
) -> Planting:
    """Plan a property: from its plan file to written results.

    Parameters
    ----------
    path : str or Path
        The plan file.
    out : str or Path, optional
        Folder of the results; ``out`` beside the plan file when absent.
    products : Sequence of str
        Which of ``geopackage, map, terrain, report, packet`` to write.
    say : callable, optional
        Takes a line of progress for people.

    Returns
    -------
    Planting
        The finished plan, as it was written.

    Raises
    ------
    SetoutError
        The input cannot be used, or the results cannot be written; nothing is written then.
    """
    path = Path(path)
    folder = Path(out) if out is not None else path.parent / "out"
    unknown = sorted(set(products) - set(PRODUCTS))
    if unknown:
        raise SetoutError(
            f"{', '.join(unknown)} is no product", "products (--only)", f"choose from {', '.join(PRODUCTS)}"
        )
    steps = Steps(say)
    with steps.step("read the plan file"):
        the_plan = plan_file.read_plan_file(path)
        check_writable(folder)
    with steps.step("read the survey"):
        surveyed = read_survey(the_plan, path.parent)
    planting = plan_site(the_plan, surveyed, steps)
    with OutputFolder(folder, managed_by(products)) as staging:
        _write(planting, staging.path, products, steps)
        _write_run(path, the_plan, planting, staging.path, steps)
    return planting


def plan_site(the_plan: Plan, surveyed: Survey, steps: Steps | None = None) -> Planting:
    """Take a surveyed property through all stages.

    Parameters
    ----------
    the_plan : Plan
        The plan file.
    surveyed : Survey
        What its files hold.
    steps : Steps, optional
        Stopwatch.

    Returns
    -------
    Planting
        The finished plan.

    Raises
    ------
    SetoutError
        The survey cannot be used, or no tree fits.
    """
    steps = steps or Steps()
    with steps.step("survey"):
        site = survey.site_of(the_plan, surveyed)
    with steps.step("terrain"):
        ground = _ground(the_plan, site, surveyed)
        site = _water_heights(site, ground)
    with steps.step("reach"):
        reached = reach.reach_of(site.water) if site.water is not None else None
        limiting = None if site.water is None or site.water.plant_beyond else reached
        high = reach.too_high(limiting, ground) if limiting is not None else None
    with steps.step("exclude"):
        areas, overlaps = exclude.block_areas(site)
        _steps_fit(site, areas)
        cells = _cells(the_plan, ground, high, site)
        limits = exclude.Limits(the_plan.ground.min_area, the_plan.ground.min_width)
        sources = (site.water.source if site.water else "", "block areas")
        usable, dropped = exclude.usable_ground(site, areas, limiting, cells, limits, sources)
        _trees_fit(site, usable)
        cutters = exclude.cutters_of(site, areas, limiting, dropped)
    with steps.step("fill"):
        beds = [fill.Bed(b, area, c) for b, area, c in zip(site.blocks, areas, cutters, strict=True)]
        filled = fill.fill(beds, _allowed(ground, high))
        if not len(filled.trees):
            raise _nothing_fits(site, usable)
    with steps.step("assign"):
        trees, dealt = assign.assign(filled.trees, site.blocks)
    with steps.step("look at every tree"):
        facts = _facts(site, ground, trees, reached)
    with steps.step("room"):
        roomy = room.room_of(site, trees, facts["nearest_m"], filled.rows, ground_m2=_ground_by_block(site, usable))
        facts["crowding"], facts["pruning_load"] = roomy.crowding, roomy.pruning_load
        facts["pollinizer_m"], alone = pollinate.partners(site, trees)
    with steps.step("check"):
        positions = look.Positions(
            facts["tree_id"], trees.block.astype(np.int64), trees.x, trees.y, facts, filled.trees.partner
        )
        short = look.check(site, positions, look.Checks(ground.max_slope), areas)
        notes = look.nearest_notes(site, positions, areas)
        facts["findings"] = look.codes_by_tree(facts["tree_id"], short) if short else None
    findings = (
        *site.findings, *ground.findings, *(reached.findings if reached else ()), *overlaps, *usable.findings,
        *filled.findings, *dealt, *roomy.findings, *alone, *notes, *short,
    )  # fmt: skip
    ranked = sorted(findings, key=lambda f: ("stop", "warn", "note").index(f.severity))
    known = {name: values for name, values in facts.items() if values is not None}
    return Planting(
        site,
        ground,
        usable,
        filled.rows,
        trees,
        known,
        tuple(ranked),
        reached,
        filled.works,
        tuple(account.order_of(site.blocks, trees)),
        tuple(account.materials_of(site.blocks, trees, filled.rows, filled.works, units=site.units)),
        roomy.blocks,
        tuple(tuple(room.plain_words(r, site.blocks[r.block], site.units)) for r in roomy.blocks),
    )


def _ground(the_plan: Plan, site: Site, surveyed: Survey) -> Ground:
    max_slope = the_plan.ground.max_slope
    return terrain.survey_ground(
        site,
        surveyed.elevations,
        max_slope=np.inf if max_slope is None else max_slope,
        allow_blank=the_plan.ground.no_elevation == "plant",
    )


def _water_heights(site: Site, ground: Ground) -> Site:
    """Give the water points their elevations from the DEM."""
    if site.water is None or ground.elevations is None:
        return site
    points = site.water.points
    z, _, _ = terrain.sample(ground, points.x, points.y)
    return replace(site, water=replace(site.water, points=replace(points, z=z)))


def _steps_fit(site: Site, areas: Any) -> None:
    """Refuse blocks without ground, and steps that are larger than it."""
    faults = []
    for block, area in zip(site.blocks, areas, strict=True):
        low_x, low_y, high_x, high_y = area.bounds if not area.is_empty else (0.0, 0.0, 0.0, 0.0)
        across = float(np.hypot(high_x - low_x, high_y - low_y))
        where = f"block {block.name}"
        if area.is_empty:
            what = "its area has no ground inside the boundary that no earlier block takes"
            faults.append(Fault(what, where, "draw its area on the site, beside the other blocks"))
        elif block.pattern.step_m > across:
            step, size = show_length(block.pattern.step_m, site.units), show_length(across, site.units)
            faults.append(
                Fault(f"the step {step} is larger than its ground ({size} across)", where, "write a smaller step")
            )
    if faults:
        raise SetoutError("", faults=tuple(faults))


def _trees_fit(site: Site, usable: Usable) -> None:
    """Refuse steps that would give more trees than there is memory for, before the ground is filled with them."""
    counts, names = [], np.array(usable.block, object)
    for block in site.blocks:
        cell = block.pattern.step_m * block.pattern.row_distance_m / block.pattern.lines
        ground = float(shapely.area(usable.geometry[names == block.name]).sum())
        counts.append(ground / cell if cell > 0 else 0.0)
    if sum(counts) <= MOST_TREES:
        return
    block, count = max(zip(site.blocks, counts, strict=True), key=lambda pair: pair[1])
    step, rows = (show_length(d, site.units) for d in (block.pattern.step_m, block.pattern.row_distance_m))
    raise SetoutError(
        f"a step of {step} in rows {rows} apart gives about {count:,.0f} trees; {MOST_TREES:,} are the most in one plan",
        f"block {block.name}",
        "check the unit of its step, or divide the property among several plan files",
    )


def _ground_by_block(site: Site, usable: Usable) -> list[float]:
    """Return the usable ground of every block [m2]; NaN for blocks that take none of their own."""
    area = dict.fromkeys(usable.block, 0.0)
    for name, size in zip(usable.block, shapely.area(usable.geometry).tolist(), strict=True):
        area[name] += size
    return [area.get(block.name, float("nan")) for block in site.blocks]


def _cells(the_plan: Plan, ground: Ground, high: Any, site: Site) -> exclude.Cells | None:
    """Gather the cells that are taken out, in the order of the account."""
    if ground.elevations is None:
        return None
    reasons = []
    blank = ground.blank
    if not ground.allow_blank:
        reasons.append(exclude.CellReason(exclude.NO_ELEVATION, ground.elevations.source, blank))
    if np.isfinite(ground.max_slope):
        reasons.append(exclude.CellReason(exclude.SLOPE, ground.elevations.source, ground.steep))
    if high is not None:
        source = site.water.source if site.water else ""
        reasons.append(exclude.CellReason(exclude.TOO_HIGH, source, high))
    return exclude.Cells(tuple(reasons), ground.window, *terrain.cell_mappings(ground))


def _allowed(ground: Ground, high: Any) -> fill.Allowed | None:
    """Return what tells which positions stand on cells that may be planted; None where all do."""
    if ground.elevations is None:
        return None
    closed = ground.steep if high is None else ground.steep | high
    if ground.allow_blank:
        known = replace(ground, steep=closed)
        return lambda x, y: ~terrain.steep_at(known, x, y)
    whole = replace(ground, blank=closed | ground.blank)
    return lambda x, y: ~terrain.blank_at(whole, x, y)


def _facts(site: Site, ground: Ground, trees: Trees, reached: Reach | None, ids: Any = None) -> dict[str, Any]:
    """Look up per-tree figures, of finished positions only."""
    size = len(trees)
    facts: dict[str, Any] = {"tree_id": tree_ids([b.name for b in site.blocks], trees) if ids is None else ids}
    z = np.full(size, np.nan)
    if ground.elevations is not None:
        z, facts["slope_pct"], _ = terrain.sample(ground, trees.x, trees.y)
    facts["elevation_m"] = z if np.isfinite(z).any() else None
    facts.setdefault("slope_pct", np.full(size, np.nan))
    nearest, apart = look.nearest_neighbour(trees.x, trees.y, trees.partner if len(trees.partner) else None)
    facts["nearest_m"] = np.where(np.isfinite(nearest), nearest, np.nan)
    facts["apart_m"] = apart
    served = Served(np.full(size, -1), np.full(size, np.nan), np.full(size, np.nan))
    if site.water is not None and reached is not None:
        served = reach.serve(reached, site.water, trees.x, trees.y, z)
    facts["water_index"], facts["run_m"], facts["pressure_kpa"] = (
        served.point,
        served.run_m,
        served.pressure_kpa,
    )
    return facts


def tree_ids(names: Sequence[str], trees: Trees) -> Any:
    """Return the ids of trees: block-row-position, numbers as wide as the block's greatest.

    Parameters
    ----------
    names : Sequence of str
        Names of the blocks.
    trees : Trees
        In walking order.

    Returns
    -------
    (n,) ndarray of str
        Such as "A-07-012".
    """
    parts = []
    for index, name in enumerate(names):
        own = trees.block == index
        if not own.any():
            continue
        row, position = trees.row[own], trees.position[own]
        wide, deep = len(str(int(row.max()))), len(str(int(position.max())))
        heads = np.array([f"{name}-{r:0{wide}d}-" for r in range(int(row.max()) + 1)])
        tails = np.array([f"{p:0{deep}d}" for p in range(int(position.max()) + 1)])
        parts.append(np.char.add(heads[row], tails[position]))
    return np.concatenate(parts)


def _nothing_fits(site: Site, usable: Usable) -> SetoutError:
    """Say that no tree fits, and what takes the ground."""
    takers = sorted((row for row in usable.account[1:-1]), key=lambda row: -row.newly_m2)[:3]
    said = ", ".join(f"{row.reason} takes {show_area(row.newly_m2, site.units)}" for row in takers if row.newly_m2 > 0)
    net = show_area(usable.account[-1].remaining_m2, site.units)
    return SetoutError(
        f"no tree fits: of {show_area(site.boundary.area, site.units)}, {net} are left to plant ({said or 'nothing was excluded'})",
        site.name,
        "look at the limits in the plan file, and at the step",
    )


def _write(planting: Planting, folder: Path, products: Sequence[str], steps: Steps) -> None:
    """Write every product that is asked for into an empty folder."""
    contours = []
    if {"geopackage", "map", "report"} & set(products) and planting.ground.elevations is not None:
        with steps.step("contours"):
            contours = terrain.contour_lines(planting.ground, planting.site)
    if "geopackage" in products:
        from setout.write import geopackage, plan_layers

        with steps.step("write plan.gpkg"):
            geopackage.write(
                folder / "plan.gpkg",
                plan_layers.plan_layers(planting, contours),
                planting.site.frame.survey_crs,
            )
    if "terrain" in products and planting.ground.elevations is not None:
        from setout.write import rasters

        with steps.step("write terrain"):
            (folder / "terrain").mkdir()
            rasters.write_terrain(planting.ground, folder / "terrain")
    if "map" in products:
        from setout.write import rasters, webmap

        with steps.step("write map.html"):
            shade = rasters.hillshade_picture(planting.ground) if planting.ground.elevations is not None else None
            webmap.write_map(folder / "map.html", planting, hillshade=shade, contours=contours)
    if "report" in products:
        from setout.write import picture, report

        with steps.step("write report.html"):
            svg = picture.plan_picture(planting, contours=contours)
            report.write_report(folder / "report.html", planting, picture_svg=svg)
    if "packet" in products:
        from setout.write import packet

        with steps.step("write packet"):
            packet.write_packet(planting, folder / "packet")


def _write_run(path: Path, the_plan: Plan, planting: Planting, folder: Path, steps: Steps) -> None:
    """Write run.json: what went in, with what, and how long each stage took."""
    record = {
        "setout": __version__,
        "plan_file": path.name,
        "inputs": {name: _digest(file) for name, file in sorted(_inputs(path, the_plan).items())},
        "settings": json.loads(the_plan.model_dump_json(by_alias=True)),
        "site": {
            "survey_crs": planting.site.frame.survey_crs.to_string(),
            "plane_crs": planting.site.frame.plane_crs.to_string(),
            "frame": planting.site.frame.crs.to_wkt(),
            "frame_scale": planting.site.frame.scale,
            "frame_height_m": planting.site.frame.height_m,
        },
        "trees": len(planting.trees),
        "trees_by_block": {
            block.name: int((planting.trees.block == k).sum()) for k, block in enumerate(planting.site.blocks)
        },
        "findings": [_as_json(finding) for finding in planting.findings[:1000]],
        "versions": {
            name: metadata.version(name)
            for name in (
                "numpy",
                "scipy",
                "shapely",
                "pyproj",
                "rasterio",
                "pyogrio",
                "geopandas",
                "folium",
                "ezdxf",
            )
        },
        "python": sys.version.split()[0],
        "stages": steps.log,
    }
    (folder / "run.json").write_text(json.dumps(record, indent=1, allow_nan=False) + "\n", encoding="utf-8")


def _as_json(finding: Finding) -> dict[str, str]:
    return {
        name: str(getattr(finding, name))
        for name in ("code", "severity", "message", "measured", "required", "remedy", "tree_id")
    }


def _inputs(path: Path, the_plan: Plan) -> dict[str, Path]:
    found = {path.name: path}
    for _, text in plan_file.references(the_plan.model_dump(mode="json", by_alias=True, exclude_none=True)):
        file = reference.parse(text, path.parent).path
        found[Path(os.path.relpath(file, path.parent)).as_posix()] = file
    return found


def _digest(file: Path) -> str | None:
    """Return the SHA-256 of a file; None for what is not one file."""
    if not file.is_file():
        return None
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


@dataclass(frozen=True, slots=True)
class Judged:
    """What a look at given positions found: how many there are, and the findings."""

    trees: int
    findings: tuple[Finding, ...]


def check(path: str | Path, trees: str, *, say: Say | None = None) -> Judged:
    """Judge positions, from a plan or surveyed after planting, against a plan file.

    Parameters
    ----------
    path : str or Path
        The plan file.
    trees : str
        Points: "file" or "file:layer", relative to the current folder.
    say : callable, optional
        Takes a line of progress for people.

    Returns
    -------
    Judged
        One finding for every tree and respect in which it falls short.

    Raises
    ------
    SetoutError
        The plan or the positions cannot be used.
    """
    from setout.read import vector

    path, steps = Path(path), Steps(say)
    with steps.step("read"):
        the_plan = plan_file.read_plan_file(path)
        surveyed = read_survey(the_plan, path.parent)
        layer = vector.read_vector(reference.parse(trees, Path.cwd()))
    with steps.step("survey"):
        site = survey.site_of(the_plan, surveyed)
    with steps.step("terrain"):
        ground = _ground(the_plan, site, surveyed)
        site = _water_heights(site, ground)
        reached = reach.reach_of(site.water) if site.water is not None else None
    with steps.step("check"):
        areas, _ = exclude.block_areas(site)
        positions = _given_positions(site, ground, reached, layer, areas)
        found = look.check(site, positions, look.Checks(ground.max_slope), areas)
    return Judged(len(positions.x), found)


def _given_positions(
    site: Site, ground: Ground, reached: Reach | None, layer: VectorLayer, areas: Any
) -> look.Positions:
    """Take surveyed points to the frame, find the block that each stands in, and look up their figures."""
    points, of = shapely.get_parts(layer.geometry, return_index=True)
    if not len(points) or np.any(shapely.get_type_id(points) != shapely.GeometryType.POINT):
        raise SetoutError("the positions are not points", layer.source, "give a layer of points")
    x, y = site.frame.of(layer.crs, shapely.get_x(points), shapely.get_y(points))
    names = layer.columns.get("tree_id", layer.columns.get("name"))
    known = [None] * len(of) if names is None else np.asarray(names)[of].tolist()
    ids = np.array([str(name) if name else f"#{k}" for k, name in enumerate(known, 1)])
    block = np.full(len(x), -1, np.int64)
    said = layer.columns.get("block")
    for index, (own, area) in enumerate(zip(site.blocks, areas, strict=True)):
        inside = shapely.contains_xy(area, x, y)
        if said is not None:
            inside = np.asarray(said)[of] == own.name
        block[inside & (block < 0)] = index
    trees = Trees(
        block.astype(np.int32),
        np.ones(len(x), np.int32),
        np.arange(1, len(x) + 1, dtype=np.int32),
        x,
        y,
        np.full(len(x), -1, np.int32),
    )
    return look.Positions(ids, block, x, y, _facts(site, ground, trees, reached, ids))
