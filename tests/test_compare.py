"""Options side by side: figures equal to those of the plans themselves, what beats what, costs, and limits."""

from __future__ import annotations

import csv
import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

import setout
from farm import Farm, write_survey
from setout.cli import command
from setout.errors import SetoutError
from setout.model import OrderLine
from setout.model.buying import MATERIALS
from setout.model.comparison import Outcome
from setout.model.prices import Price, Prices
from setout.planfile.prices import price
from setout.run import Limits
from setout.stages.compare import closest, first_cost, weighed, widest
from setout.words.comparing import why_unknown

NAN = math.nan
STEPS = ("8 ft", "12 ft", "16 ft", "20 ft")
BLOCK = {"name": "A", "pattern": "offset", "step": "16 ft", "direction": "north-south", "plants": [{"plant": "apple, semi-dwarf"}]}


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sound")
    write_survey(folder)
    return folder


@pytest.fixture
def farm(tmp_path: Path, sound: Path) -> Farm:
    made = Farm(tmp_path, sound)
    made.sections["block"] = [dict(BLOCK)]
    return made


def outcome(name: str, **figures: Any) -> Outcome:
    base = Outcome(
        name,
        "A",
        "",
        False,
        "square",
        5.0,
        5.0,
        0.0,
        1e4,
        100,
        5.0,
        4.0,
        0.8,
        0.0,
        0.0,
        10.0,
        20.0,
        7.0,
        6.0,
        900.0,
        2000.0,
        1.0,
        None,
        105,
        0,
        500.0,
        NAN,
        NAN,
    )
    return replace(base, **figures)


def test_every_option_has_the_figures_of_the_plan_it_stands_for(farm: Farm) -> None:
    """Each option is planned by itself, and its layers are counted with other libraries."""
    farm.sections["water"] |= {"eto": "0.25 in/day", "flow": "600 gal/h", "hours_per_day": 10}
    options = [{"step": step} for step in STEPS if step != "16 ft"]
    result = setout.compare(farm.write(option=options), farm.folder / "side")
    assert [o.said for o in result.outcomes] == ["", "step 8 ft", "step 12 ft", "step 20 ft"]
    for step, told in zip(("16 ft", "8 ft", "12 ft", "20 ft"), result.outcomes, strict=True):
        farm.block["step"] = step
        out = farm.folder / f"out {step}"
        setout.plan(farm.write(), out, products=("geopackage",))
        trees = gpd.read_file(out / "plan.gpkg", layer="trees")
        usable = gpd.read_file(out / "plan.gpkg", layer="usable")
        rows = gpd.read_file(out / "plan.gpkg", layer="rows")
        order = gpd.read_file(out / "plan.gpkg", layer="order")
        assert told.trees == len(trees)
        assert told.nearest_m == pytest.approx(trees.nearest_m.median(), abs=1e-6)
        assert told.crowding == pytest.approx(trees.crowding.median(), abs=1e-6)
        assert told.pruning_load == pytest.approx(trees.pruning_load.median(), abs=1e-6)
        assert told.trees_per_ha == pytest.approx(len(trees) / usable.area_m2.sum() * 1e4, rel=1e-6)
        assert told.pipe_m == pytest.approx(rows.length_m.sum(), rel=1e-6)
        assert told.sun_h == pytest.approx(trees.sun_h.median(), abs=1e-6)
        assert told.sun_low_h == pytest.approx(trees.sun_h.quantile(0.1), abs=1e-6)
        assert told.need_lpd == pytest.approx(trees.need_lpd.sum(), rel=1e-6)
        # 600 gal/h over 10 hours
        assert told.given_lpd == pytest.approx(6000 * 3.785411784)
        assert told.plants == (order.trees + order.spares).sum()


