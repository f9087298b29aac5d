"""The picture: well-formed, to scale, the same every time, and its names stay text."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from setout.draw import palette
from setout.units import FOOT
from setout.write.report import picture
from write import sample_planting

SVG = "{http://www.w3.org/2000/svg}"


def dots(root: ET.Element) -> list[tuple[str, float, np.ndarray]]:
    """(colour, diameter, centres) of the paths that draw trees: zero-length strokes with round caps."""
    out = []
    for path in root.iter(f"{SVG}path"):
        if path.get("stroke-linecap") == "round" and (path.get("d") or "").endswith("h.01"):
            points = re.findall(r"M([-\d.]+) ([-\d.]+)h", path.get("d") or "")
            out.append((path.get("stroke") or "", float(path.get("stroke-width") or 0), np.array(points, float)))
    return out


def test_every_tree_stands_in_its_place_and_size() -> None:
    plan = sample_planting.planting()
    root = ET.fromstring(picture.plan_picture(plan))
    drawn = dots(root)
    assert sum(len(points) for _, _, points in drawn) == len(plan.trees)
    # Fit scale and place from the extremes alone, then every tree has to lie where the plan says, to 0.1 px.
    all_points = np.concatenate([points for _, _, points in drawn])
    scale = np.ptp(all_points[:, 0]) / np.ptp(plan.trees.x)
    want = np.column_stack([plan.trees.x - plan.trees.x.min(), plan.trees.y.max() - plan.trees.y]) * scale
    got = all_points - all_points.min(axis=0)
    order = lambda a: a[np.lexsort(np.round(a, 0).T)]  # noqa: E731
    assert np.abs(np.sort(want[:, 0]) - np.sort(got[:, 0])).max() < 0.15
    assert np.abs(np.sort(want[:, 1]) - np.sort(got[:, 1])).max() < 0.15
    assert order(got).shape == want.shape
    assert {colour for colour, _, _ in drawn} == set(palette.TREES[:4])
    apples = [size for colour, size, _ in drawn if colour == palette.TREES[0]]
    assert apples == pytest.approx([4.5 * scale], abs=0.06)


def test_scale_bar_is_true() -> None:
    plan = sample_planting.planting()
    text = picture.plan_picture(plan)
    root = ET.fromstring(text)
    points = np.concatenate([p for _, _, p in dots(root)])
    scale = np.ptp(points[:, 0]) / np.ptp(plan.trees.x)
    feet = float(re.search(r">([\d,]+) ft</text>", text).group(1))  # type: ignore[union-attr]
    bar = next(float(r.get("width") or 0) for r in root.iter(f"{SVG}rect") if r.get("height") == "6")
    assert bar == pytest.approx(feet * FOOT * scale, rel=0.005)


def test_many_trees_are_one_path_and_very_many_are_rows() -> None:
    some = sample_planting.planting(size=2.2)
    assert picture.COLOURED < len(some.trees) < picture.DOTS
    assert len(dots(ET.fromstring(picture.plan_picture(some)))) == 1
    many = sample_planting.planting(size=6.5)
    assert len(many.trees) > picture.DOTS
    text = picture.plan_picture(many)
    assert dots(ET.fromstring(text)) == []
    assert len(text) < 500_000


@pytest.mark.parametrize("width", [600, 900, 1600])
def test_width_is_kept_and_nothing_leaves_the_sheet(width: int) -> None:
    root = ET.fromstring(picture.plan_picture(sample_planting.planting(), width=width))
    assert root.get("width") == str(width)
    for _, _, points in dots(root):
        assert points.min() > 0
        assert points[:, 0].max() < width
        assert points[:, 1].max() < float(root.get("height") or 0)


def test_names_that_look_like_code_stay_text() -> None:
    plan = sample_planting.planting(names=sample_planting.EVIL, name="bell\x07 & </svg><script>1</script>")
    root = ET.fromstring(picture.plan_picture(plan))
    tags = {element.tag.removeprefix(SVG) for element in root.iter()}
    assert tags <= {"svg", "title", "defs", "pattern", "rect", "path", "clipPath", "g", "text", "circle"}
    assert not [a for element in root.iter() for a in element.attrib if a.startswith("on")]
    texts = [element.text or "" for element in root.iter(f"{SVG}text")]
    assert "bell? & </svg><script>1</script>" in texts


def test_stands_alone_and_is_the_same_every_time() -> None:
    plan = sample_planting.planting()
    lines = sample_planting.contours(plan)
    text = picture.plan_picture(plan, contours=lines)
    assert text == picture.plan_picture(plan, contours=lines)
    assert set(re.findall(r"https?://[^\s\"'<]+", text)) == {"http://www.w3.org/2000/svg"}
    assert "href" not in text
    used = set(re.findall(r"url\(#([\w-]+)\)", text))
    assert used <= {e.get("id") for e in ET.fromstring(text).iter()}


def test_beds_posts_and_screens_are_drawn_where_they_stand() -> None:
    plan = sample_planting.systems()
    text = picture.plan_picture(plan)
    root = ET.fromstring(text)
    by = {(e.get("fill"), e.get("stroke")): e.get("d") or "" for e in root.iter(f"{SVG}path")}
    beds = next(d for (fill, _), d in by.items() if fill == palette.BED)
    assert beds.count("Z") == sample_planting.BEDS
    posts = [e.get("d") or "" for e in root.iter(f"{SVG}path") if e.get("fill") == palette.POST and not e.get("stroke")]
    squares = [d for d in posts if d.count("Z") not in (1, 2)]  # the legend's own has one and two
    assert [d.count("Z") for d in squares] == [6, 3]
    sides = [float(re.search(r"h([\d.]+)v", d).group(1)) for d in squares]  # type: ignore[union-attr]
    assert sides[1] > 2 * sides[0]
    # A bed's length to its width is 10 to 6 (to the tenth of a pixel that the picture keeps).
    ring = np.array([p.split(" ") for p in beds.split("Z")[0][1:].split("L")], float)
    wide, tall = np.ptp(ring, axis=0)
    assert tall / wide == pytest.approx(10 / 6, abs=0.1)
    texts = [e.text or "" for e in root.iter(f"{SVG}text")]
    assert {"raised bed", "trellis post", "screen to shade", "yard of the screen"} <= set(texts)
    # The first row of the screen is bent: a line of three points, drawn thick.
    screen = next(d for (fill, stroke), d in by.items() if stroke == palette.SCREEN and fill == "none")
    assert screen.split("M")[1].count("L") == 2


def test_a_plan_without_works_shows_none() -> None:
    text = picture.plan_picture(sample_planting.planting())
    for word in ("raised bed", "trellis post", "screen", palette.BED, palette.POST, palette.SCREEN):
        assert word not in text


def test_fillers_are_pale() -> None:
    """Drawn twice: the colour, and most of it covered again in the paper's."""
    plan = sample_planting.systems()
    drawn = dots(ET.fromstring(picture.plan_picture(plan)))
    pale = [(size, len(points)) for colour, size, points in drawn if colour == palette.PANEL]
    fillers = int(((plan.trees.block == 0) & (plan.trees.plant == 1)).sum())
    full = next(size for colour, size, _ in drawn if colour == palette.TREES[1])
    assert [count for _, count in pale] == [fillers]
    assert pale[0][0] < full
