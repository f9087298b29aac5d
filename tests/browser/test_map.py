"""The map in a browser: one request and no error, and everything on it answers and tells the truth."""

from __future__ import annotations

import dataclasses
import re
import shutil
import stat
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pyproj import CRS, Geod

from browser.browsing import ARGS, Opened, chromium, opened
from setout.draw import palette
from setout.model import Planting, Rows, Trees
from setout.units import FOOT, PSI
from setout.write.map import page
from write import sample_planting

pytestmark = pytest.mark.browser


def test_one_request_and_all_trees(at: Opened, plan: Planting) -> None:
    assert at.js("setout.layers.trees.n") == len(plan.trees)
    assert at.js("setout.layers.trees.drawn") == len(plan.trees)
    assert f"{len(plan.trees):,} trees" in at.page.inner_text("#bar")


def test_click_tells_what_the_data_say(at: Opened, plan: Planting) -> None:
    facts = trees = plan.trees
    east, north = plan.site.frame.to(plan.site.frame.plane_crs, trees.x, trees.y)
    lon, lat = plan.site.frame.to(CRS.from_epsg(4326), trees.x, trees.y)
    for i in (0, 333, len(trees) - 1):
        at.near(i)
        at.page.mouse.click(*at.point(i))
        block = plan.site.blocks[trees.block[i]]
        plant = block.plants[trees.plant[i]]
        card = at.card()
        assert at.title == facts.ids[i]
        assert card["Block"] == block.name
        assert card["Row"] == str(trees.row[i])
        assert card["Position in the row"] == str(trees.position[i])
        assert card["Plant"].startswith(plant.name)
        assert plant.variety in card["Plant"]
        assert card["Nearest tree"] == f"{facts.nearest_m[i] / FOOT:.2f} ft"
        assert card["Elevation"] == f"{facts.elevation_m[i] / FOOT:.1f} ft"
        assert card["Slope"] == f"{facts.slope_pct[i]:.1f} %"
        assert float(card["Easting (US survey ft)"]) == pytest.approx(east[i], abs=0.0056)
        assert float(card["Northing (US survey ft)"]) == pytest.approx(north[i], abs=0.0056)
        assert float(card["Latitude"].rstrip("°")) == pytest.approx(lat[i], abs=6e-8)
        assert float(card["Longitude"].rstrip("°")) == pytest.approx(lon[i], abs=6e-8)
        run = facts.run_m[i]
        if np.isfinite(run):
            assert card["Run to water"] == f"{run / FOOT:.1f} ft"
            assert card["Pressure"] == f"{facts.pressure_kpa[i] / PSI:.1f} psi"
            assert card["Water point"] == plan.site.water.points.name[facts.water_index[i]]  # type: ignore[union-attr]
        else:
            assert not {"Run to water", "Pressure", "Water point"} & set(card)
        assert ("Mature spread" in card) == np.isfinite(plant.spread_m)


def test_values_in_metres_where_the_plan_says_si(browser: Any, tmp_path: Path) -> None:
    frame = sample_planting.frame(172.0, -43.5, 20.0, 2193)
    plan = sample_planting.planting(units="si", where=frame)
    page.write_map(tmp_path / "map.html", plan, hillshade=None)
    one = opened(browser, tmp_path / "map.html")
    one.js("setout.tools.goTo(10)")
    card = one.card()
    assert card["Nearest tree"] == f"{plan.trees.nearest_m[10]:.2f} m"
    east, _ = frame.to(frame.plane_crs, plan.trees.x[10:11], plan.trees.y[10:11])
    assert float(card["Easting (m)"]) == pytest.approx(east[0], abs=6e-4)
    assert re.fullmatch(r"[\d,.]+ m", one.page.inner_text("#scale-text"))
    assert one.errors == []
    one.page.context.close()


def test_a_tree_with_a_finding_says_so(at: Opened, plan: Planting) -> None:
    at.js("setout.tools.goTo(7)")
    told = at.page.inner_text("#card-findings")
    assert plan.findings[0].message in told
    assert plan.findings[0].remedy in told
    assert at.page.inner_text("#attention-count") == "1"


def test_search(at: Opened, plan: Planting) -> None:
    want = str(plan.trees.ids[500])
    at.page.fill("#search", want.lower())
    at.page.press("#search", "Enter")
    assert at.title == want
    assert at.js("setout.leaflet.getZoom()") >= 20
    card = at.page.locator("#card").bounding_box()
    x, y = at.point(500)
    assert x > card["x"] + card["width"] or y < card["y"], "the card hides the tree"
    at.page.fill("#search", "B-2-")
    offered = at.page.locator("#search-list button").all_inner_texts()
    assert offered
    assert all(text.startswith("B-2-") for text in offered)
    at.page.locator("#search-list button").nth(1).click()
    assert at.title == offered[1]
    at.page.fill("#search", "no such tree")
    at.page.press("#search", "Enter")
    assert at.page.inner_text("#search-note") == "No tree of that name."


