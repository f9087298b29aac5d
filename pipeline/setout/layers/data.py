"""One layer ready to be written: its contract, its columns and its geometry, checked against each other."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from setout.errors import SetoutError
from setout.layers.columns import Points, Segments, Shapes, Values
from setout.layers.contract import LayerContract, check
from setout.model import Geometries

_ALLOWED: Final = {  # shapely type numbers; -1 is a missing geometry
    "": set(),
    "POINT": {-1, 0},
    "POINT Z": {-1, 0},
    "LINESTRING": {-1, 1},
    "MULTILINESTRING": {-1, 5},
    "MULTIPOLYGON": {-1, 3, 6, 7},
    "GEOMETRY": {-1, 0, 1, 2, 3, 4, 5, 6, 7},
}


@dataclass(frozen=True, slots=True)
class LayerData:
    """One layer to write.

    Attributes
    ----------
    contract : what the layer holds
    columns : values by column name: an array, a :class:`Chunked`, a :class:`Coded`, or None for a column
        that is null throughout. NaN and infinity become null, and so does an empty text
    geometry : :class:`Points`, :class:`Segments` or an array of shapely geometries, in the CRS that write
        is given; None for a table
    """

    contract: LayerContract
    columns: Mapping[str, Values | None]
    geometry: Points | Segments | Shapes | NDArray[np.object_] | None = None

    def __post_init__(self) -> None:
        """Check the contract."""
        check(self.contract, self.columns, self.rows)
        kind, geometry = self.contract.geometry, self.geometry
        if (geometry is None) != (kind is None):
            raise SetoutError(f"geometry is {type(geometry).__name__}, not {kind}", self.contract.name)
        if geometry is not None and len(geometry) != self.rows:
            raise SetoutError(f"{len(geometry)} geometries for {self.rows} rows", self.contract.name)
        allowed = _ALLOWED[kind or ""]
        if isinstance(geometry, np.ndarray):
            found = set(np.unique(shapely.get_type_id(geometry)).tolist())
            if not found <= allowed:
                names = ", ".join(sorted({g.geom_type for g in geometry if g is not None}))
                raise SetoutError(f"geometry is {names}, not {kind}", self.contract.name)
        elif (isinstance(geometry, Points) and 0 not in allowed) or (isinstance(geometry, Segments) and 1 not in allowed):
            raise SetoutError(f"geometry is {type(geometry).__name__}, not {kind}", self.contract.name)

    @property
    def rows(self) -> int:
        """Return the number of rows."""
        given = [self.geometry, *self.columns.values()]
        return next((len(values) for values in given if values is not None), 0)

    def shapes(self) -> Points | Segments | Shapes | None:
        """Return the geometry as what gives well-known binary by slices."""
        if isinstance(self.geometry, np.ndarray):
            return Shapes(self.geometry, multi=self.contract.geometry == "MULTIPOLYGON")
        return self.geometry


def layer_of(contract: LayerContract, geometry: Geometries | Points | None, **columns: Any) -> LayerData:
    """Return a layer out of lists and arrays; a column that is not given is null throughout."""
    arrays = {key: np.asarray(v, object) if isinstance(v, list) and v and isinstance(v[0], str) else v for key, v in columns.items()}
    typed = {key: np.asarray(v, float) if isinstance(v, list) else v for key, v in arrays.items()}
    for column in contract.columns:
        values = typed.get(column.name)
        if isinstance(values, np.ndarray) and not values.size and column.kind == "text":
            typed[column.name] = np.empty(0, object)
        typed.setdefault(column.name, None)
    return LayerData(contract, typed, geometry)