def test_the_closer_the_more_trees_and_the_more_work(farm: Farm) -> None:
    """Common practice, no source: the closer, the more work; canopies of 15 ft at 20 ft stand free."""
    result = setout.compare(farm.write(), farm.folder / "out", steps=STEPS)
    close_to_wide = [o for o in result.outcomes if not o.planned]
    for name in ("trees", "pruning_load", "work_h", "crowding"):
        values = [getattr(o, name) for o in close_to_wide]
        assert values == sorted(values, reverse=True), name
    alleys = [o.alley_m for o in close_to_wide]
    assert alleys == sorted(alleys)
    assert close_to_wide[-1].pruning_load == 0
    # more room, never less sun
    assert (np.diff([o.sun_h for o in close_to_wide]) > 0).all()


def test_the_files_say_what_the_result_says(farm: Farm) -> None:
    options = [{"name": "=1+1 <script>", "step": "12 ft"}, {"step": "20 ft", "plant": "apple, dwarf"}]
    path = farm.write(option=options, prices={"currency": "USD", "plant": "38 / each", "work": "25 / h"})
    result = setout.compare(path, farm.folder / "out")
    lines = list(csv.DictReader((farm.folder / "out" / "compare.csv").open(encoding="utf-8", newline="")))
    assert [line["option"] for line in lines] == ["as planned", "'=1+1 <script>", "step 20 ft, plant apple, dwarf"]
    table = pd.read_csv(farm.folder / "out" / "compare.csv")
    assert table.trees.tolist() == [o.trees for o in result.outcomes]
    assert np.allclose(table.yearly_cost, [o.work_h * 25 for o in result.outcomes], rtol=1e-5)
    page = (farm.folder / "out" / "compare.html").read_text(encoding="utf-8")
    assert "<script" not in page
    assert "&lt;script&gt;" in page
    for o in result.outcomes:
        assert f"{o.trees:,}" in page
    assert "Buried lines" in page


def test_what_is_missing_is_null_and_says_why(farm: Farm) -> None:
    farm.sections["block"] = [{k: v for k, v in BLOCK.items() if k != "plants"}]
    result = setout.compare(farm.write(water=None, setback=None, height_limit=None), farm.folder / "out")
    for o in result.outcomes:
        assert math.isnan(o.work_h)
        assert math.isnan(o.first_cost)
        assert {"work_h", "first_cost"} <= set(why_unknown(o))
    text = (farm.folder / "out" / "compare.csv").read_text(encoding="utf-8")
    assert "nan" not in text.lower().replace("not known", "")


def test_without_options_steps_round_the_blocks_own_are_compared(farm: Farm) -> None:
    result = setout.compare(farm.write(), farm.folder / "out")
    assert [round(o.step_m / 0.3048, 2) for o in result.outcomes] == [16.0, 8.0, 12.0, 20.0, 24.0]


def test_a_block_that_is_named_is_compared_alone(farm: Farm) -> None:
    other = BLOCK | {"name": "B", "area": "survey/features.gpkg:blocks[name=east]", "step": "20 ft"}
    first = BLOCK | {"area": "survey/features.gpkg:blocks[name=west]"}
    path = farm.write(block=[first, other], option=[{"block": "A", "step": "12 ft"}, {"block": "B", "step": "24 ft"}])
    both = setout.compare(path, farm.folder / "out")
    assert [(o.block, o.planned) for o in both.outcomes] == [("A", True), ("B", True), ("A", False), ("B", False)]
    alone = setout.compare(path, farm.folder / "out", block="b")
    assert [(o.block, round(o.step_m / 0.3048)) for o in alone.outcomes] == [("B", 20), ("B", 24)]


def test_limits_find_the_closest_spacing_that_fits(farm: Farm) -> None:
    path = farm.write()
    for hours in (1.0, 4.0):
        (fit,) = setout.compare(path, farm.folder / "out", steps=["16 ft"], limits=Limits(hours_per_week=hours)).fits
        assert fit.outcome is not None
        assert fit.outcome.work_h <= 52 * hours
        # a quarter of a foot closer is too much
        closer = f"{fit.outcome.step_m / 0.3048 - 0.25} ft"
        beyond = setout.compare(path, farm.folder / "out", steps=[closer]).outcomes[1]
        assert beyond.work_h > 52 * hours
    (fit,) = setout.compare(path, farm.folder / "out", steps=["16 ft"], limits=Limits(trees=150)).fits
    assert fit.outcome is not None
    assert fit.outcome.trees >= 150
    (none,) = setout.compare(path, farm.folder / "out", steps=["16 ft"], limits=Limits(trees=10**6)).fits
    assert none.outcome is None


