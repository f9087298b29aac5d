"""No hazard of a survey is lost in a first plan file, however the survey says what its features are.

Random surveys: columns of any name, words in two languages, in any case, singular or plural, one layer or several, points,
lines and areas together, pressure and flow on everything. What each feature truly is, only the generator knows. Thirty of
them by default; ``SETOUT_LAYOUTS=500`` for a long look.
"""

from __future__ import annotations

import os
import tomllib
import unicodedata
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio.raw
import pytest
import shapely

from setout import units
from setout.read import reference
from setout.read.plan_file import read_plan_file
from setout.read.survey import read_survey
from setout.read.vector.files import read_vector
from setout.run.newplan import write_new_plan

LAYOUTS = int(os.environ.get("SETOUT_LAYOUTS", "30"))
X, Y = 2_068_400.0, 241_200.0
SQUARE = shapely.box(X, Y, X + 1000, Y + 1000)
CRS = "EPSG:2272"

THINGS: dict[str, tuple[str, list[str], float]] = {
    # what it truly is: (geometry, what people write, least setback [ft]; 0: a height limit, or none but the canopy's)
    "well": ("point", ["well", "water well", "house well", "wellhead", "borehole", "pozo", "pozo de agua", "pozo de la casa"], 50),
    "septic": ("point area", ["septic", "septic tank", "drain field", "leach field", "fosa séptica", "tanque séptico", "pozo negro"], 25),
    "fuel": ("point", ["propane tank", "LPG", "fuel tank", "diesel tank", "tanque de gas", "tanque de propano"], 10),
    "tank": ("point", ["tank", "tanque"], 25),
    "cistern": ("point area", ["cistern", "water tank", "cisterna", "tanque de agua"], 10),
    "overhead": (
        "line",
        ["overhead line", "power line", "OHL", "electric line", "línea eléctrica", "tendido eléctrico", "poste de luz"],
        0,
    ),
    "buried": (
        "line",
        [
            "buried power line",
            "gas line",
            "water main",
            "U/G cable",
            "sewer",
            "fiber optic",
            "tubería",
            "línea de gas",
            "cable subterráneo",
            "irrigation main",
        ],
        10,
    ),
    "tile": ("line", ["tile drain", "drain tile", "tile line", "dren", "tubo de drenaje"], 25),
    "creek": ("line area", ["creek", "stream", "ditch", "pond", "arroyo", "acequia", "canal de riego", "laguna", "zanja"], 35),
    "road": ("line", ["road", "farm road", "driveway", "lane", "camino", "carretera"], 25),
    "building": ("point area", ["house", "barn", "shed", "casa", "galpón", "bodega"], 0),
    "fence": ("line", ["fence", "cerca", "alambrado"], 0),
    "unheard of": ("point line area", ["zwirbel", "qanat", "ahkvo", "estructura rara"], 0),
}
RISERS = ["riser", "hydrant", "water point", "hidrante", "toma de agua", "boca de riego", "valve"]
KIND_COLUMNS = ["kind", "type", "TYPE", "class", "tipo", "clase", "Category", "feature", "que_es", "cosa", "x1"]
NAME_COLUMNS = ["name", "NAME", "nombre", "label"]
PLAIN = ["features", "points", "survey", "levantamiento", "gps 2023", "layer 1"]


@dataclass
class Feature:
    truth: str  # a key of THINGS, or "riser"
    word: str
    shape: Any


def written(word: str, rng: np.random.Generator) -> str:
    """Return a word as somebody may write it."""
    text = word
    if rng.random() < 0.25 and " " not in text and not text.isupper():
        text += "es" if text[-1] not in "aeiouy" and text.isascii() and text in ("canal", "dren") else "s" if text[-1] not in "sh" else ""
    if rng.random() < 0.3:
        text = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    text = [str.lower, str.upper, str.title, str][rng.integers(4)](text)
    if rng.random() < 0.3:
        text = text.replace(" ", ["_", "-", "  "][rng.integers(3)])
    return text + ["", "", " 2", "_3", " (old)"][rng.integers(5)]


