"""Plan sheets, measured in the PDF by another reader (pdfplumber), their coordinates read back by GDAL."""

from __future__ import annotations

import json
import math
import re
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from pypdf import PdfReader
from pyproj import CRS, Geod, Transformer
from scipy.spatial import cKDTree

from setout.model import Planting
from setout.model.sheet import PAPERS, SheetSettings
from setout.stages.staking import stake_set
from setout.write.sheets import Sheets, write_sheets
from write.sample_planting import EVIL, planting, systems

pdfplumber = pytest.importorskip("pdfplumber")
MM = 25.4 / 72
COLOURS = ("#45a4a1", "#da9f44", "#0f4b9f", "#9a2e4a")


@dataclass
class Drawn:
    planting: Planting
    sheets: Sheets
    path: Path
    scale: float
    paper: str
    pdf: object


def with_corners(plan: Planting) -> Planting:
    corners = shapely.get_coordinates(plan.site.boundary.exterior)[:-1]
    return replace(plan, site=replace(plan.site, monuments=corners))


CASES = {
    "A3 at 1:500, metres": ({"units": "si"}, SheetSettings(500.0, "A3")),
    "A4 at 1:1000, numbers thinned": ({"units": "si"}, SheetSettings(1000.0, "A4")),
    "as the plan leaves it, feet": ({"units": "us"}, SheetSettings()),
}


@pytest.fixture(scope="module", params=CASES)
def drawn(request, tmp_path_factory) -> Iterator[Drawn]:
    options, settings = CASES[request.param]
    plan = replace(with_corners(planting(**options)), sheets=settings)
    path = tmp_path_factory.mktemp("sheets") / "sheets.pdf"
    made = write_sheets(path, plan, stake_set(plan))
    with pdfplumber.open(path) as pdf:
        yield Drawn(plan, made, path, made.scale, settings.paper or settings.paper_for(plan.site.units), pdf)


def tile_pages(drawn):
    return [drawn.pdf.pages[item.page] for item in drawn.sheets.maps if item.name.startswith("Tile")]


def viewport(page):
    """The frame on paper [pt], and corners on the ground (lon, lat), from the page's own dictionary."""
    from pdfminer.pdftypes import resolve1

    (vp,) = resolve1(page.page_obj.attrs["VP"])
    vp = resolve1(vp)
    measure = resolve1(vp["Measure"])
    box = [float(v) for v in vp["BBox"]]
    gpts = np.array([float(v) for v in measure["GPTS"]]).reshape(-1, 2)[:, ::-1]
    lpts = np.array([float(v) for v in measure["LPTS"]]).reshape(-1, 2)
    page_xy = np.column_stack([box[0] + lpts[:, 0] * (box[2] - box[0]), box[1] + lpts[:, 1] * (box[3] - box[1])])
    return box, page_xy, gpts, resolve1(measure["GCS"])


def marks(page, box):
    """Middles of all trees' marks in the frame [pt], by what pdfplumber sees: dots, and filled shapes of their colours."""
    found = []
    want = [tuple(int(c[i : i + 2], 16) / 255 for i in (1, 3, 5)) for c in COLOURS]

    def is_tree(colour):
        return any(np.allclose(colour, w, atol=0.003) or _darker(colour, w) for w in want)

    def _darker(colour, w):
        light = 0.299 * w[0] + 0.587 * w[1] + 0.114 * w[2]
        return light > 0.52 and np.allclose(colour, np.array(w) * 0.52 / light, atol=0.008)

    for line in page.lines:
        if line["width"] == line["height"] == 0 and is_tree(line["stroking_color"]) and abs(line["linewidth"] - 1.1 / MM) < 0.01:
            found.append((line["x0"], line["y0"]))
    for shape in [*page.curves, *page.rects]:
        if shape["fill"] and not shape["stroke"] and is_tree(shape["non_stroking_color"]) and max(shape["width"], shape["height"]) < 2 / MM:
            pts = np.array(shape["pts"])[:, :2]
            pts = pts[:-1] if np.allclose(pts[0], pts[-1]) else pts
            x, y = pts.mean(axis=0)
            found.append((x, page.height - y))
    xy = np.array(found).reshape(-1, 2)
    inside = (xy[:, 0] > box[0]) & (xy[:, 0] < box[2]) & (xy[:, 1] > box[1]) & (xy[:, 1] < box[3])
    return xy[inside]


