"""What came back from the field, on file: layers for any GIS, and a page that a crew chief reads."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from markupsafe import Markup

from setout.draw.page import environment
from setout.layers import ASBUILT, CONTRACTS
from setout.layers.columns import Coded, Points, Segments, texts
from setout.layers.data import LayerData
from setout.layers.places import WGS84
from setout.model.asbuilt import STATUS_WORDS, WHOLE
from setout.units import show_length
from setout.words import plan
from setout.words.findings import Told, all_told
from setout.write.asbuilt import picture
from setout.write.geopackage import writer

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from setout.model import Floats, Ints, Planting
    from setout.model.asbuilt import AsBuilt, SetUp

MOST = 200
"""Findings of one kind told one by one; the layer findings holds all."""
SEEN = ("nearest_m", "crowding", "overlap_m", "room_m", "slope_pct", "run_m", "pressure_kpa", "sun_h")


@dataclass(frozen=True, slots=True)
class Return:
    """What came back, with the plan that it is held to.

    Attributes
    ----------
    planting : the plan
    true : the plan with its trees where they stand
    built : the match
    order : surveyed positions in the order of the true trees
    labels : what each surveyed position is called
    source : the surveyed file, as it was named
    """

    planting: Planting
    true: Planting
    built: AsBuilt
    order: Ints
    labels: tuple[str, ...]
    source: str


def write_layers(path: Path, back: Return) -> None:
    """Write trees as they stand, planned places, offsets, findings and the set-up as layers."""
    frame = back.planting.site.frame
    writer.write(path, _layers(back), frame.survey_crs)


def _layers(back: Return) -> Iterator[LayerData]:
    frame, built, planned = back.planting.site.frame, back.built, back.planting.trees
    yield _trees(back)
    status = np.full(len(planned), 0, np.int32)
    status[built.missing] = 1
    names = [block.name for block in back.planting.site.blocks]
    status[np.isin(planned.block, [names.index(name) for name in built.unsurveyed])] = 2
    if built.set_up.coarse:
        empty = np.ones(len(planned), bool)
        empty[built.place[built.place >= 0]] = False
        status[empty & (status == 0)] = 3
    x, y = frame.to(frame.survey_crs, planned.x, planned.y)
    columns: dict[str, Any] = {
        "tree_id": texts(map(str, back.planting.trees.ids)),
        "block": Coded(names, planned.block),
        "status": Coded(["planted", "missing", "not surveyed", "not judged"], status),
    }
    yield LayerData(ASBUILT["places"], columns, Points(x, y))
    held = np.flatnonzero(built.place >= 0)
    at = built.place[held]
    x1, y1 = frame.to(frame.survey_crs, built.points.x[held], built.points.y[held])
    columns = {
        "tree_id": texts([back.labels[k] for k in held.tolist()]),
        "offset_m": np.hypot(built.off_x, built.off_y)[held],
        "direction_deg": bearing(built.off_x, built.off_y)[held],
    }
    yield LayerData(ASBUILT["offsets"], columns, Segments(x[at], y[at], x1, y1))
    yield _findings(back)
    rows = figures(back)
    columns = {
        "figure": texts([row[0] for row in rows]),
        "value": np.array([row[1] for row in rows], float),
        "unit": texts([row[2] for row in rows]),
        "said": texts([row[3] for row in rows]),
    }
    yield LayerData(ASBUILT["set_up"], columns)


def bearing(x: Floats, y: Floats) -> Floats:
    """Return bearings of offsets, clockwise from true north [deg].

    >>> bearing(np.array([1.0, 0.0, -1.0]), np.array([0.0, -1.0, 0.0])).tolist()
    [90.0, 180.0, 270.0]
    """
    out: Floats = np.degrees(np.arctan2(x, y)) % 360.0
    return out


def _trees(back: Return) -> LayerData:
    built, frame, site = back.built, back.planting.site.frame, back.planting.site
    points, place, size = built.points, built.place, len(back.built.points)
    held = place >= 0
    planned, ids = back.planting.trees, back.labels
    names = [block.name for block in site.blocks]
    block = np.full(size, -1, np.int32)
    block[back.order] = back.true.trees.block
    kinds = [(b, p) for b, one in enumerate(site.blocks) for p in range(len(one.plants))]
    code = np.full(size, -1, np.int32)
    for number, (b, p) in enumerate(kinds):
        code[held & (planned.block[place] == b) & (planned.plant[place] == p)] = number
    plants = [site.blocks[b].plants[p] for b, p in kinds]
    x, y = frame.to(frame.survey_crs, points.x, points.y)
    lon, lat = frame.to(WGS84, points.x, points.y)
    east, north = frame.to(frame.plane_crs, points.x, points.y)
    columns: dict[str, Any] = {
        "tree_id": texts(map(str, ids)),
        "field_id": texts(map(str, points.name)),
        "status": Coded(list(STATUS_WORDS), built.status),
        "block": Coded(names, block),
        "row": np.where(held, planned.row[place], np.nan),
        "position": np.where(held, planned.position[place], np.nan),
        "plant": Coded([p.name for p in plants], code),
        "variety": Coded([p.variety for p in plants], code),
        "role": Coded([p.role for p in plants], code),
        "offset_m": np.hypot(built.off_x, built.off_y),
        "direction_deg": bearing(built.off_x, built.off_y),
        "east_m": built.off_x,
        "north_m": built.off_y,
        "own_offset_m": np.hypot(built.own_x, built.own_y),
        "own_direction_deg": bearing(built.own_x, built.own_y),
        "easting": east,
        "northing": north,
        "lon": lon,
        "lat": lat,
    }
    for name in SEEN:
        values = getattr(back.true.trees, name)
        columns[name] = None if values is None else _spread(np.asarray(values, float), back.order, size)
    planned_sun = back.planting.trees.sun_h
    columns["sun_planned_h"] = None if planned_sun is None else np.where(held, np.asarray(planned_sun, float)[place], np.nan)
    codes = np.full(size, "", object)
    codes[back.order] = back.true.trees.findings
    columns["findings"] = codes
    return LayerData(ASBUILT["asbuilt"], columns, Points(x, y))


def _spread(values: Floats, order: Ints, size: int) -> Floats:
    """Bring values of the true trees back to the order of the surveyed file."""
    out = np.full(size, np.nan)
    out[order] = values
    return out


def _findings(back: Return) -> LayerData:
    import shapely

    frame = back.planting.site.frame
    found = all_told(back.true.findings, back.planting.site.units)
    shapes = np.empty(len(found), object)
    shapes[:] = [finding.geometry for finding in found]
    out = shapely.transform(shapes, lambda xy: np.column_stack(frame.to(frame.survey_crs, xy[:, 0], xy[:, 1])))
    names = ("code", "severity", "tree_id", "message", "measured", "required", "remedy")
    columns = {name: texts([getattr(finding, name) for finding in found]) for name in names}
    return LayerData(CONTRACTS["findings"], columns, out)


def figures(back: Return) -> list[tuple[str, float, str, str]]:
    """Return what is told of the set-out as a whole: figure, value, unit, words."""
    set_up, units = back.built.set_up, back.planting.site.units
    shift = math.hypot(set_up.shift_x, set_up.shift_y)
    way = float(bearing(np.array([set_up.shift_x]), np.array([set_up.shift_y]))[0])
    known, sure = math.isfinite(set_up.turn_sd_deg), set_up.by_names or not set_up.coarse
    off = np.hypot(back.built.off_x, back.built.off_y)
    off = off[np.isfinite(off)]
    middle, far = (float(np.percentile(off, q)) if len(off) else math.nan for q in (50, 95))
    return [
        ("surveyed trees", float(len(back.built.points)), "each", f"{len(back.built.points):,}"),
        ("planned trees", float(len(back.planting.trees)), "each", f"{len(back.planting.trees):,}"),
        *((word, float(back.built.counts.get(word, 0)), "each", f"{back.built.counts.get(word, 0):,}") for word in STATUS_WORDS),
        ("shift of the whole", shift if sure else math.nan, "m", _give(shift, set_up.shift_sd_m, units) if sure else "not known"),
        ("its direction", way if sure else math.nan, "deg", f"{way:.1f} deg from true north" if sure else "not known"),
        ("turn of the whole, clockwise", set_up.turn_deg if known else math.nan, "deg", _turn(set_up)),
        ("scale of the whole", set_up.scale if known else math.nan, "", _scale(set_up)),
        ("scatter of single trees", set_up.scatter_m, "m", f"{show_length(set_up.scatter_m, units)} in each coordinate"),
        ("middle offset", middle, "m", show_length(middle, units) if len(off) else ""),
        ("offset of 95 %", far, "m", f"at most {show_length(far, units)}" if len(off) else ""),
    ]


def _give(value: float, error: float, units: str) -> str:
    shown = show_length(value, units)
    return f"{shown}, give or take {show_length(2 * error, units)}" if math.isfinite(error) else f"{shown}, of few trees"


def _scale(set_up: SetUp) -> str:
    if not math.isfinite(set_up.scale_sd):
        return "not known"
    return f"{set_up.scale:.5f} times the plan, give or take {2 * set_up.scale_sd:.5f}"


def _turn(set_up: SetUp) -> str:
    if not math.isfinite(set_up.turn_sd_deg):
        return "not known of so few trees"
    return f"{set_up.turn_deg:+.3f} deg, give or take {2 * set_up.turn_sd_deg:.3f} deg"


def write_page(path: Path, back: Return) -> None:
    """Write the page: what became of the set-out, a picture of it, every finding with its remedy."""
    found = all_told(back.true.findings, back.planting.site.units)
    whole = [f for f in found if f.code in WHOLE]
    words = {
        "title": back.planting.site.name,
        "source": back.source,
        "figures": _figures(back),
        "whole": [_said(f) for f in whole],
        "how": _how(back),
        "set_up": [(name, said) for name, _, _, said in figures(back)[2 + len(STATUS_WORDS) :]],
        "picture": Markup(picture.picture(back.planting, back.built)),  # noqa: S704 - our own, its texts escaped there
        "blocks": _blocks(back),
        "groups": _groups(found, whole),
        "cautions": plan.CAUTIONS,
    }
    page = environment().get_template("asbuilt.html")
    path.write_text(page.render(words), "utf-8", newline="\n")


def _figures(back: Return) -> list[tuple[str, str]]:
    """Return the figures at the page's head: the whole first, for "in place" says nothing of it."""
    counts, set_up = back.built.counts, back.built.set_up
    out = [(f"{len(back.built.points):,}", "surveyed")]
    if set_up.systematic:
        shift = math.hypot(set_up.shift_x, set_up.shift_y)
        out.append((show_length(shift, back.planting.site.units), "the whole is off"))
    if set_up.coarse:
        return [*out, (f"{counts.get('not judged', 0):,}", "not judged: the survey is too coarse")]
    among = " among the others" if set_up.systematic else ""
    return [
        *out,
        (f"{counts.get('in place', 0):,}", f"in place{among}"),
        (f"{counts.get('missing', 0):,}", "missing"),
        (f"{counts.get('extra', 0) + counts.get('doubled', 0):,}", "extra or doubled"),
        (f"{counts.get('swapped', 0) + counts.get(STATUS_WORDS[3], 0):,}", "swapped"),
        (f"{counts.get('off its place', 0):,}", f"off their places{among}"),
    ]


