"""Invented orchards with water, for tests of pipes, zones and hours."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
import shapely
from pyproj import CRS, Transformer

from invented import Property, Sheet, objects, plan_of
from setout.model import Planting

UTM = CRS.from_epsg(32610)
LPH_PER_GPM = 3.785411784 * 60
EMITTER = {"flow": "4 l/h", "at": "100 kPa", "exponent": 0.5, "variation": 0.03, "per_tree": 2}
SQUARE = {"name": "A", "pattern": "square", "step": "5 m", "direction": "north-south", "spread": "4 m", "height": "4 m"}


def orchard(
    points: Sequence[tuple[float, float, float, float]],
    *,
    size: tuple[float, float] = (100.0, 80.0),
    ground: Callable[[Any, Any], Any] | None = lambda x, _: 0 * x + 100.0,
    block: Mapping[str, Any] | Sequence[Mapping[str, Any]] = SQUARE,
    layers: Mapping[str, Any] | None = None,
    sections: Mapping[str, Any] | None = None,
    names: Sequence[str] = (),
    land: shapely.Geometry | None = None,
    **water: Any,
) -> Planting:
    """Plan a rectangle, or any land, with its middle at the origin of a local plane.

    ``points`` are (x, y [m], pressure [kPa], flow [l/h]), NaN for unknown; ``ground`` gives heights over the plane,
    None for no DEM; ``layers`` are further geometries by name.
    """
    x0, y0 = Transformer.from_crs(4326, 32610, always_xy=True).transform(-121.3, 44.2)
    dem = None
    if ground is not None:
        half = int(max(size)) // 2 + 40
        row, col = np.mgrid[0 : 2 * half, 0 : 2 * half]
        dem = Sheet(ground(col - half + 0.5, half - row - 0.5), (1.0, 0.0, x0 - half, 0.0, -1.0, y0 + half), UTM)
    at = np.array(points, float).reshape(-1, 4)
    made = {"riser": objects(*shapely.points(at[:, :2]))}
    made |= {name: objects(*(g if isinstance(g, list) else [g])) for name, g in (layers or {}).items()}
    columns = {
        "riser": {"name": np.array(names or [f"w{k + 1}" for k in range(len(at))], object), "pressure_kpa": at[:, 2], "flow_lph": at[:, 3]}
    }
    wide, high = size
    prop = Property(land or shapely.box(-wide / 2, -high / 2, wide / 2, high / 2), made, columns)
    said = {"points": "riser", "emitter": EMITTER, **({"kc": 0.9} if "eto" in water else {}), **water}
    return plan_of(prop.survey(UTM, dem), block, water={k: v for k, v in said.items() if v is not None}, units="si", **(sections or {}))
