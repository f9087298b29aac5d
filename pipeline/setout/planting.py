"""The public face of a result: what a plan holds, and its layers as GeoDataFrames."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from setout import model
from setout.errors import SetoutError
from setout.layers import plan_layers
from setout.layers.columns import Points, Segments, Shapes, multipolygons
from setout.layers.contract import Column

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from setout.layers.columns import Values

__all__ = ["Planting"]


class Planting:
    """A finished plan.

    ``layer`` gives what plan.gpkg holds. Everything else that the plan knows - ``site``, ``trees``, ``rows``,
    ``findings`` and so on, as :class:`setout.model.Planting` has them, in SI and in the site's own frame - is asked of it
    by name.

    Parameters
    ----------
    values : setout.model.Planting
        The frozen values that it stands for.
    contours : callable, optional
        Gives level lines as (elevation [m], line in the frame), when they are asked for.
    """

    __slots__ = ("_contours", "values")

    def __init__(self, values: model.Planting, contours: Callable[[], list[Any]] = list) -> None:
        self.values = values
        self._contours = contours

    def __repr__(self) -> str:
        """Return one line: the plan's name, its trees and its blocks."""
        site = self.values.site
        return f"<Planting {site.name!r}: {len(self.values.trees):,} trees in {len(site.blocks)} blocks>"

    def __getattr__(self, name: str) -> Any:
        """Return what the plan holds under a name."""
        if name.startswith("_") or name == "values":
            raise AttributeError(name)
        return getattr(self.values, name)

    @property
    def layers(self) -> tuple[str, ...]:
        """Return the names of the layers and tables that this plan has."""
        return tuple(data.contract.name for data in plan_layers(self.values, self._contours()))

    def layer(self, name: str = "trees") -> GeoDataFrame:
        """Return a layer or table with the columns that it has in plan.gpkg.

        Parameters
        ----------
        name : str
            Such as ``trees``, ``rows``, ``usable``, ``findings``, ``land_account``, ``order``.

        Returns
        -------
        GeoDataFrame
            Geometry in the survey's CRS, None throughout for a table; lengths in metres, areas in square metres, pressures
            in kPa, flows in l/h, as each column's name says. Whole numbers and truths that may be unknown are ``Int64`` and
            ``boolean``; an unknown text is None, an unknown number NaN.

        Raises
        ------
        SetoutError
            The plan has no such layer; the message names those that it has.
        """
        import geopandas

        names = []
        for data in plan_layers(self.values, self._contours()):
            names.append(data.contract.name)
            if data.contract.name == name:
                columns = {c.name: _column(c, data.columns.get(c.name), data.rows) for c in data.contract.columns}
                crs = self.values.site.frame.survey_crs
                return geopandas.GeoDataFrame(columns, geometry=_shapes(data.shapes(), data.rows), crs=crs)
        raise SetoutError(f'the plan has no layer "{name}"', "planting.layer", f"there are {', '.join(names)}")


def _column(column: Column, values: Values | None, rows: int) -> Any:
    """Return a column as pandas keeps it, unknown values among the known."""
    import pandas as pd

    given = np.full(rows, np.nan) if values is None else np.asarray(values[slice(0, rows)])
    if column.kind == "text":
        return np.array([None if v is None or v != v or v == "" else str(v) for v in given.tolist()], object)
    known = np.isfinite(given.astype(float))
    if column.kind == "real":
        return np.where(known, given, np.nan).astype(float)
    filled = np.where(known, given, 0)
    if column.kind == "int":
        whole = filled.astype(np.int64)
        return whole if known.all() else pd.arrays.IntegerArray(whole, ~known)
    truths = filled.astype(bool)
    return truths if known.all() else pd.arrays.BooleanArray(truths, ~known)


def _shapes(geometry: Any, rows: int) -> Any:
    """Return what a writer takes as geometry as shapely objects."""
    if isinstance(geometry, Points):
        x, y = (np.asarray(part[0:rows], float) for part in (geometry.x, geometry.y))
        if geometry.z is None:
            return shapely.points(x, y)
        z = np.asarray(geometry.z[0:rows], float)
        flat, high = (np.atleast_1d(np.asarray(v, object)) for v in (shapely.points(x, y), shapely.points(x, y, np.nan_to_num(z))))
        return np.where(np.isfinite(z), high, flat)
    if isinstance(geometry, Segments):
        ends = [np.asarray(part[0:rows], float) for part in (geometry.x0, geometry.y0, geometry.x1, geometry.y1)]
        return shapely.linestrings(np.stack([np.column_stack(ends[:2]), np.column_stack(ends[2:])], axis=1))
    if not isinstance(geometry, Shapes):
        return np.full(rows, None)
    shapes = multipolygons(geometry.geometry) if geometry.multi else geometry.geometry.copy()
    shapes[shapely.is_empty(shapes)] = None
    return shapes
