"""Stake-out files: PNEZD for a survey crew, GPX for a phone or handheld, and the note beside them.

PNEZD is point, northing, easting, elevation, description: northing comes before easting. All lengths of
that file, elevation too, are in the unit of the plane CRS; the note names it and gives its exact size,
since the two feet in use lie 2 parts per million apart, which is 15 ft at a state-plane easting of
7,600,000 ft.
"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Final

import numpy as np

from setout.errors import SetoutError
from setout.model.text import one_line
from setout.units import FOOT, US_SURVEY_FOOT
from setout.words.plan import no_formula

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from setout.model.staking import StakePoints, StakeSet

ROWS: Final = 20_000
GPX_NAMESPACE: Final = "http://www.topografix.com/GPX/1/1"


def cell_text(text: str) -> str:
    """Make text safe for a comma-separated file that may be opened in a spreadsheet.

    >>> cell_text("apple, semi-dwarf"), cell_text("=cmd|' /C calc'!A0")
    ('apple semi-dwarf', "'=cmd|' /C calc'!A0")
    """
    return no_formula(" ".join(re.sub('[,;"]', " ", one_line(text)).split()))


def write_pnezd(path: Path, trees: StakePoints, monuments: StakePoints, plane_unit: tuple[str, float], *, header: bool = False) -> None:
    """Write a PNEZD file in a unit of some name and size [m]: the monuments first, to check a set-up by, then the trees."""
    name, size = plane_unit
    if len(set(zip(monuments.easting.tolist(), monuments.northing.tolist(), strict=True))) < 2:
        raise SetoutError(f"{len(monuments)} boundary monuments given", path.name, "give two in different places")
    decimals = 4 if size == 1.0 else 3
    with path.open("w", encoding="utf-8", newline="") as file:
        if header:
            unit = name.replace(" ", "_")
            file.write(f"point,northing_{unit},easting_{unit},elevation_{unit},description\r\n")
        seen: set[str] = set()
        for points in (monuments, trees):
            for lines, names in _pnezd_lines(points, size, decimals):
                before = len(seen)
                seen.update(names)
                if len(seen) != before + len(names):
                    raise SetoutError("two points have the same name", path.name, "give every block its own name")
                file.write("".join(lines))


def _pnezd_lines(points: StakePoints, size: float, decimals: int) -> Iterator[tuple[list[str], list[str]]]:
    texts: dict[str, str] = {}  # few descriptions, many trees
    for start in range(0, len(points), ROWS):
        part = slice(start, start + ROWS)
        names = [cell_text(text) for text in points.tree_id[part]]
        raised = (np.asarray(points.elevation_m[part], float) / size).tolist()
        heights = [f"{z:.{decimals}f}" if math.isfinite(z) else "" for z in raised]
        notes = [texts.get(t) or texts.setdefault(t, cell_text(t)) for t in points.description[part]]
        columns = (names, points.northing[part].tolist(), points.easting[part].tolist(), heights, notes)
        rows = zip(*columns, strict=True)
        yield [f"{p},{n:.{decimals}f},{e:.{decimals}f},{z},{d}\r\n" for p, n, e, z, d in rows], names


def write_gpx(path: Path, trees: StakePoints, name: str, names: Sequence[str], *, monuments: StakePoints | None = None) -> None:
    """Write waypoints as GPX 1.1, WGS 84, elevation in metres."""
    with path.open("w", encoding="utf-8", newline="\n") as file:
        file.write('<?xml version="1.0" encoding="UTF-8"?>\n')
        file.write(f'<gpx xmlns="{GPX_NAMESPACE}" version="1.1" creator="setout">\n')
        file.write(f"<metadata><name>{xml(name)}</name>{_bounds(trees, monuments)}</metadata>\n")
        if monuments is not None:
            known = zip(monuments.lat.tolist(), monuments.lon.tolist(), monuments.tree_id, monuments.description, strict=True)
            file.write("".join(_monument(*row) for row in known))
        for start in range(0, len(trees), ROWS):
            part = slice(start, start + ROWS)
            places = [values[part].tolist() for values in (trees.lat, trees.lon, trees.elevation_m)]
            texts = [all_xml(values[part]) for values in (names, trees.tree_id, trees.description)]
            rows = zip(*places, *texts, strict=True)
            file.write("".join(_waypoint(*row) for row in rows))
        file.write("</gpx>\n")


def _waypoint(lat: float, lon: float, elevation: float, name: str, full: str, note: str) -> str:
    height = f"<ele>{elevation:.2f}</ele>" if math.isfinite(elevation) else ""
    described = f"<desc>{note}</desc>" if note else ""
    # the schema fixes the order: ele, name, cmt, desc, sym
    named = f"<name>{name}</name><cmt>{full}</cmt>"
    return f'<wpt lat="{lat:.8f}" lon="{lon:.8f}">{height}{named}{described}</wpt>\n'


def _monument(lat: float, lon: float, name: str, note: str) -> str:
    place, note = f'lat="{lat:.8f}" lon="{lon:.8f}"', xml(note)
    return f"<wpt {place}><name>{xml(name)}</name><cmt>{note}</cmt><desc>{note}</desc><type>monument</type></wpt>\n"


def _bounds(trees: StakePoints, monuments: StakePoints | None) -> str:
    known = [points for points in (trees, monuments) if points is not None and len(points)]
    if not known:
        return ""
    lat, lon = (np.concatenate([getattr(points, name) for points in known]) for name in ("lat", "lon"))
    low, high = (f'minlat="{lat.min():.8f}" minlon="{lon.min():.8f}"', f'maxlat="{lat.max():.8f}" maxlon="{lon.max():.8f}"')
    return f"<bounds {low} {high}/>"


def all_xml(texts: Sequence[str]) -> Sequence[str]:
    """Escape texts, which most of the time need none."""
    return texts if re.fullmatch(r"[\w .,:/()-]*", "".join(texts), re.ASCII) else [xml(text) for text in texts]


def xml(text: str) -> str:
    """Escape a text for XML 1.0; signs that it has no place for become blanks."""
    from xml.sax.saxutils import escape

    # XML 1.0 has no place for most control characters, not even escaped
    return escape(re.sub(r"[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", " ", text))


def write_readme(path: Path, stakes: StakeSet) -> None:
    """Write the note that goes with the stake-out files: CRS, unit, factor, monuments and cautions."""
    trees, monuments, size, factor, decimals = stakes.trees, stakes.monuments, stakes.size, stakes.factor, stakes.decimals
    exact = {1.0: "1 m", FOOT: "0.3048 m exactly", US_SURVEY_FOOT: "1200/3937 m exactly, 0.3048006096 m"}
    known = int(np.isfinite(trees.elevation_m).sum())
    lines = [
        "STAKE-OUT FILES",
        "",
        f"stakeout.csv  {len(monuments)} boundary monuments, then {len(trees)} trees, one a line:",
        "              point, northing, easting, elevation, description (PNEZD: northing first)",
        "points.csv    the same with a header: block, row, plant, plane coordinates, latitude and longitude",
        "control.csv   distances to measure before the first stake: from monument to monument, and a",
        "              baseline of every block, on the grid and on the ground",
        "stakeout.dxf  drawing, R2010, in the unit below: layers by block and plant, ids, rows, baselines",
        "trees.gpx     the trees as waypoints, WGS 84, elevation in metres; full tree id in the comment",
        "gpx/          the same by block, for receivers that hold few waypoints; names are unique over all",
        "trees.kml     by block and plant, WGS 84; trees.geojson: the same by RFC 7946, WGS 84",
        "lists.xlsx    work order, rows, plants to order, materials, zones and hours; each as .csv too",
        "",
        f"Plane CRS     {stakes.crs_label}",
        f"Unit          {stakes.unit} = {exact.get(size, f'{size!r} m')}; northing, easting and elevation alike",
        f"Elevation     ground, in the DEM's height system; {known} of {len(trees)} trees, else empty",
        f"Grid factor   ground distance = grid distance x {factor:.8f} ({(factor - 1) * 1e6:+.1f} ppm)",
        "              Coordinates are grid coordinates. Distances in the plan are level ground distances;",
        "              a tape laid on a slope reads more.",
        "",
        "BOUNDARY MONUMENTS: check at least two before setting any stake. Stop if they do not agree.",
    ]
    places = zip(monuments.tree_id, monuments.northing.tolist(), monuments.easting.tolist(), strict=True)
    lines += [f"  {cell_text(p):<8} N {n:.{decimals}f}   E {e:.{decimals}f}" for p, n, e in places]
    lines += [
        "",
        "CAUTIONS",
        "- Boundary corners here are those of the survey file, not a legal boundary survey. Where a line",
        "  matters, have it marked by a licensed surveyor.",
        "- Have buried utilities located and marked before digging (in the US call 811 two to three working",
        "  days ahead); dig by hand near the marks.",
        "- Keep machines, ladders and poles clear of overhead lines; ask the line's owner for the distance.",
        "- Keep machines off ground steeper than their makers allow.",
        "- Setbacks from wells, septic systems, water and roads follow the plan file. Local codes and",
        "  permits govern.",
        "- A phone or handheld (trees.gpx) is good to some metres: use it to find a tree, not to stake it.",
        "",
    ]
    path.write_text("\n".join(lines), encoding="utf-8", newline="\r\n")
