"""The report: its figures are the plan's, its account sums up, and names stay text."""

from __future__ import annotations

import dataclasses
import re
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from pyproj import CRS, Geod

from setout.model import ClassNeed, Finding, Need, Pair, Pattern, Planting, Trees
from setout.tables import catalogue
from setout.units import ACRE, FOOT, show_area
from setout.words import plan as wording
from setout.write.report import page as report
from setout.write.report import picture, sources
from setout.write.report.need import need_section
from write import sample_irrigation, sample_planting


class Tables(HTMLParser):
    """All table rows of a page as lists of texts, and every tag seen."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.rows: list[list[str]] = []
        self.tags: list[str] = []
        self.attributes: list[str] = []
        self._open = False
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [name for name, _ in attrs]
        if tag == "tr":
            self.rows.append([])
        if tag in {"td", "th"}:
            self.rows[-1].append("")
            self._open = True

    def handle_endtag(self, tag: str) -> None:
        if tag in {"td", "th"}:
            self._open = False

    def handle_data(self, data: str) -> None:
        if self._open:
            self.rows[-1][-1] += data


def written(folder: Path, plan: Planting) -> str:
    path = folder / "report.html"
    report.write_report(path, plan, picture_svg=picture.plan_picture(plan), seconds={"read": 0.25})
    return path.read_text("utf-8")


def test_land_account_is_the_plans_and_sums_to_gross(tmp_path: Path) -> None:
    plan = sample_planting.planting()
    rows = Tables(written(tmp_path, plan)).rows
    start = next(i for i, row in enumerate(rows) if row[0].startswith("Whole property"))
    account = plan.usable.account
    told = rows[start : start + len(account)]
    assert [row[0] for row in told[1:-1]] == [a.reason for a in account[1:-1]]
    for row, a in zip(told, account, strict=True):
        assert row[3] == show_area(a.remaining_m2, "us")
    newly = sum(float(row[2].split()[0]) for row in told[1:-1])
    gross, net = float(told[0][3].split()[0]), float(told[-1][3].split()[0])
    assert newly + net == pytest.approx(gross, abs=0.005 * len(account) + 0.005)


def test_block_table_counts_and_densities(tmp_path: Path) -> None:
    plan = sample_planting.planting()
    rows = [r for r in Tables(written(tmp_path, plan)).rows if len(r) == 10][1:]
    assert [r[0] for r in rows] == ["A", "B", "C"]
    counts = np.bincount(plan.trees.block)
    assert [int(r[7].replace(",", "")) for r in rows] == counts.tolist()
    for i, row in enumerate(rows):
        acres = plan.usable.geometry[i].area / ACRE
        assert float(row[9].split()[0]) == pytest.approx(counts[i] / acres, abs=0.51)
    assert sum(counts) == len(plan.trees)


def test_says_where_the_nearest_is_less_than_the_step(tmp_path: Path) -> None:
    """A step of 16 ft with rows 12 ft apart, shifted by half: hypot(8, 12) = 14.422 ft (Pythagoras)."""
    text = written(tmp_path, sample_planting.planting())
    assert "Block C: rows 12 ft apart bring neighbours in the next row to 14.42 ft, closer than the 16 ft step." in text
    assert "Block A: rows" not in text


def test_nearest_of_a_block_does_not_take_the_neighbour_block_for_its_own() -> None:
    plan = sample_planting.planting()
    assert plan.trees.nearest_m.min() < 3
    lines = wording.block_lines(plan)
    assert [line.nearest_m / FOOT for line in lines] == pytest.approx([16, 32, 14.42221], abs=1e-4)


@pytest.mark.parametrize("slope, more", [(0.15, 0.01119), (0.20, 0.01980)])
def test_a_tape_on_a_slope_reads_more(slope: float, more: float) -> None:
    """100 ft of plan at 15 % are 101.119 ft of slope (Pythagoras; as surveying handbooks tabulate it)."""
    assert wording.tape_excess(slope) == pytest.approx(more, abs=1e-5)


def test_tape_is_told(tmp_path: Path) -> None:
    text = written(tmp_path, sample_planting.planting())
    assert "15 % slope reads 1.1 % more (1.12 ft in 100 ft)" in text


@pytest.mark.parametrize("epsg, lon, lat, height", [(2272, -77.05, 40.21, 180.0), (32618, -74.2, 40.2, 950.0), (2193, 172.0, -43.5, 20.0)])
def test_grid_to_ground_against_the_geodesic(epsg: int, lon: float, lat: float, height: float) -> None:
    """Ground distance is the geodesic (pyproj.Geod) times 1 + height / radius."""
    frame = sample_planting.frame(lon, lat, height, epsg)
    site = dataclasses.replace(sample_planting.planting(where=frame).site, frame=frame)
    plane = CRS.from_epsg(epsg)
    x, y = frame.of(CRS.from_epsg(4326), np.array([lon - 5e-4, lon + 5e-4]), np.array([lat, lat]))
    east, north = frame.to(plane, x, y)
    grid = np.hypot(*np.diff([east, north])[:, 0]) * plane.axis_info[0].unit_conversion_factor
    ground = Geod(ellps="WGS84").inv(lon - 5e-4, lat, lon + 5e-4, lat)[2] * (1 + height / 6371000)
    assert wording.grid_to_ground(site) == pytest.approx(ground / grid, abs=2e-6)


def test_no_plane_no_factor(tmp_path: Path) -> None:
    plan = sample_planting.planting()
    frame = dataclasses.replace(plan.site.frame, plane_crs=CRS.from_epsg(4326), survey_crs=CRS.from_epsg(4326))
    plan = dataclasses.replace(plan, site=dataclasses.replace(plan.site, frame=frame))
    assert np.isnan(wording.grid_to_ground(plan.site))
    assert "Grid to ground" not in written(tmp_path, plan)


def test_findings_stand_by_severity_with_remedy(tmp_path: Path) -> None:
    text = written(tmp_path, sample_planting.planting())
    places = [text.index(word) for word in ("Stop (1)", "Warning (1)", "Note (1)")]
    assert places == sorted(places)
    assert "Remedy: plant a smaller size" in text
    assert "Found: 14.8 ft." in text


def test_thousands_of_findings_are_cut_and_counted(tmp_path: Path) -> None:
    plan = sample_planting.planting()
    many = tuple(Finding("too_close", "warn", f"finding {i}", remedy=f"remedy {i}") for i in range(2000))
    text = written(tmp_path, dataclasses.replace(plan, findings=many))
    assert "Warning (2,000)" in text
    assert f"{2000 - report.MOST_KINDS:,} more are in the layer findings" in text
    assert len(text) < 400_000
    alike = tuple(dataclasses.replace(finding, remedy="", tree_id=f"A-1-{k}") for k, finding in enumerate(many))
    text = written(tmp_path, dataclasses.replace(plan, findings=alike))
    assert "2,000 too close; the first: finding 0" in text
    assert "First A-1-0, A-1-1, A-1-2 ..." in text
    assert "more are in the layer findings" not in text


def test_cautions_defer_to_local_practice(tmp_path: Path) -> None:
    text = written(tmp_path, sample_planting.planting())
    for said in ("811 in the", "Overhead lines", "overturns", "local code", "licensed", "septic"):
        assert said in text


def test_planting_systems_tell_what_belongs_to_them(tmp_path: Path) -> None:
    """Six beds of 10 ft by 6 ft (common practice) are 360 sq ft, and 3 in on them 90 cubic feet, 3.3 cubic yards of 27."""
    text = written(tmp_path, sample_planting.systems())
    for said in (
        "Beds 10 ft long and 6 ft wide, 3 ft apart in the row, with paths of 4 ft between rows",
        "6 of 60 sq ft",
        "360 sq ft",
        "3.3 cu yd, 3 in deep",
        "3 end posts, 6 line posts, at most 24 ft apart",
        "328 ft in 3 wires",
        "shade: a yard of 2,153 sq ft",
        "pear: 6 ft wide and 6 ft tall; left alone 12 ft wide and 15 ft tall",
        "in year 12",
        "Each row has 2 lines of plants 4 ft apart, staggered by half a step.",
        "2 ft apart on an axis north-south",
    ):
        assert said in text, said


def test_rooms_order_and_materials_are_the_plans(tmp_path: Path) -> None:
    plan = sample_planting.systems()
    rows = Tables(written(tmp_path, plan)).rows
    assert ["B", "9.8 ft", "7.87 ft", "1.25", "2 ft", "36 %", "1,200", "none", "90 %"] in rows
    assert ["C", "", "", "", "", "", "", "", ""] in rows
    assert ["A", "apple, semi-dwarf", "Grimes Golden", "filler: out in year 12", "5", "1", "6"] in rows
    assert ["wire", "high-tensile", "345 ft", "block B: 2 rows, 3 wires, with 5% for tying"] in rows


def test_no_chapter_without_its_matter(tmp_path: Path) -> None:
    text = written(tmp_path, sample_planting.planting())
    for head in ("What each spacing asks", "Plants to order", "Materials"):
        assert f"<h2>{head}</h2>" not in text
    assert "<h2>What is planted</h2>" in text


def test_findings_that_ask_for_the_same_stand_together(tmp_path: Path) -> None:
    plan = sample_planting.planting()
    alike = tuple(Finding("alley_narrow", "note", f"block {b}: narrow", f"{i} ft", "8 ft", "widen it") for i, b in enumerate("ABC"))
    text = written(tmp_path, dataclasses.replace(plan, findings=(*alike, Finding("other", "note", "apart", remedy="mend it"))))
    assert text.count("Remedy: widen it") == 1
    assert text.count("Asked for: 8 ft.") == 1
    assert [f"Found: {i} ft." in text for i in range(3)] == [True] * 3
    assert "Note (4)" in text


def test_nearest_of_pairs_is_that_of_different_pairs() -> None:
    """Partners 2 ft apart at every 10 ft: the nearest stranger in the row stands 8 ft away."""
    plan = sample_planting.planting()
    y = np.array([0.0, 2.0, 10.0, 12.0]) * FOOT
    one = np.zeros(4, np.int32)
    trees = Trees(one, one + 1, np.arange(1, 5, dtype=np.int32), y * 0, y, one, np.array([1, 0, 3, 2], np.int32))
    block = dataclasses.replace(plan.site.blocks[1], pattern=Pattern("square", 10 * FOOT, 10 * FOOT, pair=Pair(2 * FOOT)))
    plan = dataclasses.replace(plan, site=dataclasses.replace(plan.site, blocks=(block,)), trees=trees)
    (line,) = wording.block_lines(plan)
    assert line.nearest_m == pytest.approx(8 * FOOT)
    assert "two trees of different pairs stand 8.00 ft apart" in wording.closer_than_step(line, "us")


@pytest.mark.parametrize("units", ["us", "si"])
def test_names_that_look_like_code_stay_text(tmp_path: Path, units: str) -> None:
    plan = sample_planting.systems(names=sample_planting.EVIL, units=units)
    text = written(tmp_path, plan)
    page = Tables(text)
    assert "script" not in page.tags
    assert "img" not in page.tags
    assert not [a for a in page.attributes if a.startswith("on")]
    assert "{{ 7*7 }}" in text
    assert sample_planting.EVIL[0] in [row[0] for row in page.rows if row]


def test_asks_for_nothing_and_is_the_same_every_time(tmp_path: Path) -> None:
    plan = sample_planting.planting()
    text = written(tmp_path, plan)
    assert text == written(tmp_path, plan)
    assert set(re.findall(r"https?://[^\s\"'<]+", text)) <= {"http://www.w3.org/2000/svg"}
    assert not re.findall(r"url\((?!#|data:)", text)
    assert "default-src 'none'" in text


@pytest.mark.parametrize(
    ("units", "told", "untold"),
    [
        ("us", ("10.0 gal (38 l)", "0.25 in (6.3 mm) a day", "100 gal (0.4 m3)"), ()),
        ("si", ("37.9 l", "6.3 mm a day", "0.4 m3"), (" gal", " in (")),
    ],
)
def test_need_is_told_in_the_growers_units(units: str, told: tuple[str, ...], untold: tuple[str, ...]) -> None:
    """A US gallon is 3.785412 l and an inch 25.4 mm (NIST SP 811, appendix B.8)."""
    plan = sample_planting.planting(units=units)
    lpd = 10 * 3.785412
    one = ClassNeed(0, 0, 10, 20.0, 10.0, 15.0, (0.9,) * 12, 0.9, (lpd,) * 12, (lpd,) * 12, lpd, 7, (), ("FAO-56",))
    need = Need(
        np.full(len(plan.trees), lpd),
        np.zeros(len(plan.trees), np.int64),
        (one,),
        lpd_by_month=(10 * lpd,) * 12,
        peak_month=7,
        peak_eto_mm=6.3,
        eto_mm=(6.3,) * 12,
    )
    section = need_section(dataclasses.replace(plan, need=need))
    words = " ".join([*section["said"], section["all"], *(row["peak"] for row in section["rows"])])
    assert all(text in words for text in told)
    assert not any(text in words for text in untold)


def test_hours_that_no_day_has_are_said_to_be_beyond_what_runs(tmp_path: Path) -> None:
    plan = sample_irrigation.irrigated(sample_planting.planting())
    assert "cannot be run" not in written(tmp_path, plan)
    zone = dataclasses.replace(plan.irrigation.zones[0], hours_by_month=(31.4,) * 12)
    over = dataclasses.replace(plan.irrigation, zones=(zone, *plan.irrigation.zones[1:]))
    assert "cannot be run: those trees fall short" in written(tmp_path, dataclasses.replace(plan, irrigation=over))


def test_the_first_page_says_in_short_what_is_in_the_way_water_order_and_work(tmp_path: Path) -> None:
    plan = sample_irrigation.irrigated(sample_planting.systems())
    found = (Finding("too_close", "warn", "w1"), Finding("too_close", "warn", "w2"), Finding("alley", "note", "n1"))
    text = written(tmp_path, dataclasses.replace(plan, findings=found))
    head = text.partition("<figure>")[0]
    assert "No finding stops this plan; 2 warnings to weigh before planting and 1 note under Findings." in head
    trees, spares = sum(line.trees for line in plan.order), sum(line.spares for line in plan.order)
    assert f"To order: {trees + spares:,} plants, {spares:,} of them spare." in head
    assert f"{int(plan.irrigation.watered.sum()):,} of {len(plan.trees):,} trees get what they need" in head
    stop = (Finding("pollen", "stop", "<b>no</b> partner"), *found)
    head = written(tmp_path, dataclasses.replace(plan, findings=stop)).partition("<figure>")[0]
    assert "To be put right before planting: 1 pollen. Besides 2 warnings to weigh" in head


@pytest.mark.parametrize(("units", "july", "rain"), [("si", "155", "51"), ("us", "6.10", "2.00")])
def test_months_of_the_climate_are_sums_in_the_growers_units(units: str, july: str, rain: str) -> None:
    """5 mm a day on the 31 days of July are 155 mm; an inch is 25.4 mm (NIST SP 811, appendix B.8)."""
    plan = sample_planting.planting(units=units)
    one = ClassNeed(0, 0, 10, 20.0, 10.0, 15.0, (0.9,) * 12, 0.9, (38.0,) * 12, (38.0,) * 12, 38.0, 7, (), "FAO-56")
    need = Need(
        np.full(len(plan.trees), 38.0),
        np.zeros(len(plan.trees), np.int64),
        (one,),
        lpd_by_month=(380.0,) * 12,
        peak_month=7,
        peak_eto_mm=5.0,
        eto_mm=(5.0,) * 12,
        rain_mm=(50.8,) * 12,
    )
    (eto_name, eto), (rain_name, rains) = need_section(dataclasses.replace(plan, need=need))["climate"]
    assert (eto[6], rains[6]) == (july, rain)
    assert all(({"si": "mm", "us": "in"}[units]) in name for name in (eto_name, rain_name))


def test_publications_are_given_with_their_address_where_they_have_one() -> None:
    """The catalogue's own list: a row without an address ends with its publication, no comma after it."""
    plan = sample_planting.planting()
    shown = dict(sources.sources(plan))
    entries = [catalogue.find(plant.name) for block in plan.site.blocks for plant in block.plants]
    rows = catalogue.publications(entries)
    assert {bool(address) for *_, address in rows} == {True, False}
    for name, publication, address in rows:
        assert shown[name] == (f"{publication}, {address}" if address else publication)
