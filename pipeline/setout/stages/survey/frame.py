"""The local ground-true working frame of a site.

A Transverse Mercator through the middle of the site on the survey's own datum, with the scale factor 1 + h/R at the
site's height h (R the Gaussian radius of curvature there): Snyder, USGS PP 1395 (1987), p. 48-65 for the projection; the
elevation factor R/(R + h) is the one surveyors multiply ground distances by. Across a site of 5 km the two together stay
within 1 part per million; not knowing the geoid's height costs 1.6 parts per million per 10 m.
"""

from __future__ import annotations

import numpy as np
import shapely
from pyproj import CRS
from pyproj.aoi import AreaOfInterest
from pyproj.crs import ProjectedCRS
from pyproj.crs.coordinate_operation import TransverseMercatorConversion
from pyproj.database import query_utm_crs_info
from shapely.geometry.base import BaseGeometry

from setout.errors import Refusal
from setout.model import WGS84, Elevations, Frame, transformer

MOST_KM = 100.0
"""Size beyond which a boundary is taken for a mistake [km]; one plane serves no more."""
DEGREE_KM = 111.2
"""Length of a degree of a great circle [km], near enough to tell a property from a country."""


def frame_of(
    boundary: BaseGeometry, crs: CRS, elevations: Elevations | None, elevation_m: float | None = None, geoid_m: float = 0.0
) -> Frame:
    """Lay the working frame through a site."""
    geographic = crs.geodetic_crs
    if geographic is None:
        raise Refusal("crs_nowhere", crs=crs.name)
    geographic = geographic.to_2d()
    xy = shapely.get_coordinates(boundary)
    lon, lat = (np.asarray(part, float) for part in transformer(crs, geographic).transform(xy[:, 0], xy[:, 1]))
    west, south, east, north = lon.min(), lat.min(), lon.max(), lat.max()
    lon0, lat0 = float(west + east) / 2, float(south + north) / 2
    _of_a_property(float(east - west), float(north - south), lat0)
    height = _mean_height(elevations, geographic, (west, south, east, north))
    height = (height if height is not None else elevation_m or 0.0) + geoid_m
    ellipsoid = geographic.ellipsoid
    assert ellipsoid is not None
    a, b = ellipsoid.semi_major_metre, ellipsoid.semi_minor_metre
    e2 = 1 - (b / a) ** 2
    radius = a * np.sqrt(1 - e2) / (1 - e2 * np.sin(np.radians(lat0)) ** 2)
    scale = float(1 + height / radius)
    local = ProjectedCRS(TransverseMercatorConversion(lat0, lon0, 0.0, 0.0, scale), "site frame", geodetic_crs=geographic)
    mid_lon, mid_lat = transformer(geographic, WGS84).transform(lon0, lat0)
    plane = crs if crs.is_projected else _utm(geographic, lon0, lat0)
    return Frame(local, crs, plane, float(mid_lon), float(mid_lat), float(height), scale)


def _of_a_property(wide_deg: float, high_deg: float, lat: float) -> None:
    """Refuse a boundary that is far larger than any property: its coordinates or its CRS are wrong."""
    across = float(np.hypot(wide_deg * np.cos(np.radians(lat)), high_deg)) * DEGREE_KM
    if not across <= MOST_KM:
        raise Refusal("boundary_too_wide", across_km=across)


def _mean_height(elevations: Elevations | None, geographic: CRS, box: tuple[float, ...]) -> float | None:
    """Return the mean height at 16 places over the site, or None where none is known [m]."""
    if elevations is None:
        return None
    west, south, east, north = box
    share = (np.arange(4) + 0.5) / 4
    lon, lat = np.meshgrid(west + share * (east - west), south + share * (north - south))
    x, y = transformer(geographic, elevations.grid.crs).transform(lon.ravel(), lat.ravel())
    row, col = (np.floor(part) for part in elevations.grid.cell_of(np.asarray(x), np.asarray(y)))
    found = []
    for i, j in zip(row, col, strict=True):
        if 0 <= i < elevations.grid.height and 0 <= j < elevations.grid.width:
            found.append(float(elevations.read(int(i), int(i) + 1, int(j), int(j) + 1)[0, 0]))
    known = [z for z in found if np.isfinite(z)]
    return sum(known) / len(known) if known else None


def _utm(geographic: CRS, lon: float, lat: float) -> CRS:
    """Return the UTM zone of a place on its own datum, or on WGS 84 where that datum has none."""
    area = AreaOfInterest(lon, lat, lon, lat)
    names = [geographic.datum.name] if geographic.datum is not None else []
    for name in [*names, "WGS 84"]:
        zones = query_utm_crs_info(datum_name=name.replace("World Geodetic System 1984 ensemble", "WGS 84"), area_of_interest=area)
        if zones:
            return CRS.from_epsg(min(zones, key=lambda z: int(z.code)).code)
    zone = int((lon + 180) // 6) % 60 + 1
    return CRS.from_epsg((32600 if lat >= 0 else 32700) + zone)
