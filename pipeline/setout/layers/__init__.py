"""What every layer that setout writes holds, and how it comes out of a planting: one file a layer, in the order written."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from shapely.geometry.base import BaseGeometry

from setout.layers.account import LAND_ACCOUNT, account_layer
from setout.layers.asbuilt import ASBUILT
from setout.layers.boundary import BOUNDARY, boundary_layer
from setout.layers.contours import CONTOURS, contours_layer
from setout.layers.contract import DTYPES, Column, GeometryKind, Kind, LayerContract, check
from setout.layers.data import LayerData
from setout.layers.exclusions import EXCLUSIONS, exclusions_layer
from setout.layers.findings import FINDINGS, findings_layer
from setout.layers.growth import GROWTH, growth_layer
from setout.layers.height_limits import HEIGHT_LIMITS, height_limits_layer
from setout.layers.materials import MATERIALS, materials_layer
from setout.layers.order import ORDER, order_layer
from setout.layers.pipes import LATERALS, MANIFOLDS, WATER_POINTS, ZONES, water_layers, water_points_layer
from setout.layers.places import to_survey
from setout.layers.reach import REACH, reach_layer
from setout.layers.rows import ROWS, rows_layer
from setout.layers.trees import TREES, trees_layer
from setout.layers.usable import USABLE, usable_layer
from setout.layers.water_need import WATER_NEED, water_need_layer
from setout.layers.work import WORK, work_layer
from setout.layers.works import BEDS, POSTS, SCREENS, works_layers
from setout.model import Planting

__all__ = ["ASBUILT", "CONTRACTS", "DTYPES", "Column", "GeometryKind", "Kind", "LayerContract", "check", "plan_layers"]

_LAYERS: Final = (
    BOUNDARY,
    EXCLUSIONS,
    HEIGHT_LIMITS,
    REACH,
    USABLE,
    ROWS,
    TREES,
    BEDS,
    POSTS,
    SCREENS,
    LATERALS,
    MANIFOLDS,
    WATER_POINTS,
    FINDINGS,
    CONTOURS,
    GROWTH,
    WATER_NEED,
    WORK,
    LAND_ACCOUNT,
    ZONES,
    ORDER,
    MATERIALS,
)
CONTRACTS: Final[Mapping[str, LayerContract]] = {contract.name: contract for contract in _LAYERS}
"""Every layer by name, in the order in which they are written."""


def plan_layers(planting: Planting, contours: Sequence[tuple[float, BaseGeometry]] = ()) -> Iterator[LayerData]:
    """Yield the layers of a planting, in the order in which they are written."""
    outer = to_survey(planting.site.frame)
    yield from boundary_layer(planting, outer)
    yield from exclusions_layer(planting, outer)
    yield from height_limits_layer(planting, outer)
    yield from water_points_layer(planting)
    yield from reach_layer(planting, outer)
    yield from usable_layer(planting, outer)
    yield from rows_layer(planting, outer)
    yield from trees_layer(planting)
    yield from works_layers(planting, outer)
    yield from water_layers(planting)
    yield from findings_layer(planting, outer)
    yield from contours_layer(contours, outer)
    yield from account_layer(planting)
    yield from order_layer(planting)
    yield from materials_layer(planting)
    yield from growth_layer(planting)
    yield from work_layer(planting)
    yield from water_need_layer(planting)