def test_every_layer_can_be_switched(at: Opened) -> None:
    keys = at.js("Object.keys(setout.layers)")
    assert {"trees", "rows", "water", "findings", "usable", "boundary", "reach", "hillshade", "contours"} <= set(keys)
    at.tab("layers")
    boxes = at.page.locator("input[data-layer]")
    assert boxes.count() == len(keys)
    for i in range(boxes.count()):
        box = boxes.nth(i)
        key = box.get_attribute("data-layer")
        shown = f"setout.leaflet.hasLayer(setout.layers[{key!r}])"
        first = at.js(shown)
        assert box.is_checked() == first
        box.click()
        assert at.js(shown) != first
        box.click()
        assert at.js(shown) == first


def colour_at(one: Opened, i: int) -> tuple[int, ...]:
    """The colour on the canvas of the trees a little beside the middle of tree i."""
    code = """i => {const t = setout.layers.trees, v = t._view(), c = t._container, k = c.width / parseFloat(c.style.width),
        r = t.radius(i, v), x = (v.ax + v.k * t._x[i]) * k, y = (v.ay - v.k * t._y[i] - r * .5) * k;
        return [...c.getContext('2d').getImageData(Math.round(x), Math.round(y), 1, 1).data]}"""
    return tuple(one.js(code, i))


def test_trees_have_their_size_and_colour(at: Opened, plan: Planting) -> None:
    apple = int(np.flatnonzero((plan.trees.block == 0) & (plan.trees.plant == 0))[40])
    at.js("i => setout.leaflet.setView(setout.layers.trees.latLng(i), 20, {animate: false})", apple)
    red, green, blue, alpha = colour_at(at, apple)
    want = [int(palette.TREES[0][k : k + 2], 16) for k in (1, 3, 5)]
    assert (red, green, blue) == pytest.approx(want, abs=3)
    assert alpha > 190
    # The radius in pixels against the ground: 2.25 m at the geodesic's scale of this latitude and zoom.
    radius = at.js("i => setout.layers.trees.radius(i, setout.layers.trees._view())", apple)
    left, right = at.js("[0, 100].map(x => setout.leaflet.containerPointToLatLng([x, 300])).map(p => [p.lat, p.lng])")
    metres = Geod(ellps="WGS84").inv(left[1], left[0], right[1], right[0])[2] * plan.site.frame.scale
    assert radius == pytest.approx(2.25 / metres * 100, rel=1e-3)


def test_colours_by_number_and_back(at: Opened, plan: Planting) -> None:
    at.page.select_option("#colour-by", "slope_pct")
    legend = at.page.locator("#tree-legend").inner_text()
    assert f"{plan.trees.slope_pct.min():.1f} %" in legend
    assert f"{plan.trees.slope_pct.max():.1f} %" in legend
    at.page.select_option("#colour-by", "block")
    counts = [int(t.replace(",", "")) for t in at.page.locator("#tree-legend b").all_inner_texts()]
    assert counts == np.bincount(plan.trees.block).tolist()


def test_outlines_answer_a_click(at: Opened, plan: Planting) -> None:
    at.tab("layers")
    at.page.click("input[data-layer=trees]")
    house = next(e for e in plan.usable.exclusions if e.reason == "house").geometry.representative_point()
    lon, lat = plan.site.frame.to(CRS.from_epsg(4326), np.array([house.x]), np.array([house.y]))
    spot = at.js(
        """p => {const q = setout.leaflet.latLngToContainerPoint(p),
            r = setout.leaflet.getContainer().getBoundingClientRect(); return [q.x + r.left, q.y + r.top]}""",
        [float(lat[0]), float(lon[0])],
    )
    at.page.mouse.click(*spot)
    assert at.title == "house"
    assert at.page.inner_text("#card-kind") == "Ground kept clear"
    assert at.card()["From"] == "survey/features.gpkg:house"


def test_water_points_and_findings_answer(at: Opened, plan: Planting) -> None:
    at.page.get_by_role("button", name="riser 1").click()
    assert at.title == "riser 1"
    assert at.card()["Static pressure"] == "45.0 psi"
    assert at.card()["Trees it serves"] == str(int((plan.trees.water_index == 0).sum()))
    at.tab("findings")
    at.page.locator("button[data-finding]").nth(1).click()
    assert at.title == plan.findings[1].message
    assert at.card()["Remedy"] == plan.findings[1].remedy


