"""Ground coordinates inside the PDF: a viewport with a geospatial measure on every map (ISO 32000-2, 12.10)."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from setout.draw.pen import MM
from setout.write.sheets.layout import View

if TYPE_CHECKING:
    from setout.model import Frame


@dataclass(frozen=True, slots=True)
class Referenced:
    """A map on a page: the page's index from 0, and its view."""

    page: int
    view: View
    name: str


def add_measures(path: Path, frame: Frame, maps: list[Referenced]) -> None:
    """Write viewports with coordinates into a finished PDF."""
    from pypdf import PdfWriter
    from pypdf.generic import ArrayObject, DictionaryObject, FloatObject, NameObject, NumberObject, TextStringObject

    writer = PdfWriter(clone_from=str(path))
    crs = frame.plane_crs.sub_crs_list[0] if frame.plane_crs.is_compound else frame.plane_crs
    system = DictionaryObject({NameObject("/Type"): NameObject("/PROJCS"), NameObject("/WKT"): TextStringObject(_wkt(crs))})
    code = crs.to_epsg(min_confidence=100)
    if code:
        system[NameObject("/EPSG")] = NumberObject(code)
    for item in maps:
        measure = DictionaryObject(
            {
                NameObject("/Type"): NameObject("/Measure"),
                NameObject("/Subtype"): NameObject("/GEO"),
                NameObject("/Bounds"): _numbers(ArrayObject, FloatObject, _UNIT),
                NameObject("/GPTS"): _numbers(ArrayObject, FloatObject, _places(frame, crs, item.view)),
                NameObject("/LPTS"): _numbers(ArrayObject, FloatObject, _UNIT),
                NameObject("/GCS"): system,
                NameObject("/PDU"): ArrayObject([NameObject("/M"), NameObject("/SQM"), NameObject("/DEG")]),
            }
        )
        box = item.view.box
        edges = [box.left * MM, box.bottom * MM, box.right * MM, box.top * MM]
        viewport = DictionaryObject(
            {
                NameObject("/Type"): NameObject("/Viewport"),
                NameObject("/Name"): TextStringObject(item.name),
                NameObject("/BBox"): _numbers(ArrayObject, FloatObject, edges),
                NameObject("/Measure"): measure,
            }
        )
        writer.pages[item.page][NameObject("/VP")] = ArrayObject([viewport])
    writer.write(str(path))


_UNIT = (0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 1.0, 0.0)


def _numbers(array: Any, number: Any, values: Any) -> Any:
    return array([number(f"{float(v):.10f}") for v in values])


def _places(frame: Frame, crs: Any, view: View) -> list[float]:
    """Return latitude and longitude of the frame's corners on the plane's own datum, in the order of ``_UNIT``."""
    box = view.box
    corners = np.array([[box.left, box.bottom], [box.left, box.top], [box.right, box.top], [box.right, box.bottom]])
    xy = view.to_frame(corners)
    lon, lat = frame.to(crs.geodetic_crs, xy[:, 0], xy[:, 1])
    return [float(v) for pair in zip(lat, lon, strict=True) for v in pair]


def _wkt(crs: Any) -> str:
    return str(crs.to_wkt("WKT1_GDAL"))
