"""Stake-out files: PNEZD for a survey crew, GPX for a phone or handheld, and the note beside them.

PNEZD is point, northing, easting, elevation, description: northing comes before easting. All lengths of
that file, elevation too, are in the unit of the plane CRS; the note names it and gives its exact size,
since the two feet in use lie 2 parts per million apart, which is 15 ft at a state-plane easting of
7,600,000 ft.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from setout.errors import SetoutError
from setout.model.text import one_line
from setout.units import FOOT, US_SURVEY_FOOT
from setout.words.plan import no_formula

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from pyproj import CRS

    from setout.model import Floats, Frame, Ints

ROWS: Final = 20_000
GPX_NAMESPACE: Final = "http://www.topografix.com/GPX/1/1"
LONGEST_NAME: Final = 10
"""Letters of a waypoint's name that handhelds are usually content with (common practice)."""


@dataclass(frozen=True, slots=True)
class StakePoints:
    """Points to set out, as arrays of one length.

    Attributes
    ----------
    tree_id : full id of each point
    easting, northing : in the plane CRS and its unit
    elevation_m : ground elevation [m]; NaN where unknown
    lon, lat : WGS 84 [deg]
    description : what stands there, such as plant and variety
    """

    tree_id: Sequence[str]
    easting: Floats
    northing: Floats
    elevation_m: Floats
    lon: Floats
    lat: Floats
    description: Sequence[str]

    def __post_init__(self) -> None:
        """Check the lengths."""
        columns = {name: getattr(self, name) for name in self.__slots__}
        lengths = {name: len(values) for name, values in columns.items()}
        if len(set(lengths.values())) > 1:
            raise SetoutError(f"lengths differ: {lengths}", "stake-out points")
        for name in ("easting", "northing", "lon", "lat"):
            if not np.isfinite(columns[name]).all():
                raise SetoutError(f"{name} holds a value that is not finite", "stake-out points")

    def __len__(self) -> int:
        """Return the number of points."""
        return len(self.tree_id)

    def take(self, own: Ints) -> StakePoints:
        """Return some of the points, by their indices."""
        chosen = own.tolist()
        places = (self.easting[own], self.northing[own], self.elevation_m[own], self.lon[own], self.lat[own])
        return StakePoints([self.tree_id[k] for k in chosen], *places, [self.description[k] for k in chosen])


def plane_unit(crs: CRS) -> tuple[str, float]:
    """Return the linear unit of a plane CRS.

    >>> from pyproj import CRS
    >>> plane_unit(CRS.from_epsg(2263)) == ("US survey foot", 1200 / 3937), plane_unit(CRS.from_epsg(2269))
    (True, ('international foot', 0.3048))
    """
    flat = crs.sub_crs_list[0] if crs.is_compound else crs
    if not flat.is_projected:
        raise SetoutError(f'"{crs.name}" is not a plane CRS', "stake-out", "give a projected CRS")
    axis = flat.axis_info[0]
    size = float(axis.unit_conversion_factor)
    for name, exact in (("metre", 1.0), ("international foot", FOOT), ("US survey foot", US_SURVEY_FOOT)):
        if math.isclose(size, exact, rel_tol=1e-8):
            return name, exact
    return axis.unit_name, size


def cell_text(text: str) -> str:
    """Make text safe for a comma-separated file that may be opened in a spreadsheet.

    >>> cell_text("apple, semi-dwarf"), cell_text("=cmd|' /C calc'!A0")
    ('apple semi-dwarf', "'=cmd|' /C calc'!A0")
    """
    return no_formula(" ".join(re.sub('[,;"]', " ", one_line(text)).split()))


def write_pnezd(path: Path, trees: StakePoints, monuments: StakePoints, crs: CRS, *, header: bool = False) -> None:
    """Write a PNEZD file: the monuments first, so that a crew can check its set-up, then the trees."""
    name, size = plane_unit(crs)
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


