"""Our folium pieces: a map that needs no network, layers made from plain data, and the page around them.

Stock folium links to scripts and styles on the net, and runs what it is given through its template engine a
second time; every piece here carries all it needs, and hands its text to the page untouched and as data.
"""

from __future__ import annotations

import base64
import json
import re
from dataclasses import asdict, dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, Final, cast

import folium
import numpy as np
from branca.element import Element
from folium.map import Layer

from setout.draw import palette
from setout.draw.carried import LEAFLET, carried
from setout.draw.page import environment, script_json, template_text

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

SCRIPTS: Final = (
    "geodesy.js",
    "canvas.js",
    "treelayer.js",
    "lines.js",
    "shapes.js",
    "panel.js",
    "view.js",
    "measure.js",
    "locate.js",
    "print.js",
    "start.js",
)
MAX_ZOOM: Final = 24

Rings = tuple["NDArray[np.float64]", "NDArray[np.int64]", "Sequence[tuple[str, str]]"]
"""Points of all rings of a shape, how many each ring has, and what to say of the shape."""


class Raw(Element):
    """Text that reaches the page as it is: no template engine looks into it."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self._name = "Raw"
        self.text = text

    def render(self, **_: Any) -> str:
        """Return the text."""
        return self.text


@cache
def leaflet() -> tuple[str, str]:
    """Return Leaflet's script and style from its wheel, pictures inlined."""
    style = re.sub(r"/\*.*?\*/", "", carried(LEAFLET, "leaflet.css").decode("utf-8"), flags=re.DOTALL)
    style = re.sub(r"url\(images/([\w.-]+)\)", lambda m: f"url({_data_uri(m.group(1))})", style)
    script = re.sub(r"//# sourceMappingURL=\S+", "", carried(LEAFLET, "leaflet.js").decode("utf-8"))
    return f"/*! Leaflet\n\n{template_text('leaflet-licence.txt')}*/\n{script}", style


def _data_uri(name: str) -> str:
    return "data:image/png;base64," + base64.b64encode(carried(LEAFLET, f"images/{name}")).decode("ascii")


class OfflineMap(folium.Map):
    """A folium map whose page carries its scripts, styles and pictures, and has its own frame around the map.

    Takes other folium layers like any map, as long as they need nothing but Leaflet.
    """

    def __init__(self, page: Mapping[str, Any], location: tuple[float, float]) -> None:
        super().__init__(location=location, tiles=None, zoom_start=16)
        self._name = "Map"
        self.default_js, self.default_css = [], []  # stock folium's come from the net
        self.page = page

    def render(self, **kwargs: Any) -> str:
        """Put frame, scripts and the map itself into the page, then every layer."""
        figure: Any = self.get_root()
        figure._template = environment().get_template("map.html")  # noqa: SLF001 - folium's way to set a page
        figure.page, figure.map_id = self.page, self.get_name()
        figure.leaflet_js, figure.leaflet_css = leaflet()
        marks = f"setout.MARKS = {script_json(palette.MARKS)};"
        figure.own_js = "\n".join([*(template_text(name) for name in SCRIPTS), marks])
        figure.own_css = template_text("map.css")
        options = {
            "center": self.location,
            "zoom": 16,
            "maxZoom": MAX_ZOOM,
            "minZoom": 2,
            "zoomControl": False,
            "attributionControl": False,
            "zoomSnap": 0.25,
            "zoomDelta": 1,
            "wheelPxPerZoomLevel": 90,
        }
        name = self.get_name()
        figure.script.add_child(Raw(f'var {name} = setout.map("{name}", {script_json(options)});'), name=name)
        for child in list(self._children.values()):
            child.render(**kwargs)
        return ""

    def save_to(self, path: Path) -> None:
        """Write the page; the same plan gives the same bytes."""
        root = self.get_root()
        number_elements(root)
        path.write_text(root.render(), "utf-8", newline="\n")


