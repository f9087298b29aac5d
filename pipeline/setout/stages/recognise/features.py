"""What each feature of a survey layer is: by its own words first, then its layer's name, then which columns are filled.

Nothing is lost on the way: a feature ends as something to keep clear of, as a water point, as something that may be left
out for a reason, or as unsaid, which a plan file carries as a table that stops.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from setout.model.text import is_blank
from setout.tables.usual import BURIED, NO_PLANTING, NOTHING, OVERHEAD, TANK, TANKS, TO_PLANT, WATER, Meaning, is_metered, meaning
from setout.tables.vocabulary import words_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from setout.model import VectorLayer

UNSAID: Final = "unsaid"
"""Group of what nobody has said; the others are the rules, water points, and the reasons for leaving out."""
SORTING: Final = frozenset(
    [
        "kind",
        "type",
        "class",
        "category",
        "feature",
        "fclass",
        "ftype",
        "subtype",
        "use",
        "layer",
        "code",
        "tipo",
        "clase",
        "categoria",
        "objeto",
        "rasgo",
        "uso",
        "capa",
        "codigo",
    ]
)
"""Words of columns that usually say what a feature is."""
NAMING: Final = frozenset(["name", "label", "title", "nombre", "etiqueta", "titulo", "rotulo"])
"""Words of columns that say which one of its kind it is."""
ASIDE: Final = frozenset(
    [
        "note",
        "notes",
        "remark",
        "remarks",
        "comment",
        "comments",
        "cmt",
        "surveyor",
        "surveyed",
        "owner",
        "by",
        "date",
        "time",
        "crew",
        "source",
        "file",
        "path",
        "id",
        "fid",
        "uuid",
        "guid",
        "photo",
        "url",
        "link",
        "accuracy",
        "fix",
        "method",
        "material",
        "status",
        "state",
        "address",
        "county",
        "city",
        "zone",
        "datum",
        "sym",
        "color",
        "colour",
        "style",
        "nota",
        "notas",
        "comentario",
        "topografo",
        "fecha",
        "hora",
        "dueno",
        "propietario",
        "fuente",
        "archivo",
        "estado",
        "direccion",
        "zona",
    ]
)
"""Words of columns whose text is about something else when it is not understood."""
SHAPES_ONLY: Final = frozenset(
    [
        "point",
        "punto",
        "line",
        "linea",
        "polyline",
        "polilinea",
        "polygon",
        "poligono",
        "area",
        "node",
        "nodo",
        "vertex",
        "gps",
        "waypoint",
        "feature",
        "shot",
        "insert",
        "lwpolyline",
        "circle",
        "hatch",
    ]
)
"""What stands in sorting columns and says nothing."""
ANY_LAYER: Final = frozenset(
    [
        "feature",
        "point",
        "survey",
        "layer",
        "data",
        "export",
        "shape",
        "site",
        "topo",
        "collection",
        "waypoint",
        "track",
        "import",
        "levantamiento",
        "punto",
        "capa",
        "dato",
        "rasgo",
        "objeto",
        "elemento",
        "sitio",
    ]
)
"""Words in names of layers that hold anything."""


@dataclass(frozen=True, slots=True)
class _Said:
    """What the columns of one feature say: sorting ones, naming ones, others; and what is there without being understood."""

    kind: Meaning
    name: Meaning
    other: Meaning
    odd: bool
    metered: bool


def groups_of(layer: VectorLayer, titles: Sequence[str]) -> dict[str, NDArray[np.bool_]]:
    """Sort the features of a layer by what they are."""
    whole = next((found for found in map(meaning, titles) if found.known), NOTHING)
    strange = whole is NOTHING and not _names_anything(titles[0])
    dimensions = shapely.get_dimensions(layer.geometry)
    found: dict[str, NDArray[np.bool_]] = {}
    for k, said in enumerate(_said(layer)):
        groups = _groups(said, whole, int(dimensions[k]))
        if WATER in groups and (said.odd or strange) and not (said.kind.known or said.name.known or said.other.known):
            groups.add(UNSAID)  # its pressure alone says so, and there are words that nobody understood
        for group in sorted(groups):
            found.setdefault(group, np.zeros(len(layer.geometry), bool))[k] = True
    return found


def _names_anything(title: str) -> bool:
    """Tell whether a layer's name is one for anything, or just letters."""
    return all(len(word) < 4 or word.removesuffix("s") in ANY_LAYER for word in words_of(title).split())


