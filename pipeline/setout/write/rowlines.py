"""Rows as lines: straight from tree to tree, or as they run."""

from __future__ import annotations

import numpy as np
import shapely

from setout.nouns import Geometries, Planting


def row_lines(planting: Planting) -> Geometries:
    """Return every row as a line in the frame, those that are not straight as they run.

    Parameters
    ----------
    planting : Planting
        The finished plan.

    Returns
    -------
    (n,) ndarray of shapely lines
        In the order of the rows.
    """
    rows, curved = planting.rows, planting.works.row_line
    ends = np.stack([np.column_stack([rows.x0, rows.y0]), np.column_stack([rows.x1, rows.y1])], axis=1)
    lines = np.asarray(shapely.linestrings(ends), object)
    for number, key in enumerate(zip(rows.block.tolist(), rows.row.tolist(), strict=True)):
        if key in curved:
            lines[number] = curved[key]
    return lines
