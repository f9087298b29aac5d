"""Assign: which plant stands at which position.

A block's plants are dealt out along its walking order so that every count is exact (largest remainders) and each plant
is spread evenly, not bunched.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from setout.nouns import Block, Trees


def counts_of(shares: Sequence[float], size: int) -> NDArray[np.int64]:
    """Share positions out by the method of largest remainders.

    Parameters
    ----------
    shares : Sequence of float
        Shares above zero, of any sum.
    size : int
        Positions.

    Returns
    -------
    ndarray of int
        Counts that sum to size; each is its exact quota rounded down or up.

    Examples
    --------
    >>> counts_of([8, 1], 100)
    array([89, 11])
    """
    quota = np.asarray(shares, float) / sum(shares) * size
    counts = np.floor(quota).astype(np.int64)
    rest = np.argsort(-(quota - counts), kind="stable")[: size - int(counts.sum())]
    counts[rest] += 1
    return counts


def dealt(counts: NDArray[np.int64]) -> NDArray[np.int32]:
    """Deal kinds out evenly along a line.

    Parameters
    ----------
    counts : (k,) ndarray of int
        How many of each kind.

    Returns
    -------
    (n,) ndarray of int
        Index of the kind at every place, n the sum of counts.

    Examples
    --------
    >>> dealt(np.array([6, 2])).tolist()
    [0, 1, 0, 0, 0, 0, 1, 0]
    """
    place = np.concatenate([(np.arange(c) + 0.5) / c for c in counts if c] or [np.empty(0)])
    kind = np.repeat(np.arange(len(counts)), counts)
    return kind[np.lexsort((kind, np.round(place, 12)))].astype(np.int32)


def assign(trees: Trees, blocks: Sequence[Block]) -> Trees:
    """Give every position of every block its plant.

    Parameters
    ----------
    trees : Trees
        In walking order.
    blocks : Sequence of Block
        The blocks with their plants and shares.

    Returns
    -------
    Trees
        The same with ``plant`` set; -1 in blocks that name no plant.
    """
    plant = np.full(len(trees), -1, np.int32)
    for index, block in enumerate(blocks):
        own = np.flatnonzero(trees.block == index)
        if block.plants:
            plant[own] = dealt(counts_of([p.share for p in block.plants], len(own)))
    return replace(trees, plant=plant)
