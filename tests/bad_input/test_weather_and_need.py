"""Climate and reference evapotranspiration that cannot be used: refused with what, where and remedy; nothing written."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest

from farm import Farm

MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
RATES = (0.03, 0.05, 0.09, 0.14, 0.18, 0.22, 0.25, 0.22, 0.16, 0.09, 0.05, 0.03)
CLIMATE = "month,tmax_c,tmin_c,rain_mm\n" + "\n".join(
    f"{m},{18 - 10 * np.cos(m / 1.91):.1f},{6 - 8 * np.cos(m / 1.91):.1f},60" for m in range(1, 13)
)


def water(**keys: object) -> Callable[[Farm], None]:
    return lambda farm: farm.sections["water"].update(keys)


def climate(text: str | bytes) -> Callable[[Farm], None]:
    def spoil(farm: Farm) -> None:
        data = text if isinstance(text, bytes) else text.encode()
        (farm.survey / "climate.csv").write_bytes(data)
        farm.sections["water"]["climate"] = "survey/climate.csv"

    return spoil


def by_month(**changed: object) -> dict[str, object]:
    rates = {m: f"{r} in/day" for m, r in zip(MONTHS, RATES, strict=True)} | changed
    return {m: r for m, r in rates.items() if r is not None}


CASES: dict[str, tuple[Callable[[Farm], None], list[str]]] = {
    "ETo without unit": (water(eto=0.28), ["water.eto", "0.28 has no unit", "0.28 in/day"]),
    "ETo as a length": (water(eto="0.28 in"), ["water.eto", 'the unit "in", which is no rate', "in/day"]),
    "ETo in the wrong unit": (water(eto="0.28 mm/day"), ["water.eto", "is 0.28 mm/day, which is no peak", "look at its unit"]),
    "ETo of a month": (water(eto="7 in/day"), ["water.eto", "178 mm/day", "look at its unit"]),
    "ETo lacks a month": (water(eto=by_month(mar=None)), ["water.eto", "months are missing: March"]),
    "ETo of no month": (water(eto=by_month(smarch="1 in/day")), ["water.eto", '"smarch" is no month']),
    "ETo of a month twice": (water(eto=by_month(march="0.1 in/day")), ["water.eto", "there twice: March"]),
    "ETo of eleven months": (water(eto=["0.2 in/day"] * 11), ["water.eto", "has 11 values, not twelve"]),
    "ETo of a month without unit": (water(eto=by_month(jul=0.25)), ["water.eto", "July: 0.25 has no unit"]),
    "ETo below zero": (water(eto=by_month(jan="-0.1 in/day")), ["water.eto", "January", "-0.1 in/day"]),
    "rain without unit": (water(rain=[3.1] * 12), ["water.rain", "January: 3.1 has no unit"]),
    "rain of a year": (water(rain="40 in"), ["water.rain", "is not by month"]),
    "Kc in quotes": (water(kc="0.95"), ["water.kc", "is not a number"]),
    "Kc too great": (water(kc=95), ["water.kc", "is no crop coefficient"]),
    "Kc of no month": (water(kc=[0] * 12), ["water.kc", "is 0 throughout"]),
    "leaching over one": (water(leaching=1.5), ["water.leaching", "at most 0.9"]),
    "leaf out on no day": (water(leaf_out="30 February"), ["water.leaf_out", "no day of the year"]),
    "factor unknown": (water(canopy_factor="keller"), ["water.canopy_factor", '"keller" is not known', "keller-karmeli"]),
    "climate missing": (water(climate="survey/klima.csv"), ["water.climate", "there is no file"]),
    "climate empty": (climate(""), ["water.climate: climate.csv", "holds no line"]),
    "climate lacks a month": (climate(CLIMATE.replace("\n4,", "\n3,", 1)), ["water.climate: climate.csv", "March is there twice"]),
    "climate without unit": (climate(CLIMATE.replace("tmax_c", "tmax")), ["water.climate: climate.csv: line 1", "has no unit"]),
    "climate is a picture": (climate(b"\x89PNG\r\n\x1a\n\x00\x00"), ["water.climate: climate.csv", "not text in UTF-8"]),
    "climate is a folder": (water(climate="survey"), ["water.climate", "cannot be read"]),
    "Tmax below Tmin": (climate(CLIMATE.replace("tmax_c,tmin_c", "tmin_c,tmax_c")), ["is below", "may be swapped"]),
}


@pytest.mark.parametrize("case", CASES)
def test_refused(case: str, farm: Farm, refused: Callable[..., list[str]]) -> None:
    spoil, said = CASES[case]
    spoil(farm)
    refused(*said)


def test_a_fault_of_the_climate_is_told_with_those_of_the_plan(farm: Farm, refused: Callable[..., list[str]]) -> None:
    climate(CLIMATE.replace("tmax_c", "tmax"))(farm)
    farm.sections["ground"]["max_slope"] = "30"
    lines = refused("ground.max_slope", "climate.csv: line 1")
    assert len(lines) == 2


def test_a_sound_climate_gives_every_tree_a_need(farm: Farm, warm) -> None:
    # a column that is not read is told in the report, and stays text there
    strange = "<img src=x onerror=alert(1)>"
    climate(CLIMATE.replace("rain_mm\n", f"rain_mm,{strange}\n"))(farm)
    farm.sections["block"][1]["plants"] = [{"plant": "peach"}]
    out: Path = farm.folder / "out"
    ran = warm("plan", farm.write(), "--quiet", "--only", "geopackage", "report")
    assert (ran.code, ran.err) == (0, "")
    trees = gpd.read_file(out / "plan.gpkg", layer="trees")
    assert trees["need_lpd"].gt(0).all()
    peaks = trees.groupby("block")["need_lpd"].agg(["min", "max"])
    assert peaks["min"].equals(peaks["max"])
    months = gpd.read_file(out / "plan.gpkg", layer="water_need")
    assert months.groupby("block")["month"].apply(list).tolist() == [list(range(1, 13))] * 2
    assert not months.drop(columns="variety").isna().any(axis=None)
    np.testing.assert_allclose(months.groupby("block")["dry_need_lpd"].max(), peaks["max"])
    assert (months["need_lpd"] <= months["dry_need_lpd"]).all()
    report = (out / "report.html").read_text(encoding="utf-8")
    assert "Water that the plants need" in report
    assert "Hargreaves-Samani from temperatures alone" in report
    assert strange not in report
    assert "&lt;img src=x" in report


def test_need_is_null_without_a_climate(farm: Farm, warm) -> None:
    ran = warm("plan", farm.write(), "--quiet", "--only", "geopackage", "report")
    assert (ran.code, ran.err) == (0, "")
    trees = gpd.read_file(farm.folder / "out" / "plan.gpkg", layer="trees")
    assert trees["need_lpd"].isna().all()
    assert "water_need" not in set(gpd.list_layers(farm.folder / "out" / "plan.gpkg")["name"])
    assert "Water that the plants need" not in (farm.folder / "out" / "report.html").read_text(encoding="utf-8")
