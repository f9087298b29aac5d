"""The map's tools in a browser: years, filters, colours, pipes, where am I, the printed page."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pyproj import CRS, Geod

from browser.browsing import Opened, opened
from setout.draw import palette
from setout.geometry.places.growth import plant_spread_at
from setout.layers import plan_layers
from setout.model import Planting
from setout.units import ACRE, FOOT, GALLON, PSI
from setout.write.geopackage import writer
from setout.write.map import page as webmap
from write import sample_irrigation, sample_planting

pytestmark = pytest.mark.browser

WGS84 = Geod(ellps="WGS84")


def chosen(one: Opened, which: str, text: str) -> int:
    one.page.select_option(f"#only-{which}", label=text)
    return shown(one)


def shown(one: Opened) -> int:
    note = one.page.inner_text("#only-note")
    count = int(re.findall(r"[\d,]+", note)[0].replace(",", ""))
    assert one.js("setout.layers.trees.drawn") == count  # the canvas holds the whole property here
    return count


def test_filters_show_what_they_say(wet_at: Opened, wet: Planting) -> None:
    trees, one = wet.trees, wet_at
    assert shown(one) == len(trees)
    block_b = trees.block == 1
    assert chosen(one, "block", "B") == block_b.sum()
    one.page.check("#only-dry")
    dry = block_b & (trees.row == sample_irrigation.DRY_ROW)
    assert shown(one) == dry.sum() > 0
    i = int(np.flatnonzero(dry)[0])
    one.near(i)
    one.page.mouse.click(*one.point(i))
    assert one.card()["Watered"] == "no"
    assert one.card()["Why"] == "too little flow"
    one.page.click("#card-next")
    assert one.title == wet.trees.ids[np.flatnonzero(dry)[1]]
    hidden = int(np.flatnonzero(~block_b)[3])
    one.near(hidden)
    one.page.mouse.click(*one.point(hidden))
    assert one.title != wet.trees.ids[hidden]
    one.page.click("#only-reset")
    one.page.click("#fit")
    assert shown(one) == len(trees)
    assert chosen(one, "zone", "z1") == (trees.block == 0).sum()
    assert chosen(one, "zone", "none") == (trees.block == 2).sum()
    one.page.click("#only-reset")
    assert chosen(one, "plant", "apple, semi-dwarf: Jonathan") == ((trees.block == 0) & (trees.plant == 0)).sum()
    one.page.click("#only-reset")
    one.page.check("#only-attention")
    assert shown(one) == 1
    one.page.fill("#search", str(wet.trees.ids[0]))
    one.page.press("#search", "Enter")
    assert one.page.inner_text("#search-note") == "This tree is among those not shown now."


def test_years_grow_the_canopies(wet_at: Opened, wet: Planting) -> None:
    one, trees = wet_at, wet.trees
    stays = int(np.flatnonzero((trees.block == 0) & (trees.plant == 0))[9])
    filler = int(np.flatnonzero((trees.block == 0) & (trees.plant == 1))[2])
    unknown = int(np.flatnonzero(trees.block == 1)[0])
    nut = int(np.flatnonzero(trees.block == 2)[0])
    one.page.focus("#year")
    one.page.keyboard.press("Home")
    one.until("setout.layers.trees.year === 1")
    for year in (1, 5, 6, 12):
        one.js("y => setout.tools.view.setYear(y)", year)
        for i in (stays, filler, nut):
            plant = wet.site.blocks[trees.block[i]].plants[trees.plant[i]]
            drawn = one.js("i => setout.layers.trees._now[i]", i)
            assert drawn == pytest.approx(plant_spread_at(plant, year), abs=1e-4)
        out = ((trees.block == 0) & (trees.plant == 1)).sum() if year >= 6 else 0
        assert shown(one) == len(trees) - out
    assert one.js("i => Number.isNaN(setout.layers.trees._now[i])", unknown)
    assert "trees of unknown growth are drawn as dots" in one.page.inner_text("#year-note")
    one.js("setout.tools.view.setYear(3)")
    one.near(stays, 21)
    one.page.mouse.click(*one.point(stays))
    plant = wet.site.blocks[0].plants[0]
    assert one.card()["Spread in year 3"] == f"{plant_spread_at(plant, 3) / FOOT:.1f} ft"
    # What is on the canvas has that size: colour inside the radius, none outside it.
    inked = """([i, f]) => {const t = setout.layers.trees, v = t._view(), c = t._container, k = c.width / parseFloat(c.style.width),
        r = t._now[i] / 2 * v.perMetre * f, x = (v.ax + v.k * t._x[i] + r * .8) * k, y = (v.ay - v.k * t._y[i] - r * .6) * k;
        return c.getContext("2d").getImageData(Math.round(x), Math.round(y), 1, 1).data[3]}"""
    one.page.click("#card-close")
    assert one.js(inked, [stays, 0.9]) > 190
    assert one.js(inked, [stays, 1.25]) == 0
    one.page.focus("#year")
    one.page.keyboard.press("End")
    one.until("setout.layers.trees.year === null")
    assert one.page.inner_text("#year-text") == "Full size"
    one.errors[:] = [e for e in one.errors if "willReadFrequently" not in e]  # two looks at one canvas


def test_colours_only_of_what_the_plan_has(wet_at: Opened, at: Opened) -> None:
    options = set(wet_at.page.locator("#colour-by option").all_inner_texts())
    assert {"Plant", "Block", "Crowding", "Pressure", "Direct sun", "Need at the peak", "Zone", "Watered", "Why"} <= options
    options = set(at.page.locator("#colour-by option").all_inner_texts())
    assert not {"Crowding", "Direct sun", "Need at the peak", "Zone", "Watered"} & options
    for name in ("crowding", "pressure_kpa", "sun_h", "need_lpd", "watered", "zone"):
        wet_at.page.select_option("#colour-by", name)
        assert wet_at.page.inner_text("#tree-legend")
    wet_at.page.select_option("#colour-by", "zone")
    assert re.split(r"\s+", wet_at.page.inner_text("#tree-legend"))[::2] == ["z1", "z2", "none"]
    first = wet_at.js("setout.layers.trees.options.colours[setout.layers.trees._codes[0]]")
    assert first == setout_zone_colour(wet_at, 0)


def setout_zone_colour(one: Opened, zone: int) -> str:
    """The colour in which the pipes of a zone are drawn."""
    return str(one.js("z => setout.layers.laterals.options.colours[z]", zone))


def test_pipes_answer_with_what_the_plan_has(wet_at: Opened, wet: Planting) -> None:
    assert wet.irrigation is not None
    net, one = wet.irrigation.network, wet_at
    assert net is not None
    assert one.js("setout.layers.laterals.n") == int(net.lateral.max()) + 1
    one.tab("layers")
    assert one.page.locator("#zone-legend li").count() == 2
    one.page.uncheck("input[data-layer=trees]")
    # Between the second and the third tree of a row of block B.
    mine = np.flatnonzero((wet.trees.block == 1) & (wet.trees.row == 4))[1:3]
    lon, lat = wet.site.frame.to(CRS.from_epsg(4326), wet.trees.x[mine].mean(), wet.trees.y[mine].mean())
    one.js("p => setout.leaflet.setView(p, 20, {animate: false})", [float(lat), float(lon)])
    one.page.mouse.click(*one.spot(float(lat), float(lon)))
    card = one.card()
    assert one.title == "B-04-1"
    assert one.page.inner_text("#card-kind") == "Laterals"
    assert card["Zone"] == "z2"
    assert card["Inside diameter"] == f"{20.8 / 25.4:.3f} in"
    assert card["Flow at its head"] == f"{40 / GALLON / 60:.2f} gal/min"
    assert card["Trees"] == str(int(((wet.trees.block == 1) & (wet.trees.row == 4)).sum()))
    one.page.get_by_role("button", name="z2", exact=True).click()
    assert one.card()["Set its regulator to"] == f"{170 / PSI:.1f} psi"
    assert one.page.inner_text("#card-kind") == "Valve"


def test_area_between_points_is_the_ellipsoids(at: Opened, plan: Planting) -> None:
    lon = [-77.051, -77.048, -77.0484, -77.0507]
    lat = [40.2091, 40.2094, 40.2113, 40.2109]
    got = at.js("p => setout.area(p.map(q => L.latLng(q)), setout.tools.data.earth)", [list(p) for p in zip(lat, lon, strict=True)])
    want = abs(WGS84.polygon_area_perimeter(lon, lat)[0]) * plan.site.frame.scale**2
    assert got == pytest.approx(want, rel=2e-5)
    at.page.click("#measure")
    for p in zip(lat[:3], lon[:3], strict=True):
        at.js("p => setout.ruler.add(L.latLng(p))", list(p))
    assert re.search(r"the points hold [\d.]+ acres", at.page.inner_text("#measure-detail"))
    assert at.js("setout.showArea(40468.564224, 'us')") == f"{40468.564224 / ACRE:.2f} acres"


def test_where_am_i(browser: Any, wet_file: Path, wet: Planting) -> None:
    i = 200
    lon, lat = wet.site.frame.to(CRS.from_epsg(4326), wet.trees.x, wet.trees.y)
    here = {"latitude": float(lat[i]) + 1.1e-5, "longitude": float(lon[i]) - 0.7e-5, "accuracy": 2.0}
    one = opened(browser, wet_file, geolocation=here, permissions=["geolocation"])
    one.page.click("#locate")
    one.until("document.getElementById('locate-text').textContent.startsWith('Nearest tree')")
    azimuth, _, far = WGS84.inv(np.full_like(lon, here["longitude"]), np.full_like(lat, here["latitude"]), lon, lat)
    near = int(np.argmin(far))
    said = one.page.inner_text("#locate-text")
    ids = wet.trees.ids
    assert said.startswith(f"Nearest tree {ids[near]}: ")
    assert float(re.findall(r": ([\d.]+) ft", said)[0]) == pytest.approx(far[near] / FOOT, abs=0.06)
    detail = one.page.inner_text("#locate-detail")
    told = float(re.findall(r"Bearing (\d+)", detail)[0])
    assert (told - azimuth[near] + 180) % 360 - 180 == pytest.approx(0, abs=0.6)
    assert "good to 7 ft" in detail
    # The way to a tree of one's choice, on the move.
    target = len(wet.trees) - 30
    one.js("i => setout.tools.showTree(i)", target)
    one.page.click("#card-guide")
    step = {"latitude": float(lat[50]), "longitude": float(lon[50]), "accuracy": 9.0}
    one.page.context.set_geolocation(step)
    one.until("id => document.getElementById('locate-detail').textContent.includes(id)", str(ids[50]))
    azimuth, _, far = WGS84.inv(np.full_like(lon, step["longitude"]), np.full_like(lat, step["latitude"]), lon, lat)
    said = one.page.inner_text("#locate-text")
    assert said.startswith(f"To {ids[target]}: ")
    feet = float(re.findall(r": ([\d,.]+) ft", said)[0].replace(",", ""))
    assert feet == pytest.approx(far[target] * wet.site.frame.scale / FOOT, abs=0.6)
    assert "too coarse to tell neighbours apart" in one.page.inner_text("#locate-detail")
    one.page.click("#locate-done")
    assert one.page.locator("#locate-bar").is_hidden()
    assert one.errors == []
    assert one.asked() == {wet_file.as_uri()}
    one.page.context.close()


def test_a_refused_position_says_what_to_do(at: Opened) -> None:
    at.page.click("#locate")
    at.until("document.getElementById('locate-text').textContent === 'No position.'")
    assert "GPX file of the packet" in at.page.inner_text("#locate-detail")


def printed(one: Opened, tmp_path: Path) -> Any:
    pypdf = pytest.importorskip("pypdf")
    file = tmp_path / "map.pdf"
    one.page.pdf(path=str(file), prefer_css_page_size=True, print_background=False)
    return pypdf.PdfReader(file)


def test_the_printed_page(wet_at: Opened, wet: Planting, tmp_path: Path) -> None:
    """One page with hillshade, map, north, scale, legend and caution; the screen as it was before."""
    before = wet_at.js("[setout.leaflet.getZoom(), setout.leaflet.getSize().x]")
    wet_at.page.select_option("#only-block", label="A")
    reader = printed(wet_at, tmp_path)
    assert len(reader.pages) == 1
    text = reader.pages[0].extract_text()
    for words in ("Wren Hill", "Usable ground", "Hillshade", "call 811", "z1", "Shown: block A", "N", " ft"):
        assert words in text
    # The hillshade is the one large picture: a shadow that is as uneven as the ground.
    shade = max((image.image for image in reader.pages[0].images), key=lambda image: image.width * image.height)
    assert shade.size == (600, 500)
    assert np.ptp(np.asarray(shade.convert("RGBA"), float)[250, :, 3]) > 30
    assert wet_at.js("[setout.leaflet.getZoom(), setout.leaflet.getSize().x]") == before


def test_hillshade_and_trees_are_on_paper(wet_at: Opened, wet: Planting, tmp_path: Path) -> None:
    """On the rendered sheet, also after the zoom of the screen was another one."""
    pdfium = pytest.importorskip("pypdfium2")
    wet_at.page.click("#zoom-in")
    wet_at.page.wait_for_timeout(400)
    wet_at.page.click("#zoom-in")
    wet_at.page.wait_for_timeout(400)
    for box in ("usable", "rows", "contours", "contours5"):
        wet_at.js("k => setout.leaflet.removeLayer(setout.layers[k])", box)
    file = tmp_path / "map.pdf"
    wet_at.page.pdf(path=str(file), prefer_css_page_size=True, print_background=False)
    page = np.asarray(pdfium.PdfDocument(str(file))[0].render(scale=2).to_pil().convert("RGB"), int)
    wanted = [int(palette.TREES[0][k : k + 2], 16) for k in (1, 3, 5)]
    assert (np.abs(page - wanted).max(axis=2) < 40).mean() > 0.02, "trees are missing"
    grey = (np.ptp(page, axis=2) < 26) & (page.mean(axis=2) > 120) & (page.mean(axis=2) < 225)
    assert grey.mean() > 0.02, "hillshade is missing"


def test_words_of_pipes_zones_and_years_that_look_like_code(browser: Any, tmp_path: Path) -> None:
    plan = sample_irrigation.irrigated(sample_irrigation.grown(sample_planting.planting(names=sample_planting.EVIL)))
    webmap.write_map(tmp_path / "map.html", plan, hillshade=None)
    one = opened(browser, tmp_path / "map.html")
    one.page.select_option("#colour-by", "zone")
    one.page.select_option("#only-block", index=1)
    one.js("setout.tools.goTo(0)")
    one.page.click("#card-guide")
    one.js("i => setout.locator.set(setout.layers.trees.latLng(i), 3)", 4)
    assert str(plan.trees.ids[0]) in one.page.inner_text("#locate-text")
    one.js("setout.printer.before()")
    assert one.page.inner_text("#print-shown").startswith("Shown: block ")
    one.js("setout.printer.after()")
    assert one.js("typeof window.broken") == "undefined"
    assert one.errors == []
    assert one.page.locator("img").count() == 0
    one.page.context.close()


def test_details_are_those_of_the_layer(wet_at: Opened, wet: Planting, tmp_path: Path) -> None:
    """What a tapped tree tells is what the layer trees of the GeoPackage holds, in the reader's units."""
    geopandas = pytest.importorskip("geopandas")
    path = tmp_path / "plan.gpkg"
    writer.write(path, plan_layers(wet, []), wet.site.frame.survey_crs)
    layer = geopandas.read_file(path, layer="trees", engine="pyogrio").set_index("tree_id")
    figures = {
        "Nearest tree": ("nearest_m", 1 / FOOT, "ft", 2),
        "Crowding": ("crowding", 1.0, "", 2),
        "Elevation": ("elevation_m", 1 / FOOT, "ft", 1),
        "Slope": ("slope_pct", 1.0, "%", 1),
        "Pressure": ("pressure_kpa", 1 / PSI, "psi", 1),
        "Flow": ("flow_lph", 1 / GALLON, "gal/h", 2),
        "Need at the peak": ("need_lpd", 1 / GALLON, "gal/day", 1),
        "Direct sun": ("sun_h", 1.0, "h", 1),
        "Run to water": ("run_m", 1 / FOOT, "ft", 1),
        "Mature spread": ("spread_m", 1 / FOOT, "ft", 1),
    }
    words = {"Zone": "zone", "Why": "water_reason", "Water point": "water_point", "Block": "block"}
    dry = int(np.flatnonzero((wet.trees.block == 1) & (wet.trees.row == sample_irrigation.DRY_ROW))[0])
    for i in (3, dry, len(wet.trees) - 1):
        wet_at.near(i)
        wet_at.page.mouse.click(*wet_at.point(i))
        row, card = layer.loc[wet_at.title], wet_at.card()
        assert wet_at.title == wet.trees.ids[i]
        assert (card["Row"], card["Position in the row"]) == (str(row["row"]), str(row["position"]))
        for label, (name, factor, unit, decimals) in figures.items():
            if np.isfinite(row[name]):
                shown_value, _, shown_unit = card[label].partition(" ")
                assert shown_unit == unit
                assert float(shown_value) == pytest.approx(row[name] * factor, abs=0.51 * 10**-decimals), label
            else:
                assert label not in card
        for label, name in words.items():
            assert card.get(label, "") == (row[name] if isinstance(row[name], str) else ""), label
        assert card["Watered"] == ("yes" if row["watered"] else "no")