def ground_of(plan: Planting, page_xy, gpts):
    """Similarity that takes paper [pt] to the site's frame [m], from the four georeferenced corners alone."""
    geodetic = plan.site.frame.plane_crs.geodetic_crs
    x, y = plan.site.frame.of(geodetic, gpts[:, 0], gpts[:, 1])
    n = len(x)
    a = np.zeros((2 * n, 4))
    a[:n] = np.column_stack([page_xy[:, 0], -page_xy[:, 1], np.ones(n), np.zeros(n)])
    a[n:] = np.column_stack([page_xy[:, 1], page_xy[:, 0], np.zeros(n), np.ones(n)])
    p, q, tx, ty = np.linalg.lstsq(a, np.concatenate([x, y]), rcond=None)[0]
    return lambda xy: np.column_stack([p * xy[:, 0] - q * xy[:, 1] + tx, q * xy[:, 0] + p * xy[:, 1] + ty]), math.hypot(p, q)


def test_every_tree_is_on_exactly_one_tile_where_it_belongs(drawn) -> None:
    """Scale within 0.1 %, positions within 0.05 mm of paper, every tree once (issue 6, Must hold)."""
    xy = np.column_stack([drawn.planting.trees.x, drawn.planting.trees.y])
    tree = cKDTree(xy)
    seen = np.zeros(len(xy), int)
    pages = tile_pages(drawn)
    assert len(pages) == len(drawn.sheets.tiles)
    for page in pages:
        box, page_xy, gpts, _ = viewport(page)
        to_ground, metres_per_point = ground_of(drawn.planting, page_xy, gpts)
        assert metres_per_point / (MM / 1000) == pytest.approx(drawn.scale, rel=1e-4)
        spots = to_ground(marks(page, box))
        off, which = tree.query(spots)
        assert off.max() * 1000 / drawn.scale < 0.05
        seen[which] += 1
        # the scale, from the drawing alone: distances between far marks on paper against those between the trees
        far = np.argsort(spots @ (1.0, 0.7))[[0, -1]]
        paper = np.hypot(*np.diff(marks(page, box)[far], axis=0)[0]) * MM / 1000
        ground = np.hypot(*np.diff(xy[which[far]], axis=0)[0])
        if ground > 20:
            assert ground / paper == pytest.approx(drawn.scale, rel=1e-3)
    assert (seen == 1).all()


def test_paper_has_its_size_and_is_not_to_be_scaled_in_print(drawn) -> None:
    """ISO 216 and ASME Y14.1; PrintScaling None is ISO 32000-1, table 150."""
    pdf = drawn.pdf
    from pdfminer.pdftypes import resolve1

    for page in pdf.pages:
        assert (float(page.width) * MM, float(page.height) * MM) == pytest.approx(PAPERS[drawn.paper], abs=0.01)
    assert str(resolve1(pdf.doc.catalog["ViewerPreferences"])["PrintScaling"]) in ("/'None'", "None")


def test_scale_bar_measures_what_it_says(drawn) -> None:
    page = tile_pages(drawn)[0]
    text = page.extract_text()
    said, unit = re.search(r"this bar is ([\d.]+) (in|mm) on paper", text).groups()
    pieces = [r for r in page.rects if abs(r["height"] - 1.5 / MM) < 0.02 and r["x0"] > page.width * 0.7]
    left, right = min(r["x0"] for r in pieces), max(r["x1"] for r in pieces)
    measured = (right - left) * MM / (25.4 if unit == "in" else 1.0)
    assert len(pieces) == 4
    assert measured == pytest.approx(float(said), abs=0.006 if unit == "in" else 0.06)
    length, of = re.search(r"\b([\d.]+) (ft|m)\n", text).groups()
    metres = float(length) * (0.3048 if of == "ft" else 1.0)
    assert (right - left) * MM / 1000 * drawn.scale == pytest.approx(metres, rel=1e-3)


