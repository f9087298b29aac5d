"""What a set-out falls short of: the whole of it, and tree by tree."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import shapely

from setout.geometry.places.rigid import Rigid
from setout.model import Figure, Finding, Floats, Severity
from setout.model.asbuilt import DOUBLED, EXTRA, MISPLACED, OFF_PLACE, SWAPPED, AsBuilt, SetUp
from setout.stages.fieldreturn.matching import Planned

NEAR_MONUMENT = 3.0
"""A turn about a point nearer to a monument than this is a turn about the monument [m]."""


def doubts(planned: Planned, built: AsBuilt, monuments: Floats) -> tuple[Finding, ...]:
    """Say what a set-out falls short of."""
    return (*_whole(built.set_up, monuments), *_unsurveyed(built), *_missing(planned, built), *_trees(planned, built))


def direction(dx: float, dy: float) -> str:
    """Return a direction as a quadrant bearing from true north.

    >>> direction(1.0, 1.0), direction(-1.0, 0.0), direction(0.2, -1.0), direction(0.0, 2.0)
    ('N 45 E', 'W', 'S 11 E', 'N')
    """
    angle = round(math.degrees(math.atan2(abs(dx), abs(dy))))
    north, east = ("N" if dy >= 0 else "S"), ("E" if dx >= 0 else "W")
    return {0: north, 90: east}.get(angle, f"{north} {angle} {east}")


def _whole(set_up: SetUp, monuments: Floats) -> Iterator[Finding]:
    place = shapely.Point(set_up.about_x, set_up.about_y)
    if set_up.coarse:
        yield _coarse(set_up, place)
    if not set_up.by_names and math.isfinite(set_up.rival_m):
        yield Finding("set_up_unsure", "warn", geometry=place, figures={"rival_m": set_up.rival_m})
    if set_up.scaled:
        scale = {"scale": set_up.scale, "give_or_take": 2 * set_up.scale_sd}
        yield Finding("scale_off", "warn", geometry=place, figures=scale)
    if not (set_up.shifted or set_up.turned):
        return
    figures: dict[str, Figure] = {
        "kind": "turned" if set_up.turned else "shifted",
        "shift_m": math.hypot(set_up.shift_x, set_up.shift_y),
        "way": direction(set_up.shift_x, set_up.shift_y),
    }
    if set_up.turned:
        figures |= {"turn_deg": abs(set_up.turn_deg), "sense": "clockwise" if set_up.turn_deg > 0 else "counter_clockwise"}
        figures["pivot"] = _pivot(set_up, monuments)
    yield Finding("systematic_shift", "warn", geometry=place, figures=figures)


def _coarse(set_up: SetUp, place: shapely.Point) -> Finding:
    """Say that single trees cannot be judged, and what can be said all the same."""
    figures: dict[str, Figure] = {"kind": "unnamed", "scatter_m": set_up.scatter_m, "apart_m": set_up.apart_m}
    if set_up.by_names:
        figures |= {"kind": "named", "sure_m": 2 * set_up.shift_sd_m}
    return Finding("survey_coarse", "warn", geometry=place, figures=figures)


def _pivot(set_up: SetUp, monuments: Floats) -> str:
    """Return the name of the monument that the set-out turns about; empty where it is none."""
    if not len(monuments) or not math.isfinite(set_up.pivot_x):
        return ""
    away = np.hypot(monuments[:, 0] - set_up.pivot_x, monuments[:, 1] - set_up.pivot_y)
    nearest = int(np.argmin(away))
    return f"BM{nearest + 1}" if away[nearest] < NEAR_MONUMENT else ""


def _unsurveyed(built: AsBuilt) -> Iterator[Finding]:
    for name in built.unsurveyed:
        yield Finding("not_surveyed", "note", figures={"block": name})


def _missing(planned: Planned, built: AsBuilt) -> Iterator[Finding]:
    for k in built.missing.tolist():
        name = str(planned.tree_id[k])
        place = shapely.Point(planned.x[k], planned.y[k])
        yield Finding("missing", "stop", tree_id=name, geometry=place, figures={"tree": name})


def _trees(planned: Planned, built: AsBuilt) -> Iterator[Finding]:
    points, order = built.points, {DOUBLED: 0, SWAPPED: 1, MISPLACED: 1, EXTRA: 2, OFF_PLACE: 3}
    status = built.status.tolist()
    told = sorted((k for k, code in enumerate(status) if code in order), key=lambda k: (order[status[k]], k))
    for k in told:
        where = shapely.Point(points.x[k], points.y[k])
        name = label(planned, built, k)
        code, severity, figures = _of_tree(planned, built, k, name)
        yield Finding(code, severity, tree_id=name, geometry=where, figures=figures)


def _of_tree(planned: Planned, built: AsBuilt, k: int, name: str) -> tuple[str, Severity, dict[str, Figure]]:
    """Return code, severity and figures of a surveyed tree that is not in its place."""
    at, status = int(built.place[k]), built.status[k]
    if status in (SWAPPED, MISPLACED):
        own = int(built.points.own[k])
        same = bool(planned.kind[own] == planned.kind[at])
        figures: dict[str, Figure] = {"kind": "alike" if same else "unlike"}
        return "swapped", "note" if same else "stop", figures | {"tree": str(planned.tree_id[own]), "at": str(planned.tree_id[at])}
    if status == DOUBLED:
        return "doubled", "stop", {"tree": name, "other": _beside(planned, built, k)}
    if status == EXTRA:
        return "extra", "stop", {"tree": name}
    off = float(built.own_x[k]), float(built.own_y[k])
    return "off_place", "warn", {"tree": name, "off_m": math.hypot(*off), "way": direction(*off)}


def _beside(planned: Planned, built: AsBuilt, k: int) -> str:
    """Return the planned tree whose place a surveyed one is nearest to."""
    set_up, points = built.set_up, built.points
    motion = Rigid(set_up.about_x, set_up.about_y, set_up.shift_x, set_up.shift_y, set_up.turn_deg)
    x, y = motion.back(points.x[k : k + 1], points.y[k : k + 1])
    return str(planned.tree_id[int(np.argmin(np.hypot(planned.x - x, planned.y - y)))])


def label(planned: Planned, built: AsBuilt, k: int) -> str:
    """Return what a surveyed tree is called: the planned tree whose place it has, else its own name, else its number."""
    at = int(built.place[k])
    return str(planned.tree_id[at]) if at >= 0 else str(built.points.name[k]) or f"#{k + 1}"
