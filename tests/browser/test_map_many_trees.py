"""A map of more than 100,000 trees: its size, and that it opens and answers; times are told, not judged."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from browser.browsing import opened
from setout.units import FOOT
from setout.write.map import page as webmap
from write import sample_irrigation, sample_planting

pytestmark = pytest.mark.browser

PAN = """async () => {const frame = () => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done))), took = [];
    for (let k = 0; k < 10; k++) {
        const start = performance.now();
        setout.leaflet.panBy([90, k % 2 ? 40 : -60], {animate: false});
        await new Promise(done => requestAnimationFrame(done));
        took.push(performance.now() - start);
        await frame();
    }
    took.sort((a, b) => a - b);
    return [took[5], took[9]]}"""
OPEN = "performance.getEntriesByName('drawn')[0].startTime"
MARK = """new MutationObserver((_, o) => { if (document.body && document.body.dataset.ready) { o.disconnect();
    const go = () => { const l = window.setout.layers; if (!l.trees.columns) { setTimeout(go, 5); return; }
        requestAnimationFrame(() => requestAnimationFrame(() => performance.mark('drawn'))); }; go(); } })
    .observe(document, {subtree: true, childList: true, attributes: true})"""


def test_a_hundred_thousand_trees(browser: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan = sample_irrigation.irrigated(sample_irrigation.grown(sample_planting.planting(size=6.7)))
    n = len(plan.trees)
    assert n > 100_000
    path = tmp_path / "map.html"
    webmap.write_map(path, plan, hillshade=sample_planting.hillshade(plan), contours=sample_planting.contours(plan))
    assert path.stat().st_size < 8_000_000
    context = browser.new_context(viewport={"width": 1280, "height": 860})
    page = context.new_page()
    page.add_init_script(MARK)
    page.goto(path.as_uri())
    page.wait_for_selector("body[data-ready]")
    page.wait_for_timeout(2500)
    first, (pan, worst) = page.evaluate(OPEN), page.evaluate(PAN)
    page.evaluate("setout.leaflet.fitBounds(setout.tools.data.box, {animate: false})")
    assert page.evaluate("setout.layers.trees.drawn") == n
    context.close()
    with capsys.disabled():
        sys.stdout.write(
            f"\n{n:,} trees: {path.stat().st_size / 1e6:.2f} MB, open {first / 1e3:.2f} s, pan {pan:.0f} ms, at worst {worst:.0f}\n"
        )
    one = opened(browser, path)
    inked = one.js(
        """(() => {const c = setout.layers.trees._container;
            const d = c.getContext("2d").getImageData(0, 0, c.width, c.height).data;
            let n = 0; for (let i = 3; i < d.length; i += 4) if (d[i]) n++; return n})()"""
    )
    assert inked > 50_000
    one.page.fill("#search", str(plan.trees.ids[77_777]))
    one.page.press("#search", "Enter")
    assert one.title == plan.trees.ids[77_777]
    assert one.card()["Nearest tree"] == f"{plan.trees.nearest_m[77_777] / FOOT:.2f} ft"
    one.page.select_option("#only-block", label="B")
    assert one.js("setout.tools.view.shown") == int(np.count_nonzero(plan.trees.block == 1))
    assert one.errors == []
    one.page.context.close()
