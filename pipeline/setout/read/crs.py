"""Which CRS and unit the coordinates of a survey file are in, and whether the coordinates agree.

A file that does not say is refused unless the plan file says it; a file whose coordinates contradict what
it says is refused too. The area of use that the EPSG register gives each CRS is the measure, with generous
slack.
"""

from __future__ import annotations

import numpy as np
from pyproj import CRS
from pyproj.exceptions import CRSError

from setout.errors import SetoutError
from setout.model import Finding, Floats, transformer
from setout.units import FOOT, LENGTH, US_SURVEY_FOOT

SLACK_DEG = 5.0
"""How far outside its CRS's area of use a survey may lie [deg]; zones are used past their edge."""
SLIP_M = 1000.0
"""Two CRS that put the same numbers nearer together than this [m] are a slip: a foot, a datum."""
AGREE_M = 1e-3
"""Two CRS that put the same numbers nearer together than this [m] are the same for a survey."""
LEAST_UNIT, MOST_UNIT = 1e-7, 1e5
"""Units of coordinates are between these [m or rad]: a tenth of a second of arc and a hundred kilometres are outside."""
GEODETIC = CRS.from_epsg(4326)
SAY_CRS = 'write site.crs = "EPSG:..." in the plan file, as the survey names it'
DEGREES = "longitudes are within 180, latitudes within 90 degrees; see that they are not swapped"

Box = tuple[float, float, float, float]


def understood(text: str | None, source: str = "") -> CRS | None:
    """Read the CRS that a file says, its horizontal part.

    >>> understood("EPSG:6349").to_epsg(), understood('LOCAL_CS["site grid",UNIT["metre",1]]')
    (6318, None)
    """
    if not text or "undefined" in text[:80].lower():
        return None
    try:
        crs = horizontal(CRS.from_user_input(text))
    except CRSError:
        raise SetoutError(f'its CRS "{text[:60]}" is not understood', source, SAY_CRS) from None
    if crs.is_engineering or "undefined" in crs.name.lower():
        return None
    if crs.is_geocentric:
        raise SetoutError(f"{crs.name} is geocentric", source, "give the survey in geographic or plane coordinates")
    if crs.is_vertical:
        raise SetoutError(f"{show(crs)} is for heights alone", source, SAY_CRS)
    factors = [float(axis.unit_conversion_factor) for axis in crs.axis_info]
    if not all(LEAST_UNIT <= factor <= MOST_UNIT for factor in factors):
        sizes = ", ".join(f'"{axis.unit_name}" of {axis.unit_conversion_factor:g}' for axis in crs.axis_info)
        raise SetoutError(f"its CRS counts in units that cannot be ({sizes})", source, SAY_CRS)
    return crs


def horizontal(crs: CRS) -> CRS:
    """Return the horizontal, two-dimensional part of a CRS."""
    while crs.is_compound:
        crs = crs.sub_crs_list[0]
    return crs.to_2d() if len(crs.axis_info) == 3 and not crs.is_geocentric else crs


def show(crs: CRS) -> str:
    """Name a CRS for people: code if it has one, name, unit.

    >>> show(CRS.from_epsg(2263))
    'EPSG:2263 (NAD83 / New York Long Island (ftUS), US survey foot)'
    """
    authority = crs.to_authority(min_confidence=100)
    unit = crs.axis_info[0].unit_name if crs.axis_info else "unit unknown"
    return f"{':'.join(authority)} ({crs.name}, {unit})" if authority else f"{crs.name} ({unit})"


def unit_m(crs: CRS) -> float | None:
    """Return the length of a plane CRS's unit [m]; None for degrees.

    The two feet are exact, whatever digits the CRS's text carries.

    >>> unit_m(CRS.from_epsg(2263)) == 1200 / 3937, unit_m(CRS.from_epsg(6559)), unit_m(CRS.from_epsg(4326))
    (True, 0.3048, None)
    """
    if crs.is_geographic or not crs.axis_info:
        return None
    factor = float(crs.axis_info[0].unit_conversion_factor)
    for exact in (FOOT, US_SURVEY_FOOT, 1.0):
        if abs(factor / exact - 1) < 1e-9:
            return exact
    return factor


