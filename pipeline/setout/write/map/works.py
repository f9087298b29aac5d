"""The map's layers of what is built beside the trees: raised beds, trellis posts, screens and the yards they serve."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from setout.draw import palette
from setout.layers.works import numbered
from setout.units import show_area, show_length
from setout.words.amounts import show_volume
from setout.words.systems import PURPOSES
from setout.write.map import treedata
from setout.write.map.leaflet import Look, PlanLayer, shape_layer
from setout.write.map.outlines import COUNT, Entry

if TYPE_CHECKING:
    from collections.abc import Iterator

    from setout.model import Planting
    from setout.write.map.outlines import Drawer, Drawn

MOST_TOLD: Final = 4000
"""Beds up to which each tells about itself; above, they are drawn on one canvas."""


def beds(drawer: Drawer) -> Iterator[Drawn]:
    """Yield the raised beds."""
    works, site = drawer.planting.works, drawer.planting.site
    if not len(works.bed):
        return
    many = len(works.bed) > MOST_TOLD
    look = Look(palette.BED_EDGE, 1.1, fill=palette.BED, fillOpacity=0.75, pane="lines" if many else "beds", canvas=many)
    if many:
        features = [drawer.rings(shapely.MultiPolygon(list(works.bed)))]
    else:
        names = numbered([block.name for block in site.blocks], works.bed_block, works.bed_row)
        features = [
            drawer.rings(bed, _about_bed(drawer.planting, int(block), str(name), float(bed.area)))
            for bed, block, name in zip(works.bed, works.bed_block, names, strict=True)
        ]
    layer = shape_layer("Raised beds", features, look, closed=True)
    swatch = palette.swatch_box(palette.BED, palette.BED_EDGE)
    yield Entry("beds", "Raised beds", swatch, "Planting", COUNT.format(len(works.bed))), layer


def _about_bed(planting: Planting, block: int, name: str, area: float) -> list[tuple[str, str]]:
    bed, units = planting.site.blocks[block].pattern.bed, planting.site.units
    about = [("Raised bed", name)]
    if bed is not None:
        size = f"{show_length(bed.length_m, units)} by {show_length(bed.width_m, units)}"
        about += [("Size", size), ("Area", show_area(area, units)), ("Mulch", show_volume(area * bed.mulch_m, units))]
    return about


def posts(planting: Planting) -> Iterator[Drawn]:
    """Yield the posts of trellis rows, end posts larger."""
    works = planting.works
    if not len(works.post_x):
        return
    x, y = treedata.frame_to_mercator(planting, works.post_x, works.post_y)
    block = treedata.point_block(x, y, [treedata.Field("end", "", works.post_end.astype(float))])
    options = {"colour": palette.POST, "earth": treedata.earth(planting), "pane": "lines"}
    layer = PlanLayer("Trellis posts", "posts", block, options)
    count = COUNT.format(len(works.post_x))
    yield Entry("posts", "Trellis posts, larger at row ends", palette.SWATCH_POSTS, "Planting", count), layer


def screens(drawer: Drawer) -> Iterator[Drawn]:
    """Yield the lines of screens, a layer a purpose, and the yards that they serve."""
    planting = drawer.planting
    site, rows = planting.site, planting.rows
    wanted = [i for i, block in enumerate(site.blocks) if block.pattern.kind == "screen"]
    own = np.flatnonzero(np.isin(rows.block, wanted))
    if not own.size:
        return
    yield from _yards(drawer)
    lines = rows.line
    for number, purpose in enumerate(dict.fromkeys(site.blocks[i].purpose for i in rows.block[own].tolist())):
        mine = [row for row in own.tolist() if site.blocks[int(rows.block[row])].purpose == purpose]
        features = [drawer.rings(lines[row], _about_screen(planting, row, float(lines[row].length))) for row in mine]
        look = Look(palette.SCREEN, 6.0, opacity=0.85, pane="beds")
        title = PURPOSES.get(purpose, "Screen")
        layer = shape_layer(title, features, look, closed=False)
        yield Entry(f"screen{number}", title, palette.SWATCH_SCREEN, "Planting", COUNT.format(len(mine))), layer


def _about_screen(planting: Planting, row: int, length: float) -> list[tuple[str, str]]:
    block, units = planting.site.blocks[int(planting.rows.block[row])], planting.site.units
    height = show_length(block.height_m, units) if np.isfinite(block.height_m) else ""
    about = [
        ("Screen", f"Block {block.name}"),
        ("Purpose", block.purpose),
        ("Length", show_length(length, units)),
        ("Trees", COUNT.format(int(planting.rows.trees[row]))),
        ("Mature height", height),
    ]
    return [entry for entry in about if entry[1]]


def _yards(drawer: Drawer) -> Iterator[Drawn]:
    features = [
        drawer.rings(b.yard, (("Yard of a screen", f"Block {b.name}"), ("Area", show_area(b.yard.area, drawer.units))))
        for b in drawer.planting.site.blocks
        if b.pattern.kind == "screen" and b.yard is not None
    ]
    if features:
        look = Look(palette.YARD, 2.0, fill=palette.YARD, fillOpacity=0.08, dashArray="1 5")
        layer = shape_layer("Yard that a screen serves", features, look, closed=True)
        swatch = palette.swatch_box(palette.YARD, palette.YARD, dash="1 3", opacity=0.1)
        yield Entry("yards", "Yard that a screen serves", swatch, "Planting"), layer