def words_in(page, box):
    """Texts in the frame as quadrilaterals of the height of capitals; white under-printing counts once."""
    out, run, seen = [], [], set()

    def close():
        if not run:
            return
        a, b = run[0], run[-1]
        way = np.array([a["matrix"][0], a["matrix"][1]])
        way = way / np.hypot(*way)
        up = np.array([-way[1], way[0]])
        # the size of the font, from the width that digits and letters advance: caps are 0.7 of it
        tall = 0.7 * a["fontsize"]
        start = np.array(a["matrix"][4:6])
        end = np.array(b["matrix"][4:6]) + way * b["adv"] * np.hypot(*b["matrix"][:2])
        words = "".join(c["text"] for c in run).strip()
        if words:
            out.append((words, shapely.Polygon([start, end, end + up * tall, start + up * tall])))

    for c in page.chars:
        key = (c["text"], *(round(v, 2) for v in c["matrix"]))
        at = np.array(c["matrix"][4:6])
        inside = box[0] < at[0] < box[2] and box[1] < at[1] < box[3]
        if key in seen or not inside:
            continue
        seen.add(key)
        c = {**c, "fontsize": (c["size"] if c["upright"] else c["x1"] - c["x0"])}
        if run:
            last = run[-1]
            scale = np.hypot(*last["matrix"][:2])
            way = np.array(last["matrix"][:2]) / scale
            expected = np.array(last["matrix"][4:6]) + way * last["adv"] * scale
            if not np.allclose(expected, at, atol=0.05) or not np.allclose(last["matrix"][:4], c["matrix"][:4], atol=1e-3):
                close()
                run = []
        run.append(c)
    close()
    return out


def test_no_label_covers_another_and_what_is_left_out_is_said(drawn) -> None:
    for page, tile, shown in zip(tile_pages(drawn), drawn.sheets.tiles, drawn.sheets.shown, strict=True):
        box, *_ = viewport(page)
        words = words_in(page, box)
        shapes = np.array([shape for _, shape in words], object)
        a, b = shapely.STRtree(shapes).query(shapes, predicate="intersects")
        bad = [(words[i][0], words[j][0]) for i, j in zip(a, b, strict=True) if i < j and shapes[i].intersection(shapes[j]).area > 1e-6]
        assert bad == []
        middles = shapely.points(marks(page, box))
        covered = shapely.STRtree(middles).query(shapes, predicate="dwithin", distance=0.5 / MM)
        assert [words[i][0] for i in covered[0]] == []
        numbers = sum(bool(re.fullmatch(r"\d+", text)) for text, _ in words)
        if set(shown.every.values()) == {1}:
            assert numbers == len(tile.trees) - shown.numbers_left
        said = re.sub(r"\s+", " ", page.extract_text())
        left = re.search(r"Left out for want of room: (none|.*?)\.", said).group(1)
        assert (f"{shown.numbers_left} tree number" in left) == (shown.numbers_left > 0)
        assert (f"{shown.names_left} row name" in left) == (shown.names_left > 0)


def test_numbers_stand_beside_their_trees(drawn) -> None:
    """The nearest mark to every number is the tree of that number."""
    plan = drawn.planting
    xy = np.column_stack([plan.trees.x, plan.trees.y])
    page = tile_pages(drawn)[0]
    box, page_xy, gpts, _ = viewport(page)
    to_ground, _ = ground_of(plan, page_xy, gpts)
    own = drawn.sheets.tiles[0].trees
    near = cKDTree(xy[own])
    wrong = []
    for text, shape in words_in(page, box):
        if re.fullmatch(r"\d+", text):
            middle = np.array(shape.centroid.coords)
            _, which = near.query(to_ground(middle)[0])
            wrong += [(text, plan.trees.ids[own[which]])] * int(int(text) != plan.trees.position[own[which]])
    assert wrong == []


def test_cautions_north_and_title_are_on_every_sheet(drawn) -> None:
    pdf = drawn.pdf
    for number, page in enumerate(pdf.pages, 1):
        text = re.sub(r"\s+", " ", page.extract_text())
        for words in ("Caution", "811", "Overhead lines", "Slopes", "septic", "Not a survey", f"{number} / {len(pdf.pages)}"):
            assert words in text, (number, words)
        assert ("Print at 100 %" in text) == (number - 1 in {item.page for item in drawn.sheets.maps})


