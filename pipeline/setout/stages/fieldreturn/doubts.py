"""What a set-out falls short of, in words: the whole of it, and tree by tree."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import shapely

from setout.geometry.places.rigid import Rigid
from setout.model import Finding, Floats
from setout.model.asbuilt import DOUBLED, EXTRA, MISPLACED, OFF_PLACE, SWAPPED, AsBuilt, SetUp
from setout.stages.fieldreturn.matching import Planned
from setout.units import show_length

NEAR_MONUMENT = 3.0
"""A turn about a point nearer to a monument than this is a turn about the monument [m]."""


def doubts(planned: Planned, built: AsBuilt, monuments: Floats, units: str) -> tuple[Finding, ...]:
    """Say what a set-out falls short of."""
    return (*_whole(built.set_up, monuments, units), *_unsurveyed(built), *_missing(planned, built), *_trees(planned, built, units))


def direction(dx: float, dy: float) -> str:
    """Return a direction as a quadrant bearing from true north.

    >>> direction(1.0, 1.0), direction(-1.0, 0.0), direction(0.2, -1.0), direction(0.0, 2.0)
    ('N 45 E', 'W', 'S 11 E', 'N')
    """
    angle = round(math.degrees(math.atan2(abs(dx), abs(dy))))
    north, east = ("N" if dy >= 0 else "S"), ("E" if dx >= 0 else "W")
    return {0: north, 90: east}.get(angle, f"{north} {angle} {east}")


def _whole(set_up: SetUp, monuments: Floats, units: str) -> Iterator[Finding]:
    place = shapely.Point(set_up.about_x, set_up.about_y)
    if set_up.coarse:
        yield _coarse(set_up, place, units)
    if not set_up.by_names and math.isfinite(set_up.rival_m):
        away = show_length(set_up.rival_m, units)
        yield Finding(
            "set_up_unsure",
            "warn",
            f"the surveyed trees fit the plan as well {away} away: which tree is which cannot be told",
            away,
            "",
            "survey to the edge of a block, or give the trees their names",
            geometry=place,
        )
    if set_up.scaled:
        yield Finding(
            "scale_off",
            "warn",
            f"distances between the surveyed trees are {set_up.scale:.5f} times those planned",
            f"{set_up.scale:.5f}",
            f"1, give or take {2 * set_up.scale_sd:.5f}",
            "a scale comes of grid distances taken for ground distances, or of the wrong foot: measure between two monuments "
            "(control.csv has both)",
            geometry=place,
        )
    if not (set_up.shifted or set_up.turned):
        return
    shift = math.hypot(set_up.shift_x, set_up.shift_y)
    way = direction(set_up.shift_x, set_up.shift_y)
    moved = f"{show_length(shift, units)} to the {way}"
    turn = f"{abs(set_up.turn_deg):.3f} deg {'clockwise' if set_up.turn_deg > 0 else 'counter-clockwise'}"
    if set_up.turned:
        said = f"the whole set-out is turned {turn}; its middle lies {moved} of where it is planned{_pivot(set_up, monuments)}"
        remedy = "a turn comes of one wrong control point: measure the distances between the monuments again (control.csv)"
    else:
        said = f"the whole set-out lies {moved} of where it is planned"
        remedy = "a shift comes of a wrong control point, or of the wrong foot or coordinate system: check the set-up at two monuments"
    yield Finding("systematic_shift", "warn", said, moved if not set_up.turned else f"{moved}, {turn}", "none", remedy, geometry=place)


def _coarse(set_up: SetUp, place: shapely.Point, units: str) -> Finding:
    """Say that single trees cannot be judged, and what can be said all the same."""
    scatter, apart = show_length(set_up.scatter_m, units), show_length(set_up.apart_m, units)
    if set_up.by_names:
        known = f"the names tell which tree is which, and the shift of the whole is known to {show_length(2 * set_up.shift_sd_m, units)}"
    else:
        known = "without names neither which tree is which can be told, nor shift and turn of the whole, nor what is missing"
    return Finding(
        "survey_coarse",
        "warn",
        f"the survey is too coarse to judge single trees: positions scatter by {scatter} in each coordinate, "
        f"and trees stand {apart} apart; {known}",
        f"{scatter}",
        f"less than a fifth of {apart}",
        "survey again with an instrument good to a tenth of that distance before any tree is moved",
        geometry=place,
    )


def _pivot(set_up: SetUp, monuments: Floats) -> str:
    """Name the monument that the set-out turns about, if it is one."""
    if not len(monuments) or not math.isfinite(set_up.pivot_x):
        return ""
    away = np.hypot(monuments[:, 0] - set_up.pivot_x, monuments[:, 1] - set_up.pivot_y)
    nearest = int(np.argmin(away))
    return f"; it turns about monument BM{nearest + 1}, which is right" if away[nearest] < NEAR_MONUMENT else ""


def _unsurveyed(built: AsBuilt) -> Iterator[Finding]:
    for name in built.unsurveyed:
        yield Finding("not_surveyed", "note", f"block {name}: none of its trees was surveyed", "", "", "survey it too")


def _missing(planned: Planned, built: AsBuilt) -> Iterator[Finding]:
    for k in built.missing.tolist():
        name = str(planned.tree_id[k])
        place = shapely.Point(planned.x[k], planned.y[k])
        yield Finding(
            "missing", "stop", f"tree {name} is missing: nothing stands at its place", "", "", "plant it, or survey it", name, place
        )


def _trees(planned: Planned, built: AsBuilt, units: str) -> Iterator[Finding]:
    points, order = built.points, {DOUBLED: 0, SWAPPED: 1, MISPLACED: 1, EXTRA: 2, OFF_PLACE: 3}
    status = built.status.tolist()
    told = sorted((k for k, code in enumerate(status) if code in order), key=lambda k: (order[status[k]], k))
    for k in told:
        at, code = int(built.place[k]), status[k]
        where = shapely.Point(points.x[k], points.y[k])
        name = label(planned, built, k)
        if code in (SWAPPED, MISPLACED):
            own = int(points.own[k])
            same = planned.kind[own] == planned.kind[at]
            said = f"tree {planned.tree_id[own]} stands at the place of {planned.tree_id[at]}"
            remedy = "of one kind, so that only the tags need to change" if same else "change them back, or change the plan's plants"
            yield Finding("swapped", "note" if same else "stop", said, "", "", remedy, name, where)
        elif code == DOUBLED:
            said = f"the surveyed tree {name} stands where {_beside(planned, built, k)} has its place"
            yield Finding("doubled", "stop", said, "", "", "take one of the two out", name, where)
        elif code == EXTRA:
            said = f"the surveyed tree {name} stands where no tree is planned"
            yield Finding("extra", "stop", said, "", "", "take it out, or plan it", name, where)
        else:
            far = show_length(math.hypot(built.own_x[k], built.own_y[k]), units)
            way = direction(built.own_x[k], built.own_y[k])
            yield Finding(
                "off_place",
                "warn",
                f"tree {name} stands {far} to the {way} of its place among the others",
                far,
                "",
                "see whether its room is enough",
                name,
                where,
            )


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
