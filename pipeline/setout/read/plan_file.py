"""The plan file: from TOML text to a plan, with every fault of it and of the files it names at once."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from setout.errors import Fault, PlanFaults, SetoutError
from setout.planfile import Plan, parse_plan
from setout.planfile.options import options_of
from setout.read import reference, survey
from setout.read.plants.entries import own_plants
from setout.read.plants.rates import own_rates
from setout.tables.catalogue import CatalogueEntry

MOST_SHOWN, MOST_PATH = 100, 400
"""Characters of a name and of a path that a message quotes."""


def read_plan_file(path: Path) -> Plan:
    """Read and check a plan file."""
    return read_with_mapping(path)[0]


def read_with_mapping(path: Path) -> tuple[Plan, dict[str, Any], Mapping[str, CatalogueEntry]]:
    """Read and check a plan file, and return beside the plan what it was made from."""
    mapping = mapping_of(path)
    faults: list[Fault] = []
    plan = None
    own, own_faults = own_plants(mapping, path)
    rates, rate_faults = own_rates(mapping, path)
    try:
        plan = parse_plan(mapping, path.name, own, rates)
        options_of(plan, mapping, path.name, own)
    except PlanFaults as error:
        faults += error.faults
    faults += (*own_faults, *rate_faults)
    faults += _missing_files(mapping, path)
    if faults:  # what is wrong inside the files is told together with what is wrong in this one
        faults += survey.file_faults(mapping.get("site"), tuple(references(mapping)), path.parent)
    if faults or plan is None:
        raise PlanFaults(tuple(faults))
    named = plan if plan.name else plan.model_copy(update={"name": path.stem.replace("_", " ")})
    return named, mapping, own


def read_own_plants(path: Path) -> tuple[dict[str, CatalogueEntry], str]:
    """Read what a plan file adds to the catalogue or changes in it, whatever else it holds."""
    mapping = mapping_of(path)
    found, faults = own_plants(mapping, path)
    faults += tuple(fault for fault in _missing_files(mapping, path) if fault.where.endswith(": catalogue"))
    if faults:
        raise PlanFaults(faults)
    return found, "si" if mapping.get("units") == "si" else "us"


def mapping_of(path: Path) -> dict[str, Any]:
    """Return what the TOML file holds; SetoutError where it cannot be read as TOML."""
    where = str(path)
    try:
        if path.is_dir():
            raise SetoutError("is a folder, not a plan file", where, 'name the .toml file in it, such as "plan.toml"')
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise SetoutError("there is no such plan file", where, 'check the path, or write one with "setout new"') from None
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise SetoutError(
            f"is not text in UTF-8 (line {line})",
            where,
            "a plan file is a TOML text file; if this is one, save it with the encoding UTF-8 in your text editor",
        ) from None
    except OSError as error:
        raise SetoutError(f"cannot be read ({error.strerror})", where, "check the path and its permissions") from None
    if not text.strip():
        raise SetoutError("the plan file is empty", where, 'write one with "setout new"')
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SetoutError(f"the text is not TOML: {error}", where, _toml_remedy(text, str(error))) from None
    except (ValueError, RecursionError):  # a number of thousands of digits, brackets in thousands
        raise SetoutError("the text cannot be read as TOML", where, 'write a plan file with "setout new"') from None


def _toml_remedy(text: str, said: str) -> str:
    """Return what mends a text that is not TOML."""
    number = re.search(r"line (\d+)", said)
    line = (text.splitlines() or [""])[min(int(number[1]), text.count("\n") + 1) - 1] if number else ""
    if set(line) & set("\u201c\u201d\u201e\u2018\u2019"):
        return 'write straight quotes, "...", not the curly ones of a word processor'
    if "twice" in said or "overwrite" in said:
        return "put the two together; tables of which there are several have two brackets, such as [[setback]]"
    if "escape" in said:
        return 'write folders with "/", such as "survey/boundary.gpkg"; a backslash has another meaning in double quotes'
    return f'look at "{line.strip()[:60]}"; texts stand in double quotes, tables in brackets'


def references(mapping: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield (key, text) of every survey file that a plan file names, whatever else is wrong with it."""
    site = _table(mapping.get("site"))
    yield from _texts("site.boundary", site.get("boundary"))
    yield from _texts("site.dem", site.get("dem"))
    for name in ("setback", "no_plant", "height_limit", "left_out", "shade"):
        for number, section in enumerate(_tables(mapping.get(name)), 1):
            if section.get("from") != "boundary" or name != "setback":
                yield from _texts(f"{name}[{number}].from", section.get("from"))
    water = _table(mapping.get("water"))
    for key in ("points", "barriers", "sleeves", "climate"):
        yield from _texts(f"water.{key}", water.get(key))
    yield from _texts("catalogue", mapping.get("catalogue"))
    yield from _texts("labour", mapping.get("labour"))
    for number, block in enumerate(_tables(mapping.get("block")), 1):
        for key in ("area", "line", "points", "yard"):
            yield from _texts(f"block[{number}].{key}", block.get(key))
        direction = block.get("direction")
        if isinstance(direction, str) and direction.startswith("guide:"):
            yield f"block[{number}].direction", direction.removeprefix("guide:")


def _missing_files(mapping: Mapping[str, Any], path: Path) -> Iterator[Fault]:
    for key, text in references(mapping):
        where = f"{path.name}: {key}"
        try:
            file = reference.parse(text, path.parent).path
        except SetoutError as error:
            yield from (Fault(f.what, where, f.remedy) for f in error.faults)
            continue
        if not reference.is_there(file):
            near = near_to(file)
            remedy = f"there are {', '.join(near)}" if near else "paths count from the plan file's folder"
            if "\\" in text or any(sign < " " for sign in text):
                remedy = 'write folders with "/", such as "survey/boundary.gpkg"'
            shown = text if len(text) <= MOST_SHOWN else f"{text[:MOST_SHOWN]}..."
            place = file if len(str(file)) <= MOST_PATH else f"of so long a name ({len(str(file)):,} characters)"
            yield Fault(f'"{shown}": there is no file {place}', where, remedy)


def near_to(file: Path) -> list[str]:
    """Return the names of files of the same kind beside one that is not there."""
    try:
        return sorted(p.name for p in file.parent.iterdir() if p.suffix == file.suffix)[:6] if file.parent.is_dir() else []
    except OSError:
        return []


def _table(value: Any) -> Mapping[str, Any]:
    return value if isinstance(value, Mapping) else {}


def _tables(value: Any) -> list[Mapping[str, Any]]:
    return [item for item in value if isinstance(item, Mapping)] if isinstance(value, list) else []


def _texts(key: str, value: Any) -> Iterator[tuple[str, str]]:
    if isinstance(value, str):
        yield key, value
    elif isinstance(value, list):
        for number, item in enumerate(value, 1):
            if isinstance(item, str):
                yield f"{key}[{number}]", item
