"""The map: whole in one file, the same every time, true to the data, and deaf to text that pretends to be code."""

from __future__ import annotations

import base64
import dataclasses
import importlib.metadata
import json
import re
import sys
import zlib
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from pyproj import CRS, Transformer

from setout.draw import palette, rings
from setout.draw.carried import LEAFLET
from setout.model import Exclusion, Planting, Rows, Trees
from setout.words import plan as wording
from setout.write.map import growth, leaflet, outlines, treedata
from setout.write.map import page as webmap
from setout.write.map import works as workshapes
from write import sample_planting


def written(folder: Path, plan: Planting, **more: Any) -> str:
    more.setdefault("hillshade", None)
    path = folder / "map.html"
    webmap.write_map(path, plan, **more)
    return path.read_text("utf-8")


def decoded(block: dict[str, Any]) -> dict[str, Any]:
    """Unpack the trees as the page's script does, but in Python and by the description of the columns alone."""
    raw = base64.b64decode(block["bytes"])
    raw = zlib.decompress(raw) if block["compact"] else raw
    out: dict[str, Any] = {}
    for column in block["columns"]:
        if column["kind"] == "ids":
            out["tree_id"] = raw[column["at"] : column["at"] + column["bytes"]].decode().split("\n")
            continue
        codes = np.frombuffer(raw, "<" + column["type"], block["n"], column["at"]).astype(np.int64)
        codes = np.cumsum(codes) if column.get("delta") else codes
        if column["kind"] == "text":
            out[column["name"]] = np.array(column["table"])[codes]
        else:
            known = codes != column["unknown"]
            out[column["name"]] = np.where(known, (column["offset"] + codes) * column["step"], np.nan)
    return out