def short_names(ids: Sequence[str]) -> list[str]:
    """Return names for waypoints: the ids if they are short, else at most 10 letters A-Z and digits.

    >>> short_names(["A-1-2", "A-1-3"])
    ['A-1-2', 'A-1-3']
    >>> short_names(["north field-1-11", "north field-11-1"])
    ['NORTHF0111', 'NORTHF1101']
    >>> short_names(["north field", "north meadow, upper end"])
    ['NORTHFIELD', 'P000000002']
    """
    plain = re.compile(rf"[A-Za-z0-9-]{{1,{LONGEST_NAME}}}")
    if all(plain.fullmatch(text) for text in ids) and len({text.upper() for text in ids}) == len(ids):
        return list(ids)
    split = [re.fullmatch(r"(.*)-(\d+)-(\d+)", text) for text in ids]
    widths = [max((len(m.group(g)) for m in split if m), default=1) for g in (2, 3)]
    blocks = _block_codes(dict.fromkeys(m.group(1) for m in split if m), LONGEST_NAME - sum(widths))
    names: list[str] = []
    taken: set[str] = set()
    for number, (text, m) in enumerate(zip(ids, split, strict=True), 1):
        name = f"{blocks[m.group(1)]}{m.group(2):0>{widths[0]}}{m.group(3):0>{widths[1]}}" if m else _letters(text)
        if len(name) > LONGEST_NAME or not name or name in taken:
            name = f"P{number:09d}"
        taken.add(name)
        names.append(name)
    return names


def _letters(text: str) -> str:
    return re.sub(r"[^A-Z0-9]", "", text.upper().encode("ascii", "ignore").decode())


def _block_codes(blocks: Sequence[str] | dict[str, None], room: int) -> dict[str, str]:
    """Give each block letters of its own that fit; numbered where names say the same when cut."""
    codes: dict[str, str] = {}
    for number, block in enumerate(blocks, 1):
        code = _letters(block)[: max(room, 0)]
        if not code or code in codes.values():
            code = f"{_letters(block)[: max(room - len(str(number)) - 1, 0)]}B{number}"
        codes[block] = code
    return codes


def write_gpx(
    path: Path, trees: StakePoints, name: str, *, monuments: StakePoints | None = None, names: Sequence[str] | None = None
) -> None:
    """Write waypoints as GPX 1.1, WGS 84, elevation in metres."""
    names = short_names(trees.tree_id) if names is None else names
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


def grid_to_ground(frame: Frame) -> float:
    """Return ground distance over grid distance at the site."""
    half = 50.0
    x, y = np.array([-half, half, 0.0, 0.0]), np.array([0.0, 0.0, -half, half])
    east, north = frame.to(frame.plane_crs, x, y)
    size = plane_unit(frame.plane_crs)[1]
    across = math.hypot(east[1] - east[0], north[1] - north[0]) * size
    along = math.hypot(east[3] - east[2], north[3] - north[2]) * size
    return 4 * half / (across + along)


def write_readme(path: Path, trees: StakePoints, monuments: StakePoints, frame: Frame) -> None:
    """Write the note that goes with the stake-out files: CRS, unit, factor, monuments and cautions."""
    name, size = plane_unit(frame.plane_crs)
    factor = grid_to_ground(frame)
    exact = {1.0: "1 m", FOOT: "0.3048 m exactly", US_SURVEY_FOOT: "1200/3937 m exactly, 0.3048006096 m"}
    authority = frame.plane_crs.to_authority(min_confidence=100)
    code = f" ({':'.join(authority)})" if authority else ""
    known = int(np.isfinite(trees.elevation_m).sum())
    decimals = 4 if size == 1.0 else 3
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
        f"Plane CRS     {frame.plane_crs.name}{code}",
        f"Unit          {name} = {exact.get(size, f'{size!r} m')}; northing, easting and elevation alike",
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
