"""The demo property as its surveyor would hand it over: an invented farm of about 40 acres on a lake bench.

No such place exists. Coordinates are international feet on the Michigan Central zone of NAD 83, the plane that the
survey was computed in; they are written here from the property's own corner mark (:data:`CORNER_MARK`) so that the
numbers stay readable: x east, y north.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from setout.demo.terrain import BLUFF_FT, bluff_x, creek_y, shore_x

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

CRS_CODE: Final = "EPSG:2252"
"""NAD83 / Michigan Central (ft), international feet."""
CORNER_MARK: Final = (19_331_600.0, 598_250.0)
"""Easting and northing of the property's own corner mark [ft]."""
CELL_FT: Final = 3.0
"""Cell of the DEM [ft]."""
INSET_FT: Final = 4.0
"""How far inside the property line the blocks were drawn [ft]."""
DEM_EXTENT: Final = (-120.0, -150.0, 2190.0, 1080.0)
"""West, south, east and north edge of the DEM from the corner mark [ft]; whole cells."""

Points = Sequence[tuple[float, float]]

_INLAND: Final[Points] = ((2052.41, 14.63), (2061.87, 402.35), (2038.62, 931.08), (318.44, 908.76), (311.75, 633.92))
"""Corners of the property line away from the lake, from the south-east corner on."""
_SHORE_Y: Final = (628.3, 560.0, 480.0, 400.0, 320.0, 240.0, 160.0, 80.0, -21.7)
"""Where the crew took the water's edge, from the neighbour's corner south [ft]."""
_HOUSE: Final[Points] = ((498.0, 562.0), (556.0, 560.0), (557.0, 588.0), (540.0, 588.5), (540.6, 604.0), (500.0, 605.5))
_COTTAGE: Final[Points] = ((196.0, 698.0), (240.0, 703.0), (236.0, 736.0), (192.0, 731.0))
_BARN: Final[Points] = ((742.0, 552.0), (812.0, 549.0), (814.0, 589.0), (744.0, 592.0))
_YARD: Final[Points] = ((688.0, 452.0), (806.0, 446.0), (812.0, 542.0), (690.0, 546.0))
_SIGHT: Final[tuple[Points, ...]] = (
    ((2068.0, 538.0), (2068.0, 563.0), (2043.0, 538.0)),
    ((2068.0, 506.0), (2068.0, 481.0), (2043.0, 506.0)),
)
_SEPTIC: Final[Points] = ((598.0, 566.0), (664.0, 563.0), (666.0, 607.0), (600.0, 610.0))
_WELL: Final[Points] = ((478.0, 648.0),)
_PROPANE: Final[Points] = ((583.0, 634.0),)
_WOODS: Final[Points] = (
    (1694.0, 662.0),
    (1762.0, 641.0),
    (1858.0, 652.0),
    (1950.0, 634.0),
    (2049.0, 640.0),
    (2037.0, 931.0),
    (1672.0, 926.0),
    (1681.0, 800.0),
)
_ROAD: Final[Points] = ((2086.0, -140.0), (2095.0, 402.0), (2072.0, 928.0), (2066.0, 1060.0))
_FARM_LANE: Final[Points] = (
    (2090.0, 522.0),
    (1900.0, 516.0),
    (1700.0, 527.0),
    (1500.0, 513.0),
    (1250.0, 519.0),
    (1040.0, 509.0),
    (812.0, 506.0),
    (690.0, 500.0),
)
_SHORE_LANE: Final[Points] = (
    (712.0, 470.0),
    (676.0, 438.0),
    (588.0, 430.0),
    (504.0, 380.0),
    (436.0, 300.0),
    (362.0, 232.0),
    (286.0, 214.0),
    (205.0, 236.0),
)
_LINE: Final[Points] = ((2092.0, 566.0), (1690.0, 572.0), (1270.0, 560.0), (838.0, 566.0), (557.0, 580.0))
_BURIED: Final[Points] = ((62.0, 506.0), (232.0, 498.0), (468.0, 520.0), (742.0, 578.0))
_ROAD_SCREEN: Final[Points] = ((2021.0, 54.0), (2030.5, 402.0), (2028.0, 470.0))
_YARD_SCREEN: Final[Points] = ((673.0, 458.0), (676.5, 540.0))
_DOORYARD: Final[Points] = ((452.0, 562.0), (468.0, 542.0), (520.0, 500.0), (552.0, 486.0), (592.0, 512.0), (624.0, 498.0))
_EDGE_Y: Final = (170.0, 420.0, 25.0)
"""First, last and distance of the points along the bluff's crest that the crew took [ft]."""