def test_an_option_is_beaten_by_one_that_is_as_good_in_all_and_better_in_one() -> None:
    base, more, wider = outcome("base"), outcome("more", trees=130), outcome("wider", trees=60, work_h=8.0)
    named = {o.name: o.beaten_by for o in weighed([base, more, wider])}
    assert named == {"base": "more", "more": "", "wider": ""}
    assert not any(o.beaten_by for o in weighed([base, outcome("same")]))
    unknown = outcome("unknown", trees=200, need_lpd=NAN)
    assert not any(o.beaten_by for o in weighed([base, unknown]))


def test_costs_add_up_by_hand() -> None:
    """21 plants at 30 and 100 m of wire at 0.25 a metre are 655."""
    from setout.model import MaterialLine

    order = [OrderLine("apple", "apple, dwarf", "", "", "dwarf", "A", 20, 1)]
    wire = [MaterialLine("wire", 100.0, "m", "A")]
    prices = {"apple, dwarf": Price(30.0, "each"), "wire": Price(0.25, "m")}
    assert first_cost(Prices("", prices), order, wire) == (655.0, [])
    total, missing = first_cost(Prices("", {"wire": Price(0.25, "m")}), order, wire)
    assert math.isnan(total)
    assert missing == ["apple, dwarf"]
    assert price("1 / ft").amount == pytest.approx(1 / 0.3048)


def test_a_first_cost_says_what_it_is_without(farm: Farm, capsys: pytest.CaptureFixture[str]) -> None:
    """An option sizes no pipes, so its first cost holds none: table, page, CSV and JSON say so."""
    prices = {"plant": "38 / each", '"tree stake"': "6 / each", '"trunk guard"': "3 / each"}
    path = farm.write(option=[{"step": "12 ft"}], prices=prices)
    assert command.main(["compare", str(path), "--quiet"]) == 0
    assert "First cost is without pipe, emitters, valves, filters, regulators." in capsys.readouterr().out
    page = (farm.folder / "out" / "compare.html").read_text(encoding="utf-8")
    assert "First cost is without pipe, emitters, valves, filters, regulators</b>" in page
    for line in csv.DictReader((farm.folder / "out" / "compare.csv").open(encoding="utf-8", newline="")):
        assert float(line["first_cost"]) > 0
        assert line["first_cost_lacks"].startswith("pipe, emitters")
    assert command.main(["compare", str(path), "--json", "--quiet"]) == 0
    for option in json.loads(capsys.readouterr().out)["options"]:
        assert option["first_cost_lacks"][0] == "pipe"
    dry = setout.compare(farm.write(option=[{"step": "12 ft"}], prices=prices, water=None), farm.folder / "dry")
    assert not any(o.lacks for o in dry.outcomes)
    assert "is without" not in (farm.folder / "dry" / "compare.html").read_text(encoding="utf-8")


def test_a_first_cost_that_is_not_known_names_what_has_no_price(farm: Farm) -> None:
    path = farm.write(option=[{"step": "12 ft"}], prices={"plant": "38 / each", '"tree stake"': "6 / each"})
    for o in setout.compare(path, farm.folder / "out").outcomes:
        assert why_unknown(o)["first_cost"] == "no price for trunk guard"


def test_a_misspelt_price_ends_the_command_with_the_near_name(farm: Farm, capsys: pytest.CaptureFixture[str]) -> None:
    assert command.main(["plan", str(farm.write(prices={'"trunk gard"': "3 / each"})), "--quiet"]) == 2
    assert 'did you mean "trunk guard"' in capsys.readouterr().err
    assert not (farm.folder / "out").exists()


def test_every_fault_of_the_prices_is_told_at_once(farm: Farm) -> None:
    prices = {"wires": 3, "plant": "9 / ft", '" tree\\nstakes"': "6 / each"}
    with pytest.raises(SetoutError) as caught:
        setout.plan(farm.write(prices=prices), farm.folder / "out")
    assert [fault.what for fault in caught.value.faults] == [
        "wires: is nothing that a plan counts",
        "wires: 3 does not say for how much",
        'plant: "9 / ft" is for what is counted by length, but this is counted by number',
        "tree stakes: is nothing that a plan counts",
    ]


