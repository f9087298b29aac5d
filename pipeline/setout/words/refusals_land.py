"""Refusals of the ground's stages in words."""

from __future__ import annotations

from typing import Final

from setout.model import Figure
from setout.words.refused import Refused

_EXTENTS: Final = (
    "the site lies at x {site_x_least:.{digits}f} to {site_x_most:.{digits}f}, y {site_y_least:.{digits}f} to "
    "{site_y_most:.{digits}f}, the DEM covers x {dem_x_least:.{digits}f} to {dem_x_most:.{digits}f}, y {dem_y_least:.{digits}f} to "
    "{dem_y_most:.{digits}f}, in {crs}"
)
_LIE: Final[dict[str, Figure]] = {
    "site_x_least": 500000.0,
    "site_x_most": 500400.0,
    "site_y_least": 4400000.0,
    "site_y_most": 4400300.0,
    "dem_x_least": 510000.0,
    "dem_x_most": 512000.0,
    "dem_y_least": 4400000.0,
    "dem_y_most": 4402000.0,
    "digits": 0,
    "crs": "WGS 84 / UTM zone 13N",
    "source": "dem.tif",
}
_CHECK: Final = "check site.boundary and site.dem, and the CRS of both"

REFUSALS: Final[dict[str, Refused]] = {
    "dem_misses_site": Refused(f"the DEM misses the site altogether: {_EXTENTS}", "{source}", _CHECK, _LIE),
    "dem_without_heights": Refused(f"the DEM has no elevation anywhere on the site: {_EXTENTS}", "{source}", _CHECK, _LIE),
    "dem_no_land": Refused(
        "[[{cells:count} cells round the site hold heights||a cell round the site holds a height]] "
        "that no land has: {height_m:,.6g} m in row {row}, "
        "column {column}, at {x:.{digits}f}, {y:.{digits}f}; land lies between {lowest_m:,.0f} and {highest_m:,.0f} m",
        "{source}",
        "if the number stands for no height, declare it in the file as nodata; else mend site.dem_unit, or the cell",
        {
            "cells": 3,
            "height_m": -9999.0,
            "row": 32,
            "column": 13,
            "x": 500012.5,
            "y": 4399968.5,
            "digits": 1,
            "lowest_m": -500.0,
            "highest_m": 9000.0,
            "source": "dem.tif",
        },
    ),
}