def _how(back: Return) -> str:
    if back.built.set_up.coarse and back.built.set_up.by_names:
        return "Which tree is which was told by the names in the file alone."
    if back.built.set_up.by_names:
        return "Which tree is which was told by the names in the file, and then by where each stands."
    return "The file names no trees, or others: which tree is which was told by the pattern of them all."


def _said(finding: Told) -> dict[str, str]:
    return {name: getattr(finding, name) for name in ("code", "severity", "message", "measured", "required", "remedy")}


def _groups(found: tuple[Told, ...], whole: list[Told]) -> list[dict[str, Any]]:
    """Gather findings by what they are; all are in the layer findings."""
    groups: dict[tuple[str, str], list[Told]] = {}
    for finding in found:
        if finding not in whole:
            groups.setdefault((finding.severity, finding.code), []).append(finding)
    return [
        {
            "severity": severity,
            "title": code.replace("_", " ").capitalize(),
            "count": f"{len(own):,}",
            "remedy": own[0].remedy,
            "shown": [_said(f) for f in own[:MOST]],
            "more": max(len(own) - MOST, 0),
        }
        for (severity, code), own in groups.items()
    ]


def _blocks(back: Return) -> list[dict[str, str]]:
    built, planned, units = back.built, back.planting.trees, back.planting.site.units
    off = np.hypot(built.own_x, built.own_y)
    missing = np.bincount(planned.block[built.missing], minlength=len(back.planting.site.blocks))
    out = []
    for index, block in enumerate(back.planting.site.blocks):
        own = (built.place >= 0) & (planned.block[built.place] == index)
        here = off[own]
        out.append(
            {
                "name": block.name,
                "planned": f"{int((planned.block == index).sum()):,}",
                "found": f"{int(own.sum()):,}",
                "missing": "not surveyed" if block.name in built.unsurveyed else f"{int(missing[index]):,}",
                "middle": show_length(float(np.median(here)), units) if len(here) else "",
                "far": show_length(float(np.percentile(here, 95)), units) if len(here) else "",
            }
        )
    return out