def scale_to(crs: CRS, unit: str, source: str) -> float:
    """Return the factor from coordinates in a unit of length to the CRS's own unit.

    >>> scale_to(CRS.from_epsg(2263), "US survey ft", ""), scale_to(CRS.from_epsg(26918), "ft", "")
    (1.0, 0.3048)
    """
    length = metres(unit, source)
    own = unit_m(crs)
    if own is None:
        raise SetoutError(
            f'coordinates in "{unit}" cannot be in {show(crs)}, which is in degrees', source, "name the plane CRS of the survey in site.crs"
        )
    factor = length / own
    return 1.0 if abs(factor - 1) < 1e-12 else factor


def metres(unit: str, source: str) -> float:
    """Return the length of a unit [m], exact for both feet; SetoutError when it is no unit of length."""
    key = " ".join(unit.lower().replace("_", " ").split())
    if key not in LENGTH:
        raise SetoutError(f'"{unit}" is no unit of length', source, 'write "m", "ft" or "US survey ft"')
    return LENGTH[key]


def foot_doubt(crs: CRS, unit: str, box: Box, source: str) -> tuple[Finding, ...]:
    """Say how far the US survey foot of a CRS would move coordinates whose file says just "feet"."""
    if unit_m(crs) != US_SURVEY_FOOT or abs(metres(unit, source) / FOOT - 1) > 1e-12:
        return ()
    reach = max(abs(v) for v in box) * US_SURVEY_FOOT
    shift = reach * (1 - FOOT / US_SURVEY_FOOT)
    if shift < 0.01:
        return ()
    return (
        Finding(
            "foot_kind",
            "warn",
            f"{source}: coordinates in feet were taken as international feet, as written; "
            f"{show(crs)} counts in US survey feet, which would put the survey up to {shift:.2f} m elsewhere",
            f"{shift:.2f} m",
            "0.01 m",
            'ask the surveyor; if they are US survey feet, write site.unit = "US survey ft"',
        ),
    )


def misfit(crs: CRS, box: Box) -> str:
    """Say why coordinates cannot be in a CRS.

    >>> misfit(CRS.from_epsg(4326), (723368.1, 875925.8, 728717.6, 881321.0))
    'coordinates reach (728717.6, 881321), which are no degrees of EPSG:4326 (WGS 84, degree)'
    >>> misfit(CRS.from_epsg(2263), (-74.01, 40.70, -74.00, 40.71))
    'coordinates such as (-74.005, 40.705) look like degrees, but EPSG:2263 (...) is a plane CRS'
    """
    xs, ys = _samples(box)
    if crs.is_geographic:
        turn = np.degrees(crs.axis_info[0].unit_conversion_factor)
        lon, lat = xs * turn, ys * turn
        if np.any(np.abs(lon) > 360.0) or np.any(np.abs(lat) > 90.0 + 1e-9):
            return f"coordinates reach {_far(box)}, which are no degrees of {show(crs)}"
    else:
        lon, lat = transformer(crs, GEODETIC).transform(xs, ys)
        if not np.all(np.isfinite(lon) & np.isfinite(lat)):
            return f"coordinates reach {_far(box)}, where {show(crs)} does not exist"
    lon, lat = np.asarray(lon, float), np.asarray(lat, float)
    if not crs.is_geographic and _like_degrees(crs, xs, ys, lon, lat):
        such = f"coordinates such as ({xs[0]:.8g}, {ys[0]:.8g})"
        return f"{such} look like degrees, but {show(crs)} is a plane CRS"
    if _used_near(crs, lon, lat, SLACK_DEG):
        return ""
    west, south, east, north = crs.area_of_use.bounds if crs.area_of_use else (0.0, 0.0, 0.0, 0.0)
    return (
        f"coordinates such as ({xs[0]:.8g}, {ys[0]:.8g}) put it at latitude {lat[0]:.2f}, "
        f"longitude {lon[0]:.2f}, but {show(crs)} "
        f"is for latitudes {south:g} to {north:g}, longitudes {west:g} to {east:g}"
    )


