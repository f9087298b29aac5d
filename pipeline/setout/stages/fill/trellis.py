"""Posts, anchors and wire of trellis rows, straight or not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from setout.model import Floats, Trellis
from setout.stages.fill.ends import Along, stretches
from setout.stages.fill.systems import Laid

BENT = 5e-4
"""Share by which the way from post to post may be longer than asked: round a bend it is, where the straight distance is not."""


def trellised(trellis: Trellis, laid: Laid, u: Floats, along: Along) -> Laid:
    """Set the posts of every stretch of vines: one beyond each end, the others evenly between.

    A gap in the vines ends a stretch where two end posts with their anchors fit into it.
    """
    if not len(u):
        return laid
    first, last = stretches(trellis, u, laid.row)
    low, high = u[first] - trellis.end_m, u[last] + trellis.end_m
    spans = np.maximum(np.ceil((high - low) / trellis.post_m * (1 - BENT) - 1e-9), 1).astype(np.int64)
    owner = np.repeat(np.arange(len(first)), spans + 1)
    number = np.arange(len(owner)) - np.repeat(np.cumsum(spans + 1) - spans - 1, spans + 1)
    x, y = along(low[owner] + number * ((high - low) / spans)[owner], first[owner])
    wire = float(trellis.wires * (high - low + 2 * trellis.anchor_m).sum())
    return replace(
        laid, post_x=x, post_y=y, post_row=laid.row[first][owner], post_end=(number == 0) | (number == spans[owner]), wire_m=wire
    )
