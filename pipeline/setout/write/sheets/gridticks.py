"""Ticks of the survey's plane coordinates on a map: crosses inside the frame, figures on its edge."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from setout.draw import palette
from setout.draw.pen import CAP, Ink, Pen, Type
from setout.write.sheets.layout import View

if TYPE_CHECKING:
    from setout.model import Floats, Frame

APART: Final = 45.0
"""Least distance between ticks on paper [mm]."""
TICK: Final = Ink("#8c9691", 0.12)
FIGURES: Final = Type(1.75, colour=palette.MUTED)


def plane_unit_m(frame: Frame) -> float:
    """Return the size of the plane CRS's unit [m]."""
    crs = frame.plane_crs
    flat = crs.sub_crs_list[0] if crs.is_compound else crs
    return float(flat.axis_info[0].unit_conversion_factor or 1.0)


def interval(scale: float, unit_m: float) -> float:
    """Return the distance between ticks in the plane's unit: 1, 2 or 5 times a power of ten.

    >>> interval(480.0, 0.3048), interval(500.0, 1.0)
    (100.0, 50.0)
    """
    least = APART * scale / 1000 / unit_m
    ten = 10.0 ** math.floor(math.log10(least))
    return next(ten * k for k in (1, 2, 5, 10) if ten * k >= least)


def draw_ticks(pen: Pen, frame: Frame, view: View) -> None:
    """Draw crosses where grid lines meet, and their coordinates where they leave the frame."""
    box, step = view.box, interval(view.scale, plane_unit_m(frame))
    corners = np.array([[box.left, box.bottom], [box.right, box.bottom], [box.right, box.top], [box.left, box.top]])
    plane = _plane(frame, view, corners)
    low, high = np.floor(plane.min(axis=0) / step), np.ceil(plane.max(axis=0) / step)
    east, north = (np.arange(low[k], high[k] + 1) * step for k in (0, 1))
    if east.size * north.size > 4000:
        return
    grid_e, grid_n = (g.ravel() for g in np.meshgrid(east, north))
    page = view.of_frame(np.column_stack(frame.of(frame.plane_crs, grid_e, grid_n)))
    inside = (np.abs(page - (box.left + box.width / 2, box.bottom + box.height / 2)) < (box.width / 2, box.height / 2)).all(axis=1)
    arms = _arms(frame, view, step)
    crosses = [np.array([p - a, p + a]) for p in page[inside] for a in arms]
    pen.paths(crosses, TICK)
    _figures(pen, view, _affine(corners, plane), east, north)


def _plane(frame: Frame, view: View, page: Floats) -> NDArray[np.float64]:
    xy = view.to_frame(page)
    return np.column_stack(frame.to(frame.plane_crs, xy[:, 0], xy[:, 1]))


def _arms(frame: Frame, view: View, step: float) -> NDArray[np.float64]:
    """Return the arms of a cross on paper [mm], along the grid's own axes."""
    at = view.to_frame(np.array([[view.box.left, view.box.bottom]]))
    e, n = (float(v[0]) for v in frame.to(frame.plane_crs, at[:, 0], at[:, 1]))
    three = frame.of(frame.plane_crs, np.array([e, e + step, e]), np.array([n, n, n + step]))
    page = view.of_frame(np.column_stack(three))
    ways = page[1:] - page[0]
    return np.asarray(ways / np.hypot(ways[:, 0], ways[:, 1])[:, None] * 1.6)


def _affine(page: Floats, plane: Floats) -> NDArray[np.float64]:
    """Return (3, 2) coefficients that take paper to plane coordinates, about the first corner."""
    design = np.column_stack([np.ones(len(page)), page])
    return np.asarray(np.linalg.lstsq(design, plane, rcond=None)[0])


def _figures(pen: Pen, view: View, affine: NDArray[np.float64], east: Floats, north: Floats) -> None:
    """Write what each grid line's coordinate is, on the edges that it crosses more squarely."""
    box = view.box
    slope_x, slope_y = affine[1], affine[2]
    for axis, values, letter in ((0, east, "E"), (1, north, "N")):
        across = abs(slope_x[axis]) >= abs(slope_y[axis])
        for value in values.tolist():
            words = f"{letter} {value:,.0f}"
            wide = pen.width_of(words, FIGURES.size)
            for edge in (0, 1):
                fixed = (box.bottom, box.top)[edge] if across else (box.left, box.right)[edge]
                rest = value - affine[0, axis] - (slope_y if across else slope_x)[axis] * fixed
                at = rest / (slope_x if across else slope_y)[axis]
                low, high = (box.left, box.right) if across else (box.bottom, box.top)
                if not low + wide / 2 <= at <= high - wide / 2:
                    continue
                if across:
                    y = fixed - 0.9 - CAP * FIGURES.size if edge == 0 else fixed + 0.9
                    pen.line(at, fixed, at, fixed + (-0.7 if edge == 0 else 0.7), TICK)
                    pen.text(at, y, words, Type(FIGURES.size, colour=FIGURES.colour, at="m"))
                else:
                    x = fixed - 0.9 if edge == 0 else fixed + 0.9 + CAP * FIGURES.size
                    pen.line(fixed, at, fixed + (-0.7 if edge == 0 else 0.7), at, TICK)
                    pen.text(x, at, words, Type(FIGURES.size, colour=FIGURES.colour, at="m", angle=90))