def test_planting_systems_are_drawn_and_answer(browser: Any, tmp_path: Path) -> None:
    """Beds and screens tell what they are, posts are inked, partners and fillers are told of their trees."""
    plan = sample_planting.systems()
    page.write_map(tmp_path / "map.html", plan, hillshade=None)
    one = opened(browser, tmp_path / "map.html")
    assert one.js("setout.layers.posts.n") == sample_planting.POSTS
    ink = """(() => {const c = setout.layers.posts._container, d = c.getContext("2d").getImageData(0, 0, c.width, c.height).data;
        let n = 0; for (let i = 3; i < d.length; i += 4) if (d[i] > 200) n++; return n})()"""
    post = [plan.works.post_x[:1], plan.works.post_y[:1]]
    lon, lat = (float(v[0]) for v in plan.site.frame.to(CRS.from_epsg(4326), *post))
    one.js("p => setout.leaflet.setView(p, 20, {animate: false})", [lat, lon])
    assert one.js(ink) > 25  # three posts of a few pixels each
    one.tab("layers")
    one.page.click("input[data-layer=trees]")
    bed = plan.works.bed[2].centroid
    lon, lat = (float(v[0]) for v in plan.site.frame.to(CRS.from_epsg(4326), np.array([bed.x]), np.array([bed.y])))
    one.js("p => setout.leaflet.setView(p, 21, {animate: false})", [lat, lon])
    middle = one.js(
        "(() => {const r = setout.leaflet.getContainer().getBoundingClientRect(); return [r.left + r.width / 2, r.top + r.height / 2]})()"
    )
    one.page.mouse.click(*middle)
    assert one.title == "A-3-1"
    assert one.page.inner_text("#card-kind") == "Raised bed"
    assert one.card()["Area"] == "60 sq ft"
    one.page.click("input[data-layer=trees]")
    one.js("setout.tools.goTo(0)")
    assert one.card()["Partner"] == plan.trees.ids[1]
    filler = int(np.flatnonzero((plan.trees.block == 0) & (plan.trees.plant == 1))[3])
    one.js("i => setout.tools.goTo(i)", filler)
    assert one.card()["Comes out"] == "in year 12"
    assert one.page.locator("#tree-legend .dot.pale").count() == 1
    solid = int(np.flatnonzero((plan.trees.block == 0) & (plan.trees.plant == 0))[3])
    one.js("i => setout.leaflet.setView(setout.layers.trees.latLng(i), 20, {animate: false})", filler)
    pale_alpha = colour_at(one, filler)[3]
    one.js("i => setout.leaflet.setView(setout.layers.trees.latLng(i), 20, {animate: false})", solid)
    assert pale_alpha < 0.6 * colour_at(one, solid)[3]
    assert [e for e in one.errors if "willReadFrequently" not in e] == []  # two looks at one canvas
    one.page.context.close()


def test_measured_distance_is_the_grounds(at: Opened, plan: Planting) -> None:
    """From tree to tree: the frame's distance, and the geodesic of pyproj raised to the site's height."""
    i, j = 20, len(plan.trees) - 200
    at.page.click("#measure")
    for k in (i, j):
        at.page.mouse.click(*at.point(k))
    plane = np.hypot(plan.trees.x[i] - plan.trees.x[j], plan.trees.y[i] - plan.trees.y[j])
    lon, lat = plan.site.frame.to(CRS.from_epsg(4326), plan.trees.x[[i, j]], plan.trees.y[[i, j]])
    geodesic = Geod(ellps="WGS84").inv(lon[0], lat[0], lon[1], lat[1])[2] * plan.site.frame.scale
    measured = at.js("setout.ruler.total()")
    assert measured == pytest.approx(geodesic, abs=0.002)
    assert measured == pytest.approx(plane, abs=0.002)
    told = at.page.inner_text("#measure-text")
    assert float(told.removesuffix(" ft").replace(",", "")) == pytest.approx(plane / FOOT, abs=0.0101)
    ids = plan.trees.ids
    assert f"{ids[i]} to {ids[j]}" in at.page.inner_text("#measure-detail")
    at.page.click("#measure-undo")
    assert ids[i] in at.page.inner_text("#measure-text")
    at.page.get_by_role("button", name="riser 1").click()  # a mark is measured to, and does not tell about itself
    assert at.page.locator("#card").is_hidden()
    water = plan.site.water
    assert water is not None
    away = np.hypot(plan.trees.x[i] - water.points.x[0], plan.trees.y[i] - water.points.y[0])
    assert at.js("setout.ruler.total()") == pytest.approx(away, abs=0.002)
    assert f"{ids[i]} to riser 1" in at.page.inner_text("#measure-detail")
    at.page.click("#measure-done")
    assert at.page.locator("#measure-bar").is_hidden()