def test_all_that_a_plan_lists_may_have_a_price(farm: Farm) -> None:
    """Prices by the names and units of the materials, one each, leave nothing out of the sums."""
    farm.sections["water"] |= {
        "eto": "0.25 in/day",
        "flow": "600 gal/h",
        "hours_per_day": 10,
        "kc": 0.9,
        "emitter": {"flow": "4 l/h", "at": "12 psi", "per_tree": 2},
    }
    vines = {
        "name": "B",
        "area": "survey/features.gpkg:blocks[name=east]",
        "pattern": "trellis",
        "step": "8 ft",
        "row_distance": "10 ft",
        "direction": "north-south",
        "plants": [{"plant": "table grape"}],
    }
    blocks = [BLOCK | {"area": "survey/features.gpkg:blocks[name=west]"}, vines]
    bare = setout.plan(farm.write(block=blocks, prices={"plant": "38 / each"}), farm.folder / "bare", products=())
    assert {"pipe, lateral", "drip emitter"} <= {item for line in bare.costs for item in line.missing}
    prices = {f'"{MATERIALS[line.item].name}"': f"2 / {line.unit}" for line in bare.materials} | {"plant": "38 / each"}
    full = setout.plan(farm.write(block=blocks, prices=prices), farm.folder / "out", products=("report",))
    assert not any(line.missing for line in full.costs)
    plants = 38 * sum(line.plants for line in full.order)
    assert sum(line.first for line in full.costs) == pytest.approx(plants + 2 * sum(m.quantity for m in full.materials))
    assert "for want of a price" not in (farm.folder / "out" / "report.html").read_text(encoding="utf-8")


def test_searches_end_at_the_edge_of_what_keeps_the_limit() -> None:
    def at(step: float) -> Outcome | None:
        return outcome("s", step_m=step, work_h=100 / step, trees=int(1000 / step)) if step < 9 else None

    found, _ = closest(at, lambda o: o.work_h <= 25, 1.0, 8.0, 0.5)
    assert found is not None
    assert found.step_m == 4.0
    found, _ = widest(at, lambda o: o.trees >= 250, 1.0, 8.0, 0.5)
    assert found is not None
    assert found.step_m == 4.0
    assert closest(at, lambda o: False, 1.0, 8.0, 0.5) == (None, (5.0, 8.0))


@pytest.mark.parametrize("seed", range(40))
def test_searches_find_what_trying_every_step_finds(seed: int) -> None:
    """Counts go up and down by a tenth from step to step, as rows fit now better, now worse; some steps cannot be laid out."""
    rng = np.random.default_rng(seed)
    steps = np.arange(1, 301)
    trees = (4e6 / steps**2 * rng.uniform(0.9, 1.1, len(steps))).astype(int)
    gone = rng.random(len(steps)) < 0.05

    def at(step: float) -> Outcome | None:
        k = round(step / 0.1) - 1
        return None if gone[k] else outcome("s", step_m=round(step, 6), trees=int(trees[k]), work_h=float(trees[k]))

    limit = int(4e6 / rng.uniform(10, 290) ** 2)
    every = [o for k in steps.tolist() if (o := at(k * 0.1)) is not None]
    found, tried = widest(at, lambda o: o.trees >= limit, 0.1, 30.0, 0.1)
    best = max((o.step_m for o in every if o.trees >= limit), default=None)
    assert (found.step_m if found else None) == best
    assert tried[0] < 30.0
    found, _ = closest(at, lambda o: o.work_h <= limit, 0.1, 30.0, 0.1)
    best = min((o.step_m for o in every if o.work_h <= limit), default=None)
    assert (found.step_m if found else None) == best


