"""What falls short or should be known."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
import shapely

from setout.layers.columns import texts
from setout.layers.contract import Column, LayerContract, must
from setout.layers.data import LayerData, layer_of
from setout.layers.places import Outer
from setout.model import Planting
from setout.words.findings import all_told

FINDINGS: Final = LayerContract(
    "findings",
    "GEOMETRY",
    (
        must("code", "text", "", "stable short word"),
        must("severity", "text", "", "note, warn or stop"),
        Column("tree_id", "text", "", "the tree at fault, if one is"),
        must("message", "text", "", "what and where, in plain words"),
        Column("measured", "text", "", "the figure found, with its unit"),
        Column("required", "text", "", "the figure asked for, with its unit"),
        Column("remedy", "text", "", "what mends it"),
    ),
    "Findings",
)


def findings_layer(planting: Planting, outer: Outer) -> Iterator[LayerData]:
    """Yield a row a finding; of one that is of many trees, a row each."""
    findings = all_told(planting.findings, planting.site.units)
    columns = {
        name: np.repeat(texts([getattr(f, name) for f in findings]), [f.count for f in findings])
        for name in ("code", "severity", "tree_id", "message", "measured", "required", "remedy")
    }
    geometry = np.repeat(texts([f.geometry for f in findings]), [f.count for f in findings])  # type: ignore[misc]
    start = 0
    for finding in findings:
        if finding.trees is not None:
            own = slice(start, start + finding.count)
            names = planting.trees.ids[finding.trees]
            columns["tree_id"][own] = names
            columns["message"][own] = [f"tree {name} {finding.each}" for name in names.tolist()]
            geometry[own] = shapely.points(planting.trees.x[finding.trees], planting.trees.y[finding.trees])
        start += finding.count
    yield layer_of(FINDINGS, outer(geometry), **columns)
