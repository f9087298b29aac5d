"""Values that cannot be meant: too great, too small, too long, in other digits, of no unit; each is one fault in words.

What can be meant is told once for every kind of quantity (setout.units.LIMITS). The highest ground is 8,849 m, the
deepest sea bed 10,935 m below the sea; geoids lie within 107 m of the ellipsoid (EGM2008); the tallest tree measured
116 m.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
import shapely

from bad import proper
from command import CLEAN
from farm import EAST, FIELD, NORTH, Farm
from setout import units

Spoil = Callable[[Farm], None]

PLACES = {
    "setback[3].distance": ("length", ("setback", 2, "distance")),
    "height_limit[1].within": ("length", ("height_limit", 0, "within")),
    "height_limit[1].height": ("length", ("height_limit", 0, "height")),
    "block[1].step": ("length", ("block", 0, "step")),
    "block[2].headland": ("length", ("block", 1, "headland")),
    "block[2].spread": ("length", ("block", 1, "spread")),
    "block[2].height": ("length", ("block", 1, "height")),
    "block[2].direction": ("angle", ("block", 1, "direction")),
    "ground.max_slope": ("slope", ("ground", "max_slope")),
    "ground.min_area": ("area", ("ground", "min_area")),
    "ground.min_width": ("length", ("ground", "min_width")),
    "water.max_run": ("length", ("water", "max_run")),
    "water.pressure": ("pressure", ("water", "pressure")),
    "water.min_pressure": ("pressure", ("water", "min_pressure")),
    "water.flow": ("flow", ("water", "flow")),
    "water.daily_volume": ("flow", ("water", "daily_volume")),
    "water.max_velocity": ("velocity", ("water", "max_velocity")),
    "water.eto": ("rate", ("water", "eto")),
    "site.elevation": ("length", ("site", "elevation")),
    "site.geoid_height": ("length", ("site", "geoid_height")),
    "materials.mulch_ring": ("length", ("materials", "mulch_ring")),
}
UNIT = {
    "length": "m",
    "area": "ha",
    "pressure": "psi",
    "flow": "gal/min",
    "angle": "deg",
    "slope": "%",
    "velocity": "m/s",
    "rate": "mm/day",
}
NUMBERS = ["1e300", "1e999", "1e12", "-1e300", "nan", "inf", "-inf", "٣", "５", "1" * 300, "0x10", "1_000", "\u00a0", "\x07"]
"""Numbers that are none, or that nobody can mean in any of the units."""


def put(path: tuple[Any, ...], value: object) -> Spoil:
    def spoil(farm: Farm) -> None:
        *way, last = path
        table: Any = farm.sections
        for part in way:
            table = table.setdefault(part, {}) if isinstance(table, dict) else table[part]
        table[last] = value

    return spoil


@pytest.mark.parametrize("place", PLACES)
def test_no_number_beyond_sense_is_taken(place: str) -> None:
    """Each of the numbers, in each place: one fault with place and remedy, before any file is looked at."""
    from copy import deepcopy

    from farm import SECTIONS
    from setout.errors import PlanFaults
    from setout.planfile import parse_plan

    kind, path = PLACES[place]
    for number in NUMBERS:
        mapping = deepcopy(SECTIONS)

        class _Farm:
            sections = mapping

        put(path, f"{number} {UNIT[kind]}")(_Farm)  # type: ignore[arg-type]
        with pytest.raises(PlanFaults) as caught:
            parse_plan(mapping, "plan.toml")
        (fault,) = caught.value.faults
        assert fault.where == f"plan.toml: {place}", number
        assert fault.remedy
        assert len(str(fault)) < 400


def test_every_kind_of_quantity_has_its_limits_and_they_hold_what_is_usual() -> None:
    assert set(units.LIMITS) == {*units.KINDS, "slope"}
    for text, kind in (
        ("1 in", "length"),
        ("0.0015 mm", "length"),
        ("30 mi", "length"),
        ("200 psi", "pressure"),
        ("0.5 l/h", "flow"),
        ("20000 gal/min", "flow"),
        ("100000 acres", "area"),
        ("100 %", "slope"),
        ("-45 deg", "angle"),
        ("0 m", "length"),
    ):
        assert units.sensible(text, kind) == units.quantity(text, kind)


SITES: dict[str, tuple[Spoil, str]] = {
    "elevation 900 km": (put(("site", "elevation"), "900 km"), "100 km"),
    "elevation 90 km": (put(("site", "elevation"), "90 km"), "9,000 m"),
    "geoid 64,000 km": (put(("site", "geoid_height"), "64000 km"), "100 km"),
    "geoid 1 km": (put(("site", "geoid_height"), "1 km"), "200 m"),
    "plant of 200 m": (put(("block", 1, "height"), "200 m"), "150 m"),
    "alley after 10**30 rows": (put(("block", 0, "alley"), {"every": 10**30, "width": "20 m"}), "1,000,000"),
    "10**30 lines": (put(("block", 0, "lines"), 10**30), "12"),
    "number of 400 digits": (put(("water", "hours_per_day"), 10**400), "smaller number"),
    "hours that are no number": (put(("water", "hours_per_day"), float("nan")), "finite"),
    "year 10**30": (put(("block", 0, "plants"), [{"plant": "apple, semi-dwarf", "remove_year": 10**30}]), "9,999"),
    "boundary of a long name": (put(("site", "boundary"), f"survey/{'x' * 300}.gpkg"), "there is no file"),
    "setback of a long name": (put(("setback", 2, "from"), f"survey/{'x' * 300}.gpkg:well"), "there is no file"),
    "dem of a long name": (put(("site", "dem"), f"survey/{'x' * 300}.tif"), "there is no file"),
    "catalogue of a long name": (put(("catalogue",), "y" * 5000), "there is no file"),
    "labour of a long name": (put(("labour",), "y" * 400 + ".csv"), "there is no file"),
    "climate of a long name": (put(("water", "climate"), "y" * 400 + ".csv"), "there is no file"),
    "layer of a long name": (put(("setback", 2, "from"), f"survey/features.gpkg:{'x' * 5000}"), "there is no layer"),
    "plant of a long name": (put(("block", 0, "plants"), [{"plant": "a" * 5000}]), "not in the catalogue"),
    "pattern of a long name": (put(("block", 0, "pattern"), "a" * 5000), "is not known"),
    "key of a long name": (put(("block", 0, "k" * 5000), 1), "unknown key"),
    "crs of a long name": (put(("site", "crs"), "y" * 5000), "not understood"),
}


@pytest.mark.parametrize("name", SITES)
def test_the_command_says_it_in_one_short_line(farm: Farm, refused: Callable[..., list[str]], name: str) -> None:
    spoil, said = SITES[name]
    spoil(farm)
    (line,) = refused(said)
    assert len(line) < 1000


def band(scale: float | None = None, offset: float | None = None) -> Spoil:
    def spoil(farm: Farm) -> None:
        with rasterio.open(farm.survey / "dem.tif", "r+") as dem:
            if scale is not None:
                dem.scales = (scale,)
            if offset is not None:
                dem.offsets = (offset,)

    return spoil


@pytest.mark.parametrize(
    "spoil",
    [
        *(band(scale=s) for s in (1e30, 1e300, 1e-300, float("nan"), float("inf"), 1e8)),
        *(band(offset=o) for o in (1e30, float("nan"), -float("inf"), 1e6)),
        lambda farm: farm.dem(np.full((35, 45), 1e6) + np.arange(45)),
    ],
)
def test_heights_that_no_ground_has(farm: Farm, refused: Callable[..., list[str]], spoil: Spoil) -> None:
    spoil(farm)
    (line,) = refused("site.dem", "survey/dem.tif")
    assert "scale" in line


WKT = (
    'PROJCS["x",GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563]],PRIMEM["Greenwich",0],'
    'UNIT["degree",0.0174532925199433]],PROJECTION["Transverse_Mercator"],PARAMETER["latitude_of_origin",0],'
    'PARAMETER["central_meridian",-123],PARAMETER["scale_factor",0.9996],PARAMETER["false_easting",500000],'
    'PARAMETER["false_northing",0],UNIT["zorkmid",{}]]'
)


@pytest.mark.parametrize("factor", ["0", "-1", "1e300", "nan"])
def test_a_system_that_counts_in_a_unit_that_cannot_be(farm: Farm, refused: Callable[..., list[str]], factor: str) -> None:
    farm.sections["site"]["crs"] = WKT.format(factor)
    refused("site.crs")
    farm.sections["site"].pop("crs")
    farm.vector("field.shp", [FIELD])
    (farm.survey / "field.prj").write_text(WKT.format(factor))
    farm.sections["site"]["boundary"] = "survey/field.shp"
    refused("field.shp")


def test_names_of_layers_and_columns_that_are_not_utf_8(farm: Farm, refused: Callable[..., list[str]]) -> None:
    path = farm.survey / "w.geojson"
    path.write_bytes(
        b'{"type":"FeatureCollection","name":"w\xe9ll","features":[{"type":"Feature","properties":{"k\xe9nd":"w\xe9"},'
        b'"geometry":{"type":"Point","coordinates":[-122.872,45.06]}}]}'
    )
    farm.sections["setback"][2]["from"] = "survey/w.geojson"
    refused("w.geojson", "not text in UTF-8")
    farm.vector("x.gpkg", [shapely.Point(EAST + 20, NORTH + 20)], "zzll", kind=["a"])
    file = farm.survey / "x.gpkg"
    file.write_bytes(file.read_bytes().replace(b"zzll", b"z\xe9ll"))
    farm.sections["setback"][2]["from"] = "survey/x.gpkg"
    refused("x.gpkg")


@pytest.mark.skipif(sys.platform != "linux", reason="names of files are text elsewhere")
def test_a_folder_whose_name_is_not_utf_8(farm: Farm, warm: Callable[..., Any]) -> None:
    path = farm.write()
    odd = os.fsdecode(os.fsencode(farm.folder) + b"/g\xe4rten")
    farm.survey.rename(odd)
    ran = warm("plan", path, "--quiet")
    proper(ran)
    Path(odd).rename(farm.survey)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.parametrize("words", [["plan", "--quiet"], ["plan", "--quiet", "--json"], ["plants"], ["check"]])
def test_a_full_standard_output(farm: Farm, words: list[str]) -> None:
    """Exit code 3 and one line, and the results are whole."""
    plan = str(farm.write())
    more = {"plan": [plan, "--only", "geopackage"], "check": [plan, "--trees", str(farm.folder / "out" / "plan.gpkg:trees"), "--quiet"]}
    with Path("/dev/full").open("wb") as full:
        command = [sys.executable, "-m", "setout", words[0], *more.get(words[0], []), *words[1:]]
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, env=CLEAN, check=False, timeout=120)
    said = done.stderr.decode().splitlines()
    assert done.returncode == 3
    assert len(said) == 1
    assert said[0].startswith("setout: standard output: ")
    assert "No space left on device" in said[0]


CONTROL = ["\x07", "\x1b[31m", "\u202e", "\n", "\x7f", "\u2028"]
TEXTS = {
    "name": ("name",),
    "block.name": ("block", 0, "name"),
    "setback.why": ("setback", 2, "why"),
    "no_plant.why": ("no_plant", 0, "why"),
    "height_limit.why": ("height_limit", 0, "why"),
    "prices.currency": ("prices", "currency"),
    "materials.wire": ("materials", "wire"),
    "plants.variety": ("block", 0, "plants", 0, "variety"),
    "plants.role": ("block", 0, "plants", 0, "role"),
}


@pytest.mark.parametrize("key", TEXTS)
def test_no_text_that_goes_onto_labels_holds_a_control_character(key: str) -> None:
    from copy import deepcopy

    from farm import SECTIONS
    from setout.errors import PlanFaults
    from setout.planfile import parse_plan

    for sign in CONTROL:
        mapping = deepcopy(SECTIONS)

        class _Farm:
            sections = mapping

        put(TEXTS[key], f"a{sign}b")(_Farm)  # type: ignore[arg-type]
        with pytest.raises(PlanFaults) as caught:
            parse_plan(mapping, "plan.toml")
        assert "control character" in str(caught.value), repr(sign)


@pytest.mark.skipif(sys.platform != "linux", reason="names of files are bytes there")
@pytest.mark.parametrize("name", ["n" * 300, os.fsdecode(b"o\xe4t")], ids=["long", "not UTF-8"])
def test_an_output_folder_that_can_never_be(tmp_path: Path, name: str) -> None:
    from setout.errors import SetoutError
    from setout.write.folder import check_writable

    with pytest.raises(SetoutError, match="there can be no such folder") as caught:
        check_writable(tmp_path / name)
    assert caught.value.faults[0].remedy


@pytest.mark.parametrize("command", [["plan"], ["plants", "--plan"], ["new", "out", "--boundary"], ["new"]])
def test_a_path_too_long_for_any_system(tmp_path: Path, warm: Callable[..., Any], command: list[str]) -> None:
    more = ["--boundary", "b.gpkg"] if command == ["new"] else []
    lines = proper(warm(*command, "n" * 300, *more, *(["--quiet"] if command == ["plan"] else []), cwd=tmp_path))
    assert any("File name too long" in line for line in lines)


def test_a_name_of_a_water_point_without_an_end_is_cut() -> None:
    from setout.stages.survey.water_points import _names

    assert [len(name) for name in _names({"name": np.array(["x" * 100_000, "y"], object)}, 2)] == [60, 1]
