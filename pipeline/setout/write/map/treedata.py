"""What the map knows of every tree: columns in the reader's words and units, packed into one block of bytes.

Numbers are whole steps from an offset in the fewest bytes that hold them, texts are places in a table, positions
are Web Mercator millimetres from an origin. A value that is unknown has a number of its own, and is not shown.
"""

from __future__ import annotations

import base64
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from pyproj import CRS, Geod

from setout.layers import CONTRACTS
from setout.model.irrigation import REASONS
from setout.units import FOOT, GALLON, PSI
from setout.words.plan import plant_kinds, plant_label
from setout.words.systems import out_in, short_words
from setout.words.terms import TERMS
from setout.write.map.growth import growth_classes

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from numpy.typing import NDArray

    from setout.model import Bools, Floats, Planting, Site

MERCATOR_RADIUS: Final = 6378137.0
"""Radius of the sphere of Web Mercator [m] (EPSG method 1024)."""
COMPACT_FROM: Final = 3_000_000
"""Bytes of columns from which they are deflated; smaller ones open in any browser, at once."""
WGS84: Final = CRS.from_epsg(4326)

LABELS: Final[Mapping[str, str]] = {
    "nearest_m": "Nearest tree",
    "spread_m": "Mature spread",
    "height_m": "Mature height",
    "crowding": "Crowding",
    "overlap_m": "Canopy overlap",
    "room_m": "Room",
    "pruning_load": "Pruning load",
    "pollinizer_m": "Nearest pollinizer",
    "watered": "Watered",
    "water_reason": "Why",
    "need_lpd": "Need at the peak",
    "flow_lph": "Flow",
    "pressure_kpa": "Pressure",
    "zone": "Zone",
    "water_point": "Water point",
    "run_m": "Run to water",
    "sun_h": "Direct sun",
    "sun_am_h": "Sun before noon",
    "sun_pm_h": "Sun after noon",
    "sun_open_h": "Sun if nothing stood round it",
    "elevation_m": "Elevation",
    "slope_pct": "Slope",
}
"""Columns of the layer `trees` that the map shows, in this order, and what people call them."""

SHOWN: Final[Mapping[str, Mapping[str, tuple[float, str, int]]]] = {
    "us": {
        "m": (1 / FOOT, "ft", 2),
        "%": (1.0, "%", 1),
        "kPa": (1 / PSI, "psi", 1),
        "l/h": (1 / GALLON, "gal/h", 2),
        "l/day": (1 / GALLON, "gal/day", 1),
        "h": (1.0, "h", 1),
        "": (1.0, "", 2),
    },
    "si": {
        "m": (1.0, "m", 2),
        "%": (1.0, "%", 1),
        "kPa": (1.0, "kPa", 0),
        "l/h": (1.0, "l/h", 1),
        "l/day": (1.0, "l/day", 0),
        "h": (1.0, "h", 1),
        "": (1.0, "", 2),
    },
}
"""For each unit of a column: factor from it, unit shown, decimals shown."""

CHAPTERS: Final[Mapping[str, tuple[str, ...]]] = {
    "Room": ("nearest_m", "spread_m", "height_m", "crowding", "overlap_m", "room_m", "pruning_load", "pollinizer_m"),
    "Water": ("watered", "water_reason", "need_lpd", "flow_lph", "pressure_kpa", "zone", "water_point", "run_m"),
    "Light": ("sun_h", "sun_am_h", "sun_pm_h", "sun_open_h"),
    "Ground": ("elevation_m", "slope_pct", "easting", "northing"),
}
"""Headings of the details of a tree, and what stands under each; what is under none comes first."""

STEPS: Final[Mapping[str, float]] = {"m": 0.001, "%": 0.01, "kPa": 0.01, "l/h": 0.001, "l/day": 0.01, "h": 0.01, "": 0.0001}
"""Step to which each kind of number is kept; below what is shown."""