class Page(HTMLParser):
    """Elements with their attributes, and the text of scripts, as a browser's parser would see them."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.scripts: list[str] = []
        self._in_script = False
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self._in_script = tag == "script"
        if self._in_script:
            self.scripts.append("")

    def handle_endtag(self, tag: str) -> None:
        self._in_script = False

    def handle_data(self, data: str) -> None:
        if self._in_script:
            self.scripts[-1] += data


def test_asks_for_nothing_from_outside(tmp_path: Path) -> None:
    plan = sample_planting.planting()
    text = written(tmp_path, plan, hillshade=sample_planting.hillshade(plan), contours=sample_planting.contours(plan))
    for tag, attributes in Page(text).tags:
        for name in ("src", "href", "xlink:href", "data", "action", "poster", "srcset"):
            value = attributes.get(name) or ""
            assert not value or value.startswith(("data:", "#")), (tag, name, value)
    assert not re.findall(r"url\(\s*['\"]?(?!data:|#)", text)
    assert "@import" not in text
    # All addresses in the file are names (the SVG namespace) or the credit of the script library.
    hosts = set(re.findall(r"https?://([\w.-]+)", text))
    assert hosts <= {"www.w3.org", "leafletjs.com"}
    assert "connect-src" not in text
    assert "default-src 'none'" in text


def test_only_our_two_scripts_may_run(tmp_path: Path) -> None:
    page = Page(written(tmp_path, sample_planting.planting()))
    policy = next(a["content"] or "" for tag, a in page.tags if tag == "meta" and "Security" in (a.get("http-equiv") or ""))
    assert len(page.scripts) == 2
    assert re.search(r"script-src '(.*?)' '(.*?)'$", policy).groups() == tuple(map(webmap.script_hash, page.scripts))  # type: ignore[union-attr]


def test_two_writes_are_the_same_bytes(tmp_path: Path) -> None:
    plan = sample_planting.planting()
    more = {"hillshade": sample_planting.hillshade(plan), "contours": sample_planting.contours(plan)}
    assert written(tmp_path, plan, **more) == written(tmp_path, plan, **more)


@pytest.mark.parametrize("compact", [False, True])
def test_columns_come_back_as_they_were(compact: bool) -> None:
    plan = sample_planting.planting()
    block = treedata.tree_block(plan, compact=compact)
    json.dumps(block, allow_nan=False)
    back = decoded(block)
    assert back["tree_id"] == plan.trees.ids.tolist()
    for name, tolerance in (("nearest_m", 6e-5), ("elevation_m", 6e-4), ("slope_pct", 6e-3), ("run_m", 6e-4), ("pressure_kpa", 6e-3)):
        np.testing.assert_allclose(back[name], getattr(plan.trees, name), atol=tolerance, err_msg=name)
    np.testing.assert_array_equal(back["row"], plan.trees.row)
    np.testing.assert_array_equal(back["position"], plan.trees.position)
    assert back["block"].tolist() == [plan.site.blocks[b].name for b in plan.trees.block]
    served = ["" if i < 0 else plan.site.water.points.name[i] for i in plan.trees.water_index]  # type: ignore[union-attr]
    assert back["water_point"].tolist() == served
    east, north = plan.site.frame.to(plan.site.frame.plane_crs, plan.trees.x, plan.trees.y)
    np.testing.assert_allclose(back["easting"], east, atol=6e-4)
    np.testing.assert_allclose(back["northing"], north, atol=6e-4)
    assert np.isnan(back["spread_m"]).sum() == (plan.trees.block == 1).sum()


def test_columns_without_a_value_are_left_out() -> None:
    names = [field.name for field in treedata.fields(sample_planting.planting())]
    assert "crowding" not in names
    assert "sun_h" not in names
    assert len(names) == len(set(names))


def test_every_column_of_the_layer_trees_has_its_words() -> None:
    from setout.layers import CONTRACTS

    shown_otherwise = {"tree_id", "block", "row", "position", "plant", "variety", "role", "easting", "northing", "lon", "lat", "findings"}
    assert {c.name for c in CONTRACTS["trees"].columns} == set(treedata.LABELS) | shown_otherwise
    for units in ("us", "si"):
        assert {c.unit for c in CONTRACTS["trees"].columns if c.name in treedata.LABELS and c.kind == "real"} <= set(treedata.SHOWN[units])


def test_positions_agree_with_proj_to_a_millimetre() -> None:
    plan = sample_planting.planting()
    block = treedata.tree_block(plan)
    back = decoded(block)
    x = (back["x"] + block["origin"][0]) / 1000
    y = (back["y"] + block["origin"][1]) / 1000
    lon, lat = plan.site.frame.to(CRS.from_epsg(4326), plan.trees.x, plan.trees.y)
    px, py = Transformer.from_crs(4326, 3857, always_xy=True).transform(lon, lat)
    assert max(np.abs(x - px).max(), np.abs(y - py).max()) < 0.001


def test_outlines_come_back_with_their_holes() -> None:
    plan = sample_planting.planting()
    area = shapely.box(0, 0, 60, 60) - shapely.box(20, 20, 30, 30)
    drawer = outlines.Drawer(plan)
    layer = leaflet.shape_layer("area", [drawer.rings(area)], leaflet.Look("#000000"), closed=True)
    data: Any = layer.data
    steps = np.frombuffer(base64.b64decode(data["points"]), "<i4").reshape(-1, 2)
    assert data["features"][0]["rings"] == [5, -5]
    x, y = (steps + data["origin"]).T / 1000
    lon, lat = Transformer.from_crs(3857, 4326, always_xy=True).transform(x, y)
    points = np.column_stack(plan.site.frame.of(CRS.from_epsg(4326), lon, lat))
    back = shapely.polygons(points[:5], [points[5:]])
    assert shapely.hausdorff_distance(back, area) < 0.002


def test_many_points_are_drawn_more_coarsely_and_said_so(tmp_path: Path) -> None:
    plan = sample_planting.planting()
    angle = np.linspace(0, 2 * np.pi, 400_000)
    ragged = shapely.Polygon(np.column_stack([np.cos(angle), np.sin(angle)]) * (50 + np.tile([0.3, -0.3], 200_000))[:, None])
    usable = dataclasses.replace(plan.usable, exclusions=(Exclusion("slope", "dem", 0, ragged.area, ragged.area, ragged),))
    plan = dataclasses.replace(plan, usable=usable)
    tolerance = outlines.Drawer(plan).tolerance
    assert tolerance > outlines.DRAWN_TO
    assert rings.points_left([ragged], outlines.DRAWN_TO) > outlines.MOST_POINTS
    text = written(tmp_path, plan)
    assert len(text) < 3_000_000
    assert f"are drawn to within {tolerance / 0.3048:.2f} ft" in text


@pytest.mark.parametrize("units", ["us", "si"])
def test_names_that_look_like_code_stay_text(tmp_path: Path, units: str) -> None:
    plan = sample_planting.systems(names=sample_planting.EVIL, units=units)
    text = written(tmp_path, plan)
    page = Page(text)
    assert len(page.scripts) == 2
    assert not [tag for tag, _ in page.tags if tag == "img"]
    assert not [a for _, a in page.tags if any(name.startswith("on") for name in a)]
    body = page.scripts[1]
    assert "</script" not in body.lower()
    assert "<!--" not in body
    # Template code in a name is not evaluated: 7*7 stays 7*7.
    assert "{{ 7*7 }}" in body
    # What the script is given is plain JSON; the names come back whole.
    data = json.loads(re.search(r"setout\.start\(map_\w+, (\{.*\}), \{", body).group(1))  # type: ignore[union-attr]
    assert data["order"]["block"] == list(sample_planting.EVIL[:3])


def test_no_trees_no_dem_no_water_no_findings(tmp_path: Path) -> None:
    plan = sample_planting.planting()
    none = np.empty(0)
    nothing = np.empty(0, np.int32)
    plan = dataclasses.replace(
        plan,
        site=dataclasses.replace(plan.site, water=None, height_limits=()),
        usable=dataclasses.replace(plan.usable, exclusions=(), height_limits=()),
        trees=Trees(nothing, nothing, nothing, none, none, nothing, tree_id=np.array([], str)),
        rows=Rows(nothing, nothing, none, none, none, none, nothing, none),
        findings=(),
        reach=None,
    )
    text = written(tmp_path, plan)
    assert "setout.trees(" not in text.split("setout.start = function")[1].split("</script>")[1]
    assert 'data-layer="boundary"' in text


def test_works_have_their_layers_and_only_where_there_are_some(tmp_path: Path) -> None:
    text = written(tmp_path, sample_planting.systems())
    keys = re.findall(r'data-layer="(\w+)"', text)
    assert {"beds", "posts", "screen0", "yards"} <= set(keys)
    assert "Screen to shade" in text
    none = re.findall(r'data-layer="(\w+)"', written(tmp_path, sample_planting.planting()))
    assert not {"beds", "posts", "screen0", "yards"} & set(none)


def test_posts_are_packed_where_they_stand(tmp_path: Path) -> None:
    plan = sample_planting.systems()
    text = written(tmp_path, plan)
    block = json.loads(re.search(r"setout\.posts\((\{.*?\}), \{", text).group(1))  # type: ignore[union-attr]
    got = decoded(block)
    x, y = treedata.frame_to_mercator(plan, plan.works.post_x, plan.works.post_y)
    assert got["x"] + block["origin"][0] == pytest.approx(x * 1000, abs=0.51)
    assert got["y"] + block["origin"][1] == pytest.approx(y * 1000, abs=0.51)
    assert got["end"].astype(bool).tolist() == plan.works.post_end.tolist()


def test_partners_and_fillers_are_known_of_every_tree() -> None:
    plan = sample_planting.systems()
    got = decoded(treedata.tree_block(plan))
    assert got["partner"][:2].tolist() == [1.0, 0.0]
    assert np.isnan(got["partner"][2:]).all()
    filler = (plan.trees.block == 0) & (plan.trees.plant == 1)
    assert set(got["remove"][filler]) == {"in year 12"}
    assert set(got["remove"][~filler]) == {""}
    assert got["spacing"][0] == "raised beds of 10 ft by 6 ft"


def test_very_many_beds_share_one_canvas() -> None:
    plan = sample_planting.systems()
    bed = plan.works.bed[0]
    many = np.array([bed] * (workshapes.MOST_TOLD + 1), object)
    block = np.zeros(len(many), np.int64)
    works = dataclasses.replace(plan.works, bed=many, bed_block=block, bed_row=block)
    ((_, layer),) = workshapes.beds(outlines.Drawer(dataclasses.replace(plan, works=works)))
    assert layer.plan_options["canvas"]
    assert len(layer.data["features"]) == 1


def test_the_script_library_is_the_wheels() -> None:
    script, style = leaflet.leaflet()
    version = importlib.metadata.version(LEAFLET)
    assert f"Leaflet {'.'.join(version.split('.')[:3])}" in script
    assert "</script" not in script.lower()
    assert "sourceMappingURL" not in script
    assert "url(images" not in style
    assert style.count("url(data:image/png;base64,") >= 3


def licensed(text: str) -> None:
    """Clause 2 of the BSD licence asks for the notice of copyright, the conditions and the disclaimer
    (opensource.org/license/bsd-2-clause)."""
    notice, said = "(c) 2010-20", " ".join(text.split())
    assert re.search(rf"Copyright {re.escape(notice)}\d\d, Volodymyr Agafonkin Copyright \(c\) 2010-2011, CloudMade", said)
    assert "Redistributions of source code must retain the above copyright notice, this list of conditions" in said
    assert "Redistributions in binary form must reproduce the above copyright notice, this list of conditions" in said
    assert 'THIS SOFTWARE IS PROVIDED BY THE COPYRIGHT HOLDERS AND CONTRIBUTORS "AS IS"' in said
    assert "EVEN IF ADVISED OF THE POSSIBILITY OF SUCH DAMAGE" in said


def test_the_page_carries_the_licence_of_its_script_library(tmp_path: Path) -> None:
    page = written(tmp_path, sample_planting.planting())
    comment = page[page.index("/*! Leaflet") : page.index("*/", page.index("/*! Leaflet"))]
    licensed(comment)
    after = page[page.index(comment) + len(comment) :]
    assert after.startswith("*/\n/* @preserve\n * Leaflet")  # the terms stand with the code they are for


def test_a_hundred_thousand_trees_stay_below_eight_megabytes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    import time

    plan = sample_planting.planting(size=6.7)
    assert len(plan.trees) > 100_000
    start = time.perf_counter()
    size = len(written(tmp_path, plan, contours=sample_planting.contours(plan)).encode())
    with capsys.disabled():
        sys.stdout.write(f"\n{len(plan.trees):,} trees: {size / 1e6:.2f} MB, made in {time.perf_counter() - start:.1f} s\n")
    assert size < 8_000_000
    assert treedata.tree_block(plan)["compact"]
    plain = len(treedata.tree_block(plan, compact=False)["bytes"]) / len(plan.trees)
    assert plain < 90


# ---- colours ---------------------------------------------------------------------------------------------

# Severity 1.0 of the model of Machado, Oliveira and Fernandes (2009), IEEE Trans. Vis. Comput. Graph. 15(6), 1291-1298.
CVD = {
    "normal": np.eye(3),
    "protan": np.array([[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]),
    "deutan": np.array([[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]),
    "tritan": np.array([[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]),
}
# sRGB to XYZ, IEC 61966-2-1.
XYZ = np.array([[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]])


def linear(colours: tuple[str, ...]) -> np.ndarray:
    rgb = np.array([[int(c[i : i + 2], 16) / 255 for i in (1, 3, 5)] for c in colours])
    return np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* of linear sRGB, white D65."""
    t = np.clip(rgb, 0, 1) @ XYZ.T / XYZ.sum(1)
    f = np.where(t > 216 / 24389, np.cbrt(t), (24389 / 27 * t + 16) / 116)
    return np.stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], axis=1)