def settle(source: str, own: CRS | None, plan: CRS | None, box: Box, *, standard: bool) -> tuple[CRS, tuple[Finding, ...]]:
    """Settle the CRS of a file between what it says, what the plan file says and what its coordinates allow."""
    if own is None and plan is None:
        raise SetoutError("does not say its CRS", source, SAY_CRS)
    if own is None or plan is None:
        crs = own or plan
        assert crs is not None
        if fault := misfit(crs, box):
            remedy = SAY_CRS if own is not None else "mend site.crs in the plan file"
            raise SetoutError(fault, source, DEGREES if standard else remedy)
        return crs, ()
    if fault := misfit(own, box):
        if misfit(plan, box):
            raise SetoutError(fault, source, "find out the CRS of the survey; neither the file nor site.crs fits")
        message = f"{source}: {fault}; taken as {show(plan)}, as the plan file says"
        return plan, (Finding("crs_from_plan", "warn", message, "", "", "write the file again with its right CRS"),)
    return own, () if standard else _compare(source, own, plan, box)


def _compare(source: str, own: CRS, plan: CRS, box: Box) -> tuple[Finding, ...]:
    apart = _apart(own, plan, box)
    if apart < AGREE_M:
        return ()
    both = f"it says {show(own)}, the plan file says {show(plan)}"
    if apart < SLIP_M:
        raise SetoutError(
            f"{both}: the same numbers lie {apart:.3f} m apart under the two",
            source,
            "find out which the survey was made in; then mend the file or site.crs",
        )
    remedy = "nothing, if the file is right; site.crs is for files that do not say"
    return (Finding("crs_own", "note", f"{source}: {both}; the file's own was used", "", "", remedy),)


def _apart(one: CRS, two: CRS, box: Box) -> float:
    """Return how far apart two CRS put the same numbers [m]; inf when they cannot be compared."""
    xs, ys = _samples(box)
    there = transformer(one, two).transform(xs, ys)
    if not np.all(np.isfinite(there)):
        return float("inf")
    unit = unit_m(two) or 111_320.0
    return float(np.max(np.hypot(there[0] - xs, there[1] - ys))) * unit


def _samples(box: Box) -> tuple[Floats, Floats]:
    """Return the middle and the corners of a box."""
    x0, y0, x1, y1 = box
    return np.array([(x0 + x1) / 2, x0, x1, x1, x0]), np.array([(y0 + y1) / 2, y0, y0, y1, y1])


def _far(box: Box) -> str:
    x = max(box[0], box[2], key=abs)
    y = max(box[1], box[3], key=abs)
    return f"({x:.7g}, {y:.7g})"


def _like_degrees(crs: CRS, xs: Floats, ys: Floats, lon: Floats, lat: Floats) -> bool:
    """Tell whether plane coordinates are degrees: small numbers that lie in the area of use as such."""
    if crs.area_of_use is None or np.any(np.abs(xs) > 360.0) or np.any(np.abs(ys) > 90.0):
        return False
    return _used_near(crs, xs, ys, 0.0) or not _used_near(crs, lon, lat, 0.5)


def _used_near(crs: CRS, lon: Floats, lat: Floats, slack: float) -> bool:
    """Tell whether any place lies within the CRS's area of use and slack; yes when none is registered."""
    area = crs.area_of_use
    if area is None:
        return True
    west, south, east, north = area.bounds
    span = (east - west) % 360.0 or 360.0
    along = (lon - west + slack) % 360.0 <= span + 2 * slack
    if span + 2 * slack >= 360.0:
        along = np.ones_like(lon, bool)
    return bool(np.any(along & (lat >= south - slack) & (lat <= north + slack)))