def _said(layer: VectorLayer) -> list[_Said]:
    """Return what the columns of each feature say."""
    size = len(layer.geometry)
    metered = np.zeros(size, bool)
    kind, name, other = [NOTHING] * size, [NOTHING] * size, [NOTHING] * size
    odd = np.zeros(size, bool)
    for column, values in layer.columns.items():
        words = set(words_of(column).split())
        if is_metered(column):
            metered |= np.array([_above_zero(value) for value in values.tolist()], bool)
        if values.dtype.kind not in "OU":
            continue
        texts = ["" if is_blank(value) else str(value) for value in values.tolist()]
        found = [meaning(text) for text in texts]
        into = kind if words & SORTING else name if words & NAMING else other
        sorts = into is kind or (into is other and (not words & ASIDE or any(one.known for one in found)))
        for k, (text, one) in enumerate(zip(texts, found, strict=True)):
            into[k] = _both(into[k], one)
            odd[k] |= sorts and bool(words_of(text)) and not one.known and words_of(text) not in SHAPES_ONLY
    return [_Said(*row) for row in zip(kind, name, other, odd.tolist(), metered.tolist(), strict=True)]


def _above_zero(value: Any) -> bool:
    if is_blank(value):
        return False
    return not isinstance(value, (int, float)) or value > 0


def _both(one: Meaning, two: Meaning) -> Meaning:
    """Put together what two columns say; a water point is not what its class or its place is named."""
    water = one.water or two.water
    rules = one.rules | two.rules
    return Meaning(one.grave | two.grave if water else rules, water, "" if rules else one.harmless or two.harmless)


def _groups(said: _Said, layer: Meaning, dimension: int) -> set[str]:
    """Return the groups that a feature belongs to."""
    what = _settled(said, layer, point=dimension == 0)
    if dimension == 2 and layer.harmless and not said.kind.known and what.rules and not what.grave:
        return {UNSAID}  # an area to plant that is named after a creek, or a creek among areas to plant
    rules = _over_or_under(what.rules, said, layer)
    if dimension != 2:
        rules = rules - {NO_PLANTING}
    if not TANKS.isdisjoint(rules):
        rules = rules - {TANK}  # what is in it has been said
    groups = set(rules)
    if what.water and dimension == 0:
        groups.add(WATER)
    if dimension == 0 and said.metered and groups and not what.grave and not (said.kind.known or layer.known):
        groups |= {WATER, UNSAID}  # "barn" with a pressure: the barn, or the riser at the barn
    if not groups and what.harmless and (dimension == 2 or what.harmless != TO_PLANT):
        return {what.harmless}
    if not groups and dimension == 0 and said.metered and not what.known:
        groups.add(WATER)
    return groups or {UNSAID}


def _settled(said: _Said, layer: Meaning, *, point: bool) -> Meaning:
    """Settle what a feature is between its columns and its layer's name."""
    if said.kind.known:
        return replace(said.kind, rules=said.kind.rules | said.name.grave, harmless="" if said.name.grave else said.kind.harmless)
    own = said.name if said.name.known else said.other
    if not own.known:
        return layer
    rules = own.rules | said.other.grave
    if layer.rules and not layer.rules & own.rules:
        rules = layer.rules | own.grave | said.other.grave
    elif layer.water and point:  # "barn" among risers is the riser at the barn
        rules = own.grave | said.other.grave
    harmless = "" if rules else own.harmless or layer.harmless
    return Meaning(rules, own.water or layer.water, harmless)


def _over_or_under(rules: frozenset[str], said: _Said, layer: Meaning) -> frozenset[str]:
    """Say of a line whether it runs over or under ground: as any of its words do, else both."""
    lines = frozenset([OVERHEAD, BURIED])
    told = (said.kind.rules | said.name.rules | said.other.rules | layer.rules) & lines
    if "utility" in rules:
        return (rules - {"utility"}) | (told or lines)
    return rules | ({BURIED} & told) if OVERHEAD in rules else rules


def brackets_for(columns: dict[str, NDArray[Any]], mask: NDArray[np.bool_]) -> list[str]:
    """Return the ways of naming some features of a layer by what stands in one column, the best first.

    >>> brackets_for({"kind": np.array(["road", "well", None], object)}, np.array([True, False, True]))
    ['[kind=road|""]', '']
    """
    if mask.all():
        return [""]
    ways = []
    for number, (column, values) in enumerate(columns.items()):
        if values.dtype.kind not in "OUif" or any(sign in column for sign in "[]="):
            continue
        texts = np.array(["" if is_blank(value) else str(value).strip() for value in values.tolist()], object)
        inside = list(dict.fromkeys(texts[mask].tolist()))
        more = int(np.isin(texts[~mask], inside).sum())
        numeric = values.dtype.kind in "if"
        ways.append((more, numeric, len(inside), number, f"[{column}={'|'.join(map(_quoted, inside))}]"))
    return [text for *_, text in sorted(ways)] + [""]


def _quoted(value: str) -> str:
    plain = value and not set(value) & set("|\"'[]") and value == value.strip()
    return value if plain else f"'{value}'" if '"' in value else f'"{value}"'