@dataclass(frozen=True, slots=True)
class Field:
    """One column for the map: name, label, values (NaN or empty text where unknown), and how a number is shown.

    Where ``names_tree`` is true the values are places of other trees, and their names are shown.
    """

    name: str
    label: str
    values: NDArray[Any]
    step: float = 1.0
    factor: float = 1.0
    unit: str = ""
    decimals: int = 0
    delta: bool = False
    hidden: bool = False
    names_tree: bool = False

    @property
    def chapter(self) -> str:
        """Return the heading under which the details of a tree show it; empty for the first."""
        return next((chapter for chapter, names in CHAPTERS.items() if self.name in names), "")


def mercator(lon: Floats, lat: Floats) -> tuple[Floats, Floats]:
    """Return Web Mercator (x, y) [m] of longitudes and latitudes [deg] (EPSG method 1024).

    The worked example of EPSG Guidance Note 7-2 for the method:

    >>> x, y = mercator(np.array([-(100 + 20 / 60)]), np.array([24 + 22 / 60 + 54.433 / 3600]))
    >>> round(float(x[0]), 2), round(float(y[0]), 2)
    (-11169055.58, 2800000.0)
    """
    phi = np.radians(np.asarray(lat, float))
    return MERCATOR_RADIUS * np.radians(np.asarray(lon, float)), MERCATOR_RADIUS * np.arcsinh(np.tan(phi))


def tree_block(planting: Planting, *, compact: bool | None = None) -> dict[str, Any]:
    """Pack everything the map shows of the trees."""
    x, y = frame_to_mercator(planting, planting.trees.x, planting.trees.y)
    ids = "\n".join(planting.trees.ids)
    return point_block(x, y, fields(planting), ids=ids, compact=compact)


def point_block(x: Floats, y: Floats, columns: Iterable[Field], *, ids: str | None = None, compact: bool | None = None) -> dict[str, Any]:
    """Pack points and what is known of them."""
    origin = [int(np.floor(v.min() * 1000)) if v.size else 0 for v in (x, y)]
    packer = _Packer()
    for name, values, start in (("x", x, origin[0]), ("y", y, origin[1])):
        packer.add(Field(name, "", np.rint(values * 1000 - start), delta=True, hidden=True))
    for field in columns:
        packer.add(field)
    if ids is not None:
        packer.text(ids)
    data = b"".join(packer.parts)
    compact = len(data) > COMPACT_FROM if compact is None else compact
    return {
        "n": int(x.size),
        "origin": origin,
        "columns": packer.columns,
        "compact": compact,
        "bytes": base64.b64encode(zlib.compress(data, 9) if compact else data).decode("ascii"),
    }


def earth(planting: Planting) -> dict[str, float]:
    """Return the WGS 84 ellipsoid and the scale that raises distances on it to the site's height."""
    wgs84 = Geod(ellps="WGS84")
    return {"a": wgs84.a, "e2": wgs84.es, "scale": planting.site.frame.scale}


