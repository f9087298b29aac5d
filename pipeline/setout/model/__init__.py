"""The nouns of the trade as frozen values; every stage takes some of them and returns others.

Coordinates are metres in the site's working frame (:class:`Frame`) unless a name says otherwise. Tables of many
plants are structures of arrays, one entry a tree, all of the same length.
"""

from setout.model.base import Bools, Elevations, Finding, Floats, Frame, Geometries, Ints, RasterGrid, Severity, VectorLayer, transformer
from setout.model.irrigation import Emitter, Irrigation, IrrigationPlan, Network, Pipes, Source, Zone
from setout.model.light import ColdAir, DirectionLight, Hollow, Light, ScreenShade, SideLight, SunDays
from setout.model.need import ClassNeed, Need, NeedSettings, Weather
from setout.model.planting import (
    AccountRow,
    BlockRoom,
    CostLine,
    Exclusion,
    GrowthLine,
    MaterialLine,
    OrderLine,
    Planting,
    Rows,
    Trees,
    Usable,
    WorkLine,
    Works,
)
from setout.model.site import Ground, HeightLimit, NoPlant, Reach, Served, Setback, Site, Survey, Water, WaterPoints
from setout.model.system import Bed, Block, Dealing, Pair, Pattern, Plant, Trellis

__all__ = [
    "AccountRow",
    "Bed",
    "Block",
    "BlockRoom",
    "Bools",
    "ClassNeed",
    "ColdAir",
    "CostLine",
    "Dealing",
    "DirectionLight",
    "Elevations",
    "Emitter",
    "Exclusion",
    "Finding",
    "Floats",
    "Frame",
    "Geometries",
    "Ground",
    "GrowthLine",
    "HeightLimit",
    "Hollow",
    "Ints",
    "Irrigation",
    "IrrigationPlan",
    "Light",
    "MaterialLine",
    "Need",
    "NeedSettings",
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
    "ScreenShade",
    "Served",
    "Setback",
    "Severity",
    "SideLight",
    "Site",
    "Source",
    "SunDays",
    "Survey",
    "Trees",
    "Trellis",
    "Usable",
    "VectorLayer",
    "Water",
    "WaterPoints",
    "Weather",
    "WorkLine",
    "Works",
    "Zone",
    "transformer",
]
