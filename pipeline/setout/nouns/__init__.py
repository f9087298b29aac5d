"""The nouns of the trade as frozen values; every stage takes some of them and returns others.

Coordinates are metres in the site's working frame (:class:`Frame`) unless a name says otherwise. Tables of many
plants are structures of arrays, one entry a tree, all of the same length.
"""

from setout.nouns.base import (
    Bools,
    Elevations,
    Finding,
    Floats,
    Frame,
    Geometries,
    Ints,
    RasterGrid,
    Severity,
    VectorLayer,
    transformer,
)
from setout.nouns.irrigation import Emitter, Irrigation, IrrigationPlan, Network, Pipes, Source, Zone
from setout.nouns.planting import (
    AccountRow,
    BlockRoom,
    Exclusion,
    MaterialLine,
    OrderLine,
    Planting,
    Rows,
    Trees,
    Usable,
    Works,
)
from setout.nouns.site import Ground, HeightLimit, NoPlant, Reach, Served, Setback, Site, Survey, Water, WaterPoints
from setout.nouns.system import Bed, Block, Dealing, Pair, Pattern, Plant, Trellis

__all__ = [
    "AccountRow",
    "Bed",
    "Block",
    "BlockRoom",
    "Bools",
    "Dealing",
    "Elevations",
    "Emitter",
    "Exclusion",
    "Finding",
    "Floats",
    "Frame",
    "Geometries",
    "Ground",
    "HeightLimit",
    "Ints",
    "Irrigation",
    "IrrigationPlan",
    "MaterialLine",
    "Network",
    "NoPlant",
    "OrderLine",
    "Pair",
    "Pattern",
    "Pipes",
    "Plant",
    "Planting",
    "RasterGrid",
    "Reach",
    "Rows",
    "Served",
    "Setback",
    "Severity",
    "Site",
    "Source",
    "Survey",
    "Trees",
    "Trellis",
    "Usable",
    "VectorLayer",
    "Water",
    "WaterPoints",
    "Works",
    "Zone",
    "transformer",
]