def shape_of(kind: str, k: int, rng: np.random.Generator) -> Any:
    """Return a geometry in a place of its own."""
    x, y = X + 50 + 90 * (k % 10), Y + 50 + 90 * (k // 10)
    one = rng.choice(kind.split())
    if one == "point":
        return shapely.Point(x, y)
    return shapely.LineString([(x, y), (x + 40, y + 20)]) if one == "line" else shapely.box(x, y, x + 20, y + 20)


def layout(rng: np.random.Generator, file: Path) -> list[Feature]:
    """Write a survey of features; return what they truly are."""
    count = int(rng.integers(3, 13))
    truths = [str(rng.choice([*THINGS, "riser", "riser"])) for _ in range(count)]
    features = []
    for k, truth in enumerate(truths):
        geometry, words, _ = THINGS.get(truth, ("point", RISERS, 0))
        features.append(Feature(truth, str(rng.choice(words)), shape_of(geometry, k, rng)))
    layers: dict[str, list[Feature]] = {}
    how = rng.choice(["one layer", "layers by kind", "two layers"])
    for k, feature in enumerate(features):
        if how == "layers by kind":
            name = f"{written(feature.word, np.random.default_rng(k))}"
            name = next((n for n, held in layers.items() if held[0].truth == feature.truth), name.replace("/", " "))
        else:
            name = PLAIN[0] if how == "one layer" else PLAIN[k % 2]
        layers.setdefault(name, []).append(feature)
    for name, held in layers.items():
        columns = columns_of(rng, held, named=how == "layers by kind")
        wkb = np.array([shapely.to_wkb(f.shape) for f in held], dtype=object)
        pyogrio.raw.write(
            file,
            wkb,
            list(columns.values()),
            list(columns),
            driver="GPKG",
            geometry_type="Unknown",
            crs=CRS,
            layer=name,
            append=file.exists(),
        )
    return features


def columns_of(rng: np.random.Generator, held: list[Feature], *, named: bool) -> dict[str, Any]:
    """Return the columns of one layer."""
    columns: dict[str, Any] = {}
    said = rng.choice(["kind", "name", "either", "nothing"] if named else ["kind", "name", "either"])
    kinds: list[str | None] = [None] * len(held)
    names: list[str | None] = [None] * len(held)
    bare_riser = rng.random() < 0.4  # what is a riser is told by its pressure alone
    for k, feature in enumerate(held):
        word = written(feature.word, rng)
        into = kinds if said == "kind" or (said == "either" and rng.random() < 0.5) else names
        if feature.truth == "unheard of":
            into = kinds
        if said != "nothing" and not (feature.truth == "riser" and bare_riser):
            into[k] = word
        if names[k] is None and rng.random() < 0.5:
            names[k] = [f"R{k}", f"N-{k}", "Smith", ""][rng.integers(4)]
    metered = rng.choice(["all", "risers", "pressure on all, flow on some"])
    pressure = [40.0 + k if f.truth == "riser" or metered != "risers" else np.nan for k, f in enumerate(held)]
    flow = [10.0 if f.truth == "riser" or (metered == "all" and rng.random() < 0.9) else np.nan for f in held]
    wanted = {
        str(rng.choice(KIND_COLUMNS)): np.array(kinds, object),
        str(rng.choice(NAME_COLUMNS)): np.array(names, object),
        "pressure_psi": np.array(pressure),
        "flow_gpm": np.array(flow),
        "surveyor": np.array(["Smith"] * len(held), object),
        "note": np.array([None, "checked"] * len(held), object)[: len(held)],
    }
    for column in rng.permutation(list(wanted)):
        columns[str(column)] = wanted[str(column)]
    return columns


@pytest.mark.parametrize("seed", range(LAYOUTS))
def test_every_hazard_ends_as_a_setback_a_limit_or_a_stop(seed: int, tmp_path: Path) -> None:
    rng = np.random.default_rng(seed)
    boundary = tmp_path / "site.gpkg"
    pyogrio.raw.write(boundary, np.array([shapely.to_wkb(SQUARE)], object), [], [], driver="GPKG", geometry_type="Polygon", crs=CRS)
    features = layout(rng, tmp_path / "f.gpkg")
    path = write_new_plan(tmp_path / "plan", boundary=boundary, features=[tmp_path / "f.gpkg"])
    mapping = tomllib.loads(path.read_text(encoding="utf-8"))
    plan = read_plan_file(path)
    survey = read_survey(plan, path.parent)
    assert survey.unused == (), path.read_text(encoding="utf-8")

    def taken(text: str) -> set[bytes]:
        layer = read_vector(reference.parse(text, path.parent))
        return {shapely.to_wkb(shape) for shape in layer.geometry}

    clear: dict[bytes, float] = {}
    for table in mapping["setback"][1:]:
        for shape in taken(table["from"]):
            clear[shape] = max(clear.get(shape, 0.0), units.quantity(table["distance"], "length") / units.FOOT)
    limited = {shape for table in mapping.get("height_limit", []) for shape in taken(table["from"])}
    kept_off = {shape for table in mapping.get("no_plant", []) for shape in taken(table["from"])}
    stops = {s for table in mapping.get("left_out", []) if "why" not in table for s in taken(table["from"])}
    harmless = {s for table in mapping.get("left_out", []) if "why" in table for s in taken(table["from"])}
    points = mapping.get("water", {}).get("points", [])
    water = {shape for text in ([points] if isinstance(points, str) else points) for shape in taken(text)}
    for feature in features:
        shape = shapely.to_wkb(feature.shape)
        told = f"{feature}\n{path.read_text(encoding='utf-8')}"
        if feature.truth == "riser":
            assert shape in water, told
            continue
        assert shape in clear or shape in limited or shape in kept_off or shape in stops, told
        assert shape not in harmless, told
        assert shape not in water or shape in stops, told
        if feature.truth == "overhead":
            assert shape in limited, told
        elif feature.truth != "unheard of":
            assert clear.get(shape, -1.0) >= THINGS[feature.truth][2] - 0.01, told
