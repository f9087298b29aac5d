"""What every layer that setout writes holds: its columns, their units and meaning, and its kind of geometry."""

from setout.layers.asbuilt import ASBUILT
from setout.layers.contract import DTYPES, Column, GeometryKind, Kind, LayerContract, check
from setout.layers.plan import CONTRACTS

__all__ = ["ASBUILT", "CONTRACTS", "DTYPES", "Column", "GeometryKind", "Kind", "LayerContract", "check"]
