"""The report's sections on light and cold air."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from pyproj import CRS

from invented import Property, Sheet, objects, plan_of
from setout.model import Hollow
from setout.write.report import page as report
from setout.write.report.light import cold_section, direction_words, light_section
from setout.write.report.sources import sun_picture

UTM = CRS.from_epsg(26910)


@pytest.fixture(scope="module")
def plan() -> Any:
    layers = {
        "west": objects(shapely.box(-60, -60, -5, 60)),
        "east": objects(shapely.box(5, -60, 30, 60)),
        "yard": objects(shapely.box(45, -15, 58, 15)),
        "line": objects(shapely.LineString([(40, -20), (40, 20)])),
    }
    blocks = [
        {
            "name": "A",
            "area": "west",
            "pattern": "square",
            "step": "9 m",
            "direction": "north-south",
            "spread": "4 m",
            "height": "4 m",
            "pair": {"distance": "2 ft"},
        },
        {
            "name": "H",
            "area": "east",
            "pattern": "hedgerow",
            "step": "1 m",
            "row_distance": "4 m",
            "direction": "north-south",
            "spread": "1.4 m",
            "height": "2.4 m",
        },
        {
            "name": "S",
            "pattern": "screen",
            "line": "line",
            "step": "3 m",
            "purpose": "shade",
            "yard": "yard",
            "spread": "3 m",
            "height": "7 m",
        },
    ]
    prop = Property(shapely.box(-62, -62, 62, 62), layers, {})
    return plan_of(prop.survey(UTM), blocks, light={"days": ["06-21", "09-21"]})


def test_figures_are_those_of_the_plan(plan: Any) -> None:
    section = light_section(plan)
    assert section is not None
    assert section["months"] == ["Jun", "Sep"]
    assert section["days"] == "21 Jun, 21 Sep"
    names = ["A, lighter partners", "A, darker partners", "H", "S"]
    assert [block["name"] for block in section["blocks"]] == names
    sun, partner = plan.trees.sun_h, plan.trees.partner
    own = np.flatnonzero(plan.trees.block == 0)
    two = np.sort(np.column_stack([sun[own], sun[partner[own]]]), axis=1)[::2]
    groups = [two[:, 1], two[:, 0], sun[plan.trees.block == 1], sun[plan.trees.block == 2]]
    for hours, block in zip(groups, section["blocks"], strict=True):
        assert block["median"] == f"{np.median(hours):.1f}"
    # the picture counts every tree, those below the limit by themselves: six hours, of a hedge three square to its sides
    said = str(sun_picture(plan))
    for name, hours, limit in zip(names, groups, (6, 6, 3, 3), strict=True):
        assert f"{name}: {int((hours < limit).sum()):,} of {len(hours):,} below {limit}" in said
    (shade,) = section["shades"]
    assert [m["month"] for m in shade["months"]] == ["Jun", "Sep"]
    assert float(shade["months"][0]["pm"]) > 1.0 > float(shade["months"][0]["am"])


def test_words_on_pairs_and_hedges(plan: Any) -> None:
    pairs, hedges = direction_words(plan, 0), direction_words(plan, 1)
    ways = {d.bearing_deg: d for d in plan.light.directions if d.block == 0}
    darker = [min(s.am_h + s.pm_h for s in ways[way].sides) for way in (0.0, 90.0)]
    assert f"has {darker[0]:.1f} h a day north-south and {darker[1]:.1f} h east-west" in pairs
    assert darker[1] > darker[0] + 1.0
    assert "east partner" in pairs
    assert "the east side has the morning" in hedges
    assert direction_words(plan, 2) == ""


def test_the_page_tells_light(plan: Any, tmp_path: Any) -> None:
    report.write_report(tmp_path / "report.html", plan, picture_svg="<svg></svg>")
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "<h2>Light</h2>" in page
    assert "Shade of screen S" in page
    assert "as planned" in page


def test_without_light_the_page_says_nothing_of_it(plan: Any, tmp_path: Any) -> None:
    report.write_report(tmp_path / "report.html", replace(plan, light=None, cold_air=None), picture_svg="<svg></svg>")
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "<h2>Light</h2>" not in page
    assert "<h2>Cold air</h2>" not in page


def test_cold_air_tells_hollows(plan: Any) -> None:
    size = 300
    y, x = np.mgrid[0:size, 0:size].astype(float)
    z = 100 + 0.03 * (size - y) - np.where(np.hypot(x - 150, y - 150) < 30, 2.0 * (1 - (np.hypot(x - 150, y - 150) / 30) ** 2), 0.0)
    from pyproj import Transformer

    prop = Property(shapely.box(-62, -62, 62, 62), {}, {})
    east, north = Transformer.from_crs(4326, UTM, always_xy=True).transform(prop.lon, prop.lat)
    dem = Sheet(z, (1.0, 0.0, east - 150, 0.0, -1.0, north + 150), UTM)
    block = {"name": "A", "pattern": "square", "step": "6 m", "plants": [{"plant": "apricot"}]}
    found = plan_of(prop.survey(UTM, dem), block, light={"compute": "never"})
    section = cold_section(found)
    assert section is not None
    assert len(section["hollows"]) == 1
    assert section["hollows"][0]["depth"].endswith("ft")
    assert [f.code for f in found.findings if f.code == "cold_hollow"] == ["cold_hollow"]
    many = replace(found.cold_air, hollows=(Hollow(shapely.box(0, 0, 1, 1), 1.0, 2.0, shapely.Point(0, 0)),) * 14)
    more = cold_section(replace(found, cold_air=many))
    assert more is not None
    assert (len(more["hollows"]), more["more"]) == (10, 4)