@pytest.mark.parametrize("lat, azimuth, length", [(0.0, 90, 900), (45.0, 0, 900), (64.0, 60, 3000), (-43.5, 135, 5000)])
def test_distance_on_the_ellipsoid_anywhere(at: Opened, lat: float, azimuth: float, length: float) -> None:
    lon2, lat2, _ = Geod(ellps="WGS84").fwd(10.0, lat, azimuth, length)
    code = "([a, b]) => setout.distance(L.latLng(a), L.latLng(b), {a: 6378137, e2: 0.0066943799901413165, scale: 1})"
    assert at.js(code, [[lat, 10.0], [lat2, lon2]]) == pytest.approx(length, rel=1e-6)


def test_scale_bar_is_true(at: Opened, plan: Planting) -> None:
    for zoom in (15.5, 18, 21):
        at.js("z => setout.leaflet.setZoom(z, {animate: false})", zoom)
        size = at.js("(() => {const s = setout.leaflet.getSize(); return [s.x, s.y]})()")
        width = at.js("parseFloat(document.getElementById('scale-bar').style.width)")
        ends = at.js(
            "([w, y]) => [0, w].map(x => setout.leaflet.containerPointToLatLng([x, y])).map(p => [p.lng, p.lat])", [width, size[1] / 2]
        )
        ground = Geod(ellps="WGS84").inv(*ends[0], *ends[1])[2] * plan.site.frame.scale
        feet = float(at.page.inner_text("#scale-text").removesuffix(" ft").replace(",", ""))
        assert ground / FOOT == pytest.approx(feet, rel=2e-3)


FOCUS = """(() => {const e = document.activeElement, l = e.labels && e.labels.length ? e.labels[0].innerText : "";
    return [e.id || e.dataset.layer || e.tagName, e.getAttribute("aria-label") || e.innerText || l]})()"""


def test_keyboard_alone(at: Opened, plan: Planting) -> None:
    def walk(steps: int) -> set[str]:
        seen = []
        for _ in range(steps):
            at.page.keyboard.press("Tab")
            name, text = at.js(FOCUS)
            assert text or name == "search", f"{name} has no name"
            seen.append(name)
        return set(seen)

    assert {"search", "tab-trees", "colour-by", "only-plant", "zoom-in", "fit", "measure", "locate", "print"} <= walk(22)
    at.page.focus("#tab-trees")
    at.page.keyboard.press("ArrowRight")
    assert at.js(FOCUS)[0] == "tab-layers"
    assert {"trees", "rows", "boundary", "water"} <= walk(20)
    at.page.focus("input[data-layer=rows]")
    at.page.keyboard.press("Space")
    assert not at.js("setout.leaflet.hasLayer(setout.layers.rows)")
    at.page.locator(".setout-map").focus()
    at.near(100)
    at.page.keyboard.press("Enter")
    assert at.title == plan.trees.ids[100]
    at.page.focus("#card-next")
    at.page.keyboard.press("Enter")
    assert at.title == plan.trees.ids[101]
    at.page.keyboard.press("Escape")
    assert at.page.locator("#card").is_hidden()
    before = at.js("setout.leaflet.getCenter().lat")
    at.page.keyboard.press("ArrowUp")
    at.page.wait_for_timeout(400)
    assert at.js("setout.leaflet.getCenter().lat") > before


def test_everything_has_its_text(at: Opened, plan: Planting) -> None:
    """Controls, marks and pictures have a name or say that they carry none (WCAG 2.1, 1.1.1 and 4.1.2)."""
    nameless = """[...document.querySelectorAll("button, input, select, [role=img], [role=application], .setout-mark")].filter(e =>
        !(e.getAttribute("aria-label") || e.innerText.trim() || (e.labels && e.labels.length))).map(e => e.outerHTML)"""
    assert at.js(nameless) == []
    mute = """[...document.querySelectorAll("svg, canvas")].filter(e => !e.getAttribute("aria-label") && !e.closest(
        "[aria-hidden], .leaflet-ground-pane, .leaflet-edges-pane, .leaflet-marks-pane, .leaflet-beds-pane")).length"""
    assert at.js(mute) == 0
    at.tab("notes")
    words = at.page.inner_text("#pane-notes")
    for i, block in enumerate(plan.site.blocks):
        assert f"Block {block.name}" in words
        assert f"{int((plan.trees.block == i).sum()):,} trees in" in words


