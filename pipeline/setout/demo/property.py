"""The demo property as its surveyor would hand it over: an invented farm of about 41 acres.

No such place exists. Coordinates are US survey feet on the Pennsylvania South zone of NAD 83, the plane that
the survey was computed in; they are written here from the property's own corner mark (:data:`CORNER_MARK`) so
that the numbers stay readable: x east, y north.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from setout.demo.terrain import creek_y

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

CRS_CODE: Final = "EPSG:2272"
"""NAD83 / Pennsylvania South (ftUS)."""
CORNER_MARK: Final = (2_068_400.0, 241_200.0)
"""Easting and northing of the property's own corner mark [ftUS]."""
CELL_FT: Final = 3.0
"""Cell of the DEM [ftUS]."""
INSET_FT: Final = 4.0
"""How far inside the property line the blocks were drawn [ftUS]."""
DEM_EXTENT: Final = (-120.0, -120.0, 1680.0, 1470.0)
"""West, south, east and north edge of the DEM from the corner mark [ftUS]; whole cells."""

Points = Sequence[tuple[float, float]]

_BOUNDARY: Final[Points] = (
    (0.0, 61.37), (618.42, 0.0), (1178.9, 29.15), (1497.33, 108.64), (1539.71, 618.2), (1288.54, 652.08),
    (1301.16, 868.93), (1558.26, 880.4), (1486.05, 1268.77), (978.64, 1322.5), (421.88, 1297.31),
    (58.27, 1152.9),
)  # fmt: skip
_HOUSE: Final[Points] = (
    (962.0, 628.0), (1010.0, 624.0), (1013.5, 666.0), (993.5, 667.7), (992.0, 650.0), (964.0, 652.3),
)  # fmt: skip
_BARN: Final[Points] = ((862.0, 694.0), (921.0, 706.0), (913.0, 745.0), (854.0, 733.0))
_YARD: Final[Points] = ((772.0, 668.0), (850.0, 672.0), (846.0, 748.0), (764.0, 742.0))
_SEPTIC: Final[Points] = ((985.0, 512.0), (1062.0, 506.0), (1066.0, 556.0), (989.0, 562.0))
_ENTRANCE: Final[Points] = (
    (1620.0, 566.0), (1400.0, 578.0), (1240.0, 601.0), (1060.0, 590.0), (905.0, 600.0), (815.0, 668.0),
)  # fmt: skip
_WEST_LANE: Final[Points] = ((815.0, 668.0), (700.0, 622.0), (520.0, 572.0), (300.0, 588.0), (-40.0, 612.0))
_NORTH_LANE: Final[Points] = ((806.0, 745.0), (796.0, 905.0), (772.0, 1090.0), (764.0, 1360.0))
_LINE: Final[Points] = ((1452.0, 1400.0), (1330.0, 1160.0), (1185.0, 890.0), (1013.5, 666.0))
_SCREEN: Final[Points] = ((760.0, 668.0), (751.5, 750.0))
_WELL: Final[Points] = ((1092.0, 684.0),)

_BLOCK_A: Final[Points] = (
    (30.0, 748.0), (300.0, 726.0), (520.0, 712.0), (728.0, 762.0), (790.0, 772.0), (780.0, 905.0), (756.0, 1090.0),
    (748.0, 1330.0), (410.0, 1310.0), (40.0, 1160.0),
)  # fmt: skip
_BLOCK_B: Final[Points] = (
    (822.0, 790.0), (1050.0, 720.0), (1290.0, 700.0), (1302.0, 869.0), (1560.0, 880.0), (1490.0, 1275.0),
    (980.0, 1330.0), (780.0, 1330.0), (788.0, 1090.0), (812.0, 905.0),
)  # fmt: skip
_BLOCK_C: Final[Points] = (
    (330.0, 574.0), (520.0, 556.0), (700.0, 606.0), (800.0, 650.0), (840.0, 622.0), (840.0, 320.0), (640.0, 300.0),
    (330.0, 380.0),
)  # fmt: skip
_BLOCK_D: Final[Points] = (
    (-5.0, 50.0), (618.0, -10.0), (1179.0, 20.0), (1505.0, 100.0), (1505.0, 165.0), (1240.0, 265.0),
    (940.0, 255.0), (700.0, 235.0), (440.0, 325.0), (120.0, 390.0), (5.0, 365.0),
)  # fmt: skip
_BLOCK_E: Final[Points] = (
    (1100.0, 574.0), (1240.0, 583.0), (1400.0, 562.0), (1540.0, 553.0), (1515.0, 230.0), (1100.0, 300.0),
)  # fmt: skip
_BLOCK_F: Final[Points] = ((15.0, 598.0), (310.0, 574.0), (310.0, 382.0), (300.0, 385.0), (10.0, 420.0))
_BLOCK_G: Final[Points] = ((862.0, 606.0), (890.0, 584.0), (950.0, 578.0), (950.0, 392.0), (862.0, 384.0))
_BLOCK_H: Final[Points] = (
    (22.0, 622.0), (300.0, 602.0), (520.0, 588.0), (700.0, 640.0), (728.0, 651.0), (728.0, 742.0), (520.0, 692.0),
    (300.0, 706.0), (28.0, 728.0),
)  # fmt: skip
_STRIP_FT: Final = 18.0
"""Half the width of block J, the strip of low plants under the overhead line [ftUS]."""

