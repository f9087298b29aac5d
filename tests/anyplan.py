"""Random whole plans: land, features, blocks in every pattern, setbacks, water; the same seed gives the same plan."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from pyproj import CRS

import anyland
from anyland import Rng, pick
from invented import Property, objects
from setout.model import Planting, Survey
from setout.planfile import parse_plan
from setout.run import plan_site

PLACES = [
    (-121.3, 44.2, (26910, 2269, 2913, 6339, 32610, 4326, 3857)),
    (-98.4, 29.6, (32614, 2278, 4269, 6587)),
    (144.9, -37.5, (7855, 32755, 4326)),
    (-70.6, -33.4, (32719, 5361)),
    (14.4, 50.1, (5514, 32633, 3035)),
]
"""Where properties lie [deg], and the CRSs their surveys come in: metres, both kinds of foot, degrees; both hemispheres."""
APPLES = [{"plant": "apple, semi-dwarf", "variety": "Jonathan"}, {"plant": "apple, semi-dwarf", "variety": "Grimes Golden"}]
PEARS = [{"plant": "European pear, semi-dwarf", "variety": v} for v in ("Bartlett", "Bosc")]
FILLED = [{"plant": "quince"}, {"plant": "peach", "role": "filler", "remove_year": 10}]
EMITTERS = [
    {"flow": "1 gal/h", "at": "15 psi", "variation": 0.03, "per_tree": 2},
    {"flow": "4 l/h", "at": "100 kPa", "range": ["8 psi", "50 psi"]},
    {"flow": "10 gal/h", "at": "20 psi", "kind": "spray", "trees_per_emitter": 2},
]


@dataclass(frozen=True)
class AnyPlan:
    """A property with its plan: what a plan file and the files it names would hold."""

    land: Property
    crs: CRS
    dem: Any
    sections: dict[str, Any]
    digits: int | None = None

    def survey(self) -> Survey:
        """Return the survey; its coordinates rounded, where its files were written so."""
        made = self.land.survey(self.crs, self.dem)
        if self.digits is None:
            return made

        def rounded(layer: Any) -> Any:
            moved = shapely.transform(layer.geometry, lambda xy: np.round(xy, self.digits))
            return replace(layer, geometry=moved)

        layers = {name: rounded(layer) for name, layer in made.layers.items()}
        return replace(made, boundary=rounded(made.boundary), layers=layers)

    def planted(self) -> Planting:
        """Take it through all stages."""
        return plan_site(parse_plan(self.sections, "plan.toml"), self.survey())


def any_plan(seed: int, largest: float = 220.0, light: float = 0.1) -> AnyPlan:
    """Return a random plan.

    Parameters
    ----------
    seed : int
        Says which.
    largest : float
        The land is no larger across [m].
    light : float
        Share of plans that reckon with light.
    """
    rng = np.random.default_rng(seed)
    lon, lat, codes = pick(rng, PLACES)
    crs = CRS.from_epsg(pick(rng, codes))
    size = float(rng.uniform(90, largest))
    land = anyland.boundary(rng, size)
    areas = anyland.blocks(rng, land, int(rng.integers(1, 7)))
    layers = anyland.features(rng, land, areas)
    layers |= {f"area{k}": objects(area) for k, area in enumerate(areas) if area is not None}
    layers |= {"guide": _guide(rng, land), "riser": _risers(rng, land)}
    dem = anyland.dem(rng, lon, lat, crs, size * 0.8)
    count = len(layers["riser"])
    told = rng.random() < 0.8
    columns = {
        "riser": {
            "name": np.array([f"w{k}" for k in range(count)], object),
            "pressure_psi": np.where(rng.random(count) < 0.85, rng.uniform(15, 80, count), np.nan),
            "flow_gpm": np.where((rng.random(count) < 0.85) & told, rng.uniform(5, 120, count), np.nan),
        }
    }
    blocks = [block(rng, k, None if area is None else f"area{k}", dem is not None) for k, area in enumerate(areas)]
    blocks += _drawn(rng)
    sections = {
        "name": f"Any {seed}",
        "units": pick(rng, ["us", "si"]),
        "site": {"boundary": "boundary"} | ({"elevation": "420 m"} if rng.random() < 0.3 else {}),
        "ground": _ground(rng),
        "setback": [s for s in _setbacks(rng) if s["from"] == "boundary" or s["from"] in layers],
        "no_plant": _no_plant(rng),
        "height_limit": _height_limits(rng),
        "block": blocks,
        "light": {"compute": "auto" if rng.random() < light else "never"},
    }
    if rng.random() < 0.55:
        sections["water"] = _water(rng)
    turn = float(pick(rng, [0.0, 0.0, rng.uniform(0, 360)]))
    digits = None if rng.random() < 0.6 else 8 if crs.is_geographic else int(rng.integers(2, 5))
    return AnyPlan(Property(land, layers, columns, lon, lat, turn), crs, dem, sections, digits)


def _risers(rng: Rng, land: shapely.Geometry) -> np.ndarray:
    """Return water points: on the land, off it, on its line."""
    low_x, low_y, high_x, high_y = land.bounds
    places = [rng.uniform((low_x - 20, low_y - 20), (high_x + 20, high_y + 20)) for _ in range(int(rng.integers(1, 4)))]
    places.append(pick(rng, [shapely.get_coordinates(land)[0], shapely.get_coordinates(land.representative_point())[0]]))
    return objects(*(shapely.Point(xy) for xy in places))


def _guide(rng: Rng, land: shapely.Geometry) -> np.ndarray:
    """Return a line to lay rows along: an arc across the land, or a line of a few bends."""
    low_x, low_y, high_x, high_y = land.bounds
    t = np.linspace(-0.2, 1.2, int(rng.integers(2, 40)))
    bend = rng.uniform(-0.3, 0.3) * (high_y - low_y)
    y = (low_y + high_y) / 2 + bend * np.sin(3 * t)
    return objects(shapely.LineString(np.column_stack([low_x + t * (high_x - low_x), y])))


def _length(rng: Rng, least: float, most: float) -> str:
    """Return a length in one unit or another [m]."""
    metres = rng.uniform(least, most)
    return pick(rng, [f"{metres:.2f} m", f"{metres / 0.3048:.1f} ft", f"{round(metres)} m"])


def block(rng: Rng, number: int, area: str | None, has_dem: bool) -> dict[str, Any]:
    """Return a block in any pattern."""
    kinds = ["square", "rectangular", "offset", "quincunx", "hedgerow", "trellis", "bed", "guided", "pairs"]
    kind = pick(rng, [*kinds, *(["contour rows"] if has_dem else [])])
    step = rng.uniform(3.5, 9)
    out: dict[str, Any] = {"name": f"B{number}", "pattern": kind, "step": f"{step:.2f} m"}
    if area is not None:
        out["area"] = area
    out["direction"] = pick(rng, ["north-south", "longest side", "best", f"{rng.uniform(0, 180):.1f} deg", "N 20 E"])
    rows = f"{step * rng.uniform(1.0, 1.6) + 0.01:.2f} m"
    if kind == "quincunx":
        out |= {"step": f"{step + 3:.2f} m"} | ({"plants": FILLED} if rng.random() < 0.5 else {})
    elif kind == "hedgerow":
        out |= {"step": "1.5 m", "row_distance": "4.5 m"}
        out |= {"lines": 2, "line_distance": "1 m"} if rng.random() < 0.4 else {"held_to": "8 ft"}
    elif kind == "trellis":
        out |= {"step": "8 ft", "row_distance": "10 ft", "plants": [{"plant": "table grape, trellis"}]}
    elif kind == "bed":
        out |= {"step": "5 ft", "row_distance": "10 ft", "bed": {"length": "10 ft", "width": "6 ft"}}
    elif kind == "contour rows":
        out |= {"row_distance": rows, "row_distance_max": f"{step * 2.6:.2f} m", "fall": {"most": pick(rng, ["2 %", "6 %"])}}
        del out["direction"]
    elif kind == "guided":
        out |= {"pattern": pick(rng, ["rectangular", "trellis"]), "row_distance": rows, "direction": "guide:guide"}
    elif kind == "pairs":
        out |= {
            "pattern": pick(rng, ["square", "rectangular", "offset"]),
            "pair": {"distance": "0.8 m", "axis": pick(rng, ["north-south", "N 50 E"])},
        }
        out |= {"row_distance": rows} if out["pattern"] != "square" else {}
        out |= {"plants": PEARS} if rng.random() < 0.7 else {}
    elif kind in ("rectangular", "offset") and (kind == "rectangular" or rng.random() < 0.5):
        out["row_distance"] = rows
    if kind in ("square", "rectangular", "offset") and rng.random() < 0.3:
        out["alley"] = {"every": int(rng.integers(1, 5)), "width": f"{step * 2:.2f} m"}
    if kind == "rectangular" and rng.random() < 0.3:
        out["rows"] = "free"
    if kind != "contour rows" and rng.random() < 0.35:
        out["headland"] = _length(rng, 1, 8)
    if kind in ("square", "rectangular", "offset") and rng.random() < 0.5:
        out["plants"] = APPLES
        out |= pick(rng, [{}, {"plants_by": "rows"}, {"pollinizer": {"every_tree": 3, "every_row": 3}}])
    if "plants" not in out or rng.random() < 0.3:
        out |= {"spread": _length(rng, 1.5, 7), "height": _length(rng, 2, 9)}
    return out


def _drawn(rng: Rng) -> list[dict[str, Any]]:
    """Return blocks that stand where they are drawn: screens along a fence, single trees."""
    out: list[dict[str, Any]] = []
    if rng.random() < 0.15:
        out.append(
            {
                "name": "hide",
                "pattern": "screen",
                "line": pick(rng, ["fence", "road"]),
                "step": "10 ft",
                "spread": "8 ft",
                "height": "5 m",
                **pick(rng, [{}, {"lines": 2, "line_distance": "6 ft"}, {"purpose": "shade", "yard": "yard"}]),
            }
        )
    if rng.random() < 0.1:
        out.append({"name": "single", "pattern": "points", "points": "well", "plants": [{"plant": "pecan"}]})
    return out


def _ground(rng: Rng) -> dict[str, Any]:
    out: dict[str, Any] = {}
    if rng.random() < 0.7:
        out["max_slope"] = pick(rng, ["10 %", "15 %", "25 %", "8 deg"])
    if rng.random() < 0.4:
        out["min_area"] = pick(rng, ["0.02 acre", "100 m2", "0.1 acre"])
    if rng.random() < 0.4:
        out["min_width"] = _length(rng, 1, 8)
    if rng.random() < 0.4:
        out["no_elevation"] = "plant"
    return out


def _setbacks(rng: Rng) -> list[dict[str, Any]]:
    names = ["boundary", "road", "fence", "well", "barn", "pond", "yard", "area0"]
    out = []
    for name in rng.permutation(names)[: int(rng.integers(0, 6))].tolist():
        if name == "area0" and rng.random() < 0.9:
            continue
        out.append(
            {
                "from": name,
                "distance": "0 m" if rng.random() < 0.05 else _length(rng, 0.5, 12),
                "measured_to": pick(rng, ["trunk", "canopy"]),
                "why": pick(rng, ["", name]),
            }
        )
    return out


def _no_plant(rng: Rng) -> list[dict[str, Any]]:
    return [{"from": name} for name in ("barn", "pond", "yard") if rng.random() < 0.3]


def _height_limits(rng: Rng) -> list[dict[str, Any]]:
    return [{"from": name, "within": _length(rng, 1, 12), "height": _length(rng, 2, 6)} for name in ("line", "well") if rng.random() < 0.25]


def _water(rng: Rng) -> dict[str, Any]:
    out: dict[str, Any] = {"points": "riser"}
    if rng.random() < 0.6:
        out["max_run"] = _length(rng, 60, 300)
    if rng.random() < 0.3:
        out["min_pressure"] = pick(rng, ["10 psi", "120 kPa"])
    if rng.random() < 0.4:
        out["barriers"] = pick(rng, ["road", ["road", "barn"], ["pond", "fence"]])
        out |= {"sleeves": "well"} if rng.random() < 0.3 else {}
    if rng.random() < 0.4:
        out["beyond_reach"] = "plant"
    if rng.random() < 0.8:
        out["emitter"] = pick(rng, EMITTERS)
    if rng.random() < 0.7:
        out |= {"eto": "0.25 in/day"} | ({"kc": 0.9} if rng.random() < 0.7 else {})
    if rng.random() < 0.3:
        out["hours_per_day"] = float(rng.integers(2, 20))
    if rng.random() < 0.2:
        out |= {"friction": "darcy-weisbach", "lateral": {"diameter": "0.62 in"}}
    return out
