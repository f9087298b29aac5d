"""Other ways of planting a block: which of its keys an option changes, and the block that comes of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from setout.errors import Fault, PlanFaults
from setout.planfile.block import BlockSection
from setout.planfile.faults import parse_plan
from setout.planfile.model import Plan
from setout.tables import catalogue

KEPT = frozenset({"name", "block"})
"""Keys of an option that are its own and not its block's."""
GROUND = ("area", "line", "points", "yard")
"""Keys that name survey files: an option plants the ground of its block."""
FOLLOW = ("row_distance", "row_distance_max", "lines", "line_distance", "rows", "trellis", "bed", "fall")
"""Keys that say something of one pattern, and are left behind where an option brings another."""


@dataclass(frozen=True, slots=True)
class Option:
    """One other way of planting a block.

    Attributes
    ----------
    name : what it is called; unique
    index : which block it is for
    section : the whole block as the option has it
    said : what is different, as "step 8 ft, held_to 8 ft"
    """

    name: str
    index: int
    section: BlockSection
    said: str


def options_of(
    plan: Plan,
    mapping: Mapping[str, Any],
    where: str,
    own: Mapping[str, catalogue.CatalogueEntry] | None = None,
    given: Sequence[Mapping[str, Any]] | None = None,
) -> tuple[Option, ...]:
    """Return the options of a plan file."""
    raw = [dict(option) for option in (plan.option if given is None else given)]
    faults: list[Fault] = []
    found: list[Option] = []
    for number, option in enumerate(raw, 1):
        place = f"{where}: option[{number}]"
        index = _block_of(plan, option, place, faults)
        if index is None:
            continue
        said = _said(option)
        if not said:
            faults.append(Fault("changes nothing", place, 'write what is different, such as step = "12 ft"'))
            continue
        ground = [key for key in GROUND if key in option]
        if ground:
            what = f"names a survey file of its own ({', '.join(ground)}); an option plants the ground of its block"
            faults.append(Fault(what, place, "leave it out, or make it a block of its own"))
            continue
        block = _changed(mapping["block"][index], option)
        try:
            changed = parse_plan({**mapping, "block": [block], "option": []}, place, own)
        except PlanFaults as error:
            faults += [Fault(f.what, f.where.replace("block[1].", "").replace(": block[1]", ""), f.remedy) for f in error.faults]
            continue
        section = changed.block[0]
        if section.way == "guide" and plan.block[index].way != "guide":
            faults.append(Fault("an option brings no guide line of its own", place, "give it to a block of its own"))
            continue
        found.append(Option(str(option.get("name") or said), index, section, said))
    names = [option.name for option in found]
    for name in sorted({name for name in names if names.count(name) > 1}):
        faults.append(Fault(f'two options are called "{name}"', where, "give each a name of its own"))
    if faults:
        raise PlanFaults(tuple(faults))
    return tuple(found)


def steps_as_options(steps: Sequence[str], block: str | None) -> list[dict[str, Any]]:
    """Return a sweep of steps as options.

    >>> steps_as_options(["8 ft"], "A")
    [{'step': '8 ft', 'block': 'A'}]
    """
    return [{"step": step, **({"block": block} if block else {})} for step in steps]


def _block_of(plan: Plan, option: Mapping[str, Any], place: str, faults: list[Fault]) -> int | None:
    """Return the block that an option is for; None with a fault where it names none there is."""
    names = [block.name for block in plan.block]
    wanted = option.get("block")
    if wanted is None:
        if len(names) == 1:
            return 0
        shown = ", ".join(names[:12])
        faults.append(Fault("does not say which block it is for", place, f"add block = one of {shown}"))
        return None
    folded = [name.casefold() for name in names]
    if str(wanted).casefold() in folded:
        return folded.index(str(wanted).casefold())
    faults.append(Fault(f'there is no block "{wanted}"', place, f"the blocks are {', '.join(names[:12])}"))
    return None


def _said(option: Mapping[str, Any]) -> str:
    """Say what an option changes."""
    return ", ".join(f"{key.replace('_', ' ')} {_text(value)}" for key, value in option.items() if key not in KEPT)


def _text(value: Any) -> str:
    if isinstance(value, Mapping):
        return " ".join(f"{key} {_text(part)}" for key, part in value.items())
    if isinstance(value, list | tuple):
        return " and ".join(_text(part) for part in value)
    return str(value)


def _changed(block: Mapping[str, Any], option: Mapping[str, Any]) -> dict[str, Any]:
    """Return the keys of a block with those that an option changes."""
    new = {key: value for key, value in option.items() if key not in KEPT and key != "plant"}
    out = dict(block)
    if new.get("pattern", out.get("pattern")) != out.get("pattern"):
        out = {key: value for key, value in out.items() if key not in FOLLOW}
    out |= new
    if "plant" in option:
        first, *others = [dict(plant) for plant in out.get("plants") or [{}]]
        old = first.get("plant")
        out["plants"] = [plant | ({"plant": option["plant"]} if plant.get("plant") == old else {}) for plant in (first, *others)]
    return out
