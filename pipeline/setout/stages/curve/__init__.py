"""Rows that are not straight: along a guide line, along the contour, and screens."""

from setout.stages.curve.common import Curved
from setout.stages.curve.rows import rows_along
from setout.stages.curve.screen import screen_report

__all__ = ["Curved", "rows_along", "screen_report"]
