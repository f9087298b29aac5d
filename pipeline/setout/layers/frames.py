"""Layers of a finished plan as GeoDataFrames, for those who go on working in Python."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from setout.errors import SetoutError
from setout.model import Planting
from setout.layers.columns import Points, Segments, Shapes
from setout.layers.plan_builders import plan_layers

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


def geodataframe(planting: Planting, layer: str = "trees") -> GeoDataFrame:
    """Return a layer of a plan with the columns, units and CRS that it has in plan.gpkg.

    Parameters
    ----------
    planting : Planting
        The finished plan.
    layer : str
        Name of a layer that the plan has.

    Returns
    -------
    GeoDataFrame
        In the survey's CRS; geometry is None throughout for a table.

    Raises
    ------
    SetoutError
        The plan has no such layer.
    """
    import geopandas

    names = []
    for data in plan_layers(planting):
        names.append(data.contract.name)
        if data.contract.name != layer:
            continue
        everything = slice(0, data.rows)
        given = ((column.name, data.columns.get(column.name)) for column in data.contract.columns)
        columns = {
            name: np.full(data.rows, None) if values is None else np.asarray(values[everything])
            for name, values in given
        }
        crs = planting.site.frame.survey_crs
        return geopandas.GeoDataFrame(columns, geometry=_shapes(data.geometry, data.rows), crs=crs)
    raise SetoutError(f'the plan has no layer "{layer}"', "geodataframe", f"there are {', '.join(names)}")


def _shapes(geometry: Any, rows: int) -> Any:
    """Return what a writer takes as geometry as shapely objects."""
    if isinstance(geometry, Points):
        x, y = (np.asarray(part[0:rows], float) for part in (geometry.x, geometry.y))
        if geometry.z is None:
            return shapely.points(x, y)
        return shapely.points(x, y, np.asarray(geometry.z[0:rows], float))
    if isinstance(geometry, Segments):
        ends = [np.asarray(part[0:rows], float) for part in (geometry.x0, geometry.y0, geometry.x1, geometry.y1)]
        return shapely.linestrings(np.stack([np.column_stack(ends[:2]), np.column_stack(ends[2:])], axis=1))
    if geometry is None:
        return np.full(rows, None)
    return geometry.geometry if isinstance(geometry, Shapes) else geometry
