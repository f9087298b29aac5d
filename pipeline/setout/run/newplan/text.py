"""A plan file as text: TOML with a comment on every choice."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from setout.model.text import one_line
from setout.planfile.quantities import LONGEST_LABEL
from setout.planfile.schema import SCHEMA_LINE
from setout.tables.usual import HARMLESS, RULE, Figure, Rule, Shape

MOST_SIGNS: Final = 118
"""A longer line is broken [characters]."""
CHECK: Final = "usual figure - check local code"
_CALL: Final = {"us": "call 811 before you dig", "si": "have buried lines marked before you dig"}
_ESCAPES: Final = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\r": "\\r", "\t": "\\t"}


@dataclass(frozen=True, slots=True)
class SurveyedLayer:
    """Features of one layer that are the same kind of thing, as far as a plan file needs to know them.

    Attributes
    ----------
    reference : how the plan file names them, "file:layer" or "file:layer[column=value]"
    title : the name that says what they are
    shape : kind of their geometry
    count : number of features
    group : the reason of a rule, "water points", a reason for leaving them out, or "unsaid"
    columns : names of its attributes
    kinds : attributes that sort the features, with their values
    pressure, flow : whether a water point's pressure and flow can be read
    water_doubt : why the layer cannot be read as water points
    """

    reference: str
    title: str
    shape: Shape
    count: int
    group: str
    columns: tuple[str, ...] = ()
    kinds: tuple[tuple[str, tuple[str, ...]], ...] = ()
    pressure: bool = False
    flow: bool = False
    water_doubt: str = ""


@dataclass(frozen=True, slots=True)
class SurveyedSite:
    """What the survey files told.

    Attributes
    ----------
    name : name for the plan
    units : "us" or "si", what people read
    units_why : why these
    boundary, boundary_note : reference, and what was found there
    dem, dem_note : references, and what was found
    layers : what the features of the feature files are
    crs, dem_unit : what was said for files that do not say it themselves; empty for nothing
    doubts : what the files left in doubt, to be looked at
    """

    name: str
    units: str
    units_why: str
    boundary: str
    boundary_note: str
    dem: tuple[str, ...]
    dem_note: str
    layers: tuple[SurveyedLayer, ...]
    crs: str = ""
    dem_unit: str = ""
    doubts: tuple[str, ...] = ()


def toml_string(text: str) -> str:
    r"""Return a text as a TOML basic string.

    >>> print(toml_string('12" main\\north'))
    "12\" main\\north"
    """
    escaped = (_ESCAPES.get(c, f"\\u{ord(c):04X}" if ord(c) < 0x20 or ord(c) == 0x7F else c) for c in text)
    return f'"{"".join(escaped)}"'


def as_label(text: str) -> str:
    r"""Return a name of a layer or a folder as a plan file's labels take it: words on one line, of no great length.

    >>> as_label("main_road\n2")
    'main road 2'
    """
    return " ".join(one_line(text).replace("_", " ").split())[:LONGEST_LABEL].strip()


def comment(text: str) -> str:
    r"""Return a text as a comment of one line; every sign that is not printable becomes a space.

    >>> comment("roads\nkind = 1")
    '# roads kind = 1'
    """
    return "# " + "".join(c if c.isprintable() else " " for c in text)


def plan_text(site: SurveyedSite) -> str:
    """Return the whole plan file."""
    known = [(layer, RULE.get(layer.group)) for layer in site.layers]
    sections = [_head(site), _site(site), _ground(site), _boundary_setback(site.units)]
    sections += [_setback(layer, rule, site.units) for layer, rule in known if rule and rule.use == "setback"]
    sections += [_no_plant(layer, rule) for layer, rule in known if rule and rule.use == "no_plant"]
    sections += [_height_limit(layer, rule, site.units) for layer, rule in known if rule and rule.height]
    sections += [_left_out(layer) for layer in site.layers if layer.group in HARMLESS]
    sections += [_unsaid(layer) for layer in site.layers if layer.group == "unsaid" or layer.water_doubt]
    sections += [_water(known, site.units), _block(site)]
    return "\n".join("\n".join(section) + "\n" for section in sections if section)


def _head(site: SurveyedSite) -> list[str]:
    return [
        SCHEMA_LINE,
        "# A plan file made from survey files. It plans as it stands; its figures are a start.",
        f"# Check your local code and your permits, and {_CALL[site.units]}.",
        '# Every quantity carries its unit. Paths are relative to this file; "file:layer" picks a layer,',
        '# "file:layer[column=value]" the features whose column has that value.',
        "",
        f"name  = {toml_string(site.name)}",
        f'units = "{site.units}"  {comment(f"what people read, us or si; {site.units_why}")}',
    ]


def _site(site: SurveyedSite) -> list[str]:
    lines = [
        "[site]",
        *(comment(f"look at this: {doubt}") for doubt in site.doubts),
        comment(site.boundary_note),
        f"boundary = {toml_string(site.boundary)}",
    ]
    if site.crs:
        lines.append(f"crs = {toml_string(site.crs)}  # as asked, for files that do not say theirs")
    if site.dem_unit:
        lines.append(f"dem_unit = {toml_string(site.dem_unit)}  # as asked, for a DEM that does not say it")
    if not site.dem:
        return [*lines, '# dem = ["survey/dem.tif"]  # no DEM was named: slope and elevation stay unknown until one is']
    return [*lines, comment(site.dem_note), "dem = [", *(f"  {toml_string(tile)}," for tile in site.dem), "]"]


def _ground(site: SurveyedSite) -> list[str]:
    slope = 'max_slope = "15 %"  # state fruit guides advise against orchards on steeper ground'
    return [
        "[ground]",
        slope if site.dem else f"# {slope}: needs a DEM",
        f"min_area = {_quoted(Figure('0.1 acre', '400 m2'), site.units)}  # smaller leftovers are dropped",
        f"min_width = {_quoted(Figure('16 ft', '4.9 m'), site.units)}  # narrower ones too",
    ]


def _boundary_setback(units: str) -> list[str]:
    return [
        "[[setback]]",
        'from = "boundary"  # the property line itself',
        f"distance = {_quoted(Figure('15 ft', '4.6 m'), units)}  # no canopy over the line; {CHECK}",
        'measured_to = "trunk"  # or "canopy": the distance plus half the mature spread',
        'why = "property line"',
    ]


def _setback(layer: SurveyedLayer, rule: Rule, units: str) -> list[str]:
    lines = [
        "[[setback]]",
        f"from = {toml_string(layer.reference)}  {comment(_seen(layer))}",
        *_said(f"distance = {_quoted(rule.distance, units)}", f"{rule.remark}; {CHECK}"),
        f'measured_to = "{rule.measured_to}"',
        f"why = {toml_string(_why(layer))}",
    ]
    return lines + _by_kind(layer)


def _no_plant(layer: SurveyedLayer, rule: Rule) -> list[str]:
    return [
        "[[no_plant]]",
        f"from = {toml_string(layer.reference)}  {comment(f'{_seen(layer)}; {rule.remark}')}",
        f"why = {toml_string(_why(layer))}",
    ]


def _height_limit(layer: SurveyedLayer, rule: Rule, units: str) -> list[str]:
    assert rule.height is not None
    return [
        "[[height_limit]]",
        f"from = {toml_string(layer.reference)}  {comment(_seen(layer))}",
        *_said(f"within = {_quoted(rule.distance, units)}", f"{rule.remark}; {CHECK}"),
        f"height = {_quoted(rule.height, units)}",
        f"why = {toml_string(_why(layer))}",
    ]


def _left_out(layer: SurveyedLayer) -> list[str]:
    """Return the table of features that may be left out, and what else could be done with them."""
    lines = ["[[left_out]]", f"from = {toml_string(layer.reference)}  {comment(_seen(layer))}", f"why = {toml_string(layer.group)}"]
    if layer.group == "an area to plant":
        one = ", or one of its areas: [name=...] behind it" if "name" in layer.columns else ""
        lines.append(f"# To plant just there, write in a [[block]]:  area = {toml_string(layer.reference)}{one}")
    return lines


def _unsaid(layer: SurveyedLayer) -> list[str]:
    """Return the table of features that were not understood: without a reason it stops the plan."""
    values = [f"{column} is {', '.join(texts)}" for column, texts in layer.kinds]
    doubt = f"not used: {layer.reference}: {layer.water_doubt}" if layer.water_doubt else "not understood"
    return [
        comment("; ".join([doubt, *values])),
        "# Find out what it is. To keep clear of it, put [[setback]] here instead, with a distance; or [[no_plant]],",
        '# [[height_limit]]. If nobody comes to harm by trees and digging there, say so:  why = "..."',
        "[[left_out]]",
        f"from = {toml_string(layer.reference)}  {comment(_seen(layer))}",
    ]


def _water(known: list[tuple[SurveyedLayer, Rule | None]], units: str) -> list[str]:
    points = [layer for layer, _ in known if layer.group == "water points" and not layer.water_doubt]
    if not points:
        return [
            "# No usable water points were found, so nothing is said about water. Water points are points",
            "# with the columns name, pressure_psi and flow_gpm:",
            "#   [water]",
            '#   points = "survey/features.gpkg:water_points"',
        ]
    sign = "" if any(point.pressure for point in points) else "# "
    pressure = _quoted(Figure("12 psi", "83 kPa"), units)
    run = _quoted(Figure("1000 ft", "300 m"), units)
    roads = [layer.reference for layer, rule in known if rule and rule.why == "road" and layer.shape != "point"]
    lines = [
        "[water]",
        *_points(points),
        f"max_run = {run}  # longest pipe from a water point to a tree; yours to choose",
        f"{sign}min_pressure = {pressure}  # left after the lift; for drip emitters",
        'beyond_reach = "plant"  # or "exclude": plant only what a water point can serve',
    ]
    flow, at, eto = (
        _quoted(Figure(us, si), units) for us, si in (("1 gal/h", "4 l/h"), ("15 psi", "100 kPa"), ("0.25 in/day", "6 mm/day"))
    )
    lines += [
        "# remove the first signs to have pipes, zones and hours laid out, with your own emitter and station:",
        f"# emitter = {{ flow = {flow}, at = {at}, per_tree = 2 }}",
        f"# eto = {eto}  # reference evapotranspiration at the peak",
    ]
    barriers = ", ".join(toml_string(road) for road in roads)
    if barriers:
        lines.append(f"# barriers = [{barriers}]  # remove the first sign to let no pipe cross these")
    return lines


def _points(points: list[SurveyedLayer]) -> list[str]:
    """Return the key that names the water points, of one layer or of several."""
    lines = [f"  {toml_string(point.reference)},  {comment(_seen(point))}" for point in points]
    if len(points) == 1:
        return [f"points = {toml_string(points[0].reference)}  {comment(_seen(points[0]))}"]
    return ["points = [", *lines, "]"]


def _block(site: SurveyedSite) -> list[str]:
    units = site.units
    return [
        "[[block]]",
        'name = "A"  # no area: all ground that nothing above takes out',
        'pattern = "offset"  # every second row shifted by half a step; or square, rectangular, quincunx',
        f"step = {_quoted(Figure('18 ft', '5.5 m'), units)}  # in the row; room for the plant below",
        'row_distance = "equilateral"  # 0.866 of the step, all six neighbours equally far; or a length',
        'direction = "best"  # fits most trees; or "north-south" (better light), "longest side", "N 20 E"',
        f"headland = {_quoted(Figure('20 ft', '6.1 m'), units)}  # clear ground at row ends to turn on",
        'plants = [{ plant = "apple, semi-dwarf" }]  # a stand-in: "setout plants" lists the catalogue',
    ]


def _said(setting: str, remark: str) -> list[str]:
    """Return a setting with its comment behind it, or above it where the line would grow long."""
    line = f"{setting}  {comment(remark)}"
    return [line] if len(line) <= MOST_SIGNS else [comment(remark), setting]


def _quoted(figure: Figure, units: str) -> str:
    return toml_string(figure.text(units))


def _seen(layer: SurveyedLayer) -> str:
    noun = {"point": "point", "line": "line", "polygon": "area", "mixed": "feature", "none": "row"}[layer.shape]
    return f"{layer.count} {noun}{'' if layer.count == 1 else 's'}"


def _why(layer: SurveyedLayer) -> str:
    """Return the reason that the land account will give: the layer's own name, which the reader knows."""
    return as_label(layer.title)


def _by_kind(layer: SurveyedLayer) -> list[str]:
    return [
        comment(f"Its {column} is {', '.join(values)}: [{column}={values[0]}] after the layer takes one alone.")
        for column, values in layer.kinds
    ]