def number_elements(root: Element) -> None:
    """Number the elements of a page in their order, in place of folium's random names."""
    for i, element in enumerate(_walk(root)):
        element._id = f"{i}"  # noqa: SLF001 - folium has no public way to name an element


def _walk(element: Element) -> Iterator[Element]:
    yield element
    for child in element._children.values():  # noqa: SLF001 - as above
        yield from _walk(child)


def _add_script(element: Element, line: str) -> None:
    """Put a line of script into an element's page as it is, past folium's second look for template code."""
    figure: Any = element.get_root()
    figure.script.add_child(Raw(line), name=element.get_name())


class PlanLayer(Layer):
    """A layer made by one of our script's functions from plain data."""

    def __init__(self, name: str, make: str, data: object, options: object, *, show: bool = True) -> None:
        super().__init__(name=name, overlay=True, control=True, show=show)
        self._name = "PlanLayer"
        self.make, self.data, self.plan_options = make, data, options

    def render(self, **_: Any) -> str:
        """Put the layer's one line of script into the page."""
        name, parent = self.get_name(), cast(Element, self._parent)
        line = f"var {name} = setout.{self.make}({script_json(self.data)}, {script_json(self.plan_options)});"
        _add_script(self, line + (f" {name}.addTo({parent.get_name()});" if self.show else ""))
        return ""


class Start(Element):
    """The last line of the page's script: gives the tools the map, its layers and what they say."""

    def __init__(self, data: object, layers: Mapping[str, Layer]) -> None:
        super().__init__()
        self._name = "Start"
        self.data, self.layers = data, layers

    def render(self, **_: Any) -> str:
        """Put the line into the page."""
        parent = cast(Element, self._parent)
        table = ",".join(f"{json.dumps(key)}:{layer.get_name()}" for key, layer in self.layers.items())
        _add_script(self, f"setout.start({parent.get_name()}, {script_json(self.data)}, {{{table}}});")
        return ""


@dataclass(frozen=True, slots=True)
class Look:
    """How outlines are drawn: colours, width [px], dashes, name of a hatch, and the pane they lie in."""

    color: str
    weight: float = 1.5
    fill: str = ""
    fillOpacity: float = 1.0  # noqa: N815 - the words of SVG and Leaflet
    opacity: float = 1.0
    dashArray: str = ""  # noqa: N815 - the words of Leaflet
    pane: str = "ground"
    canvas: bool = False


def shape_layer(name: str, features: Sequence[Rings], look: Look, *, closed: bool, show: bool = True) -> PlanLayer:
    """Make a layer of outlines or lines."""
    points = np.concatenate([f[0] for f in features]) if features else np.empty((0, 2))
    data = {
        **_in_steps(points),
        "features": [{"rings": f[1].tolist(), "about": [list(row) for row in f[2]]} for f in features],
        "closed": closed,
    }
    return PlanLayer(name, "shapes", data, asdict(look), show=show)


def _in_steps(points: NDArray[np.float64]) -> dict[str, Any]:
    """Return points, Web Mercator [m], as whole millimetres from an origin."""
    origin = np.floor(points.min(axis=0) * 1000) if len(points) else np.zeros(2)
    steps = np.rint(points * 1000 - origin).astype("<i4")
    return {"origin": [int(v) for v in origin], "points": base64.b64encode(steps.tobytes()).decode("ascii")}


def line_layer(
    name: str,
    lines: Sequence[tuple[NDArray[np.float64], NDArray[np.int64]]],
    options: Mapping[str, Any],
    *,
    about: Mapping[str, Any] | None = None,
    show: bool = True,
) -> PlanLayer:
    """Make a layer of many lines, drawn on one canvas."""
    points = np.concatenate([line[0] for line in lines]) if lines else np.empty((0, 2))
    data = {
        **_in_steps(points),
        "lengths": [int(k) for line in lines for k in line[1]],
        "of": [i for i, line in enumerate(lines) for _ in line[1]],
        "about": about,
    }
    return PlanLayer(name, "lines", data, dict(options), show=show)