_BLOCKS: Final[Mapping[str, Points]] = {
    "AF": ((60.0, 132.0), (420.0, 132.0), (420.0, 290.0), (352.0, 380.0), (345.0, 520.0), (400.0, 660.0), (60.0, 660.0)),
    "AT": ((470.0, 150.0), (652.0, 120.0), (652.0, 432.0), (592.0, 434.0), (505.0, 362.0), (440.0, 280.0)),
    "WG": ((664.0, 120.0), (846.0, 110.0), (846.0, 432.0), (664.0, 434.0)),
    "CH": ((858.0, 110.0), (1136.0, 120.0), (1136.0, 408.0), (858.0, 408.0)),
    "RC": ((900.0, 422.0), (1064.0, 422.0), (1064.0, 490.0), (900.0, 488.0)),
    "TC": ((440.0, 716.0), (560.0, 690.0), (700.0, 652.0), (840.0, 616.0), (1150.0, 606.0), (1150.0, 930.0), (420.0, 920.0)),
    "SC": ((1162.0, 606.0), (1270.0, 602.0), (1646.0, 614.0), (1646.0, 930.0), (1162.0, 930.0)),
    "PL": ((1152.0, 130.0), (1408.0, 130.0), (1408.0, 496.0), (1152.0, 494.0)),
    "HZ": ((1420.0, 90.0), (1990.0, 30.0), (1996.0, 496.0), (1420.0, 496.0)),
}
"""Corners of the areas to plant, by block."""
_UNDER_LINE: Final = (862.0, 1158.0, 19.0)
"""West and east end of block BB, the low plants under the overhead line, and half its width [ft]."""

_RISERS: Final[Mapping[str, tuple[float, float, float, float]]] = {
    # x, y, static pressure [psi], flow [US gal/min]
    "shore riser": (262.0, 470.0, 90.0, 40.0),
    "bench riser": (712.0, 640.0, 70.0, 60.0),
    "south riser": (852.0, 420.0, 70.0, 60.0),
    "hill riser": (1330.0, 598.0, 56.0, 50.0),
    "ridge riser": (1706.0, 505.0, 42.0, 50.0),
}

