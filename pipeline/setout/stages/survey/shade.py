"""What throws shade beside the planting, with heights from the plan file or from attribute columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import shapely

from setout.errors import Refusal, Refusals
from setout.geometry.lines import overlay
from setout.model import Bools, Finding, Floats, Frame, Geometries, Survey, VectorLayer
from setout.model.asked import ShadeSource
from setout.model.shade import Shade
from setout.units import LENGTH, quantity


def shade_of(sources: Sequence[ShadeSource], survey: Survey, frame: Frame) -> Shade:
    """Gather the features that throw shade."""
    shapes, heights, spreads, findings, refusals = [], [], [], [], []
    for number, section in enumerate(sources, 1):
        try:
            geometry, height, spread = _features(section, survey.layers[section.source], frame)
            keep = np.isfinite(height) & ((shapely.get_dimensions(geometry) > 0) | np.isfinite(spread))
            findings += list(_left_out(section, geometry, height, keep))
            shapes.append(geometry[keep])
            heights.append(height[keep])
            spreads.append(spread[keep])
        except Refusal as refusal:
            refusals.append(Refusal(refusal.code, **{**refusal.figures, "table": number}))
    if refusals:
        raise Refusals(refusals)
    if not shapes:
        return Shade()
    return Shade(np.concatenate(shapes), np.concatenate(heights), np.concatenate(spreads), tuple(findings))


def _features(section: ShadeSource, layer: VectorLayer, frame: Frame) -> tuple[Geometries, Floats, Floats]:
    """Return single features in the frame, their heights and spreads [m]; NaN unknown."""
    parts, of = shapely.get_parts(_in_frame(layer, frame), return_index=True)
    height = _lengths(layer, "height", section.height_m)[of]
    spread = _lengths(layer, "spread", section.spread_m)[of]
    if len(parts) and not np.isfinite(height).any():
        raise Refusal("nothing_has_height", source=section.source)
    points = shapely.get_dimensions(parts) == 0
    if points.any() and not np.isfinite(spread[points]).any():
        raise Refusal("nothing_has_spread", source=section.source)
    return parts, height, spread


def _in_frame(layer: VectorLayer, frame: Frame) -> Geometries:
    def move(xy: Floats) -> Floats:
        return np.column_stack(frame.of(layer.crs, xy[:, 0], xy[:, 1]))

    out: Geometries = shapely.transform(layer.geometry, move)
    return out


def _left_out(section: ShadeSource, geometry: Geometries, height: Floats, keep: Bools) -> Iterator[Finding]:
    for which, word in ((~keep & np.isnan(height), "height"), (~keep & np.isfinite(height), "spread")):
        if which.any():
            yield Finding(
                f"shade_without_{word}",
                "warn",
                geometry=overlay.union(geometry[which]),
                figures={"n": int(which.sum()), "of": len(geometry), "source": section.source},
            )


TALLEST_M = 1000.0
"""Nothing that stands on a property is higher or wider [m]."""


def _lengths(layer: VectorLayer, kind: str, given: float | None) -> Floats:
    """Return a length of every feature [m]: from a column with its unit in the name or in the text, else as given."""
    size = len(layer.geometry)
    out = np.full(size, np.nan if given is None else given)
    for name, values in layer.columns.items():
        stem, _, unit = name.lower().partition("_")
        if stem != kind or (unit and unit not in LENGTH):
            continue
        for k, value in enumerate(values):
            if value is None or value != value or value == "":
                continue
            where: dict[str, Any] = {"source": layer.source, "column": name, "feature": k + 1}
            try:
                out[k] = float(value) * LENGTH[unit] if unit else quantity(value, "length")
            except (ValueError, TypeError) as error:
                what, _, remedy = str(error).partition("; ")
                raise Refusal("size_unread", said=what, **where, hint=remedy or None, such=None if remedy else f"{kind}_ft") from None
            if not np.isfinite(out[k]) or out[k] <= 0:
                raise Refusal("size_not_above_zero", value=str(value), quantity=kind, **where)
            if out[k] > TALLEST_M:
                raise Refusal("size_beyond_sense", value=str(value), quantity=kind, **where)
    return out