_RISERS: Final[Mapping[str, tuple[float, float, float, float]]] = {
    # x, y, static pressure [psi], flow [US gal/min]
    "hill riser": (318.0, 866.0, 46.0, 35.0),
    "barn riser": (842.0, 762.0, 62.0, 60.0),
    "east riser": (1236.0, 930.0, 52.0, 35.0),
    "shelf riser": (884.0, 470.0, 58.0, 45.0),
    "bottom riser": (706.0, 196.0, 66.0, 40.0),
}


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer of a survey file.

    Attributes
    ----------
    name : the layer's name
    geometry : its features on the survey's plane [ftUS]
    columns : attribute columns, each as long as geometry
    """

    name: str
    geometry: tuple[BaseGeometry, ...]
    columns: Mapping[str, Sequence[str] | Sequence[float]]


def survey_files() -> dict[str, tuple[Layer, ...]]:
    """Return the layers of the demo's survey files.

    Returns
    -------
    dict
        File name without its folder -> layers in the order they are written.

    Examples
    --------
    >>> {name: [layer.name for layer in layers] for name, layers in survey_files().items()}["blocks.gpkg"]
    ['blocks']
    >>> acres = survey_files()["boundary.gpkg"][0].geometry[0].area / 43560
    >>> 38 < acres < 42
    True
    """
    return {"boundary.gpkg": _boundary(), "features.gpkg": _features(), "blocks.gpkg": _blocks()}


def _boundary() -> tuple[Layer, ...]:
    return (Layer("boundary", (_polygon(_BOUNDARY),), {"parcel": ("Marl Run",)}),)


def _features() -> tuple[Layer, ...]:
    risers: dict[str, Sequence[str] | Sequence[float]] = {
        "name": tuple(_RISERS),
        "pressure_psi": tuple(psi for _, _, psi, _ in _RISERS.values()),
        "flow_gpm": tuple(gpm for _, _, _, gpm in _RISERS.values()),
    }
    return (
        Layer("house", (_polygon(_HOUSE),), {"name": ("farmhouse",)}),
        Layer("barn", (_polygon(_BARN),), {"name": ("packing barn",)}),
        Layer(
            "road",
            (_line(_ENTRANCE), _line(_WEST_LANE), _line(_NORTH_LANE)),
            {"kind": ("road", "lane", "lane"), "name": ("entrance road", "west lane", "north lane")},
        ),
        Layer("well", _points(_WELL), {"name": ("house well",)}),
        Layer("septic_field", (_polygon(_SEPTIC),), {"name": ("drain field",)}),
        Layer("creek", (_line(_creek()),), {"name": ("Marl Run",)}),
        Layer("overhead_line", (_line(_LINE),), {"name": ("service line to the house",)}),
        Layer("water_points", _points([(x, y) for x, y, _, _ in _RISERS.values()]), risers),
        Layer("no_plant", (_polygon(_YARD),), {"name": ("turning yard",)}),
        Layer("screen_line", (_line(_SCREEN),), {"name": ("west of the turning yard",)}),
    )


def _blocks() -> tuple[Layer, ...]:
    inside = _polygon(_BOUNDARY).buffer(-INSET_FT, join_style="mitre")
    under_line = _line(_LINE).buffer(_STRIP_FT, cap_style="flat", join_style="mitre")
    cherries = _polygon(_BLOCK_B)
    areas = {
        "A": _polygon(_BLOCK_A),
        "B": cherries.difference(under_line),
        "C": _polygon(_BLOCK_C),
        "D": _polygon(_BLOCK_D),
        "E": _polygon(_BLOCK_E),
        "F": _polygon(_BLOCK_F),
        "G": _polygon(_BLOCK_G),
        "H": _polygon(_BLOCK_H),
        "J": cherries.intersection(under_line),
    }
    shapes = tuple(
        shapely.MultiPolygon([_rounded(part) for part in shapely.get_parts(area.intersection(inside).normalize())])
        for area in areas.values()
    )
    return (Layer("blocks", shapes, {"name": tuple(areas)}),)


def _creek() -> Points:
    """Return the channel's middle as the crew walked it, a shot every 40 ft, past both property lines."""
    x = np.arange(-80.0, 1641.0, 40.0)
    return [(float(a), float(b)) for a, b in zip(x, creek_y(x), strict=True)]


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
