"""Deed calls: a boundary told as bearings and distances from a point of beginning.

One call a line, or running text with "thence" before each::

    # the north field
    start N 500.00 E 2000.00      # in the unit of the CRS; "start lat 45.1 lon -122.9" works too
    unit ft                       # of distances that carry none
    crs EPSG:2269
    S 68-05-35 W 472.68
    N19°46'00"W 216.13 ft
    thence North 45 degrees 55 minutes 20 seconds East, a distance of 276.52 feet
    125.0125 382.24 ft            # an azimuth

Bearings are grid bearings of the CRS. Curves are refused: their chords can be given as calls.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from pyproj import CRS, Proj
from shapely.geometry import Polygon

from setout.errors import SetoutError
from setout.model import Finding, Floats, Severity, transformer
from setout.read.crs import GEODETIC, metres, misfit, show, understood, unit_m
from setout.read.deed.angles import coordinate
from setout.read.deed.calls import HOW, NUMBER, UNIT, Call, chunks, read_call, unit_name
from setout.read.found import Found, box_of, objects, text_of
from setout.units import FOOT, LENGTH

if TYPE_CHECKING:
    from pathlib import Path

BOUNDARY_RATIO = 10_000.0
"""Closure asked of a boundary survey, 1 in this (common practice for parcels)."""
LEAST_RATIO = 5_000.0
"""Least closure for general work, 1 in this (common practice for parcels)."""
OPEN_RATIO = 20.0
"""A traverse that misses its start by more than 1 in this is not closed: a call is wrong or missing."""

_HEADER = re.compile(r"^\s*(start|units?|crs)\b\s*[:=]?\s*(.*)$", re.IGNORECASE)
_START = re.compile(
    rf"\b(northing|easting|n|e)\b\s*[:=]?\s*"
    rf"(-?(?:{NUMBER}))\s*(?P<unit>{UNIT})?(?![A-Za-z\d])",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Deed:
    """What a text of calls says.

    Attributes
    ----------
    calls : the courses in order
    start : (easting, northing) of the point of beginning in ``start_unit``, or (lon, lat) [deg]; None if
    not said start_unit : its unit; "" for the CRS's own, "deg" for longitude and latitude crs : the CRS as
    written; None if not said unit : unit most distances are written in, to show results in home_unmeasured
    : the last course reads "to the point of beginning", without distance
    """

    calls: tuple[Call, ...]
    start: tuple[float, float] | None = None
    start_unit: str = ""
    crs: str | None = None
    unit: str = "ft"
    home_unmeasured: bool = False


@dataclass(frozen=True, slots=True)
class Traverse:
    """The calls computed; lengths in metres, one entry a call.

    Attributes
    ----------
    latitude_m, departure_m : north and east part of each course, as called
    easting_m, northing_m : each course's beginning, from the point of beginning; adjusted when asked
    miss_e_m, miss_n_m : by how much the last course misses the start; NaN when it is unmeasured
    perimeter_m : sum of the distances called
    adjusted : the misclosure was distributed by the compass rule
    """

    latitude_m: Floats
    departure_m: Floats
    easting_m: Floats
    northing_m: Floats
    miss_e_m: float
    miss_n_m: float
    perimeter_m: float
    adjusted: bool = False

    @property
    def misclosure_m(self) -> float:
        """Return how far the last course ends from the start [m]."""
        return math.hypot(self.miss_e_m, self.miss_n_m)

    @property
    def ratio(self) -> float:
        """Return perimeter over misclosure: 10,000 means 1 in 10,000; inf if perfect, NaN if unknown."""
        miss = self.misclosure_m
        return self.perimeter_m / miss if miss > 0 else math.inf if miss == 0 else math.nan

    @property
    def area_m2(self) -> float:
        """Return the area within the corners [m2], by coordinates."""
        e, n = self.easting_m, self.northing_m
        return float(abs(np.sum(e * np.roll(n, -1) - np.roll(e, -1) * n)) / 2)


def parse(text: str, unit: str | None = None, source: str = "deed") -> Deed:
    r"""Read a text of deed calls.

    >>> deed = parse("start N 500 E 2000\nS 68-05-35 W 472.68 ft\nthence due North 100 feet\n")
    >>> [(round(c.azimuth_deg, 4), round(c.distance_m, 3)) for c in deed.calls], deed.start
    ([(248.0931, 144.073), (0.0, 30.48)], (2000.0, 500.0))
    """
    lines = [line.split("#", 1)[0] for line in text.splitlines()]
    head = Deed(())
    default: str | None = None
    body: list[tuple[int, str]] = []
    for number, line in enumerate(lines, 1):
        match = _HEADER.match(line)
        at = f"{source}: line {number}"
        if not match:
            body.append((number, line))
        elif match[1].lower() == "crs":
            head = replace(head, crs=match[2].strip())
        elif match[1].lower() == "start":
            head = _start(match[2], head, at)
        else:
            default = match[2].strip()
            metres(default, at)
    default = default or unit
    found = [read_call(chunk, number, default, source) for number, chunk in chunks(body, source)]
    calls = tuple(call for call, _ in found if call is not None)
    if len(calls) < 2:
        raise SetoutError(f"holds {len(calls)} calls; a boundary takes three or more", source, HOW)
    for (call, _), (number, _) in zip(found[:-1], chunks(body, source)[:-1], strict=True):
        if call is None:
            raise SetoutError("a call without distance is not the last", f"{source}: line {number}", HOW)
    shown = [used for _, used in found if used]
    most = max(dict.fromkeys(shown), key=shown.count, default="ft")
    return replace(head, calls=calls, unit=most, home_unmeasured=found[-1][0] is None)


def traverse(deed: Deed, adjust: bool = False) -> Traverse:  # noqa: FBT001, FBT002 - a deed is adjusted or not
    r"""Compute the corners of a deed's calls and how well they close.

    >>> square = parse("N 0 E 100 m\nN 90 E 100 m\nS 0 E 100 m\nN 90 W 99.9 m")
    >>> done = traverse(square, adjust=True)
    >>> round(done.misclosure_m, 3), round(done.ratio), done.easting_m.round(3).tolist()
    (0.1, 3999, [0.0, -0.025, 99.95, 99.925])
    """
    azimuth = np.radians([call.azimuth_deg for call in deed.calls])
    length = np.array([call.distance_m for call in deed.calls])
    latitude, departure = length * np.cos(azimuth), length * np.sin(azimuth)
    perimeter = float(length.sum())
    miss_e, miss_n = float(departure.sum()), float(latitude.sum())
    east, north = departure, latitude
    if deed.home_unmeasured:
        ends_e, ends_n = np.cumsum(east), np.cumsum(north)
        corners = np.concatenate([[0.0], ends_e]), np.concatenate([[0.0], ends_n])
        return Traverse(latitude, departure, *corners, math.nan, math.nan, perimeter)
    if adjust:
        east, north = departure - miss_e * length / perimeter, latitude - miss_n * length / perimeter
    corners = np.concatenate([[0.0], np.cumsum(east)[:-1]]), np.concatenate([[0.0], np.cumsum(north)[:-1]])
    return Traverse(latitude, departure, *corners, miss_e, miss_n, perimeter, adjust)


def read(
    path: Path, source: str, *, crs: CRS | None, unit: str | None, adjust: bool, start: tuple[float, float] | None
) -> tuple[Found, CRS]:
    """Read a file of deed calls as a polygon."""
    deed = parse(text_of(path, source), unit, source)
    place = _crs(deed, crs, source)
    scale = unit_m(place) or 1.0
    east, north = _placed(deed, place, start, source)
    done = traverse(deed, adjust)
    if done.ratio < OPEN_RATIO:
        raise SetoutError(
            f"the calls end {_length(done.misclosure_m, deed)} from where they began, in a perimeter of {_length(done.perimeter_m, deed)}",
            source,
            'look for a wrong or missing call; a last leg not given is written "to the point of beginning"',
        )
    corners = np.column_stack([east + done.easting_m / scale, north + done.northing_m / scale])
    if len(corners) < 3:
        raise SetoutError("two calls enclose no area", source, "a boundary takes three or more corners")
    shape = objects([Polygon(corners)])
    if fault := misfit(place, box_of(shape)):
        raise SetoutError(fault, source, "mend the start, or the CRS, or the unit of the start")
    findings = (*_closure(deed, done, source), *_grid_scale(place, (east, north), source))
    columns = {"corners": np.array([len(corners)]), "perimeter_m": np.array([done.perimeter_m])}
    return Found(shape, columns, place, findings=findings), place


def _start(text: str, head: Deed, at: str) -> Deed:
    parts = {m[1][0].lower(): m for m in _START.finditer(text)}
    plain = {key: float(m[2].replace(",", "")) for key, m in parts.items()}
    if {"n", "e"} <= plain.keys():
        named = {m["unit"] for m in parts.values() if m["unit"]}
        unit = unit_name(named.pop()) if len(named) == 1 else ""
        if named:
            raise SetoutError(f'"start {text.strip()}" mixes units', at, "give both numbers in one unit")
        return replace(head, start=(plain["e"], plain["n"]), start_unit=unit)
    degrees = re.search(r"\blat(?:itude)?\b[\s:=]*(.+?)[\s,;]*\blon(?:g|gitude)?\b[\s:=]*(.+)$", text.strip(), re.IGNORECASE)
    if degrees:
        try:
            lat, lon = coordinate(degrees[1].strip()), coordinate(degrees[2].strip())
        except ValueError as error:
            raise SetoutError(str(error), at, 'write "start lat 45.1 lon -122.9"') from None
        return replace(head, start=(lon, lat), start_unit="deg")
    raise SetoutError(f'"start {text.strip()}" is no point', at, 'write "start N 500.00 E 2000.00"')


def _crs(deed: Deed, plan: CRS | None, source: str) -> CRS:
    own = understood(deed.crs, source)
    if own is not None and plan is not None and not own.equals(plan, ignore_axis_order=True):
        raise SetoutError(f"it says {show(own)}, the plan file says {show(plan)}", source, "mend the line crs, or site.crs")
    place = own or plan
    if place is None:
        raise SetoutError("does not say its CRS", source, 'write a line "crs EPSG:..." in it, or site.crs in the plan file')
    if unit_m(place) is None:
        raise SetoutError(
            f"{show(place)} is in degrees; bearings and distances need a plane CRS",
            source,
            "name the state-plane or UTM zone that the deed's bearings refer to",
        )
    if {axis.direction for axis in place.axis_info} & {"west", "south"}:
        raise SetoutError(
            f"{show(place)} counts west or south, where bearings would come out mirrored",
            source,
            "name a CRS that counts east and north, and the start in it",
        )
    return place


def _placed(deed: Deed, crs: CRS, start: tuple[float, float] | None, source: str) -> tuple[float, float]:
    """Return the point of beginning in the CRS's unit."""
    if deed.start is None:
        if start is None:
            raise SetoutError(
                "the calls do not say where they begin",
                source,
                'write a line "start N ... E ..." in the file, or site.start = [easting, northing] in the '
                "plan file: a corner with known coordinates",
            )
        return start
    if deed.start_unit == "deg":
        x, y = transformer(GEODETIC, crs).transform(*deed.start)
        if not math.isfinite(x + y):
            raise SetoutError(f"the start {deed.start} is not in {show(crs)}", source, "mend the start or the CRS")
        return float(x), float(y)
    factor = LENGTH[deed.start_unit.lower()] / (unit_m(crs) or 1.0) if deed.start_unit else 1.0
    return deed.start[0] * factor, deed.start[1] * factor


