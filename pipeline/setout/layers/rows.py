"""Row lines."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from setout.layers.columns import Coded
from setout.layers.contract import LayerContract, must
from setout.layers.data import LayerData, layer_of
from setout.layers.places import Outer
from setout.model import Planting

ROWS: Final = LayerContract(
    "rows",
    "MULTILINESTRING",
    (
        must("row_id", "text", "", "block-row"),
        must("block", "text", "", "name of the block"),
        must("row", "int", "", "row number in the block, from 1"),
        must("bearing_deg", "real", "deg", "bearing from true north, clockwise, 0 to 180"),
        must("length_m", "real", "m", "length of its pieces: gaps where nothing is planted are left out"),
        must("trees", "int", "", "trees in the row"),
    ),
    "Rows",
)


def rows_layer(planting: Planting, outer: Outer) -> Iterator[LayerData]:
    """Yield the rows, gaps left out of their lines."""
    rows = planting.rows
    names = [block.name for block in planting.site.blocks]
    yield layer_of(
        ROWS,
        outer(rows.line),
        row_id=row_ids(names, rows.block, rows.row),
        block=Coded(names, rows.block),
        row=rows.row,
        bearing_deg=rows.bearing_deg,
        length_m=rows.length_m,
        trees=rows.trees,
    )


def row_ids(names: Sequence[str], block: NDArray[Any], row: NDArray[Any]) -> NDArray[np.object_]:
    """Return row ids, block-row, the row number as wide as the block's last.

    >>> row_ids(["A"], np.array([0, 0]), np.array([7, 12])).tolist()
    ['A-07', 'A-12']
    """
    widths = {b: len(str(int(row[block == b].max()))) for b in np.unique(block)}
    out = np.empty(len(row), object)
    out[:] = [f"{names[b]}-{r:0{widths[b]}d}" for b, r in zip(block.tolist(), row.tolist(), strict=True)]
    return out