def test_the_widest_step_for_a_number_of_trees_on_real_rows(farm: Farm) -> None:
    """Every step that the answer names is laid out by itself; the widest that gives the trees is the answer."""
    path = farm.write()
    (fit,) = setout.compare(path, farm.folder / "out", steps=["16 ft"], limits=Limits(trees=150)).fits
    assert fit.outcome is not None
    unit = 0.3048 / 4
    every = [k for k in range(round(fit.tried[0] / unit), round(fit.tried[1] / unit) + 1) if k * unit > fit.outcome.step_m - 1e-6]
    wider = setout.compare(path, farm.folder / "out", steps=[f"{k / 4} ft" for k in every]).outcomes[1:]
    assert wider[0].trees >= 150
    assert [o.step_m for o in wider[1:] if o.trees >= 150] == []


@pytest.mark.parametrize(
    ("sections", "said"),
    [
        ({"option": [{"stepp": "8 ft"}]}, 'option[1]: stepp: unknown key; did you mean "step"'),
        ({"option": [{"step": "8"}]}, "option[1]: step"),
        ({"option": [{"name": "none"}]}, "option[1]: changes nothing"),
        ({"option": [{"step": "8 ft", "block": "Z"}]}, 'option[1]: there is no block "Z"'),
        ({"option": [{"plant": "appel, dwarf"}]}, "did you mean"),
        ({"option": [{"step": "8 ft", "name": "x"}, {"step": "9 ft", "name": "x"}]}, 'two options are called "x"'),
        ({"option": [{"area": "survey/else.gpkg"}]}, "option[1]: names a survey file of its own (area)"),
        ({"prices": {"plant": 38}}, "38 does not say for how much"),
        ({"prices": {"plant": "9" * 400 + " / each"}}, "more than anything costs"),
        ({"prices": {"wire": "3 / kg"}}, "which nothing is counted in"),
        ({"prices": {"wires": "0.12 / ft"}}, 'prices: wires: is nothing that a plan counts; did you mean "wire"?'),
        ({"prices": {"pipe": "0.2 / ft"}}, 'did you mean "pipe, main" or "pipe, lateral" or "pipe, manifold"'),
        ({"prices": {'"drip emiter"': "0.2 / each"}}, 'did you mean "drip emitter"?'),
        ({"prices": {'"aple, dwarf"': "20 / each"}}, 'did you mean "apple, dwarf"'),
        ({"prices": {"xyzzy": "20 / each"}}, "write plant, work, a plant of the catalogue, or one of tree stake"),
        ({"prices": {"wire": "3 / each"}}, 'counted by number, but this is counted by length; write such as "0.12 / ft"'),
        ({"prices": {"wire": "3 / m", "Wire": "4 / m"}}, "prices: Wire: has a price already"),
    ],
)
def test_faults_of_options_and_prices_are_told_by_every_command(farm: Farm, sections: dict[str, Any], said: str) -> None:
    for verb in (setout.plan, setout.compare):
        with pytest.raises(SetoutError) as caught:
            verb(farm.write(**sections), farm.folder / "out")
        assert said in "\n".join(map(str, caught.value.faults))
        assert not (farm.folder / "out").exists()


def test_an_option_that_cannot_be_laid_out_says_which_and_writes_nothing(farm: Farm) -> None:
    with pytest.raises(SetoutError) as caught:
        setout.compare(farm.write(option=[{"step": "12 ft"}, {"step": "900 ft"}]), farm.folder / "out")
    assert 'option "step 900 ft"' in "\n".join(map(str, caught.value.faults))
    assert not (farm.folder / "out").exists()


def test_the_report_tells_costs_sources_and_pictures(farm: Farm) -> None:
    prices = {"currency": "USD", "plant": "38 / each", "work": "25 / h"}
    planting = setout.plan(farm.write(prices=prices), farm.folder / "out", products=("geopackage", "report"))
    (line,) = (line for line in planting.costs if line.block == "A")
    plants = sum(o.plants for o in planting.order)
    assert line.first == pytest.approx(38 * plants)
    assert line.yearly == pytest.approx(25 * sum(w.hours for w in planting.work))
    assert "tree stake" in line.missing
    page = (farm.folder / "out" / "report.html").read_text(encoding="utf-8")
    for text in ("What it costs", "Sources of the figures", f"{38 * plants:,}", "Where the ground goes", "Horn"):
        assert text in page
    assert "The first sum is without, for want of a price" in page
    for line in planting.costs:
        assert f"<td>{'; '.join(line.missing)}</td>" in page
    assert "<td>all of these</td>" in page  # the sum of sums says so too
    assert "What it costs" not in _report_without_prices(farm)


