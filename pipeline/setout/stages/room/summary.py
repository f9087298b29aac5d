"""The summary of a block's room, and the figures of the trade that it is judged by."""

from __future__ import annotations

from typing import Final

HEIGHT_TO_ALLEY: Final = 0.8
"""Greatest height of a hedgerow as a share of its clear alley (common practice, from memory; some go up to 1.0)."""
LIGHT_EXTRA_M: Final = 1.0
"""What is added to half the row distance for the height with the best light [m] (fruit encyclopedia, chapter on orchard
design and tree quality)."""


def height_for_alley(clear_alley_m: float) -> float:
    """Return how tall a hedgerow may grow beside a clear alley.

    Parameters
    ----------
    clear_alley_m : float
        Clear width between the canopies of two rows [m].

    Returns
    -------
    float
        Height [m]: 0.8 of the alley (common practice, from memory).

    Examples
    --------
    Rows 20 ft apart with canopies 7 ft wide:

    >>> round(height_for_alley((20 - 7) * 0.3048) / 0.3048, 3)
    10.4
    """
    return HEIGHT_TO_ALLEY * max(clear_alley_m, 0.0)


def height_for_light(row_distance_m: float) -> float:
    """Return the tree height with the best light.

    Parameters
    ----------
    row_distance_m : float
        Distance between row lines [m].

    Returns
    -------
    float
        Height [m]: half the row distance and 1 m (fruit encyclopedia, chapter on orchard design and tree quality).

    Examples
    --------
    >>> [round(height_for_light(rows * 0.3048) / 0.3048, 2) for rows in (12, 16, 20, 24)]
    [9.28, 11.28, 13.28, 15.28]
    """
    return row_distance_m / 2 + LIGHT_EXTRA_M