@pytest.mark.parametrize("vision", list(CVD))
def test_tree_colours_differ_for_every_vision(vision: str) -> None:
    seen = lab(linear(palette.TREES) @ CVD[vision].T)
    apart = np.linalg.norm(seen[:, None] - seen[None], axis=2)[np.triu_indices(len(seen), 1)]
    # A difference of 2.3 is just noticeable (Mahy et al. 1994); small dots want ten times that.
    assert apart.min() > 25


@pytest.mark.parametrize("vision", list(CVD))
def test_the_ramp_darkens_all_the_way(vision: str) -> None:
    assert (np.diff(lab(linear(palette.RAMP) @ CVD[vision].T)[:, 0]) < -5).all()


def test_ink_can_be_read() -> None:
    """Contrast of text at least 4.5 to 1 (WCAG 2.1, 1.4.3)."""
    luminance = linear((palette.INK, palette.MUTED, palette.PANEL, palette.PAPER)) @ XYZ[1]
    for text in luminance[:2]:
        for ground in luminance[2:]:
            assert (ground + 0.05) / (text + 0.05) > 4.5


def test_words_of_the_title(tmp_path: Path) -> None:
    plan = sample_planting.planting()
    text = written(tmp_path, plan)
    assert f"{len(plan.trees):,} trees in 3 blocks" in text
    for title, _ in wording.CAUTIONS:
        assert title in text


def test_the_page_can_draw_every_year_that_it_offers() -> None:
    plan = sample_planting.planting()
    grows = {"years_to_full_size": 8.0, "spread_m": 4.0, "natural_spread_m": 4.0}
    blocks = tuple(
        dataclasses.replace(block, plants=tuple(dataclasses.replace(plant, **grows) for plant in block.plants))
        for block in plan.site.blocks
    )
    options = growth.growth_options(dataclasses.replace(plan, site=dataclasses.replace(plan.site, blocks=blocks)))
    assert options["year"] >= 8
    assert {len(row) for row in options["table"]} == {options["year"] + 1}
    known = [row for row in options["table"] if None not in row]
    assert known
    for row in known:
        assert row == sorted(row)
        assert row[8] == pytest.approx(0.95 * 4.0, rel=1e-3)  # 95 % of full size in that year, as its docstring says
