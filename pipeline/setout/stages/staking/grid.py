"""The plane grid that stakes are set in: its unit, and how much longer the ground is."""

from __future__ import annotations

import math

import numpy as np
from pyproj import CRS

from setout.errors import Refusal
from setout.model import Frame
from setout.units import FOOT, US_SURVEY_FOOT


def plane_unit(crs: CRS) -> tuple[str, float]:
    """Return the linear unit of a plane CRS.

    >>> from pyproj import CRS
    >>> plane_unit(CRS.from_epsg(2263)) == ("US survey foot", 1200 / 3937), plane_unit(CRS.from_epsg(2269))
    (True, ('international foot', 0.3048))
    """
    flat = crs.sub_crs_list[0] if crs.is_compound else crs
    if not flat.is_projected:
        raise Refusal("not_a_plane_crs", crs=crs.name)
    axis = flat.axis_info[0]
    size = float(axis.unit_conversion_factor)
    for name, exact in (("metre", 1.0), ("international foot", FOOT), ("US survey foot", US_SURVEY_FOOT)):
        if math.isclose(size, exact, rel_tol=1e-8):
            return name, exact
    return axis.unit_name, size


def grid_to_ground(frame: Frame) -> float:
    """Return ground distance over grid distance at the site."""
    half = 50.0
    x, y = np.array([-half, half, 0.0, 0.0]), np.array([0.0, 0.0, -half, half])
    east, north = frame.to(frame.plane_crs, x, y)
    size = plane_unit(frame.plane_crs)[1]
    across = math.hypot(east[1] - east[0], north[1] - north[0]) * size
    along = math.hypot(east[3] - east[2], north[3] - north[2]) * size
    return 4 * half / (across + along)
