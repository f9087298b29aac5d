"""The map's layers of cold air: hollows in which it stands on still nights, and the ways by which it flows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from setout.draw import palette
from setout.units import show_area, show_length
from setout.write.map.leaflet import Look, line_layer, shape_layer
from setout.write.map.outlines import COUNT, Entry

if TYPE_CHECKING:
    from collections.abc import Iterator

    from setout.write.map.outlines import Drawer, Drawn


def cold_air(drawer: Drawer) -> Iterator[Drawn]:
    """Yield hollows and ways of cold air; the ways are shown when asked for. Nothing where it was not looked at."""
    air = drawer.planting.cold_air
    if air is None:
        return
    if air.paths:
        options = {"colours": [palette.COLD], "widths": [1.8], "opacity": 0.9, "pane": "lines", "dash": [2, 5]}
        packed = [drawer.rings(path)[:2] for path in air.paths]
        layer = line_layer("Ways of cold air", packed, options | drawer.earth, show=False)
        swatch = palette.swatch_curve(palette.COLD, 1.8, "2 4")
        count = COUNT.format(len(air.paths))
        yield Entry("coldways", "Ways of cold air", swatch, "Terrain", count, on=False), layer
    if air.hollows:
        units = drawer.units
        features = [
            drawer.rings(
                hollow.area,
                (
                    ("Cold air", "stands here on still nights"),
                    ("Depth below the spill", show_length(hollow.depth_m, units, 1)),
                    ("Area", show_area(hollow.area.area, units)),
                    ("Ground that drains into it", show_area(hollow.upslope_m2, units)),
                ),
            )
            for hollow in air.hollows
        ]
        look = Look(palette.COLD, 1.6, fill=palette.COLD, fillOpacity=0.16, dashArray="1 4")
        hollows = shape_layer("Hollows of cold air", features, look, closed=True)
        swatch = palette.swatch_box(palette.COLD, palette.COLD, dash="1 3", opacity=0.2)
        yield Entry("hollows", "Hollows of cold air", swatch, "Terrain", COUNT.format(len(features))), hollows
