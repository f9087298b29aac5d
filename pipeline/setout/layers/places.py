"""From the frame to the CRS that layers are written in."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from setout.geometry.lines.overlay import polygonal
from setout.model import Floats, Frame, Geometries

Outer = Callable[..., Geometries]
"""What takes geometries from the frame to the survey's CRS."""


def to_survey(frame: Frame) -> Outer:
    """Return what takes geometries from the frame to the survey's CRS."""

    def move(xy: Floats) -> Floats:
        return np.column_stack(frame.to(frame.survey_crs, xy[:, 0], xy[:, 1]))

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
