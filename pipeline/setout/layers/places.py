"""From the frame to the CRS that layers are written in."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

import numpy as np
import shapely
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from setout.geometry.lines.overlay import polygonal
from setout.geometry.places.polymap import FEW, PolyMap, over
from setout.model import Floats, Frame, Geometries

WGS84 = CRS.from_epsg(4326)
Outer = Callable[..., Geometries]
"""What takes geometries from the frame to the survey's CRS."""


def mapping_to(frame: Frame, crs: CRS, box: tuple[float, float, float, float]) -> PolyMap:
    """Return the mapping from the frame to another CRS, fast over a box and true to 0.01 mm."""
    unit = 1e-10 if crs.is_geographic else 1e-5 / crs.axis_info[0].unit_conversion_factor
    return over(partial(frame.to, crs), box, unit)


def to_survey(frame: Frame, box: tuple[float, float, float, float]) -> Outer:
    """Return what takes geometries from the frame to the survey's CRS."""
    mapping = mapping_to(frame, frame.survey_crs, box)

    def move(xy: Floats) -> Floats:
        mapped = mapping if len(xy) > FEW else partial(frame.to, frame.survey_crs)
        return np.column_stack(mapped(xy[:, 0], xy[:, 1]))

    def outer(geometries: Sequence[BaseGeometry | None] | Geometries, whole_cells: Sequence[int] | None = None) -> Geometries:
        array = np.empty(len(geometries), object)
        array[:] = geometries
        out: Geometries = shapely.transform(array, move)
        # rings that all but touch may cross by a rounding once moved; parts that touch share their points and still do
        whole = np.zeros(len(out), np.int64) if whole_cells is None else np.asarray(whole_cells, np.int64)
        own = np.flatnonzero((shapely.get_dimensions(out) == 2) & (shapely.get_num_geometries(out) > whole))
        parts, owner = shapely.get_parts(out[own], return_index=True)
        rank = np.arange(len(parts)) - np.searchsorted(owner, owner)
        looked_at = rank >= whole[own][owner]
        broken = np.zeros(len(out), bool)
        broken[own[owner[looked_at][~shapely.is_valid(parts[looked_at])]]] = True
        if broken.any():
            mended = shapely.make_valid(out[broken], method="structure", keep_collapsed=False)
            out[broken] = [polygonal(g) for g in mended]
        return out

    return outer
