"""A real browser for the tests of pages: what it asked for, what it complained of, and what is on the map."""

from __future__ import annotations

import os
import shutil
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

ARGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PATIENCE = 15_000
"""Longest wait for one thing on a page [ms]."""


def chromium() -> str:
    names = (os.environ.get("SETOUT_CHROMIUM", ""), "chromium", "chromium-browser", "google-chrome")
    found = next((path for name in names if name and (path := shutil.which(name))), None)
    if found is None:
        pytest.skip("no Chromium found; install one, or name it in SETOUT_CHROMIUM")
    return found


@dataclass
class Opened:
    """One open page, and all that it asked for and complained of."""

    page: Any
    requests: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)

    def js(self, code: str, *argument: Any) -> Any:
        return self.page.evaluate(code, *argument)

    def until(self, code: str, *argument: Any) -> None:
        """Wait until an expression is true; the page's policy forbids the browser's own way to wait for one."""
        for _ in range(PATIENCE // 50):
            if self.js(code, *argument):
                return
            self.page.wait_for_timeout(50)
        pytest.fail(f"never came true: {code}")

    def point(self, i: int) -> tuple[float, float]:
        """Where tree i lies on the screen."""
        at = self.js("i => {const p = setout.layers.trees.latLng(i); return [p.lat, p.lng]}", i)
        return self.spot(*at)

    def spot(self, lat: float, lon: float) -> tuple[float, float]:
        """Where a place lies on the screen."""
        code = """p => {const q = setout.leaflet.latLngToContainerPoint(p),
                 r = setout.leaflet.getContainer().getBoundingClientRect(); return [q.x + r.left, q.y + r.top]}"""
        x, y = self.js(code, [lat, lon])
        return x, y

    def card(self) -> dict[str, str]:
        terms = self.page.locator("#card-list dt").all_inner_texts()
        return dict(zip(terms, self.page.locator("#card-list dd").all_inner_texts(), strict=True))

    def tab(self, name: str) -> None:
        self.page.click(f"#tab-{name}")

    def near(self, i: int, zoom: float = 20) -> None:
        code = "([i, z]) => { setout.leaflet.setView(setout.layers.trees.latLng(i), z, {animate: false}); }"
        self.js(code, [i, zoom])

    def asked(self) -> set[str]:
        """Everything that it asked for beyond itself; pictures inside the file do not count."""
        return {r.removeprefix("cdp ") for r in self.requests if not r.removeprefix("cdp ").startswith("data:")}

    @property
    def title(self) -> str:
        return str(self.page.locator("#card-title").inner_text())


def opened(browser: Any, file: Path, **context: Any) -> Opened:
    """Open a page in a context of its own."""
    context.setdefault("viewport", {"width": 1280, "height": 860})
    page = browser.new_context(**context).new_page()
    page.set_default_timeout(PATIENCE)
    one = Opened(page)
    session = page.context.new_cdp_session(page)
    session.send("Network.enable")
    session.on("Network.requestWillBeSent", lambda e: one.requests.append("cdp " + e["request"]["url"]))
    page.on("request", lambda request: one.requests.append(request.url))
    page.on("pageerror", lambda error: one.errors.append(str(error)))
    page.on("console", lambda message: one.errors.append(f"{message.type}: {message.text}"))
    page.goto(file.as_uri())
    page.wait_for_selector("body[data-ready]")
    one.until("Boolean(!setout.layers.trees || setout.layers.trees.columns)")
    return one