def _report_without_prices(farm: Farm) -> str:
    setout.plan(farm.write(), farm.folder / "plain", products=("report",))
    return (farm.folder / "plain" / "report.html").read_text(encoding="utf-8")


def test_fillers_and_darker_partners_are_told_apart(farm: Farm) -> None:
    """The figures of each population against the layers of the plans themselves, counted with another library."""
    block = {"name": "A", "pattern": "square", "step": "16 ft", "direction": "north-south"}
    farm.sections["block"] = [block | {"plants": [{"plant": "apple, standard"}, {"plant": "peach", "role": "filler", "remove_year": 6}]}]
    pairs = {"name": "pairs", "pair": {"distance": "2 ft"}, "plants": [{"plant": "apple, semi-dwarf"}], "step": "20 ft"}
    mixed, paired = setout.compare(farm.write(option=[pairs], height_limit=None), farm.folder / "side").outcomes
    out = farm.folder / "out mixed"
    plan = setout.plan(farm.write(height_limit=None), out, products=("geopackage",))
    trees = gpd.read_file(out / "plan.gpkg", layer="trees")
    stays = trees[trees.role != "filler"]
    assert mixed.sun_h == pytest.approx(stays.sun_h.median(), abs=1e-6)
    assert mixed.sun_low_h == pytest.approx(stays.sun_h.quantile(0.1), abs=1e-6)
    assert mixed.sun_filler_h == pytest.approx(trees[trees.role == "filler"].sun_h.median(), abs=1e-6)
    assert math.isnan(mixed.sun_dark_h)
    assert len(plan.trees) == len(trees)
    farm.sections["block"] = [block | {k: v for k, v in pairs.items() if k != "name"}]
    plan = setout.plan(farm.write(height_limit=None), farm.folder / "out pairs", products=("report",))
    sun, partner = plan.trees.sun_h, plan.trees.partner
    assert paired.sun_dark_h == pytest.approx(float(np.median(np.minimum(sun, sun[partner]))), abs=1e-6)
    assert paired.sun_h == pytest.approx(float(np.median(np.maximum(sun, sun[partner]))), abs=1e-6)
    assert math.isnan(paired.sun_filler_h)


def test_hedges_north_and_south_get_more_sun_than_east_and_west(farm: Farm) -> None:
    """Jackson and Palmer (1972), Olesen and others (2007): rows east and west take less light in the season; and a hedge's hours
    are not weighed against those of single crowns, which are counted otherwise."""
    hedge = {
        "name": "A",
        "pattern": "hedgerow",
        "step": "4 ft",
        "row_distance": "14 ft",
        "direction": "north-south",
        "spread": "5 ft",
        "height": "9 ft",
        "headland": "10 ft",
    }
    farm.sections["block"] = [hedge]
    options = [{"name": "east-west", "direction": "east-west"}, {"name": "crowns", "step": "12 ft", "row_distance": "16 ft"}]
    result = setout.compare(farm.write(option=options, height_limit=None), farm.folder / "side")
    north, east, crowns = result.outcomes
    assert (north.sun_wall, east.sun_wall, crowns.sun_wall) == (True, True, False)
    assert north.sun_h > 1.1 * east.sun_h
    assert north.sun_low_h > 1.1 * east.sun_low_h
    better = replace(crowns, trees=10**6, crowding=0.0, first_cost=0.0, work_h=0.0, need_lpd=0.0, alley_m=99.0, sun_low_h=99.0)
    known = replace(north, first_cost=1.0, work_h=1.0, need_lpd=1.0)
    assert weighed([known, better])[0].beaten_by == ""
    assert weighed([known, replace(better, sun_wall=True)])[0].beaten_by == crowns.name