def test_phone(browser: Any, file: Path, plan: Planting) -> None:
    phone = {"viewport": {"width": 390, "height": 844}, "device_scale_factor": 3, "has_touch": True, "is_mobile": True}
    one = opened(browser, file, **phone)
    assert one.js("document.documentElement.scrollWidth") <= 390
    assert one.js("setout.layers.trees.drawn") == len(plan.trees)
    for button in one.page.locator("#buttons button:visible, #menu").all():
        box = button.bounding_box()
        assert min(box["width"], box["height"]) >= 40
    assert not one.page.locator("#search").is_visible()
    one.page.tap("#menu")
    one.page.wait_for_timeout(300)
    assert one.js("parseFloat(getComputedStyle(document.getElementById('search')).fontSize)") >= 16
    one.page.fill("#search", str(plan.trees.ids[5]))
    one.page.press("#search", "Enter")
    one.page.wait_for_timeout(300)
    assert one.title == plan.trees.ids[5]
    assert one.point(5)[1] < one.page.locator("#card").bounding_box()["y"], "the card hides the tree"
    one.page.tap("#card-close")
    one.page.touchscreen.tap(*one.point(5))
    assert one.title == plan.trees.ids[5]
    assert one.errors == []
    one.page.context.close()


def test_names_that_look_like_code_are_only_shown(browser: Any, tmp_path: Path) -> None:
    plan = sample_planting.planting(names=sample_planting.EVIL)
    page.write_map(tmp_path / "map.html", plan, hillshade=None)
    one = opened(browser, tmp_path / "map.html")
    assert one.page.inner_text("#bar h1") == sample_planting.EVIL[0]
    for i in (0, 7, len(plan.trees) - 1):
        one.js("i => setout.tools.goTo(i)", i)
        assert one.title == plan.trees.ids[i]
        assert one.card()["Block"] == plan.site.blocks[plan.trees.block[i]].name
    one.page.fill("#search", "<img")
    one.page.locator("#search-list button").first.click()
    one.tab("findings")
    for button in one.page.locator("button[data-finding]").all():
        button.click()
    for mark in one.page.locator(".setout-mark").all():
        mark.dispatch_event("click")
        assert one.title in sample_planting.EVIL
    assert one.js("typeof window.broken") == "undefined"
    assert one.page.locator("img:not(.leaflet-image-layer)").count() == 0
    assert one.errors == []
    one.page.context.close()


def test_without_any_network_device(file: Path, plan: Planting, tmp_path: Path) -> None:
    """In a network namespace that has no device up at all, everything is drawn."""
    unshare = shutil.which("unshare")
    if unshare is None or subprocess.run([unshare, "-rn", "true"], check=False, capture_output=True).returncode:
        pytest.skip("this system gives no empty network namespace (unshare -rn)")
    wrapper = tmp_path / "chromium-without-network"
    wrapper.write_text(f'#!/bin/sh\nexec {unshare} -rn {chromium()} "$@"\n')
    wrapper.chmod(wrapper.stat().st_mode | stat.S_IXUSR)
    code = (
        "import sys; from playwright.sync_api import sync_playwright\n"
        "with sync_playwright() as p:\n"
        "    b = p.chromium.launch(executable_path=sys.argv[1], args=sys.argv[3:])\n"
        "    g = b.new_page(); g.goto(sys.argv[2]); g.wait_for_selector('body[data-ready]')\n"
        "    print(g.evaluate('setout.layers.trees.drawn')); b.close()\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", code, str(wrapper), file.as_uri(), *ARGS], check=True, capture_output=True, text=True, timeout=120
    )
    assert int(run.stdout) == len(plan.trees)


def test_a_plan_without_trees_opens(browser: Any, tmp_path: Path) -> None:
    plan = sample_planting.planting()
    none, nothing = np.empty(0), np.empty(0, np.int32)
    plan = dataclasses.replace(
        plan,
        trees=Trees(nothing, nothing, nothing, none, none, nothing, tree_id=np.array([], str)),
        rows=Rows(nothing, nothing, none, none, none, none, nothing, none),
        findings=(),
    )
    page.write_map(tmp_path / "map.html", plan, hillshade=None)
    one = opened(browser, tmp_path / "map.html")
    assert one.page.locator("#only").is_hidden()
    one.js("setout.locator.on = true; setout.locator.set(L.latLng(40.2, -77.05), 5)")
    assert one.page.inner_text("#locate-text").startswith("To the site: ")
    one.page.fill("#search", "A-1-1")
    one.page.press("#search", "Enter")
    assert one.errors == []
    one.page.context.close()
