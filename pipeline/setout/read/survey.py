"""Reading everything that a plan names, with the faults of all files together."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import TypeVar

import numpy as np
from pydantic import ValidationError
from pyproj import CRS

from setout.errors import Fault, PlanFaults, SetoutError
from setout.model import Elevations, Finding, Survey, VectorLayer
from setout.planfile import Plan
from setout.planfile.sections import SiteSection
from setout.read import crs as crs_words
from setout.read import reference
from setout.read.found import chosen
from setout.read.raster import mosaic
from setout.read.vector import files
from setout.read.weather import station

T = TypeVar("T")


def read_survey(plan: Plan, base: Path) -> Survey:
    """Read the boundary, the DEM and every layer that a plan names."""
    faults: list[Fault] = []

    def attempt(key: str, work: Callable[[], T]) -> T | None:
        try:
            return work()
        except SetoutError as error:
            faults.extend(_at(key, error))
            return None

    site = plan.site
    given = attempt("site.crs", lambda: crs_words.understood(site.crs, "site.crs"))
    dem_crs = attempt("site.dem_crs", lambda: crs_words.understood(site.dem_crs, "site.dem_crs")) or given
    boundary = attempt(
        "site.boundary",
        lambda: files.read_boundary(
            reference.parse(site.boundary, base), crs=given, unit=site.unit, adjust=site.adjust == "compass", start=site.start
        ),
    )
    layers: dict[str, VectorLayer] = {}
    for key, text in _layer_references(plan):
        if text not in layers:
            layer = attempt(key, partial(_layer, text, base, given, site.unit))
            if layer is not None:
                layers[text] = layer
    elevations, doubts = attempt("site.dem", lambda: _elevations(plan, base, dem_crs)) or (None, ())
    unused = attempt("site", lambda: tuple(_unused(plan, base, {**layers, site.boundary: boundary})))
    named = plan.water.climate if plan.water is not None else None
    weather = attempt("water.climate", lambda: station.read_climate(base / named)) if named is not None else None
    if faults or boundary is None:
        raise PlanFaults(_once(faults))
    return Survey(boundary, layers, elevations, unused or (), doubts, weather)


def file_faults(section: object, references: Sequence[tuple[str, str]], base: Path) -> tuple[Fault, ...]:
    """Look into the files that a plan file with faults of its own names, so that theirs are told at the same time."""
    try:
        site = SiteSection.model_validate(section)
        given = crs_words.understood(site.crs, "")
    except (ValidationError, SetoutError):  # without a sound site section nothing can be said of its files
        return ()
    faults: list[Fault] = []
    works: list[tuple[str, str, Callable[[reference.Reference], object]]] = []
    for key, text in references:
        if key == "site.boundary":
            start, adjust = site.start, site.adjust == "compass"
            look = partial(files.read_boundary, crs=given, unit=site.unit, adjust=adjust, start=start)
            works.append((key, text, look))
        elif key == "water.climate":
            works.append((key, text, lambda found: station.read_climate(found.path)))
        elif not key.startswith("site.dem") and key not in ("catalogue", "labour"):
            works.append((key, text, partial(files.read_vector, crs=given, unit=site.unit)))
    for key, text, work in works:
        try:
            found = reference.parse(text, base)
        except SetoutError:  # told already
            continue
        try:
            if reference.is_there(found.path):
                work(found)
        except SetoutError as error:
            faults += _at(key, error)
    names = [name for name in site.dem if reference.is_there(base / name)]
    try:
        dem_crs = crs_words.understood(site.dem_crs, "") or given
        if names:
            mosaic.open_elevations([base / name for name in names], crs=dem_crs, unit=site.dem_unit, names=names)
    except SetoutError as error:
        faults += _at("site.dem", error)
    return _once(faults)


def _at(key: str, error: SetoutError) -> Iterator[Fault]:
    """Yield the faults of a file with the key that names it."""
    for fault in error.faults:
        where = f"{key}: {fault.where}" if fault.where and fault.where != key else key
        yield Fault(fault.what, where, fault.remedy)


def _once(faults: Sequence[Fault]) -> tuple[Fault, ...]:
    """Tell a fault of a whole file once, however many of its layers the plan names."""
    seen: dict[tuple[str, str, str], Fault] = {}
    for fault in faults:
        file = Path(fault.where.partition(": ")[2].partition(":")[0]).name or fault.where
        whole = "layer" not in fault.what and "feature" not in fault.what
        seen.setdefault((fault.what, fault.remedy, file if whole else fault.where), fault)
    return tuple(seen.values())


def _layer(text: str, base: Path, crs: CRS | None, unit: str | None) -> VectorLayer:
    return files.read_vector(reference.parse(text, base), crs=crs, unit=unit)


def _elevations(plan: Plan, base: Path, crs: CRS | None) -> tuple[Elevations | None, tuple[Finding, ...]]:
    names = plan.site.dem
    if not names:
        return None, ()
    return mosaic.open_elevations([base / name for name in names], crs=crs, unit=plan.site.dem_unit, names=names)


def _layer_references(plan: Plan) -> Iterator[tuple[str, str]]:
    for number, setback in enumerate(plan.setback, 1):
        if setback.from_ != "boundary":
            yield f"setback[{number}].from", setback.from_
    for number, area in enumerate(plan.no_plant, 1):
        yield f"no_plant[{number}].from", area.from_
    for number, limit in enumerate(plan.height_limit, 1):
        yield f"height_limit[{number}].from", limit.from_
    for number, left in enumerate(plan.left_out, 1):
        yield f"left_out[{number}].from", left.from_
    for number, shade in enumerate(plan.shade, 1):
        yield f"shade[{number}].from", shade.from_
    if plan.water is not None:
        points = plan.water.points
        yield from ((f"water.points[{n}]" if len(points) > 1 else "water.points", text) for n, text in enumerate(points, 1))
        yield from ((f"water.barriers[{n}]", text) for n, text in enumerate(plan.water.barriers, 1))
        yield from ((f"water.sleeves[{n}]", text) for n, text in enumerate(plan.water.sleeves, 1))
    for number, block in enumerate(plan.block, 1):
        for key, text in (("area", block.area), ("line", block.line), ("points", block.points), ("yard", block.yard)):
            if text is not None:
                yield f"block[{number}].{key}", text
        if block.guide is not None:
            yield f"block[{number}].direction", block.guide


def _unused(plan: Plan, base: Path, layers: Mapping[str, VectorLayer | None]) -> Iterator[str]:
    """Yield the layers of the named files, and the features of the named layers, that the plan does not use."""
    line = reference.parse(plan.site.boundary, base)
    used: dict[Path, set[str]] = {}
    parts: dict[tuple[Path, str], list[reference.Reference]] = {}
    for text, layer in layers.items():
        found = reference.parse(text, base)
        if layer is None or not found.path.is_file():
            continue
        names = files.layers_read(found, layer, boundary=found == line)
        used.setdefault(found.path, set()).update(name.casefold() for name in names)
        if len(names) == 1:
            parts.setdefault((found.path, names[0].casefold()), []).append(found)
    for path, taken in sorted(used.items()):
        there = files.layer_names(path)
        yield from (f"{path.name}:{name}" for name in there if len(there) > 1 and name.casefold() not in taken)
    for (path, name), refs in sorted(parts.items()):
        if all(ref.where is not None for ref in refs) and line not in refs:
            yield from _left_over(refs, path.name if name == path.stem.casefold() else f"{path.name}:{name}")


def _left_over(refs: Sequence[reference.Reference], name: str) -> Iterator[str]:
    """Yield the features of a layer that none of some references takes."""
    columns = files.read_columns(refs[0])
    taken = np.logical_or.reduce([chosen(columns, ref) for ref in refs])
    if not taken.all():
        yield f"{int((~taken).sum())} of {taken.size} features of {name}"
