"""One browser for all tests of pages, and the page of one planting."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from browser.browsing import ARGS, Opened, chromium, opened
from setout.model import Planting
from setout.write.map import page
from write import sample_irrigation, sample_planting


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    playwright = pytest.importorskip("playwright.sync_api", reason="pip install playwright")
    with playwright.sync_playwright() as p:
        running = p.chromium.launch(executable_path=chromium(), args=ARGS)
        yield running
        running.close()


@pytest.fixture(scope="session")
def plan() -> Planting:
    return sample_planting.planting()


@pytest.fixture(scope="session")
def file(plan: Planting, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("map") / "map.html"
    page.write_map(path, plan, hillshade=sample_planting.hillshade(plan), contours=sample_planting.contours(plan))
    return path


@pytest.fixture(scope="session")
def wet() -> Planting:
    """The same planting with pipes, growth and columns of light and room."""
    return sample_irrigation.irrigated(sample_irrigation.grown(sample_planting.planting()))


@pytest.fixture(scope="session")
def wet_file(wet: Planting, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("map") / "map.html"
    page.write_map(path, wet, hillshade=sample_planting.hillshade(wet), contours=sample_planting.contours(wet))
    return path


def _watched(browser: Any, file: Path, **context: Any) -> Iterator[Opened]:
    """Every test on such a page also holds that nothing was asked for and nothing complained."""
    one = opened(browser, file, **context)
    yield one
    assert one.errors == []
    assert one.asked() == {file.as_uri()}
    one.page.context.close()


@pytest.fixture
def at(browser: Any, file: Path) -> Iterator[Opened]:
    yield from _watched(browser, file)


@pytest.fixture
def wet_at(browser: Any, wet_file: Path) -> Iterator[Opened]:
    yield from _watched(browser, wet_file)
