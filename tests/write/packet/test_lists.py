"""The lists: quantities are the plan's own, every row counted once, and no text of a file runs in a spreadsheet."""

from __future__ import annotations

import csv
import re
from collections import Counter
from dataclasses import replace

import numpy as np
import openpyxl
import pytest
import shapely

from setout.model import Emitter, Irrigation, IrrigationPlan, Network, Pipes, Zone
from setout.model.buying import line_of
from setout.model.irrigation import LATERAL, MAIN, MANIFOLD, SOURCE
from setout.stages.staking import stake_set
from setout.write.packet import contents, lists, workbook
from setout.write.packet.workorder import JOBS, work_order
from write import sample_planting

PATTERN = re.compile(r"[=+@-]")
FORMULAS = ('=HYPERLINK("http://x","y")', "+1+1", "@SUM(A1)", "-2+3", "_x0041_ A", *sample_planting.EVIL)


def with_monuments(made):
    corners = shapely.get_coordinates(made.site.boundary)[:-1]
    return replace(made, site=replace(made.site, monuments=corners))


def with_order(made):
    from setout.model import OrderLine

    stakes = stake_set(made)
    order = tuple(OrderLine("x", k.plant, k.variety, k.role, "", k.block, k.trees, -(-k.trees // 20)) for k in stakes.kinds)
    bought = tuple(
        line
        for name in stakes.blocks[:2]
        for line in (
            line_of("mulch", 12.5, name, "tree_mulch", across_m=0.9, deep_m=0.075, plants=10),
            line_of("trunk_guard", 40.0, name, trees=10, long_m=0.6, thick_m=None),
            line_of("tree_stake", 40.0, name, trees=10, long_m=1.8, thick_m=0.05),
        )
    )
    return replace(made, order=order, materials=bought)


@pytest.fixture(scope="module")
def planting():
    return with_order(with_monuments(sample_planting.planting()))


@pytest.fixture(scope="module")
def folder(planting, tmp_path_factory):
    out = tmp_path_factory.mktemp("lists") / "packet"
    contents.write_packet(planting, stake_set(planting), out)
    return out


def dicts(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_work_order_goes_in_the_sequence_of_the_trade(planting):
    """Locate before anything is dug, survey before staking, plant before water, mulch and guard (common practice)."""
    jobs = work_order(planting, stake_set(planting))
    assert list(dict.fromkeys(job.job for job in jobs)) == list(JOBS)
    assert [job.step for job in jobs] == sorted(job.step for job in jobs)
    assert "811" in jobs[0].how


def test_quantities_are_the_blocks_own(planting):
    jobs = work_order(planting, stake_set(planting))
    site, trees = planting.site, planting.trees
    for index, block in enumerate(site.blocks):
        own = {job.job: job for job in jobs if job.block == block.name}
        count = int((trees.block == index).sum())
        assert own["dig"].quantity == own["stake"].quantity == own["water in"].quantity == count
        assert sum(j.quantity for j in jobs if j.job == "plant" and j.block == block.name) == count
        area = sum(g.area for name, g in zip(planting.usable.block, planting.usable.geometry, strict=True) if name == block.name)
        assert own["clear"].quantity == pytest.approx(area)
        rows = planting.rows.block == index
        length = np.hypot(planting.rows.x1 - planting.rows.x0, planting.rows.y1 - planting.rows.y0)[rows].sum()
        assert own["rip"].quantity == pytest.approx(length)
    assert {j.block: j.quantity for j in jobs if j.job == "mulch"} == {"A": 12.5, "B": 12.5, "C": None}
    assert [j.unit for j in jobs if j.job == "guard"] == ["each"] * 4


def test_what_cannot_be_known_is_empty_and_says_why(planting):
    (trench,) = [job for job in work_order(planting, stake_set(planting)) if job.job == "trench"]
    assert (trench.quantity, trench.shown) == (None, "no pipes laid out in this plan")


def piped(planting):
    """Two zones fed over one main of 100 m: 30 m of manifold in block A, 40 m in block B."""
    x = np.array([0.0, 100, 100, 100, 0, 100, 140, 140])
    y = np.array([0.0, 0, 30, 40, 0, 0, 0, 9])
    parent = np.array([-1, 0, 1, 2, -1, 4, 5, 6])
    kind = np.array([SOURCE, MAIN, MANIFOLD, LATERAL, SOURCE, MAIN, MANIFOLD, LATERAL], np.int8)
    length = np.where(parent >= 0, np.hypot(x - x[parent], y - y[parent]), 0.0)
    half = np.repeat([0, 1], 4)
    nan, none = np.full(8, np.nan), np.full(8, -1)
    network = Network(x, y, nan, parent, length, nan, kind, half, half, none, none, none, none, nan, kind == MAIN, nan, nan, nan)
    zones = tuple(
        Zone(f"z{k + 1}", 0, (f"z{k + 1}",), (b,), 3, 9, 1135.6235, 103.42, nan[0], nan[0], 0.9, "good", 2.5, 7, 2.5, (), (), k * 2.5)
        for k, b in enumerate("AB")
    )
    n = len(planting.trees)
    blank = np.full(n, np.nan)
    irrigation = Irrigation(
        IrrigationPlan(Emitter(4.0, 100.0), Pipes((), (), ())),
        network,
        zones,
        (),
        np.zeros(n, int),
        np.zeros(n, int),
        blank,
        blank,
        blank,
        blank,
        np.ones(n, bool),
        np.ones(n, bool),
        np.zeros(n, np.int8),
    )
    return replace(planting, irrigation=irrigation)


def test_every_trench_counts_once_whatever_zones_share_it(planting):
    trenches = {j.block: j.quantity for j in work_order(piped(planting), stake_set(planting)) if j.job == "trench"}
    assert trenches == {"A": 30.0, "B": 40.0, "shared by blocks": 100.0}


def test_zones_say_hours_flow_and_pressure_in_the_sites_units(planting):
    """1 gal/min = 227.1247 l/h and 15 psi = 103.42 kPa (NIST SP 811, Appendix B)."""
    zones = lists.zones_list(piped(planting))
    names = [field.name for field in zones.fields]
    assert len(zones.rows) == 2
    row = dict(zip(names, zones.rows[1], strict=True))
    assert (row["zone"], row["blocks"], row["hours_peak_h"], row["start_h"], row["jan_h"]) == ("z2", "B", 2.5, 2.5, None)
    assert row["flow_gpm"] == pytest.approx(5.0, abs=1e-4)
    assert row["valve_psi"] == pytest.approx(15.0, abs=1e-3)
    assert lists.zones_list(planting).rows == ()


def test_the_crews_rows_count_every_tree_once(planting, folder):
    rows = dicts(folder / "rows.csv")
    assert sum(int(row["trees"]) for row in rows) == len(planting.trees)
    for row in rows:
        assert sum(int(n) for n in re.findall(r"(?:^|; )(\d+) ", row["plants"])) == int(row["trees"])
    ids = planting.trees.ids.tolist()
    assert {row["first"] for row in rows} | {row["last"] for row in rows} <= set(ids)
    assert Counter(row["block"] for row in rows) == Counter(planting.site.blocks[b].name for b in planting.rows.block.tolist())


def test_the_spreadsheet_says_what_the_csvs_say(planting, folder):
    book = openpyxl.load_workbook(folder / "lists.xlsx")
    assert book.sheetnames == ["Read first", "Work order", "Rows", "Plants to order", "Plants by block", "Materials"]
    for sheet, name in (("Work order", "work_order"), ("Rows", "rows"), ("Plants by block", "plants_to_order"), ("Materials", "materials")):
        cells = [[c.value for c in row] for row in book[sheet].iter_rows(min_row=5)]
        listed = [list(row.values()) for row in dicts(folder / f"{name}.csv")]
        assert len(cells) == len(listed)
        for mine, theirs in zip(cells, listed, strict=True):
            for one, other in zip(mine, theirs, strict=True):
                if isinstance(one, int | float):
                    assert float(other) == pytest.approx(one, abs=5.1e-4)
                else:
                    assert (one or "") == other
    total = {tuple(c.value for c in row)[:3]: row[3].value for row in book["Plants to order"].iter_rows(min_row=5)}
    assert sum(total.values()) == len(planting.trees)


@pytest.mark.parametrize(
    ("units", "foot", "heads"),
    [
        ("us", 0.3048, ["Number", "Length [ft]", "Area [acres]", "Volume [cu yd]"]),
        ("si", 1.0, ["Number", "Length [m]", "Area [ha]", "Volume [m3]"]),
    ],
)
def test_quantities_are_numbers_in_the_readers_unit_which_the_columns_head_says(tmp_path, units, foot, heads):
    planting = with_order(with_monuments(sample_planting.planting()))
    planting = replace(planting, site=replace(planting.site, units=units))
    contents.write_packet(planting, stake_set(planting), tmp_path / "packet")
    book = openpyxl.load_workbook(tmp_path / "packet" / "lists.xlsx")
    head = [c.value for c in book["Work order"][4]]
    assert [name for name in head if name in heads] == heads
    rows = [dict(zip(head, (c.value for c in row), strict=True)) for row in book["Work order"].iter_rows(min_row=5)]
    jobs = work_order(planting, stake_set(planting))
    assert len(rows) == len(jobs)
    for row, job in zip(rows, jobs, strict=True):
        size = {"each": 1.0, "m": foot, "m2": 1e4 if units == "si" else 4046.8564224, "m3": 1.0 if units == "si" else 0.764554857984}
        told = {name: row[name] for name in heads if row[name] is not None}
        known = {} if job.quantity is None else {dict(zip(size, heads, strict=True))[job.unit]: job.quantity / size[job.unit]}
        assert told == pytest.approx(known)
    assert {"Number", heads[1], heads[3]} <= {c.value for c in book["Materials"][4]}


def test_every_row_of_the_spreadsheet_is_as_high_as_its_texts(planting, folder):
    """Fitted here and not by the program that opens it: as many lines of 15 points as the longest text takes in its column."""
    book = openpyxl.load_workbook(folder / "lists.xlsx")
    several = 0
    for sheet in book:
        for row in sheet.iter_rows():
            for cell in row:
                if isinstance(cell.value, str) and cell.alignment.wrap_text:
                    width = sheet.column_dimensions[cell.column_letter].width
                    lines = -(-len(cell.value) // width)
                    several += lines > 1
                    high = sheet.row_dimensions[cell.row].height or 15.0  # the file's usual height
                    assert high >= min(15 * lines, 409), (sheet.title, cell.coordinate)
    assert several > 10


def test_plants_to_order_are_trees_and_spares(planting, folder):
    lines = dicts(folder / "plants_to_order.csv")
    assert sum(int(line["to_plant"]) for line in lines) == len(planting.trees)
    assert all(int(line["to_plant"]) + int(line["spares"]) == int(line["to_order"]) for line in lines)


def test_no_text_is_a_formula_in_spreadsheet_or_csv(tmp_path):
    planting = with_order(with_monuments(sample_planting.systems(names=FORMULAS)))
    contents.write_packet(planting, stake_set(planting), tmp_path / "packet")
    book = openpyxl.load_workbook(tmp_path / "packet" / "lists.xlsx")
    texts = set()
    for sheet in book:
        for row in sheet.iter_rows():
            for cell in row:
                assert cell.data_type in ("s", "n"), (sheet.title, cell.coordinate, cell.value)
                assert cell.hyperlink is None
                texts.add(cell.value)
    assert {"_x0041_ A", *FORMULAS[:1]} & texts
    for path in (tmp_path / "packet").glob("*.csv"):
        for line in csv.reader(path.open(encoding="utf-8", newline="")):
            for cell in line:
                assert not PATTERN.match(cell) or re.fullmatch(r"-?[\d.]+", cell), (path.name, cell)


def test_the_judge_of_formulas_fires(tmp_path):
    from xlsxwriter import Workbook

    with Workbook(str(tmp_path / "f.xlsx")) as book:
        book.add_worksheet().write(0, 0, "=1+1")
    assert openpyxl.load_workbook(tmp_path / "f.xlsx").active["A1"].data_type == "f"


def test_a_list_keeps_signs_that_xml_has_no_place_for_out(tmp_path):
    made = lists.List("x", "X", (lists.Field("a"),), (("bell\x07 and \ud800 half",), ("y" * 40_000,), (None,)))
    workbook.write_workbook(tmp_path / "x.xlsx", [made], stake_set(with_monuments(sample_planting.planting())))
    cells = [row[0].value for row in openpyxl.load_workbook(tmp_path / "x.xlsx")["X"].iter_rows(min_row=5)]
    assert cells[0] == "bell and half"
    assert len(cells[1]) == workbook.LONGEST