def _closure(deed: Deed, done: Traverse, source: str) -> tuple[Finding, ...]:
    if math.isnan(done.ratio):
        message = f"{source}: the last leg is unmeasured, so how well the calls close is not known"
        return (Finding("deed_misclosure", "warn", message, "", "", "add bearing and distance of the last leg"),)
    severity: Severity = "note" if done.ratio >= BOUNDARY_RATIO else "warn" if done.ratio >= LEAST_RATIO else "stop"
    # A misclosure below a hundredth of a millimetre is the arithmetic's, not the survey's.
    shown = f"1:{done.ratio:,.0f}" if done.misclosure_m > 1e-5 else "perfect"
    rule = "; distributed by the compass rule" if done.adjusted else ""
    return (
        Finding(
            "deed_misclosure",
            severity,
            f"{source}: the calls miss their start by {_length(done.misclosure_m, deed, 3)} in "
            f"{_length(done.perimeter_m, deed)}, {shown}{rule}",
            shown,
            f"1:{BOUNDARY_RATIO:,.0f}",
            "" if severity == "note" else "look for a slip in the calls; a licensed surveyor settles where the line is",
        ),
    )


def _grid_scale(crs: CRS, at: tuple[float, float], source: str) -> tuple[Finding, ...]:
    """Say how grid and level distances differ at the start; refuse a CRS in which calls make no sense."""
    lon, lat = transformer(crs, crs.geodetic_crs or GEODETIC).transform(*at)
    factors = Proj(crs).get_factors(lon, lat)
    scale = float(factors.meridional_scale)
    if not math.isfinite(scale) or abs(scale - 1) > 0.002 or abs(float(factors.parallel_scale) - scale) > 1e-4:
        raise SetoutError(
            f"{show(crs)} stretches distances by {scale:.4f} there; calls cannot be laid out in it",
            source,
            "name the state-plane or UTM zone that the deed's bearings refer to, and the start in it",
        )
    if abs(scale - 1) < 2e-5:
        return ()
    message = (
        f"{source}: the calls were laid on the grid as they stand; the grid's scale there is {scale:.6f}, so "
        f"distances taped on the ground would come out {abs(1 / scale - 1) * 1e6:.0f} parts per million off"
    )
    return (Finding("deed_grid", "note", message, f"{scale:.6f}", "1", "ask whether the deed's distances are grid"),)


def _length(value_m: float, deed: Deed, digits: int = 2) -> str:
    unit = deed.unit if deed.unit in {"m", "ft", "US survey ft"} else "ft"
    return f"{value_m / LENGTH.get(unit.lower(), FOOT):,.{digits}f} {unit}"
