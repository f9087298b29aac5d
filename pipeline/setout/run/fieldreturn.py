"""Back from the field, in its order: names to trees, places to positions, and what the true positions do."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import shapely

from setout.errors import Refusal
from setout.model import Figure, Finding, Geometries, Ints, Planting, Trees
from setout.model.asbuilt import DOUBLED, AsBuilt, FieldPoints
from setout.model.staking import StakeSet
from setout.planfile import Plan
from setout.read.vector.fieldpoints import FieldFile
from setout.run.joints import columns_of, ground_by_block, room_columns
from setout.run.lighting import Stand, lighting
from setout.stages import check as look
from setout.stages import fieldreturn, room, water
from setout.words.grouped import codes_by_tree

ROOM_SHARE = 0.1
"""Share of a pattern's distance by which planted trees may stand nearer before it is told (common practice)."""
FAR_M = 50_000.0
"""A survey of these trees lies nearer to the property than this [m]; no set-out is ever so far off."""
MONUMENT_OFF = 0.05
"""How far a surveyed monument may be from the survey file's [m] before it is told."""
SUN_LOST = 0.5
"""Hours of sun a day that a tree has to lose before it is told [h]."""


@dataclass(frozen=True, slots=True)
class Field:
    """Surveyed positions in the frame: those of trees, and those of monuments by name."""

    points: FieldPoints
    block: tuple[str, ...]
    monuments: Mapping[str, tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Seen:
    """What the true positions are like.

    Attributes
    ----------
    built : the match
    order : surveyed positions that stand in a block, as the planting has them: by planned place, extra trees last
    planting : the plan with its trees where they truly stand
    labels : what each surveyed tree is called
    findings : everything that falls short
    """

    built: AsBuilt
    order: Ints
    planting: Planting
    labels: tuple[str, ...]
    findings: tuple[Finding, ...]


def planned_of(planting: Planting, stakes: StakeSet) -> fieldreturn.Planned:
    """Return the plan as the field is held to it."""
    trees = planting.trees
    words = [(k.plant, k.variety, k.role) for k in stakes.kinds]
    kinds = {word: number for number, word in enumerate(dict.fromkeys(words))}
    kind = np.array([kinds[word] for word in words], np.int64)[stakes.kind]
    ids = planting.trees.ids.astype(str)
    return fieldreturn.Planned(ids, trees.x, trees.y, trees.block.astype(np.int64), kind, stakes.blocks)


def field_of(planting: Planting, stakes: StakeSet, file: FieldFile) -> Field:
    """Take surveyed positions to the frame and find which planned trees their names mean."""
    x, y = planting.site.frame.of(file.crs, file.x, file.y)
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        k = int(np.flatnonzero(~(np.isfinite(x) & np.isfinite(y)))[0])
        raise Refusal("position_not_in_crs", n=k + 1, x=float(file.x[k]), y=float(file.y[k]), source=file.source)
    away = float(shapely.distance(planting.site.boundary, shapely.Point(np.median(x), np.median(y))))
    if away > FAR_M:
        raise Refusal("positions_far", away_km=away / 1000, source=file.source)
    means = {_key(name): k for k, name in enumerate(stakes.short)}
    means |= {_key(name): k for k, name in enumerate(stakes.trees.tree_id)}
    marks = {_key(name) for name in stakes.monuments.tree_id}
    own, names, tree = np.full(len(x), -1, np.int64), np.full(len(x), "", object), np.ones(len(x), bool)
    known = {}
    for k, said in enumerate(file.names):
        found = next((means[_key(word)] for word in said if _key(word) in means), -1)
        names[k] = next((word for word in said if word), "")
        own[k] = found
        if found < 0 and (file.kind[k].casefold() == "monument" or any(_key(word) in marks for word in said)):
            tree[k] = False
            known[str(names[k])] = (float(x[k]), float(y[k]))
    if not tree.any():
        raise Refusal("monuments_alone", source=file.source)
    kept = np.flatnonzero(tree)
    points = FieldPoints(names[kept], x[kept], y[kept], own[kept])
    return Field(points, tuple(file.block[k] for k in kept.tolist()), known)


def _key(text: str) -> str:
    """Return a name as it is compared: whatever its case and blanks, and what a CSV does to it."""
    return " ".join(text.replace(",", " ").replace(";", " ").replace('"', " ").split()).casefold()


def seen(the_plan: Plan, planting: Planting, stakes: StakeSet, shade: Any, field: Field, areas: Geometries) -> Seen:
    """Match surveyed positions to the plan and look at what they do to room, setbacks, water and light."""
    site = planting.site
    planned = planned_of(planting, stakes)
    built = fieldreturn.match(planned, field.points)
    labels = tuple(fieldreturn.label(planned, built, k) for k in range(len(field.points)))
    block = _blocks(planting, field, built, areas)
    order = _in_order(built, block)
    trees = _true_trees(planting, field.points, built, order, block)
    ids = np.array(labels)[order]
    trees = replace(trees, **columns_of(site, planting.ground, trees, planting.reach, ids)[0])
    roomy = room.room_of(site, trees, trees.known("nearest_m"), planting.rows, ground_m2=ground_by_block(site, planting.usable))
    trees = replace(trees, **room_columns(roomy))
    positions = look.Positions(ids, trees.block.astype(np.int64), trees.x, trees.y, trees, trees.partner)
    short = look.check(site, positions, look.Checks(planting.ground.max_slope, ROOM_SHARE), areas)
    outside = _nowhere(field.points, labels, block)
    trees = replace(trees, **_light(the_plan, planting, shade, trees))
    found = (*_monuments(planting, field), *fieldreturn.doubts(planned, built, site.monuments))
    if not built.set_up.coarse:  # else these would tell of the survey, and not of the trees
        found += (*outside, *short, *_sun_lost(planting, built, order, trees), *_beside_emitters(planting, built, labels))
    found = tuple(sorted(found, key=lambda finding: ("stop", "warn", "note").index(finding.severity)))
    trees = replace(trees, findings=codes_by_tree(ids, found))
    true = replace(planting, trees=_filled(planting.trees, built, order, trees), findings=found, irrigation=None, light=None)
    return Seen(built, order, true, labels, found)


def _blocks(planting: Planting, field: Field, built: AsBuilt, areas: Geometries) -> Ints:
    """Return the block of every surveyed tree: of its place, else the one it says, else the ground it stands on; -1 for none."""
    points = field.points
    block = np.full(len(points), -1, np.int64)
    held = built.place >= 0
    block[held] = planting.trees.block[built.place[held]]
    names = {b.name: k for k, b in enumerate(planting.site.blocks)}
    said = np.array([names.get(name, -1) for name in field.block], np.int64)
    block = np.where(block < 0, said, block)
    for index, area in enumerate(areas):
        block[(block < 0) & shapely.contains_xy(area, points.x, points.y)] = index
    return block


def _in_order(built: AsBuilt, block: Ints) -> Ints:
    """Return the positions that stand in a block, by planned place; those without one come last in their block."""
    there = np.flatnonzero(block >= 0)
    place = built.place[there]
    last = np.iinfo(np.int64).max
    return there[np.lexsort((np.where(place >= 0, place, last), block[there]))]


def _true_trees(planting: Planting, points: FieldPoints, built: AsBuilt, order: Ints, block: Ints) -> Trees:
    planned, place = planting.trees, built.place[order]
    held = place >= 0

    def of_place(values: Any, none: int) -> Any:
        return np.where(held, values[place], none).astype(np.int32)

    partner = np.full(len(order), -1, np.int32)
    if len(planned.partner):
        at = np.full(len(planned), -1, np.int64)
        at[place[held]] = np.flatnonzero(held)
        mate = planned.partner[place[held]]
        partner[held] = np.where(mate >= 0, at[mate], -1)
    return Trees(
        block[order].astype(np.int32),
        of_place(planned.row, 1),
        of_place(planned.position, 1),
        points.x[order],
        points.y[order],
        of_place(planned.plant, -1),
        partner,
    )


def _nowhere(points: FieldPoints, labels: tuple[str, ...], block: Ints) -> list[Finding]:
    """Name the trees that stand in no block at all."""
    return [
        Finding(
            "outside_block",
            "stop",
            tree_id=labels[k],
            geometry=shapely.Point(points.x[k], points.y[k]),
            figures={"kind": "every", "tree": labels[k]},
        )
        for k in np.flatnonzero(block < 0).tolist()
    ]


def _monuments(planting: Planting, field: Field) -> list[Finding]:
    """Compare surveyed monuments with those of the survey file."""
    corners, found = planting.site.monuments, []
    known = {f"bm{k + 1}": corner for k, corner in enumerate(corners)}
    for name, (x, y) in field.monuments.items():
        corner = known.get(_key(name))
        if corner is None:
            continue
        dx, dy = x - float(corner[0]), y - float(corner[1])
        away = float(np.hypot(dx, dy))
        if away > MONUMENT_OFF:
            off: dict[str, Figure] = {"monument": name, "off_m": away, "way": fieldreturn.direction(dx, dy), "most_m": MONUMENT_OFF}
            found.append(Finding("monument_off", "warn", geometry=shapely.Point(x, y), figures=off))
    return found


def _light(the_plan: Plan, planting: Planting, shade: Any, trees: Trees) -> dict[str, Any]:
    """Reckon the sun of the true positions, where the plan has it."""
    if planting.light is None or shade is None:
        return {}
    lit = lighting(the_plan, shade, Stand(planting.site, planting.ground, trees, planting.rows))
    return {name: values for name, values in lit.columns.items() if name in ("sun_h", "sun_am_h", "sun_pm_h")}


def _sun_lost(planting: Planting, built: AsBuilt, order: Ints, trees: Trees) -> list[Finding]:
    """Tell, block by block, how many trees have less sun where they stand than where they are planned."""
    planned, here = planting.trees.sun_h, trees.sun_h
    if planned is None or here is None:
        return []
    place = built.place[order]
    held = place >= 0
    lost = np.where(held, planned[place], np.nan) - here
    found = []
    for index, block in enumerate(planting.site.blocks):
        own = held & (planting.trees.block[place] == index) & (lost > SUN_LOST)
        if own.any():
            lack: dict[str, Figure] = {"block": block.name, "n": int(own.sum()), "lost_h": float(np.nanmax(lost[own])), "told_h": SUN_LOST}
            found.append(Finding("sun_lost", "note", figures=lack))
    return found


def _beside_emitters(planting: Planting, built: AsBuilt, labels: tuple[str, ...]) -> list[Finding]:
    """Judge the water of every surveyed tree, the lines taken to lie along the others: nearest emitter, zone, need met."""
    if planting.irrigation is None:
        return []
    place = np.maximum(built.place, 0)
    held = built.place >= 0
    x = np.where(held, planting.trees.x[place] + built.own_x, built.points.x)
    y = np.where(held, planting.trees.y[place] + built.own_y, built.points.y)
    found = water.coverage(planting.irrigation, planting.trees, x, y)
    if found is None:
        told = water.without_pipes(planting.irrigation, built.place, labels, (x, y))
    else:
        told = water.uncovered(planting.irrigation, found, labels, (x, y))
    doubled = {labels[k] for k in np.flatnonzero(built.status == DOUBLED).tolist()}
    return [finding for finding in told if finding.tree_id not in doubled]


def _filled(planned: Trees, built: AsBuilt, order: Ints, trees: Trees) -> Trees:
    """Return the true trees with every column: looked up anew where that can be, else as planned; unknown for extra trees."""
    place = built.place[order]
    held = place >= 0
    out: dict[str, Any] = {}
    for column in fields(planned):
        array = getattr(planned, column.name)
        if array is None or getattr(trees, column.name) is not None:
            continue
        taken = array[place]
        blank: Any = {"f": np.nan, "i": -1, "b": False}.get(array.dtype.kind, "")
        out[column.name] = np.where(held, taken, blank) if array.dtype.kind in "fib" else np.where(held, taken.astype(object), blank)
    return replace(trees, **out)