def test_index_names_every_sheet_and_the_monuments(drawn) -> None:
    pdf = drawn.pdf
    text = pdf.pages[0].extract_text()
    for tile in drawn.sheets.tiles:
        assert f"Tile {tile.number}" in text
    frame = drawn.planting.site.frame
    spots = drawn.planting.site.monuments
    east, north = frame.to(frame.plane_crs, spots[:, 0], spots[:, 1])
    for e, n in zip(east, north, strict=True):
        assert f"{n:,.3f}" in text
        assert f"{e:,.3f}" in text


@pytest.mark.skipif(shutil.which("gdalinfo") is None, reason="gdal-bin is not installed")
def test_gdal_reads_the_georeference(drawn) -> None:
    """A tree's dot, through GDAL's own reading of the page, lies at the tree's plane coordinates."""
    plan = drawn.planting
    frame = plan.site.frame
    east, north = frame.to(frame.plane_crs, plan.trees.x, plan.trees.y)
    near = cKDTree(np.column_stack([east, north]))
    unit = frame.plane_crs.axis_info[0].unit_conversion_factor
    page = tile_pages(drawn)[-1]
    number = page.page_number
    box, *_ = viewport(page)
    spots = marks(page, box)
    height = float(page.height)
    dpi = 72
    command = ["gdalinfo", "-json", "--config", "GDAL_PDF_DPI", str(dpi), f"PDF:{number}:{drawn.path}"]
    told = json.loads(subprocess.run(command, capture_output=True, check=True, text=True).stdout)
    x0, a, b, y0, d, e = told["geoTransform"]
    col, row = spots[:, 0] * dpi / 72, (height - spots[:, 1]) * dpi / 72
    off, _ = near.query(np.column_stack([x0 + a * col + b * row, y0 + d * col + e * row]))
    # GDAL works in whole pixels of the page: its own rounding of the page's size comes on top
    assert off.max() * unit < 0.02 + 0.0005 * drawn.scale
    assert CRS.from_wkt(told["coordinateSystem"]["wkt"]).to_epsg() == 2272
    ring = np.array(
        [[float(v) for v in pair.split()] for pair in re.search(r"\(\((.*)\)\)", told["metadata"][""]["NEATLINE"]).group(1).split(",")]
    )
    view = drawn.sheets.maps[number - 1].view.box
    paper = shapely.Polygon(ring).area * unit**2 * 1e6 / drawn.scale**2
    assert paper == pytest.approx(view.width * view.height, rel=1e-3)


def test_every_map_page_has_a_measure_and_its_corners_span_true_distances(drawn) -> None:
    """Distances between the corners on the ellipsoid (Karney's geodesic) are those on paper times the scale."""
    pdf = drawn.pdf
    for item in drawn.sheets.maps:
        _, page_xy, gpts, system = viewport(pdf.pages[item.page])
        assert int(system["EPSG"]) == 2272
        geod = Geod(ellps="GRS80")
        _, _, far = geod.inv(*gpts[0], *gpts[2])
        paper = np.hypot(*(page_xy[2] - page_xy[0])) * MM / 1000
        height = 1 + drawn.planting.site.frame.height_m / 6371000
        assert far * height / paper == pytest.approx(item.view.scale, rel=1e-3)


def keys_of(item):
    """All keys of an object of the file, of what lies inside it too."""
    if isinstance(item, dict):
        for key, value in item.items():
            yield key
            yield from keys_of(value) if not hasattr(value, "idnum") else ()
    elif isinstance(item, list):
        for value in item:
            yield from keys_of(value) if not hasattr(value, "idnum") else ()


def test_text_from_files_is_text_and_nothing_runs(tmp_path) -> None:
    plan = with_corners(systems(names=EVIL))
    made = write_sheets(tmp_path / "s.pdf", plan, stake_set(plan))
    assert made.lacking == {"樹"}
    reader = PdfReader(tmp_path / "s.pdf")
    keys = {str(key) for number in range(1, len(reader.xref[0]) + 1) for key in keys_of(reader.get_object(number))}
    assert "/Measure" in keys
    assert not keys & {"/JavaScript", "/JS", "/Launch", "/URI", "/OpenAction", "/EmbeddedFile", "/AA"}
    with pdfplumber.open(tmp_path / "s.pdf") as pdf:
        text = "".join(page.extract_text() for page in pdf.pages)
        assert "</script>" in text
        assert "é ñ ?" in text
        assert "U+6A39" in text


