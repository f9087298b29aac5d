"""How the layers look when they are opened: a style for each, as QML and as OGC SLD, for layer_styles.

The table is a convention that desktop programs share, no part of the GeoPackage standard; SLD 1.1 with
Symbology Encoding 1.1 (OGC 05-078r4, 05-077r4) is the open one of the two texts. Colours come from two
published sets that people with any kind of colour vision tell apart: Okabe and Ito, "Color Universal
Design" (2008), for what is planted and told, and Tol, "Colour Schemes" (SRON/EPS/TN/09-002, 2021, scheme
"muted"), for ground that is taken out. Where colours run out, shapes of points change too.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal
from xml.sax.saxutils import escape, quoteattr

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from setout.layers import LayerContract

LAYER_STYLES_TABLE: Final = """CREATE TABLE layer_styles (id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
  f_table_catalog TEXT, f_table_schema TEXT, f_table_name TEXT, f_geometry_column TEXT, styleName TEXT,
  styleQML TEXT, styleSLD TEXT, useAsDefault BOOLEAN, description TEXT, owner TEXT, ui TEXT,
  update_time DATETIME)"""

BLACK, ORANGE, SKY, GREEN = "#000000", "#E69F00", "#56B4E9", "#009E73"
YELLOW, BLUE, VERMILLION, PURPLE = "#F0E442", "#0072B2", "#D55E00", "#CC79A7"
GREY: Final = "#666666"
PLANTED: Final = (GREEN, ORANGE, BLUE, PURPLE, SKY, VERMILLION, YELLOW)
"""Colours of blocks, in order (Okabe and Ito without black)."""
TAKEN: Final = ("#CC6677", "#332288", "#DDCC77", "#117733", "#88CCEE", "#882255", "#44AA99", "#999933", "#AA4499")
"""Colours of reasons, in order (Tol, "muted")."""
SHAPES: Final = ("circle", "square", "triangle", "star")
"""Shapes of points; names that QML and the well-known names of Symbology Encoding share."""
FIELD: Final = {
    "asbuilt": (
        ("in place", GREEN, "circle"),
        ("off its place", ORANGE, "circle"),
        ("swapped", BLUE, "triangle"),
        ("at another's place", SKY, "triangle"),
        ("doubled", PURPLE, "star"),
        ("extra", VERMILLION, "square"),
    ),
    "places": (("planted", GREY, "circle"), ("missing", VERMILLION, "star"), ("not surveyed", YELLOW, "circle")),
}
"""Classes of what came back from the field: status, colour, shape."""
MM_TO_PIXELS: Final = 1 / 0.28
"""Symbology Encoding takes a pixel of 0.28 mm as standard."""


@dataclass(frozen=True, slots=True)
class Symbol:
    """How one class looks: widths and sizes in mm, opacity of the fill 0 to 1, dash a list of mm or empty."""

    kind: Literal["marker", "line", "fill"]
    colour: str
    label: str
    value: str = ""
    outline: str = BLACK
    width: float = 0.2
    size: float = 1.6
    shape: str = "circle"
    opacity: float = 1.0
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class StyleRow:
    """One style: the layer it is for, its name, both texts and what it shows."""

    layer: str
    name: str
    qml: str
    sld: str
    description: str


def style_rows(contracts: Sequence[LayerContract], labels: Mapping[str, Sequence[str]]) -> list[StyleRow]:
    """Return the styles of the layers present.

    >>> from setout.layers import CONTRACTS
    >>> rows = style_rows([CONTRACTS["trees"], CONTRACTS["land_account"]], {"block": ["A", "B"]})
    >>> [(row.layer, row.description) for row in rows]
    [('trees', 'Trees by block')]
    """
    rows = []
    for contract in contracts:
        if contract.geometry is None:
            continue
        attribute, symbols = _design(contract.name, labels)
        title = f"{contract.title} by {attribute}" if attribute else contract.title
        texts = _qml(attribute, symbols), _sld(contract.name, attribute, symbols)
        rows.append(StyleRow(contract.name, f"setout {contract.name}", *texts, title))
    return rows


def _design(layer: str, labels: Mapping[str, Sequence[str]]) -> tuple[str, list[Symbol]]:
    """Return the column that classes come from, "" for none, and the classes."""
    blocks, reasons = labels.get("block", ()), labels.get("reason", ())
    if layer == "exclusions" and reasons:
        colours = [TAKEN[i % len(TAKEN)] for i in range(len(reasons))]
        pairs = zip(colours, reasons, strict=True)
        return "reason", [Symbol("fill", c, r, r, outline=c, width=0.2, opacity=0.35) for c, r in pairs]
    if layer == "trees" and blocks:
        symbols = []
        for i, block in enumerate(blocks):
            shape = SHAPES[i // len(PLANTED) % len(SHAPES)]
            symbols.append(Symbol("marker", PLANTED[i % len(PLANTED)], block, block, width=0.1, shape=shape))
        return "block", symbols
    if layer == "findings":
        classes = (("note", SKY, "circle"), ("warn", ORANGE, "triangle"), ("stop", VERMILLION, "square"))
        return "severity", [Symbol("marker", c, s, s, size=3.0, shape=shape) for s, c, shape in classes]
    if layer in ("asbuilt", "places"):
        return "status", [Symbol("marker", c, s, s, size=2.0, shape=shape) for s, c, shape in FIELD[layer]]
    plain = {
        "offsets": Symbol("line", BLUE, "from planned place to tree", width=0.4),
        "boundary": Symbol("fill", BLACK, "property boundary", width=0.8, opacity=0.0),
        "exclusions": Symbol("fill", TAKEN[0], "ground kept clear", outline=TAKEN[0], opacity=0.35),
        "height_limits": Symbol("fill", VERMILLION, "height limit", outline=VERMILLION, width=0.4, opacity=0.0, dash=(2.0, 1.0)),
        "reach": Symbol("fill", BLUE, "reach of water", outline=BLUE, width=0.3, opacity=0.08, dash=(1.0, 1.0)),
        "usable": Symbol("fill", GREEN, "usable ground", outline=GREEN, opacity=0.15),
        "rows": Symbol("line", GREY, "row"),
        "trees": Symbol("marker", GREEN, "tree", width=0.1),
        "beds": Symbol("fill", ORANGE, "raised bed", outline=ORANGE, width=0.3, opacity=0.25),
        "posts": Symbol("marker", BLACK, "trellis post", size=1.2, width=0.1, shape="square"),
        "screens": Symbol("line", GREEN, "screen", width=0.8, dash=(3.0, 1.5)),
        "laterals": Symbol("line", SKY, "lateral", width=0.3),
        "manifolds": Symbol("line", BLUE, "manifold", width=0.7),
        "water_points": Symbol("marker", BLUE, "water point", size=4.0, shape="square"),
        "contours": Symbol("line", TAKEN[7], "contour", width=0.15),
    }
    return "", [plain[layer]]


def _rgb(colour: str, opacity: float = 1.0) -> str:
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"{red},{green},{blue},{round(255 * opacity)}"


def _qml(attribute: str, symbols: Sequence[Symbol]) -> str:
    kind = "categorizedSymbol" if attribute else "singleSymbol"
    named = f" attr={quoteattr(attribute)}" if attribute else ""
    parts = [
        "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>",
        '<qgis version="3.22" styleCategories="Symbology">',
        f'<renderer-v2 type="{kind}"{named} enableorderby="0" forceraster="0" symbollevels="0">',
    ]
    if attribute:
        parts.append("<categories>")
        for number, symbol in enumerate(symbols):
            value, label = quoteattr(_plain(symbol.value)), quoteattr(_plain(symbol.label))
            parts.append(f'<category render="true" symbol="{number}" value={value} label={label}/>')
        parts.append("</categories>")
    parts.append("<symbols>")
    parts.extend(_qml_symbol(number, symbol) for number, symbol in enumerate(symbols))
    return "\n".join([*parts, "</symbols>", "</renderer-v2>", "</qgis>", ""])


def _qml_symbol(number: int, symbol: Symbol) -> str:
    dash = ";".join(f"{mm:g}" for mm in symbol.dash)
    if symbol.kind == "marker":
        name = "SimpleMarker"
        values = {
            "color": _rgb(symbol.colour, symbol.opacity),
            "name": symbol.shape,
            "outline_color": _rgb(symbol.outline),
            "outline_width": f"{symbol.width:g}",
            "outline_width_unit": "MM",
            "size": f"{symbol.size:g}",
            "size_unit": "MM",
        }
    elif symbol.kind == "line":
        name = "SimpleLine"
        values = {"line_color": _rgb(symbol.colour), "line_width": f"{symbol.width:g}", "line_width_unit": "MM"}
        if dash:
            values |= {"use_custom_dash": "1", "customdash": dash, "customdash_unit": "MM"}
    else:
        name = "SimpleFill"
        values = {
            "color": _rgb(symbol.colour, symbol.opacity),
            "style": "solid" if symbol.opacity else "no",
            "outline_color": _rgb(symbol.outline),
            "outline_style": "dash" if dash else "solid",
            "outline_width": f"{symbol.width:g}",
            "outline_width_unit": "MM",
        }
    # both spellings of a property: older programs read prop, newer ones Option
    options = "".join(f'<Option name="{k}" value="{v}" type="QString"/>' for k, v in values.items())
    props = "".join(f'<prop k="{k}" v="{v}"/>' for k, v in values.items())
    return (
        f'<symbol type="{symbol.kind}" name="{number}" alpha="1" clip_to_extent="1" force_rhr="0">'
        f'<layer class="{name}" enabled="1" locked="0" pass="0">'
        f'<Option type="Map">{options}</Option>{props}</layer></symbol>'
    )


def _sld(layer: str, attribute: str, symbols: Sequence[Symbol]) -> str:
    rules = "".join(_sld_rule(attribute, symbol) for symbol in symbols)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<StyledLayerDescriptor version="1.1.0" xmlns="http://www.opengis.net/sld"'
        ' xmlns:ogc="http://www.opengis.net/ogc" xmlns:se="http://www.opengis.net/se">\n'
        f"<NamedLayer><se:Name>{layer}</se:Name><UserStyle><se:Name>setout {layer}</se:Name>"
        f"<se:FeatureTypeStyle>\n{rules}</se:FeatureTypeStyle></UserStyle></NamedLayer>\n"
        "</StyledLayerDescriptor>\n"
    )


def _sld_rule(attribute: str, symbol: Symbol) -> str:
    label = escape(_plain(symbol.label))
    chosen = ""
    if attribute:
        chosen = (
            f"<ogc:Filter><ogc:PropertyIsEqualTo><ogc:PropertyName>{attribute}</ogc:PropertyName>"
            f"<ogc:Literal>{escape(_plain(symbol.value))}</ogc:Literal></ogc:PropertyIsEqualTo></ogc:Filter>"
        )
    head = f"<se:Rule><se:Name>{label}</se:Name><se:Description><se:Title>{label}</se:Title></se:Description>"
    return f"{head}{chosen}{_sld_symbol(symbol)}</se:Rule>\n"


def _sld_symbol(symbol: Symbol) -> str:
    fill = ""
    if symbol.opacity and symbol.kind != "line":
        shade = f'<se:SvgParameter name="fill-opacity">{symbol.opacity:g}</se:SvgParameter>'
        fill = f'<se:Fill><se:SvgParameter name="fill">{symbol.colour}</se:SvgParameter>{shade}</se:Fill>'
    stroke = {"stroke": symbol.colour if symbol.kind == "line" else symbol.outline, "stroke-width": f"{symbol.width * MM_TO_PIXELS:.2f}"}
    if symbol.dash:
        stroke["stroke-dasharray"] = " ".join(f"{mm * MM_TO_PIXELS:.1f}" for mm in symbol.dash)
    values = "".join(f'<se:SvgParameter name="{k}">{v}</se:SvgParameter>' for k, v in stroke.items())
    drawn = f"{fill}<se:Stroke>{values}</se:Stroke>"
    if symbol.kind == "line":
        return f"<se:LineSymbolizer>{drawn}</se:LineSymbolizer>"
    if symbol.kind == "fill":
        return f"<se:PolygonSymbolizer>{drawn}</se:PolygonSymbolizer>"
    size = f"<se:Size>{symbol.size * MM_TO_PIXELS:.2f}</se:Size>"
    mark = f"<se:Mark><se:WellKnownName>{symbol.shape}</se:WellKnownName>{drawn}</se:Mark>"
    return f"<se:PointSymbolizer><se:Graphic>{mark}{size}</se:Graphic></se:PointSymbolizer>"


def _plain(text: str) -> str:
    """Leave out what XML cannot hold."""
    return "".join(c if c.isprintable() else " " for c in text)