CLIMATE: Final = """\
# An invented station by the lake; take the one next to you. Means of the days of each month.
month,tmax_f,tmin_f,rain_in
1,27.8,16.1,2.3
2,30.2,15.4,1.7
3,39.9,22.8,2.0
4,52.9,33.4,2.8
5,65.7,43.6,2.9
6,75.4,53.9,3.2
7,80.1,59.5,3.0
8,78.3,58.6,3.3
9,71.0,51.8,3.7
10,57.4,41.5,3.6
11,43.6,32.0,2.9
12,33.0,22.9,2.3
"""
"""The climate file's text: mean temperatures and rain by month."""


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer of a survey file.

    Attributes
    ----------
    name : the layer's name
    geometry : its features on the survey's plane [ft]
    columns : attribute columns, each as long as geometry
    """

    name: str
    geometry: tuple[BaseGeometry, ...]
    columns: Mapping[str, Sequence[str] | Sequence[float]]


def survey_files() -> dict[str, tuple[Layer, ...]]:
    """Return the layers of the demo's survey files.

    >>> {name: [layer.name for layer in layers] for name, layers in survey_files().items()}["blocks.gpkg"]
    ['blocks']
    >>> acres = survey_files()["boundary.gpkg"][0].geometry[0].area / 43560
    >>> 38 < acres < 42
    True
    """
    return {"boundary.gpkg": _boundary(), "features.gpkg": _features(), "blocks.gpkg": _blocks()}


def _boundary() -> tuple[Layer, ...]:
    return (Layer("boundary", (_polygon(_property()),), {"parcel": ("Merganser Bench",)}),)


def _features() -> tuple[Layer, ...]:
    risers: dict[str, Sequence[str] | Sequence[float]] = {
        "name": tuple(_RISERS),
        "pressure_psi": tuple(psi for _, _, psi, _ in _RISERS.values()),
        "flow_gpm": tuple(gpm for _, _, _, gpm in _RISERS.values()),
    }
    return (
        Layer("house", (_polygon(_HOUSE),), {"name": ("farmhouse",)}),
        Layer("neighbor_house", (_polygon(_COTTAGE),), {"name": ("cottage on the lot next door",)}),
        Layer("barn", (_polygon(_BARN),), {"name": ("packing barn",)}),
        Layer(
            "road",
            (_line(_ROAD), _line(_FARM_LANE), _line(_SHORE_LANE)),
            {"kind": ("road", "lane", "lane"), "name": ("county road", "farm lane", "shore lane")},
        ),
        Layer("well", _points(_WELL), {"name": ("house well",)}),
        Layer("septic_field", (_polygon(_SEPTIC),), {"name": ("drain field",)}),
        Layer("propane_tank", _points(_PROPANE), {"name": ("500 gal tank",)}),
        Layer("lake", (_polygon(_lake()),), {"name": ("the lake",)}),
        Layer("creek", (_line(_creek()),), {"name": ("Spring Run",)}),
        Layer("overhead_line", (_line(_LINE),), {"name": ("service line to the house",)}),
        Layer("buried_line", (_line(_BURIED),), {"name": ("main and cable of the lake pump",)}),
        Layer("water_points", _points([(x, y) for x, y, _, _ in _RISERS.values()]), risers),
        Layer("no_plant", (_polygon(_YARD), *(_polygon(corner) for corner in _SIGHT)), {"kind": ("yard", "sight", "sight")}),
        Layer("woodlot", (_polygon(_WOODS),), {"height_ft": (60.0,)}),
        Layer("terrace_edge", (_line(_terrace_edge()),), {"name": ("crest of the bluff",)}),
        Layer(
            "screen_lines",
            (_line(_ROAD_SCREEN), _line(_YARD_SCREEN)),
            {"kind": ("hide", "shade"), "name": ("along the county road", "west of the yard")},
        ),
        Layer("dooryard", _points(_DOORYARD), {"name": tuple(f"tree {k}" for k in range(1, len(_DOORYARD) + 1))}),
    )


def _blocks() -> tuple[Layer, ...]:
    inside = _polygon(_property()).buffer(-INSET_FT, join_style="mitre")
    west, east, half = _UNDER_LINE
    strip = _line(_LINE).buffer(half, cap_style="flat", join_style="mitre")
    areas: dict[str, BaseGeometry] = {name: _polygon(corners) for name, corners in _BLOCKS.items()}
    areas["BB"] = strip.intersection(_polygon(((west, 0.0), (east, 0.0), (east, 900.0), (west, 900.0))))
    shapes = tuple(
        shapely.MultiPolygon([_rounded(part) for part in shapely.get_parts(area.intersection(inside).normalize())])
        for area in areas.values()
    )
    return (Layer("blocks", shapes, {"name": tuple(areas)}),)


def _property() -> Points:
    """Return the corners of the property line, round."""
    shore = [(float(x), y) for x, y in zip(shore_x(np.array(_SHORE_Y)), _SHORE_Y, strict=True)]
    return [*_INLAND, *shore]


def _lake() -> Points:
    """Return the part of the lake that the survey shows: the water's edge every 20 ft, past the property."""
    y = np.arange(-140.0, 1061.0, 20.0)
    edge = [(float(a), float(b)) for a, b in zip(shore_x(y), y, strict=True)]
    return [(-110.0, -140.0), *edge, (-110.0, 1060.0)]


def _creek() -> Points:
    """Return the channel's middle as the crew walked it, a shot every 40 ft, from the spring to the lake."""
    x = np.arange(1780.0, 139.0, -40.0)
    return [(float(a), float(b)) for a, b in zip(x, creek_y(x), strict=True)]


def _terrace_edge() -> Points:
    """Return the crest of the bluff, a shot every so many feet."""
    first, last, apart = _EDGE_Y
    y = np.arange(first, last + 1.0, apart)
    return [(float(a), float(b)) for a, b in zip(bluff_x(y) + BLUFF_FT, y, strict=True)]


def _placed(points: Points) -> NDArray[np.float64]:
    """Move points from the corner mark onto the plane, to the hundredth of a foot a survey is given in."""
    return np.round(np.asarray(points, float) + CORNER_MARK, 2)


def _rounded(polygon: BaseGeometry) -> shapely.Polygon:
    """Return a polygon with its corners to the hundredth of a foot, in one order whatever made it."""
    corners = shapely.get_coordinates(polygon.normalize())
    return shapely.Polygon(np.round(corners, 2))


def _points(points: Points) -> tuple[shapely.Point, ...]:
    return tuple(shapely.Point(x, y) for x, y in _placed(points))


def _polygon(points: Points) -> shapely.Polygon:
    return shapely.Polygon(_placed(points))


def _line(points: Points) -> shapely.LineString:
    return shapely.LineString(_placed(points))
