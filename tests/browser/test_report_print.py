"""The report on paper: nothing of it beyond the page's edge, names in one piece, one system of units."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from setout.write.report import picture
from setout.write.report.page import write_report
from write import sample_irrigation, sample_planting

PAGES_PX = [round((mm - 28) / 25.4 * 96) for mm in (215.9, 210.0)]
"""What margins of 14 mm leave of Letter (8.5 in) and A4 (ISO 216, 210 mm), at 96 px to the inch (CSS)."""
NAMES = ("North field by the creek", "Oldhomesteadorchard", "C")
"""Block names as people write them: of several words, and of one long one."""


@pytest.fixture(scope="module", params=["us", "si"])
def report(request: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    plan = sample_irrigation.irrigated(sample_irrigation.grown(sample_planting.planting(units=request.param)))
    blocks = tuple(replace(b, name=name) for b, name in zip(plan.site.blocks, NAMES, strict=True))
    zones = tuple(replace(z, blocks=NAMES[:2]) for z in plan.irrigation.zones)
    path = tmp_path_factory.mktemp("report") / "report.html"
    plan = replace(
        plan,
        site=replace(plan.site, blocks=blocks),
        irrigation=replace(plan.irrigation, zones=zones),
        rooms=sample_planting.systems().rooms,
    )
    write_report(path, plan, picture_svg=picture.plan_picture(plan))
    return path


def printed(browser: Any, file: Path, width: int) -> Any:
    page = browser.new_context(viewport={"width": width, "height": 1000}).new_page()
    page.emulate_media(media="print")
    page.goto(file.as_uri())
    return page


@pytest.mark.parametrize("width", PAGES_PX)
def test_no_table_runs_over_the_edge_of_the_paper(browser: Any, report: Path, width: int) -> None:
    page = printed(browser, report, width)
    tables = page.evaluate("[...document.querySelectorAll('table')].map(t => [t.innerText.slice(0, 40), t.getBoundingClientRect().right])")
    assert any("Zone" in name for name, _ in tables)
    assert [name for name, right in tables if right > width + 1] == []
    page.context.close()


def test_a_blocks_name_is_not_set_letter_under_letter(browser: Any, report: Path) -> None:
    page = printed(browser, report, PAGES_PX[0])
    lines = page.evaluate(
        "[...document.querySelectorAll('.asks .tag')].map(t => t.getClientRects()[0].height / parseFloat(getComputedStyle(t).lineHeight))"
    )
    assert len(lines) == len(NAMES)
    assert max(lines) < 3.5
    page.context.close()


def test_nothing_is_wider_than_a_phone(browser: Any, report: Path) -> None:
    page = browser.new_context(viewport={"width": 360, "height": 780}, is_mobile=True).new_page()
    page.goto(report.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    page.context.close()