def frame_to_mercator(planting: Planting, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Take frame coordinates [m] to Web Mercator [m]."""
    if not np.size(x):
        return np.empty(0), np.empty(0)
    lon, lat = planting.site.frame.to(WGS84, x, y)
    beyond = lon - planting.site.frame.lon  # a site on the 180th meridian stays whole on the map
    return mercator(lon - 360.0 * np.rint(beyond / 360.0), lat)


def fields(planting: Planting) -> Iterator[Field]:
    """Yield the columns that the map shows, in the order in which it shows them."""
    yield from _planted(planting)
    for name, label in LABELS.items():
        field = _fact(planting, name, label)
        if field is not None:
            yield field
    yield from _coordinates(planting)
    yield Field("growth", "", growth_classes(planting)[0].astype(float), hidden=True)
    yield Field("attention", "", needs_attention(planting).astype(float), hidden=True)
    codes = planting.trees.findings
    if codes is not None and any(codes):
        yield Field("findings", "Findings", np.asarray(codes, str), hidden=True)


def _planted(planting: Planting) -> Iterator[Field]:
    site, trees = planting.site, planting.trees
    kinds = plant_kinds(site)
    place = {kind: i for i, kind in enumerate(kinds)}
    width = max((len(b.plants) for b in site.blocks), default=0)
    table = np.zeros((len(site.blocks), max(width, 1)), np.int64)
    for i, block in enumerate(site.blocks):
        for j, p in enumerate(block.plants):
            table[i, j] = place[p.name, p.variety, p.role]
    code = table[trees.block, trees.plant] if len(trees) else np.empty(0, np.int64)
    if kinds:
        yield Field("plant", "Plant", np.array(plant_texts(site))[code])
    yield Field("block", "Block", np.array([b.name for b in site.blocks] or [""])[trees.block])
    yield Field("row", "Row", trees.row.astype(float))
    yield Field("position", "Position in the row", trees.position.astype(float))
    spacing = [short_words(b.pattern, site.units) for b in site.blocks]
    yield Field("spacing", "Set out", np.array(spacing or [""])[trees.block])
    if trees.partner.size == len(trees) and (trees.partner >= 0).any():
        partner = np.where(trees.partner >= 0, trees.partner.astype(float), np.nan)
        yield Field("partner", "Partner", partner, names_tree=True)
    out = np.full(table.shape, "", object)
    for i, block in enumerate(site.blocks):
        out[i, : len(block.plants)] = [out_in(p) for p in block.plants]
    if out.any():
        leaves = np.where(trees.plant >= 0, out[trees.block, trees.plant], "").astype(str)
        yield Field("remove", "Comes out", leaves)


def plant_texts(site: Site) -> list[str]:
    """Return what the map calls each thing planted, in the order of the plan file."""
    return [plant_label(name, variety) + (f" ({role})" if role else "") for name, variety, role in plant_kinds(site)]


def needs_attention(planting: Planting) -> Bools:
    """Tell which trees a finding names that is more than a note."""
    ids = np.asarray(planting.trees.ids, str)
    grave = [f for f in planting.findings if f.severity != "note"]
    out = np.isin(ids, [f.tree_id for f in grave if f.tree_id])
    codes = planting.trees.findings
    if codes is None or not len(ids):
        return out
    wanted = {f.code for f in grave}
    told, which = np.unique(np.asarray(codes, str), return_inverse=True)
    return np.asarray(out | np.array([not wanted.isdisjoint(text.split()) for text in told])[which])


def show_flow(lph: float, units: str) -> str:
    """Write the flow of a water point for people.

    >>> show_flow(4542.494, "us"), show_flow(4542.494, "si")
    ('20.0 gal/min', '4,542 l/h')
    """
    return f"{lph / GALLON / 60:,.1f} gal/min" if units == "us" else f"{lph:,.0f} l/h"


def _fact(planting: Planting, name: str, label: str) -> Field | None:
    column = next(c for c in CONTRACTS["trees"].columns if c.name == name)
    values = getattr(planting.trees, name, None)
    if values is None and name in {"spread_m", "height_m"}:
        values = _mature(planting, name)
    if values is None and name in {"water_point", "zone", "water_reason"}:
        values = _water_text(planting, name)
    if values is None:
        return None
    if column.kind == "text":
        texts = np.asarray(values, str)
        return Field(name, label, texts) if any(texts) else None
    if column.kind == "bool":
        return Field(name, label, _yes_no(np.asarray(values)))
    numbers = np.asarray(values, float)
    if not np.isfinite(numbers).any():
        return None
    factor, unit, decimals = SHOWN[planting.site.units][column.unit]
    if name == "pruning_load":
        factor, unit, decimals = 100.0, "%", 0
    if name in {"elevation_m", "run_m", "spread_m", "height_m"}:
        decimals = 1
    step = 0.0001 if name in {"nearest_m", "pollinizer_m"} else STEPS[column.unit]
    return Field(name, label, numbers, step, factor, unit, decimals)


def _yes_no(values: NDArray[Any]) -> NDArray[np.str_]:
    if values.dtype.kind == "f":
        return np.where(np.isnan(values), "", np.where(values != 0, "yes", "no"))
    return np.where(values.astype(bool), "yes", "no")


def _mature(planting: Planting, name: str) -> Floats:
    blocks = planting.site.blocks
    table = np.full((max(len(blocks), 1), max((len(b.plants) for b in blocks), default=1) or 1), np.nan)
    for i, block in enumerate(blocks):
        for j, plant in enumerate(block.plants):
            table[i, j] = getattr(plant, name)
    trees = planting.trees
    return np.asarray(table[trees.block, np.minimum(trees.plant, table.shape[1] - 1)], float)


def _water_text(planting: Planting, name: str) -> NDArray[np.str_] | None:
    """Return water point, zone or reason of each tree, empty for none; None where the plan says nothing of it."""
    index = getattr(planting.trees, {"water_point": "water_index", "zone": "zone_index"}.get(name, "reason_index"))
    words = tuple(TERMS[reason] for reason in REASONS)
    if name == "water_point":
        words = planting.site.water.points.name if planting.site.water else ()
    elif name == "zone":
        words = tuple(zone.name for zone in planting.irrigation.zones) if planting.irrigation else ()
    if index is None or not words:
        return None
    return np.asarray(np.array([*words, ""])[np.asarray(index)], np.str_)


def _coordinates(planting: Planting) -> Iterator[Field]:
    plane = planting.site.frame.plane_crs
    if not len(planting.trees):
        return
    east, north = planting.site.frame.to(plane, planting.trees.x, planting.trees.y)
    unit = plane.axis_info[0].unit_name
    short = {"metre": "m", "US survey foot": "US survey ft", "foot": "ft"}.get(unit, unit)
    for name, values in (("easting", east), ("northing", north)):
        label = f"{name.capitalize()} ({short})"
        yield Field(name, label, values, 0.001, 1.0, "", 3 if short == "m" else 2, delta=True)


class _Packer:
    """Lays columns one behind the other, each on a multiple of four bytes."""

    def __init__(self) -> None:
        self.parts: list[bytes] = []
        self.columns: list[dict[str, Any]] = []
        self._at = 0

    def add(self, field: Field) -> None:
        head: dict[str, Any] = {"name": field.name, "label": field.label}
        if field.hidden:
            head["hidden"] = True
        if field.names_tree:
            head["names_tree"] = True
        if field.chapter:
            head["chapter"] = field.chapter
        if field.values.dtype.kind in "UO":
            table, codes = np.unique(np.asarray(field.values, str), return_inverse=True)
            head |= {"kind": "text", "table": table.tolist(), **self._codes(codes.astype(np.int64), int(table.size), delta=False)}
        else:
            head |= {"kind": "number", "unit": field.unit, "factor": field.factor, "decimals": field.decimals}
            head |= self._numbers(field)
        self.columns.append(head)

    def text(self, text: str) -> None:
        raw = text.encode("utf-8")
        self.columns.append({"name": "tree_id", "kind": "ids", "hidden": True, "at": self._at, "bytes": len(raw)})
        self._put(raw)

    def _numbers(self, field: Field) -> dict[str, Any]:
        values = np.asarray(field.values, float)
        known = np.isfinite(values)
        low = np.rint(values[known].min() / field.step) if known.any() else 0.0
        codes = np.zeros(values.size, np.int64)
        codes[known] = np.rint(values[known] / field.step).astype(np.int64) - int(low)
        top = int(codes.max()) + 1 if codes.size else 1
        codes[~known] = top
        return {"offset": int(low), "step": field.step, "unknown": top} | self._codes(
            codes, top + 1, delta=field.delta and bool(known.all())
        )

    def _codes(self, codes: NDArray[np.int64], count: int, *, delta: bool) -> dict[str, Any]:
        if delta:
            stored = np.diff(codes, prepend=0).astype("<i4")
            head = {"type": "i4", "delta": True, "at": self._at}
        else:
            size = 1 if count <= 0x100 else 2 if count <= 0x10000 else 4
            stored = codes.astype(f"<u{size}")
            head = {"type": f"u{size}", "at": self._at}
        self._put(stored.tobytes())
        return head

    def _put(self, raw: bytes) -> None:
        padded = raw + b"\0" * (-len(raw) % 4)
        self.parts.append(padded)
        self._at += len(padded)
