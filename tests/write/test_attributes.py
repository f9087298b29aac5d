"""Names from files stay text in every page: the elements and attributes are those of plain names, and hold the names as they are.

Read with html.parser of the standard library, which decodes attribute values as HTML says (WHATWG, HTML Standard, 13.2.5).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from setout.draw import chart
from setout.model import Planting
from setout.write.asbuilt import page as asbuilt
from setout.write.asbuilt import picture as asbuilt_picture
from setout.write.map import page as webmap
from setout.write.report import page as report
from setout.write.report import picture
from write import sample_planting
from write.asbuilt.test_page import came_back

PLAIN = tuple(f"name {k}" for k in range(6))
EVIL = ('a "quoted" one', "it's <b>bold</b> & more", "two\nlines", "tab\tand & ampersand;", "' onload='x", '"><i a="')


class Elements(HTMLParser):
    """The elements of a page, each with its attributes."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert len({name for name, _ in attrs}) == len(attrs), (tag, attrs)
        self.found.append((tag, dict(attrs)))


def elements(page: str) -> list[tuple[str, dict[str, str | None]]]:
    reader = Elements()
    reader.feed(page)
    reader.close()
    return reader.found


def named(planting: Planting, name: str) -> Planting:
    return replace(planting, site=replace(planting.site, name=name))


def back_page(folder: Path, name: str, names: tuple[str, ...]) -> str:
    back = came_back(names)
    asbuilt.write_page(folder / "a.html", replace(back, planting=named(back.planting, name), source=name))
    return (folder / "a.html").read_text(encoding="utf-8")


def report_page(folder: Path, name: str, names: tuple[str, ...]) -> str:
    planting = named(sample_planting.systems(names=names), name)
    report.write_report(folder / "r.html", planting, picture_svg=picture.plan_picture(planting))
    return (folder / "r.html").read_text(encoding="utf-8")


def map_page(folder: Path, name: str, names: tuple[str, ...]) -> str:
    webmap.write_map(folder / "m.html", named(sample_planting.systems(names=names), name), hillshade=None)
    return (folder / "m.html").read_text(encoding="utf-8")


PAGES: dict[str, Callable[[Path, str, tuple[str, ...]], str]] = {"back from the field": back_page, "report": report_page, "map": map_page}


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("name", EVIL)
def test_names_make_no_element_and_no_attribute(page: str, name: str, tmp_path: Path) -> None:
    plain, evil = (elements(PAGES[page](tmp_path, n, ns)) for n, ns in (("plain", PLAIN), (name, EVIL)))
    assert [(tag, list(attrs)) for tag, attrs in evil] == [(tag, list(attrs)) for tag, attrs in plain]
    # where the plain page has the name in an attribute, the other has the evil one, whole
    held = [(a, b) for (_, one), (_, other) in zip(plain, evil, strict=True) for a, b in zip(one.values(), other.values(), strict=True)]
    mine = [(a, b) for a, b in held if a and "plain" in a.split(":")[0].split()]
    assert all(a.replace("plain", name) == b for a, b in mine), mine
    if page == "back from the field":
        assert mine


@pytest.mark.parametrize("name", EVIL)
def test_drawings_keep_names_in_attributes_and_texts(name: str) -> None:
    back = came_back(EVIL)
    drawn = ET.fromstring(asbuilt_picture.picture(named(back.planting, name), back.built))
    assert drawn.get("aria-label") == f"{name}: trees as they stand"
    made: list[Any] = [chart.bars(name, "hours", [(name, 1.0), ("b", 2.0)]), chart.share_bar(name, [(name, 0.25), ("b", 0.75)])]
    for svg in made:
        root = ET.fromstring(svg)
        assert name in (root.get("aria-label") or "")
        assert elements(svg)[0][1]["aria-label"] == root.get("aria-label")