def test_the_same_plan_gives_the_same_file(tmp_path) -> None:
    for name in ("a", "b"):
        write_sheets(tmp_path / name, planting(), stake_set(planting()))
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes()


def test_accented_and_greek_and_cyrillic_names_are_set_in_the_embedded_font(tmp_path) -> None:
    names = ("Dvořák", "Łódź", "Ελιά", "яблоня")
    named = with_corners(planting(names=names))
    made = write_sheets(tmp_path / "s.pdf", named, stake_set(named))
    assert made.lacking == frozenset()
    with pdfplumber.open(tmp_path / "s.pdf") as pdf:
        text = "".join(page.extract_text() for page in pdf.pages)
        fonts = {c["fontname"] for page in pdf.pages for c in page.chars}
    assert all(name in text for name in names)
    assert all("FiraSansCondensed" in font for font in fonts)


def test_plan_without_monuments_slopes_or_water_still_has_its_sheets(tmp_path) -> None:
    plan = planting()
    bare_trees = replace(plan.trees, slope_pct=None, elevation_m=None, water_index=None, zone_index=None, pressure_kpa=None)
    bare = replace(plan, trees=bare_trees, site=replace(plan.site, water=None, height_limits=()), irrigation=None)
    made = write_sheets(tmp_path / "s.pdf", bare, stake_set(bare))
    with pdfplumber.open(tmp_path / "s.pdf") as pdf:
        assert len(pdf.pages) == made.pages
        assert "no two corners to tape from" in re.sub(r"\s+", " ", pdf.pages[1].extract_text())


def test_water_sheet_of_every_zone_lists_its_pipes_and_valves(tmp_path) -> None:
    from watered import orchard

    plan = orchard([(0.0, 45.0, 300.0, 4000.0)])
    irrigation = plan.irrigation
    assert irrigation is not None
    assert irrigation.network is not None
    made = write_sheets(tmp_path / "s.pdf", plan, stake_set(plan))
    with pdfplumber.open(tmp_path / "s.pdf") as pdf:
        water = [page for page in pdf.pages if "Set the valve to" in page.extract_text()]
        assert len(water) == len(irrigation.zones)
        assert made.pages == len(pdf.pages)
        for page, zone, index in zip(water, irrigation.zones, range(len(irrigation.zones)), strict=True):
            text = page.extract_text()
            network = irrigation.network
            mine = (network.zone == index) & (network.parent >= 0)
            for bore in np.unique(network.inside_mm[mine]):
                assert f"{bore:.1f} mm" in text
            assert f"Valves {', '.join(zone.valves)}" in text
            assert "backflow" in text
            for kind, word in ((1, "main"), (2, "manifold"), (3, "lateral")):
                of_kind = mine & (network.kind == kind)
                for bore in np.unique(network.inside_mm[of_kind]):
                    length = network.length_m[of_kind & (network.inside_mm == bore)].sum()
                    said = re.search(rf"{word} {bore:.1f} mm ([\d.]+) m", text)
                    assert said is not None
                    assert 0 <= float(said.group(1)) - length < 1.001


def test_frame_and_survey_agree_so_that_a_level_tape_measures_the_drawing(drawn) -> None:
    """Marks on paper times the scale are level ground distances: geodesic at the site's height, within 0.05 %."""
    plan = drawn.planting
    page = tile_pages(drawn)[0]
    box, page_xy, gpts, _ = viewport(page)
    spots = marks(page, box)
    to_ground, _ = ground_of(plan, page_xy, gpts)
    far = np.argsort(spots[:, 0])[[0, -1]]
    lonlat = plan.site.frame.to(CRS.from_epsg(4326), *to_ground(spots[far]).T)
    _, _, ellipsoid = Geod(ellps="WGS84").inv(lonlat[0][0], lonlat[1][0], lonlat[0][1], lonlat[1][1])
    level = ellipsoid * (1 + plan.site.frame.height_m / 6371000)
    paper = np.hypot(*np.diff(spots[far], axis=0)[0]) * MM / 1000 * drawn.scale
    assert paper == pytest.approx(level, rel=5e-4)
    assert Transformer.from_crs(4326, plan.site.frame.plane_crs, always_xy=True).transform(lonlat[0][0], lonlat[1][0])[0] > 0
