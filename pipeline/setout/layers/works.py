"""What is built beside the trees: beds, posts and screens."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from setout.layers.columns import Coded, Points
from setout.layers.contract import Column, LayerContract, must
from setout.layers.data import LayerData
from setout.layers.places import Outer
from setout.model import Ints, Planting

BEDS: Final = LayerContract(
    "beds",
    "MULTIPOLYGON",
    (
        must("bed_id", "text", "", "block-row-number"),
        must("block", "text", "", "name of the block"),
        must("row", "int", "", "row number in the block, from 1"),
        must("area_m2", "real", "m2", "area on the ground"),
        must("plants", "int", "", "plants in it"),
        Column("mulch_m3", "real", "m3", "mulch to the depth the plan asks"),
    ),
    "Raised beds",
)


POSTS: Final = LayerContract(
    "posts",
    "POINT",
    (
        must("post_id", "text", "", "block-row-number"),
        must("block", "text", "", "name of the block"),
        must("row", "int", "", "row number in the block, from 1"),
        must("kind", "text", "", "end or line"),
    ),
    "Trellis posts",
)


SCREENS: Final = LayerContract(
    "screens",
    "MULTILINESTRING",
    (
        must("block", "text", "", "name of the block"),
        Column("purpose", "text", "", "hide or shade"),
        must("row", "int", "", "line of the screen, from 1"),
        must("length_m", "real", "m", "length of its pieces: gaps where nothing is planted are left out"),
        must("trees", "int", "", "plants in the line"),
        Column("height_m", "real", "m", "mature height of its tallest plant"),
        Column("yard_m", "real", "m", "distance from the yard that it serves"),
    ),
    "Screens",
)


def works_layers(planting: Planting, outer: Outer) -> Iterator[LayerData]:
    """Yield the layers of beds, posts and screens that a planting has."""
    works, site = planting.works, planting.site
    names = [block.name for block in site.blocks]
    if len(works.bed):
        area = shapely.area(works.bed)
        beds = [block.pattern.bed for block in site.blocks]
        mulch = np.array([0.0 if bed is None else bed.mulch_m for bed in beds])[works.bed_block]
        yield LayerData(
            BEDS,
            {
                "bed_id": numbered(names, works.bed_block, works.bed_row),
                "block": Coded(names, works.bed_block),
                "row": works.bed_row,
                "area_m2": area,
                "plants": _plants_a_bed(planting),
                "mulch_m3": area * mulch,
            },
            outer(works.bed),
        )
    if len(works.post_x):
        x, y = site.frame.to(site.frame.survey_crs, works.post_x, works.post_y)
        yield LayerData(
            POSTS,
            {
                "post_id": numbered(names, works.post_block, works.post_row),
                "block": Coded(names, works.post_block),
                "row": works.post_row,
                "kind": Coded(["line", "end"], works.post_end.astype(np.int64)),
            },
            Points(x, y),
        )
    yield from _screens(planting, outer)


def numbered(names: list[str], block: Ints, row: Ints) -> NDArray[np.object_]:
    """Return ids block-row-number, counted from 1 in every row.

    >>> numbered(["V"], np.array([0, 0, 0]), np.array([1, 1, 2])).tolist()
    ['V-1-1', 'V-1-2', 'V-2-1']
    """
    new = np.append(True, (block[1:] != block[:-1]) | (row[1:] != row[:-1]))[: len(block)]
    first = np.flatnonzero(new)
    count = np.diff(np.append(first, len(block)))
    number = np.arange(len(block)) - np.repeat(first, count) + 1
    out = np.empty(len(block), object)
    out[:] = [f"{names[b]}-{r}-{n}" for b, r, n in zip(block.tolist(), row.tolist(), number.tolist(), strict=True)]
    return out


def _plants_a_bed(planting: Planting) -> Ints:
    """Return how many plants stand in every bed: a block's beds are all alike."""
    works, trees = planting.works, planting.trees
    beds = np.bincount(works.bed_block, minlength=len(planting.site.blocks))
    plants = np.bincount(trees.block, minlength=len(planting.site.blocks))
    each = plants // np.maximum(beds, 1)
    out: Ints = each[works.bed_block].astype(np.int64)
    return out


def _screens(planting: Planting, outer: Outer) -> Iterator[LayerData]:
    """Yield the lines of the screens, one for every line of plants."""
    site, rows = planting.site, planting.rows
    screens = [k for k, block in enumerate(site.blocks) if block.pattern.kind == "screen"]
    own = np.flatnonzero(np.isin(rows.block, screens))
    if not len(own):
        return
    lines = rows.line[own]
    blocks = [site.blocks[k] for k in rows.block[own].tolist()]
    yard = [np.nan if block.yard is None else float(shapely.distance(block.yard, line)) for block, line in zip(blocks, lines, strict=True)]
    yield LayerData(
        SCREENS,
        {
            "block": np.array([block.name for block in blocks], object),
            "purpose": np.array([block.purpose for block in blocks], object),
            "row": rows.row[own],
            "length_m": shapely.length(lines),
            "trees": rows.trees[own],
            "height_m": np.array([block.height_m for block in blocks]),
            "yard_m": np.array(yard),
        },
        outer(lines),
    )
